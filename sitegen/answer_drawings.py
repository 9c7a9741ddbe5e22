"""The small drawings beside the five answers of a parameter's page."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from sitegen import addresses
from sitegen.chart.concerned_map import (
    MOST_MAPS,
    STANDS_OUT,
    MarkedDie,
    MarkedWafer,
    concerned_map,
)
from sitegen.chart.spread_shares import spread_shares
from sitegen.chart.tolerance_view import Bounds, tolerance_view, uncertainty_view
from sitegen.compute.standing import numbers_that_stand
from sitegen.model.campaign import Parameter
from sitegen.model.results import CampaignResults, Drawing
from sitegen.render.parameter_case import Case, cases
from sitegen.render.statistics_good import told_interval
from sitegen.render.statistics_spread import differing
from sitegen.units import MINUS, THIN, count, percent


def answer_drawings(
    parameter: Parameter, values: pd.DataFrame, results: CampaignResults
) -> Mapping[str, Drawing]:
    """By 'answer-<question>-<condition>'; none where there is nothing to draw.

    values: columns wafer, die_x, die_y, condition, value, counts, standing, below_floor,
    not_reached of the parameter's values.
    """
    drawn: dict[str, Drawing | None] = {}
    for case in cases(parameter, results):
        rows = values[values["condition"] == case.condition]
        makers = {
            "good": _good(case, rows),
            "sure": _sure(case),
            "spread": _spread(case),
            "measurement": _measurement(case),
            "dies": _dies(case, rows),
        }
        drawn |= {f"answer-{name}-{case.condition}": one for name, one in makers.items()}
    return {name: one for name, one in drawn.items() if one is not None}


def _address(case: Case, question: str) -> str:
    return addresses.drawing(case.page, f"answer-{question}~{case.condition}")


def _bounds(case: Case) -> Bounds:
    """The limits, and the acceptance limits at the median uncertainty."""
    u = None if case.summary is None else case.summary.u
    limits = (case.parameter.lower, case.parameter.upper)
    return Bounds(*limits, *case.decision.acceptance_limits(*limits, u))


def _good(case: Case, rows: pd.DataFrame) -> Drawing | None:
    """All values with standing between the limits, and the tolerance interval that is told."""
    parameter, condition = case.parameter, case.condition
    axis = case.results.context.ranges.get(f"{parameter.id}/{condition}")
    numbers = numbers_that_stand(rows)["value"]
    if axis is None or numbers.empty:
        return None
    interval = None if case.statistics is None else told_interval(case.statistics.distribution)
    told = "" if interval is None else " The line under it is the tolerance interval."
    return tolerance_view(
        address=_address(case, "good"),
        title=f"{parameter.name} at {condition} between its limits",
        description=f"{count(len(numbers), 'value')} with standing of all wafers; limits as lines,"
        f" guard bands beside them.{told}",
        values=numbers.to_numpy(dtype=np.float64),
        unit=parameter.unit,
        bounds=_bounds(case),
        interval=None if interval is None else (interval.lower, interval.upper),
        axis=axis,
    )


def _sure(case: Case) -> Drawing | None:
    """The median value with its expanded uncertainty between the limits."""
    summary = case.summary
    if summary is None or summary.median is None or summary.u is None:
        return None
    q05, q95 = summary.q05, summary.q95
    return uncertainty_view(
        address=_address(case, "sure"),
        title=f"Uncertainty of {case.parameter.name} at {case.condition} to scale",
        description="The median value with its expanded uncertainty between the limits, or within"
        f" 5{THIN}% to 95{THIN}% of the values where there is no limit.",
        median=summary.median,
        expanded=case.decision.coverage_factor * summary.u,
        unit=case.parameter.unit,
        bounds=_bounds(case),
        spread=None if q05 is None or q95 is None else (q05, q95),
    )


def _spread(case: Case) -> Drawing | None:
    """Shares of the variance, the outermost level first."""
    if case.statistics is None:
        return None
    known = [
        (differing(one.level), one.share)
        for one in case.statistics.variation.components
        if one.share is not None
    ]
    if len(known) < 2 or not any(share for _, share in known):
        return None
    return spread_shares(
        address=_address(case, "spread"),
        title=f"Where the variance of {case.parameter.name} at {case.condition} lies",
        description=" and ".join(f"{name} {percent(share)}" for name, share in known),
        shares=known,
    )


def _measurement(case: Case) -> Drawing | None:
    """The measurement's own part of the variance of a wafer's dies."""
    statistics = case.statistics
    share = None if statistics is None else statistics.variation.measured.share_measured.value
    if share is None:
        return None
    return spread_shares(
        address=_address(case, "measurement"),
        title=f"The measurement's part of the variance of {case.parameter.name} at"
        f" {case.condition}",
        description=f"Measurement {percent(share)}, dies {percent(1 - share)} of the variance on a"
        " wafer.",
        shares=[("measurement", share), ("dies", 1 - share)],
    )


def _dies(case: Case, rows: pd.DataFrame) -> Drawing | None:
    """The wafers with most dies that ask for a look, those dies marked."""
    context = case.results.context
    layout, marked = context.record.layout, _marked(case)
    if layout is None or not marked:
        return None
    wafers = sorted(marked, key=lambda wafer: (-len(marked[wafer]), wafer))
    shown = sorted(wafers[:MOST_MAPS], key=context.wafers.index)
    counting = rows[rows["counts"].eq(True) & rows["value"].notna()]
    dies = {
        wafer: list(found[["die_x", "die_y"]].drop_duplicates().itertuples(index=False, name=None))
        for wafer, found in counting.groupby("wafer", sort=False)
    }
    more = len(wafers) - len(shown)
    return concerned_map(
        address=_address(case, "dies"),
        title=f"Dies that ask for a look by {case.parameter.name} at {case.condition}",
        description="Each marked die leads to its page."
        + (f" {count(more, 'more wafer')} with such dies." if more else ""),
        layout=layout,
        wafers=[
            MarkedWafer(wafer, dies.get(wafer, []), list(marked[wafer].values())) for wafer in shown
        ],
    )


def _marked(case: Case) -> dict[str, dict[tuple[int, int], MarkedDie]]:
    """By wafer and die; what takes standing or a verdict goes before what stands out."""
    found: dict[str, dict[tuple[int, int], MarkedDie]] = {}

    def mark(wafer: str, die: tuple[int, int], kind: str) -> None:
        name = f"die ({die[0]}, {die[1]}) on {wafer}: {kind}".replace("-", MINUS)
        href = case.to(addresses.die(wafer, *die))
        found.setdefault(wafer, {}).setdefault(die, MarkedDie(die, kind, name, href))

    for value in () if case.concerned is None else case.concerned.listed:
        mark(value.wafer, value.die, value.kind)
    for flag in () if case.statistics is None else case.statistics.outliers.flagged:
        mark(flag.wafer, flag.die, STANDS_OUT)
    return found
