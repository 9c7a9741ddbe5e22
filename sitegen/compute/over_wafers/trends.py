"""Values of each wafer in the order in which they were measured: trends, and rules of runs.

A trend is tested against the number of the touchdown and against the time since the calibration in
force. Dies are touched along a path, so that what changes with time changes with place as well: a
plane and a bowl are taken out of both first (`stats/surface`), and where they explain nearly all of
the order, as of a wafer touched row after row, no trend is claimed. What the surface does not
describe can still look like a trend: how often is kept beside the tests
(tests/compute/over_wafers/relation_coverage.md). Where a wafer is on several calibrations, each
further one has a term of its own beside the surface, so that a step between two is told as drift
neither against the touchdown's number nor against the time since calibration, which is a saw-tooth.

Run rules are `RUN_RULES`, on what the surface leaves.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from sitegen.compute.clocks import instant
from sitegen.compute.over_wafers.laws import censored_reason, needs
from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.stats.multiple import holm
from sitegen.compute.stats.runs import expected_signals, run_signals
from sitegen.compute.stats.surface import (
    LEAST_LEFT,
    LEAST_SHARE,
    TERMS,
    effect_beside_surface,
    without_surface,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.relation_results import Trend
from sitegen.model.statistics import CONFIDENCE, Estimate

TOUCHDOWN = "touchdown number"
SINCE = "time since calibration"
LEAST = TERMS + 1 + LEAST_LEFT
"""Fewest values of a wafer."""


@dataclass(frozen=True, eq=False)
class _Order:
    """Values of one wafer in the order of measurement; arrays (n,)."""

    value: FloatArray
    x_mm: FloatArray
    y_mm: FloatArray
    number: FloatArray
    """From 1; values taken at one time share it."""
    hours: FloatArray
    """Since the calibration; NaN where there is none or its time is not known."""
    calibration: npt.NDArray[np.object_]
    in_force: bool
    """Whether any value names a calibration."""
    untimed: int
    """Values left out, whose time is not stated."""


def trends(sample: Sample, times: Mapping[str, datetime]) -> tuple[Trend, ...]:
    """For each wafer with a value, against `TOUCHDOWN` and against `SINCE`.

    times: when each calibration was made, by id; clocks a little apart move no slope of a wafer on
    one calibration. Run rules are told with the touchdown number.
    p-values are adjusted over all of the sample's (Holm): over the wafers and both regressors of
    one parameter under one condition, and not over parameters.
    """
    made = {name: instant(at) for name, at in times.items()}
    found: list[Trend] = []
    for place, wafer in enumerate(sample.wafers):
        order = _in_order(sample, place, made)
        if order is None:
            continue
        if sample.censored[place]:
            why = censored_reason(int(sample.censored[place]))
            unknown = Estimate(None, reason=why)
            found += [
                Trend(wafer, against, len(order.value), unknown, None, None, (), None, why)
                for against in (TOUCHDOWN, SINCE)
            ]
            continue
        found += [_runs_of(_trend(wafer, TOUCHDOWN, order), order), _trend(wafer, SINCE, order)]
    p_values = [np.nan if one.p_value is None else one.p_value for one in found]
    adjusted = holm(np.array(p_values, dtype=np.float64))
    return tuple(
        one if np.isnan(p) else replace(one, adjusted_p=float(p))
        for one, p in zip(found, adjusted, strict=True)
    )


def _in_order(sample: Sample, place: int, made: Mapping[str, np.datetime64]) -> _Order | None:
    mine = np.flatnonzero(sample.wafer == place)
    if not mine.size:
        return None
    timed = mine[~np.isnat(sample.measured_at[mine])]
    rows = timed[np.argsort(sample.measured_at[timed], kind="stable")]
    at = sample.measured_at[rows]
    names = sample.calibration[rows]
    began = np.array([made.get(str(name), np.datetime64("NaT")) for name in names], dtype=at.dtype)
    return _Order(
        value=sample.value[rows],
        x_mm=sample.x_mm[rows],
        y_mm=sample.y_mm[rows],
        number=np.unique(at, return_inverse=True)[1] + 1.0,
        hours=(at - began) / np.timedelta64(1, "h"),
        calibration=names,
        in_force=bool((names != "").any()),
        untimed=len(mine) - len(rows),
    )


def _trend(wafer: str, against: str, order: _Order) -> Trend:
    regressor = order.number if against == TOUCHDOWN else order.hours
    known = ~np.isnan(regressor)
    rows = order.value[known], regressor[known], order.x_mm[known], order.y_mm[known]
    beside = _further(order.calibration[known])
    n = int(known.sum())
    # What is one number for all is no regressor, whatever rounding leaves of it.
    effect = effect_beside_surface(*rows, beside) if n and np.ptp(rows[1]) else None
    if effect is None:
        why = _why_not(against, order, *rows, beside)
        return Trend(wafer, against, n, Estimate(None, reason=why), None, None, (), None, why)
    half = float(stdtrit(n - TERMS - len(beside) - 1, 0.5 + CONFIDENCE / 2)) * effect.u
    slope = Estimate(effect.size, effect.size - half, effect.size + half)
    return Trend(wafer, against, n, slope, effect.p_value, None, (), None)


def _further(calibration: npt.NDArray[np.object_]) -> list[FloatArray]:
    """An indicator (n,) for each calibration in force but the first."""
    names = dict.fromkeys(calibration.tolist())
    return [(calibration == name).astype(np.float64) for name in list(names)[1:]]


def _why_not(
    against: str,
    order: _Order,
    value: FloatArray,
    regressor: FloatArray,
    x_mm: FloatArray,
    y_mm: FloatArray,
    beside: list[FloatArray],
) -> str:
    """Why no trend is stated."""
    n, least = len(value), LEAST + len(beside)
    if against == SINCE and not order.in_force:
        return "no calibration is in force for these values"
    if n < least:
        missing = order.untimed if against == TOUCHDOWN else order.untimed + len(order.value) - n
        have = "has" if missing == 1 else "have"
        without = f"; {missing} more {have} no time" if missing else ""
        return f"{needs(least, n, 'values with a time')}{without}"
    if not np.ptp(regressor):
        return "all values carry one time"
    what = "a plane, a bowl and the calibrations" if beside else "a plane and a bowl over the wafer"
    left = without_surface(regressor, x_mm, y_mm, beside)
    share = float(left @ left) / float(np.sum((regressor - regressor.mean()) ** 2))
    if share <= LEAST_SHARE:
        return (
            f"{what} explain {100 * (1 - share):.1f} % of the order of"
            f" measurement, so that a trend could not be told from {'them' if beside else 'place'};"
            f" needs less than {100 * (1 - LEAST_SHARE):g} %"
        )
    return f"{what if beside else 'a plane and a bowl'} leave nothing of the values"


def _runs_of(trend: Trend, order: _Order) -> Trend:
    """With the signals of the run rules on what the surface leaves."""
    n = len(order.value)
    if n < LEAST or len(np.unique(order.number)) < n:
        return trend
    left = without_surface(order.value, order.x_mm, order.y_mm)
    if not _more_than_rounding(left, order.value):
        return trend
    found = run_signals(left)
    if found is None:
        return trend
    return replace(trend, runs=found, expected_runs=expected_signals(n))


def _more_than_rounding(left: npt.ArrayLike, values: FloatArray) -> bool:
    residuals = np.asarray(left, dtype=np.float64)
    return float(residuals @ residuals) > 1e-24 * float(values @ values)
