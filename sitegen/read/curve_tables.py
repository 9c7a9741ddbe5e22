"""A wafer's tables of curves: rows become curves, curves of one declared kind a group."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.extraction import Curve
from sitegen.model.loaded import CURVE_KEY_SCHEMA, CurveGroup
from sitegen.model.tables import AGAIN, CURVE_COLUMNS, Column
from sitegen.model.wafer import CurveTable
from sitegen.read.columns import Table, read_table
from sitegen.read.entries import (
    Context,
    Entries,
    check_times,
    column_place,
    refuse_empty,
    refuse_misplaced,
    refuse_unknown,
    refuse_unknown_names,
    texts_of,
    touchdowns,
)
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.likely_checks import refuse_twin_runs, refuse_unlikely
from sitegen.read.runs import (
    Runs,
    heads_of,
    refuse_changes,
    refuse_rows,
    refuse_unmeasured,
    runs_of,
)
from sitegen.read.value_tables import arrow_table, tell_duplicates
from sitegen.read.words import counted, quoted

KEY = ("die_x", "die_y", "site", "device", "curve", "condition", "touchdown")
_KEPT_KEY = (*(name for name in KEY if name != "curve"), "stepped")
_FURTHER = "columns that the curves of campaign.toml name"
_BY_ROW = frozenset({"range", "in_compliance"})


@dataclass(frozen=True)
class Curves:
    """The curves of one declared kind from one table; points as in `CurveGroup`."""

    curve: str
    keys: pa.Table
    """`CURVE_KEY_SCHEMA`."""
    places: npt.NDArray[np.object_]
    """Where the first row of each curve stands."""
    points: Mapping[str, npt.NDArray[np.generic]]
    """(n_curve, n_point) each: 'range', 'in_compliance', and numbers by the declared column."""


def named_columns(curves: Sequence[Curve]) -> tuple[Column, ...]:
    """The columns that declared curves name, each once, and their second readings."""
    names: dict[str, str] = {}
    for curve in curves:
        for name in _names(curve):
            names.setdefault(name, "V" if name.endswith("_v") else "A")
        names.setdefault(curve.measured + AGAIN, "V" if curve.measured.endswith("_v") else "A")
    return tuple(
        Column(name, "number", False, "an axis or a reading of a curve", unit, may_be_empty=True)
        for name, unit in names.items()
    )


def _names(curve: Curve) -> tuple[str, ...]:
    """Its columns: swept, measured, stepped where it is, then further readings."""
    stepped = () if curve.stepped is None else (curve.stepped,)
    return curve.swept, curve.measured, *stepped, *curve.also_measured


def read_curves(
    intake: Intake, context: Context, asked: Asked, declared: CurveTable
) -> tuple[Curves, ...] | None:
    """The curves of one table, or None and faults."""
    file = beside(context.record_file, declared.file)
    named = named_columns(context.campaign.curves)
    table = read_table(intake, file, asked, [*CURVE_COLUMNS, *named], _FURTHER)
    return None if table is None else checked_curves(intake, context, table, declared)


def checked_curves(
    intake: Intake, context: Context, table: Table, declared: CurveTable
) -> tuple[Curves, ...]:
    """The curves of one table that stay; faults for the others."""
    curves = {curve.id: curve for curve in context.campaign.curves}
    named = named_columns(context.campaign.curves)
    stepped = _stepped(table, curves)
    runs = runs_of(table, KEY, [stepped])
    by_row = _BY_ROW | {column.name for column in named}
    heads, firsts = heads_of(table, runs, by_row), runs.order[runs.starts]
    entries = Entries(intake, heads, firsts + 1, np.ones(len(firsts), np.bool_))
    refuse_empty(entries, [column for column in CURVE_COLUMNS if column.name not in by_row])
    declare = "Declare it under [[curves]] in campaign.toml, or correct the name."
    refuse_unknown(entries, "curve", curves, "curve", declare)
    refuse_unknown_names(entries, context)
    die_x, die_y = refuse_misplaced(entries, context, context.wafer.frames[declared.frame])
    touchdown = touchdowns(entries)
    measured_at = check_times(entries, context)
    refuse_changes(entries, table, runs, ("path",), "curve")
    refuse_unlikely(entries, context)
    for curve in curves.values():
        _refuse_faulty(entries, table, runs, curve)
    measured = tuple(dict.fromkeys(curve.measured for curve in curves.values()))
    refuse_twin_runs(entries, table, runs, measured, die_x, die_y, "curve")
    columns: dict[str, npt.ArrayLike] = {
        "die_x": die_x,
        "die_y": die_y,
        "touchdown": touchdown,
        "measured_at": measured_at,
        "stepped": stepped[firsts],
        "site": texts_of(heads, "site", ""),
        "file": table.files_of(firsts + 1),
        "temperature_c": heads.numbers("temperature_c"),
        "integration_s": heads.numbers("integration_s"),
        **{name: texts_of(heads, name, None) for name in ("device", "condition", "path")},
    }
    gathered = (_gathered(entries, table, runs, columns, curve) for curve in curves.values())
    return tuple(each for each in gathered if len(each.places))


def _stepped(table: Table, curves: Mapping[str, Curve]) -> FloatArray:
    """Each row's value of its own curve's stepped axis; NaN where the curve has none."""
    texts, codes = table.words("curve")
    stepped = np.full(table.rows, np.nan)
    for code, text in enumerate(texts):
        curve = curves.get(text)
        if curve is not None and curve.stepped is not None:
            stepped[codes == code] = table.numbers(curve.stepped)[codes == code]
    return stepped


def _of(entries: Entries, curve: Curve) -> BoolArray:
    """Which entries are curves of a declared kind."""
    return np.asarray(texts_of(entries.table, "curve", None) == curve.id, np.bool_)


def _refuse_faulty(entries: Entries, table: Table, runs: Runs, curve: Curve) -> None:
    """Refuse curves of a declared kind that are not as it is declared, or not whole."""
    chosen = _of(entries, curve)
    if not chosen.any():
        return
    devices = texts_of(entries.table, "device", None)
    entries.refuse(
        chosen & (devices != curve.device),
        column_place("device"),
        lambda first: f"{quoted(str(devices[first]))} with the curve {quoted(curve.id)}",
        f"{quoted(curve.device)}, the curve's device in campaign.toml",
        "Correct the device in the table or in campaign.toml.",
    )
    places = chosen[runs.of_place]
    for name in _names(curve):
        needed = name not in curve.also_measured
        if name in table.columns:
            refuse_unmeasured(entries, table, runs, name, places, "curve", may_be_empty=not needed)
            continue
        entries.refuse(
            chosen,
            "",
            f"no column {quoted(name)}",
            f"this column, which the curve {quoted(curve.id)} names in campaign.toml",
            "Add the column, or take it out of the curve in campaign.toml.",
            leave_out=needed,
        )
    again = curve.measured + AGAIN
    refuse_unmeasured(entries, table, runs, again, places, "curve", may_be_empty=True)
    _refuse_other_marks(entries, table, runs, places)
    _refuse_too_short(entries, runs, chosen)
    _refuse_repeated(entries, table, runs, chosen, curve)


def _refuse_other_marks(entries: Entries, table: Table, runs: Runs, places: BoolArray) -> None:
    numbers = table.numbers("in_compliance")[runs.order]
    refuse_rows(
        entries,
        runs,
        places & np.isfinite(numbers) & (numbers != 0) & (numbers != 1),
        column_place("in_compliance"),
        "another number than 0 and 1",
        "1 where the source had reached its bound, else 0",
        "Write 1 or 0; the curve was left out.",
    )


def _refuse_too_short(entries: Entries, runs: Runs, chosen: BoolArray) -> None:
    entries.refuse(
        chosen & (runs.lengths < 2),
        "",
        "a curve of 1 point",
        "at least two points under one key and one stepped value",
        "Write the stepped column as it was set, the same in every row of a curve.",
    )


def _refuse_repeated(
    entries: Entries, table: Table, runs: Runs, chosen: BoolArray, curve: Curve
) -> None:
    """Refuse a curve whose second half sweeps what its first half swept: two under one key."""
    swept = table.numbers(curve.swept)[runs.order]
    for length in np.unique(runs.lengths[chosen]):
        if length % 2 or length < 4:
            continue
        alike = np.flatnonzero(chosen & (runs.lengths == length))
        halves = swept[runs.starts[alike][:, None] + np.arange(length)].reshape(len(alike), 2, -1)
        repeated = np.zeros(len(chosen), np.bool_)
        is_ramp = halves[:, 0, 0] != halves[:, 0, -1]
        repeated[alike] = (halves[:, 0] == halves[:, 1]).all(axis=1) & is_ramp
        entries.refuse(
            repeated,
            column_place(curve.swept),
            f"the same {counted(int(length) // 2, 'point')} twice under one key",
            "each curve once",
            "Number repeated measurements by touchdown, or remove one; the curve was left out.",
        )


def _gathered(
    entries: Entries,
    table: Table,
    runs: Runs,
    columns: dict[str, npt.ArrayLike],
    curve: Curve,
) -> Curves:
    """The curves of one declared kind that stay; the end of the shorter ones is filled."""
    chosen = _of(entries, curve) & entries.keep
    lengths = runs.lengths[chosen]
    at = np.arange(lengths.max(initial=0))
    is_point = at < lengths[:, None]
    rows = runs.order[np.where(is_point, runs.starts[chosen][:, None] + at, 0)]
    ranges = texts_of(table, "range", None)[rows]
    ranges[~is_point] = None
    points: dict[str, npt.NDArray[np.generic]] = {
        "range": ranges,
        "in_compliance": is_point & (table.numbers("in_compliance")[rows] == 1),
    }
    for name in (*_names(curve), curve.measured + AGAIN):
        points[name] = np.where(is_point, table.numbers(name)[rows], np.nan)
    part = Entries(entries.intake, entries.table, entries.rows, chosen)
    keys = arrow_table(columns, part, CURVE_KEY_SCHEMA)
    return Curves(curve.id, keys, table.places_of(entries.rows[chosen]), points)


def grouped_curves(
    intake: Intake, curves: Sequence[Curve], tables: Sequence[tuple[Curves, ...]]
) -> tuple[CurveGroup, ...]:
    """Curves of all tables by declared kind; a key that comes again is told and left out."""
    by_kind = {
        curve.id: [piece for table in tables for piece in table if piece.curve == curve.id]
        for curve in curves
    }
    return tuple(
        _group(intake, curve, by_kind[curve.id])
        for curve in sorted(curves, key=lambda one: one.id)
        if by_kind[curve.id]
    )


def _group(intake: Intake, curve: Curve, pieces: Sequence[Curves]) -> CurveGroup:
    """One group from its pieces, sorted by die_y, die_x, site, condition, touchdown, stepped."""
    joined = pa.concat_tables([piece.keys for piece in pieces])
    keys = list(zip(*(joined.column(name).to_pylist() for name in _KEPT_KEY), strict=True))
    files = joined.column("file").to_pylist()
    places = np.concatenate([piece.places for piece in pieces])
    keep = np.flatnonzero(tell_duplicates(intake, _KEPT_KEY, keys, files, places))
    by = ("die_y", "die_x", "site", "condition", "touchdown", "stepped")
    table = joined.take(pa.array(keep)).append_column("at", pa.array(keep))
    order = table.sort_by([(name, "ascending") for name in by]).column("at").to_numpy()
    longest = max(piece.points[curve.swept].shape[1] for piece in pieces)

    def all_of(name: str, fill: object) -> npt.NDArray[np.generic]:
        """A column of points of all pieces, filled to the longest curve, in the group's order."""
        parts = [
            np.pad(each, ((0, 0), (0, longest - each.shape[1])), constant_values=fill)  # type: ignore[call-overload]  # None in arrays of objects
            for each in (piece.points[name] for piece in pieces)
        ]
        return np.asarray(np.concatenate(parts)[order])

    again = np.asarray(all_of(curve.measured + AGAIN, np.nan), np.float64)
    return CurveGroup(
        curve=curve.id,
        keys=joined.take(pa.array(order)).combine_chunks(),
        swept=np.asarray(all_of(curve.swept, np.nan), np.float64),
        measured=np.asarray(all_of(curve.measured, np.nan), np.float64),
        again=again if np.isfinite(again).any() else None,
        others={name: np.asarray(all_of(name, np.nan), np.float64) for name in curve.also_measured},
        range=np.asarray(all_of("range", None), np.object_),
        in_compliance=np.asarray(all_of("in_compliance", False), np.bool_),
    )
