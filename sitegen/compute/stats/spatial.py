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

MARGIN = 0.3
"""A changed map must agree better than the map as recorded by at least this much correlation."""
MINIMUM_AGREEMENT = 0.4
"""Least correlation of the changed map with its references, and of the references with each other,
for there to be a pattern worth comparing."""
SIGNIFICANCE = 1e-3
"""Chance of the difference without any pattern, shared among the changes that are tried."""
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
    """The change that agrees best; None where no change could be compared."""
    agreements: tuple[Agreement, ...]
    """Each change that could be compared, in the order of `ORIENTATIONS`."""
    reference_agreement: float | None
    """Median correlation among the references; None for a single one."""


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

    Agreement is the correlation of ranks (Spearman's; each map is ranked once, over all its dies),
    averaged over the parameters and taken as the median over the references. A changed map and the
    map as recorded are compared on the same dies: those that both maps and the reference have.
    A suspicion needs all of:

    - the best change agrees with at least `MINIMUM_AGREEMENT`, and better than the map as recorded
      by at least `MARGIN`;
    - the difference of the Fisher z of both correlations, with variance 1.06 / (n - 3) each
      (Fieller, Hartley and Pearson 1957, Biometrika 44:470), has a chance below `SIGNIFICANCE`
      divided by the number of changes tried. n counts dies, not values, because the parameters of
      a die are seldom independent;
    - several references agree with each other, as recorded, with at least `MINIMUM_AGREEMENT`:
      else it cannot be told which of the wafers is turned.

    It is a suspicion and no proof: smooth patterns that differ from wafer to wafer can agree by
    chance. Raises ValueError where maps differ in their number of parameters or are malformed.
    """
    _check([wafer, *references])
    if not references:
        return OrientationSuspicion(False, None, (), None)
    names = list(ORIENTATIONS)[: 8 if quarter_turns else 4]
    among = [_correlations(a, b, names[:1])[0][0] for a, b in combinations(references, 2)]
    reference_agreement = _median(among)
    by_reference = [_correlations(wafer, reference, names) for reference in references]
    agreements = []
    for place in range(1, len(names)):
        changed = _median([float(by_change[place]) for by_change, _, _ in by_reference])
        recorded = _median([float(as_recorded[place]) for _, as_recorded, _ in by_reference])
        if changed is not None and recorded is not None:
            n_dies = min(int(counts[place]) for *_, counts in by_reference if counts[place] > 0)
            agreements.append(Agreement(names[place], changed, recorded, n_dies))
    best = max(agreements, key=lambda agreement: agreement.correlation, default=None)
    suspected = (
        best is not None
        and (len(references) == 1 or (reference_agreement or 0.0) >= MINIMUM_AGREEMENT)
        and _clearly_better(best, len(names) - 1)
    )
    return OrientationSuspicion(suspected, best, tuple(agreements), reference_agreement)


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


def _correlations(
    wafer: WaferMap, reference: WaferMap, names: Sequence[str]
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int64]]:
    """Correlation of each changed map, of the map as recorded on the same dies, and dies used.

    Each has the shape (n_names,); the correlations are means over the parameters with at least
    `MINIMUM_DIES` dies, NaN where there is none; the count is the fewest of those parameters.
    """
    ranks = WaferMap(wafer.die_x, wafer.die_y, _ranks(wafer.values))
    aim = _ranks(reference.values)
    x, y = reference.die_x, reference.die_y
    recorded = _lookup(ranks, x, y)
    changed = np.stack([_lookup(ranks, *_source(name, x, y)) for name in names])
    shared = ~(np.isnan(changed) | np.isnan(recorded) | np.isnan(aim))
    counts = shared.sum(axis=1)
    enough = counts >= MINIMUM_DIES
    with_changed = _pearson(changed, aim, shared, counts)
    with_recorded = _pearson(np.broadcast_to(recorded, changed.shape), aim, shared, counts)
    used = enough & ~np.isnan(with_changed) & ~np.isnan(with_recorded)
    n_used = used.sum(axis=1)
    divisor = np.where(n_used > 0, n_used, np.nan)
    fewest = np.where(used, counts, np.iinfo(np.int64).max).min(axis=1, initial=2**62)
    return (
        np.where(used, with_changed, 0).sum(axis=1) / divisor,
        np.where(used, with_recorded, 0).sum(axis=1) / divisor,
        np.where(n_used > 0, fewest, 0),
    )


def _pearson(
    a: FloatArray, b: FloatArray, shared: npt.NDArray[np.bool_], counts: npt.NDArray[np.int64]
) -> FloatArray:
    """Correlation along the dies of (n_names, n_die, n_parameter); NaN where a side is constant."""
    n = np.maximum(counts, 1)[:, None, :]
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


def _median(correlations: Sequence[float]) -> float | None:
    known = [correlation for correlation in correlations if not np.isnan(correlation)]
    return float(np.median(known)) if known else None


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
