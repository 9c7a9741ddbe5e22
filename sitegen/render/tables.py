"""Tables together, and long ones in parts: a longer one is slow to paint and to sort."""

from collections.abc import Sequence
from dataclasses import replace

from sitegen.render.pieces import Column, Row, Table

LONGEST = 500


def there(*tables: Table | None) -> tuple[Table, ...]:
    """Those of the tables that there are."""
    return tuple(table for table in tables if table is not None)


def filled(table: Table, wanted: bool = False) -> Table | None:
    """The table where it has rows; without, only where what it then says is wanted."""
    return table if table.rows or wanted else None


def split(
    name: str,
    caption: str,
    columns: tuple[Column, ...],
    rows: Sequence[Row],
    empty: str,
    wide: bool = False,
) -> tuple[Table, ...]:
    """One table, or parts of at most `LONGEST` rows that say which part they are."""
    if len(rows) <= LONGEST:
        return (Table(name, caption, columns, tuple(rows), empty, wide),)
    parts = [rows[start : start + LONGEST] for start in range(0, len(rows), LONGEST)]
    return tuple(
        Table(
            f"{name}-{number}",
            f"{caption}, part {number} of {len(parts)}",
            columns,
            tuple(part),
            empty,
            wide,
        )
        for number, part in enumerate(parts, 1)
    )


def compact(table: Table, blanks: Sequence[str] = ("",)) -> Table:
    """The table without the columns in which every cell is blank; its first column stays."""
    kept = [
        place
        for place in range(len(table.columns) - 1)
        if not table.rows or any(row.cells[place].text not in blanks for row in table.rows)
    ]
    return replace(
        table,
        columns=(table.columns[0], *(table.columns[place + 1] for place in kept)),
        rows=tuple(
            replace(row, cells=tuple(row.cells[place] for place in kept)) for row in table.rows
        ),
    )
