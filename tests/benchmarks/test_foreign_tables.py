"""A foreign table costs little more than a general-purpose reader of the same dialect takes."""

import io
from pathlib import Path

import numpy as np
import pandas as pd

from sitegen.model.mapping import MappedColumn, Source
from sitegen.read.files import Intake
from sitegen.read.foreign.numbers import decimal_of, numbers_of
from sitegen.read.foreign.text_table import read_text_table
from tests.benchmarks.processor_time import best_s

MOST = 1.5
"""Times the reference; 0.5 to 0.7 where it was written."""
LINES, COLUMNS = 20_000, 12


def test_a_table_with_decimal_commas(tmp_path: Path) -> None:
    """Against pandas' own reader in Python, which knows separators and decimal marks as well."""
    names = [f"C{place}" for place in range(COLUMNS)]
    row = ";".join(f"{value:.6e}".replace(".", ",") for value in np.linspace(-1, 1, COLUMNS))
    content = (";".join(names) + "\n" + f"{row}\n" * LINES).encode()
    columns = tuple(MappedColumn(theirs=name, ours="value") for name in names)
    source = Source(id="s", files="*.csv", holds="values", columns=columns)

    def ours() -> None:
        table = read_text_table(Intake(tmp_path), "a.csv", content, source)
        assert table is not None and len(table.lines) == LINES
        mark = decimal_of(table.columns, table.dialect)
        dialect = table.dialect.model_copy(update={"decimal": mark})
        assert all(not numbers_of(column, dialect)[1].any() for column in table.columns)

    def theirs() -> None:
        frame = pd.read_csv(io.BytesIO(content), sep=";", decimal=",", engine="python")
        assert frame.shape == (LINES, COLUMNS)

    ratio = best_s(ours, 3) / best_s(theirs, 2)
    print(f"a foreign table takes {ratio:.2f} times the reference")
    assert ratio <= MOST
