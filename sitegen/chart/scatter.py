"""Two parameters of every die against each other, a mark of its own for each wafer.

The marks of a wafer are one path: with an element a die a drawing would be ten times as large.
Their shapes are none of those that stand for verdicts (`marks`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np
import numpy.typing as npt

from sitegen.chart import svg, vega, words
from sitegen.chart.axis import Axis, decimals, fixed, value_axis
from sitegen.chart.svg import coordinate
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.results import AxisRange, Drawing
from sitegen.units import THIN, axis_title, count, number, shown_unit

WIDTH = 560
LEFT, RIGHT, BOTTOM = 64, 126, 44
PLOT = WIDTH - LEFT - RIGHT
"""Width and height of the plot."""
ROW = 18
"""Of the legend and of the limits' words."""
PADDING = vega.Padding(LEFT, 0, RIGHT, BOTTOM)
REACH = 3.2
"""Of a mark, from its middle."""
PARTS = ("accent", "ink", "muted")
"""Colours repeat what the shapes tell."""


@dataclass(frozen=True)
class Along:
    """What lies along one axis."""

    name: str
    unit: str
    axis: AxisRange
    """In `unit`, as the limits."""
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class _Shown:
    """An axis with its limits in shown units."""

    axis: Axis
    factor: float
    limits: tuple[tuple[float, str], ...]

    def holds(self, values: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        given = np.asarray(values, dtype=float)
        return np.asarray((given >= self.axis.lower) & (given <= self.axis.upper))


@cache
def _specification() -> bytes:
    # Dies far apart in value leave the plot empty; its axes stand all the same.
    nothing = alt.Chart(alt.NamedData("nothing")).mark_point()
    axes = nothing.encode(x=vega.quantitative(alt.X, "x"), y=vega.quantitative(alt.Y, "y"))
    limits = alt.Chart(alt.NamedData("limits"))
    rule: dict[str, Any] = {"stroke": colour("ink"), "strokeWidth": 1.25, "strokeDash": [7, 3]}
    upright = limits.mark_rule(**rule).encode(x="x:Q")
    level = alt.Chart(alt.NamedData("levels")).mark_rule(**rule).encode(y="y:Q")
    chart = alt.layer(axes, upright, level)
    return vega.compiled(chart.properties(width=PLOT, height=PLOT), PADDING)


def scatter(
    *,
    address: str,
    title: str,
    description: str,
    dies_by_wafer: Mapping[str, tuple[FloatArray, FloatArray]],
    x: Along,
    y: Along,
    zero: bool = False,
) -> Drawing:
    """Dies of each wafer as (n,) values along x and along y, in their units; both finite.

    Specification limits are dashed lines with their words; dies beyond an axis are counted in
    words, and those without both values are left out. zero: with a thin line at y = 0, where the
    axis has it.
    """
    dies = {name: _finite(*values) for name, values in dies_by_wafer.items()}
    across = _shown(x, np.concatenate([*(one[0] for one in dies.values()), np.empty(0)]))
    up = _shown(y, np.concatenate([*(one[1] for one in dies.values()), np.empty(0)]))
    above = words.beside(
        [
            (LEFT + _place(value, across.axis), _told(value, text, across.axis, "←→"))
            for value, text in across.limits
        ],
        4,
        WIDTH - 4,
    )
    top = 12 + 14 * (1 + max((label.row for label in above), default=-1))
    plot = vega.rendered(
        _specification(),
        data={
            "limits": [{"x": value} for value, _ in across.limits if across.holds(value)],
            "levels": [{"y": value} for value, _ in up.limits if up.holds(value)],
            "nothing": [],
        },
        axes={"x": across.axis, "y": up.axis},
        prefix=svg.identifier(address),
    )
    beyond = 0
    clouds = []
    for place, (horizontal, vertical) in enumerate(dies.values()):
        h, v = horizontal * across.factor, vertical * up.factor
        inside = across.holds(h) & up.holds(v)
        beyond += int((~inside).sum())
        clouds += _marks(
            place,
            [
                (
                    LEFT + across.axis.position(float(a), PLOT),
                    PLOT - up.axis.position(float(b), PLOT),
                )
                for a, b in zip(h[inside], v[inside], strict=True)
            ],
        )
    key, height = _legend({name: len(one[0]) for name, one in dies.items()}, beyond, top)
    return svg.finished(
        [
            svg.element(
                "g",
                {"transform": f"translate(0,{top})"},
                *plot,
                *(_level(up.axis) if zero and up.holds(0.0) else ()),
                *clouds,
            ),
            *(svg.label(p.x, top - 6 - 14 * p.row, p.text, anchor=p.anchor) for p in above),
            *_beside(up, top),
            *key,
        ],
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=height,
    )


def _level(axis: Axis) -> list[Element]:
    """A thin line over the whole plot at zero."""
    y = PLOT - axis.position(0.0, PLOT)
    line: dict[str, str | float] = {"class": "line-muted", "fill": "none", "stroke-width": 1}
    data = f"M{coordinate(LEFT)},{coordinate(y)}h{coordinate(PLOT)}"
    return [svg.element("path", {**line, "d": data})]


def _finite(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    both = np.isfinite(across) & np.isfinite(up)
    return across[both], up[both]


def _shown(along: Along, values: FloatArray) -> _Shown:
    ends = [max(abs(along.axis.lower), abs(along.axis.upper))]
    factor, symbol = shown_unit(values.tolist() if values.any() else ends, along.unit)
    named = (("lower limit", along.lower), ("upper limit", along.upper))
    limits = tuple(
        (value * factor, f"{text} {_figure(value * factor, symbol)}")
        for text, value in named
        if value is not None
    )
    return _Shown(value_axis(along.axis, factor, axis_title(along.name, symbol)), factor, limits)


def _figure(value: float, symbol: str) -> str:
    places = decimals([value])
    text = fixed(value, places) if places < 6 else number(value)
    return text + ("" if symbol in ("", "°") else THIN) + symbol


def _place(value: float, axis: Axis) -> float:
    return axis.position(min(max(value, axis.lower), axis.upper), PLOT)


def _told(value: float, text: str, axis: Axis, arrows: str) -> str:
    """A limit's words, with an arrow where it lies beyond the axis."""
    if value < axis.lower:
        return f"{arrows[0]} {text}"
    return f"{text} {arrows[1]}" if value > axis.upper else text


def _beside(up: _Shown, top: int) -> list[Element]:
    """The limits of the upright axis, right of the plot."""
    heights = words.spread(
        [PLOT - _place(value, up.axis) for value, _ in up.limits], 14, 4, PLOT - 4
    )
    return [
        svg.label(LEFT + PLOT + 6, top + height + 4, _told(value, text, up.axis, "↓↑"))
        for height, (value, text) in zip(heights, up.limits, strict=True)
    ]


def _legend(dies: Mapping[str, int], beyond: int, top: int) -> tuple[list[Element], int]:
    """Marks, names and counts of the wafers below the plot, in as many rows as they need."""
    parts: list[Element] = []
    x, y = float(LEFT), top + PLOT + BOTTOM + 16
    for place, (name, n) in enumerate(dies.items()):
        short = name if len(name) <= 12 else name[:11] + "…"
        text = f"{short}, {count(n, 'die')}"
        needed = 16 + words.width(svg.plain(text)) + 14
        if x > LEFT and x + needed > WIDTH - 4:
            x, y = float(LEFT), y + ROW
        parts += _marks(place, [(x + 5, y - 4)])
        parts.append(svg.label(x + 16, y, text))
        x += needed
    if not any(dies.values()):
        parts.append(svg.label(LEFT + 8, top + PLOT / 2, "no die has both values", part="muted"))
    if beyond:
        y += ROW
        lie = "lies" if beyond == 1 else "lie"
        told = f"{count(beyond, 'die')} {lie} beyond the axes"
        parts.append(svg.label(LEFT, y, told, part="alarm"))
    return parts, y + 12


def _marks(place: int, at: Sequence[tuple[float, float]]) -> list[Element]:
    """The marks of the wafer in this place of the list, all in one path; none without a die."""
    if not at:
        return []
    outline, closed = _SHAPES[place % len(_SHAPES)]
    turn = place // len(_SHAPES)
    part = PARTS[(place + turn) % len(PARTS)]
    attributes: dict[str, str | float] = {"class": f"line-{part}", "fill": "none"}
    # Every other time round: closed shapes filled, the others with a broad pen.
    attributes["stroke-width"] = 2.25 if turn % 2 else 1.25
    if closed and turn % 2:
        attributes = {"class": f"fill-{part}"}
    attributes["d"] = "".join(f"M{coordinate(x)},{coordinate(y)}{outline}" for x, y in at)
    return [svg.element("path", attributes)]


def _outline(*points: tuple[float, float], closed: bool = True) -> tuple[str, bool]:
    """Moves from a mark's middle around its outline, or along its strokes in pairs of points."""
    steps, before = [], (0.0, 0.0)
    for place, point in enumerate(points):
        moved = tuple(coordinate(REACH * (a - b)) for a, b in zip(point, before, strict=True))
        pen = "m" if place == 0 or (not closed and place % 2 == 0) else "l"
        steps.append(pen + ",".join(moved))
        before = point
    return "".join(steps) + ("z" if closed else ""), closed


_SHAPES: tuple[tuple[str, bool], ...] = (
    _outline((0, -1.1), (1, 0.8), (-1, 0.8)),
    _outline((-1, 0), (1, 0), (0, -1), (0, 1), closed=False),
    _outline((-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)),
    _outline((0, 1.1), (1, -0.8), (-1, -0.8)),
    _outline((-1, 0), (1, 0), (-0.5, -0.87), (0.5, 0.87), (-0.5, 0.87), (0.5, -0.87), closed=False),
    _outline((-1.1, 0), (0.8, -1), (0.8, 1)),
)
"""Triangle, plus, block, triangle upside down, star, wedge."""
