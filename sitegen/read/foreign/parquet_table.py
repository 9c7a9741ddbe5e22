"""A foreign Parquet table, read as its source in mapping.toml says."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from sitegen.model.mapping import MappedColumn, Source
from sitegen.read.files import Intake
from sitegen.read.foreign.mapped_columns import (
    is_number,
    key_of,
    tell_missing,
    tell_twice,
    tell_unmapped,
    tell_without_columns,
    wanted_names,
)
from sitegen.read.foreign.model import Column, ForeignTable
from sitegen.read.foreign.stated_units import agreed_units
from sitegen.read.words import quoted

EMPTY_TIME_US = int(np.iinfo(np.int64).min)
"""Stands for an empty cell among times in microseconds."""
_UNREADABLE = (pa.ArrowException, OSError, ValueError, TypeError, MemoryError)
"""What pyarrow raises for bytes that are not a whole Parquet file."""
_TIMES = frozenset({"time", "measured_at"})


def read_parquet_table(
    intake: Intake, file: str, content: bytes, source: Source
) -> ForeignTable | None:
    """The mapped columns of a Parquet file, or None and faults.

    Columns that are mapped to numbers become float64 (NaN: empty) where the file holds numbers or
    truth values; times with a zone that are mapped to a time become microseconds since 1970 UTC
    (`EMPTY_TIME_US`: empty). All else becomes text, None where it is empty: whole numbers mapped to
    a text with all their digits, times and days in the form of ISO 8601. The unit that a field's
    metadata states under `unit` counts as in a text table's line of units.
    """
    if not source.columns:
        tell_without_columns(intake, file, source)
        return None
    try:
        parquet = pq.ParquetFile(pa.BufferReader(content))
        schema, rows = parquet.schema_arrow, parquet.metadata.num_rows
    except _UNREADABLE:
        _tell_unreadable(intake, file, content)
        return None
    names = [key_of(name) for name in schema.names]
    wanted = wanted_names(source)
    missing = [name for name in wanted if key_of(name) not in names]
    if missing:
        tell_missing(intake, file, "columns", missing, [*dict.fromkeys(names)])
        return None
    if tell_twice(intake, file, "", source, names):
        return None
    tell_unmapped(intake, file, "columns", source, names)
    if rows == 0:
        again = "Write the table again, or remove the file."
        intake.tell(file, "", found="no rows", expected="at least one", remedy=again)
        return None
    fields = [schema.field(names.index(key_of(name))) for name in wanted]
    stated = {name: _unit_of(field) for name, field in zip(wanted, fields, strict=True)}
    units = agreed_units(intake, file, source, "columns", "its metadata", stated)
    columns = _columns(intake, file, parquet, source, fields)
    if units is None or columns is None:
        return None
    return ForeignTable(
        names=wanted,
        units=units,
        columns=columns,
        is_time=tuple(column.dtype == np.int64 for column in columns),
        lines=np.arange(1, rows + 1, dtype=np.int64),
        word="row",
        head=(),
        dialect=source.dialect,
    )


def _tell_unreadable(intake: Intake, file: str, content: bytes) -> None:
    mark = b"PAR1"
    cut = content.startswith(mark) and not content.endswith(mark)
    intake.tell(
        file,
        "",
        found="a Parquet file that breaks off"
        if cut
        else "bytes that are not a whole Parquet file",
        expected="a Parquet file",
        remedy="Copy or write the file again.",
    )


def _unit_of(field: pa.Field) -> str | None:
    unit = (field.metadata or {}).get(b"unit")
    text = None if unit is None else unit.decode("utf-8", "replace").strip()
    return text or None


def _columns(
    intake: Intake, file: str, parquet: pq.ParquetFile, source: Source, fields: Sequence[pa.Field]
) -> tuple[Column, ...] | None:
    """The mapped columns in the order of their names; None and a fault for each that holds nothing
    that can be read."""
    fits = [_type_fits(intake, file, field) for field in fields]
    if not all(fits):
        return None
    try:
        table = parquet.read(columns=[field.name for field in fields])
    except _UNREADABLE:
        _tell_unreadable(intake, file, b"")
        return None
    columns: list[Column] = []
    for name, field in zip(wanted_names(source), fields, strict=True):
        mapped = [column for column in source.columns if column.theirs == name]
        try:
            columns.append(_column(table.column(field.name), mapped))
        except _UNREADABLE:
            _tell_type(intake, file, field.name, "bytes that are no text")
    return tuple(columns) if len(columns) == len(fields) else None


def _type_fits(intake: Intake, file: str, field: pa.Field) -> bool:
    kind = _plain_type(field.type)
    if pa.types.is_nested(kind):
        _tell_type(intake, file, field.name, f"nested values ({kind})")
    elif pa.types.is_duration(kind) or pa.types.is_interval(kind):
        _tell_type(intake, file, field.name, f"lengths of time ({kind})")
    else:
        return True
    return False


def _tell_type(intake: Intake, file: str, name: str, found: str) -> None:
    intake.tell(
        file,
        f"column {quoted(name)}",
        found=found,
        expected="numbers, texts or times",
        remedy="Write the column as one of them, or take it out of 'columns' in mapping.toml.",
    )


def _plain_type(kind: pa.DataType) -> pa.DataType:
    return kind.value_type if pa.types.is_dictionary(kind) else kind


def _column(column: pa.ChunkedArray, mapped: Sequence[MappedColumn]) -> Column:
    """A column as numbers, microseconds or text; raises what pyarrow raises for bytes that are no
    text."""
    types, kind = pa.types, _plain_type(column.type)
    if types.is_dictionary(column.type):
        column = column.cast(kind)
    is_numeric = types.is_floating(kind) or types.is_integer(kind) or types.is_decimal(kind)
    if (is_numeric or types.is_boolean(kind)) and any(is_number(one) for one in mapped):
        return _numbers(column)
    if types.is_timestamp(kind):
        if kind.tz is not None and all(one.ours in _TIMES for one in mapped):
            cast = column.cast(pa.timestamp("us", tz="UTC"), safe=False).cast(pa.int64())
            filled = cast.fill_null(EMPTY_TIME_US)
            return np.asarray(filled.to_numpy(zero_copy_only=False), np.int64)
        return _times(column)
    if types.is_float16(kind) or types.is_float32(kind) or types.is_float64(kind):
        return _texts([None if np.isnan(one) else f"{one:.17g}" for one in _numbers(column)])
    if types.is_null(kind):
        return _texts([None] * len(column))
    return _texts(column.cast(pa.string()).to_pylist())


def _numbers(column: pa.ChunkedArray) -> npt.NDArray[np.float64]:
    cast = column.cast(pa.float64(), safe=False)
    return np.array(cast.to_numpy(zero_copy_only=False), np.float64)


def _times(column: pa.ChunkedArray) -> npt.NDArray[np.object_]:
    """Times in the form of ISO 8601, with +00:00 where they have a zone."""
    zone = "" if column.type.tz is None else "+00:00"
    plain = column.cast(pa.timestamp("us", tz=column.type.tz), safe=False).cast(pa.int64())
    us = plain.fill_null(EMPTY_TIME_US).to_numpy(zero_copy_only=False).astype("datetime64[us]")
    told = np.datetime_as_string(us, unit="us")
    return _texts([None if text == "NaT" else f"{text}{zone}" for text in told.tolist()])


def _texts(texts: Sequence[str | None]) -> npt.NDArray[np.object_]:
    column = np.empty(len(texts), dtype=object)
    column[:] = texts
    return column
