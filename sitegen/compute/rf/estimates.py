"""Estimators of one value a sweep: at a point, level over a window, zero crossing.

All take a quantity (n, n_f) at increasing frequencies and treat NaN as a point that is not there.
The fixed-slope extrapolation of a gain is in `cutoff`.
"""

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.figure_records import Estimate, Estimator, Texts
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.figures import Place
from sitegen.units import frequency

Places = npt.NDArray[np.intp]

FLAT_WITHIN = 0.05
"""A quantity is flat where it differs from its value by no more than this share of it."""
FLAT_ENOUGH = 0.9
"""A window is not flat where a smaller share of its points than this is."""
DEVIATION_OF_MEDIAN = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""


def at_point(undefined: str) -> Estimator:
    """The quantity at the last point, with what to say where it is not defined there."""

    def estimate(quantity: FloatArray, frequency_hz: FloatArray, place: Place) -> Estimate:
        value = quantity[:, -1].copy()
        weights: FloatArray = np.zeros(quantity.shape)
        weights[:, -1] = np.isfinite(value)
        return Estimate(
            value=value,
            weights=weights,
            u_extraction=np.where(np.isnan(value), np.nan, 0.0),
            remarks=nothing_said(len(value)),
            no_value=said(np.isnan(value), undefined),
            details={},
        )

    return estimate


def level(undefined: str) -> Estimator:
    """The quantity at one frequency, or its level over a window.

    The level is the interquartile mean: the mean of the middle half of the points in order of
    size, the two points at its ends counted in part. Like the median it does not mind a quarter
    of wild points on either side; unlike it, it averages noise.

    `u_extraction` is what the quantity varies over the window beyond its noise (a constant that is
    not one), in quadrature with the noise's share. Details: 'flat_from_hz' and 'flat_to_hz', the
    longest run of points within `FLAT_WITHIN` of the level; 'flat_share', the share of all points
    that are; 'points'; 'u_noise', the noise's part of `u_extraction`.
    """
    alone = at_point(undefined)

    def estimate(quantity: FloatArray, frequency_hz: FloatArray, place: Place) -> Estimate:
        if place != "window":
            return alone(quantity, frequency_hz, place)
        known = np.isfinite(quantity)
        weights = middle_half(quantity)
        filled = np.where(known, quantity, 0.0)
        value = (weights * filled).sum(axis=1)
        value[~known.any(axis=1)] = np.nan
        departure = np.where(known, quantity - value[:, np.newaxis], np.nan)
        u_noise, u_course = scatter(departure)
        flat = np.abs(departure) <= FLAT_WITHIN * np.abs(value)[:, np.newaxis]
        start, end = longest_run(flat)
        points = known.sum(axis=1)
        share = flat.sum(axis=1) / np.maximum(points, 1)
        none = ~flat.any(axis=1)
        from_hz = np.where(none, np.nan, frequency_hz[start])
        to_hz = np.where(none, np.nan, frequency_hz[end])
        remarks = nothing_said(len(value))
        for row in np.flatnonzero((share < FLAT_ENOUGH) & (points > 1)):
            where = (
                ""
                if none[row]
                else f", longest from {frequency(from_hz[row])} to {frequency(to_hz[row])}"
            )
            remarks[row] = (
                f"not flat over the window: {flat[row].sum()} of {points[row]} points within "
                f"{100 * FLAT_WITHIN:.0f} % of the value{where}"
            )
        return Estimate(
            value=value,
            weights=weights,
            u_extraction=np.where(np.isnan(value), np.nan, np.hypot(u_noise, u_course)),
            remarks=remarks,
            no_value=said(np.isnan(value), f"at no point of the window: {undefined}"),
            details={
                "flat_from_hz": from_hz,
                "flat_to_hz": to_hz,
                "flat_share": share,
                "points": points.astype(np.float64),
                "u_noise": u_noise,
            },
        )

    return estimate


def zero_crossing(quantity: FloatArray, frequency_hz: FloatArray, place: Place) -> Estimate:
    """Lowest frequency at which 2 pi f B rises through zero, of a susceptance B.

    Between the two points around it 2 pi f B is a straight line in f^2, as it is for an
    inductance beside a capacitance: w B = w^2 C - 1/L. `u_extraction` is the difference to a
    straight line in f as a half width, rectangular. Details: 'step_hz', distance of the two points;
    'not_below_hz', the highest frequency of a sweep that does not resonate, else NaN.
    """
    n, n_f = quantity.shape
    here, after = quantity[:, :-1], quantity[:, 1:]
    with np.errstate(invalid="ignore"):
        rises = (here < 0) & (after >= 0)
    found: BoolArray = np.asarray(rises.any(axis=1))
    at = rises.argmax(axis=1) if n_f > 1 else np.zeros(n, dtype=np.intp)
    rows = np.flatnonzero(found)
    i = at[rows]
    before, behind = quantity[rows, i], quantity[rows, i + 1]
    low_hz, high_hz = frequency_hz[i], frequency_hz[i + 1]
    width, span = high_hz**2 - low_hz**2, behind - before
    crossing_hz = np.sqrt(low_hz**2 - width * before / span)
    weights: FloatArray = np.zeros(quantity.shape)
    weights[rows, i] = -width * behind / span**2 / (2 * crossing_hz)
    weights[rows, i + 1] = width * before / span**2 / (2 * crossing_hz)
    straight_hz = low_hz - (high_hz - low_hz) * before / span
    value, u, step = (np.full(n, np.nan) for _ in range(3))
    value[rows] = crossing_hz
    u[rows] = np.abs(crossing_hz - straight_hz) / np.sqrt(3.0)
    step[rows] = high_hz - low_hz
    again = said(rises.sum(axis=1) > 1, "crosses zero more than once; the lowest is given")
    no_value, highest_hz = _why_no_crossing(quantity, frequency_hz, found)
    return Estimate(
        value, weights, u, again, no_value, {"step_hz": step, "not_below_hz": highest_hz}
    )


def _why_no_crossing(
    quantity: FloatArray, frequency_hz: FloatArray, found: BoolArray
) -> tuple[Texts, FloatArray]:
    known = np.isfinite(quantity)
    first, last = known.argmax(axis=1), known.shape[1] - 1 - known[:, ::-1].argmax(axis=1)
    texts = nothing_said(len(quantity))
    highest_hz: FloatArray = np.full(len(quantity), np.nan)
    for row in np.flatnonzero(~found):
        if not known[row].any():
            texts[row] = "no susceptance is known at any frequency"
        elif quantity[row, first[row]] >= 0:
            lowest = frequency(frequency_hz[first[row]])
            texts[row] = f"not inductive at the lowest frequency, {lowest}"
        else:
            highest_hz[row] = frequency_hz[last[row]]
            texts[row] = f"no self-resonance up to {frequency(highest_hz[row])}"
    return texts, highest_hz


def middle_half(values: FloatArray) -> FloatArray:
    """Weights of the interquartile mean along the last axis, (n, m); NaN has none."""
    known = np.isfinite(values)
    count = known.sum(axis=1, keepdims=True)
    order = np.argsort(values, axis=1)  # NaN last
    ranks = np.empty_like(order)
    np.put_along_axis(ranks, order, np.arange(values.shape[1])[np.newaxis], axis=1)
    inside = np.minimum(ranks + 1, 0.75 * count) - np.maximum(ranks, 0.25 * count)
    weights: FloatArray = inside.clip(0.0) / np.maximum(0.5 * count, 0.5)
    return np.where(known, weights, 0.0)


def scatter(departures: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Standard uncertainty of a level from the points' departures from it, (n, m) to (n,) twice.

    The first is the noise's: with the variance s_n^2 of one point from the differences of
    neighbours (von Neumann, Ann. Math. Stat. 12, 1941: half their mean square; quoted from
    memory), s_n/sqrt(m). The second is what the points vary by beyond it, sqrt(s^2 - s_n^2): it is
    the same over neighbours, so that more points do not lessen it. Both deviations
    are robust, from medians of absolute values. With fewer than four points nothing can be told
    apart and all counts as variation beyond noise.
    """
    count = np.isfinite(departures).sum(axis=1)
    s = DEVIATION_OF_MEDIAN * median(np.abs(departures))
    steps = np.diff(departures, axis=1)
    s_noise = DEVIATION_OF_MEDIAN * median(np.abs(steps)) / np.sqrt(2.0)
    s_noise = np.where((count < 4) | np.isnan(s_noise), 0.0, np.minimum(s_noise, s))
    beyond = np.sqrt(np.maximum(s**2 - s_noise**2, 0.0))
    return s_noise / np.sqrt(np.maximum(count, 1)), beyond


def median(values: FloatArray) -> FloatArray:
    """Median along the last axis of (n, m), NaN left out; NaN where nothing is left."""
    if not values.shape[1]:
        return np.full(len(values), np.nan)
    ordered = np.sort(values, axis=1)  # NaN last
    count = np.isfinite(values).sum(axis=1)
    rows = np.arange(len(values))
    lower = ordered[rows, np.maximum(count - 1, 0) // 2]
    upper = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    return np.where(count > 0, 0.5 * (lower + upper), np.nan)


def longest_run(true: BoolArray) -> tuple[Places, Places]:
    """First and last place of the longest run of True in each row, (n, m) to (n,) twice.

    The first of equally long ones; no place in particular where there is none.
    """
    if not true.shape[1]:
        return np.zeros(len(true), dtype=np.intp), np.zeros(len(true), dtype=np.intp)
    place = np.arange(true.shape[1])
    length = place - np.maximum.accumulate(np.where(true, -1, place), axis=1)
    end = length.argmax(axis=1)
    start: Places = np.minimum(end - length.max(axis=1) + 1, end)
    return start, end


def nothing_said(n: int) -> Texts:
    """(n,) empty texts."""
    return np.full(n, "", dtype=object)


def said(where: BoolArray, text: str) -> Texts:
    """(n,) a text where it applies."""
    return np.where(where, text, "").astype(object)
