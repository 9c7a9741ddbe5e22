"""Cells of text as numbers: decimal marks, thousands marks, exponents; what is none is said.

How decimal and thousands marks are told apart is common practice of readers of tables: a mark that
comes once before exactly three digits can be either, all else leaves one reading.
"""

import math
import re
from collections.abc import Sequence
from typing import Literal

import numpy as np

from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.mapping import Dialect
from sitegen.read.foreign.model import Column

DecimalMark = Literal["point", "comma", "open"]
"""'open': the cells do not say which, or contradict each other."""

_EXPONENT = r"(?:[eEdD][+-]?\d+)?"
_WHOLE = re.compile(rf"[+-]?\d+{_EXPONENT}", re.ASCII)
_DECIMAL = {
    mark: re.compile(rf"[+-]?(?:\d+{sign}\d*|{sign}\d+){_EXPONENT}", re.ASCII)
    for mark, sign in (("point", r"\."), ("comma", ","))
}
_GROUPED = {
    mark: re.compile(rf"[+-]?[1-9]\d{{0,2}}(?:{group}\d{{3}})+(?:{sign}\d*)?", re.ASCII)
    for mark, sign, group in (("point", r"\.", ","), ("comma", ",", r"\."))
}
"""By the mark before decimals: digits in groups of three that the other mark divides."""
_SPACED = re.compile(
    "[+-]?[1-9]\\d{0,2}(?:(['’\u00a0\u202f\u2009])\\d{3})(?:\\1\\d{3})*(?:[.,]\\d*)?"
)
"""Groups divided by what can only be a thousands mark."""


def decimal_of(columns: Sequence[Column], dialect: Dialect) -> DecimalMark:
    """The one decimal mark of all numeric columns of a table; to be called once a table.

    As declared; else 'comma' or 'point' where the cells leave one reading ("0,412" and "1234,5" are
    decimal commas, "1,234.5" has a decimal point). 'open' where "1,234" could be either and no
    other cell decides for a comma, where one cell has a decimal comma and another a decimal point,
    and where "1.234" stands among decimal commas. Without any comma it is 'point'. Columns that
    hold numbers already, empty cells and cells that are no number say nothing.
    """
    if dialect.decimal is not None:
        return dialect.decimal
    seen: set[str] = set()
    for column in columns:
        if column.dtype == np.object_:
            seen |= _evidence([cell for cell in column.tolist() if cell], dialect)
    if {"comma", "point"} <= seen:
        return "open"
    if "comma" in seen:
        return "open" if "point or thousands" in seen else "comma"
    return "open" if "comma or thousands" in seen else "point"


def has_two_readings(cell: str) -> bool:
    """Whether the mark in a cell can stand before decimals or thousands, as in "1,234"."""
    text = _cleaned(cell)
    return _fits(text, "point") and _fits(text, "comma")


def _evidence(cells: list[str], dialect: Dialect) -> set[str]:
    """What a column's cells say of the decimal mark."""
    joined = "\n".join(cells)
    has_comma, has_point = "," in joined, "." in joined
    seen: set[str] = set()
    enough = {name for name, has in (("comma", has_comma), ("point", has_point)) if has}
    if not enough:
        return seen
    for cell in cells:
        text = _cleaned(cell)
        if text in dialect.missing or ("," not in text and "." not in text):
            continue
        marks = [mark for mark in ("point", "comma") if _fits(text, mark)]
        if len(marks) == 2:
            seen.add("comma or thousands" if "," in text else "point or thousands")
        elif marks:
            seen.add(marks[0])
        if enough <= seen:
            break
    return seen


def numbers_of(column: Column, dialect: Dialect) -> tuple[FloatArray, BoolArray]:
    """A column's cells as numbers, and which cells are none; both of shape (n,).

    NaN and not bad: an empty cell, None, and what `dialect.missing` lists. NaN and bad: everything
    else that is no finite number, 'nan' and 'inf' among it. `dialect.decimal` is the mark to read
    with, as declared or as `decimal_of` found it for the whole table: with 'point' "1,234" is 1234,
    with 'comma' 1.234. 'open' reads each cell that leaves one reading and calls the others bad;
    None decides by this column alone. Read are also exponents with E and D, the minus sign U+2212,
    and thousands divided by an apostrophe or a fixed space. Numbers that stand for an overload
    (9.9e37) stay as they are.
    """
    if column.dtype != np.object_:
        return np.array(column, np.float64), np.zeros(len(column), np.bool_)
    mark = decimal_of((column,), dialect) if dialect.decimal is None else dialect.decimal
    cells = ["" if cell is None else cell for cell in column.tolist()]
    listed = bool(dialect.missing) and not set(dialect.missing).isdisjoint(cells)
    plain = None if listed else _all_plain(cells, mark)
    if plain is not None:
        return plain, np.zeros(len(cells), np.bool_)
    absent = {"", *(text.strip() for text in dialect.missing)}
    filled = [index for index, cell in enumerate(cells) if cell.strip() not in absent]
    numbers, bad = np.full(len(cells), np.nan), np.zeros(len(cells), np.bool_)
    some = [cells[index] for index in filled]
    read = _all_plain(some, mark)
    numbers[filled] = _each(some, mark) if read is None else read
    bad[filled] = np.isnan(numbers[filled])
    return numbers, bad


def _all_plain(cells: list[str], mark: str) -> FloatArray | None:
    """All cells as numbers where each is written as this program writes them, decimal mark aside;
    None otherwise."""
    joined = "\n".join(cells)
    if not joined.isascii() or "_" in joined:
        return None  # digits of other scripts and 1_000 are numbers to Python only
    if "," in joined:
        if mark != "comma" or "." in joined:
            return None
        cells = [cell.replace(",", ".") for cell in cells]
    elif "." in joined and mark != "point":
        return None
    try:
        numbers = np.array(list(map(float, cells)), np.float64)
    except ValueError:
        return None
    return numbers if np.isfinite(numbers).all() else None


def _each(cells: list[str], mark: str) -> FloatArray:
    """Each cell by itself; NaN where it is no number."""
    known = {cell: _number(_cleaned(cell), mark) for cell in dict.fromkeys(cells)}
    return np.array([known[cell] for cell in cells], np.float64)


def _cleaned(cell: str) -> str:
    """Without blanks at its ends and thousands marks that can be nothing else; minus as '-'."""
    text = cell.strip().replace("\u2212", "-")
    if not text.isascii() or "'" in text:
        spaced = _SPACED.fullmatch(text)
        if spaced is not None:
            return text.replace(spaced[1], "")
    return text


def _fits(text: str, mark: str) -> bool:
    """Whether a text with points or commas is a number with this decimal mark."""
    return bool(_DECIMAL[mark].fullmatch(text) or _GROUPED[mark].fullmatch(text))


def _number(text: str, mark: str) -> float:
    """One cleaned cell; NaN where it is no number, or has two readings and 'open' holds."""
    if _WHOLE.fullmatch(text):
        return _finite(text)
    marks = [one for one in ("point", "comma") if _fits(text, one)]
    if mark in marks:
        chosen = mark
    elif mark == "open" and len(marks) == 1:
        chosen = marks[0]
    else:
        return math.nan
    other = "," if chosen == "point" else "."
    return _finite(text.replace(other, "").replace(",", "."))


def _finite(text: str) -> float:
    number = float(text.replace("d", "e").replace("D", "e"))
    return number if math.isfinite(number) else math.nan
