"""View of a verification's page: its verdict and rule, its worst margin, each structure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import StructureResult, VerificationResult
from sitegen.model.results import CalibrationUse, CampaignResults, Drawing
from sitegen.model.verification import MeasuredReference, Structure
from sitegen.render import verification_sentences
from sitegen.render.calibration import sources
from sitegen.render.die_lists import die_list
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.marks import marked
from sitegen.render.page import Page
from sitegen.render.phrases import (
    counted,
    figure_of,
    frequency,
    instant,
    link,
    plain,
    several,
    spelled,
    stated,
    time_tag,
)
from sitegen.render.pieces import (
    Cell,
    Column,
    DieList,
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
from sitegen.render.standards import defined
from sitegen.render.states import state_facts
from sitegen.render.structure_tables import (
    Deviations,
    agreement_table,
    deviations,
    line_table,
    mask_name,
    mask_table,
    physical_table,
    verdict,
)
from sitegen.render.verification_sentences import ratio_text, worst_of


@dataclass(frozen=True, slots=True)
class StructureView:
    """One structure of a verification."""

    id: str
    title: str
    verdict: Text
    facts: tuple[Fact, ...]
    masks: Table
    figures: tuple[Figure, ...]
    agreements: Table | None
    """Whether the whole sweep agrees with its reference."""
    agreement_figures: tuple[Figure, ...]
    line: Table | None
    physical: Table | None
    deviations: tuple[Deviations, ...]


@dataclass(frozen=True, slots=True)
class VerificationView:
    """Contract of templates/verification.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Finding, ...]
    candidates: tuple[str, ...]
    """Likely causes of a failure, most likely first."""
    overview: Table | None
    """The structures beside each other; None where there is only one."""
    lost: DieList | None
    """Dies that lost a value to this verification; None where it took none."""
    structures: tuple[StructureView, ...]
    facts: tuple[Fact, ...]
    notes: tuple[NoteText, ...]
    sources: Table


def verification_page(
    result: VerificationResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> Page:
    """The page of one verification.

    drawings: '<structure>-<n>', n the mask's number from 0, and '<structure>-<s21>-normalised'.
    """
    address = addresses.verification(result.record.id)
    return Page(
        address,
        render(
            "verification",
            view(result, results, drawings),
            shell(results.context.record, address, f"Verification {result.record.id}"),
        ),
    )


def view(
    result: VerificationResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> VerificationView:
    """What a verification's page shows."""
    record = result.record
    page = addresses.verification(record.id)
    calibration: Text = Markup("{}").format(record.calibration)
    if record.calibration in results.context.calibrations:
        target = addresses.calibration(record.calibration)
        calibration = link(record.calibration, addresses.relative(target, page))
    station = link(record.station, addresses.relative(addresses.station(record.station), page))
    use = results.uses.get(record.calibration)
    decision = results.context.record.decision
    return VerificationView(
        title=f"Verification {record.id}",
        lead=verification_sentences.verification(result, Markup(calibration), station, use),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        ),
        candidates=result.candidates,
        overview=_overview(result),
        lost=_lost(record.id, use, page),
        structures=tuple(
            _structure(each, drawings, page, decision.coverage_factor) for each in result.structures
        ),
        facts=_facts(result, station, calibration),
        notes=tuple(
            note_text(note) for note in results.notes if note.subject == f"verification {record.id}"
        ),
        sources=sources(results.sources, f"verifications/{record.id}/"),
    )


def _lost(name: str, use: CalibrationUse | None, page: str) -> DieList | None:
    """The dies that lost a value, where this verification was the one that took their standing."""
    if use is None or use.failed_by != name or not use.lost_to_it:
        return None
    others = set(use.lost_reasons) - {"verification failed"}
    title = "Dies with a value that lost its standing"
    if others:
        title += f" to this verification, or otherwise ({', '.join(sorted(others))})"
    return die_list("lost", title, use.dies_lost, page, "No die is recorded.")


def _facts(result: VerificationResult, station: Markup, calibration: Text) -> tuple[Fact, ...]:
    record = result.record
    temperature = units.MISSING if record.substrate_c is None else stated(record.substrate_c, "°C")
    return (
        Fact("Station", station),
        Fact("Instrument", record.instrument),
        Fact("Calibration", calibration),
        Fact("By", record.by),
        Fact("Stamped by the instrument", instant(record.at)),
        Fact("Reference time", time_tag(result.made_at)),
        Fact("Ambient", stated(record.ambient_c, "°C")),
        Fact("Contact substrate", temperature),
        *state_facts(record.state),
    )


def _overview(result: VerificationResult) -> Table | None:
    """The structures beside each other."""
    if len(result.structures) < 2:
        return None
    return Table(
        id="structures",
        caption="Structures of this verification, each with its worst point under a mask and its"
        " greatest normalised deviation",
        columns=(
            Column("Structure"),
            Column("What it is"),
            Column("Outcome"),
            Column("Share of its mask", True),
            Column("S-parameter"),
            Column("At", True),
            Column("Greatest normalised deviation", True),
        ),
        rows=tuple(_overview_row(one) for one in result.structures),
        wide=True,
    )


def _overview_row(result: StructureResult) -> Row:
    name = result.structure.id
    worst = worst_of((mask, name) for mask in result.masks)
    known = [
        value for one in result.agreements for value in one.normalised.tolist() if value == value
    ]
    greatest = max(known, default=None)
    nothing = (Cell(units.MISSING, "", True), Cell(units.MISSING), Cell(units.MISSING, "", True))
    return Row(
        Cell(link(name, f"#structure-{name}"), name),
        (
            Cell(result.structure.description),
            Cell(verdict(result.outcome, result.reason)),
            *(
                nothing
                if worst is None
                else (
                    Cell(ratio_text(worst.ratio), plain(worst.ratio), True),
                    Cell(worst.parameter),
                    Cell(frequency(worst.frequency_hz), plain(worst.frequency_hz), True),
                )
            ),
            Cell(units.number(greatest, 3), plain(greatest), True),
        ),
    )


def _structure(
    result: StructureResult,
    drawings: Mapping[str, Drawing],
    page: str,
    coverage_factor: float,
) -> StructureView:
    name = result.structure.id
    told = marked(result.outcome)
    if result.reason:
        told = told + Markup(": {}").format(result.reason)
    data = Link("Data", f"{addresses.relative(addresses.DATA, page)}#table-normalised-deviations")
    return StructureView(
        id=f"structure-{name}",
        title=f"{name}: {result.structure.description}",
        verdict=told,
        facts=_structure_facts(result),
        masks=mask_table(
            f"masks-{name}",
            f"Verdict of {name} under each mask. The worst point is where the deviation, with the"
            " guard band where the rule has one, is the greatest share of the mask; the margin is"
            " the mask less the deviation there.",
            [(mask_name(mask), mask) for mask in result.masks],
            coverage_factor,
        ),
        figures=_figures(
            [f"{name}-{place}" for place in range(len(result.masks))],
            drawings,
            page,
            Link("Table", f"#masks-{name}"),
        ),
        agreements=agreement_table(
            f"sweeps-{name}",
            f"Whether {name} agrees with its reference",
            [(one.parameter.upper(), one) for one in result.agreements],
            page,
        ),
        agreement_figures=_figures(
            [f"{name}-{one.parameter}-normalised" for one in result.agreements],
            drawings,
            page,
            data,
        ),
        line=line_table(result, coverage_factor),
        physical=physical_table(name, result.physical),
        deviations=tuple(
            deviations(f"deviations-{name}-{place}", name, mask, coverage_factor)
            for place, mask in enumerate(result.masks)
            if mask.points_judged
        ),
    )


def _figures(
    keys: Sequence[str], drawings: Mapping[str, Drawing], page: str, behind: Link
) -> tuple[Figure, ...]:
    return tuple(figure(drawings[key], page, None, behind) for key in keys if key in drawings)


def _structure_facts(result: StructureResult) -> tuple[Fact, ...]:
    structure = result.structure
    files = several([Markup("<code>{}</code>").format(one) for one in _files(structure)])
    facts = [
        Fact("Sweep", Markup("{}, {}").format(structure.sweep, files)),
        Fact("Contacts", spelled(1 + len(structure.repeats))),
        Fact("Reference", _reference(structure)),
        Fact("Uncertainty of the reference", _reference_uncertainty(structure)),
    ]
    reference = structure.reference
    if isinstance(reference, MeasuredReference) and reference.reference_plane is not None:
        facts.append(Fact("Reference plane of the reference", reference.reference_plane))
    if structure.length_um is not None:
        facts.append(Fact("Length", stated(structure.length_um * 1e-6, "m")))
    if result.repeatability is not None:
        facts.append(
            Fact(
                "Repeatability of contacts",
                f"{units.number(result.repeatability, 3)}, pooled standard deviation of an"
                f" S-parameter over {counted(1 + len(structure.repeats), 'contact')}",
            )
        )
    return tuple(facts)


def _files(structure: Structure) -> tuple[str, ...]:
    return (structure.file, *structure.repeats)


def _reference(structure: Structure) -> Text:
    reference = structure.reference
    if isinstance(reference, MeasuredReference):
        shared = (
            "; measured with the same standards' definitions, whose errors are common to both and"
            " leave their difference"
            if reference.shares == "definitions"
            else "; shares nothing with this measurement"
        )
        return Markup("measured: {}; <code>{}</code>{}").format(
            reference.measured_on, reference.file, shared
        )
    article = "an" if reference.kind[0] in "aeiou" else "a"
    return f"model of {article} {reference.kind}: {defined(reference)}"


def _reference_uncertainty(structure: Structure) -> str:
    reference = structure.reference
    u = (
        reference.standard_uncertainty
        if isinstance(reference, MeasuredReference)
        else structure.reference_u
    )
    if u == 0:
        return "none stated: the model is taken as exact"
    return f"standard uncertainty {figure_of(u)} of each real and imaginary part"
