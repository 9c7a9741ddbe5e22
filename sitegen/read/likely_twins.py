"""One measurement under two dies: numbers equal to the last digit where noise forbids it."""

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray, FloatArray

IntArray = npt.NDArray[np.int64]

TELLING = 0.9
"""A parameter can tell dies apart where at least this share of its values differ from each other,
the one pair in question aside: readings of few digits, counts and grades do not."""
FEWEST_TELLING = 3
"""From so many telling values on, two dies that agree in all are no chance: with 60 dies and three
such parameters one pair in some 10,000 wafers agrees."""
FEWEST_DIES = 8
"""From fewer dies it is not known which parameters tell them apart."""
FEWEST_READINGS = 8
"""Fewer different readings of a sweep or a curve can agree by the resolution of the instrument."""
_MOST_CELLS = 50_000_000
"""Dies times parameters that are looked at; beyond, nothing is inferred."""


def twins(rows: npt.NDArray[np.generic], dies: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """For each row of numbers the first row that equals it to the last digit on another die; -1:
    none.

    rows: shape (n, m), finite. dies: shape (n, 2). Rows with fewer than `FEWEST_READINGS` different
    numbers say nothing.
    """
    n = len(rows)
    other = np.full(n, -1)
    if n < 2 or rows.ndim != 2 or rows.shape[1] < 2:
        return other
    flat = np.ascontiguousarray(rows)
    places: dict[bytes, list[int]] = {}
    for index in range(n):
        places.setdefault(flat[index].tobytes(), []).append(index)
    for alike in places.values():
        if len(alike) < 2 or len(np.unique(flat[alike[0]])) < FEWEST_READINGS:
            continue
        for index in alike:
            elsewhere = (k for k in alike if (dies[k] != dies[index]).any())
            other[index] = next(elsewhere, -1)
    return other


def twin_dies(dies: IntArray, items: IntArray, values: FloatArray) -> tuple[IntArray, IntArray]:
    """For each row of values the die, as an index into the distinct dies, that has the same values.

    dies: shape (n, 2). items: shape (n,), what is measured, from 0: parameter, condition, site and
    touchdown together. values: shape (n,), finite. Returns (other, first): for each row another
    die with all its values or -1, and the first row of each distinct die.
    """
    none = np.full(len(values), -1), np.empty(0, np.int64)
    if not len(values):
        return none
    distinct, first, which = np.unique(dies, axis=0, return_index=True, return_inverse=True)
    which = which.reshape(-1)
    kinds = int(items.max()) + 1
    if len(distinct) < FEWEST_DIES or len(distinct) * kinds > _MOST_CELLS:
        return none
    cells = np.full((len(distinct), kinds), np.nan)
    cells[which, items] = values
    telling = _telling(cells)
    other = np.full(len(distinct), -1)
    if telling.sum() < FEWEST_TELLING:
        return none
    full = np.isfinite(cells[:, telling]).sum(axis=1) >= FEWEST_TELLING
    places: dict[bytes, list[int]] = {}
    for die in np.flatnonzero(full).tolist():
        places.setdefault(cells[die, telling].tobytes(), []).append(die)
    for alike in places.values():
        for die in alike:
            same = (k for k in alike if k != die and _agree(cells[k], cells[die]))
            other[die] = next(same, -1)
    return other[which], first


def _telling(cells: FloatArray) -> BoolArray:
    """Which columns hold values that differ from die to die."""
    there = np.isfinite(cells).sum(axis=0)
    in_order = np.sort(cells, axis=0)
    differ = 1 + (np.diff(in_order, axis=0) > 0).sum(axis=0)
    return np.asarray((there >= FEWEST_DIES) & (differ + 1 >= TELLING * there), np.bool_)


def _agree(one: FloatArray, other: FloatArray) -> bool:
    return bool(np.array_equal(one, other, equal_nan=True))
