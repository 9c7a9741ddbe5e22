"""Deviation of a verification's structure over frequency, against its mask."""

from functools import cache

import altair as alt
import numpy as np

from sitegen.chart import svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.results import Drawing, MaskResult
from sitegen.units import frequency, number

WIDTH, HEIGHT = 640, 300
PADDING = vega.Padding(left=64, top=26, right=84, bottom=44)
PLOT_WIDTH = WIDTH - PADDING.left - PADDING.right
PLOT_HEIGHT = HEIGHT - PADDING.top - PADDING.bottom
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
    over = (
        alt.Chart(alt.NamedData("over"))
        .mark_point(shape="cross", angle=45, size=40, stroke=colour("alarm"), strokeWidth=1.5)
        .encode(x="f:Q", y="deviation:Q")
    )
    worst = alt.Chart(alt.NamedData("worst")).encode(x="f:Q", y="deviation:Q")
    drop = worst.mark_rule(stroke=colour("ink"), strokeWidth=1, strokeDash=[2, 2]).encode(y2="top")
    ring = worst.mark_point(shape="circle", size=70, stroke=colour("ink"), strokeWidth=1.75)
    chart = alt.layer(mask, edge, line, over, drop, ring)
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=PLOT_HEIGHT), PADDING)


def deviation(*, address: str, title: str, description: str, result: MaskResult) -> Drawing:
    """The absolute deviation over frequency, the hatched region it must keep out of, its worst.

    Where the mask says nothing nothing is hatched. Points above the mask are crossed.
    """
    measured = np.abs(np.asarray(result.deviation, dtype=float))
    limit = np.asarray(result.limit, dtype=float)
    x, per_hz = frequency_axis(result.frequency_hz)
    f = np.asarray(result.frequency_hz, dtype=float) * per_hz
    known = [*measured[np.isfinite(measured)], *limit[np.isfinite(limit)]]
    y = value_axis(snapped_range(0.0, 1.1 * max(known, default=1.0)), 1.0, _y_title(result))
    with np.errstate(invalid="ignore"):
        over = np.flatnonzero(measured > limit)
    data: dict[str, vega.Rows] = {
        "curves": vega.columns(
            f=f.tolist(),
            deviation=measured.tolist(),
            limit=limit.tolist(),
            top=np.where(np.isfinite(limit), y.upper, np.nan).tolist(),
        ),
        "over": [{"f": float(f[n]), "deviation": float(measured[n])} for n in over],
        "worst": [],
    }
    notes = [_at_end("mask", "ink", f, limit, x, y), _at_end("deviation", "accent", f, measured, x, y)]
    texts = _side_labels([note for note in notes if note is not None])
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


def _worst_label(result: MaskResult, place: int, f: float, x: Axis) -> svg.Element:
    unit = _UNITS[result.mask.quantity]
    text = (
        f"worst at {frequency(float(result.frequency_hz[place]))}:"
        f" {number(abs(float(result.deviation[place])), 3)}"
        f" of {number(float(result.limit[place]), 3)}{' ' + unit if unit else ''}"
    )
    (placed,) = words.beside(
        [(PADDING.left + x.position(f, PLOT_WIDTH), text)], PADDING.left - 50, WIDTH - 4
    )
    return svg.label(placed.x, PADDING.top - 8, text, anchor=placed.anchor)


def _at_end(
    text: str, part: str, f: np.ndarray, curve: np.ndarray, x: Axis, y: Axis
) -> tuple[str, str, float] | None:
    """A curve's name, part of the palette and height where it ends; None without a point."""
    known = np.flatnonzero(np.isfinite(curve))
    if not known.size:
        return None
    height = PLOT_HEIGHT - y.position(float(curve[known[-1]]), PLOT_HEIGHT)
    return text, part, height


def _side_labels(ends: list[tuple[str, str, float]]) -> list[svg.Element]:
    heights = words.spread([height for *_, height in ends], 14, 4, PLOT_HEIGHT - 4)
    return [
        svg.label(WIDTH - PADDING.right + 6, PADDING.top + height + 4, text, part=part)
        for (text, part, _), height in zip(ends, heights, strict=True)
    ]
