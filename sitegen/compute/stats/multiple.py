"""Many tests at once: p-values adjusted for how many were made.

Arrays of p-values of any shape; NaN marks a test that was not made: it counts for nothing and stays
NaN. An adjusted value is compared with the level directly.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import FloatArray


def holm(p_values: npt.ArrayLike) -> FloatArray:
    """Adjusted so that, of all tests in which nothing is, any is called with the level's chance.

    The i-th smallest of m becomes max over j <= i of min(1, (m - j + 1) p(j)). Holds whatever the
    tests have to do with each other (Holm 1979, Scandinavian Journal of Statistics 6:65).
    Raises ValueError for a p-value outside 0 to 1.
    """
    return _adjusted(p_values, _step_down)


def benjamini_hochberg(p_values: npt.ArrayLike) -> FloatArray:
    """Adjusted so that, of the tests called, the level is the expected share in which nothing is.

    The i-th smallest of m becomes min over j >= i of min(1, m p(j) / j). Proven for independent
    tests, and for those with positive dependence (Benjamini and Hochberg 1995, Journal of the Royal
    Statistical Society B 57:289; Benjamini and Yekutieli 2001, Annals of Statistics 29:1165).
    Raises ValueError for a p-value outside 0 to 1.
    """
    return _adjusted(p_values, _step_up)


def _step_down(ordered: FloatArray) -> FloatArray:
    m = len(ordered)
    return np.asarray(np.maximum.accumulate(ordered * np.arange(m, 0, -1)))


def _step_up(ordered: FloatArray) -> FloatArray:
    m = len(ordered)
    scaled = ordered * (m / np.arange(1, m + 1))  # the last one is p itself, to the last digit
    return np.asarray(np.minimum.accumulate(scaled[::-1])[::-1])


def _adjusted(p_values: npt.ArrayLike, rule: Callable[[FloatArray], FloatArray]) -> FloatArray:
    given = np.asarray(p_values, dtype=np.float64)
    flat = given.ravel()
    made = ~np.isnan(flat)
    if ((flat[made] < 0) | (flat[made] > 1)).any():
        raise ValueError("a p-value lies between 0 and 1")
    found = np.full(flat.shape, np.nan)
    tested = flat[made]
    order = np.argsort(tested, kind="stable")
    back = np.empty(len(order), dtype=np.int64)
    back[order] = np.arange(len(order))
    found[made] = np.minimum(rule(tested[order]), 1.0)[back]
    return found.reshape(given.shape)
