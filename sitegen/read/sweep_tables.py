"""A wafer's tables of sweeps: rows become sweeps, sweeps of one frequency list a group."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.loaded import SWEEP_KEY_SCHEMA, SweepGroup
from sitegen.model.tables import SWEEP_COLUMNS
from sitegen.model.wafer import SweepTable
from sitegen.read.bias import FURTHER, bias_columns, bias_texts
from sitegen.read.columns import Table, read_table
from sitegen.read.entries import (
    Context,
    Entries,
    IntArray,
    check_times,
    column_place,
    refuse_empty,
    refuse_misplaced,
    refuse_unknown_evidence,
    refuse_unknown_names,
    states_of,
    temperatures,
    texts_of,
    touchdowns,
)
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.likely_checks import (
    refuse_exchanged_ports,
    refuse_other_frequencies,
    refuse_twin_runs,
    refuse_unlikely,
)
from sitegen.read.runs import (
    Runs,
    heads_of,
    refuse_changes,
    refuse_rows,
    refuse_unmeasured,
    runs_of,
)
from sitegen.read.value_tables import arrow_table, tell_duplicates
from sitegen.read.words import counted, frequency, quoted

KEY = ("die_x", "die_y", "site", "device", "condition", "touchdown")
_NAMES = {1: (("s11",),), 2: (("s11", "s12"), ("s21", "s22"))}
"""The S-parameters of one port and of two, as a matrix with the receiving port first."""
_SIZES = {ports: [n for row in names for n in row] for ports, names in _NAMES.items()}
_BY_ROW = ("frequency_hz", *(f"{name}_{part}" for name in _SIZES[2] for part in ("re", "im")))
"""Columns that each row of a sweep has of its own; all others are taken from its first row."""


@dataclass(frozen=True)
class Sweeps:
    """The sweeps of one device and frequency list from one table."""

    device: str
    declared: SweepTable
    frequency_hz: FloatArray
    keys: pa.Table
    """`SWEEP_KEY_SCHEMA`."""
    places: npt.NDArray[np.object_]
    """Where the first row of each sweep stands."""
    s: ComplexArray


def read_sweeps(
    intake: Intake, context: Context, asked: Asked, declared: SweepTable
) -> tuple[Sweeps, ...] | None:
    """The sweeps of one table, or None and faults."""
    file = beside(context.record_file, declared.file)
    wanted = [*SWEEP_COLUMNS, *bias_columns(context.campaign)]
    table = read_table(intake, file, asked, wanted, FURTHER)
    return None if table is None else checked_sweeps(intake, context, table, declared)


def checked_sweeps(
    intake: Intake, context: Context, table: Table, declared: SweepTable
) -> tuple[Sweeps, ...]:
    """The sweeps of one table that stay; faults for the others."""
    bias = bias_columns(context.campaign)
    runs = runs_of(table, KEY)
    heads = heads_of(table, runs, _BY_ROW)
    firsts = runs.order[runs.starts]
    entries = Entries(intake, heads, firsts + 1, np.ones(len(firsts), np.bool_))
    of_sweep = [column for column in SWEEP_COLUMNS if column.name not in _BY_ROW]
    refuse_empty(entries, [*of_sweep, *bias])
    refuse_unknown_names(entries, context)
    refuse_unknown_evidence(entries, context)
    die_x, die_y = refuse_misplaced(entries, context, context.wafer.frames[declared.frame])
    touchdown = touchdowns(entries)
    measured_at = check_times(entries, context)
    refuse_changes(entries, table, runs, ("calibration", "state"), "sweep")
    refuse_unlikely(entries, context)
    refuse_other_frequencies(entries, table)
    ports = {device.id: device.ports for device in context.campaign.devices}
    _refuse_wrong_ports(entries, table, runs, ports)
    _refuse_not_finite(entries, table, runs, ports)
    _refuse_disorder(entries, table, runs)
    lists = _frequency_lists(entries, table, runs)
    _refuse_incomplete(entries, runs, lists)
    refuse_twin_runs(entries, table, runs, _BY_ROW[1:], die_x, die_y, "sweep")
    columns: dict[str, npt.ArrayLike] = {
        "die_x": die_x,
        "die_y": die_y,
        "touchdown": touchdown,
        "measured_at": measured_at,
        "site": texts_of(heads, "site", ""),
        "bias": bias_texts(heads, bias),
        "state": states_of(heads, context),
        "file": table.files_of(firsts + 1),
        **temperatures(heads, context),
    }
    for name in ("device", "condition", "calibration"):
        columns[name] = texts_of(heads, name, None)
    return _gathered(entries, table, runs, lists, columns, declared, ports)


def _refuse_wrong_ports(
    entries: Entries, table: Table, runs: Runs, ports: Mapping[str, int]
) -> None:
    """A sweep must have the S-parameters of its device's ports, and no others."""
    devices = texts_of(entries.table, "device", None)
    is_two_port = np.array([ports.get(device, 2) == 2 for device in devices], np.bool_)
    columns = [f"{name}_{part}" for name in ("s21", "s12", "s22") for part in ("re", "im")]
    absent = [name for name in columns if name not in table.columns]
    remedy = "Correct the device's ports in campaign.toml, or write the right S-parameters."
    if absent:
        found = f"no column {quoted(absent[0])}"
        expected = "the S-parameters of 2 ports, as the device has them"
        entries.refuse(is_two_port, "", found, expected, remedy)
    for name in columns:
        if name in table.columns:
            filled = ~np.isnan(table.numbers(name)[runs.order]) & ~is_two_port[runs.of_place]
            found = f"a number in {quoted(name)}"
            expected = "only s11, as the device has 1 port"
            refuse_rows(entries, runs, filled, column_place(name), found, expected, remedy)


def _refuse_not_finite(
    entries: Entries, table: Table, runs: Runs, ports: Mapping[str, int]
) -> None:
    """Every frequency and every S-parameter of a sweep must be a finite number."""
    devices = texts_of(entries.table, "device", None)
    is_two_port = np.array([ports.get(device, 2) == 2 for device in devices], np.bool_)
    for name in _BY_ROW:
        if name in table.columns:
            is_of_all = name.startswith(("s11", "frequency"))
            where = (is_two_port | is_of_all)[runs.of_place]
            refuse_unmeasured(entries, table, runs, name, where, "sweep")


def _refuse_disorder(entries: Entries, table: Table, runs: Runs) -> None:
    """The frequencies of a sweep must be positive and increase from row to row."""
    frequency_hz = table.numbers("frequency_hz")[runs.order]
    place = column_place("frequency_hz")
    negative = frequency_hz < 0
    remedy = "Correct the frequencies; the sweep was left out."
    refuse_rows(
        entries, runs, negative, place, "a negative frequency", "positive frequencies", remedy
    )
    falls = np.zeros(len(frequency_hz), np.bool_)
    falls[1:] = frequency_hz[1:] <= frequency_hz[:-1]
    falls[runs.starts] = False
    falls &= entries.keep[runs.of_place]
    if falls.any():
        at = int(np.flatnonzero(falls)[np.argmin(runs.order[falls])])
        found = f"{frequency(frequency_hz[at])} after {frequency(frequency_hz[at - 1])}"
        remedy = "Sort the rows by frequency, or number repeated sweeps by touchdown."
        expected = "frequencies that increase within a sweep"
        refuse_rows(entries, runs, falls, place, found, expected, remedy)


def _frequency_lists(
    entries: Entries, table: Table, runs: Runs
) -> tuple[IntArray, list[FloatArray]]:
    """Each sweep's frequency list as an index into the distinct lists; -1 where left out."""
    frequency_hz = table.numbers("frequency_hz")[runs.order]
    index = np.full(len(runs.starts), -1)
    lists: list[FloatArray] = []
    for length in np.unique(runs.lengths[entries.keep]):
        sweeps = np.flatnonzero(entries.keep & (runs.lengths == length))
        matrix = frequency_hz[runs.starts[sweeps][:, None] + np.arange(length)]
        distinct, which = np.unique(matrix, axis=0, return_inverse=True)
        index[sweeps] = which.reshape(-1) + len(lists)
        lists.extend(distinct)
    return index, lists


def _refuse_incomplete(
    entries: Entries, runs: Runs, lists: tuple[IntArray, list[FloatArray]]
) -> None:
    """Refuse sweeps that lack points which most sweeps of the same device and condition have.

    A list is incomplete when it is a part of another one that more sweeps have. A list that has
    points of its own is another list; a coarser one belongs under a condition of its own.
    """
    index, distinct = lists
    devices = texts_of(entries.table, "device", None)
    conditions = texts_of(entries.table, "condition", None)
    groups = list(zip(devices, conditions, strict=True))
    counts: dict[tuple[object, object], dict[int, int]] = {}
    for group, which in zip(groups, index.tolist(), strict=True):
        if which >= 0:
            of_group = counts.setdefault(group, {})
            of_group[which] = of_group.get(which, 0) + 1
    for group, of_group in counts.items():
        in_group = np.array([other == group for other in groups], np.bool_)
        for which, number in of_group.items():
            part = distinct[which]
            whole = next(
                (
                    distinct[other]
                    for other, others in of_group.items()
                    if others > number and np.isin(part, distinct[other]).all()
                ),
                None,
            )
            if whole is None:
                continue
            entries.refuse(
                in_group & (index == which),
                "",
                f"a sweep of {counted(len(part), 'frequency', 'frequencies')}",
                f"{len(whole)}, as in most sweeps of this device and condition",
                "Take the sweep again, or give such sweeps a condition of their own.",
            )


def _gathered(
    entries: Entries,
    table: Table,
    runs: Runs,
    lists: tuple[IntArray, list[FloatArray]],
    columns: dict[str, npt.ArrayLike],
    declared: SweepTable,
    ports: Mapping[str, int],
) -> tuple[Sweeps, ...]:
    """The sweeps that stay, by device and frequency list."""
    index, distinct = lists
    devices = np.asarray(columns["device"])
    numbers = {
        name: table.numbers(name)[runs.order] for name in _BY_ROW[1:] if name in table.columns
    }
    found = sorted({(str(devices[n]), int(index[n])) for n in np.flatnonzero(entries.keep)})
    gathered = []
    places = table.places_of(entries.rows)
    for device, which in found:
        chosen = entries.keep & (devices == device) & (index == which)
        at = runs.starts[chosen][:, None] + np.arange(len(distinct[which]))
        size = ports[device]
        s = np.empty((*at.shape, size, size), np.complex128)
        for i, row in enumerate(_NAMES[size]):
            for j, name in enumerate(row):
                s[..., i, j].real = numbers[f"{name}_re"][at]
                s[..., i, j].imag = numbers[f"{name}_im"][at]
        stays = refuse_exchanged_ports(entries, chosen, s)
        chosen, s = chosen & entries.keep, s[stays]
        part = Entries(entries.intake, entries.table, entries.rows, chosen)
        keys = arrow_table(columns, part, SWEEP_KEY_SCHEMA)
        gathered.append(Sweeps(device, declared, distinct[which], keys, places[chosen], s))
    return tuple(gathered)


def grouped(intake: Intake, tables: Sequence[tuple[Sweeps, ...]]) -> tuple[SweepGroup, ...]:
    """Sweeps of all tables by device and frequency list; a key that comes again is told and left
    out."""
    pieces = [piece for table in tables for piece in table]
    if not pieces:
        return ()
    joined = pa.concat_tables([piece.keys for piece in pieces])
    places = np.concatenate([piece.places for piece in pieces])
    keys = list(zip(*(joined.column(name).to_pylist() for name in KEY), strict=True))
    files = joined.column("file").to_pylist()
    keep = np.array(tell_duplicates(intake, KEY, keys, files, places), np.bool_)
    ends = np.cumsum([len(piece.places) for piece in pieces])
    by_list: dict[tuple[str, bool, float, bytes], list[tuple[Sweeps, BoolArray]]] = {}
    for piece, kept in zip(pieces, np.split(keep, ends[:-1]), strict=True):
        key = (
            piece.device,
            piece.declared.sweep == "corrected",
            piece.declared.reference_impedance_ohm,
            piece.frequency_hz.tobytes(),
        )
        by_list.setdefault(key, []).append((piece, kept))
    groups = [_group(parts) for _, parts in sorted(by_list.items(), key=lambda item: item[0])]
    return tuple(group for group in groups if group.keys.num_rows)


def _group(parts: Sequence[tuple[Sweeps, BoolArray]]) -> SweepGroup:
    """One group from its parts, sorted by die_y, die_x, site, condition, touchdown."""
    first = parts[0][0]
    keys = pa.concat_tables([piece.keys.filter(pa.array(kept)) for piece, kept in parts])
    s = np.concatenate([piece.s[kept] for piece, kept in parts])
    names = ("die_y", "die_x", "site", "condition", "touchdown")
    columns = list(zip(*(keys.column(name).to_pylist() for name in names), strict=True))
    order = sorted(range(len(columns)), key=columns.__getitem__)
    return SweepGroup(
        device=first.device,
        corrected=first.declared.sweep == "corrected",
        z_ref_ohm=first.declared.reference_impedance_ohm,
        frequency_hz=first.frequency_hz,
        keys=keys.take(pa.array(order, pa.int64())).combine_chunks(),
        s=s[order],
    )
