"""The threshold by the Y-function: I_D / sqrt(g_m) is linear in V_GS whatever the mobility does.

Source: G. Ghibaudo, New method for the extraction of MOSFET parameters, Electron. Lett. 24 (1988)
543 (quoted from memory): with I_D = b V_DS x/(1 + theta x), x = V_GS - V_T - V_DS/2, the
transconductance is b V_DS/(1 + theta x)^2 and I_D / sqrt(g_m) = sqrt(b V_DS) x.
"""

import numpy as np

from sitegen.compute.dc.curves import Curves, measured_points, ordered, original
from sitegen.compute.dc.estimates import Estimate, estimate, widened
from sitegen.compute.dc.fits import line
from sitegen.model.arrays import BoolArray, FloatArray

FEWEST = 4


def threshold_by_y_function(curves: Curves, window_v: tuple[float, float]) -> Estimate:
    """Where the line through I_D / sqrt(g_m) over V_GS in the window meets zero, less V_DS/2.

    g_m at a point follows from the chords to and between its neighbours, g = d12 d23 / d13: exact
    on every law (a + b V)/(1 + c V), so on the degraded law above. The readings' noise is found
    from the remainders of the line, through the derivatives of each Y by the three readings that
    it is made of (neighbouring Y share readings), with Welch and Satterthwaite's degrees of
    freedom.
    """
    held = measured_points(curves)
    points = ordered(curves.swept, curves.measured, curves.usable & held)
    y, derivative = _y_of(points.x, points.y)
    inside = curves.in_swept_window(window_v)
    used = np.take_along_axis(inside, points.place, axis=1) & points.there & np.isfinite(y)
    fit = line(points.x, y, used)
    slope = fit.c[:, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = fit.at - fit.c[:, 0] / slope
        u = _u(points.x, np.where(used, y, 0.0), used, meets, slope, derivative)
    few = used.sum(axis=1) < FEWEST
    return estimate(
        meets - curves.drain_v / 2,
        u,
        original(points, used),
        [
            (few, f"fewer than {FEWEST} points with a rising current in the window"),
            (np.isnan(curves.drain_v), "the drain voltage is not known"),
            (~(slope > 0), "I_D / sqrt(g_m) does not rise in the window"),
        ],
        wanted=held & inside,
    )


def _y_of(x: FloatArray, current: FloatArray) -> tuple[FloatArray, FloatArray]:
    """I/sqrt(g) at each point but the ends, and its derivatives by the readings.

    Returns y (n, p), NaN where the current does not rise, and (3, n, p): by the reading before, at
    and after.
    """
    y = np.full(x.shape, np.nan)
    derivative = np.zeros((3, *x.shape))
    if x.shape[1] < 3:
        return y, derivative
    h12, h23 = x[:, 1:-1] - x[:, :-2], x[:, 2:] - x[:, 1:-1]
    i1, i2, i3 = current[:, :-2], current[:, 1:-1], current[:, 2:]
    h13 = h12 + h23
    with np.errstate(divide="ignore", invalid="ignore"):
        d12, d23, d13 = (i2 - i1) / h12, (i3 - i2) / h23, (i3 - i1) / h13
        rising = (d12 > 0) & (d23 > 0) & (i2 > 0)
        root = np.sqrt(np.where(rising, d12 * d23 / d13, np.nan))
        inner = i2 / root
        by12, by23, by13 = 1 / (h12 * d12), 1 / (h23 * d23), 1 / (h13 * d13)
        parts = (
            -inner / 2 * (by13 - by12),
            1 / root - inner / 2 * (by12 - by23),
            -inner / 2 * (by23 - by13),
        )
    y[:, 1:-1] = inner
    for k, part in enumerate(parts):
        derivative[k, :, 1:-1] = np.where(rising, part, 0.0)
    return y, derivative


def _u(
    x: FloatArray,
    y: FloatArray,
    used: BoolArray,
    meets: FloatArray,
    slope: FloatArray,
    derivative: FloatArray,
) -> FloatArray:
    """(n,) standard uncertainty of where the line meets zero, from the readings' noise."""
    n, p = x.shape
    by_reading = np.zeros((n, p, p))
    index = np.arange(p)
    for k, shift in enumerate((-1, 0, 1)):
        rows = index[(index + shift >= 0) & (index + shift < p)]
        by_reading[:, rows, rows + shift] = derivative[k][:, rows]
    by_reading *= used[..., None]
    count = np.maximum(used.sum(axis=1), 1)[:, None]
    d = np.where(used, x, 0.0)
    d = np.where(used, x - d.sum(axis=1)[:, None] / count, 0.0)
    square = (d**2).sum(axis=1)[:, None]
    mean = used / count
    tilt = d / square
    left = by_reading - used[..., None] * (
        np.einsum("nq,nqr->nr", mean, by_reading)[:, None, :]
        + d[..., None] * np.einsum("nq,nqr->nr", tilt, by_reading)[:, None, :]
    )
    centred = y - used * (mean * y).sum(axis=1)[:, None]
    remainder = used * (centred - d * (tilt * y).sum(axis=1)[:, None])
    gram = left @ left.transpose(0, 2, 1)
    trace = np.einsum("nii->n", gram)
    freedom = trace**2 / (gram**2).sum(axis=(1, 2))
    s = np.sqrt((remainder**2).sum(axis=1) / trace)
    offset = (meets - (np.where(used, x, 0.0).sum(axis=1) / count[:, 0]))[:, None]
    weights = -(mean + offset * tilt) / slope[:, None]
    by = np.einsum("nq,nqr->nr", weights, by_reading)
    free = np.where(used.sum(axis=1) > 2, freedom, 0.0)
    return np.asarray(widened(s, free) * np.sqrt((by**2).sum(axis=1)))
