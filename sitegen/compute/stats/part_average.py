"""Values that stand out: part average limits, and values against those of their neighbours."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, ndtr, ndtri

from sitegen.compute.stats.deviations import ROUNDING
from sitegen.compute.stats.neighbours import window_of
from sitegen.compute.stats.surface_fit import Surface
from sitegen.model.arrays import FloatArray

LOTS, PARTS = 6, 30
"""Lots that static limits need, and parts of each lot (AEC-Q001 Rev D; quoted from memory)."""
SIGMAS = 6.0
"""Robust standard deviations from the robust mean to the limits (AEC-Q001)."""
QUARTILES_TO_SIGMA = 1.35
"""What the distance of the quartiles is divided by (AEC-Q001); 1.349 for normal values."""
LEAST_AROUND = 5
"""Fewest measured neighbours that a value is compared with."""
CLIPPED = 3.0
DRAWS = 1024
"""Points over the joint law of the quartiles."""


@dataclass(frozen=True)
class Robust:
    """Robust mean and robust standard deviation."""

    centre: float
    """Median."""
    sigma: float
    """(Q3 - Q1) / 1.35, quartiles interpolated linearly (type 7); 0 where it is rounding."""


def robust(values: npt.ArrayLike) -> Robust:
    """Robust mean and standard deviation of finite values (n,), n at least 1."""
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    last = len(ordered) - 1
    at = np.array([0.25, 0.5, 0.75]) * last
    low = at.astype(np.int64)
    high = np.minimum(low + 1, last)
    q1, q2, q3 = (ordered[low] + (at - low) * (ordered[high] - ordered[low])).tolist()
    spread = q3 - q1
    told = spread > ROUNDING * max(abs(float(ordered[0])), abs(float(ordered[-1])))
    return Robust(q2, spread / QUARTILES_TO_SIGMA if told else 0.0)


def limits_of(found: Robust) -> tuple[float, float]:
    """Part average limits: robust mean -+ 6 robust sigma."""
    return found.centre - SIGMAS * found.sigma, found.centre + SIGMAS * found.sigma


def remainders(
    values: npt.ArrayLike, die_x: npt.ArrayLike, die_y: npt.ArrayLike, surface: Surface
) -> FloatArray:
    """Each value (n,) minus the median of its neighbours, beside plane and bowl; one value a die.

    The surface keeps dies at the rim, whose neighbours lie inwards, from standing out on a slope;
    it is fitted to values clipped at `CLIPPED` robust sigma, which no smooth surface reaches, so
    that what stands out does not bend it. Neighbours are the other dies of the window of 3 x 3 dies
    about each one or, where fewer than `LEAST_AROUND` of those were measured, as at the rim, of
    5 x 5; NaN where that holds fewer too. The median keeps a value that stands out from making its
    neighbours stand out.
    """
    numbers = np.asarray(values, dtype=np.float64)
    n = len(numbers)
    found = np.full(n, np.nan)
    if n == 0:
        return found
    scale = robust(numbers)
    reach_out = CLIPPED * scale.sigma
    inside = np.clip(numbers - scale.centre, -reach_out, reach_out)
    left = numbers - scale.centre - surface.basis @ (surface.basis.T @ inside)
    open_ = np.ones(n, dtype=bool)
    padded = np.append(left, np.inf)
    for reach in (1, 2):
        window = window_of(die_x, die_y, reach)
        held = np.sum(window < n, axis=1)
        here = open_ & (held >= LEAST_AROUND)
        around = np.sort(padded[window[here]], axis=1)
        k = held[here][:, np.newaxis]
        middle = np.take_along_axis(around, np.concatenate([(k - 1) // 2, k // 2], axis=1), axis=1)
        found[here] = left[here] - middle.mean(axis=1)
        open_ &= ~here
    return found


def clean_rate(n: int) -> float:
    """Share of n independent normal values that lie beyond 6 robust sigma of their median.

    The three quartiles are drawn over their joint law as order statistics, evenly; of the values
    above the third quartile each lies beyond the limit with the chance that a normal value beyond
    that quartile does. An approximation for n
    below 20; from n = 100 on it is that of n rounded to tens. 0 below two values.
    """
    if n < 2:
        return 0.0
    return _clean_rate(n if n < 100 else round(n, -1))


@lru_cache(maxsize=4096)
def _clean_rate(n: int) -> float:
    steps = 1.2207440846057596 ** -np.arange(1.0, 4.0)  # even in three directions at once
    chance = (0.5 + np.arange(DRAWS)[:, np.newaxis] * steps) % 1
    first, second, third = (share * (n - 1) + 1 for share in (0.25, 0.5, 0.75))
    u3 = betaincinv(third, n + 1 - third, chance[:, 0])
    u2 = u3 * betaincinv(second, third - second, chance[:, 1])
    u1 = u2 * betaincinv(first, second - first, chance[:, 2])
    q1, q2, q3 = ndtri(u1), ndtri(u2), ndtri(u3)
    limit = np.maximum(q2 + SIGMAS * (q3 - q1) / QUARTILES_TO_SIGMA, q3)
    return float(2 * (n - third) / n * np.mean(ndtr(-limit) / (1 - u3)))
