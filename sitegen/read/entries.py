"""What values and sweeps have in common: dies, names, circumstances, each row checked.

An entry is a row of a table of values, or a sweep in a table of sweeps. An entry with a fault is
left out, so that it is told once; each kind of fault is told once a file, with its count.
"""

from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import LARGEST_DIE_NUMBER
from sitegen.model.geometry import is_on_wafer
from sitegen.model.loaded import LoadedWafer, Transform
from sitegen.model.tables import Column
from sitegen.read.columns import Table
from sitegen.read.files import Intake, is_folder
from sitegen.read.likely_dies import other_numbers
from sitegen.read.likely_names import slip_of
from sitegen.read.words import choices, correction, quoted

IntArray = npt.NDArray[np.int64]

GRACE = timedelta(hours=1)
"""How far outside the wafer's stated time a value may lie: clocks of instruments run apart."""
_NAMES_TOLD = 8
OVERLOAD = 1e30
"""No measured number is so large; common practice of instruments is 9.9e37 for an overload."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Context:
    """What the tables of a wafer are read against."""

    folder: Path
    wafer: LoadedWafer
    campaign: CampaignRecord
    calibration_ids: frozenset[str]

    @property
    def record_file(self) -> str:
        """The wafer's record, relative to the campaign's folder."""
        return next(
            source.path for source in self.wafer.sources if source.path.endswith("/wafer.toml")
        )


@dataclass
class Entries:
    """Entries of one table, and which of them stay."""

    intake: Intake
    table: Table
    rows: IntArray
    """Row of each entry, from 1."""
    keep: BoolArray

    def refuse(
        self,
        bad: BoolArray,
        column: str,
        found: str | Callable[[int], str],
        expected: str,
        remedy: str,
        *,
        rows: IntArray | None = None,
        leave_out: bool = True,
        cause: str = "",
    ) -> None:
        """Tell the entries where `bad` and leave them out; `found` may depend on the first one.

        `rows` gives the row to name for each entry, where it is not the entry's own.
        """
        bad = bad & self.keep
        if not bad.any():
            return
        named = self.rows if rows is None else rows
        candidates = np.flatnonzero(bad)
        first = int(candidates[np.argmin(named[candidates])])
        row = named[first : first + 1]
        words = self.table.column_words(column, int(row[0]))
        parts = [part for part in (words, self.table.places_of(row)[0]) if part]
        label = self._label(first)
        place = f"{', '.join(parts)}{label}" if parts else label.strip(" ()")
        self.intake.tell(
            str(self.table.files_of(row)[0]),
            place,
            found=found(first) if callable(found) else found,
            expected=expected,
            remedy=remedy,
            count=int(bad.sum()),
            cause=cause,
        )
        if leave_out:
            self.keep &= ~bad

    def _label(self, entry: int) -> str:
        """The entry's die and device as they stand in the table, for people who look it up."""
        die_x, die_y = (self.table.numbers(name)[entry] for name in ("die_x", "die_y"))
        texts, codes = self.table.words("device")
        if np.isnan(die_x) or np.isnan(die_y) or codes[entry] < 0:
            return ""
        return f" (die ({die_x:.0f}, {die_y:.0f}), device {quoted(texts[codes[entry]])})"


def column_place(*names: str) -> str:
    """'column "value"', 'columns "die_x" and "die_y"'."""
    listed = " and ".join(quoted(name) for name in names)
    return f"column {listed}" if len(names) == 1 else f"columns {listed}"


def refuse_empty(entries: Entries, columns: Sequence[Column]) -> None:
    """Refuse entries that leave a column empty which may not be, and numbers not finite."""
    table = entries.table
    for column in columns:
        if column.name not in table.columns:
            continue
        place, empty = column_place(column.name), table.empty(column.name)
        if column.content in {"number", "precise number"}:
            numbers = table.numbers(column.name)
            bad = np.isinf(numbers) if column.may_be_empty else ~np.isfinite(numbers)
            entries.refuse(
                bad,
                place,
                _told_number(numbers, empty),
                "a finite number",
                "Measure or compute it again, or leave the row out.",
            )
            entries.refuse(
                np.isfinite(numbers) & (np.abs(numbers) >= OVERLOAD),
                place,
                _told_number(numbers, empty),
                "a measured number; instruments write one so large for an overload or for none",
                "Measure it again, or leave the row out.",
            )
        elif not column.may_be_empty:
            remedy = "Fill it, or leave the row out."
            entries.refuse(empty, place, "an empty entry", f"the {column.meaning}", remedy)


def _told_number(numbers: FloatArray, empty: BoolArray) -> Callable[[int], str]:
    return lambda first: "an empty entry" if empty[first] else f"{numbers[first]:g}"


def refuse_unknown(
    entries: Entries,
    column: str,
    known: Collection[str],
    what: str,
    remedy: str,
    *,
    leave_out: bool = True,
) -> None:
    """Refuse entries whose name in a text column is not declared; empty ones are let through."""
    texts, codes = entries.table.words(column)
    unknown = [code for code, text in enumerate(texts) if text not in known]
    groups = [([code], "") for code in unknown[:_NAMES_TOLD]]
    if len(unknown) > _NAMES_TOLD:
        groups.append((unknown[_NAMES_TOLD:], " and others"))
    for group, more in groups:
        name = texts[group[0]]
        entries.refuse(
            np.isin(codes, group),
            column_place(column),
            f"the unknown {what} {quoted(name)}{slip_of(name, known)}{more}",
            choices(sorted(known)),
            correction(name, known, remedy),
            leave_out=leave_out,
        )


def refuse_misplaced(
    entries: Entries, context: Context, transform: Transform
) -> tuple[IntArray, IntArray]:
    """Each entry's die in the layout's own numbers; entries off the wafer are refused."""
    x, y = (_whole(entries, name) for name in ("die_x", "die_y"))
    (a, b), (c, d) = transform.matrix
    die_x = a * x + b * y + transform.shift[0]
    die_y = c * x + d * y + transform.shift[1]
    layout = context.campaign.layout
    if layout is not None:
        _refuse_other_numbers(entries, context, transform, x, y)
        entries.refuse(
            ~is_on_wafer(layout, die_x, die_y),
            column_place("die_x", "die_y"),
            lambda first: (
                f"die ({die_x[first]}, {die_y[first]}) of the layout, whose centre lies"
                " off the wafer"
            ),
            f"a die within {layout.diameter_mm / 2:g} mm of the wafer's centre",
            "Correct the die's numbers, the table's frame or the layout.",
        )
    return die_x, die_y


def _refuse_other_numbers(
    entries: Entries, context: Context, transform: Transform, x: IntArray, y: IntArray
) -> None:
    """Refuse all entries where most dies do not fit, and all do once they are turned or shifted."""
    layout, wafer = context.campaign.layout, context.wafer.record.id
    plans = [one.dies for one in context.campaign.plan.wafers if one.id == wafer]
    planned = next((frozenset(dies) for dies in plans if dies != "all"), None)
    if layout is None or not entries.keep.any():
        return
    likely = other_numbers(layout, transform, x[entries.keep], y[entries.keep], planned)
    if likely is not None:
        entries.refuse(
            entries.keep.copy(),
            column_place("die_x", "die_y"),
            likely.found,
            f"die numbers of the frame of the table, within {layout.diameter_mm / 2:g} mm of the"
            " wafer's centre and in the plan",
            likely.remedy,
            cause="Die numbers from another origin",
        )


def touchdowns(entries: Entries) -> IntArray:
    """Each entry's touchdown, 1 where the table has no such column; those below 1 are refused."""
    if "touchdown" not in entries.table.columns:
        return np.ones(len(entries.rows), np.int64)
    numbers = _whole(entries, "touchdown")
    entries.refuse(
        numbers < 1,
        column_place("touchdown"),
        lambda first: f"{numbers[first]}",
        "a number from 1",
        "Count the touchdowns of a die from 1.",
    )
    return numbers


def _whole(entries: Entries, name: str) -> IntArray:
    """A column of whole numbers; those that no die or touchdown can have are refused."""
    numbers = entries.table.numbers(name)
    entries.refuse(
        np.abs(numbers) > LARGEST_DIE_NUMBER,
        column_place(name),
        lambda first: f"{numbers[first]:.0f}",
        "the number of a die or a touchdown",
        "Correct the number.",
    )
    return np.where(entries.keep, numbers, 0).astype(np.int64)


def refuse_unknown_names(entries: Entries, context: Context) -> None:
    """Refuse unknown devices and conditions."""
    campaign = context.campaign
    declared = "Declare it in campaign.toml, or correct the name."
    devices = {device.id for device in campaign.devices}
    refuse_unknown(entries, "device", devices, "device", declared)
    conditions = {condition.id for condition in campaign.conditions}
    refuse_unknown(entries, "condition", conditions, "condition", declared)


def refuse_unknown_evidence(entries: Entries, context: Context) -> None:
    """Refuse unknown states; a calibration that is not there is told."""
    states = context.wafer.record.states
    in_wafer = "Declare it under [[states]] in wafer.toml, or correct the name."
    refuse_unknown(entries, "state", {state.id for state in states}, "state", in_wafer)
    # A calibration whose own record has a fault is told there.
    folders = {
        name
        for name in entries.table.words("calibration")[0]
        if "/" not in name
        and name not in {"", ".", ".."}
        and "\x00" not in name
        and is_folder(context.folder / "calibrations" / name[:200])
    }
    refuse_unknown(
        entries,
        "calibration",
        context.calibration_ids | folders,
        "calibration",
        "Add that calibration's folder, or correct the id.",
        leave_out=False,
    )


def stamped_us(table: Table) -> IntArray:
    """When each entry was measured, in microseconds since 1970 UTC; 0 where it is empty."""
    column = table.columns["measured_at"]
    return np.asarray(
        column.cast("int64").fill_null(0).to_numpy(zero_copy_only=False), dtype=np.int64
    )


def check_times(entries: Entries, context: Context) -> IntArray:
    """When each entry was measured, in microseconds since 1970 UTC; those far outside the time
    of the wafer's record are told and kept."""
    at_us = stamped_us(entries.table)
    started, finished = context.wafer.record.started, context.wafer.record.finished
    if started is not None and finished is not None and finished < started:
        return at_us  # told with the record; no time could lie between the two
    outside = np.zeros(len(at_us), dtype=bool)
    with suppress(OverflowError):  # nothing lies before the first day of the calendar
        if started is not None:
            outside |= at_us < _microseconds(started - GRACE)
    with suppress(OverflowError):  # nor after the last
        if finished is not None:
            outside |= at_us > _microseconds(finished + GRACE)
    said = (("from", started), ("to", finished))
    entries.refuse(
        outside,
        column_place("measured_at"),
        lambda first: told_time(int(at_us[first])),
        f"a time {' '.join(f'{word} {end.isoformat()}' for word, end in said if end)}, as in"
        f" {context.record_file}, or within an hour of it",
        "Correct the times of the record, or of the table.",
        leave_out=False,
    )
    return at_us


def _microseconds(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def told_time(at_us: int) -> str:
    """A time in UTC, as far as the calendar goes."""
    try:
        return (_EPOCH + timedelta(microseconds=at_us)).isoformat()
    except OverflowError:
        return "a time outside the calendar"


def texts_of(table: Table, column: str, otherwise: str | None) -> npt.NDArray[np.object_]:
    """A text column with one object a row, `otherwise` where it is empty or not there."""
    texts, codes = table.words(column)
    return np.array([*texts, otherwise], dtype=object)[codes]


def states_of(table: Table, context: Context) -> npt.NDArray[np.object_]:
    """Each entry's state; without the column the only one that the record declares."""
    states = context.wafer.record.states
    if "state" not in table.columns and len(states) == 1:
        return np.full(table.rows, states[0].id, dtype=object)
    return texts_of(table, "state", None)


def temperatures(table: Table, context: Context) -> dict[str, FloatArray]:
    """Measured temperatures and contact resistance; NaN where not stated anywhere."""
    record = context.wafer.record
    ambient, substrate = table.numbers("ambient_c"), table.numbers("substrate_c")
    around = record.ambient_c if record.ambient_c is not None else np.nan
    stated = record.substrate_c if record.substrate_c is not None else np.nan
    return {
        "temperature_c": table.numbers("temperature_c"),
        "ambient_c": np.where(np.isnan(ambient), around, ambient),
        "substrate_c": np.where(np.isnan(substrate), stated, substrate),
        "contact_resistance_ohm": table.numbers("contact_resistance_ohm"),
    }
