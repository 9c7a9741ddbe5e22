"""One wafer: sweeps corrected, values judged, dies decided, counts made. A job of its own."""

from collections import Counter
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa

from sitegen import addresses
from sitegen.compute.dies import expected_values, judge_dies, missing_rows, place_dies, planned_dies
from sitegen.compute.evidence import Evidence
from sitegen.compute.population import summarise_results
from sitegen.compute.stats.intervals import wilson
from sitegen.compute.stats.typical import most_typical
from sitegen.compute.sweeps import (
    CorrectedGroup,
    WaferSetting,
    correct_group,
    group_evidence,
    suspects,
    trace_groups,
    values_from_sweeps,
)
from sitegen.compute.values import choose_touchdowns, judged, with_evidence
from sitegen.model.campaign import Layout
from sitegen.model.loaded import WaferTables
from sitegen.model.result_tables import DIE_COLUMNS, RESULT_COLUMNS
from sitegen.model.results import OUTCOMES, WaferResults, WaferSummary
from sitegen.model.schemas import schema_of
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Fault, Finding
from sitegen.units import count

FOR_SUMMARIES = ("ev_never_verified", "substrate_c")
"""Columns that counts and findings need and that are not published."""


def compute_wafer(
    record: WaferRecord, tables: WaferTables, setting: WaferSetting, layout: Layout
) -> WaferResults:
    """Everything that is computed of one wafer, from its tables and the station's calibrations."""
    file = f"wafers/{record.id}/wafer.toml"
    groups = tuple(correct_group(group, setting, file) for group in tables.sweeps)
    stated, faults = with_evidence(tables.values.to_pandas(), setting, file)
    taken = [values_from_sweeps(group, setting.campaign.parameters, setting) for group in groups]
    values = _stacked([stated, *taken])
    chosen = choose_touchdowns(values, setting.campaign.touchdowns.counts)
    results = judged(chosen, setting.campaign)
    expected = expected_values(setting.campaign, results)
    planned = planned_dies(setting.campaign, layout, record.id)
    results = _finished(results, missing_rows(results, expected, planned), record.id, layout)
    dies = judge_dies(results, setting.campaign, layout, record.id, expected)
    summary = _summary(record, results, dies, setting)
    return WaferResults(
        summary=summary,
        results=_table(results, schema_of(RESULT_COLUMNS)),
        dies=_table(dies, schema_of(DIE_COLUMNS)),
        traces=tuple(trace for group in groups for trace in trace_groups(group)),
        faults=_joined_faults(faults, [group.evidence for group in groups]),
        findings=_findings(record, results, groups, setting),
    )


def evidence_faults(
    record: WaferRecord, tables: WaferTables, setting: WaferSetting
) -> tuple[Fault, ...]:
    """Where a wafer's tables contradict the station's calibrations; nothing else is computed."""
    file = f"wafers/{record.id}/wafer.toml"
    _, faults = with_evidence(tables.values.to_pandas(), setting, file)
    return _joined_faults(faults, [group_evidence(one, setting, file) for one in tables.sweeps])


def _joined_faults(faults: Sequence[Fault], found: Sequence[Evidence]) -> tuple[Fault, ...]:
    return tuple(sorted({*faults, *(fault for one in found for fault in one.faults)}))


def _stacked(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """All rows under each other; columns that a part lacks are empty there."""
    filled = [part for part in parts if len(part)]
    if not filled:
        return parts[0].assign(no_value="")
    table: pd.DataFrame = pd.concat(filled, ignore_index=True)
    table = table.reindex(columns=table.columns.union(parts[0].columns, sort=False))
    table["below_floor"] = table["below_floor"].eq(True)
    table["no_value"] = table["no_value"].fillna("") if "no_value" in table else ""
    table["ev_never_verified"] = table["ev_never_verified"].eq(True)
    for name in ("floor", "temperature_c"):
        table[name] = table[name].astype(np.float64)
    return table


def _finished(
    results: pd.DataFrame, missing: pd.DataFrame, wafer_id: str, layout: Layout
) -> pd.DataFrame:
    """Measured and missing rows together, placed on the wafer and in the published order."""
    renamed = results.rename(
        columns={
            "calibration": "named_calibration",
            "ev_calibration": "calibration",
            "ev_basis": "calibration_basis",
            "ev_detail": "standing_detail",
        }
    )
    parts = [part for part in (renamed, missing) if len(part)]
    if not parts:
        names = [*(name for name, _, _ in RESULT_COLUMNS), *FOR_SUMMARIES]
        return pd.DataFrame({name: [] for name in names})
    table: pd.DataFrame = pd.concat(parts, ignore_index=True)
    wanted = pd.Index([*(name for name, _, _ in RESULT_COLUMNS), *FOR_SUMMARIES])
    table = table.reindex(columns=table.columns.union(wanted, sort=False))
    table["wafer"] = wafer_id
    order = ["die_y", "die_x", "site", "parameter", "condition", "touchdown"]
    return place_dies(table.sort_values(order, ignore_index=True), layout)


def _table(frame: pd.DataFrame, schema: pa.Schema) -> pa.Table:
    """A table of exactly the schema's columns; what a row does not have is null."""
    wanted = frame.reindex(columns=schema.names)
    empty = {name: None for name in schema.names if wanted[name].isna().all()}
    return pa.Table.from_pandas(
        wanted.assign(**empty), schema=schema, preserve_index=False
    ).replace_schema_metadata(None)


def _summary(
    record: WaferRecord, results: pd.DataFrame, dies: pd.DataFrame, setting: WaferSetting
) -> WaferSummary:
    counted = dies[dies["planned"] | (dies["measured"] > 0)]
    outcomes: dict[str, int] = {word: int((counted["outcome"] == word).sum()) for word in OUTCOMES}
    assessable = int(counted["judged"].sum())
    interval = wilson(outcomes["within"], assessable)
    measured = results[results["outcome"] != "not measured"]
    counting = measured[measured["counts"].astype(bool)]
    without = counting[counting["standing"] == "without standing"]
    stands = counting[counting["standing"] != "without standing"]
    changed = _touchdowns_that_matter(measured)
    reasons = Counter(one for told in without["standing_reasons"] for one in told.split("; "))
    return WaferSummary(
        wafer=record.id,
        planned=int(dies["planned"].sum()),
        measured=int((dies["measured"] > 0).sum()),
        outcomes=outcomes,
        conforming=outcomes["within"],
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
        outside_parameters=_counts(stands[stands["outcome"] == "outside"], "parameter"),
        unassessable=_counts(stands[stands["outcome"] == "not assessable"], "outcome_reason"),
        missing=_counts(results[results["outcome"] == "not measured"], "parameter"),
        touchdown_changes=len(changed),
        touchdowns_that_matter=changed,
        typical_die=_typical(stands),
        parameters=summarise_results(results, setting.campaign, record.id),
        started=record.started,
        finished=record.finished,
    )


def _counts(rows: pd.DataFrame, column: str) -> dict[str, int]:
    """How often each text stands in a column, the most frequent first."""
    found = Counter(str(text) for text in rows[column])
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))


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


def _typical(stands: pd.DataFrame) -> tuple[int, int] | None:
    if stands.empty:
        return None
    wide = stands[~stands["below_floor"].astype(bool)].pivot_table(
        index=["die_x", "die_y"],
        columns=["parameter", "condition", "site"],
        values="value",
        aggfunc="mean",
    )
    if wide.empty:
        return None
    x, y = wide.index.get_level_values(0), wide.index.get_level_values(1)
    found = most_typical(x, y, wide.to_numpy())
    return None if found is None else (int(x[found.index]), int(y[found.index]))


def _findings(
    record: WaferRecord,
    results: pd.DataFrame,
    groups: tuple[CorrectedGroup, ...],
    setting: WaferSetting,
) -> tuple[Finding, ...]:
    page = addresses.wafer(record.id)
    found = [
        *_suspicious_sweeps(record, groups, setting, page),
        *_absurd_values(record, results, page),
        *_wrong_temperatures(record, results, setting, page),
        *_unchecked_substrate(record, results, page),
    ]
    return tuple(sorted(found))


def _suspicious_sweeps(
    record: WaferRecord,
    groups: tuple[CorrectedGroup, ...],
    setting: WaferSetting,
    page: str,
) -> list[Finding]:
    found = []
    for one in groups:
        suspicious = suspects(one, setting)
        for word, where in (
            ("an open", suspicious.like_open),
            ("a short", suspicious.like_short),
        ):
            if not where.any():
                continue
            keys = one.group.keys.filter(pa.array(where))
            first = f"die ({keys['die_x'][0].as_py()}, {keys['die_y'][0].as_py()})"
            found.append(
                Finding(
                    kind="suspicious sweep",
                    subject=f"wafer {record.id}",
                    text=f"On wafer {record.id}, {count(int(where.sum()), 'sweep')} of"
                    f" {one.group.device} look{'s' if where.sum() == 1 else ''} like {word},"
                    f" the first on {first}: check the contact.",
                    weight="attention",
                    address=page,
                )
            )
    return found


def _absurd_values(record: WaferRecord, results: pd.DataFrame, page: str) -> list[Finding]:
    absurd = results[results["absurd"].astype(bool) & (results["touchdown"] > 0)]
    return [
        Finding(
            kind="absurd value",
            subject=f"wafer {record.id}",
            text=f"On wafer {record.id}, {count(len(rows), 'value')} of {parameter}"
            f" {'lies' if len(rows) == 1 else 'lie'} outside the plausible range, the first on die"
            f" ({rows['die_x'].iloc[0]}, {rows['die_y'].iloc[0]}).",
            weight="attention",
            address=page,
        )
        for parameter, rows in absurd.groupby("parameter")
    ]


def _wrong_temperatures(
    record: WaferRecord, results: pd.DataFrame, setting: WaferSetting, page: str
) -> list[Finding]:
    found = []
    for condition in setting.campaign.conditions:
        if condition.temperature_tolerance_c is None:
            continue
        rows = results[(results["condition"] == condition.id) & (results["touchdown"] > 0)]
        distance = (rows["temperature_c"] - condition.temperature_c).abs()
        off = rows[distance > condition.temperature_tolerance_c]
        if len(off):
            found.append(
                Finding(
                    kind="temperature off its set point",
                    subject=f"wafer {record.id}",
                    text=f"On wafer {record.id}, {count(len(off), 'value')} under {condition.id}"
                    f" {'was' if len(off) == 1 else 'were'} taken more than"
                    f" {condition.temperature_tolerance_c:g} °C from the set point of"
                    f" {condition.temperature_c:g} °C.",
                    weight="attention",
                    address=page,
                )
            )
    return found


def _unchecked_substrate(record: WaferRecord, results: pd.DataFrame, page: str) -> list[Finding]:
    """RF values without the contact substrate's temperature: its change could not be checked."""
    unknown = int((results["calibration"].notna() & results["substrate_c"].isna()).sum())
    if not unknown:
        return []
    return [
        Finding(
            kind="substrate temperature not stated",
            subject=f"wafer {record.id}",
            text=f"For {count(unknown, 'RF value')} on wafer {record.id} the contact substrate's"
            " temperature is not stated, so its change since the calibration was not checked.",
            weight="attention",
            address=page,
        )
    ]
