"""Capability and performance of a parameter under a condition over all wafers (ISO 22514-2).

Values describe the dies measured; intervals are of the process that made the wafers, each wafer
weighing the same, and are stated from five wafers on: dies of one wafer are alike, so that their
number says little about other wafers.
"""

from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.over_wafers.laws import (
    NO_SPREAD,
    SITES_ALIKE,
    censored_reason,
    in_law,
    needs,
    normality_of,
    normality_over,
    refusal,
    side_of,
)
from sitegen.compute.over_wafers.location_and_spread import around, needs_wafers
from sitegen.compute.over_wafers.samples import IntArray, Sample
from sitegen.compute.stats import clusters as over
from sitegen.compute.stats.capability import (
    QUANTILE_VALUES,
    Indices,
    both_interval,
    by_quantiles,
    independent_interval,
    indices,
    nearer_interval,
    share_outside,
)
from sitegen.compute.stats.clusters import (
    LEAST_WAFERS,
    Clusters,
    clusters,
    comparable,
    within_wafers,
)
from sitegen.compute.stats.moments import moments_of
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.distribution_results import Capability, Side
from sitegen.model.statistics import CONFIDENCE, Estimate

ONE_LIMIT = "not stated for one limit"
BY_QUANTILES = "no interval by quantiles"
NOT_POSITIVE = "a log-normal law has positive values only, and no limit leaves any inside"


@dataclass(frozen=True, eq=False)
class _Judged:
    """Values in the scale of the law, ascending, with their limits in it."""

    values: FloatArray
    wafer: IntArray
    lower: float | None
    upper: float | None
    side: Side
    parameter: Parameter
    refused: str
    """That the test refuses the law, or ''."""


def capability(sample: Sample) -> Capability:
    """Pp, Ppk, Cp and Cpk of a sample, each with its interval or why it has none."""
    found = _judged(sample)
    if isinstance(found, str):
        return _nothing(sample, found)
    if sample.dies_have_sites:
        return _by_law(found, SITES_ALIKE)
    if not found.refused:
        return _by_law(found)
    if len(found.values) >= QUANTILE_VALUES:
        return _by_quantiles(sample, found.refused)
    short = needs(QUANTILE_VALUES, len(found.values))
    by_law = _by_law(found, f"{found.refused}; the quantile method {short}")
    return replace(by_law, refused=found.refused)


def _judged(sample: Sample) -> _Judged | str:
    """What indices are made from, or why there are none."""
    parameter, n = sample.parameter, sample.n
    if side_of(parameter) == "none":
        return "no limits"
    censored = int(sample.censored.sum())
    if censored:
        return censored_reason(censored)
    if n < 2:
        return needs(2, n)
    order = np.argsort(sample.value, kind="stable")
    values, why = in_law(sample.value[order], parameter)
    if values is None:
        return why
    wafer = sample.wafer[order]
    if values[0] == values[-1]:
        return f"undefined: {NO_SPREAD}"
    lower, upper = parameter.lower, parameter.upper
    if parameter.distribution == "log-normal":
        if upper is not None and upper <= 0:
            return NOT_POSITIVE
        lower = float(np.log(lower)) if lower is not None and lower > 0 else None
        upper = None if upper is None else float(np.log(upper))
        if lower is None and upper is None:
            return "no limits: a log-normal law has positive values only"
    side: Side = "upper" if lower is None else "lower" if upper is None else "both"
    several = len(np.unique(wafer)) > 1
    normality = normality_over(values, wafer) if several else normality_of(values)
    return _Judged(values, wafer, lower, upper, side, parameter, refusal(normality, parameter))


def _by_law(of: _Judged, remark: str = "") -> Capability:
    """By 3 standard deviations; with a remark no interval, nor a share outside, is stated."""
    found, used = moments_of(of.values), comparable(of.wafer)
    cluster = clusters(of.values[used], of.wafer[used])
    centre, spread = found.mean or 0.0, found.standard_deviation or 0.0
    total = indices(centre, 3 * spread, 3 * spread, of.lower, of.upper)
    pp, ppk = _performance(of, total, cluster, remark)
    cp, cpk = _within(of, centre, cluster, remark)
    return Capability(
        side=of.side,
        method=of.parameter.distribution,
        n=found.n,
        wafers=len(np.unique(of.wafer)),
        pp=pp,
        ppk=ppk,
        cp=cp,
        cpk=cpk,
        nearer=total.side,
        expected_outside=None if remark else share_outside(centre, spread, of.lower, of.upper),
        reason=remark,
    )


def _performance(
    of: _Judged, total: Indices, cluster: Clusters, remark: str
) -> tuple[Estimate, Estimate]:
    """Pp and Ppk."""
    why = needs_wafers(of.wafer, cluster) or remark
    if why:
        return _plain(total, why)
    ends = over.spread_ends(cluster, CONFIDENCE)
    return _both(of, total, ends), _nearer(of, total, cluster, cluster.variance**0.5, ends)


def _within(
    of: _Judged, centre: float, cluster: Clusters, remark: str
) -> tuple[Estimate, Estimate]:
    """Cp and Cpk."""
    every = clusters(of.values, of.wafer)
    repeated = int(np.count_nonzero(np.bincount(of.wafer) > 1))
    why = ""
    if repeated < LEAST_WAFERS:
        why = needs(LEAST_WAFERS, repeated, "wafers with two values")
    elif every.within == 0:
        why = "undefined: no spread within wafers"
    if why:
        none = Estimate(None, reason=why)
        return none if of.side == "both" else Estimate(None, reason=ONE_LIMIT), none
    spread = float(np.sqrt(every.within))
    found = indices(centre, 3 * spread, 3 * spread, of.lower, of.upper)
    if remark:
        return _plain(found, remark)
    ends = over.pooled_ends(every, CONFIDENCE)
    too_few = needs_wafers(of.wafer, cluster)
    return (
        _both(of, found, ends),
        Estimate(found.nearer, reason=too_few)
        if too_few
        else _nearer(of, found, cluster, spread, ends),
    )


def _both(of: _Judged, found: Indices, ends: tuple[float, float]) -> Estimate:
    """Cp or Pp with the interval that the spread's ends give."""
    if found.both is None or of.lower is None or of.upper is None:
        return Estimate(None, reason=ONE_LIMIT)
    return around(found.both, *both_interval(of.lower, of.upper, ends))


def _nearer(
    of: _Judged, found: Indices, cluster: Clusters, spread: float, ends: tuple[float, float]
) -> Estimate:
    """Cpk or Ppk with its interval: of the limit that is nearer to the process mean."""
    if not cluster.df_within:  # one die a wafer
        return around(found.nearer, *independent_interval(found.nearer, cluster.n, CONFIDENCE))
    reach = over.mean_reach(cluster, CONFIDENCE)
    distances = []
    if of.lower is not None:
        distances.append(cluster.mean - of.lower)
    if of.upper is not None:
        distances.append(of.upper - cluster.mean)
    return around(found.nearer, *nearer_interval(min(distances), reach, spread, ends))


def _by_quantiles(sample: Sample, refused: str) -> Capability:
    """By quantiles of the values themselves; within wafers, of their distances from its mean."""
    parameter = sample.parameter
    total = by_quantiles(sample.value, parameter.lower, parameter.upper)
    if total is None:
        return _nothing(sample, f"{refused}; undefined: median and outer quantiles are equal")
    pp, ppk = _plain(total, BY_QUANTILES)
    cp, cpk = _within_by_quantiles(sample)
    return Capability(
        side=side_of(parameter),
        method="quantile",
        n=sample.n,
        wafers=len(np.unique(sample.wafer)),
        pp=pp,
        ppk=ppk,
        cp=cp,
        cpk=cpk,
        nearer=total.side,
        reason=refused,
        refused=refused,
    )


def _within_by_quantiles(sample: Sample) -> tuple[Estimate, Estimate]:
    """Cp and Cpk: the values' distances from their wafer's mean about the median of all."""
    dies = np.bincount(sample.wafer)
    apart = within_wafers(sample.value, sample.wafer)[dies[sample.wafer] > 1]
    repeated = int(np.count_nonzero(dies > 1))
    found = None
    if repeated < LEAST_WAFERS:
        why = needs(LEAST_WAFERS, repeated, "wafers with two values")
    elif len(apart) < QUANTILE_VALUES:
        why = f"{needs(QUANTILE_VALUES, len(apart))} on wafers with two values"
    else:
        why = "undefined: no spread within wafers"
        moved = apart + (np.median(sample.value) - np.median(apart))
        found = by_quantiles(moved, sample.parameter.lower, sample.parameter.upper)
    if found is not None:
        return _plain(found, BY_QUANTILES)
    none = Estimate(None, reason=why)
    return none, none


def _plain(found: Indices, why: str) -> tuple[Estimate, Estimate]:
    """Both indices of these dies, and why they have no interval."""
    both = ONE_LIMIT if found.both is None else why
    return Estimate(found.both, reason=both), Estimate(found.nearer, reason=why)


def _nothing(sample: Sample, reason: str) -> Capability:
    none = Estimate(None, reason=reason)
    return Capability(
        side=side_of(sample.parameter),
        method="",
        n=sample.n,
        wafers=len(np.unique(sample.wafer)),
        pp=none,
        ppk=none,
        cp=none,
        cpk=none,
        nearer="",
        reason=reason,
    )
