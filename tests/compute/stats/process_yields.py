"""Simulated wafers whose dies are alike, and how often an interval holds the process's yield.

Nothing here is shared with what it tests: wafers' own yields are drawn, then their dies.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import root
from scipy.special import expit, logit, ndtr
from scipy.stats import beta, t

Counts = npt.NDArray[np.int64]
Ends = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]
Method = Callable[[Counts, Counts], Ends]
"""From conforming dies (n_sets, n_wafers) and judged ones (n_wafers,) to lower and upper ends."""
Law = Literal["beta", "logit-normal", "probit-normal"]
LEAST = 0.93
UNEQUAL = (88, 300, 20, 150, 60)


@dataclass(frozen=True)
class Case:
    """A process and the wafers that are measured of it."""

    judged: tuple[int, ...]
    share: float
    correlation: float
    """Of two dies of a wafer, as they conform or not."""
    law: Law = "beta"
    """Of the wafers' own yields."""

    @property
    def wafers(self) -> str:
        """'5 x 88', '10 of 20 to 300'."""
        n, least, most = len(self.judged), min(self.judged), max(self.judged)
        return f"{n} x {least}" if least == most else f"{n} of {least} to {most}"


def simulated(case: Case, sets: int, seed: int) -> Counts:
    """Conforming dies, (sets, n_wafers)."""
    random = np.random.default_rng(seed)
    shape = (sets, len(case.judged))
    p, rho = case.share, case.correlation
    own = np.full(shape, p)
    if rho and case.law == "beta":
        own = random.beta(p * (1 - rho) / rho, (1 - p) * (1 - rho) / rho, shape)
    elif rho:
        own = _of_normal(case.law)(_normal_yields(p, rho, case.law, random, shape))
    return random.binomial(np.array(case.judged), own).astype(np.int64)


def _of_normal(law: Law) -> Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]:
    return expit if law == "logit-normal" else ndtr


def _normal_yields(
    p: float, rho: float, law: Law, random: np.random.Generator, shape: tuple[int, int]
) -> npt.NDArray[np.float64]:
    """Normal numbers whose image has mean p and variance rho p (1 - p), found by quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = weights / weights.sum()

    def moments(of: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        own = _of_normal(law)(of[0] + np.exp(of[1]) * nodes)
        mean = weights @ own
        spread = weights @ (own - mean) ** 2
        return np.array([logit(mean) - logit(p), np.log(spread / (rho * p * (1 - p)))])

    found = root(moments, [logit(p), 0.5 * np.log(rho / (p * (1 - p)))])
    assert found.success
    centre, log_spread = found.x
    return np.asarray(centre + np.exp(log_spread) * random.standard_normal(shape))


def coverage(method: Method, case: Case, sets: int, seed: int) -> float:
    """Share of the simulated sets of wafers whose interval holds the process's yield."""
    lower, upper = method(simulated(case, sets, seed), np.array(case.judged))
    return float(np.mean((lower <= case.share) & (case.share <= upper)))


def median_width(method: Method, case: Case, sets: int, seed: int) -> float:
    """Median width of the intervals."""
    lower, upper = method(simulated(case, sets, seed), np.array(case.judged))
    return float(np.median(upper - lower))


def pooled_wilson(conforming: Counts, judged: Counts) -> Ends:
    """The interval that takes every die of every wafer as independent."""
    n = judged.sum()
    p = conforming.sum(axis=1) / n
    z = 1.959963984540054
    centre = (p + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z * np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
    return centre - half, centre + half


def effective_exact(conforming: Counts, judged: Counts) -> Ends:
    """Clopper and Pearson's interval at the effective sample size of Korn and Graubard 1998."""
    k, n = len(judged), judged.sum()
    p = conforming.sum(axis=1) / n
    spread = ((conforming - p[:, np.newaxis] * judged) ** 2).sum(axis=1)
    variance = k / (k - 1) * spread / n**2
    with np.errstate(divide="ignore", invalid="ignore"):
        size = p * (1 - p) / variance * (t.ppf(0.975, n - 1) / t.ppf(0.975, k - 1)) ** 2
        size = np.where(variance > 0, np.minimum(size, n), n)
        lower = np.where(p > 0, beta.ppf(0.025, p * size, (1 - p) * size + 1), 0.0)
        upper = np.where(p < 1, beta.ppf(0.975, p * size + 1, (1 - p) * size), 1.0)
    return lower, upper


def narrowed(method: Method, by: float = 0.9) -> Method:
    """The same intervals, each end drawn towards the pooled share."""

    def drawn_in(conforming: Counts, judged: Counts) -> Ends:
        lower, upper = method(conforming, judged)
        pooled = conforming.sum(axis=1) / judged.sum()
        return pooled - by * (pooled - lower), pooled + by * (upper - pooled)

    return drawn_in
