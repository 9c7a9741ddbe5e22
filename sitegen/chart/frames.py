"""Shared frames of traces: axes with a wafer's median and band, drawn once for all its dies.

A die's own trace is laid over the frame on its page: the frame as an image, and over it a nested
<svg> at the plot's place with `Frame.view_box`, holding polylines of whole numbers.
"""

from dataclasses import dataclass
from functools import cache
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np
import numpy.typing as npt
import orjson

from sitegen.chart import svg, vega
from sitegen.chart.axis import Axis, frequency_axis, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.results import AxisRange, Drawing
from sitegen.units import count

IntArray = npt.NDArray[np.int32]
WIDTH, HEIGHT = 380, 250
"""Small enough that its words stay readable three to a row, on a phone and two to a print."""
PADDING = vega.Padding(left=58, top=26, right=14, bottom=44)
PLOT_WIDTH = WIDTH - PADDING.left - PADDING.right
PLOT_HEIGHT = HEIGHT - PADDING.top - PADDING.bottom
UNITS_PER_PIXEL = 10
_FARTHEST = 100_000
"""Coordinates end here: far outside every plot, so that a line still leaves it where it should."""


@dataclass(frozen=True)
class Frame:
    """A drawing of axes, and where exactly its plot lies, in pixels of the drawing."""

    drawing: Drawing
    left: int
    top: int
    width: int
    height: int
    x: Axis
    """Over frequency, in the unit that its title names."""
    x_per_hz: float
    """From hertz to that unit."""
    y: Axis

    @property
    def view_box(self) -> str:
        """viewBox of the nested <svg> that takes the coordinates of `polylines`."""
        return f"0 0 {self.width * UNITS_PER_PIXEL} {self.height * UNITS_PER_PIXEL}"


@cache
def _specification(log: bool) -> bytes:
    x = vega.quantitative(alt.X, "f", log=log)
    base = alt.Chart(alt.NamedData("population")).encode(x=x)
    band = base.mark_area(fill=colour("band"), clip=True).encode(
        y=vega.quantitative(alt.Y, "low"), y2="high"
    )
    low, high = (
        base.mark_line(stroke=colour("rule"), strokeWidth=0.75, clip=True).encode(y=f"{name}:Q")
        for name in ("low", "high")
    )
    median = base.mark_line(
        stroke=colour("second"), strokeWidth=1.5, strokeDash=[6, 3], clip=True
    ).encode(y="median:Q")
    chart = alt.layer(band, low, high, median).properties(width=PLOT_WIDTH, height=PLOT_HEIGHT)
    return vega.compiled(chart, PADDING)


def trace_frame(
    *,
    address: str,
    title: str,
    description: str,
    frequency_hz: FloatArray,
    curves: FloatArray,
    y_range: AxisRange,
    y_title: str,
) -> Frame:
    """The frame for curves of shape (n_sweep, n_freq), in the unit that `y_title` names.

    The band holds the 5 % to 95 % quantiles over the sweeps at each frequency (numpy's 'linear'
    definition, as everywhere), those without a finite value there left out. The frequency axis is
    logarithmic when the points are spaced so.
    """
    x, per_hz = frequency_axis(frequency_hz)
    y = value_axis(y_range, 1.0, y_title)
    low, median, high = _quantiles(curves)
    rows = vega.columns(
        f=(np.asarray(frequency_hz) * per_hz).tolist(),
        low=low.tolist(),
        median=median.tolist(),
        high=high.tolist(),
    )
    plot = vega.rendered(
        _specification(x.log),
        data={"population": rows},
        axes={"x": x, "y": y},
        prefix=svg.identifier(address),
    )
    drawing = svg.finished(
        [*plot, *_key(int(np.isfinite(curves).any(axis=1).sum()))],
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=HEIGHT,
    )
    return Frame(drawing, PADDING.left, PADDING.top, PLOT_WIDTH, PLOT_HEIGHT, x, per_hz, y)


def _quantiles(curves: FloatArray) -> FloatArray:
    """5 %, 50 % and 95 % quantiles over the sweeps, shape (3, n_freq); NaN where there is none."""
    finite = np.where(np.isfinite(curves), curves, np.nan)
    found = np.full((3, curves.shape[1]), np.nan)
    there = ~np.isnan(finite).all(axis=0)
    if there.any():
        found[:, there] = np.nanquantile(finite[:, there], (0.05, 0.5, 0.95), axis=0)
    return found


def _key(sweeps: int) -> list[Element]:
    """One line above the plot that says what the frame shows."""
    left, base = PADDING.left - 20, PADDING.top - 10
    if not sweeps:
        return [svg.label(left, base, "no sweep has a curve", part="muted")]
    return [
        svg.line(left, base - 4, left + 26, base - 4, part="second", width=1.5, dash="6 3"),
        svg.label(left + 32, base, f"median of {count(sweeps, 'sweep')}", part="muted"),
        svg.element(
            "path",
            {
                "class": "fill-band line-rule",
                "stroke-width": "0.75",
                "d": f"M{left + 170},{base - 9}h26v10h-26z",
            },
        ),
        svg.label(left + 202, base, "5 % to 95 % of them", part="muted"),
    ]


def polylines(frame: Frame, frequency_hz: FloatArray, curves: FloatArray) -> list[tuple[str, ...]]:
    """For each curve of (n_sweep, n_freq) the `points` of its polylines, in whole numbers.

    Ten units are a pixel, the origin is the plot's upper left corner (see `Frame.view_box`). A
    value that is not finite splits a curve; a point between two such stands twice, so that round
    line ends show it; a curve without any finite value has no polyline.
    """
    f = np.asarray(frequency_hz, dtype=float) * frame.x_per_hz
    if frame.x.log:
        share = np.log(f / frame.x.lower) / np.log(frame.x.upper / frame.x.lower)
    else:
        share = (f - frame.x.lower) / (frame.x.upper - frame.x.lower)
    finite = np.isfinite(curves)
    height = frame.height * UNITS_PER_PIXEL
    with np.errstate(invalid="ignore"):
        y = height * (frame.y.upper - curves) / (frame.y.upper - frame.y.lower)
    points = np.empty((*curves.shape, 2), dtype=np.int32)
    points[..., 0] = np.rint(frame.width * UNITS_PER_PIXEL * share)
    points[..., 1] = np.rint(np.clip(np.where(finite, y, 0), -_FARTHEST, _FARTHEST))
    texts = _texts(points.reshape(len(points), 2 * f.size))
    return [
        (text,) if known.all() else _segments(row, known)
        for text, row, known in zip(texts, points, finite, strict=True)
    ]


def _texts(rows: IntArray) -> list[str]:
    """'x,y,x,y' for each row of whole numbers."""
    if not rows.size:
        return [""] * len(rows)
    text = orjson.dumps(np.ascontiguousarray(rows), option=orjson.OPT_SERIALIZE_NUMPY)
    return text[2:-2].decode().split("],[")


def _segments(points: IntArray, known: BoolArray) -> tuple[str, ...]:
    """`points` of the stretches where a curve is known."""
    bounds = np.flatnonzero(np.diff(known, prepend=False, append=False)).reshape(-1, 2)
    stretches = (points[first:last] for first, last in bounds)
    return tuple(
        _texts((np.repeat(part, 2, axis=0) if len(part) == 1 else part).reshape(1, -1))[0]
        for part in stretches
    )
