"""Small maps side by side: only the dies that ask for a look are marked, each a link."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from sitegen.chart import marks, svg
from sitegen.model.campaign import Layout
from sitegen.model.geometry import die_center_mm
from sitegen.model.results import Drawing

SIZE = 84
"""Of one map, in pixels."""
GAP = 12
MOST_MAPS = 3
_NAMES = 14
"""Height of the line that names the wafers."""
STANDS_OUT = "stands out"

Die = tuple[int, int]


@dataclass(frozen=True)
class MarkedDie:
    """A die that asks for a look."""

    die: Die
    kind: str
    """An outcome, 'without standing', or 'stands out'."""
    name: str
    """'die (3, −2): outside', as a screen reader says it."""
    href: str


@dataclass(frozen=True)
class MarkedWafer:
    """A wafer with its measured dies and those that are marked."""

    wafer: str
    dies: Sequence[Die]
    marked: Sequence[MarkedDie]


def concerned_map(
    *,
    address: str,
    title: str,
    description: str,
    layout: Layout,
    wafers: Sequence[MarkedWafer],
) -> Drawing:
    """A map of each wafer, at most `MOST_MAPS`: dies pale, the marked ones with their shapes."""
    shown = wafers[:MOST_MAPS]
    parts: list[Element] = []
    for place, one in enumerate(shown):
        parts += _map(one, layout, place * (SIZE + GAP))
    width = max(len(shown), 1) * (SIZE + GAP) - GAP
    return svg.finished(
        parts,
        address=address,
        title=title,
        description=description,
        width=width,
        height=SIZE + _NAMES,
        role="group",
    )


def _map(one: MarkedWafer, layout: Layout, left: float) -> list[Element]:
    radius = SIZE / 2 - 2
    scale = radius / (layout.diameter_mm / 2)
    width, height = layout.die_pitch_x_mm * scale, layout.die_pitch_y_mm * scale

    def centre(die: Die) -> tuple[float, float]:
        x_mm, y_mm = die_center_mm(layout, *die)
        return left + SIZE / 2 + x_mm * scale, SIZE / 2 - y_mm * scale

    ring: dict[str, str | float] = {"class": "line-rule", "fill": "none", "r": radius}
    parts = [svg.element("circle", {**ring, "cx": left + SIZE / 2, "cy": SIZE / 2})]
    angle = math.radians(layout.orientation_mark_angle_deg)
    along, across = math.cos(angle), -math.sin(angle)
    inner, outer = radius - 4, radius + 2
    notch = [left + SIZE / 2 + inner * along, SIZE / 2 + inner * across]
    notch += [left + SIZE / 2 + outer * along, SIZE / 2 + outer * across]
    parts.append(svg.line(*notch, part="rule", width=1.5))
    boxes = []
    for die in one.dies:
        x, y = centre(die)
        half_x, half_y = width * 0.44, height * 0.44
        boxes.append(
            f"M{_c(x - half_x)},{_c(y - half_y)}h{_c(2 * half_x)}v{_c(2 * half_y)}"
            f"h-{_c(2 * half_x)}z"
        )
    if boxes:
        parts.append(svg.element("path", {"class": "fill-band", "d": "".join(boxes)}))
    for marked in one.marked:
        parts.append(_link(marked, centre(marked.die), max(min(width, height) * 0.55, 3.0)))
    parts.append(svg.label(left + SIZE / 2, SIZE + 11, one.wafer, anchor="middle", part="muted"))
    return parts


def _link(marked: MarkedDie, centre: tuple[float, float], radius: float) -> Element:
    shapes: Mapping[str, marks.Shape] = {**marks.SHAPES, STANDS_OUT: "ring"}
    shape = shapes.get(marked.kind, "diamond")
    part = {"outside": "alarm", "without standing": "muted"}.get(marked.kind, "ink")
    if marked.kind == "without standing":
        shape = "square"
    painted = {**marks.attributes(shape, part), "d": marks.path(shape, *centre, radius)}
    touch: dict[str, str | float] = {"cx": centre[0], "cy": centre[1], "r": radius + 2}
    return svg.element(
        "a",
        {"href": marked.href},
        svg.element("title", {}, text=marked.name),
        svg.element("circle", {"fill": "none", "pointer-events": "all", **touch}),
        svg.element("path", painted),
    )


def _c(value: float) -> str:
    return svg.coordinate(value)
