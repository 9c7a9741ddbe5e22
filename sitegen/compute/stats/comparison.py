"""Differences of two means with intervals, their size in spreads, and whether they are equivalent.

All arguments are arrays (m,) or numbers, one comparison a place; float64 comes back. NaN: not
stated. Values are taken as normal and independent; spreads may differ, except in Hedges' g.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, nctdtrinc, ndtri, stdtr, stdtrit

from sitegen.model.arrays import FloatArray
from sitegen.model.statistics import CONFIDENCE

LEAST = 2
"""Fewest units on each side."""
EXACT_BELOW = 100.0
"""Degrees of freedom below which the bounds of g come from the noncentral t itself."""


@dataclass(frozen=True, eq=False)
class Group:
    """What is known of one side of each comparison; arrays (m,)."""

    n: FloatArray
    """Units: values, or means of wafers."""
    mean: FloatArray
    variance: FloatArray
    """With divisor n - 1; not used where n < 2."""


@dataclass(frozen=True, eq=False)
class Difference:
    """First minus second; arrays (m,)."""

    value: FloatArray
    u: FloatArray
    """Standard uncertainty: sampling and what was given beside it."""
    freedom: FloatArray
    """Effective degrees of freedom; infinite where only what was given beside counts."""
    p_value: FloatArray
    """Two-sided, of a difference so large where there is none."""

    def interval(self, confidence: float = CONFIDENCE) -> tuple[FloatArray, FloatArray]:
        """value -+ t u."""
        half = stdtrit(self.freedom, 0.5 + confidence / 2) * self.u
        return self.value - half, self.value + half


def welch(first: Group, second: Group, besides: npt.ArrayLike = 0.0) -> Difference:
    """Difference of two means whose spreads may differ.

    u² = s1²/n1 + s2²/n2 + besides²; degrees of freedom by Welch (1947, Biometrika 34:28) and
    Satterthwaite (1946, Biometrics Bulletin 2:110), `besides` with infinitely many (JCGM 100:2008,
    G.4.1, equation G.2b). besides: a standard uncertainty that the spread of the units does not
    show. NaN with fewer than `LEAST` units on a side, and where no unit differs from its own side's
    others: a spread of nothing says nothing.
    """
    value = first.mean - second.mean
    parts = [
        np.where(one.n >= LEAST, one.variance, np.nan) / np.maximum(one.n, 1)
        for one in (first, second)
    ]
    sampling = parts[0] + parts[1]
    sampling = np.where(sampling > 0, sampling, np.nan)
    variance = sampling + np.asarray(besides, dtype=np.float64) ** 2
    spent = sum(
        (part / variance) ** 2 / np.maximum(one.n - 1, 1)
        for part, one in zip(parts, (first, second), strict=True)
    )
    u = np.sqrt(variance)
    freedom = 1 / np.asarray(spent)
    return Difference(value, u, freedom, 2 * stdtr(freedom, -np.abs(value) / u))


def hedges_g(
    first: Group, second: Group, confidence: float = CONFIDENCE
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The difference in pooled standard deviations: g, and the interval of what it estimates.

    g = J(f) (mean1 - mean2) / s, f = n1 + n2 - 2, J(f) = Γ(f/2) / (sqrt(f/2) Γ((f-1)/2)) (Hedges
    1981, Journal of Educational Statistics 6:107). Bounds: noncentralities at which the t found is
    a quantile, over sqrt(n1 n2 / (n1 + n2)) (Steiger and Fouladi 1997, in What If There Were No
    Significance Tests?); from `EXACT_BELOW` degrees of freedom on in closed form,
    t (1 - 1/(4 f)) -+ z sqrt(1 + t²/(2 f)) (Abramowitz and Stegun, 26.7.10). Both sides are taken
    to spread alike. NaN where `welch` states nothing.
    """
    freedom = np.where((first.n >= LEAST) & (second.n >= LEAST), first.n + second.n - 2, np.nan)
    squares = (first.n - 1) * first.variance + (second.n - 1) * second.variance
    spread = np.sqrt(squares / freedom)
    d = (first.mean - second.mean) / np.where(spread > 0, spread, np.nan)
    half = freedom / 2
    unbiased = np.exp(gammaln(half) - gammaln(half - 0.5)) / np.sqrt(half)
    scale = np.sqrt(first.n * second.n / np.maximum(first.n + second.n, 1))
    t = d * scale
    z = ndtri(0.5 + confidence / 2)
    middle, reach = t * (1 - 1 / (4 * freedom)), z * np.sqrt(1 + t**2 / (2 * freedom))
    lower, upper = middle - reach, middle + reach
    few = (freedom < EXACT_BELOW) & ~np.isnan(t)
    tail = (1 - confidence) / 2
    lower = np.asarray(lower)
    upper = np.asarray(upper)
    lower[few] = nctdtrinc(freedom[few], 1 - tail, t[few])
    upper[few] = nctdtrinc(freedom[few], tail, t[few])
    over = np.where(scale > 0, scale, np.nan)
    return unbiased * d, lower / over, upper / over


@dataclass(frozen=True, eq=False)
class Margins:
    """Two one-sided tests of each difference; arrays (m,)."""

    lower: FloatArray
    upper: FloatArray
    """The interval of confidence 1 - 2 level."""
    p_value: FloatArray
    """The greater of the two one-sided ones."""
    verdict: npt.NDArray[np.str_]
    """'equivalent', 'different by more', 'not shown' or 'not stated'."""


def equivalence(difference: Difference, margin: float, level: float = 0.05) -> Margins:
    """Whether each difference is shown to be smaller than the margin.

    Equivalent: the interval of confidence 1 - 2 level lies inside -+ margin, that is, both
    one-sided tests at the level reject (Schuirmann 1987, Journal of Pharmacokinetics and
    Biopharmaceutics 15:657). Different by more: it lies wholly beyond one of the margins. Raises
    ValueError unless margin > 0.
    """
    if not margin > 0:
        raise ValueError(f"a margin lies above 0, not {margin}")
    lower, upper = difference.interval(1 - 2 * level)
    value, u, freedom = difference.value, difference.u, difference.freedom
    p_value = stdtr(freedom, (np.abs(value) - margin) / u)
    verdict = np.select(
        [
            np.isnan(p_value),
            (lower > -margin) & (upper < margin),
            (lower > margin) | (upper < -margin),
        ],
        ["not stated", "equivalent", "different by more"],
        "not shown",
    )
    return Margins(lower, upper, p_value, verdict)
