"""A wafer's tables: the entry for the job that works through one wafer."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import VALUE_SCHEMA, LoadedWafer, WaferTables
from sitegen.model.wafer import CurveTable, SweepTable, TouchdownTable, ValueTable
from sitegen.problems import Fault
from sitegen.read.curve_tables import grouped_curves, read_curves
from sitegen.read.entries import Context
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.foreign.checked import read_foreign
from sitegen.read.sweep_tables import grouped, read_sweeps
from sitegen.read.touchdown_tables import all_touchdowns, read_touchdowns
from sitegen.read.value_tables import Rows, all_values, read_values
from sitegen.read.words import quoted

Declared = TypeVar("Declared", bound=ValueTable | SweepTable | CurveTable | TouchdownTable)
Read = TypeVar("Read")
Reader = Callable[[Intake, Context, Asked, Declared], Read | None]


def read_wafer_tables(
    folder: Path, wafer: LoadedWafer, campaign: CampaignRecord, calibration_ids: frozenset[str]
) -> tuple[WaferTables, tuple[Fault, ...]]:
    """A wafer's tables, checked, and their faults.

    Rows, sweeps and curves with a fault are left out and counted in it. A table that
    `read_campaign` told already, because it is not there or in a frame that is not known, is left
    out here without a word. `calibration_ids` are the calibrations that a row may name.
    """
    intake = Intake(folder)
    context = Context(folder, wafer, campaign, calibration_ids)
    record, file = wafer.record, context.record_file
    readable = {source.path for source in wafer.sources}
    done: set[str] = set()

    def each(key: str, declared: Sequence[Declared], read: Reader[Declared, Read]) -> list[Read]:
        """What `read` makes of each table that can be read."""
        found = []
        for number, table in enumerate(declared, 1):
            path = beside(file, table.file)
            is_due = path in readable and path not in done and table.frame in wafer.frames
            done.add(path)
            if is_due:
                found.append(read(intake, context, Asked(file, f"{key}[{number}].file"), table))
        return [one for one in found if one is not None]

    foreign = read_foreign(intake, context)
    values = each("values", record.values, read_values)
    sweeps = each("sweeps", record.sweeps, read_sweeps)
    curves = each("curves", record.curves, read_curves)
    touchdowns = each("touchdowns", record.touchdowns, read_touchdowns)
    tables = WaferTables(
        values=all_values(intake, [*values, *foreign.values]),
        sweeps=grouped(intake, [*sweeps, *foreign.sweeps]),
        curves=grouped_curves(intake, campaign.curves, [*curves, *foreign.curves]),
        touchdowns=all_touchdowns(intake, [*touchdowns, *foreign.touchdowns]),
        earlier=_earlier(intake, each("earlier_maps", record.earlier_maps, read_values)),
    )
    _check_instruments(intake, context, tables)
    _check_thermal(intake, context, tables)
    return tables, tuple(sorted(set(intake.faults)))


def _earlier(intake: Intake, maps: Sequence[Rows]) -> pa.Table:
    """Earlier maps one after the other: a key is there once in each."""
    return pa.concat_tables(
        [VALUE_SCHEMA.empty_table(), *(all_values(intake, [one]) for one in maps)]
    ).combine_chunks()


def _check_instruments(intake: Intake, context: Context, tables: WaferTables) -> None:
    """The record must name the instrument that took what its tables hold."""
    kinds = {parameter.id: parameter.kind for parameter in context.campaign.parameters}
    taken = {kinds[name] for name in tables.values.column("parameter").unique().to_pylist()}
    taken |= {"rf"} if tables.sweeps else set()
    taken |= {"dc"} if tables.curves else set()
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
    keys = [*(group.keys for group in tables.sweeps), *(group.keys for group in tables.curves)]
    for each in keys:
        used |= set(each.column("condition").unique().to_pylist())
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
