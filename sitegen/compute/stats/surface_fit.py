"""A plane, a bowl beyond it and the position in the exposed field, each tested on a wafer's map.

Models are nested: what the plane describes is taken first, then what second-order terms add, then
what the position in the field adds to both. Each is tested against what is left of all of them.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from sitegen.compute.stats.deviations import deviations
from sitegen.compute.stats.neighbours import KEPT
from sitegen.compute.stats.surface import TERMS, surface_terms
from sitegen.model.arrays import FloatArray

LEAST_LEFT = 5
"""Fewest dies beyond the terms for a test."""
NOTHING_LEFT = 1e-20
"""Least mean square of residuals, in shares of the greatest deviation: below it is rounding."""


@dataclass(frozen=True, eq=False)
class FTests:
    """One F test of each map; arrays (n_map,), NaN where it is undefined."""

    f: FloatArray
    p_value: FloatArray
    share: FloatArray
    """Of the sum of squares about the mean that the terms describe."""


@dataclass(frozen=True, eq=False)
class Surface:
    """The terms of plane and bowl at one set of places."""

    basis: FloatArray
    """(n, k) orthonormal: the constant, the plane's and the bowl's terms, as far as the places
    tell them apart: k is 1, 3 or 6."""
    triangle: FloatArray
    """(k, k): terms = basis @ triangle."""
    reach_mm: float
    """What the places are divided by."""

    @property
    def enough(self) -> bool:
        """Whether dies are left beyond the terms."""
        return bool(len(self.basis) - self.basis.shape[1] >= LEAST_LEFT)

    @property
    def without_bowl(self) -> "Surface":
        """The plane alone."""
        return Surface(self.basis[:, :3], self.triangle[:3, :3], self.reach_mm)


@dataclass(frozen=True, eq=False)
class SurfaceFit:
    """Plane and bowl of each map."""

    plane: FTests
    bowl: FTests
    gradient: FloatArray
    """(n_map, 2) of the plane alone, right and up, per millimetre."""
    curvature: FloatArray
    """(n_map, 3): factors of x², xy and y², per square millimetre."""
    residuals: FloatArray
    """(n_map, n), in shares of the greatest deviation of each map."""


@dataclass(frozen=True, eq=False)
class Positions:
    """What the position in the field can tell beside plane and bowl, at one set of places."""

    basis: FloatArray
    """(n, k) orthonormal, and to the surface's basis as well."""
    effects: FloatArray
    """(n_position, n): takes values to the effect of each position; effects add to zero."""


def f_tests(
    described: FloatArray, df: int, left: FloatArray, df_left: int, total: FloatArray
) -> FTests:
    """F = (described / df) / (left / df_left) of sums of squares (n_map,), and its upper tail."""
    if df < 1 or df_left < 1:
        nothing = np.full(len(described), np.nan)
        return FTests(nothing, nothing, nothing)
    mean_square = left / df_left
    told = mean_square > NOTHING_LEFT
    f = np.where(told, described / df, np.nan) / np.where(told, mean_square, 1.0)
    share = np.where(told, described, np.nan) / np.where(told, total, 1.0)
    return FTests(f, np.asarray(fdtrc(df, df_left, f)), share)


def surface_of(x_mm: npt.ArrayLike, y_mm: npt.ArrayLike) -> Surface:
    """Terms at places (n,) from the wafer's centre; kept for the next map of the same places."""
    x = np.ascontiguousarray(x_mm, dtype=np.float64)
    y = np.ascontiguousarray(y_mm, dtype=np.float64)
    return _surface(x.tobytes(), y.tobytes())


def fit_surface(values: npt.ArrayLike, surface: Surface) -> SurfaceFit:
    """Plane, then second-order terms beyond it, by least squares on maps (n_map, n).

    Both are tested against the residual of the whole surface, with as many dies as terms less:
    exact for independent normal residuals (Draper and Smith 1998, Applied Regression Analysis,
    chapter 6; quoted from memory). Where the places cannot tell the bowl's terms apart the plane
    is tested against its own residual; where they lie on one line nothing is.
    """
    scaled, size = deviations(values)
    n, k = surface.basis.shape
    parts = scaled @ surface.basis
    residuals = scaled - parts @ surface.basis.T
    left, total = np.sum(residuals**2, axis=1), np.sum(scaled**2, axis=1)
    plane, bowl = np.sum(parts[:, 1:3] ** 2, axis=1), np.sum(parts[:, 3:] ** 2, axis=1)
    gradient, curvature = np.zeros((len(scaled), 2)), np.zeros((len(scaled), 3))
    if k >= 3:
        of_plane = np.linalg.solve(surface.triangle[:3, :3], parts[:, :3].T).T
        gradient = of_plane[:, 1:] * size[:, np.newaxis] / surface.reach_mm
    if k == TERMS:
        of_bowl = np.linalg.solve(surface.triangle, parts.T).T
        curvature = of_bowl[:, 3:] * size[:, np.newaxis] / surface.reach_mm**2
    return SurfaceFit(
        plane=f_tests(plane, min(k - 1, 2), left, n - k, total),
        bowl=f_tests(bowl, max(k - 3, 0), left, n - k, total),
        gradient=gradient,
        curvature=curvature,
        residuals=residuals,
    )


def positions_of(position: npt.ArrayLike, surface: Surface) -> Positions:
    """What dies (n,) at positions 0, 1, ... of their fields can tell beside the surface.

    The surface is taken out of the positions too, so that only what a position does beside every
    plane and bowl counts (Frisch and Waugh 1933, Econometrica 1:387).
    """
    place = np.asarray(position, dtype=np.int64)
    here = (place[:, np.newaxis] == np.arange(place.max(initial=-1) + 1)).astype(np.float64)
    beside = here - surface.basis @ (surface.basis.T @ here)
    u, s, vt = np.linalg.svd(beside, full_matrices=False)
    told = s > 1e-9 * np.sqrt(max(len(place), 1))
    return Positions(u[:, told], (vt[told].T / s[told]) @ u[:, told].T)


def fit_positions(
    values: npt.ArrayLike, surface: Surface, positions: Positions
) -> tuple[FTests, FloatArray, FloatArray]:
    """One-way analysis of variance over positions, beside plane and bowl.

    Returns the tests of maps (n_map, n), the effects (n_map, n_position) in the values' unit, which
    add to zero, and the residuals (n_map, n).
    """
    scaled, size = deviations(values)
    parts = scaled @ positions.basis
    base = scaled @ surface.basis
    residuals = scaled - base @ surface.basis.T - parts @ positions.basis.T
    n, more = positions.basis.shape
    tests = f_tests(
        np.sum(parts**2, axis=1),
        more,
        np.sum(residuals**2, axis=1),
        n - surface.basis.shape[1] - more,
        np.sum(scaled**2, axis=1),
    )
    return tests, scaled @ positions.effects.T * size[:, np.newaxis], residuals


@lru_cache(maxsize=KEPT)
def _surface(x_bytes: bytes, y_bytes: bytes) -> Surface:
    x, y = np.frombuffer(x_bytes), np.frombuffer(y_bytes)
    reach = float(np.max(np.hypot(x, y), initial=0.0)) or 1.0
    terms = surface_terms(x, y)
    # In the order of the models; a term that those before it can make has nothing on the diagonal.
    basis, triangle = np.linalg.qr(terms if len(terms) >= TERMS else terms[:, :3])
    told = np.abs(np.diag(triangle)) > 1e-9 * np.sqrt(len(terms))
    k = next((k for k in (TERMS, 3, 1) if len(told) >= k and told[:k].all()), 0)
    return Surface(basis[:, :k], triangle[:k, :k], reach)
