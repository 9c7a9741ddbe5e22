"""The drawing of each declared pair of parameters, for the pages of both."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from sitegen import addresses
from sitegen.chart.scatter import Along, scatter
from sitegen.compute.standing import numbers_that_stand
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.declared_statistics import Pair
from sitegen.model.results import CampaignContext, Drawing
from sitegen.render.statistics_relations import drawing_name
from sitegen.units import count

DIE = ["wafer", "die_x", "die_y", "site"]


def pair_drawings(values: pd.DataFrame, context: CampaignContext) -> Mapping[str, Drawing]:
    """By `drawing_name`, a drawing for each declared pair, beside the page of its x.

    values: columns wafer, die_x, die_y, site, parameter, condition, value, counts, standing,
    below_floor, not_reached. Drawn are the values that correlate: numbers with standing.
    """
    parameters = {one.id: one for one in context.record.parameters}
    stands = numbers_that_stand(values)
    return {
        drawing_name(pair): _drawn(pair, parameters[pair.x], parameters[pair.y], stands, context)
        for pair in context.record.pairs
    }


def of_parameter(
    parameter: str, drawn: Mapping[str, Drawing], context: CampaignContext
) -> Mapping[str, Drawing]:
    """Those of `drawn` that a parameter takes part in; beside another page, without their file."""
    return {
        name: drawn[name] if pair.x == parameter else replace(drawn[name], svg="")
        for pair in context.record.pairs
        if parameter in (pair.x, pair.y) and (name := drawing_name(pair)) in drawn
    }


def _drawn(
    pair: Pair, x: Parameter, y: Parameter, stands: pd.DataFrame, context: CampaignContext
) -> Drawing:
    both = _of(x.id, pair.x_condition, stands).merge(
        _of(y.id, pair.y_condition, stands), on=DIE, suffixes=("_x", "_y")
    )
    by_wafer = {
        wafer: (_numbers(rows["value_x"]), _numbers(rows["value_y"]))
        for wafer in context.wafers
        if len(rows := both[both["wafer"] == wafer])
    }
    beside = f"pair~{pair.x_condition}~{pair.y}~{pair.y_condition}"
    return scatter(
        address=addresses.drawing(addresses.parameter(pair.x), beside),
        title=f"{_upper(y.name)} at {pair.y_condition} against {x.name} at {pair.x_condition}",
        description=f"{count(len(both), 'die')} with both values and standing, a mark each, of"
        f" {count(len(by_wafer), 'wafer')}; limits as lines.",
        dies_by_wafer=by_wafer,
        x=_along(x, pair.x_condition, context),
        y=_along(y, pair.y_condition, context),
    )


def _of(parameter: str, condition: str, stands: pd.DataFrame) -> pd.DataFrame:
    mine = stands[stands["parameter"].eq(parameter) & stands["condition"].eq(condition)]
    return mine[[*DIE, "value"]]


def _numbers(values: pd.Series) -> FloatArray:
    return values.to_numpy(dtype=np.float64)


def _along(parameter: Parameter, condition: str, context: CampaignContext) -> Along:
    return Along(
        parameter.name,
        parameter.unit,
        context.ranges[f"{parameter.id}/{condition}"],
        parameter.lower,
        parameter.upper,
    )


def _upper(name: str) -> str:
    return name[:1].upper() + name[1:]
