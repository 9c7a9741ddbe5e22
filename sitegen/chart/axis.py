"""Ranges, ticks and classes of axes."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.results import AxisRange
from sitegen.units import MINUS, axis_title, shown_unit

MOST_STEPS = 8
"""Greatest number of steps on an axis."""
MOST_CLASSES = 7
"""Greatest number of classes on a map."""


@dataclass(frozen=True)
class Axis:
    """An axis as drawn: in shown units, with its ticks and title."""

    lower: float
    upper: float
    ticks: tuple[float, ...]
    title: str
    log: bool = False

    def position(self, value: float, length: float) -> float:
        """Distance of `value` from the axis's lower end, the whole axis being `length` long."""
        if self.log:
            return length * math.log(value / self.lower) / math.log(self.upper / self.lower)
        return length * (value - self.lower) / (self.upper - self.lower)


def snapped_range(lower: float, upper: float) -> AxisRange:
    """The range around [lower, upper] whose ends are whole steps of 1, 2 or 5 times ten to n.

    It has at most `MOST_STEPS` steps and, but for the snapping, at least four. Ends in the wrong
    order are exchanged; an end that is not finite is taken from the other; a range without
    extent is opened by a twentieth of its value; without any finite end it is 0 to 1.
    """
    ends = [end for end in (lower, upper) if math.isfinite(end)]
    if not ends:
        return AxisRange(0.0, 1.0, 0.2)
    low, high = min(ends), max(ends)
    if high - low <= 1e-12 * max(abs(low), abs(high)):
        margin = abs(high) / 20 or 1.0
        low, high = low - margin, high + margin
    first_power = math.floor(math.log10((high - low) / MOST_STEPS)) - 1
    for place in count():
        power, digit = first_power + place // 3, (1, 2, 5)[place % 3]
        step = _decimal(digit, power)
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= MOST_STEPS:
            break
    return AxisRange(_decimal(first * digit, power), _decimal(last * digit, power), step)


def _decimal(digits: int, power: int) -> float:
    """digits times ten to power, as the nearest number there is."""
    return float(f"{digits}e{power}")


def value_axis(axis: AxisRange, factor: float, title: str) -> Axis:
    """An axis over a range of the campaign, its numbers multiplied by `factor`."""
    steps = max(round((axis.upper - axis.lower) / axis.step), 1)
    inner = ((axis.lower + place * axis.step) * factor for place in range(1, steps))
    ends = axis.lower * factor, axis.upper * factor
    # The ends as they are: a tick that rounding put beyond them would not be drawn.
    return Axis(*ends, (ends[0], *inner, ends[1]), title)


def frequency_axis(frequency_hz: FloatArray) -> tuple[Axis, float]:
    """The axis over a frequency list and the factor from hertz to its unit.

    Logarithmic when the points are spaced so, that is when their ratios differ less than their
    differences; a linear axis begins at zero when the list nearly does.
    """
    listed = np.asarray(frequency_hz, dtype=float)
    first, last = float(listed[0]), float(listed[-1])
    factor, symbol = shown_unit([last], "Hz")
    title = axis_title("frequency", symbol)
    if _spaced_logarithmically(listed):
        ends = first * factor, last * factor
        return Axis(*ends, log_ticks(*ends), title, log=True), factor
    lower = 0.0 if first <= last / 20 else first * factor
    upper = last * factor if last > first else lower + (abs(lower) or 1.0)
    whole = snapped_range(lower, upper)
    ticks = [
        whole.lower + place * whole.step
        for place in range(round((whole.upper - whole.lower) / whole.step) + 1)
    ]
    reach = 1e-9 * (upper - lower)
    inside = tuple(
        min(max(tick, lower), upper) for tick in ticks if lower - reach <= tick <= upper + reach
    )
    return Axis(lower, upper, inside, title), factor


def _spaced_logarithmically(frequency_hz: FloatArray) -> bool:
    if frequency_hz.size < 3 or frequency_hz[0] <= 0:
        return False
    differences, ratios = np.diff(frequency_hz), np.diff(np.log(frequency_hz))
    return bool(np.std(ratios) / np.mean(ratios) < np.std(differences) / np.mean(differences))


def log_ticks(lower: float, upper: float) -> tuple[float, ...]:
    """Decades between the ends, with 2 and 5 times each where there are fewer than three."""
    powers = range(math.floor(math.log10(lower)), math.ceil(math.log10(upper)) + 1)
    digits = (1,) if math.log10(upper / lower) >= 3 else (1, 2, 5)
    return tuple(
        tick
        for power in powers
        for digit in digits
        if lower * (1 - 1e-9) <= (tick := _decimal(digit, power)) <= upper * (1 + 1e-9)
    )


def decimals(values: Iterable[float]) -> int:
    """The fewest decimal places that show each of these numbers (at most six)."""
    finite = [value for value in values if math.isfinite(value)]
    reach = 1e-9 * max((abs(value) for value in finite), default=0.0)
    return next(
        (n for n in range(6) if all(abs(round(v, n) - v) <= reach for v in finite)),
        6,
    )


def fixed(value: float, places: int) -> str:
    """A number with this many decimal places and a true minus sign."""
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", MINUS)


def equal_classes(axis: AxisRange) -> tuple[float, ...]:
    """Edges of at most seven equal classes over a range, on its own steps."""
    steps = max(round((axis.upper - axis.lower) / axis.step), 1)
    width = math.ceil(steps / MOST_CLASSES)
    places = [*range(0, steps, width), steps]
    return tuple(axis.lower + place * axis.step for place in places)
