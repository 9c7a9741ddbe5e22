"""Values that ask for a look: outside, inside a guard band, without standing; the worst first."""

from collections import Counter
from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.concerned_results import ConcernedDies, ConcernedValue

KINDS = ("outside", "not refuted", "not proven", "without standing")
"""In the order in which they are listed."""
NAMED = ("outside", "not refuted", "not proven", "not assessable")
MOST_LISTED = 200
"""Values kept of a parameter and condition; the data table has all of them."""


def concerned_dies(results: pd.DataFrame, campaign: CampaignRecord) -> tuple[ConcernedDies, ...]:
    """Of every parameter and condition, in the campaign's order, also of those without any.

    results: columns wafer, die_x, die_y, site, parameter, condition, value, u, outcome, standing,
    standing_reasons, below_floor, not_reached, counts.
    """
    counting = results[results["counts"].eq(True) | results["outcome"].eq("not measured")]
    counting = counting.assign(_kind=_kinds(counting))
    chosen = counting[counting["_kind"] != ""]
    groups: Mapping[tuple[str, str], pd.DataFrame] = {
        (str(parameter), str(condition)): rows
        for (parameter, condition), rows in chosen.groupby(["parameter", "condition"], sort=False)
    }
    empty = chosen.iloc[:0]
    return tuple(
        _concerned(parameter, condition, groups.get((parameter.id, condition), empty))
        for parameter in campaign.parameters
        for condition in parameter.conditions
    )


def _kinds(rows: pd.DataFrame) -> npt.NDArray[np.object_]:
    """What asks for a look at each row; empty for nothing."""
    outcome = rows["outcome"].to_numpy(dtype=object)
    lost = rows["standing"].eq("without standing").to_numpy()
    numbered = rows["value"].notna().to_numpy()
    named = [outcome == word for word in NAMED]
    return np.select(
        [outcome == "not measured", lost, ~numbered, *named],
        ["not measured", "without standing", "not determined", *NAMED],
        default="",
    ).astype(object)


def _concerned(parameter: Parameter, condition: str, rows: pd.DataFrame) -> ConcernedDies:
    found = rows["_kind"].value_counts()
    rows = rows[rows["_kind"].isin(KINDS)]
    value = rows["value"].to_numpy(dtype=np.float64)
    lower = np.nan if parameter.lower is None else parameter.lower
    upper = np.nan if parameter.upper is None else parameter.upper
    gone = rows["_kind"].eq("without standing").to_numpy()
    beyond = np.where(gone, np.nan, np.fmax(lower - value, value - upper))
    place = rows["_kind"].map({kind: number for number, kind in enumerate(KINDS)})
    ordered = rows.assign(_beyond=beyond, _place=place).sort_values(
        ["_place", "_beyond", "wafer", "die_y", "die_x", "site"],
        ascending=[True, False, True, True, True, True],
    )
    told = rows.loc[gone, "standing_reasons"]
    reasons = Counter(reason for one in told for reason in str(one or "").split("; ") if reason)
    return ConcernedDies(
        parameter=parameter.id,
        condition=condition,
        counts={str(kind): int(number) for kind, number in sorted(found.items())},
        dies=len(rows[["wafer", "die_x", "die_y"]].drop_duplicates()),
        reasons=dict(sorted(reasons.items(), key=lambda each: (-each[1], each[0]))),
        listed=tuple(_value(row) for row in ordered[:MOST_LISTED].to_dict("records")),
    )


def _value(row: Mapping[Hashable, Any]) -> ConcernedValue:
    """One row as a record."""
    lost = row["_kind"] == "without standing"
    return ConcernedValue(
        wafer=str(row["wafer"]),
        die=(int(str(row["die_x"])), int(str(row["die_y"]))),
        site=str(row["site"] or ""),
        value=_number(row["value"]),
        u=_number(row["u"]),
        kind=str(row["_kind"]),
        beyond=None if lost else _number(row["_beyond"]),
        why=str(row["standing_reasons"] or "") if lost else "",
        censored="below the floor"
        if row["below_floor"] is True
        else "not reached"
        if row["not_reached"] is True
        else "",
    )


def _number(cell: object) -> float | None:
    """A cell as a number; None where it holds none."""
    number = float(str(cell)) if cell is not None else float("nan")
    return number if np.isfinite(number) else None
