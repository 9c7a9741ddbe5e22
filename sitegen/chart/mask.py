"""Deviation of a structure over frequency with its uncertainty, against its mask."""

import math
from functools import cache
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np

from sitegen.chart import ends, marks, svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.event_results import MaskResult
from sitegen.model.results import Drawing
from sitegen.units import THIN, number, shown_unit

WIDTH, HEIGHT = 640, 300
PADDING = vega.Padding(left=64, top=26, right=84, bottom=44)
PLOT_WIDTH = WIDTH - PADDING.left - PADDING.right
PLOT_HEIGHT = HEIGHT - PADDING.top - PADDING.bottom
MARK_GAP = 7.0
"""Least distance of two crosses or diamonds across, in pixels."""
BAND_SHARE = 1.6
"""How far a wide band may stretch the axis, as a share of the greatest deviation or limit."""
_UNITS = {"complex deviation": "", "magnitude db": "dB", "phase deg": "°"}


@cache
def _specification(log: bool) -> bytes:
    x = vega.quantitative(alt.X, "f", log=log)
    y = vega.quantitative(alt.Y, "limit")
    curves = alt.Chart(alt.NamedData("curves")).encode(x=x)
    band = curves.mark_area(fill=colour("accent-soft"), clip=True).encode(y="lower:Q", y2="upper")
    mask = curves.mark_area(fill=vega.HATCH_COLOUR, clip=True).encode(y=y, y2="top")
    edge = curves.mark_line(stroke=colour("ink"), strokeWidth=1.5, clip=True).encode(y="limit:Q")
    line = curves.mark_line(stroke=colour("accent"), strokeWidth=1.75, clip=True).encode(
        y="deviation:Q"
    )
    worst = alt.Chart(alt.NamedData("worst")).encode(x="f:Q", y="deviation:Q")
    drop = worst.mark_rule(stroke=colour("ink"), strokeWidth=1, strokeDash=[2, 2]).encode(y2="top")
    ring = worst.mark_point(shape="circle", size=70, stroke=colour("ink"), strokeWidth=1.75)
    chart = alt.layer(band, mask, edge, line, drop, ring)
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=PLOT_HEIGHT), PADDING)


def deviation(
    *,
    address: str,
    title: str,
    description: str,
    result: MaskResult,
    coverage_factor: float,
    less: str = "reference",
) -> Drawing:
    """The absolute deviation over frequency, the hatched region it must keep out of, its worst.

    Where the mask says nothing nothing is hatched. The band around the deviation is the guard
    band w where the rule has one, else the expanded uncertainty U = k u, else there is none.
    Points above the mask are crossed, and points whose guard band reaches into it have a diamond,
    as many as can be told apart. `less` names what the S-parameter is compared with.
    """
    measured = np.abs(np.asarray(result.deviation, dtype=float))
    limit = np.asarray(result.limit, dtype=float)
    band, name = _band(result, coverage_factor)
    x, per_hz = frequency_axis(result.frequency_hz)
    f = np.asarray(result.frequency_hz, dtype=float) * per_hz
    y = _value_axis(measured, limit, band, _y_title(result, less))
    upper = np.minimum(measured + band, y.upper)
    data: dict[str, vega.Rows] = {
        "curves": vega.columns(
            f=f.tolist(),
            deviation=measured.tolist(),
            limit=limit.tolist(),
            lower=np.maximum(measured - band, 0.0).tolist(),
            upper=upper.tolist(),
            top=np.where(np.isfinite(limit), y.upper, np.nan).tolist(),
        ),
        "worst": [],
    }
    texts = ends.names(
        [
            ends.end_of("mask", "ink", limit, y, PLOT_HEIGHT),
            ends.end_of("deviation", "accent", measured, y, PLOT_HEIGHT),
            ends.end_of(name, "muted", upper, y, PLOT_HEIGHT),
        ],
        PADDING,
        PLOT_WIDTH,
        PLOT_HEIGHT,
    )
    with np.errstate(invalid="ignore"):
        over = measured > limit
        near = (measured + band > limit) & ~over
    texts += _marks("cross", over, f, measured, x, y)
    if result.guard is not None:
        texts += _marks("diamond", near, f, measured, x, y)
    place = _worst_place(result)
    if place is not None and np.isfinite(measured[place]):
        data["worst"] = [
            {"f": float(f[place]), "deviation": float(measured[place]), "top": y.upper}
        ]
        texts.append(_worst_label(result, place, float(f[place]), x))
    plot = vega.rendered(
        _specification(x.log), data=data, axes={"x": x, "y": y}, prefix=svg.identifier(address)
    )
    return svg.finished(
        [*plot, *texts],
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=HEIGHT,
    )


def _band(result: MaskResult, coverage_factor: float) -> tuple[FloatArray, str]:
    """Half the width of the band at each frequency, NaN for none, and what the band is."""
    if result.guard is not None:
        return np.asarray(result.guard, dtype=float), "+ w"
    if result.u is not None:
        return coverage_factor * np.asarray(result.u, dtype=float), "+ U"
    return np.full(len(result.frequency_hz), np.nan), ""


def _value_axis(measured: FloatArray, limit: FloatArray, band: FloatArray, title: str) -> Axis:
    """From zero; a band that reaches far beyond deviation and mask is cut off."""
    known = [*measured[np.isfinite(measured)], *limit[np.isfinite(limit)]]
    highest = max(known, default=1.0)
    reach = measured + band
    reach = reach[np.isfinite(reach)]
    if reach.size:
        highest = max(highest, min(float(reach.max()), BAND_SHARE * highest))
    return value_axis(snapped_range(0.0, 1.1 * highest), 1.0, title)


def _y_title(result: MaskResult, less: str) -> str:
    port = result.mask.parameter.upper()
    unit = _UNITS[result.mask.quantity]
    quantity = {
        "complex deviation": f"|{port} − {less}|",
        "magnitude db": f"|{port}| against the {less}",
        "phase deg": f"arg {port} against the {less}",
    }[result.mask.quantity]
    return f"{quantity} / {unit}" if unit else quantity


def _worst_place(result: MaskResult) -> int | None:
    if result.worst_frequency_hz is None:
        return None
    return int(np.argmin(np.abs(result.frequency_hz - result.worst_frequency_hz)))


def _worst_label(result: MaskResult, place: int, f: float, x: Axis) -> Element:
    unit = _UNITS[result.mask.quantity]
    symbol = "" if not unit else unit if unit == "°" else THIN + unit
    factor, hertz = shown_unit([float(result.frequency_hz[place])], "Hz")
    guard = ""
    if result.guard is not None:
        reach = float(result.guard[place])
        guard = f" + {number(reach, 2)}{symbol}" if math.isfinite(reach) else " + w without end"
    text = (
        f"worst at {number(float(result.frequency_hz[place]) * factor)}{THIN}{hertz}:"
        f" {number(abs(float(result.deviation[place])), 3)}{symbol}{guard}"
        f" of {number(float(result.limit[place]), 3)}{symbol}"
    )
    (placed,) = words.beside(
        [(PADDING.left + x.position(f, PLOT_WIDTH), text)], PADDING.left - 50, WIDTH - 4
    )
    return svg.label(placed.x, PADDING.top - 8, text, anchor=placed.anchor)


def _marks(
    shape: marks.Shape, chosen: BoolArray, f: FloatArray, measured: FloatArray, x: Axis, y: Axis
) -> list[Element]:
    """One path of marks of a shape on the chosen points."""
    data = ""
    last = -math.inf
    for place in np.flatnonzero(chosen):
        across = PADDING.left + x.position(float(f[place]), PLOT_WIDTH)
        if across - last < MARK_GAP:
            continue
        last = across
        down = PADDING.top + PLOT_HEIGHT - y.position(float(measured[place]), PLOT_HEIGHT)
        data += marks.path(shape, across, down, 2.5)
    if not data:
        return []
    painted = {"class": "line-alarm", "fill": "none", "stroke-width": "1.25", "d": data}
    return [svg.element("path", painted)]
