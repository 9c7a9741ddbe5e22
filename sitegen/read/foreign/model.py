"""What the readers of foreign files hand to each other."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray
from sitegen.model.mapping import Dialect

Column = npt.NDArray[np.object_] | npt.NDArray[np.float64] | npt.NDArray[np.int64]


@dataclass(frozen=True)
class Refusal:
    """Entries that cannot be taken, for one reason."""

    bad: BoolArray
    """Shape (n,): the entries of the table or of the list of files."""
    field: str
    """The field or column concerned, by our name."""
    found: Callable[[int], str]
    """What the entry with this index has, as a phrase."""
    expected: str
    remedy: str


@dataclass(frozen=True)
class Resolved:
    """What fields say of n entries, in the campaign's own terms."""

    columns: Mapping[str, Column]
    """By our name, each of shape (n,): text (None: not said) as object, whole numbers and times as
    int64, numbers as float64 (NaN: not said). `measured_at` is in microseconds since 1970 UTC."""
    refusals: tuple[Refusal, ...]


@dataclass(frozen=True)
class ForeignTable:
    """The cells of a foreign table, before anything is made of them."""

    names: tuple[str, ...]
    units: tuple[str | None, ...]
    """Of each column, where a line of units or the field's metadata states one."""
    columns: tuple[Column, ...]
    """Of text files every cell as text, blanks at its ends kept, '' where it is empty; of Parquet
    numbers as float64, times with a zone as int64 microseconds since 1970 UTC, all else as text,
    None where it is empty."""
    is_time: tuple[bool, ...]
    """Whether a column holds such microseconds."""
    lines: npt.NDArray[np.int64]
    """Of each row: the line of the file that it starts on, or the row, from 1."""
    word: Literal["line", "row"]
    """What `lines` counts."""
    head: tuple[str, ...]
    """The lines before the names; of Parquet none."""
    dialect: Dialect
    """As declared and as found."""
    is_ended: bool = True
    """Whether the last line of a text file has an end; without one it may have been cut off."""
