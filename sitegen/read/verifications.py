"""verifications/ID/record.toml with its sweeps and measured references."""

from collections.abc import Mapping, Sequence

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Station
from sitegen.model.loaded import LoadedVerification
from sitegen.model.verification import VerificationRecord
from sitegen.read.files import Intake
from sitegen.read.notes import note_beside
from sitegen.read.references import (
    check_folder_name,
    check_state,
    check_unique,
    has_instrument,
    is_known,
    station_of,
)
from sitegen.read.structures import read_structure
from sitegen.read.toml_file import read_record
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
        read_structure(intake, file, number, structure, calibration, missing)
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
