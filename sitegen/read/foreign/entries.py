"""Rows of foreign tables, or foreign sweeps, on their way to rows of this program's tables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen.model.arrays import BoolArray
from sitegen.model.mapping import FIELDS, Source
from sitegen.model.tables import Column as OurColumn
from sitegen.read.columns import Origin, Table
from sitegen.read.files import Intake
from sitegen.read.foreign.model import Column, Refusal
from sitegen.read.words import quoted

IntArray = npt.NDArray[np.int64]
TIME = "measured_at"


@dataclass(frozen=True)
class Entries:
    """Rows of foreign tables, or foreign sweeps, before they become rows of a table of ours."""

    columns: Mapping[str, Column]
    """By our name, each of shape (n,)."""
    origin: Origin
    keep: BoolArray

    def take(self, at: IntArray) -> "Entries":
        """Some of them, in another order or repeated."""
        origin = replace(
            self.origin, file_of=self.origin.file_of[at], line_of=self.origin.line_of[at]
        )
        columns = {name: column[at] for name, column in self.columns.items()}
        return Entries(columns, origin, self.keep[at])


def refuse(intake: Intake, origin: Origin, keep: BoolArray, refusal: Refusal) -> None:
    """Tell the entries that cannot be taken, by the first of them, and leave them out."""
    bad = refusal.bad & keep
    hit = np.flatnonzero(bad)
    if not len(hit):
        return
    first = int(hit[0])
    line = int(origin.line_of[first])
    words = origin.places.get(refusal.field, refusal.field)
    file = int(origin.file_of[first])
    stands = f"{origin.words[file]} {line}" if line else ""
    intake.tell(
        origin.files[file],
        ", ".join(part for part in (words, stands) if part),
        found=refusal.found(first),
        expected=refusal.expected,
        remedy=refusal.remedy,
        count=len(hit),
    )
    keep &= ~bad


def places_of(source: Source) -> Mapping[str, str]:
    """Where each field and column of ours comes from, as a phrase."""
    places = {
        field: f"constants.{field} of source {quoted(source.id)}" for field in source.constants
    }
    for text in source.lines:
        places |= {field: f"the line {quoted(text)}" for field in FIELDS if f"{{{field}}}" in text}
    places |= {
        field: f"its name, {{{field}}}" for field in FIELDS if f"{{{field}}}" in source.files
    }
    places |= {
        one.ours: f"column {quoted(one.theirs)}" for one in source.columns if one.ours is not None
    }
    for ours, froms in _MADE_FROM.items():
        if ours not in places:
            told = [places[one] for one in froms if one in places]
            if told:
                places[ours] = " and ".join(dict.fromkeys(told))
    return places


_MADE_FROM: Mapping[str, tuple[str, ...]] = {
    "die_x": ("die",),
    "die_y": ("die",),
    "condition": ("bias", "set_point_c"),
    TIME: ("time", "date", "clock"),
}


def table_of(entries: Entries, wanted: Sequence[OurColumn]) -> Table | None:
    """The entries that stay, as a table of ours with the columns that are wanted."""
    at = np.flatnonzero(entries.keep)
    if not len(at):
        return None
    kept = entries.take(at)
    names = {column.name for column in wanted}
    columns = {name: column for name, column in kept.columns.items() if name in names}
    return as_table(columns, kept.origin)


def as_table(columns: Mapping[str, Column], origin: Origin) -> Table:
    """Columns by our name, each of shape (n,), as a table of ours."""
    arrays = {name: _array(name, column) for name, column in columns.items()}
    return Table(origin.files[0], {k: v for k, v in arrays.items() if v is not None}, {}, origin)


def _array(name: str, column: Column) -> pa.Array | None:
    """A column with the one Arrow type of its content; None where it is empty throughout."""
    if name == TIME:
        return pa.array(column.astype(np.int64), pa.int64()).cast(pa.timestamp("us", tz="UTC"))
    if column.dtype == np.object_:
        texts = [None if text in (None, "") else str(text) for text in column]
        if not any(texts):
            return None
        return pa.array(texts, pa.string()).dictionary_encode()
    if np.issubdtype(column.dtype, np.integer):
        return pa.array(column, pa.int64())
    return pa.array(column, pa.float64(), from_pandas=True)
