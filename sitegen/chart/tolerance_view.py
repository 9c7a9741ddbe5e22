"""Small drawings beside the answers of a parameter's page: values and uncertainty between limits.

Written directly as SVG: they stand inside the page, a few a page, at their true scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np

from sitegen.chart import svg
from sitegen.chart.limit_bar import shown_range
from sitegen.model.arrays import FloatArray
from sitegen.model.results import AxisRange, Drawing
from sitegen.units import MINUS, THIN, number, shown_unit

WIDTH = 300
_BINS = 50
_TOP, _BASE = 4.0, 50.0
_LETTER = 6.4
"""Typical width of a character of the labels, in pixels."""


@dataclass(frozen=True)
class Bounds:
    """Specification limits and acceptance limits of a parameter, in its unit; None: there is none.

    Without a guard band the acceptance limits are None or equal the specification limits.
    """

    lower: float | None
    upper: float | None
    acceptance_lower: float | None = None
    acceptance_upper: float | None = None

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        """Each limit with the acceptance limit of its side."""
        known = (
            (self.lower, self.acceptance_lower),
            (self.upper, self.acceptance_upper),
        )
        return tuple(
            (limit, limit if accepted is None else accepted)
            for limit, accepted in known
            if limit is not None
        )


@dataclass(frozen=True)
class _Scale:
    low: float
    high: float

    def x(self, value: float) -> float:
        """Place of a value, held inside the drawing."""
        place = (value - self.low) / (self.high - self.low) * WIDTH
        return min(max(place, 0.0), float(WIDTH))


def tolerance_view(
    *,
    address: str,
    title: str,
    description: str,
    values: FloatArray,
    unit: str,
    bounds: Bounds,
    interval: tuple[float | None, float | None] | None,
    axis: AxisRange,
) -> Drawing:
    """A histogram of all values between the limits, and under it a tolerance interval.

    All in `unit`. Bars beyond a limit differ; values beyond the axis are an arrow at its end.
    """
    scale = _around(axis, bounds)
    finite = values[np.isfinite(values)]
    parts = [
        *_guards(bounds, scale, _TOP, _BASE),
        *_bars(finite, bounds, scale),
        svg.line(0, _BASE, WIDTH, _BASE, part="rule"),
        *_limits(bounds, scale, _TOP, _BASE),
        *_arrows(finite, scale),
    ]
    if interval is not None:
        parts += _bracket(interval, scale, _BASE + 7)
    parts += _labels(
        [limit for limit, _ in bounds.pairs] or [axis.lower, axis.upper], unit, scale, 72
    )
    return svg.finished(
        parts, address=address, title=title, description=description, width=WIDTH, height=76
    )


def uncertainty_view(
    *,
    address: str,
    title: str,
    description: str,
    median: float,
    expanded: float,
    unit: str,
    bounds: Bounds,
    spread: tuple[float, float] | None,
) -> Drawing | None:
    """A typical value with its expanded uncertainty between the limits, to scale.

    Without limits the values' own range `spread` stands in their place; None without either.
    """
    ends = shown_range(median, expanded, bounds.lower, bounds.upper)
    shown = [limit for limit, _ in bounds.pairs]
    if ends is None and spread is not None and spread[0] < spread[1]:
        margin = 0.25 * (spread[1] - spread[0])
        ends, shown = (spread[0] - margin, spread[1] + margin), list(spread)
    if ends is None:
        return None
    scale = _Scale(*ends)
    left = scale.low if bounds.lower is None and bounds.pairs else min(shown)
    right = scale.high if bounds.upper is None and bounds.pairs else max(shown)
    box: dict[str, str | float] = {
        "class": "fill-accent-soft",
        "x": scale.x(left),
        "y": 8.0,
        "height": 14.0,
    }
    parts = [svg.element("rect", {**box, "width": scale.x(right) - scale.x(left)})]
    parts += _guards(bounds, scale, 8, 22)
    parts += _limits(bounds, scale, 3, 27)
    parts += _whisker(scale, median, expanded, 15)
    parts += _labels(shown, unit, scale, 42)
    return svg.finished(
        parts, address=address, title=title, description=description, width=WIDTH, height=46
    )


def _around(axis: AxisRange, bounds: Bounds) -> _Scale:
    """The axis, widened where a limit stands so near its end that nothing would show beyond."""
    room = 0.08 * (axis.upper - axis.lower)
    limits = [limit for limit, _ in bounds.pairs]
    low = min([axis.lower, *(limit - room for limit in limits)])
    high = max([axis.upper, *(limit + room for limit in limits)])
    return _Scale(low, high)


def _guards(bounds: Bounds, scale: _Scale, top: float, base: float) -> list[Element]:
    """The guard bands between specification and acceptance limits."""
    drawn = []
    for limit, accepted in bounds.pairs:
        a, b = sorted((scale.x(limit), scale.x(accepted)))
        if b - a >= 0.05:
            box: dict[str, str | float] = {"class": "fill-band", "x": a, "y": top}
            drawn.append(svg.element("rect", {**box, "width": b - a, "height": base - top}))
    return drawn


def _limits(bounds: Bounds, scale: _Scale, top: float, base: float) -> list[Element]:
    """A line for each specification limit, a dashed one for each acceptance limit."""
    drawn = []
    for limit, accepted in bounds.pairs:
        x, a = scale.x(limit), scale.x(accepted)
        drawn.append(svg.line(x, top - 3, x, base + 3, part="ink", width=1.5))
        if abs(a - x) >= 2:
            drawn.append(svg.line(a, top, a, base, part="rule", dash="2 1.5"))
    return drawn


def _bars(values: FloatArray, bounds: Bounds, scale: _Scale) -> list[Element]:
    """One path for the values inside the limits, and over it one for those beyond."""
    edges = np.linspace(scale.low, scale.high, _BINS + 1)
    beyond = np.zeros(values.shape, dtype=bool)
    if bounds.lower is not None:
        beyond |= values < bounds.lower
    if bounds.upper is not None:
        beyond |= values > bounds.upper
    inner = np.histogram(values[~beyond], bins=edges)[0]
    whole = np.histogram(values, bins=edges)[0]
    tallest = int(whole.max(initial=0))
    if tallest == 0:
        return []
    drawn = []
    for part, foot, top in (("accent", np.zeros_like(inner), inner), ("alarm", inner, whole)):
        boxes = []
        for place in np.flatnonzero(top > foot):
            x, end = scale.x(float(edges[place])), scale.x(float(edges[place + 1]))
            low, high = (
                _BASE - int(count[place]) / tallest * (_BASE - _TOP - 2) for count in (foot, top)
            )
            boxes.append(f"M{_c(x)},{_c(low)}V{_c(high)}H{_c(end)}V{_c(low)}z")
        if boxes:
            drawn.append(svg.element("path", {"class": f"fill-{part}", "d": "".join(boxes)}))
    return drawn


def _arrows(values: FloatArray, scale: _Scale) -> list[Element]:
    """At an end beyond which values lie."""
    drawn = []
    y = (_TOP + _BASE) / 2
    for beyond, tip, back in (
        ((values < scale.low).any(), 1.0, 8.0),
        ((values > scale.high).any(), WIDTH - 1.0, WIDTH - 8.0),
    ):
        if beyond:
            data = f"M{_c(tip)},{_c(y)}L{_c(back)},{_c(y - 5)}V{_c(y + 5)}z"
            drawn.append(svg.element("path", {"class": "fill-alarm", "d": data}))
    return drawn


def _bracket(interval: tuple[float | None, float | None], scale: _Scale, y: float) -> list[Element]:
    """A line from end to end of an interval; an open end runs out of the drawing."""
    low, high = interval
    a = 0.0 if low is None else scale.x(low)
    b = float(WIDTH) if high is None else scale.x(high)
    drawn = [svg.line(a, y, b, y, part="ink", width=1.5)]
    drawn += [
        svg.line(x, y - 3, x, y + 3, part="ink", width=1.5)
        for x, end in ((a, low), (b, high))
        if end is not None
    ]
    return drawn


def _whisker(scale: _Scale, median: float, expanded: float, y: float) -> list[Element]:
    """A value with its expanded uncertainty; an uncertainty too small to see is a line."""
    x, a, b = (scale.x(place) for place in (median, median - expanded, median + expanded))
    drawn = [svg.line(x, y - 6, x, y + 6, part="ink", width=1)]
    if b - a > 0.5:
        drawn.append(svg.line(a, y, b, y, part="ink", width=2))
        drawn += [svg.line(end, y - 4, end, y + 4, part="ink", width=1.5) for end in (a, b)]
    return drawn


def _labels(places: Sequence[float], unit: str, scale: _Scale, y: float) -> list[Element]:
    """The values at these places with their unit, moved apart and into the drawing."""
    factor, symbol = shown_unit(list(places), unit)
    behind = f"{'' if symbol == '°' else THIN}{symbol}" if symbol else ""
    texts = [f"{_figure(place * factor)}{behind}" for place in sorted(places)]
    wide = [len(text) * _LETTER for text in texts]
    centres = [
        min(max(scale.x(place), size / 2), WIDTH - size / 2)
        for place, size in zip(sorted(places), wide, strict=True)
    ]
    if len(centres) == 2:
        short = (wide[0] + wide[1]) / 2 + 8 - (centres[1] - centres[0])
        if short > 0:
            left = max(centres[0] - short / 2, wide[0] / 2)
            centres = [left, left + centres[1] - centres[0] + short]
    return [
        svg.label(centre, y, text, anchor="middle", part="muted")
        for centre, text in zip(centres, texts, strict=True)
    ]


def _figure(value: float) -> str:
    """A limit as it was declared; another number with four digits."""
    text = f"{value:.6g}"
    return (text if len(text.strip("-0.").replace(".", "")) <= 4 else number(value)).replace(
        "-", MINUS
    )


def _c(value: float) -> str:
    return svg.coordinate(value)
