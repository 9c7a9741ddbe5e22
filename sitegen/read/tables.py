"""A wafer's tables: the entry for the job that works through one wafer."""

from pathlib import Path

from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import LoadedWafer, WaferTables
from sitegen.problems import Fault
from sitegen.read.entries import Context
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.sweep_tables import grouped, read_sweeps
from sitegen.read.value_tables import read_values, without_duplicates
from sitegen.read.words import quoted


def read_wafer_tables(
    folder: Path, wafer: LoadedWafer, campaign: CampaignRecord, calibration_ids: frozenset[str]
) -> tuple[WaferTables, tuple[Fault, ...]]:
    """A wafer's values and sweeps, checked, and the faults of its tables.

    Rows and sweeps with a fault are left out and counted in it. A table that `read_campaign` told
    already, because it is not there or in a frame that is not known, is left out here without a
    word. `calibration_ids` are the calibrations that a row may name.
    """
    intake = Intake(folder)
    context = Context(folder, wafer, campaign, calibration_ids)
    record, file = wafer.record, context.record_file
    readable = {source.path for source in wafer.sources}
    done: set[str] = set()

    def is_due(name: str, frame: str) -> bool:
        path = beside(file, name)
        due = path in readable and path not in done and frame in wafer.frames
        done.add(path)
        return due

    values = [
        read_values(intake, context, Asked(file, f"values[{number}].file"), table)
        for number, table in enumerate(record.values, 1)
        if is_due(table.file, table.frame)
    ]
    sweeps = [
        read_sweeps(intake, context, Asked(file, f"sweeps[{number}].file"), table)
        for number, table in enumerate(record.sweeps, 1)
        if is_due(table.file, table.frame)
    ]
    tables = WaferTables(
        values=without_duplicates(intake, [read for read in values if read is not None]),
        sweeps=grouped(intake, [read for read in sweeps if read is not None]),
    )
    _check_instruments(intake, context, tables)
    _check_thermal(intake, context, tables)
    return tables, tuple(sorted(set(intake.faults)))


def _check_instruments(intake: Intake, context: Context, tables: WaferTables) -> None:
    """The record must name the instrument that took what its tables hold."""
    kinds = {parameter.id: parameter.kind for parameter in context.campaign.parameters}
    taken = {kinds[name] for name in tables.values.column("parameter").unique().to_pylist()}
    taken |= {"rf"} if tables.sweeps else set()
    for kind, key in (("dc", "dc_instrument"), ("rf", "rf_instrument")):
        if kind in taken and getattr(context.wafer.record, key) is None:
            intake.tell(
                context.record_file,
                key,
                found=f"no instrument, though the tables hold {kind.upper()} values",
                expected="the id of the station's instrument that took them",
                remedy=f"Add {key} to the record; until then these values have no standing.",
            )


SET_POINT_REACH_C = 5.0
"""A thermal entry belongs to conditions within so much of its set point: the wafer's surface is
seldom further from the chuck."""


def _check_thermal(intake: Intake, context: Context, tables: WaferTables) -> None:
    """Each temperature at which the tables hold values needs a thermal entry of the record."""
    used = set(tables.values.column("condition").unique().to_pylist())
    for group in tables.sweeps:
        used |= set(group.keys.column("condition").unique().to_pylist())
    entries = [one.set_point_c for one in context.wafer.record.thermal]
    lacking = [
        condition
        for condition in context.campaign.conditions
        if condition.id in used
        and all(abs(condition.temperature_c - at_c) > SET_POINT_REACH_C for at_c in entries)
    ]
    for temperature_c in sorted({condition.temperature_c for condition in lacking}):
        names = [one.id for one in lacking if one.temperature_c == temperature_c]
        intake.tell(
            context.record_file,
            "thermal",
            found=f"no entry near {temperature_c:g} °C, though the tables hold values under the"
            f" condition {' and '.join(quoted(name) for name in names)}",
            expected="one [[thermal]] entry for each set point",
            remedy="Add set point, chuck reading, surface correction and soak time.",
        )
