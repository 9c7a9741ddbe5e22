"""Summaries of parameters: over a wafer's dies and over all wafers of a campaign."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from sitegen.compute.stats.summary import BELOW_FLOOR, summarise
from sitegen.compute.stats.zones import ZONES
from sitegen.model.campaign import CampaignRecord
from sitegen.model.results import OUTCOMES, ParameterResult, Summary

NEEDED = [
    "wafer",
    "parameter",
    "condition",
    "zone",
    "value",
    "u",
    "u_common",
    "u_own",
    "floor",
    "below_floor",
    "outcome",
    "standing",
    "counts",
]
"""Columns of the results that summaries are made from."""


def summarise_results(
    results: pd.DataFrame, campaign: CampaignRecord, wafer: str
) -> tuple[ParameterResult, ...]:
    """A summary of every parameter and condition, in the campaign's order.

    results: `RESULT_COLUMNS`, of one wafer or of all (wafer is then ''). Only values that count
    are used, and of them those with standing; the others are counted beside them.
    """
    counting = results[results["counts"].astype(bool)]
    groups: Mapping[tuple[str, str], pd.DataFrame] = {
        (str(parameter), str(condition)): rows
        for (parameter, condition), rows in counting.groupby(["parameter", "condition"], sort=False)
    }
    nothing = counting.iloc[:0]
    return tuple(
        _parameter_result(
            parameter.id, condition, wafer, groups.get((parameter.id, condition), nothing)
        )
        for parameter in campaign.parameters
        for condition in parameter.conditions
    )


def _parameter_result(
    parameter: str, condition: str, wafer: str, rows: pd.DataFrame
) -> ParameterResult:
    valid = rows[rows["standing"].isin(["stands", "not closed"])]
    found = valid["outcome"].value_counts()
    return ParameterResult(
        parameter=parameter,
        condition=condition,
        wafer=wafer,
        summary=summary_of(rows),
        zones={zone: summary_of(rows[rows["zone"] == zone]) for zone in ZONES},
        outcomes={word: int(found.get(word, 0)) for word in OUTCOMES},
    )


def summary_of(rows: pd.DataFrame) -> Summary:
    """Summary of one group of values that count."""
    without = rows["standing"] == "without standing"
    valid = rows[~without & rows["value"].notna()]
    found = summarise(
        valid["value"].to_numpy(dtype=np.float64),
        valid["below_floor"].to_numpy(dtype=bool),
        valid["floor"].to_numpy(dtype=np.float64),
    )
    figures = {
        "median": found.median,
        "q05": found.quantile_05,
        "q25": found.quantile_25,
        "q75": found.quantile_75,
        "q95": found.quantile_95,
        "minimum": found.minimum,
        "maximum": found.maximum,
    }
    below = tuple(name for name, figure in figures.items() if figure == BELOW_FLOOR)
    figures |= dict.fromkeys(below)
    return Summary(
        n=found.n,
        missing=len(rows) - len(valid) - int(without.sum()),
        without_standing=int(without.sum()),
        not_closed=int((valid["standing"] == "not closed").sum()),
        below_floor=found.n_below_floor,
        highest_floor=found.highest_floor,
        mean=found.mean,
        standard_deviation=found.standard_deviation,
        robust_spread=found.robust_spread,
        below=below,
        **figures,
        **{name: _median(valid[name]) for name in ("u", "u_common", "u_own")},
    )


def _median(column: "pd.Series[float]") -> float | None:
    """Of what is stated; None where nothing is."""
    stated = column.to_numpy(dtype=np.float64)
    stated = stated[~np.isnan(stated)]
    return float(np.median(stated)) if len(stated) else None
