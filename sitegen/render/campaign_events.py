"""Calibrations and verifications as the tables of the campaign's page."""

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.results import CampaignResults, VerificationResult
from sitegen.render import event_sentences
from sitegen.render.marks import marked
from sitegen.render.phrases import frequency, link, number_of, plain, time_tag
from sitegen.render.pieces import Cell, Column, Row, Table


def calibrations(results: CampaignResults) -> Table:
    """Every calibration with its outcome and the number of values that refer to it."""
    values: dict[str, int] = {}
    for wafer in results.wafers:
        for name, count in wafer.calibrations.items():
            values[name] = values.get(name, 0) + count
    return Table(
        id="calibrations",
        caption="Calibrations in the order of their identities",
        columns=(
            Column("Calibration"),
            Column("Method"),
            Column("Station"),
            Column("Made"),
            Column("Holds until"),
            Column("Outcome"),
            Column("Values", True),
        ),
        rows=tuple(
            Row(
                Cell(link(each.record.id, addresses.calibration(each.record.id))),
                (
                    Cell(each.record.method),
                    Cell(link(each.record.station, addresses.station(each.record.station))),
                    Cell(time_tag(each.made_at)),
                    Cell(time_tag(each.expires_at)),
                    Cell(marked(each.outcome)),
                    Cell(
                        number_of(values.get(each.record.id, 0)),
                        str(values.get(each.record.id, 0)),
                        True,
                    ),
                ),
            )
            for each in results.calibrations
        ),
        empty="The record holds no calibration.",
    )


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
