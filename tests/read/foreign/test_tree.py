"""A station's tree: everything is listed or told, and no link leads out of it."""

import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from sitegen.read.foreign.tree import (
    HIDDEN,
    OWN_FOLDER,
    Listing,
    NotATree,
    NotReadable,
    list_tree,
    read_tree_file,
)
from tests.rights import as_nobody


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    folder = tmp_path / "tree"
    for name in ("b.s2p", "a/1.s2p", "a/2.s2p", "a/deep/er/3.csv"):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(name)
    return folder


def listed(tree: Path) -> Listing:
    return list_tree(tree, tree.parent / "campaign")


def aside(listing: Listing) -> dict[str, str]:
    return {one.path: one.reason for one in listing.aside}


def test_every_file_is_listed_with_its_size_and_time(tree: Path) -> None:
    os.utime(tree / "b.s2p", ns=(0, 1_772_442_900_123_456_789))
    listing = listed(tree)
    assert [file.path for file in listing.files] == [
        "a/1.s2p",
        "a/2.s2p",
        "a/deep/er/3.csv",
        "b.s2p",
    ]
    last = listing.files[-1]
    assert last.size_bytes == 5
    assert last.modified_at == datetime(2026, 3, 2, 9, 15, 0, 123456, tzinfo=UTC)
    assert listing.aside == ()


def test_a_time_before_1970_is_kept(tree: Path) -> None:
    os.utime(tree / "b.s2p", ns=(0, -1_500_000_000))
    assert listed(tree).files[-1].modified_at == datetime(
        1969, 12, 31, 23, 59, 58, 500000, tzinfo=UTC
    )


def test_hidden_files_and_folders_are_left_aside(tree: Path) -> None:
    (tree / ".DS_Store").write_text("")
    (tree / "a" / ".git").mkdir()
    (tree / "a" / ".git" / "x.s2p").write_text("")
    listing = listed(tree)
    assert aside(listing) == {".DS_Store": HIDDEN, "a/.git": HIDDEN}
    assert len(listing.files) == 4


def test_links_are_followed_to_files_of_the_tree_only(tree: Path) -> None:
    outside = tree.parent / "secret.s2p"
    outside.write_text("secret")
    (tree / "inside.s2p").symlink_to(tree / "b.s2p")
    (tree / "up.s2p").symlink_to("../secret.s2p")
    (tree / "a" / "far.s2p").symlink_to(outside)
    (tree / "lost.s2p").symlink_to("nothing")
    (tree / "loop.s2p").symlink_to("loop.s2p")
    (tree / "folder").symlink_to(tree / "a")
    (tree / "around").symlink_to("..")
    listing = listed(tree)
    assert [file.path for file in listing.files if "/" not in file.path] == ["b.s2p", "inside.s2p"]
    told = aside(listing)
    assert (
        told["up.s2p"] == told["a/far.s2p"] == told["around"] == "a link that leads out of the tree"
    )
    assert told["lost.s2p"] == "a link that leads nowhere"
    assert told["folder"] == "a link to a folder"
    assert set(told) == {"up.s2p", "a/far.s2p", "around", "lost.s2p", "folder", "loop.s2p"}


def test_a_tree_that_is_itself_a_link_is_looked_through(tree: Path) -> None:
    other = tree.parent / "link"
    other.symlink_to(tree)
    assert listed(other).files == listed(tree).files


def test_a_folder_beside_with_a_longer_name_is_outside(tree: Path) -> None:
    (tree.parent / "tree2").mkdir()
    (tree.parent / "tree2" / "x").write_text("")
    (tree / "x").symlink_to(tree.parent / "tree2" / "x")
    assert aside(listed(tree)) == {"x": "a link that leads out of the tree"}


@contextmanager
def without_rights(monkeypatch: pytest.MonkeyPatch, folder: Path) -> Iterator[None]:
    """A folder that the system does not let this process list, also where it may do all."""
    scandir = os.scandir

    def refused(path: Any) -> Any:
        if os.path.realpath(path) == str(folder.resolve()):
            raise PermissionError(13, "Permission denied")
        return scandir(path)

    with monkeypatch.context() as patch:
        patch.setattr(os, "scandir", refused)
        yield


def test_a_folder_without_rights_is_told_and_the_rest_is_listed(
    tree: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with without_rights(monkeypatch, tree / "a"):
        listing = listed(tree)
    assert aside(listing) == {"a": "a folder that cannot be read (permission denied)"}
    assert listing.aside[0].is_folder
    assert [file.path for file in listing.files] == ["b.s2p"]


def test_a_tree_without_rights_is_told(tree: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with without_rights(monkeypatch, tree), pytest.raises(NotATree, match="permission denied"):
        listed(tree)


def test_real_rights_of_a_folder_are_told() -> None:
    with tempfile.TemporaryDirectory() as top:
        Path(top).chmod(0o755)
        closed = Path(top) / "a"
        closed.mkdir(mode=0)
        with as_nobody():
            assert set(aside(listed(Path(top)))) == {"a"}
        closed.chmod(stat.S_IRWXU)


def test_what_is_no_regular_file_is_told(tree: Path) -> None:
    os.mkfifo(tree / "pipe.s2p")
    assert aside(listed(tree)) == {"pipe.s2p": "something that is not a regular file"}


def test_the_campaign_inside_the_tree_is_left_aside(tree: Path) -> None:
    (tree / "campaign").mkdir()
    (tree / "campaign" / "x.s2p").write_text("")
    listing = list_tree(tree, tree / "campaign")
    assert aside(listing) == {"campaign": OWN_FOLDER}
    assert len(listing.files) == 4


def test_a_tree_inside_the_campaign_is_refused(tree: Path) -> None:
    for place in (tree, tree / "a", tree / "a" / "deep"):
        with pytest.raises(NotATree, match="inside the campaign"):
            list_tree(place, tree)


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("nothing", "no folder"),
        ("b.s2p", "a file in place"),
        ("a\x00", "no folder"),
        ("x" * 300, "too long"),
    ],
)
def test_what_is_no_tree_is_told(name: str, found: str, tree: Path) -> None:
    with pytest.raises(NotATree, match=found):
        list_tree(tree / name, tree.parent / "campaign")


def test_names_that_are_no_text_are_listed(tree: Path) -> None:
    (tree / os.fsdecode(b"W\xff.s2p")).write_text("x")
    (tree / "a\nb.s2p").write_text("x")
    paths = [file.path for file in listed(tree).files]
    assert "W\udcff.s2p" in paths and "a\nb.s2p" in paths
    assert read_tree_file(tree, "W\udcff.s2p") == b"x"


def test_a_file_that_is_gone_or_of_another_kind_is_told(tree: Path) -> None:
    for name in ("gone.s2p", "a", "x\x00y"):
        with pytest.raises(NotReadable):
            read_tree_file(tree, name)


def test_a_very_deep_tree_is_listed(tree: Path) -> None:
    path = str(tree)
    for _ in range(1010):
        path += "/d"
        os.mkdir(path)  # noqa: PTH102 (pathlib's own recursion ends before)
    os.close(os.open(f"{path}/x.s2p", os.O_CREAT))
    assert listed(tree).files[-1].path.endswith("d/x.s2p")
    os.unlink(f"{path}/x.s2p")  # noqa: PTH108
    while path != str(tree):
        os.rmdir(path)  # noqa: PTH106
        path = path.rpartition("/")[0]
