"""Mean, spread and shape of a sample, with their intervals for independent normal values.

Values are referred to the least of them and divided by their range before anything is squared, so
that leading digits in common cost nothing, no unit overflows, and the order plays no part.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, ndtr, stdtrit

from sitegen.compute.stats.summary import MAD_TO_SIGMA
from sitegen.model.arrays import FloatArray


@dataclass(frozen=True)
class Moments:
    """Figures of n values; None where a figure is not defined."""

    n: int
    mean: float | None
    standard_deviation: float | None
    """Divisor n - 1; None below 2 values, exactly 0 where all are equal."""
    median: float | None
    robust_spread: float | None
    """1.4826 times the median absolute deviation; None below 2 values."""
    skewness: float | None
    """Adjusted Fisher-Pearson coefficient G1; None below 3 values or without spread."""
    excess_kurtosis: float | None
    """G2, 0 on average for normal values; None below 4 values or without spread."""


def moments_of(ranked: npt.ArrayLike) -> Moments:
    """Figures of finite values (n,) in ascending order.

    G1 = sqrt(n(n-1))/(n-2) m3/m2^(3/2) and G2 = (n-1)/((n-2)(n-3)) ((n+1)(m4/m2² - 3) + 6), m the
    central moments with the divisor n. Source: Joanes and Gill 1998, The Statistician 47:183.
    """
    values = np.asarray(ranked, dtype=np.float64)
    n = len(values)
    if n == 0:
        return Moments(0, None, None, None, None, None, None)
    origin, reach = float(values[0]), float(values[-1] - values[0])
    if reach == 0:
        flat = 0.0 if n > 1 else None
        return Moments(n, origin, flat, origin, flat, None, None)
    part = (values - origin) / reach
    mean = float(part.mean())
    off = part - mean
    square = off * off
    m2, m3, m4 = float(square.mean()), float((square * off).mean()), float((square**2).mean())
    # At the values themselves, not at their parts, so that the median is one of them exactly.
    middle = float(np.median(values))
    skewness = float(np.sqrt(n * (n - 1)) / (n - 2)) * m3 / m2**1.5 if n > 2 else None
    kurtosis = (n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * (m4 / m2**2 - 3) + 6) if n > 3 else None
    return Moments(
        n=n,
        mean=origin + reach * mean,
        standard_deviation=reach * float(np.sqrt(m2 * n / (n - 1))),
        median=middle,
        robust_spread=MAD_TO_SIGMA * float(np.median(np.abs(values - middle))),
        skewness=skewness,
        excess_kurtosis=kurtosis,
    )


def mean_reach(standard_deviation: float, n: int, confidence: float) -> float:
    """Half the width of Student's t interval of a mean of n >= 2 values, in the values' unit."""
    quantile = float(stdtrit(n - 1, 0.5 + 0.5 * confidence))
    return quantile * standard_deviation / float(np.sqrt(n))


def spread_factors(df: float, confidence: float) -> tuple[float, float]:
    """Lower and upper end of sigma over the s found, of df degrees of freedom, by chi-squared.

    sqrt(df / chi2) at both quantiles. Source: NIST/SEMATECH e-Handbook, 7.2.3.
    """
    tail = 0.5 * (1 - confidence)
    # chdtri is the inverse of the upper tail.
    upper, lower = (float(chdtri(df, share)) for share in (1 - tail, tail))
    return float(np.sqrt(df / lower)), float(np.sqrt(df / upper))


def skewness_p_value(skewness: float, n: int) -> float:
    """Two-sided p of a sample skewness G1 of n >= 8 normal values.

    Johnson's S_U transformation. Source: D'Agostino 1970, Biometrika 57:679, for sqrt(b1).
    """
    root_b1 = skewness * (n - 2) / float(np.sqrt(n * (n - 1)))
    y = root_b1 * np.sqrt((n + 1) * (n + 3) / (6.0 * (n - 2)))
    beta = (3.0 * (n**2 + 27 * n - 70) * (n + 1) * (n + 3)) / (
        (n - 2.0) * (n + 5) * (n + 7) * (n + 9)
    )
    w2 = np.sqrt(2 * (beta - 1)) - 1
    delta = 1 / np.sqrt(0.5 * np.log(w2))
    z = delta * np.arcsinh(y / np.sqrt(2 / (w2 - 1)))
    return two_sided_p(float(z))


def kurtosis_p_value(excess_kurtosis: float, n: int) -> float:
    """Two-sided p of a sample excess kurtosis G2 of n >= 20 normal values.

    Source: Anscombe and Glynn 1983, Biometrika 70:227, for b2.
    """
    b2 = (excess_kurtosis * (n - 2) * (n - 3) / (n - 1) - 6) / (n + 1) + 3
    expected = 3.0 * (n - 1) / (n + 1)
    variance = 24.0 * n * (n - 2) * (n - 3) / ((n + 1) ** 2 * (n + 3.0) * (n + 5))
    x = (b2 - expected) / np.sqrt(variance)
    third = 6.0 * (n**2 - 5 * n + 2) / ((n + 7) * (n + 9))
    third *= np.sqrt(6.0 * (n + 3) * (n + 5) / (n * (n - 2.0) * (n - 3)))
    a = 6 + 8 / third * (2 / third + np.sqrt(1 + 4 / third**2))
    ratio = (1 - 2 / a) / (1 + x * np.sqrt(2 / (a - 4)))
    z = (1 - 2 / (9 * a) - np.cbrt(ratio)) / np.sqrt(2 / (9 * a))
    return two_sided_p(float(z))


def two_sided_p(z: float) -> float:
    """Chance that a standard normal value lies as far from zero as z."""
    return 2 * float(ndtr(-abs(z)))


def without_gaps(values: npt.ArrayLike) -> FloatArray:
    """Values (n,) in ascending order as float64, NaN left out, negative zeros as zeros.

    Raises ValueError for another shape or for infinite values.
    """
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.ndim != 1:
        raise ValueError(f"values must have one dimension, not {numbers.ndim}")
    if np.isinf(numbers).any():
        raise ValueError("values must be finite or NaN, but hold an infinite number")
    return np.sort(numbers[~np.isnan(numbers)] + 0.0)
