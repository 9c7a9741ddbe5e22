"""A wafer's tables of touchdowns with their contact checks, one row a touchdown."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen.model.loaded import TOUCHDOWN_SCHEMA
from sitegen.model.tables import TOUCHDOWN_COLUMNS
from sitegen.model.wafer import TouchdownTable
from sitegen.read.columns import Table, read_table
from sitegen.read.entries import (
    Context,
    Entries,
    check_times,
    column_place,
    refuse_empty,
    refuse_misplaced,
    refuse_unknown_names,
    texts_of,
    touchdowns,
)
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.value_tables import Rows, arrow_table, one_of_each

KEY = ("die_x", "die_y", "site", "device", "touchdown")
MOST_CONTACTS = 10**9
"""No probe makes so many contacts."""


def read_touchdowns(
    intake: Intake, context: Context, asked: Asked, declared: TouchdownTable
) -> Rows | None:
    """One table of touchdowns, or None and faults."""
    file = beside(context.record_file, declared.file)
    table = read_table(intake, file, asked, TOUCHDOWN_COLUMNS)
    return None if table is None else checked_touchdowns(intake, context, table, declared)


def checked_touchdowns(
    intake: Intake, context: Context, table: Table, declared: TouchdownTable
) -> Rows:
    """The rows of one table that stay; faults for the others."""
    rows = np.arange(1, table.rows + 1)
    entries = Entries(intake, table, rows, np.ones(table.rows, np.bool_))
    refuse_empty(entries, TOUCHDOWN_COLUMNS)
    refuse_unknown_names(entries, context)
    die_x, die_y = refuse_misplaced(entries, context, context.wafer.frames[declared.frame])
    columns: dict[str, npt.ArrayLike] = {
        "die_x": die_x,
        "die_y": die_y,
        "touchdown": touchdowns(entries),
        "measured_at": check_times(entries, context),
        "site": texts_of(table, "site", ""),
        "device": texts_of(table, "device", None),
        "file": table.files_of(rows),
    }
    for name in ("probe_contacts", "pad_touchdowns"):
        _refuse_impossible_counts(entries, name)
    for field in TOUCHDOWN_SCHEMA:
        if field.name not in columns:
            columns[field.name] = table.numbers(field.name)
    kept = arrow_table(columns, entries, TOUCHDOWN_SCHEMA)
    return Rows(kept, table.places_of(rows[entries.keep]))


def _refuse_impossible_counts(entries: Entries, name: str) -> None:
    numbers = entries.table.numbers(name)
    is_part = ~np.isnan(numbers) & (np.floor(numbers) != numbers)
    entries.refuse(
        (numbers < 1) | (numbers > MOST_CONTACTS) | is_part,
        column_place(name),
        lambda first: f"{numbers[first]:.15g}",
        "a count from 1 as a whole number, with this one",
        "Correct the count.",
    )


def all_touchdowns(intake: Intake, tables: Sequence[Rows]) -> pa.Table:
    """All tables as one, sorted by die_y, die_x, site, device, touchdown; a key that comes again
    is told and left out."""
    joined = one_of_each(intake, KEY, tables, TOUCHDOWN_SCHEMA)
    order = ("die_y", "die_x", "site", "device", "touchdown")
    return joined.sort_by([(name, "ascending") for name in order]).combine_chunks()
