"""View of the reference of the record formats, made from the models that read the files."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model import tables
from sitegen.model.figures import FIGURE_FORMULAS, FIGURE_UNITS
from sitegen.model.results import CampaignResults
from sitegen.render.environment import render
from sitegen.render.fields import FILES, FieldText, RecordFile, Section, sections
from sitegen.render.page import Page
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.shell import shell

INTRODUCTION = (
    "A campaign is a folder of TOML records, Markdown notes, Touchstone sweeps and Parquet tables."
    " A record refuses fields that it does not know; a number in quotes is not a number; a time"
    " needs its zone. SI units are used, or those that a field's name states."
)

PARQUET = (
    (
        "value-table",
        "Tables of values in wafers/ID/",
        "A Parquet table that wafer.toml names under [[values]]; one row a value. Further columns"
        f" named {tables.BIAS_PREFIX}… hold measured bias.",
        tables.VALUE_COLUMNS,
    ),
    (
        "sweep-table",
        "Tables of sweeps in wafers/ID/",
        "A Parquet table that wafer.toml names under [[sweeps]]; one row a frequency.",
        tables.SWEEP_COLUMNS,
    ),
    (
        "reported-terms",
        "Table of reported error terms in calibrations/ID/",
        "A Parquet table that record.toml names as reported_terms; one row a term and frequency.",
        tables.REPORTED_TERM_COLUMNS,
    ),
)
"""Anchor, title, text and columns of each table that is read."""


METHODS = (
    (
        "one-port",
        "three or more known reflects at the one port of 'ports'; where there are more, each counts"
        " by the uncertainty that its definition states",
    ),
    (
        "SOLT",
        "three or more known reflects at each port (short, open and load) and a thru; switch terms"
        " are not needed",
    ),
    (
        "SOLR",
        "as SOLT, but the thru needs to be reciprocal only: its delay tells its sign and must be"
        " right within 60 degrees of phase; switch terms",
    ),
    (
        "LRM",
        "a thru, a load at each port, and a reflect that is equal at both ports (a reflect, a short"
        " or an open); switch terms",
    ),
    (
        "LRRM",
        "a thru, a short and an open at both ports, and a load at one port; switch terms."
        " 'load_fit' says what is found of the load: where the frequencies cannot tell it the"
        " calibration is not solved, and 'none' takes the load as defined",
    ),
    (
        "TRL",
        "lines of two or more lengths between the ports, the shortest as the thru, a reflect that"
        " is equal at both ports, and 'line_medium'; switch terms. Determined where two lines"
        " differ by 'line_phase_min_deg' to 'line_phase_max_deg', modulo 180 degrees",
    ),
    (
        "multiline TRL",
        "as TRL, from all lines at once; determined where its equations are well conditioned,"
        " whatever the phases",
    ),
)
"""What each calibration method needs."""


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
        for title, text, heads, rows in _lists()
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
        ),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(field.name), field.name),
                (
                    Cell(field.type),
                    Cell(field.unit),
                    Cell(field.default),
                    Cell(field.meaning),
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
            yield from _row("Field", "Type", "Unit", "Default", "Meaning")
            yield from _row(*("---",) * 5)
            for field in section.fields:
                yield from _field_row(field)
            yield ""
    for title, text, heads, rows in _lists():
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


def _lists() -> tuple[tuple[str, str, tuple[str, ...], tuple[tuple[str, ...], ...]], ...]:
    """Short lists of names that the records may use: title, text, heads, rows."""
    prefixes = ", ".join(name for name in units.PREFIXES if name)
    return (
        (
            "Calibration methods",
            "What each method needs among the sweeps of its record; frequencies may be spaced in"
            " any way, and all sweeps share one list. Standards may be swept in any order and lie"
            " behind offsets, a thru may be flush, and a reflect at both ports may come from one"
            " sweep or from one for each port, then as a one-port file too. Without switch terms,"
            " where they are needed, the result is noted as doubtful.",
            ("Method", "Needs"),
            METHODS,
        ),
        (
            "Figures from sweeps",
            "What a parameter's from_sweep may name; computed from the corrected sweep at one"
            " frequency, between two points by a straight line, never beyond the sweep.",
            ("Figure", "Unit", "Formula"),
            tuple((name, FIGURE_UNITS[name], FIGURE_FORMULAS[name]) for name in FIGURE_UNITS),
        ),
        (
            "Units",
            "Spellings such as ohm, uA and degC are understood; prefixes go before the symbol.",
            ("Unit", "Measures", "Prefixes"),
            tuple(
                (symbol, quantity, prefixes if prefixed else "none")
                for symbol, quantity, prefixed in units.known()
            ),
        ),
    )


def _field_row(field: FieldText) -> Iterator[str]:
    yield from _row(f"`{field.name}`", field.type, field.unit, field.default, field.meaning)


def _row(*cells: str) -> Iterator[str]:
    yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"
