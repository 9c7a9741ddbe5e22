"""A foreign table by its format: Parquet by its bytes, everything else as text."""

import hashlib

from sitegen.model.mapping import Source
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.foreign.mapped_columns import wafer_column
from sitegen.read.foreign.model import ForeignTable
from sitegen.read.foreign.parquet_table import read_parquet_table
from sitegen.read.foreign.text_table import read_text_table

PARQUET_MARK = b"PAR1"
_MOST_REMEMBERED = 4
_LAST: dict[tuple[str, str, str], tuple[ForeignTable | None, tuple[Fault, ...]]] = {}


def cell_text(table: ForeignTable, cell: object) -> str:
    """A cell as text. Blanks around a cell of a text file are padding; in Parquet they are part of
    the text."""
    return str(cell).strip() if table.word == "line" else str(cell)


def foreign_table(intake: Intake, file: str, content: bytes, source: Source) -> ForeignTable | None:
    """The cells of a table, or None and faults.

    A table with the rows of many wafers is asked for once for each of them: of such tables the last
    few are remembered by their bytes and their source.
    """
    if wafer_column(source) is None:
        return _read(intake, file, content, source)
    key = (file, hashlib.sha256(content).hexdigest(), source.model_dump_json())
    if key not in _LAST:
        part = Intake(intake.folder)
        _LAST[key] = (_read(part, file, content, source), tuple(part.faults))
        if len(_LAST) > _MOST_REMEMBERED:
            _LAST.pop(next(iter(_LAST)))
    table, faults = _LAST[key]
    intake.faults.extend(faults)
    return table


def _read(intake: Intake, file: str, content: bytes, source: Source) -> ForeignTable | None:
    if content.startswith(PARQUET_MARK) or file.lower().endswith(".parquet"):
        return read_parquet_table(intake, file, content, source)
    return read_text_table(intake, file, content, source)
