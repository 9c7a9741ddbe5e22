"""Where words stand in a drawing: their estimated width, and labels that keep out of each other."""

from collections.abc import Sequence
from dataclasses import dataclass

from sitegen.chart.svg import Anchor

_NARROW = set("iljtfrI.,:;'|!()[] \u202f")
_WIDE = set("mwMW—%@")


def width(text: str, size: float = 11) -> float:
    """Estimated width of `text` in pixels: a little more than common sans serif types need."""
    ems = sum(0.34 if c in _NARROW else 0.9 if c in _WIDE else 0.61 for c in text)
    return ems * size


@dataclass(frozen=True)
class Placed:
    """A label beside the line it belongs to."""

    text: str
    x: float
    anchor: Anchor
    row: int
    """0 is nearest to the plot."""


def beside(
    labels: Sequence[tuple[float, str]], left: float, right: float, size: float = 11
) -> list[Placed]:
    """Each label centred at its x, moved to stay between left and right, in rows of their own.

    A label takes the first row in which it touches none placed before it.
    """
    placed: list[Placed] = []
    taken: list[list[tuple[float, float]]] = []
    for x, text in sorted(labels):
        half = width(text, size) / 2
        centre = min(max(x, left + half), right - half)
        span = (centre - half - 4, centre + half + 4)
        row = next(
            (n for n, spans in enumerate(taken) if all(span[0] >= end for _, end in spans)),
            len(taken),
        )
        if row == len(taken):
            taken.append([])
        taken[row].append(span)
        placed.append(Placed(text, centre, "middle", row))
    return placed


def spread(positions: Sequence[float], gap: float, lower: float, upper: float) -> list[float]:
    """Positions moved as little as needed to be `gap` apart, in the same order, within bounds."""
    order = sorted(range(len(positions)), key=lambda place: positions[place])
    moved = [min(max(positions[place], lower), upper) for place in order]
    for place in range(1, len(moved)):
        moved[place] = max(moved[place], moved[place - 1] + gap)
    ceiling = upper
    for place in reversed(range(len(moved))):
        moved[place] = min(moved[place], ceiling)
        ceiling = moved[place] - gap
    result = [0.0] * len(positions)
    for place, position in zip(order, moved, strict=True):
        result[place] = position
    return result
