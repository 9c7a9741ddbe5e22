"""View of a calibration's page: its verdict, the evidence for it, its record, what stands on it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import CalibrationResult, VerificationResult
from sitegen.model.loaded import SourceFile
from sitegen.model.results import CalibrationUse, CampaignResults, Drawing
from sitegen.render import (
    calibration_budget,
    calibration_checks,
    calibration_quantities,
    calibration_record,
    event_sentences,
)
from sitegen.render.calibration_budget import BudgetPart
from sitegen.render.calibration_checks import GroupOfChecks
from sitegen.render.calibration_quantities import Compared
from sitegen.render.calibration_sentences import evidence
from sitegen.render.cells import count_cell
from sitegen.render.die_lists import die_list
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.marks import marked
from sitegen.render.page import Page
from sitegen.render.phrases import (
    capital,
    figure_of,
    frequency,
    link,
    number_of,
    time_tag,
    unbroken,
)
from sitegen.render.pieces import (
    Cell,
    Column,
    DieList,
    Fact,
    Figure,
    Finding,
    NoteText,
    Row,
    Table,
)
from sitegen.render.shell import shell
from sitegen.render.verification_sentences import ratio_text, worst_point


@dataclass(frozen=True, slots=True)
class CalibrationView:
    """Contract of templates/calibration.html."""

    title: str
    lead: tuple[Markup, ...]
    causes: tuple[str, ...]
    """Likely causes of what failed, most likely first."""
    findings: tuple[Finding, ...]
    checks: tuple[GroupOfChecks, ...]
    determined: tuple[Markup, ...]
    """Where there is a solution, and what its redundancy lets it show."""
    remarks: tuple[str, ...]
    """What the solution said of itself."""
    verifications: Table
    curves: tuple[Figure, ...]
    """Solved quantities over frequency."""
    quantities: Table
    comparisons: tuple[Compared, ...]
    term_figures: tuple[Figure, ...]
    terms: Table
    uncertainty: Markup
    uncertainty_sources: Table
    meanings: tuple[Fact, ...]
    """What each group of sources holds."""
    overview: Table
    """Each budget in a line."""
    budgets: tuple[BudgetPart, ...]
    monte_carlo: str
    simulated: tuple[Figure, ...]
    uses: tuple[Fact, ...]
    """How many values stand on it, how many of them are not closed, how many were lost and why."""
    standing: DieList
    lost: DieList
    facts: tuple[Fact, ...]
    """Every condition of the record."""
    state: tuple[Fact, ...]
    substrate: tuple[Fact, ...]
    lines: tuple[Fact, ...]
    """The line medium of TRL; none for other methods."""
    definitions: Table
    sweeps: Table
    probes: Table
    notes: tuple[NoteText, ...]
    sources: Table


def calibration_page(
    result: CalibrationResult,
    results: CampaignResults,
    drawings: Mapping[str, Drawing],
) -> Page:
    """The page of one calibration. drawings: by the keys of `calibration_drawings`."""
    address = addresses.calibration(result.record.id)
    return Page(
        address,
        render(
            "calibration",
            view(result, results, drawings),
            shell(results.context.record, address, f"Calibration {result.record.id}"),
        ),
    )


def view(
    result: CalibrationResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> CalibrationView:
    """What a calibration's page shows."""
    record = result.record
    page = addresses.calibration(record.id)
    use = results.uses[record.id]
    station = link(record.station, addresses.relative(addresses.station(record.station), page))
    verified = [one for one in results.verifications if one.record.calibration == record.id]
    made, verdict, *rest = event_sentences.calibration(result, station, use, page, verified)
    return CalibrationView(
        title=f"Calibration {record.id}",
        lead=(made, verdict, *evidence(result, verified, use, page), *rest),
        causes=tuple(str(capital(each)) for each in result.candidates),
        findings=_findings(results, page),
        checks=calibration_checks.groups(result, station, page),
        determined=tuple(
            text
            for text in (
                calibration_checks.determined(result, page),
                calibration_checks.redundancy(result, page),
            )
            if text
        ),
        remarks=tuple(unbroken(str(capital(each))) for each in result.notes),
        verifications=_verifications(verified, result, page),
        curves=calibration_quantities.figures(result, drawings, page),
        quantities=calibration_quantities.quantities(result),
        comparisons=calibration_quantities.comparisons(result, drawings, page),
        term_figures=calibration_quantities.term_figures(result, drawings, page),
        terms=calibration_quantities.terms(result),
        uncertainty=calibration_budget.introduction(result, page),
        uncertainty_sources=calibration_budget.sources(result),
        meanings=calibration_budget.meanings(result),
        overview=calibration_budget.overview(result),
        budgets=calibration_budget.budgets(result, drawings, page),
        monte_carlo=calibration_budget.monte_carlo(result.monte_carlo),
        simulated=tuple(
            figure(drawing, page) for key, drawing in drawings.items() if key == "simulated"
        ),
        uses=_uses(use) if results.wafer_records else (),
        standing=_standing(use, page),
        lost=_lost(use, page),
        facts=calibration_record.facts(result, station, page),
        state=calibration_record.state(record),
        substrate=calibration_record.substrate(record),
        lines=calibration_record.line_medium(record),
        definitions=calibration_record.definitions(record),
        sweeps=calibration_record.sweeps(record),
        probes=calibration_record.probes(record),
        notes=tuple(
            note_text(note) for note in results.notes if note.subject == f"calibration {record.id}"
        ),
        sources=sources(results.sources, f"calibrations/{record.id}/"),
    )


def _findings(results: CampaignResults, page: str) -> tuple[Finding, ...]:
    return tuple(
        finding_line(each, page)
        for each in in_order(results.findings)
        if each.address.partition("#")[0] == page
    )


def _standing(use: CalibrationUse, page: str) -> DieList:
    return die_list(
        "standing",
        "Dies with a value that stands on it",
        use.dies_standing,
        page,
        "No value stands on this calibration.",
    )


def _lost(use: CalibrationUse, page: str) -> DieList:
    return die_list(
        "lost",
        "Dies with a value that refers to it and has no standing",
        use.dies_lost,
        page,
        "No value that refers to this calibration has lost its standing.",
    )


def sources(found: Sequence[SourceFile], folder: str) -> Table:
    """The files of a record's folder with their digests."""
    return Table(
        id="sources",
        caption="Files that this page was made from, as they were when they were read",
        columns=(Column("File"), Column("Size / B", True), Column("SHA-256")),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(source.path), source.path),
                (
                    count_cell(source.size_bytes),
                    Cell(Markup('<code class="digest">{}</code>').format(source.sha256)),
                ),
            )
            for source in found
            if source.path.startswith(folder)
        ),
        empty="No file of this record was read.",
        wide=True,
    )


def _uses(use: CalibrationUse) -> tuple[Fact, ...]:
    reasons = ", ".join(
        f"{reason} {number_of(count)}" for reason, count in event_sentences.by_count(use)
    )
    lost = number_of(use.values_lost) + (f" ({reasons})" if reasons else "")
    return (
        Fact("Values that stand on it", number_of(use.values_standing)),
        Fact("Of these not closed", number_of(use.values_not_closed)),
        Fact("Values without standing", lost),
    )


def _worst(verification: VerificationResult) -> str:
    """'S22 of line at 92 GHz: 118 % of its mask'."""
    worst = worst_point(verification)
    if worst is None:
        return units.MISSING
    return (
        f"{worst.parameter} of {worst.structure} at {frequency(worst.frequency_hz)}:"
        f" {ratio_text(worst.ratio)} of its mask"
    )


def _against_validity(verification: VerificationResult, calibration: CalibrationResult) -> str:
    """Whether it was made inside the validity, as far as the two records state it."""
    made, verified = calibration.record, verification.record
    if verification.outside:
        return unbroken(str(capital(verification.outside)))
    if verification.made_at < calibration.made_at or made.instrument != verified.instrument:
        return units.MISSING
    bounded = made.validity.substrate_change_c is not None
    if bounded and (made.substrate_c is None or verified.substrate_c is None):
        return "inside; the substrate's temperature is not stated"
    return "inside"


def _verifications(
    verified: Sequence[VerificationResult], calibration: CalibrationResult, page: str
) -> Table:
    return Table(
        id="verifications",
        caption="Verifications of this calibration",
        columns=(
            Column("Verification"),
            Column("Made"),
            Column("Outcome"),
            Column("Held against the calibration's validity"),
            Column("Structures", True),
            Column("Worst point"),
        ),
        rows=tuple(
            Row(
                Cell(
                    link(
                        each.record.id,
                        addresses.relative(addresses.verification(each.record.id), page),
                    )
                ),
                (
                    Cell(time_tag(each.made_at)),
                    Cell(marked(each.outcome)),
                    Cell(_against_validity(each, calibration)),
                    Cell(figure_of(len(each.structures)), "", True),
                    Cell(_worst(each)),
                ),
            )
            for each in verified
        ),
        empty="No verification of this calibration is in the record.",
    )
