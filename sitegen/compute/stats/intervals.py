"""Confidence intervals of a proportion of independent trials, and how often they hold it."""

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.special import bdtr, betaincinv, ndtri

from sitegen.model.arrays import FloatArray


@dataclass(frozen=True)
class Proportion:
    """A share of a counted whole with its interval; shares are numbers between 0 and 1."""

    successes: int
    n: int
    """The denominator. What it counts (dies measured, say) must be stated beside the share."""
    share: float
    lower: float
    upper: float
    confidence: float


Interval = Callable[[int, int], Proportion | None]
"""From successes and n."""


def wilson(successes: int, n: int, confidence: float = 0.95) -> Proportion | None:
    """Two-sided Wilson score interval without continuity correction; None for n = 0.

    Source: Newcombe 1998, Statistics in Medicine 17:857, method 3. It assumes independent dies; on
    a wafer they seldom are, so the interval describes these dies and no other wafer. The Wald
    interval, share +- z sqrt(share (1 - share) / n), must never be used: it has no width at 0 of n
    and at n of n.

    Raises ValueError unless 0 <= successes <= n and 0 < confidence < 1.
    """
    _check(successes, n, confidence)
    if n == 0:
        return None
    z = float(ndtri(0.5 + confidence / 2))
    share = successes / n
    centre = (share + z * z / (2 * n)) / (1 + z * z / n)
    half_width = z * sqrt(share * (1 - share) / n + (z / (2 * n)) ** 2) / (1 + z * z / n)
    return Proportion(
        successes=successes,
        n=n,
        share=share,
        lower=0.0 if successes == 0 else centre - half_width,
        upper=1.0 if successes == n else centre + half_width,
        confidence=confidence,
    )


def clopper_pearson(successes: int, n: int, confidence: float = 0.95) -> Proportion | None:
    """Two-sided exact interval: each tail of the binomial at its end is (1 - confidence) / 2.

    None for n = 0. Source: Clopper and Pearson 1934, Biometrika 26:404; NIST/SEMATECH e-Handbook of
    Statistical Methods, section 7.2.4.1. It never covers less than `confidence`, and mostly more.

    Raises ValueError unless 0 <= successes <= n and 0 < confidence < 1.
    """
    _check(successes, n, confidence)
    if n == 0:
        return None
    tail = (1 - confidence) / 2
    below, above = successes, n - successes
    return Proportion(
        successes=successes,
        n=n,
        share=successes / n,
        lower=float(betaincinv(below, above + 1, tail)) if below else 0.0,
        upper=float(betaincinv(below + 1, above, 1 - tail)) if above else 1.0,
        confidence=confidence,
    )


def _check(successes: int, n: int, confidence: float) -> None:
    if not 0 <= successes <= n:
        raise ValueError(f"{successes} successes of {n} are not a proportion")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")


def exact_coverage(interval: Interval, n: int, between: int = 101) -> tuple[FloatArray, FloatArray]:
    """True shares, and the probability that the interval holds each; exact sums of the binomial.

    The shares are `between` even ones from 0 to 1 and the ends of all intervals, each with the next
    number on either side: coverage jumps at an end, so that no least value is missed between.
    """
    found = [interval(successes, n) for successes in range(n + 1)]
    lower = np.array([one.lower for one in found if one is not None])
    upper = np.array([one.upper for one in found if one is not None])
    ends = np.concatenate([lower, upper])
    sides = [np.nextafter(ends, 0.0), ends, np.nextafter(ends, 1.0)]
    share = np.unique(np.concatenate([np.linspace(0.0, 1.0, between), *sides]))
    # Ends rise with the successes: those that hold a share are a run, from `first` to `last`.
    first = np.searchsorted(upper, share, side="left")
    last = np.searchsorted(lower, share, side="right") - 1
    upto = np.where(last >= 0, bdtr(np.maximum(last, 0), n, share), 0.0)
    before = np.where(first > 0, bdtr(np.maximum(first - 1, 0), n, share), 0.0)
    return share, np.maximum(upto - before, 0.0)
