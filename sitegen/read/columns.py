"""A Parquet table against the columns that it may have: names, types and units."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from sitegen import units
from sitegen.model.tables import Column
from sitegen.read.files import Asked, Intake
from sitegen.read.likely_columns import tell_slips
from sitegen.read.likely_files import kind_of_bytes
from sitegen.read.references import tell_unknown_unit
from sitegen.read.words import nearest, quoted

_QUOTED = re.compile(r'"([^"]*)"')
_UNREADABLE = (pa.ArrowException, OSError, ValueError, TypeError, MemoryError)
"""What pyarrow raises for bytes that are not a whole Parquet file."""


@dataclass(frozen=True)
class Origin:
    """Where the rows of a table stood that was put together from foreign files."""

    files: tuple[str, ...]
    file_of: npt.NDArray[np.int64]
    """Of each row: index into `files`."""
    line_of: npt.NDArray[np.int64]
    """Of each row: its line or row in that file, from 1; 0: the file as a whole."""
    words: tuple[str, ...]
    """What `line_of` counts in each of `files`: 'line' or 'row'."""
    places: Mapping[str, str]
    """Where a column of ours comes from, as a phrase: 'column "X"', 'its name, {die_x}'."""
    column_of: npt.NDArray[np.object_] | None = None
    """Of each row: the name of the foreign column that its value stood in."""

    def runs_apart(self) -> npt.NDArray[np.int64]:
        """For each row a number that rows of one sweep or curve share: none goes on in another file
        but in parts of a Parquet dataset, which may be cut anywhere."""
        ends = np.array([word == "line" for word in self.words], np.bool_)
        return np.where(ends[self.file_of], self.file_of, -1)


@dataclass(frozen=True)
class Table:
    """The columns of a file that are known, each with one Arrow type a content:
    int64, float64, dictionary of string, timestamp in microseconds UTC."""

    file: str
    columns: dict[str, pa.Array]
    stated_units: dict[str, str]
    """Units from the field metadata of columns that convert row by row (`value`)."""
    origin: Origin | None = None
    """None: the table stands in `file` as it is."""

    def files_of(self, rows: npt.NDArray[np.int64]) -> npt.NDArray[np.object_]:
        """The file of each of some rows, counted from 1."""
        if self.origin is None:
            return np.full(len(rows), self.file, dtype=object)
        return np.array(self.origin.files, dtype=object)[self.origin.file_of[rows - 1]]

    def places_of(self, rows: npt.NDArray[np.int64]) -> npt.NDArray[np.object_]:
        """Where each of some rows, counted from 1, stands in its file: 'row 3', 'line 14'."""
        if self.origin is None:
            return np.array([f"row {row}" for row in rows], dtype=object)
        words = [self.origin.words[file] for file in self.origin.file_of[rows - 1]]
        lines = self.origin.line_of[rows - 1]
        places = [f"{word} {line}" if line else "" for word, line in zip(words, lines, strict=True)]
        return np.array(places, dtype=object)

    def column_words(self, column: str, row: int) -> str:
        """'column "value"' in the words of the file that the row, counted from 1, stood in."""
        origin = self.origin
        if origin is None or not column:
            return column
        places = dict(origin.places)
        if origin.column_of is not None:
            places["value"] = f'column "{origin.column_of[row - 1]}"'
        names = _QUOTED.findall(column)
        return " and ".join(dict.fromkeys(places.get(one, f'column "{one}"') for one in names))

    @property
    def rows(self) -> int:
        """How many rows it has."""
        return len(next(iter(self.columns.values())))

    def numbers(self, name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        """A column as float64; NaN where a row leaves it empty, or the table has no such column."""
        if name not in self.columns:
            return np.full(self.rows, np.nan)
        return np.asarray(
            self.columns[name].cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False),
            np.float64,
        )

    def empty(self, name: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """True for each row that leaves a column empty."""
        if name not in self.columns:
            return np.ones(self.rows, np.bool_)
        return np.asarray(self.columns[name].is_null().to_numpy(zero_copy_only=False), np.bool_)

    def words(self, name: str) -> tuple[list[str], np.ndarray[tuple[int], np.dtype[np.int64]]]:
        """A text column as its distinct texts and each row's index into them; -1: empty."""
        if name not in self.columns:
            return [], np.full(self.rows, -1)
        column = self.columns[name]
        codes = column.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
        texts: list[str] = column.dictionary.to_pylist()
        return texts, codes


def read_table(
    intake: Intake,
    file: str,
    asked: Asked,
    wanted: Sequence[Column],
    further: str = "",
) -> Table | None:
    """The wanted columns of a Parquet file, or None and faults.

    `further` says in words which of them the reference does not list by name.
    """
    content = intake.read(file, asked, "the name of a Parquet file")
    if content is None:
        return None
    try:
        source = pq.ParquetFile(pa.BufferReader(content))
        schema, rows = source.schema_arrow, source.metadata.num_rows
    except _UNREADABLE:
        _tell_unreadable(intake, file, content)
        return None
    if not _names_fit(intake, file, schema.names, wanted, further):
        return None
    if rows == 0:
        intake.tell(
            file,
            "",
            found="no rows",
            expected="at least one",
            remedy="Write the table again, or take it out of the record.",
        )
        return None
    present = [column for column in wanted if column.name in schema.names]
    told = tell_slips(intake, file, source, present)
    others = [column for column in present if column.name not in told]
    types_fit = [_type_fits(intake, file, schema.field(c.name), c) for c in others]
    if told or not all(types_fit):
        return None
    try:
        table = source.read(columns=[column.name for column in present])
        columns = {c.name: _uniform(table.column(c.name), c) for c in present}
    except _UNREADABLE:
        _tell_unreadable(intake, file, content)
        return None
    kept = {name: column for name, column in columns.items() if column is not None}
    return _with_units(intake, file, schema, present, kept)


def _tell_unreadable(intake: Intake, file: str, content: bytes) -> None:
    kind = kind_of_bytes(content)
    intake.tell(
        file,
        "",
        found="bytes that are not a whole Parquet file" + (f": {kind}" if kind else ""),
        expected="a Parquet file",
        remedy="Copy or write the file again.",
    )


_ROW_NUMBERS = re.compile(r"^__index_level_\d+__$")
"""What pandas adds for the row numbers of a frame that was filtered: it means nothing here."""


def _names_fit(
    intake: Intake, file: str, names: Sequence[str], wanted: Sequence[Column], further: str
) -> bool:
    """Whether the table can be read with these columns; each name that is wrong is told."""
    by_name = {column.name: column for column in wanted}
    absent = [name for name in by_name if name not in names]
    fits = True
    for name in sorted({name for name in names if names.count(name) > 1}):
        fits = False
        _tell_column(intake, file, name, "the column twice", "it once", "Remove one of the two.")
    for name in [name for name in names if name not in by_name and not _ROW_NUMBERS.match(name)]:
        meant = nearest(name, absent)
        if meant is not None:
            fits = False
            absent.remove(meant)
            expected = f"the column {quoted(meant)}"
            remedy = "Rename the column; until then the table is left out."
        else:
            expected = "only columns of the reference" + (f", or {further}" if further else "")
            remedy = "Leave the column out; it was not read."
        _tell_column(intake, file, name, "a column that is not known", expected, remedy)
    for name in [name for name in absent if by_name[name].required]:
        fits = False
        intake.tell(
            file,
            "columns",
            found=f"no column {quoted(name)}",
            expected=f"this column ({by_name[name].meaning})",
            remedy="Add the column; until then the table is left out.",
        )
    return fits


def _tell_column(
    intake: Intake, file: str, name: str, found: str, expected: str, remedy: str
) -> None:
    intake.tell(file, f"column {quoted(name)}", found=found, expected=expected, remedy=remedy)


def _type_fits(intake: Intake, file: str, field: pa.Field, column: Column) -> bool:
    """Whether a column has a type that its content may have."""
    kind = field.type.value_type if pa.types.is_dictionary(field.type) else field.type
    types = pa.types
    is_whole, is_text = types.is_integer(kind), _is_text(kind)
    fits = {
        "whole number": is_whole,
        "number": is_whole or types.is_floating(kind),
        "precise number": is_whole or types.is_float64(kind),
        "text": is_text,
        "time": types.is_timestamp(kind) and kind.tz is not None,
    }[column.content]
    if fits or (types.is_null(kind) and not column.required):
        return True
    if is_text:
        found = "text"
    elif types.is_timestamp(kind):
        found = "times without a zone" if kind.tz is None else "times"
    else:
        found = f"the type {kind}"
    expected, remedy = {
        "whole number": ("whole numbers", "Write the column as integers, without empty rows."),
        "number": ("numbers", "Write the column as float64 or float32."),
        "precise number": ("numbers as float64", "Write the column as float64."),
        "text": ("text", "Write the column as strings."),
        "time": ("times with a zone", "Write the column as timestamps in UTC."),
    }[column.content]
    _tell_column(intake, file, column.name, found, expected, remedy)
    return False


def _is_text(kind: pa.DataType) -> bool:
    types = pa.types
    return bool(types.is_string(kind) or types.is_large_string(kind) or types.is_string_view(kind))


def _uniform(column: pa.ChunkedArray, wanted: Column) -> pa.Array | None:
    """The column in the one type of its content; None for a column that is empty throughout."""
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if pa.types.is_null(column.type):
        return None
    if wanted.content == "text":
        encoded = column.cast(pa.string()).dictionary_encode().combine_chunks()
        if isinstance(encoded, pa.ChunkedArray):
            encoded = pa.concat_arrays(encoded.unify_dictionaries().chunks)
        return encoded
    kind = {
        "whole number": pa.int64(),
        "number": pa.float64(),
        "precise number": pa.float64(),
        "time": pa.timestamp("us", tz="UTC"),
    }[wanted.content]
    cast = column.cast(kind, safe=False).combine_chunks()
    return pa.concat_arrays(cast.chunks) if isinstance(cast, pa.ChunkedArray) else cast


def _with_units(
    intake: Intake,
    file: str,
    schema: pa.Schema,
    present: Sequence[Column],
    columns: dict[str, pa.Array],
) -> Table | None:
    """Convert each column whose field metadata states another unit than the column's own."""
    stated: dict[str, str] = {}
    fits = True
    for column in present:
        unit = _unit_of(schema.field(column.name))
        if unit is None or column.name not in columns or "number" not in column.content:
            continue
        place = f'column {quoted(column.name)}, metadata "unit"'
        if not column.unit:
            stated[column.name] = unit
            continue
        try:
            factor = units.conversion(unit, column.unit)
        except units.UnknownUnit:
            tell_unknown_unit(intake, file, place, unit)
            fits = False
            continue
        except units.NotConvertible:
            intake.tell(
                file,
                place,
                found=f"the unit {quoted(unit)}",
                expected=f"{column.unit} or a unit that converts to it",
                remedy="Correct the unit; until then the table is left out.",
            )
            fits = False
            continue
        if factor != 1.0:
            numbers = columns[column.name].to_numpy(zero_copy_only=False) * factor
            columns[column.name] = pa.array(
                numbers, mask=columns[column.name].is_null().to_numpy(zero_copy_only=False)
            )
    return Table(file, columns, stated) if fits else None


def _unit_of(field: pa.Field) -> str | None:
    metadata = field.metadata or {}
    unit = metadata.get(b"unit")
    return None if unit is None else unit.decode("utf-8", "replace")
