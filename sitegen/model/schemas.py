"""The Arrow schema of a table from its columns and their meaning."""

import pyarrow as pa


def schema_of(columns: tuple[tuple[str, pa.DataType, str], ...]) -> pa.Schema:
    """The Arrow schema of a table of columns, each with its description as field metadata."""
    return pa.schema(
        [pa.field(name, kind, metadata={"description": text}) for name, kind, text in columns]
    )
