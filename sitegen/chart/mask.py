"""Deviation of a verification's structure over frequency, against its mask."""

import math
from functools import cache
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np

from sitegen.chart import marks, svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import MaskResult
from sitegen.model.results import Drawing
from sitegen.units import THIN, number, shown_unit

WIDTH, HEIGHT = 640, 300
PADDING = vega.Padding(left=64, top=26, right=84, bottom=44)
PLOT_WIDTH = WIDTH - PADDING.left - PADDING.right
PLOT_HEIGHT = HEIGHT - PADDING.top - PADDING.bottom
CROSS_GAP = 7.0
"""Least distance of two crosses across, in pixels."""
_UNITS = {"complex deviation": "", "magnitude db": "dB", "phase deg": "°"}


@cache
def _specification(log: bool) -> bytes:
    x = vega.quantitative(alt.X, "f", log=log)
    y = vega.quantitative(alt.Y, "limit")
    curves = alt.Chart(alt.NamedData("curves")).encode(x=x)
    mask = curves.mark_area(fill=vega.HATCH_COLOUR, clip=True).encode(y=y, y2="top")
    edge = curves.mark_line(stroke=colour("ink"), strokeWidth=1.5, clip=True).encode(y="limit:Q")
    line = curves.mark_line(stroke=colour("accent"), strokeWidth=1.75, clip=True).encode(
        y="deviation:Q"
    )
    worst = alt.Chart(alt.NamedData("worst")).encode(x="f:Q", y="deviation:Q")
    drop = worst.mark_rule(stroke=colour("ink"), strokeWidth=1, strokeDash=[2, 2]).encode(y2="top")
    ring = worst.mark_point(shape="circle", size=70, stroke=colour("ink"), strokeWidth=1.75)
    chart = alt.layer(mask, edge, line, drop, ring)
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=PLOT_HEIGHT), PADDING)


def deviation(*, address: str, title: str, description: str, result: MaskResult) -> Drawing:
    """The absolute deviation over frequency, the hatched region it must keep out of, its worst.

    Where the mask says nothing nothing is hatched. Points above the mask are crossed, as many as
    can be told apart.
    """
    measured = np.abs(np.asarray(result.deviation, dtype=float))
    limit = np.asarray(result.limit, dtype=float)
    x, per_hz = frequency_axis(result.frequency_hz)
    f = np.asarray(result.frequency_hz, dtype=float) * per_hz
    known = [*measured[np.isfinite(measured)], *limit[np.isfinite(limit)]]
    y = value_axis(snapped_range(0.0, 1.1 * max(known, default=1.0)), 1.0, _y_title(result))
    data: dict[str, vega.Rows] = {
        "curves": vega.columns(
            f=f.tolist(),
            deviation=measured.tolist(),
            limit=limit.tolist(),
            top=np.where(np.isfinite(limit), y.upper, np.nan).tolist(),
        ),
        "worst": [],
    }
    ends = [_end("mask", "ink", limit, y), _end("deviation", "accent", measured, y)]
    texts = _side_labels([end for end in ends if end is not None])
    texts += _crosses(f, measured, limit, x, y)
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


def _y_title(result: MaskResult) -> str:
    port = result.mask.parameter.upper()
    unit = _UNITS[result.mask.quantity]
    quantity = {
        "complex deviation": f"|{port} − reference|",
        "magnitude db": f"deviation of |{port}|",
        "phase deg": f"deviation of arg {port}",
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
    text = (
        f"worst at {number(float(result.frequency_hz[place]) * factor)}{THIN}{hertz}:"
        f" {number(abs(float(result.deviation[place])), 3)}{symbol}"
        f" of {number(float(result.limit[place]), 3)}{symbol}"
    )
    (placed,) = words.beside(
        [(PADDING.left + x.position(f, PLOT_WIDTH), text)], PADDING.left - 50, WIDTH - 4
    )
    return svg.label(placed.x, PADDING.top - 8, text, anchor=placed.anchor)


def _crosses(
    f: FloatArray, measured: FloatArray, limit: FloatArray, x: Axis, y: Axis
) -> list[Element]:
    """One path of crosses on the stretches that lie above the mask."""
    with np.errstate(invalid="ignore"):
        over = np.flatnonzero(measured > limit)
    data = ""
    last = -math.inf
    for place in over:
        across = PADDING.left + x.position(float(f[place]), PLOT_WIDTH)
        if across - last < CROSS_GAP:
            continue
        last = across
        down = PADDING.top + PLOT_HEIGHT - y.position(float(measured[place]), PLOT_HEIGHT)
        data += marks.path("cross", across, down, 2.5)
    if not data:
        return []
    return [svg.element("path", {"class": "line-alarm", "stroke-width": "1.25", "d": data})]


def _end(text: str, part: str, curve: FloatArray, y: Axis) -> tuple[str, str, float] | None:
    """A curve's name, part of the palette and height where it ends; None without a point."""
    known = np.flatnonzero(np.isfinite(curve))
    if not known.size:
        return None
    height = PLOT_HEIGHT - y.position(float(curve[known[-1]]), PLOT_HEIGHT)
    return text, part, height


def _side_labels(ends: list[tuple[str, str, float]]) -> list[Element]:
    heights = words.spread([height for *_, height in ends], 14, 4, PLOT_HEIGHT - 4)
    return [
        svg.label(WIDTH - PADDING.right + 10, PADDING.top + height + 4, text, part=part)
        for (text, part, _), height in zip(ends, heights, strict=True)
    ]
