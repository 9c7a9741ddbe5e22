"""How often intervals of a share hold the true one, for several numbers of dies."""

from collections.abc import Sequence
from functools import cache
from itertools import groupby
from xml.etree.ElementTree import Element

import altair as alt

from sitegen.chart import svg, vega, words
from sitegen.chart.axis import Axis, value_axis
from sitegen.chart.theme import colour
from sitegen.model.results import AxisRange, Drawing
from sitegen.model.yield_results import IntervalCoverage
from sitegen.units import THIN, axis_title

WIDTH = 640
PADDING = vega.Padding(left=64, top=24, right=186, bottom=22)
PLOT_WIDTH, PLOT_HEIGHT = WIDTH - PADDING.left - PADDING.right, 120
PANEL = PLOT_HEIGHT + PADDING.top + PADDING.bottom
TITLE = 22
"""Room for the title of the axis that all panels share, below the last."""
NOMINAL = 0.95
PARTS = {"Wilson": "accent", "Clopper-Pearson": "ink"}
SHARES = value_axis(AxisRange(0.0, 1.0, 0.2), 100.0, "")
COVERAGES = value_axis(AxisRange(0.8, 1.0, 0.05), 100.0, axis_title("coverage", "%"))


@cache
def _specification() -> bytes:
    x, y = vega.quantitative(alt.X, "share"), vega.quantitative(alt.Y, "coverage")

    def line(name: str, width: float) -> alt.Chart:
        drawn: alt.Chart = (
            alt.Chart(alt.NamedData(name))
            .mark_line(stroke=colour(PARTS[name]), strokeWidth=width, clip=True)
            .encode(x=x, y=y)
        )
        return drawn

    nominal = alt.Chart(alt.NamedData("nominal")).encode(x=x, y=y)
    dashed = nominal.mark_line(stroke=colour("second"), strokeWidth=1.25, strokeDash=[5, 3])
    chart = alt.layer(dashed, line("Clopper-Pearson", 1.0), line("Wilson", 1.5))
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=PLOT_HEIGHT), PADDING)


def coverage_chart(
    *, address: str, title: str, description: str, coverages: Sequence[IntervalCoverage]
) -> Drawing:
    """A panel for each number of dies with the coverage of each method over the true share.

    coverages: those of one number of dies one after the other. Each curve's name stands beside the
    panel with its least coverage; the dashed line is 95 %.
    """
    panels: list[Element] = []
    down = 0
    for n, of_n in groupby(coverages, key=lambda one: one.n):
        inside = _panel(n, list(of_n), f"{svg.identifier(address)}-{n}")
        panels.append(svg.element("g", {"transform": f"translate(0,{down})"}, *inside))
        down += PANEL
    middle = PADDING.left + PLOT_WIDTH / 2
    panels.append(
        svg.label(
            middle, down + TITLE - 10, axis_title("true share", "%"), anchor="middle", size=12
        )
    )
    return svg.finished(
        panels,
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=down + TITLE,
    )


def described(coverages: Sequence[IntervalCoverage]) -> str:
    """What the drawing shows, for readers who do not see it."""
    said = [
        f"{one.method} at {one.n} dies from {_percent(one)} to {100 * one.coverage.max():.3g} %"
        for one in coverages
    ]
    return f"Coverage of intervals at 95 % over the true share: {'; '.join(said)}."


def _panel(n: int, coverages: Sequence[IntervalCoverage], prefix: str) -> list[Element]:
    data: dict[str, vega.Rows] = {
        name: [row for one in coverages if one.method == name for row in _rows(one)]
        for name in PARTS
    }
    data["nominal"] = vega.columns(share=[0.0, 100.0], coverage=[100 * NOMINAL] * 2)
    plot = vega.rendered(
        _specification(), data=data, axes={"x": SHARES, "y": COVERAGES}, prefix=prefix
    )
    heights = words.spread(
        [_down(float(one.coverage.min()), COVERAGES) for one in coverages], 14, 4, PLOT_HEIGHT - 4
    )
    beside = [
        svg.label(
            PADDING.left + PLOT_WIDTH + 10,
            PADDING.top + height + 4,
            f"{one.method}, least {_percent(one)}",
            part=PARTS[one.method],
        )
        for one, height in zip(coverages, heights, strict=True)
    ]
    head = svg.label(PADDING.left, PADDING.top - 8, f"{n} dies", bold=True)
    return [head, *plot, *beside]


def _rows(one: IntervalCoverage) -> vega.Rows:
    return vega.columns(share=(100 * one.share).tolist(), coverage=(100 * one.coverage).tolist())


def _down(coverage: float, y: Axis) -> float:
    return PLOT_HEIGHT - y.position(100 * coverage, PLOT_HEIGHT)


def _percent(one: IntervalCoverage) -> str:
    return f"{100 * one.coverage.min():.1f}{THIN}%"
