"""View of the page of downloads: every table with its columns."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.results import CampaignResults, TableFile
from sitegen.render.environment import render
from sitegen.render.page import Page
from sitegen.render.phrases import counted, figure_of, number_of
from sitegen.render.pieces import Cell, Column, Link, Row, Table
from sitegen.render.shell import shell


@dataclass(frozen=True, slots=True)
class Download:
    """A table in data/ with its forms and its columns."""

    id: str
    title: str
    text: str
    files: tuple[Link, ...]
    columns: Table


@dataclass(frozen=True, slots=True)
class DataView:
    """Contract of templates/data.html."""

    title: str
    lead: tuple[Markup, ...]
    downloads: tuple[Download, ...]
    sources: Table
    """Every file of the campaign that was read."""


def data_page(results: CampaignResults) -> Page:
    """The page of downloads."""
    around = shell(results.context.record, addresses.DATA, "Data")
    return Page(addresses.DATA, render("data", view(results), around))


def view(results: CampaignResults) -> DataView:
    """What the page of downloads shows."""
    count = len(results.tables)
    lead = (
        f"{counted(count, 'table').capitalize()}, each as Parquet and as CSV; every number on"
        " these pages comes from them."
        if count
        else "This publication has no table to download."
    )
    return DataView(
        title="Data",
        lead=(Markup(lead),),
        downloads=tuple(_download(table) for table in results.tables),
        sources=_sources(results),
    )


def _download(table: TableFile) -> Download:
    return Download(
        id=f"table-{table.name}",
        title=table.name,
        text=f"{table.description} ({units.count(table.rows, 'row')})",
        files=tuple(
            Link(f"{address.rpartition('/')[2]} ({_size(size)})", _href(address))
            for address, size in table.files
        ),
        columns=Table(
            id=f"columns-{table.name}",
            caption=f"Columns of {table.name}",
            columns=(Column("Column"), Column("Type"), Column("Meaning")),
            rows=_rows(table.columns),
            wide=True,
        ),
    )


def _href(address: str) -> str:
    return addresses.relative(address, addresses.DATA)


def _rows(columns: Sequence[tuple[str, str, str]]) -> tuple[Row, ...]:
    return tuple(
        Row(
            Cell(Markup("<code>{}</code>").format(name), name),
            (Cell(kind), Cell(meaning)),
        )
        for name, kind, meaning in columns
    )


def _size(size_bytes: int) -> str:
    """'12 kB'."""
    for factor, unit in ((1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if size_bytes >= factor:
            return f"{figure_of(size_bytes / factor, 3)}{units.THIN}{unit}"
    return f"{number_of(size_bytes)}{units.THIN}B"


def _sources(results: CampaignResults) -> Table:
    return Table(
        id="sources",
        caption="Files of the campaign that were read, by folder",
        columns=(Column("Folder"), Column("Files", True), Column("Size", True)),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(folder), folder),
                (
                    Cell(number_of(count), str(count), True),
                    Cell(_size(size), str(size), True),
                ),
            )
            for folder, (count, size) in sorted(_folders(results).items())
        ),
        empty="No file was read.",
    )


def _folders(results: CampaignResults) -> dict[str, tuple[int, int]]:
    found: dict[str, tuple[int, int]] = {}
    for source in results.sources:
        folder = source.path.rpartition("/")[0] or "."
        count, size = found.get(folder, (0, 0))
        found[folder] = (count + 1, size + source.size_bytes)
    return found
