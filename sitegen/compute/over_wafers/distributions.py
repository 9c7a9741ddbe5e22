"""Distribution of a parameter's values, on one wafer or over all: shape, intervals, tolerance."""

from dataclasses import replace

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
)
from sitegen.compute.over_wafers.location_and_spread import (
    LocationAndSpread,
    needs_wafers,
    of_process,
    of_sample,
)
from sitegen.compute.over_wafers.samples import IntArray, Sample
from sitegen.compute.over_wafers.tolerance_intervals import Tolerated, nothing, tolerance_intervals
from sitegen.compute.stats.clusters import LEAST_WAFERS, clusters, comparable
from sitegen.compute.stats.moments import Moments, moments_of
from sitegen.compute.stats.moments import without_gaps as ascending
from sitegen.compute.stats.tails import tails_in_words
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.distribution_results import Distribution, Normality, ToleranceInterval
from sitegen.model.statistics import Estimate


def distribution(values: FloatArray, parameter: Parameter, censored: int = 0) -> Distribution:
    """Distribution of values (n,) taken as independent, such as those of the dies of one wafer.

    values: in the parameter's unit, NaN is left out. censored: how many more are known only to lie
    below a floor or beyond what was reached; with any, nothing is stated.

    Raises ValueError for another shape or for infinite values.
    """
    ranked = ascending(values)
    n = len(ranked)
    if censored:
        return _nothing(n, parameter, censored_reason(censored))
    found = moments_of(ranked)
    scaled, why = in_law(ranked, parameter)
    normality = _not_tested(n, why) if scaled is None else normality_of(scaled)
    refused = refusal(normality, parameter)
    tolerated = Tolerated(ranked, scaled, why, None, 1, refused)
    return _distribution(
        found,
        of_sample(found, ranked),
        _tail(scaled, parameter),
        normality,
        tolerance_intervals(tolerated, parameter),
    )


def distribution_of(sample: Sample, wafer: str | None) -> Distribution:
    """Distribution of a sample's values on one wafer, or with None over all its wafers.

    Over several wafers the wafer is the cluster: intervals are of the process that made them; over
    one wafer alone there are none. Where dies have several sites no interval is stated.
    Raises ValueError for a wafer that the sample does not have.
    """
    if wafer is not None:
        place = sample.wafers.index(wafer)
        values = sample.value[sample.wafer == place]
        found = distribution(values, sample.parameter, int(sample.censored[place]))
    else:
        censored = int(sample.censored.sum())
        if censored or not sample.n:
            return distribution(sample.value, sample.parameter, censored)
        if len(np.unique(sample.wafer)) > 1:
            found = _over_wafers(sample.value, sample.wafer, sample.parameter)
        else:
            found = distribution(sample.value, sample.parameter)
            found = without_intervals(found, needs(LEAST_WAFERS, 1, "wafers"))
    if not sample.dies_have_sites:
        return found
    untested = replace(found, tail="", normality=_not_tested(found.n, SITES_ALIKE))
    return without_intervals(untested, SITES_ALIKE)


def without_intervals(found: Distribution, reason: str) -> Distribution:
    """The same, its figures alone: why they have no interval stands beside each."""

    def alone(one: Estimate) -> Estimate:
        return (
            one if one.lower is None and one.upper is None else Estimate(one.value, reason=reason)
        )

    return replace(
        found,
        mean=alone(found.mean),
        standard_deviation=alone(found.standard_deviation),
        median=alone(found.median),
        tolerance=tuple(
            one
            if one.lower is None and one.upper is None
            else replace(one, factor=None, lower=None, upper=None, reason=reason)
            for one in found.tolerance
        ),
    )


def _over_wafers(values: FloatArray, wafer: IntArray, parameter: Parameter) -> Distribution:
    """Of finite values (n,) of at least two wafers."""
    order = np.argsort(values, kind="stable")
    ranked, place = ascending(values), wafer[order]
    n, found = len(ranked), moments_of(ranked)
    scaled, why = in_law(ranked, parameter)
    if scaled is None:
        normality = _not_tested(n, why)
    elif scaled[0] == scaled[-1]:
        normality = _not_tested(n, NO_SPREAD)
    else:
        normality = normality_over(scaled, place)
    used = comparable(place)
    cluster = clusters(ranked[used], place[used])
    tolerated = Tolerated(
        ranked=ranked,
        scaled=scaled,
        no_scale=why,
        cluster=None if scaled is None else clusters(scaled[used], place[used]),
        wafers=len(np.unique(place)),
        refused=refusal(normality, parameter),
        needs_wafers=needs_wafers(place, cluster),
    )
    return _distribution(
        found,
        of_process(found, ranked, place, cluster),
        _tail(scaled, parameter),
        normality,
        tolerance_intervals(tolerated, parameter),
    )


def _distribution(
    found: Moments,
    place: LocationAndSpread,
    tail: str,
    normality: Normality,
    tolerance: tuple[ToleranceInterval, ...],
) -> Distribution:
    return Distribution(
        n=found.n,
        mean=place.mean,
        standard_deviation=place.standard_deviation,
        median=place.median,
        robust_spread=found.robust_spread,
        skewness=found.skewness,
        excess_kurtosis=found.excess_kurtosis,
        tail=tail,
        normality=normality,
        tolerance=tolerance,
    )


def _nothing(n: int, parameter: Parameter, reason: str) -> Distribution:
    none = Estimate(None, reason=reason)
    return Distribution(
        n=n,
        mean=none,
        standard_deviation=none,
        median=none,
        robust_spread=None,
        skewness=None,
        excess_kurtosis=None,
        tail="",
        normality=_not_tested(n, reason),
        tolerance=nothing(parameter, n, reason),
    )


def _not_tested(n: int, reason: str) -> Normality:
    return Normality("", n, None, None, reason)


def _tail(scaled: FloatArray | None, parameter: Parameter) -> str:
    """In words, of ascending values in the scale of the law."""
    words = "" if scaled is None else tails_in_words(moments_of(scaled))
    return f"in logarithms: {words}" if words and parameter.distribution == "log-normal" else words
