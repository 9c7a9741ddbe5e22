"""Values that stand out by part average limits or against their neighbours; never a verdict.

Robust limits take the values as roughly normal (AEC-Q001); parameters declared log-normal are
looked at in logarithms. A flag changes no outcome: values outside their specification limits that
lie within 6 robust sigmas are not flagged, and a flagged value stays within its limits.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp

import numpy as np
import numpy.typing as npt

from sitegen.compute.over_wafers.die_maps import in_logarithms, on_scale
from sitegen.compute.over_wafers.laws import censored_reason
from sitegen.compute.over_wafers.pattern_words import not_positive, there_are
from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.stats.part_average import (
    LEAST_AROUND,
    LOTS,
    PARTS,
    SIGMAS,
    clean_rate,
    limits_of,
    remainders,
    robust,
)
from sitegen.compute.stats.surface_fit import surface_of
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.space_results import AverageLimits, NeighbourCheck, Outlier, Outliers
from sitegen.model.statistics import Estimate

NO_SPREAD = "half of the values or more are equal: there is no robust spread"
KINDS = ("static limits", "dynamic limits", "neighbours")


IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class _Scaled:
    """A sample's values on the scale on which they are looked at."""

    sample: Sample
    value: FloatArray
    """(n,): NaN where there is no logarithm."""
    die: IntArray
    """(n,): a number for each die of each wafer."""
    logarithms: bool

    def parts(self, rows: IntArray) -> int:
        """How many dies these values belong to."""
        die = np.sort(self.die[rows])
        return int(np.sum(die[1:] != die[:-1])) + 1 if len(die) else 0


def outliers(sample: Sample, lots: Mapping[str, str]) -> Outliers:
    """Values of all wafers that stand out.

    lots: the lot of each wafer; a wafer without one takes no part in static limits. Where values
    are below the floor or were not reached, the others' middle and spread are not the wafer's, and
    nothing is looked for.
    """
    places = np.stack([sample.wafer, sample.die_x, sample.die_y])
    _, die = np.unique(places, axis=1, return_inverse=True)
    scaled = _Scaled(sample, on_scale(sample), die.ravel(), in_logarithms(sample))
    distance = np.full((len(KINDS), sample.n), np.nan)
    static = _static(scaled, lots, distance[0])
    dynamic, neighbours = [], []
    for place, wafer in enumerate(sample.wafers):
        here = np.flatnonzero(sample.wafer == place)
        dynamic.append((wafer, _dynamic(scaled, here, distance[1])))
        neighbours.append((wafer, _by_neighbours(scaled, here, distance[2])))
    expected = [sample.n * clean_rate(sample.n) if static.lower is not None else 0.0]
    expected += [one.n * clean_rate(one.n) for _, one in dynamic if one.lower is not None]
    expected += [one.n * clean_rate(one.n) for _, one in neighbours if not one.reason]
    return Outliers(
        static=static,
        dynamic=tuple(dynamic),
        flagged=_flagged(sample, distance),
        expected=float(sum(expected)),
        robust_sigma=_sigma(scaled),
        neighbours=tuple(neighbours),
        logarithms=scaled.logarithms,
    )


def _flagged(sample: Sample, distance: FloatArray) -> tuple[Outlier, ...]:
    beyond = np.nan_to_num(distance, posinf=np.inf) > SIGMAS
    return tuple(
        Outlier(
            wafer=sample.wafers[sample.wafer[row]],
            die=(int(sample.die_x[row]), int(sample.die_y[row])),
            site=str(sample.site[row]),
            value=float(sample.value[row]),
            kinds=tuple(kind for kind, one in zip(KINDS, beyond[:, row], strict=True) if one),
            score=float(distance[:, row][beyond[:, row]].max()),
            outcome=str(sample.outcome[row]),
        )
        for row in np.flatnonzero(beyond.any(axis=0)).tolist()
    )


def _static(scaled: _Scaled, lots: Mapping[str, str], distance: FloatArray) -> AverageLimits:
    """Limits of the lots that have enough parts, if there are enough such lots; for all values."""
    sample = scaled.sample
    rows = {
        name: np.flatnonzero(
            np.array([lots.get(wafer) == name for wafer in sample.wafers])[sample.wafer]
        )
        for name in dict.fromkeys(lots[wafer] for wafer in sample.wafers if wafer in lots)
    }
    enough = [one for one in rows.values() if scaled.parts(one) >= PARTS]
    if len(enough) < LOTS:
        reason = f"needs {LOTS} lots of {PARTS} parts, {there_are(len(enough))}"
        parts = sum(scaled.parts(one) for one in rows.values())
        return AverageLimits("static", parts, None, None, reason)
    return _limits("static", scaled, np.concatenate(enough), slice(None), distance)


def _dynamic(scaled: _Scaled, here: IntArray, distance: FloatArray) -> AverageLimits:
    """Limits of one wafer, for its own values."""
    parts = scaled.parts(here)
    if parts < PARTS:
        reason = f"needs {PARTS} dies, {there_are(parts)}"
        return AverageLimits("dynamic", parts, None, None, reason)
    return _limits("dynamic", scaled, here, here, distance)


def _limits(
    scope: str,
    scaled: _Scaled,
    rows: IntArray,
    judged: IntArray | slice,
    distance: FloatArray,
) -> AverageLimits:
    """Limits from the values of `rows`; fills the distance of the values `judged`."""
    values, parts = scaled.value[rows], scaled.parts(rows)
    censored = int(scaled.sample.censored[np.unique(scaled.sample.wafer[rows])].sum())
    if censored:
        return AverageLimits(scope, parts, None, None, censored_reason(censored))
    unfit = int(np.isnan(values).sum())
    if unfit:
        return AverageLimits(scope, parts, None, None, not_positive(unfit))
    found = robust(values)
    if found.sigma == 0:
        return AverageLimits(scope, parts, None, None, NO_SPREAD)
    ends = limits_of(found)
    lower, upper = (exp(min(end, 700.0)) for end in ends) if scaled.logarithms else ends
    limits = _within_specification(scope, parts, lower, upper, scaled.sample.parameter)
    if limits.lower is not None:
        distance[judged] = np.abs(scaled.value[judged] - found.centre) / found.sigma
    return limits


def _within_specification(
    scope: str, parts: int, lower: float, upper: float, parameter: Parameter
) -> AverageLimits:
    """Never wider than the specification limits (AEC-Q001)."""
    held = []
    if parameter.lower is not None and lower < parameter.lower:
        lower = parameter.lower
        held.append("lower")
    if parameter.upper is not None and upper > parameter.upper:
        upper = parameter.upper
        held.append("upper")
    if lower >= upper:
        reason = "they lie wholly beyond the specification limits"
        return AverageLimits(scope, parts, None, None, reason)
    return AverageLimits(scope, parts, lower, upper, "", tuple(held))


def _by_neighbours(scaled: _Scaled, here: IntArray, distance: FloatArray) -> NeighbourCheck:
    """Each value of a wafer against the same site of the dies about it."""
    sample = scaled.sample
    censored = int(sample.censored[np.unique(sample.wafer[here])].sum())
    if censored:
        return NeighbourCheck(0, len(here), None, censored_reason(censored))
    unfit = int(np.isnan(scaled.value[here]).sum())
    if unfit:
        return NeighbourCheck(0, len(here), None, not_positive(unfit))
    found = np.full(len(here), np.nan)
    names = sample.site[here]
    for site in dict.fromkeys(names.tolist()):
        own = names == site
        rows = here[own]
        surface = surface_of(sample.x_mm[rows], sample.y_mm[rows])
        die_x, die_y = sample.die_x[rows], sample.die_y[rows]
        found[own] = remainders(scaled.value[rows], die_x, die_y, surface)
    compared = ~np.isnan(found)
    n = int(compared.sum())
    alone = len(here) - n
    if n < PARTS:
        reason = f"needs {PARTS} values with {LEAST_AROUND} measured neighbours, {there_are(n)}"
        return NeighbourCheck(n, alone, None, reason)
    spread = robust(found[compared])
    if spread.sigma == 0:
        return NeighbourCheck(n, alone, None, NO_SPREAD)
    distance[here] = np.abs(found - spread.centre) / spread.sigma
    return NeighbourCheck(n, alone, spread.sigma)


def _sigma(scaled: _Scaled) -> Estimate:
    censored = int(scaled.sample.censored.sum())
    if censored:
        return Estimate(None, reason=censored_reason(censored))
    told = scaled.value[~np.isnan(scaled.value)]
    if len(told) < 2:
        return Estimate(None, reason=f"needs 2 values, {there_are(len(told))}")
    sigma = robust(told).sigma
    return Estimate(sigma, reason="no interval: the values of a wafer are not independent")
