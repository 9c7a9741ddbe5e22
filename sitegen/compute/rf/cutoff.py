"""Where a gain falls to 1, by extrapolation along -20 dB per decade fitted over a window.

With gains q_i in dB at f_i and weights w_i that add up to 1,

    log10 f_c = sum_i w_i (q_i/20 + log10 f_i),

the mean, over the points used, of where each of them would meet 0 dB. |h21| of a transistor, and U
and MAG as ratios of powers, all fall by 20 dB per decade well above one dominant pole (common
practice). All points used weigh the same. A point is left out where it lies off the smooth course
of the others (`gain_course`). Curvature and a wrong slope are thus no reason to leave points out;
they are told, and make the uncertainty larger.

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
import numpy.typing as npt

from sitegen.compute.rf.estimates import (
    DEVIATION_OF_MEDIAN,
    after,
    ends,
    longest_run,
    median,
    nothing_said,
    scatter,
    shown_frequency,
)
from sitegen.compute.rf.figure_records import Departure, Estimate, Estimator, Texts
from sitegen.compute.rf.gain_course import Course, course_of
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.figures import Place
from sitegen.units import number

Rows = npt.NDArray[np.intp]
SLOPE = -20.0
SLOPE_BOUND = 2.0
"""dB per decade: a slope that differs by more is told."""
FLATTER_BOUND = 6.0
"""dB per decade: a window whose lower end falls by so much less than 20 begins too low."""
LEAST_RESONANCE_DB = 0.3
"""Three neighbouring points off their course by more than this are a resonance."""
LEAST_WAVER_DB = 0.5
"""A course that misses the points by more than this, rms, and not by noise, tells one too."""
_END_SLOPE = 10.0
"""Standard deviation of a course's slope at the end of its points over that of a line's: of four
orthogonal polynomials sqrt((3 + 5*9 + 7*36)/3)."""


@dataclass(frozen=True, eq=False)
class _Line:
    """A straight line of free slope through the points used, (n,) each."""

    count: Rows
    """Points used."""
    centre: FloatArray
    """Of log10 f."""
    level: FloatArray
    """dB, at the centre; 0 without a point."""
    slope: FloatArray
    """dB per decade; NaN with fewer than three points."""
    u_slope_noise: FloatArray
    u_slope: FloatArray
    u_level_noise: FloatArray
    """dB, at the centre."""
    u_level: FloatArray
    share: FloatArray
    """(n, n_f) 1 at points used, else 0."""
    from_centre: FloatArray
    """(n, n_f) log10 f from the centre at points used, else 0."""
    from_level: FloatArray
    """(n, n_f) dB, likewise of the level."""
    per_square: FloatArray
    """One over the sum of squares of `from_centre`; 0 with fewer than three points."""

    def weights(self, by_level: FloatArray, by_slope: FloatArray | None = None) -> FloatArray:
        """(n, n_f) change with each point of what changes so with level and slope, (n,)."""
        weights = self.share * (by_level / np.maximum(self.count, 1))[:, np.newaxis]
        if by_slope is not None:
            weights += self.from_centre * (by_slope * self.per_square)[:, np.newaxis]
        return weights


@dataclass(frozen=True, eq=False)
class _Fit:
    """All that is said about from."""

    known: BoolArray
    used: BoolArray
    course: Course
    line: _Line
    value: FloatArray
    borders_hz: FloatArray
    """First and last point used, (2, n); any point where none is."""


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
        course = course_of(quantity, log_f, known)
        used = known & (np.abs(course.departure) <= course.bound())
        line = _line(quantity, log_f, used)
        there = line.count > 0
        log_c = np.where(there, line.level / 20.0 + line.centre, np.nan)
        value = 10.0**log_c
        per_db = value * np.log(10.0) / 20.0
        departure = _departure(line, log_c)
        borders_hz = _borders_hz(used, frequency_hz)
        return Estimate(
            value=value,
            weights=line.weights(np.where(there, per_db, 0.0)),
            u_extraction=np.sqrt((per_db * line.u_level) ** 2 + departure.square()),
            remarks=_remarks(
                _Fit(known, used, course, line, value, borders_hz), frequency_hz, left_out
            ),
            no_value=np.where(there, "", none_there).astype(object),
            details={
                "points": np.full(len(value), float(len(log_f))),
                "share_used": line.count / max(len(log_f), 1),
                "slope_db_per_decade": line.slope,
                "remainder_db": _remainder_db(line),
                "extrapolated_decades": np.maximum(log_c - np.log10(borders_hz[1]), 0.0),
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
    weights = line.weights(np.where(found, by_level, 0.0), np.where(found, by_slope, 0.0))
    per_slope = value * np.log(10.0) / 20.0 * np.abs(reach)
    return Departure(off, weights, per_slope * np.nan_to_num(line.u_slope))


def _line(quantity: FloatArray, log_f: FloatArray, used: BoolArray) -> _Line:
    count, share = used.sum(axis=1), used.astype(np.float64)
    n, enough = np.maximum(count, 1), count >= 3
    centre, level = share @ log_f / n, np.where(used, quantity, 0.0).sum(axis=1) / n
    from_level = np.where(used, quantity - level[:, np.newaxis], 0.0)
    x = (log_f - centre[:, np.newaxis]) * share
    square = np.einsum("nf,nf->n", x, x)
    per_square = np.where(enough, 1.0 / np.where(enough, square, 1.0), 0.0)
    slope = np.einsum("nf,nf->n", x, from_level) * per_square
    noise, beyond = scatter(np.where(used, from_level - slope[:, np.newaxis] * x, np.nan))
    noise, beyond = np.where(enough, noise, 0.0), np.where(enough, beyond, 0.0)
    width = np.sqrt(square / n)
    per_decade = np.where(enough, 1.0 / np.where(width > 0, width, 1.0), np.nan)
    u_level = np.hypot(noise, beyond)
    return _Line(
        count,
        centre,
        level,
        slope=np.where(enough, slope, np.nan),
        u_slope_noise=noise * per_decade,
        u_slope=u_level * per_decade,
        u_level_noise=noise,
        u_level=u_level,
        share=share,
        from_centre=x,
        from_level=from_level,
        per_square=per_square,
    )


def _remainder_db(line: _Line) -> FloatArray:
    """Root mean square distance of the points used to the line of -20 dB per decade."""
    return _rms(line.from_level - SLOPE * line.from_centre, line.count)


def _rms(values: FloatArray, count: Rows) -> FloatArray:
    """Of rows that are 0 where they do not count."""
    square = np.einsum("nf,nf->n", values, values)
    return np.where(count > 0, np.sqrt(square / np.maximum(count, 1)), np.nan)


def _borders_hz(used: BoolArray, frequency_hz: FloatArray) -> FloatArray:
    """See `_Fit`."""
    if not len(frequency_hz):
        return np.full((2, len(used)), np.nan)
    return frequency_hz[np.stack(ends(used))]


def _remarks(fit: _Fit, frequency_hz: FloatArray, left_out: str) -> Texts:
    texts = nothing_said(len(fit.value))
    _say_points(texts, fit, left_out)
    _say_slope(texts, fit)
    _say_resonance(texts, fit, frequency_hz)
    _say_extrapolation(texts, fit)
    return texts


def _say_points(texts: Texts, fit: _Fit, left_out: str) -> None:
    points, used = fit.known.shape[1], fit.line.count
    for row in np.flatnonzero((used < points) & (used > 0)):
        known = int(fit.known[row].sum())
        why = []
        if known < points:
            why.append(f"{points - known} left out, {left_out}")
        if used[row] < known:
            why.append(f"{known - used[row]} left out, off the course of the others")
        said = f"{used[row]} of {points} points used ({' and '.join(why)})"
        texts[row] = after(texts[row], said)
    for row in np.flatnonzero((used > 0) & (used < 3)):
        texts[row] = after(texts[row], "too few points for a slope")


def _say_slope(texts: Texts, fit: _Fit) -> None:
    line, course = fit.line, fit.course
    off = np.abs(line.slope - SLOPE) > SLOPE_BOUND + 2.0 * line.u_slope_noise
    for row in np.flatnonzero(off):
        said = f"slope found {number(line.slope[row], 3)} dB per decade, {number(SLOPE, 2)} taken"
        texts[row] = after(texts[row], said)
    bends = course.start_slope > course.end_slope + 0.5 * FLATTER_BOUND
    for row in np.flatnonzero(bends & (course.start_slope > SLOPE + FLATTER_BOUND)):
        noisier = course.noise_shape[row].max(initial=1.0)
        doubt = 2.0 * _END_SLOPE * line.u_slope_noise[row] * noisier
        if course.start_slope[row] > SLOPE + FLATTER_BOUND + doubt:
            said = (
                "window too low in frequency: the gain is still flattening at its lower end, "
                f"{number(course.start_slope[row], 3)} dB per decade"
            )
            texts[row] = after(texts[row], said)


def _say_resonance(texts: Texts, fit: _Fit, frequency_hz: FloatArray) -> None:
    departure = np.where(fit.known, fit.course.departure, 0.0)
    rows = np.flatnonzero((np.abs(departure) > LEAST_RESONANCE_DB).any(axis=1))
    if not len(rows):
        return
    departure, used, count = departure[rows], fit.used[rows], fit.line.count[rows]
    size, off = np.abs(departure), fit.known[rows] & ~used
    sides = [longest_run(off & (departure > 0)), longest_run(off & (departure < 0))]
    waver = _rms(departure * used, count)
    shaped = departure / fit.course.noise_shape[rows]
    steps = DEVIATION_OF_MEDIAN * median(np.abs(np.diff(shaped, axis=1))) / np.sqrt(2.0)
    by_noise = _rms(shaped * used, count) <= 3.0 * steps
    for place, row in enumerate(rows):
        runs = [(int(one[place]), int(two[place])) for one, two in sides]
        long = [slice(a, b + 1) for a, b in runs if b - a >= 2]
        peaks = [run.start + int(size[place, run].argmax()) for run in long]
        peak = max(peaks, key=lambda at: float(size[place, at]), default=None)
        if peak is not None and size[place, peak] > LEAST_RESONANCE_DB:
            said = (
                f"resonance inside the window: the gain is {size[place, peak]:.1f} dB off its"
                f" course near {shown_frequency(float(frequency_hz[peak]))}"
            )
            texts[row] = after(texts[row], said)
        elif waver[place] > LEAST_WAVER_DB and not by_noise[place]:
            said = (
                "resonance or step inside the window: the gain is no smooth course, "
                f"{waver[place]:.1f} dB rms about it"
            )
            texts[row] = after(texts[row], said)


def _say_extrapolation(texts: Texts, fit: _Fit) -> None:
    first_hz, last_hz = fit.borders_hz
    for where, border_hz, told in (
        (fit.value > last_hz, last_hz, "beyond the last"),
        (fit.value < first_hz, first_hz, "below the first"),
    ):
        for at_hz in np.unique(border_hz[where]):
            rows = np.flatnonzero(where & (border_hz == at_hz))
            said = f"extrapolated {told} point, {shown_frequency(float(at_hz))}"
            texts[rows] = [after(before, said) for before in texts[rows]]
