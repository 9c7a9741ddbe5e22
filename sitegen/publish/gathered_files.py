"""What gathering writes into a campaign: copies, their list, records that were started.

Every file is written beside its place, under a name that no other run takes, and gets its place
when it is whole; none is overwritten but the list.
"""

import contextlib
import csv
import io
import os
import secrets
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from sitegen.model.loaded import GATHERED_COLUMNS, Gathered
from sitegen.model.mapping import GATHERED, GATHERED_LIST

WRITTEN_INTO = (GATHERED, "calibrations", "verifications", "wafers")
"""The folders of a campaign that files are written into."""
OLD_S = 3600.0
"""Seconds after which a file is no longer being written, but left by a run that was broken off."""

TAKEN = "something of this name in the campaign"


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
                raise NotCopied(TAKEN)
            _write_new(path, content)
        except OSError as error:
            raise NotCopied((error.strerror or type(error).__name__).lower()) from error
        except ValueError as error:
            raise error if isinstance(error, NotCopied) else NotCopied(str(error)) from error

    def write_list(self, rows: Iterable[Gathered]) -> None:
        """Write the list of gathered files anew, sorted by file. Raises OSError."""
        content = list_text(rows).encode("utf-8")
        _write_over(os.path.join(self.folder, GATHERED_LIST), content)  # noqa: PTH118

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


def remove_left_over(folder: Path) -> None:
    """Remove what runs that were broken off left half written in a campaign's folder; what another
    run may be writing at this time, and what cannot be removed, stays."""
    before = time.time() - OLD_S
    parts: list[Path] = []
    with contextlib.suppress(OSError):
        parts += [folder / name for name in _names_beside(one.name for one in folder.iterdir())]
    for place in WRITTEN_INTO:
        if (folder / place).is_symlink():  # may lead out of the campaign
            continue
        for parent, _, names in os.walk(folder / place):
            parts += [Path(parent, name) for name in _names_beside(names)]
    for part in parts:
        with contextlib.suppress(OSError):
            if part.lstat().st_mtime < before:
                part.unlink()


def _beside_name() -> str:
    """Name of a file while it is written, in the folder that it belongs to: hidden, and of no other
    process, also among those of other machines."""
    return f".gathering-{os.getpid()}-{secrets.token_hex(4)}.part"


def _names_beside(names: Iterable[str]) -> list[str]:
    return [name for name in names if name.startswith(".gathering-") and name.endswith(".part")]


def _write_new(path: str, content: bytes) -> None:
    """Write a file that is not there yet. Raises NotCopied where it is by now, and OSError."""
    with _beside(path, content, lasting=False) as beside:
        try:
            os.link(beside, path)  # refuses what is there, whoever put it there meanwhile
        except FileExistsError:
            raise NotCopied(TAKEN) from None
        except OSError:  # a file system without links
            if os.path.lexists(path):
                raise NotCopied(TAKEN) from None
            os.replace(beside, path)  # noqa: PTH105


def _write_over(path: str, content: bytes) -> None:
    """Write a file when its content is on the disk, in place of the one that is there."""
    with _beside(path, content, lasting=True) as beside:
        os.replace(beside, path)  # noqa: PTH105


@contextlib.contextmanager
def _beside(path: str, content: bytes, *, lasting: bool) -> Iterator[str]:
    """A file with this content beside a place, for the time that it needs to get there.

    `lasting`: its content is on the disk by then.
    """
    beside = os.path.join(os.path.dirname(path), _beside_name())  # noqa: PTH118, PTH120
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with os.fdopen(os.open(beside, flags, 0o666), "wb") as stream:
            stream.write(content)
            if lasting:
                stream.flush()
                os.fsync(stream.fileno())
        yield beside
    finally:
        with contextlib.suppress(OSError):
            os.unlink(beside)  # noqa: PTH108
