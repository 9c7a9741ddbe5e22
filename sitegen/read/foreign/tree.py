"""A tree of files outside the campaign, as a station left it: what it has, and its files' bytes.

Links to files inside the tree are files; links out of it and links to folders are not followed.
Hidden files and folders are left aside. Everything left aside is told.
"""

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

HIDDEN = "hidden"
OWN_FOLDER = "the campaign's own folder"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class NotATree(ValueError):
    """What cannot be looked through at all; its text is a phrase that says what was found."""


class NotReadable(ValueError):
    """A file of the tree that cannot be read; its text is a phrase that says why."""


@dataclass(frozen=True, order=True)
class TreeFile:
    """A file of the tree."""

    path: str
    """Relative to the tree, with forward slashes; bytes that are no text as lone surrogates."""
    size_bytes: int
    modified_at: datetime | None
    """When it was last written, in UTC; None where its stamp lies off the calendar."""


@dataclass(frozen=True, order=True)
class Aside:
    """A file or folder of the tree that was not looked at."""

    path: str
    """Relative to the tree."""
    reason: str
    """What it is, as a phrase."""
    is_folder: bool = False

    @property
    def is_expected(self) -> bool:
        """Whether a tree may well have it: hidden files, the campaign's own folder."""
        return self.reason in (HIDDEN, OWN_FOLDER)


@dataclass(frozen=True)
class Listing:
    """Everything that a tree has, sorted by path."""

    files: tuple[TreeFile, ...]
    aside: tuple[Aside, ...]


def list_tree(tree: Path, campaign: Path) -> Listing:
    """The files of a tree; the campaign's folder is left aside where it lies in the tree.

    Raises NotATree where the tree is no folder that can be listed, or lies in the campaign.
    """
    try:
        root = os.path.realpath(tree)
        with os.scandir(root):
            pass
    except (FileNotFoundError, ValueError):
        raise NotATree("no folder of this name") from None
    except NotADirectoryError:
        raise NotATree("a file in place of the folder") from None
    except OSError as error:
        raise NotATree(f"a folder that cannot be read ({_reason(error)})") from None
    own = os.path.realpath(campaign)
    if _is_inside(root, own):
        raise NotATree("a folder inside the campaign's own")
    files: list[TreeFile] = []
    aside: list[Aside] = []
    waiting = [""]
    while waiting:
        for found in _entries(root, waiting.pop(), own):
            if isinstance(found, str):
                waiting.append(found)
            elif isinstance(found, TreeFile):
                files.append(found)
            else:
                aside.append(found)
    return Listing(tuple(sorted(files)), tuple(sorted(aside)))


def read_tree_file(tree: Path, path: str) -> bytes:
    """The bytes of a file that `list_tree` has listed. Raises NotReadable."""
    try:
        with open(os.path.join(tree, path), "rb") as stream:  # noqa: PTH118, PTH123 (3,000 times)
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                raise NotReadable("something that is not a regular file")
            return stream.read()
    except OSError as error:
        raise NotReadable(f"a file that cannot be read ({_reason(error)})") from None
    except ValueError as error:
        raise NotReadable(f"a name that cannot be opened ({error})") from None


def _entries(root: str, below: str, own: str) -> Iterator[TreeFile | Aside | str]:
    """The files of one folder, what is left aside there, and the folders below it as paths."""
    try:
        with os.scandir(f"{root}/{below}") as listed:
            entries = list(listed)
    except OSError as error:
        yield Aside(below, f"a folder that cannot be read ({_reason(error)})", is_folder=True)
        return
    for entry in entries:
        path = f"{below}/{entry.name}" if below else entry.name
        try:
            yield _entry(entry, path, root, own)
        except OSError as error:
            yield Aside(path, f"a file that cannot be read ({_reason(error)})")


def _entry(entry: os.DirEntry[str], path: str, root: str, own: str) -> TreeFile | Aside | str:
    """What an entry of a folder is. Raises OSError."""
    is_folder = entry.is_dir(follow_symlinks=False)
    if entry.name.startswith("."):
        return Aside(path, HIDDEN, is_folder)
    if is_folder:
        return Aside(path, OWN_FOLDER, True) if entry.path == own else path
    if entry.is_symlink():
        target = os.path.realpath(entry.path)
        if not _is_inside(target, root):
            return Aside(path, "a link that leads out of the tree")
        if entry.is_dir():
            return Aside(path, "a link to a folder", is_folder=True)
        if not os.path.lexists(target):
            return Aside(path, "a link that leads nowhere")
    found = entry.stat()
    if not stat.S_ISREG(found.st_mode):
        return Aside(path, "something that is not a regular file")
    return TreeFile(path, found.st_size, _moment(found.st_mtime_ns))


def _is_inside(path: str, folder: str) -> bool:
    return path == folder or path.startswith(folder.rstrip("/") + "/")


def _moment(nanoseconds: int) -> datetime | None:
    try:
        return _EPOCH + timedelta(microseconds=nanoseconds // 1000)
    except OverflowError:
        return None


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()
