"""View of a wafer's page, and the pages of a wafer and of all its dies."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.agreement_results import AgreementCount
from sitegen.model.device_results import TypicalFile
from sitegen.model.loaded import Note
from sitegen.model.results import CampaignContext, Drawing, WaferResults, WaferSummary
from sitegen.model.wafer import WaferRecord
from sitegen.render import (
    campaign_stresses,
    campaign_studies,
    downloads,
    sentences,
    summaries,
    touchdowns,
    wafer_tables,
    yield_sentences,
)
from sitegen.render import die as die_page
from sitegen.render import typical as typical_die
from sitegen.render.agreements import agreement_table
from sitegen.render.environment import render
from sitegen.render.figures import figure, inline_figure
from sitegen.render.findings import fault_line, finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.page import FrameArt, Page
from sitegen.render.phrases import (
    die_name,
    figure_of,
    if_stated,
    link,
    number_of,
    stated,
    stretch,
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
from sitegen.render.states import STATE_COLUMNS, state_cells
from sitegen.render.tables import there
from sitegen.render.wafer_shared import Shared

MOST_CHANGES = 6
"""How many outcomes that the choice of touchdown decided are named before the rest is counted."""


@dataclass(frozen=True, slots=True)
class WaferView:
    """Contract of templates/wafer.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Finding, ...]
    """Findings and faults of this wafer, decisions first."""
    cautions: tuple[Caution, ...]
    map: InlineFigure | None
    """The map of verdicts with a link on each die; None where none was drawn."""
    again: Table | None
    """Values without standing or not closed, by reason; None where there are none."""
    parameters: Table
    maps: tuple[Figure, ...]
    """Small map of each parameter and condition."""
    contact: tuple[Table, ...]
    """Touchdowns that did not pass and quality of the sweeps, where the record has any."""
    dies: tuple[Table, ...]
    facts: tuple[Fact, ...]
    thermal: Table
    states: Table | None
    notes: tuple[NoteText, ...]
    files: tuple[Markup, ...]
    """The files that hold the wafer's values and sweeps, each a link with its size."""
    links: tuple[Link, ...]
    typical: tuple[Text, ...] = ()
    """Which die stands for the wafer, by which rule."""
    sweeps: tuple[Markup, ...] = ()
    """Its Touchstone files, each a link with its size."""
    agreements: Table | None = None
    """Values that must agree, in counts of dies; None where none are declared."""


def wafer_pages(
    *,
    context: CampaignContext,
    record: WaferRecord,
    results: WaferResults,
    note: Note | None,
    frames: Mapping[str, FrameArt],
    maps: Mapping[str, Drawing],
    bars: Mapping[int, str],
    typical: Sequence[TypicalFile] = (),
    without: Sequence[str] = (),
    agreements: Sequence[AgreementCount] = (),
) -> Iterator[Page]:
    """The wafer's page, then the page of each of its dies.

    frames: by any name; drawn in the order of the names. maps: 'verdicts' with a link on each
    die, to stand inline, and '<parameter>/<condition>' small ones. bars: SVG markup of the place
    between the limits, by row of `results.results`. typical: files of its most typical die;
    without: devices that were swept and have none; agreements: of this wafer.
    """
    home = addresses.wafer(record.id)
    shared = Shared(context, record, results, frames, bars)
    yield Page(
        home,
        render(
            "wafer",
            replace(
                view(shared, results, note, maps),
                typical=typical_die.sentences(typical, without, home),
                sweeps=typical_die.links(typical, home),
                agreements=agreement_table(agreements, context.record, home),
            ),
            shell(context.record, home, f"Wafer {record.id}"),
        ),
    )
    above = ((f"Wafer {record.id}", home),)
    for place, die in enumerate(shared.dies):
        address = addresses.die(record.id, die.die_x, die.die_y)
        around = shell(context.record, address, f"Die {die_name(die.die_x, die.die_y)}", above)
        yield Page(address, render("die", die_page.view(shared, place), around))


def view(
    shared: Shared, results: WaferResults, note: Note | None, maps: Mapping[str, Drawing]
) -> WaferView:
    """The wafer's own page."""
    context, record, home = shared.context, shared.record, shared.home
    verdicts = maps.get("verdicts")
    return WaferView(
        title=f"Wafer {record.id}",
        lead=_lead(shared, results),
        findings=tuple(
            [finding_line(finding, home) for finding in in_order(results.findings)]
            + [fault_line(fault) for fault in results.faults]
        ),
        cautions=shared.cautions(_conditions(shared)),
        map=inline_figure(verdicts, verdicts.description, Link("Table", "#dies"))
        if verdicts
        else None,
        again=wafer_tables.again(shared, results),
        parameters=summaries.parameter_table(
            context.record,
            results.summary.parameters,
            home,
            "From the values with standing; the others are counted beside them",
        ),
        maps=_maps(shared, maps),
        contact=there(
            touchdowns.not_passed(results, home, record.id), wafer_tables.quality(shared, results)
        ),
        dies=wafer_tables.dies(shared, results),
        facts=_facts(shared, results),
        thermal=_thermal(record),
        states=_states(record),
        notes=(note_text(note),) if note else (),
        files=downloads.files(context, home, (record.id,)),
        links=_links(shared),
    )


def _lead(shared: Shared, results: WaferResults) -> tuple[Markup, ...]:
    """How the wafer came out; first that it was measured for a study only, which has no yield, or
    before and after a stress."""
    only, summary = shared.record.only_for_study, results.summary
    told = sentences.wafer(
        replace(summary, yield_lower=None, yield_upper=None) if only else summary,
        shared.decided,
        yield_sentences.met(shared.context.record.verdict.conforming),
    )
    around = campaign_stresses.measured_around(shared)
    return (*((campaign_studies.measured_for(shared),) if only else ()), *around, *told)


def _conditions(shared: Shared) -> frozenset[str]:
    """Conditions under which the wafer has a value, or must have one on every die by the plan."""
    columns = shared.columns
    measured = {
        str(condition)
        for condition, value in zip(columns["condition"], columns["value"], strict=True)
        if value is not None
    }
    return shared.planned_conditions | measured


def _maps(shared: Shared, maps: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    found = []
    if "touchdowns" in maps:
        found.append(figure(maps["touchdowns"], shared.home, "Contact checks of the touchdowns"))
    for parameter in shared.context.record.parameters:
        target = addresses.relative(addresses.parameter(parameter.id), shared.home)
        for condition in parameter.conditions:
            name = f"{parameter.id}/{condition}"
            if name in maps:
                caption = Markup('<a href="{}">{} {}</a> ({})').format(
                    target, summaries.symbol(parameter), parameter.name, condition
                )
                found.append(figure(maps[name], shared.home, caption))
    return tuple(found)


def _facts(shared: Shared, results: WaferResults) -> tuple[Fact, ...]:
    record, home, summary = shared.record, shared.home, results.summary
    facts = [
        Fact("Identity as read", record.identity_read),
        Fact("Lot", record.lot),
        Fact("Slot", str(record.slot) if record.slot else "not stated"),
        Fact("Measured, as stamped", _measured(summary)),
        Fact("By", record.by),
        Fact(
            "Station",
            link(record.station, addresses.relative(addresses.station(record.station), home)),
        ),
        Fact("Ambient", stated(record.ambient_c, "°C")),
    ]
    if record.substrate_c is not None:
        facts.append(Fact("Contact substrate", f"{figure_of(record.substrate_c)}{units.THIN}°C"))
    for word, instrument in (
        ("RF instrument", record.rf_instrument),
        ("DC instrument", record.dc_instrument),
    ):
        if instrument:
            facts.append(Fact(word, shared.instrument(instrument)))
    stood = [
        Markup("{} ({})").format(
            link(name, addresses.relative(addresses.calibration(name), home)),
            units.count(count, "value"),
        )
        for name, count in sorted(summary.calibrations.items())
        if name in shared.context.calibrations
    ]
    if stood:
        facts.append(Fact("Calibrations", Markup(", ").join(stood)))
    if summary.typical_die is not None:
        facts.append(Fact("Most typical die", wafer_tables.die_link(*summary.typical_die)))
    if summary.touchdown_changes:
        named = ", ".join(summary.touchdowns_that_matter[:MOST_CHANGES])
        more = summary.touchdown_changes - MOST_CHANGES
        rest = f" and {number_of(more)} more" if more > 0 else ""
        facts.append(Fact("Outcomes that the choice of touchdown decided", f"{named}{rest}"))
    facts += touchdowns.facts(results, shared.context.record)
    return tuple(facts)


def _measured(summary: WaferSummary) -> str:
    if summary.started is None or summary.finished is None:
        return "not stated"
    return stretch(summary.started, summary.finished)


def _thermal(record: WaferRecord) -> Table:
    return Table(
        id="thermal",
        caption="Set points of temperature, and how the wafer's own temperature is known",
        columns=(
            Column("Set point / °C", True),
            Column("Chuck reading / °C", True),
            Column("Surface minus chuck / °C", True),
            Column("Its standard uncertainty / °C", True),
            Column("Soak / s", True),
        ),
        rows=tuple(
            Row(
                Cell(figure_of(each.set_point_c), "", True),
                tuple(
                    Cell(if_stated(value, ""), "", True)
                    for value in (
                        each.chuck_reading_c,
                        each.surface_correction_c,
                        each.surface_correction_u_c,
                        each.soak_s,
                    )
                ),
            )
            for each in record.thermal
        ),
    )


def _states(record: WaferRecord) -> Table | None:
    if not record.states:
        return None
    return Table(
        id="states",
        caption="States of the RF path during the measurements",
        columns=(Column("State"), *STATE_COLUMNS),
        rows=tuple(Row(Cell(state.id), state_cells(state)) for state in record.states),
    )


def _links(shared: Shared) -> tuple[Link, ...]:
    others = [
        Link(f"Wafer {name}", shared.to(addresses.wafer(name)))
        for name in shared.context.wafers
        if name != shared.wafer
    ]
    return (Link("What the columns mean", shared.to(addresses.DATA)), *others)
