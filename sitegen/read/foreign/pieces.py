"""The rows of foreign tables that are of one wafer, file by file, and their columns joined."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt

from sitegen import units
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.loaded import MappedSource
from sitegen.model.mapping import MAPPING_FILE, Dialect, MappedColumn, Source
from sitegen.read.columns import Origin
from sitegen.read.files import Asked, Intake
from sitegen.read.foreign.entries import IntArray, refuse
from sitegen.read.foreign.mapped_columns import is_number, wafer_column
from sitegen.read.foreign.model import Column, Refusal
from sitegen.read.foreign.numbers import decimal_of, has_two_readings, numbers_of
from sitegen.read.foreign.readers import foreign_table
from sitegen.read.foreign.whose import wafers_of_rows
from sitegen.read.words import counted, quoted

ObjectArray = npt.NDArray[np.object_]
_CORRECT = "Correct the cell, or add what it says to 'dialect.missing' in mapping.toml."
_OPEN = (
    "Say in mapping.toml which mark stands before decimals: dialect.decimal = 'comma' or 'point'."
)


@dataclass(frozen=True)
class Piece:
    """The rows of one file that are of the wafer."""

    file: str
    cells: Mapping[str, Column]
    """By the file's own column name; texts without the blanks that pad them."""
    units: Mapping[str, str | None]
    """Of each column, as the file states it."""
    times: frozenset[str]
    """Columns that hold microseconds since 1970 UTC."""
    decimal: Literal["point", "comma", "open"]
    dialect: Dialect
    lines: IntArray
    word: Literal["line", "row"]
    says: Mapping[str, str]
    """By field: what the file's name and lines say."""
    modified_at: datetime | None
    is_ended: bool = True
    """Whether the last line of a text file has an end."""


def pieces_of(intake: Intake, wafer: str, mapped: MappedSource) -> list[Piece]:
    """Each file that has rows of the wafer; the rows of other wafers are left to those."""
    read = (_piece(intake, wafer, mapped, number) for number in range(len(mapped.files)))
    pieces = [piece for piece in read if piece is not None and len(piece.lines)]
    ended = sum(piece.is_ended for piece in pieces)
    if 2 * ended > len(pieces):
        for piece in (one for one in pieces if not one.is_ended):
            _tell_no_end(intake, piece, ended)
    return pieces


def _tell_no_end(intake: Intake, piece: Piece, ended: int) -> None:
    """A file whose last line has no end, while most files of its source end with one."""
    intake.tell(
        piece.file,
        f"line {piece.lines[-1]}",
        found=f"a last line without its end, while {counted(ended, 'file')} of this source"
        f" {'has' if ended == 1 else 'have'} one: its last number may be cut off",
        expected="a line end behind the last row",
        remedy="Compare the last row with the station's own file; it was read as it stands.",
    )


def _piece(intake: Intake, wafer: str, mapped: MappedSource, number: int) -> Piece | None:
    source, one = mapped.source, mapped.files[number]
    file, modified_at = one.files[0], (*one.modified_at, None)[0]
    asked = Asked(MAPPING_FILE, f'sources (id "{source.id}")')
    content = intake.read(file, asked, "a table of this source")
    table = None if content is None else foreign_table(intake, file, content, source)
    if table is None:
        return None
    whole = dict(zip(table.names, table.columns, strict=True))
    numeric = [whole[each.theirs] for each in source.columns if is_number(each)]
    keep = np.ones(len(table.lines), np.bool_)
    if wafer_column(source) is not None:
        keep = np.array([one == wafer for one in wafers_of_rows(table, source)], np.bool_)
    return Piece(
        file=file,
        cells={name: unpadded(cells[keep], table.word) for name, cells in whole.items()},
        units=dict(zip(table.names, table.units, strict=True)),
        times=frozenset(
            name for name, is_time in zip(table.names, table.is_time, strict=True) if is_time
        ),
        decimal=decimal_of(numeric, table.dialect),
        dialect=table.dialect,
        lines=table.lines[keep],
        word=table.word,
        says=dict(one.says[0]),
        modified_at=modified_at,
        is_ended=table.is_ended,
    )


def unpadded(cells: Column, word: str) -> Column:
    """Cells of a text file without the blanks around them, which pad and say nothing."""
    if cells.dtype != np.object_ or word != "line":
        return cells
    return np.array([*(cell.strip() for cell in cells), None], dtype=object)[:-1]


def joined_texts(pieces: Sequence[Piece], one: MappedColumn) -> ObjectArray:
    """A column of all files as text, None where it is empty and where it holds times; numbers with
    a decimal point."""
    parts: list[str | None] = []
    for piece in pieces:
        cells = piece.cells[one.theirs]
        if one.theirs in piece.times:
            parts += [None] * len(cells)
        elif cells.dtype != np.object_:
            parts += [None if np.isnan(cell) else f"{cell:.17g}" for cell in cells.tolist()]
        elif is_number(one) and piece.decimal == "comma":
            parts += [cell and cell.replace(",", ".") for cell in cells]
        else:
            parts += [cell or None for cell in cells]
    return np.array([*parts, None], dtype=object)[:-1]


def joined_times(pieces: Sequence[Piece], one: MappedColumn) -> tuple[BoolArray, IntArray]:
    """Where a column of all files holds microseconds since 1970 UTC, and these; 0 elsewhere."""
    is_ready = [np.full(len(piece.lines), one.theirs in piece.times) for piece in pieces]
    us = [
        piece.cells[one.theirs].astype(np.int64)
        if one.theirs in piece.times
        else np.zeros(len(piece.lines), np.int64)
        for piece in pieces
    ]
    return np.concatenate(is_ready), np.concatenate(us)


def joined_numbers(
    intake: Intake, origin: Origin, keep: BoolArray, pieces: Sequence[Piece], one: MappedColumn
) -> FloatArray:
    """A column of all files as numbers, NaN where it is empty; cells that are no number are told
    and their rows taken out of `keep`."""
    field = one.ours or "value"
    numbers, bad, two_ways = [], [], []
    for piece in pieces:
        cells, ends = _without_ends(piece.cells[one.theirs], one)
        read, wrong = numbers_of(cells, piece.dialect.model_copy(update={"decimal": piece.decimal}))
        is_open = piece.decimal == "open"
        numbers.append(np.where(np.isnan(ends), read, ends))
        bad.append(wrong)
        two_ways.append(wrong & [is_open and has_two_readings(str(cell)) for cell in cells])
    told = _Cells([cell for piece in pieces for cell in piece.cells[one.theirs]])
    open_ones = np.concatenate(two_ways)
    refuse(intake, origin, keep, Refusal(open_ones, field, told, "one way to read it", _OPEN))
    refuse(intake, origin, keep, Refusal(np.concatenate(bad), field, told, "a number", _CORRECT))
    return np.concatenate(numbers)


def _without_ends(cells: Column, one: MappedColumn) -> tuple[Column, FloatArray]:
    """Cells without what stands for a value beyond the range, and where the range ended instead;
    NaN: the cell holds what it says."""
    if not one.beyond or cells.dtype != np.object_:
        return cells, np.full(len(cells), np.nan)
    ends = np.array([one.beyond.get(cell, np.nan) for cell in cells], np.float64)
    kept = ["" if cell in one.beyond else cell for cell in cells]
    return np.array([*kept, None], dtype=object)[:-1], ends


def are_beyond(pieces: Sequence[Piece], one: MappedColumn) -> BoolArray:
    """Rows whose cell stands for a value beyond the instrument's range."""
    cells = [cell for piece in pieces for cell in piece.cells[one.theirs]]
    return np.array([isinstance(cell, str) and cell in one.beyond for cell in cells], np.bool_)


@dataclass(frozen=True)
class _Cells:
    """What a cell holds, as a phrase."""

    cells: Sequence[object]

    def __call__(self, row: int) -> str:
        return quoted(str(self.cells[row]))


def factors(
    intake: Intake,
    origin: Origin,
    keep: BoolArray,
    pieces: Sequence[Piece],
    one: MappedColumn,
    into: str,
) -> FloatArray:
    """For each row the factor from a column's unit to ours: the unit that mapping.toml states, else
    the file's own. A file's unit that does not convert is told and its rows taken out of `keep`."""
    rates, bad = [], []
    for piece in pieces:
        unit = one.unit or piece.units.get(one.theirs)
        rate = 1.0 if unit is None or not into else _rate(unit, into)
        rates.append(np.full(len(piece.lines), np.nan if rate is None else rate))
        bad.append(np.full(len(piece.lines), rate is None))
    stated = [piece.units.get(one.theirs) or "" for piece in pieces]
    file_of = origin.file_of
    refusal = Refusal(
        np.concatenate(bad),
        one.ours or "value",
        lambda row: f"the unit {quoted(stated[int(file_of[row])])}",
        f"{into} or a unit that converts to it",
        "State the column's unit in mapping.toml, or export it in another one.",
    )
    refuse(intake, origin, keep, refusal)
    return np.concatenate(rates)


def _rate(unit: str, into: str) -> float | None:
    try:
        return units.conversion(unit, into)
    except (units.UnknownUnit, units.NotConvertible):
        return None


def stated_units(pieces: Sequence[Piece], one: MappedColumn) -> ObjectArray:
    """For each row the unit of a column whose unit mapping.toml or the file states; else None."""
    units_of = [one.unit or piece.units.get(one.theirs) for piece in pieces]
    lengths = [len(piece.lines) for piece in pieces]
    return np.repeat(np.array([*units_of, None], dtype=object)[:-1], lengths)


def said_by_files(source: Source, pieces: Sequence[Piece]) -> dict[str, ObjectArray]:
    """By field: what the files' names and lines say, one text a row; whose wafer is known."""
    lengths = [len(piece.lines) for piece in pieces]
    fields = dict.fromkeys(field for piece in pieces for field in piece.says)
    return {
        field: np.repeat(
            np.array([*(piece.says.get(field) for piece in pieces), None], dtype=object)[:-1],
            lengths,
        )
        for field in fields
        if field != "wafer"
    }
