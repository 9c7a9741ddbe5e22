"""Tables together, and long ones in parts: a longer one is slow to paint and to sort."""

from collections.abc import Sequence

from sitegen.render.pieces import Column, Row, Table

LONGEST = 500


def there(*tables: Table | None) -> tuple[Table, ...]:
    """Those of the tables that there are."""
    return tuple(table for table in tables if table is not None)


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
