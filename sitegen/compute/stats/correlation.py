"""Correlations within groups: of values and of ranks, of all pairs of columns at once.

A table (n, p) holds a row a die and a column a quantity, NaN where there is none; group (n,)
numbers the wafers from 0. Each pair of columns is of the rows that have both, about the means of
these rows in each group: what makes wafers differ correlates nothing here. Groups in which a pair
has a single row give nothing.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtr
from scipy.stats import rankdata

from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.statistics import CONFIDENCE

IntArray = npt.NDArray[np.int64]
NO_SPREAD = 1e-13
"""Deviations smaller than this share of a column's greatest size are rounding."""


@dataclass(frozen=True, eq=False)
class Within:
    """Correlations of every pair of columns; arrays (p, p)."""

    n: IntArray
    """Rows with both, of groups that have at least two."""
    groups: IntArray
    """Such groups."""
    linear: FloatArray
    """Pearson's; NaN where a column does not vary or there are no rows."""
    rank: FloatArray
    """Spearman's: Pearson's of the ranks among the pair's rows in each group, ties at their mean
    rank."""

    @property
    def freedom(self) -> IntArray:
        """Independent deviations of independent rows: n less groups."""
        return np.asarray(self.n - self.groups)


def correlate_within(table: npt.ArrayLike, group: npt.ArrayLike) -> Within:
    """Pearson's and Spearman's correlations within groups; see the module for the shapes."""
    values = np.asarray(table, dtype=np.float64)
    member = np.asarray(group, dtype=np.int64)
    order = np.argsort(member, kind="stable")
    values, member = values[order], member[order]
    there = ~np.isnan(values)
    n, groups, linear = _pearson(_from_first(values, member), member)
    ranks = ranks_within(values, member)
    rank = _pearson(ranks, member)[2]
    unequal = _pairs_of_unequal(there, member)
    concerned = sorted({one for pair in unequal for one in pair})
    sorted_by = {one: _in_order(values[:, one], member) for one in concerned}
    for one, other in unequal:
        both = there[:, one] & there[:, other]
        pair = [_ranks_among(both, sorted_by[column]) for column in (one, other)]
        rank[one, other] = rank[other, one] = _of_ranks(pair[0][both], pair[1][both], member[both])
    return Within(n, groups, linear, rank)


def ranks_within(table: npt.ArrayLike, group: npt.ArrayLike) -> FloatArray:
    """(n, p) ranks from 1 in each group and column, ties at their mean; NaN where there is none."""
    values = np.asarray(table, dtype=np.float64)
    member = np.asarray(group, dtype=np.int64)
    found = np.full(values.shape, np.nan)
    for one in np.unique(member):
        mine = member == one
        if values.shape[1]:
            found[mine] = rankdata(values[mine], axis=0, nan_policy="omit")
    return found


def deviations_within(table: npt.ArrayLike, group: npt.ArrayLike) -> FloatArray:
    """(n, p) values less the mean of their group and column; exactly zero where they are equal."""
    values = np.asarray(table, dtype=np.float64)
    member = np.asarray(group, dtype=np.int64)
    found = _from_first(values, member)
    for one in np.unique(member):
        mine = member == one
        there = ~np.isnan(found[mine])
        count = np.maximum(there.sum(axis=0), 1)
        found[mine] -= np.where(there, found[mine], 0.0).sum(axis=0) / count
    return found


def fisher_interval(
    r: npt.ArrayLike, freedom: npt.ArrayLike, confidence: float = CONFIDENCE
) -> tuple[FloatArray, FloatArray]:
    """Of Pearson's correlation: tanh(artanh r -+ z / sqrt(freedom - 2)).

    freedom: independent deviations, n - 1 of one group. Normal values (Fisher 1921, Metron 1:3).
    NaN where freedom <= 2.
    """
    return _through_z(r, freedom, 1.0, confidence)


def rank_interval(
    r: npt.ArrayLike, freedom: npt.ArrayLike, confidence: float = CONFIDENCE
) -> tuple[FloatArray, FloatArray]:
    """Of Spearman's correlation: tanh(artanh r -+ z sqrt((1 + r²/2) / (freedom - 2))).

    Bonett and Wright 2000, Psychometrika 65:23, for normal values. freedom and NaN as in
    `fisher_interval`.
    """
    return _through_z(r, freedom, 1.0 + np.square(np.asarray(r, dtype=np.float64)) / 2, confidence)


def held_below_one(rank: npt.ArrayLike, n: npt.ArrayLike, groups: npt.ArrayLike) -> FloatArray:
    """Rank correlations no nearer to one than half a step of their sum of squared differences.

    rank, n, groups as in `Within`. Ranks in one order say that a correlation is beyond the next
    possible one, not that it is one: as in Kendall and Gibbons' correction for continuity, whose
    half step is 6 / (n³ - n) of n rows, here of groups of equal size, for which it is greatest.
    Quoted from memory.
    """
    rows, parts = np.asarray(n, dtype=np.float64), np.asarray(groups, dtype=np.float64)
    each = rows / np.maximum(parts, 1)
    squares = np.maximum(parts * (each**3 - each), 6.0)
    most = 1 - 6 / squares
    return np.asarray(np.clip(np.asarray(rank, dtype=np.float64), -most, most))


def p_of(r: npt.ArrayLike, freedom: npt.ArrayLike) -> FloatArray:
    """Two-sided chance of a correlation so large where there is none.

    Student's t of r sqrt((freedom - 1) / (1 - r²)) with freedom - 1 degrees of freedom: exact for
    normal values, an approximation for ranks. NaN where freedom <= 1.
    """
    size = np.abs(np.asarray(r, dtype=np.float64))
    left = np.asarray(freedom, dtype=np.float64) - 1
    left = np.where(left > 0, left, np.nan)
    rest = np.maximum(1 - size**2, 0.0)
    certain = rest <= 0
    t = size * np.sqrt(left / np.where(certain, 1.0, rest))
    return np.asarray(np.where(certain & ~np.isnan(left), 0.0, 2 * stdtr(left, -t)))


def _through_z(
    r: npt.ArrayLike, freedom: npt.ArrayLike, widened: npt.ArrayLike, confidence: float
) -> tuple[FloatArray, FloatArray]:
    left = np.asarray(freedom, dtype=np.float64) - 2
    left = np.where(left > 0, left, np.nan)
    # A correlation of one has no interval of its own: its z is the greatest that is a number.
    z = np.arctanh(np.clip(np.asarray(r, dtype=np.float64), -1 + 1e-15, 1 - 1e-15))
    reach = ndtri(0.5 + confidence / 2) * np.sqrt(np.asarray(widened) / left)
    return np.tanh(z - reach), np.tanh(z + reach)


def _from_first(values: FloatArray, member: IntArray) -> FloatArray:
    """Values less the first one of their group and column, so that equal ones are exactly zero."""
    there = ~np.isnan(values)
    shifted = np.full(values.shape, np.nan)
    for one in np.unique(member):
        mine = np.flatnonzero(member == one)
        known = there[mine]
        first = values[mine[known.argmax(axis=0)], np.arange(values.shape[1])]
        shifted[mine] = values[mine] - first
    greatest = np.max(np.abs(np.where(there, values, 0.0)), axis=0, initial=0.0)
    return np.where(np.abs(shifted) <= NO_SPREAD * greatest, 0.0 * shifted, shifted)


def _pearson(values: FloatArray, member: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Rows, groups and correlation of each pair; values (n, p) sorted by group."""
    p = values.shape[1]
    n, groups = np.zeros((p, p), dtype=np.int64), np.zeros((p, p), dtype=np.int64)
    product, square = np.zeros((p, p)), np.zeros((p, p))
    starts = np.flatnonzero(np.diff(member, prepend=-1))
    for part in np.split(values, starts[1:]) if len(values) else ():
        there = ~np.isnan(part)
        mask = there.astype(np.float64)
        both = np.rint(mask.T @ mask).astype(np.int64)
        some = np.maximum(both, 1)
        count = np.maximum(there.sum(axis=0), 1)
        known = np.where(there, part, 0.0)
        deviation = np.where(there, known - known.sum(axis=0) / count, 0.0)
        total = deviation.T @ mask
        enough = both >= 2
        product += np.where(enough, deviation.T @ deviation - total * total.T / some, 0.0)
        square += np.where(enough, (deviation**2).T @ mask - total**2 / some, 0.0)
        n += np.where(enough, both, 0)
        groups += enough
    spread = np.sqrt(np.maximum(square, 0.0)) * np.sqrt(np.maximum(square.T, 0.0))
    flat = ~(spread > 0)
    return n, groups, np.where(flat, np.nan, np.clip(product / np.where(flat, 1, spread), -1, 1))


def _pairs_of_unequal(there: BoolArray, member: IntArray) -> list[tuple[int, int]]:
    """Pairs of columns that do not have the same rows, where either has rows without the other.

    Groups in which one of the two has no row at all do not count: their ranks are not used.
    """
    mask = there.astype(np.float64)
    p = there.shape[1]
    differ = np.zeros((p, p), dtype=bool)
    starts = np.flatnonzero(np.diff(member, prepend=-1))
    for part in np.split(mask, starts[1:]) if len(mask) else ():
        both = part.T @ part
        own = np.diag(both)
        differ |= (both > 0) & ((both < own[:, None]) | (both < own[None, :]))
    return [(int(i), int(j)) for i, j in np.argwhere(np.triu(differ, 1))]


@dataclass(frozen=True, eq=False)
class _Order:
    """Rows with a value of one column by group and value, and which of them are tied."""

    rows: IntArray
    first: IntArray
    """Place of the first row tied with each."""
    last: IntArray


def _in_order(column: FloatArray, member: IntArray) -> _Order:
    known = np.flatnonzero(~np.isnan(column))
    rows = known[np.lexsort((column[known], member[known]))]
    new = np.diff(column[rows], prepend=np.nan) != 0
    new |= np.diff(member[rows], prepend=-1) != 0
    starts = np.flatnonzero(new)
    tied = np.cumsum(new) - 1
    ends = np.append(starts[1:], len(rows)) - 1
    return _Order(rows, starts[tied], ends[tied])


def _ranks_among(chosen: BoolArray, order: _Order) -> FloatArray:
    """(n,) ranks among the chosen rows, counted through all groups; of use for chosen rows only.

    Counting on from group to group moves a group's ranks by one number, which its mean takes out.
    """
    counted = np.concatenate([[0], np.cumsum(chosen[order.rows])])
    found = np.zeros(len(chosen))
    found[order.rows] = (counted[order.first] + counted[order.last + 1] + 1) / 2
    return found


def _of_ranks(one: FloatArray, other: FloatArray, member: IntArray) -> float:
    """Correlation within groups of two columns without gaps; NaN where one does not vary."""
    count = np.maximum(np.bincount(member), 1)
    a = one - (np.bincount(member, one) / count)[member]
    b = other - (np.bincount(member, other) / count)[member]
    spread = np.sqrt((a @ a) * (b @ b))
    # Means of ranks are halves or their shares: what is left of equal ones is rounding.
    if spread <= 1e-9 * len(one):
        return np.nan
    return float(np.clip(a @ b / spread, -1, 1))
