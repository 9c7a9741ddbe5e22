"""Signals of a control chart: a shape of its own for each rule, and its name in words."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from operator import itemgetter
from xml.etree.ElementTree import Element

from sitegen.chart import marks, svg, words
from sitegen.model.followed_results import Metric

SHAPES: Mapping[str, marks.Shape] = {
    "beyond a limit": "ring",
    "nine on one side": "square",
    "EWMA": "diamond",
}
"""Shape of each rule; the EWMA's stands on its line, the others around their points."""
AVERAGE = "EWMA"
_RADIUS = 6.0
_STEPS = (-11.0, 20.0, -24.0, 33.0, -37.0)
"""Heights at which a name is tried, from its mark."""


def signal_marks(
    metric: Metric,
    at: Sequence[float],
    heights: Sequence[float],
    averages: Sequence[float],
    *,
    left: float,
    right: float,
    top: float,
) -> list[Element]:
    """Marks of every signal, named at the first of several in a row.

    at, heights: where the points are, in pixels; averages: heights of the EWMA, NaN without one;
    left, right, top: what the names keep inside.
    """
    shapes, names = [], []
    for rule, places in _broken(metric):
        where = averages if rule == AVERAGE else heights
        data = "".join(
            marks.path(SHAPES[rule], at[place], where[place], _RADIUS) for place in places
        )
        shapes.append(
            svg.element(
                "path", {"class": "line-alarm", "fill": "none", "stroke-width": 1.75, "d": data}
            )
        )
        names += [(at[first], where[first], rule) for first in _firsts(places)]
    return [*shapes, *_named(names, left, right, top)]


def _broken(metric: Metric) -> Iterator[tuple[str, list[int]]]:
    """Each rule that is broken somewhere, with the places of its points."""
    for rule in SHAPES:
        places = (
            list(metric.ewma_signals)
            if rule == AVERAGE
            else [place for place, one in enumerate(metric.points) if rule in one.signals]
        )
        if places:
            yield rule, places


def _firsts(places: Sequence[int]) -> list[int]:
    """The first of each stretch of neighbours."""
    stretches = groupby(enumerate(places), lambda each: each[1] - each[0])
    return [next(each)[1] for _, each in stretches]


def _named(
    names: Sequence[tuple[float, float, str]], left: float, right: float, top: float
) -> list[Element]:
    """Each name near its mark, where it touches none before it; else it is left to the shape."""
    taken: list[tuple[float, float, float]] = []
    labels = []
    for place, y, text in sorted(names, key=itemgetter(0, 1)):
        half = words.width(text) / 2
        x = min(max(place, left + half), right - half)
        for step in _STEPS:
            free = y + step >= top and all(
                abs(x - other_x) > half + other_half + 4 or abs(y + step - other_y) > 12
                for other_x, other_y, other_half in taken
            )
            if free:
                taken.append((x, y + step, half))
                labels.append(_on_paper(svg.label(x, y + step, text, anchor="middle")))
                break
    return labels


def _on_paper(label: Element) -> Element:
    """The label in the signals' colour with a rim of the ground, so that it reads over lines."""
    label.set("class", "fill-alarm line-paper")
    label.set("stroke-width", "3")
    label.set("paint-order", "stroke")
    return label
