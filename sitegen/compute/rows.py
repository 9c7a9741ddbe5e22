"""Rows of a table as arrays: what is done for many small groups of rows is done on these."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen.model.result_tables import RESULT_COLUMNS

Rows = Mapping[str, npt.NDArray[Any]]
"""Columns of one length by name: numbers float64 with NaN, truth values bool, text as objects, None
where there is nothing."""
_KINDS = {name: kind for name, kind, _ in RESULT_COLUMNS}


def rows_of(table: pd.DataFrame, names: Sequence[str]) -> Rows:
    """Those of these columns of `RESULT_COLUMNS` that the table has; numbers, text and truth."""
    return {name: _column(name, table[name]) for name in names if name in table}


def count_of(rows: Rows) -> int:
    """How many rows there are."""
    return len(next(iter(rows.values())))


def taken(rows: Rows, where: npt.NDArray[Any]) -> Rows:
    """Some of the rows: where (n,) is True, or those at the places given."""
    return {name: column[where] for name, column in rows.items()}


def groups_of(rows: Rows, keys: Sequence[str]) -> Iterator[tuple[tuple[Hashable, ...], Rows]]:
    """Rows that agree in `keys`, with what they agree in; each group in the order of the table."""
    if not count_of(rows):
        return
    codes = [pd.factorize(rows[key]) for key in keys]
    code = np.zeros(count_of(rows), dtype=np.int64)
    for of_key, names in codes:
        code = code * (len(names) + 1) + of_key
    order = np.argsort(code, kind="stable")
    starts = np.flatnonzero(np.diff(code[order], prepend=code[order[0]] - 1))
    for part in np.split(order, starts[1:]):
        yield tuple(rows[key][part[0]] for key in keys), taken(rows, part)


def _column(name: str, column: "pd.Series[Any]") -> npt.NDArray[Any]:
    kind = _KINDS[name]
    if pa.types.is_boolean(kind):
        return np.asarray(column.eq(True), dtype=bool)
    if pa.types.is_string(kind):
        values = column.to_numpy(dtype=object)
        return np.array([None if one is pd.NA or one != one else one for one in values], object)
    return np.asarray(column.to_numpy(dtype=np.float64, na_value=np.nan))
