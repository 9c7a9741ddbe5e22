"""The dies of a wafer: which were planned, what was measured on them, and their verdicts."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.conformity import Outcome, die_verdict
from sitegen.compute.stats.zones import ZONES, zone_index
from sitegen.model.campaign import CampaignRecord, Layout, Parameter
from sitegen.model.device import Die
from sitegen.model.geometry import die_centers_mm, full_dies, usable_radius_mm
from sitegen.model.results import OUTCOMES

COMBINATION = ["parameter", "condition", "site"]


@dataclass(frozen=True)
class Expected:
    """A value that every planned die of a wafer should have."""

    parameter: Parameter
    condition: str
    site: str


def planned_dies(campaign: CampaignRecord, layout: Layout, wafer_id: str) -> frozenset[Die]:
    """The dies that the plan asks for; without a plan for the wafer, all full dies."""
    for planned in campaign.plan.wafers:
        if planned.id == wafer_id and planned.dies != "all":
            return frozenset(planned.dies)
    return frozenset(full_dies(layout))


def expected_values(campaign: CampaignRecord, values: pd.DataFrame) -> tuple[Expected, ...]:
    """Each parameter that every die should have, at each site where most dies have any of it."""
    return tuple(
        Expected(parameter, condition, site)
        for parameter in campaign.parameters
        if parameter.coverage == "every die"
        for condition in parameter.conditions
        for site in usual_sites(values[values["parameter"] == parameter.id])
    )


def usual_sites(rows: pd.DataFrame) -> tuple[str, ...]:
    """Sites of a parameter that at least half of the dies with any of it have; '' without rows."""
    if rows.empty:
        return ("",)
    unique = rows[["die_x", "die_y", "site"]].drop_duplicates()
    dies = len(unique[["die_x", "die_y"]].drop_duplicates())
    counts = unique["site"].value_counts()
    return tuple(sorted(str(site) for site, n in counts.items() if 2 * n >= dies)) or ("",)


def place_dies(dies: pd.DataFrame, layout: Layout) -> pd.DataFrame:
    """Add the centre of each die and its zone."""
    x_mm, y_mm = die_centers_mm(layout, dies["die_x"].to_numpy(), dies["die_y"].to_numpy())
    zone = zone_index(x_mm, y_mm, usable_radius_mm(layout))
    return dies.assign(x_mm=x_mm, y_mm=y_mm, zone=np.array(ZONES, dtype=object)[zone])


def missing_rows(
    values: pd.DataFrame, expected: tuple[Expected, ...], planned: frozenset[Die]
) -> pd.DataFrame:
    """Rows for what the plan asks for and that is not there, on touched and untouched dies."""
    present = set(
        zip(
            values["die_x"],
            values["die_y"],
            values["parameter"],
            values["condition"],
            values["site"],
            strict=True,
        )
    )
    return pd.DataFrame(
        [
            {
                "die_x": x,
                "die_y": y,
                "site": one.site,
                "device": one.parameter.device,
                "parameter": one.parameter.id,
                "condition": one.condition,
                "touchdown": 0,
                "touchdowns": 0,
                "counts": True,
                "value": np.nan,
                "unit": one.parameter.unit,
                "lower": one.parameter.lower,
                "upper": one.parameter.upper,
                "below_floor": False,
                "absurd": False,
                "outcome": "not measured",
                "outcome_reason": "",
                "standing": "",
                "standing_reasons": "",
                "standing_detail": "",
            }
            for x, y in sorted(planned)
            for one in expected
            if (x, y, one.parameter.id, one.condition, one.site) not in present
        ]
    )


def judge_dies(
    results: pd.DataFrame,
    campaign: CampaignRecord,
    layout: Layout,
    wafer_id: str,
    expected: tuple[Expected, ...],
) -> pd.DataFrame:
    """One row for every planned, full or measured die, with its verdict; see `DIE_COLUMNS`."""
    planned, full = planned_dies(campaign, layout, wafer_id), frozenset(full_dies(layout))
    counting = results[results["counts"].astype(bool)]
    measured = counting[counting["outcome"] != "not measured"]
    touched = set(zip(measured["die_x"], measured["die_y"], strict=True))
    order = sorted(planned | full | touched, key=lambda die: (die[1], die[0]))
    dies = pd.DataFrame(order, columns=["die_x", "die_y"]).astype(np.int32)
    dies = place_dies(dies.assign(wafer=wafer_id), layout)
    dies["full"] = [die in full for die in order]
    dies["planned"] = [die in planned for die in order]
    index = pd.MultiIndex.from_frame(dies[["die_x", "die_y"]])
    grid = _grid(counting, expected, index, dies["planned"].to_numpy(dtype=bool))
    due = grid.limited & (grid.planned | grid.measured)
    settled = grid.measured & grid.stands & (grid.outcome <= Outcome.OUTSIDE)
    dies["judged"] = np.asarray(due.any(axis=1) & ~(due & ~settled).any(axis=1))
    codes = die_verdict(grid.outcome, grid.stands, grid.limited, grid.measured, grid.planned)
    dies["outcome"] = np.array(OUTCOMES, dtype=object)[codes]
    return _with_counts(dies, measured, grid)


@dataclass(frozen=True)
class _Grid:
    """Values that count as matrices, one row a die, one column a parameter, condition and site."""

    names: tuple[tuple[str, str, str], ...]
    outcome: npt.NDArray[np.int8]
    stands: npt.NDArray[np.bool_]
    limited: npt.NDArray[np.bool_]
    planned: npt.NDArray[np.bool_]

    @property
    def measured(self) -> npt.NDArray[np.bool_]:
        """Where there is a value."""
        return np.asarray(self.outcome != Outcome.NOT_MEASURED)


def _grid(
    counting: pd.DataFrame,
    expected: tuple[Expected, ...],
    index: pd.MultiIndex,
    planned_die: npt.NDArray[np.bool_],
) -> _Grid:
    """Lay out the values that count; what the plan expects comes first."""
    keys = list(counting[COMBINATION].itertuples(index=False, name=None))
    wanted = [(one.parameter.id, one.condition, one.site) for one in expected]
    names = (*wanted, *sorted(set(keys) - set(wanted)))
    places = {name: place for place, name in enumerate(names)}
    row = index.get_indexer(pd.MultiIndex.from_frame(counting[["die_x", "die_y"]]))
    column = np.array([places[key] for key in keys], dtype=np.int64)
    shape = (len(index), len(names))
    outcome = np.full(shape, Outcome.NOT_MEASURED, dtype=np.int8)
    outcome[row, column] = [OUTCOMES.index(word) for word in counting["outcome"]]
    stands = np.zeros(shape, dtype=bool)
    stands[row, column] = counting["standing"].isin(["stands", "not closed"])
    limited = np.zeros(shape, dtype=bool)
    limited[row, column] = counting["lower"].notna() | counting["upper"].notna()
    for place, one in enumerate(expected):
        limited[:, place] = one.parameter.lower is not None or one.parameter.upper is not None
    planned = np.zeros(shape, dtype=bool)
    planned[:, : len(wanted)] = planned_die[:, np.newaxis]
    return _Grid(names, outcome, stands, limited, planned)


def _with_counts(dies: pd.DataFrame, measured: pd.DataFrame, grid: _Grid) -> pd.DataFrame:
    valid = grid.measured & grid.stands
    touched = np.asarray(grid.measured.any(axis=1))[:, np.newaxis]
    masks = {
        "outside": valid & (grid.outcome == Outcome.OUTSIDE),
        "not proven": valid & (grid.outcome == Outcome.NOT_PROVEN),
        "without standing": grid.measured & ~grid.stands,
        "missing": grid.planned & ~grid.measured & touched,
        "not assessable": valid & (grid.outcome == Outcome.NOT_ASSESSABLE),
    }
    counts = {name: mask.sum(axis=1).astype(np.int32) for name, mask in masks.items()}
    open_ = measured[measured["standing"] == "not closed"].groupby(["die_x", "die_y"]).size()
    index = pd.MultiIndex.from_frame(dies[["die_x", "die_y"]])
    return dies.assign(
        measured=grid.measured.sum(axis=1).astype(np.int32),
        missing=counts["missing"],
        outside=counts["outside"],
        not_proven=counts["not proven"],
        without_standing=counts["without standing"],
        not_closed=open_.reindex(index, fill_value=0).to_numpy().astype(np.int32),
        reason=[
            _reason(
                outcome,
                {name: mask[row] & grid.limited[row] for name, mask in masks.items()},
                grid.names,
            )
            for row, outcome in enumerate(dies["outcome"])
        ],
    )


def _reason(
    outcome: str,
    masks: dict[str, npt.NDArray[np.bool_]],
    names: tuple[tuple[str, str, str], ...],
) -> str:
    """What decided a die's verdict, as a phrase."""
    if outcome in {"outside", "not proven"}:
        return f"{outcome}: {_listed(masks[outcome], names)}"
    if outcome != "not assessable":
        return ""
    return "; ".join(
        f"{word}: {_listed(masks[word], names)}"
        for word in ("without standing", "missing", "not assessable")
        if masks[word].any()
    )


def _listed(
    where: npt.NDArray[np.bool_], names: tuple[tuple[str, str, str], ...], most: int = 4
) -> str:
    told = [
        f"{parameter} at {condition}" + (f" site {site}" if site else "")
        for parameter, condition, site in (names[place] for place in np.flatnonzero(where))
    ]
    more = f" and {len(told) - most} more" if len(told) > most else ""
    return ", ".join(told[:most]) + more
