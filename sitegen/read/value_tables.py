"""A wafer's tables of values: each row checked, in its parameter's unit and the layout's dies."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen import units
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.loaded import VALUE_SCHEMA
from sitegen.model.tables import VALUE_COLUMNS
from sitegen.model.wafer import EarlierMap, ValueTable
from sitegen.read.bias import FURTHER, bias_columns, bias_texts
from sitegen.read.columns import Table, read_table
from sitegen.read.entries import (
    Context,
    Entries,
    check_times,
    column_place,
    refuse_empty,
    refuse_misplaced,
    refuse_unknown,
    refuse_unknown_evidence,
    refuse_unknown_names,
    stamped_us,
    states_of,
    temperatures,
    texts_of,
    touchdowns,
)
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.likely_checks import refuse_other_scale, refuse_twin_values, refuse_unlikely
from sitegen.read.references import tell_unknown_unit
from sitegen.read.words import choices, quoted

KEY = ("die_x", "die_y", "site", "device", "parameter", "condition", "touchdown")
ObjectArray = npt.NDArray[np.object_]


@dataclass(frozen=True)
class Rows:
    """The rows of one table that stay, and where they stood."""

    table: pa.Table
    """With the schema of its kind, in the file's order."""
    places: ObjectArray
    """Of each row: 'row 3', 'line 14'."""


def read_values(
    intake: Intake, context: Context, asked: Asked, declared: ValueTable
) -> Rows | None:
    """One table of values, or None and faults."""
    file = beside(context.record_file, declared.file)
    wanted = [*VALUE_COLUMNS, *bias_columns(context.campaign)]
    table = read_table(intake, file, asked, wanted, FURTHER)
    return None if table is None else checked_values(intake, context, table, declared)


def checked_values(intake: Intake, context: Context, table: Table, declared: ValueTable) -> Rows:
    """The rows of one table that stay; faults for the others.

    What an earlier map says of the evidence behind its values is left aside, and its values may be
    of any parameter and any time.
    """
    is_earlier = isinstance(declared, EarlierMap)
    bias = bias_columns(context.campaign)
    rows = np.arange(1, table.rows + 1)
    entries = Entries(intake, table, rows, np.ones(table.rows, np.bool_))
    refuse_empty(entries, [*VALUE_COLUMNS, *bias])
    parameters = {parameter.id: parameter for parameter in context.campaign.parameters}
    refuse_unknown(
        entries,
        "parameter",
        parameters,
        "parameter",
        "Declare it in campaign.toml, or correct the name.",
    )
    refuse_unknown_names(entries, context)
    if not is_earlier:
        refuse_unknown_evidence(entries, context)
        _refuse_taken_elsewhere(entries, parameters)
    _refuse_contradictions(entries, parameters)
    die_x, die_y = refuse_misplaced(entries, context, context.wafer.frames[declared.frame])
    touchdown = touchdowns(entries)
    refuse_unlikely(entries, context)
    value = _converted(entries, context, declared, parameters)
    refuse_other_scale(entries, value, parameters)
    refuse_twin_values(entries, die_x, die_y, value)
    measured_at = stamped_us(table) if is_earlier else check_times(entries, context)
    none = np.full(table.rows, None, dtype=object)
    columns: dict[str, npt.ArrayLike] = {
        "die_x": die_x,
        "die_y": die_y,
        "touchdown": touchdown,
        "measured_at": measured_at,
        "site": texts_of(table, "site", ""),
        "state": none if is_earlier else states_of(table, context),
        "bias": bias_texts(table, bias),
        "file": table.files_of(rows),
        "value": value,
        "beyond": _beyond(entries),
        **temperatures(table, context),
    }
    for name in ("device", "parameter", "condition", "range", "path"):
        columns[name] = texts_of(table, name, None)
    columns["calibration"] = none if is_earlier else texts_of(table, "calibration", None)
    kept = arrow_table(columns, entries, VALUE_SCHEMA)
    return Rows(kept, table.places_of(rows[entries.keep]))


def _beyond(entries: Entries) -> npt.NDArray[np.bool_]:
    """Where the value itself lies beyond the number that stands there."""
    marks = entries.table.numbers("beyond")
    entries.refuse(
        np.isfinite(marks) & (marks != 0) & (marks != 1),
        column_place("beyond"),
        lambda first: f"{marks[first]:g}",
        "1 where the value lies beyond the number, else 0",
        "Write 1 or 0.",
    )
    return np.asarray(marks == 1, np.bool_)


def arrow_table(columns: dict[str, npt.ArrayLike], entries: Entries, schema: pa.Schema) -> pa.Table:
    """The entries that stay, with a schema's columns; NaN in a column of numbers becomes null."""
    arrays = [
        pa.array(np.asarray(columns[field.name])[entries.keep], from_pandas=True).cast(field.type)
        for field in schema
    ]
    return pa.Table.from_arrays(arrays, schema=schema)


def _refuse_taken_elsewhere(entries: Entries, parameters: dict[str, Parameter]) -> None:
    """What campaign.toml takes from sweeps or curves must not stand in a table as well."""
    names, codes = entries.table.words("parameter")
    for code, name in enumerate(names):
        parameter = parameters.get(name)
        for key, source in (("from_sweep", "sweeps"), ("from_curve", "curves")):
            if parameter is not None and getattr(parameter, key) is not None:
                entries.refuse(
                    codes == code,
                    column_place("parameter"),
                    f"{quoted(name)}, which campaign.toml takes from the {source}",
                    "no values of it in a table",
                    f"Leave the rows out, or remove '{key}' from the parameter.",
                )


def _refuse_contradictions(entries: Entries, parameters: dict[str, Parameter]) -> None:
    """A row's device and condition must be its parameter's, as campaign.toml has it."""
    names, codes = entries.table.words("parameter")
    devices = texts_of(entries.table, "device", None)
    conditions = texts_of(entries.table, "condition", None)
    for code, name in enumerate(names):
        parameter = parameters.get(name)
        if parameter is None:
            continue
        of_parameter = codes == code
        entries.refuse(
            of_parameter & (devices != parameter.device),
            column_place("device"),
            _with_parameter(devices, name),
            f"{quoted(parameter.device)}, the parameter's device in campaign.toml",
            "Correct the device in the table or in campaign.toml.",
        )
        entries.refuse(
            of_parameter & ~np.isin(conditions.astype(str), parameter.conditions),
            column_place("condition"),
            _with_parameter(conditions, name),
            f"{choices(parameter.conditions)}, the parameter's conditions in campaign.toml",
            "Correct the condition in the table, or add it to the parameter.",
        )


def _with_parameter(texts: npt.NDArray[np.object_], parameter: str) -> Callable[[int], str]:
    return lambda first: f"{quoted(str(texts[first]))} with the parameter {quoted(parameter)}"


def _converted(
    entries: Entries, context: Context, declared: ValueTable, parameters: dict[str, Parameter]
) -> FloatArray:
    """Values in their parameters' units; rows whose unit is unknown or disputed are refused."""
    table = entries.table
    names, codes = table.words("parameter")
    unit_names, unit_codes = table.words("unit")
    in_metadata = table.stated_units.get("value")
    if in_metadata is not None and not _is_unit(in_metadata):
        place = f'{column_place("value")}, metadata "unit"'
        tell_unknown_unit(entries.intake, table.file, place, in_metadata)
        entries.keep[:] = False
    factor = np.full(table.rows, np.nan)
    for code, unit_code in sorted(set(zip(codes.tolist(), unit_codes.tolist(), strict=True))):
        rows = (codes == code) & (unit_codes == unit_code)
        parameter = parameters.get(names[code]) if code >= 0 else None
        if parameter is None:
            continue
        stated = {
            "the column's metadata": in_metadata,
            'the column "unit"': unit_names[unit_code] if unit_code >= 0 else None,
            context.record_file: declared.units.get(parameter.id),
        }
        one = _one_unit(entries, rows, parameter, {k: v for k, v in stated.items() if v})
        if one is not None:
            factor[rows] = one
    return np.asarray(table.numbers("value") * factor)


def _is_unit(text: str) -> bool:
    try:
        units.normalise(text)
    except units.UnknownUnit:
        return False
    return True


def _one_unit(
    entries: Entries, rows: npt.NDArray[np.bool_], parameter: Parameter, stated: dict[str, str]
) -> float | None:
    """The factor from the one unit stated for these rows to the parameter's; None and a fault."""
    place = column_place("value")
    of = f"the parameter {quoted(parameter.id)}"
    if not stated:
        entries.refuse(
            rows,
            place,
            f"no unit for {of}",
            'a unit in the column\'s metadata, in a column "unit" or in wafer.toml',
            f"Add units.{parameter.id} to the table in wafer.toml, the unit in which its values"
            " were written.",
        )
        return None
    told = " and ".join(f"{quoted(unit)} in {where}" for where, unit in stated.items())
    try:
        if len({units.normalise(unit) for unit in stated.values()}) > 1:
            remedy = "Correct the one that is wrong."
            entries.refuse(rows, place, f"{told} for {of}", "one and the same unit", remedy)
            return None
        return units.conversion(next(iter(stated.values())), parameter.unit)
    except units.UnknownUnit:
        expected = "a unit from the list of the reference, such as V, mA, kΩ, pF or 1"
        remedy = "Write the unit as the list has it; capitals and prefixes matter."
        entries.refuse(rows, place, f"the unknown unit {told} for {of}", expected, remedy)
    except units.NotConvertible:
        expected = f"{quoted(parameter.unit)}, as in campaign.toml, or a unit that converts to it"
        remedy = "Correct the unit of the table or of the parameter."
        entries.refuse(rows, place, f"{told} for {of}", expected, remedy)
    return None


def all_values(intake: Intake, tables: Sequence[Rows]) -> pa.Table:
    """All tables as one, sorted by the key; a key that comes again is told and left out."""
    order = [(name, "ascending") for name in KEY]
    return one_of_each(intake, KEY, tables, VALUE_SCHEMA).sort_by(order).combine_chunks()


def one_of_each(
    intake: Intake, names: Sequence[str], tables: Sequence[Rows], schema: pa.Schema
) -> pa.Table:
    """All tables as one; of rows with one key the first stays, the rest is told."""
    if not tables:
        return schema.empty_table()
    joined = pa.concat_tables([read.table for read in tables])
    places = np.concatenate([read.places for read in tables])
    files = joined.column("file").to_pylist()
    keys = list(zip(*(joined.column(name).to_pylist() for name in names), strict=True))
    keep = tell_duplicates(intake, names, keys, files, places)
    return joined.filter(pa.array(keep, pa.bool_()))


def tell_duplicates(
    intake: Intake,
    names: Sequence[str],
    keys: Sequence[tuple[object, ...]],
    files: Sequence[str],
    places: Sequence[str] | ObjectArray,
) -> list[bool]:
    """True for the first entry of each key; the others are told, once a file with their count."""
    first: dict[tuple[object, ...], int] = {}
    again: dict[str, list[tuple[int, int]]] = {}
    keep = []
    for index, key in enumerate(keys):
        earlier = first.setdefault(key, index)
        keep.append(earlier == index)
        if earlier != index:
            again.setdefault(files[index], []).append((index, earlier))
    for file, pairs in again.items():
        index, earlier = pairs[0]
        where = places[earlier]
        if files[earlier] != file:
            where = f"{where} of {files[earlier]}" if where else files[earlier]
        told = ", ".join(
            f"{n} {v}" for n, v in zip(names, keys[index], strict=True) if v not in ("", None)
        )
        intake.tell(
            file,
            places[index],
            found=f"the same key as in {where} ({told})",
            expected="each key once",
            remedy="Number repeated measurements by touchdown, or remove one; the first was kept.",
            count=len(pairs),
        )
    return keep
