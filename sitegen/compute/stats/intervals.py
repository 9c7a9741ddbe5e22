"""Confidence interval of a proportion, used for the yield of a wafer."""

from dataclasses import dataclass
from math import sqrt

from scipy.special import ndtri


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


def wilson(successes: int, n: int, confidence: float = 0.95) -> Proportion | None:
    """Two-sided Wilson score interval without continuity correction; None for n = 0.

    Source: Newcombe 1998, Statistics in Medicine 17:857, method 3. It assumes independent dies; on
    a wafer they seldom are, so the interval describes these dies and no other wafer. The Wald
    interval, share +- z sqrt(share (1 - share) / n), must never be used: it has no width at 0 of n
    and at n of n.

    Raises ValueError unless 0 <= successes <= n and 0 < confidence < 1.
    """
    if not 0 <= successes <= n:
        raise ValueError(f"{successes} successes of {n} are not a proportion")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")
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
