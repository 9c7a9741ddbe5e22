"""The small drawings beside the five answers of a parameter's page."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from sitegen import addresses
from sitegen.chart.concerned_map import STANDS_OUT, MarkedDie, MarkedWafer, concerned_map
from sitegen.chart.spread_shares import spread_shares
from sitegen.chart.tolerance_view import Bounds, tolerance_view, uncertainty_view
from sitegen.model.campaign import Parameter
from sitegen.model.campaign_statistics import ParameterStatistics
from sitegen.model.results import CampaignResults, Drawing, ParameterResult
from sitegen.render.statistics_good import told_interval
from sitegen.render.statistics_rule import acceptance_limits
from sitegen.units import MINUS, THIN, count

LEVELS = {"wafer": "wafers", "die": "dies", "site": "sites", "touchdown": "touchdowns"}
"""Level of a component -> its short name in the bar."""


def answer_drawings(
    parameter: Parameter, values: pd.DataFrame, results: CampaignResults
) -> Mapping[str, Drawing]:
    """By 'answer-<question>-<condition>'; none where there is nothing to draw.

    values: columns wafer, die_x, die_y, condition, value, counts, standing, below_floor,
    not_reached of the parameter's values.
    """
    drawn: dict[str, Drawing | None] = {}
    counting = values[values["counts"].eq(True) & values["value"].notna()]
    for condition in parameter.conditions:
        rows = counting[counting["condition"] == condition]
        computed = _statistics(parameter, condition, results)
        makers = {
            "good": _good(parameter, condition, rows, results, computed),
            "sure": _sure(parameter, condition, results),
            "spread": _spread(parameter, condition, computed),
            "measurement": _measurement(parameter, condition, computed),
            "dies": _dies(parameter, condition, rows, results, computed),
        }
        drawn |= {f"answer-{name}-{condition}": one for name, one in makers.items()}
    return {name: one for name, one in drawn.items() if one is not None}


def _address(parameter: Parameter, question: str, condition: str) -> str:
    return addresses.drawing(addresses.parameter(parameter.id), f"answer-{question}~{condition}")


def _statistics(
    parameter: Parameter, condition: str, results: CampaignResults
) -> ParameterStatistics | None:
    every = results.statistics.parameters if results.statistics is not None else ()
    key = (parameter.id, condition)
    return next((one for one in every if (one.parameter, one.condition) == key), None)


def _overall(
    parameter: Parameter, condition: str, results: CampaignResults
) -> ParameterResult | None:
    key = (parameter.id, condition, "")
    return next(
        (one for one in results.parameters if (one.parameter, one.condition, one.wafer) == key),
        None,
    )


def _bounds(parameter: Parameter, condition: str, results: CampaignResults) -> Bounds:
    """The limits, and the acceptance limits at the median uncertainty."""
    decision = parameter.decision or results.context.record.decision
    found = _overall(parameter, condition, results)
    u = None if found is None else found.summary.u
    accepted = acceptance_limits(parameter, decision, u)
    return Bounds(parameter.lower, parameter.upper, *accepted)


def _good(
    parameter: Parameter,
    condition: str,
    rows: pd.DataFrame,
    results: CampaignResults,
    computed: ParameterStatistics | None,
) -> Drawing | None:
    """All values with standing between the limits, and the tolerance interval that is told."""
    axis = results.context.ranges.get(f"{parameter.id}/{condition}")
    hidden = rows["below_floor"].eq(True) | rows["not_reached"].eq(True)
    numbers = rows[~hidden & rows["standing"].ne("without standing")]["value"]
    if axis is None or numbers.empty:
        return None
    interval = None if computed is None else told_interval(computed.distribution)
    told = "" if interval is None else " The line under it is the tolerance interval."
    return tolerance_view(
        address=_address(parameter, "good", condition),
        title=f"{parameter.name} at {condition} between its limits",
        description=f"{count(len(numbers), 'value')} with standing of all wafers; limits as lines,"
        f" guard bands beside them.{told}",
        values=numbers.to_numpy(dtype=np.float64),
        unit=parameter.unit,
        bounds=_bounds(parameter, condition, results),
        interval=None if interval is None else (interval.lower, interval.upper),
        axis=axis,
    )


def _sure(parameter: Parameter, condition: str, results: CampaignResults) -> Drawing | None:
    """The median value with its expanded uncertainty between the limits."""
    found = _overall(parameter, condition, results)
    if found is None or found.summary.median is None or found.summary.u is None:
        return None
    decision = parameter.decision or results.context.record.decision
    q05, q95 = found.summary.q05, found.summary.q95
    return uncertainty_view(
        address=_address(parameter, "sure", condition),
        title=f"Uncertainty of {parameter.name} at {condition} to scale",
        description="The median value with its expanded uncertainty between the limits, or within"
        f" 5{THIN}% to 95{THIN}% of the values where there is no limit.",
        median=found.summary.median,
        expanded=decision.coverage_factor * found.summary.u,
        unit=parameter.unit,
        bounds=_bounds(parameter, condition, results),
        spread=None if q05 is None or q95 is None else (q05, q95),
    )


def _spread(
    parameter: Parameter, condition: str, computed: ParameterStatistics | None
) -> Drawing | None:
    """Shares of the variance, the outermost level first."""
    if computed is None:
        return None
    known = [
        (LEVELS.get(one.level, one.level), one.share)
        for one in computed.variation.components
        if one.share is not None
    ]
    if len(known) < 2 or not any(share for _, share in known):
        return None
    return spread_shares(
        address=_address(parameter, "spread", condition),
        title=f"Where the variance of {parameter.name} at {condition} lies",
        description=" and ".join(f"{name} {share:.1%}" for name, share in known),
        shares=known,
    )


def _measurement(
    parameter: Parameter, condition: str, computed: ParameterStatistics | None
) -> Drawing | None:
    """The measurement's own part of the variance of a wafer's dies."""
    share = None if computed is None else computed.variation.measured.share_measured.value
    if share is None:
        return None
    return spread_shares(
        address=_address(parameter, "measurement", condition),
        title=f"The measurement's part of the variance of {parameter.name} at {condition}",
        description=f"Measurement {share:.1%}, dies {1 - share:.1%} of the variance on a wafer.",
        shares=[("measurement", share), ("dies", 1 - share)],
    )


def _dies(
    parameter: Parameter,
    condition: str,
    rows: pd.DataFrame,
    results: CampaignResults,
    computed: ParameterStatistics | None,
) -> Drawing | None:
    """The wafers with most dies that ask for a look, those dies marked."""
    layout = results.context.record.layout
    marked = _marked(parameter, condition, results, computed)
    if layout is None or not marked:
        return None
    wafers = sorted(marked, key=lambda wafer: (-len(marked[wafer]), wafer))
    shown = sorted(wafers[:3], key=results.context.wafers.index)
    dies = {
        wafer: list(found[["die_x", "die_y"]].drop_duplicates().itertuples(index=False, name=None))
        for wafer, found in rows.groupby("wafer", sort=False)
    }
    more = len(wafers) - len(shown)
    return concerned_map(
        address=_address(parameter, "dies", condition),
        title=f"Dies that ask for a look by {parameter.name} at {condition}",
        description="Each marked die leads to its page."
        + (f" {count(more, 'more wafer')} with such dies." if more else ""),
        layout=layout,
        wafers=[
            MarkedWafer(wafer, dies.get(wafer, []), list(marked[wafer].values())) for wafer in shown
        ],
    )


def _marked(
    parameter: Parameter,
    condition: str,
    results: CampaignResults,
    computed: ParameterStatistics | None,
) -> dict[str, dict[tuple[int, int], MarkedDie]]:
    """By wafer and die; what takes standing or a verdict goes before what stands out."""
    page = addresses.parameter(parameter.id)
    found: dict[str, dict[tuple[int, int], MarkedDie]] = {}

    def mark(wafer: str, die: tuple[int, int], kind: str) -> None:
        name = f"die ({die[0]}, {die[1]}) on {wafer}: {kind}".replace("-", MINUS)
        href = addresses.relative(addresses.die(wafer, *die), page)
        found.setdefault(wafer, {}).setdefault(die, MarkedDie(die, kind, name, href))

    for one in results.concerned:
        if (one.parameter, one.condition) == (parameter.id, condition):
            for value in one.listed:
                mark(value.wafer, value.die, value.kind)
    for flag in () if computed is None else computed.outliers.flagged:
        mark(flag.wafer, flag.die, STANDS_OUT)
    return found
