"""What dies on several wafers say of the process that made the wafers: the wafer is the cluster.

Value = process mean + wafer's effect + die's own part, both normal (one-way random effects). Each
wafer weighs the same, whatever its number of dies. With A the variance of the wafers' means and B
the variance within wafers, the variance of one die is A + (1 - 1/h) B, h the harmonic mean of the
numbers of dies. Dies of a wafer are alike, so an interval that takes all dies as independent would
be too narrow; these hold at every intraclass correlation, from `LEAST_WAFERS` on.

Source: Burdick and Graybill 1992, Confidence Intervals on Variance Components, for unbalanced
one-way designs (quoted from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, ndtri, stdtrit

from sitegen.compute.stats.moments import spread_factors

LEAST_WAFERS = 5
"""With fewer, intervals for the process are so wide, and so bound to the normal law of wafers'
effects that nothing can check, that none is stated; our own choice."""


SMALLEST_SHARE = 0.25
"""Wafers with fewer dies than this share of the most are left out of intervals for the process:
their means scatter so much more than the others' that the mean square A would not hold."""


@dataclass(frozen=True)
class Clusters:
    """Mean squares of values on k wafers with at least one value each, in the unit squared."""

    wafers: int
    n: int
    mean: float
    """Of the wafers' means."""
    between: float
    """A, of k - 1 degrees of freedom; 0 for one wafer."""
    within: float
    """B, of n - k degrees of freedom; 0 for n = k."""
    dies: float
    """h."""

    @property
    def df_between(self) -> int:
        """Of A."""
        return self.wafers - 1

    @property
    def df_within(self) -> int:
        """Of B."""
        return self.n - self.wafers

    @property
    def variance(self) -> float:
        """Of one die of the process."""
        return self.between + (1 - 1 / self.dies) * self.within


def clusters(values: npt.ArrayLike, wafer: npt.ArrayLike) -> Clusters:
    """Mean squares of finite values (n,), n >= 1; wafer: (n,) whole numbers from 0."""
    numbers, place = np.asarray(values, dtype=np.float64), np.asarray(wafer, dtype=np.int64)
    dies = np.bincount(place).astype(np.float64)
    filled = dies > 0
    origin = float(numbers.min())
    part = numbers - origin
    means = np.zeros(len(dies))
    means[filled] = np.bincount(place, part)[filled] / dies[filled]
    off = part - means[place]
    k, n = int(filled.sum()), len(numbers)
    centre = float(means[filled].mean())
    return Clusters(
        wafers=k,
        n=n,
        mean=origin + centre,
        between=float(np.sum((means[filled] - centre) ** 2)) / (k - 1) if k > 1 else 0.0,
        within=float(off @ off) / (n - k) if n > k else 0.0,
        dies=k / float(np.sum(1 / dies[filled])),
    )


def comparable(wafer: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """(n,): which values are of wafers with enough dies beside the others; wafer: (n,) from 0."""
    place = np.asarray(wafer, dtype=np.int64)
    dies = np.bincount(place)
    return np.asarray((dies >= SMALLEST_SHARE * dies.max(initial=0))[place], dtype=np.bool_)


def within_wafers(values: npt.ArrayLike, wafer: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Each value's distance from its wafer's mean, times sqrt(m / (m - 1)) of m dies, (n,).

    So that every one of them has the variance within wafers; 0 for the only die of a wafer.
    """
    numbers, place = np.asarray(values, dtype=np.float64), np.asarray(wafer, dtype=np.int64)
    dies = np.bincount(place)
    part = numbers - numbers.min(initial=np.inf)
    means = np.bincount(place, part) / np.maximum(dies, 1)
    widened = np.sqrt(dies / np.maximum(dies - 1, 1))
    return np.asarray((part - means[place]) * widened[place], dtype=np.float64)


def mean_reach(found: Clusters, confidence: float) -> float:
    """Half the width of the process mean's interval: Student's t of the wafers' means."""
    quantile = float(stdtrit(found.df_between, 0.5 + 0.5 * confidence))
    return quantile * float(np.sqrt(found.between / found.wafers))


def spread_ends(found: Clusters, confidence: float) -> tuple[float, float]:
    """Ends of the standard deviation of one die of the process, in the values' unit.

    Modified large-sample interval of c1 A + c2 B: each part's distance from its own chi-squared
    limit, in quadrature. Source: Graybill and Wang 1980, Journal of the American Statistical
    Association 75:869.
    """
    tail = 0.5 * (1 - confidence)
    parts = _parts(found)
    down = [(1 - df / float(chdtri(df, tail))) * size for size, df in parts]
    lower = found.variance - float(np.sqrt(sum(one**2 for one in down)))
    return float(np.sqrt(lower)), float(np.sqrt(_highest(parts, tail)))


def one_sided_reach(found: Clusters, coverage: float, confidence: float) -> float:
    """How far beyond the process mean the share `coverage` of dies ends, with the confidence.

    The upper end of mean + z sigma, each part's distance from its own limit in quadrature (method
    of variance estimates recovery: Zou and Donner 2008, Statistics in Medicine 27:1693), limits of
    sigma as in `spread_ends`. Approximate: at 95/95 its simulated confidence is 94 to 98 %.
    """
    z, sigma = float(ndtri(coverage)), float(np.sqrt(found.variance))
    of_mean = mean_reach(found, 2 * confidence - 1)
    highest = float(np.sqrt(_highest(_parts(found), 1 - confidence)))
    return z * sigma + float(np.hypot(of_mean, z * (highest - sigma)))


def two_sided_reach(found: Clusters, coverage: float, confidence: float) -> float:
    """Half the width of the interval about the process mean that holds the share `coverage`.

    z at (1 + coverage)/2 times the root of the upper limit of (1 + 1/k) A + (1 - 1/h) B. Source:
    Hoffman and Kringle 2005, Journal of Biopharmaceutical Statistics 15:283.
    Approximate: at 95/95 its simulated confidence is 94 to 98 %.
    """
    (between, df), *rest = _parts(found)
    parts = [((1 + 1 / found.wafers) * between, df), *rest]
    return float(ndtri(0.5 + 0.5 * coverage)) * float(np.sqrt(_highest(parts, 1 - confidence)))


def pooled_ends(found: Clusters, confidence: float) -> tuple[float, float]:
    """Ends of the standard deviation within wafers, by chi-squared, in the values' unit."""
    lower, upper = spread_factors(found.df_within, confidence)
    sigma = float(np.sqrt(found.within))
    return lower * sigma, upper * sigma


def _parts(found: Clusters) -> list[tuple[float, int]]:
    """The parts of one die's variance with their degrees of freedom."""
    parts = [(found.between, found.df_between)]
    if found.df_within:
        parts.append(((1 - 1 / found.dies) * found.within, found.df_within))
    return parts


def _highest(parts: list[tuple[float, int]], tail: float) -> float:
    """Modified large-sample upper limit of the sum of the parts."""
    up = [(df / float(chdtri(df, 1 - tail)) - 1) * size for size, df in parts]
    return sum(size for size, _ in parts) + float(np.sqrt(sum(one**2 for one in up)))
