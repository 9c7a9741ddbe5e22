"""A table of text in any dialect, read as its source in mapping.toml says."""

from collections.abc import Sequence

import numpy as np

from sitegen.model.mapping import Source
from sitegen.read.files import Intake
from sitegen.read.foreign.mapped_columns import (
    key_of,
    number_names,
    tell_twice,
    tell_unmapped,
    tell_without_columns,
    wanted_names,
)
from sitegen.read.foreign.model import ForeignTable
from sitegen.read.foreign.names_line import NamesLine, find_names, record_at
from sitegen.read.foreign.stated_units import agreed_units, unit_word
from sitegen.read.foreign.text_bytes import TableText, text_of_table
from sitegen.read.foreign.text_records import Layout, records_of
from sitegen.read.foreign.text_rows import RowFilter


def read_text_table(
    intake: Intake, file: str, content: bytes, source: Source
) -> ForeignTable | None:
    """The mapped columns of a table of text, or None and faults.

    The names line is the first whose cells, by some separator, hold every mapped name; it decides
    separator and start. Lines are counted as an editor counts them. Empty lines and comments (# or
    !) are left; everything else that is no row is told, once a cause with its count, and left out:
    the names again, units that are not declared, lines with fewer or more cells than names, a
    second table. Cells stay as they are (`numbers.numbers_of` makes numbers of them). None where
    two statements of a column's unit differ, or no row is left.
    """
    if not source.columns:
        tell_without_columns(intake, file, source)
        return None
    text = text_of_table(intake, file, content, source.dialect)
    if text is None:
        return None
    names = find_names(intake, file, text.lines, source)
    if names is None:
        return None
    place = f"line {names.line}"
    if tell_twice(intake, file, place, source, names.keys):
        return None
    tell_unmapped(intake, file, place, source, names.keys)
    return _read(intake, file, text, names, source)


def _read(
    intake: Intake, file: str, text: TableText, names: NamesLine, source: Source
) -> ForeignTable | None:
    """The rows below the names."""
    wanted, numeric = wanted_names(source), set(number_names(source))
    places = [names.keys.index(key_of(name)) for name in wanted]
    layout = Layout(
        names,
        tuple(places),
        tuple(place for name, place in zip(wanted, places, strict=True) if name in numeric),
    )
    declared = source.dialect.units_line
    is_below = declared is not None and declared > names.line
    rows_of = RowFilter(
        intake, file, text.lines, layout, text.is_ended, declared if is_below else None
    )
    told = len(intake.faults)
    rows = rows_of.rows(records_of(text.lines, names.start, names.separator))
    cells, at = rows_of.units, rows_of.units_at
    if declared is not None and not is_below:
        cells, at = record_at(text.lines, declared - 1, names.separator)[0], declared
    stated = _stated(wanted, places, cells)
    units = agreed_units(intake, file, source, f"line {at}", f"line {at}", stated)
    if units is None:
        return None
    if not rows.lines:
        if len(intake.faults) == told or rows_of.units is not None:
            again = "Export the table again, or remove the file."
            found = "no rows below the columns' names"
            intake.tell(file, "", found=found, expected="at least one", remedy=again)
        return None
    changes = {"separator": names.separator, "encoding": text.encoding, "names_line": names.line}
    return ForeignTable(
        names=wanted,
        units=units,
        columns=tuple(_column([record[place] for record in rows.cells]) for place in places),
        is_time=(False,) * len(wanted),
        lines=np.array(rows.lines, np.int64),
        word="line",
        head=tuple(text.lines[: names.line - 1]),
        dialect=source.dialect.model_copy(update=changes),
        is_ended=text.is_ended or rows.lines[-1] < len(text.lines),
    )


def _stated(
    wanted: Sequence[str], places: Sequence[int], cells: Sequence[str] | None
) -> dict[str, str | None]:
    """The units of the mapped columns, as a line of units has them."""
    if cells is None:
        return {}
    return {
        name: unit_word(cells[place])
        for name, place in zip(wanted, places, strict=True)
        if place < len(cells)
    }


def _column(cells: list[str]) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    column = np.empty(len(cells), dtype=object)
    column[:] = cells
    return column
