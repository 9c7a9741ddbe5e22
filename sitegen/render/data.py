"""View of the page of downloads: every table with its columns."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.device_results import TypicalFile
from sitegen.model.results import CampaignResults, TableFile
from sitegen.render import typical
from sitegen.render.cells import count_cell
from sitegen.render.downloads import file_link, file_size
from sitegen.render.environment import render
from sitegen.render.handed_over import handed_over
from sitegen.render.page import Page
from sitegen.render.phrases import capital, counted, link, several
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.shell import shell
from sitegen.render.sources import has_sources, sources_link


@dataclass(frozen=True, slots=True)
class Download:
    """A table in data/, or several with the same columns."""

    id: str
    title: str
    columns: Table


@dataclass(frozen=True, slots=True)
class DataView:
    """Contract of templates/data.html."""

    title: str
    lead: tuple[Markup, ...]
    tables: Table
    """Every table with its forms."""
    downloads: tuple[Download, ...]
    handed_over: Table | None
    typical: Table | None
    """Touchstone files of the most typical dies; None where nothing was swept."""
    sources: Table
    """Every file of the campaign that was read."""


TOP = "(top of the folder)"
"""What the campaign's own folder is called among its folders."""


def data_page(results: CampaignResults, files: Sequence[TypicalFile] = ()) -> Page:
    """The page of downloads. files: of the wafers' most typical dies."""
    around = shell(results.context.record, addresses.DATA, "Data")
    return Page(addresses.DATA, render("data", view(results, files), around))


def view(results: CampaignResults, files: Sequence[TypicalFile] = ()) -> DataView:
    """What the page of downloads shows."""
    count = len(results.tables)
    lead = (
        f"{capital(counted(count, 'table'))} to download; every number on these pages comes from"
        f" {'it' if count == 1 else 'them'}."
        if count
        else "This publication has no table to download."
    )
    return DataView(
        title="Data",
        lead=(Markup(lead), *_foreign(results)),
        tables=_tables(results),
        downloads=tuple(_download(group) for group in _groups(results)),
        handed_over=handed_over(results, addresses.DATA),
        typical=typical.table(files),
        sources=_sources(results),
    )


def _foreign(results: CampaignResults) -> tuple[Markup, ...]:
    """Where the files that a station left are listed, where there are such."""
    if not has_sources(results):
        return ()
    told = Markup("How the {} are understood, and which there are, stands on a page of its own.")
    return (told.format(sources_link(addresses.DATA)),)


def _tables(results: CampaignResults) -> Table:
    return Table(
        id="tables",
        caption="Tables and their forms; each name leads to its columns",
        columns=(
            Column("Table"),
            Column("What it holds"),
            Column("Rows", True),
            Column("Download"),
        ),
        rows=tuple(
            Row(
                Cell(link(table.name, f"#table-{group[0].name}"), table.name),
                (
                    Cell(table.description),
                    count_cell(table.rows),
                    Cell(several([file_link(*each, addresses.DATA) for each in table.files])),
                ),
            )
            for group in _groups(results)
            for table in group
        ),
        empty="There is no table.",
        wide=True,
    )


def _groups(results: CampaignResults) -> tuple[tuple[TableFile, ...], ...]:
    """Tables with the same columns together, as the sweeps of the wafers are."""
    found: dict[tuple[tuple[str, str, str], ...], list[TableFile]] = {}
    for table in results.tables:
        found.setdefault(table.columns, []).append(table)
    return tuple(tuple(group) for group in found.values())


def _download(group: Sequence[TableFile]) -> Download:
    first = group[0]
    names = first.name if len(group) == 1 else f"{first.name} to {group[-1].name}"
    return Download(
        id=f"table-{first.name}",
        title=names,
        columns=Table(
            id=f"columns-{first.name}",
            caption=f"Columns of {several([table.name for table in group])}",
            columns=(Column("Column"), Column("Type"), Column("Meaning")),
            rows=_rows(first.columns),
            wide=True,
        ),
    )


def _rows(columns: Sequence[tuple[str, str, str]]) -> tuple[Row, ...]:
    return tuple(
        Row(
            Cell(Markup("<code>{}</code>").format(name), name),
            (Cell(kind), Cell(meaning)),
        )
        for name, kind, meaning in columns
    )


def _sources(results: CampaignResults) -> Table:
    return Table(
        id="sources",
        caption="Files of the campaign that were read, by folder",
        columns=(Column("Folder"), Column("Files", True), Column("Size", True)),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(folder), folder),
                (
                    count_cell(count),
                    Cell(file_size(size), str(size), True),
                ),
            )
            for folder, (count, size) in sorted(_folders(results).items())
        ),
        empty="No file was read.",
    )


def _folders(results: CampaignResults) -> dict[str, tuple[int, int]]:
    found: dict[str, tuple[int, int]] = {}
    for source in results.sources:
        folder = source.path.rpartition("/")[0] or TOP
        count, size = found.get(folder, (0, 0))
        found[folder] = (count + 1, size + source.size_bytes)
    return found
