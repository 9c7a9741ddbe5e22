"""A smooth surface over a wafer, and what is left of values when it is taken out.

Dies are touched along a path, so whatever changes with time changes with place as well. A plane and
a bowl (all terms up to the second order in x and y) stand for what the process does smoothly.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr

from sitegen.model.arrays import FloatArray

TERMS = 6
"""1, x, y, x², xy, y²."""
LEAST_LEFT = 10
"""Fewest values beyond the terms for a test."""
LEAST_SHARE = 0.05
"""Least share of a regressor's variance that the terms must leave: with less, what changes with it
cannot be told from what changes with place."""


@dataclass(frozen=True)
class Effect:
    """What values change by where a regressor changes by one, beside the surface."""

    size: float
    u: float
    """Its standard error."""
    p_value: float
    """Two-sided, of an effect so large where there is none."""
    n: int
    residual_sd: float
    """Standard deviation about surface and effect."""


def surface_terms(x: npt.ArrayLike, y: npt.ArrayLike) -> FloatArray:
    """(n, 6) terms of the surface at places (n,), scaled by the largest distance."""
    across, along = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    reach = float(np.max(np.hypot(across, along), initial=0.0)) or 1.0
    across, along = across / reach, along / reach
    one = np.ones_like(across)
    return np.stack([one, across, along, across**2, across * along, along**2], axis=1)


def without_surface(
    values: npt.ArrayLike,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    beside: Sequence[FloatArray] = (),
) -> FloatArray:
    """Residuals (n, ...) of values (n, ...) from their least-squares surface; finite values only.

    beside: further terms (n,) that are taken out with it. With fewer places than terms nothing is
    left: residuals are zero.
    """
    numbers = np.asarray(values, dtype=np.float64)
    terms = np.column_stack([surface_terms(x, y), *beside])
    # An orthonormal basis of the terms that the places tell apart.
    u, s, _ = np.linalg.svd(terms, full_matrices=False)
    basis = u[:, s > 1e-10 * s.max(initial=0.0)]
    return np.asarray(numbers - basis @ (basis.T @ numbers))


def effect_beside_surface(
    values: npt.ArrayLike,
    regressor: npt.ArrayLike,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    beside: Sequence[FloatArray] = (),
) -> Effect | None:
    """Least squares of values (n,) on the surface and one regressor (n,), and its t-test.

    The surface, with the further terms `beside`, is taken out of both, so that only what the
    regressor does beside every plane and bowl counts (Frisch and Waugh 1933, Econometrica 1:387).
    values and regressor in the order in which they were taken: where neighbours in time resemble
    each other, the lag-one correlation r of the residuals widens the standard error by
    sqrt((1 + r) / (1 - r)) (Bartlett 1946, Supplement to the Journal of the Royal Statistical
    Society 8:27; quoted from memory). None with fewer than `LEAST_LEFT` values beyond the terms,
    where they leave less than `LEAST_SHARE` of the regressor's variance, or where nothing is left
    of the values.
    """
    up, along = np.asarray(values, dtype=np.float64), np.asarray(regressor, dtype=np.float64)
    n = len(up)
    freedom = n - TERMS - len(beside) - 1
    if freedom < LEAST_LEFT:
        return None
    left, aim = without_surface(np.stack([up, along], axis=1), x, y, beside).T
    squares = float(aim @ aim)
    if squares <= LEAST_SHARE * float(np.sum((along - along.mean()) ** 2)):
        return None
    size = float(aim @ left) / squares
    residuals = left - size * aim
    remainder = float(residuals @ residuals)
    if remainder <= 1e-24 * float(up @ up):
        return None
    lag = min(max(float(residuals[1:] @ residuals[:-1]) / remainder, 0.0), 0.95)
    variance = remainder / freedom
    u = float(np.sqrt(variance / squares * (1 + lag) / (1 - lag)))
    return Effect(size, u, 2.0 * float(stdtr(freedom, -abs(size) / u)), n, float(np.sqrt(variance)))
