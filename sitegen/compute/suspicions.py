"""Suspicions that only a comparison of wafers shows: turned maps, copied values."""

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd

from sitegen import addresses
from sitegen.compute.stats.spatial import SameValues, WaferMap, orientation_suspicion, same_values
from sitegen.model.campaign import Layout
from sitegen.model.geometry import die_centers_mm
from sitegen.problems import Finding


def suspicions(results: pd.DataFrame, layout: Layout) -> tuple[Finding, ...]:
    """Wafers whose map agrees better when turned or mirrored, and pairs with the same values.

    results: columns wafer, die_x, die_y, parameter, condition, value, below_floor, counts of all
    wafers; readings below the floor are left out.
    """
    maps = maps_of(results, layout)
    found = []
    square = layout.die_pitch_x_mm == layout.die_pitch_y_mm
    for wafer, own in maps.items():
        others = [one for name, one in maps.items() if name != wafer]
        told = orientation_suspicion(own, others, quarter_turns=square)
        if told.suspected and told.best is not None:
            found.append(
                Finding(
                    "map looks turned",
                    f"wafer {wafer}",
                    f"The map of wafer {wafer} agrees better with the other wafers when"
                    f" {told.best.orientation} (rank correlation"
                    f" {told.best.correlation:.2f} instead of"
                    f" {told.best.correlation_as_recorded:.2f} over {told.best.n_dies} dies): check"
                    " its orientation.",
                    "attention",
                    addresses.wafer(wafer),
                )
            )
    for (first, a), (second, b) in combinations(maps.items(), 2):
        same = _same_values(a, b)
        if same.suspected:
            found.append(
                Finding(
                    "wafers with the same values",
                    f"wafer {second}",
                    f"{same.n_equal} of {same.n_compared} values compared are exactly the same on"
                    f" wafers {first} and {second}: one table may be a copy of the other.",
                    "attention",
                    addresses.wafer(second),
                )
            )
    return tuple(found)


def _same_values(a: WaferMap, b: WaferMap) -> SameValues:
    """Over all parameters together, else over those that are suspicious by themselves.

    A copied table may hold a few of many parameters.
    """
    whole = same_values(a, b)
    if whole.suspected:
        return whole
    alone = [
        place
        for place in range(a.values.shape[1])
        if same_values(_only(a, [place]), _only(b, [place])).suspected
    ]
    return same_values(_only(a, alone), _only(b, alone)) if alone else whole


def _only(one: WaferMap, places: list[int]) -> WaferMap:
    return replace(one, values=one.values[:, places])


def maps_of(results: pd.DataFrame, layout: Layout) -> Mapping[str, WaferMap]:
    """Maps in die pitches from the wafer's centre, which is taken to the nearest half pitch: a
    turned or mirrored wafer shows its dies on the same grid, off by less than that.
    """
    usable = results[results["counts"].astype(bool) & ~results["below_floor"].astype(bool)]
    wide = usable.pivot_table(
        index=["wafer", "die_x", "die_y"],
        columns=["parameter", "condition"],
        values="value",
        aggfunc="mean",
    ).sort_index()
    center_x, center_y = die_centers_mm(layout, 0, 0)
    shift_x = round(2 * float(center_x) / layout.die_pitch_x_mm) / 2
    shift_y = round(2 * float(center_y) / layout.die_pitch_y_mm) / 2
    right = 1 if layout.x_increases == "right" else -1
    up = 1 if layout.y_increases == "up" else -1
    return {
        str(wafer): WaferMap(
            die_x=right * rows.index.get_level_values("die_x").to_numpy(np.float64) + shift_x,
            die_y=up * rows.index.get_level_values("die_y").to_numpy(np.float64) + shift_y,
            values=rows.to_numpy(dtype=np.float64),
        )
        for wafer, rows in wide.groupby(level="wafer")
    }
