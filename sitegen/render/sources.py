"""View of the page of sources: files that a station left, and how they are understood."""

from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.loaded import Gathered
from sitegen.model.mapping import GATHERED_LIST, MAPPING_FILE
from sitegen.model.results import CampaignResults
from sitegen.model.source_use import SourceUse
from sitegen.render.cells import count_cell
from sitegen.render.downloads import file_link, file_size
from sitegen.render.environment import render
from sitegen.render.page import Page
from sitegen.render.phrases import capital, counted, instant, joined, link, time_tag
from sitegen.render.pieces import Cell, Column, Fact, Row, Table, Text
from sitegen.render.shell import shell
from sitegen.render.source_facts import source_facts

MOST_SHOWN = 25
"""Rows of the list of gathered files on the page; all of them stand in the table of data/."""
TABLE = "gathered-files"
TITLE = "Files that a station left"


@dataclass(frozen=True, slots=True)
class SourceView:
    """A source of mapping.toml in words, and the columns of its tables."""

    id: str
    title: str
    facts: tuple[Fact, ...]
    columns: Table | None
    """None of sweeps, which have no columns to map."""


@dataclass(frozen=True, slots=True)
class SourcesView:
    """Contract of templates/sources.html."""

    title: str
    lead: tuple[Markup, ...]
    summary: Table | None
    """Each source in counts; None without a mapping."""
    sources: tuple[SourceView, ...]
    gathered: Table | None
    """None where nothing was gathered."""
    downloads: tuple[Markup, ...]
    """The whole list of gathered files, in each form."""


def has_sources(results: CampaignResults) -> bool:
    """Whether the campaign has files that a station left: only then it has the page."""
    return bool(results.source_uses or results.gathered)


def sources_link(page: str) -> Markup:
    """The page of sources, as a link within a sentence."""
    return link("files that a station left", addresses.relative(addresses.SOURCES, page))


def sources_page(results: CampaignResults) -> Page:
    """The page of sources."""
    around = shell(results.context.record, addresses.SOURCES, TITLE)
    return Page(addresses.SOURCES, render("sources", view(results), around))


def view(results: CampaignResults) -> SourcesView:
    """What the page of sources shows."""
    gathered = results.gathered
    return SourcesView(
        title=TITLE,
        lead=_lead(results),
        summary=_summary(results) if results.source_uses else None,
        sources=tuple(_source(use, results) for use in results.source_uses),
        gathered=_gathered(results) if gathered else None,
        downloads=tuple(
            file_link(address, size, addresses.SOURCES)
            for table in results.tables
            if table.name == TABLE
            for address, size in table.files
        ),
    )


def _lead(results: CampaignResults) -> tuple[Markup, ...]:
    uses, gathered = results.source_uses, results.gathered
    files = sum(use.files for use in uses)
    sentences = []
    if uses:
        sentences.append(
            Markup(
                "{} of the campaign {} as a station wrote {}; {} in <code>{}</code> {} how {} to"
                " be understood."
            ).format(
                capital(counted(files, "file")),
                *(("stands", "it") if files == 1 else ("stand", "them")),
                counted(len(uses), "source"),
                MAPPING_FILE,
                "says" if len(uses) == 1 else "say",
                "it is" if files == 1 else "they are",
            )
        )
    if gathered:
        sentences.append(
            Markup(
                "{} {} copied byte for byte from a station's tree, the last at {}, and listed in"
                " <code>{}</code> with {}."
            ).format(
                capital(counted(len(gathered), "file")),
                "was" if len(gathered) == 1 else "were",
                time_tag(max(one.gathered_at for one in gathered)),
                GATHERED_LIST,
                "its digest" if len(gathered) == 1 else "their digests",
            )
        )
    return tuple(sentences)


def _summary(results: CampaignResults) -> Table:
    return Table(
        id="summary",
        caption="Sources: what they hold and how much the campaign has of it",
        columns=(
            Column("Source"),
            Column("Holds"),
            Column("Pattern"),
            Column("Files", True),
            Column("Wafers", True),
        ),
        rows=tuple(
            Row(
                Cell(link(use.source.id, f"#source-{use.source.id}"), use.source.id),
                (
                    Cell(use.source.holds),
                    Cell(Markup("<code>{}</code>").format(use.source.files)),
                    count_cell(use.files),
                    count_cell(len(use.wafers)),
                ),
            )
            for use in results.source_uses
        ),
        wide=True,
    )


def _source(use: SourceUse, results: CampaignResults) -> SourceView:
    wafers = [
        link(wafer, addresses.relative(addresses.wafer(wafer), addresses.SOURCES))
        for wafer in use.wafers
        if wafer in {one.id for one in results.wafer_records}
    ]
    files: Text = capital(counted(use.files, "file"))
    if wafers:
        files = Markup("{} of {} {}").format(
            files, "wafer" if len(wafers) == 1 else "wafers", joined(wafers)
        )
    return SourceView(
        id=f"source-{use.source.id}",
        title=f"Source {use.source.id}",
        facts=(Fact("Files", files), *source_facts(use.source)),
        columns=_columns(use) if use.source.columns else None,
    )


def _columns(use: SourceUse) -> Table:
    return Table(
        id=f"columns-{use.source.id}",
        caption=f"Columns of source {use.source.id}",
        columns=(Column("Column of the file"), Column("What it is"), Column("Unit")),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(column.theirs), column.theirs),
                (
                    Cell(
                        f"values of the parameter {column.parameter}"
                        + (f" under {column.condition}" if column.condition else "")
                        if column.parameter
                        else Markup("<code>{}</code>").format(column.ours)
                    ),
                    Cell(column.unit or "none stated"),
                ),
            )
            for column in use.source.columns
        ),
        wide=True,
        ordered=True,
    )


def _gathered(results: CampaignResults) -> Table:
    rows = results.gathered
    shown = rows[:MOST_SHOWN]
    size = file_size(sum(one.bytes for one in rows))
    which = "all of them" if len(shown) == len(rows) else f"the first {len(shown)} of them"
    return Table(
        id="gathered",
        caption=f"Gathered files: {len(rows)} with {size} together; {which}",
        columns=(
            Column("File"),
            Column("Source"),
            Column("Size", True),
            Column("Last written"),
            Column("SHA-256"),
        ),
        rows=tuple(_row(one) for one in shown),
        wide=True,
    )


def _row(one: Gathered) -> Row:
    return Row(
        Cell(Markup("<code>{}</code>").format(one.file), one.file),
        (
            Cell(one.source),
            Cell(file_size(one.bytes), str(one.bytes), True),
            Cell("not known" if one.modified_at is None else instant(one.modified_at)),
            Cell(Markup("<code>{}</code>").format(one.sha256), one.sha256),
        ),
    )
