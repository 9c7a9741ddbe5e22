"""The pieces that views are made of, one for each macro in templates/parts."""

from dataclasses import dataclass

from markupsafe import Markup

Text = str | Markup
"""Text of a view: a plain string is escaped where it is printed, Markup is printed as it is."""


@dataclass(frozen=True, slots=True)
class Link:
    """A link, its address relative to the page that it stands on."""

    text: str
    href: str


@dataclass(frozen=True, slots=True)
class Fact:
    """A term and what stands for it."""

    term: Text
    text: Text


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table."""

    heading: Text
    numeric: bool = False
    """True: numbers, set flush right."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a table."""

    text: Text
    sort: str = ""
    """What the column is sorted by where the text will not do: a plain number or word."""
    numeric: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table; its first cell heads it."""

    head: Cell
    cells: tuple[Cell, ...]
    style: str = ""
    """CSS class of the row: 'aside' for a value that does not count."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption; it scrolls in a region of its own where it is too wide."""

    id: str
    caption: Text
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    empty: str = "Nothing to show."
    """What stands instead of a table without rows."""
    wide: bool = False
    """True: long texts inside, so cells wrap."""
    ordered: bool = False
    """True: the order of its rows says something; it is not sorted or filtered."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing shown as a picture, with its caption and the table behind it."""

    src: str
    alt: str
    caption: Text
    width: int
    height: int
    broad: bool
    """True: too wide to stand beside another."""
    href: str = ""
    """Page the picture leads to; empty: the drawing itself, on its own."""
    behind: Link | None = None
    """The table behind the drawing."""
    id: str = ""
    """Anchor, where links lead to the drawing."""


@dataclass(frozen=True, slots=True)
class InlineFigure:
    """A drawing inside the page, in a region of its own that scrolls, with its caption."""

    svg: Markup
    label: str
    """Name of the region that it scrolls in."""
    caption: Text
    behind: Link | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding or a fault as a line."""

    weight: str
    """'decision', 'attention', 'note' or 'fault'."""
    text: Text


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution: what can hurt, and how the trade usually meets it."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class NoteText:
    """A note as safe HTML."""

    title: str
    file: str
    html: Markup


@dataclass(frozen=True, slots=True)
class DiesOnWafer:
    """Some dies of one wafer, each with its page."""

    wafer: Link
    text: str
    """'14 dies'."""
    dies: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class DieList:
    """Dies by wafer under a title."""

    id: str
    title: str
    wafers: tuple[DiesOnWafer, ...]
    empty: str
    """What stands instead of a list without dies."""
