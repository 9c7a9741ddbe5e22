"""Intervals of sums and differences of mean squares by the modified large-sample method."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, fdtri

from sitegen.model.arrays import FloatArray


def modified_large_sample(
    mean_squares: npt.ArrayLike,
    degrees_of_freedom: Sequence[int],
    coefficients: Sequence[float],
    confidence: float,
) -> tuple[FloatArray, FloatArray]:
    """Two-sided intervals of sum c_q E(MS_q) from q independent mean squares.

    mean_squares: (q,) or (b, q) for b studies alike; gives the limits, () or (b,) each.
    n MS / E(MS) follows chi-squared with n degrees of freedom. Exact for one mean square, and at
    the point where the interval of a difference of two begins at zero; approximate otherwise. The
    lower limit may be negative where a coefficient is.
    Source: Ting, Burdick, Graybill, Jeyaratnam and Lu 1990, J. Stat. Comput. Simul. 35, 135;
    Burdick and Graybill 1992, Confidence Intervals on Variance Components, 3.3 (quoted from
    memory).
    """
    weight = np.asarray(coefficients, dtype=np.float64)
    used = [int(q) for q in np.flatnonzero(weight)]
    part = (np.asarray(mean_squares, dtype=np.float64) * weight)[..., used]
    freedom = tuple(degrees_of_freedom[q] for q in used)
    positive = tuple(coefficients[q] > 0 for q in used)
    tail = (1.0 - confidence) / 2.0
    estimate = part.sum(axis=-1)
    below, above = (
        np.einsum("...q,qr,...r->...", part, form, part)
        for form in (_form(freedom, positive, tail, True), _form(freedom, positive, tail, False))
    )
    return estimate - np.sqrt(np.maximum(below, 0)), estimate + np.sqrt(np.maximum(above, 0))


@lru_cache(maxsize=1024)
def _form(
    degrees: tuple[int, ...], positive: tuple[bool, ...], tail: float, lower: bool
) -> FloatArray:
    """(q, q): the square of the distance from the estimate to a limit, as a quadratic form.

    Towards the lower limit terms that are added can be too large and those taken away too small;
    towards the upper one it is the other way round.
    """
    freedom = np.array(degrees, dtype=np.float64)
    too_large = np.array(positive) if lower else ~np.array(positive)
    drop = 1.0 - freedom / chdtri(freedom, tail)
    rise = freedom / chdtri(freedom, 1.0 - tail) - 1.0
    form = np.diag(np.where(too_large, drop, rise) ** 2)
    large, small = np.flatnonzero(too_large), np.flatnonzero(~too_large)
    for q in large:
        for r in small:
            f = float(fdtri(freedom[q], freedom[r], 1.0 - tail))
            cross = ((f - 1.0) ** 2 - (drop[q] * f) ** 2 - rise[r] ** 2) / f
            # The terms have opposite signs, and the formula is of their sizes.
            form[q, r] = form[r, q] = -cross / 2.0
    for place, q in enumerate(large):
        for t in large[place + 1 :]:
            both = freedom[q] + freedom[t]
            joint = (1.0 - both / chdtri(both, tail)) ** 2 * both**2 / (freedom[q] * freedom[t])
            own = drop[q] ** 2 * freedom[q] / freedom[t] + drop[t] ** 2 * freedom[t] / freedom[q]
            form[q, t] = form[t, q] = (joint - own) / (2.0 * max(len(large) - 1, 1))
    form.setflags(write=False)
    return form
