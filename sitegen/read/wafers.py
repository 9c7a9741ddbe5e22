"""wafers/ID/wafer.toml; its tables are only registered here and read by the wafer's own job."""

from collections.abc import Mapping, Sequence

from sitegen.model.campaign import CampaignRecord, Layout
from sitegen.model.device import Die
from sitegen.model.geometry import is_on_wafer
from sitegen.model.loaded import LoadedWafer, Transform
from sitegen.model.wafer import CurveTable, SweepTable, TouchdownTable, ValueTable, WaferRecord
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.frames import read_frames
from sitegen.read.notes import note_beside
from sitegen.read.references import (
    check_folder_name,
    check_state,
    check_unique,
    has_instrument,
    is_known,
    station_of,
)
from sitegen.read.toml_file import read_record
from sitegen.read.words import quoted


def read_wafer(intake: Intake, name: str, campaign: CampaignRecord | None) -> LoadedWafer | None:
    """The wafer in the folder wafers/`name`, or None and its faults.

    `campaign` is None when campaign.toml could not be read: then nothing is returned.
    """
    file = f"wafers/{name}/wafer.toml"
    record = read_record(intake, file, WaferRecord, "the record of a wafer")
    note = note_beside(intake, file, f"wafer {name}")
    if record is None:
        return None
    check_folder_name(intake, file, record.id, name)
    check_unique(intake, file, "states", [state.id for state in record.states])
    _check_times(intake, file, record)
    frames = read_frames(intake, file, record.reference_dies)
    _register_tables(intake, file, record, frames)
    if campaign is None:
        return None
    _check_units(intake, file, record, campaign)
    _check_study(intake, file, record, campaign)
    if campaign.layout is not None:
        _check_reference_dies(intake, file, record, campaign.layout)
    if not _is_placed(intake, file, record, campaign):
        return None
    return LoadedWafer(
        record=record,
        frames=frames,
        note=note,
        sources=tuple(intake.sources[path] for path in sorted(intake.sources)),
    )


def _check_study(intake: Intake, file: str, record: WaferRecord, campaign: CampaignRecord) -> None:
    """A wafer measured for a study only belongs to one, and to no split."""
    if not record.only_for_study:
        return
    if not any(record.id in study.wafers for study in campaign.studies):
        intake.tell(
            file,
            "only_for_study",
            found="true, and no study of campaign.toml names this wafer",
            expected="a study under [[studies]] that names it",
            remedy="Name it there, or remove 'only_for_study': the wafer then counts.",
        )
    for split in campaign.splits:
        if record.id in split.wafers:
            intake.tell(
                file,
                "only_for_study",
                found=f"true, and the split {quoted(split.id)} names this wafer",
                expected="wafers of splits that take part in the statistics",
                remedy="Take it out of the split, or remove 'only_for_study'.",
            )


def _is_placed(intake: Intake, file: str, record: WaferRecord, campaign: CampaignRecord) -> bool:
    """Whether the record's station and instruments are known; its parts are checked as well."""
    station = station_of(intake, file, record.station, campaign.stations)
    if station is None:
        return False
    for number, state in enumerate(record.states, 1):
        check_state(intake, file, f"states[{number}]", state, station)
    placed = True
    for key in ("rf_instrument", "dc_instrument"):
        instrument: str | None = getattr(record, key)
        if instrument is not None:
            placed &= has_instrument(intake, file, key, instrument, station)
    return placed


def _check_times(intake: Intake, file: str, record: WaferRecord) -> None:
    if record.started is None or record.finished is None:
        return
    if record.finished < record.started:
        intake.tell(
            file,
            "finished",
            found=f"{record.finished.isoformat()}, which is before it started",
            expected=f"a time after {record.started.isoformat()}",
            remedy="Correct one of the two times, or its zone.",
        )


def _register_tables(
    intake: Intake, file: str, record: WaferRecord, frames: Mapping[str, Transform]
) -> None:
    """Each table must be there, be named once, and be in a frame that the reference dies fix."""
    named = {name for reference in record.reference_dies for name in reference.frames}
    seen: dict[str, str] = {}
    for key in ("values", "sweeps", "curves", "touchdowns", "earlier_maps"):
        tables: Sequence[ValueTable | SweepTable | CurveTable | TouchdownTable]
        tables = getattr(record, key)
        for number, table in enumerate(tables, 1):
            place = f"{key}[{number}]"
            earlier = seen.setdefault(table.file, place)
            if earlier != place:
                intake.tell(
                    file,
                    f"{place}.file",
                    found=f'"{table.file}", which {earlier} names already',
                    expected="each table once",
                    remedy="Remove one of the two entries.",
                )
                continue
            intake.register(
                beside(file, table.file), Asked(file, f"{place}.file"), "the name of a Parquet file"
            )
            if table.frame not in named:
                remedy = "Name it in the reference dies; until then the table is left out."
                is_known(intake, file, f"{place}.frame", table.frame, frames, "frame", remedy)


def _check_units(intake: Intake, file: str, record: WaferRecord, campaign: CampaignRecord) -> None:
    """Units are stated for known parameters; the units themselves are checked with the rows."""
    known = [parameter.id for parameter in campaign.parameters]
    tables = (("values", record.values), ("earlier_maps", record.earlier_maps))
    for key, number, table in ((k, n, t) for k, listed in tables for n, t in enumerate(listed, 1)):
        for parameter in table.units:
            place = f"{key}[{number}].units.{parameter}"
            remedy = "Declare it in campaign.toml, or remove the unit."
            is_known(intake, file, place, parameter, known, "parameter", remedy)


def _check_reference_dies(intake: Intake, file: str, record: WaferRecord, layout: Layout) -> None:
    for number, reference in enumerate(record.reference_dies, 1):
        check_on_wafer(intake, file, f"reference_dies[{number}].die", reference.die, layout)


def check_on_wafer(intake: Intake, file: str, place: str, die: Die, layout: Layout) -> None:
    """A die of a record must lie on the wafer."""
    if not is_on_wafer(layout, float(die[0]), float(die[1])):
        intake.tell(
            file,
            place,
            found=f"die ({die[0]}, {die[1]}), whose centre lies off the wafer",
            expected=f"a die within {layout.diameter_mm / 2:g} mm of the wafer's centre",
            remedy="Correct the die's numbers, or the layout in campaign.toml.",
        )
