"""Where a parameter's spread comes from, from a sample and its repeated touchdowns."""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import chdtrc

from sitegen.compute.over_wafers.interval_conditions import no_interval
from sitegen.compute.over_wafers.laws import censored_reason
from sitegen.compute.over_wafers.location_and_spread import needs_wafers
from sitegen.compute.over_wafers.measured_part import measured_part, not_stated, with_touchdowns
from sitegen.compute.over_wafers.samples import Repeats, Sample
from sitegen.compute.stats.clusters import clusters, comparable
from sitegen.compute.stats.nested_design import Design, design
from sitegen.compute.stats.nested_reml import (
    fit,
    profile_intervals,
    rises_without,
    threshold,
)
from sitegen.compute.stats.variance import nested_table
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.statistics import CONFIDENCE, Estimate
from sitegen.model.variation_results import Component, Variation

IntArray = npt.NDArray[np.int64]

LEAST_REPEATS = 10
"""Fewest touchdowns beyond one a die that tell touchdowns from dies: a spread from a few of them
says little, and one odd touchdown would outweigh a wafer of dies. Our own choice."""
EXPLAINED = (
    "errors of the measurement that differ from wafer to wafer explain the spread between wafers"
)
METHOD = (
    "REML, nested: wafers, dies and touchdowns taken as independent draws of normal distributions;"
    " intervals by profile likelihood"
)


def variation(sample: Sample, repeats: Repeats | None, between_u: float | None) -> Variation:
    """Variance components of one parameter and condition, and the measurement's part.

    repeats: its single touchdowns; they stand in for the value of a die that has several.
    between_u: what errors that differ from wafer to wafer would put between them, as a standard
    deviation in the parameter's unit. No interval is stated where `no_interval` gives a reason;
    that of the spread between wafers needs five comparable wafers (`needs_wafers`).
    """
    if sample.censored.any():
        reason = censored_reason(int(sample.censored.sum()))
        return Variation("", sample.n, (), not_stated(None, sample.n, reason), None, reason)
    repeats, too_few = _enough(repeats)
    doubt = no_interval(sample)
    measured = measured_part(sample, doubt)
    nested = _nested(sample, repeats)
    components, reasons = _components(nested)
    components = tuple(_with_reasons(one, sample, doubt, between_u) for one in components)
    reasons += too_few
    touchdown = next((one for one in components if one.level == "touchdown"), None)
    if touchdown is not None:
        measured = with_touchdowns(measured, touchdown.standard_deviation, _alone(sample, repeats))
    return Variation(
        method=METHOD if components else "",
        n=len(nested.value),
        components=components,
        measured=measured,
        wafer_spread_by_measurement=between_u,
        reason="; ".join(reasons),
    )


def _with_reasons(one: Component, sample: Sample, doubt: str, between_u: float | None) -> Component:
    """A component without the interval that the data do not allow, and what is said of it."""
    found = one.standard_deviation
    if found.value is None:
        return one
    reasons = [found.reason]
    if found.upper is not None:
        used = comparable(sample.wafer)
        few = needs_wafers(sample.wafer, clusters(sample.value[used], sample.wafer[used]))
        reasons = [few if one.level == "wafer" else "", doubt]
    lost = any(reasons)
    if one.level == "wafer" and between_u is not None and 0 < found.value <= between_u:
        reasons.append(EXPLAINED)
    told = "; ".join(reason for reason in reasons if reason)
    found = Estimate(found.value, reason=told) if lost else replace(found, reason=told)
    return replace(one, standard_deviation=found)


def _enough(repeats: Repeats | None) -> tuple[Repeats | None, list[str]]:
    """The repeats where there are enough of them, and what is to be said where there are not."""
    if repeats is None:
        return None, []
    _, place = _places(repeats.wafer, repeats.die_x, repeats.die_y, repeats.site)
    beyond = len(place) - pd.unique(place).size
    if beyond >= LEAST_REPEATS:
        return repeats, []
    there = "is 1" if beyond == 1 else f"are {beyond}"
    return None, [
        f"the spread of touchdowns is inside that of the dies: to tell it needs {LEAST_REPEATS}"
        f" repeated touchdowns, there {there}"
    ]


@dataclass(frozen=True, eq=False)
class _Nested:
    """Values and what they are nested in, the outermost level first; (n,) each."""

    levels: tuple[str, ...]
    """Of the groups and, last, of the values themselves."""
    labels: tuple[IntArray, ...]
    value: FloatArray


def _places(
    wafer: IntArray, die_x: IntArray, die_y: IntArray, site: npt.NDArray[np.object_]
) -> tuple[IntArray, IntArray]:
    """(n,) and (n,): a number for the die, and for the site in it."""

    def code(array: IntArray) -> tuple[IntArray, int]:
        shifted = array - array.min(initial=0)
        return shifted, int(shifted.max(initial=0)) + 1

    (x, n_x), (y, n_y) = code(die_x), code(die_y)
    sites = pd.factorize(site)[0].astype(np.int64)
    die = (wafer * n_y + y) * n_x + x
    return die, die * (int(sites.max(initial=0)) + 1) + sites


def _nested(sample: Sample, repeats: Repeats | None) -> _Nested:
    """The values of a sample, each with its single touchdowns where there are several.

    Sites are a level where a die has two of them, touchdowns where there are repeats.
    """
    wafer, die_x, die_y = sample.wafer, sample.die_x, sample.die_y
    site, value = sample.site, sample.value
    if repeats is not None and len(repeats.value):
        alone = ~_repeated(sample, repeats)
        wafer = np.concatenate([wafer[alone], repeats.wafer])
        die_x = np.concatenate([die_x[alone], repeats.die_x])
        die_y = np.concatenate([die_y[alone], repeats.die_y])
        site = np.concatenate([site[alone], repeats.site])
        value = np.concatenate([value[alone], repeats.value])
    die, place = _places(wafer, die_x, die_y, site)
    levels, labels = ["wafer", "die"], [wafer, die]
    if pd.unique(place).size > pd.unique(die).size:
        levels.append("site")
        labels.append(place)
    if pd.unique(place).size < len(value):
        levels.append("touchdown")
    else:
        labels.pop()
    return _Nested(tuple(levels), tuple(labels), value)


def _repeated(sample: Sample, repeats: Repeats) -> BoolArray:
    """(n,): which values of the sample have several touchdowns."""
    both = [
        np.concatenate([getattr(sample, name), getattr(repeats, name)])
        for name in ("wafer", "die_x", "die_y", "site")
    ]
    _, place = _places(both[0], both[1], both[2], both[3])
    return np.asarray(np.isin(place[: sample.n], place[sample.n :]))


def _alone(sample: Sample, repeats: Repeats | None) -> FloatArray:
    """Own parts of u of values that one touchdown each gave.

    Those of dies with one touchdown; where there are none, of all values if each is one of its
    die's touchdowns and not their mean.
    """
    if repeats is None:
        return sample.u_own
    several = _repeated(sample, repeats)
    if not several.all():
        return sample.u_own[~several]
    singles = np.isin(sample.value, repeats.value).all()
    return sample.u_own if singles else sample.u_own[:0]


def _components(nested: _Nested) -> tuple[tuple[Component, ...], list[str]]:
    """Components of the levels that the data tell apart, and what is to be said besides."""
    n = len(nested.value)
    if n < 2:
        return (), [f"needs 2 values, there {'are none' if n == 0 else 'is 1'}"]
    levels, labels, value = nested.levels, nested.labels, nested.value
    unstated: list[Component] = []
    if levels[0] == "wafer" and (wafers := pd.unique(labels[0]).size) == 1 and len(levels) > 1:
        unstated.append(_unstated("wafer", wafers, "needs 2 wafers, there is 1"))
        levels, labels = levels[1:], labels[1:]
    data = design(labels, value)
    if min(data.degrees_of_freedom) < 1:
        return (), ["needs a wafer with 2 dies"]
    return (*unstated, *_of_design(levels, labels, value, data)), []


def _of_design(
    levels: tuple[str, ...], labels: tuple[IntArray, ...], value: FloatArray, data: Design
) -> list[Component]:
    """Components of levels with degrees of freedom, the outermost first."""
    if data.square[0, 0] <= 0:
        return _without_innermost(levels, labels, value, data)
    table = nested_table(data)
    best = fit(data)
    without = rises_without(data, best)
    degrees = data.degrees_of_freedom
    rises = np.array([threshold(one, CONFIDENCE) for one in degrees])
    lower, upper = profile_intervals(data, best, rises, without)
    variance = best.components[:, 0]
    found: list[Component] = []
    for place, level in enumerate(reversed(levels)):
        row = table[place]
        p_value = row.p_value
        if place and row.mean_square is None:
            rise = float(without[place, 0])
            p_value = float(chdtrc(1, rise)) / 2 if rise > 0 else 1.0
        found.append(
            Component(
                level=level,
                groups=data.groups[place],
                degrees_of_freedom=degrees[place],
                mean_square=row.mean_square,
                f_ratio=row.f,
                p_value=p_value,
                standard_deviation=Estimate(
                    math.sqrt(variance[place]),
                    math.sqrt(lower[place, 0]),
                    math.sqrt(upper[place, 0]),
                ),
                share=float(variance[place] / variance.sum()),
            )
        )
    return found[::-1]


def _without_innermost(
    levels: tuple[str, ...], labels: tuple[IntArray, ...], value: FloatArray, data: Design
) -> list[Component]:
    """Components where all values of each innermost group are equal: these spread by nothing."""
    innermost = Component(
        level=levels[-1],
        groups=data.groups[0],
        degrees_of_freedom=data.degrees_of_freedom[0],
        mean_square=0.0,
        f_ratio=None,
        p_value=None,
        standard_deviation=Estimate(0.0, reason="all values of each group are equal"),
        share=None,
    )
    if len(levels) == 1:
        return [innermost]
    first = np.unique(labels[-1], return_index=True)[1]
    outer = tuple(one[first] for one in labels[:-1])
    rest = _of_design(levels[:-1], outer, value[first], design(outer, value[first]))
    some = any(one.share is not None for one in rest)
    return [*rest, replace(innermost, share=0.0 if some else None)]


def _unstated(level: str, groups: int, reason: str) -> Component:
    return Component(level, groups, 0, None, None, None, Estimate(None, reason=reason), None)
