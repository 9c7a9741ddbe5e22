"""Which dies of a map are neighbours: those that share an edge or a corner.

Corners count (the queen's moves) so that a plan that skips every second die still has neighbours,
and so that a scratch along a diagonal is one group.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray

IntArray = npt.NDArray[np.int64]
EDGES = ((1, 0), (0, 1), (-1, 0), (0, -1))
CORNERS = ((1, 1), (-1, 1), (-1, -1), (1, -1))
KEPT = 256
"""Sets of dies of which the neighbours are kept."""
_ROW = 2**32
"""Step of a die's key from row to row: far beyond any column."""


@dataclass(frozen=True, eq=False)
class Neighbours:
    """Neighbours among n dies; each pair has the weight 1, in both directions."""

    n: int
    around: IntArray
    """(n, k): places of each die's neighbours, n where there is none."""
    first: IntArray
    second: IntArray
    """(n_pairs,): each pair once."""
    degree: IntArray
    """(n,): how many neighbours each die has."""
    triangles: int
    """How many three dies are neighbours of each other."""

    @cached_property
    def islands(self) -> BoolArray:
        """(n,): dies without a neighbour."""
        return np.asarray(self.degree == 0)

    @cached_property
    def connected(self) -> "Neighbours":
        """The same pairs among the dies that have a neighbour, in their order."""
        if not self.islands.any():
            return self
        kept = ~self.islands
        n = int(kept.sum())
        place = np.append(np.cumsum(kept) - 1, n)
        return Neighbours(
            n,
            place[self.around[kept]],
            place[self.first],
            place[self.second],
            self.degree[kept],
            self.triangles,
        )


def neighbours_of(die_x: npt.ArrayLike, die_y: npt.ArrayLike, corners: bool = True) -> Neighbours:
    """Neighbours among dies (n,), each named once; kept for the next map of the same dies.

    corners: False takes only dies that share an edge (the rook's moves).
    """
    x, y = _columns(die_x, die_y)
    return _neighbours(x.tobytes(), y.tobytes(), corners)


def window_of(die_x: npt.ArrayLike, die_y: npt.ArrayLike, reach: int) -> IntArray:
    """(n, (2 reach + 1)² - 1) places of the other dies in a square window about each die.

    n where there is none. Kept for the next map of the same dies.
    """
    x, y = _columns(die_x, die_y)
    return _window(x.tobytes(), y.tobytes(), reach)


def _columns(die_x: npt.ArrayLike, die_y: npt.ArrayLike) -> tuple[IntArray, IntArray]:
    return np.ascontiguousarray(die_x, np.int64), np.ascontiguousarray(die_y, np.int64)


@lru_cache(maxsize=KEPT)
def _neighbours(x_bytes: bytes, y_bytes: bytes, corners: bool) -> Neighbours:
    x, y = np.frombuffer(x_bytes, np.int64), np.frombuffer(y_bytes, np.int64)
    around = _places(x, y, EDGES + CORNERS if corners else EDGES)
    n = len(x)
    there = around < n
    own, step = np.nonzero(there)
    other = around[own, step]
    once = own < other
    # Three neighbours of each other form an L: one die with a horizontal and a vertical neighbour.
    corner = (there[:, 0] + 1 * there[:, 2]) * (there[:, 1] + 1 * there[:, 3])
    triangles = int(corner.sum()) if corners else 0
    return Neighbours(n, around, own[once], other[once], there.sum(axis=1), triangles)


@lru_cache(maxsize=KEPT)
def _window(x_bytes: bytes, y_bytes: bytes, reach: int) -> IntArray:
    steps = range(-reach, reach + 1)
    moves = tuple((dx, dy) for dx in steps for dy in steps if (dx, dy) != (0, 0))
    return _places(np.frombuffer(x_bytes, np.int64), np.frombuffer(y_bytes, np.int64), moves)


def _places(x: IntArray, y: IntArray, moves: tuple[tuple[int, int], ...]) -> IntArray:
    """(n, n_moves) place of the die that each move leads to, n where there is none."""
    n = len(x)
    if n == 0:
        return np.zeros((0, len(moves)), dtype=np.int64)
    keys = y * _ROW + x
    order = np.argsort(keys)
    known = keys[order]
    wanted = keys[:, np.newaxis] + np.array([dx + dy * _ROW for dx, dy in moves])
    found = np.minimum(np.searchsorted(known, wanted), n - 1)
    return np.where(known[found] == wanted, order[found], n)
