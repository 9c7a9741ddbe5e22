"""Tails of a sample in words, beside the test of normal values."""

from sitegen.compute.stats.moments import Moments, kurtosis_p_value, skewness_p_value

LEVEL = 0.01
"""Two-sided; each word stands on at most this share of normal samples."""
LEAST_FOR_SKEWNESS, LEAST_FOR_KURTOSIS = 8, 20
"""Values from which on the tests' approximations hold."""
NOTED_SKEWNESS, NOTED_HEAVY, NOTED_LIGHT = 0.5, 1.0, -0.5
"""Departures smaller than these are not put into words, however sure they are; common practice."""


def tails_in_words(found: Moments) -> str:
    """'' or for example 'longer to the right, heavier than normal'."""
    words = []
    n, skewness, kurtosis = found.n, found.skewness, found.excess_kurtosis
    if (
        skewness is not None
        and n >= LEAST_FOR_SKEWNESS
        and abs(skewness) >= NOTED_SKEWNESS
        and skewness_p_value(skewness, n) < LEVEL
    ):
        words.append("longer to the right" if skewness > 0 else "longer to the left")
    if (
        kurtosis is not None
        and n >= LEAST_FOR_KURTOSIS
        and not NOTED_LIGHT < kurtosis < NOTED_HEAVY
        and kurtosis_p_value(kurtosis, n) < LEVEL
    ):
        words.append("heavier than normal" if kurtosis > 0 else "lighter than normal")
    return ", ".join(words)
