"""View of the page of findings and faults: all of them, grouped."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.results import CampaignResults
from sitegen.problems import Fault, FaultGroup, Finding, grouped
from sitegen.render import sentences
from sitegen.render.environment import render
from sitegen.render.findings import in_order, told
from sitegen.render.page import Page
from sitegen.render.phrases import capital, counted, link, number_of
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.shell import shell
from sitegen.render.tables import split

HEADINGS = {
    "decision": ("Needs a decision", "These change what may be concluded from the record."),
    "attention": ("Needs attention", "These should be looked at before the record is used."),
    "note": ("To be known", "These are worth knowing and change no conclusion."),
}


@dataclass(frozen=True, slots=True)
class Group:
    """Findings of one weight, or faults of one cause."""

    id: str
    title: str
    text: str
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class ProblemsView:
    """Contract of templates/problems.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Group, ...]
    fault_text: str
    """How many faults there are, or that there is none."""
    faults: tuple[Group, ...]
    """Faults of the input by cause."""


def problems_page(results: CampaignResults) -> Page:
    """The page of all findings and faults."""
    address = addresses.PROBLEMS
    around = shell(results.context.record, address, "Findings and faults")
    return Page(address, render("problems", view(results), around))


def view(results: CampaignResults) -> ProblemsView:
    """What the page of findings and faults shows."""
    page = addresses.PROBLEMS
    found = in_order(results.findings)
    groups_of_faults = grouped(results.faults)
    groups = []
    for weight, (title, text) in HEADINGS.items():
        chosen = [finding for finding in found if finding.weight == weight]
        if chosen:
            name = f"findings-{weight}"
            groups.append(Group(name, title, text, _findings(f"{name}-table", chosen, page)))
    return ProblemsView(
        title="Findings and faults",
        lead=(
            *sentences.needs(results.findings, len(results.faults), ""),
            Markup(
                "A finding is something that the measurements show; a fault is something wrong with"
                " the files that were read."
            ),
        ),
        findings=tuple(groups),
        fault_text=_counted(groups_of_faults),
        faults=tuple(
            _fault_group(number, group) for number, group in enumerate(groups_of_faults, 1)
        ),
    )


def _findings(name: str, found: Sequence[Finding], page: str) -> tuple[Table, ...]:
    rows = [
        Row(
            Cell(
                link(each.subject, addresses.relative(each.address, page))
                if each.address
                else each.subject
            ),
            (Cell(capital(each.kind)), Cell(each.text)),
        )
        for each in found
    ]
    columns = (Column("About"), Column("Kind"), Column("Finding"))
    return split(name, f"{number_of(len(found))} in all", columns, rows, "None.", wide=True)


def _found(fault: Fault) -> str:
    more = f" (and {number_of(fault.count - 1)} more like it)" if fault.count > 1 else ""
    return fault.found + more


LONGEST_WORD_COLUMN = 20
"""A phrase longer than this needs a column that is wide enough to read on a phone."""


def _phrase(text: str) -> Cell:
    """A part of a fault's sentence, wide enough to be read where it is long."""
    phrase = told(text)
    if len(phrase) <= LONGEST_WORD_COLUMN:
        return Cell(phrase)
    return Cell(Markup('<span class="words">{}</span>').format(phrase), phrase)


def _counted(groups: Sequence[FaultGroup]) -> str:
    if not groups:
        return "No fault was found in the input."
    total = counted(sum(group.count for group in groups), "fault")
    if len(groups) == 1:
        return f"{capital(total)}, of one cause."
    return f"{capital(total)} in {number_of(len(groups))} groups by cause."


def _fault_group(number: int, group: FaultGroup) -> Group:
    """The faults of one cause, and how each is mended."""
    name = f"faults-{number}"
    rows = [
        Row(
            Cell(Markup("<code>{}</code>").format(each.file), each.file),
            (
                Cell(told(each.place) or "the whole file"),
                _phrase(_found(each)),
                _phrase(each.expected),
                _phrase(each.remedy),
            ),
        )
        for each in group.faults
    ]
    headings = ("File", "Place", "Found", "Expected", "Remedy")
    tables = split(
        f"{name}-table",
        capital(counted(group.count, "fault")),
        tuple(Column(heading) for heading in headings),
        rows,
        "None.",
        wide=True,
    )
    return Group(name, group.cause, "", tables)
