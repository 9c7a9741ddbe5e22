"""View of the reference of the record formats, made from the models that read the files."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model import tables
from sitegen.model.results import CampaignResults
from sitegen.render.environment import render
from sitegen.render.fields import FILES, FieldText, RecordFile, Section, sections
from sitegen.render.page import Page
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.reference_lists import lists
from sitegen.render.shell import shell

INTRODUCTION = (
    "A campaign is a folder of TOML records, Markdown notes, Touchstone sweeps and Parquet tables."
    " A record refuses fields that it does not know; a number in quotes is not a number; a time"
    " needs its zone. SI units are used, or those that a field's name states."
)

_BIAS = f"Further columns named {tables.BIAS_PREFIX}… hold measured bias."

PARQUET = (
    (
        "value-table",
        "Tables of values in wafers/ID/",
        "A Parquet table that wafer.toml names under [[values]] or [[earlier_maps]]; one row a"
        f" value. {_BIAS} A parameter with from_sweep or from_curve stands in earlier maps only.",
        tables.VALUE_COLUMNS,
    ),
    (
        "sweep-table",
        "Tables of sweeps in wafers/ID/",
        "A Parquet table that wafer.toml names under [[sweeps]]; one row a frequency. " + _BIAS,
        tables.SWEEP_COLUMNS,
    ),
    (
        "curve-table",
        "Tables of curves in wafers/ID/",
        "A Parquet table that wafer.toml names under [[curves]]; one row a point, in the order of"
        " measurement, so that a double sweep stays what it is. Besides these columns it has those"
        " that its curves name in campaign.toml as swept, stepped, measured and also_measured, in V"
        f" or A; the measured one with {tables.AGAIN} after its name is a second reading at the"
        " same point. Rows of one key and one stepped value are one curve: write the stepped value"
        " as it was set.",
        tables.CURVE_COLUMNS,
    ),
    (
        "touchdown-table",
        "Tables of touchdowns in wafers/ID/",
        "A Parquet table that wafer.toml names under [[touchdowns]]; one row a touchdown.",
        tables.TOUCHDOWN_COLUMNS,
    ),
    (
        "reported-terms",
        "Table of reported error terms in calibrations/ID/",
        "A Parquet table that record.toml names as reported_terms; one row a term and frequency.",
        tables.REPORTED_TERM_COLUMNS,
    ),
)
"""Anchor, title, text and columns of each table that is read."""


@dataclass(frozen=True, slots=True)
class FileReference:
    """One file of a campaign with its tables of fields."""

    id: str
    title: str
    text: str
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class ReferenceView:
    """Contract of templates/reference.html."""

    title: str
    lead: tuple[Markup, ...]
    files: tuple[FileReference, ...]


def reference_page(results: CampaignResults) -> Page:
    """The reference page."""
    address = addresses.REFERENCE
    around = shell(results.context.record, address, "Reference of the record formats")
    return Page(address, render("reference", view(), around))


def view() -> ReferenceView:
    """What the reference page shows; it depends on the program alone."""
    files = [
        FileReference(
            id=file.anchor,
            title=file.title,
            text=file.text,
            tables=tuple(_fields(section, file) for section in sections(file.model)),
        )
        for file in FILES
    ]
    files += [
        FileReference(anchor_of(title), title, text, (_list(title, heads, rows),))
        for title, text, heads, rows in lists()
    ]
    files += [
        FileReference(anchor, title, text, (_columns(anchor, title, columns),))
        for anchor, title, text, columns in PARQUET
    ]
    return ReferenceView(
        title="Reference of the record formats",
        lead=(Markup(INTRODUCTION),),
        files=tuple(files),
    )


def _fields(section: Section, file: RecordFile) -> Table:
    return Table(
        id=f"{file.anchor}-{section.name.lower()}",
        caption=f"{file.title}, {section.key}: {section.text}",
        columns=(
            Column("Field"),
            Column("Type"),
            Column("Unit"),
            Column("Default"),
            Column("Meaning"),
            Column("Example"),
        ),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(field.name), field.name),
                (
                    Cell(field.type),
                    Cell(field.unit),
                    Cell(field.default),
                    Cell(field.meaning),
                    Cell(Markup("<code>{}</code>").format(field.example)),
                ),
            )
            for field in section.fields
        ),
        wide=True,
    )


def _columns(anchor: str, title: str, columns: tuple[tables.Column, ...]) -> Table:
    return Table(
        id=f"{anchor}-columns",
        caption=f"Columns: {title}",
        columns=(
            Column("Column"),
            Column("Content"),
            Column("Unit"),
            Column("Needed"),
            Column("Meaning"),
        ),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(column.name), column.name),
                (
                    Cell(_content(column)),
                    Cell(column.unit),
                    Cell("yes" if column.required else "no"),
                    Cell(column.meaning),
                ),
            )
            for column in columns
        ),
        wide=True,
    )


def _content(column: tables.Column) -> str:
    return f"{column.content} or empty" if column.may_be_empty else column.content


def reference_markdown() -> str:
    """The same reference as Markdown, for a file beside the demonstration campaigns."""
    return "\n".join(_lines()).rstrip() + "\n"


def _lines() -> Iterator[str]:
    yield "# Reference of the record formats"
    yield ""
    yield f"{INTRODUCTION} This file is generated from the models that read the records."
    yield ""
    for file in FILES:
        yield from (f"## {file.title}", "", file.text, "")
        for section in sections(file.model):
            yield from (f"### {section.key}", "", section.text, "")
            yield from _row("Field", "Type", "Unit", "Default", "Meaning", "Example")
            yield from _row(*("---",) * 6)
            for field in section.fields:
                yield from _field_row(field)
            yield ""
    for title, text, heads, rows in lists():
        yield from (f"## {title}", "", text, "")
        yield from _row(*heads)
        yield from _row(*("---",) * len(heads))
        for row in rows:
            yield from _row(*row)
        yield ""
    for _, title, text, columns in PARQUET:
        yield from (f"## {title}", "", text, "")
        yield from _row("Column", "Content", "Unit", "Needed", "Meaning")
        yield from _row(*("---",) * 5)
        for column in columns:
            needed = "yes" if column.required else "no"
            yield from _row(
                f"`{column.name}`", _content(column), column.unit, needed, column.meaning
            )
        yield ""


def anchor_of(title: str) -> str:
    """The anchor of a section by its title."""
    return title.lower().replace(" ", "-")


def _list(title: str, heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> Table:
    return Table(
        id=f"{anchor_of(title)}-list",
        caption=title,
        columns=tuple(Column(head) for head in heads),
        rows=tuple(
            Row(Cell(Markup("<code>{}</code>").format(row[0]), row[0]), tuple(map(Cell, row[1:])))
            for row in rows
        ),
    )


def _field_row(field: FieldText) -> Iterator[str]:
    yield from _row(
        f"`{field.name}`",
        field.type,
        field.unit,
        field.default,
        field.meaning,
        f"`{field.example}`",
    )


def _row(*cells: str) -> Iterator[str]:
    yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"
