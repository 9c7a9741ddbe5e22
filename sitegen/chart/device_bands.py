"""What a device shows over frequency, over a swept voltage and over bias: wafers as lines."""

from collections.abc import Sequence

import numpy as np

from sitegen.chart.axis import Axis, log_ticks, snapped_range, value_axis
from sitegen.chart.over_frequency import (
    Band,
    Line,
    linear_axis,
    log_axis,
    over_frequency,
    scale_of,
)
from sitegen.model import device_results
from sitegen.model.arrays import FloatArray
from sitegen.model.results import Drawing
from sitegen.units import axis_title, number, shown_unit

LOOKS: tuple[tuple[str, tuple[int, ...]], ...] = (
    ("accent", (1, 0)),
    ("ink", (6, 3)),
    ("alarm", (2, 3)),
    ("muted", (8, 3, 2, 3)),
)
"""Colour and dash of the first wafers; more wafers begin again."""
LEAST_SPAN = 10
"""Ratio of the frequencies from which on gains are drawn over their logarithm."""
DECADES = 3
"""Currents that reach over more decades than this are drawn over a logarithmic axis."""


def band_drawing(
    *,
    address: str,
    title: str,
    bands: Sequence[device_results.Band],
    heading: str,
    x_name: str = "swept",
) -> Drawing:
    """Median of each wafer's dies, over the outermost 5 % and 95 % of them all.

    bands: one a wafer, or one a wafer and value of the stepped axis, all of one quantity. With
    several such values the lines of a wafer look alike and no band is drawn, which would fill what
    lies between them.
    """
    x = bands[0].x
    alike = [one for one in bands if one.x.shape == x.shape and np.allclose(one.x, x)]
    magnitudes = np.abs(np.concatenate([one.median for one in alike]))
    wide = bands[0].unit == "A" and _decades(magnitudes) > DECADES
    factor, symbol = scale_of(np.concatenate([one.median for one in alike]), bands[0].unit)

    def shown(values: FloatArray) -> FloatArray:
        return np.abs(values) * factor if wide else values * factor

    lower = np.fmin.reduce([np.fmin(shown(one.lower), shown(one.upper)) for one in alike])
    upper = np.fmax.reduce([np.fmax(shown(one.lower), shown(one.upper)) for one in alike])
    wafers = list(dict.fromkeys(one.wafer for one in alike))
    steps = list(dict.fromkeys(one.stepped for one in alike))
    lines = [_line(one, wafers, shown(one.median), one.stepped == steps[0]) for one in alike]
    alone = len(steps) == 1
    y = (log_axis if wide else linear_axis)([lower, upper], symbol)
    return over_frequency(
        address=address,
        title=title,
        description="The median over the dies of each wafer"
        + (", and from 5 % to 95 % of them." if alone else ", a line for each step."),
        frequency_hz=x,
        lines=lines,
        y=y,
        names="key",
        undetermined=np.zeros(len(x), dtype=bool),
        band=Band("5 % to 95 %", lower, upper) if alone else None,
        heading=f"|{heading}|" if wide else heading,
        x_axis=_x_axis(x, bands[0], x_name),
    )


def by_set_point(
    *,
    address: str,
    title: str,
    set_points: FloatArray,
    set_point_name: str,
    set_point_unit: str,
    medians_by_wafer: Sequence[tuple[str, FloatArray]],
    spread: tuple[FloatArray, FloatArray],
    unit: str,
    name: str,
) -> Drawing:
    """A parameter's median on each wafer against one bias, over the 5 % to 95 % of all values."""
    wafers = [wafer for wafer, _ in medians_by_wafer]
    factor, symbol = shown_unit(
        np.concatenate([values for _, values in medians_by_wafer]).tolist(), unit
    )
    lower, upper = spread[0] * factor, spread[1] * factor
    lines = [
        Line(wafer, values * factor, *LOOKS[wafers.index(wafer) % len(LOOKS)])
        for wafer, values in medians_by_wafer
    ]
    return over_frequency(
        address=address,
        title=title,
        description="The median over the dies of each wafer at each set point, and from 5 % to"
        " 95 % of all of them.",
        frequency_hz=set_points,
        lines=lines,
        y=linear_axis([lower, upper, *(line.values for line in lines)], symbol),
        names="key",
        undetermined=np.zeros(len(set_points), dtype=bool),
        band=Band("5 % to 95 %", lower, upper),
        heading=name,
        x_axis=_swept_axis(set_points, set_point_unit, set_point_name),
    )


def _line(one: device_results.Band, wafers: Sequence[str], values: FloatArray, keyed: bool) -> Line:
    part, dash = LOOKS[wafers.index(one.wafer) % len(LOOKS)]
    step = "" if one.stepped is None else f", {number(one.stepped)}"
    return Line(f"{one.wafer}{step}", values, part, dash, key=one.wafer if keyed else "")


def _x_axis(x: FloatArray, band: device_results.Band, name: str) -> tuple[Axis, float] | None:
    """A gain falls in a straight line over the logarithm of frequency; None: as the list is."""
    if band.x_unit != "Hz":
        return _swept_axis(x, band.x_unit, name)
    if band.unit != "dB" or not x[0] > 0 or x[-1] < LEAST_SPAN * x[0]:
        return None
    factor, symbol = shown_unit([float(x[-1])], "Hz")
    ends = float(x[0]) * factor, float(x[-1]) * factor
    return Axis(*ends, log_ticks(*ends), axis_title("frequency", symbol), log=True), factor


def _swept_axis(x: FloatArray, unit: str, name: str) -> tuple[Axis, float]:
    factor, symbol = shown_unit(x[np.isfinite(x)].tolist(), unit)
    whole = snapped_range(float(np.nanmin(x)), float(np.nanmax(x)))
    return value_axis(whole, factor, axis_title(name, symbol)), factor


def _decades(values: FloatArray) -> float:
    known = values[np.isfinite(values) & (values > 0)]
    return float(np.log10(known.max() / known.min())) if known.size else 0.0
