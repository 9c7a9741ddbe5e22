"""The texts that say something of a field, as their few distinct ones, and how they compare."""

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray
from sitegen.model.mapping import FIELDS, Said, Source

IntArray = npt.NDArray[np.int64]
ObjectArray = npt.NDArray[np.object_]

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Words:
    """What n entries say of a field: distinct texts, and each entry's index; -1: nothing."""

    distinct: tuple[str, ...]
    codes: IntArray

    def texts(self) -> ObjectArray:
        """Each entry's text; None where it says nothing."""
        return np.array([*self.distinct, None], dtype=object)[self.codes]

    def where(self, holds: Callable[[str], bool]) -> BoolArray:
        """True for each entry whose text fulfils something; False where it says nothing."""
        return np.array([*(holds(text) for text in self.distinct), False], np.bool_)[self.codes]

    def of(self, entry: int) -> str:
        """The text of an entry that says something."""
        return self.distinct[int(self.codes[entry])]


def words_of(column: ObjectArray, source: Source, field: str) -> Words:
    """What entries say of a field, renamed as the source declares; None, '', blanks and what stands
    for no value in its tables say nothing."""
    rename = source.rename.get(field, {})
    absent = {"", *(text.strip() for text in source.dialect.missing)}
    index: dict[str, int] = {}
    by_text: dict[object, int] = {None: -1}
    codes = np.empty(len(column), np.int64)
    for entry, cell in enumerate(column.tolist()):
        code = by_text.get(cell)
        if code is None:
            text = str(cell)
            code = -1
            if text.strip() not in absent:
                ours = rename.get(text, text)
                code = index.setdefault(ours, len(index))
            by_text[cell] = code
        codes[entry] = code
    return Words(tuple(index), codes)


def same_as(value: Said, field: str, source: Source) -> Callable[[str], bool]:
    """Whether a text says the same as a value of mapping.toml: numbers are compared as numbers."""
    if isinstance(value, str) and FIELDS[field][0] not in ("number", "whole number"):
        return lambda text: text == value
    wanted = number_of(str(value), source)
    if wanted is None:
        return lambda text: text == value
    return lambda text: number_of(text, source) == wanted


def number_of(text: str, source: Source) -> float | None:
    """A text as a number, with the marks that the source declares; None where it is none."""
    plain = text.strip().replace("\u2212", "-")
    if source.minus and plain.startswith(source.minus):
        plain = "-" + plain[len(source.minus) :]
    if source.point:
        plain = plain.replace(source.point, ".", 1)
    if source.dialect.decimal == "comma":
        plain = plain.replace(",", ".", 1)
    if _NUMBER.fullmatch(plain) is None:
        return None
    number = float(plain)
    return number if np.isfinite(number) else None
