"""View of a station's page: what it is made of, and its dated record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Part, Station
from sitegen.model.followed_results import Metric
from sitegen.model.results import CampaignResults, Drawing, Span
from sitegen.render import acceptance_sentences, sentences, station_floors
from sitegen.render import cautions as caution_rules
from sitegen.render.controls import ControlView, control_views
from sitegen.render.environment import render
from sitegen.render.figures import inline_figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.kinds import asks_for_calibrations
from sitegen.render.marks import marked
from sitegen.render.page import Page
from sitegen.render.phrases import (
    capital,
    day,
    duration,
    figure_of,
    link,
    number_of,
    stretch,
    time_tag,
)
from sitegen.render.pieces import (
    Caution,
    Cell,
    Column,
    Fact,
    Finding,
    InlineFigure,
    Link,
    Row,
    Table,
)
from sitegen.render.shell import shell
from sitegen.render.station_followed import Followed, followed_lead, followed_view
from sitegen.render.tables import filled, split


@dataclass(frozen=True, slots=True)
class StationView:
    """Contract of templates/station.html."""

    title: str
    lead: tuple[Markup, ...]
    cautions: tuple[Caution, ...]
    findings: tuple[Finding, ...]
    evidence: tuple[InlineFigure, ...]
    record: tuple[Table, ...]
    """The dated record: calibrations, verifications, wafers, stretches without evidence; nothing
    where nothing has happened yet."""
    followed: Followed
    controls: tuple[ControlView, ...]
    facts: tuple[Fact, ...]
    instruments: Table
    probes: Table | None
    """None where the record holds none, as the next three where nothing asks for them."""
    parts: Table | None
    floors: Table | None
    accuracies: Table | None


def station_page(
    station: Station, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> Page:
    """The page of a station. drawings: 'evidence', and a chart by each metric's address."""
    address = addresses.station(station.id)
    return Page(
        address,
        render(
            "station",
            view(station, results, drawings),
            shell(results.context.record, address, f"Station {station.id}"),
        ),
    )


def view(
    station: Station, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> StationView:
    """What a station's page shows."""
    page = addresses.station(station.id)
    spans = [span for each in results.stations if each.station == station.id for span in each.spans]
    wafers = [wafer for wafer in results.wafer_records if wafer.station == station.id]
    used = {
        result.condition
        for result in results.parameters
        if result.wafer in {wafer.id for wafer in wafers}
        and result.summary.n + result.summary.without_standing
    }
    followed = next((each for each in results.followed if each.station == station.id), None)
    return StationView(
        title=str(capital(station.name)),
        lead=_lead(
            station.name,
            spans,
            () if followed is None else followed.metrics,
            asks_for_calibrations(results, station.id),
        ),
        cautions=caution_rules.cautions(
            [station],
            [each for each in results.context.record.conditions if each.id in used],
            [each for wafer in wafers for each in wafer.thermal],
        ),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        ),
        evidence=(
            inline_figure(
                drawings["evidence"],
                "Wafers over time, in UTC"
                if all(span.kind == "wafer" for span in spans)
                else "Evidence over time, in UTC",
                Link("Table", "#record"),
            ),
        )
        if "evidence" in drawings and spans
        else (),
        record=_record(spans, page) if spans else (),
        followed=followed_view(
            station, followed, drawings, results.context.record.decision.coverage_factor
        ),
        controls=control_views(station.id, results, drawings),
        facts=(
            Fact("Identity", station.id),
            Fact("Place", station.place),
            Fact(
                "Acceptance",
                acceptance_sentences.accepted_by(station.id, results.acceptances, page),
            ),
            Fact("Hazards named in the record", ", ".join(station.hazards) or "none"),
        ),
        instruments=_instruments(station),
        probes=filled(_probes(station)),
        parts=filled(_parts(station)),
        floors=filled(station_floors.floors(station), _takes_currents(results)),
        accuracies=filled(station_floors.accuracies(station), bool(results.context.record.curves)),
    )


def _takes_currents(results: CampaignResults) -> bool:
    """Whether the campaign has a value or a curve for which a floor may be asked."""
    record = results.context.record
    return bool(record.curves) or any(one.kind == "dc" for one in record.parameters)


def _lead(
    name: str, spans: Sequence[Span], metrics: Sequence[Metric], asked: bool
) -> tuple[Markup, ...]:
    """What the record holds, and what must be known first of what is followed.

    asked: whether calibrations and verifications are to be spoken of.
    """
    kinds = [span.kind for span in spans]
    held = sentences.station(
        name,
        kinds.count("calibration"),
        kinds.count("verification"),
        kinds.count("wafer"),
        sum(span.kind == "verification" and span.outcome == "failed" for span in spans),
        [
            (span.name, stretch(span.start, span.end))
            for span in spans
            if span.kind == "nothing stood"
        ],
        asked,
    )
    if asked and not metrics:
        held = (*held, Markup("Nothing of this station is followed over time yet."))
    return held + followed_lead(metrics)


def _record(spans: Sequence[Span], page: str) -> tuple[Table, ...]:
    only_wafers = all(span.kind == "wafer" for span in spans)
    rows = [
        Row(
            Cell(time_tag(span.start)),
            (
                Cell(time_tag(span.end) if span.end != span.start else units.MISSING),
                Cell(
                    units.MISSING if span.end == span.start else duration(span.end - span.start),
                    str(round((span.end - span.start).total_seconds())),
                    True,
                ),
                Cell(capital(span.kind)),
                Cell(
                    link(span.name, addresses.relative(span.address, page))
                    if span.address and span.address.partition("#")[0] != page
                    else span.name
                ),
                Cell(marked(span.outcome)),
            ),
        )
        for span in sorted(spans, key=lambda span: (span.start, span.end, span.name))
    ]
    return split(
        "dated",
        "Wafers measured on this station, as their instruments stamped them."
        if only_wafers
        else "Everything that happened on this station. Calibrations and verifications stand in"
        " reference time, wafers as their instruments stamped them.",
        (
            Column("From"),
            Column("Until"),
            Column("Length", True),
            Column("What"),
            Column("Which"),
            Column("Outcome"),
        ),
        rows,
        "Nothing is recorded on this station.",
        wide=True,
    )


def _instruments(station: Station) -> Table:
    return Table(
        id="instruments",
        caption="Instruments. A clock's offset is its reading minus reference time.",
        columns=(
            Column("Instrument"),
            Column("Kind"),
            Column("Model"),
            Column("Serial number"),
            Column("Certificate"),
            Column("Due"),
            Column("Clock offset / s", True),
            Column("Its standard uncertainty / s", True),
        ),
        rows=tuple(
            Row(
                Cell(each.id),
                (
                    Cell(each.kind.upper() if len(each.kind) == 3 else each.kind),
                    Cell(each.model),
                    Cell(each.serial_number),
                    Cell(each.certificate),
                    Cell("not stated" if each.due is None else day(each.due)),
                    Cell(figure_of(each.clock_offset_s), "", True),
                    Cell(figure_of(each.clock_offset_u_s), "", True),
                ),
            )
            for each in station.instruments
        ),
    )


def _probes(station: Station) -> Table:
    return Table(
        id="probes",
        caption="Probes",
        columns=(
            Column("Probe"),
            Column("Kind"),
            Column("Port", True),
            Column("Pitch / µm", True),
            Column("Serial number"),
            Column("Bound on contacts", True),
        ),
        rows=tuple(
            Row(
                Cell(each.id),
                (
                    Cell(each.kind.upper()),
                    Cell(units.MISSING if each.port is None else str(each.port), "", True),
                    Cell(figure_of(each.pitch_um), "", True),
                    Cell(each.serial_number),
                    Cell(
                        units.MISSING
                        if each.contacts_max is None
                        else number_of(each.contacts_max),
                        "",
                        True,
                    ),
                ),
            )
            for each in station.probes
        ),
    )


def _parts(station: Station) -> Table:
    groups: tuple[tuple[str, tuple[Part, ...]], ...] = (
        ("cable", station.cables),
        ("switch path", station.switch_paths),
        ("bias tee", station.bias_tees),
    )
    return Table(
        id="parts",
        caption="Cables, switch paths and bias tees",
        columns=(
            Column("Part"),
            Column("Kind"),
            Column("Description"),
            Column("Serial number"),
        ),
        rows=tuple(
            Row(
                Cell(part.id),
                (
                    Cell(kind),
                    Cell(part.description),
                    Cell(part.serial_number or "none"),
                ),
            )
            for kind, parts in groups
            for part in parts
        ),
    )
