"""How much of the spread of a wafer's dies is the measurement, from what is stated of its u."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import chdtri

from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.space_results import Patterns
from sitegen.model.statistics import CONFIDENCE, Estimate
from sitegen.model.variation_results import MeasuredPart, Variation


def measured_part(sample: Sample, doubt: str = "") -> MeasuredPart:
    """The spread within wafers set against each value's own part of u.

    s^2 is pooled over wafers, of the values with a stated uncertainty. Own errors are independent
    of the dies and of each other, so that s^2 is expected to be their mean square plus the variance
    of the dies.
    The interval is that of s^2, by chi-squared with the dies' degrees of freedom, less u_own^2,
    which is taken as known; errors that values share make no spread within a wafer.
    doubt: why no interval is stated (`interval_conditions.no_interval`).
    """
    stated = ~np.isnan(sample.u_own)
    n = int(stated.sum())
    without = sample.n - n
    told = [f"values without a stated uncertainty left out: {without}"] if n and without else []
    if sample.n and not n:
        return not_stated(
            _spread(sample, np.ones(sample.n, dtype=bool))[0], sample.n, "no uncertainty is stated"
        )
    spread, freedom = _spread(sample, stated)
    if spread is None:
        return not_stated(None, n, "needs a wafer with 2 dies")
    own = math.sqrt(float(np.mean(sample.u_own[stated] ** 2)))
    shared = math.sqrt(float(np.mean(np.nan_to_num(sample.u_shared[stated]) ** 2)))
    tail = (1.0 - CONFIDENCE) / 2.0
    square = spread**2
    lower = square * freedom / float(chdtri(freedom, tail))
    upper = square * freedom / float(chdtri(freedom, 1.0 - tail))
    if own >= spread and own > 0:
        told.append("the stated own uncertainty explains more than the dies' whole spread")
    return MeasuredPart(
        n=n,
        spread=spread,
        u_own=own,
        u_shared=shared,
        spread_of_dies=_doubted(
            Estimate(_beyond(square, own), _beyond(lower, own), _beyond(upper, own)), doubt
        ),
        share_measured=_doubted(_share(own, square, lower, upper), doubt),
        reason="; ".join(told),
    )


def with_touchdowns(measured: MeasuredPart, touchdown: Estimate, u_own: FloatArray) -> MeasuredPart:
    """The same, saying where repeated touchdowns contradict the stated own uncertainty.

    touchdown: their standard deviation with its interval; u_own: of values of one touchdown each.
    """
    stated = u_own[~np.isnan(u_own)]
    if not stated.size or touchdown.lower is None or touchdown.upper is None:
        return measured
    own = math.sqrt(float(np.mean(stated**2)))
    if touchdown.lower <= own <= touchdown.upper:
        return measured
    told = (
        "repeated touchdowns spread more than the stated own uncertainty"
        if own < touchdown.lower
        else "repeated touchdowns spread less than the stated own uncertainty"
    )
    return replace(measured, reason="; ".join(one for one in (measured.reason, told) if one))


def beside_patterns(variation: Variation, found: Sequence[Patterns]) -> Variation:
    """The same, saying where a claimed pattern contradicts the stated own uncertainty.

    Errors of each value's own are independent and make no pattern over a wafer; where they are said
    to be no less than the whole spread, a pattern shows that they are not.
    """
    part = variation.measured
    wafers = [one.wafer for one in found if any(test.text for test in one.tests)]
    if not wafers or part.spread is None or part.u_own is None:
        return variation
    if part.u_own < part.spread or not part.u_own:
        return variation
    told = (
        f"{', '.join(wafers)} {'shows' if len(wafers) == 1 else 'show'} a pattern, which errors of"
        " each value's own do not make: the stated own uncertainty must be overstated, or partly"
        " shared by the wafer"
    )
    reason = "; ".join(one for one in (part.reason, told) if one)
    return replace(variation, measured=replace(part, reason=reason))


def _spread(sample: Sample, where: BoolArray) -> tuple[float | None, int]:
    """Standard deviation within wafers, and its degrees of freedom.

    Sites of a die share the die: the spread counts as many degrees of freedom as there are dies
    beyond one a wafer, which is on the safe side.
    """
    wafer, value = sample.wafer[where], sample.value[where]
    count = np.bincount(wafer, minlength=len(sample.wafers))
    freedom = int(np.maximum(count - 1, 0).sum())
    if freedom < 1:
        return None, 0
    first = np.zeros(len(count))
    first[wafer] = value
    rest = value - first[wafer]
    mean = np.bincount(wafer, rest, len(count)) / np.maximum(count, 1)
    rest = rest - mean[wafer]
    x, y = (one - one.min() for one in (sample.die_x[where], sample.die_y[where]))
    die = (wafer * (int(y.max()) + 1) + y) * (int(x.max()) + 1) + x
    dies = len(pd.unique(die)) - int((count > 0).sum())
    if dies < 1:
        return None, 0
    return math.sqrt(float(np.sum(rest**2)) / freedom), dies


def _doubted(found: Estimate, doubt: str) -> Estimate:
    return Estimate(found.value, reason=doubt) if doubt and found.value is not None else found


def _beyond(square: float, own: float) -> float:
    return math.sqrt(max(square - own**2, 0.0))


def _share(own: float, square: float, lower: float, upper: float) -> Estimate:
    """Of the variance that is the measurement's, at most 1."""
    if square <= 0:
        return Estimate(None, reason="the values do not spread")
    return Estimate(min(own**2 / square, 1.0), min(own**2 / upper, 1.0), min(own**2 / lower, 1.0))


def not_stated(spread: float | None, n: int, reason: str) -> MeasuredPart:
    """A part of which nothing is stated but, where there is one, the spread as measured."""
    nothing = Estimate(None, reason=reason)
    return MeasuredPart(n, spread, None, None, nothing, nothing, reason)
