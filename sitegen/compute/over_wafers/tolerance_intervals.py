"""Tolerance intervals of a parameter, for the sides that its limits ask for."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.over_wafers.laws import NO_SPREAD, needs, side_of
from sitegen.compute.stats.clusters import (
    Clusters,
    one_sided_reach,
    two_sided_reach,
)
from sitegen.compute.stats.moments import moments_of
from sitegen.compute.stats.order_statistics import tolerance_rank, values_needed
from sitegen.compute.stats.tolerance import one_sided_factor, two_sided_factor
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.distribution_results import ToleranceInterval
from sitegen.model.statistics import CONFIDENCE

COVERAGE = 0.95
"""Share of the law that every interval holds, with the confidence `CONFIDENCE`."""
BEYOND_NUMBERS = "its end is beyond what a number can hold"
_LARGEST_LOG = 700.0

Side = Literal["both", "lower", "upper"]


@dataclass(frozen=True, eq=False)
class Tolerated:
    """What tolerance intervals are made from."""

    ranked: FloatArray
    """Values (n,) in ascending order."""
    scaled: FloatArray | None
    """The same (n,) in the scale of the law, ascending; None where there is no such scale."""
    no_scale: str
    """Why there is none."""
    cluster: Clusters | None
    """In the scale of the law, of comparable wafers, where the values are of several."""
    wafers: int
    """With a value."""
    refused: str
    """That the test refuses the law, or ''."""
    needs_wafers: str = ""
    """Why nothing is stated of the process that made several wafers, or ''."""


def tolerance_intervals(of: Tolerated, parameter: Parameter) -> tuple[ToleranceInterval, ...]:
    """By the declared law, then free of any law."""
    limits = side_of(parameter)
    side: Side = "both" if limits == "none" else limits
    return (_by_law(of, parameter, side), _free(of, side))


def nothing(parameter: Parameter, n: int, reason: str) -> tuple[ToleranceInterval, ...]:
    """The same intervals, none of them stated."""
    limits = side_of(parameter)
    side: Side = "both" if limits == "none" else limits
    return tuple(
        ToleranceInterval(kind, side, COVERAGE, CONFIDENCE, n, None, None, None, reason)
        for kind in (parameter.distribution, "distribution-free")
    )


def _by_law(of: Tolerated, parameter: Parameter, side: Side) -> ToleranceInterval:
    n = len(of.ranked)

    def made(
        factor: float | None, lower: float | None, upper: float | None, reason: str
    ) -> ToleranceInterval:
        return ToleranceInterval(
            parameter.distribution, side, COVERAGE, CONFIDENCE, n, factor, lower, upper, reason
        )

    why = _why_not(of)
    if why or of.scaled is None:
        return made(None, None, None, why)
    if of.cluster is None or not of.cluster.df_within:
        found = moments_of(of.scaled)
        factor = (two_sided_factor if side == "both" else one_sided_factor)(n, COVERAGE, CONFIDENCE)
        centre, reach = found.mean or 0.0, factor * (found.standard_deviation or 0.0)
    else:
        reach_of = two_sided_reach if side == "both" else one_sided_reach
        factor, centre = None, of.cluster.mean
        reach = reach_of(of.cluster, COVERAGE, CONFIDENCE)
    lower = None if side == "upper" else centre - reach
    upper = None if side == "lower" else centre + reach
    if parameter.distribution == "log-normal":
        if upper is not None and upper > _LARGEST_LOG:
            return made(None, None, None, BEYOND_NUMBERS)
        lower, upper = (None if end is None else float(np.exp(end)) for end in (lower, upper))
    return made(factor, lower, upper, "")


def _why_not(of: Tolerated) -> str:
    n = len(of.ranked)
    if of.scaled is None:
        return of.no_scale
    if n < 2:
        return needs(2, n)
    if of.scaled[0] == of.scaled[-1]:
        return NO_SPREAD
    return of.needs_wafers or of.refused


def _free(of: Tolerated, side: Side) -> ToleranceInterval:
    """Between order statistics.

    Over wafers one die of each would be independent: with as many wafers as values are needed, the
    extremes of all dies hold at least what the extremes of one die a wafer hold.
    """
    n = len(of.ranked)
    two_sided = side == "both"
    needed = values_needed(two_sided, COVERAGE, CONFIDENCE)
    rank: int | None
    if of.wafers > 1 and of.wafers < n:
        rank = 1 if of.wafers >= needed else None
        why = needs(needed, of.wafers, "wafers") + ", since dies of one wafer are alike"
    else:
        rank, why = tolerance_rank(n, two_sided, COVERAGE, CONFIDENCE), needs(needed, n)
    if rank is not None and of.ranked[0] == of.ranked[-1]:
        rank, why = None, NO_SPREAD
    lower = None if rank is None or side == "upper" else float(of.ranked[rank - 1])
    upper = None if rank is None or side == "lower" else float(of.ranked[-rank])
    return ToleranceInterval(
        kind="distribution-free",
        side=side,
        coverage=COVERAGE,
        confidence=CONFIDENCE,
        n=n,
        factor=None,
        lower=lower,
        upper=upper,
        reason=why if rank is None else "",
    )
