"""A smooth course through a gain in dB, and how far from it a point may lie.

The course is 1/gain = a + b f + c f^2 + d f^4 (flat below one pole, the fall above it, a zero far
above), fitted robustly to relative differences: iterated least squares, first with the weights of
least absolute values, then with Tukey's biweight.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.estimates import DEVIATION_OF_MEDIAN, ends, median
from sitegen.model.arrays import BoolArray, FloatArray

FEWEST_FOR_COURSE = 8
"""With fewer points no course is fitted and none is left out."""
LEAST_STEP_DB = 0.1
"""A point is not left out for less than this."""
_LEAST_ABSOLUTE, _BIWEIGHT = 4, 4
"""Steps with either kind of weights."""
_TUNING = 4.685
"""Of the biweight: 95 % efficient for normal noise."""
_REJECTED = 4.0
"""Standard deviations from the course at which a point is left out."""
_FARTHEST_DB = 60.0
"""A departure from the course is taken for no more than this."""
_LEAST_RATIO = 1e-30
"""1/gain of a course that goes below 0."""
_NEPERS_PER_DB = np.log(10.0) / 10.0
"""Of a ratio of powers."""
_STRETCHES = 6


@dataclass(frozen=True, eq=False)
class Course:
    """A robust smooth course through the points of each sweep."""

    departure: FloatArray
    """(n, n_f) from it in dB; NaN where there is no point, 0 with too few for a course."""
    start_slope: FloatArray
    """(n,) dB per decade at its first point; NaN with too few for a course."""
    end_slope: FloatArray
    noise_shape: FloatArray
    """(n, n_f) how the noise goes over frequency, 1 at the middle point."""

    def bound(self) -> FloatArray:
        """How far from its course each point may lie, (n, n_f)."""
        scale = DEVIATION_OF_MEDIAN * median(np.abs(self.departure / self.noise_shape))
        bound: FloatArray = (_REJECTED * scale)[:, np.newaxis] * self.noise_shape
        return np.fmax(bound, LEAST_STEP_DB)


def course_of(quantity: FloatArray, log_f: FloatArray, known: BoolArray) -> Course:
    """Of gains in dB (n, n_f) at log10 f, where they are known."""
    departure = np.where(known, 0.0, np.nan)
    start, end = np.full((2, len(quantity)), np.nan)
    rows = np.flatnonzero(known.sum(axis=1) >= FEWEST_FOR_COURSE)
    if len(rows):
        z = 10.0 ** (log_f - log_f[-1])
        there = known[rows]
        course, departure[rows] = _robust_course(quantity[rows], z, there)
        start[rows], end[rows] = (_slope(course, z[at]) for at in ends(there))
    return Course(departure, start, end, _noise_shape(departure, log_f))


def _basis(z: FloatArray) -> FloatArray:
    """Terms of one over a ratio of powers, (4, ...), at frequencies z over the highest."""
    return np.stack([np.ones_like(z), z, z**2, z**4])


def _slope(course: FloatArray, z: FloatArray) -> FloatArray:
    """dB per decade at one z of each course, (n, 4) and (n,)."""
    change = np.stack([np.zeros_like(z), z, 2 * z**2, 4 * z**4])
    over, under = (course.T * change).sum(axis=0), (course.T * _basis(z)).sum(axis=0)
    slope: FloatArray = -10.0 * over / np.where(under > 0, under, np.nan)
    return slope


def _robust_course(
    quantity: FloatArray, z: FloatArray, known: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Coefficients (n, 4) of 1/gain, and the points' departures from it in dB, (n, n_f).

    Differences count by the course's own gain, at first by a median of neighbours, so that a
    point far above it weighs no more than another.
    """
    basis = _basis(z)
    products = np.ascontiguousarray((basis[:, np.newaxis] * basis).reshape(16, -1).T)
    there = known.astype(np.float64)
    filled = np.where(known, quantity, 0.0)
    inverse_gain = np.exp(-_NEPERS_PER_DB * filled)
    gain = 1.0 / _neighbours(np.where(known, inverse_gain, np.nan))
    weights = there
    for step in range(_LEAST_ABSOLUTE + _BIWEIGHT):
        square = weights * gain
        square *= gain
        course = _solved(square @ products, (square * inverse_gain) @ basis.T)
        model = course @ basis
        ratio = model.clip(_LEAST_RATIO, np.inf)
        gain = 1.0 / ratio if (model > 0.0).all() else np.where(model > 0.0, 1.0 / ratio, gain)
        departure = np.log(ratio)
        departure /= _NEPERS_PER_DB
        departure += filled
        off = np.abs(departure)
        if step < _LEAST_ABSOLUTE:
            weights = there / off.clip(0.1 * LEAST_STEP_DB, _FARTHEST_DB)
        else:
            weights = there * _biweight(off.clip(0.0, _FARTHEST_DB), known)
    departure = departure.clip(-_FARTHEST_DB, _FARTHEST_DB)
    return course, np.where(known, departure, np.nan)


def _solved(moments: FloatArray, right: FloatArray) -> FloatArray:
    """Coefficients (n, 4) of normal equations (n, 16) and (n, 4), all of one size first."""
    size = 1.0 / np.sqrt(np.maximum(moments[:, ::5], 1e-300))
    sizes = size[:, :, np.newaxis] * size[:, np.newaxis]
    matrix = moments.reshape(-1, 4, 4) * sizes + 1e-12 * np.eye(4)
    solved: FloatArray = np.linalg.solve(matrix, (right * size)[..., np.newaxis])[..., 0] * size
    return solved


def _biweight(off: FloatArray, known: BoolArray) -> FloatArray:
    """Tukey's weights of distances (n, n_f), by the median of the known ones."""
    scale = DEVIATION_OF_MEDIAN * median(off if known.all() else np.where(known, off, np.nan))
    near = off / (_TUNING * np.maximum(scale, 0.25 * LEAST_STEP_DB))[:, np.newaxis]
    near.clip(0.0, 1.0, out=near)
    near *= near
    weights: FloatArray = 1.0 - near
    weights *= weights
    return weights


def _neighbours(values: FloatArray) -> FloatArray:
    """Median of each nine points in a row, in place of them, (n, n_f); 1 where all are NaN."""
    n, n_f = values.shape
    padded = np.full((n, n_f + -n_f % 9), np.nan)
    padded[:, :n_f] = values
    found = median(padded.reshape(-1, 9)).reshape(n, -1)
    return np.repeat(np.where(np.isnan(found), 1.0, found), 9, axis=1)[:, :n_f]


def _noise_shape(departure: FloatArray, log_f: FloatArray) -> FloatArray:
    """Noise over frequency as a power of it, 1 at the middle point: U's rises to low frequencies.

    Of the 15 slopes between any two of six stretches, each with the median step between neighbours
    for its noise, the quartile nearer to 0, or 0 between the quartiles: a resonance in one or two
    stretches does not turn it. Stretches of fewer than five points tell nothing.
    """
    size = (len(log_f) - 1) // _STRETCHES
    if size < 5:
        return np.ones_like(departure)
    points = _STRETCHES * size
    steps = np.abs(departure[:, 1 : points + 1] - departure[:, :points])
    noise = np.log(np.fmax(median(steps.reshape(-1, size)).reshape(-1, _STRETCHES), 1e-12))
    centre = log_f[:points].reshape(_STRETCHES, size).mean(axis=1) * np.log(10.0)
    one, two = np.triu_indices(_STRETCHES, 1)
    slopes = np.sort((noise[:, two] - noise[:, one]) / (centre[two] - centre[one]), axis=1)
    lower, upper = slopes[:, 3:5].mean(axis=1), slopes[:, 10:12].mean(axis=1)
    power = (np.maximum(lower, 0.0) + np.minimum(upper, 0.0)).clip(-4.0, 4.0)
    from_middle = np.log(10.0) * (log_f - log_f[len(log_f) // 2])
    shape: FloatArray = np.exp(power[:, np.newaxis] * from_middle)
    return shape
