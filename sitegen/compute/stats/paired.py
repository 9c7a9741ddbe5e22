"""Differences of pairs: their mean over several groups, their median, signs, and what they go with.

The pairs of a group are taken as drawn independently from one law of differences; nothing is asked
of the law of the values themselves.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, stdtr, stdtrit

from sitegen.compute.stats.order_statistics import LEAST_FOR_MEDIAN, median_rank
from sitegen.model.arrays import FloatArray
from sitegen.model.statistics import CONFIDENCE

LEAST = 2
"""Fewest differences of a group that show a spread."""


@dataclass(frozen=True, eq=False)
class Groups:
    """Differences of each group; arrays (k,)."""

    n: FloatArray
    mean: FloatArray
    variance: FloatArray
    """With divisor n - 1; NaN where n < 2."""


@dataclass(frozen=True)
class Mean:
    """A mean with its standard uncertainty; NaN: not stated."""

    value: float
    u: float
    freedom: float
    """Effective degrees of freedom."""
    p_value: float
    """Two-sided, of a mean so large where there is none."""

    def interval(self, confidence: float = CONFIDENCE) -> tuple[float, float]:
        """value -+ t u; NaN where u is."""
        half = float(stdtrit(self.freedom, 0.5 + confidence / 2)) * self.u
        return self.value - half, self.value + half


def groups_of(differences: npt.ArrayLike, group: npt.ArrayLike, count: int) -> Groups:
    """Number, mean and variance of finite differences (n,) in each of `count` groups.

    group: (n,) whole numbers from 0. About each group's first difference, so that equal ones have
    no spread at all. Without a difference the mean is NaN.
    """
    values, place = np.asarray(differences, dtype=np.float64), np.asarray(group, dtype=np.int64)
    n = np.bincount(place, minlength=count).astype(np.float64)
    first = np.zeros(count)
    first[place[::-1]] = values[::-1]
    shifted = values - first[place]
    mean = np.bincount(place, shifted, count) / np.maximum(n, 1)
    squares = np.bincount(place, (shifted - mean[place]) ** 2, count)
    return Groups(
        n=n,
        mean=np.where(n > 0, first + mean, np.nan),
        variance=np.where(n >= LEAST, squares / np.maximum(n - 1, 1), np.nan),
    )


def weighted(groups: Groups, weight: npt.ArrayLike, besides: float = 0.0) -> Mean:
    """The sum of weight times mean over groups, with the uncertainty that their spreads show.

    weight: (k,), as 1/k each for the mean of k groups, with the sign turned for groups that are
    taken off. u² = sum of weight² s²/n + besides², degrees of freedom by Welch (1947, Biometrika
    34:28) and Satterthwaite (1946, Biometrics Bulletin 2:110), `besides` with infinitely many
    (JCGM 100:2008, G.4.1): a standard uncertainty that the spreads do not show. Of one group and
    nothing besides this is Student's paired t (Student 1908, Biometrika 6:1). u is NaN where a
    group has fewer than `LEAST` differences, and where none differs from its own group's others.
    """
    w = np.asarray(weight, dtype=np.float64)
    parts = w**2 * groups.variance / np.maximum(groups.n, 1)
    sampling = float(np.sum(parts))
    value = float(np.sum(w * groups.mean))
    if not sampling > 0:
        return Mean(value, np.nan, np.nan, np.nan)
    variance = sampling + besides**2
    freedom = 1 / float(np.sum((parts / variance) ** 2 / np.maximum(groups.n - 1, 1)))
    u = float(np.sqrt(variance))
    return Mean(value, u, freedom, float(2 * stdtr(freedom, -abs(value) / u)))


def median_ends(
    differences: npt.ArrayLike, confidence: float = CONFIDENCE
) -> tuple[float, float] | None:
    """Ends of the median of differences (n,), by order statistics: the sign test turned round.

    Exact for one continuous law. Of groups with medians of their own it holds the median of all
    with no less, since the number on one side is then a sum of unequal chances, which varies less
    than a binomial one (Hoeffding 1956, Annals of Mathematical Statistics 27:713; quoted from
    memory). None with fewer than `LEAST_FOR_MEDIAN`.
    """
    ranked = np.sort(np.asarray(differences, dtype=np.float64))
    rank = median_rank(len(ranked), confidence) if len(ranked) >= LEAST_FOR_MEDIAN else None
    return None if rank is None else (float(ranked[rank - 1]), float(ranked[-rank]))


def sign_p(differences: npt.ArrayLike) -> float | None:
    """Two-sided p-value of the sign test of differences (n,); zeros are left out.

    Twice the binomial chance of so few on the rarer side, at most 1 (Arbuthnott 1710; Conover
    1999, Practical Nonparametric Statistics, 3.4). None where every difference is zero.
    """
    values = np.asarray(differences, dtype=np.float64)
    up, down = int((values > 0).sum()), int((values < 0).sum())
    if not up + down:
        return None
    return min(1.0, 2 * float(bdtr(float(min(up, down)), up + down, 0.5)))


def sums_and_differences(before: npt.ArrayLike, after: npt.ArrayLike) -> FloatArray:
    """(n, 2): after - before, and (after + before) / 2, whose correlation tells whether the
    difference depends on the size.

    The correlation of the difference with `before` does not: an error of `before` stands in both
    with opposite signs, so that it is negative where nothing depends on anything. The covariance
    of these two is half of var(after) - var(before), to which errors of equal variance add nothing.
    Sources: Oldham 1962, Journal of Chronic Diseases 15:969; Bland and Altman 1986, Lancet 327:307;
    its test is that of Pitman 1939 and Morgan 1939, Biometrika 31:9 and 31:13 (all quoted from
    memory). What it tells is an unequal spread: devices that each shift by an amount of their own,
    whatever their size, spread more afterwards too.
    """
    one, other = np.asarray(before, dtype=np.float64), np.asarray(after, dtype=np.float64)
    return np.column_stack([other - one, 0.5 * (one + other)])
