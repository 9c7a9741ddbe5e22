"""The shape of each verdict: it reads without colour, and is the same on maps, in tables, in time.

A filled dot is good; a hollow diamond is undecided inside a guard band; a hollow triangle likewise,
and lies beyond its limit; a cross is bad; a bar could not be judged; a dashed square was not
measured; a ring has no limits.
"""

from collections.abc import Mapping
from typing import Literal

from sitegen.chart.svg import coordinate

Shape = Literal["dot", "diamond", "triangle", "cross", "bar", "square", "ring"]
SHAPES: Mapping[str, Shape] = {
    "within": "dot",
    "passed": "dot",
    "usable": "dot",
    "stands": "dot",
    "not proven": "diamond",
    "not refuted": "triangle",
    "not closed": "diamond",
    "outside": "cross",
    "failed": "cross",
    "checks failed": "cross",
    "not solved": "cross",
    "without standing": "cross",
    "not assessable": "bar",
    "not measured": "square",
    "no limits": "ring",
}
"""Shape of every outcome and standing."""
PARTS: Mapping[Shape, str] = {
    "dot": "accent",
    "diamond": "alarm",
    "triangle": "alarm",
    "cross": "alarm",
    "bar": "second",
    "square": "rule",
    "ring": "rule",
}
"""Part of the palette that repeats the shape."""


def path(shape: Shape, x: float, y: float, radius: float) -> str:
    """Path data of a shape around (x, y) that reaches `radius` pixels."""
    r = coordinate(radius)
    left, right = coordinate(x - radius), coordinate(x + radius)
    top, bottom = coordinate(y - radius), coordinate(y + radius)
    if shape in ("dot", "ring"):
        turn = f"a{r},{r} 0 1 0"
        return f"M{left},{coordinate(y)}{turn} {coordinate(2 * radius)},0{turn} -" + (
            f"{coordinate(2 * radius)},0z"
        )
    if shape == "diamond":
        middle_x, middle_y = coordinate(x), coordinate(y)
        return f"M{left},{middle_y}L{middle_x},{top} {right},{middle_y} {middle_x},{bottom}z"
    if shape == "triangle":
        return f"M{left},{bottom}L{coordinate(x)},{top} {right},{bottom}z"
    if shape == "cross":
        return f"M{left},{top}L{right},{bottom}M{left},{bottom}L{right},{top}"
    if shape == "bar":
        return f"M{left},{coordinate(y)}H{right}"
    return f"M{left},{top}H{right}V{bottom}H{left}z"


def attributes(shape: Shape, part: str | None = None) -> dict[str, str]:
    """How a shape is painted: class, and width or dash of its line."""
    part = part or PARTS[shape]
    if shape == "dot":
        return {"class": f"fill-{part}"}
    painted = {"class": f"line-{part}", "fill": "none", "stroke-width": "1.5"}
    if shape in ("cross", "bar"):
        painted["stroke-width"] = "2"
    if shape == "square":
        painted["stroke-width"] = "1"
        painted["stroke-dasharray"] = "2 1.5"
    return painted
