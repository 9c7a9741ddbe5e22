"""View of an acceptance's page: factory against site, for customer and supplier to sign."""

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Station
from sitegen.model.event_results import (
    AcceptanceResult,
    PerformanceResult,
)
from sitegen.model.results import CampaignResults, Drawing
from sitegen.render import acceptance_places, acceptance_sentences
from sitegen.render import cautions as caution_rules
from sitegen.render.calibration import sources
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.page import Page
from sitegen.render.phrases import (
    edition,
    figure_of,
    frequency,
    instant,
    link,
    plain,
    with_unit,
)
from sitegen.render.pieces import (
    Caution,
    Cell,
    Column,
    Fact,
    Figure,
    Finding,
    Link,
    NoteText,
    Row,
    Table,
    Text,
)
from sitegen.render.shell import shell
from sitegen.render.structure_tables import (
    Deviations,
    agreement_table,
    deviations,
    mask_name,
    mask_table,
    verdict,
)
from sitegen.render.verification_sentences import QUANTITIES


@dataclass(frozen=True, slots=True)
class Party:
    """Who signs on paper."""

    role: str
    name: str


@dataclass(frozen=True, slots=True)
class AcceptanceView:
    """Contract of templates/acceptance.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Finding, ...]
    facts: tuple[Fact, ...]
    cautions: tuple[Caution, ...]
    performance: Table
    differences: Table
    agreements: Table | None
    """Whether the site's whole sweeps agree with the factory's."""
    figures: tuple[Figure, ...]
    deviations: tuple[Deviations, ...]
    places: Table
    """The system at both places side by side."""
    signed: str
    """What a signature stands under: record, edition, acceptance, outcome."""
    parties: tuple[Party, ...]
    notes: tuple[NoteText, ...]
    sources: Table


def acceptance_page(
    result: AcceptanceResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> Page:
    """The page of one acceptance.

    drawings: '<n>' and '<n>-normalised', n the difference's number from 0.
    """
    address = addresses.acceptance(result.record.id)
    return Page(
        address,
        render(
            "acceptance",
            view(result, results, drawings),
            shell(results.context.record, address, f"Acceptance {result.record.id}"),
        ),
    )


def view(
    result: AcceptanceResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> AcceptanceView:
    """What an acceptance's page shows."""
    record = result.record
    page = addresses.acceptance(record.id)
    decision = results.context.record.decision
    k = decision.coverage_factor
    station = next(one for one in results.context.record.stations if one.id == record.station)
    factory = acceptance_places.place(record.factory, record.factory_place, results)
    site = acceptance_places.place(record.site, record.site_place, results)
    to_station = link(station.name, addresses.relative(addresses.station(station.id), page))
    return AcceptanceView(
        title=f"Acceptance {record.id}: {record.title}",
        lead=(
            *acceptance_sentences.acceptance(
                result,
                to_station,
                factory.phrase(page),
                site.phrase(page),
                {one.record.id: one.outcome for one in results.verifications},
            ),
            acceptance_sentences.rule(
                decision, addresses.relative(f"{addresses.METHOD}#decision", page)
            ),
        ),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        ),
        facts=_facts(result, to_station, station),
        cautions=caution_rules.cautions([station]),
        performance=_performance(result, k),
        differences=_differences(result, k),
        agreements=_agreements(result, page),
        figures=_figures(result, drawings, page),
        deviations=_deviations(result, k),
        places=acceptance_places.side_by_side(factory, site, station, page),
        signed=_signed(result, results),
        parties=(Party("Supplier", record.supplier), Party("Customer", record.customer)),
        notes=tuple(
            note_text(note) for note in results.notes if note.subject == f"acceptance {record.id}"
        ),
        sources=_sources(result, results),
    )


def _facts(result: AcceptanceResult, to_station: Text, station: Station) -> tuple[Fact, ...]:
    record = result.record
    return (
        Fact("Station", Markup("{} ({})").format(to_station, station.id)),
        Fact("Supplier, who hands it over", record.supplier),
        Fact("Customer, who takes it", record.customer),
        Fact("Built at", record.factory_place),
        Fact("Stands at", record.site_place),
        Fact("Record closed", instant(record.at)),
        Fact("Outcome", verdict(acceptance_sentences.ACCEPTED[result.outcome])),
    )


def _performance(result: AcceptanceResult, coverage_factor: float) -> Table:
    return Table(
        id="performance",
        caption="Declared figures, each the greatest deviation of a structure from its reference"
        " between two frequencies, as measured at both places ± expanded uncertainty"
        f" (k = {figure_of(coverage_factor)})",
        columns=(
            Column("Declared figure"),
            Column("Structure"),
            Column("Quantity"),
            Column("From", True),
            Column("To", True),
            Column("Declared limit", True),
            Column("Factory", True),
            Column("At the factory"),
            Column("Site", True),
            Column("On site"),
        ),
        rows=tuple(_performance_row(one, coverage_factor) for one in result.performance),
        empty="No figure is declared.",
        wide=True,
    )


def _performance_row(one: PerformanceResult, coverage_factor: float) -> Row:
    declared = one.declared
    words, unit = QUANTITIES[declared.quantity]

    def found(value: float | None, u: float | None) -> Cell:
        expanded = None if u is None else coverage_factor * u
        return Cell(with_unit(units.with_uncertainty(value, expanded), unit), plain(value), True)

    start, stop = declared.frequency_start_hz, declared.frequency_stop_hz
    return Row(
        Cell(declared.name),
        (
            Cell(declared.structure),
            Cell(f"{declared.parameter.upper()}, {words}"),
            Cell(frequency(start), plain(start), True),
            Cell(frequency(stop), plain(stop), True),
            Cell(with_unit(figure_of(declared.limit), unit), plain(declared.limit), True),
            found(one.factory, one.factory_u),
            Cell(verdict(one.factory_outcome)),
            found(one.site, one.site_u),
            Cell(verdict(one.site_outcome)),
        ),
    )


def _differences(result: AcceptanceResult, coverage_factor: float) -> Table:
    return mask_table(
        "differences",
        "Site less factory under each mask. The worst point is where the difference, with the guard"
        " band where the rule has one, is the greatest share of the mask.",
        [(f"{one.structure}: {mask_name(one.mask)}", one.mask) for one in result.differences],
        coverage_factor,
    )


def _agreements(result: AcceptanceResult, page: str) -> Table | None:
    return agreement_table(
        "sweeps",
        "Whether the site's sweeps agree with the factory's",
        [
            (f"{one.structure}, {one.agreement.parameter.upper()}", one.agreement)
            for one in result.differences
            if one.agreement is not None
        ],
        page,
    )


def _deviations(result: AcceptanceResult, coverage_factor: float) -> tuple[Deviations, ...]:
    return tuple(
        deviations(
            f"deviations-{place}",
            f"{one.structure}, site less factory",
            one.mask,
            coverage_factor,
            f"{one.structure}: difference",
        )
        for place, one in enumerate(result.differences)
        if one.mask.points_judged
    )


def _figures(
    result: AcceptanceResult, drawings: Mapping[str, Drawing], page: str
) -> tuple[Figure, ...]:
    """Each difference under its mask and, beside it, normalised."""
    data = Link("Data", f"{addresses.relative(addresses.DATA, page)}#table-site-differences")
    return tuple(
        figure(drawings[key], page, None, behind)
        for place in range(len(result.differences))
        for key, behind in (
            (f"{place}", Link("Table", "#differences")),
            (f"{place}-normalised", data),
        )
        if key in drawings
    )


def _signed(result: AcceptanceResult, results: CampaignResults) -> str:
    identity = results.context.record.campaign
    return (
        f"Acceptance {result.record.id} in record {identity.id}, edition"
        f" {edition(identity.edition, identity.issued)}:"
        f" {acceptance_sentences.ACCEPTED[result.outcome]}."
    )


def _sources(result: AcceptanceResult, results: CampaignResults) -> Table:
    """The acceptance's own files and the records of what it rests on."""
    record = result.record
    events = (record.factory, record.site)
    calibrations = [
        one.record.calibration for one in results.verifications if one.record.id in events
    ]
    records = {
        *(f"verifications/{name}/record.toml" for name in events),
        *(f"calibrations/{name}/record.toml" for name in calibrations),
    }
    own = f"acceptances/{record.id}/"
    return sources(
        [one for one in results.sources if one.path.startswith(own) or one.path in records], ""
    )
