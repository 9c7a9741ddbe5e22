"""Control chart: a metric's points in time with limits, average, bounds, signals, exchanges."""

import math
from collections.abc import Sequence
from functools import cache
from xml.etree.ElementTree import Element

import altair as alt

from sitegen.chart import control_marks, svg, vega, words
from sitegen.chart.axis import Axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.chart.time_axis import time_axis
from sitegen.model.campaign import Exchange
from sitegen.model.followed_results import Metric
from sitegen.model.results import Drawing
from sitegen.units import THIN, axis_title, number, shown_unit

WIDTH, HEIGHT = 670, 290
"""Without the rows of words above the plot."""
PADDING = vega.Padding(left=64, top=10, right=154, bottom=36)
PLOT_WIDTH = WIDTH - PADDING.left - PADDING.right
PLOT_HEIGHT = HEIGHT - PADDING.top - PADDING.bottom
ROW = 15
REACH = 1.5
"""A bound further from the points and limits than so many times their range is only pointed at."""
LONGEST_WORD, LONGEST_TITLE = 36, 35
SMALL = 0.02
_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


@cache
def _specification() -> bytes:
    x = vega.quantitative(alt.X, "x")
    x.axis = None
    y = vega.quantitative(alt.Y, "y")

    def layer(name: str) -> alt.Chart:
        chart: alt.Chart = alt.Chart(alt.NamedData(name)).encode(x=x, y=y)
        return chart

    def rules(name: str, part: str, width: float, dash: list[float]) -> alt.Chart:
        mark = layer(name).mark_rule(
            stroke=colour(part), strokeWidth=width, strokeDash=dash, clip=True
        )
        drawn: alt.Chart = mark.encode(x2="to")
        return drawn

    beyond = layer("beyond").mark_rect(fill=vega.HATCH_COLOUR, clip=True).encode(x2="to", y2="top")
    band = layer("averages").mark_area(fill=colour("accent-soft"), clip=True)
    averages = layer("averages").mark_line(stroke=colour("accent"), strokeWidth=1.75, clip=True)
    joined = layer("points").mark_line(stroke=colour("rule"), strokeWidth=0.75, clip=True)
    points = layer("points").mark_point(
        shape="circle", size=22, fill=colour("ink"), filled=True, opacity=1, clip=True
    )
    chart = alt.layer(
        beyond,
        band.encode(y="lower:Q", y2="upper", detail="segment:N"),
        rules("bounds", "ink", 1.5, [1, 0]),
        rules("limits", "second", 1, [6, 3]),
        rules("centres", "second", 1, [1, 0]),
        joined.encode(detail="segment:N"),
        averages.encode(detail="segment:N"),
        points,
    )
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=PLOT_HEIGHT), PADDING)


def control_chart(
    *,
    address: str,
    title: str,
    description: str,
    metric: Metric,
    exchanges: Sequence[Exchange] = (),
) -> Drawing:
    """Points in reference time, joined between exchanges, with centre and control limits of each
    stretch, the EWMA in the band of its own limits, and the hatched region beyond the bounds.

    A signal has the shape of its rule, and its name at the first of several in a row. Exchanges
    before the first point are not drawn.
    """
    times = [point.at for point in metric.points]
    drawn = sorted((one for one in exchanges if one.at >= times[0]), key=lambda one: one.at)
    x, ticks = time_axis([*times, *(one.at for one in drawn)], PLOT_WIDTH)
    factor, unit = _shown(metric)
    y = _value_axis(metric, factor, unit)
    days = [x.days(time) for time in times]
    plot = vega.rendered(
        _specification(),
        data=_data(metric, days, factor, x.axis, y),
        axes={"x": x.axis, "y": y},
        prefix=svg.identifier(address),
    )
    at = [PADDING.left + x.axis.position(day, PLOT_WIDTH) for day in days]
    above, rows = _above(
        metric,
        at,
        [(PADDING.left + x.axis.position(x.days(one.at), PLOT_WIDTH), one.part) for one in drawn],
    )
    inside = [
        *_time_labels(ticks, x.axis),
        *plot,
        *control_marks.signal_marks(
            metric,
            at,
            [_down(point.value, factor, y) for point in metric.points],
            [_down(each, factor, y) for each in metric.ewma],
            left=PADDING.left,
            right=PADDING.left + PLOT_WIDTH,
            top=PADDING.top + 4,
        ),
        *_beside(metric, factor, unit, y),
    ]
    return svg.finished(
        [*above, svg.element("g", {"transform": f"translate(0,{rows * ROW})"}, *inside)],
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=HEIGHT + rows * ROW,
    )


def _shown(metric: Metric) -> tuple[float, str]:
    """Factor and unit of the axis; small plain numbers are counted in thousandths or less."""
    values = [point.value for point in metric.points]
    factor, unit = shown_unit(values, metric.unit)
    greatest = max(map(abs, values))
    if unit or not 0 < greatest < SMALL:
        return factor, unit
    power = 3 * math.ceil(-math.log10(greatest) / 3)
    return factor * 10.0**power, f"10⁻{str(power).translate(_RAISED)}"


def _value_axis(metric: Metric, factor: float, unit: str) -> Axis:
    """Over points, limits and averages, and those bounds that do not press them together."""
    known = [point.value for point in metric.points]
    for segment in metric.segments:
        if segment.limits is not None:
            known += [segment.limits.lower, segment.limits.upper]
    known += [value for value in (*metric.ewma, *metric.ewma_lower) if math.isfinite(value)]
    low, high = min(known), max(known)
    reach = REACH * (high - low)
    for bound in (metric.bound_lower, metric.bound_upper):
        if bound is not None and low - reach <= bound <= high + reach:
            known.append(bound + math.copysign(0.06 * (high - low), bound - (low + high) / 2))
    axis = snapped_range(min(known), max(known))
    return value_axis(axis, factor, axis_title(_cut(metric.name, LONGEST_TITLE), unit))


def _data(
    metric: Metric, days: Sequence[float], factor: float, x: Axis, y: Axis
) -> dict[str, vega.Rows]:
    segment_of = [
        place for place, one in enumerate(metric.segments) for _ in range(one.first, one.last + 1)
    ]
    data: dict[str, vega.Rows] = {
        "points": vega.columns(
            x=list(days),
            y=[point.value * factor for point in metric.points],
            segment=segment_of,
        ),
        "averages": [
            {
                "x": day,
                "y": mean * factor,
                "lower": low * factor,
                "upper": up * factor,
                "segment": segment,
            }
            for day, mean, low, up, segment in zip(
                days, metric.ewma, metric.ewma_lower, metric.ewma_upper, segment_of, strict=True
            )
            if math.isfinite(mean)
        ],
        "limits": [],
        "centres": [],
        "bounds": [],
        "beyond": [],
    }
    for place, one in enumerate(metric.segments):
        if one.limits is None:
            continue
        begin = days[one.first] if place else x.lower
        end = days[one.last] if place + 1 < len(metric.segments) else x.upper
        ends = {"x": begin, "to": end}
        data["centres"].append({**ends, "y": one.limits.centre * factor})
        data["limits"] += [
            {**ends, "y": limit * factor} for limit in (one.limits.lower, one.limits.upper)
        ]
    for bound, side in ((metric.bound_lower, y.lower), (metric.bound_upper, y.upper)):
        if bound is not None and y.lower <= bound * factor <= y.upper:
            row = {"x": x.lower, "to": x.upper, "y": bound * factor}
            data["bounds"].append(row)
            data["beyond"].append({**row, "top": side})
    return data


def _down(value: float, factor: float, y: Axis) -> float:
    """Distance of a value from the top of the drawing's inner part, in pixels."""
    return PADDING.top + PLOT_HEIGHT - y.position(value * factor, PLOT_HEIGHT)


def _time_labels(ticks: Sequence[tuple[float, str]], x: Axis) -> list[Element]:
    base = PADDING.top + PLOT_HEIGHT
    parts = [svg.line(PADDING.left, base, PADDING.left + PLOT_WIDTH, base, part="rule")]
    for day, text in ticks:
        place = PADDING.left + x.position(day, PLOT_WIDTH)
        parts.append(svg.line(place, PADDING.top, place, base, part="grid"))
        parts.append(svg.line(place, base, place, base + 4, part="rule"))
        parts.append(svg.label(place, base + 17, text, anchor="middle", part="muted"))
    parts.append(svg.label(PADDING.left + PLOT_WIDTH + 8, base + 17, "UTC", part="muted"))
    return parts


def _above(
    metric: Metric, at: Sequence[float], exchanges: Sequence[tuple[float, str]]
) -> tuple[list[Element], int]:
    """Names of exchanged parts with their lines, and stretches whose limits are provisional."""
    texts = [(place, f"▾ {_cut(part, LONGEST_WORD)}") for place, part in exchanges]
    texts += [
        ((at[one.first] + at[one.last]) / 2, f"limits provisional: {one.limits.basis} points")
        for one in metric.segments
        if one.limits is not None and one.limits.provisional
    ]
    placed = words.beside(texts, PADDING.left, WIDTH - 4)
    rows = max((one.row for one in placed), default=-1) + 1
    parts = []
    for one in placed:
        height = rows * ROW - one.row * ROW
        exchanged = one.text.startswith("▾")
        parts.append(
            svg.label(
                one.x, height, one.text, anchor=one.anchor, part="ink" if exchanged else "muted"
            )
        )
    bottom = rows * ROW + PADDING.top + PLOT_HEIGHT
    for place, _ in exchanges:
        parts.append(svg.line(place, rows * ROW + 3, place, bottom, part="ink", dash="2 3"))
    return parts, rows


def _beside(metric: Metric, factor: float, unit: str, y: Axis) -> list[Element]:
    """What each line is, at its right end; bounds outside the plot are pointed at."""
    limits = metric.limits
    lines: list[tuple[str, str, float]] = []
    if limits is not None:
        lines = [
            ("centre", "second", limits.centre),
            ("control limit", "second", limits.upper),
            ("control limit", "second", limits.lower),
        ]
    if metric.ewma and math.isfinite(metric.ewma[-1]):
        lines.append(("EWMA", "accent", metric.ewma[-1]))
    if metric.bound_lower is not None:
        lines.append(("lower bound", "ink", metric.bound_lower))
    if metric.bound_upper is not None:
        lines.append(("upper bound", "ink", metric.bound_upper))
    texts, heights = [], []
    for name, part, value in lines:
        shown = value * factor
        arrow = " ↑" if shown > y.upper else " ↓" if shown < y.lower else ""
        texts.append((f"{name} {_written(value, factor, unit)}{arrow}", part))
        heights.append(_down(min(max(value, y.lower / factor), y.upper / factor), factor, y))
    spread = words.spread(heights, 13, PADDING.top + 2, PADDING.top + PLOT_HEIGHT)
    return [
        svg.label(WIDTH - PADDING.right + 8, height + 4, text, part=part)
        for (text, part), height in zip(texts, spread, strict=True)
    ]


def _written(value: float, factor: float, unit: str) -> str:
    """A value with three digits and its unit; without a unit it is written in full."""
    if not unit or unit.startswith("10"):
        return number(value, 3)
    return f"{number(value * factor, 3)}{'' if unit == '°' else THIN}{unit}"


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
