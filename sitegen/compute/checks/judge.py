"""A figure against its bounds, and frequencies as words."""

import math

import numpy as np

from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.event_results import Check, CheckGroup
from sitegen.units import count, frequency

_MOST_STRETCHES = 6


def judged(
    group: CheckGroup,
    name: str,
    figure: float | None,
    text: str,
    *,
    unit: str = "1",
    lower: float | None = None,
    upper: float | None = None,
    u: float | None = None,
) -> Check:
    """Judge a figure against its bounds; without a figure or a bound it is shown only.

    A figure that is not finite is not determined, except an infinite one: that is beyond any
    bound, and stays without a number.
    """
    passed = None
    if figure is not None and not math.isnan(figure) and not (lower is None and upper is None):
        passed = (lower is None or figure >= lower) and (upper is None or figure <= upper)
    shown = figure if figure is not None and math.isfinite(figure) else None
    told = u if shown is not None and u is not None and math.isfinite(u) else None
    return Check(name, shown, unit, lower, upper, passed, text, group, told)


def greatest(values: FloatArray, frequency_hz: FloatArray) -> tuple[float, float] | None:
    """The greatest value and its frequency; None where nothing is known."""
    if np.isnan(values).all():
        return None
    place = int(np.nanargmax(values))
    return float(values[place]), float(frequency_hz[place])


def stretches(frequency_hz: FloatArray, where: BoolArray) -> str:
    """'10 MHz to 2.1 GHz, 40 GHz': the frequencies where something holds."""
    edges = np.flatnonzero(np.diff(where, prepend=False, append=False)).reshape(-1, 2)
    ends = [[frequency(float(frequency_hz[at])) for at in (a, b - 1)] for a, b in edges.tolist()]
    named = [first if first == last else f"{first} to {last}" for first, last in ends]
    more = len(named) - _MOST_STRETCHES
    if more > 0:
        named = [*named[:_MOST_STRETCHES], count(more, "more stretch", "more stretches")]
    return ", ".join(named)


def phase_deg(values: ComplexArray) -> FloatArray:
    """Phase in degrees, without jumps from one known value to the next."""
    phase: FloatArray = np.full(values.shape, np.nan)
    known = np.isfinite(values)
    phase[known] = np.degrees(np.unwrap(np.angle(values[known])))
    return phase
