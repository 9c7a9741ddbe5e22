"""What the temperature's uncertainty makes of a value."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.wafer import Thermal

ZERO_CELSIUS_K = 273.15
BY_VALUE_OVER_T = ("ideality factor", "subthreshold slope")
"""Figures from curves that change with the absolute temperature by value/T."""


def temperature_uncertainty(
    rows: pd.DataFrame, campaign: CampaignRecord, thermal: Sequence[Thermal]
) -> FloatArray:
    """Part of each value's uncertainty from the temperature, in the parameter's unit; (n,).

    The size of the parameter's declared coefficient times the standard uncertainty of the
    surface's temperature at the condition's set point. Without a coefficient an ideality factor
    has the one of its definition, value/T, and so has a subthreshold slope: n (k T/q) ln 10, n
    taken as constant. NaN: the parameter states no coefficient, or the wafer
    no temperature at the set point.

    rows: columns parameter, condition, value.
    """
    set_points = {one.id: one.temperature_c for one in campaign.conditions}
    u_c = {name: _u_at(set_point, thermal) for name, set_point in set_points.items()}
    found = np.full(len(rows), np.nan)
    names = rows["parameter"].to_numpy()
    conditions = rows["condition"].to_numpy()
    values = rows["value"].to_numpy(dtype=np.float64)
    for parameter in campaign.parameters:
        for condition in parameter.conditions:
            mine = (names == parameter.id) & (conditions == condition)
            if mine.any() and condition in u_c:
                per_c = _coefficient(parameter, values[mine], set_points[condition])
                found[mine] = np.abs(per_c) * u_c[condition]
    return found


def _u_at(set_point_c: float, thermal: Sequence[Thermal]) -> float:
    """Of the set point's own record; NaN without one."""
    return next(
        (
            one.surface_correction_u_c
            for one in thermal
            if abs(one.set_point_c - set_point_c) < 1e-6
        ),
        float("nan"),
    )


def _coefficient(parameter: Parameter, values: FloatArray, set_point_c: float) -> FloatArray:
    if parameter.temperature_coefficient_per_c is not None:
        return np.full(len(values), parameter.temperature_coefficient_per_c)
    if parameter.from_curve is not None and parameter.from_curve.figure in BY_VALUE_OVER_T:
        return values / (set_point_c + ZERO_CELSIUS_K)
    return np.full(len(values), np.nan)
