"""A campaign's folder to its records: the entry of this room."""

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import (
    Campaign,
    LoadedCalibration,
    LoadedVerification,
    LoadedWafer,
    Note,
)
from sitegen.problems import Fault, NotACampaign
from sitegen.read.calibrations import read_calibration
from sitegen.read.declarations import FILE, check_declarations
from sitegen.read.files import Intake
from sitegen.read.notes import NOTE, read_note
from sitegen.read.strays import tell_strays
from sitegen.read.toml_file import read_record
from sitegen.read.verifications import read_verification
from sitegen.read.wafers import read_wafer
from sitegen.read.words import quoted

Loaded = TypeVar("Loaded", LoadedCalibration, LoadedVerification, LoadedWafer)


@dataclass(frozen=True)
class _Kind:
    """One of the three folders of records."""

    folder: str
    record_file: str
    word: str


_CALIBRATIONS = _Kind("calibrations", "record.toml", "calibration")
_VERIFICATIONS = _Kind("verifications", "record.toml", "verification")
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
    record = read_record(intake, FILE, CampaignRecord, "the record of the campaign", fatal=True)
    if record is not None:
        before = len(intake.faults)
        check_declarations(intake, record)
        intake.make_fatal(before)
    stations = None if record is None else record.stations
    unreadable: set[str] = set()

    def records(kind: _Kind, read: Callable[[Intake, str], Loaded | None]) -> dict[str, Loaded | None]:
        return _records(intake, kind, read, unreadable)

    calibrations = records(_CALIBRATIONS, lambda part, name: read_calibration(part, name, stations))
    known = _calibrations_by_id(calibrations)
    verifications = records(
        _VERIFICATIONS, lambda part, name: read_verification(part, name, stations, known)
    )
    wafers = records(_WAFERS, lambda part, name: read_wafer(part, name, record))
    if record is not None and record.layout is None and wafers:
        _tell_no_layout(intake, len(wafers))
    notes = _notes(intake)
    tell_strays(intake, unreadable)
    faults = tuple(sorted(set(intake.faults)))
    if record is None or any(fault.fatal for fault in faults):
        raise NotACampaign(faults)
    return (
        Campaign(
            folder=folder,
            record=record,
            calibrations=_by_id(calibrations.values()),
            verifications=_by_id(verifications.values()),
            wafers=_by_id(wafers.values()),
            notes=notes,
            sources=tuple(intake.sources[path] for path in sorted(intake.sources)),
        ),
        faults,
    )


def _require_folder(folder: Path) -> None:
    """Raise NotACampaign unless the folder can be listed."""
    try:
        os.listdir(folder)
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
    read: Callable[[Intake, str], Loaded | None],
    unreadable: set[str],
) -> dict[str, Loaded | None]:
    """Each record of a kind by its folder's name, None where it has to be left out."""
    found: dict[str, Loaded | None] = {}
    for name in _subfolders(intake, kind):
        part = Intake(intake.folder)
        found[name] = read(part, name)
        intake.take_over(part)
        if f"{kind.folder}/{name}/{kind.record_file}" not in part.sources or part.refused_record:
            unreadable.add(f"{kind.folder}/{name}")
    _leave_out_second(intake, kind, found)
    return found
