"""What pages say of quantities over frequency: a few values, the greatest, the stretches."""

import math
from collections.abc import Sequence
from itertools import groupby

from markupsafe import Markup

from sitegen.model.arrays import FloatArray
from sitegen.render.phrases import counted, frequency, joined
from sitegen.render.pieces import Column

MOST_STRETCHES = 8
"""How many stretches are named before the rest is counted."""


def places(length: int, most: int) -> tuple[int, ...]:
    """At most so many places of a list, evenly from the first to the last."""
    if length <= most:
        return tuple(range(length))
    return tuple(round(step * (length - 1) / (most - 1)) for step in range(most))


def frequency_columns(frequency_hz: FloatArray, at: Sequence[int]) -> tuple[Column, ...]:
    """A column of numbers for each of these places."""
    return tuple(Column(frequency(float(frequency_hz[place])), True) for place in at)


def greatest(values: FloatArray | None) -> tuple[float, int] | None:
    """The greatest value and its place, NaN left out; None where nothing is known."""
    known = (
        []
        if values is None
        else [
            (value, -place) for place, value in enumerate(values.tolist()) if not math.isnan(value)
        ]
    )
    if not known:
        return None
    value, place = max(known)
    return value, -place


def stretches(frequency_hz: FloatArray, where: Sequence[bool]) -> Markup:
    """'at 10 MHz and from 40 GHz to 44 GHz': the frequencies where something holds."""
    named = []
    for holds, group in groupby(enumerate(where), key=lambda each: each[1]):
        if holds:
            inside = [frequency(float(frequency_hz[place])) for place, _ in group]
            named.append(
                f"at {inside[0]}" if len(inside) == 1 else f"from {inside[0]} to {inside[-1]}"
            )
    more = len(named) - MOST_STRETCHES
    if more > 0:
        named = [*named[:MOST_STRETCHES], counted(more, "more stretch", "more stretches")]
    return joined(named)
