"""The system at the two places of an acceptance, side by side."""

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Station
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.results import CampaignResults
from sitegen.render.marks import marked
from sitegen.render.phrases import day, frequency, link, number_of, stated, time_tag
from sitegen.render.pieces import Cell, Column, Row, Table, Text
from sitegen.render.states import state_facts

NOT_COMPARED = {
    *("Place", "Verification", "Verified", "By", "Ambient", "Contact substrate"),
    *("Calibration", "Calibrated", "Verdict", "Outcome of the calibration", "Set of standards"),
}
"""What both places need not share."""


@dataclass(frozen=True)
class Place:
    """One of the two places: its verification and the calibration behind that."""

    verification_id: str
    name: str
    verification: VerificationResult | None
    """None where the record has none of that id."""
    calibration: CalibrationResult | None

    def phrase(self, page: str) -> Markup:
        """'verification VER-1 on 2026-03-02'."""
        named = _verification_link(self, page)
        if self.verification is None:
            return Markup("verification {}, which is not in the record").format(named)
        return Markup("verification {} on {}").format(named, day(self.verification.made_at.date()))


def place(verification_id: str, name: str, results: CampaignResults) -> Place:
    """The place where a verification was made."""
    verification = next(
        (one for one in results.verifications if one.record.id == verification_id), None
    )
    calibration = None
    if verification is not None:
        wanted = verification.record.calibration
        calibration = next((one for one in results.calibrations if one.record.id == wanted), None)
    return Place(verification_id, name, verification, calibration)


def side_by_side(factory: Place, site: Place, station: Station, page: str) -> Table:
    """What the system was at both places, one row a fact."""
    one, other = _told(factory, station, page), _told(site, station, page)
    return Table(
        id="places",
        caption="The system at both places; what both should share is compared",
        columns=(Column("What"), Column("Factory"), Column("Site"), Column("Compared")),
        rows=tuple(
            Row(
                Cell(what),
                (
                    Cell(one.get(what, units.MISSING)),
                    Cell(other.get(what, units.MISSING)),
                    Cell(_compared(what, one, other)),
                ),
            )
            for what in {**one, **other}
        ),
        wide=True,
    )


def _compared(what: str, one: Mapping[str, Text], other: Mapping[str, Text]) -> Text:
    if what in NOT_COMPARED or what not in one or what not in other:
        return units.MISSING
    return "same" if one[what] == other[what] else Markup("<strong>differs</strong>")


def _told(where: Place, station: Station, page: str) -> Mapping[str, Text]:
    """What is known of a place, by what it is called."""
    told: dict[str, Text] = {"Place": where.name, "Verification": _verification_link(where, page)}
    if where.verification is not None:
        told |= _verification(where.verification, station)
        told["Calibration"] = _calibration_link(where, where.verification, page)
    if where.calibration is not None:
        told |= _calibration(where.calibration)
    if where.verification is not None:
        state = state_facts(where.verification.record.state)
        told |= {str(fact.term): fact.text for fact in state}
    return told


def _verification(result: VerificationResult, station: Station) -> Mapping[str, Text]:
    record = result.record
    model = {
        one.id: f"{one.id}, {one.model}, serial number {one.serial_number}"
        for one in station.instruments
    }
    return {
        "Verdict": marked(result.outcome),
        "Verified": time_tag(result.made_at),
        "By": record.by,
        "Instrument": model.get(record.instrument, record.instrument),
        "Ambient": stated(record.ambient_c, "°C"),
        "Contact substrate": units.MISSING
        if record.substrate_c is None
        else stated(record.substrate_c, "°C"),
    }


def _calibration(result: CalibrationResult) -> Mapping[str, Text]:
    record = result.record
    return {
        "Calibrated": time_tag(result.made_at),
        "Outcome of the calibration": marked(result.outcome),
        "Method": record.method,
        "Reference impedance": stated(record.reference_impedance_ohm, "Ω"),
        "Reference plane": record.reference_plane,
        "Set of standards": f"{record.substrate.serial_number}, {record.substrate.standard_set}",
        "Definitions": f"{record.substrate.definitions_source}, version"
        f" {record.substrate.definitions_version}",
        "Frequencies": f"{number_of(record.frequency_points)} from"
        f" {frequency(record.frequency_start_hz)} to {frequency(record.frequency_stop_hz)}",
    }


def _verification_link(where: Place, page: str) -> Markup:
    name = where.verification_id
    if where.verification is None:
        return Markup("{}").format(name)
    return link(name, addresses.relative(addresses.verification(name), page))


def _calibration_link(where: Place, verification: VerificationResult, page: str) -> Markup:
    name = verification.record.calibration
    if where.calibration is None:
        return Markup("{}").format(name)
    return link(name, addresses.relative(addresses.calibration(name), page))
