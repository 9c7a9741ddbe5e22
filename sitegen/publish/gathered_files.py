"""What gathering writes into a campaign: copies, their list, records that were started.

Every file is written beside its place and takes it when it is whole; none is overwritten but the
list.
"""

import contextlib
import csv
import io
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from sitegen.model.loaded import GATHERED_COLUMNS, Gathered
from sitegen.model.mapping import GATHERED_LIST

BESIDE = ".gathering.part"
"""Name of a file while it is written, in the folder that it belongs to; hidden."""


class NotCopied(ValueError):
    """A file that cannot be written; its text is a phrase that says why."""


@dataclass(frozen=True)
class Destination:
    """A campaign's folder that files are written into; it remembers which folders are ready."""

    folder: Path
    _ready: set[str] = field(default_factory=set)

    def add(self, file: str, content: bytes) -> None:
        """Write a new file, byte for byte. `file` is relative to the campaign's folder.

        Raises NotCopied where there is something of this name, where its folder leads out of the
        campaign, or where the system refuses.
        """
        try:
            parent = file.rpartition("/")[0]
            if parent not in self._ready:
                self._make_ready(parent)
            path = os.path.join(self.folder, file)  # noqa: PTH118 (3,000 times)
            if os.path.lexists(path):
                raise NotCopied("something of this name in the campaign")
            _write_beside(path, content, lasting=False)
        except OSError as error:
            raise NotCopied((error.strerror or type(error).__name__).lower()) from error
        except ValueError as error:
            raise error if isinstance(error, NotCopied) else NotCopied(str(error)) from error

    def write_list(self, rows: Iterable[Gathered]) -> None:
        """Write the list of gathered files anew, sorted by file. Raises OSError."""
        content = list_text(rows).encode("utf-8")
        _write_beside(os.path.join(self.folder, GATHERED_LIST), content, lasting=True)  # noqa: PTH118

    def _make_ready(self, parent: str) -> None:
        """Make a folder, unless a link on its way leads out of the campaign."""
        root = os.path.realpath(self.folder)
        place = os.path.realpath(self.folder / parent)
        if place != root and not place.startswith(root.rstrip("/") + "/"):
            raise NotCopied("a link that leads out of the campaign's folder")
        (self.folder / parent).mkdir(parents=True, exist_ok=True)
        self._ready.add(parent)


def list_text(rows: Iterable[Gathered]) -> str:
    """The list of gathered files as comma-separated text, sorted by file."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(GATHERED_COLUMNS)
    for row in sorted(rows, key=lambda one: one.file):
        writer.writerow(
            (
                row.file,
                row.taken_from,
                row.sha256,
                row.bytes,
                "" if row.modified_at is None else _stamp(row.modified_at),
                _stamp(row.gathered_at),
                row.source,
            )
        )
    return text.getvalue()


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _write_beside(path: str, content: bytes, *, lasting: bool) -> None:
    """Write a file beside its place and put it there. `lasting`: only when it is on the disk."""
    beside = os.path.join(os.path.dirname(path), BESIDE)  # noqa: PTH118, PTH120
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        target = os.open(beside, flags, 0o666)
    except FileExistsError:  # left by a run that was broken off
        os.unlink(beside)  # noqa: PTH108
        target = os.open(beside, flags, 0o666)
    try:
        with os.fdopen(target, "wb") as stream:
            stream.write(content)
            if lasting:
                stream.flush()
                os.fsync(stream.fileno())
        os.replace(beside, path)  # noqa: PTH105
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(beside)  # noqa: PTH108
        raise
