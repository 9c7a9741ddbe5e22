"""What files of a tree hold, found by reading them as a build will: sweeps, rows, dies, times."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sitegen.gathering_plan import Named, Resolve, Told
from sitegen.model.mapping import Source
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.foreign.mapped_columns import is_field, is_number
from sitegen.read.foreign.model import Column, ForeignTable
from sitegen.read.foreign.numbers import decimal_of
from sitegen.read.foreign.readers import foreign_table
from sitegen.read.touchstone import file_sweep

TIME = "measured_at"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_KEY = ("wafer", "die_x", "die_y", "site", "device", "condition", "touchdown", "calibration")


@dataclass
class Tally:
    """What the files of a source hold together, as far as they were read."""

    wafers: set[str] = field(default_factory=set)
    dies: set[tuple[object, ...]] = field(default_factory=set)
    devices: set[str] = field(default_factory=set)
    sweeps: int = 0
    rows: int = 0
    points: int = 0
    times: dict[str, tuple[int, int]] = field(default_factory=dict)
    """By wafer: the first and the last time, in microseconds since 1970 UTC."""

    def add_entries(self, columns: Mapping[str, Column], at: npt.NDArray[np.int64]) -> None:
        """Take in what some entries, files or rows, say."""
        texts = {name: columns[name][at].tolist() for name in _KEY if name in columns}
        none = [None] * len(at)
        wafers = texts.get("wafer", none)
        self.wafers.update(one for one in wafers if one is not None)
        self.devices.update(one for one in texts.get("device", none) if one is not None)
        if "die_x" in texts and "die_y" in texts:
            self.dies.update(zip(wafers, texts["die_x"], texts["die_y"], strict=True))
        if TIME in columns:
            self._add_times(wafers, columns[TIME][at].tolist())

    def _add_times(self, wafers: Sequence[str | None], times: Sequence[int]) -> None:
        for wafer, time in zip(wafers, times, strict=True):
            if wafer is not None:
                first, last = self.times.get(wafer, (time, time))
                self.times[wafer] = (min(first, time), max(last, time))


def sweeps_in(columns: Mapping[str, Column], at: npt.NDArray[np.int64]) -> int:
    """How many sweeps some files make: parts of the range and pairs of ports are one."""
    there = [columns[name][at].tolist() for name in (*_KEY, TIME) if name in columns]
    joined = any(name in columns for name in ("part", "port"))
    if not joined:
        return len(at)
    without_time = there[:-1] if TIME in columns else there
    return len(set(zip(*without_time, strict=True))) if without_time else len(at)


def is_read(
    tally: Tally, one: Named, content: bytes, resolve: Resolve
) -> tuple[bool, tuple[Told, ...]]:
    """Whether a file's content can be read, counted in the tally; and what is wrong with it."""
    intake = Intake(Path())
    if one.source.holds in ("values", "curves", "touchdowns"):
        table = foreign_table(intake, one.path, content, one.source)
        told = told_faults(one.path, intake.faults)
        if table is None:
            return False, told
        return True, (*told, *_count_rows(tally, one, table, resolve))
    sweep = file_sweep(intake, one.path, content)
    if sweep is not None:
        tally.points += len(sweep.frequency_hz)
    return sweep is not None, told_faults(one.path, intake.faults)


def told_faults(path: str, faults: Sequence[Fault]) -> tuple[Told, ...]:
    """What readers found wrong with a file of the tree."""
    return tuple(
        Told(
            path,
            f"{fault.place + ': ' if fault.place else ''}found {fault.found}"
            f"{f' (and {fault.count - 1} more like it)' if fault.count > 1 else ''},"
            f" expected {fault.expected}",
            fault.remedy,
        )
        for fault in faults
    )


def moment(at_us: int | None) -> datetime | None:
    """A time in UTC; None for none, and off the calendar."""
    if at_us is None:
        return None
    try:
        return _EPOCH + timedelta(microseconds=at_us)
    except OverflowError:
        return None


def _count_rows(
    tally: Tally, one: Named, table: ForeignTable, resolve: Resolve
) -> tuple[Told, ...]:
    """Count the rows of a table; those that cannot be taken as they say are told."""
    rows = len(table.lines)
    found = resolve(one.source, _texts(one, table), rows, [one.modified_at] * rows)
    keep = np.ones(rows, np.bool_)
    told = []
    for refusal in found.refusals:
        bad = np.flatnonzero(refusal.bad & keep)
        keep &= ~refusal.bad
        if len(bad):
            first = int(bad[0])
            more = f" (and {len(bad) - 1} more like it)" if len(bad) > 1 else ""
            what = (
                f"{refusal.field}, {table.word} {table.lines[first]}: found"
                f" {refusal.found(first)}{more}, expected {refusal.expected}"
            )
            told.append(Told(one.path, what, refusal.remedy))
    columns = dict(found.columns)
    at = np.flatnonzero(keep)
    tally.add_entries(columns | _times(one.source, table), at)
    tally.rows += len(at)
    tally.points += len(at) * max(1, sum(each.parameter is not None for each in one.source.columns))
    return tuple(told)


def _texts(one: Named, table: ForeignTable) -> dict[str, npt.NDArray[np.object_]]:
    """By field: what each row of a table says, in the file's own words."""
    rows = len(table.lines)
    texts = {name: np.full(rows, text, dtype=np.object_) for name, text in one.says}
    columns = dict(zip(table.names, table.columns, strict=True))
    numeric = [columns[each.theirs] for each in one.source.columns if is_number(each)]
    has_commas = decimal_of(numeric, table.dialect) == "comma"
    for column in one.source.columns:
        ours = "time" if column.ours == TIME else column.ours
        if ours is None or not is_field(column):
            continue
        if not table.is_time[table.names.index(column.theirs)]:
            comma = has_commas and is_number(column)
            texts[ours] = _as_text(columns[column.theirs], comma)
    return texts


def _as_text(cells: Column, comma: bool) -> npt.NDArray[np.object_]:
    """Cells as text with a decimal point; None where they are empty."""
    if cells.dtype != np.object_:
        texts = [None if cell != cell else f"{cell:.17g}" for cell in cells.tolist()]
    else:
        texts = [None if cell is None or not str(cell).strip() else str(cell) for cell in cells]
        if comma:
            texts = [None if text is None else text.replace(",", ".") for text in texts]
    result = np.empty(len(texts), dtype=np.object_)
    result[:] = texts
    return result


def _times(source: Source, table: ForeignTable) -> dict[str, Column]:
    """The times of a table that has them as such, by our name."""
    for column in source.columns:
        if column.ours in (TIME, "time") and column.theirs in table.names:
            place = table.names.index(column.theirs)
            if table.is_time[place]:
                return {TIME: np.asarray(table.columns[place], np.int64)}
    return {}
