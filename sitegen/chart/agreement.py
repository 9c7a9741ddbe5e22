"""Normalised deviation of a sweep from its reference over frequency, with the line at 1."""

from functools import cache
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np

from sitegen.chart import ends, svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import Agreement
from sitegen.model.results import Drawing
from sitegen.units import THIN, number, shown_unit

WIDTH, HEIGHT = 640, 230
PADDING = vega.Padding(left=64, top=26, right=84, bottom=44)
PLOT_WIDTH = WIDTH - PADDING.left - PADDING.right
PLOT_HEIGHT = HEIGHT - PADDING.top - PADDING.bottom


@cache
def _specification(log: bool) -> bytes:
    x = vega.quantitative(alt.X, "f", log=log)
    y = vega.quantitative(alt.Y, "normalised")
    curves = alt.Chart(alt.NamedData("curves")).encode(x=x)
    beyond = curves.mark_area(fill=colour("alarm-soft"), clip=True).encode(y="one:Q", y2="beyond")
    one = curves.mark_line(stroke=colour("ink"), strokeWidth=1.25, clip=True).encode(y="one:Q")
    limit = curves.mark_line(
        stroke=colour("ink"), strokeWidth=1.25, strokeDash=[5, 3], clip=True
    ).encode(y="limit:Q")
    line = curves.mark_line(stroke=colour("accent"), strokeWidth=1.75, clip=True).encode(y=y)
    greatest = alt.Chart(alt.NamedData("greatest")).encode(x="f:Q", y="normalised:Q")
    ring = greatest.mark_point(shape="circle", size=70, stroke=colour("ink"), strokeWidth=1.75)
    chart = alt.layer(beyond, one, limit, line, ring)
    return vega.compiled(chart.properties(width=PLOT_WIDTH, height=PLOT_HEIGHT), PADDING)


def normalised_deviation(
    *,
    address: str,
    title: str,
    description: str,
    result: Agreement,
) -> Drawing:
    """sqrt(d' V^-1 d / 5.991) over frequency: at most 1 in 95 % of the points that agree.

    What lies above 1 is filled; the greatest value has a ring, and where the rule judges it its
    limit is dashed.
    """
    normalised = np.asarray(result.normalised, dtype=float)
    x, per_hz = frequency_axis(result.frequency_hz)
    f = np.asarray(result.frequency_hz, dtype=float) * per_hz
    limit = np.nan
    if result.rule == "greatest value" and result.limit is not None:
        limit = result.limit
    known = [1.0, *normalised[np.isfinite(normalised)], *([limit] if limit == limit else [])]
    y = value_axis(snapped_range(0.0, 1.05 * max(known)), 1.0, "normalised deviation")
    data: dict[str, vega.Rows] = {
        "curves": vega.columns(
            f=f.tolist(),
            normalised=normalised.tolist(),
            one=np.ones(f.size).tolist(),
            limit=np.full(f.size, limit).tolist(),
            beyond=np.where(np.isnan(normalised), np.nan, np.maximum(normalised, 1.0)).tolist(),
        ),
        "greatest": [],
    }
    texts = ends.names(
        [
            ends.end_of("1", "ink", np.ones(1), y, PLOT_HEIGHT),
            ends.end_of("limit", "ink", np.full(1, limit), y, PLOT_HEIGHT),
            ends.end_of(result.parameter.upper(), "accent", normalised, y, PLOT_HEIGHT),
        ],
        PADDING,
        PLOT_WIDTH,
        PLOT_HEIGHT,
    )
    if np.isfinite(normalised).any():
        place = int(np.nanargmax(normalised))
        data["greatest"] = [{"f": float(f[place]), "normalised": float(normalised[place])}]
        texts.append(_greatest_label(result, normalised, place, float(f[place]), x))
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


def _greatest_label(
    result: Agreement, normalised: FloatArray, place: int, f: float, x: Axis
) -> Element:
    factor, hertz = shown_unit([float(result.frequency_hz[place])], "Hz")
    above = int(np.count_nonzero(normalised > 1.0))
    text = (
        f"greatest at {number(float(result.frequency_hz[place]) * factor)}{THIN}{hertz}:"
        f" {number(float(normalised[place]), 3)};"
        f" {above} of {int(np.isfinite(normalised).sum())} points above 1"
    )
    (placed,) = words.beside(
        [(PADDING.left + x.position(f, PLOT_WIDTH), text)], PADDING.left - 50, WIDTH - 4
    )
    return svg.label(placed.x, PADDING.top - 8, text, anchor=placed.anchor)
