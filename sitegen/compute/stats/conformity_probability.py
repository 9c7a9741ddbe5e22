"""Probabilities of conformity and the risks of deciding by acceptance limits, for normal laws.

Source: JCGM 106:2012, clause 7 (conformity from a value and its uncertainty, with and without
knowledge of the process) and clause 9 (consumer's and producer's risks); numbers of clauses and
equations are quoted from memory. Tolerance limits are exact; one that does not exist is None.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from sitegen.model.arrays import FloatArray

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_KNOTS = np.array([-9.0, -6.0, -4.0, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 4.0, 6.0, 9.0])
"""Where an integral is cut, in standard deviations about whatever bends the integrand."""
_FAR = 12.0
"""Standard deviations beyond which a normal law is taken as nothing: 2e-33."""


@dataclass(frozen=True)
class GlobalRisks:
    """Of an item drawn from the process, before it is measured; JCGM 106:2012, clause 9."""

    consumer: float
    """Probability that it is accepted and lies outside its tolerance limits."""
    producer: float
    """Probability that it is not accepted and lies between them."""
    conforming: float
    """Probability that it lies between them."""


def probability_of_conformity(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
) -> FloatArray:
    """Probability that a normal measurand lies between its limits, given value and uncertainty.

    p = Phi((upper - y) / u) - Phi((lower - y) / u), JCGM 106:2012, equation (7) (its number quoted
    from memory). Shapes (n,) or scalar, one unit; NaN where value or uncertainty is NaN; for u = 0
    it is 1 between the limits or on one, else 0; 1 without a limit. Raises ValueError for a
    negative uncertainty.
    """
    y, u = np.broadcast_arrays(
        np.asarray(value, dtype=np.float64), np.asarray(standard_uncertainty, dtype=np.float64)
    )
    if (u < 0).any():
        raise ValueError("a standard uncertainty must not be negative")
    low, high = ends(lower, upper)
    divisor = np.where(u > 0, u, 1.0)
    a, b = (low - y) / divisor, (high - y) / divisor
    # Both tails are taken on the side where Phi is small, so that no digits are lost.
    spread = np.where(a > 0, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))
    exact = ((y >= low) & (y <= high)).astype(np.float64)
    known = ~(np.isnan(y) | np.isnan(u))
    return np.asarray(np.where(known, np.where(u > 0, spread, exact), np.nan), dtype=np.float64)


def posterior(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    prior_mean: float,
    prior_standard_deviation: float,
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of the measurand, from a normal prior and a measured value.

    Both are weighted by their inverse variances, JCGM 106:2012, clause 7 (normal prior, normal
    measurement). Shapes (n,) or scalar; NaN where value or uncertainty is; with u = 0 the value
    itself, with no spread. Raises ValueError for a prior without spread.
    """
    if not 0 < prior_standard_deviation < np.inf:
        raise ValueError("a prior needs a positive standard deviation")
    y, u = np.broadcast_arrays(
        np.asarray(value, dtype=np.float64), np.asarray(standard_uncertainty, dtype=np.float64)
    )
    ratio = u / prior_standard_deviation
    share = 1.0 / (1.0 + ratio**2)
    return (
        np.asarray(share * y + (1.0 - share) * prior_mean),
        np.asarray(u * np.sqrt(share)),
    )


def global_risks(
    prior_mean: float,
    prior_standard_deviation: float,
    standard_uncertainty: float,
    tolerance: tuple[float | None, float | None],
    acceptance: tuple[float | None, float | None],
) -> GlobalRisks:
    """Risks of accepting what is measured between acceptance limits, over a normal process.

    With the process' density g and the probability h(eta) that a measurement of eta is accepted,
    R_C is the integral of g h outside the tolerance limits, R_P that of g (1 - h) between them;
    JCGM 106:2012, clause 9. Each is integrated by itself (Gauss and Legendre, cut where g or h
    bends), so that no small risk is a difference of large figures. Acceptance limits that cross
    accept nothing. One unit throughout; u = 0 measures exactly.
    """
    m, s, u = prior_mean, prior_standard_deviation, standard_uncertainty
    if not 0 < s < np.inf or not 0 <= u < np.inf:
        raise ValueError("risks need a prior with spread and an uncertainty of at least zero")
    low, high = ends(*tolerance)
    accept_low, accept_high = ends(*acceptance)
    least, greatest = m - _FAR * s, m + _FAR * s
    bends = [accept_low + u * _KNOTS, accept_high + u * _KNOTS]
    knots = np.concatenate([m + s * _KNOTS, *bends])

    def density(eta: FloatArray) -> FloatArray:
        return np.asarray(np.exp(-0.5 * ((eta - m) / s) ** 2) / (s * np.sqrt(2.0 * np.pi)))

    def accepted(eta: FloatArray) -> FloatArray:
        if accept_low > accept_high:
            return np.zeros(eta.shape)
        return probability_of_conformity(eta, u, accept_low, accept_high)

    def refused(eta: FloatArray) -> FloatArray:
        if accept_low > accept_high:
            return np.ones(eta.shape)
        below = probability_of_conformity(eta, u, None, accept_low)
        return below + probability_of_conformity(eta, u, accept_high, None)

    def over(start: float, end: float, what: str) -> float:
        start, end = max(start, least), min(end, greatest)
        if not start < end:
            return 0.0
        inside = np.unique(knots[(knots > start) & (knots < end)])
        edges = np.concatenate([[start], inside, [end]])
        half = 0.5 * np.diff(edges)
        eta = 0.5 * (edges[:-1] + edges[1:])[:, np.newaxis] + half[:, np.newaxis] * _NODES
        of = {"accepted": accepted, "refused": refused}.get(what)
        integrand = density(eta) if of is None else density(eta) * of(eta)
        return float(np.sum(half[:, np.newaxis] * _WEIGHTS * integrand))

    return GlobalRisks(
        consumer=over(-np.inf, low, "accepted") + over(high, np.inf, "accepted"),
        producer=over(low, high, "refused"),
        conforming=over(low, high, "all"),
    )


def ends(lower: float | None, upper: float | None) -> tuple[float, float]:
    """Limits as numbers, infinite where there is none."""
    return -np.inf if lower is None else lower, np.inf if upper is None else upper
