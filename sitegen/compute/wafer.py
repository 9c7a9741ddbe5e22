"""One wafer: sweeps corrected, values judged, dies decided, counts made. A job of its own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa

from sitegen.compute.controls import control_result, with_controls
from sitegen.compute.curve_values import values_from_curves
from sitegen.compute.delivered import with_delivered
from sitegen.compute.die_tables import on_dies
from sitegen.compute.dies import expected_values, judge_dies, missing_rows, place_dies, planned_dies
from sitegen.compute.dummies import Stripped, campaign_dummies, deembed_groups
from sitegen.compute.dummy_sweeps import DummySweeps
from sitegen.compute.evidence import Evidence
from sitegen.compute.floors import floor_findings
from sitegen.compute.judged import judged
from sitegen.compute.sweep_quality import quality_findings, sweep_qualities, with_flags
from sitegen.compute.sweep_values import median_by_source, median_details, values_from_sweeps
from sitegen.compute.sweeps import WaferSetting, correct_group, trace_groups
from sitegen.compute.touchdown_checks import judge_touchdowns, with_touchdowns
from sitegen.compute.touchdown_choice import choose_touchdowns
from sitegen.compute.values import with_evidence
from sitegen.compute.wafer_findings import findings_of
from sitegen.compute.wafer_summary import summary_of
from sitegen.compute.wear_of_contacts import touchdown_findings
from sitegen.model.campaign import Layout
from sitegen.model.device_results import ControlResult, CurveTraces
from sitegen.model.loaded import WaferTables
from sitegen.model.result_tables import DIE_COLUMNS, RESULT_COLUMNS
from sitegen.model.results import WaferResults
from sitegen.model.schemas import schema_of
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Fault, Finding

FOR_SUMMARIES = ("ev_never_verified", "substrate_c")
"""Columns that counts and findings need and that are not published."""


@dataclass(frozen=True, eq=False)
class Measured:
    """A wafer's values before one of several touchdowns is chosen, and what they come from."""

    values: pd.DataFrame
    """Value rows with what stands behind them; see `sitegen.compute.values`."""
    stripped: Stripped
    """Corrected sweeps, with pads and leads taken off where declared."""
    quality: pa.Table
    """`SWEEP_QUALITY_COLUMNS`."""
    curves: tuple[CurveTraces, ...]
    touchdowns: pa.Table
    """`TOUCHDOWN_RESULT_COLUMNS`."""
    budgets: Mapping[tuple[str, str], Mapping[str, float]]
    """By parameter and condition: median u by source, of values from sweeps."""
    fits: Mapping[tuple[str, str], Mapping[str, float]]
    """By parameter and condition: median facts about the fits, of values from sweeps."""
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]


def measure(record: WaferRecord, tables: WaferTables, setting: WaferSetting) -> Measured:
    """Correct, de-embed and extract: every value of a wafer with its evidence."""
    file = f"wafers/{record.id}/wafer.toml"
    campaign = setting.campaign
    groups = tuple(correct_group(group, setting, file) for group in tables.sweeps)
    stripped = deembed_groups(groups, setting, record.id)
    quality = sweep_qualities(stripped, setting, record.id)
    taken = [values_from_sweeps(group, campaign.parameters, setting) for group in stripped.groups]
    by_source = [part for one in taken for part in one.by_source]
    curves = values_from_curves(tables.curves, setting, record.id)
    stated, faults = with_evidence(tables.values.to_pandas(), setting, file)
    touchdowns = judge_touchdowns(tables.touchdowns, campaign, record.id)
    values = _stacked([stated, curves.rows, *(one.rows for one in taken)])
    values = with_flags(values, quality, campaign)
    values = with_delivered(with_touchdowns(values, touchdowns, campaign), touchdowns, setting)
    return Measured(
        values=values,
        stripped=stripped,
        quality=quality,
        curves=curves.traces,
        touchdowns=touchdowns,
        budgets=median_by_source(by_source),
        fits=median_details(by_source),
        faults=_joined_faults(faults, [group.evidence for group in groups]),
        findings=(
            *stripped.findings,
            *quality_findings(quality, record.id),
            *curves.findings,
            *floor_findings(values, record.id),
            *touchdown_findings(touchdowns, record, campaign),
        ),
    )


def compute_wafer(
    record: WaferRecord,
    tables: WaferTables,
    setting: WaferSetting,
    layout: Layout,
    controls: tuple[ControlResult, ...] = (),
) -> WaferResults:
    """Everything that is computed of one wafer, from its tables and the station's calibrations.

    controls: control dies of the campaign, whose failure takes standing.
    """
    campaign = setting.campaign
    measured = measure(record, tables, setting)
    values = with_controls(measured.values, controls, setting)
    results = judged(choose_touchdowns(values, campaign), campaign, record.thermal)
    expected = () if record.only_for_study else expected_values(campaign, results)
    planned = planned_dies(campaign, layout, record.id)
    results = _finished(results, missing_rows(results, expected, planned), record.id, layout)
    beyond = not record.only_for_study
    dies = judge_dies(results, campaign, layout, record.id, expected, every_full_die=beyond)
    groups = tuple(one.corrected for one in measured.stripped.groups)
    return WaferResults(
        summary=summary_of(record, results, dies, setting),
        results=_table(results, schema_of(RESULT_COLUMNS)),
        dies=_table(dies, schema_of(DIE_COLUMNS)),
        traces=tuple(
            trace
            for group in measured.stripped.groups
            for trace in trace_groups(group.corrected, group.s, setting)
        ),
        faults=measured.faults,
        findings=tuple(
            sorted({*measured.findings, *findings_of(record, results, groups, setting)})
        ),
        sweep_quality=measured.quality,
        dummies=measured.stripped.uses,
        curves=measured.curves,
        touchdowns=measured.touchdowns,
        earlier=tables.earlier,
        budgets=measured.budgets,
        fits=measured.fits,
    )


def control_readings(
    record: WaferRecord, tables: WaferTables, setting: WaferSetting
) -> tuple[ControlResult, ...]:
    """What the control dies of one wafer say; their own failures take nothing here."""
    controls = [one for one in setting.campaign.controls if one.wafer == record.id]
    names = {one.parameter for one in controls}
    parameters = tuple(one for one in setting.campaign.parameters if one.id in names)
    few = setting.campaign.model_copy(update={"parameters": parameters})
    tables = on_dies(tables, {one.die for one in controls}, few)
    values = measure(record, tables, replace(setting, campaign=few)).values
    kinds = {one.id: one.kind for one in parameters}
    instruments = {"rf": setting.rf_instrument, "dc": setting.dc_instrument}
    return tuple(
        control_result(
            control,
            values,
            setting.campaign,
            setting.station,
            instruments[kinds[control.parameter]],
        )
        for control in controls
    )


def lent_dummies(
    record: WaferRecord, tables: WaferTables, setting: WaferSetting
) -> Mapping[str, Mapping[str, DummySweeps]]:
    """The dummies that a wafer lends to the campaign: by device, then by part."""
    file = f"wafers/{record.id}/wafer.toml"
    groups = tuple(correct_group(group, setting, file) for group in tables.sweeps)
    return {
        device.id: campaign_dummies(groups, device, setting)
        for device in setting.campaign.devices
        if device.deembedding is not None and device.deembedding.wafer == record.id
    }


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
