"""What order statistics say without a law: intervals of the median, and tolerance intervals.

A rank r stands for the r-th least value; the interval is symmetric in ranks.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, ndtri, stdtrit

LEAST_FOR_MEDIAN = 6
"""With fewer values even the extremes hold the median with less than 95 %."""

ROUNDING = 1e-12
"""Shares closer than this are equal: each is a sum of as many weights as there are values."""


@lru_cache(maxsize=8192)
def median_rank(n: int, confidence: float) -> int | None:
    """The greatest r for which the r-th least and greatest of n values hold the median.

    P(B <= r - 1) <= (1 - confidence)/2 for B binomial (n, 1/2); None where the extremes do not.
    Exact for independent values of a continuous law, and more than that with ties. Source: David
    and Nagaraja 2003, Order Statistics, section 7.1.
    """
    shares = bdtr(np.arange(n // 2 + 1, dtype=np.float64), n, 0.5)
    rank = int(np.searchsorted(shares, 0.5 * (1 - confidence), side="right"))
    return rank or None


def clustered_median_ends(
    ranked: npt.ArrayLike, wafer: npt.ArrayLike, confidence: float
) -> tuple[float, float] | None:
    """Ends of the median of a process, from ascending values (n,) of wafers (n,) from 0 on.

    Each of the k >= 2 wafers weighs the same. The share of values below the median differs from
    wafer to wafer; the ends are the quantiles that lie as far from a half as the standard error of
    that share from the wafers' own, times Student's t of k - 1 degrees of freedom, and never nearer
    than for independent values. None where a quantile would lie beyond all values. Source: Woodruff
    1952, Journal of the American Statistical Association 47:635, with the lower bound added here.
    """
    values, place = np.asarray(ranked, dtype=np.float64), np.asarray(wafer, dtype=np.int64)
    dies = np.bincount(place)
    k = int(np.count_nonzero(dies))
    weight = 1 / (k * dies[place])
    from_below, from_above = np.cumsum(weight), np.cumsum(weight[::-1])

    def reaching(share: float) -> tuple[float, float]:
        """The values up to which, from below and from above, lies that share."""
        up, down = (np.searchsorted(one, share - ROUNDING) for one in (from_below, from_above))
        return float(values[up]), float(values[::-1][down])

    middle = 0.5 * sum(reaching(0.5))
    below = np.where(values < middle, 1.0, np.where(values > middle, 0.0, 0.5))
    shares = np.bincount(place, below)[dies > 0] / dies[dies > 0]
    one_sided = 0.5 + 0.5 * confidence
    of_wafers = float(stdtrit(k - 1, one_sided)) * float(np.std(shares, ddof=1)) / k**0.5
    of_dies = float(ndtri(one_sided)) * 0.5 * float(np.sqrt(weight @ weight))
    # One die further out, so that no share is cut within a die.
    tail = 0.5 - max(of_wafers, of_dies) - float(weight.max())
    return None if tail < 0 else reaching(tail)


@lru_cache(maxsize=8192)
def tolerance_rank(n: int, two_sided: bool, coverage: float, confidence: float) -> int | None:
    """The greatest r with which order statistics of n values hold the share `coverage`.

    Two-sided: from the r-th least to the r-th greatest value; one-sided: beyond the r-th one. The
    share held exceeds `coverage` with the chance P(B <= n - m), B binomial (n, coverage), m = 2r or
    r. None: n is too small. Source: Wilks 1941, Annals of Mathematical Statistics 12:91; NIST/
    SEMATECH e-Handbook, 7.2.6.4.
    """
    outside = 2 if two_sided else 1
    cut = np.arange(1, n // outside + 1)
    held = bdtr(n - outside * cut.astype(np.float64), n, coverage)
    rank = int(np.count_nonzero(held >= confidence))
    return rank or None


@lru_cache(maxsize=64)
def values_needed(two_sided: bool, coverage: float, confidence: float) -> int:
    """The least n for which `tolerance_rank` finds one: 93 two-sided and 59 one-sided at 95/95."""
    n = 2 if two_sided else 1
    while tolerance_rank(n, two_sided, coverage, confidence) is None:
        n += 1
    return n
