"""Where a current reaches a stated size, and how large it is at a stated voltage.

Between two points a cubic through them and their two neighbours is taken, of the voltage over the
logarithm of the current or the other way round, so that an exponential law is met exactly. The
noise of these points is found from how the points around them scatter about a cubic, or a quintic
where the curves are bent. What the interpolation may be off is what the quintic through six points
differs from it, beyond noise.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.compute.dc.curves import Curves, Ordered, measured_points, ordered, original
from sitegen.compute.dc.estimates import Estimate, beyond_noise, estimate
from sitegen.compute.dc.fits import local, noise_around, through, window_around
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.units import quantity

Indices = npt.NDArray[np.int64]
LEAST_STEP = 1e-3
"""Share of the greatest step between points below which one is none."""
BETWEEN, BESIDES = 4, 6
"""Points that a place between two is interpolated from, and those that show what it may be off."""


def threshold_by_constant_current(curves: Curves, current_a: float) -> Estimate:
    """Voltage at which the current first reaches `current_a` upwards, by increasing voltage.

    The constant-current definition: common practice (often 1e-7 A times width over length).
    Exact on I = I0 exp(V/v).
    """
    chosen = curves.usable & (curves.measured > 0) & measured_points(curves)
    points = _logarithmic(curves.swept, curves.measured, chosen)
    i, found = _first_crossing(points, np.log(current_a))
    value, u, misfit, used = _at_crossing(points, i, np.log(current_a))
    told = quantity(current_a, "A")
    none = points.count == 0
    with np.errstate(invalid="ignore"):
        above = ~found & (points.y[:, 0] >= np.log(current_a))
    return estimate(
        value,
        u,
        original(points, used),
        [
            (none, "no reading above the floor in the sense of the device's polarity"),
            (above, f"the current is above {told} at its first reading above the floor"),
            (~found, f"the current does not reach {told}"),
        ],
        misfit=misfit,
    )


def breakdown_voltage(curves: Curves, current_a: float) -> Estimate:
    """Size of the voltage at which the size of the current first reaches `current_a`.

    Points are taken in the order of measurement; voltage or current may be the swept axis. Where
    the current is not reached before the end of the sweep or the source's compliance, the value is
    the greatest voltage reached without compliance, and `not_reached` is True.
    """
    volts, amps = (
        (curves.measured, curves.swept)
        if curves.swept_is_current
        else (curves.swept, curves.measured)
    )
    held = measured_points(curves) & ~curves.in_compliance
    points = _logarithmic(np.abs(volts), np.abs(amps), held & (amps != 0), as_measured=True)
    i, found = _first_crossing(points, np.log(current_a))
    value, u, misfit, used = _at_crossing(points, i, np.log(current_a))
    greatest = np.where(held, np.abs(volts), -np.inf).max(axis=1, initial=-np.inf)
    told = quantity(current_a, "A")
    with np.errstate(invalid="ignore"):
        above = ~found & (points.y[:, 0] >= np.log(current_a))
    beyond = ~found & ~above & np.isfinite(greatest)
    result = estimate(
        np.where(found, value, greatest),
        np.where(found, u, np.nan),
        original(points, used),
        [
            (above, f"the current is above {told} at the first point"),
            (~found & ~beyond, "no point without compliance"),
        ],
        misfit=np.where(found, misfit, 0.0),
        wanted=original(points, used),
        not_reached=beyond,
    )
    most = np.where(held, np.abs(amps), 0.0).max(axis=1, initial=0.0)
    stopped = np.asarray(curves.in_compliance.any(axis=1))
    for row in np.flatnonzero(beyond):
        why = "the source went into compliance" if stopped[row] else "the sweep ended"
        result.remarks[row] = f"not reached: {quantity(float(most[row]), 'A')} where {why}"
    return result


def current_at(curves: Curves, at: float) -> Estimate:
    """Reading at a value of the swept axis: the point's own, or between its two neighbours.

    Where the points around are all above the floor, and their logarithms scatter less about a cubic
    than they themselves do, the logarithm is interpolated, else the reading itself.
    Points below the floor count here: the current itself may be below it.
    """
    held = measured_points(curves)
    points = ordered(curves.swept, curves.measured, held)
    i, t, inside = bracket(points, at)
    where, _ = _pair(points, i)
    around, used = local(points, points.y, i, np.full(len(i), at))
    s = noise_around(points, points.y, i, around)
    plain, u_plain, off_plain = _between(points, points.y, s, i, t)
    there = np.take_along_axis(curves.usable & (curves.measured > 0), points.place, axis=1)
    logs = np.log(np.where(there, points.y, 1.0))
    around_log, _ = local(points, logs, i, np.full(len(i), at))
    s_log = noise_around(points, logs, i, around_log)
    log, u_log, off_log = _between(points, logs, s_log, i, t)
    in_log = np.where(used, there, True).all(axis=1) & used.any(axis=1)
    with np.errstate(invalid="ignore", over="ignore"):
        in_log &= ~(np.exp(log) * s_log > s)
    value = np.where(in_log, np.exp(log), plain)
    u = np.where(in_log, np.exp(log) * u_log, u_plain)
    misfit = np.where(in_log, np.exp(log) * off_log, off_plain)
    rests_on = original(points, _weighted(points, where, t))
    stopped = np.asarray((rests_on & curves.in_compliance).any(axis=1))
    return estimate(
        value,
        u,
        rests_on,
        [
            (~inside, f"{at:g} lies outside the sweep"),
            (stopped, "the source was in compliance there"),
        ],
        misfit=misfit,
    )


def on_resistance(curves: Curves, at: float) -> Estimate:
    """V_DS over the current at `at` on the swept axis; V_DS is `at` where it is the one swept."""
    current = current_at(curves, at)
    voltage_v = np.where(np.isnan(curves.drain_v), at, curves.drain_v)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = voltage_v / current.value
        by_current = -value / current.value
        u = np.abs(by_current) * current.u_extraction
        misfit = by_current * current.misfit
    return estimate(
        value,
        u,
        current.used,
        [
            (current.no_value != "", current.no_value),
            (
                ~np.asarray((current.used & curves.usable).any(axis=1)),
                "the current lies below the floor",
            ),
            (~(value > 0), "current and voltage have opposite signs"),
        ],
        misfit=misfit,
    )


def bracket(points: Ordered, at: float) -> tuple[Indices, FloatArray, BoolArray]:
    """Index of the point at or before a place, the way to the next (0 to 1), whether it is inside.

    A place within a thousandth of a step of an end is inside.
    """
    with np.errstate(invalid="ignore"):
        before = (points.x <= at).sum(axis=1) - 1
    i = np.clip(before, 0, np.maximum(points.count - 2, 0))
    _, (x0, x1) = _pair(points, i)
    with np.errstate(invalid="ignore", divide="ignore"):
        t = (at - x0) / (x1 - x0)
    inside = (points.count >= 2) & (t >= -1e-3) & (t <= 1.001)
    t = np.where(np.abs(t) < 1e-3, 0.0, np.where(np.abs(t - 1) < 1e-3, 1.0, t))
    return i, np.where(inside, t, 0.0), np.asarray(inside)


def _pair(
    points: Ordered, i: Indices
) -> tuple[tuple[Indices, Indices], tuple[FloatArray, FloatArray]]:
    """Indices of a point and the next, and their x."""
    after = np.minimum(i + 1, points.x.shape[1] - 1)
    rows = np.arange(len(i))
    return (i, after), (points.x[rows, i], points.x[rows, after])


def _weighted(points: Ordered, where: tuple[Indices, Indices], t: FloatArray) -> BoolArray:
    """(n, p): which of a pair of points has a weight."""
    used = np.zeros(points.x.shape, dtype=bool)
    rows = np.arange(len(t))
    used[rows, where[0]] |= t < 1
    used[rows, where[1]] |= t > 0
    return used


def _logarithmic(
    x: FloatArray, y: FloatArray, chosen: BoolArray, as_measured: bool = False
) -> Ordered:
    return ordered(x, np.log(np.where(chosen, y, 1.0)), chosen, as_measured)


def _first_crossing(points: Ordered, target: float) -> tuple[Indices, BoolArray]:
    """Index of the first point below a target whose next is not, and whether there is one."""
    with np.errstate(invalid="ignore"):
        rising = (points.y[:, :-1] < target) & (points.y[:, 1:] >= target)
    found = np.asarray(rising.any(axis=1))
    order = np.arange(rising.shape[1])
    first = np.where(rising, order, len(order)).min(axis=1, initial=len(order))
    return np.where(found, first, 0), found


def _at_crossing(
    points: Ordered, i: Indices, target: float
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """x where y meets a target between points i and i + 1, its u, its misfit, the two points.

    x is interpolated over y, where y rises through the points taken, else along the chord.
    """
    (left, right), (x0, x1) = _pair(points, i)
    rows = np.arange(len(i))
    y0, y1 = points.y[rows, left], points.y[rows, right]
    with np.errstate(invalid="ignore", divide="ignore"):
        t = (target - y0) / (y1 - y0)
        chord = x0 + t * (x1 - x0)
        per_y = (x1 - x0) / (y1 - y0)
    around, _ = local(points, points.y, i, np.where(np.isfinite(chord), chord, 0.0))
    s = noise_around(points, points.y, i, around)
    here = np.clip(np.nan_to_num(t), 0.0, 1.0)
    place = np.where(t == here, target, np.nan_to_num(y0))
    found = _interpolated(points, points.y, points.x, i, here, place)
    with np.errstate(invalid="ignore"):
        u = s * found.norm * np.abs(per_y)
        misfit = beyond_noise(found.off, s * found.norm_off * np.abs(per_y))
    known = around.freedom > 0
    step = np.abs(x1 - x0) / np.sqrt(12)
    return (
        found.value,
        np.where(known, u, step),
        np.where(known, misfit, 0.0),
        _weighted(points, (left, right), t),
    )


def _between(
    points: Ordered, y: FloatArray, s: FloatArray, i: Indices, t: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """y at the way t from point i to the next, its standard uncertainty by noise, its misfit."""
    _, (x0, x1) = _pair(points, i)
    at = np.nan_to_num(np.where(t == 1, x1, x0 + t * (x1 - x0)))
    found = _interpolated(points, points.x, y, i, t, at)
    misfit = beyond_noise(found.off, s * found.norm_off)
    return found.value, s * found.norm, misfit


@dataclass(frozen=True, eq=False)
class _Interpolated:
    """A quantity at a place between two points."""

    value: FloatArray
    norm: FloatArray
    """(n,) root of the sum of squares of the points' weights in it."""
    off: FloatArray
    """(n,) what more points say differently."""
    norm_off: FloatArray


def _interpolated(
    points: Ordered, over: FloatArray, of: FloatArray, i: Indices, t: FloatArray, at: FloatArray
) -> _Interpolated:
    """`of` at a place of `over` (both (n, p)) that lies the way t from point i to the next.

    Where `over` does not rise or fall through the four points, or the cubic strays from the chord
    by more than its height, it is the chord; where it does not through the six, `off` is the
    cubic's whole bend.
    """
    where = window_around(points, i + 1, BESIDES)
    inside = where < points.count[:, None]
    held = np.minimum(where, of.shape[1] - 1)
    x, y = (np.nan_to_num(np.take_along_axis(one, held, axis=1)) for one in (over, of))
    start = window_around(points, i + 1, BETWEEN)[:, :1]
    nearest = inside & (where >= start) & (where < start + BETWEEN)
    first, second = where == i[:, None], where == i[:, None] + 1
    chord = np.where(first, 1 - t[:, None], np.where(second, t[:, None], 0.0)) * inside
    bent = np.where(_one_way(x, nearest)[:, None], through(x, nearest, at), chord)
    height = np.abs((np.where(second & inside, y, 0.0) - np.where(first, y, 0.0)).sum(axis=1))
    strays = ~(np.abs(((bent - chord) * y).sum(axis=1)) <= height)
    weights = np.where(strays[:, None], chord, bent)
    further = _one_way(x, inside) & ~strays
    more = np.where(further[:, None], through(x, inside, at), chord)
    return _Interpolated(
        value=(weights * y).sum(axis=1),
        norm=np.sqrt((weights**2).sum(axis=1)),
        off=((more - weights) * y).sum(axis=1),
        norm_off=np.sqrt(((more - weights) ** 2).sum(axis=1)),
    )


def _one_way(x: FloatArray, inside: BoolArray) -> BoolArray:
    """(n,) whether x rises, or falls, from each of its points to the next.

    A step below a thousandth of the greatest is none: a polynomial over it would run wild.
    """
    both = inside[:, 1:] & inside[:, :-1]
    steps = np.where(both, np.diff(x, axis=1), 0.0)
    least = LEAST_STEP * np.abs(steps).max(axis=1, initial=0.0)[:, None]
    rises, falls = (~both | (sign * steps > least) for sign in (1, -1))
    return np.asarray(rises.all(axis=1) | falls.all(axis=1))
