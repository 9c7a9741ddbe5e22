"""Derivatives of a current: at a place, at its greatest, and the threshold extrapolated there."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from sitegen.compute.dc.crossings import bracket
from sitegen.compute.dc.curves import Curves, Ordered, measured_points, ordered, original
from sitegen.compute.dc.estimates import Estimate, estimate
from sitegen.compute.dc.fits import BENT, LOCAL_POINTS, Polynomial, local, polynomial
from sitegen.model.arrays import BoolArray, FloatArray

NEAR_GREATEST = 0.8
"""Share of the greatest slope from which on points belong to the neighbourhood of the greatest."""
DEGREE, DEGREE_OF_FEW, FEW = 6, 4, 9
"""Degree of the polynomial through that neighbourhood, and where it has fewer than `FEW` points."""
ROUNDING = 1e-14
"""Remainder of a line, as a share of the greatest current, that is rounding."""


def conductance_at(curves: Curves, at: float) -> Estimate:
    """dI/dV at a place on the swept axis: of the cubic through the seven points around it.

    Exact on a law that is a cubic over these points.
    """
    points = ordered(curves.swept, curves.measured, curves.usable & measured_points(curves))
    i, t, inside = bracket(points, at)
    middle = i + (t > 0.5)
    place = np.full(len(i), at)
    around, used = local(points, points.y, middle, place)
    few = points.count < LOCAL_POINTS
    return estimate(
        around.value(place, 1),
        around.u(around.row(place, 1)),
        original(points, used),
        [
            (few, f"fewer than {LOCAL_POINTS} points above the floor and without compliance"),
            (~inside, f"{at:g} lies outside the points that can be used"),
        ],
    )


@dataclass(frozen=True, eq=False)
class _Steepest:
    """The polynomial around where a current rises most, and that place."""

    around: Polynomial
    at: FloatArray
    used: BoolArray
    few: BoolArray
    at_end: BoolArray


def greatest_transconductance(curves: Curves) -> Estimate:
    """Greatest dI_D/dV_GS of the polynomial of degree 6 through the points around it.

    Those are the neighbours whose slope (chord over six steps) is at least 0.8 of the greatest,
    and seven at least; with fewer than nine the degree is 4, and where a straight line serves as
    well it is 1. The greatest of single differences would be too large by noise.
    """
    points, found = _steepest(curves)
    return _finished(
        curves,
        found,
        points,
        found.around.value(found.at, 1),
        found.around.u(found.around.row(found.at, 1)),
        [],
    )


def threshold_by_extrapolation(curves: Curves) -> Estimate:
    """V_GS - I_D/g_m where g_m is greatest, less V_DS/2.

    The linear extrapolation of the triode region, I_D = b ((V_GS - V_T) V_DS - V_DS^2/2): exact
    there. Source: D. K. Schroder, Semiconductor Material and Device Characterization, 3rd ed.
    (2006), 4.8.1 (quoted from memory). With I_D = a x/(1 + c x), x = V_GS - V_T - V_DS/2, it gives
    V_T - c x_m^2, with x_m where the tangent is laid.
    """
    points, found = _steepest(curves)
    around, at = found.around, found.at
    current, slope = around.value(at), around.value(at, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = at - current / slope - curves.drain_v / 2
        row = -around.row(at) / slope[:, None] + (current / slope**2)[:, None] * around.row(at, 1)
    return _finished(
        curves,
        found,
        points,
        value,
        around.u(row),
        [(np.isnan(curves.drain_v), "the drain voltage is not known")],
    )


def _finished(
    curves: Curves,
    found: _Steepest,
    points: Ordered,
    value: FloatArray,
    u: FloatArray,
    reasons: list[tuple[BoolArray, str | npt.NDArray[np.object_]]],
) -> Estimate:
    told = f"fewer than {LOCAL_POINTS} points above the floor and without compliance"
    rise = found.around.value(found.at, 1) * np.ptp(np.nan_to_num(curves.swept), axis=1)
    rising = rise > 1e-9 * np.abs(found.around.c[:, 0])
    result = estimate(
        value,
        u,
        original(points, found.used),
        [(found.few, told), (~rising, "the current does not rise"), *reasons],
        details={"greatest_at": found.at},
    )
    for row in np.flatnonzero(found.at_end & (result.no_value == "")):
        result.remarks[row] = "the slope is greatest at the end of the sweep"
    return result


def _steepest(curves: Curves) -> tuple[Ordered, _Steepest]:
    points = ordered(curves.swept, curves.measured, curves.usable & measured_points(curves))
    half = LOCAL_POINTS // 2
    width = points.x.shape[1]
    chord = np.full(points.x.shape, -np.inf)
    if width >= LOCAL_POINTS:
        with np.errstate(invalid="ignore", divide="ignore"):
            rise = points.y[:, 2 * half :] - points.y[:, : -2 * half]
            run = points.x[:, 2 * half :] - points.x[:, : -2 * half]
            chord[:, half : width - half] = np.nan_to_num(rise / run, nan=-np.inf)
    peak = np.argmax(chord, axis=1)
    greatest = chord.max(axis=1)
    few = ~np.isfinite(greatest)
    index = np.arange(width)
    low = chord < NEAR_GREATEST * greatest[:, None]
    before = np.where(low & (index < peak[:, None]), index, -1).max(axis=1)
    after = np.where(low & (index > peak[:, None]), index, width).min(axis=1)
    used = (index > before[:, None]) & (index < after[:, None])
    used = (used | (np.abs(index - peak[:, None]) <= half)) & points.there & ~few[:, None]
    middle = np.where(few, 0.0, points.x[np.arange(len(peak)), peak])
    around, bent = _through(points, used, middle)
    first = np.where(used, points.x, np.inf).min(axis=1, initial=np.inf)
    last = np.where(used, points.x, -np.inf).max(axis=1, initial=-np.inf)
    at = _place_of_greatest_slope(around, first, last)
    lowest = np.where(points.there, points.x, np.inf).min(axis=1, initial=np.inf)
    highest = np.where(points.there, points.x, -np.inf).max(axis=1, initial=-np.inf)
    at_end = bent & ((at == lowest) | (at == highest))
    return points, _Steepest(around, at, used, np.asarray(few), np.asarray(at_end))


def _through(points: Ordered, used: BoolArray, middle: FloatArray) -> tuple[Polynomial, BoolArray]:
    """The polynomial through the used points, and where it is not straight.

    It is a straight line unless the points say otherwise.

    They say so where the polynomial leaves less than a line does by Fisher's F at 1 %: on a
    straight stretch the greatest slope of a polynomial would be noise's.
    """
    degree = np.where(used.sum(axis=1) < FEW, DEGREE_OF_FEW, DEGREE)
    bent = polynomial(points.x, points.y, used, middle, degree)
    straight = polynomial(points.x, points.y, used, middle, 1)
    left, more = straight.freedom * straight.s_plain**2, bent.freedom * bent.s_plain**2
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = (left - more) / (degree - 1) / bent.s_plain**2
        differs = stats.f.sf(ratio, degree - 1, np.maximum(bent.freedom, 1)) < BENT
    size = np.abs(np.where(used, points.y, 0.0)).max(axis=1, initial=0.0)
    exact = straight.s_plain <= ROUNDING * size
    kept = np.asarray(differs & ~exact)
    return polynomial(points.x, points.y, used, middle, np.where(kept, degree, 1)), kept


def _place_of_greatest_slope(around: Polynomial, first: FloatArray, last: FloatArray) -> FloatArray:
    """(n,) x between first and last where the polynomial's derivative is greatest.

    The place of 101 at which the derivative less its standard uncertainty is greatest, for at its
    ends a polynomial follows noise; from there one step of Newton's method.
    """
    first, last = (np.where(np.isfinite(one), one, around.at) for one in (first, last))
    places = first + np.linspace(0.0, 1.0, 101)[:, None] * (last - first)
    slopes = np.array(
        [around.value(one, 1) - np.nan_to_num(around.u(around.row(one, 1))) for one in places]
    )
    best = np.argmax(np.nan_to_num(slopes, nan=-np.inf), axis=0)
    found = np.take_along_axis(places, best[None], axis=0)[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        step = -around.value(found, 2) / around.value(found, 3)
    near = (best > 0) & (best < 100) & (np.abs(step) <= (last - first) / 100)
    return np.asarray(found + np.where(near, step, 0.0))
