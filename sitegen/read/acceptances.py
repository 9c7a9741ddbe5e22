"""acceptances/ID/record.toml: an acceptance and the two verifications that it rests on."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from sitegen.model.acceptance import AcceptanceRecord, DeclaredPerformance, SiteDifference
from sitegen.model.campaign import Station
from sitegen.model.frequency_lists import same_frequencies
from sitegen.model.loaded import LoadedAcceptance, LoadedVerification, Sweep
from sitegen.read.files import Intake
from sitegen.read.frequencies import span, tell_other_frequencies
from sitegen.read.notes import note_beside
from sitegen.read.references import check_folder_name, is_known, station_of
from sitegen.read.structures import inside_mask, tell_outside_mask
from sitegen.read.toml_file import read_record
from sitegen.read.words import choices, frequency, quoted

Places = tuple[LoadedVerification, ...]
"""The factory's verification and the site's, as far as they could be found."""


class Shown(NamedTuple):
    """What both places must have measured, and the key that asks for the parameter."""

    structure: str
    parameter: str
    key: str


def read_acceptance(
    intake: Intake,
    name: str,
    stations: Sequence[Station] | None,
    verifications: Mapping[str, LoadedVerification | None],
) -> LoadedAcceptance | None:
    """The acceptance in the folder acceptances/`name`, or None and its faults.

    `stations` is None when campaign.toml could not be read. `verifications` are all that were
    found, by id; None for each whose own record could not be read.
    """
    file = f"acceptances/{name}/record.toml"
    record = read_record(intake, file, AcceptanceRecord, "the record of an acceptance")
    note = note_beside(intake, file, f"acceptance {name}")
    if record is None:
        return None
    check_folder_name(intake, file, record.id, name)
    placed = stations is not None and station_of(intake, file, record.station, stations) is not None
    places = _places(intake, file, record, verifications, placed)
    if not record.performance and not record.differences:
        intake.tell(
            file,
            "performance",
            found="neither performance nor differences",
            expected="at least one declared figure or one structure to compare",
            remedy="Add [[performance]] or [[differences]]: by nothing nothing is accepted.",
        )
    for number, declared in enumerate(record.performance, 1):
        _check_performance(intake, file, f"performance[{number}]", declared, places)
    for number, one in enumerate(record.differences, 1):
        _check_difference(intake, file, f"differences[{number}]", one, places)
    if not placed:
        return None
    return LoadedAcceptance(
        record=record,
        note=note,
        sources=tuple(intake.sources[path] for path in sorted(intake.sources)),
    )


def _places(
    intake: Intake,
    file: str,
    record: AcceptanceRecord,
    verifications: Mapping[str, LoadedVerification | None],
    placed: bool,
) -> Places:
    """Factory's and site's verification; both must be there, of this station, and two."""
    found: list[LoadedVerification] = []
    for key, name in (("factory", record.factory), ("site", record.site)):
        remedy = "Correct the id, or add that verification's folder."
        if not is_known(intake, file, key, name, verifications, "verification", remedy):
            continue
        loaded = verifications[name]
        if loaded is None:
            continue
        found.append(loaded)
        if placed and loaded.record.station != record.station:
            intake.tell(
                file,
                key,
                found=f"{quoted(name)}, made on station {quoted(loaded.record.station)}",
                expected=f"a verification of station {quoted(record.station)}",
                remedy="Correct the station, or name a verification of this station.",
            )
    if record.factory == record.site:
        intake.tell(
            file,
            "site",
            found=f"{quoted(record.site)}, which is the factory's as well",
            expected="another verification, made where the system stands",
            remedy="Name the verification that was made on site.",
        )
    return tuple(found)


def _check_performance(
    intake: Intake, file: str, place: str, declared: DeclaredPerformance, places: Places
) -> None:
    """A declared figure must be one that the structure's sweeps can show."""
    start, stop = declared.frequency_start_hz, declared.frequency_stop_hz
    asked = Shown(declared.structure, declared.parameter, "parameter")
    for sweep in _sweeps(intake, file, place, asked, places):
        if not ((sweep.frequency_hz >= start) & (sweep.frequency_hz <= stop)).any():
            intake.tell(
                file,
                f"{place}.frequency_start_hz",
                found=f"{frequency(start)} to {frequency(stop)}, where {sweep.file} has no"
                " frequency",
                expected=f"a range with frequencies of it, {span(sweep.frequency_hz)}",
                remedy="Correct the range, or take the sweep again over it.",
            )
            return


def _check_difference(
    intake: Intake, file: str, place: str, one: SiteDifference, places: Places
) -> None:
    """Both sweeps of a structure must have the mask's frequencies and one frequency list."""
    asked = Shown(one.structure, one.mask.parameter, "mask.parameter")
    sweeps = _sweeps(intake, file, place, asked, places)
    for sweep in sweeps[:1]:
        if not inside_mask(one.mask, sweep.frequency_hz):
            tell_outside_mask(intake, file, f"{place}.mask", one.mask, sweep)
    if len(sweeps) == 2 and not same_frequencies(sweeps[0].frequency_hz, sweeps[1].frequency_hz):
        factory, site = sweeps
        tell_other_frequencies(
            intake, site, factory.frequency_hz, f"the factory's sweep {factory.file}"
        )


def _sweeps(
    intake: Intake, file: str, place: str, asked: Shown, places: Places
) -> tuple[Sweep, ...]:
    """The structure's sweeps that have the parameter, the factory's first; a fault where a
    verification has no such structure, or its sweep no such parameter."""
    known = [{one.structure.id: one.sweep for one in loaded.structures} for loaded in places]
    lacking = [
        loaded.record.id
        for loaded, structures in zip(places, known, strict=True)
        if asked.structure not in structures
    ]
    if lacking:
        shared = set.intersection(*(set(structures) for structures in known))
        intake.tell(
            file,
            f"{place}.structure",
            found=f"the structure {quoted(asked.structure)}, which {' and '.join(lacking)} did not"
            " measure",
            expected=choices(sorted(shared)),
            remedy="Correct the id, or measure it at both places.",
        )
        return ()
    sweeps = [structures[asked.structure] for structures in known]
    found = [sweep for sweep in sweeps if sweep is not None]
    lacking = [sweep.file for sweep in found if asked.parameter != "s11" and sweep.s.shape[-1] == 1]
    if lacking:
        intake.tell(
            file,
            f"{place}.{asked.key}",
            found=f"{quoted(asked.parameter)}, where {lacking[0]} has 1 port",
            expected='"s11"',
            remedy="Correct the parameter, or take the structure's sweep with both ports.",
        )
        return ()
    return tuple(found)
