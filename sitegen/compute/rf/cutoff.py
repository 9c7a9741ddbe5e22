"""Where a gain falls to 1, by extrapolation along -20 dB per decade fitted over a window.

With gains q_i in dB at f_i and weights w_i that add up to 1,

    log10 f_c = sum_i w_i (q_i/20 + log10 f_i),

the mean, over the points used, of where each of them would meet 0 dB. |h21| of a transistor, and U
and MAG as ratios of powers, all fall by 20 dB per decade well above one dominant pole (common
practice). All points used weigh the same. A point is left out where it lies off the course of the
others, 1/gain = a + b f + c f^2 + d f^4 (flat below one pole, the fall above it, a zero far above),
fitted robustly to relative differences (iterated least squares, first with the weights of least
absolute values, then with Tukey's biweight). Curvature and a wrong slope are thus no reason to
leave points out; they are told, and make the uncertainty larger.

Uncertainty of the extraction. About the centre x of the points' log10 f, level and slope of a
straight line are independent; with a slope b instead of -20, a level q at x meets 0 dB at
log10 f_b = x - q/b instead of log10 f_c = x + q/20, to first order (log10 f_c - x) (b + 20)/20
further. So

    u^2(f_c) = (f_c ln 10)^2 (u_level^2 + (log10 f_c - x)^2 u^2(b))/20^2 + (f_b - f_c)^2/3:

u_level from the scatter about the line of free slope (`estimates.scatter`), u(b) = u_level/s_x with
the standard deviation s_x of the points' log10 f, and what the slope found would make, as a half
width, rectangular. f_b is taken no further than a factor of ten from f_c: a gain that hardly falls
has no cutoff. With fewer than three points there is no slope, and one off by `SLOPE_BOUND` takes
its place.

The last two terms stand so where nothing else is known. Calibration, contact and dummies tilt the
gain, too, and what they do to f_c is propagated by itself. To first order they change f_b - f_c by
its weights, with level q and slope b,

    d(f_b - f_c) = ln 10 ((f_b - f_c)/20 - f_b (1/b + 1/20)) dq + ln 10 f_b q/b^2 db,

and only what exceeds the variance that follows is counted (`figure_records.Departure`). It is each
value's own part, as it is judged by each sweep's own points: devices that fall by another slope all
alike share it, and their mean is no surer of it than one of them, so each one's remark tells it.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.estimates import DEVIATION_OF_MEDIAN, longest_run, median, scatter
from sitegen.compute.rf.figure_records import Departure, Estimate, Estimator, Texts
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.figures import Place
from sitegen.units import frequency, number

SLOPE = -20.0
SLOPE_BOUND = 2.0
"""dB per decade: a slope that differs by more is told."""
FLATTER_BOUND = 6.0
"""dB per decade: a window whose lower end falls by so much less than 20 begins too low."""
FEWEST_FOR_COURSE = 8
"""With fewer points no course is fitted and none is left out."""
LEAST_STEP_DB = 0.1
"""A point is not left out for less than this."""
LEAST_RESONANCE_DB = 0.3
"""Three neighbouring points off their course by more than this are a resonance."""
LEAST_WAVER_DB = 0.5
"""A course that misses the points by more than this, rms, and not by noise, tells one too."""
_TUNING = 4.685
"""Of the biweight: 95 % efficient for normal noise."""
_REJECTED = 4.0
"""Standard deviations from the course at which a point is left out."""
_END_SLOPE = 10.0
"""Standard deviation of a course's slope at the end of its points over that of a line's: of four
orthogonal polynomials sqrt((3 + 5*9 + 7*36)/3)."""


@dataclass(frozen=True, eq=False)
class _Course:
    """A robust smooth course through the points of each sweep."""

    departure: FloatArray
    """(n, n_f) from it in dB; NaN where there is no point, 0 with too few for a course."""
    start_slope: FloatArray
    """(n,) dB per decade at its first point; NaN with too few for a course."""
    end_slope: FloatArray
    noise_shape: FloatArray
    """(n, n_f) how the noise goes over frequency, 1 at the middle point."""


@dataclass(frozen=True, eq=False)
class _Line:
    """A straight line of free slope through the points used, (n,) each."""

    centre: FloatArray
    """Of log10 f."""
    slope: FloatArray
    """dB per decade; NaN with fewer than three points."""
    u_slope_noise: FloatArray
    u_slope: FloatArray
    u_level_noise: FloatArray
    """dB, at the centre."""
    u_level: FloatArray
    level_by_point: FloatArray
    """(n, n_f) change of the level at the centre with each point."""
    slope_by_point: FloatArray
    """Likewise of the slope; 0 with fewer than three points."""


@dataclass(frozen=True, eq=False)
class _Fit:
    """All that is said about from."""

    known: BoolArray
    used: BoolArray
    course: _Course
    line: _Line
    value: FloatArray


def cutoff(left_out: str, none_there: str) -> Estimator:
    """The estimator of a gain in dB.

    Details: 'points', of the window; 'share_used', of them; 'slope_db_per_decade', found;
    'remainder_db', rms about the line of -20 dB per decade; 'extrapolated_decades', beyond the last
    point used, 0 inside; 'u_noise', the part of `u_extraction` that the points' noise makes through
    the level.

    Args:
        left_out: what is the matter with a point that has no level in dB.
        none_there: why there is no value when there are only such points.
    """

    def estimate(quantity: FloatArray, frequency_hz: FloatArray, place: Place) -> Estimate:
        log_f = np.log10(frequency_hz)
        known = np.isfinite(quantity)
        course = _course(quantity, log_f, known)
        used = known & (np.abs(course.departure) <= _bound(course))
        count = used.sum(axis=1)
        line = _line(quantity, log_f, used)
        weights = line.level_by_point
        crossing = np.where(used, quantity / 20.0 + log_f, 0.0)
        log_c = np.where(count > 0, (weights * crossing).sum(axis=1), np.nan)
        value = 10.0**log_c
        per_db = value * np.log(10.0) / 20.0
        departure = _departure(line, log_c)
        return Estimate(
            value=value,
            weights=weights * np.where(count > 0, per_db, 0.0)[:, np.newaxis],
            u_extraction=np.sqrt((per_db * line.u_level) ** 2 + departure.square()),
            remarks=_remarks(_Fit(known, used, course, line, value), frequency_hz, left_out),
            no_value=np.where(count > 0, "", none_there).astype(object),
            details={
                "points": np.full(len(value), float(len(log_f))),
                "share_used": count / max(len(log_f), 1),
                "slope_db_per_decade": line.slope,
                "remainder_db": 20.0 * _rms(crossing - log_c[:, np.newaxis], used),
                "extrapolated_decades": _beyond(log_c, log_f, used),
                "u_noise": per_db * line.u_level_noise,
            },
            departure=departure,
        )

    return estimate


def _departure(line: _Line, log_c: FloatArray) -> Departure:
    """f_b - f_c in Hz, as the module's text derives it."""
    value, reach = 10.0**log_c, log_c - line.centre
    slope = np.minimum(np.where(np.isnan(line.slope), SLOPE + SLOPE_BOUND, line.slope), -1e-9)
    further = reach * (SLOPE / slope - 1.0)
    other = value * 10.0 ** further.clip(-1.0, 1.0)
    off = other - value
    moves = np.where(np.abs(further) < 1.0, np.log(10.0) * other, 0.0)
    by_level = np.log(10.0) * off / 20.0 - moves * (1.0 / slope + 1.0 / 20.0)
    by_slope = moves * 20.0 * reach / slope**2
    found = ~np.isnan(line.slope) & ~np.isnan(value)
    weights = (
        np.where(found, by_level, 0.0)[:, np.newaxis] * line.level_by_point
        + np.where(found, by_slope, 0.0)[:, np.newaxis] * line.slope_by_point
    )
    per_slope = value * np.log(10.0) / 20.0 * np.abs(reach)
    return Departure(off, weights, per_slope * np.nan_to_num(line.u_slope))


def _course(quantity: FloatArray, log_f: FloatArray, known: BoolArray) -> _Course:
    n = len(quantity)
    departure = np.where(known, 0.0, np.nan)
    start, end = np.full(n, np.nan), np.full(n, np.nan)
    rows = np.flatnonzero(known.sum(axis=1) >= FEWEST_FOR_COURSE)
    if len(rows):
        there = known[rows]
        z = 10.0 ** (log_f - log_f[-1])
        course = _robust_course(quantity[rows], z, there)
        departure[rows] = _departure_db(quantity[rows], course @ _basis(z))
        first = z[there.argmax(axis=1)]
        last = z[there.shape[1] - 1 - there[:, ::-1].argmax(axis=1)]
        start[rows], end[rows] = _slope(course, first), _slope(course, last)
    return _Course(departure, start, end, _noise_shape(departure, log_f))


def _basis(z: FloatArray) -> FloatArray:
    """Terms of one over a ratio of powers, (4, ...), at frequencies z over the highest."""
    return np.stack([np.ones_like(z), z, z**2, z**4])


def _slope(course: FloatArray, z: FloatArray) -> FloatArray:
    """dB per decade at one z of each course, (n, 4) and (n,)."""
    change = np.stack([np.zeros_like(z), z, 2 * z**2, 4 * z**4])
    over, under = (course.T * change).sum(axis=0), (course.T * _basis(z)).sum(axis=0)
    slope: FloatArray = -10.0 * over / np.where(under > 0, under, np.nan)
    return slope


def _departure_db(quantity: FloatArray, inverse_gain: FloatArray) -> FloatArray:
    """From a course of 1/gain, no more than 60 dB; NaN where there is no point."""
    departure: FloatArray = quantity + 10.0 * np.log10(np.maximum(inverse_gain, 1e-30))
    return departure.clip(-60.0, 60.0)


def _robust_course(quantity: FloatArray, z: FloatArray, known: BoolArray) -> FloatArray:
    """Coefficients (n, 4) of 1/gain.

    Differences count by the course's own gain, at first by a median of neighbours, so that a
    point far above it weighs no more than another.
    """
    basis = _basis(z)
    products = (basis[:, np.newaxis] * basis).reshape(16, -1)
    filled = np.where(known, quantity, 0.0)
    inverse_gain = np.where(known, 10.0 ** (-filled / 10.0), 0.0)
    gain = 1.0 / _neighbours(np.where(known, inverse_gain, np.nan))
    weights = known.astype(np.float64)
    course: FloatArray = np.zeros((len(quantity), 4))
    for step in range(8):
        square = weights * gain * gain
        moments = (square @ products.T).reshape(-1, 4, 4)
        size = 1.0 / np.sqrt(np.maximum(np.einsum("nii->ni", moments), 1e-300))
        moments = moments * size[:, :, np.newaxis] * size[:, np.newaxis] + 1e-12 * np.eye(4)
        right = ((square * inverse_gain) @ basis.T * size)[..., np.newaxis]
        course = np.linalg.solve(moments, right)[..., 0] * size
        model = course @ basis
        gain = np.where(model > 0, 1.0 / np.maximum(model, 1e-30), gain)
        off = np.abs(_departure_db(filled, model))
        if step < 4:
            weights = known / np.maximum(off, 0.1 * LEAST_STEP_DB)
        else:
            scale = DEVIATION_OF_MEDIAN * median(np.where(known, off, np.nan))[:, np.newaxis]
            near = off / (_TUNING * np.maximum(scale, 0.25 * LEAST_STEP_DB))
            weights = known * (1.0 - np.minimum(near, 1.0) ** 2) ** 2
    return course


def _neighbours(values: FloatArray) -> FloatArray:
    """Median of each nine points in a row, in place of them, (n, n_f); 1 where all are NaN."""
    n, n_f = values.shape
    padded = np.pad(values, ((0, 0), (0, -n_f % 9)), constant_values=np.nan)
    found = np.repeat(median(padded.reshape(-1, 9)).reshape(n, -1), 9, axis=1)[:, :n_f]
    return np.where(np.isnan(found), 1.0, found)


def _noise_shape(departure: FloatArray, log_f: FloatArray) -> FloatArray:
    """Noise over frequency as a power of it, 1 at the middle point: U's rises to low frequencies.

    Of the slopes between any two of six stretches, each with the median step between neighbours
    for its noise, the quartile nearer to 0, or 0 between the quartiles: a resonance in one or two
    stretches does not turn it. Stretches of fewer than five points tell nothing.
    """
    size = (len(log_f) - 1) // 6
    if size < 5:
        return np.ones_like(departure)
    steps = np.abs(np.diff(departure, axis=1))[:, : 6 * size]
    noise = np.log(np.fmax(median(steps.reshape(-1, size)).reshape(-1, 6), 1e-12))
    centre = log_f[: 6 * size].reshape(6, size).mean(axis=1) * np.log(10.0)
    one, two = np.triu_indices(6, 1)
    slopes = (noise[:, two] - noise[:, one]) / (centre[two] - centre[one])
    lower, upper = np.quantile(slopes, [0.25, 0.75], axis=1)
    power = np.maximum(lower, 0.0) + np.minimum(upper, 0.0)
    middle = log_f[len(log_f) // 2]
    shape: FloatArray = 10.0 ** (power.clip(-4.0, 4.0)[:, np.newaxis] * (log_f - middle))
    return shape


def _bound(course: _Course) -> FloatArray:
    """How far from its course each point may lie, (n, n_f)."""
    scale = DEVIATION_OF_MEDIAN * median(np.abs(course.departure / course.noise_shape))
    bound: FloatArray = _REJECTED * scale[:, np.newaxis] * course.noise_shape
    return np.fmax(bound, LEAST_STEP_DB)


def _line(quantity: FloatArray, log_f: FloatArray, used: BoolArray) -> _Line:
    count = used.sum(axis=1)
    n = np.maximum(count, 1)
    filled = np.where(used, quantity, 0.0)
    centre = (used * log_f).sum(axis=1) / n
    level = filled.sum(axis=1) / n
    x = np.where(used, log_f - centre[:, np.newaxis], 0.0)
    square = (x**2).sum(axis=1)
    enough = count >= 3
    slope = np.where(enough, (x * filled).sum(axis=1) / np.where(enough, square, 1.0), np.nan)
    straight = level[:, np.newaxis] + np.nan_to_num(slope)[:, np.newaxis] * x
    noise, beyond = scatter(np.where(used, quantity - straight, np.nan))
    noise, beyond = np.where(enough, noise, 0.0), np.where(enough, beyond, 0.0)
    width = np.sqrt(square / n)
    per_decade = np.where(enough, 1.0 / np.where(width > 0, width, 1.0), np.nan)
    u_level = np.hypot(noise, beyond)
    return _Line(
        centre=centre,
        slope=slope,
        u_slope_noise=noise * per_decade,
        u_slope=u_level * per_decade,
        u_level_noise=noise,
        u_level=u_level,
        level_by_point=used / n[:, np.newaxis],
        slope_by_point=x
        * np.where(enough, 1.0 / np.where(enough, square, 1.0), 0.0)[:, np.newaxis],
    )


def _beyond(log_c: FloatArray, log_f: FloatArray, used: BoolArray) -> FloatArray:
    last = np.where(used, log_f, -np.inf).max(axis=1, initial=-np.inf)
    return np.where(used.any(axis=1), np.maximum(log_c - last, 0.0), np.nan)


def _rms(values: FloatArray, used: BoolArray) -> FloatArray:
    square = np.where(used, values**2, 0.0).sum(axis=1)
    rms: FloatArray = np.sqrt(square / np.maximum(used.sum(axis=1), 1))
    return np.where(used.any(axis=1), rms, np.nan)


def _remarks(fit: _Fit, frequency_hz: FloatArray, left_out: str) -> Texts:
    texts: list[list[str]] = [[] for _ in fit.value]
    _say_points(texts, fit, left_out)
    _say_slope(texts, fit)
    _say_resonance(texts, fit, frequency_hz)
    _say_extrapolation(texts, fit, frequency_hz)
    joined = np.empty(len(texts), dtype=object)
    joined[:] = ["; ".join(each) for each in texts]
    return joined


def _say_points(texts: list[list[str]], fit: _Fit, left_out: str) -> None:
    points = fit.known.shape[1]
    known, used = fit.known.sum(axis=1), fit.used.sum(axis=1)
    for row in np.flatnonzero((used < points) & (used > 0)):
        why = []
        if known[row] < points:
            why.append(f"{points - known[row]} left out, {left_out}")
        if used[row] < known[row]:
            why.append(f"{known[row] - used[row]} left out, off the course of the others")
        texts[row].append(f"{used[row]} of {points} points used ({' and '.join(why)})")
    for row in np.flatnonzero((used > 0) & (used < 3)):
        texts[row].append("too few points for a slope")


def _say_slope(texts: list[list[str]], fit: _Fit) -> None:
    line, course = fit.line, fit.course
    off = np.abs(line.slope - SLOPE) > SLOPE_BOUND + 2.0 * line.u_slope_noise
    for row in np.flatnonzero(off):
        texts[row].append(
            f"slope found {number(line.slope[row], 3)} dB per decade, {number(SLOPE, 2)} taken"
        )
    doubt = 2.0 * _END_SLOPE * line.u_slope_noise * course.noise_shape.max(axis=1, initial=1.0)
    flatter = course.start_slope > SLOPE + FLATTER_BOUND + doubt
    bends = course.start_slope > course.end_slope + 0.5 * FLATTER_BOUND
    for row in np.flatnonzero(flatter & bends):
        texts[row].append(
            "window too low in frequency: the gain is still flattening at its lower end, "
            f"{number(course.start_slope[row], 3)} dB per decade"
        )


def _say_resonance(texts: list[list[str]], fit: _Fit, frequency_hz: FloatArray) -> None:
    departure = np.where(fit.known, fit.course.departure, 0.0)
    size = np.abs(departure)
    off = fit.known & ~fit.used
    sides = [longest_run(off & (departure > 0)), longest_run(off & (departure < 0))]
    waver = _rms(departure, fit.used)
    shaped = departure / fit.course.noise_shape
    steps = DEVIATION_OF_MEDIAN * median(np.abs(np.diff(shaped, axis=1))) / np.sqrt(2.0)
    by_noise = _rms(shaped, fit.used) <= 3.0 * steps
    for row in np.flatnonzero(size.max(axis=1, initial=0.0) > LEAST_RESONANCE_DB):
        runs = [(int(one[row]), int(two[row])) for one, two in sides]
        long = [slice(a, b + 1) for a, b in runs if b - a >= 2]
        peaks = [run.start + int(size[row, run].argmax()) for run in long]
        peak = max(peaks, key=lambda place: float(size[row, place]), default=None)
        if peak is not None and size[row, peak] > LEAST_RESONANCE_DB:
            texts[row].append(
                f"resonance inside the window: the gain is {size[row, peak]:.1f} dB off its course"
                f" near {frequency(frequency_hz[peak])}"
            )
        elif waver[row] > LEAST_WAVER_DB and not by_noise[row]:
            texts[row].append(
                "resonance or step inside the window: the gain is no smooth course, "
                f"{waver[row]:.1f} dB rms about it"
            )


def _say_extrapolation(texts: list[list[str]], fit: _Fit, frequency_hz: FloatArray) -> None:
    used = fit.used
    last_hz = np.where(used, frequency_hz, 0.0).max(axis=1, initial=0.0)
    first_hz = np.where(used, frequency_hz, np.inf).min(axis=1, initial=np.inf)
    for at_hz in np.unique(last_hz[fit.value > last_hz]):
        shown = frequency(float(at_hz))
        for row in np.flatnonzero((last_hz == at_hz) & (fit.value > last_hz)):
            texts[row].append(f"extrapolated beyond the last point, {shown}")
    for row in np.flatnonzero(fit.value < first_hz):
        texts[row].append(f"extrapolated below the first point, {frequency(first_hz[row])}")
