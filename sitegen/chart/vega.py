"""Altair charts compiled once, filled with values many times, and made into plain SVG elements.

A chart's specification is compiled to Vega with named, empty data sets; a drawing then costs one
rendering. The SVG that comes back is cleaned: identifiers are renumbered under the drawing's own
name (they count up per process), colours become classes, whatever says nothing goes.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast
from xml.etree.ElementTree import Element, fromstring

import altair as alt
import orjson
import vl_convert

from sitegen.chart import svg, theme
from sitegen.chart.axis import Axis, decimals

AnyChart = alt.Chart | alt.LayerChart | alt.FacetChart | alt.ConcatChart
Rows = list[dict[str, Any]]
HATCH = "hatch"
"""Fill that becomes the drawing's hatching."""
HATCH_COLOUR = "#010203"
_DROPPED = {"role", "class", "pointer-events", "font-family", "stroke-miterlimit", "style"}
_IDLE = {
    ("opacity", "1"),
    ("stroke-width", "1"),
    ("transform", "translate(0,0)"),
    ("font-weight", "normal"),
}
_NUMBERS = {"d", "transform", "x", "y", "x2", "y2", "width", "height"}
_LONG_NUMBER = re.compile(r"-?\d*\.\d{3,}(?:e-?\d+)?")


@dataclass(frozen=True)
class Padding:
    """Room around the plot, in pixels."""

    left: int
    top: int
    right: int
    bottom: int


def compiled(chart: AnyChart, padding: Padding) -> bytes:
    """The Vega specification of a chart with named data, as JSON to be filled."""
    fitted = chart.properties(padding=vars(padding), autosize="none").configure(**theme.CONFIG)
    specification = vl_convert.vegalite_to_vega(fitted.to_dict())
    specification["background"] = None
    return orjson.dumps(specification)


def rendered(
    specification: bytes,
    *,
    data: Mapping[str, Rows],
    axes: Mapping[str, Axis],
    prefix: str,
    height: int | None = None,
) -> list[Element]:
    """The elements of a compiled chart with these data sets and, by name of scale, axes.

    `prefix` begins every identifier; `height` replaces the plot's height.
    """
    filled = orjson.loads(specification)
    for entry in filled["data"]:
        if entry["name"] in data:
            entry["values"] = data[entry["name"]]
    for scale in filled["scales"]:
        if scale["name"] in axes:
            scale["domain"] = [axes[scale["name"]].lower, axes[scale["name"]].upper]
    for guide in _guides(filled):
        if guide["scale"] in axes:
            _set_guide(guide, axes[guide["scale"]])
    if height is not None:
        filled["height"] = height
    text = vl_convert.vega_to_svg(orjson.dumps(filled).decode(), allowed_base_urls=[])
    return _cleaned(fromstring(text), prefix)


def _guides(specification: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    yield from specification.get("axes", ())
    for mark in specification.get("marks", ()):
        if mark["type"] == "group":
            yield from _guides(mark)


def _set_guide(guide: dict[str, Any], axis: Axis) -> None:
    places = decimals(axis.ticks)
    guide["values"] = list(axis.ticks)
    guide.pop("tickCount", None)  # it would thin the ticks out
    guide["format"] = "~g" if axis.log or places > 5 else f".{places}f"
    if "title" in guide:
        guide["title"] = svg.plain(axis.title)


def _cleaned(root: Element, prefix: str) -> list[Element]:
    for part in root.iter():
        part.tag = part.tag.rpartition("}")[2]
    names = {
        part.attrib["id"]: f"{prefix}-{place}"
        for place, part in enumerate(part for part in root.iter() if "id" in part.attrib)
    }
    hatched = any(part.get("fill") == HATCH_COLOUR for part in root.iter())
    for part in root.iter():
        _clean_attributes(part, names, prefix)
    children = _without_idle(root)
    if hatched:
        children.insert(0, svg.element("defs", {}, svg.hatch(f"{prefix}-hatch", "rule")))
    return children


def _clean_attributes(part: Element, names: Mapping[str, str], prefix: str) -> None:
    kept: dict[str, str] = {}
    classes: list[str] = []
    for name, value in part.attrib.items():
        name = name.rpartition("}")[2]
        if name in _DROPPED or name.startswith("aria-") or (name, value) in _IDLE:
            continue
        if name in ("fill", "stroke") and value == HATCH_COLOUR:
            value = f"url(#{prefix}-{HATCH})"
        elif name in ("fill", "stroke") and value in theme.PART_OF_COLOUR:
            classes.append(f"{'fill' if name == 'fill' else 'line'}-{theme.PART_OF_COLOUR[value]}")
            continue
        elif name == "id":
            value = names[value]
        elif value.startswith("url(#"):
            value = f"url(#{names[value[5:-1]]})"
        elif name in _NUMBERS:
            value = _LONG_NUMBER.sub(lambda found: svg.coordinate(float(found[0])), value)
        elif name == "font-size":
            value = value.removesuffix("px")
        kept[name] = value
    part.attrib.clear()
    if classes:
        part.set("class", " ".join(classes))
    part.attrib.update(kept)


def _without_idle(parent: Element) -> list[Element]:
    """The children of `parent` that draw something, freed of groups that say nothing."""
    kept: list[Element] = []
    for child in parent:
        if child.tag == "path" and _draws_nothing(child):
            continue
        inner = _without_idle(child)
        if child.tag in ("g", "defs") and not inner:
            continue
        if child.tag == "g" and not child.attrib:
            kept.extend(inner)
            continue
        child[:] = inner
        kept.append(child)
    return kept


def _draws_nothing(path: Element) -> bool:
    if not path.get("d") or path.get("display") == "none":
        return True
    coloured = path.get("fill", "none") != "none" or path.get("stroke", "none") != "none"
    return not coloured and not path.get("class")


def columns(**named: Sequence[Any]) -> Rows:
    """Rows for a data set from columns of equal length; what is not finite becomes null."""
    names = list(named)
    return [dict(zip(names, row, strict=True)) for row in zip(*named.values(), strict=True)]


def quantitative(channel: type[Any], field: str, *, log: bool = False, **axis: Any) -> Any:
    """A channel whose scale takes its domain, and whose axis its ticks and title, when filled."""
    kind = "log" if log else "linear"
    scale = alt.Scale(type=cast(Any, kind), domain=[1, 2], nice=False, zero=False)
    return channel(field, type="quantitative", scale=scale, title="-", axis=alt.Axis(**axis))
