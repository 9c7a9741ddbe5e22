"""Which records of a table of text are rows: everything that is left out is told, once a cause."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from sitegen.read.files import Intake
from sitegen.read.foreign.names_line import COMMENT_SIGNS
from sitegen.read.foreign.second_names import (
    has_same_names,
    head_of,
    is_number,
    lines_before,
    named_again,
    names_a_number,
    strange_lines,
)
from sitegen.read.foreign.stated_units import is_known, unit_word
from sitegen.read.foreign.text_records import Layout, Records
from sitegen.read.words import counted, quoted

_SPLIT = "Export the table again, or split the file where the second one begins."
_AGAIN = "Export the table again, or copy the file again."
_WHOLE_PART = re.compile(r"[+-]?\d+", re.ASCII)
_DECIMALS = re.compile(r"\d+([eE][+-]?\d+)?", re.ASCII)
_ROWS_ALIKE = 50
"""So many last cells of one length make a shorter one at the very end suspicious: with digits as
they fall fewer than one whole file in 1000 looks like that."""


@dataclass
class RowFilter:
    """One pass over the records of a file."""

    intake: Intake
    file: str
    lines: Sequence[str]
    layout: Layout
    is_ended: bool
    """Whether the file's last line has an end."""
    units_line: int | None = None
    """Line of the units below the names, as declared."""
    units: list[str] | None = field(default=None, init=False)
    """Cells of the units line that was found or is declared."""
    units_at: int | None = field(default=None, init=False)

    def rows(self, records: Records) -> Records:
        """The records that are rows of the table."""
        for step in (
            self._without_comments,
            self._without_other_tables,
            self._without_names,
            self._without_units,
            self._without_wrong_widths,
            self._without_cut_end,
        ):
            records = step(records)
        return records

    def _leave(
        self,
        records: Records,
        dropped: Sequence[int],
        found: str,
        expected: str,
        remedy: str,
    ) -> Records:
        """Tell records that are left out."""
        if not dropped:
            return records
        self._tell(f"line {records.lines[dropped[0]]}", found, expected, remedy, len(dropped))
        return records.without(set(dropped))

    def _tell(self, place: str, found: str, expected: str, remedy: str, count: int = 1) -> None:
        self.intake.tell(
            self.file, place, found=found, expected=expected, remedy=remedy, count=count
        )

    def _without_comments(self, records: Records) -> Records:
        """Lines behind a comment sign are left; one that has the cells of a row is told."""
        signed = [
            index
            for index, cells in enumerate(records.cells)
            if cells[0].lstrip().startswith(COMMENT_SIGNS)
            and not names_a_number(cells, self.layout)
        ]
        if 0 in self.layout.mapped and 0 not in self.layout.numeric:  # a label such as "#12"
            return records.without(
                {i for i in signed if not self.layout.has_room(records.cells[i])}
            )
        rows = {index for index in signed if self._is_like_row(records.cells[index])}
        if rows and len(rows) == len(records.cells) and 0 not in self.layout.numeric:
            return records  # every row begins so: the sign belongs to a label
        self._leave(
            records,
            sorted(rows),
            "a row behind a comment sign, which was left out",
            "rows and comments apart",
            "Remove the sign, or the line.",
        )
        return records.without(set(signed))

    def _is_like_row(self, cells: list[str]) -> bool:
        if not self.layout.has_room(cells):
            return False
        places = [place for place in self.layout.numeric if place > 0]
        return bool(places) and all(
            cells[place].strip()[:1].isdigit() or cells[place].strip()[:1] in ("-", "+", ".")
            for place in places
        )

    def _without_other_tables(self, records: Records) -> Records:
        """A second line of names that names something else, or follows other head lines, begins
        another table: it and all after it is left out."""
        for index in named_again(records, self.layout):
            if not has_same_names(records.cells[index], self.layout):
                found = f"other columns named on a second line ({_told(records.cells[index])})"
                return self._cut(records, index, found)
            strange = strange_lines(records, self.lines, self.layout, index)
            if strange:
                text = self.lines[strange[0] - 1].strip()
                found = f"a second table with a head of its own ({quoted(text)})"
                first = next(i for i, number in enumerate(records.lines) if number >= strange[0])
                return self._cut(records, first, found)
        return records

    def _cut(self, records: Records, index: int, found: str) -> Records:
        """Leave out a record and all after it."""
        after = len(records.lines) - index
        found += f"; it and what follows were left out, {counted(after, 'line')}"
        self._tell(f"line {records.lines[index]}", found, "one table in a file", _SPLIT)
        return records.without(set(range(index, len(records.lines))))

    def _without_names(self, records: Records) -> Records:
        """The line of names again, with the head lines that come before it."""
        again = named_again(records, self.layout)
        if not again:
            return records
        head = head_of(self.lines, self.layout)
        heads = {
            number
            for index in again
            for number in lines_before(records, self.lines, self.layout, index)
        }
        repeated = {
            index
            for index, number in enumerate(records.lines)
            if number in heads and self.lines[number - 1].strip() in head
        }
        self._leave(
            records,
            again,
            "the columns' names again",
            "them once, above the rows",
            "Remove the line; the rows below it were read.",
        )
        return records.without(repeated | set(again))

    def _without_units(self, records: Records) -> Records:
        """The declared line of units, one that is not declared, and the same line again."""
        at = None
        if self.units_line is not None:
            at = self._declared_units(records)
        elif records.cells and self._is_units(records.cells[0]):
            at = 0
            self._tell(
                f"line {records.lines[0]}",
                f"units in place of numbers ({_told(records.cells[0])})",
                "rows of numbers",
                f"Declare dialect.units_line = {records.lines[0]} for the source in mapping.toml.",
            )
        if at is not None:
            self.units, self.units_at = records.cells[at], records.lines[at]
            records = records.without({at})
        again = [index for index, cells in enumerate(records.cells) if cells == self.units]
        return self._leave(
            records,
            again,
            "the columns' units again",
            "them once, above the rows",
            "Remove the line.",
        )

    def _declared_units(self, records: Records) -> int | None:
        """Index of the declared line of units; None and a fault where it holds none."""
        if self.units_line not in records.lines:
            self._tell(
                f"line {self.units_line}",
                "no line with the columns' units",
                "it there, as dialect.units_line has it",
                "Correct or remove dialect.units_line of the source in mapping.toml.",
            )
            return None
        at = records.lines.index(self.units_line)
        cells = records.cells[at]
        places = [place for place in self.layout.numeric if place < len(cells)]
        if any(is_number(cells[place]) and cells[place].strip() != "1" for place in places):
            self._tell(
                f"line {self.units_line}",
                f"numbers ({_told(cells)})",
                "the columns' units, as dialect.units_line has it",
                "Correct or remove dialect.units_line of the source in mapping.toml; the line was"
                " read as a row.",
            )
            return None
        return at

    def _is_units(self, cells: list[str]) -> bool:
        """Whether every numeric column holds a unit or nothing, and at least one a unit."""
        if len(cells) < self.layout.width or "".join(cells[self.layout.width :]).strip():
            return False
        words = [unit_word(cells[place]) for place in self.layout.numeric]
        stated = [word for word in words if word is not None]
        return all(is_known(word) for word in stated) and any(word != "1" for word in stated)

    def _without_wrong_widths(self, records: Records) -> Records:
        """Records with fewer or more cells than there are names."""
        width, last = self.layout.width, len(self.lines)
        short = [index for index, cells in enumerate(records.cells) if len(cells) < width]
        if short and short[-1] == len(records.cells) - 1 and not self.is_ended:
            cells = records.cells[short.pop()]
            self._tell_cut(records.lines[-1], f"after {len(cells)} of {width} cells")
            records = records.without({len(records.cells) - 1})
        if self.is_ended or last not in records.unclosed:
            unclosed = records.unclosed
        else:
            unclosed = [number for number in records.unclosed if number != last]
            self._tell_cut(last, "inside a quoted cell")
        if unclosed:
            self._tell(
                f"line {unclosed[0]}",
                "a quote that is not closed, or closed inside a cell",
                "quotes around whole cells",
                _AGAIN + " The line was left out.",
                len(unclosed),
            )
        kept = [index for index, cells in enumerate(records.cells) if len(cells) > width]
        long = [index for index in kept if "".join(records.cells[index][width:]).strip()]
        commas = [index for index in long if self._has_decimal_commas(records.cells[index])]
        others = sorted(set(long) - set(commas))
        for told, remedy in (
            (commas, "Export it with semicolons between columns, or with decimal points."),
            (others, _AGAIN),
            (short, _AGAIN),
        ):
            if told:
                cells = records.cells[told[0]]
                found = f"{counted(len(cells), 'cell')} ({_told(cells)})"
                if told is commas:
                    found += "; decimal commas between cells divided by commas look like this"
                expected = f"{width}, one for each name; the line was left out"
                self._leave(records, told, found, expected, remedy)
        return records.without({*short, *long})

    def _tell_cut(self, line: int, where: str) -> None:
        self._tell(
            f"line {line}",
            f"a last line that breaks off {where}",
            "a whole row",
            "Copy the file again, or measure what is missing; the line was left out.",
        )

    def _has_decimal_commas(self, cells: list[str]) -> bool:
        """Whether joining pairs of cells as decimal numbers gives a row with numbers where they
        should be."""
        if self.layout.names.separator != "comma":
            return False
        stripped = [cell.strip() for cell in cells] + [""]
        ends = {0}
        for place in range(self.layout.width):
            alone = {
                at + 1 for at in ends if place not in self.layout.numeric or is_number(stripped[at])
            }
            pairs = {
                at + 2
                for at in ends
                if _WHOLE_PART.fullmatch(stripped[at]) and _DECIMALS.fullmatch(stripped[at + 1])
            }
            ends = {at for at in alone | pairs if at <= len(cells)}
        return len(cells) in ends

    def _without_cut_end(self, records: Records) -> Records:
        """A last line without an end whose last cell is shorter than all others of its column,
        which are of one length."""
        if self.is_ended or len(records.cells) <= _ROWS_ALIKE:
            return records
        if records.lines[-1] != len(self.lines):
            return records
        place = len(records.cells[-1]) - 1
        lengths = {len(cells[place]) for cells in records.cells[:-1] if place < len(cells)}
        if len(lengths) != 1 or len(records.cells[-1][place]) >= next(iter(lengths)):
            return records
        cell = records.cells[-1][place]
        self._tell_cut(
            records.lines[-1],
            f"inside its last cell ({quoted(cell)}, where all others have"
            f" {counted(next(iter(lengths)), 'sign')})",
        )
        return records.without({len(records.cells) - 1})


def _told(cells: Sequence[str]) -> str:
    """The cells as they stand, shortened."""
    return quoted(", ".join(cell.strip() for cell in cells))
