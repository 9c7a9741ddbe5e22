"""Calibrations and verifications as the tables of the campaign's page."""

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.results import CalibrationUse, CampaignResults
from sitegen.render import event_sentences
from sitegen.render.marks import marked
from sitegen.render.phrases import frequency, link, number_of, plain, time_tag
from sitegen.render.pieces import Cell, Column, Row, Table


def calibrations(results: CampaignResults) -> Table:
    """Every calibration with its outcome, the values that stand on it and those that were lost."""

    def row(each: CalibrationResult) -> Row:
        use = results.uses[each.record.id]
        counts = (use.values_standing, use.values_not_closed, use.values_lost)
        return Row(
            Cell(link(each.record.id, addresses.calibration(each.record.id))),
            (
                Cell(each.record.method),
                Cell(link(each.record.station, addresses.station(each.record.station))),
                Cell(time_tag(each.made_at)),
                Cell(time_tag(each.expires_at)),
                Cell(marked(each.outcome)),
                *(Cell(number_of(count), str(count), True) for count in counts),
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
            Column("Values standing", True),
            Column("Of these not closed", True),
            Column("Values without standing", True),
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
    worst = event_sentences.worst_point(result)
    if worst is None:
        nothing = Cell(units.MISSING)
        return (Cell(result.reason or units.MISSING), nothing, nothing, nothing)
    return (
        Cell(worst.structure),
        Cell(worst.parameter),
        Cell(frequency(worst.frequency_hz), plain(worst.frequency_hz), True),
        Cell(event_sentences.ratio_text(worst.ratio), plain(worst.ratio), True),
    )


def _calibration_link(results: CampaignResults, name: str) -> Markup:
    if name in results.context.calibrations:
        return link(name, addresses.calibration(name))
    return Markup("{}").format(name)
