"""Effects beside a smooth surface: against a whole least-squares fit, and by simulation."""

import numpy as np
import pytest
from scipy.stats import binom, linregress, t

from sitegen.compute.stats.surface import (
    TERMS,
    effect_beside_surface,
    surface_terms,
    without_surface,
)

RNG = np.random.default_rng(5)
X, Y = RNG.uniform(-60, 60, (2, 90))
BOWL = 3 + 0.02 * X - 0.01 * Y + 1e-3 * X**2 - 5e-4 * X * Y + 2e-3 * Y**2
STEP = (np.arange(90) >= 40).astype(float)


def test_a_plane_and_a_bowl_leave_nothing() -> None:
    assert np.abs(without_surface(BOWL, X, Y)).max() < 1e-12
    assert np.abs(without_surface(BOWL + 2 * STEP, X, Y, [STEP])).max() < 1e-12


def test_fewer_places_than_terms_leave_nothing() -> None:
    assert without_surface([1.0, 5.0, 2.0], X[:3], Y[:3]) == pytest.approx(np.zeros(3))
    assert effect_beside_surface([1.0, 5.0, 2.0], [0.0, 1.0, 1.0], X[:3], Y[:3]) is None


def test_the_effect_is_that_of_one_fit_of_everything() -> None:
    """Coefficients by numpy's lstsq, their covariance by (X'X)^-1, Student's t by scipy."""
    noise = RNG.normal(0, 1, 90)
    noise -= 0.5 * np.roll(noise, 1)  # neighbours that do not resemble each other widen nothing
    values = BOWL + 1.7 * STEP + noise
    terms = np.column_stack([surface_terms(X, Y), STEP])
    found, (squares,), *_ = np.linalg.lstsq(terms, values, rcond=None)
    variance = squares / (90 - TERMS - 1)
    u = np.sqrt(variance * np.linalg.inv(terms.T @ terms)[-1, -1])
    effect = effect_beside_surface(values, STEP, X, Y)
    assert effect is not None
    assert effect.size == pytest.approx(found[-1], rel=1e-9)
    assert effect.u == pytest.approx(u, rel=1e-9)
    assert effect.residual_sd == pytest.approx(np.sqrt(variance), rel=1e-9)
    assert effect.p_value == pytest.approx(2 * t.sf(abs(found[-1] / u), 83), rel=1e-8)


def test_residuals_give_scipys_slope() -> None:
    """Frisch and Waugh: a line through the residuals of both has the same slope."""
    along = np.arange(90.0)
    values = BOWL + 0.05 * along + RNG.normal(0, 1, 90)
    effect = effect_beside_surface(values, along, X, Y)
    line = linregress(without_surface(along, X, Y), without_surface(values, X, Y))
    assert effect is not None and effect.size == pytest.approx(line.slope, rel=1e-9)


def test_a_regressor_that_is_a_place_is_not_tested() -> None:
    assert effect_beside_surface(BOWL, X + 3 * Y, X, Y) is None
    assert effect_beside_surface(BOWL, STEP, X, Y, [STEP]) is None


@pytest.mark.parametrize("lag", [0.0, 0.4])
def test_the_test_keeps_its_level(lag: float) -> None:
    """1,000 wafers without a step; with errors that remember their neighbours as well."""
    rng = np.random.default_rng(9)
    draws = rng.normal(0, 1, (1000, 90))
    for place in range(1, 90):
        draws[:, place] += lag * draws[:, place - 1]
    found = [effect_beside_surface(BOWL + draw, STEP, X, Y) for draw in draws]
    beyond = sum(one is not None and one.p_value < 0.01 for one in found)
    # Taking neighbours' resemblance from the residuals leaves some of it: up to twice the level.
    assert beyond <= binom.ppf(0.9999, 1000, 0.01 if lag == 0 else 0.02)
    assert lag > 0 or beyond >= binom.ppf(0.0001, 1000, 0.005)
