"""Building SVG elements and finishing them as a drawing."""

import math
from collections.abc import Iterator, Mapping
from typing import Literal
from xml.etree.ElementTree import Element, tostring

from sitegen.chart import theme
from sitegen.model.results import Drawing

NAMESPACE = "http://www.w3.org/2000/svg"
Anchor = Literal["start", "middle", "end"]
Role = Literal["img", "group"]
_ALLOWED_CONTROLS = {0x9, 0xA, 0xD}
_NOT_IN_XML = {
    code: None
    for code in (*range(0x20), *range(0xD800, 0xE000), 0xFFFE, 0xFFFF)
    if code not in _ALLOWED_CONTROLS
}


def plain(text: str) -> str:
    """`text` without the characters that no XML document may hold."""
    return text.translate(_NOT_IN_XML)


def coordinate(value: float) -> str:
    """A length or position in pixels, to a hundredth of a pixel."""
    if not math.isfinite(value):
        raise ValueError(f"{value} is no position in a drawing")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(
    tag: str, attributes: Mapping[str, str | float], *children: Element, text: str = ""
) -> Element:
    """An element; numbers among its attributes become pixels, text is escaped when written."""
    made = Element(
        tag,
        {
            name: plain(value) if isinstance(value, str) else coordinate(value)
            for name, value in attributes.items()
        },
    )
    made.extend(children)
    if text:
        made.text = plain(text)
    return made


def label(
    x: float,
    y: float,
    text: str,
    *,
    anchor: Anchor = "start",
    part: str = "ink",
    size: float = 11,
    bold: bool = False,
) -> Element:
    """A line of text whose baseline starts, is centred or ends at (x, y)."""
    attributes: dict[str, str | float] = {"class": f"fill-{part}", "x": x, "y": y}
    attributes["font-size"] = size
    if anchor != "start":
        attributes["text-anchor"] = anchor
    if bold:
        attributes["font-weight"] = "600"
    return element("text", attributes, text=text)


def line(
    x1: float, y1: float, x2: float, y2: float, *, part: str, width: float = 1, dash: str = ""
) -> Element:
    """A straight line."""
    attributes: dict[str, str | float] = {
        "class": f"line-{part}",
        "d": f"M{coordinate(x1)},{coordinate(y1)}L{coordinate(x2)},{coordinate(y2)}",
    }
    if width != 1:
        attributes["stroke-width"] = width
    if dash:
        attributes["stroke-dasharray"] = dash
    return element("path", attributes)


def hatch(identifier: str, part: str, gap: float = 5, under: str = "") -> Element:
    """A pattern of diagonal lines; fill with url(#identifier).

    `under` adds lines of a second part beside them, so that one of the two shows on any ground.
    """
    lines = [element("path", {"class": f"line-{part}", "d": f"M0.5,0V{coordinate(gap)}"})]
    if under:
        second = {"class": f"line-{under}", "d": f"M1.5,0V{coordinate(gap)}"}
        lines.append(element("path", second))
    return element(
        "pattern",
        {
            "id": identifier,
            "width": gap,
            "height": gap,
            "patternUnits": "userSpaceOnUse",
            "patternTransform": "rotate(45)",
        },
        *lines,
    )


def identifier(address: str) -> str:
    """A name for identifiers inside the drawing at `address`; no two addresses share one.

    '/' becomes '.', and whatever an XML name cannot hold becomes '_' with its code.
    """
    stem = address.removesuffix(".svg")
    return "".join(
        character
        if (character.isascii() and character.isalpha())
        or (place and (character == "-" or (character.isascii() and character.isdigit())))
        else "."
        if character == "/" and place
        else f"_{ord(character):x}_"
        for place, character in enumerate(stem)
    )


def finished(
    children: Iterator[Element] | list[Element],
    *,
    address: str,
    title: str,
    description: str,
    width: int,
    height: int,
    role: Role = "img",
) -> Drawing:
    """The drawing of these elements, with its title, description and style.

    `role` is 'group' where parts of the drawing are links: an image has no parts for a screen
    reader.
    """
    prefix = identifier(address)
    root = element(
        "svg",
        {
            "xmlns": NAMESPACE,
            "class": "drawing",
            "width": width,
            "height": height,
            "viewBox": f"0 0 {width} {height}",
            "role": role,
            "aria-labelledby": f"{prefix}-title",
            "aria-describedby": f"{prefix}-description",
        },
        element("title", {"id": f"{prefix}-title"}, text=title),
        element("desc", {"id": f"{prefix}-description"}, text=description),
        *children,
    )
    classes = {name for part in root.iter() for name in part.get("class", "").split()}
    root.insert(2, element("style", {}, text=theme.style_rules(classes)))
    svg = tostring(root, encoding="unicode", short_empty_elements=True)
    return Drawing(address, plain(title), plain(description), svg, width, height)


def inline(drawing: Drawing) -> str:
    """The drawing as part of a page that carries `theme.CHART_CSS`: without its own style."""
    before, _, rest = drawing.svg.partition("<style>")
    return before + rest.partition("</style>")[2]
