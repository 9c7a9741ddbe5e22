"""Moran's I: do neighbouring dies resemble each other more than chance explains?"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincc, ndtr

from sitegen.compute.stats.deviations import deviations
from sitegen.compute.stats.neighbours import Neighbours
from sitegen.model.arrays import FloatArray

LEAST = 12
"""Fewest dies with a neighbour for the test: with fewer its size is not the one stated."""


@dataclass(frozen=True, eq=False)
class Moran:
    """Moran's I of each map; arrays (n_map,), NaN where it is undefined."""

    i: FloatArray
    expected: float
    """-1 / (n - 1)."""
    variance_normal: float
    """Of normal values."""
    variance: FloatArray
    """Over all orders of the map's own values (randomisation)."""
    z: FloatArray
    """By randomisation."""
    p_value: FloatArray
    """Two-sided: twice the smaller tail."""


def moran(values: npt.ArrayLike, neighbours: Neighbours) -> Moran:
    """Moran's I of maps (n_map, n) of finite values, each die with a neighbour, binary weights.

    I = n / S0 * sum w_ij z_i z_j / sum z_i²; its moments under randomisation take the kurtosis of
    the values into account (Cliff and Ord 1981, Spatial Processes, chapter 2; quoted from memory,
    checked against published examples). I leans to the right, so that the normal law of z finds
    twice as many p-values near 0.001 as it should; the tails are those of a gamma law (Pearson's
    type III) with the skewness that I has for normal values. Undefined where all values of a map
    are equal, with fewer than four dies, and where no order of the values would change I.
    """
    z, size = deviations(values)
    n, pairs = neighbours.n, len(neighbours.first)
    nothing = np.full(len(z), np.nan)
    if n < 4 or pairs == 0:
        return Moran(nothing, np.nan, np.nan, nothing, nothing, nothing)
    s0, s1 = 2.0 * pairs, 4.0 * pairs
    s2 = 4.0 * float(np.sum(neighbours.degree.astype(np.float64) ** 2))
    squares = np.where(size > 0, np.sum(z * z, axis=1), np.nan)
    i = n / s0 * _cross(z, neighbours) / squares
    expected = -1 / (n - 1)
    normal = (n * n * s1 - n * s2 + 3 * s0 * s0) / ((n * n - 1) * s0 * s0) - expected**2
    kurtosis = n * np.sum(z**4, axis=1) / squares**2
    free = n * ((n * n - 3 * n + 3) * s1 - n * s2 + 3 * s0 * s0)
    tied = kurtosis * ((n * n - n) * s1 - 2 * n * s2 + 6 * s0 * s0)
    variance = (free - tied) / ((n - 1) * (n - 2) * (n - 3) * s0 * s0) - expected**2
    score = (i - expected) / np.sqrt(np.where(variance > 1e-12, variance, np.nan))
    upper = upper_tail(score, skewness(neighbours))
    return Moran(i, expected, normal, variance, score, 2 * np.minimum(upper, 1 - upper))


def skewness(neighbours: Neighbours) -> float:
    """Of Moran's I for normal values, each die with a neighbour; 0 where it never changes.

    By the moments of a ratio of quadratic forms of normal values about their mean: with A the
    weights seen by such deviations and v = n - 1, the first three are tr A / v,
    ((tr A)² + 2 tr A²) / v(v + 2) and ((tr A)³ + 6 tr A tr A² + 8 tr A³) / v(v + 2)(v + 4).
    """
    n, degree = neighbours.n, neighbours.degree.astype(np.float64)
    # With q the constant of length 1: q'Wq, q'W²q and q'W³q.
    one, two = float(degree.sum()) / n, float(np.sum(degree**2)) / n
    three = 2 * float(np.sum(degree[neighbours.first] * degree[neighbours.second])) / n
    t1 = -one
    t2 = float(degree.sum()) - 2 * two + one**2
    t3 = 6.0 * neighbours.triangles - 3 * three + 3 * one * two - one**3
    v = n - 1
    m1, m2 = t1 / v, (t1**2 + 2 * t2) / (v * (v + 2))
    m3 = (t1**3 + 6 * t1 * t2 + 8 * t3) / (v * (v + 2) * (v + 4))
    variance = m2 - m1**2
    if variance <= 1e-12 * m2:
        return 0.0
    return float((m3 - 3 * m1 * m2 + 2 * m1**3) / variance**1.5)


@dataclass(frozen=True)
class ResidualMoments:
    """Mean and variance of sum w_ij r_i r_j / sum r_i² for residuals r of independent values."""

    mean: float
    variance: float


def residual_moments(neighbours: Neighbours, basis: FloatArray) -> ResidualMoments:
    """Moments for residuals from a least-squares fit of `basis` (n, k), orthonormal columns.

    Residuals of a fit are dependent even where values are not, so the moments of plain values do
    not serve. Normal values; Cliff and Ord 1981, Spatial Processes, chapter 8 (quoted from memory,
    checked by simulation). NaN where fewer than two values are left beyond the terms.
    """
    left = neighbours.n - basis.shape[1]
    if left < 2 or len(neighbours.first) == 0:
        return ResidualMoments(np.nan, np.nan)
    padded = np.concatenate([basis, np.zeros((1, basis.shape[1]))])
    moved = padded[neighbours.around].sum(axis=1)
    inner = basis.T @ moved
    trace = -float(np.trace(inner))
    of_square = 2.0 * len(neighbours.first) - 2 * float(np.sum(moved**2)) + float(np.sum(inner**2))
    mean = trace / left
    return ResidualMoments(mean, (trace**2 + 2 * of_square) / (left * (left + 2)) - mean**2)


def residuals_resemble(
    residuals: FloatArray, neighbours: Neighbours, moments: ResidualMoments
) -> FloatArray:
    """(n_map,) chance that residuals (n_map, n) of independent values are so alike; one-sided.

    NaN where nothing is left of the values.
    """
    if not moments.variance > 0:
        return np.full(len(residuals), np.nan)
    squares = np.sum(residuals * residuals, axis=1)
    ratio = _cross(residuals, neighbours) / np.where(squares > 0, squares, np.nan)
    return np.asarray(ndtr(-(ratio - moments.mean) / np.sqrt(moments.variance)))


def _cross(z: FloatArray, neighbours: Neighbours) -> FloatArray:
    """Sum of w_ij z_i z_j of each map."""
    return np.asarray(2 * np.einsum("ij,ij->i", z[:, neighbours.first], z[:, neighbours.second]))


def upper_tail(score: FloatArray, skew: float) -> FloatArray:
    """Chance beyond standard scores (n_map,) of a gamma law of this skewness; normal without any.

    Pearson's type III: a gamma variable of shape 4 / skew², standardised, mirrored for skew < 0.
    """
    if abs(skew) < 1e-3:
        return np.asarray(ndtr(-score))
    shape = 4 / skew**2
    reach = np.maximum(shape + np.sqrt(shape) * score * np.sign(skew), 0.0)
    tail = gammaincc(shape, reach)
    return np.asarray(tail if skew > 0 else 1 - tail)
