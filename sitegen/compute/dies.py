"""The dies of a wafer: which were planned, what was measured on them, and their verdicts."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sitegen.compute.conformity import CodeArray, Outcome
from sitegen.compute.die_verdict import conforms, die_verdict, judged_in_full
from sitegen.compute.other_touchdowns import RULES, under_rule
from sitegen.compute.stats.zones import ZONES, zone_index
from sitegen.model.arrays import BoolArray
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
    every_full_die: bool = True,
) -> pd.DataFrame:
    """One row for every planned or measured die, with its verdict; see `DIE_COLUMNS`.

    every_full_die: full dies beyond the plan have a row too.
    """
    planned, full = planned_dies(campaign, layout, wafer_id), frozenset(full_dies(layout))
    counting = results[results["counts"].astype(bool)]
    measured = counting[counting["outcome"] != "not measured"]
    touched = set(zip(measured["die_x"], measured["die_y"], strict=True))
    shown = planned | touched | (full if every_full_die else frozenset())
    order = sorted(shown, key=lambda die: (die[1], die[0]))
    dies = pd.DataFrame(order, columns=["die_x", "die_y"]).astype(np.int32)
    dies = place_dies(dies.assign(wafer=wafer_id), layout)
    dies["full"] = [die in full for die in order]
    dies["planned"] = [die in planned for die in order]
    index = pd.MultiIndex.from_frame(dies[["die_x", "die_y"]])
    grid = _grid(counting, expected, index, dies["planned"].to_numpy(dtype=bool))
    dies["judged"] = judged_in_full(*grid.values)
    good = tuple(Outcome(OUTCOMES.index(word)) for word in campaign.verdict.conforming)
    dies["conforming"] = conforms(*grid.values, conforming=good)
    dies["outcome"] = np.array(OUTCOMES, dtype=object)[die_verdict(*grid.values)]
    dies = with_other_verdicts(dies, results, campaign, expected)
    return _with_counts(dies, measured, grid)


def verdicts_changed_by_touchdowns(
    results: pd.DataFrame,
    campaign: CampaignRecord,
    expected: tuple[Expected, ...],
    dies: pd.DataFrame,
) -> Mapping[str, "pd.Series[str]"]:
    """The verdict of each die with several touchdowns under each other rule of choice.

    results: of one wafer, judged, with missing rows; dies: with die_x, die_y, planned, outcome.
    Returns by rule of `touchdown_choice.RULES` but the campaign's own the words of
    `model.results.OUTCOMES` by the index of `dies`: of those dies only whose verdict changes.
    """
    several = results["touchdowns"].to_numpy() > 1
    repeated = set(zip(results["die_x"][several], results["die_y"][several], strict=True))
    mine = [die in repeated for die in zip(dies["die_x"], dies["die_y"], strict=True)]
    some = dies[mine]
    if some.empty:
        return {}
    index = pd.MultiIndex.from_frame(some[["die_x", "die_y"]])
    theirs = pd.MultiIndex.from_frame(results[["die_x", "die_y"]]).isin(index)
    found: dict[str, pd.Series[str]] = {}
    for rule in RULES:
        if rule != campaign.touchdowns.counts:
            counting = under_rule(results[theirs], campaign, rule)
            grid = _grid(counting, expected, index, some["planned"].to_numpy(dtype=bool))
            words = np.array(OUTCOMES, dtype=object)[die_verdict(*grid.values)]
            verdict = pd.Series(words, index=some.index)
            found[rule] = verdict[verdict != some["outcome"]]
    return found


def with_other_verdicts(
    dies: pd.DataFrame,
    results: pd.DataFrame,
    campaign: CampaignRecord,
    expected: tuple[Expected, ...],
) -> pd.DataFrame:
    """Add whether the verdict depends on the choice between touchdowns, and the other verdicts."""
    told: dict[Hashable, list[str]] = {}
    changed = verdicts_changed_by_touchdowns(results, campaign, expected, dies)
    for rule, verdicts in changed.items():
        for die, word in verdicts.items():
            told.setdefault(die, []).append(f"{rule}: {word}")
    return dies.assign(
        verdict_depends_on_touchdown=dies.index.isin(list(told)),
        other_verdicts=["; ".join(told.get(die, ())) for die in dies.index],
    )


@dataclass(frozen=True)
class _Grid:
    """Values that count as matrices, one row a die, one column a parameter, condition and site."""

    names: tuple[tuple[str, str, str], ...]
    outcome: CodeArray
    stands: BoolArray
    limited: BoolArray
    planned: BoolArray

    @property
    def measured(self) -> BoolArray:
        """Where there is a value."""
        return np.asarray(self.outcome != Outcome.NOT_MEASURED)

    @property
    def values(self) -> tuple[CodeArray, BoolArray, BoolArray, BoolArray, BoolArray]:
        """As `die_verdict` takes them."""
        return self.outcome, self.stands, self.limited, self.measured, self.planned


def _grid(
    counting: pd.DataFrame,
    expected: tuple[Expected, ...],
    index: pd.MultiIndex,
    planned_die: BoolArray,
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
        "not refuted": valid & (grid.outcome == Outcome.NOT_REFUTED),
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
        not_refuted=counts["not refuted"],
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
    masks: dict[str, BoolArray],
    names: tuple[tuple[str, str, str], ...],
) -> str:
    """What decided a die's verdict, as a phrase."""
    if outcome in {"outside", "not refuted", "not proven"}:
        return f"{outcome}: {_listed(masks[outcome], names)}"
    if outcome != "not assessable":
        return ""
    return "; ".join(
        f"{word}: {_listed(masks[word], names)}"
        for word in ("without standing", "missing", "not assessable")
        if masks[word].any()
    )


def _listed(where: BoolArray, names: tuple[tuple[str, str, str], ...], most: int = 4) -> str:
    told = [
        f"{parameter} at {condition}" + (f" site {site}" if site else "")
        for parameter, condition, site in (names[place] for place in np.flatnonzero(where))
    ]
    more = f" and {len(told) - most} more" if len(told) > most else ""
    return ", ".join(told[:most]) + more
