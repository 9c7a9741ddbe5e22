"""View of the campaign's page: where it stands, can it be relied on, what needs a decision."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.device import Device
from sitegen.model.results import CampaignResults, Drawing
from sitegen.problems import TO_FILL_IN
from sitegen.render import (
    acceptance_sentences,
    campaign_events,
    campaign_splits,
    campaign_stresses,
    campaign_studies,
    campaign_yields,
    estimators,
    kinds,
    rule_sentences,
    sentences,
    summaries,
    yield_sentences,
)
from sitegen.render import cautions as caution_rules
from sitegen.render.environment import render
from sitegen.render.figures import figure, inline_figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.page import Page
from sitegen.render.phrases import (
    edition,
    figure_of,
    link,
    number_of,
    several,
)
from sitegen.render.pieces import (
    Caution,
    Cell,
    Column,
    Fact,
    Figure,
    Finding,
    InlineFigure,
    Link,
    NoteText,
    Row,
    Table,
    Text,
)
from sitegen.render.shell import shell
from sitegen.render.sources import TITLE, has_sources

LEADING = 12
"""How many findings stand on the campaign's page; all of them stand on the problems page."""


@dataclass(frozen=True, slots=True)
class CampaignView:
    """Contract of templates/campaign.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Finding, ...]
    """The first findings, decisions first."""
    more_findings: Link | None
    """Where the rest stands; None where none is left out."""
    cautions: tuple[Caution, ...]
    wafers: Table | None
    """None where no wafer is planned or measured: the record is about stations then."""
    yields: tuple[Text, ...]
    """By which rules wafers conform, what touchdowns decide, how wafers differ."""
    limiting: Table | None
    """Parameters that take dies; None where none does."""
    maps: tuple[Figure, ...]
    splits: tuple[Table, ...]
    studies: Table | None
    """None where the campaign declares no study."""
    stresses: Table | None
    """None where it declares no stress."""
    evidence: tuple[InlineFigure, ...]
    """One line of time for each station."""
    stations: Table
    """What stands where, and by which evidence."""
    acceptances: Table | None
    calibrations: Table | None
    """None where the record holds none, as the next."""
    verifications: Table | None
    parameters: Table | None
    devices: Table | None
    conditions: Table | None
    rule: Markup
    """The decision rule and its consequence, as a sentence."""
    facts: tuple[Fact, ...]
    notes: tuple[NoteText, ...]
    links: tuple[Link, ...]


def campaign_page(results: CampaignResults, drawings: Mapping[str, Drawing]) -> Page:
    """The campaign's page.

    drawings: 'evidence-<station>' for each station, 'verdicts-<wafer>' a small map of verdicts.
    """
    record = results.context.record
    return Page(
        addresses.HOME,
        render(
            "campaign",
            view(results, drawings),
            shell(record, addresses.HOME, record.campaign.title),
        ),
    )


def first_words(results: CampaignResults) -> str:
    """What the reader should know first, as plain text: the sentences that lead the page."""
    return " ".join(str(sentence.striptags()) for sentence in _lead(results))


def view(results: CampaignResults, drawings: Mapping[str, Drawing]) -> CampaignView:
    """What the campaign's page shows."""
    record = results.context.record
    findings = in_order(results.findings)
    statistics = results.statistics
    return CampaignView(
        title=record.campaign.title,
        lead=_lead(results),
        findings=tuple(finding_line(found, addresses.HOME) for found in findings[:LEADING]),
        more_findings=Link(f"All {len(findings)} findings", addresses.PROBLEMS)
        if len(findings) > LEADING
        else None,
        cautions=caution_rules.cautions(
            record.stations,
            record.conditions,
            [each for wafer in results.wafer_records for each in wafer.thermal],
        ),
        wafers=campaign_yields.wafers(results) if _about_wafers(results) else None,
        yields=campaign_yields.details(statistics.yields, record.verdict)
        if statistics and results.wafers
        else (),
        limiting=campaign_yields.limiting(results),
        maps=_maps(results, drawings),
        splits=campaign_splits.tables(results),
        studies=campaign_studies.table(results),
        stresses=campaign_stresses.table(results),
        evidence=_evidence(results, drawings),
        stations=campaign_events.stations(results),
        acceptances=campaign_events.acceptances(results),
        calibrations=campaign_events.calibrations(results) if results.calibrations else None,
        verifications=campaign_events.verifications(results) if results.verifications else None,
        parameters=summaries.parameter_table(
            record,
            [result for result in results.parameters if not result.wafer],
            addresses.HOME,
            "Over all wafers, from the values with standing; the others are counted beside them",
        )
        if record.parameters
        else None,
        devices=_devices(results) if record.devices else None,
        conditions=_conditions(results) if record.conditions else None,
        rule=Markup("Outcomes on these pages are decided by {}.").format(_decided(results)),
        facts=_facts(results),
        notes=tuple(note_text(note) for note in results.notes if note.subject == "campaign"),
        links=(
            Link("Every download with its columns", addresses.DATA),
            Link("How every figure is computed", addresses.METHOD),
            Link("Findings and faults", addresses.PROBLEMS),
            *([Link(TITLE, addresses.SOURCES)] if has_sources(results) else []),
            Link("Notes", addresses.NOTES),
            Link("Reference of the record formats", addresses.REFERENCE),
        ),
    )


def _about_wafers(results: CampaignResults) -> bool:
    """Whether a wafer is planned or measured."""
    return bool(results.wafers or results.context.record.plan.wafers)


def _lead(results: CampaignResults) -> tuple[Markup, ...]:
    decided = _decided(results)
    wafers = [(wafer, addresses.wafer(wafer.wafer)) for wafer in results.wafers]
    record = results.context.record
    names = {station.id: station.name for station in record.stations}
    first = (
        sentences.campaign_dies(wafers, decided, yield_sentences.met(record.verdict.conforming))
        if _about_wafers(results)
        else sentences.campaign_stations(list(names.values()))
    )
    return (
        *first,
        *(campaign_yields.lead(results.statistics.yields) if results.statistics else ()),
        *sentences.standing(wafers),
        *acceptance_sentences.accepted(
            [(each, addresses.acceptance(each.record.id)) for each in results.acceptances], names
        ),
        *_evidence_told(results),
        *sentences.needs(results.findings, len(results.faults), addresses.PROBLEMS),
    )


def _evidence_told(results: CampaignResults) -> tuple[Markup, ...]:
    """Whether calibrations and verifications were good; nothing where none is asked for."""
    if not kinds.asks_for_calibrations(results):
        return ()
    return sentences.evidence(
        [(each, addresses.calibration(each.record.id)) for each in results.calibrations],
        [(each, addresses.verification(each.record.id)) for each in results.verifications],
    )


def _decided(results: CampaignResults) -> Markup:
    return rule_sentences.rules(results.context.record, f"{addresses.METHOD}#decision")


def _maps(results: CampaignResults, drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    return tuple(
        figure(
            drawings[f"verdicts-{wafer.wafer}"],
            addresses.HOME,
            link(f"Wafer {wafer.wafer}", addresses.wafer(wafer.wafer)),
            Link("Table", f"{addresses.wafer(wafer.wafer)}#dies"),
            addresses.wafer(wafer.wafer),
        )
        for wafer in results.wafers
        if f"verdicts-{wafer.wafer}" in drawings
    )


def _evidence(
    results: CampaignResults, drawings: Mapping[str, Drawing]
) -> tuple[InlineFigure, ...]:
    names = {station.id: station.name for station in results.context.record.stations}
    return tuple(
        inline_figure(
            drawings[f"evidence-{each.station}"],
            Markup("{} over time on {}, in UTC").format(
                "Wafers" if all(span.kind == "wafer" for span in each.spans) else "Evidence",
                link(names.get(each.station, each.station), addresses.station(each.station)),
            ),
            Link("Table", f"{addresses.station(each.station)}#record"),
        )
        for each in results.stations
        if f"evidence-{each.station}" in drawings and each.spans
    )


def _devices(results: CampaignResults) -> Table:
    record = results.context.record
    taken = Counter(parameter.device for parameter in record.parameters)
    stripped = any(device.deembedding for device in record.devices)
    return Table(
        id="devices",
        caption="Devices: their parameters over bias, their figures over frequency, their dummies"
        if stripped
        else "Devices, each with its parameters",
        columns=(
            Column("Device"),
            Column("Kind"),
            *((Column("De-embedding"),) if stripped else ()),
            Column("Parameters", True),
        ),
        rows=tuple(
            Row(
                Cell(link(device.name, addresses.device(device.id)), device.name),
                (
                    Cell(device.kind),
                    *((_deembedding(device),) if stripped else ()),
                    Cell(number_of(taken[device.id]), str(taken[device.id]), True),
                ),
            )
            for device in record.devices
        ),
        wide=True,
    )


def _deembedding(device: Device) -> Cell:
    return Cell(estimators.deembedding(device.deembedding) if device.deembedding else "none")


def _conditions(results: CampaignResults) -> Table:
    return Table(
        id="conditions",
        caption="Declared set points of bias and temperature",
        columns=(Column("Condition"), Column("Set point")),
        rows=tuple(
            Row(
                Cell(condition.id),
                (Cell(summaries.condition_text(condition, condition.id)),),
            )
            for condition in results.context.record.conditions
        ),
        empty="No condition is declared.",
        wide=True,
    )


def _facts(results: CampaignResults) -> tuple[Fact, ...]:
    record = results.context.record
    identity = record.campaign
    lots = sorted({wafer.lot for wafer in results.wafer_records})
    facts = [
        Fact("Record", identity.id),
        Fact("Edition", edition(identity.edition, identity.issued)),
        Fact("Reason of this edition", identity.edition_reason),
        Fact("Requested by", identity.requested_by),
        Fact("Responsible", identity.responsible),
        Fact("Authorised by", identity.authorised_by),
        Fact("Laboratory", f"{identity.laboratory}, {identity.place}"),
        Fact(
            "Stations",
            several([link(each.name, addresses.station(each.id)) for each in record.stations]),
        ),
    ]
    left = [found.subject for found in results.findings if found.kind == TO_FILL_IN]
    if left:
        named = f"in the records of {', '.join(left)}"
        facts.append(Fact("Entries to fill in", link(named, addresses.PROBLEMS)))
    if _about_wafers(results):
        facts.append(Fact("Touchdown that counts", record.touchdowns.counts))
    if lots:
        facts.append(Fact("Lots", ", ".join(lots)))
    if record.layout is not None:
        layout = record.layout
        facts.append(
            Fact(
                "Wafer layout",
                f"{figure_of(layout.diameter_mm)}{units.THIN}mm, {layout.orientation_mark} at"
                f" {figure_of(layout.orientation_mark_angle_deg)}°, die pitch"
                f" {figure_of(layout.die_pitch_x_mm)} × {figure_of(layout.die_pitch_y_mm)}"
                f"{units.THIN}mm, edge exclusion {figure_of(layout.edge_exclusion_mm)}"
                f"{units.THIN}mm; die_x increases to the {layout.x_increases}, die_y"
                f" {layout.y_increases}wards",
            )
        )
    return tuple(facts)
