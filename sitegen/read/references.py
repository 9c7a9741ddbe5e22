"""Names that point from one record to another: each must lead somewhere, and only once."""

from collections.abc import Iterable, Sequence

from sitegen.model.campaign import Station
from sitegen.model.station_state import StationState
from sitegen.read.files import Intake
from sitegen.read.likely_names import slip_of
from sitegen.read.words import choices, correction, nearest, quoted

CAMPAIGN_FILE = "campaign.toml"


def is_known(
    intake: Intake, file: str, place: str, name: str, known: Iterable[str], what: str, remedy: str
) -> bool:
    """Whether a name is declared; a fault when it is not. `what` is the kind of thing it names."""
    names = sorted(known)
    if name in names:
        return True
    intake.tell(
        file,
        place,
        found=f"the unknown {what} {quoted(name)}{slip_of(name, names)}",
        expected=choices(names),
        remedy=correction(name, names, remedy),
    )
    return False


def check_unique(intake: Intake, file: str, place: str, names: Sequence[str]) -> None:
    """Each name once, capitals aside: they become addresses, and some file systems fold case."""
    first: dict[str, int] = {}
    for number, name in enumerate(names, 1):
        earlier = first.setdefault(name.lower(), number)
        if earlier != number:
            intake.tell(
                file,
                f"{place}[{number}].id",
                found=f"the id {quoted(name)}, which entry {earlier} has already",
                expected="ids that differ by more than capitals",
                remedy="Give one of the two another id.",
            )


def tell_unknown_unit(intake: Intake, file: str, place: str, unit: str) -> None:
    """The fault for a unit that the program does not know."""
    intake.tell(
        file,
        place,
        found=f"the unknown unit {quoted(unit)}",
        expected="a unit from the list of the reference, such as V, mA, kΩ, pF or 1",
        remedy="Write the unit as the list has it; capitals and prefixes matter.",
    )


def check_state(
    intake: Intake, file: str, place: str, state: StationState, station: Station
) -> None:
    """Probes, cables, switch path and bias tees of a state must be parts of its station."""
    switch_paths = (state.switch_path,) if state.switch_path is not None else ()
    wanted: tuple[tuple[str, str, Sequence[str], Iterable[str]], ...] = (
        ("probes", "probe", state.probes, (probe.id for probe in station.probes)),
        ("cables", "cable", state.cables, (part.id for part in station.cables)),
        ("switch_path", "switch path", switch_paths, (part.id for part in station.switch_paths)),
        ("bias_tees", "bias tee", state.bias_tees, (part.id for part in station.bias_tees)),
    )
    for key, what, names, known in wanted:
        listed = tuple(known)
        for name in names:
            remedy = f"Declare it in campaign.toml, at station {quoted(station.id)}."
            is_known(intake, file, f"{place}.{key}", name, listed, what, remedy)


def station_of(
    intake: Intake, file: str, station_id: str, stations: Sequence[Station]
) -> Station | None:
    """The station that a record names, or None and a fault; without it the record is left out."""
    known = [station.id for station in stations]
    remedy = "Declare it in campaign.toml; until then this record is left out."
    if is_known(intake, file, "station", station_id, known, "station", remedy):
        return next(station for station in stations if station.id == station_id)
    return None


def has_instrument(
    intake: Intake, file: str, place: str, instrument_id: str, station: Station
) -> bool:
    """Whether a station has the instrument that a record names; a fault when not."""
    known = [instrument.id for instrument in station.instruments]
    remedy = f"Declare it at station {quoted(station.id)}; until then this record is left out."
    return is_known(intake, file, place, instrument_id, known, "instrument", remedy)


def check_folder_name(intake: Intake, file: str, record_id: str, folder_name: str) -> None:
    """A record's id must be its folder's name."""
    if record_id == folder_name:
        return
    close = nearest(record_id, [folder_name])
    intake.tell(
        file,
        "id",
        found=quoted(record_id) + slip_of(record_id, [folder_name]),
        expected=f"{quoted(folder_name)}, the name of its folder",
        remedy="Correct the id." if close else "Correct the id, or rename the folder.",
    )
