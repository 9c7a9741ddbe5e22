"""Opening the files of a campaign: only regular files inside its folder, each remembered."""

import hashlib
import os
import stat
from dataclasses import dataclass, field, replace
from pathlib import Path

from sitegen.model.loaded import SourceFile
from sitegen.problems import Fault
from sitegen.read.words import quoted


def digest(path: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal. Raises OSError when it cannot be read."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@dataclass(frozen=True)
class Asked:
    """Who names a file: the record and the key that faults about the file's absence point to."""

    file: str
    place: str


@dataclass
class Intake:
    """What one pass over a part of the folder gathers: faults, sources and the names asked for."""

    folder: Path
    faults: list[Fault] = field(default_factory=list)
    sources: dict[str, SourceFile] = field(default_factory=dict)
    claimed: set[str] = field(default_factory=set)
    """Every path that a record names, whether or not it could be read."""
    refused: set[str] = field(default_factory=set)
    """Records that could not be read: which files belong to them is not known."""

    def tell(
        self,
        file: str,
        place: str,
        *,
        found: str,
        expected: str,
        remedy: str,
        fatal: bool = False,
        count: int = 1,
        cause: str = "",
    ) -> None:
        """Remember a fault."""
        self.faults.append(
            Fault(printable_path(file), place, found, expected, remedy, fatal, count, cause)
        )

    def take_over(self, part: "Intake") -> None:
        """Take over what a pass over one record gathered."""
        self.faults.extend(part.faults)
        self.sources.update(part.sources)
        self.claimed.update(part.claimed)
        self.refused.update(part.refused)

    def make_fatal(self, start: int) -> None:
        """Mark the faults told since the `start`-th as ones that forbid publishing."""
        self.faults[start:] = [replace(fault, fatal=True) for fault in self.faults[start:]]

    def names_in(self, folder: str, what: str) -> list[str]:
        """Names in one of the campaign's folders, sorted, hidden ones left alone; none where the
        folder is not there. `what` says what the folder should be."""
        try:
            names = sorted(path.name for path in (self.folder / folder).iterdir())
        except FileNotFoundError:
            if not (self.folder / folder).is_symlink():
                return []
        except OSError:
            pass
        else:
            return [name for name in names if not name.startswith(".")]
        self.tell(
            folder,
            "",
            found="something that is not a folder that can be read",
            expected=what,
            remedy="Put a folder of this name there, or nothing.",
        )
        return []

    def read(self, file: str, asked: Asked | None = None, what: str = "a file") -> bytes | None:
        """The bytes of a file below the folder, or None and a fault.

        `file` is relative to the folder; `asked` names the record that wants it, None when the
        file's place follows from the folder's own order; `what` says what it should be.
        """
        self.claimed.add(file)
        obstacle = _obstacle(self.folder, file)
        if obstacle is None:
            try:
                content = (self.folder / file).read_bytes()
            except OSError as error:
                obstacle = f"a file that cannot be read ({_reason(error)})"
        if obstacle is not None:
            self._tell_obstacle(file, asked, what, obstacle)
            return None
        self.sources[file] = SourceFile(file, hashlib.sha256(content).hexdigest(), len(content))
        return content

    def register(self, file: str, asked: Asked, what: str) -> bool:
        """Remember a large file by its digest only; False and a fault when it cannot be read."""
        self.claimed.add(file)
        obstacle = _obstacle(self.folder, file)
        if obstacle is None:
            path = self.folder / file
            try:
                self.sources[file] = SourceFile(file, digest(path), path.stat().st_size)
                return True
            except OSError as error:
                obstacle = f"a file that cannot be read ({_reason(error)})"
        self._tell_obstacle(file, asked, what, obstacle)
        return False

    def _tell_obstacle(self, file: str, asked: Asked | None, what: str, obstacle: str) -> None:
        twin = _same_but_for_case(self.folder, file)
        if twin is not None:
            self.claimed.add(twin)
            remedy = f"Beside it lies {quoted(twin)}: write the name with the same capitals."
        elif ".." in file.split("/"):
            remedy = "Move the file below the record's own folder and name it from there."
        elif asked is None and "no file" in obstacle:
            aside = "move the folder out of the campaign" if "/" in file else "correct the path"
            remedy = f"Put it there, or {aside}."
        elif "no file" in obstacle:
            remedy = "Put the file there, or correct its name."
        else:
            remedy = "Put a readable file of this name there."
        if asked is None:
            self.tell(file, "", found=obstacle, expected=what, remedy=remedy)
        else:
            found = f"{quoted(file)}, where there is {obstacle}"
            self.tell(asked.file, asked.place, found=found, expected=what, remedy=remedy)


def is_folder(path: Path) -> bool:
    """Whether there is a folder; False where nobody may look."""
    try:
        return path.is_dir()
    except OSError:
        return False


def printable_path(path: str) -> str:
    """A path with every byte that is no text, and every control character, replaced."""
    text = path.encode("utf-8", "replace").decode("utf-8")
    return "".join(char if char.isprintable() else "�" for char in text)


def beside(record_file: str, name: str) -> str:
    """The path of a file that a record names relative to its own folder."""
    parent = record_file.rpartition("/")[0]
    parts = [part for part in f"{parent}/{name}".split("/") if part not in {"", "."}]
    return "/".join(parts)


def _obstacle(folder: Path, file: str) -> str | None:
    """Why a path cannot be opened as a regular file inside the folder; None when it can."""
    path = folder / file
    if ".." in file.split("/"):
        return 'a path with ".." in it'
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return "a link that leads nowhere" if path.is_symlink() else "no file"
    except NotADirectoryError:
        return "no file"
    except OSError as error:
        return f"a file that cannot be read ({_reason(error)})"
    root = os.path.realpath(folder)
    if os.path.commonpath([root, os.path.realpath(path)]) != root:
        return "a link that leaves the campaign's folder"
    if stat.S_ISDIR(mode):
        return "a folder in place of the file"
    return None if stat.S_ISREG(mode) else "something that is not a regular file"


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()


def _same_but_for_case(folder: Path, file: str) -> str | None:
    """A file of the same folder whose name differs only by capitals."""
    parent, _, name = file.rpartition("/")
    try:
        entries = sorted(path.name for path in (folder / parent).iterdir())
    except OSError:
        return None
    for entry in entries:
        if entry != name and entry.lower() == name.lower():
            return f"{parent}/{entry}" if parent else entry
    return None


def text_of(content: bytes) -> str | None:
    """UTF-8 text without its byte order mark; None when the bytes are not UTF-8 text."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None
    return None if "\x00" in text else text


def line_of_bad_byte(content: bytes) -> int:
    """The line, from 1, of the first byte that is not UTF-8 text."""
    try:
        content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return content.count(b"\n", 0, error.start) + 1
    return content.count(b"\n", 0, content.find(b"\x00")) + 1
