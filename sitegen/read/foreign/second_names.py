"""Where a table of text names its columns a second time: the same table again, or another."""

from collections.abc import Sequence
from operator import itemgetter

from sitegen.read.foreign.mapped_columns import key_of
from sitegen.read.foreign.names_line import COMMENT_SIGNS
from sitegen.read.foreign.text_records import Layout, Records

SIGNS = "".join(COMMENT_SIGNS)


def is_number(cell: str) -> bool:
    """Whether a cell looks like one number, with a point or a comma."""
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True


def named_again(records: Records, layout: Layout) -> list[int]:
    """Indices of records with a column's name where a number should be, or with all mapped names
    at their places. Names that are numbers themselves show nothing."""
    own = [layout.names.keys[place] for place in layout.mapped]
    if all(is_number(key) for key in own):
        return []
    spelled = _spellings(layout)
    wide = [cells for cells in records.cells if layout.has_room(cells)]
    places = [
        place for place in layout.mapped if not spelled.isdisjoint(map(itemgetter(place), wide))
    ]
    if not places:
        return []
    numeric = set(layout.numeric)
    return [
        index
        for index, cells in enumerate(records.cells)
        if layout.has_room(cells)
        and any(cells[place] in spelled for place in places)
        and (
            any(place in numeric and cells[place] in spelled for place in places)
            or has_same_names(cells, layout)
        )
    ]


def _spellings(layout: Layout) -> set[str]:
    """The columns' names as they may stand on a second line."""
    keys = {key for key in layout.names.keys if key and not is_number(key)}
    cells = {cell for cell in layout.names.cells if cell.strip() and not is_number(key_of(cell))}
    spelled = keys | cells
    marked = {mark + key for mark in ("\ufeff", *COMMENT_SIGNS) for key in keys}
    return spelled | {cell.strip() for cell in spelled} | marked


def has_same_names(cells: Sequence[str], layout: Layout) -> bool:
    """Whether a record names the mapped columns at the places that they have."""
    own = layout.names.keys
    return all(
        own[place] in (key_of(cells[place]), key_of(cells[place].lstrip(SIGNS)))
        for place in layout.mapped
    )


def names_a_number(cells: list[str], layout: Layout) -> bool:
    """Whether a record as wide as a row has a column's name where a number should be."""
    names = {key for key in layout.names.keys if key and not is_number(key)}
    return layout.has_room(cells) and any(
        key_of(cells[place].lstrip(SIGNS)) in names for place in layout.numeric
    )


def lines_before(records: Records, lines: Sequence[str], layout: Layout, index: int) -> list[int]:
    """Numbers of the lines with text between the row before a record and the record."""
    row = index - 1
    while row >= 0 and not layout.has_room(records.cells[row]):
        row -= 1
    first = records.lines[row] if row >= 0 else layout.names.start
    return [
        number for number in range(first + 1, records.lines[index]) if lines[number - 1].strip()
    ]


def head_of(lines: Sequence[str], layout: Layout) -> set[str]:
    """The texts of the lines before the names."""
    return {line.strip() for line in lines[: layout.names.line - 1]} - {""}


def strange_lines(records: Records, lines: Sequence[str], layout: Layout, index: int) -> list[int]:
    """Lines before a second line of names that do not stand at the head too.

    Where nothing stands there, one with several cells is taken for a row that breaks off.
    """
    head = head_of(lines, layout)
    before = lines_before(records, lines, layout, index)
    row = index - 1
    several: set[int] = set()
    while before and not head and row >= 0 and records.lines[row] >= before[0]:
        several |= {records.lines[row]} if records.cells[row][1:] else set()
        row -= 1
    return [
        number
        for number in before
        if lines[number - 1].strip() not in head and number not in several
    ]
