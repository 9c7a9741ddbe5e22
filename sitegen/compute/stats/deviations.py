"""Maps of one set of dies as deviations from their means, on one scale."""

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import FloatArray

ROUNDING = 1e-12
"""Deviations below this share of the greatest value are rounding: all values count as equal."""


def deviations(values: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Deviations of maps (n_map, n) from their means, and the greatest of each map (n_map,).

    The deviations are shares of the greatest, so that no power of them leaves the range of numbers
    whatever the unit; both are zero where all values of a map are equal but for rounding. Finite
    values; promoted to float64.
    """
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.shape[1] == 0:
        return numbers, np.zeros(len(numbers))
    from_first = numbers - numbers[:, :1]
    centred = from_first - np.mean(from_first, axis=1, keepdims=True)
    size = np.max(np.abs(centred), axis=1)
    told = size > ROUNDING * np.max(np.abs(numbers), axis=1)
    size = np.where(told, size, 0.0)
    scaled = np.where(told[:, np.newaxis], centred, 0.0)
    return scaled / np.where(told, size, 1.0)[:, np.newaxis], size
