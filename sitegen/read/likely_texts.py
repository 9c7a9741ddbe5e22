"""What stands in a column that has another type than its content: numbers as text, Excel's dates.

Only the first texts of a column are looked at closely; a header row is looked for in all.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

LOOKED_AT = 1000
"""How many texts of a column are looked at: what a file writes in one way it writes so at once."""
_POINT = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_COMMA = re.compile(r"\s*[+-]?\d+,\d+([eE][+-]?\d+)?\s*", re.ASCII)
_SERIAL_DAYS = (20_000.0, 80_000.0)
"""Days since 1899-12-30 from 1954 to 2119: how spreadsheets store times."""
_EPOCHS = (
    ("seconds", 1e9, 3e9, 1.0),
    ("milliseconds", 1e12, 3e12, 1e3),
    ("microseconds", 1e15, 3e15, 1e6),
    ("nanoseconds", 1e18, 3e18, 1e9),
)
"""Times since 1970 that lie between 2001 and 2065."""
_SPREADSHEET_ORIGIN = datetime(1899, 12, 30)
_EPOCH = datetime(1970, 1, 1)


@dataclass(frozen=True)
class Slip:
    """What is likely wrong with a column."""

    found: str
    """As a phrase, with an example."""
    remedy: str
    cause: str
    """Heading of its group."""


def is_text(kind: pa.DataType) -> bool:
    """Whether a column holds text, dictionaries of text included."""
    kind = kind.value_type if pa.types.is_dictionary(kind) else kind
    types = pa.types
    return bool(types.is_string(kind) or types.is_large_string(kind) or types.is_string_view(kind))


def header_rows(columns: dict[str, pa.ChunkedArray]) -> list[int]:
    """Rows, from 1, in which every text column has its own name: a header row written again.

    `columns` are the text columns by name; none or one: no row is one.
    """
    if len(columns) < 2:
        return []
    same = None
    for name, column in columns.items():
        texts = column.cast(pa.string())
        mine = pc.fill_null(pc.equal(pc.utf8_trim_whitespace(texts), name), False)
        same = mine if same is None else pc.and_(same, mine)
    return [int(row) + 1 for row in np.flatnonzero(np.asarray(same, np.bool_))]


def slip_of_text(column: pa.ChunkedArray, wants_time: bool) -> Slip | None:
    """What is likely wrong with text where numbers or times should stand; None: nobody knows."""
    texts = [text for text in column.slice(0, LOOKED_AT).cast(pa.string()).to_pylist() if text]
    if not texts:
        return None
    if wants_time:
        if not all(_is_moment(text) for text in texts):
            return None
        remedy = "Write the column as timestamps in UTC."
        return Slip(f'times as text, such as "{texts[0]}"', remedy, "Times")
    if all(_POINT.fullmatch(text) for text in texts):
        remedy = "Write the column as float64 or as integers, without quotes."
        return Slip(f'numbers as text, such as "{texts[0]}"', remedy, "Numbers written as text")
    fits = [bool(_COMMA.fullmatch(text) or _POINT.fullmatch(text)) for text in texts]
    if all(fits):
        example = next(text for text in texts if _COMMA.fullmatch(text))
        remedy = "Write the column as float64, with decimal points."
        return Slip(
            f'numbers with decimal commas as text, such as "{example}"', remedy, "Decimal commas"
        )
    return None


def _is_moment(text: str) -> bool:
    try:
        datetime.fromisoformat(text.strip())
    except ValueError:
        return False
    return True


def slip_of_times(column: pa.ChunkedArray) -> Slip | None:
    """What numbers in a column of times are: a spreadsheet's dates, or a count since 1970."""
    numbers = np.asarray(
        column.cast(pa.float64(), safe=False).drop_null().to_numpy(), dtype=np.float64
    )
    numbers = numbers[np.isfinite(numbers)]
    if not len(numbers):
        return None
    low, high = float(numbers.min()), float(numbers.max())
    remedy = "Write the column as timestamps in UTC; the zone of such numbers is not known."
    if _SERIAL_DAYS[0] <= low and high <= _SERIAL_DAYS[1]:
        day = _SPREADSHEET_ORIGIN + timedelta(days=float(numbers[0]))
        found = (
            f"numbers that look like a spreadsheet's dates, such as {numbers[0]:.10g}"
            f" ({day.isoformat(' ', 'minutes')})"
        )
        return Slip(found, remedy, "Times")
    for word, least, most, a_second in _EPOCHS:
        if least <= low and high <= most:
            at = _EPOCH + timedelta(seconds=float(numbers[0]) / a_second)
            found = (
                f"numbers that look like {word} since 1970, such as {numbers[0]:.10g}"
                f" ({at.isoformat(' ', 'minutes')} UTC)"
            )
            return Slip(found, "Write the column as timestamps in UTC.", "Times")
    return None


def listed(names: Sequence[str]) -> str:
    """'column "value"', 'columns "die_x", "die_y" and "value"'."""
    quoted = [f'"{name}"' for name in names]
    if len(quoted) == 1:
        return f"column {quoted[0]}"
    return f"columns {', '.join(quoted[:-1])} and {quoted[-1]}"
