"""Whether two frequency lists are the same, one rule for reading and computing."""

import numpy as np

from sitegen.model.arrays import FloatArray

FREQUENCY_TOLERANCE = 1e-9
"""Relative difference below which two frequencies are the same: files print at least ten digits,
and a unit's factor costs the last bit."""


def same_frequencies(one: FloatArray, other: FloatArray) -> bool:
    """Whether two frequency lists are the same."""
    return one.shape == other.shape and bool(
        np.allclose(one, other, rtol=FREQUENCY_TOLERANCE, atol=0.0)
    )


def first_difference(one: FloatArray, other: FloatArray) -> str:
    """How two frequency lists differ, as a phrase: '201 and 101 points', 'point 7'."""
    if one.shape != other.shape:
        return f"{len(one)} and {len(other)} points"
    apart = np.abs(one - other) > FREQUENCY_TOLERANCE * np.abs(other)
    place = int(np.argmax(apart))
    return f"{one[place]:.9g} Hz and {other[place]:.9g} Hz at point {place + 1}"
