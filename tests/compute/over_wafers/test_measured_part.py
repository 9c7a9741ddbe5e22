"""The measurement's part of the spread on a wafer."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.over_wafers.measured_part import (
    beside_patterns,
    measured_part,
    with_touchdowns,
)
from sitegen.compute.over_wafers.patterns import patterns
from sitegen.compute.over_wafers.variations import variation
from sitegen.model.statistics import Estimate
from tests.compute.over_wafers.layouts import layout
from tests.compute.over_wafers.sample_data import grid, sample

VALUES = [[1.0, 2.0, 4.0], [11.0, 13.0, 12.0, 16.0]]


def test_by_hand() -> None:
    """Pooled s^2 = (14/3 + 14) / 5; chi-squared with 5 degrees of freedom."""
    found = measured_part(sample(VALUES, u=1.1, u_own=1.0, u_shared=0.4))
    square = (14 / 3 + 14) / 5
    lower, upper = (5 * square / float(stats.chi2.ppf(p, 5)) for p in (0.975, 0.025))
    assert found.n == 7
    assert found.spread == pytest.approx(np.sqrt(square))
    assert (found.u_own, found.u_shared) == pytest.approx((1.0, 0.4))
    dies = found.spread_of_dies
    assert dies.value == pytest.approx(np.sqrt(square - 1))
    assert dies.lower == pytest.approx(np.sqrt(lower - 1))
    assert dies.upper == pytest.approx(np.sqrt(upper - 1))
    share = found.share_measured
    assert share.value == pytest.approx(1 / square)
    assert (share.lower, share.upper) == pytest.approx((1 / upper, 1 / lower))
    assert found.reason == ""


def test_u_that_explains_more_than_there_is() -> None:
    found = measured_part(sample(VALUES, u=5.0, u_own=5.0, u_shared=0.0))
    assert found.spread_of_dies.value == 0
    assert found.share_measured.value == 1
    assert "more than the dies' whole spread" in found.reason


def test_own_parts_are_taken_in_squares() -> None:
    of = replace(
        sample(VALUES, u=1.0), u_own=np.array([0, 0, 0, 1, 1, 1, 2.0]), u_shared=np.ones(7)
    )
    assert measured_part(of).u_own == pytest.approx(1.0)


def test_values_without_u() -> None:
    none = measured_part(sample(VALUES))
    assert none.spread == pytest.approx(np.sqrt((14 / 3 + 14) / 5))
    assert none.u_own is None and none.spread_of_dies.value is None
    assert none.spread_of_dies.reason == none.reason == "no uncertainty is stated"
    own = np.array([1, 1, 1, 1, 1, 1, np.nan])
    some = measured_part(replace(sample(VALUES), u_own=own, u_shared=0 * own))
    assert some.n == 6
    assert some.spread == pytest.approx(np.sqrt((14 / 3 + 2) / 4))
    assert some.reason == "values without a stated uncertainty left out: 1"


def test_sites_of_a_die_are_not_dies() -> None:
    """Two sites on each of three dies: two degrees of freedom, not five."""
    of = sample([[1.0, 1.1, 2.0, 2.1, 4.0, 4.1]], u=0.1, u_own=0.1, u_shared=0.0)
    sites = np.array(["a", "b"] * 3, dtype=object)
    of = replace(of, die_x=np.array([0, 0, 1, 1, 2, 2]), site=sites)
    found = measured_part(of)
    assert found.spread is not None and found.spread_of_dies.upper is not None
    upper = 2 * found.spread**2 / float(stats.chi2.ppf(0.025, 2))
    assert found.spread_of_dies.upper == pytest.approx(np.sqrt(upper - 0.01))


@pytest.mark.parametrize("values", [[], [[]], [[1.0]], [[1.0], [2.0]]])
def test_too_little(values: list[list[float]]) -> None:
    found = measured_part(sample(values, u=1.0, u_own=1.0, u_shared=0.0))
    assert found.spread is None
    assert found.spread_of_dies.value is None
    assert found.reason == "needs a wafer with 2 dies"


def test_all_equal() -> None:
    found = measured_part(sample([[0.1] * 4, [0.3] * 3], u=0.0, u_own=0.0, u_shared=0.0))
    assert found.spread == 0
    assert found.spread_of_dies.value == 0
    assert found.share_measured.reason == "the values do not spread"


def test_a_doubt_takes_the_intervals() -> None:
    plain = measured_part(sample(VALUES, u=1.1, u_own=1.0, u_shared=0.4))
    found = measured_part(sample(VALUES, u=1.1, u_own=1.0, u_shared=0.4), "no normal law")
    dies, share = found.spread_of_dies, found.share_measured
    assert (dies.value, share.value) == (plain.spread_of_dies.value, plain.share_measured.value)
    for one in (dies, share):
        assert (one.lower, one.upper, one.reason) == (None, None, "no normal law")


def test_a_pattern_contradicts_own_errors_as_large_as_the_spread() -> None:
    """A plane over one of two wafers; own errors are independent and make none."""
    dies = grid(5.2)
    noise = np.random.default_rng(2).normal(size=(2, len(dies)))
    values = [noise[0] + 0.4 * dies[:, 0], noise[1]]
    for own, told in ((3.0, True), (0.5, False)):
        of = sample(values, dies=[dies] * 2, u=own, u_own=own, u_shared=0.0)
        plain, found = variation(of, None, None), patterns(of, layout(diameter_mm=120.0))
        beside = beside_patterns(plain, found)
        assert (beside != plain) == told
        assert not told or beside.measured.reason == (
            "the stated own uncertainty explains more than the dies' whole spread; W1 shows a"
            " pattern, which errors of each value's own do not make: the stated own uncertainty"
            " must be overstated, or partly shared by the wafer"
        )
        assert replace(beside, measured=plain.measured) == plain
    assert beside_patterns(plain, ()) == plain
    none = variation(sample(values, dies=[dies] * 2), None, None)
    assert beside_patterns(none, found) == none


def test_touchdowns_are_a_check() -> None:
    part = measured_part(sample(VALUES, u=1.0, u_own=1.0, u_shared=0.0))
    own = np.array([1.0, np.nan, 1.0])
    assert with_touchdowns(part, Estimate(1.0, 0.8, 1.4), own) == part
    more = with_touchdowns(part, Estimate(2.0, 1.5, 3.0), own).reason
    assert more == "repeated touchdowns spread more than the stated own uncertainty"
    less = with_touchdowns(part, Estimate(0.5, 0.3, 0.9), own).reason
    assert less == "repeated touchdowns spread less than the stated own uncertainty"
    assert with_touchdowns(part, Estimate(0.5, 0.3, 0.9), own[:0]) == part
    assert with_touchdowns(part, Estimate(0.0, reason="equal"), own) == part
