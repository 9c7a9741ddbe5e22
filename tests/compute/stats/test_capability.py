"""Capability indices and their intervals against handbooks and simulation."""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from sitegen.compute.stats.capability import (
    QUANTILE_VALUES,
    both_interval,
    by_quantiles,
    independent_interval,
    indices,
    nearer_interval,
    share_outside,
)
from sitegen.compute.stats.moments import spread_factors


def test_example_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6 (quoted from memory): limits 8 and 20, mean 16, s 2."""
    found = indices(16.0, 6.0, 6.0, 8.0, 20.0)
    assert found.both == 1.0
    assert found.to_upper == pytest.approx(0.6667, abs=5e-5)
    assert found.to_lower == pytest.approx(1.3333, abs=5e-5)
    assert found.nearer == found.to_upper
    assert found.side == "upper"


def cp_ends(index: float, n: int) -> tuple[float, float]:
    """Of n independent values with s = 1 and limits 6 Cp apart."""
    return both_interval(-3 * index, 3 * index, spread_factors(n - 1, 0.95))


def test_printed_intervals() -> None:
    """n = 50: recomputed independently. n = 20: Montgomery, Introduction to Statistical Quality
    Control (quoted from memory): limits 38 and 62, s 1.75, 95 % from 1.57 to 3.01; Cpk 1.33 from
    0.88 to 1.78 (some editions print 0.99 to 1.67)."""
    assert np.round(cp_ends(1.0, 50), 4).tolist() == [0.8025, 1.1971]
    assert np.round(independent_interval(2 / 3, 50, 0.95), 4).tolist() == [0.5056, 0.8278]
    montgomery = indices(50.0, 5.25, 5.25, 38.0, 62.0)
    assert montgomery.both == pytest.approx(2.2857, abs=5e-5)
    assert np.round(cp_ends(16 / 7, 20), 4).tolist() == [1.5649, 3.0056]
    assert np.round(independent_interval(1.33, 20, 0.95), 4).tolist() == [0.8826, 1.7774]


def test_one_limit_stays_one() -> None:
    upper = indices(3.0, 3.0, 3.0, None, 6.0)
    assert (upper.both, upper.to_lower, upper.nearer, upper.side) == (None, None, 1.0, "upper")
    lower = indices(3.0, 3.0, 3.0, 6.0, None)
    assert (lower.both, lower.to_upper, lower.nearer, lower.side) == (None, None, -1.0, "lower")


def test_share_outside_is_scipys() -> None:
    law = stats.norm(16, 2)
    assert share_outside(16, 2, 8, 20) == pytest.approx(law.cdf(8) + law.sf(20), rel=1e-12)
    assert share_outside(16, 2, None, 20) == pytest.approx(law.sf(20), rel=1e-12)
    assert share_outside(16, 2, 8, None) == pytest.approx(law.cdf(8), rel=1e-12)


def test_quantile_values() -> None:
    """The least value lies below the 0.135 % quantile with 97.5 % from that n on."""
    assert 1 - 0.99865**QUANTILE_VALUES >= 0.975 > 1 - 0.99865 ** (QUANTILE_VALUES - 1)


def test_by_quantiles_of_a_normal_law_is_by_its_spread() -> None:
    values = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000, 16, 2)
    found = by_quantiles(values, 8.0, 20.0)
    assert found is not None and found.both is not None
    assert found.both == pytest.approx(1.0, rel=1e-3)
    assert found.nearer == pytest.approx(2 / 3, rel=1e-3)


def test_by_quantiles_of_an_exponential_law() -> None:
    """Its quantiles are -ln(1 - p): of one limit U, (U - ln 2) / (-ln 0.00135 - ln 2)."""
    values = stats.expon.ppf((np.arange(200_000) + 0.5) / 200_000)
    found = by_quantiles(values, None, 5.0)
    assert found is not None and found.both is None
    assert found.nearer == pytest.approx((5 - np.log(2)) / (-np.log(0.00135) - np.log(2)), rel=2e-3)
    assert by_quantiles(np.r_[np.zeros(3000), 1.0], 0.0, 1.0) is None


def test_ends_are_roots() -> None:
    """The closed form against the equation that defines the ends, for every sign."""
    rng = np.random.default_rng(7)
    for _ in range(500):
        distance, reach = 4 * rng.normal(), abs(rng.normal())
        ends = (rng.uniform(0.2, 0.99), rng.uniform(1.01, 4.0))
        down, up = 1 - ends[0], ends[1] - 1

        def gap(c: float, sign: int, d: float, r: float, low: float, high: float) -> float:
            w = high if (c > 0) == (sign < 0) else low
            return d - 3 * c + sign * float(np.hypot(r, 3 * c * w))

        found = nearer_interval(distance, reach, 1.0, ends)
        for end, sign in zip(found, (-1, 1), strict=True):
            expected = brentq(gap, -300, 300, args=(sign, distance, reach, down, up), xtol=1e-13)
            assert end == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("n", [5, 20, 100])
@pytest.mark.parametrize(("index", "two_limits"), [(0.67, 0), (1.33, 0), (1.33, 1), (2.0, 1)])
def test_coverage_for_independent_values(n: int, index: float, two_limits: int) -> None:
    """Cpk of independent normal values, one die a wafer, and of Cp; two limits at one distance."""
    draws = 40_000
    rng = np.random.default_rng(n)
    mean = rng.normal(0, 1 / np.sqrt(n), draws)
    spread = np.sqrt(rng.chisquare(n - 1, draws) / (n - 1))
    distance = 3 * index - (np.abs(mean) if two_limits else mean)
    found = distance / (3 * spread)
    z = np.sqrt(1 / (9 * n) + found**2 / (2 * (n - 1)))
    low, high = independent_interval(float(found[0]), n, 0.95)
    assert high - low == pytest.approx(2 * 1.959964 * z[0], rel=1e-6)

    def nearer(narrower: float) -> float:
        return float((np.abs(found - index) <= narrower * 1.959964 * z).mean())

    assert 0.93 <= nearer(1.0) <= 0.97
    assert n == 5 or nearer(0.9) < 0.93

    def both(narrower: float) -> float:
        lower, upper = (1 + narrower * (one - 1) for one in spread_factors(n - 1, 0.95))
        return float(((lower * spread <= 1) & (upper * spread >= 1)).mean())

    assert abs(both(1.0) - 0.95) < 0.0045 < abs(both(0.9) - 0.95)
