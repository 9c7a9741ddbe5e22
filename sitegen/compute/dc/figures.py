"""Every figure that a parameter can take from curves, by the name that its record uses."""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from sitegen.compute.dc.conductances import (
    conductance_at,
    greatest_transconductance,
    threshold_by_extrapolation,
)
from sitegen.compute.dc.crossings import (
    breakdown_voltage,
    current_at,
    on_resistance,
    threshold_by_constant_current,
)
from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.estimates import Estimate, estimate
from sitegen.compute.dc.slopes import (
    ideality_factor,
    resistance,
    resistance_of_one_contact,
    subthreshold_slope,
)
from sitegen.compute.dc.y_function import threshold_by_y_function
from sitegen.model.curve_figures import CURVE_FIGURE_AXES, CurveFigureName
from sitegen.model.extraction import FromCurve

RESTS_ON_DRAIN_V: frozenset[CurveFigureName] = frozenset(
    {
        "threshold by extrapolation",
        "threshold by Y-function",
        "drain-induced shift",
        "on-resistance",
    }
)
"""Figures in whose formula the drain voltage of the curve stands."""
SIGNED: frozenset[CurveFigureName] = frozenset(
    {
        "threshold by constant current",
        "threshold by extrapolation",
        "threshold by Y-function",
        "current",
    }
)
"""Figures that are negative on a p-type device where they are positive on an n-type one."""


def extract(curves: Curves, wanted: FromCurve, sign: int = 1) -> Estimate:
    """The figure that a parameter declares, of each curve.

    curves: turned to the signs of an n-type device; sign: -1 where they were negated, so that the
    declared places, which have the device's own signs, are turned as well. The result has the
    device's own sign. For a drain-induced shift the first half of the curves has the first of the
    two stepped values, the second half the second, die by die.

    Raises KeyError for a figure that is not known; the record allows none.
    """
    told = CURVE_FIGURE_AXES.get(wanted.figure)
    if told and (curves.swept_is_current, curves.measured_is_current) not in told:
        n = len(curves.swept)
        return estimate(
            np.full(n, np.nan),
            np.full(n, np.nan),
            np.zeros(curves.swept.shape, dtype=bool),
            [(np.ones(n, dtype=bool), "the curve's axes do not suit the figure")],
        )
    found = ESTIMATORS[wanted.figure](curves, wanted, sign)
    if sign < 0 and wanted.figure in SIGNED:
        return replace(found, value=-found.value)
    return found


def _drain_induced_shift(curves: Curves, wanted: FromCurve, sign: int) -> Estimate:
    """-(change of threshold)/(change of V_DS); thresholds by constant current.

    Their misfits have signs of their own and partly cancel.
    """
    every = threshold_by_constant_current(curves, _current(wanted))
    n = len(every.value) // 2
    first, second = _pair(wanted.stepped_pair)
    change_v = sign * (second - first) + curves.drain_off_v[n:] - curves.drain_off_v[:n]
    no_value = np.where(every.no_value[:n] != "", every.no_value[:n], every.no_value[n:])
    return estimate(
        -(every.value[n:] - every.value[:n]) / change_v,
        np.hypot(every.u_extraction[:n], every.u_extraction[n:]) / np.abs(change_v),
        every.used[:n] | every.used[n:],
        [(no_value != "", no_value)],
        misfit=-(every.misfit[n:] - every.misfit[:n]) / change_v,
    )


def _current(wanted: FromCurve) -> float:
    assert wanted.current_a is not None
    return wanted.current_a


def _at(wanted: FromCurve, sign: int) -> float:
    assert wanted.swept_at is not None
    return sign * wanted.swept_at


def _pair(numbers: tuple[float, float] | None) -> tuple[float, float]:
    assert numbers is not None
    return numbers


def _window(wanted: FromCurve, sign: int) -> tuple[float, float]:
    low, high = _pair(wanted.swept_window)
    return (low, high) if sign > 0 else (-high, -low)


ESTIMATORS: Mapping[CurveFigureName, Callable[[Curves, FromCurve, int], Estimate]] = {
    "threshold by constant current": lambda curves, wanted, _: threshold_by_constant_current(
        curves, _current(wanted)
    ),
    "threshold by extrapolation": lambda curves, _, __: threshold_by_extrapolation(curves),
    "threshold by Y-function": lambda curves, wanted, sign: threshold_by_y_function(
        curves, _window(wanted, sign)
    ),
    "greatest transconductance": lambda curves, _, __: greatest_transconductance(curves),
    "transconductance": lambda curves, wanted, sign: conductance_at(curves, _at(wanted, sign)),
    "output conductance": lambda curves, wanted, sign: conductance_at(curves, _at(wanted, sign)),
    "current": lambda curves, wanted, sign: current_at(curves, _at(wanted, sign)),
    "subthreshold slope": lambda curves, wanted, _: subthreshold_slope(
        curves, _pair(wanted.current_window_a)
    ),
    "drain-induced shift": _drain_induced_shift,
    "on-resistance": lambda curves, wanted, sign: on_resistance(curves, _at(wanted, sign)),
    "breakdown voltage": lambda curves, wanted, _: breakdown_voltage(curves, _current(wanted)),
    "ideality factor": lambda curves, wanted, _: ideality_factor(
        curves, _pair(wanted.current_window_a)
    ),
    "four-terminal resistance": lambda curves, wanted, sign: resistance(
        curves, _window(wanted, sign)
    ),
    "resistance of one contact": lambda curves, wanted, sign: resistance_of_one_contact(
        curves, _window(wanted, sign)
    ),
}
