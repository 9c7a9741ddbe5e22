"""Columns of a Parquet table that hold another type than they should: told with what they hold."""

from collections.abc import Sequence

import pyarrow as pa
import pyarrow.parquet as pq

from sitegen.model.tables import Column
from sitegen.read.files import Intake
from sitegen.read.likely_texts import (
    Slip,
    header_rows,
    is_text,
    listed,
    slip_of_text,
    slip_of_times,
)


def tell_slips(
    intake: Intake, file: str, source: pq.ParquetFile, present: Sequence[Column]
) -> frozenset[str]:
    """Tell columns of text or numbers whose type is wrong and whose content shows why.

    Returns the columns that were told. A table whose rows repeat its header is told once.
    """
    schema = source.schema_arrow
    wrong = [column for column in present if _is_wrong(schema.field(column.name).type, column)]
    if not wrong:
        return frozenset()
    texts = [column.name for column in present if is_text(schema.field(column.name).type)]
    names = list(dict.fromkeys([*texts, *(column.name for column in wrong)]))
    try:
        table = source.read(columns=names)
    except (pa.ArrowException, OSError, ValueError, TypeError, MemoryError):
        return frozenset()  # told where the table is read as a whole
    rows = header_rows({name: table.column(name) for name in texts})
    if rows:
        intake.tell(
            file,
            f"row {rows[0]}",
            found="the columns' own names: a header row that was written again",
            expected="measured values in every row",
            remedy="Remove the row and write the columns as numbers and times; until then the"
            " table is left out.",
            count=len(rows),
            cause="Header rows among the data",
        )
        return frozenset(column.name for column in wrong)
    slips: dict[tuple[str, str], list[tuple[str, Slip]]] = {}
    for column in wrong:
        slip = _slip(table.column(column.name), column)
        if slip is not None:
            slips.setdefault((slip.cause, slip.remedy), []).append((column.name, slip))
    for found in slips.values():
        slip = found[0][1]
        numbers = "times with a zone" if slip.cause == "Times" else "numbers"
        intake.tell(
            file,
            listed([name for name, _ in found]),
            found=slip.found,
            expected=numbers,
            remedy=f"{slip.remedy} Until then the table is left out.",
            cause=slip.cause,
        )
    return frozenset(name for found in slips.values() for name, _ in found)


def _is_wrong(kind: pa.DataType, column: Column) -> bool:
    """Whether text stands for numbers or times, or numbers for times."""
    is_number = pa.types.is_integer(kind) or pa.types.is_floating(kind)
    if column.content == "time":
        return is_text(kind) or is_number
    return column.content != "text" and is_text(kind)


def _slip(column: pa.ChunkedArray, wanted: Column) -> Slip | None:
    if is_text(column.type):
        return slip_of_text(column, wanted.content == "time")
    return slip_of_times(column)
