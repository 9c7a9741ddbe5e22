"""Shares of a whole as one thin bar, to scale, each named under it."""

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from sitegen.chart import svg
from sitegen.model.results import Drawing
from sitegen.units import percent

WIDTH = 300
_HEIGHT = 14
_PARTS = ("accent", "second", "accent-soft", "band")
"""Fills that follow each other; the white gap between them shows in any print."""
_LETTER = 6.3
"""Typical width of a character of the names, in pixels."""
_LINE = 17


def spread_shares(
    *, address: str, title: str, description: str, shares: Sequence[tuple[str, float]]
) -> Drawing:
    """A bar parted by `shares`, names with shares that add up to 1, in the order given.

    A share that is too small to see has a line of one pixel; one of nothing has none.
    """
    prefix = svg.identifier(address)
    parts: list[Element] = [svg.element("defs", {}, svg.hatch(f"{prefix}-hatch", "ink", 4))]
    whole = sum(max(share, 0.0) for _, share in shares)
    left = 0.0
    for place, (_, share) in enumerate(shares):
        width = max(share, 0.0) / whole * WIDTH if whole else 0.0
        if width:
            parts += _box(left, 4, max(width - 1, 1.0), _HEIGHT, place, prefix)
        left += width
    names, lines = _names(shares, prefix)
    return svg.finished(
        [*parts, *names],
        address=address,
        title=title,
        description=description,
        width=WIDTH,
        height=4 + _HEIGHT + _LINE * lines + 5,
    )


def _box(x: float, y: float, width: float, height: float, place: int, prefix: str) -> list[Element]:
    """A part of the bar or its swatch; the second is hatched too, so that no colour is needed."""
    box: dict[str, str | float] = {"x": x, "y": y, "width": width, "height": height}
    drawn = [svg.element("rect", {"class": f"fill-{_PARTS[place % len(_PARTS)]}", **box})]
    if place % len(_PARTS) == 2:
        drawn.append(svg.element("rect", {"fill": f"url(#{prefix}-hatch)", **box}))
    return drawn


def _names(shares: Sequence[tuple[str, float]], prefix: str) -> tuple[list[Element], int]:
    """Swatch, name and share of each, as many in a line as fit; how many lines."""
    parts: list[Element] = []
    x, line = 0.0, 1
    for place, (name, share) in enumerate(shares):
        text = f"{name} {percent(share)}"
        width = 14 + len(text) * _LETTER
        if x and x + width > WIDTH:
            x, line = 0.0, line + 1
        y = 4.0 + _HEIGHT + _LINE * line
        parts += _box(x, y - 9, 9, 9, place, prefix)
        parts.append(svg.label(x + 14, y, text, part="ink"))
        x += width + 12
    return parts, line
