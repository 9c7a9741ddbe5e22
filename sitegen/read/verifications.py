"""verifications/ID/record.toml with its sweeps and measured references."""

from collections.abc import Mapping, Sequence

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Station
from sitegen.model.frequency_lists import same_frequencies
from sitegen.model.loaded import LoadedStructure, LoadedVerification, Sweep
from sitegen.model.verification import MeasuredReference, Structure, VerificationRecord
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.frequencies import tell_other_frequencies
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
from sitegen.read.touchstone import read_touchstone
from sitegen.read.words import quoted


def read_verification(
    intake: Intake,
    name: str,
    stations: Sequence[Station] | None,
    calibrations: Mapping[str, CalibrationRecord | None],
) -> LoadedVerification | None:
    """The verification in the folder verifications/`name`, or None and its faults.

    `stations` is None when campaign.toml could not be read. `calibrations` has None for each
    calibration whose own record could not be read.
    """
    file = f"verifications/{name}/record.toml"
    record = read_record(intake, file, VerificationRecord, "the record of a verification")
    note = note_beside(intake, file, f"verification {name}")
    if record is None:
        return None
    check_folder_name(intake, file, record.id, name)
    check_unique(intake, file, "structures", [structure.id for structure in record.structures])
    calibration = _calibration(intake, file, record, calibrations)
    missing: list[str] = []
    structures = tuple(
        _structure(intake, file, number, structure, calibration, missing)
        for number, structure in enumerate(record.structures, 1)
    )
    if stations is None:
        return None
    station = station_of(intake, file, record.station, stations)
    if station is None:
        return None
    check_state(intake, file, "state", record.state, station)
    if not has_instrument(intake, file, "instrument", record.instrument, station):
        return None
    return LoadedVerification(
        record=record,
        structures=structures,
        missing=tuple(missing),
        note=note,
        sources=tuple(intake.sources[path] for path in sorted(intake.sources)),
    )


def _calibration(
    intake: Intake,
    file: str,
    record: VerificationRecord,
    calibrations: Mapping[str, CalibrationRecord | None],
) -> CalibrationRecord | None:
    """The calibration that is verified; it must be there and be one of the same station."""
    remedy = "Correct the id, or add that calibration's folder."
    if not is_known(
        intake, file, "calibration", record.calibration, calibrations, "calibration", remedy
    ):
        return None
    calibration = calibrations[record.calibration]
    if calibration is not None and calibration.station != record.station:
        intake.tell(
            file,
            "station",
            found=quoted(record.station),
            expected=f"{quoted(calibration.station)}, the station of {calibration.id}",
            remedy="Correct the station, or name a calibration of this station.",
        )
    return calibration


def _structure(
    intake: Intake,
    file: str,
    number: int,
    structure: Structure,
    calibration: CalibrationRecord | None,
    missing: list[str],
) -> LoadedStructure:
    """A structure with its sweep and, where measured, its reference of the same frequencies."""
    ports = _ports(structure, calibration)
    z_ref_ohm = None if calibration is None else calibration.reference_impedance_ohm
    place = f"structures[{number}]"
    named = f"(id {quoted(structure.id)})"
    path = beside(file, structure.file)
    asked = Asked(file, f"{place}.file {named}")
    sweep = read_touchstone(intake, path, asked, ports, z_ref_ohm)
    if sweep is None:
        missing.append(f"the sweep {path} could not be read")
    reference: Sweep | None = None
    if isinstance(structure.reference, MeasuredReference):
        path = beside(file, structure.reference.file)
        asked = Asked(file, f"{place}.reference.file {named}")
        same_ports = ports if sweep is None else [sweep.s.shape[1]]
        reference = read_touchstone(intake, path, asked, same_ports, z_ref_ohm)
        if (
            reference is not None
            and sweep is not None
            and not same_frequencies(reference.frequency_hz, sweep.frequency_hz)
        ):
            tell_other_frequencies(
                intake, reference, sweep.frequency_hz, f"the structure's sweep {sweep.file}"
            )
            reference = None
        if reference is None:
            missing.append(f"the reference {path} could not be read")
    return LoadedStructure(structure, sweep, reference)


def _ports(structure: Structure, calibration: CalibrationRecord | None) -> list[int]:
    """The numbers of ports that a structure's sweep may have: those of its masks and model, at
    most those that were calibrated."""
    needs_two = structure.reference.kind in {"line", "attenuator"} or any(
        mask.parameter != "s11" for mask in structure.masks
    )
    if needs_two:
        return [2]
    return [1] if calibration is not None and len(calibration.ports) == 1 else [1, 2]
