"""The share of conforming dies of the process that made some wafers: the wafer is the cluster.

Dies of a wafer are alike, so many dies on few wafers say less than as many single dies. The shares
of the wafers are taken to follow a beta law about the process's share p; conforming dies are then
beta-binomial, and the correlation rho of two dies of a wafer says how much the wafers differ.
The likelihood is averaged over rho with weights Beta(1/2, 2) and over p with Jeffreys' weights
Beta(1/2, 1/2); the interval of p is its middle 95 %.

Intervals by a t quantile at an effective sample size (Korn and Graubard 1998, Survey Methodology
24:193, quoted from memory) cover less: a wafer that comes out badly now and then is absent from
most small samples, and the spread of the others says nothing of it; at p = 0.98 and rho = 0.2 they
cover 62 to 75 % with 5 wafers and 85 % with 24. The weights on rho are our own choice: most weight
where wafers are alike, and none of rho excluded. The beta law is an assumption: where the wafers'
shares have a longer tail of bad ones (logit-normal), the interval holds p in 89 of 100 cases at
worst. All coverages are measured: tests/compute/stats/yield_coverage.md.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from sitegen.compute.stats.beta_binomial import log_likelihood
from sitegen.model.arrays import FloatArray

LEAST_WAFERS = 5
"""Of an interval for the process."""
NARROWED = (64, 32)
"""Cells of yield and correlation while the region that matters is looked for."""
FINAL = (192, 48)
NEGLIGIBLE = 20.0
"""Natural logarithm by which what is left out lies below the greatest density."""
LEAST_LOG = -700.0
"""Below it a density is taken as e^-700, which float64 still holds."""


@dataclass(frozen=True)
class ClusteredShare:
    """Share of the process with its interval, and how much wafers differ."""

    share: float
    """Pooled over the wafers' dies."""
    lower: float
    upper: float
    correlation: float | None
    """Of two dies of a wafer; None where no die, or every die, conforms."""
    correlation_lower: float | None
    correlation_upper: float | None
    design_effect: float | None
    """1 + (m - 1) correlation with m = sum of n^2 / sum of n (Kish 1965, quoted from memory)."""


@dataclass(frozen=True, eq=False)
class _Density:
    """Likelihood on a grid of angles; each set's greatest value is 1."""

    theta: FloatArray
    """Edges of the cells, (n_theta + 1,); the share is sin^2 of it."""
    phi: FloatArray
    """Edges of the cells, (n_phi + 1,); the correlation is its square."""
    likelihood: FloatArray
    """(n_sets, n_theta, n_phi), at the middles of the cells."""


def clustered_share(
    conforming: npt.ArrayLike, judged: npt.ArrayLike, confidence: float = 0.95
) -> ClusteredShare:
    """Share of the process that made these wafers; both arrays (n_wafers,).

    Wafers without a judged die are left out. The interval always holds the pooled share, and
    reaches 1 where every die conforms and 0 where none does, as usual with Jeffreys' weights
    (Brown, Cai and DasGupta 2001, Statistical Science 16:101, quoted from memory).

    Raises ValueError below `LEAST_WAFERS` wafers with judged dies, and where a count is impossible.
    """
    of = np.asarray(judged, dtype=np.int64)
    counts = np.asarray(conforming, dtype=np.int64)[of > 0]
    of = of[of > 0]
    if len(of) < LEAST_WAFERS:
        raise ValueError(f"{len(of)} wafers are too few for an interval of the process")
    density = _density(counts[np.newaxis], of)
    lower, upper = _ends(density, counts[np.newaxis], of, confidence)
    share = float(counts.sum() / of.sum())
    ends = float(lower[0]), float(upper[0])
    if share in (0.0, 1.0):
        return ClusteredShare(share, *ends, None, None, None, None)
    rho, least, most = _correlation(density, confidence)
    typical = float((of**2).sum() / of.sum())
    return ClusteredShare(share, *ends, rho, least, most, 1 + (typical - 1) * rho)


def share_intervals(
    conforming: npt.ArrayLike, judged: npt.ArrayLike, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Lower and upper ends for many sets of wafers at once, (n_sets,) each.

    conforming: (n_sets, n_wafers); judged: (n_wafers,), above zero and the same for every set.
    """
    counts, of = np.asarray(conforming, dtype=np.int64), np.asarray(judged, dtype=np.int64)
    return _ends(_density(counts, of), counts, of, confidence)


def _density(counts: npt.NDArray[np.int64], judged: npt.NDArray[np.int64]) -> _Density:
    """The weighted likelihood where it matters, found by narrowing a coarse grid twice.

    Over theta = arcsin sqrt(p) Jeffreys' weights are even; over phi = sqrt(rho) those of
    Beta(1/2, 2) are 1 - phi^2. Both integrands are even about the ends at 0, where sums over the
    middles of equal cells converge fast.
    """
    theta, phi = (0.0, np.pi / 2), (0.0, 1.0)
    for _ in range(2):
        log, edges = _on_grid(counts, judged, theta, phi, NARROWED)
        theta = _narrowed(edges[0], log.max(axis=2))
        phi = _narrowed(edges[1], log.max(axis=1))
    log, edges = _on_grid(counts, judged, theta, phi, FINAL)
    return _Density(*edges, np.exp(np.maximum(log, LEAST_LOG)))


def _on_grid(
    counts: npt.NDArray[np.int64],
    judged: npt.NDArray[np.int64],
    theta: tuple[float, float],
    phi: tuple[float, float],
    cells: tuple[int, int],
) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """Logarithm of the weighted likelihood, each set's greatest 0, and the edges of the cells."""
    edges = np.linspace(*theta, cells[0] + 1), np.linspace(*phi, cells[1] + 1)
    middle, rho = _middles(edges[0]), _middles(edges[1]) ** 2
    log = log_likelihood(counts, judged, np.sin(middle) ** 2, rho) + np.log1p(-rho)
    return log - log.max(axis=(1, 2), keepdims=True), edges


def _middles(edges: FloatArray) -> FloatArray:
    return np.asarray((edges[1:] + edges[:-1]) / 2)


def _narrowed(edges: FloatArray, log: FloatArray) -> tuple[float, float]:
    """The cells that matter for any set, with one more at each side. log: (n_sets, n_cells)."""
    kept = np.flatnonzero((log > -NEGLIGIBLE).any(axis=0))
    return float(edges[max(kept[0] - 1, 0)]), float(edges[min(kept[-1] + 2, len(edges) - 1)])


def _ends(
    density: _Density,
    counts: npt.NDArray[np.int64],
    judged: npt.NDArray[np.int64],
    confidence: float,
) -> tuple[FloatArray, FloatArray]:
    below = np.cumsum(density.likelihood.sum(axis=2), axis=1)
    below = np.insert(below, 0, 0.0, axis=1) / below[:, -1:]
    tails = (1 - confidence) / 2, (1 + confidence) / 2
    ends = np.sin([np.interp(tails, each, density.theta) for each in below]) ** 2
    pooled = counts.sum(axis=1) / judged.sum()
    return np.minimum(ends[:, 0], pooled), np.maximum(ends[:, 1], pooled)


def _correlation(density: _Density, confidence: float) -> tuple[float, float, float]:
    """Most likely correlation and the ends of its interval, the likelihood averaged over p.

    The interval holds every rho whose log-likelihood lies less than half the quantile of
    chi-squared with one degree of freedom below the greatest; it may include zero.
    """
    phi = _middles(density.phi)
    log = np.log(density.likelihood[0].sum(axis=0)) - np.log1p(-(phi**2))
    best = int(np.argmax(log))
    least = log[best] - float(ndtri((1 + confidence) / 2)) ** 2 / 2
    inside = np.flatnonzero(log >= least)
    first, last = int(inside[0]), int(inside[-1])
    lower = density.phi[0] if first == 0 else _crossing(phi, log, first - 1, least)
    upper = density.phi[-1] if last == len(phi) - 1 else _crossing(phi, log, last, least)
    return _peak(phi, log, best) ** 2, float(lower**2), float(upper**2)


def _crossing(x: FloatArray, y: FloatArray, place: int, level: float) -> float:
    """Where the line from one point to the next meets a level."""
    rise = y[place + 1] - y[place]
    return float(x[place] + (level - y[place]) / rise * (x[place + 1] - x[place]))


def _peak(x: FloatArray, y: FloatArray, best: int) -> float:
    """Top of the parabola through the greatest of equally spaced points and its neighbours.

    An end without a neighbour stands for itself; the first one for zero.
    """
    if best == 0:
        return 0.0 if x[0] < x[1] - x[0] else float(x[0])
    if best == len(x) - 1:
        return float(x[best])
    before, at, after = y[best - 1 : best + 2]
    shift = 0.5 * (before - after) / (before - 2 * at + after)
    return float(x[best] + shift * (x[1] - x[0]))
