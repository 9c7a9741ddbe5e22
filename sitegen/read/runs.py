"""Rows of a table that belong together: those of one sweep or one curve, in their own order."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.read.columns import Table
from sitegen.read.entries import OVERLOAD, Entries, IntArray, column_place

_TEXTS = frozenset({"site", "device", "curve", "condition"})


@dataclass(frozen=True)
class Runs:
    """The rows of a table sorted by key, in the file's order within each key."""

    order: IntArray
    """Row index, from 0, of each sorted place."""
    starts: IntArray
    lengths: IntArray

    @property
    def of_place(self) -> IntArray:
        """Index of the run that each sorted place belongs to."""
        return np.repeat(np.arange(len(self.starts)), self.lengths)


def runs_of(table: Table, names: Sequence[str], numbers: Sequence[FloatArray] = ()) -> Runs:
    """Which rows make up which run: those with the same key, wherever they stand.

    The key is the columns `names` and, besides, `numbers`, each with one number a row. Rows of two
    foreign files are never one run, unless they are parts of a partitioned dataset.
    """
    keys: list[IntArray | FloatArray] = [table.words(name)[1] for name in names if name in _TEXTS]
    numbers = [*(table.numbers(name) for name in names if name not in _TEXTS), *numbers]
    keys += [np.nan_to_num(each, nan=np.inf) for each in numbers]
    if table.origin is not None:
        keys.insert(0, table.origin.runs_apart())
    order = np.lexsort(keys)
    changes = np.zeros(len(order), np.bool_)
    changes[0] = True
    for key in keys:
        in_order = key[order]
        changes[1:] |= in_order[1:] != in_order[:-1]
    starts = np.flatnonzero(changes)
    lengths = np.diff(np.append(starts, len(order)))
    return Runs(order, starts, lengths)


def heads_of(table: Table, runs: Runs, by_row: Collection[str]) -> Table:
    """The first row of each run, without the columns that each row has of its own."""
    firsts = runs.order[runs.starts]
    columns = {
        name: column.take(firsts) for name, column in table.columns.items() if name not in by_row
    }
    return Table(table.file, columns, {}, table.origin)


def refuse_rows(
    entries: Entries,
    runs: Runs,
    bad: BoolArray,
    column: str,
    found: str,
    expected: str,
    remedy: str,
) -> None:
    """Refuse each run with a row where `bad` (in sorted places); the first such row is named."""
    places = np.flatnonzero(bad)
    if not len(places):
        return
    runs_hit = runs.of_place[places]
    rows = np.full(len(entries.rows), np.iinfo(np.int64).max)
    np.minimum.at(rows, runs_hit, runs.order[places] + 1)
    hit = np.zeros(len(entries.rows), np.bool_)
    hit[runs_hit] = True
    entries.refuse(hit, column, found, expected, remedy, rows=rows)


def refuse_changes(
    entries: Entries, table: Table, runs: Runs, columns: Sequence[str], what: str
) -> None:
    """A text column must say the same in every row of a run; `what` is a sweep or a curve."""
    for name in columns:
        codes = table.words(name)[1][runs.order]
        changed = codes != codes[runs.starts][runs.of_place]
        expected = f"the same in every row of a {what}"
        remedy = "Correct the rows, or number them as two touchdowns."
        found = f"another {name} than in the {what}'s first row"
        refuse_rows(entries, runs, changed, column_place(name), found, expected, remedy)


def refuse_unmeasured(
    entries: Entries,
    table: Table,
    runs: Runs,
    name: str,
    where: BoolArray,
    what: str,
    *,
    may_be_empty: bool = False,
) -> None:
    """Refuse each run with a row `where` (in sorted places) a column has no measured number."""
    numbers = table.numbers(name)[runs.order]
    bad = np.isinf(numbers) if may_be_empty else ~np.isfinite(numbers)
    bad = (bad | (np.abs(numbers) >= OVERLOAD)) & where & entries.keep[runs.of_place]
    if not bad.any():
        return
    row = int(runs.order[bad].min())
    found = "an empty entry" if table.empty(name)[row] else f"{table.numbers(name)[row]:g}"
    remedy = f"Take the {what} again; it was left out."
    place = column_place(name)
    refuse_rows(entries, runs, bad, place, found, "a finite number in every row", remedy)
