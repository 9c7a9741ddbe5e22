"""Mean and median shift over the wafers of a stress, control wafers taken off."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.special import ndtri

from sitegen.compute.over_wafers.paired_dies import PairedDies
from sitegen.compute.stats import paired as stats
from sitegen.compute.stats.clusters import LEAST_WAFERS
from sitegen.compute.stats.order_statistics import LEAST_FOR_MEDIAN
from sitegen.compute.uncertainty_parts import Carried
from sitegen.model.arrays import FloatArray
from sitegen.model.statistics import CONFIDENCE, Estimate

NOT_MEASURED = "without the measurement's part, which is not stated"
"""Reason beside what is stated of the dies' spread alone."""
NOTHING_PAIRED = "no die has a number before and after"
NO_SPREAD = "the differences have no spread"
Z = float(ndtri(0.5 + CONFIDENCE / 2))


@dataclass(frozen=True, eq=False)
class Measured:
    """One wafer with paired values, and what its mean difference carries."""

    dies: PairedDies
    carried: Carried | None
    """None: not stated."""
    differences: FloatArray
    """(n_die,), of the means over sites."""


@dataclass(frozen=True)
class MeanShift:
    """The mean over wafers of their mean differences, that of control wafers taken off."""

    estimate: Estimate
    p_value: float | None
    of_process: bool
    """Whether the wafer is the unit of the interval."""
    control_mean: float | None
    control_carried: Carried | None
    """Of the control's mean; with the scatter of its dies in place of their own errors."""
    carried: Carried | None
    besides: float
    """Standard uncertainty that is the same for all dies: shared errors, and the control's mean."""
    reason: str


def over_wafers(stressed: Sequence[Measured], controls: Sequence[Measured]) -> MeanShift:
    """The mean shift of wafers with at least one die each; `controls` may be empty.

    From `LEAST_WAFERS` on each side on, the wafers' means are the units, and what the measurement
    adds is the part of its shared errors that their spread does not show. Else the dies are the
    units, each wafer weighing the same, and shared errors are added whole.
    """
    if not stressed:
        none = Estimate(None, reason=NOTHING_PAIRED)
        return MeanShift(none, None, False, None, None, None, 0.0, NOTHING_PAIRED)
    of_process = all(len(one) >= LEAST_WAFERS for one in (stressed, controls) if one)
    sides = [_groups(one) for one in (stressed, controls) if one]
    of_control = _carried(controls)
    net = _carried(stressed)
    if controls and net is not None:
        net = None if of_control is None else net.minus(of_control)
    shared = 0.0 if net is None else net.u_common
    if of_process:
        means = [_of_means(one) for one in sides]
        unseen = shared**2 - _shown(stressed) - _shown(controls)
        found = _less(means, float(np.sqrt(max(unseen, 0.0))))
    else:
        found = _less(sides, shared)
    why = _why_not(found, sides, of_process)
    low, high = found.interval()
    control = _less(sides[1:], 0.0) if controls else None
    error = 0.0 if control is None or np.isnan(control.u) else control.u
    return MeanShift(
        estimate=Estimate(number(found.value), number(low), number(high), why),
        p_value=number(found.p_value),
        of_process=of_process,
        control_mean=None if control is None else control.value,
        control_carried=None
        if of_control is None
        else replace(of_control, own_square=max(error**2, of_control.own_square)),
        carried=net,
        besides=float(np.hypot(shared, error)),
        reason=why or (NOT_MEASURED if net is None else ""),
    )


def median_shift(stressed: Sequence[Measured], taken_off: float, besides: float) -> Estimate:
    """Of all dies of these wafers, less what is taken off; its ends widened in quadrature.

    Each end lies as far from the median as that of the sign test and the shared part in quadrature:
    Zou and Donner 2008, Statistics in Medicine 27:1693.
    """
    if not stressed:
        return Estimate(None, reason=NOTHING_PAIRED)
    values = np.concatenate([one.differences for one in stressed]) - taken_off
    middle, ends = float(np.median(values)), stats.median_ends(values)
    if ends is None:
        needed = LEAST_FOR_MEDIAN
        return Estimate(middle, reason=f"needs {needed} dies, there are {len(values)}")
    low, high = (float(np.hypot(middle - end, Z * besides)) for end in ends)
    return Estimate(middle, middle - low, middle + high)


def pooled_spread(several: Sequence[Measured]) -> float | None:
    """Standard deviation of the differences about their wafer's mean; None without freedom."""
    if not several:
        return None
    groups = _groups(several)
    freedom = np.maximum(groups.n - 1, 0)
    if not freedom.sum():
        return None
    return float(np.sqrt(np.sum(freedom * np.nan_to_num(groups.variance)) / freedom.sum()))


def number(value: float) -> float | None:
    """None for NaN."""
    return None if np.isnan(value) else float(value)


def _groups(several: Sequence[Measured]) -> stats.Groups:
    sizes = [len(one.differences) for one in several]
    values = np.concatenate([one.differences for one in several])
    return stats.groups_of(values, np.repeat(np.arange(len(sizes)), sizes), len(sizes))


def _of_means(groups: stats.Groups) -> stats.Groups:
    """The wafers' means as one group."""
    return stats.groups_of(groups.mean, np.zeros(len(groups.mean), dtype=np.int64), 1)


def _less(sides: Sequence[stats.Groups], besides: float) -> stats.Mean:
    """The mean over the first side's groups, less that over the second's where there is one."""
    joined = stats.Groups(
        *(
            np.concatenate([getattr(side, name) for side in sides])
            for name in ("n", "mean", "variance")
        )
    )
    weights = [
        np.full(len(side.n), sign / len(side.n))
        for side, sign in zip(sides, (1.0, -1.0), strict=False)
    ]
    return stats.weighted(joined, np.concatenate(weights), besides)


def _carried(several: Sequence[Measured]) -> Carried | None:
    """What the mean of the wafers' means carries; None where one of them is not stated."""
    known = [one.carried for one in several if one.carried is not None]
    return Carried.mean_of(known) if known and len(known) == len(several) else None


def _shown(side: Sequence[Measured]) -> float:
    """Variance of a mean of wafers by shared errors that the spread of its wafers shows.

    The square of that spread holds on average half the mean variance of a difference of two wafers'
    shifts; over the number of wafers it is what the mean's own variance has of it.
    """
    known = [one.carried for one in side if one.carried is not None]
    apart = [one.minus(other).u_common ** 2 for one, other in combinations(known, 2)]
    return float(np.mean(apart)) / 2 / len(side) if apart else 0.0


def _why_not(found: stats.Mean, sides: Sequence[stats.Groups], of_process: bool) -> str:
    """Why no interval is stated; empty where one is."""
    if not np.isnan(found.u):
        return ""
    least = min(int(side.n.min()) for side in sides)
    if not of_process and least < stats.LEAST:
        there = "one has 1" if len(sides) > 1 or len(sides[0].n) > 1 else "there is 1"
        return f"needs {stats.LEAST} dies on each wafer, {there}"
    return NO_SPREAD
