"""Means of wafers and differences of wafers: their uncertainty, and whether it holds what it says.

The errors are drawn source by source, each calibration's acting on every die by a sensitivity of
its own; the program is only told the size of each part at each die. Coverage of the 95 % interval
must lie between 93 and 97 %, and an uncertainty that is 10 % too small must not (92.2 % for a
normal law).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from scipy.stats import norm

from sitegen.compute.differences import Compared, compare_wafers
from sitegen.compute.population import summarise_results
from sitegen.model.campaign import CampaignRecord
from sitegen.model.results import Summary
from sitegen.model.wafer import WaferRecord
from tests.compute.settings import AT, parameter, setting

FloatArray = npt.NDArray[np.float64]
K95 = float(norm.ppf(0.975))
DRAWS = 20_000
PARTS = (
    "u_calibration",
    "u_definitions",
    "u_dummies",
    "u_common",
    "u_own",
    "u_touchdowns",
    "u_instrument",
    "u_temperature",
    "u_misfit",
    "u_extraction",
    "u_declared",
)


def campaign(
    taken_from: str = "one die of the wafer", **changes: Any
) -> tuple[CampaignRecord, tuple[WaferRecord, ...]]:
    """One parameter P in volts, and three wafers of one station."""
    record = setting(parameter("P", **changes)).campaign.model_dump()
    deembedding: dict[str, Any] = {
        "method": "open",
        "open": "O",
        "taken_from": taken_from,
        "condition": "RT",
    }
    if taken_from == "one die of the campaign":
        deembedding["wafer"] = "A"
    record["devices"] = ({**record["devices"][0], "deembedding": deembedding},)
    wafers = tuple(
        WaferRecord.model_validate(
            {
                "id": name,
                "identity_read": name,
                "lot": "L",
                "station": "S",
                "by": "engineer",
                "started": AT,
                "finished": AT,
                "ambient_c": 23.0,
                "dc_instrument": "SMU",
                "thermal": (
                    {
                        "set_point_c": 25.0,
                        "chuck_reading_c": 25.0,
                        "surface_correction_c": 0.0,
                        "surface_correction_u_c": 0.1,
                        "soak_s": 0.0,
                    },
                ),
            }
        )
        for name in ("A", "B", "C")
    )
    return CampaignRecord.model_validate(record), wafers


def rows(wafer: str, value: npt.ArrayLike, **columns: Any) -> pd.DataFrame:
    """Results of one wafer, one row a value; u is all parts in quadrature."""
    values = np.atleast_1d(np.asarray(value, dtype=np.float64))
    ordinary: dict[str, Any] = {
        "wafer": wafer,
        "parameter": "P",
        "condition": "RT",
        "zone": "centre",
        "value": values,
        "floor": np.nan,
        "below_floor": False,
        "not_reached": False,
        "calibration": None,
        "outcome": "no limits",
        "standing": "stands",
        "counts": True,
        **dict.fromkeys(PARTS, np.nan),
    }
    table = pd.DataFrame({**ordinary, **columns}, index=range(len(values)))
    added = table[
        [one for one in PARTS if one not in ("u_calibration", "u_definitions", "u_dummies")]
    ]
    return table.assign(u=np.sqrt((added.astype(float) ** 2).sum(axis=1, min_count=1)))


def compared(*tables: pd.DataFrame, **changes: Any) -> Compared:
    return compare_wafers(pd.concat(tables, ignore_index=True), *campaign(**changes))


def test_a_mean_keeps_the_common_part_and_divides_the_own_one() -> None:
    table = rows("A", np.ones(16), calibration="C1", u_common=0.3, u_calibration=0.3, u_own=0.8)
    mean = compared(table).means[0]
    assert (mean.n, mean.mean, mean.calibrations) == (16, 1.0, (("C1", 16),))
    assert (mean.u_common, mean.u_own) == pytest.approx((0.3, 0.2))
    assert mean.u == pytest.approx(np.hypot(0.3, 0.2))
    assert mean.expanded_uncertainty == pytest.approx(2 * np.hypot(0.3, 0.2))


def test_two_calibrations_of_one_wafer_are_independent() -> None:
    calibrations = ["C1"] * 4 + ["C2"] * 4
    table = rows("A", np.ones(8), calibration=calibrations, u_common=0.3, u_calibration=0.3)
    assert compared(table).means[0].u == pytest.approx(0.3 / np.sqrt(2))


def test_calibrations_of_one_wafer_share_their_definitions() -> None:
    """JCGM 100:2008, 5.2.2, note 1: with a correlation of 1 standard uncertainties add."""
    calibrations = ["C1"] * 4 + ["C2"] * 4
    parts = {"u_common": 0.5, "u_calibration": 0.5, "u_definitions": 0.3}
    table = rows("A", np.ones(8), calibration=calibrations, **parts)
    assert compared(table).means[0].u == pytest.approx(np.hypot(0.3, 0.4 / np.sqrt(2)))


def test_definitions_do_not_cancel_between_calibrations() -> None:
    parts = {"u_common": 0.3, "u_calibration": 0.3, "u_definitions": 0.3}
    tables = (rows(w, np.ones(4), calibration=c, **parts) for w, c in (("A", "C1"), ("B", "C2")))
    found = next(
        one for one in compared(*tables).differences if (one.first, one.second) == ("A", "B")
    )
    assert found.u == pytest.approx(0.3 * np.sqrt(2))


def test_definitions_of_one_wafer_add_in_a_difference() -> None:
    """Two calibrations with one kit on A, two with another on B: the variance is 2 u^2, not u^2."""
    parts = {"u_common": 0.3, "u_calibration": 0.3, "u_definitions": 0.3}
    found = compared(
        rows("A", np.ones(4), calibration=["C1", "C1", "C2", "C2"], **parts),
        rows("B", np.ones(4), calibration=["C3", "C3", "C4", "C4"], **parts),
    )
    assert found.differences[0].u == pytest.approx(0.3 * np.sqrt(2))


@pytest.mark.parametrize(
    ("second", "same", "u_common"),
    [
        (["C1"] * 4, 1.0, 0.0),
        (["C2"] * 4, 0.0, 0.3 * np.sqrt(2)),
        # Half on C1: 1 - 1/2 of its error stays, and 1/2 of that of C2.
        (["C1", "C1", "C2", "C2"], 0.5, 0.3 * np.sqrt(0.5**2 + 0.5**2)),
    ],
)
def test_the_calibration_cancels_for_the_share_on_the_same(
    second: list[str], same: float, u_common: float
) -> None:
    parts = {"u_common": 0.3, "u_calibration": 0.3, "u_own": 0.2}
    found = compared(
        rows("A", np.full(4, 3.0), calibration="C1", **parts),
        rows("B", np.full(4, 1.0), calibration=second, **parts),
    ).differences[0]
    assert (found.first, found.second, found.difference) == ("A", "B", 2.0)
    assert found.same_calibration == pytest.approx(same)
    assert found.u_common == pytest.approx(u_common, abs=1e-15)
    assert found.u_own == pytest.approx(0.2 * np.sqrt(2 / 4))


@pytest.mark.parametrize(
    ("taken_from", "left"),
    [
        ("one die of the wafer", 0.4 * np.sqrt(2)),
        ("one die of the campaign", 0.0),
    ],
)
def test_shared_dummies_cancel_only_where_both_wafers_share_them(
    taken_from: str, left: float
) -> None:
    """u_common 0.5 of which the calibration makes 0.3, so the dummies 0.4."""
    parts = {"calibration": "C1", "u_common": 0.5, "u_calibration": 0.3, "u_dummies": 0.4}
    tables = rows("A", np.ones(4), **parts), rows("B", np.ones(4), **parts)
    found = compared(*tables, taken_from=taken_from)
    assert found.means[0].u == pytest.approx(0.5)
    assert found.differences[0].u == pytest.approx(left, abs=1e-12)


def test_instrument_cancels_temperature_and_declared_sources_do_not() -> None:
    sources = (
        {"source": "shunt", "absolute": 0.3, "common": True},
        {"source": "reading", "absolute": 0.6},
    )
    for part, left in (("u_instrument", 0.0), ("u_temperature", 0.2 * np.sqrt(2))):
        tables = (rows(one, np.ones(9), **{part: 0.2}) for one in "AB")
        found = compared(*tables)
        assert found.means[0].u == pytest.approx(0.2)
        assert found.differences[0].u == pytest.approx(left, abs=1e-15)
    declared = float(np.hypot(0.3, 0.6))
    tables = (rows(one, np.ones(9), u_declared=declared) for one in "AB")
    found = compared(*tables, uncertainty=sources)
    assert found.means[0].u == pytest.approx(np.hypot(0.3, 0.6 / 3))
    assert found.differences[0].u == pytest.approx(np.sqrt(2) * np.hypot(0.3, 0.2))


def test_instruments_of_two_stations_do_not_cancel() -> None:
    record, wafers = campaign()
    elsewhere = (wafers[0], wafers[1].model_copy(update={"station": "T"}), wafers[2])
    table = pd.concat([rows(one, np.ones(9), u_instrument=0.2) for one in "AB"])
    found = compare_wafers(table, record, elsewhere)
    assert found.differences[0].u == pytest.approx(0.2 * np.sqrt(2))


def test_why_nothing_is_stated() -> None:
    found = compared(
        rows("A", np.ones(3), u_own=0.1, below_floor=[True, False, False], floor=2.0),
        rows("B", np.ones(3), u_own=[0.1, 0.1, np.nan]),
    )
    assert [one.reason for one in found.means] == [
        "1 of 3 values are below the floor or were not reached",
        "not every value has a stated uncertainty",
        "no value stands",
    ]
    assert [one.mean for one in found.means] == [None, 1.0, None]
    assert {one.u for one in found.means} | {one.u for one in found.differences} == {None}
    assert found.differences[0].reason == (
        "A: 1 of 3 values are below the floor or were not reached;"
        " B: not every value has a stated uncertainty"
    )


def test_values_without_standing_do_not_take_part() -> None:
    table = rows("A", [1.0, 9.0], u_own=0.1, standing=["stands", "without standing"])
    assert compared(table).means[0].mean == 1.0


@dataclass(frozen=True)
class Drawn:
    """Wafers with the errors of their means in every draw."""

    table: pd.DataFrame
    error: dict[str, FloatArray]
    """By wafer, (DRAWS,): mean measured less mean true."""


def drawn(placed: dict[str, list[str]], seed: int) -> Drawn:
    """Wafers of dies on the calibrations named, die by die, with errors of seven kinds.

    Each calibration has six sources; a die's sensitivity to each varies by 5 % about the design's.
    """
    random = np.random.default_rng(seed)
    typical = np.array([0.20, -0.15, 0.1, 0.1, -0.05, 0.02])
    calibrations = sorted({name for names in placed.values() for name in names})
    source = {name: random.normal(size=(DRAWS, 6)) for name in calibrations}
    instrument = random.normal(size=DRAWS)
    tables, errors = [], {}
    for wafer, names in placed.items():
        n = len(names)
        reacts = typical * (1 + 0.05 * random.normal(size=(n, 6)))
        u_calibration = np.sqrt((reacts**2).sum(axis=1))
        size = {
            "u_dummies": random.uniform(0.08, 0.12, n),
            "u_own": random.uniform(0.3, 0.6, n),
            "u_instrument": random.uniform(0.05, 0.08, n),
            "u_temperature": np.full(n, 0.07),
            "u_touchdowns": np.full(n, 0.2),
            "u_extraction": random.uniform(0.05, 0.2, n),
        }
        error = np.zeros(DRAWS)
        for name in calibrations:
            mine = np.array(names) == name
            error += source[name] @ reacts[mine].sum(axis=0) / n
        error += instrument * size["u_instrument"].mean()
        error += random.normal(size=DRAWS) * size["u_dummies"].mean()
        error += random.normal(size=DRAWS) * size["u_temperature"].mean()
        for part in ("u_own", "u_touchdowns", "u_extraction"):
            error += random.normal(size=(DRAWS, n)) @ size[part] / n
        parts = {**size, "u_common": np.hypot(u_calibration, size["u_dummies"])}
        calibration = {"calibration": names, "u_calibration": u_calibration}
        tables.append(rows(wafer, np.zeros(n), **parts, **calibration))
        errors[wafer] = error
    return Drawn(pd.concat(tables, ignore_index=True), errors)


def covers(error: FloatArray, u: float | None) -> tuple[float, float]:
    """Share of draws within the interval, and within one that is 10 % too small."""
    assert u is not None
    return float(np.mean(abs(error) <= K95 * u)), float(np.mean(abs(error) <= 0.9 * K95 * u))


PLACED = {
    "the same calibration": (["C1"] * 25, ["C1"] * 16),
    "different calibrations": (["C1"] * 25, ["C2"] * 16),
    "partly the same": (["C1"] * 25, ["C1"] * 8 + ["C2"] * 8),
    "several on each": (["C1"] * 10 + ["C2"] * 15, ["C2"] * 6 + ["C3"] * 10),
}


@pytest.mark.parametrize("case", PLACED)
def test_means_and_differences_cover(case: str) -> None:
    first, second = PLACED[case]
    seen = drawn({"A": first, "B": second}, seed=20261125)
    found = compare_wafers(seen.table, *campaign())
    pairs = [(seen.error[one.wafer], one.u) for one in found.means if one.n]
    pairs.append((seen.error["A"] - seen.error["B"], found.differences[0].u))
    for error, u in pairs:
        right, too_small = covers(error, u)
        assert 0.93 <= right <= 0.97
        assert too_small < 0.93


def test_a_difference_that_kept_the_calibration_would_be_seen() -> None:
    """And one that cancelled it between different calibrations: the two planted mistakes."""
    same = drawn({"A": ["C1"] * 25, "B": ["C1"] * 16}, seed=3)
    apart = drawn({"A": ["C1"] * 25, "B": ["C2"] * 16}, seed=3)
    u_same = compare_wafers(same.table, *campaign()).differences[0].u
    u_apart = compare_wafers(apart.table, *campaign()).differences[0].u
    assert covers(same.error["A"] - same.error["B"], u_apart)[0] > 0.97
    assert covers(apart.error["A"] - apart.error["B"], u_same)[0] < 0.93


def summary(table: pd.DataFrame, **changes: Any) -> Summary:
    return summarise_results(table, campaign(**changes)[0], "")[0].summary


def test_the_mean_of_a_campaign_covers() -> None:
    """Two wafers on two calibrations and one instrument: what they share is not averaged away."""
    seen = drawn({"A": ["C1"] * 25, "B": ["C2"] * 16}, seed=5)
    error = (25 * seen.error["A"] + 16 * seen.error["B"]) / 41
    right, too_small = covers(error, summary(seen.table).u_mean)
    assert 0.93 <= right <= 0.97
    assert too_small < 0.93


def test_a_summary_states_the_budget() -> None:
    table = rows("A", [1.0, 2.0, 3.0], calibration="C1", u_common=0.5, u_own=[0.1, 0.3, 0.2])
    found = summary(table)
    assert found.budget == {"u_common": 0.5, "u_own": 0.2}
    assert found.u_mean == pytest.approx(np.sqrt(0.5**2 + (0.1**2 + 0.3**2 + 0.2**2) / 9))


def test_a_summary_of_censored_values_says_how_it_was_made() -> None:
    values = [1.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    floors = {"below_floor": [True] * 2 + [False] * 5, "floor": 1.5}
    found = summary(rows("A", values, u_own=0.1, **floors), distribution="log-normal")
    assert found.estimator == "log-normal by maximum likelihood"
    assert (found.below, found.median) == (("q05", "minimum"), 3.0)
    assert found.u_mean is None
    beyond = summary(rows("A", values, not_reached=[False] * 5 + [True] * 2))
    assert (beyond.not_reached, beyond.least_reached) == (2, 5.0)
    assert beyond.beyond == ("q95", "maximum")
    assert beyond.estimator.startswith("Kaplan-Meier")
    few = summary(rows("A", values[:4], below_floor=[True] * 2 + [False] * 2, floor=1.5))
    assert few.mean is None
    assert few.estimator == "not stated: 5 uncensored values are needed, and 2 are there"
