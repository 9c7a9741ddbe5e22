"""The tables of data/: Parquet and CSV with the same columns, written a part at a time."""

from collections.abc import Iterable, Sequence
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

from sitegen import addresses
from sitegen.model.results import TableFile

COMPRESSION = "zstd"


def write_table(
    root: Path,
    name: str,
    description: str,
    schema: pa.Schema,
    parts: Iterable[pa.Table],
    forms: Sequence[str] = ("parquet", "csv"),
) -> TableFile:
    """Write a table from its parts, each a row group, in the forms asked for.

    schema: each field carries its meaning as metadata 'description'.
    """
    paths = {form: root / addresses.table(name, form) for form in forms}
    for path in paths.values():
        path.parent.mkdir(parents=True, exist_ok=True)
    rows = 0
    words = [field.name for field in schema if pa.types.is_string(field.type)]
    with pq.ParquetWriter(
        paths["parquet"], schema, compression=COMPRESSION, use_dictionary=words
    ) as parquet:
        text = pa_csv.CSVWriter(paths["csv"], schema) if "csv" in paths else None
        try:
            for part in parts:
                table = part.cast(schema)
                parquet.write_table(table)
                if text is not None:
                    text.write_table(table)
                rows += table.num_rows
        finally:
            if text is not None:
                text.close()
    return described(root, name, description, schema, rows, forms)


def described(
    root: Path, name: str, description: str, schema: pa.Schema, rows: int, forms: Sequence[str]
) -> TableFile:
    """What the data dictionary says of a table that has been written."""
    return TableFile(
        name=name,
        description=description,
        rows=rows,
        columns=tuple(
            (
                field.name,
                str(field.type),
                (field.metadata or {}).get(b"description", b"").decode("utf-8"),
            )
            for field in schema
        ),
        files=tuple(
            (address, (root / address).stat().st_size)
            for address in (addresses.table(name, form) for form in forms)
        ),
    )


def read_columns(root: Path, name: str, columns: Sequence[str]) -> pd.DataFrame:
    """Columns of a table that this build has written, for what is looked at over all wafers."""
    frame: pd.DataFrame = pq.read_table(
        root / addresses.table(name, "parquet"), columns=list(columns)
    ).to_pandas()
    return frame
