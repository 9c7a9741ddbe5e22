"""Uncertainty of a value from all of its parts, and verdicts of values that were not reached."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.conformity import REASONS, Reason, decide
from sitegen.compute.judged import judged
from sitegen.compute.touchdown_choice import choose_touchdowns
from sitegen.model.decision import Decision
from sitegen.model.results import OUTCOMES
from sitegen.model.wafer import Thermal
from tests.compute.settings import parameter, setting
from tests.compute.test_touchdown_choice import touchdowns

THERMAL = Thermal(
    set_point_c=25.0,
    chuck_reading_c=25.0,
    surface_correction_c=0.0,
    surface_correction_u_c=0.5,
    soak_s=60.0,
)


def judge(table: pd.DataFrame, rule: str = "simple", **changes: Any) -> pd.DataFrame:
    record = setting(parameter("P", **changes), rule=rule).campaign
    return judged(choose_touchdowns(table, record), record, (THERMAL,))


def test_every_part_adds_in_quadrature_once() -> None:
    """2² + 3² + 4² + 6² + 8² + 10² + 14² = 425; calibration and dummies are inside u_common."""
    table = touchdowns(
        [100.0],
        u_common=2.0,
        u_calibration=1.0,
        u_dummies=np.sqrt(3.0),
        u_own=3.0,
        u_instrument=4.0,
        u_temperature=6.0,
        u_extraction=8.0,
    )
    source = ({"source": "cable", "relative": 0.14}, {"source": "own", "absolute": 10.0})
    row = judge(table, uncertainty=source).iloc[0]
    assert row["u_declared"] == pytest.approx(np.sqrt(14**2 + 10**2))
    assert row["u"] == pytest.approx(np.sqrt(425))
    assert row["expanded_uncertainty"] == pytest.approx(2 * np.sqrt(425))


def test_touchdowns_are_a_part() -> None:
    dies = np.repeat(np.arange(5), 2)
    values = np.where(np.arange(10) % 2, 1.0, 1.2)
    curve = {"figure": "on-resistance", "curve": "c", "swept_at": 0.1}
    found = judge(touchdowns(values, dies, u_own=0.1), from_curve=curve)
    spread = 0.2 / np.sqrt(2)
    assert found["u_touchdowns"].tolist() == pytest.approx([spread] * 10)
    assert found["u"].tolist() == pytest.approx([np.hypot(spread, 0.1)] * 10)


def test_no_part_is_no_uncertainty() -> None:
    assert np.isnan(judge(touchdowns([1.0]))["u"].iloc[0])


def test_temperature_counts_by_its_coefficient() -> None:
    """-2 mV/°C times 0.5 °C; a source that has stated it is left alone."""
    found = judge(touchdowns([400.0, 400.0], [0, 1]), temperature_coefficient_per_c=-2.0)
    assert found["u_temperature"].tolist() == [1.0, 1.0]
    assert found["u"].tolist() == [1.0, 1.0]
    stated = touchdowns([400.0], u_temperature=3.0)
    assert judge(stated, temperature_coefficient_per_c=-2.0)["u"].tolist() == [3.0]


def test_the_raw_reading_is_kept_below_the_floor_only() -> None:
    found = judge(touchdowns([0.2, 3.0], [0, 1], below_floor=[True, False], floor=1.0))
    assert found["raw_reading"].tolist() == pytest.approx([0.2, np.nan], nan_ok=True)


SIMPLE, GUARDED = Decision(rule="simple"), Decision(rule="guarded")


# What was reached (V), the limits, the verdict under both rules with u = 0.5 V, so w = 1 V.
@pytest.mark.parametrize(
    ("reached", "lower", "upper", "simple", "guarded"),
    [
        (20.0, 18.0, None, "within", "within"),
        (18.5, 18.0, None, "within", "not proven"),
        (17.0, 18.0, None, "not assessable", "not assessable"),
        (20.0, None, 18.0, "outside", "outside"),
        (17.0, None, 18.0, "not assessable", "not assessable"),
        (20.0, 18.0, 30.0, "not assessable", "not assessable"),
        (31.0, 18.0, 30.0, "outside", "outside"),
        (-20.0, None, -18.0, "within", "within"),
        (-18.5, None, -18.0, "within", "not proven"),
        (-17.0, None, -18.0, "not assessable", "not assessable"),
        (-20.0, -18.0, None, "outside", "outside"),
        (20.0, None, None, "no limits", "no limits"),
        (np.nan, 18.0, None, "not measured", "not measured"),
    ],
)
def test_a_value_not_reached(
    reached: float, lower: float | None, upper: float | None, simple: str, guarded: str
) -> None:
    for rule, word in ((SIMPLE, simple), (GUARDED, guarded)):
        found = decide([reached], [0.5], lower, upper, rule, not_reached=[True])
        assert OUTCOMES[found.outcome[0]] == word
        if word == "not assessable":
            assert found.reason[0] == Reason.NOT_REACHED
            assert "not reached" in REASONS[found.reason[0]]


def test_not_reached_is_never_bolder_than_the_truth() -> None:
    """Whatever lies beyond: a verdict of within or outside would be given of it too."""
    random = np.random.default_rng(11)
    for sign in (1.0, -1.0):
        reached = sign * random.uniform(0, 10, 4000)
        true = reached * (1 + random.exponential(1.0, 4000))
        for low, high in ((None, 6.0), (3.0, None), (3.0, 6.0), (-6.0, -3.0), (-6.0, None)):
            for rule in (SIMPLE, GUARDED):
                told = decide(reached, 0.3, low, high, rule, not_reached=np.ones(4000)).outcome
                known = decide(true, 0.3, low, high, rule).outcome
                firm = (told == 0) | (told == 2)
                assert np.array_equal(told[firm], known[firm])


def test_a_breakdown_not_reached_in_a_table_of_values() -> None:
    found = judge(
        touchdowns([20.0, 12.0], [0, 1], not_reached=True),
        lower=18.0,
        plausible_lower=15.0,
        plausible_upper=19.0,
    )
    assert found["outcome"].tolist() == ["within", "not assessable"]
    assert found["absurd"].tolist() == [True, False]  # beyond 19 V for sure; 12 V and more is not
