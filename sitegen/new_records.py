"""A new campaign's folder, or new records in one that is there."""

import json
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from sitegen import starting
from sitegen.gathering_campaign import same_but_for_capitals
from sitegen.model.base import Identifier
from sitegen.model.campaign import CampaignRecord
from sitegen.model.frequency_lists import same_frequencies
from sitegen.model.mapping import GATHERED, GATHERED_LIST, MAPPING_FILE
from sitegen.problems import SitegenError
from sitegen.publish.starter import write_new
from sitegen.read.campaign import read_campaign_record
from sitegen.read.files import Intake
from sitegen.read.references import CAMPAIGN_FILE
from sitegen.read.touchstone import file_sweep
from sitegen.schemas_of_records import SCHEMA_FOLDER, every_schema

_TOUCHSTONE = re.compile(r"\.(ts|s\d+p)$", re.IGNORECASE)
_OF_A_CAMPAIGN = {
    *("calibrations", "verifications", "acceptances", "wafers", "notes", "note.md", "README.md"),
    *(GATHERED, GATHERED_LIST, MAPPING_FILE, SCHEMA_FOLDER),
}
"""What may lie in a folder before its campaign.toml does."""


class NotStarted(SitegenError):
    """Nothing was written, and why."""


@dataclass(frozen=True)
class Asked:
    """The records that are asked for, by their ids."""

    wafers: Sequence[str] = ()
    calibrations: Sequence[str] = ()
    verifications: Sequence[str] = ()
    method: str | None = None
    """Of the calibrations."""


@dataclass(frozen=True)
class Started:
    """What was written, as paths below the campaign's folder."""

    is_new: bool
    """Whether the campaign's own record was written too."""
    written: tuple[str, ...]
    kept: tuple[str, ...]
    """Was there already and is as it was."""


def start(folder: Path, asked: Asked) -> Started:
    """Write the records asked for, and where there is no campaign yet its own.

    Raises NotStarted for an id that is none or differs from another by capitals only, or a folder
    that holds something else; NotACampaign
    with the faults of a campaign.toml that cannot be read; OSError where writing fails.
    """
    for kind, names in (
        ("wafer", asked.wafers),
        ("calibration", asked.calibrations),
        ("verification", asked.verifications),
    ):
        _require_ids(names)
        _require_apart(folder, kind, names)
    is_new = not os.path.lexists(folder / CAMPAIGN_FILE)
    texts: dict[str, str] = {}
    if is_new:
        _require_room(folder)
        texts[CAMPAIGN_FILE] = starting.campaign_text(_name_of(folder))
        texts[MAPPING_FILE] = starting.mapping_text()
        campaign = starting.new_campaign(_name_of(folder))
    else:
        campaign = read_campaign_record(folder)
    texts |= _records(folder, campaign, asked)
    schemas = {
        f"{SCHEMA_FOLDER}/{name}": json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
        for name, schema in every_schema().items()
        if is_new or _is_named(name, texts)
    }
    written, kept = write_new(folder, {**texts, **schemas})
    return Started(is_new, _records_of(written), _records_of(kept))


def _records(folder: Path, campaign: CampaignRecord, asked: Asked) -> Mapping[str, str]:
    """The records asked for, by their paths."""
    texts = {
        f"wafers/{name}/wafer.toml": starting.wafer_text(name, campaign, None, None)
        for name in asked.wafers
    }
    for name in asked.calibrations:
        place = f"calibrations/{name}"
        files = touchstone_files(folder / place)
        shared = shared_by([f"{place}/{file}" for file in files], folder)
        texts[f"{place}/record.toml"] = starting.calibration_text(
            name, campaign, asked.method, files, shared
        )
    calibrations = sorted({*_folders(folder / "calibrations"), *asked.calibrations})
    for name in asked.verifications:
        place = f"verifications/{name}"
        texts[f"{place}/record.toml"] = starting.verification_text(
            name, campaign, calibrations, touchstone_files(folder / place)
        )
    return texts


def touchstone_files(folder: Path) -> tuple[str, ...]:
    """Names of the Touchstone files in a folder, sorted; none where it is not there."""
    if not folder.is_dir():
        return ()
    files = (one.name for one in folder.iterdir() if one.is_file())
    return tuple(sorted(name for name in files if _TOUCHSTONE.search(name)))


def shared_by(files: Sequence[str], folder: Path) -> Mapping[str, object]:
    """What all sweeps of a calibration have in common, by the keys of its record.

    Empty unless every file can be read and all have one frequency list and one impedance.
    """
    intake = Intake(folder)
    sweeps = []
    for file in files:
        content = intake.read(file)
        sweeps.append(None if content is None else file_sweep(intake, file, content))
    read = [sweep for sweep in sweeps if sweep is not None]
    if not read or len(read) < len(sweeps):
        return {}
    first = read[0]
    alike = (
        same_frequencies(one.frequency_hz, first.frequency_hz) and one.z_ref_ohm == first.z_ref_ohm
        for one in read
    )
    if not all(alike):
        return {}
    return {
        "reference_impedance_ohm": float(first.z_ref_ohm),
        "frequency_start_hz": float(first.frequency_hz[0]),
        "frequency_stop_hz": float(first.frequency_hz[-1]),
        "frequency_points": len(first.frequency_hz),
    }


def _folders(folder: Path) -> tuple[str, ...]:
    return tuple(one.name for one in folder.iterdir() if one.is_dir()) if folder.is_dir() else ()


def _is_named(schema: str, texts: Mapping[str, str]) -> bool:
    """Whether a new record begins with the name of this schema."""
    return any(text.partition("\n")[0].endswith(f"/{schema}") for text in texts.values())


def _records_of(paths: Sequence[str]) -> tuple[str, ...]:
    return tuple(path for path in paths if not path.startswith(SCHEMA_FOLDER))


def _name_of(folder: Path) -> str:
    """The folder's own name, whatever path leads to it."""
    return folder.resolve().name.encode("utf-8", "replace").decode("utf-8")


def _require_ids(names: Sequence[str]) -> None:
    for name in names:
        try:
            TypeAdapter(Identifier).validate_python(name)
        except ValidationError as refusal:
            raise NotStarted(
                f'"{name}" is no id: it may have letters, digits, ".", "_", "+" and "-", begins'
                " with a letter or a digit and does not end with a full stop. Choose another one."
            ) from refusal


def _require_apart(folder: Path, kind: str, names: Sequence[str]) -> None:
    """Ids that differ by capitals only are one folder on some systems, and one to most people."""
    spelled: dict[str, str] = {}
    for name in names:
        other: str | None = spelled.setdefault(name.casefold(), name)
        if other != name:
            raise NotStarted(
                f'The {kind}s "{other}" and "{name}" differ by capitals only. Choose another id for'
                " one of them."
            )
        other = same_but_for_capitals(folder, kind, name)
        if other is not None:
            raise NotStarted(
                f'"{name}" differs by capitals only from {kind}s/{other}, which the campaign has.'
                " Choose another id."
            )


def _require_room(folder: Path) -> None:
    """A new campaign needs a folder that is not there, empty, or holds parts of a campaign only."""
    if not os.path.lexists(folder):
        return
    if not folder.is_dir():
        raise NotStarted(f"{folder} is a file. Choose a folder.")
    other = sorted(
        one.name
        for one in folder.iterdir()
        if one.name not in _OF_A_CAMPAIGN and not one.name.startswith(".")
    )
    if other:
        raise NotStarted(
            f'{folder} holds "{other[0]}", which is no part of a campaign. Choose another folder,'
            " or move it away."
        )
