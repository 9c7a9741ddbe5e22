"""Tables of the files that a station left."""

from collections.abc import Iterator, Sequence

import pyarrow as pa

from sitegen.model.loaded import GATHERED_COLUMNS, Gathered
from sitegen.publish.record_tables import TEXT, TIME, WHOLE, Columns, table_of

GATHERED_FILE_COLUMNS: Columns = (
    ("file", TEXT, "file of the campaign"),
    ("taken_from", TEXT, "where it lay in the tree that it was copied from, byte for byte"),
    ("sha256", TEXT, "SHA-256 of its bytes when it was gathered, in hexadecimal"),
    ("bytes", WHOLE, "its size in bytes"),
    ("modified_at", TIME, "when it was last written in the tree; null: its stamp was no time"),
    ("gathered_at", TIME, "when it was copied"),
    ("source", TEXT, "source of mapping.toml that understands it"),
)


def contents(gathered: Sequence[Gathered]) -> Iterator[tuple[str, str, pa.Table]]:
    """Every table with its name and what it holds; none where nothing was gathered."""
    if gathered:
        rows = ({name: getattr(one, name) for name in GATHERED_COLUMNS} for one in gathered)
        text = "Every file that was gathered from a station's tree, with its digest."
        yield "gathered-files", text, table_of(GATHERED_FILE_COLUMNS, rows)
