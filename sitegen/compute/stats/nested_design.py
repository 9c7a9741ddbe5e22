"""Nested data reduced to what their likelihood needs: sums of groups that are built alike."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.model.arrays import BoolArray, FloatArray

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Mixed:
    """Groups of one level whose members are built differently, r rows of alike members."""

    level: int
    """Of the members: 0 for values."""
    first: IntArray
    """(p,): first row of each group; rows are sorted by group."""
    group: IntArray
    """(r,): the row's group, from 0."""
    count: FloatArray
    """(r,): members in the row."""
    coefficient: FloatArray
    """(r, k): a member's variance as a sum of components; zeros where the member is mixed."""
    member: IntArray
    """(r,): its place among the mixed groups of the level below; -1 where it is not mixed."""
    mean: FloatArray
    """(r, b): of the row's members; zeros where the member is mixed."""
    square: FloatArray
    """(r, b): sum of squares of the members about their mean."""


@dataclass(frozen=True, eq=False)
class Design:
    """Nested data of k levels of variance, innermost first, for b data sets of one structure.

    A group whose members are all built alike (as many members of members, down to the values) has
    a mean that no component changes; what such groups say is a mean square whose expectation is a
    sum of components, one stratum for each kind of member. Only groups of unlike members, 'mixed'
    ones, have to be worked through again for other components.
    """

    k: int
    n: int
    groups: tuple[int, ...]
    """(k,): number of values, of groups of the first level, and so on."""
    coefficient: FloatArray
    """(s, k): expectation of each stratum's mean square as a sum of components."""
    degrees: FloatArray
    """(s,): its degrees of freedom."""
    square: FloatArray
    """(s, b): its sum of squares."""
    constant: float
    """What the strata add to the deviance whatever the components."""
    mixed: tuple[Mixed, ...]
    """Innermost first; the last of them, if any, is the group of all."""
    origin: FloatArray
    """(b,): what has been taken from the values."""
    mean: FloatArray
    """(b,): of the group of all, where it is not mixed."""
    mean_coefficient: FloatArray
    """(k,): its variance as a sum of components, where it is not mixed."""

    @property
    def balanced(self) -> bool:
        """Whether every level has groups of one size only."""
        return not self.mixed

    @property
    def degrees_of_freedom(self) -> tuple[int, ...]:
        """(k,): members of each level less the groups that they are in."""
        above = (*self.groups[1:], 1)
        return tuple(here - over for here, over in zip(self.groups, above, strict=True))

    def only(self, columns: IntArray | BoolArray) -> "Design":
        """The data sets of these columns; data of one set serve all, and stay."""
        if self.origin.size == 1:
            return self
        return replace(
            self,
            square=self.square[:, columns],
            mixed=tuple(
                replace(one, mean=one.mean[:, columns], square=one.square[:, columns])
                for one in self.mixed
            ),
            origin=self.origin[columns],
            mean=self.mean[columns],
        )


@dataclass(eq=False)
class _Nodes:
    """Members of one level: their kind (-1: mixed), their place among the mixed, their mean."""

    kind: IntArray
    place: IntArray
    mean: FloatArray


@dataclass
class _Strata:
    """Kinds of members and what has been summed over them."""

    coefficients: list[FloatArray]
    degrees: list[float] = field(default_factory=lambda: [0.0])
    squares: list[FloatArray] = field(default_factory=list)
    known: dict[tuple[int, int, int], int] = field(default_factory=dict)
    constant: float = 0.0
    whole: FloatArray = field(default_factory=lambda: np.zeros(0))
    """The variance of the mean of all, where all members of the last level are alike."""

    def kind(self, level: int, member: int, count: int) -> int:
        """The kind of a group of `count` members of the kind `member`."""
        key = (level, member, count)
        if key not in self.known:
            self.known[key] = len(self.coefficients)
            coefficient = self.coefficients[member] / count
            coefficient[level] += 1.0
            self.coefficients.append(coefficient)
            self.degrees.append(0.0)
            self.squares.append(np.zeros_like(self.squares[0]))
        return self.known[key]


def design(labels: Sequence[npt.ArrayLike], values: npt.ArrayLike) -> Design:
    """Nested data as a design.

    labels: of each level of grouping the outermost first, (n,) each; a label need be unique within
    its group only. values: (n,) or (n, b) for b data sets of one structure; finite.

    Raises ValueError where there is no value, shapes differ or a value is not finite.
    """
    numbers = np.asarray(values, dtype=np.float64)
    numbers = numbers[:, None] if numbers.ndim == 1 else numbers
    if numbers.ndim != 2 or not numbers.size or not np.isfinite(numbers).all():
        raise ValueError("nested data need at least one value, and every value finite")
    parents = _parents(labels, len(numbers))
    origin = numbers[0]
    numbers = numbers - origin
    k = len(parents)
    start = np.zeros(k)
    start[0] = 1.0
    strata = _Strata([start], squares=[np.zeros(numbers.shape[1])])
    nothing = np.zeros(len(numbers), dtype=np.int64)
    nodes = _Nodes(nothing, nothing - 1, numbers)
    mixed: list[Mixed] = []
    for level, parent in enumerate(parents):
        nodes, unlike = _raised(level, nodes, parent, strata)
        mixed += [unlike] if unlike is not None else []
    used = np.array(strata.degrees) > 0
    return Design(
        k=k,
        n=len(numbers),
        groups=tuple(len(parent) for parent in parents),
        coefficient=np.array(strata.coefficients)[used],
        degrees=np.array(strata.degrees)[used],
        square=np.array(strata.squares)[used],
        constant=strata.constant,
        mixed=tuple(mixed),
        origin=origin,
        mean=nodes.mean[0],
        mean_coefficient=strata.whole,
    )


def _parents(labels: Sequence[npt.ArrayLike], n: int) -> list[IntArray]:
    """Of the members of each level, innermost first, the group that they are in; the last is one
    group of all."""
    codes = [np.zeros(n, dtype=np.int64)]
    for label in labels:
        here = np.asarray(label)
        if here.shape != (n,):
            raise ValueError("labels and values must have the same length")
        within = _codes(here)
        codes.append(_codes(codes[-1] * (int(within.max(initial=0)) + 1) + within))
    parents = [codes[-1]]
    for outer, inner in zip(codes[-2::-1], codes[:0:-1], strict=True):
        of_group = np.empty(int(inner.max()) + 1, dtype=np.int64)
        of_group[inner] = outer
        parents.append(of_group)
    return parents


def _codes(labels: npt.NDArray[Any]) -> IntArray:
    """Labels as whole numbers from 0 in the order in which they appear."""
    return pd.factorize(labels)[0].astype(np.int64)


def _raised(
    level: int, nodes: _Nodes, parent: IntArray, strata: _Strata
) -> tuple[_Nodes, Mixed | None]:
    """The groups of these members as members of the next level, and what is mixed among them."""
    order = np.argsort(parent, kind="stable")
    kind, mean, place = nodes.kind[order], nodes.mean[order], nodes.place[order]
    here = parent[order]
    first = _starts(here)
    size = np.diff([*first, len(here)])
    alike = (np.minimum.reduceat(kind, first) == np.maximum.reduceat(kind, first)) & (
        kind[first] >= 0
    )
    center, square = _about_mean(mean, first, size)
    raised = np.full(len(first), -1, dtype=np.int64)
    code = np.where(alike, kind[first] * (int(size.max()) + 1) + size, -1)
    for one in np.unique(code[alike]):
        member, count = (int(part) for part in divmod(one, int(size.max()) + 1))
        where = code == one
        strata.degrees[member] += float(where.sum() * (count - 1))
        strata.squares[member] = strata.squares[member] + square[where].sum(axis=0)
        strata.constant += float(where.sum() * np.log(count))
        if level + 1 < len(strata.coefficients[0]):
            raised[where] = strata.kind(level + 1, member, count)
        else:
            strata.whole = strata.coefficients[member] / count
    places = np.where(alike, -1, np.cumsum(~alike) - 1)
    next_nodes = _Nodes(raised, places, center)
    if alike.all():
        return next_nodes, None
    inside = np.repeat(~alike, size)
    group = np.repeat(places, size)[inside]
    return next_nodes, _mixed(level, group, kind[inside], place[inside], mean[inside], strata)


def _mixed(
    level: int,
    group: IntArray,
    kind: IntArray,
    place: IntArray,
    mean: FloatArray,
    strata: _Strata,
) -> Mixed:
    """Rows of alike members of mixed groups; members that are mixed have a row each."""
    row_key = np.where(kind >= 0, kind, len(strata.coefficients) + place)
    order = np.lexsort((row_key, group))
    group, kind, place, mean = group[order], kind[order], place[order], mean[order]
    row_key = row_key[order]
    new = (np.diff(group, prepend=-1) != 0) | (np.diff(row_key, prepend=-1) != 0)
    first = np.flatnonzero(new)
    count = np.diff([*first, len(group)])
    center, square = _about_mean(mean, first, count)
    pure: BoolArray = kind[first] >= 0
    coefficient = np.array(strata.coefficients)[np.maximum(kind[first], 0)] * pure[:, None]
    return Mixed(
        level=level,
        first=_starts(group[first]),
        group=group[first],
        count=count.astype(np.float64),
        coefficient=coefficient,
        member=place[first],
        mean=center * pure[:, None],
        square=square * pure[:, None],
    )


def _about_mean(mean: FloatArray, first: IntArray, size: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean of each group of sorted members and their sum of squares about it.

    Taken from the group's first member, so that equal members have no sum of squares at all.
    """
    base = mean[first]
    rest = mean - np.repeat(base, size, axis=0)
    shift = np.add.reduceat(rest, first, axis=0) / size[:, None]
    square = np.add.reduceat((rest - np.repeat(shift, size, axis=0)) ** 2, first, axis=0)
    return base + shift, square


def _starts(groups: IntArray) -> IntArray:
    """Where each group of sorted labels starts."""
    return np.flatnonzero(np.diff(groups, prepend=groups[0] - 1) != 0)
