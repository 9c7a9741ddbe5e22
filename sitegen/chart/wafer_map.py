"""Wafer maps, written directly as SVG: every die at its true place, as a link with its own name.

Not drawn with Altair: dies must be links relative to their page, with names of their own, and
identifiers must be stable; written directly a map is also a third of the size.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from xml.etree.ElementTree import Element

from sitegen import addresses
from sitegen.chart import marks, svg
from sitegen.chart.axis import fixed
from sitegen.chart.map_key import NOT_MEASURED, MapDie, MapKey, corner, legend
from sitegen.model.campaign import Layout
from sitegen.model.geometry import die_center_mm
from sitegen.model.results import Drawing
from sitegen.units import axis_title, shown_unit

Form = Literal["linked", "small"]
LINKED_SIZE, SMALL_SIZE = 480, 200
_GAP = 0.06
"""Share of the pitch left free between dies, the street."""
_NOTCH_HALF_DEG, _FLAT_HALF_DEG = 3.2, 13.0
"""Half the angle that the mark takes on the edge: shown clearly, not to scale."""


@dataclass(frozen=True)
class _Plane:
    """Where things lie: millimetres on the wafer, x right and y up, to pixels, y down."""

    layout: Layout
    size: int
    radius: float

    @property
    def scale(self) -> float:
        return self.radius / (self.layout.diameter_mm / 2)

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return self.size / 2 + x_mm * self.scale, self.size / 2 - y_mm * self.scale

    def centre(self, die_x: int, die_y: int) -> tuple[float, float]:
        return self.at(*die_center_mm(self.layout, die_x, die_y))

    @property
    def die_size(self) -> tuple[float, float]:
        share = self.scale * (1 - _GAP)
        return self.layout.die_pitch_x_mm * share, self.layout.die_pitch_y_mm * share


def wafer_map(
    *,
    address: str,
    title: str,
    description: str,
    layout: Layout,
    dies: Sequence[MapDie],
    form: Form,
    name: str = "verdict",
    unit: str = "1",
    edges: Sequence[float] = (),
    link_prefix: str = "",
) -> Drawing:
    """A map of values in classes between `edges` (in `unit`), or of verdicts without edges.

    'linked' is for a page: each die a link to `link_prefix` and its page's name, with indices of
    columns and rows and a legend with counts. 'small' is an image of the map alone. The notch or
    flat shows where it lies, not its true size. A die that was not measured is hollow and dashed;
    one whose value has no standing is hatched, one not closed has a corner; each verdict has its
    shape, but for 'within' on a map of values and on a small one.
    """
    factor, symbol = shown_unit([max((abs(edge) for edge in edges), default=0.0)], unit)
    heading = axis_title(name, symbol) if edges else name
    key = MapKey(tuple(edge * factor for edge in edges), factor, symbol, heading)
    prefix = svg.identifier(address)
    linked = form == "linked"
    size = LINKED_SIZE if linked else SMALL_SIZE
    plane = _Plane(layout, size, size / 2 - (32 if linked else 5))
    hatch = svg.hatch(f"{prefix}-hatch", "ink", 7 if linked else 5, under="paper")
    parts = [svg.element("defs", {}, hatch), *_outline(plane)]
    # As a page is read: from the top row down, each row from the left.
    ordered = sorted(dies, key=lambda die: plane.centre(die.die_x, die.die_y)[::-1])
    if linked:
        parts += _indices(plane, ordered)
        parts += [_link(die, plane, key, prefix, link_prefix) for die in ordered]
        words, height = legend(ordered, key, prefix, size)
        parts += words
    else:
        parts += _merged(ordered, plane, key, prefix)
        height = size
    return svg.finished(
        parts,
        address=address,
        title=title,
        description=description,
        width=size,
        height=height,
        role="group" if linked else "img",
    )


def _outline(plane: _Plane) -> list[Element]:
    """The wafer's edge with its notch or flat, and the edge exclusion."""
    edge = svg.element(
        "path",
        {"class": "line-rule", "fill": "none", "stroke-width": "1.25", "d": _edge(plane)},
    )
    exclusion = plane.radius - plane.layout.edge_exclusion_mm * plane.scale
    if exclusion == plane.radius:
        return [edge]
    dashed: dict[str, str | float] = {"class": "line-rule", "fill": "none"}
    dashed |= {"stroke-width": "0.75", "stroke-dasharray": "4 3"}
    dashed |= {"cx": plane.size / 2, "cy": plane.size / 2, "r": exclusion}
    return [edge, svg.element("circle", dashed)]


def _edge(plane: _Plane) -> str:
    """Path of the wafer's edge: from one end of the mark over it, and the long way round."""
    notch = plane.layout.orientation_mark == "notch"
    angle = math.radians(plane.layout.orientation_mark_angle_deg)
    half = math.radians(_NOTCH_HALF_DEG if notch else _FLAT_HALF_DEG)
    corners = [(angle + half, plane.radius), (angle - half, plane.radius)]
    if notch:
        corners.insert(1, (angle, plane.radius * (1 - 1.2 * math.sin(half))))
    centre = plane.size / 2
    points = [
        f"{svg.coordinate(centre + r * math.cos(a))},{svg.coordinate(centre - r * math.sin(a))}"
        for a, r in corners
    ]
    r = svg.coordinate(plane.radius)
    return f"M{'L'.join(points)}A{r},{r} 0 1 1 {points[0]}z"


def _indices(plane: _Plane, dies: Sequence[MapDie]) -> list[Element]:
    """Indices of columns above and of rows at the left, as many as fit."""
    columns = sorted({die.die_x for die in dies})
    rows = sorted({die.die_y for die in dies})
    width, height = plane.die_size
    every_x = max(math.ceil(26 / width), 1)
    every_y = max(math.ceil(14 / height), 1)
    texts = []
    for die_x in (n for n in columns if n % every_x == 0):
        x, _ = plane.centre(die_x, 0)
        texts.append(svg.label(x, 20, fixed(die_x, 0), anchor="middle", part="muted", size=11))
    for die_y in (n for n in rows if n % every_y == 0):
        _, y = plane.centre(0, die_y)
        texts.append(svg.label(22, y + 3.5, fixed(die_y, 0), anchor="end", part="muted", size=11))
    texts.append(svg.label(4, 20, "die_x", part="muted", size=11))
    texts.append(svg.label(4, 36, "die_y", part="muted", size=11))
    return texts


def _rectangle(die: MapDie, plane: _Plane) -> tuple[float, float, float, float]:
    """Left, top, width and height of a die in pixels."""
    x, y = plane.centre(die.die_x, die.die_y)
    width, height = plane.die_size
    return x - width / 2, y - height / 2, width, height


def _paint(die: MapDie, key: MapKey) -> dict[str, str | float]:
    """How a die's rectangle is painted."""
    if die.outcome == "not measured":
        return {**NOT_MEASURED, "class": f"die {NOT_MEASURED['class']}"}
    return {"class": f"die fill-{key.part(die)} line-rule", "stroke-width": "0.75"}


def _marks_on(die: MapDie, plane: _Plane, key: MapKey) -> list[Element]:
    """A die's verdict as a shape, and a corner where its standing is not closed."""
    part = key.mark_part(die)
    left, top, width, height = _rectangle(die, plane)
    drawn = []
    shape = key.shape(die.outcome)
    if shape is not None:
        radius = min(width, height) * (0.09 if shape == "dot" else 0.27)
        painted: dict[str, str | float] = {**marks.attributes(shape, part)}
        painted["d"] = marks.path(shape, left + width / 2, top + height / 2, radius)
        drawn.append(svg.element("path", painted))
    if die.standing == "not closed":
        size = min(width, height) * 0.35
        drawn.append(corner(left + width, top, size, part))
    return drawn


def _link(die: MapDie, plane: _Plane, key: MapKey, prefix: str, link_prefix: str) -> Element:
    x, y, width, height = _rectangle(die, plane)
    box: dict[str, str | float] = {"x": x, "y": y, "width": width, "height": height}
    target = f"{link_prefix}{addresses.die_stem(die.die_x, die.die_y)}.html"
    parts = [
        svg.element("title", {}, text=key.name(die)),
        svg.element("rect", {**_paint(die, key), **box}),
    ]
    if die.standing == "without standing":
        parts.append(svg.element("rect", {"fill": f"url(#{prefix}-hatch)", **box}))
    return svg.element("a", {"href": target}, *parts, *_marks_on(die, plane, key))


def _merged(dies: Sequence[MapDie], plane: _Plane, key: MapKey, prefix: str) -> list[Element]:
    """The dies without links: one path for all that are painted alike."""
    paths: dict[tuple[tuple[str, str | float], ...], list[str]] = {}
    for die in dies:
        x, y, width, height = (svg.coordinate(n) for n in _rectangle(die, plane))
        box = f"M{x},{y}h{width}v{height}h-{width}z"
        paths.setdefault(tuple(_paint(die, key).items()), []).append(box)
        if die.standing == "without standing":
            paths.setdefault((("fill", f"url(#{prefix}-hatch)"),), []).append(box)
    painted = [
        svg.element("path", {**dict(paint), "d": "".join(data)}) for paint, data in paths.items()
    ]
    marked = (die for die in dies if die.outcome != "within" or die.standing == "not closed")
    return [*painted, *(mark for die in marked for mark in _marks_on(die, plane, key))]
