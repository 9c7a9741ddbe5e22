"""A foreign table by its format: Parquet by its bytes, everything else as text."""

from sitegen.model.mapping import Source
from sitegen.read.files import Intake
from sitegen.read.foreign.model import ForeignTable
from sitegen.read.foreign.parquet_table import read_parquet_table
from sitegen.read.foreign.text_table import read_text_table

PARQUET_MARK = b"PAR1"


def cell_text(table: ForeignTable, cell: object) -> str:
    """A cell as text. Blanks around a cell of a text file are padding; in Parquet they are part of
    the text."""
    return str(cell).strip() if table.word == "line" else str(cell)


def foreign_table(intake: Intake, file: str, content: bytes, source: Source) -> ForeignTable | None:
    """The cells of a table, or None and faults."""
    if content.startswith(PARQUET_MARK) or file.lower().endswith(".parquet"):
        return read_parquet_table(intake, file, content, source)
    return read_text_table(intake, file, content, source)
