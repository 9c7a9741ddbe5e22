"""What a pattern looks like, in plain words and in the parameter's unit."""

from math import atan2, degrees, exp, hypot

import numpy as np

from sitegen.compute.stats.zones import ZONES
from sitegen.model.arrays import FloatArray
from sitegen.units import THIN, count, number, percent, shown_unit

TOWARDS = (
    "to the right",
    "to the upper right",
    "to the top",
    "to the upper left",
    "to the left",
    "to the lower left",
    "to the bottom",
    "to the lower right",
)
"""Each 45 degrees wide, counter-clockwise from the right, as seen on the wafer's front side."""
ALONG = (
    "from left to right",
    "from lower left to upper right",
    "from bottom to top",
    "from lower right to upper left",
)
ROUND = 1 / 3
"""A bowl is called round where its lesser curvature is at least this share of the greater."""
CAVEAT = "; neighbouring dies still resemble each other beside it, so that its p-value is too small"


def there_are(n: int) -> str:
    """'there are 3', 'there is 1', 'there are none'."""
    return f"there {'is' if n == 1 else 'are'} {n or 'none'}"


def not_positive(n: int) -> str:
    """Why logarithms serve nothing."""
    return f"declared log-normal, and {count(n, 'value is', 'values are')} not positive"


def plane_words(
    gradient: FloatArray, share: float, diameter_mm: float, unit: str, logarithms: bool
) -> str:
    """'rises to the right by 12 mV over the diameter, ...'; gradient (2,), right and up, a mm."""
    right, up = gradient.tolist()
    towards = TOWARDS[round(degrees(atan2(up, right)) / 45) % 8]
    size = _by(hypot(right, up) * diameter_mm, unit, logarithms)
    return f"rises {towards} by {size} over the diameter, {_share(share)}"


def bowl_words(
    curvature: FloatArray, share: float, diameter_mm: float, unit: str, logarithms: bool
) -> str:
    """A bowl, a valley or a saddle; curvature (3,): factors of x², xy and y², a mm²."""
    xx, xy, yy = curvature.tolist()
    (low, high), axes = np.linalg.eigh([[xx, xy / 2], [xy / 2, yy]])
    radius = diameter_mm / 2
    greater, lesser = (high, low) if abs(high) >= abs(low) else (low, high)
    if abs(lesser) < ROUND * abs(greater):
        name, place = ("valley", "lower") if greater > 0 else ("ridge", "higher")
        along = _along(axes[:, 0] if greater == high else axes[:, 1])
        size = _by(abs(greater) * radius**2, unit, logarithms)
        text = f"{name} {along}, {place} in it than beside it by {size} at the rim"
    elif greater * lesser > 0:
        place = "lower" if greater > 0 else "higher"
        size = _by(abs(xx + yy) / 2 * radius**2, unit, logarithms)
        text = f"{place} in the centre than at the rim by {size}"
    else:
        rise = _by(abs(high) * radius**2, unit, logarithms)
        fall = _by(abs(low) * radius**2, unit, logarithms)
        text = (
            f"saddle: from the centre it rises by {rise} along the line {_along(axes[:, 1])} and"
            f" falls by {fall} across it"
        )
    return f"{text}, {_share(share)}"


def zone_words(means: FloatArray, share: float, unit: str, logarithms: bool) -> str:
    """'highest in the edge, lowest in the centre, by 12 mV, ...'; means (3,) of the zones."""
    high, low = int(np.argmax(means)), int(np.argmin(means))
    size = _by(float(means[high] - means[low]), unit, logarithms)
    return (
        f"highest in the {ZONES[high]}, lowest in the {ZONES[low]} zone, by {size}, {_share(share)}"
    )


def position_words(
    effects: FloatArray,
    names: tuple[tuple[int, int], ...],
    share: float,
    unit: str,
    logarithms: bool,
) -> str:
    """Highest and lowest position in the field; effects (n_position,), names column and row."""
    high, low = int(np.argmax(effects)), int(np.argmin(effects))
    size = _by(float(effects[high] - effects[low]), unit, logarithms)
    highest, lowest = (f"column {names[one][0]}, row {names[one][1]}" for one in (high, low))
    return f"highest at {highest} of the field, lowest at {lowest}, by {size}, {_share(share)}"


def resemblance_words(i: float, expected: float) -> str:
    """Whether neighbours resemble each other, with Moran's I and what chance would make it."""
    what = "resemble each other" if i > expected else "differ from each other"
    return (
        f"neighbouring dies {what} more than by chance:"
        f" Moran's I is {number(i, 2)}, by chance about {number(expected, 2)}"
    )


def cluster_words(
    outside: int, grouped: int, sizes: tuple[int, ...], joins: int, expected: float
) -> str:
    """How many dies outside lie together, and how many pairs of neighbours chance would make."""
    together = (
        f"one group of {sizes[0]} neighbours"
        if len(sizes) == 1
        else f"{len(sizes)} groups of neighbours, the largest of {sizes[0]} dies"
    )
    return (
        f"{grouped} of {outside} dies outside lie in {together}: {joins} pairs of neighbours,"
        f" by chance about {number(expected, 2)}"
    )


def _along(axis: FloatArray) -> str:
    right, up = axis.tolist()
    return ALONG[round(degrees(atan2(up, right)) / 45) % 4]


def _by(size: float, unit: str, logarithms: bool) -> str:
    """'12 mV' with two digits, or 'a factor of 1.3' of logarithms."""
    if logarithms:
        return f"a factor of {number(exp(min(size, 700.0)), 3)}"
    size = float(f"{size:.2g}")
    factor, symbol = shown_unit([size], unit)
    gap = "" if symbol in ("", "°") else THIN
    return f"{number(size * factor, 2)}{gap}{symbol}"


def _share(share: float) -> str:
    return f"{percent(share)} of the variance within the wafer"
