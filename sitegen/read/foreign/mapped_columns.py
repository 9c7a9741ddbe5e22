"""The columns that a source maps: which hold numbers, which are not there, which nobody knows."""

import re
import unicodedata
from collections.abc import Iterable, Sequence

from sitegen.model.mapping import FIELDS, MappedColumn, Source
from sitegen.read.files import Intake
from sitegen.read.words import choices, counted, nearest, quoted

_TEXTS_OF_OURS = frozenset({"measured_at", "unit", "calibration", "state"})
_ROW_NUMBERS = re.compile(r"__index_level_\d+__")
"""What pandas adds for the row numbers of a frame that was filtered."""
_UNIT_AT_END = re.compile(r"\s*(?:[\[(][^\[\]()]*[\])]|/[^/]*)\s*$")


def key_of(name: str) -> str:
    """A column's name without blanks and quotes at its ends, to be compared: see `composed`."""
    return composed(name.strip(" \t\r\n\u00a0\ufeff\"'"))


def composed(text: str) -> str:
    """A text whose signs that look alike are one: in Unicode's form NFC, where a letter with its
    accent is one sign and the ohm sign U+2126 is the letter omega, and with the micro sign U+00B5
    as the letter mu (Unicode Standard, canonical and compatibility mappings; quoted from memory).
    """
    return text if text.isascii() else unicodedata.normalize("NFC", text).replace("\xb5", "\u03bc")


def is_number(column: MappedColumn) -> bool:
    """Whether a mapped column holds numbers."""
    if column.ours is None:
        return True
    if column.ours in FIELDS:
        return FIELDS[column.ours][0] in ("number", "whole number")
    return column.ours not in _TEXTS_OF_OURS


def is_field(column: MappedColumn) -> bool:
    """Whether a column says what names can say too, as text; numbers with a unit of ours are read
    as numbers."""
    if column.ours is None or column.ours == "measured_at":
        return column.ours is not None
    is_measured = column.ours in FIELDS and FIELDS[column.ours][0] == "number"
    return column.ours in FIELDS and (not is_measured or column.ours == "set_point_c")


def wafer_column(source: Source) -> str | None:
    """The column that says whose a row is; None where there is none."""
    return next((each.theirs for each in source.columns if each.ours == "wafer"), None)


def wanted_names(source: Source) -> tuple[str, ...]:
    """The names of the mapped columns as mapping.toml has them, each once."""
    return tuple(dict.fromkeys(column.theirs for column in source.columns))


def number_names(source: Source) -> tuple[str, ...]:
    """Those of them that hold numbers."""
    return tuple(dict.fromkeys(one.theirs for one in source.columns if is_number(one)))


def tell_without_columns(intake: Intake, file: str, source: Source) -> None:
    """The fault of a table whose source maps no column."""
    intake.tell(
        file,
        "",
        found=f"a table of source {quoted(source.id)}, which maps no column",
        expected="'columns' that say what each column means",
        remedy="Add 'columns' to the source in mapping.toml.",
    )


def tell_missing(
    intake: Intake, file: str, place: str, missing: Sequence[str], there: Sequence[str]
) -> None:
    """One fault that names the mapped columns that are not there, with the nearest that are."""
    free = [name for name in dict.fromkeys(there) if name]
    hints = []
    for name in missing:
        meant = _nearest_name(name, free)
        if meant is not None:
            free.remove(meant)
            hints.append(f"{quoted(meant)} for {quoted(name)}")
    noun = "column" if len(missing) == 1 else "columns"
    remedy = "Correct 'theirs' in mapping.toml, or correct 'files' of the source."
    if hints:
        remedy = f"The nearest there: {', '.join(hints)}; write 'theirs' in mapping.toml like that."
    elif free:
        remedy = f"There are {choices(free)}; correct 'theirs' in mapping.toml."
    intake.tell(
        file,
        place,
        found=f"no {noun} {_listed(missing)}",
        expected="every column that the source maps",
        remedy=remedy,
    )


def _nearest_name(name: str, there: Sequence[str]) -> str | None:
    """The name that was probably meant: alike but for capitals, signs and unit, or close."""
    for spelled in (bare, _without_unit):
        own = spelled(name)
        alike = [one for one in there if own and spelled(one) == own]
        if alike:
            return alike[0]
    return nearest(name, there)


def _without_unit(name: str) -> str:
    """What is left of a name without a unit at its end, in brackets or behind a stroke."""
    return bare(_UNIT_AT_END.sub("", name))


def bare(name: str) -> str:
    """A name without capitals, blanks and signs: what two spellings of it share."""
    return "".join(sign for sign in name.lower() if sign.isalnum())


def tell_twice(intake: Intake, file: str, place: str, source: Source, names: Sequence[str]) -> bool:
    """Whether a mapped column's name stands more than once; each is told."""
    twice = [name for name in wanted_names(source) if names.count(key_of(name)) > 1]
    for name in twice:
        intake.tell(
            file,
            ", ".join(part for part in (place, f"column {quoted(name)}") if part),
            found=f"the column {names.count(key_of(name))} times",
            expected="it once, as it is mapped",
            remedy="Give one of them another name, or leave it out of the file.",
        )
    return bool(twice)


def tell_unmapped(
    intake: Intake, file: str, place: str, source: Source, names: Iterable[str]
) -> None:
    """One fault for the columns that are neither mapped nor known to be not needed.

    A column without a name cannot be mapped and is left, as are row numbers that pandas adds.
    """
    known = {key_of(name) for name in (*wanted_names(source), *source.leave)}
    others = [
        name
        for name in dict.fromkeys(names)
        if name and key_of(name) not in known and not _ROW_NUMBERS.fullmatch(name)
    ]
    if "*" in source.leave or not others:
        return
    noun = "that is" if len(others) == 1 else "that are"
    intake.tell(
        file,
        place,
        found=f"{counted(len(others), 'column')} {noun} not mapped: {_listed(others)}",
        expected="each column under 'columns' or 'leave'",
        remedy=f"Map what is needed, and name the rest under 'leave' of source {quoted(source.id)}"
        " ('*' for all others); the rest of the table was read.",
    )


def _listed(names: Sequence[str]) -> str:
    shown = [quoted(name) for name in names[:12]]
    if len(names) > 12:
        return ", ".join(shown) + f" and {len(names) - 12} more"
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]
