"""Stations and their events as the tables of the campaign's page."""

from collections.abc import Callable, Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Station
from sitegen.model.event_results import (
    AcceptanceResult,
    CalibrationResult,
    VerificationResult,
)
from sitegen.model.results import CalibrationUse, CampaignResults
from sitegen.render import acceptance_sentences, verification_sentences
from sitegen.render.cells import count_cell
from sitegen.render.kinds import asks_for_calibrations
from sitegen.render.marks import marked
from sitegen.render.phrases import frequency, link, plain, time_tag
from sitegen.render.pieces import Cell, Column, Row, Table, Text

VALUE_COLUMNS = (
    Column("Values standing", True),
    Column("Of these not closed", True),
    Column("Values without standing", True),
)


def stations(results: CampaignResults) -> Table:
    """Each station with where it stands and the last of its evidence, where any is asked for."""
    asked = asks_for_calibrations(results)
    return Table(
        id="stations",
        caption="What stands where, each station with the last calibration and verification"
        if asked
        else "What stands where",
        columns=(
            Column("Station"),
            Column("Place"),
            *((Column("Accepted by"),) if results.acceptances else ()),
            *((Column("Last calibration"), Column("Last verification")) if asked else ()),
        ),
        rows=tuple(_station_row(each, results, asked) for each in results.context.record.stations),
        wide=True,
    )


def _station_row(station: Station, results: CampaignResults, asked: bool) -> Row:
    accepted = acceptance_sentences.accepted_by(station.id, results.acceptances, addresses.HOME)
    last = (
        Cell(_last(station.id, results.calibrations, addresses.calibration)),
        Cell(_last(station.id, results.verifications, addresses.verification)),
    )
    return Row(
        Cell(link(station.name, addresses.station(station.id)), station.name),
        (
            Cell(station.place),
            *((Cell(accepted),) if results.acceptances else ()),
            *(last if asked else ()),
        ),
    )


def _last(
    station: str,
    events: Sequence[CalibrationResult] | Sequence[VerificationResult],
    address: Callable[[str], str],
) -> Text:
    """The last event of a station with its outcome and its time."""
    mine = [each for each in events if each.record.station == station]
    if not mine:
        return units.MISSING
    last = max(mine, key=lambda each: each.made_at)
    return Markup("{} {}, {}").format(
        link(last.record.id, address(last.record.id)), marked(last.outcome), time_tag(last.made_at)
    )


def acceptances(results: CampaignResults) -> Table | None:
    """Every acceptance with what it compares; None where the record holds none."""
    if not results.acceptances:
        return None
    return Table(
        id="acceptances",
        caption="Acceptances: what was shown where a system was built, against where it stands",
        columns=(
            Column("Acceptance"),
            Column("Title"),
            Column("Station"),
            Column("Outcome"),
            Column("Factory"),
            Column("Site"),
            Column("Record closed"),
        ),
        rows=tuple(_acceptance_row(each) for each in results.acceptances),
        wide=True,
    )


def _acceptance_row(each: AcceptanceResult) -> Row:
    record = each.record
    return Row(
        Cell(link(record.id, addresses.acceptance(record.id))),
        (
            Cell(record.title),
            Cell(link(record.station, addresses.station(record.station))),
            Cell(marked(acceptance_sentences.ACCEPTED[each.outcome])),
            Cell(record.factory_place),
            Cell(record.site_place),
            Cell(time_tag(record.at)),
        ),
    )


def calibrations(results: CampaignResults) -> Table:
    """Every calibration with its outcome, the values that stand on it and those that were lost.

    Nothing is said of values where no wafer was measured.
    """
    values = bool(results.wafers)

    def row(each: CalibrationResult) -> Row:
        use = results.uses[each.record.id]
        counts = (use.values_standing, use.values_not_closed, use.values_lost) if values else ()
        return Row(
            Cell(link(each.record.id, addresses.calibration(each.record.id))),
            (
                Cell(each.record.method),
                Cell(link(each.record.station, addresses.station(each.record.station))),
                Cell(time_tag(each.made_at)),
                Cell(time_tag(each.expires_at)),
                Cell(marked(each.outcome)),
                *(count_cell(count) for count in counts),
                Cell(_stand_until(use)),
            ),
        )

    return Table(
        id="calibrations",
        caption="Calibrations in the order of their identities, outcome by their own checks. A"
        " failed verification ends what stands on one before its validity does.",
        columns=(
            Column("Calibration"),
            Column("Method"),
            Column("Station"),
            Column("Made"),
            Column("Validity until"),
            Column("Outcome"),
            *(VALUE_COLUMNS if values else ()),
            Column("Stand until"),
        ),
        rows=tuple(row(each) for each in results.calibrations),
        empty="The record holds no calibration.",
    )


def _stand_until(use: CalibrationUse) -> Markup:
    """When values ceased to stand because a verification failed; its name and the time."""
    if not use.failed_by:
        return Markup(units.MISSING)
    failed = link(use.failed_by, addresses.verification(use.failed_by))
    until = Markup("none passed") if use.stands_until is None else time_tag(use.stands_until)
    return Markup("{} ({} failed)").format(until, failed)


def verifications(results: CampaignResults) -> Table:
    """Every verification with its verdict and its worst point."""
    return Table(
        id="verifications",
        caption="Verifications with structures that took no part in the calibration",
        columns=(
            Column("Verification"),
            Column("Calibration"),
            Column("Made"),
            Column("Outcome"),
            Column("Worst structure"),
            Column("S-parameter"),
            Column("At", True),
            Column("Share of its mask", True),
        ),
        rows=tuple(
            Row(
                Cell(link(each.record.id, addresses.verification(each.record.id))),
                (
                    Cell(_calibration_link(results, each.record.calibration)),
                    Cell(time_tag(each.made_at)),
                    Cell(marked(each.outcome)),
                    *_worst_cells(each),
                ),
            )
            for each in results.verifications
        ),
        empty="The record holds no verification.",
        wide=True,
    )


def _worst_cells(result: VerificationResult) -> tuple[Cell, ...]:
    worst = verification_sentences.worst_point(result)
    if worst is None:
        nothing = Cell(units.MISSING)
        return (Cell(result.reason or units.MISSING), nothing, nothing, nothing)
    return (
        Cell(worst.structure),
        Cell(worst.parameter),
        Cell(frequency(worst.frequency_hz), plain(worst.frequency_hz), True),
        Cell(verification_sentences.ratio_text(worst.ratio), plain(worst.ratio), True),
    )


def _calibration_link(results: CampaignResults, name: str) -> Markup:
    if name in results.context.calibrations:
        return link(name, addresses.calibration(name))
    return Markup("{}").format(name)
