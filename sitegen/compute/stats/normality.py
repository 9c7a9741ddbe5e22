"""Do values follow a normal law whose mean and spread are not known?"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, log_ndtr, ndtr

LEAST_VALUES = 8
"""Below it the formula of the p-value is not made for the sample, and the test says little."""
LEVEL = 0.05
"""A p-value below it refuses the law."""
NAME = "Anderson-Darling"
_GREATEST = 10.0
"""Beyond it the p-value's formula is not used: it stays at 4e-24."""
SMALL = 0.05
"""A departure that about 300 values are needed to see.

The 5 % point of Kolmogorov's D with estimated parameters is 0.886 / sqrt(n) at large n: Lilliefors
1967, Journal of the American Statistical Association 62:399 (quoted from memory).
"""


def anderson_darling(ranked: npt.ArrayLike) -> tuple[float, float]:
    """Modified statistic A*² and p-value of values (n,) in ascending order, n >= 8, with spread.

    A*² = A² (1 + 0.75/n + 2.25/n²), both parameters estimated; p by four branches. Source:
    D'Agostino and Stephens 1986, Goodness-of-Fit Techniques, table 4.9 (quoted from memory; its
    critical values 0.631, 0.752, 0.873 and 1.035 of table 4.7 are tested).
    """
    z = standardised(ranked)
    n = len(z)
    weight = 2 * np.arange(1, n + 1) - 1
    a2 = -n - float(weight @ (log_ndtr(z) + log_ndtr(-z[::-1]))) / n
    statistic = a2 * (1 + 0.75 / n + 2.25 / n**2)
    return statistic, _p_value(statistic)


def standardised(ranked: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """(value - mean) / s of ascending values (n,) that are not all equal."""
    values = np.asarray(ranked, dtype=np.float64)
    part = (values - values[0]) / (values[-1] - values[0])
    off = part - part.mean()
    return np.asarray(off / np.sqrt(off @ off / (len(off) - 1)), dtype=np.float64)


def _p_value(statistic: float) -> float:
    a = min(max(statistic, 0.0), _GREATEST)
    if a >= 0.6:
        return float(np.exp(1.2937 - 5.709 * a + 0.0186 * a**2))
    if a > 0.34:
        return float(np.exp(0.9177 - 4.279 * a - 1.38 * a**2))
    if a > 0.2:
        return float(-np.expm1(-8.318 + 42.796 * a - 59.938 * a**2))
    return float(-np.expm1(-13.436 + 101.14 * a - 223.73 * a**2))


def together(p_values: Sequence[float]) -> tuple[float, float]:
    """Statistic and p-value of independent tests of one hypothesis, by Fisher's method.

    -2 sum ln p follows chi-squared with two degrees of freedom a test. Source: Fisher 1932,
    Statistical Methods for Research Workers, section 21.1 (quoted from memory).
    """
    statistic = -2 * float(np.sum(np.log(p_values)))
    return statistic, float(chdtrc(2 * len(p_values), statistic))


def departure(scores: npt.ArrayLike) -> float:
    """Greatest distance between the shares of standardised values (n,) and the normal law's.

    Kolmogorov's D, between 0 and 1: by how much the share of values below any bound is not what
    the law says.
    """
    shares = ndtr(np.sort(np.asarray(scores, dtype=np.float64)))
    n = len(shares)
    steps = np.arange(n + 1) / n
    return float(max(np.max(steps[1:] - shares), np.max(shares - steps[:-1])))
