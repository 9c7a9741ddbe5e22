"""Suspicions from wafer maps: a map turned or mirrored, and two wafers with the same values."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy.special import bdtrc, ndtri
from scipy.stats import rankdata

FloatArray = npt.NDArray[np.float64]

AS_RECORDED = "as recorded"
ORIENTATIONS: dict[str, tuple[tuple[int, int], tuple[int, int]]] = {
    AS_RECORDED: ((1, 0), (0, 1)),
    "turned by 180 degrees": ((-1, 0), (0, -1)),
    "mirrored left to right": ((-1, 0), (0, 1)),
    "mirrored top to bottom": ((1, 0), (0, -1)),
    "turned by 90 degrees": ((0, -1), (1, 0)),
    "turned by 270 degrees": ((0, 1), (-1, 0)),
    "mirrored about the rising diagonal": ((0, 1), (1, 0)),
    "mirrored about the falling diagonal": ((0, -1), (-1, 0)),
}
"""Matrix that takes a recorded place (x right, y up) to its place in the changed map; turns are
counter-clockwise. The last four exchange the axes."""

MARGIN = 0.4
"""A changed map must agree better than the map as recorded by at least this much correlation."""
MINIMUM_AGREEMENT = 0.5
"""Least correlation of the changed map with its references, and, for each parameter, of the
references with each other, for there to be a pattern worth comparing."""
SIGNIFICANCE = 1e-3
"""Chance of the difference without any pattern, shared among the changes that are tried."""
LEAST_SHARE_OF_PARAMETERS = 1 / 3
"""Least share of the parameters for which the references agree: of many unrelated patterns some
agree by chance."""
MINIMUM_DIES = 20
"""Fewest dies that a correlation may rest on."""

CHANCE_OF_SAME_VALUES = 1e-6
"""Equal values are improbable below this chance."""
SHARE_OF_SAME_VALUES = 0.5
"""Least share of equal values that is flagged."""
COARSE_PARAMETER = 0.1
"""A parameter of which more than this share would be equal by chance tells nothing."""


@dataclass(frozen=True)
class WaferMap:
    """Values of one wafer by die, in die coordinates centred on the wafer.

    Maps that are compared have the same parameters in the same order.
    """

    die_x: FloatArray
    die_y: FloatArray
    """(n_die,), in die pitches from the wafer's centre: whole or half numbers; each die once."""
    values: FloatArray
    """(n_die, n_parameter), NaN for missing; leave readings below a floor out as NaN."""


@dataclass(frozen=True)
class Agreement:
    """Agreement of a changed map with the references, pooled over references and parameters."""

    orientation: str
    correlation: float
    correlation_as_recorded: float
    """The same for the map as recorded, on the same dies."""
    n_dies: int
    """Fewest dies that any of the correlations rests on."""


@dataclass(frozen=True)
class OrientationSuspicion:
    """What the comparison of a wafer's map with its references says."""

    suspected: bool
    best: Agreement | None
    """The change that agrees best; None where no change could be compared, for want of dies or of
    a pattern that the references share."""
    agreements: tuple[Agreement, ...]
    """Each change that could be compared, in the order of `ORIENTATIONS`."""
    n_parameters: int
    """Parameters that the agreements are pooled over: those whose pattern the references share."""


@dataclass(frozen=True)
class SameValues:
    """How many values of two wafers are exactly equal at the same die and parameter."""

    suspected: bool
    n_equal: int
    n_compared: int
    """Values compared; coarse parameters are left out."""
    share: float | None
    share_by_chance: float | None
    probability: float | None
    """Chance of at least so many equal values on two unrelated wafers."""


def orientation_suspicion(
    wafer: WaferMap, references: Sequence[WaferMap], quarter_turns: bool = True
) -> OrientationSuspicion:
    """Does a map agree better with its neighbours when it is turned or mirrored?

    references: maps of neighbouring wafers, or one trusted reference map. quarter_turns: False
    leaves out the changes that exchange the axes, as where die pitches differ in x and y.

    Only parameters whose pattern the references share are used: those for which the references, as
    recorded, correlate with each other by at least `MINIMUM_AGREEMENT` (median over their pairs).
    The others are noise, or it cannot be told which wafer is turned. Where they are less than
    `LEAST_SHARE_OF_PARAMETERS` of those that can be compared, none is used. A single reference is
    trusted with every parameter.

    Agreement is the correlation of ranks (Spearman's; each map is ranked once, over all its dies),
    averaged over those parameters, then taken as the median over the references. A changed map and
    the map as recorded are compared on the same dies: those that both maps and the reference have.
    A suspicion needs that

    - the best change agrees with at least `MINIMUM_AGREEMENT`, and better than the map as recorded
      by at least `MARGIN`;
    - the difference of the Fisher z of both correlations, with variance 1.06 / (n - 3) each
      (Fieller, Hartley and Pearson 1957, Biometrika 44:470), has a chance below `SIGNIFICANCE`
      divided by the number of changes tried. n counts dies, not values, because the parameters of
      a die are seldom independent.

    It is a suspicion and no proof: smooth patterns that differ from wafer to wafer can agree by
    chance. Raises ValueError where maps differ in their number of parameters or are malformed.
    """
    _check([wafer, *references])
    if not references:
        return OrientationSuspicion(False, None, (), 0)
    names = list(ORIENTATIONS)[: 8 if quarter_turns else 4]
    patterned = _shared_pattern(references)
    by_reference = [orientation_correlations(wafer, reference, names) for reference in references]
    agreements = []
    for place, name in enumerate(names[1:], start=1):
        pooled = [correlations.pooled(place, patterned) for correlations in by_reference]
        compared = [each for each in pooled if each is not None]
        if compared:
            changed, recorded, n_dies = zip(*compared, strict=True)
            agreements.append(
                Agreement(name, float(np.median(changed)), float(np.median(recorded)), min(n_dies))
            )
    best = max(agreements, key=lambda agreement: agreement.correlation, default=None)
    suspected = best is not None and _clearly_better(best, len(names) - 1)
    return OrientationSuspicion(suspected, best, tuple(agreements), int(patterned.sum()))


def same_values(a: WaferMap, b: WaferMap) -> SameValues:
    """Do two wafers have the same values, as when a table was copied?

    Values are compared exactly, at the dies and parameters that both have. For each parameter the
    chance of equal values on unrelated wafers is the sum over all values v of the share of v in a
    times its share in b; parameters where it exceeds `COARSE_PARAMETER` (few steps, or constant)
    are left out. Flagged where at least `SHARE_OF_SAME_VALUES` of the values are equal and the
    binomial chance of at least so many is below `CHANCE_OF_SAME_VALUES`.

    Raises ValueError where the maps differ in their number of parameters or are malformed.
    """
    _check([a, b])
    there = _lookup(a, b.die_x, b.die_y)
    both = ~(np.isnan(there) | np.isnan(b.values))
    n_equal = n_compared = 0
    expected = 0.0
    for parameter in range(b.values.shape[1]):
        dies = both[:, parameter]
        first, second = there[dies, parameter], b.values[dies, parameter]
        chance = _chance_of_equal(first, second)
        if chance is None or chance > COARSE_PARAMETER:
            continue
        n_equal += int(np.count_nonzero(first == second))
        n_compared += first.size
        expected += chance * first.size
    if n_compared == 0:
        return SameValues(False, 0, 0, None, None, None)
    share, by_chance = n_equal / n_compared, expected / n_compared
    probability = float(bdtrc(n_equal - 1, n_compared, by_chance)) if n_equal > 0 else 1.0
    suspected = share >= SHARE_OF_SAME_VALUES and probability < CHANCE_OF_SAME_VALUES
    return SameValues(suspected, n_equal, n_compared, share, by_chance, probability)


def _clearly_better(best: Agreement, n_tried: int) -> bool:
    if best.n_dies < MINIMUM_DIES or best.correlation < MINIMUM_AGREEMENT:
        return False
    if best.correlation - best.correlation_as_recorded < MARGIN:
        return False
    nearly_one = 1 - 1e-12
    difference = np.arctanh(np.clip(best.correlation, -nearly_one, nearly_one)) - np.arctanh(
        np.clip(best.correlation_as_recorded, -nearly_one, nearly_one)
    )
    needed = -float(ndtri(SIGNIFICANCE / n_tried)) * sqrt(2 * 1.06 / (best.n_dies - 3))
    return bool(difference > needed)


@dataclass(frozen=True)
class Correlations:
    """A wafer's correlations with one reference, each of shape (n_orientation, n_parameter)."""

    changed: FloatArray
    as_recorded: FloatArray
    """On the same dies as the changed map; both are NaN where there are too few."""
    n_dies: npt.NDArray[np.int64]

    def pooled(
        self, orientation: int, parameters: npt.NDArray[np.bool_]
    ) -> tuple[float, float, int] | None:
        """Means of both over parameters, and the fewest dies; None where there are none."""
        used = parameters & ~np.isnan(self.changed[orientation] + self.as_recorded[orientation])
        if not used.any():
            return None
        return (
            float(self.changed[orientation, used].mean()),
            float(self.as_recorded[orientation, used].mean()),
            int(self.n_dies[orientation, used].min()),
        )


def orientation_correlations(
    wafer: WaferMap, reference: WaferMap, names: Sequence[str]
) -> Correlations:
    """Rank correlations of a map with a reference in each orientation of `names`, by parameter."""
    ranks = WaferMap(wafer.die_x, wafer.die_y, _ranks(wafer.values))
    aim = _ranks(reference.values)
    x, y = reference.die_x, reference.die_y
    recorded = _lookup(ranks, x, y)
    changed = np.stack([_lookup(ranks, *_source(name, x, y)) for name in names])
    shared = ~(np.isnan(changed) | np.isnan(recorded) | np.isnan(aim))
    n_dies = shared.sum(axis=1)
    enough = n_dies >= MINIMUM_DIES
    return Correlations(
        np.where(enough, _pearson(changed, aim, shared), np.nan),
        np.where(enough, _pearson(np.broadcast_to(recorded, changed.shape), aim, shared), np.nan),
        n_dies,
    )


def _shared_pattern(references: Sequence[WaferMap]) -> npt.NDArray[np.bool_]:
    """For each parameter, do the references agree with each other as recorded?"""
    n_parameters = references[0].values.shape[1]
    if len(references) == 1:
        return np.ones(n_parameters, dtype=bool)
    pairs = combinations(references, 2)
    among = np.stack([orientation_correlations(a, b, [AS_RECORDED]).changed[0] for a, b in pairs])
    medians = np.array([_median(column) for column in among.T])
    shared = medians >= MINIMUM_AGREEMENT
    enough = shared.sum() >= LEAST_SHARE_OF_PARAMETERS * np.count_nonzero(~np.isnan(medians))
    return np.asarray(shared & enough, dtype=bool)


def _median(correlations: FloatArray) -> float:
    """Median of those that are known; NaN where none is."""
    known = correlations[~np.isnan(correlations)]
    return float(np.median(known)) if known.size else np.nan


def _pearson(a: FloatArray, b: FloatArray, shared: npt.NDArray[np.bool_]) -> FloatArray:
    """Correlation along the dies of (n_names, n_die, n_parameter); NaN where a side is constant."""
    n = np.maximum(shared.sum(axis=1, keepdims=True), 1)
    p = np.where(shared, a, 0)
    q = np.where(shared, b, 0)
    p = np.where(shared, p - p.sum(axis=1, keepdims=True) / n, 0)
    q = np.where(shared, q - q.sum(axis=1, keepdims=True) / n, 0)
    size = np.sqrt((p * p).sum(axis=1) * (q * q).sum(axis=1))
    return np.asarray((p * q).sum(axis=1) / np.where(size > 0, size, np.nan), dtype=np.float64)


def _ranks(values: FloatArray) -> FloatArray:
    return np.asarray(rankdata(values, axis=0, nan_policy="omit"), dtype=np.float64)


def _source(name: str, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Recorded places that the change brings to (x, y): the matrix's inverse is its transpose."""
    (xx, xy), (yx, yy) = ORIENTATIONS[name]
    return xx * x + yx * y, xy * x + yy * y


def _lookup(wafer: WaferMap, x: FloatArray, y: FloatArray) -> FloatArray:
    """Values of a map at places, (n_place, n_parameter); NaN where it has no die."""
    known = _place_keys(wafer.die_x, wafer.die_y)
    wanted = _place_keys(x, y)
    order = np.argsort(known)
    nearest = order[np.minimum(np.searchsorted(known[order], wanted), known.size - 1)]
    found = known[nearest] == wanted
    return np.where(found[:, None], wafer.values[nearest], np.nan)


def _place_keys(x: FloatArray, y: FloatArray) -> npt.NDArray[np.int64]:
    """One whole number a place, in half pitches."""
    column = np.rint(2 * x).astype(np.int64)
    row = np.rint(2 * y).astype(np.int64)
    return row * 2**32 + column


def _chance_of_equal(a: FloatArray, b: FloatArray) -> float | None:
    if a.size == 0:
        return None
    values_a, counts_a = np.unique(a, return_counts=True)
    values_b, counts_b = np.unique(b, return_counts=True)
    _, in_a, in_b = np.intersect1d(values_a, values_b, assume_unique=True, return_indices=True)
    return float(np.dot(counts_a[in_a], counts_b[in_b]) / (a.size * b.size))


def _check(maps: Sequence[WaferMap]) -> None:
    for wafer in maps:
        shape = wafer.values.shape
        if len(shape) != 2 or wafer.die_x.shape != shape[:1] or wafer.die_y.shape != shape[:1]:
            raise ValueError(
                f"a wafer map has values of shape {shape}, but die coordinates of shapes "
                f"{wafer.die_x.shape} and {wafer.die_y.shape}"
            )
        if shape[0] == 0 or shape[1] == 0:
            raise ValueError("a wafer map needs a die and a parameter")
        if shape[1] != maps[0].values.shape[1]:
            raise ValueError("maps that are compared need the same parameters")
        for coordinate in (wafer.die_x, wafer.die_y):
            if not np.allclose(2 * coordinate, np.rint(2 * coordinate), rtol=0, atol=1e-9):
                raise ValueError("centred die coordinates must be whole or half die pitches")
        if np.unique(_place_keys(wafer.die_x, wafer.die_y)).size != shape[0]:
            raise ValueError("a wafer map holds a die twice")
