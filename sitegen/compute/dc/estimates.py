"""What an estimator says of each curve: value, uncertainty of the extraction, remarks."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats

from sitegen.model.arrays import BoolArray, FloatArray

Texts = npt.NDArray[np.object_]

IN_95_PERCENT = float(stats.norm.ppf(0.975))
FEWEST_TO_SHARE = 8
"""Curves that noise is shared between, at least."""
ONE_IN = 1e-3
"""Probability by chance of a noise as large as that of a curve which keeps its own."""
MANY = 1e6
"""Degrees of freedom that are as good as infinitely many."""


@dataclass(frozen=True, eq=False)
class Estimate:
    """A figure of each of n curves."""

    value: FloatArray
    """(n,), NaN where `no_value` says why."""
    u_extraction: FloatArray
    """(n,) standard uncertainty that the readings' noise adds; NaN: not known."""
    misfit: FloatArray
    """(n,) how far the figure may be off because the curve is not the law taken between or through
    its points, signed where the sign is known; its size is a standard uncertainty, of a like size
    on like curves. 0: the estimator has none."""
    used: BoolArray
    """(n, p) points that the value rests on."""
    wanted: BoolArray
    """(n, p) points that it would rest on if none were left out."""
    no_value: Texts
    remarks: Texts
    not_reached: BoolArray
    """(n,): the true value lies beyond `value`."""
    details: Mapping[str, FloatArray] = field(default_factory=dict)


def estimate(
    value: FloatArray,
    u_extraction: FloatArray,
    used: BoolArray,
    reasons: list[tuple[BoolArray, str | Texts]],
    *,
    misfit: FloatArray | None = None,
    wanted: BoolArray | None = None,
    not_reached: BoolArray | None = None,
    details: Mapping[str, FloatArray] | None = None,
) -> Estimate:
    """An estimate; reasons: why there is none and for which curves, the first that holds."""
    n = len(value)
    told = np.full(n, "", dtype=object)
    for where, text in reversed(reasons):
        told[where] = text[where] if isinstance(text, np.ndarray) else text
    told[(told == "") & ~np.isfinite(value)] = "not determined: the readings give no number"
    lacking = told != ""
    return Estimate(
        value=np.where(lacking, np.nan, value),
        u_extraction=np.where(lacking, np.nan, u_extraction),
        misfit=np.where(lacking, np.nan, np.zeros(n) if misfit is None else misfit),
        used=used & ~lacking[:, None],
        wanted=used if wanted is None else wanted,
        no_value=told,
        remarks=np.full(n, "", dtype=object),
        not_reached=(np.zeros(n, dtype=bool) if not_reached is None else not_reached) & ~lacking,
        details=details or {},
    )


def beyond_noise(found: FloatArray, noise: FloatArray) -> FloatArray:
    """(n,) what of a misfit the readings' noise does not explain, with its sign.

    sqrt(found^2 - noise^2), 0 where noise, the standard uncertainty of `found`, is the larger.
    """
    square = np.nan_to_num(found) ** 2 - np.nan_to_num(noise) ** 2
    return np.asarray(np.sign(np.nan_to_num(found)) * np.sqrt(np.maximum(square, 0.0)))


def widened(s: FloatArray, freedom: npt.ArrayLike) -> FloatArray:
    """(n,) standard deviations of noise, shared between curves and widened for few points.

    s: (n,) found with `freedom` degrees of freedom each, few where a cubic goes through seven
    points. The curves of a wafer are read with one instrument, so each variance is drawn towards
    that of all, the more the less they differ beyond chance (G. K. Smyth, Stat. Appl. Genet. Mol.
    Biol. 3 (2004) art. 3, section 6: moderated variances; quoted from memory). A curve noisier
    than the rest beyond what one in a thousand is by chance keeps its own; fewer than
    `FEWEST_TO_SHARE` share nothing.

    The result is times t/z of 95 % for the degrees of freedom that it then has, so that a normal
    interval with it covers 95 % (the quantile of Student's t in place of the normal one, JCGM
    100:2008, G.3.2). NaN without freedom.
    """
    free = np.broadcast_to(np.asarray(freedom, dtype=np.float64), s.shape)
    known = (free > 0) & np.isfinite(s)
    own, few = s[known], free[known]
    shared_freedom, shared = _prior(own[own > 0] ** 2, few[own > 0])
    apart = stats.f.sf(own**2 / shared, few, shared_freedom) < ONE_IN
    weight = np.where(apart, 0.0, shared_freedom)
    square = (weight * shared + few * own**2) / (weight + few)
    found = np.full(s.shape, np.nan)
    found[known] = np.sqrt(square) * stats.t.ppf(0.975, weight + few) / IN_95_PERCENT
    return found


def _prior(variance: FloatArray, freedom: FloatArray) -> tuple[float, float]:
    """Degrees of freedom and variance of what curves have in common, by the moments of log s^2.

    (0, 1) where there are too few; `MANY` where they differ by no more than chance.
    """
    if len(variance) < FEWEST_TO_SHARE:
        return 0.0, 1.0
    log = np.log(variance) - special.digamma(freedom / 2) + np.log(freedom / 2)
    beyond = log.var(ddof=1) - special.polygamma(1, freedom / 2).mean()

    def excess(shared: float) -> float:
        return float(special.polygamma(1, shared / 2) - beyond)

    low = 1e-3
    if excess(low) < 0:
        return 0.0, 1.0
    shared = MANY if excess(MANY) > 0 else float(optimize.brentq(excess, low, MANY))
    shift = float(special.digamma(shared / 2)) - np.log(shared / 2)
    return shared, float(np.exp(log.mean() + shift))
