"""A wafer's foreign files as the tables that its own files would be: checked row by row."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from sitegen.model.loaded import MappedSource
from sitegen.model.wafer import CurveTable, SweepTable, TouchdownTable, ValueTable
from sitegen.read.columns import Table
from sitegen.read.curve_tables import Curves, checked_curves
from sitegen.read.entries import Context
from sitegen.read.files import Intake
from sitegen.read.foreign.assembled import table_of_rows
from sitegen.read.foreign.mapping import columns_of
from sitegen.read.foreign.sweep_files import table_of_sweeps
from sitegen.read.sweep_tables import Sweeps, checked_sweeps
from sitegen.read.touchdown_tables import checked_touchdowns
from sitegen.read.value_tables import Rows, checked_values
from sitegen.read.words import quoted

Checked = TypeVar("Checked")


@dataclass(frozen=True)
class Foreign:
    """What a wafer's foreign files hold, one entry a source."""

    values: tuple[Rows, ...]
    sweeps: tuple[tuple[Sweeps, ...], ...]
    curves: tuple[tuple[Curves, ...], ...]
    touchdowns: tuple[Rows, ...]


def read_foreign(intake: Intake, context: Context) -> Foreign:
    """Read each source's files of the wafer; rows with a fault are told and left out."""
    tables = [(one, _table(intake, context, one)) for one in context.wafer.mapped]

    def each(holds: str, checked: Callable[[MappedSource, Table], Checked]) -> tuple[Checked, ...]:
        return tuple(
            checked(one, table)
            for one, table in tables
            if table is not None and one.source.holds == holds
        )

    return Foreign(
        values=each("values", lambda one, table: _values(intake, context, one, table)),
        sweeps=each("sweeps", lambda one, table: _sweeps(intake, context, one, table)),
        curves=each("curves", lambda one, table: _curves(intake, context, one, table)),
        touchdowns=each("touchdowns", lambda one, table: _touchdowns(intake, context, one, table)),
    )


def _table(intake: Intake, context: Context, mapped: MappedSource) -> Table | None:
    """All rows of a source; None and faults where a column that is needed is said nowhere."""
    wanted = columns_of(mapped.source, context.campaign)
    if mapped.source.holds == "sweeps" and not mapped.source.columns:
        table = table_of_sweeps(intake, mapped, wanted)
    else:
        wafer = context.wafer.record.id
        table = table_of_rows(intake, wafer, mapped, context.campaign, wanted)
    if table is None:
        return None
    lacking = [one for one in wanted if one.required and one.name not in table.columns]
    for column in lacking:
        intake.tell(
            table.file,
            "",
            found=f"nothing that says {quoted(column.name)}",
            expected=f"the {column.meaning}",
            remedy=f"Say it in source {quoted(mapped.source.id)} of mapping.toml: under 'files',"
            " 'lines', 'constants' or 'columns'; until then its files are left out.",
            count=len(mapped.files),
        )
    return None if lacking else table


def _values(intake: Intake, context: Context, mapped: MappedSource, table: Table) -> Rows:
    declared = ValueTable(file=table.file, frame=mapped.source.frame)
    return checked_values(intake, context, table, declared)


def _sweeps(
    intake: Intake, context: Context, mapped: MappedSource, table: Table
) -> tuple[Sweeps, ...]:
    source = mapped.source
    assert source.sweep is not None  # a source of sweeps without it is told and left out
    declared = SweepTable(
        file=table.file,
        sweep=source.sweep,
        reference_impedance_ohm=source.reference_impedance_ohm,
        frame=source.frame,
    )
    return checked_sweeps(intake, context, table, declared)


def _curves(
    intake: Intake, context: Context, mapped: MappedSource, table: Table
) -> tuple[Curves, ...]:
    declared = CurveTable(file=table.file, frame=mapped.source.frame)
    return checked_curves(intake, context, table, declared)


def _touchdowns(intake: Intake, context: Context, mapped: MappedSource, table: Table) -> Rows:
    declared = TouchdownTable(file=table.file, frame=mapped.source.frame)
    return checked_touchdowns(intake, context, table, declared)
