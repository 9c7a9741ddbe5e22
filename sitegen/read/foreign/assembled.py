"""A wafer's tables of one source, put together into one table with this program's columns."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import MappedSource
from sitegen.model.mapping import Source
from sitegen.model.tables import Column as OurColumn
from sitegen.read.columns import Origin, Table
from sitegen.read.files import Intake
from sitegen.read.foreign.entries import (
    TIME,
    Entries,
    IntArray,
    as_table,
    places_of,
    refuse,
    table_of,
)
from sitegen.read.foreign.fields import resolve
from sitegen.read.foreign.mapped_columns import is_field
from sitegen.read.foreign.model import Column, Refusal
from sitegen.read.foreign.parquet_table import EMPTY_TIME_US
from sitegen.read.foreign.pieces import (
    Piece,
    are_beyond,
    factors,
    joined_numbers,
    joined_texts,
    joined_times,
    pieces_of,
    said_by_files,
    stated_units,
)
from sitegen.read.foreign.times import is_unset
from sitegen.read.words import quoted

ObjectArray = npt.NDArray[np.object_]


def table_of_rows(
    intake: Intake,
    wafer: str,
    mapped: MappedSource,
    campaign: CampaignRecord,
    wanted: Sequence[OurColumn],
) -> Table | None:
    """The rows of foreign tables that are of a wafer, as a table with the columns `wanted`.

    None where no row is left; every row that is left out is told, once a source with its count.
    """
    source = mapped.source
    pieces = pieces_of(intake, wafer, mapped)
    if not pieces:
        return None
    lengths = [len(piece.lines) for piece in pieces]
    origin = Origin(
        files=tuple(piece.file for piece in pieces),
        file_of=np.repeat(np.arange(len(pieces)), lengths),
        line_of=np.concatenate([piece.lines for piece in pieces]),
        words=tuple(piece.word for piece in pieces),
        places=places_of(source),
    )
    keep = np.ones(sum(lengths), np.bool_)
    columns = {
        **_own_columns(intake, origin, keep, source, pieces, wanted),
        **_fields(intake, origin, keep, source, pieces),
    }
    entries = Entries(columns, origin, keep)
    if source.rows == "one a die" and source.holds == "values":
        return _values_of_dies(intake, source, pieces, entries, campaign)
    return table_of(entries, wanted)


def _own_columns(
    intake: Intake,
    origin: Origin,
    keep: BoolArray,
    source: Source,
    pieces: Sequence[Piece],
    wanted: Sequence[OurColumn],
) -> dict[str, Column]:
    """The columns that our tables have and that are no fields: values, frequencies, readings."""
    by_name = {column.name: column for column in wanted}
    columns: dict[str, Column] = {}
    for one in source.columns:
        if one.ours is None or is_field(one):
            continue
        ours = by_name.get(one.ours)
        if ours is not None and ours.content == "text":
            columns[one.ours] = joined_texts(pieces, one)
            continue
        numbers = joined_numbers(intake, origin, keep, pieces, one)
        into = "" if ours is None else ours.unit
        rates = factors(intake, origin, keep, pieces, one, into)
        columns[one.ours] = np.asarray(numbers * rates, np.float64)
        if one.beyond:
            columns["beyond"] = are_beyond(pieces, one).astype(np.int64)
        if one.ours == "value" and all(each.ours != "unit" for each in source.columns):
            columns["unit"] = stated_units(pieces, one)
    return columns


def _fields(
    intake: Intake, origin: Origin, keep: BoolArray, source: Source, pieces: Sequence[Piece]
) -> dict[str, Column]:
    """What names, lines, columns and constants say of fields."""
    texts = said_by_files(source, pieces)
    is_ready: BoolArray | None = None
    ready = np.zeros(len(keep), np.int64)
    for one in source.columns:
        if one.ours is None or not is_field(one):
            continue
        texts["time" if one.ours == TIME else one.ours] = joined_texts(pieces, one)
        if any(one.theirs in piece.times for piece in pieces):
            is_ready, ready = joined_times(pieces, one)
            _refuse_no_times(intake, origin, keep, ready, is_ready)
    modified = [piece.modified_at for piece in pieces for _ in range(len(piece.lines))]
    resolved = resolve(source, texts, len(keep), modified)
    for refusal in resolved.refusals:
        if is_ready is not None and refusal.field in ("time", TIME):
            refusal = replace(refusal, bad=refusal.bad & ~is_ready)
        refuse(intake, origin, keep, refusal)
    if is_ready is None:
        return dict(resolved.columns)
    others = resolved.columns.get(TIME, np.zeros(len(keep), np.int64))
    return {**resolved.columns, TIME: np.where(is_ready, ready, others).astype(np.int64)}


def _refuse_no_times(
    intake: Intake, origin: Origin, keep: BoolArray, us: IntArray, is_ready: BoolArray
) -> None:
    """Times of a Parquet column that are empty, or of a year in which nobody measured."""
    empty = is_ready & (us == EMPTY_TIME_US)
    refuse(
        intake,
        origin,
        keep,
        Refusal(empty, TIME, lambda _: "an empty entry", "a time", "Fill it, or leave it out."),
    )
    refuse(
        intake,
        origin,
        keep,
        Refusal(
            is_ready & is_unset(us) & ~empty,
            TIME,
            lambda row: str(np.datetime64(int(us[row]), "us")),
            "a time at which somebody measured",
            "Correct the times: the instrument's clock was probably not set.",
        ),
    )


def _values_of_dies(
    intake: Intake,
    source: Source,
    pieces: Sequence[Piece],
    entries: Entries,
    campaign: CampaignRecord,
) -> Table | None:
    """One row a value from one row a die: each column of a parameter after the other.

    A cell that is empty is a value that was not measured.
    """
    devices = {one.id: one.device for one in campaign.parameters}
    parts, named = list[Entries](), list[ObjectArray]()
    for one in source.columns:
        if one.parameter is None or one.parameter not in devices:
            continue  # a parameter that is not declared is told with the mapping
        keep = entries.keep.copy()
        places = {**entries.origin.places, "value": f"column {quoted(one.theirs)}"}
        of_column = replace(entries.origin, places=places)
        numbers = joined_numbers(intake, of_column, keep, pieces, one)
        at = np.flatnonzero(keep & ~np.isnan(numbers))
        part = entries.take(at)
        said: dict[str, Column] = {
            "parameter": np.full(len(at), one.parameter, dtype=object),
            "device": np.full(len(at), devices[one.parameter], dtype=object),
            "unit": np.full(len(at), one.unit, dtype=object),
            "value": np.asarray(numbers[at], np.float64),
        }
        own = {"condition": one.condition, "range": one.range, "path": one.path}
        said |= {
            name: np.full(len(at), text, dtype=object)
            for name, text in own.items()
            if text is not None or (name != "condition" and name not in part.columns)
        }
        said["beyond"] = are_beyond(pieces, one)[at].astype(np.int64)
        parts.append(Entries({**part.columns, **said}, part.origin, part.keep))
        named.append(np.full(len(at), one.theirs, dtype=object))
    if not sum(len(part.keep) for part in parts):
        return None
    names = [name for name in parts[0].columns if all(name in part.columns for part in parts)]
    origin = replace(
        entries.origin,
        file_of=np.concatenate([part.origin.file_of for part in parts]),
        line_of=np.concatenate([part.origin.line_of for part in parts]),
        column_of=np.concatenate(named),
    )
    columns = {name: np.concatenate([part.columns[name] for part in parts]) for name in names}
    return as_table(columns, origin)
