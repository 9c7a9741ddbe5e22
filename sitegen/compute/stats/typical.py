"""The most typical die of a wafer, to be shown first or compared with others."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.compute.stats.summary import MAD_TO_SIGMA

MEAN_DEVIATION_TO_SIGMA = 1.253314
"""sqrt(pi/2): makes the mean absolute deviation estimate sigma of normal data.

It stands in where more than half of the values are equal and the median absolute deviation is
zero. Source: Iglewicz and Hoaglin 1993, How to Detect and Handle Outliers (quoted from memory).
"""


@dataclass(frozen=True)
class TypicalDie:
    """The die nearest to the medians of all parameters."""

    index: int
    """Row of the die in the arrays given."""
    score: float
    """Mean of the squared robust z over the parameters measured on the die; no unit."""
    n_parameters: int
    """Parameters that the score rests on."""
    complete: bool
    """True where the die has every parameter that any die has."""


def most_typical(
    die_x: npt.ArrayLike, die_y: npt.ArrayLike, values: npt.ArrayLike
) -> TypicalDie | None:
    """Die with the least sum of squared robust z divided by the number of its parameters.

    die_x, die_y: (n_die,) die coordinates; values: (n_die, n_parameter), NaN means not measured.
    Robust z is (value - median) / (1.4826 MAD) of that parameter over the dies. The division keeps
    dies with fewer parameters from being favoured. Only dies with every parameter that any die has
    are candidates; where there is none, every die with a value is. Ties go to the lowest die_y,
    then the lowest die_x. None where nothing was measured.

    Raises ValueError for shapes that do not fit or for infinite values.
    """
    x, y = np.asarray(die_x), np.asarray(die_y)
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2 or x.shape != (table.shape[0],) or y.shape != x.shape:
        raise ValueError(f"shapes {x.shape}, {y.shape} and {table.shape} do not fit together")
    if np.isinf(table).any():
        raise ValueError("values must be finite or NaN, but hold an infinite number")
    measured = ~np.isnan(table)
    in_use = measured.any(axis=0)
    n_measured = measured.sum(axis=1)
    if not in_use.any():
        return None
    squared = robust_z(table[:, in_use]) ** 2
    score = np.nansum(squared, axis=1) / np.maximum(n_measured, 1)
    complete = n_measured == in_use.sum()
    candidates = complete if complete.any() else n_measured > 0
    order = np.lexsort((x, y, np.where(candidates, score, np.inf)))
    best = int(order[0])
    return TypicalDie(best, float(score[best]), int(n_measured[best]), bool(complete[best]))


def robust_z(table: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Robust z of each column of (n_die, n_parameter); NaN stays NaN, each column has a value.

    A column without any spread has z = 0.
    """
    deviation = table - np.nanmedian(table, axis=0)
    scale = MAD_TO_SIGMA * np.nanmedian(np.abs(deviation), axis=0)
    fallback = MEAN_DEVIATION_TO_SIGMA * np.nanmean(np.abs(deviation), axis=0)
    scale = np.where(scale > 0, scale, fallback)
    return deviation / np.where(scale > 0, scale, 1.0)
