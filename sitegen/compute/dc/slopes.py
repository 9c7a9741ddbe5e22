"""Straight lines through a stretch of a curve: slopes of logarithms, and resistances."""

import numpy as np

from sitegen.compute.dc.curves import Curves, measured_points, ordered, original
from sitegen.compute.dc.estimates import Estimate, beyond_noise, estimate, widened
from sitegen.compute.dc.fits import line, polynomial
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.units import quantity

FEWEST = 3
BOLTZMANN_OVER_CHARGE = 1.380649e-23 / 1.602176634e-19
"""k/q in V/K, both exact (SI Brochure, 9th ed., 2019)."""


def subthreshold_slope(curves: Curves, window_a: tuple[float, float]) -> Estimate:
    """dV_GS / d log10 I_D in volts per decade, of the line through log10 I_D over V_GS.

    The points are those of the rising flank with a current in the window; none below the floor.
    Positive for either polarity. Exact on an exponential law.
    """
    return _logarithmic_line(curves, window_a, np.log(10.0))


def ideality_factor(curves: Curves, window_a: tuple[float, float]) -> Estimate:
    """q/(k T) dV / d ln I of the line through ln I over V, at the measured temperature.

    I = I_S (exp(q V/(n k T)) - 1): holds where V exceeds some four k T/q (common practice).
    """
    fitted = _logarithmic_line(curves, window_a, 1.0)
    thermal_v = BOLTZMANN_OVER_CHARGE * curves.temperature_k
    cold = ~(thermal_v > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = estimate(
            fitted.value / thermal_v,
            fitted.u_extraction / thermal_v,
            fitted.used,
            [(fitted.no_value != "", fitted.no_value), (cold, "the temperature is not known")],
            misfit=fitted.misfit / thermal_v,
            wanted=fitted.wanted,
        )
    found.remarks[:] = np.where(found.no_value == "", fitted.remarks, "")
    return found


def resistance(curves: Curves, window: tuple[float, float]) -> Estimate:
    """Slope of voltage over current of the line through the points in the window, in ohm.

    The line need not pass through zero, so that a constant thermal voltage or offset falls out.
    Either axis may be the swept one.
    """
    held = curves.in_swept_window(window) & measured_points(curves)
    used = held & curves.usable
    fit = line(curves.swept, curves.measured, used)
    slope = fit.c[:, 1]
    u = fit.u(fit.row(fit.at, 1))
    if curves.swept_is_current == curves.measured_is_current:
        told = "the curve must have a voltage on one axis and a current on the other"
        return estimate(slope, u, used, [(np.ones(len(slope), dtype=bool), told)], wanted=held)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = 1 / slope if curves.measured_is_current else slope
        u = u / slope**2 if curves.measured_is_current else u
    return estimate(value, u, used, [_few(used, "the window")], wanted=held)


def resistance_of_one_contact(curves: Curves, window: tuple[float, float]) -> Estimate:
    """The resistance of a chain divided by its contacts in series."""
    chain = resistance(curves, window)
    links = curves.links or np.nan
    unknown = np.full(len(chain.value), curves.links is None)
    return estimate(
        chain.value / links,
        chain.u_extraction / links,
        chain.used,
        [
            (unknown, "the device states no number of contacts in series ('links')"),
            (chain.no_value != "", chain.no_value),
        ],
        wanted=chain.wanted,
    )


def _few(used: BoolArray, where: str) -> tuple[BoolArray, str]:
    return used.sum(axis=1) < FEWEST, f"fewer than {FEWEST} points in {where}"


def _logarithmic_line(curves: Curves, window_a: tuple[float, float], base: float) -> Estimate:
    """dV / d(ln I / base) on the last stretch of points whose current lies in the window.

    The noise is that about a parabola, so that a bent flank is not taken for noise. On a bent flank
    the line has the slope at the middle of its points, which may lie half a step away from the
    window's: the misfit is the bend, beyond noise, times a half step as the bound of a rectangular
    distribution.
    """
    held = measured_points(curves)
    within = curves.in_measured_window(window_a)
    points = ordered(curves.swept, curves.measured, held & (curves.usable | curves.in_compliance))
    chosen = np.take_along_axis(curves.usable & within, points.place, axis=1) & points.there
    used = chosen & _in_last_run(chosen)
    logs = np.log(np.where(used, points.y, 1.0)) / base
    fit = line(points.x, logs, used)
    slope = fit.c[:, 1]
    parabola = polynomial(points.x, logs, used, fit.at, 2)
    three = parabola.freedom == 0
    noise = widened(
        np.where(three, fit.s_plain, parabola.s_plain),
        np.where(three, fit.freedom, parabola.freedom),
    )
    span = np.ptp(np.where(used, points.x, fit.at[:, None]), axis=1)
    half_step = span / np.maximum(used.sum(axis=1) - 1, 1) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        value, u = 1 / slope, noise * np.sqrt(fit.shape[:, 1, 1]) / slope**2
        bend = beyond_noise(2 * parabola.c[:, 2], 2 * noise * np.sqrt(parabola.shape[:, 2, 2]))
        misfit = -np.where(three, 0.0, bend) * half_step / np.sqrt(3) / slope**2
    place = f"the window from {quantity(window_a[0], 'A')} to {quantity(window_a[1], 'A')}"
    result = estimate(
        value,
        u,
        original(points, used),
        [_few(used, place), (~(slope > 0), f"the current does not rise in {place}")],
        misfit=misfit,
        wanted=held & within,
    )
    decades = _decades(np.where(used, points.y, np.nan))
    for row in np.flatnonzero(result.no_value == ""):
        result.remarks[row] = f"{used[row].sum()} points over {decades[row]:.1f} decades"
    return result


def _in_last_run(chosen: BoolArray) -> BoolArray:
    """Which chosen places belong to the last unbroken run of them."""
    index = np.arange(chosen.shape[1])
    last = np.where(chosen, index, -1).max(axis=1, initial=-1)
    gaps = np.where(~chosen & (index < last[:, None]), index, -1).max(axis=1, initial=-1)
    return np.asarray((index > gaps[:, None]) & (index <= last[:, None]))


def _decades(current: FloatArray) -> FloatArray:
    """(n,) how far apart the greatest and the least current are."""
    filled = np.where(np.isfinite(current), current, np.nan)
    some = np.isfinite(filled).any(axis=1)
    span = np.zeros(len(filled))
    span[some] = np.log10(np.nanmax(filled[some], axis=1) / np.nanmin(filled[some], axis=1))
    return span
