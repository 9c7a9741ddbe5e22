"""The drawings of what stresses did to a parameter: shifts over size, and maps of them."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from sitegen import addresses
from sitegen.chart.axis import equal_classes, snapped_range
from sitegen.chart.map_key import MapDie
from sitegen.chart.scatter import Along, scatter
from sitegen.chart.wafer_map import wafer_map
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Layout, Parameter
from sitegen.model.results import CampaignResults, Drawing, Outcome
from sitegen.model.shift_results import PairShift, Shift
from sitegen.render.phrases import with_unit
from sitegen.render.statistics_shifts import chart_name, map_name
from sitegen.units import count, number, shown_unit

PAIRED, GONE = "paired", "not measured"
"""States of a die of the table: with a partner, and not measured after."""
BULK = (0.02, 0.98)
"""What the classes of a map span: one odd die does not take all of them."""


def shift_drawings(
    parameter: Parameter, dies: pd.DataFrame, results: CampaignResults
) -> Mapping[str, Drawing]:
    """By `chart_name` and `map_name`; none where nothing is paired.

    dies: `SHIFT_DIE_COLUMNS` of the parameter.
    """
    drawn: dict[str, Drawing] = {}
    for one in results.shifts:
        if one.parameter != parameter.id or not one.n:
            continue
        mine = dies[dies["stress"].eq(one.stress) & dies["condition"].eq(one.condition)]
        drawn[chart_name(one)] = _shift_over_size(parameter, one, mine)
        layout = results.context.record.layout
        if layout is not None:
            drawn |= _maps(parameter, one, mine, layout)
    return drawn


def _shift_over_size(parameter: Parameter, one: Shift, dies: pd.DataFrame) -> Drawing:
    """Bland and Altman's drawing: a difference over the mean of its two values."""
    paired = dies[dies["state"].eq(PAIRED)]
    off = one.control_mean or 0.0
    by_wafer = {
        pair.before + (" (control)" if pair.control else ""): (
            0.5 * (_numbers(rows["value_before"]) + _numbers(rows["value_after"])),
            _numbers(rows["difference"]) - off,
        )
        for pair in one.pairs
        if len(rows := paired[paired["after"] == pair.after])
    }
    sizes, shifts = (
        np.concatenate([sides[place] for sides in by_wafer.values()]) for place in (0, 1)
    )
    most = one.shift_max
    ends = [float(shifts.min()), float(shifts.max()), 0.0]
    if most is not None and most < 4 * max(abs(end) for end in ends):
        ends += [-most, most]
    lost = sum(pair.had - pair.n for pair in one.pairs)
    return scatter(
        address=addresses.drawing(
            addresses.parameter(parameter.id), f"stress~{one.stress}~{one.condition}"
        ),
        title=f"Shift of {parameter.name} at {one.condition} by stress {one.stress}, die by die",
        description="After less before"
        + (", less the control wafers' mean," if one.controls else "")
        + " over the mean of both values; the thin line is no shift."
        + (f" {count(lost, 'value')} without a number after cannot be drawn." if lost else ""),
        dies_by_wafer=by_wafer,
        x=Along(
            f"{parameter.name}, mean of before and after",
            parameter.unit,
            snapped_range(float(sizes.min()), float(sizes.max())),
            parameter.lower,
            parameter.upper,
        ),
        y=Along(
            "shift",
            parameter.unit,
            snapped_range(min(ends), max(ends)),
            None if most is None else -most,
            most,
        ),
        zero=True,
    )


def _maps(
    parameter: Parameter, one: Shift, dies: pd.DataFrame, layout: Layout
) -> dict[str, Drawing]:
    """A map of each stressed wafer, in classes that all wafers of the stress share."""
    shift = _numbers(dies.loc[~dies["control"].astype(bool), "shift"])
    known = shift[np.isfinite(shift)]
    edges = equal_classes(snapped_range(*np.quantile(known, BULK).tolist()))
    factor, symbol = shown_unit([max(abs(edge) for edge in edges)], parameter.unit)
    low, high = (with_unit(number(edge * factor, 3), symbol) for edge in (edges[0], edges[-1]))
    page = addresses.parameter(parameter.id)
    return {
        map_name(one, pair.after): wafer_map(
            address=addresses.drawing(page, f"shift~{one.stress}~{pair.after}~{one.condition}"),
            title=f"Shift of {parameter.symbol} at {one.condition} by stress {one.stress}, wafer"
            f" {pair.before}",
            description=f"{low} or less (faint) to {high} or more (strong){_marked(pair)}",
            layout=layout,
            dies=_map_dies(dies[dies["after"] == pair.after]),
            form="small",
            name=f"shift of {parameter.symbol}",
            unit=parameter.unit,
            edges=edges,
        )
        for pair in one.pairs
        if not pair.control and pair.had
    }


def _marked(pair: PairShift) -> str:
    lost = pair.had - pair.n
    return f"; {count(lost, 'value')} without a number after marked or hollow" if lost else ""


def _map_dies(rows: pd.DataFrame) -> list[MapDie]:
    """The first site's shift of each die; one without a number after shows that first."""
    first = rows.assign(_paired=rows["state"].eq(PAIRED)).sort_values(["_paired", "site"])
    first = first.drop_duplicates(["die_x", "die_y"])
    names = ("die_x", "die_y", "shift", "outcome", "state")
    columns = [first[name].tolist() for name in names]
    return [
        MapDie(
            x,
            y,
            shift if state == PAIRED else None,
            _outcome(outcome, state),
            note="" if state in (PAIRED, GONE) else state,
        )
        for x, y, shift, outcome, state in zip(*columns, strict=True)
    ]


def _outcome(outcome: str, state: str) -> Outcome:
    if state != PAIRED:
        return "not measured" if state == GONE else "not assessable"
    found: Outcome = outcome or "no limits"  # type: ignore[assignment]
    return found


def _numbers(values: pd.Series) -> FloatArray:
    return values.to_numpy(dtype=np.float64)
