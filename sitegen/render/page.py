"""What rendering takes and gives: a page as text, a shared frame with a wafer's curves over it."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Page:
    """A page, ready to be written."""

    address: str
    """Relative to the publication's root."""
    html: str


@dataclass(frozen=True)
class FrameArt:
    """A frame shared by the dies of a wafer (axes, median, band), and each sweep's curve in it.

    Lengths are in the frame's own pixels. The curves use a tenth of a pixel as their unit: the
    plot's upper left corner is (0, 0), its lower right corner is (10 plot_width, 10 plot_height).
    """

    address: str
    """Address of the frame's SVG."""
    title: str
    description: str
    width: int
    height: int
    left: int
    """Of the plot's upper left corner, from the frame's."""
    top: int
    plot_width: int
    plot_height: int
    group: int
    """Place of its `TraceGroup` in the wafer's `traces`."""
    y_title: str
    """Title of the vertical axis with its unit, for example '|S21| / dB'."""
    polylines: Sequence[Sequence[str]]
    """For each row of the group the points of each unbroken piece, as 'x,y x,y'."""
    x_lower: float
    """Frequency at the plot's left edge, in Hz."""
    x_upper: float
    """Frequency at its right edge, in Hz."""
    x_logarithmic: bool
    y_lower: float
    """Value at the plot's lower edge."""
    y_upper: float
    """Value at its upper edge."""
    unit: str
    """Unit of the vertical axis."""
