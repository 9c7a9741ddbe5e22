"""Estimators of one value a sweep: at a point, level over a window, zero crossing.

All take a quantity (n, n_f) at increasing frequencies and treat NaN as a point that is not there.
The fixed-slope extrapolation of a gain is in `cutoff`.
"""

from functools import lru_cache

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
        weights, points = middle_half(quantity), counted(quantity)
        value = np.einsum("nf,nf->n", weights, np.where(np.isfinite(quantity), quantity, 0.0))
        value[points == 0] = np.nan
        departure = quantity - value[:, np.newaxis]
        u_noise, u_course = scatter(departure)
        flat = np.abs(departure) <= (FLAT_WITHIN * np.abs(value))[:, np.newaxis]
        inside = flat.sum(axis=1)
        start, end = longest_run(flat)
        share = inside / np.maximum(points, 1)
        from_hz, to_hz = (np.where(inside > 0, frequency_hz[at], np.nan) for at in (start, end))
        remarks = nothing_said(len(value))
        for row in np.flatnonzero((share < FLAT_ENOUGH) & (points > 1)):
            longest = ""
            if inside[row]:
                borders = [shown_frequency(float(at[row])) for at in (from_hz, to_hz)]
                longest = f", longest from {borders[0]} to {borders[1]}"
            remarks[row] = (
                f"not flat over the window: {inside[row]} of {points[row]} points within "
                f"{100 * FLAT_WITHIN:.0f} % of the value{longest}"
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
    texts = nothing_said(len(quantity))
    highest_hz: FloatArray = np.full(len(quantity), np.nan)
    if found.all():
        return texts, highest_hz
    known = np.isfinite(quantity)
    some = known.any(axis=1)
    texts[~found & ~some] = "no susceptance is known at any frequency"
    first, last = ends(known)
    inductive = quantity[np.arange(len(quantity)), first] < 0
    for at in np.unique(first[~found & some & ~inductive]):
        lowest = shown_frequency(float(frequency_hz[at]))
        texts[~found & some & ~inductive & (first == at)] = (
            f"not inductive at the lowest frequency, {lowest}"
        )
    for at in np.unique(last[~found & inductive]):
        rows = ~found & inductive & (last == at)
        highest_hz[rows] = frequency_hz[at]
        texts[rows] = f"no self-resonance up to {shown_frequency(float(frequency_hz[at]))}"
    return texts, highest_hz


def middle_half(values: FloatArray) -> FloatArray:
    """Weights of the interquartile mean along the last axis, (n, m); NaN has none.

    Equal values at an end of the middle half share what is left for them.
    """
    if not values.shape[1]:
        return np.zeros(values.shape)
    count = counted(values)
    low, high = 0.25 * count, 0.75 * count
    ordered = np.sort(values, axis=1)  # NaN last
    rows, last = np.arange(len(values)), values.shape[1] - 1
    places = (low.astype(np.intp), np.ceil(high).astype(np.intp) - 1)
    first, final = (ordered[rows, place.clip(0, last)][:, np.newaxis] for place in places)
    share = np.maximum(0.5 * count, 0.5)
    weights: FloatArray = ((values > first) & (values < final)) / share[:, np.newaxis]
    for end in (first, final):
        equal = values == end
        below, number = (values < end).sum(axis=1), equal.sum(axis=1)
        left = np.minimum(below + number, high) - np.maximum(below, low)
        each = left / (np.maximum(number, 1) * share)
        np.copyto(weights, each[:, np.newaxis], where=equal)
    return weights


def scatter(departures: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Standard uncertainty of a level from the points' departures from it, (n, m) to (n,) twice.

    The first is the noise's: with the variance s_n^2 of one point from the differences of
    neighbours (von Neumann, Ann. Math. Stat. 12, 1941: half their mean square; quoted from
    memory), s_n/sqrt(m). The second is what the points vary by beyond it, sqrt(s^2 - s_n^2): it is
    the same over neighbours, so that more points do not lessen it. Both deviations
    are robust, from medians of absolute values. With fewer than four points nothing can be told
    apart and all counts as variation beyond noise.
    """
    count = counted(departures)
    s = DEVIATION_OF_MEDIAN * median(np.abs(departures))
    steps = np.abs(departures[:, 1:] - departures[:, :-1])
    s_noise = DEVIATION_OF_MEDIAN * median(steps) / np.sqrt(2.0)
    s_noise = np.where((count < 4) | np.isnan(s_noise), 0.0, np.minimum(s_noise, s))
    beyond = np.sqrt(np.maximum(s**2 - s_noise**2, 0.0))
    return s_noise / np.sqrt(np.maximum(count, 1)), beyond


def median(values: FloatArray) -> FloatArray:
    """Median along the last axis of (n, m), NaN left out; NaN where nothing is left."""
    if not values.shape[1]:
        return np.full(len(values), np.nan)
    ordered, count = np.sort(values, axis=1), counted(values)  # NaN last
    rows = np.arange(len(values))
    lower = ordered[rows, np.maximum(count - 1, 0) // 2]
    upper = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    return np.where(count > 0, 0.5 * (lower + upper), np.nan)


def counted(values: FloatArray) -> Places:
    """How many of each row are known, (n, m) to (n,)."""
    known = np.isfinite(values)
    return np.full(len(values), values.shape[1]) if known.all() else known.sum(axis=1)


def ends(true: BoolArray) -> tuple[Places, Places]:
    """First and last place of True in each row, (n, m) to (n,) twice; m at least 1."""
    return true.argmax(axis=1), true.shape[1] - 1 - true[:, ::-1].argmax(axis=1)


def longest_run(true: BoolArray) -> tuple[Places, Places]:
    """First and last place of the longest run of True in each row, (n, m) to (n,) twice.

    The first of equally long ones; no place in particular where there is none.
    """
    n, m = true.shape
    start, end = np.zeros(n, np.intp), np.full(n, max(m - 1, 0))
    rows = np.flatnonzero(~true.all(axis=1)) if m else np.zeros(0, np.intp)
    if len(rows):
        place = np.arange(m)
        length = place - np.maximum.accumulate(np.where(true[rows], -1, place), axis=1)
        end[rows] = length.argmax(axis=1)
        start[rows] = np.minimum(end[rows] - length.max(axis=1) + 1, end[rows])
    return start, end


@lru_cache(maxsize=4096)
def shown_frequency(frequency_hz: float) -> str:
    """'40 GHz'; many sweeps of a wafer say the same."""
    return frequency(frequency_hz)


def nothing_said(n: int) -> Texts:
    """(n,) empty texts."""
    return np.full(n, "", dtype=object)


def said(where: BoolArray, text: str) -> Texts:
    """(n,) a text where it applies."""
    return np.where(where, text, "").astype(object)


def after(before: str, text: str) -> str:
    """A text after what is said already."""
    return f"{before}; {text}" if before else text
