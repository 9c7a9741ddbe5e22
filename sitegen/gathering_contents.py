"""What files of a tree hold, found by reading them as a build will: sweeps, rows, dies, times."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sitegen.gathering_plan import Named, Resolve, Told
from sitegen.model.arrays import BoolArray
from sitegen.model.mapping import Source
from sitegen.problems import Fault
from sitegen.read.columns import Origin
from sitegen.read.files import Intake
from sitegen.read.foreign.entries import places_of, refuse
from sitegen.read.foreign.mapped_columns import is_field, is_number, wafer_column
from sitegen.read.foreign.model import Column, ForeignTable
from sitegen.read.foreign.numbers import decimal_of
from sitegen.read.foreign.pieces import Piece, joined_numbers, joined_texts, unpadded
from sitegen.read.foreign.readers import foreign_table
from sitegen.read.foreign.times import is_unset
from sitegen.read.foreign.whose import wafers_of_rows
from sitegen.read.touchstone import file_sweep
from sitegen.read.words import quoted

TIME = "measured_at"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_KEY = ("wafer", "die_x", "die_y", "site", "device", "condition", "touchdown", "calibration")


@dataclass
class Tally:
    """What the files of a source hold together, as far as they were read."""

    wafers: set[str] = field(default_factory=set)
    dies: set[tuple[object, ...]] = field(default_factory=set)
    devices: set[str] = field(default_factory=set)
    lacks_devices: bool = False
    """Whether devices are known from the campaign's parameters only, and it cannot be read."""
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
    tally: Tally,
    one: Named,
    content: bytes,
    resolve: Resolve,
    devices: Mapping[str, str] | None,
) -> tuple[bool, tuple[Told, ...]]:
    """Whether a file's content can be read, counted in the tally; and what is wrong with it.

    devices: each parameter's device; None where the campaign's record cannot be read.
    """
    intake = Intake(Path())
    if one.source.holds in ("values", "curves", "touchdowns"):
        table = foreign_table(intake, one.path, content, one.source)
        told = told_faults(one.path, intake.faults)
        if table is None:
            return False, told
        return True, (*told, *_count_rows(tally, one, table, resolve, devices))
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
    tally: Tally,
    one: Named,
    table: ForeignTable,
    resolve: Resolve,
    devices: Mapping[str, str] | None,
) -> tuple[Told, ...]:
    """Count the rows of a table; those that cannot be taken as they say are told.

    Rows that do not say their wafer although its column is there belong to nobody: `check` tells
    them, and nothing of them is counted.
    """
    source, rows = one.source, len(table.lines)
    keep = np.ones(rows, np.bool_)
    if wafer_column(source) is not None:
        keep = np.array([wafer is not None for wafer in wafers_of_rows(table, source)], np.bool_)
    intake, piece, origin = Intake(Path()), _piece(one, table), _origin(one, table)
    texts = {name: np.full(rows, text, dtype=np.object_) for name, text in one.says}
    for column in source.columns:
        if column.ours is not None and is_field(column) and column.theirs not in piece.times:
            ours = "time" if column.ours == TIME else column.ours
            texts[ours] = joined_texts([piece], column)
        elif column.ours is not None and not is_field(column) and is_number(column):
            joined_numbers(intake, origin, keep, [piece], column)
    found = resolve(source, texts, rows, [one.modified_at] * rows)
    for refusal in found.refusals:
        refuse(intake, origin, keep, refusal)
    times = _times(source, table)
    if TIME in times:
        keep &= ~is_unset(times[TIME].astype(np.int64))
    at = np.flatnonzero(keep)
    is_wide = source.rows == "one a die" and source.holds == "values"
    columns = {name: column for name, column in found.columns.items() if name != "device"}
    tally.add_entries({**(columns if is_wide else found.columns), **times}, at)
    tally.rows += len(at)
    if is_wide:
        _count_cells(tally, intake, origin, piece, keep, source, devices)
    else:
        tally.points += len(at)
    return told_faults(one.path, intake.faults)


def _count_cells(
    tally: Tally,
    intake: Intake,
    origin: Origin,
    piece: Piece,
    keep: BoolArray,
    source: Source,
    devices: Mapping[str, str] | None,
) -> None:
    """Count the filled cells of a table of one row a die, and whose devices' values they are."""
    tally.lacks_devices |= devices is None
    for column in source.columns:
        if column.parameter is None:
            continue
        place = {"value": f"column {quoted(column.theirs)}"}
        of_column = replace(origin, places={**origin.places, **place})
        kept = keep.copy()
        numbers = joined_numbers(intake, of_column, kept, [piece], column)
        filled = int(np.count_nonzero(kept & ~np.isnan(numbers)))
        tally.points += filled
        if filled and devices is not None and column.parameter in devices:
            tally.devices.add(devices[column.parameter])


def _piece(one: Named, table: ForeignTable) -> Piece:
    """All rows of a table, as a build takes those of one wafer."""
    whole = dict(zip(table.names, table.columns, strict=True))
    numeric = [whole[each.theirs] for each in one.source.columns if is_number(each)]
    return Piece(
        file=one.path,
        cells={name: unpadded(cells, table.word) for name, cells in whole.items()},
        units=dict(zip(table.names, table.units, strict=True)),
        times=frozenset(
            name for name, is_time in zip(table.names, table.is_time, strict=True) if is_time
        ),
        decimal=decimal_of(numeric, table.dialect),
        dialect=table.dialect,
        lines=table.lines,
        word=table.word,
        says=dict(one.says),
        modified_at=one.modified_at,
    )


def _origin(one: Named, table: ForeignTable) -> Origin:
    files = np.zeros(len(table.lines), np.int64)
    return Origin((one.path,), files, table.lines, (table.word,), places_of(one.source))


def _times(source: Source, table: ForeignTable) -> dict[str, Column]:
    """The times of a table that has them as such, by our name."""
    for column in source.columns:
        if column.ours in (TIME, "time") and column.theirs in table.names:
            place = table.names.index(column.theirs)
            if table.is_time[place]:
                return {TIME: np.asarray(table.columns[place], np.int64)}
    return {}
