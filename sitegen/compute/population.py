"""Summaries of parameters: over a wafer's dies and over all wafers of a campaign."""

from collections import Counter
from collections.abc import Mapping

import numpy as np
import pandas as pd

from sitegen.compute.rows import Rows, count_of, groups_of, rows_of, taken
from sitegen.compute.stats.summary import BELOW_FLOOR, BEYOND_REACH, summarise
from sitegen.compute.stats.summary import Summary as Figures
from sitegen.compute.stats.zones import ZONES
from sitegen.compute.uncertainty_parts import BUDGET, carried_by_mean
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.device import Device
from sitegen.model.results import OUTCOMES, ParameterResult, Summary

NEEDED = [
    "wafer",
    "parameter",
    "condition",
    "zone",
    "value",
    "u",
    *BUDGET,
    "floor",
    "below_floor",
    "not_reached",
    "calibration",
    "outcome",
    "standing",
    "counts",
]
"""Columns of the results that summaries are made from."""

INSTRUMENTS: Mapping[str, str] = {}
"""In a mean all wafers are taken to share an instrument: no error of it is averaged away."""


def summarise_results(
    results: pd.DataFrame, campaign: CampaignRecord, wafer: str
) -> tuple[ParameterResult, ...]:
    """A summary of every parameter and condition, in the campaign's order.

    results: `RESULT_COLUMNS`, of one wafer or of all (wafer is then ''). Only values that count
    are used, and of them those with standing; the others are counted beside them.
    """
    counting = rows_of(results.loc[results["counts"].astype(bool)], NEEDED)
    groups = dict(groups_of(counting, ("parameter", "condition")))
    devices = {one.id: one for one in campaign.devices}
    nothing = taken(counting, np.zeros(0, dtype=np.int64))
    return tuple(
        _parameter_result(
            parameter, devices, condition, wafer, groups.get((parameter.id, condition), nothing)
        )
        for parameter in campaign.parameters
        for condition in parameter.conditions
    )


def _parameter_result(
    parameter: Parameter,
    devices: Mapping[str, Device],
    condition: str,
    wafer: str,
    rows: Rows,
) -> ParameterResult:
    found = Counter(rows["outcome"][_stands(rows)].tolist())
    return ParameterResult(
        parameter=parameter.id,
        condition=condition,
        wafer=wafer,
        summary=summary_of(rows, parameter, devices),
        zones={
            zone: summary_of(taken(rows, rows["zone"] == zone), parameter, None) for zone in ZONES
        },
        outcomes={word: found[word] for word in OUTCOMES},
    )


def _stands(rows: Rows) -> BoolArray:
    return np.asarray((rows["standing"] == "stands") | (rows["standing"] == "not closed"))


def summary_of(rows: Rows, parameter: Parameter, devices: Mapping[str, Device] | None) -> Summary:
    """Summary of one group of values of a parameter that count.

    devices: by id, for the uncertainty of the mean; None: it is not wanted.
    """
    without = np.asarray(rows["standing"] == "without standing")
    valid = taken(rows, ~without & ~np.isnan(rows["value"]))
    found = summarise(
        valid["value"],
        valid["below_floor"],
        valid["floor"],
        valid["not_reached"],
        parameter.distribution,
    )
    censored = found.n_below_floor + found.n_not_reached
    carried = (
        None
        if censored or devices is None
        else carried_by_mean(valid, parameter, devices, INSTRUMENTS)
    )
    wanted = BUDGET if devices is not None else ("u_common", "u_own")
    budget = {name: _median(valid[name]) for name in wanted}
    return Summary(
        n=found.n,
        missing=count_of(rows) - count_of(valid) - int(without.sum()),
        without_standing=int(without.sum()),
        not_closed=int((valid["standing"] == "not closed").sum()),
        below_floor=found.n_below_floor,
        highest_floor=found.highest_floor,
        not_reached=found.n_not_reached,
        least_reached=found.least_reached,
        mean=found.mean,
        standard_deviation=found.standard_deviation,
        estimator=found.estimator,
        robust_spread=found.robust_spread,
        median=_told(found.median),
        q05=_told(found.quantile_05),
        q25=_told(found.quantile_25),
        q75=_told(found.quantile_75),
        q95=_told(found.quantile_95),
        minimum=_told(found.minimum),
        maximum=_told(found.maximum),
        below=_names_of(found, BELOW_FLOOR),
        beyond=_names_of(found, BEYOND_REACH),
        u=_median(valid["u"]),
        u_common=budget["u_common"],
        u_own=budget["u_own"],
        u_mean=None if carried is None else carried.u,
        budget={name: part for name, part in budget.items() if part is not None},
    )


def _told(figure: float | None) -> float | None:
    """A figure that is a number."""
    return None if figure is None or np.isinf(figure) else figure


def _names_of(found: Figures, stands_for: float) -> tuple[str, ...]:
    """Names of the figures, as the model has them, that fall among censored values."""
    figures = {
        "median": found.median,
        "q05": found.quantile_05,
        "q25": found.quantile_25,
        "q75": found.quantile_75,
        "q95": found.quantile_95,
        "minimum": found.minimum,
        "maximum": found.maximum,
    }
    return tuple(name for name, figure in figures.items() if figure == stands_for)


def _median(column: FloatArray) -> float | None:
    """Of what is stated; None where nothing is."""
    stated = column[~np.isnan(column)]
    return float(np.median(stated)) if len(stated) else None
