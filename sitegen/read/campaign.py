"""A campaign's folder to its records: the entry of this room."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import (
    Campaign,
    LoadedAcceptance,
    LoadedCalibration,
    LoadedVerification,
    LoadedWafer,
    Note,
)
from sitegen.problems import Fault, NotACampaign
from sitegen.read.acceptances import read_acceptance
from sitegen.read.calibrations import read_calibration
from sitegen.read.declarations import check_declarations
from sitegen.read.declared_stresses import check_stressed_wafers
from sitegen.read.files import Intake
from sitegen.read.foreign.attached import with_mapped_files
from sitegen.read.likely_names import slip_of
from sitegen.read.notes import NOTE, read_note
from sitegen.read.references import CAMPAIGN_FILE
from sitegen.read.strays import tell_strays
from sitegen.read.toml_file import read_record
from sitegen.read.verifications import read_verification
from sitegen.read.wafers import read_wafer
from sitegen.read.words import quoted

Loaded = TypeVar("Loaded", LoadedCalibration, LoadedVerification, LoadedAcceptance, LoadedWafer)


@dataclass(frozen=True)
class _Kind:
    """One of the four folders of records."""

    folder: str
    record_file: str
    word: str


_CALIBRATIONS = _Kind("calibrations", "record.toml", "calibration")
_VERIFICATIONS = _Kind("verifications", "record.toml", "verification")
_ACCEPTANCES = _Kind("acceptances", "record.toml", "acceptance")
_WAFERS = _Kind("wafers", "wafer.toml", "wafer")


def read_campaign(folder: Path) -> tuple[Campaign, tuple[Fault, ...]]:
    """Everything in a campaign's folder but the wafers' tables, and every fault found in it.

    A record that cannot be read, or whose station or instrument is not declared, is left out and
    told. Faults are sorted by file and place.

    Raises NotACampaign, with every fault that could be found, when the folder is not there or
    when campaign.toml is missing, cannot be read, or contradicts itself.
    """
    _require_folder(folder)
    intake = Intake(folder)
    record = _declared(intake)
    stations = None if record is None else record.stations
    campaign_id = None if record is None else record.campaign.id
    calibrations = _records(
        intake,
        _CALIBRATIONS,
        campaign_id,
        lambda part, name: read_calibration(part, name, stations),
    )
    known = _known_calibrations(calibrations)
    verifications = _records(
        intake,
        _VERIFICATIONS,
        campaign_id,
        lambda part, name: read_verification(part, name, stations, known),
    )
    verified = _known_verifications(verifications)
    acceptances = _records(
        intake,
        _ACCEPTANCES,
        campaign_id,
        lambda part, name: read_acceptance(part, name, stations, verified),
    )
    wafers = _records(
        intake, _WAFERS, campaign_id, lambda part, name: read_wafer(part, name, record)
    )
    wafers, mapping, gathered = with_mapped_files(intake, record, wafers)
    waiting = _without_layout(intake, record, wafers)
    _tell_too_early(intake, calibrations, verifications)
    if record is not None:
        _tell_planned_in_other_letters(intake, record, wafers)
        check_stressed_wafers(intake, record, wafers)
    notes = _notes(intake)
    tell_strays(intake)
    faults = tuple(sorted(set(intake.faults)))
    if record is None or any(fault.fatal for fault in faults):
        raise NotACampaign(faults)
    return (
        Campaign(
            folder=folder,
            record=record,
            calibrations=_by_id(calibrations),
            verifications=_by_id(verifications),
            acceptances=_by_id(acceptances),
            wafers=() if waiting else _by_id(wafers),
            waiting=_by_id(waiting),
            notes=notes,
            mapping=mapping,
            gathered=tuple(gathered[file] for file in sorted(gathered)),
            sources=tuple(intake.sources[path] for path in sorted(intake.sources)),
        ),
        faults,
    )


def read_campaign_record(folder: Path) -> CampaignRecord:
    """campaign.toml alone, by itself: not held against the rest of the folder.

    Raises NotACampaign with its faults when it cannot be read.
    """
    _require_folder(folder)
    intake = Intake(folder)
    record = _record(intake)
    if record is None:
        raise NotACampaign(tuple(sorted(set(intake.faults))))
    return record


def _record(intake: Intake) -> CampaignRecord | None:
    what = "the record of the campaign"
    return read_record(intake, CAMPAIGN_FILE, CampaignRecord, what, fatal=True)


def _declared(intake: Intake) -> CampaignRecord | None:
    """campaign.toml, held against itself."""
    record = _record(intake)
    if record is not None:
        before = len(intake.faults)
        check_declarations(intake, record)
        intake.make_fatal(before)
    return record


def _tell_too_early(
    intake: Intake,
    calibrations: Mapping[str, LoadedCalibration | None],
    verifications: Mapping[str, LoadedVerification | None],
) -> None:
    """A verification stamped by the calibration's own instrument must come after it."""
    made = {one.record.id: one.record for one in calibrations.values() if one is not None}
    for name, one in sorted(verifications.items()):
        calibration = None if one is None else made.get(one.record.calibration)
        if one is None or calibration is None or calibration.instrument != one.record.instrument:
            continue
        if one.record.at < calibration.at:
            intake.tell(
                f"verifications/{name}/record.toml",
                "at",
                found=one.record.at.isoformat(),
                expected=f"a time after its calibration {calibration.id},"
                f" {calibration.at.isoformat()}",
                remedy="Correct the time, or the calibration that it names.",
            )


def _tell_planned_in_other_letters(
    intake: Intake, record: CampaignRecord, wafers: Mapping[str, LoadedWafer | None]
) -> None:
    """A planned wafer whose id differs from a measured one's only by capitals."""
    present = {one.record.id.lower(): one.record.id for one in wafers.values() if one is not None}
    for number, planned in enumerate(record.plan.wafers, 1):
        meant = present.get(planned.id.lower())
        if meant is not None and meant != planned.id:
            intake.tell(
                CAMPAIGN_FILE,
                f"plan.wafers[{number}].id",
                found=quoted(planned.id),
                expected=f"{quoted(meant)}, as the wafer's own record has it",
                remedy="Write the id in the same letters; until then the wafer has no plan.",
            )


def _require_folder(folder: Path) -> None:
    """Raise NotACampaign unless the folder can be listed."""
    try:
        next(folder.iterdir(), None)
    except FileNotFoundError:
        found = "no folder of this name"
    except NotADirectoryError:
        found = "a file in place of the folder"
    except (OSError, ValueError) as error:
        found = f"a folder that cannot be read ({error})"
    else:
        return
    fault = Fault(
        file=str(folder),
        place="",
        found=found,
        expected="a campaign's folder with campaign.toml in it",
        remedy="Correct the path.",
        fatal=True,
    )
    raise NotACampaign((fault,))


def _records(
    intake: Intake,
    kind: _Kind,
    campaign_id: str | None,
    read: Callable[[Intake, str], Loaded | None],
) -> Mapping[str, Loaded | None]:
    """Each record of a kind by its folder's name; None for one that has to be left out.

    Each is read with an intake of its own, so that it knows its own sources.
    """
    found: dict[str, Loaded | None] = {}
    first: dict[str, str] = {}
    for name in _subfolders(intake, kind):
        part = Intake(intake.folder)
        loaded = read(part, name)
        intake.take_over(part)
        if loaded is not None and _is_of_another(intake, kind, name, loaded, campaign_id):
            loaded = None
        if loaded is not None:
            record_id = loaded.record.id
            earlier = first.setdefault(record_id.lower(), name)
            if earlier != name:
                intake.tell(
                    f"{kind.folder}/{name}/{kind.record_file}",
                    "id",
                    found=f"{quoted(record_id)}, which {kind.folder}/{earlier} has already",
                    expected="ids that differ by more than capitals",
                    remedy="Give one of the two another id; until then this one is left out.",
                )
                loaded = None
        found[name] = loaded
    return found


def _is_of_another(
    intake: Intake, kind: _Kind, name: str, loaded: Loaded, campaign_id: str | None
) -> bool:
    """Whether a record says that it belongs to another campaign; then it is told."""
    stated = loaded.record.campaign
    if stated is None or campaign_id is None or stated == campaign_id:
        return False
    intake.tell(
        f"{kind.folder}/{name}/{kind.record_file}",
        "campaign",
        found=f"{quoted(stated)}{slip_of(stated, [campaign_id])}",
        expected=f"{quoted(campaign_id)}, the campaign that it lies in",
        remedy="Move the record into its own campaign, or correct the id; it was left out.",
        cause="Records of another campaign",
    )
    return True


def _subfolders(intake: Intake, kind: _Kind) -> list[str]:
    """Names of the folders below a kind's folder, sorted. A file there is a stray one."""
    what = f"a folder with one folder for each {kind.word}"
    names = intake.names_in(kind.folder, what)
    return [name for name in names if not _is_file(intake.folder / kind.folder / name)]


def _is_file(path: Path) -> bool:
    """Whether there is a file; False where it may not be looked at, which its reader tells."""
    try:
        return path.is_file()
    except OSError:
        return False


def _known_calibrations(
    calibrations: Mapping[str, LoadedCalibration | None],
) -> Mapping[str, CalibrationRecord | None]:
    """Calibrations by id; None for a folder whose record could not be read, by its name."""
    known: dict[str, CalibrationRecord | None] = dict.fromkeys(calibrations)
    for loaded in calibrations.values():
        if loaded is not None:
            known[loaded.record.id] = loaded.record
    return known


def _known_verifications(
    verifications: Mapping[str, LoadedVerification | None],
) -> Mapping[str, LoadedVerification | None]:
    """Verifications by id; None for a folder whose record could not be read, by its name."""
    known: dict[str, LoadedVerification | None] = dict.fromkeys(verifications)
    for loaded in verifications.values():
        if loaded is not None:
            known[loaded.record.id] = loaded
    return known


def _by_id(records: Mapping[str, Loaded | None]) -> tuple[Loaded, ...]:
    kept = [loaded for loaded in records.values() if loaded is not None]
    return tuple(sorted(kept, key=lambda loaded: loaded.record.id))


def _without_layout(
    intake: Intake, record: CampaignRecord | None, wafers: Mapping[str, LoadedWafer | None]
) -> Mapping[str, LoadedWafer | None]:
    """The wafers that wait for a layout; as soon as anything of one was measured it is needed."""
    if record is None or record.layout is not None:
        return {}
    if any(one is None or _is_measured(one) for one in wafers.values()):
        _tell_no_layout(intake)
    return wafers


def _is_measured(wafer: LoadedWafer) -> bool:
    """Whether there is anything of a wafer that has a place on it."""
    record = wafer.record
    tables = (record.values, record.sweeps, record.curves, record.touchdowns, record.earlier_maps)
    return any(tables) or bool(wafer.mapped) or bool(record.reference_dies)


def _tell_no_layout(intake: Intake) -> None:
    intake.tell(
        CAMPAIGN_FILE,
        "layout",
        found='no key "layout"',
        expected="where the dies lie, as there is at least one wafer",
        remedy="Add [layout] with the wafer's diameter, its mark and the dies' pitch and origin.",
        fatal=True,
    )


def _notes(intake: Intake) -> tuple[Note, ...]:
    """The notes about the campaign as a whole: note.md at the top and those in notes/."""
    top = [NOTE] if os.path.lexists(intake.folder / NOTE) else []
    names = intake.names_in("notes", "a folder with notes in Markdown")
    listed = [f"notes/{name}" for name in names if name.endswith(".md")]
    notes = (read_note(intake, file, "campaign") for file in top + listed)
    return tuple(note for note in notes if note is not None)
