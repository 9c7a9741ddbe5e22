"""Names of curves beside the places where they end."""

from collections.abc import Iterable
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np

from sitegen.chart import svg, words
from sitegen.chart.axis import Axis
from sitegen.chart.vega import Padding
from sitegen.model.arrays import FloatArray

GAP = 14.0
"""Least distance of two names, in pixels."""


@dataclass(frozen=True)
class End:
    """A curve's name, and where it ends."""

    text: str
    part: str
    """Of the palette."""
    height: float
    """Below the plot's upper edge, in pixels."""


def end_of(text: str, part: str, curve: FloatArray, y: Axis, plot_height: float) -> End | None:
    """Where a curve ends inside the plot; None for a curve without a point."""
    known = np.flatnonzero(np.isfinite(curve))
    if not known.size:
        return None
    return End(text, part, plot_height - y.position(float(curve[known[-1]]), plot_height))


def names(
    ends: Iterable[End | None], padding: Padding, plot_width: float, plot_height: float
) -> list[Element]:
    """The names to the right of the plot, moved apart where they would touch."""
    known = [end for end in ends if end is not None]
    heights = words.spread([end.height for end in known], GAP, 4, plot_height - 4)
    return [
        svg.label(padding.left + plot_width + 10, padding.top + height + 4, end.text, part=end.part)
        for end, height in zip(known, heights, strict=True)
    ]
