"""mapping.toml: the mapping of foreign files, checked by itself and against campaign.toml."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sitegen import units
from sitegen.model.campaign import CampaignRecord
from sitegen.model.mapping import MAPPING_FILE, MappedColumn, MappingRecord, Source
from sitegen.model.tables import (
    CURVE_COLUMNS,
    SWEEP_COLUMNS,
    TOUCHDOWN_COLUMNS,
    VALUE_COLUMNS,
    Column,
)
from sitegen.read.bias import bias_columns
from sitegen.read.curve_tables import named_columns
from sitegen.read.files import Intake
from sitegen.read.foreign.patterns import BadPattern, compiled
from sitegen.read.foreign.source_troubles import declaration_troubles
from sitegen.read.foreign.stated_units import unit_in_name
from sitegen.read.references import check_unique, is_known, tell_unknown_unit
from sitegen.read.toml_file import read_record
from sitegen.read.words import quoted

_NEVER_OTHERWISE = ("°C",)
"""Units that our names say and that stations use alike."""
_DECLARE = "Declare it in campaign.toml, or correct the name."


@dataclass(frozen=True)
class ReadMapping:
    """A mapping as it was read."""

    record: MappingRecord
    """The sources that can be used."""
    left_out: tuple[Source, ...]
    """Sources that contradict themselves or campaign.toml: told. Those whose folder cannot be one
    of foreign files are not among them: nothing is looked for there."""


def read_mapping(intake: Intake, campaign: CampaignRecord | None) -> ReadMapping | None:
    """The campaign's mapping; None where it has none, or one that cannot be read."""
    if not (intake.folder / MAPPING_FILE).exists():
        return None
    record = read_record(intake, MAPPING_FILE, MappingRecord, "the record of a mapping")
    if record is None:
        return None
    check_unique(intake, MAPPING_FILE, "sources", [source.id for source in record.sources])
    usable, left_out, seen = list[Source](), list[Source](), set[str]()
    aside = _aside(intake, record)
    for number, source in enumerate(record.sources, 1):
        before = len(intake.faults)
        place = f"sources[{number}]"
        troubles = declaration_troubles(source)
        for key, found, expected, remedy in troubles:
            intake.tell(
                MAPPING_FILE,
                f"{place}.{key} (id {quoted(source.id)})" if key else place,
                found=found,
                expected=expected,
                remedy=remedy,
            )
        if campaign is not None:
            _check_names(intake, place, source, campaign)
            _check_units(intake, place, source, campaign)
        if len(intake.faults) == before and source.id.lower() not in seen:
            usable.append(source)
        elif all(key != "folder" for key, *_ in troubles):
            left_out.append(source)
        seen.add(source.id.lower())
    return ReadMapping(MappingRecord(aside=aside, sources=tuple(usable)), tuple(left_out))


def _aside(intake: Intake, record: MappingRecord) -> tuple[str, ...]:
    """The patterns of files that are not needed; those that are no patterns are told."""
    usable = []
    for number, text in enumerate(record.aside, 1):
        try:
            compiled(text)
        except BadPattern as error:
            intake.tell(
                MAPPING_FILE,
                f"aside[{number}]",
                found=str(error),
                expected="a pattern",
                remedy="Write * for anything inside a name and **/ for any folders.",
            )
        else:
            usable.append(text)
    return tuple(usable)


def _check_names(intake: Intake, place: str, source: Source, campaign: CampaignRecord) -> None:
    """Names of the campaign that a source uses for what files say."""
    known = names_of(campaign)
    for field, value in source.constants.items():
        _is_declared(intake, f"{place}.constants.{field}", field, str(value), known)
    for field, names in source.rename.items():
        for theirs, ours in names.items():
            _is_declared(intake, f"{place}.rename.{field}.{theirs}", field, ours, known)
    for number, rule in enumerate(source.conditions, 1):
        where = f"{place}.conditions[{number}].condition"
        _is_declared(intake, where, "condition", rule.condition, known)
    for number, column in enumerate(source.columns, 1):
        for field, name in (("parameter", column.parameter), ("condition", column.condition)):
            if name is not None:
                _is_declared(intake, f"{place}.columns[{number}].{field}", field, name, known)


def names_of(campaign: CampaignRecord) -> Mapping[str, tuple[str, ...]]:
    """By field: the names that campaign.toml declares for it."""
    return {
        "device": tuple(one.id for one in campaign.devices),
        "condition": tuple(one.id for one in campaign.conditions),
        "parameter": tuple(one.id for one in campaign.parameters),
        "curve": tuple(one.id for one in campaign.curves),
    }


def _is_declared(
    intake: Intake, place: str, field: str, name: str, known: Mapping[str, Iterable[str]]
) -> None:
    if field in known:
        is_known(intake, MAPPING_FILE, place, name, known[field], field, _DECLARE)


def columns_of(source: Source, campaign: CampaignRecord) -> tuple[Column, ...]:
    """The columns of this program's table that a source's files become."""
    of_values = (*VALUE_COLUMNS, *bias_columns(campaign))
    return {
        "values": of_values,
        "sweeps": (*SWEEP_COLUMNS, *bias_columns(campaign)),
        "curves": (*CURVE_COLUMNS, *named_columns(campaign.curves)),
        "touchdowns": TOUCHDOWN_COLUMNS,
    }.get(source.holds, ())


def _check_units(intake: Intake, place: str, source: Source, campaign: CampaignRecord) -> None:
    """Units of columns must be stated, and convert to those of what the columns hold."""
    wanted = {column.name: column.unit for column in columns_of(source, campaign)}
    parameters = {one.id: one.unit for one in campaign.parameters}
    for number, column in enumerate(source.columns, 1):
        into = parameters.get(column.parameter) if column.parameter else _unit_of(column, wanted)
        if column.unit is None:
            if into and into not in _NEVER_OTHERWISE and not _may_state_units(source, column):
                _tell_no_unit(intake, f"{place}.columns[{number}]", column, into)
            continue
        where = f"{place}.columns[{number}].unit (column {quoted(column.theirs)})"
        try:
            units.normalise(column.unit)
            if into:
                units.conversion(column.unit, into)
        except units.UnknownUnit:
            tell_unknown_unit(intake, MAPPING_FILE, where, column.unit)
        except units.NotConvertible:
            intake.tell(
                MAPPING_FILE,
                where,
                found=quoted(column.unit),
                expected=f"{quoted(str(into))} or a unit that converts to it",
                remedy="Correct the unit, or what the column is mapped to.",
            )


def _may_state_units(source: Source, column: MappedColumn) -> bool:
    """Whether the files themselves may state a column's unit: in its name, in a line of units or,
    under Parquet, in their metadata."""
    in_name = unit_in_name(column.theirs)
    if in_name is not None and (len(in_name) > 1 or column.theirs.rstrip().endswith(("]", ")"))):
        return True
    return source.dialect.units_line is not None or source.files.endswith(".parquet")


def _tell_no_unit(intake: Intake, place: str, column: MappedColumn, into: str) -> None:
    intake.tell(
        MAPPING_FILE,
        place,
        found=f"no unit for the column {quoted(column.theirs)}",
        expected="its unit, as nothing is guessed",
        remedy=f"State unit = '{into}' or whatever its numbers are in; units on a line of the table"
        " are declared by dialect.units_line.",
    )


def _unit_of(column: MappedColumn, wanted: Mapping[str, str]) -> str | None:
    return wanted.get(column.ours or "")
