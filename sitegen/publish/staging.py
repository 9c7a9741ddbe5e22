"""A publication is written beside its place and takes it only when it is whole."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from sitegen.problems import NotPublished

MARK = "publication.json"
"""A folder with this file is a publication of this program, and may be replaced by another."""


@contextmanager
def staged(target: Path) -> Iterator[Path]:
    """A new folder beside `target`; on leaving without an error it takes the target's place.

    On an error, or when interrupted, it is removed and the old publication stands untouched.
    Raises NotPublished where the target is something that must not be replaced.
    """
    target = target.absolute()
    refuse_unsafe(target)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as problem:
        raise NotPublished(
            f"{target}: cannot be written ({problem.strerror}). Choose another place with --out."
        ) from problem
    try:
        staging.chmod(0o755)
        yield staging
        _swap(staging, target)
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        raise


def refuse_unsafe(target: Path) -> None:
    """Refuse to replace what is no publication of this program."""
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise NotPublished(f"{target}: is no folder. Choose another place with --out.")
    if target.is_dir() and any(target.iterdir()) and not (target / MARK).is_file():
        raise NotPublished(
            f"{target}: holds files and is no publication of this program, so it is not replaced."
            " Choose another place with --out, or empty it."
        )


def refuse_nested(folder: Path, target: Path) -> None:
    """Refuse to publish into the campaign's own folder, or around it."""
    source, place = folder.resolve(), target.resolve()
    if source == place or source in place.parents or place in source.parents:
        raise NotPublished(
            f"{target}: lies inside the campaign's folder or around it. Choose a place outside it"
            " with --out."
        )


def _swap(staging: Path, target: Path) -> None:
    if not target.exists():
        staging.rename(target)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}-old-", dir=target.parent))
    old.rmdir()
    target.rename(old)
    try:
        staging.rename(target)
    except OSError:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def write_text(root: Path, address: str, text: str) -> None:
    """Write one page or drawing at its address, UTF-8, with line feeds."""
    write_bytes(root, address, text.encode("utf-8"))


def write_bytes(root: Path, address: str, content: bytes) -> None:
    """Write one file at its address below `root`."""
    path = root / PurePosixPath(address)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
