"""Writing new records into a campaign's folder: what is there already stays as it is."""

from collections.abc import Mapping
from pathlib import Path


def write_new(folder: Path, texts: Mapping[str, str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Write each text to its path below `folder`; the paths written, and those kept as they are.

    Raises OSError where a file cannot be written.
    """
    written, kept = [], []
    for path, text in texts.items():
        file = folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        try:
            with file.open("x", encoding="utf-8", newline="\n") as opened:
                opened.write(text)
            written.append(path)
        except FileExistsError:
            kept.append(path)
    return tuple(written), tuple(kept)
