"""What drawings of one parameter with a row a wafer share: axis, limits in words, wafers' names."""

from collections.abc import Mapping
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np

from sitegen.chart import svg, vega, words
from sitegen.chart.axis import Axis, decimals, fixed, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.results import AxisRange, Drawing
from sitegen.units import THIN, axis_title, count, number, shown_unit

WIDTH = 640
LEFT, RIGHT, BOTTOM = 92, 92, 44
PLOT_WIDTH = WIDTH - LEFT - RIGHT
LABEL_HEIGHT = 14
PADDING = vega.Padding(LEFT, 0, RIGHT, BOTTOM)
"""Its top depends on the labels of the limits; the elements are moved down by it."""


@dataclass(frozen=True)
class Rows:
    """Values by wafer in shown units, with the axis they are drawn over."""

    address: str
    title: str
    description: str
    values: Mapping[str, FloatArray]
    """Finite values only, by wafer."""
    limits: tuple[tuple[float, str], ...]
    """Position and words of each limit and of the target."""
    x: Axis
    row_height: int

    @property
    def y(self) -> Axis:
        """One row has the height 1; the first wafer is on top."""
        return Axis(max(len(self.values), 1), 0, (), "")

    @property
    def height(self) -> int:
        """Height of the plot in pixels."""
        return self.row_height * max(len(self.values), 1)


def rows_of(
    *,
    address: str,
    title: str,
    description: str,
    values_by_wafer: Mapping[str, FloatArray],
    unit: str,
    name: str,
    lower: float | None,
    upper: float | None,
    target: float | None,
    axis: AxisRange,
    row_height: int,
) -> Rows:
    """Rows for values, limits and axis given in `unit`."""
    finite = {
        wafer: np.asarray(values, dtype=float)[np.isfinite(values)]
        for wafer, values in values_by_wafer.items()
    }
    # The prefix of the tables: by the median of the values; by the axis where there are none.
    every = np.concatenate([*finite.values(), np.empty(0)]).tolist()
    ends = [max(abs(axis.lower), abs(axis.upper))]
    factor, symbol = shown_unit(every if any(every) else ends, unit)
    named = (("lower limit", lower), ("target", target), ("upper limit", upper))
    limits = tuple(
        (value * factor, f"{text} {_figure(value * factor, symbol)}")
        for text, value in named
        if value is not None
    )
    return Rows(
        address,
        title,
        description,
        {wafer: values * factor for wafer, values in finite.items()},
        limits,
        value_axis(axis, factor, axis_title(name, symbol)),
        row_height,
    )


def _figure(value: float, symbol: str) -> str:
    """'390 mV': a limit as it was given, with no digit that says nothing."""
    places = decimals([value])
    text = fixed(value, places) if places < 6 else number(value)
    if not symbol:
        return text
    return f"{text}{symbol}" if symbol == "°" else f"{text}{THIN}{symbol}"


def compiled(*layers: alt.Chart) -> bytes:
    """The specification of a drawing whose layers lie over the scales x (values) and y (rows).

    Under them a ruled guide, and over them each row's floor and the limits.
    """
    guides, floors = (
        alt.Chart(alt.NamedData(name))
        .mark_rule(stroke=colour(part), strokeWidth=0.75)
        .encode(y=alt.Y("y:Q"))
        for name, part in (("guides", "grid"), ("floors", "rule"))
    )
    limits = (
        alt.Chart(alt.NamedData("limits"))
        .mark_rule(stroke=colour("ink"), strokeWidth=1.25)
        .encode(x=alt.X("x:Q"), strokeDash=alt.StrokeDash("dash:N", scale=None, legend=None))
    )
    chart = alt.layer(guides, *layers, floors, limits)
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=100), PADDING)


def encoded_x(field: str) -> alt.X:
    """The value axis."""
    x: alt.X = vega.quantitative(alt.X, field)
    return x


def encoded_y(field: str) -> alt.Y:
    """The axis of rows, without ticks, labels or title."""
    return alt.Y(
        field,
        type="quantitative",
        scale=alt.Scale(domain=[1, 0], nice=False, zero=False),
        axis=alt.Axis(title=None, labels=False, ticks=False, grid=False, domain=False, values=[]),
    )


def drawn(
    specification: bytes,
    rows: Rows,
    data: Mapping[str, vega.Rows],
    *,
    guide: tuple[float, str] | None = None,
) -> Drawing:
    """The drawing of compiled layers with their data, limits, wafers' names and counts.

    `guide` is a height inside each row (0 its top, 1 its floor) that is ruled across, and its
    words at the right.
    """
    inside = [(value, words_of) for value, words_of in rows.limits if _within(value, rows.x)]
    labels = words.beside(
        [
            (LEFT + rows.x.position(_clipped(v, rows.x), PLOT_WIDTH), _told(v, t, rows.x))
            for v, t in rows.limits
        ],
        4,
        WIDTH - 4,
    )
    top = 10 + LABEL_HEIGHT * (1 + max((label.row for label in labels), default=-1))
    common: dict[str, vega.Rows] = {
        "limits": [
            {"x": value, "dash": [2, 3] if text.startswith("target") else [7, 3]}
            for value, text in inside
        ],
        "floors": [{"y": place + 1} for place in range(len(rows.values))],
        "guides": [] if guide is None else [{"y": p + guide[0]} for p in range(len(rows.values))],
    }
    plot = vega.rendered(
        specification,
        data={**data, **common},
        axes={"x": rows.x, "y": rows.y},
        prefix=svg.identifier(rows.address),
        height=rows.height,
    )
    texts = [
        svg.label(p.x, top - 6 - LABEL_HEIGHT * p.row, p.text, anchor=p.anchor) for p in labels
    ]
    return svg.finished(
        [
            svg.element("g", {"transform": f"translate(0,{top})"}, *plot),
            *texts,
            *_names(rows, top),
            *_beside_rows(rows, top, guide),
        ],
        address=rows.address,
        title=rows.title,
        description=rows.description,
        width=WIDTH,
        height=top + rows.height + BOTTOM,
    )


def _names(rows: Rows, top: int) -> list[Element]:
    """The wafers and how many values each has."""
    if not rows.values:
        return [svg.label(LEFT + 8, top + rows.row_height / 2, "no values", part="muted")]
    texts = []
    for place, (wafer, values) in enumerate(rows.values.items()):
        middle = top + rows.row_height * (place + 0.5)
        name = wafer if len(wafer) <= 12 else wafer[:11] + "…"
        number_of = count(len(values), "value") if len(values) else "no values"
        texts.append(svg.label(LEFT - 8, middle - 2, name, anchor="end", bold=True))
        texts.append(svg.label(LEFT - 8, middle + 12, number_of, anchor="end", part="muted"))
    return texts


def _beside_rows(rows: Rows, top: int, guide: tuple[float, str] | None) -> list[Element]:
    """Right of each row what its guide counts, and how many values lie outside the axis.

    Nothing is left out without a word.
    """
    texts = []
    for place, values in enumerate(rows.values.values()):
        floor = top + rows.row_height * (place + 1)
        told = (
            [] if guide is None else [(floor - rows.row_height * (1 - guide[0]), guide[1], "muted")]
        )
        above, below = int((values > rows.x.upper).sum()), int((values < rows.x.lower).sum())
        if above:
            told.append((floor - rows.row_height / 2, f"{above} above →", "alarm"))
        if below:
            told.append((floor - rows.row_height / 2 + 1, f"← {below} below", "alarm"))
        heights = words.spread(
            [height for height, *_ in told], 12, floor - rows.row_height + 4, floor - 4
        )
        texts += [
            svg.label(WIDTH - RIGHT + 6, height + 4, text, part=part, size=10)
            for height, (_, text, part) in zip(heights, told, strict=True)
        ]
    return texts


def _within(value: float, x: Axis) -> bool:
    return x.lower <= value <= x.upper


def _clipped(value: float, x: Axis) -> float:
    return min(max(value, x.lower), x.upper)


def _told(value: float, text: str, x: Axis) -> str:
    if _within(value, x):
        return text
    return f"← {text}" if value < x.lower else f"{text} →"
