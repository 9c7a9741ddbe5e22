"""Copies into a campaign: whole or not there, nothing overwritten, nothing outside the folder."""

import errno
import os
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from sitegen.publish.gathered_files import OLD_S, Destination, NotCopied, remove_left_over
from tests.read.foreign.test_gathered_list import row


def left_over(folder: Path) -> list[str]:
    return [str(path) for path in folder.rglob("*") if path.suffix == ".part"]


def test_a_copy_has_the_same_bytes_and_nothing_stays_beside_it(tmp_path: Path) -> None:
    content = bytes(range(256)) * 5
    Destination(tmp_path).add("gathered/a/b.s2p", content)
    assert (tmp_path / "gathered" / "a" / "b.s2p").read_bytes() == content
    assert left_over(tmp_path) == []


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    destination = Destination(tmp_path)
    destination.add("gathered/a", b"first")
    with pytest.raises(NotCopied, match="something of this name"):
        destination.add("gathered/a", b"second")
    assert (tmp_path / "gathered" / "a").read_bytes() == b"first"


def test_a_link_that_leads_nowhere_is_not_written_through(tmp_path: Path) -> None:
    campaign = tmp_path / "campaign"
    (campaign / "gathered").mkdir(parents=True)
    (campaign / "gathered" / "a").symlink_to(tmp_path / "outside")
    with pytest.raises(NotCopied):
        Destination(campaign).add("gathered/a", b"one")
    assert not (tmp_path / "outside").exists()


def test_a_folder_that_leads_out_of_the_campaign_is_refused(tmp_path: Path) -> None:
    campaign, outside = tmp_path / "campaign", tmp_path / "outside"
    campaign.mkdir()
    outside.mkdir()
    (campaign / "gathered").symlink_to(outside)
    for file in ("gathered/a", "gathered/b/c", "../d", "gathered/../../e"):
        with pytest.raises(NotCopied):
            Destination(campaign).add(file, b"one")
    assert list(outside.iterdir()) == []
    assert not (tmp_path / "d").exists() and not (tmp_path / "e").exists()


@pytest.mark.parametrize("file", ["gathered/" + "x" * 300, "gathered/a\x00b", "taken/b"])
def test_what_the_system_refuses_is_told(file: str, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file in place of a folder")
    with pytest.raises(NotCopied):
        Destination(tmp_path).add(file, b"one")
    assert left_over(tmp_path) == []


class BrokenOffError(BaseException):
    """Stands for the user's interruption."""


def test_an_interrupted_copy_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise BrokenOffError

    monkeypatch.setattr(os, "link", interrupted)
    with pytest.raises(BrokenOffError):
        Destination(tmp_path).add("gathered/a", b"one")
    monkeypatch.undo()
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    Destination(tmp_path).add("gathered/a", b"one")
    assert (tmp_path / "gathered" / "a").read_bytes() == b"one"


def no_links(*_: object) -> None:
    """What a file system without links says."""
    raise OSError(errno.EOPNOTSUPP, "Operation not supported")


def test_without_links_a_copy_is_whole_and_nothing_is_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "link", no_links)
    destination = Destination(tmp_path)
    destination.add("gathered/a", b"first")
    with pytest.raises(NotCopied, match="something of this name"):
        destination.add("gathered/a", b"second")
    assert (tmp_path / "gathered" / "a").read_bytes() == b"first"
    assert left_over(tmp_path) == []


@pytest.mark.parametrize("has_links", [True, False])
def test_what_another_run_put_there_meanwhile_is_not_overwritten(
    has_links: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = os.link

    def late(source: Any, target: Any) -> None:
        Path(target).write_bytes(b"other")
        if not has_links:
            no_links()
        link(source, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(NotCopied, match="something of this name"):
        Destination(tmp_path).add("gathered/a", b"mine")
    assert (tmp_path / "gathered" / "a").read_bytes() == b"other"
    assert left_over(tmp_path) == []


def test_writers_at_the_same_time_do_not_mix_their_files(tmp_path: Path) -> None:
    """Eight writers of the same 40 names: each file is whole and of one of them."""
    start = threading.Barrier(8)
    refused: list[str] = []

    def writer(mark: bytes) -> None:
        destination = Destination(tmp_path)
        start.wait()
        for number in range(40):
            try:
                destination.add(f"gathered/{number}", mark * 50_000)
            except NotCopied as reason:
                refused.append(str(reason))

    threads = [threading.Thread(target=writer, args=(b"%d" % mark,)) for mark in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(refused) == {"something of this name in the campaign"}
    assert len(refused) == 7 * 40
    for number in range(40):
        content = (tmp_path / "gathered" / str(number)).read_bytes()
        assert len(content) == 50_000 and len(set(content)) == 1
    assert left_over(tmp_path) == []


@pytest.mark.parametrize("place", ["", "gathered/a/b", "calibrations/CAL1", "wafers/W1"])
def test_what_a_killed_run_left_half_written_is_removed(place: str, tmp_path: Path) -> None:
    folder = tmp_path / "campaign" / place
    folder.mkdir(parents=True)
    outside = tmp_path / "outside"
    outside.write_bytes(b"keep")
    old, young, other = (
        folder / f".gathering-{name}" for name in ("1-a.part", "2-b.part", "notes.txt")
    )
    for path in (old, young, other, folder / "x.part"):
        path.write_bytes(b"half")
    link = folder / ".gathering-3-c.part"
    link.symlink_to(outside)
    before = time.time() - OLD_S - 60
    for path in (old, other, folder / "x.part"):
        os.utime(path, (before, before))
    os.utime(link, (before, before), follow_symlinks=False)
    remove_left_over(tmp_path / "campaign")
    assert {path.name for path in folder.iterdir() if not path.is_dir()} == {
        ".gathering-2-b.part",
        ".gathering-notes.txt",
        "x.part",
    }
    assert outside.read_bytes() == b"keep"


def test_the_list_is_replaced_as_a_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    destination = Destination(tmp_path)
    destination.write_list([row("gathered/b"), row("gathered/a")])
    before = (tmp_path / "gathered.csv").read_bytes()
    assert [line.split(b",")[0] for line in before.splitlines()] == [
        b"file",
        b"gathered/a",
        b"gathered/b",
    ]
    assert b"\r" not in before and before.endswith(b"\n")

    def interrupted(*_: object) -> None:
        raise BrokenOffError

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(BrokenOffError):
        destination.write_list([])
    assert (tmp_path / "gathered.csv").read_bytes() == before
    assert left_over(tmp_path) == []


def test_nothing_is_removed_beyond_a_link(tmp_path: Path) -> None:
    campaign, outside = tmp_path / "campaign", tmp_path / "outside"
    campaign.mkdir()
    outside.mkdir()
    part = outside / ".gathering-1-a.part"
    part.write_bytes(b"half")
    os.utime(part, (0, 0))
    (campaign / "gathered").symlink_to(outside)
    remove_left_over(campaign)
    assert part.read_bytes() == b"half"
