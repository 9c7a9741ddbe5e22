"""View of a calibration's page: its checks, its error terms, its record, and what stands on it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import CalibrationResult, Check, Term
from sitegen.model.loaded import SourceFile
from sitegen.model.results import CalibrationUse, CampaignResults, Drawing
from sitegen.render import calibration_record, event_sentences
from sitegen.render.die_lists import die_list
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.marks import marked
from sitegen.render.page import Page
from sitegen.render.phrases import (
    figure_of,
    frequency,
    limits,
    link,
    number_of,
    plain,
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
)
from sitegen.render.shell import shell

SHOWN_FREQUENCIES = 9
"""At how many frequencies the table of error terms has them; all are in the data."""

SHARE_OF_FREQUENCIES = "frequencies determined"
"""Check whose figure is the share of the frequencies that have error terms."""
COUNTED = "contacts"
"""First word of the check whose figure is a count."""


@dataclass(frozen=True, slots=True)
class CalibrationView:
    """Contract of templates/calibration.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Finding, ...]
    checks: Table
    remarks: tuple[str, ...]
    """What the solution said of itself."""
    figures: tuple[Figure, ...]
    terms: Table
    uses: tuple[Fact, ...]
    """How many values stand on it, how many of them are not closed, how many were lost and why."""
    standing: DieList
    lost: DieList
    verifications: Table
    facts: tuple[Fact, ...]
    """Every condition of the record."""
    state: tuple[Fact, ...]
    substrate: tuple[Fact, ...]
    definitions: Table
    sweeps: Table
    notes: tuple[NoteText, ...]
    sources: Table


def calibration_page(
    result: CalibrationResult,
    results: CampaignResults,
    drawings: Mapping[str, Drawing],
) -> Page:
    """The page of one calibration. drawings: 'terms-<family>'."""
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
    return CalibrationView(
        title=f"Calibration {record.id}",
        lead=event_sentences.calibration(result, station, use, page),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        ),
        checks=_checks(result),
        remarks=result.notes,
        figures=tuple(
            figure(drawing, page, None, Link("Table", "#terms"))
            for key, drawing in drawings.items()
            if key.startswith("terms-")
        ),
        terms=_terms(result),
        uses=_uses(use),
        standing=die_list(
            "standing",
            "Dies with a value that stands on it",
            use.dies_standing,
            page,
            "No value stands on this calibration.",
        ),
        lost=die_list(
            "lost",
            "Dies with a value that refers to it and has no standing",
            use.dies_lost,
            page,
            "No value that refers to this calibration has lost its standing.",
        ),
        verifications=_verifications(record.id, results, page),
        facts=calibration_record.facts(result, station),
        state=calibration_record.state(record),
        substrate=calibration_record.substrate(record),
        definitions=calibration_record.definitions(record),
        sweeps=calibration_record.sweeps(record),
        notes=tuple(
            note_text(note) for note in results.notes if note.subject == f"calibration {record.id}"
        ),
        sources=sources(results.sources, f"calibrations/{record.id}/"),
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
                    Cell(number_of(source.size_bytes), str(source.size_bytes), True),
                    Cell(Markup('<code class="digest">{}</code>').format(source.sha256)),
                ),
            )
            for source in found
            if source.path.startswith(folder)
        ),
        empty="No file of this record was read.",
        wide=True,
    )


def _checks(result: CalibrationResult) -> Table:
    def word(check: Check) -> str:
        if check.passed is not None:
            return "met" if check.passed else "missed"
        return "shown, not judged" if check.figure is not None else "not determined"

    def row(check: Check) -> Row:
        factor, unit = units.shown_unit([check.figure, check.lower, check.upper], check.unit)
        return Row(
            Cell(check.name),
            (
                Cell(_found(check, factor, len(result.frequency_hz)), plain(check.figure), True),
                Cell(unit),
                Cell(limits(check.lower, check.upper, factor), "", True),
                Cell(marked(word(check))),
                Cell(check.text),
            ),
        )

    return Table(
        id="checks",
        caption="Checks of the calibration against the bounds that its record gives",
        columns=(
            Column("Check"),
            Column("Found", True),
            Column("Unit"),
            Column("Bound", True),
            Column("Outcome"),
            Column("What was found"),
        ),
        rows=tuple(row(check) for check in result.checks),
        empty="No check could be made.",
        wide=True,
    )


def _found(check: Check, factor: float, frequencies: int) -> str:
    """A check's figure: a count as a whole number, the share of frequencies as '201 of 201'."""
    if check.figure is None:
        return units.MISSING
    if check.name == SHARE_OF_FREQUENCIES:
        return f"{number_of(round(check.figure * frequencies))} of {number_of(frequencies)}"
    if check.name.startswith(COUNTED):
        return number_of(round(check.figure))
    return units.number(check.figure * factor, 3)


def _terms(result: CalibrationResult) -> Table:
    places = _places(len(result.frequency_hz))
    return Table(
        id="terms",
        caption="Magnitude of the error terms in dB at some frequencies",
        columns=(
            Column("Error term"),
            Column("Symbol"),
            *(Column(frequency(float(result.frequency_hz[at])), True) for at in places),
        ),
        rows=tuple(_term_row(term, places) for term in result.terms),
        empty="There are no error terms: the calibration could not be solved.",
    )


def _places(length: int) -> tuple[int, ...]:
    """At most `SHOWN_FREQUENCIES` places, evenly from the first to the last."""
    if length <= SHOWN_FREQUENCIES:
        return tuple(range(length))
    last = SHOWN_FREQUENCIES - 1
    return tuple(round(step * (length - 1) / last) for step in range(SHOWN_FREQUENCIES))


def _term_row(term: Term, places: Sequence[int]) -> Row:
    def cell(at: int) -> Cell:
        magnitude = abs(complex(term.values[at]))
        if not math.isfinite(magnitude):
            return Cell("not determined", "", True)
        if magnitude == 0:
            return Cell("zero", "", True)
        level_db = 20 * math.log10(magnitude)
        return Cell(f"{level_db:.2f}".replace("-", units.MINUS), plain(level_db), True)

    return Row(Cell(term.name), (Cell(term.symbol), *(cell(at) for at in places)))


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


def _verifications(calibration: str, results: CampaignResults, page: str) -> Table:
    return Table(
        id="verifications",
        caption="Verifications of this calibration",
        columns=(
            Column("Verification"),
            Column("Made"),
            Column("Outcome"),
            Column("Structures", True),
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
                    Cell(figure_of(len(each.structures)), "", True),
                ),
            )
            for each in results.verifications
            if each.record.calibration == calibration
        ),
        empty="No verification of this calibration is in the record.",
    )
