"""calibrations/ID/record.toml with its raw sweeps, switch terms and reported terms."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.calibration import CalibrationRecord, RawSweep
from sitegen.model.campaign import Station
from sitegen.model.frequency_lists import FREQUENCY_TOLERANCE, same_frequencies
from sitegen.model.loaded import LoadedCalibration, LoadedStandard, Sweep
from sitegen.read.calibration_methods import check_method, check_probe_use
from sitegen.read.copies import tell_copies
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.frequencies import (
    span,
    tell_other_frequencies,
)
from sitegen.read.notes import note_beside
from sitegen.read.references import (
    check_folder_name,
    check_state,
    has_instrument,
    station_of,
)
from sitegen.read.reported_terms import read_reported_terms
from sitegen.read.toml_file import read_record
from sitegen.read.touchstone import read_touchstone
from sitegen.read.words import counted, frequency

Opener = Callable[[str, str, Sequence[int]], Sweep | None]
"""From a file's name beside the record, the key that names it and its ports to its sweep."""


def read_calibration(
    intake: Intake, name: str, stations: Sequence[Station] | None
) -> LoadedCalibration | None:
    """The calibration in the folder calibrations/`name`, or None and its faults.

    `stations` is None when campaign.toml could not be read: then names of the station's parts
    cannot be checked, and nothing is returned.
    """
    file = f"calibrations/{name}/record.toml"
    record = read_record(intake, file, CalibrationRecord, "the record of a calibration")
    note = note_beside(intake, file, f"calibration {name}")
    if record is None:
        return None
    check_folder_name(intake, file, record.id, name)
    missing: list[str] = []
    check_method(intake, file, record, missing)
    standards = _standards(record, _opener(intake, file, record), missing)
    missing.extend(tell_copies(intake, file, _named(record)))
    standards = _of_one_list(intake, file, record, standards, missing)
    frequency_hz = standards[0].sweep.frequency_hz if standards else np.empty(0)
    forward, reverse = _switch_terms(intake, file, record, missing, frequency_hz)
    reported: Mapping[str, ComplexArray] | None = None
    if record.reported_terms is not None:
        path = beside(file, record.reported_terms)
        reported = read_reported_terms(intake, path, Asked(file, "reported_terms"), frequency_hz)
    if stations is None or not _is_placed(intake, file, record, stations):
        return None
    return LoadedCalibration(
        record=record,
        standards=standards,
        switch_forward=forward,
        switch_reverse=reverse,
        reported_terms=reported,
        missing=tuple(missing),
        note=note,
        sources=tuple(intake.sources[path] for path in sorted(intake.sources)),
    )


def _is_placed(
    intake: Intake, file: str, record: CalibrationRecord, stations: Sequence[Station]
) -> bool:
    """Whether the record's station and instrument are known; its parts are checked as well."""
    station = station_of(intake, file, record.station, stations)
    if station is None:
        return False
    check_state(intake, file, "state", record.state, station)
    check_probe_use(intake, file, record, station)
    return has_instrument(intake, file, "instrument", record.instrument, station)


def _opener(intake: Intake, file: str, record: CalibrationRecord) -> Opener:
    """Reads the sweeps of the record."""

    def open_sweep(name: str, place: str, ports: Sequence[int]) -> Sweep | None:
        path = beside(file, name)
        asked = Asked(file, place)
        return read_touchstone(intake, path, asked, ports, record.reference_impedance_ohm)

    return open_sweep


def _standards(
    record: CalibrationRecord, open_sweep: Opener, missing: list[str]
) -> tuple[LoadedStandard, ...]:
    """Every sweep of the record that could be read, with its repeats.

    Without a sweep the calibration is not whole; without a repeat only its repeatability is less.
    """
    standards: list[LoadedStandard] = []
    for number, contact in enumerate(record.sweeps, 1):
        ports = _ports_of(record, contact)
        sweep = open_sweep(contact.file, f"sweeps[{number}].file", ports)
        alike = ports if sweep is None else [sweep.s.shape[-1]]
        opened = (
            open_sweep(name, f"sweeps[{number}].repeats[{position}]", alike)
            for position, name in enumerate(contact.repeats, 1)
        )
        repeats = tuple(one for one in opened if one is not None)
        if sweep is None:
            missing.append(f"the raw sweep {contact.file} could not be read")
        else:
            standards.append(LoadedStandard(contact, sweep, repeats))
    return tuple(standards)


def _named(record: CalibrationRecord) -> list[tuple[str, str]]:
    """Each raw sweep and each repeat: the key that names it, and its file."""
    return [
        (f"sweeps[{number}].{key}", name)
        for number, contact in enumerate(record.sweeps, 1)
        for key, name in (
            ("file", contact.file),
            *((f"repeats[{at}]", repeat) for at, repeat in enumerate(contact.repeats, 1)),
        )
    ]


def _ports_of(record: CalibrationRecord, contact: RawSweep) -> list[int]:
    """The ports that a file may have: one is enough where only one port is contacted."""
    one_alone = contact.between is None and None in (contact.port_1, contact.port_2)
    return sorted({len(record.ports), 1}) if one_alone else [len(record.ports)]


def _switch_terms(
    intake: Intake,
    file: str,
    record: CalibrationRecord,
    missing: list[str],
    frequency_hz: FloatArray,
) -> tuple[ComplexArray | None, ComplexArray | None]:
    """Forward and reverse switch terms, shape (n_freq,) each; None where not taken."""
    if record.switch_terms is None:
        return None, None
    terms: list[ComplexArray | None] = []
    for key in ("forward", "reverse"):
        path = beside(file, getattr(record.switch_terms, key))
        sweep = read_touchstone(intake, path, Asked(file, f"switch_terms.{key}"), [1], None)
        if sweep is not None and not same_frequencies(sweep.frequency_hz, frequency_hz):
            if len(frequency_hz):
                tell_other_frequencies(intake, sweep, frequency_hz, "the raw sweeps")
            sweep = None
        terms.append(None if sweep is None else sweep.s[:, 0, 0])
    if terms[0] is None or terms[1] is None:
        missing.append("its switch terms could not be read")
        return None, None
    return terms[0], terms[1]


def _of_one_list(
    intake: Intake,
    file: str,
    record: CalibrationRecord,
    standards: tuple[LoadedStandard, ...],
    missing: list[str],
) -> tuple[LoadedStandard, ...]:
    """The standards whose sweeps have the frequency list that the record states.

    Where no sweep has it, the record is told to be wrong and the first sweep's list holds.
    """
    sweeps = [s for standard in standards for s in (standard.sweep, *standard.repeats)]
    if not sweeps:
        return standards
    fitting = [sweep for sweep in sweeps if _spans(record, sweep)]
    usual = (fitting or sweeps)[0].frequency_hz
    if not fitting:
        intake.tell(
            file,
            "frequency_points",
            found=_stated(record),
            expected=f"{span(usual)}, as in {sweeps[0].file}",
            remedy="Correct the record's frequencies, or put the right sweeps beside it.",
        )
        missing.append("its record states other frequencies than its raw sweeps have")
    other = [sweep for sweep in sweeps if not same_frequencies(sweep.frequency_hz, usual)]
    needed = {standard.sweep.file for standard in standards}
    for sweep in other:
        tell_other_frequencies(intake, sweep, usual, "the record and its other sweeps")
        if sweep.file in needed:
            missing.append(f"the raw sweep {sweep.file} has other frequencies than the record")
    left_out = {sweep.file for sweep in other}
    return tuple(
        replace(standard, repeats=tuple(r for r in standard.repeats if r.file not in left_out))
        for standard in standards
        if standard.sweep.file not in left_out
    )


def _spans(record: CalibrationRecord, sweep: Sweep) -> bool:
    ends = (record.frequency_start_hz, record.frequency_stop_hz)
    found = (sweep.frequency_hz[0], sweep.frequency_hz[-1])
    return len(sweep.frequency_hz) == record.frequency_points and bool(
        np.allclose(found, ends, rtol=FREQUENCY_TOLERANCE, atol=0.0)
    )


def _stated(record: CalibrationRecord) -> str:
    points = counted(record.frequency_points, "point")
    start, stop = frequency(record.frequency_start_hz), frequency(record.frequency_stop_hz)
    return f"{points} from {start} to {stop}"
