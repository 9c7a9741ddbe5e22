"""The lines below the names of a table of text as records of cells, each with its line."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass

from sitegen.model.mapping import SEPARATORS, Separator
from sitegen.read.foreign.names_line import (
    COMMENT_SIGNS,
    NamesLine,
    csv_reader,
    has_blanks_before_quotes,
    split_line,
)

LINES_IN_A_CELL = 20
"""A quoted cell with more lines is taken for a quote that was not closed (common practice)."""


@dataclass(frozen=True)
class Layout:
    """Where the mapped columns stand in a record."""

    names: NamesLine
    mapped: tuple[int, ...]
    """Places of the mapped columns."""
    numeric: tuple[int, ...]
    """Those of them that hold numbers."""

    @property
    def width(self) -> int:
        """How many cells a row has at least."""
        return len(self.names.cells)

    def has_room(self, cells: Sequence[str]) -> bool:
        """Whether a record has a cell for each name."""
        return len(cells) >= len(self.names.cells)


@dataclass(frozen=True)
class Records:
    """Cells of lines that are not empty."""

    cells: list[list[str]]
    lines: list[int]
    """The line that each starts on, from 1."""
    unclosed: list[int]
    """Lines with a quote that is not closed, or closed inside a cell; they are no records."""

    def without(self, dropped: set[int]) -> "Records":
        """The records whose index is not dropped."""
        if not dropped:
            return self
        kept = [index for index in range(len(self.lines)) if index not in dropped]
        cells, lines = [self.cells[index] for index in kept], [self.lines[index] for index in kept]
        return Records(cells, lines, self.unclosed)


def records_of(lines: Sequence[str], start: int, separator: Separator | None) -> Records:
    """The records from an index of the lines on; lines with blanks and separators only are no
    records."""
    nothing = " \t" + ("" if separator is None else SEPARATORS[separator])
    if any('"' in line for line in lines[start:]):
        read = _quoted(lines, start, separator)
    else:
        numbers = range(start + 1, len(lines) + 1)
        read = Records([split_line(line, separator) for line in lines[start:]], [*numbers], [])
    empty = {
        index
        for index, (cells, number) in enumerate(zip(read.cells, read.lines, strict=True))
        if not lines[number - 1].strip(nothing) and not "".join(cells).strip()
    }
    return read.without(empty)


def _quoted(lines: Sequence[str], start: int, separator: Separator | None) -> Records:
    """Records of lines with quotes; after a quote that is not closed reading starts again on the
    next line, so that it costs this line only."""
    cells: list[list[str]] = []
    numbers: list[int] = []
    unclosed: list[int] = []
    at = start
    skips = has_blanks_before_quotes(lines[start:], separator)
    while at < len(lines):
        reader = csv_reader(lines, at, separator, skips_blanks=skips)
        begun = 0
        try:
            for record in reader:
                if reader.line_num - begun > LINES_IN_A_CELL:
                    raise csv.Error
                cells.append(record)
                numbers.append(at + begun + 1)
                begun = reader.line_num
            break
        except csv.Error:
            at += begun + 1
            if not lines[at - 1].lstrip().startswith(COMMENT_SIGNS):
                unclosed.append(at)
    return Records(cells, numbers, unclosed)
