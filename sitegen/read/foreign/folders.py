"""The files of a folder of the campaign that hold foreign data."""

import os
from collections.abc import Iterator
from pathlib import Path

_OF_DATASETS = frozenset({"_SUCCESS", "_metadata", "_common_metadata"})
"""What other programs leave in partitioned datasets and what holds no rows (common practice)."""


def files_below(root: Path, folder: str) -> Iterator[str]:
    """Paths of the files below a folder, relative to the campaign's own; hidden ones left alone,
    and what other programs leave in partitioned datasets."""
    for parent, folders, names in os.walk(root / folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        below = Path(parent).relative_to(root).as_posix()
        yield from (
            f"{below}/{name}"
            for name in names
            if not name.startswith(".") and name not in _OF_DATASETS
        )
