"""Noise that a few points show, shared between curves."""

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.dc.estimates import FEWEST_TO_SHARE, IN_95_PERCENT, widened
from sitegen.model.arrays import FloatArray


def drawn(n: int, freedom: int, sigma: FloatArray | float = 1.0, seed: int = 1) -> FloatArray:
    """Standard deviations of normal noise found with so many degrees of freedom."""
    square = np.random.default_rng(seed).chisquare(freedom, n) / freedom
    return np.asarray(sigma * np.sqrt(square))


def test_alone_it_is_students_t() -> None:
    s = drawn(FEWEST_TO_SHARE - 1, 3)
    np.testing.assert_allclose(widened(s, 3), s * stats.t.ppf(0.975, 3) / IN_95_PERCENT)
    assert np.isnan(widened(np.array([1.0]), 0)).all()


def test_of_like_curves_it_is_what_they_have_in_common() -> None:
    found = widened(drawn(2_000, 3), 3)
    assert np.median(found) == pytest.approx(1.0, abs=0.03)
    assert np.quantile(np.abs(found - np.median(found)), 0.99) < 0.1  # one in 1000 keeps its own


def test_a_noisier_curve_keeps_its_own() -> None:
    s = drawn(500, 3)
    s[7] = 30.0
    found = widened(s, 3)
    assert found[7] == pytest.approx(30.0 * stats.t.ppf(0.975, 3) / IN_95_PERCENT)
    assert np.quantile(np.delete(found, 7), 0.99) < 1.3


def test_of_unlike_curves_each_keeps_most_of_its_own() -> None:
    """Noise spread over two decades: shared noise would cover badly, own noise does not."""
    sigma = 10 ** np.random.default_rng(2).uniform(-1, 1, 4_000)
    found = widened(drawn(4_000, 3, sigma), 3)
    error = sigma * np.random.default_rng(3).normal(size=4_000)
    held = np.mean(np.abs(error) <= IN_95_PERCENT * found)
    assert 0.93 < held < 0.97


def test_no_scatter_at_all_is_no_noise() -> None:
    assert (widened(np.zeros(50), 3) == 0).all()
