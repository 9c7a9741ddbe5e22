"""The dies whose sweeps go to the design team: the most typical one, and those near both ends.

Most typical: `stats.typical`, over all parameters measured. 5th and 95th percentile: the die with
standing whose value of the declared parameter is nearest the type-7 quantile, ties by die_y, then
die_x, then the wafer's id. A die with several sites counts with the mean over them.
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import pandas as pd

from sitegen.compute.joint_statistics import DIE, quantities_by_die
from sitegen.compute.standing import that_stand
from sitegen.compute.stats.summary import summarise
from sitegen.compute.stats.typical import most_typical
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device_results import HandedOver

Role = Literal["most typical", "5th percentile", "95th percentile"]


def choose_dies(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: Sequence[str]
) -> tuple[HandedOver, ...]:
    """The dies of each wafer, then those of the campaign, without files; () without a declaration.

    results: of `RESULT_COLUMNS`, of all wafers. A percentile that falls below the floor,
    or beyond what was reached, has no die.
    """
    if campaign.handover is None:
        return ()
    wide = quantities_by_die(results, campaign)
    valid = that_stand(results)
    declared = valid[
        (valid["parameter"] == campaign.handover.parameter)
        & (valid["condition"] == campaign.handover.condition)
    ]
    found: list[HandedOver] = []
    for wafer in wafers:
        mine = declared[declared["wafer"] == wafer]
        rows = wide[wide.index.get_level_values("wafer") == wafer]
        found += _chosen("wafer", rows, mine)
    return (*found, *_chosen("campaign", wide, declared))


def _chosen(
    scope: Literal["wafer", "campaign"], wide: pd.DataFrame, declared: pd.DataFrame
) -> list[HandedOver]:
    """Of these dies the most typical and those at both percentiles.

    wide: from `quantities_by_die`; declared: rows of the declared parameter with standing.
    """
    marked = declared.assign(
        below_floor=declared["below_floor"].eq(True), not_reached=declared["not_reached"].eq(True)
    )
    dies = marked.groupby(DIE, sort=True).agg(
        {"value": "mean", "floor": "max", "below_floor": "any", "not_reached": "any"}
    )
    value = dies.loc[~dies["below_floor"] & ~dies["not_reached"], "value"]
    if value.empty:
        return []
    found: list[HandedOver] = []

    def add(role: Role, place: tuple[str, int, int]) -> None:
        wafer, die_y, die_x = place
        die = (int(die_x), int(die_y))
        found.append(HandedOver(str(wafer), scope, role, die, float(value[place]), ()))

    typical = typical_die(wide)
    if typical not in value.index:
        typical = typical_die(wide[wide.index.isin(value.index)])
    if typical is not None:
        add("most typical", typical)
    summary = summarise(
        dies["value"].to_numpy(dtype=np.float64),
        dies["below_floor"].to_numpy(dtype=bool),
        dies["floor"].to_numpy(dtype=np.float64),
        dies["not_reached"].to_numpy(dtype=bool),
    )
    ends: tuple[tuple[Role, float | None], ...] = (
        ("5th percentile", summary.quantile_05),
        ("95th percentile", summary.quantile_95),
    )
    for role, quantile in ends:
        if quantile is not None and np.isfinite(quantile):
            add(role, _nearest(value, quantile))
    return found


def _nearest(value: "pd.Series[float]", quantile: float) -> tuple[str, int, int]:
    """Wafer, die_y and die_x of the value nearest the quantile."""
    distance: FloatArray = np.abs(value.to_numpy(dtype=np.float64) - quantile)
    wafer, die_y, die_x = (value.index.get_level_values(level) for level in range(3))
    best = int(np.lexsort((wafer.to_numpy(dtype=str), die_x, die_y, distance))[0])
    return str(wafer[best]), int(die_y[best]), int(die_x[best])


def typical_die(wide: pd.DataFrame) -> tuple[str, int, int] | None:
    """Wafer, die_y and die_x of the most typical die of `quantities_by_die`."""
    if wide.empty:
        return None
    wafer, die_y, die_x = (wide.index.get_level_values(level) for level in range(3))
    found = most_typical(die_x, die_y, wide.to_numpy(dtype=np.float64))
    if found is None:
        return None
    return str(wafer[found.index]), int(die_y[found.index]), int(die_x[found.index])
