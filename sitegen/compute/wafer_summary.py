"""A wafer in counts: what the campaign's page needs to know of it."""

from collections import Counter
from datetime import UTC, datetime
from typing import Literal

import numpy as np
import pandas as pd

from sitegen.compute.handover import typical_die
from sitegen.compute.joint_statistics import quantities_by_die
from sitegen.compute.over_wafers.conformity_of_wafers import wafer_verdict
from sitegen.compute.population import summarise_results
from sitegen.compute.stats.intervals import wilson
from sitegen.compute.sweeps import WaferSetting
from sitegen.model.results import OUTCOMES, WaferSummary
from sitegen.model.wafer import WaferRecord


def summary_of(
    record: WaferRecord, results: pd.DataFrame, dies: pd.DataFrame, setting: WaferSetting
) -> WaferSummary:
    """Everything that is counted over a wafer's results and dies."""
    counted = dies[dies["planned"] | (dies["measured"] > 0)]
    outcomes: dict[str, int] = {word: int((counted["outcome"] == word).sum()) for word in OUTCOMES}
    assessable = int(counted["judged"].sum())
    conforming = int(counted["conforming"].sum())
    interval = wilson(conforming, assessable)
    word, why = wafer_verdict(conforming, assessable, setting.campaign.verdict)
    if record.only_for_study:
        word, why = "no limits", "measured for a study only"
    measured = results[results["outcome"] != "not measured"]
    counting = measured[measured["counts"].astype(bool)]
    without = counting[counting["standing"] == "without standing"]
    stands = counting[counting["standing"] != "without standing"]
    changed = _touchdowns_that_matter(measured)
    typical = typical_die(quantities_by_die(counting, setting.campaign))
    reasons = Counter(one for told in without["standing_reasons"] for one in told.split("; "))
    return WaferSummary(
        wafer=record.id,
        planned=int(dies["planned"].sum()),
        measured=int((dies["measured"] > 0).sum()),
        outcomes=outcomes,
        conforming=conforming,
        assessable=assessable,
        outside_besides=int((~counted["judged"] & (counted["outcome"] == "outside")).sum()),
        yield_lower=None if interval is None else interval.lower,
        yield_upper=None if interval is None else interval.upper,
        values=len(counting),
        values_without_standing=len(without),
        values_not_closed=int((counting["standing"] == "not closed").sum()),
        values_never_verified=int(counting["ev_never_verified"].eq(True).sum()),
        values_below_floor=int(stands["below_floor"].astype(bool).sum()),
        standing_reasons=dict(sorted(reasons.items())),
        calibrations={
            str(name): int(n) for name, n in sorted(stands["calibration"].value_counts().items())
        },
        outside_dies=_dies_by_parameter(stands[stands["outcome"] == "outside"]),
        unassessable=_counts(stands[stands["outcome"] == "not assessable"], "outcome_reason"),
        unmeasured_dies=_places(counted[counted["outcome"] == "not measured"]),
        missing_dies=_dies_by_parameter(_missing_on_measured(results, dies)),
        touchdown_changes=len(changed),
        touchdowns_that_matter=changed,
        typical_die=None if typical is None else (typical[2], typical[1]),
        parameters=summarise_results(results, setting.campaign, record.id),
        started=record.started or _stamped(results, "min"),
        finished=record.finished or _stamped(results, "max"),
        verdict=word,
        verdict_reason=why,
    )


def _stamped(results: pd.DataFrame, which: Literal["min", "max"]) -> datetime | None:
    """The first or the last stamp of the results, in UTC."""
    stamps = results["measured_at"].dropna()
    if stamps.empty:
        return None
    stamp = pd.Timestamp(stamps.min() if which == "min" else stamps.max())
    moment: datetime = (stamp.tz_localize(UTC) if stamp.tz is None else stamp).to_pydatetime()
    return moment


def _counts(rows: pd.DataFrame, column: str) -> dict[str, int]:
    """How often each text stands in a column, the most frequent first."""
    found = Counter(str(text) for text in rows[column])
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))


def _missing_on_measured(results: pd.DataFrame, dies: pd.DataFrame) -> pd.DataFrame:
    """Planned values that were not measured on dies that have another value."""
    measured = dies[dies["measured"] > 0]
    touched = set(zip(measured["die_x"], measured["die_y"], strict=True))
    lacking = results[results["outcome"] == "not measured"]
    there = [die in touched for die in zip(lacking["die_x"], lacking["die_y"], strict=True)]
    return lacking[np.array(there, dtype=bool)]


def _dies_by_parameter(rows: pd.DataFrame) -> dict[str, tuple[tuple[int, int], ...]]:
    """The die of each value, by parameter; parameters with the most values first."""
    return {name: _places(rows[rows["parameter"] == name]) for name in _counts(rows, "parameter")}


def _places(rows: pd.DataFrame) -> tuple[tuple[int, int], ...]:
    return tuple((int(x), int(y)) for x, y in zip(rows["die_x"], rows["die_y"], strict=True))


def _touchdowns_that_matter(measured: pd.DataFrame) -> tuple[str, ...]:
    """Values of which another touchdown would have had another outcome: 'RON on die (1, 1)'."""
    several = measured[(measured["touchdowns"] > 1) & (measured["touchdown"] > 0)]
    keys = ["die_y", "die_x", "parameter", "condition", "site", "device"]
    outcomes = several.groupby(keys)["outcome"].nunique().reset_index()
    changed = outcomes[outcomes["outcome"] > 1]
    return tuple(
        f"{name} on die ({x}, {y})"
        for name, x, y in zip(changed["parameter"], changed["die_x"], changed["die_y"], strict=True)
    )
