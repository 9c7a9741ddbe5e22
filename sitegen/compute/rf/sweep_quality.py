"""Quality of many sweeps at once: noise, steps, passivity, reciprocity, causality.

Sweeps are (n, n_freq, n_port, n_port) complex. Every bound is our own choice but for the grades of
causality. A fault that a bound does not reach is not found, and a bound is never the instrument's.
"""

from dataclasses import dataclass
from math import comb

import numpy as np

from sitegen.compute.rf.checks import largest_singular_value
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

LEAST_POINTS = 16
"""Fewer tell no noise from the course of the sweep."""
MOST_NOISE = 0.01
"""Of S-parameters up to 1; of greater ones (gain) the same share."""
MOST_STEP = 0.01
"""Likewise, of a step between neighbouring points ..."""
STEP_OVER_NOISE = 20.0
"""... that is also so many times the noise. The jump has 3.2 times the noise's deviation."""
COVERAGE = 3.0
"""Uncertainties that singular value and non-reciprocity may exceed their ideal by."""
REMAINDER = 0.002
"""Allowed beside the uncertainty."""
TOLERANCE = 0.02
"""Allowed where no uncertainty is stated."""
CAUSALITY_SCOPE_HZ = 50e9
"""The standard's scope: points above are left out."""
_ORDERS = (2, 3, 4, 5, 6)
_JUMP = (-0.375, 1.25, -1.875, 1.875, -1.25, 0.375)
_NEAR, _FAR = 3, 6
"""In points: a step's own response reaches 2 points from it, a resonance's further."""
_ISOLATION = 4.0
_MEAN_OF_NORMAL = 0.8
"""Mean of |x| of a normal x with deviation 1."""
_OVER_NOISE = 2.0
_RESPONSE = (0.0, 0.375, -0.875, 1.0, -0.875, 0.375, 0.0)
"""Of the measure to a step of one, at the step and three points to each side."""
_LIKENESS = 0.95


def noise_rms(s: ComplexArray) -> FloatArray:
    """Distance of each S-parameter from a smooth course, (n, n_port, n_port); NaN: too few points.

    Differences of order m amplify white noise sqrt(C(2m, m)) times and a smooth course less and
    less; the least of orders 2 to 6 is taken, each from the median of the squares, which for
    complex noise is ln 2 of the mean. Above about 0.6 rad a point even a clean sweep looks noisy.
    """
    if s.shape[1] < LEAST_POINTS:
        return np.full((s.shape[0], *s.shape[2:]), np.nan)
    found = []
    difference = np.diff(s, axis=1)
    for order in _ORDERS:
        difference = np.diff(difference, axis=1)
        squares = difference.real**2 + difference.imag**2
        found.append(np.median(squares, axis=1) / (comb(2 * order, order) * np.log(2.0)))
    least: FloatArray = np.sqrt(np.min(found, axis=0))
    return least


@dataclass(frozen=True, eq=False)
class Steps:
    """The largest jump of each sweep, (n,); NaN with too few points."""

    jump: FloatArray
    """|S| as a share of the S-parameter's size, at least 1."""
    over_noise: FloatArray
    at_hz: FloatArray
    suspect: BoolArray


@np.errstate(all="ignore")
def steps(s: ComplexArray, noise: FloatArray, frequency_hz: FloatArray) -> Steps:
    """Jumps between neighbours: parabolas from three points on each side, compared half-way.

    A jump counts where it stands alone: 3 to 6 points away the same measure is less than a quarter
    of it, and around it a step explains 95 % of the measure. A resonance is steep further out, and
    one between two points is a spike. Noise is taken to grow with S where S is large.
    """
    n, n_freq = s.shape[:2]
    if n_freq < LEAST_POINTS:
        nothing = np.full(n, np.nan)
        return Steps(nothing, nothing, nothing, np.zeros(n, dtype=bool))
    size = len(_JUMP)
    r: ComplexArray = np.zeros((n, n_freq - size + 1, *s.shape[2:]), dtype=np.complex128)
    for at, c in enumerate(_JUMP):
        r = r + c * s[:, at : n_freq - size + 1 + at]
    jump = np.abs(r)
    padding = ((0, 0), (_FAR, _FAR), (0, 0), (0, 0))
    padded = np.pad(jump, padding)
    n_jump = jump.shape[1]
    around = np.zeros_like(jump)
    for away in range(_NEAR, _FAR + 1):
        for before in (_FAR - away, _FAR + away):
            around = np.maximum(around, padded[:, before : before + n_jump])
    scale = sizes(s)[:, np.newaxis]
    share = jump / scale
    size_there = np.maximum(np.abs(s[:, 2:-3]), np.abs(s[:, 3:-2]))
    typical = np.maximum(np.median(np.abs(s), axis=1), 1e-3)[:, np.newaxis]
    level = noise[:, np.newaxis] * np.maximum(size_there / typical, 1.0)
    over = jump / np.maximum(level, 1e-15)
    counts = (share > MOST_STEP) & (over > STEP_OVER_NOISE) & (jump > _ISOLATION * around)
    counts = counts & (_likeness_to_step(r) > _LIKENESS)
    rank = np.where(counts, share + 1e6, np.nan_to_num(share)).reshape(n, -1)
    best = rank.argmax(axis=1)
    rows = np.arange(n)
    place = best // (s.shape[2] * s.shape[3])
    middle_hz = 0.5 * (frequency_hz[2:-3] + frequency_hz[3:-2])
    known = np.isfinite(s).all(axis=(1, 2, 3))
    return Steps(
        np.where(known, share.reshape(n, -1)[rows, best], np.nan),
        np.where(known, over.reshape(n, -1)[rows, best], np.nan),
        np.where(known, middle_hz[place], np.nan),
        np.asarray(counts.any(axis=(1, 2, 3))),
    )


def _likeness_to_step(r: ComplexArray) -> FloatArray:
    """Share of the measure around each point that a step there explains, the shape of `r`."""
    padded = np.pad(r, ((0, 0), (3, 3), (0, 0), (0, 0)))
    n = r.shape[1]
    along: ComplexArray = np.zeros_like(r)
    energy: FloatArray = np.zeros(r.shape)
    for at, c in enumerate(_RESPONSE):
        there = padded[:, at : at + n]
        along = along + c * there
        energy = energy + there.real**2 + there.imag**2
    share: FloatArray = (along.real**2 + along.imag**2) / (energy * sum(c * c for c in _RESPONSE))
    return share


def sizes(s: ComplexArray) -> FloatArray:
    """rms of each S-parameter over the points, at least 1, (n, n_port, n_port)."""
    size: FloatArray = np.maximum(np.sqrt(np.mean(s.real**2 + s.imag**2, axis=1)), 1.0)
    return size


@dataclass(frozen=True, eq=False)
class Excess:
    """How far a sweep goes where a passive device cannot, (n,)."""

    greatest: FloatArray
    at_hz: FloatArray
    """Where it exceeds what is allowed most."""
    suspect: BoolArray


def passivity(s: ComplexArray, covariance: FloatArray | None, frequency_hz: FloatArray) -> Excess:
    """Greatest singular value; suspect where it passes 1 by more than is allowed.

    A change dS moves a singular value by at most its Frobenius norm; with the greater of the
    two variances of each S-parameter that norm is taken as u, whatever the correlation. Allowed
    are `COVERAGE` u and `REMAINDER`, or `TOLERANCE` where no covariance, (*s.shape, 3), is stated.
    """
    value = np.abs(s[..., 0, 0]) if s.shape[-1] == 1 else largest_singular_value(s)
    u = None if covariance is None else np.sqrt(_variance(covariance).sum(axis=(-2, -1)))
    return _excess(value, 1.0, u, frequency_hz)


def reciprocity(s: ComplexArray, covariance: FloatArray | None, frequency_hz: FloatArray) -> Excess:
    """|S21 - S12| of two-port sweeps, suspect as `passivity`; u is u(S21) + u(S12)."""
    value = np.abs(s[..., 1, 0] - s[..., 0, 1])
    u = None
    if covariance is not None:
        deviation = np.sqrt(_variance(covariance))
        u = deviation[..., 1, 0] + deviation[..., 0, 1]
    return _excess(value, 0.0, u, frequency_hz)


def _variance(covariance: FloatArray) -> FloatArray:
    greater: FloatArray = np.maximum(covariance[..., 0], covariance[..., 1])
    return greater


def _excess(
    value: FloatArray, ideal: float, u: FloatArray | None, frequency_hz: FloatArray
) -> Excess:
    allowed = np.full(value.shape, TOLERANCE)
    if u is not None:
        allowed = np.where(np.isfinite(u), COVERAGE * u + REMAINDER, TOLERANCE)
    known = np.isfinite(value)
    beyond = np.where(known, value - ideal - allowed, -np.inf)
    greatest = np.where(known, value, -np.inf).max(axis=1)
    some = known.any(axis=1)
    return Excess(
        np.where(some, greatest, np.nan),
        np.where(some, frequency_hz[beyond.argmax(axis=1)], np.nan),
        np.asarray((beyond > 0.0).any(axis=1)),
    )


def not_causal_because(frequency_hz: FloatArray) -> str:
    """Why causality cannot be assessed on a frequency list; '' where it can."""
    within = frequency_hz[frequency_hz <= CAUSALITY_SCOPE_HZ]
    if len(within) < LEAST_POINTS:
        return f"causality: fewer than {LEAST_POINTS} points up to 50 GHz"
    spacing = np.diff(within)
    if not np.allclose(spacing, spacing[0], rtol=1e-6):
        return "causality: the frequency list is not equidistant"
    multiple = within[0] / spacing[0]
    if abs(multiple - round(multiple)) > 1e-3:
        return "causality: the frequencies are not multiples of their spacing"
    if multiple > 2.5:
        return "causality: the sweep does not begin near DC"
    return ""


@np.errstate(all="ignore")
def causality_percent(
    s: ComplexArray, frequency_hz: FloatArray, noise: FloatArray | None = None
) -> FloatArray:
    """Initial causality quality in the frequency domain, %, of the worst S-parameter, (n,).

    The share of turning that is clockwise: with v_k = S_k+1 - S_k the sum of the positive
    R_k = Re v_k+1 Im v_k - Im v_k+1 Re v_k over the sum of |R_k| (IEEE 370-2020, quoted from
    memory; its scope ends at 50 GHz, and so do the points taken). Above 80 good, above 50
    acceptable, above 20 inconclusive, else poor. An S-parameter that does not change has 100,
    noise alone about 50.

    Args:
        noise: of each S-parameter as `noise_rms` gives it; S-parameters whose turning is not twice
            what it makes of their course are left out, NaN where all are. None: all are taken.
    """
    v = np.diff(s[:, frequency_hz <= CAUSALITY_SCOPE_HZ], axis=1)
    first, second = v[:, :-1], v[:, 1:]
    turning = second.real * first.imag - second.imag * first.real
    total = np.abs(turning).sum(axis=1)
    share = np.maximum(turning, 0.0).sum(axis=1) / total
    share = np.where((v == 0).all(axis=1), 1.0, np.where(total == 0, 0.0, share))
    if noise is not None:
        along = first.real * second.real + first.imag * second.imag
        squares = np.abs(first) ** 2 + np.abs(second) ** 2 + along
        by_noise = _MEAN_OF_NORMAL * noise * np.sqrt(np.maximum(squares, 0.0)).sum(axis=1)
        share = np.where(total > _OVER_NOISE * by_noise, share, np.inf)
    percent: FloatArray = 100.0 * share.min(axis=(1, 2))
    return np.where(np.isfinite(percent), percent, np.nan)


def causality_grade(percent: float) -> str:
    """good, acceptable, inconclusive or poor."""
    for bound, grade in ((80.0, "good"), (50.0, "acceptable"), (20.0, "inconclusive")):
        if percent > bound:
            return grade
    return "poor"
