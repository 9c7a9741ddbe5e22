"""View of the page of findings and faults: all of them, grouped."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.results import CampaignResults
from sitegen.problems import Fault, Finding
from sitegen.render import sentences
from sitegen.render.environment import render
from sitegen.render.findings import in_order
from sitegen.render.page import Page
from sitegen.render.phrases import capital, link, number_of
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
    """Findings of one weight."""

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
    faults: tuple[Table, ...]
    """Faults of the input; a sentence stands where there are none."""


def problems_page(results: CampaignResults) -> Page:
    """The page of all findings and faults."""
    address = addresses.PROBLEMS
    around = shell(results.context.record, address, "Findings and faults")
    return Page(address, render("problems", view(results), around))


def view(results: CampaignResults) -> ProblemsView:
    """What the page of findings and faults shows."""
    page = addresses.PROBLEMS
    found = in_order(results.findings)
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
        faults=_faults(sorted(results.faults)),
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


def _faults(found: Sequence[Fault]) -> tuple[Table, ...]:
    rows = [
        Row(
            Cell(Markup("<code>{}</code>").format(each.file), each.file),
            (
                Cell(each.place or "the whole file"),
                Cell(_found(each)),
                Cell(each.expected),
                Cell(each.remedy),
            ),
        )
        for each in found
    ]
    return split(
        "fault-table",
        "Faults of the input, and how each is mended",
        (
            Column("File"),
            Column("Place"),
            Column("Found"),
            Column("Expected"),
            Column("Remedy"),
        ),
        rows,
        "No fault was found in the input.",
        wide=True,
    )
