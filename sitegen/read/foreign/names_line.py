"""The line of a table of text that names its columns: it decides separator and start."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sitegen.model.mapping import SEPARATORS, Separator, Source
from sitegen.read.files import Intake
from sitegen.read.foreign.mapped_columns import bare, composed, key_of, tell_missing, wanted_names
from sitegen.read.words import quoted

if TYPE_CHECKING:
    from _csv import Reader

COMMENT_SIGNS = ("#", "!")
ONE_COLUMN = "\x1f"
"""Separates nothing: of a table with one column, whose cells may hold any sign."""
_ORDER: tuple[Separator, ...] = ("comma", "semicolon", "tab", "bar", "blanks")
_LINES_OF_A_NAME = 10
_LINES_COMPARED = 500
"""Where no line has all names, the best one is looked for among so many (common practice)."""


@dataclass(frozen=True)
class NamesLine:
    """Where the columns are named, and how."""

    line: int
    """From 1."""
    start: int
    """Index of the first line after it."""
    separator: Separator | None
    """None: the table has one column."""
    cells: tuple[str, ...]
    """As they stand, without what follows the last name."""
    keys: tuple[str, ...]
    """The names, to be compared."""
    width: int
    """How many cells the line itself has, with empty ones at its end."""


def csv_reader(
    lines: Sequence[str],
    start: int,
    separator: Separator | None,
    stop: int | None = None,
    *,
    skips_blanks: bool = False,
) -> "Reader":
    """A strict reader of the lines from an index on, each with its end.

    `skips_blanks`: those before a cell belong to none, as where they stand before quotes.
    """
    sign = ONE_COLUMN if separator is None else SEPARATORS[separator]
    part = (lines[at] for at in range(start, min(len(lines), stop or len(lines))))
    if separator == "blanks":
        ended = (line.replace("\t", " ").rstrip() + "\n" for line in part)
    else:
        ended = (line + "\n" for line in part)
    skips = skips_blanks or separator == "blanks"
    return csv.reader(ended, delimiter=sign, skipinitialspace=skips, strict=True)


def has_blanks_before_quotes(lines: Sequence[str], separator: Separator | None) -> bool:
    """Whether quotes stand behind a separator and a blank, so that they would not count."""
    behind = "" if separator is None else SEPARATORS[separator] + ' "'
    return bool(behind) and any(behind in line for line in lines)


def split_line(line: str, separator: Separator | None) -> list[str]:
    """A line without quotes as cells."""
    if separator == "blanks":
        return line.split()
    return [line] if separator is None else line.split(SEPARATORS[separator])


def find_names(intake: Intake, file: str, lines: Sequence[str], source: Source) -> NamesLine | None:
    """The first line whose cells, by one of the separators, hold every mapped name; None and one
    fault where there is none. A declared `names_line` is the only one looked at."""
    declared = source.dialect.separator
    allowed = (declared,) if declared is not None else _ORDER
    found = _first_fit(lines, source, allowed)
    if found is None:
        _tell_none(intake, file, lines, source, allowed)
    return found


def _first_fit(
    lines: Sequence[str], source: Source, allowed: Sequence[Separator]
) -> NamesLine | None:
    keys = {key_of(name) for name in wanted_names(source)}
    plain = [key for key in keys if '"' not in key and "\n" not in key]
    only = source.dialect.names_line
    candidates = range(len(lines)) if only is None else range(only - 1, min(only, len(lines)))
    for index in candidates:
        line = composed(lines[index])
        if line.count('"') % 2 == 0 and not all(key in line for key in plain):
            continue
        fits = []
        for separator in allowed:
            names = _names_at(lines, index, separator, keys)
            if names is not None:
                fits.append(names)
        if fits:
            return _chosen(fits)
    return None


def _chosen(fits: Sequence[NamesLine]) -> NamesLine:
    """Of separators that all show the names the first that divides the line; none where none
    does."""
    divided = next((one for one in fits if one.width > 1), None)
    return divided if divided is not None else replace(fits[0], separator=None)


def _names_at(
    lines: Sequence[str], index: int, separator: Separator, keys: set[str]
) -> NamesLine | None:
    """The names on a line by one separator; None where not all of them stand there."""
    cells, start = record_at(lines, index, separator)
    width = len(cells)
    named = [key_of(cell) for cell in cells]
    if not named:
        return None
    opening = cells[0].strip()
    if opening in COMMENT_SIGNS and separator == "blanks":
        below = next((line for line in lines[start:] if line.strip()), "")
        if len(split_line(below, separator)) == width - 1:
            cells, named, width = cells[1:], named[1:], width - 1
    elif opening.startswith(COMMENT_SIGNS) and named[0] not in keys:
        named[0] = key_of(opening.lstrip("".join(COMMENT_SIGNS)))
    if not keys <= set(named):
        return None
    last = max(place for place, name in enumerate(named) if name)
    names = tuple(named[: last + 1])
    return NamesLine(index + 1, start, separator, tuple(cells[: last + 1]), names, width)


def record_at(
    lines: Sequence[str], index: int, separator: Separator | None
) -> tuple[list[str], int]:
    """The cells that start on a line, and the index of the line after them."""
    if '"' not in lines[index]:
        return split_line(lines[index], separator), index + 1
    skips = has_blanks_before_quotes(lines[index : index + 1], separator)
    stop = index + _LINES_OF_A_NAME
    reader = csv_reader(lines, index, separator, stop, skips_blanks=skips)
    try:
        cells = next(reader)
    except (csv.Error, StopIteration):
        return split_line(lines[index], separator), index + 1
    return cells, index + reader.line_num


def _tell_none(
    intake: Intake,
    file: str,
    lines: Sequence[str],
    source: Source,
    allowed: Sequence[Separator],
) -> None:
    """The fault where no line has all names: another separator has them, or the best line."""
    only = source.dialect.names_line
    other = _first_fit(lines, source, _ORDER)
    if other is not None and source.dialect.separator is not None:
        intake.tell(
            file,
            f"line {other.line}",
            found=f"the columns' names divided by {_told(other.separator)}",
            expected=f"{_told(source.dialect.separator)}, as dialect.separator has it",
            remedy="Correct or remove dialect.separator of the source in mapping.toml.",
        )
        return
    if only is not None and only > len(lines):
        intake.tell(
            file,
            "",
            found=f"{len(lines)} lines",
            expected=f"the columns' names on line {only}, as dialect.names_line has it",
            remedy="Correct dialect.names_line of the source in mapping.toml.",
        )
        return
    theirs = {key_of(name): name for name in wanted_names(source)}
    at, names = _best(lines, set(theirs), allowed, only)
    missing = [name for key, name in theirs.items() if key not in names]
    there = [name for name in names if name not in theirs]
    if only is None and len(missing) == len(theirs) and not _is_alike(there, set(theirs)):
        intake.tell(
            file,
            "",
            found="no line with the names of the mapped columns",
            expected=f"one with {', '.join(quoted(name) for name in list(theirs.values())[:12])}",
            remedy="Correct 'theirs' or dialect.separator in mapping.toml, or 'files' of the"
            " source.",
        )
        return
    tell_missing(intake, file, f"line {at + 1}", missing, there)


def _told(separator: Separator | None) -> str:
    return {"comma": "commas", "semicolon": "semicolons", "tab": "tabs", "bar": "bars"}.get(
        separator or "", "blanks"
    )


def _best(
    lines: Sequence[str], keys: set[str], allowed: Sequence[Separator], only: int | None
) -> tuple[int, list[str]]:
    """Index and names of the line that holds the most names, those alike counted after them."""
    best: tuple[int, list[str]] = (0, [])
    score = (0, 0)
    indices = range(min(len(lines), _LINES_COMPARED)) if only is None else (only - 1,)
    for index in indices:
        for separator in allowed:
            named = [key_of(cell) for cell in record_at(lines, index, separator)[0]]
            own = (len(keys & set(named)), _is_alike(named, keys))
            if own > score or not best[1]:
                best, score = (index, named), own
    return best


def _is_alike(names: Sequence[str], keys: set[str]) -> int:
    """How many names differ from a wanted one only by capitals, blanks and signs."""
    wanted = {bare(key) for key in keys} - {""}
    return len(wanted & {bare(name) for name in names})
