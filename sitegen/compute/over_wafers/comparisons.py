"""Wafer against wafer and split against split: differences with intervals, sizes, equivalence.

Of two wafers the values are the units: the interval is Welch's, widened by the errors that a
wafer's values share and that do not cancel between the two. Each value's own errors are in the
spread already. What is said holds for these two wafers, and takes their dies as independent: where
neighbours resemble each other the interval is too short.

Of two splits the wafer is the unit: the means of wafers are compared, however many dies stand
behind them, since wafers differ by more than their dies tell. What the measurement adds is the part
of its shared errors that the spread of the means does not show, as where each split was measured
under a calibration of its own.

Adjusted p-values are Holm's, over all pairs of wafers of the parameter and, apart, over all pairs
of splits. Tests of equivalence are not adjusted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.stats import comparison as stats
from sitegen.compute.stats.multiple import holm
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.declared_statistics import Split
from sitegen.model.relation_results import Comparison, Equivalence
from sitegen.model.statistics import Estimate
from sitegen.model.wafer_means import WaferDifference

NOT_MEASURED = "without the measurement's part, which is not stated"
"""Reason beside what is stated of the dies' spread alone."""


@dataclass(frozen=True, eq=False)
class _Wafers:
    """Each wafer of a sample; arrays (n_wafers,)."""

    n: FloatArray
    mean: FloatArray
    variance: FloatArray
    hidden: FloatArray
    """Values below a floor or not reached."""


@dataclass(frozen=True, eq=False)
class _Side:
    name: str
    n: int
    wafers: int
    units: tuple[float, float, float]
    """Number of units, their mean and variance."""
    hidden: int


_Pair = tuple[_Side, _Side, float | None, float | None]
"""With the measurement's u and the spread within wafers."""


def comparisons(
    sample: Sample, campaign: CampaignRecord, differences: Sequence[WaferDifference]
) -> tuple[Comparison, ...]:
    """Every two wafers with a value, in order, then every two declared splits.

    differences: of the campaign's wafers, as `compute.differences.compare_wafers` gives them; those
    of other parameters are passed over.
    """
    wafers = _wafers(sample)
    u_shared = _shared(sample, differences)
    there = np.flatnonzero(wafers.n > 0)
    sides = {
        int(place): _Side(
            sample.wafers[place],
            int(wafers.n[place]),
            1,
            (float(wafers.n[place]), float(wafers.mean[place]), float(wafers.variance[place])),
            int(wafers.hidden[place]),
        )
        for place in there
    }
    pairs: list[_Pair] = [
        (sides[one], sides[other], u_shared.get((one, other)), None)
        for one, other in combinations(sides, 2)
    ]
    splits: list[_Pair] = [
        (
            _split(one, sample, wafers),
            _split(other, sample, wafers),
            _between_splits(one, other, sample, wafers, u_shared),
            _within(one, other, sample, wafers),
        )
        for one, other in combinations(campaign.splits, 2)
    ]
    margin = sample.parameter.equivalence_margin
    return _stated("wafers", pairs, margin) + _stated("splits", splits, margin)


def _wafers(sample: Sample) -> _Wafers:
    count = len(sample.wafers)
    wafer, value = sample.die_means()
    n = np.bincount(wafer, minlength=count).astype(np.float64)
    if not sample.n:
        unknown = np.full(count, np.nan)
        return _Wafers(n, unknown, unknown, sample.censored.astype(np.float64))
    first = np.zeros(count)
    first[wafer[::-1]] = value[::-1]
    # About a wafer's own first value, so that equal values have no spread at all.
    shifted = value - first[wafer]
    some = np.maximum(n, 1)
    mean = np.bincount(wafer, shifted, count) / some
    squares = np.bincount(wafer, (shifted - mean[wafer]) ** 2, count)
    return _Wafers(
        n=n,
        mean=np.where(n > 0, first + mean, np.nan),
        variance=np.where(n > 1, squares / np.maximum(n - 1, 1), np.nan),
        hidden=sample.censored.astype(np.float64),
    )


def _shared(
    sample: Sample, differences: Sequence[WaferDifference]
) -> Mapping[tuple[int, int], float]:
    """Standard uncertainty of the difference of two wafers by errors that do not cancel."""
    place = {name: number for number, name in enumerate(sample.wafers)}
    found = {}
    for one in differences:
        if (one.parameter, one.condition) != (sample.parameter.id, sample.condition):
            continue
        if one.u_common is not None and one.first in place and one.second in place:
            low, high = sorted((place[one.first], place[one.second]))
            found[low, high] = one.u_common
    return found


def _members(split: Split, sample: Sample, wafers: _Wafers) -> list[int]:
    """Places of the split's wafers that have a value."""
    return [
        place
        for place, name in enumerate(sample.wafers)
        if name in split.wafers and wafers.n[place] > 0
    ]


def _split(split: Split, sample: Sample, wafers: _Wafers) -> _Side:
    mine = _members(split, sample, wafers)
    means = wafers.mean[mine]
    shifted = means - means[0] if mine else means
    declared = [place for place, name in enumerate(sample.wafers) if name in split.wafers]
    return _Side(
        name=split.id,
        n=int(wafers.n[mine].sum()),
        wafers=len(mine),
        units=(
            float(len(mine)),
            float(means[0] + shifted.mean()) if mine else np.nan,
            float(np.var(shifted, ddof=1)) if len(mine) > 1 else np.nan,
        ),
        hidden=int(wafers.hidden[declared].sum()),
    )


def _within(one: Split, other: Split, sample: Sample, wafers: _Wafers) -> float | None:
    """Standard deviation within the wafers of both splits, pooled."""
    mine = [*_members(one, sample, wafers), *_members(other, sample, wafers)]
    freedom = np.maximum(wafers.n[mine] - 1, 0)
    if not freedom.sum():
        return None
    return float(np.sqrt(np.sum(freedom * np.nan_to_num(wafers.variance[mine])) / freedom.sum()))


def _between_splits(
    one: Split,
    other: Split,
    sample: Sample,
    wafers: _Wafers,
    u_shared: Mapping[tuple[int, int], float],
) -> float | None:
    """Standard uncertainty of the difference that the spread of the wafers' means does not show.

    With D(a, b) the variance of a difference of two wafers by shared errors, that of the difference
    of two splits' means is the mean of D over all pairs across, less half the mean over all ordered
    pairs inside each split, equal ones too: an identity for any covariances. The spread of the
    means shows on average half the mean of D over unequal pairs inside a split, over its wafers;
    that part is taken off. None where a pair's is not stated.
    """
    mine, theirs = _members(one, sample, wafers), _members(other, sample, wafers)

    def variance(a: int, b: int) -> float:
        return u_shared.get((min(a, b), max(a, b)), np.nan) ** 2 if a != b else 0.0

    if not mine or not theirs:
        return None
    found = float(np.mean([variance(a, b) for a in mine for b in theirs]))
    for side in (mine, theirs):
        unequal = [variance(a, b) for a, b in combinations(side, 2)]
        # Half the mean over k² ordered pairs, and half the mean over unequal ones shared by k.
        found -= sum(unequal) / len(side) ** 2
        found -= float(np.mean(unequal)) / 2 / len(side) if unequal else 0.0
    return None if np.isnan(found) else float(np.sqrt(max(found, 0.0)))


def _group(sides: Sequence[_Side]) -> stats.Group:
    # Values that are not seen leave the mean unknown.
    units = [(np.nan, np.nan, np.nan) if one.hidden else one.units for one in sides]
    n, mean, variance = np.array(units, dtype=np.float64).reshape(-1, 3).T
    return stats.Group(np.nan_to_num(n), mean, variance)


def _stated(kind: str, pairs: Sequence[_Pair], margin: float | None) -> tuple[Comparison, ...]:
    first, second = _group([one[0] for one in pairs]), _group([one[1] for one in pairs])
    besides = np.array([pair[2] or 0.0 for pair in pairs])
    found = stats.welch(first, second, besides)
    lower, upper = found.interval()
    g, g_lower, g_upper = stats.hedges_g(first, second)
    adjusted = holm(found.p_value)
    margins = None if margin is None else stats.equivalence(found, margin)
    made = []
    for place, (one, other, u, within) in enumerate(pairs):
        why = _why_not(kind, one, other, float(found.u[place]))
        told = why or (NOT_MEASURED if u is None else "")
        equivalent = None
        if margin is not None and margins is not None:
            equivalent = Equivalence(
                margin=margin,
                lower=_number(margins.lower[place]),
                upper=_number(margins.upper[place]),
                verdict=str(margins.verdict[place]),
                p_value=_number(margins.p_value[place]),
                reason=told,
            )
        made.append(
            Comparison(
                kind=kind,
                first=one.name,
                second=other.name,
                n_first=one.n,
                n_second=other.n,
                wafers_first=one.wafers,
                wafers_second=other.wafers,
                difference=_estimate(found.value, lower, upper, place, why),
                effect_size=_estimate(g, g_lower, g_upper, place, why),
                p_value=_number(found.p_value[place]),
                adjusted_p=_number(adjusted[place]),
                u_measurement=u,
                equivalence=equivalent,
                reason=told,
                within_sd=within,
            )
        )
    return tuple(made)


def _why_not(kind: str, one: _Side, other: _Side, u: float) -> str:
    """Why no interval is stated; empty where one is."""
    hidden = one.hidden + other.hidden
    if hidden:
        return f"{hidden} values are below the floor or were not reached: means are not known"
    units, each = ("values", "wafer") if kind == "wafers" else ("wafers with a value", "split")
    there = int(one.units[0]), int(other.units[0])
    if min(there) < stats.LEAST:
        return f"needs {stats.LEAST} {units} on each {each}, there are {there[0]} and {there[1]}"
    if np.isnan(u):
        return f"neither {each} has a spread"
    return ""


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _estimate(
    value: FloatArray, lower: FloatArray, upper: FloatArray, place: int, reason: str
) -> Estimate:
    return Estimate(_number(value[place]), _number(lower[place]), _number(upper[place]), reason)
