"""Analysis of variance of nested data, each level against the level below it."""

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from sitegen.compute.stats.nested_design import Design


@dataclass(frozen=True)
class NestedLevel:
    """One level of nested data in their analysis of variance."""

    degrees_of_freedom: int
    sum_of_squares: float | None
    mean_square: float | None
    """None where members of groups that differ in size leave no mean square with an exact test."""
    f: float | None
    """Its mean square over that of the level below; None without one, or where that is zero."""
    p_value: float | None
    """Chance of an F at least as large without this source, normal values taken for granted."""


def nested_table(data: Design) -> tuple[NestedLevel, ...]:
    """Analysis of variance of one nested data set, innermost level first.

    The sum of squares of a level is sum n_i (mean of member i - mean of its group)^2 over members
    of n_i values. Its ratio to the mean square of the level below follows F where the source is
    absent: on every level of balanced data, and for the first grouping of unbalanced data. The
    residual is the right denominator for that first grouping only.
    Source: Searle, Casella and McCulloch 1992, Variance Components, chapters 3 and 4 (quoted from
    memory).
    """
    found: list[NestedLevel] = []
    for level, degrees in enumerate(data.degrees_of_freedom):
        if (level > 1 and not data.balanced) or degrees < 1:
            found.append(NestedLevel(degrees, None, None, None, None))
            continue
        square = _sum_of_squares(data, level)
        mean_square = square / degrees
        below = found[level - 1] if level else None
        f = p_value = None
        if below is not None and below.mean_square:
            f = mean_square / below.mean_square
            p_value = float(fdtrc(degrees, below.degrees_of_freedom, f))
        found.append(NestedLevel(degrees, square, mean_square, f, p_value))
    return tuple(found)


def _sum_of_squares(data: Design, level: int) -> float:
    """Of the means of this level's members about the means of their groups."""
    outermost = data.k - 1 - np.argmax(data.coefficient[:, ::-1] > 0, axis=1)
    strata = outermost == level
    total = float(np.sum(data.square[strata, 0] / data.coefficient[strata, 0]))
    for rows in data.mixed:
        if rows.level != level:
            continue
        values = 1.0 / rows.coefficient[:, 0]
        weight = rows.count * values
        mean = rows.mean[:, 0]
        center = np.add.reduceat(weight * mean, rows.first) / np.add.reduceat(weight, rows.first)
        total += float(np.sum(weight * (mean - center[rows.group]) ** 2))
        total += float(np.sum(values * rows.square[:, 0]))
    return total
