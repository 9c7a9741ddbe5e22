"""How a wafer map shows its dies: classes of values, fills of verdicts, names, and the legend."""

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree.ElementTree import Element

from sitegen.chart import marks, svg, theme
from sitegen.chart.axis import decimals, fixed
from sitegen.model.results import OUTCOMES, Outcome, Standing
from sitegen.units import MINUS, THIN, number

NOT_MEASURED = {
    "class": "line-rule",
    "stroke-width": "0.75",
    "fill": "none",
    "stroke-dasharray": "2 2",
    "pointer-events": "all",
}
"""A die that was not measured: hollow and dashed."""
FILLS = {
    "within": "accent-soft",
    "not proven": "paper",
    "not refuted": "paper",
    "outside": "alarm-soft",
    "not assessable": "band",
    "no limits": "band",
}


_DEEP = ("ramp-4", "ramp-5", "ramp-6")
"""Fills on which ink would not be readable."""


@dataclass(frozen=True)
class MapDie:
    """A die as a map shows it."""

    die_x: int
    die_y: int
    value: float | None
    """In the map's unit; None where there is none."""
    outcome: Outcome
    standing: Standing = "stands"
    note: str = ""
    """Added to its name, for example 'below the floor'."""


@dataclass(frozen=True)
class MapKey:
    """How values become classes and words, the same for each die."""

    edges: tuple[float, ...]
    """In shown units; empty for a map of verdicts."""
    factor: float
    symbol: str
    heading: str

    def part(self, die: MapDie) -> str:
        """Part of the palette that fills a die."""
        if not self.edges:
            return FILLS.get(die.outcome, "paper")
        if die.value is None or not math.isfinite(die.value):
            return "band"
        return ramp_part(self.place(die.value), len(self.edges) - 1)

    def mark_part(self, die: MapDie) -> str:
        """Part of the palette for a mark on a die: whichever its fill leaves readable."""
        return "paper" if self.part(die) in _DEEP else "ink"

    def place(self, value: float) -> int:
        """Class of a value; the outermost classes take what lies beyond."""
        return bisect_right(self.edges, value * self.factor, 1, len(self.edges) - 1) - 1

    def name(self, die: MapDie) -> str:
        """'die (3, −2): 412.3 mV, within'."""
        unit = ("" if self.symbol == "°" else THIN) + self.symbol if self.symbol else ""
        figure = "" if die.value is None else f"{number(float(die.value) * self.factor)}{unit}, "
        tail = "".join(
            f", {text}"
            for text in (die.standing if die.standing != "stands" else "", die.note)
            if text
        )
        place = f"die ({die.die_x}, {die.die_y})".replace("-", MINUS)
        return f"{place}: {figure}{die.outcome}{tail}"

    def shape(self, outcome: Outcome) -> marks.Shape | None:
        """The mark inside a die; a map of values leaves those without that are as they should."""
        shape = marks.SHAPES[outcome]
        if shape in ("square", "ring") or (shape == "dot" and self.edges):
            return None
        return shape


def ramp_part(place: int, classes: int) -> str:
    """Part of the palette for class `place` of `classes`, spread over the whole ramp."""
    last = theme.RAMP_LENGTH - 1
    return f"ramp-{last // 2 if classes < 2 else round(place * last / (classes - 1))}"


_Entry = tuple[list[Element], str, int]
"""Swatch, words and count of a line of the legend."""


def legend(dies: Sequence[MapDie], key: MapKey, prefix: str, top: int) -> tuple[list[Element], int]:
    """Classes, shapes and hatching with their counts, in two columns; and where it ends."""
    entries = [*_class_entries(dies, key), *_outcome_entries(dies, key)]
    standings: Counter[Standing] = Counter(die.standing for die in dies)
    box = _box({"class": "fill-paper line-rule"})
    over: dict[Standing, Element] = {
        "without standing": _box({"fill": f"url(#{prefix}-hatch)"}),
        "not closed": corner(16, 0, 6, "ink"),
    }
    entries += [([box, over[word]], word, standings[word]) for word in over if standings[word]]
    base = top + 16
    parts = [svg.label(16, base, key.heading, size=12, bold=True)]
    rows = -(-len(entries) // 2)
    for place, (swatch, text, number_of) in enumerate(entries):
        column, row = divmod(place, rows)
        x, y = 16 + column * 232, base + 20 * (row + 1)
        if swatch:
            moved = {"transform": f"translate({x},{y - 11})"}
            parts.append(svg.element("g", moved, *swatch))
        parts.append(svg.label(x + 24, y, text))
        parts.append(svg.label(x + 200, y, str(number_of), anchor="end", part="muted"))
    return parts, base + 20 * rows + 14


def corner(x: float, y: float, size: float, part: str) -> Element:
    """A filled upper right corner at (x, y)."""
    data = f"M{svg.coordinate(x)},{svg.coordinate(y)}v{svg.coordinate(size)}"
    return svg.element(
        "path",
        {"class": f"fill-{part}", "d": data + f"l{svg.coordinate(-size)},{svg.coordinate(-size)}z"},
    )


def _box(paint: Mapping[str, str]) -> Element:
    return svg.element("rect", {**paint, "x": 0, "y": 0, "width": 16, "height": 13})


def _class_entries(dies: Sequence[MapDie], key: MapKey) -> list[_Entry]:
    if not key.edges:
        return []
    values = [die.value for die in dies if die.value is not None and math.isfinite(die.value)]
    counts = Counter(key.place(value) for value in values)
    scaled = [value * key.factor for value in values]
    places = decimals(key.edges)
    shown = [fixed(edge, places) if places < 6 else number(edge) for edge in key.edges]
    classes = len(key.edges) - 1
    entries: list[_Entry] = []
    for place, (low, high) in enumerate(pairwise(shown)):
        text = f"{low} to {high}"
        if place == 0 and any(value < key.edges[0] for value in scaled):
            text = f"below {high}"
        elif place == classes - 1 and any(value > key.edges[-1] for value in scaled):
            text = f"{low} and above"
        box = _box({"class": f"fill-{ramp_part(place, classes)} line-rule"})
        entries.append(([box], text, counts[place]))
    unstated = sum(die.value is None and die.outcome != "not measured" for die in dies)
    if unstated:
        entries.append(([_box({"class": "fill-band line-rule"})], "no number stated", unstated))
    return entries


def _outcome_entries(dies: Sequence[MapDie], key: MapKey) -> list[_Entry]:
    counts = Counter(die.outcome for die in dies)
    return [
        (_outcome_swatch(outcome, key), outcome, counts[outcome])
        for outcome in OUTCOMES
        if counts[outcome] and not (outcome == "no limits" and key.edges)
    ]


def _outcome_swatch(outcome: Outcome, key: MapKey) -> list[Element]:
    """As the dies show it; nothing for 'within' on a map of values, which has no mark there."""
    if outcome == "not measured":
        return [_box(NOT_MEASURED)]
    shape = key.shape(outcome)
    if key.edges and shape is None:
        return []
    box = _box({"class": f"fill-{'paper' if key.edges else FILLS[outcome]} line-rule"})
    if shape is None:
        return [box]
    painted: dict[str, str | float] = {**marks.attributes(shape, "ink")}
    painted["d"] = marks.path(shape, 8, 6.5, 2 if shape == "dot" else 4)
    return [box, svg.element("path", painted)]
