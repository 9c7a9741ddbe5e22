"""Mean, standard deviation and median with their intervals: of a wafer's dies, or of a process."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.over_wafers.laws import NO_SPREAD, needs
from sitegen.compute.over_wafers.samples import IntArray
from sitegen.compute.stats import clusters as over
from sitegen.compute.stats.clusters import LEAST_WAFERS, Clusters
from sitegen.compute.stats.moments import Moments, mean_reach, spread_factors
from sitegen.compute.stats.order_statistics import (
    LEAST_FOR_MEDIAN,
    clustered_median_ends,
    median_rank,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.statistics import CONFIDENCE, Estimate

NO_VALUES = "no values"
UNEQUAL = "the wafers' numbers of dies differ too much for an interval of the process"
COMPARABLE = "wafers with at least a quarter of the most dies"
WAFERS_DIFFER = "the wafers differ so much that no value bounds the median: needs more wafers"


@dataclass(frozen=True)
class LocationAndSpread:
    """Estimates in the values' unit."""

    mean: Estimate
    standard_deviation: Estimate
    median: Estimate


def of_sample(found: Moments, ranked: FloatArray) -> LocationAndSpread:
    """Of independent values (n,) in ascending order; found: their moments."""
    n, s = found.n, found.standard_deviation
    if found.mean is None or found.median is None:
        nothing = Estimate(None, reason=NO_VALUES)
        return LocationAndSpread(nothing, nothing, nothing)
    if not s:
        why = NO_SPREAD if n > 1 else needs(2, n)
        return LocationAndSpread(
            Estimate(found.mean, reason=why),
            Estimate(s, reason=why),
            Estimate(found.median, reason=why if n > 1 else needs(LEAST_FOR_MEDIAN, n)),
        )
    reach = mean_reach(s, n, CONFIDENCE)
    least, most = spread_factors(n - 1, CONFIDENCE)
    rank = median_rank(n, CONFIDENCE)
    return LocationAndSpread(
        Estimate(found.mean, found.mean - reach, found.mean + reach),
        Estimate(s, least * s, most * s),
        Estimate(found.median, reason=needs(LEAST_FOR_MEDIAN, n))
        if rank is None
        else Estimate(found.median, float(ranked[rank - 1]), float(ranked[-rank])),
    )


def of_process(
    found: Moments, ranked: FloatArray, wafer: IntArray, cluster: Clusters
) -> LocationAndSpread:
    """Of values (n,) of at least two wafers, in ascending order; wafer: (n,) theirs.

    cluster: of the comparable wafers. The values are of all dies, the intervals of the process that
    made the wafers.
    """
    if not found.standard_deviation:
        return of_sample(found, ranked)
    why = needs_wafers(wafer, cluster)
    if why:
        return LocationAndSpread(
            Estimate(found.mean, reason=why),
            Estimate(found.standard_deviation, reason=why),
            Estimate(found.median, reason=why),
        )
    reach = over.mean_reach(cluster, CONFIDENCE)
    return LocationAndSpread(
        around(found.mean, cluster.mean - reach, cluster.mean + reach),
        around(found.standard_deviation, *over.spread_ends(cluster, CONFIDENCE)),
        _median_of_process(found, ranked, wafer, cluster),
    )


def _median_of_process(
    found: Moments, ranked: FloatArray, wafer: IntArray, cluster: Clusters
) -> Estimate:
    if not cluster.df_within:
        return of_sample(found, ranked).median
    used = over.comparable(wafer)
    ends = clustered_median_ends(ranked[used], wafer[used], CONFIDENCE)
    if ends is None:
        return Estimate(found.median, reason=WAFERS_DIFFER)
    return around(found.median, *ends)


def needs_wafers(wafer: IntArray, cluster: Clusters) -> str:
    """Why nothing is stated of the process; '' with five comparable wafers."""
    if cluster.wafers >= LEAST_WAFERS:
        return ""
    of = "wafers" if cluster.wafers == len(np.unique(wafer)) else COMPARABLE
    return needs(LEAST_WAFERS, cluster.wafers, of)


def around(value: float | None, lower: float, upper: float) -> Estimate:
    """A value of these dies with an interval of the process.

    In the interval each wafer weighs the same, in the value each die: where the value lies outside
    it, no interval is stated.
    """
    if value is None or not lower <= value <= upper:
        return Estimate(value, reason=UNEQUAL)
    return Estimate(value, lower, upper)
