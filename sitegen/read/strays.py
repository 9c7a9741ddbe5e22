"""Files and folders that no record refers to: told, so that nothing is left out in silence."""

import os
import re
from collections.abc import Collection, Iterator
from pathlib import Path

from sitegen.read.files import Intake

TRUTH = "truth"
"""A folder of this name at the campaign's top is left alone: a simulation's truth lies there."""
_READ = re.compile(r"\.(toml|parquet|ts|s\d+p|md)$", re.IGNORECASE)
_ALLOWED = {"README.md"}


def tell_strays(intake: Intake) -> None:
    """A fault for each file of a format that is read, and that nothing claimed.

    What lies beside a record that could not be read is left alone: it may well belong to it.
    """
    unreadable = {file.rpartition("/")[0] for file in intake.refused}
    closed: list[str] = []
    for file in _files(intake.folder, "", unreadable, closed):
        if file in intake.claimed or file in _ALLOWED or not _READ.search(file):
            continue
        intake.tell(
            file,
            "",
            found="a file that no record refers to",
            expected="only files that a record names, and notes in their places",
            remedy="Name it in the record that it belongs to, or move it out of the campaign.",
        )
    for folder in closed:
        if folder not in {fault.file for fault in intake.faults}:
            intake.tell(
                folder,
                "",
                found="a folder that cannot be read, so that nobody knows what lies in it",
                expected="folders that can be listed",
                remedy="Give the right to read it, or move it out of the campaign.",
            )


def _files(root: Path, below: str, unreadable: Collection[str], closed: list[str]) -> Iterator[str]:
    """Paths of the files below a folder, sorted, without hidden ones and without the truth.

    Folders that cannot be listed are added to `closed`.
    """
    try:
        with os.scandir(root / below) as found:
            entries = sorted(found, key=lambda entry: entry.name)
    except OSError:
        closed.append(below)
        return
    for entry in entries:
        path = f"{below}/{entry.name}" if below else entry.name
        if entry.name.startswith(".") or path == TRUTH or path in unreadable:
            continue
        if entry.is_dir(follow_symlinks=False):
            yield from _files(root, path, unreadable, closed)
        else:
            yield path
