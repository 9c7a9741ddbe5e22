"""Where a current reaches a stated size, and how large it is at a stated voltage.

Between two points the logarithm of the current is taken as linear in the voltage, so that an
exponential law is met exactly. The uncertainty of the extraction is that of the two points' noise,
found from how the points around them scatter about a cubic, and of the curve's bend between them.
"""

import numpy as np
import numpy.typing as npt

from sitegen.compute.dc.curves import Curves, Ordered, measured_points, ordered, original
from sitegen.compute.dc.estimates import Estimate, estimate
from sitegen.compute.dc.fits import Polynomial, local
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.units import quantity

Indices = npt.NDArray[np.int64]


def threshold_by_constant_current(curves: Curves, current_a: float) -> Estimate:
    """Voltage at which the current first reaches `current_a` upwards, by increasing voltage.

    The constant-current definition: common practice (often 1e-7 A times width over length).
    Exact on I = I0 exp(V/v).
    """
    chosen = curves.usable & (curves.measured > 0) & measured_points(curves)
    points = _logarithmic(curves.swept, curves.measured, chosen)
    i, found = _first_crossing(points, np.log(current_a))
    value, u, used = _at_crossing(points, i, np.log(current_a))
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
    value, u, used = _at_crossing(points, i, np.log(current_a))
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
    plain, u_plain = _between(points.y, around, points.x, i, t)
    there = np.take_along_axis(curves.usable & (curves.measured > 0), points.place, axis=1)
    logs = np.log(np.where(there, points.y, 1.0))
    around_log, _ = local(points, logs, i, np.full(len(i), at))
    log, u_log = _between(logs, around_log, points.x, i, t)
    in_log = np.where(used, there, True).all(axis=1) & used.any(axis=1)
    with np.errstate(invalid="ignore", over="ignore"):
        in_log &= ~(np.exp(log) * around_log.s > around.s)
    value = np.where(in_log, np.exp(log), plain)
    u = np.where(in_log, np.exp(log) * u_log, u_plain)
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
    )


def on_resistance(curves: Curves, at: float) -> Estimate:
    """V_DS over the current at `at` on the swept axis; V_DS is `at` where it is the one swept."""
    current = current_at(curves, at)
    voltage_v = np.where(np.isnan(curves.drain_v), at, curves.drain_v)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = voltage_v / current.value
        u = np.abs(value / current.value) * current.u_extraction
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
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """x where y meets a target between points i and i + 1, its u, and the points of both."""
    (left, right), (x0, x1) = _pair(points, i)
    rows = np.arange(len(i))
    y0, y1 = points.y[rows, left], points.y[rows, right]
    with np.errstate(invalid="ignore", divide="ignore"):
        t = (target - y0) / (y1 - y0)
        value = x0 + t * (x1 - x0)
        around, _ = local(points, points.y, i, np.where(np.isfinite(value), value, 0.0))
        _, u_y = _between(points.y, around, points.x, i, t)
        u = u_y * np.abs((x1 - x0) / (y1 - y0))
    step = np.abs(x1 - x0) / np.sqrt(12)
    u = np.where(around.freedom > 0, u, step)
    used = _weighted(points, (left, right), t)
    return value, np.asarray(u), used


def _between(
    y: FloatArray, around: Polynomial, x: FloatArray, i: Indices, t: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """y at the way t from point i to the next, with its standard uncertainty.

    Noise of the two points, and the bend of the curve between them: the chord's distance
    y'' h^2 t (1 - t) / 2, taken as the bound of a rectangular distribution.
    """
    rows = np.arange(len(i))
    after = np.minimum(i + 1, y.shape[1] - 1)
    h = x[rows, after] - x[rows, i]
    value = np.where(t > 0, (1 - t) * y[rows, i] + t * y[rows, after], y[rows, i])
    noise = around.s * np.hypot(1 - t, t)
    bend = np.abs(around.value(around.at, 2) * h**2 * t * (1 - t) / 2)
    bend = np.where(t * (1 - t) == 0, 0.0, bend)
    return np.asarray(value), np.asarray(np.hypot(noise, bend / np.sqrt(3)))
