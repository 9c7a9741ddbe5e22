"""Quantities over frequency: lines with a band, and a gap wherever nothing is determined.

Every chart of a calibration's page is one of these, so that all are read alike: lines that differ
by dash as well as by colour, named in a key above the plot or at their ends, and hatched columns
over the frequencies at which a quantity is not determined.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np

from sitegen.chart import marks, svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, log_ticks, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.results import Drawing
from sitegen.units import UnknownUnit, shown_unit

WIDTH, HEIGHT = 410, 256
"""Small enough that its words stay readable on a phone, three to a row on a large screen."""
PADDINGS = {
    "key": vega.Padding(left=58, top=62, right=14, bottom=44),
    "ends": vega.Padding(left=58, top=26, right=66, bottom=44),
    "long ends": vega.Padding(left=58, top=26, right=146, bottom=44),
}
"""Room for names: above the plot, or short or long ones at the right ends of the lines."""
Names = Literal["key", "ends", "long ends"]
RING_COUNT = 20
"""Points of other sources are drawn as about so many rings, not as one more line."""
_KEY_ROW = 17
_NOT_DETERMINED = "not determined"


@dataclass(frozen=True, eq=False)
class Line:
    """A line of a chart, in the unit of its axis."""

    name: str
    values: FloatArray
    """(n_freq,); NaN breaks it."""
    part: str
    """Part of the palette."""
    dash: tuple[int, ...] = (1, 0)
    width: float = 1.75
    key: str | None = None
    """What the key calls it; None: its name, empty: it is not in the key."""


@dataclass(frozen=True, eq=False)
class Band:
    """An area between two lines."""

    name: str
    lower: FloatArray
    upper: FloatArray


def scale_of(values: FloatArray, unit: str) -> tuple[float, str]:
    """Factor and symbol in which an axis over these values has short numbers.

    A number without a unit is counted in thousandths or millionths where it is small; a unit that
    takes no prefix, or is not known, stays as it is.
    """
    finite = np.abs(values[np.isfinite(values)])
    greatest = float(finite.max()) if finite.size else 0.0
    if unit in ("", "1"):
        if 0 < greatest < 1e-5:
            return 1e6, "10⁻⁶"
        return (1e3, "10⁻³") if 0 < greatest < 0.02 else (1.0, "")
    try:
        return shown_unit([greatest], unit)
    except UnknownUnit:
        return 1.0, unit


def linear_axis(curves: Sequence[FloatArray], title: str) -> Axis:
    """An axis that holds every finite value of the curves; from zero where they nearly reach it."""
    known = np.concatenate([np.ravel(one)[np.isfinite(np.ravel(one))] for one in curves])
    if not known.size:
        return value_axis(snapped_range(0.0, 1.0), 1.0, title)
    low, high = float(known.min()), float(known.max())
    if 0 < low < high / 3:
        low = 0.0
    if low / 3 > high and high < 0:
        high = 0.0
    return value_axis(snapped_range(low, high), 1.0, title)


def log_axis(curves: Sequence[FloatArray], title: str, decades: int = 4) -> Axis:
    """A logarithmic axis from just above the greatest value down, at most so many decades."""
    known = np.concatenate([np.ravel(one) for one in curves])
    known = known[np.isfinite(known) & (known > 0)]
    if not known.size:
        return Axis(0.1, 10.0, log_ticks(0.1, 10.0), title, log=True)
    upper = _step(float(known.max()), up=True)
    lower = max(_step(float(known.min()), up=False), upper / 10.0**decades)
    lower = min(lower, upper / 10.0)
    return Axis(lower, upper, log_ticks(lower, upper), title, log=True)


def _step(value: float, *, up: bool) -> float:
    """The nearest of 1, 2 and 5 times a power of ten that is not below, or not above, a value."""
    power = math.floor(math.log10(value))
    steps = [float(f"{digit}e{power}") for digit in (1, 2, 5, 10)]
    if up:
        return next(step for step in steps if step >= value * (1 - 1e-9))
    return next(step for step in reversed(steps) if step <= value * (1 + 1e-9))


@cache
def _specification(names: Names, log_x: bool, log_y: bool) -> bytes:
    x = vega.quantitative(alt.X, "f", log=log_x)
    y = vega.quantitative(alt.Y, "y", log=log_y)
    width, height = _plot_size(names)
    gaps = (
        alt.Chart(alt.NamedData("gaps"))
        .mark_rect(fill=vega.HATCH_COLOUR, clip=True)
        .encode(x=x, x2="end", y=alt.value(0), y2=alt.value(height))
    )
    band = (
        alt.Chart(alt.NamedData("band"))
        .mark_area(fill=colour("accent-soft"), clip=True)
        .encode(x="f:Q", y=y, y2="upper")
    )
    lines = (
        alt.Chart(alt.NamedData("lines"))
        .mark_line(clip=True)
        .encode(
            x="f:Q",
            y="y:Q",
            stroke=alt.Stroke("stroke:N", scale=None, legend=None),
            strokeDash=alt.StrokeDash("dash:N", scale=None, legend=None),
            strokeWidth=alt.StrokeWidth("width:Q", scale=None, legend=None),
            detail="line:N",
        )
    )
    lone = (
        alt.Chart(alt.NamedData("lone"))
        .mark_point(shape="circle", size=22, opacity=1, strokeWidth=0, clip=True)
        .encode(x="f:Q", y="y:Q", fill=alt.Fill("stroke:N", scale=None, legend=None))
    )
    chart = alt.layer(gaps, band, lines, lone).properties(width=width, height=height)
    return vega.compiled(chart, PADDINGS[names])


def _plot_size(names: Names) -> tuple[int, int]:
    padding = PADDINGS[names]
    return WIDTH - padding.left - padding.right, HEIGHT - padding.top - padding.bottom


def over_frequency(
    *,
    address: str,
    title: str,
    description: str,
    frequency_hz: FloatArray,
    lines: Sequence[Line],
    y: Axis,
    names: Names,
    undetermined: BoolArray,
    band: Band | None = None,
    rings: Sequence[Line] = (),
    heading: str = "",
    told: str = "",
    x_axis: tuple[Axis, float] | None = None,
) -> Drawing:
    """Lines over frequency in the unit of `y`, hatched where nothing is determined.

    A value with no neighbour is a dot. `rings` are drawn as about `RING_COUNT` rings each;
    `heading` stands above everything, `told` behind the key. `x_axis`: another axis than that of
    frequency, with the factor from the numbers in `frequency_hz` to its unit.
    """
    x, per_hz = frequency_axis(frequency_hz) if x_axis is None else x_axis
    f = np.asarray(frequency_hz, dtype=float) * per_hz
    gaps = _gaps(f, np.asarray(undetermined, dtype=bool), x)
    lower, upper = (np.full(f.size, np.nan),) * 2 if band is None else (band.lower, band.upper)
    prefix = svg.identifier(address)
    plot = vega.rendered(
        _specification(names, x.log, y.log),
        data={
            "gaps": [{"f": start, "end": end} for start, end in gaps],
            "band": vega.columns(f=f.tolist(), y=lower.tolist(), upper=upper.tolist()),
            "lines": [row for line in lines for row in _rows(line, f, y)],
            "lone": [row for line in lines for row in _lone(line, f, y)],
        },
        axes={"x": x, "y": y},
        prefix=prefix,
    )
    over = [part for ring in rings for part in _ring_path(ring, f, x, y, names)]
    if names == "key":
        over.append(svg.label(8, 15, heading, size=12, bold=True))
        over += _key(lines, band, bool(gaps), told, prefix)
    else:
        over += _ends(lines, y, names)
        over += _heading(heading, bool(gaps), bool(rings))
    if np.all(undetermined):
        over += _instead(_NOT_DETERMINED, names)
    elif not any(np.isfinite(line.values).any() for line in (*lines, *rings)):
        over += _instead("zero", names)
    return svg.finished(
        [*plot, *over],
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=HEIGHT,
    )


def _instead(text: str, names: Names) -> list[Element]:
    """What stands in a plot without a line, on a ground of its own."""
    padding, (width, height) = PADDINGS[names], _plot_size(names)
    x, y = padding.left + width / 2, padding.top + height / 2
    ground = {
        "class": "fill-paper",
        "d": f"M{svg.coordinate(x - 75)},{svg.coordinate(y - 15)}h150v22h-150z",
    }
    return [svg.element("path", ground), svg.label(x, y, text, anchor="middle", part="muted")]


def _gaps(f: FloatArray, undetermined: BoolArray, x: Axis) -> list[tuple[float, float]]:
    """Stretches of the axis without a determined point: half way to the next one that is."""
    edges = np.flatnonzero(np.diff(undetermined, prepend=False, append=False)).reshape(-1, 2)

    def between(one: float, other: float) -> float:
        return math.sqrt(one * other) if x.log else (one + other) / 2

    return [
        (
            x.lower if first == 0 else between(float(f[first - 1]), float(f[first])),
            x.upper if last == f.size else between(float(f[last - 1]), float(f[last])),
        )
        for first, last in edges.tolist()
    ]


def _shown(values: FloatArray, y: Axis) -> FloatArray:
    """A logarithmic axis has no place for zero."""
    return np.where(np.isfinite(values) & ((values > 0) | (not y.log)), values, np.nan)


def _rows(line: Line, f: FloatArray, y: Axis) -> vega.Rows:
    look = {
        "stroke": colour(line.part),
        "dash": list(line.dash),
        "width": line.width,
        "line": line.name,
    }
    shown = _shown(line.values, y)
    return [{"f": x, "y": v, **look} for x, v in zip(f.tolist(), shown.tolist(), strict=True)]


def _lone(line: Line, f: FloatArray, y: Axis) -> vega.Rows:
    """Points of a line that have no neighbour to be joined with."""
    known = np.isfinite(_shown(line.values, y))
    before, after = np.append(False, known[:-1]), np.append(known[1:], False)
    return [
        {"f": float(f[place]), "y": float(line.values[place]), "stroke": colour(line.part)}
        for place in np.flatnonzero(known & ~before & ~after)
    ]


def _ring_path(line: Line, f: FloatArray, x: Axis, y: Axis, names: Names) -> list[Element]:
    padding, (width, height) = PADDINGS[names], _plot_size(names)
    step = max(len(f) // RING_COUNT, 1)
    data = "".join(
        marks.path(
            "ring",
            padding.left + x.position(float(f[place]), width),
            padding.top + height - y.position(float(line.values[place]), height),
            2.25,
        )
        for place in range(step // 2, len(f), step)
        if np.isfinite(line.values[place])
    )
    if not data:
        return []
    return [svg.element("path", {"class": f"line-{line.part}", "fill": "none", "d": data})]


def _heading(heading: str, gaps: bool, rings: bool) -> list[Element]:
    """The chart's own name, and what a shape without a name of its own means."""
    padding = PADDINGS["ends"]
    base = padding.top - 10
    told = [
        *(["rings: as reported"] if rings else []),
        *([f"hatched: {_NOT_DETERMINED}"] if gaps else []),
    ]
    return [
        svg.label(padding.left, base, heading, size=12, bold=True),
        svg.label(WIDTH - 4, base, ", ".join(told), anchor="end", part="muted"),
    ]


def _key(
    lines: Sequence[Line], band: Band | None, gaps: bool, told: str, prefix: str
) -> list[Element]:
    """Names under the heading, each behind a piece of what it names, in at most two rows."""
    drawn_lines = [line for line in lines if np.isfinite(line.values).any()]
    called = [(line.name if line.key is None else line.key, line) for line in drawn_lines]
    entries: list[tuple[str, Line | str]] = [(text, line) for text, line in called if text]
    entries += [(band.name, "band")] if band is not None else []
    entries += [(_NOT_DETERMINED, "gap")] if gaps else []
    entries += [(told, "")] if told else []
    drawn: list[Element] = []
    x, row = 8.0, 0
    for text, look in entries:
        swatch = 28 if look else 0
        needed = swatch + words.width(text)
        if x > 8 and x + needed > WIDTH:
            x, row = 8.0, row + 1
        base = 33.0 + row * _KEY_ROW
        drawn += [_swatch(look, x, base, prefix)] if look else []
        drawn.append(svg.label(x + swatch, base, text, part="muted"))
        x += needed + 14
    return drawn


def _swatch(look: Line | str, x: float, base: float, prefix: str) -> Element:
    if isinstance(look, Line):
        dash = "" if look.dash == (1, 0) else " ".join(str(n) for n in look.dash)
        return svg.line(x, base - 4, x + 24, base - 4, part=look.part, width=look.width, dash=dash)
    data = f"M{svg.coordinate(x)},{svg.coordinate(base - 9)}h24v10h-24z"
    if look == "band":
        return svg.element("path", {"class": "fill-accent-soft", "d": data})
    return svg.element("path", {"fill": f"url(#{prefix}-{vega.HATCH})", "d": data})


def _ends(lines: Sequence[Line], y: Axis, names: Names) -> list[Element]:
    """Each line's name at its last point, kept apart."""
    padding, (width, height) = PADDINGS[names], _plot_size(names)
    drawn = [line for line in lines if np.isfinite(_shown(line.values, y)).any()]
    last = [float(shown[np.isfinite(shown)][-1]) for shown in (_shown(d.values, y) for d in drawn)]
    reach = 1e-9 * abs(y.upper - y.lower)
    inside = [
        (line, height - y.position(end, height))
        for line, end in zip(drawn, last, strict=True)
        if line.name and y.lower - reach <= end <= y.upper + reach
    ]
    heights = words.spread([place for _, place in inside], 12, 4, height - 4)
    return [
        svg.label(padding.left + width + 5, padding.top + place + 4, line.name, part=line.part)
        for (line, _), place in zip(inside, heights, strict=True)
    ]
