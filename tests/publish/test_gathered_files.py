"""Copies into a campaign: whole or not there, nothing overwritten, nothing outside the folder."""

import os
from pathlib import Path

import pytest

from sitegen.publish.gathered_files import BESIDE, Destination, NotCopied
from tests.read.foreign.test_gathered_list import row


def left_over(folder: Path) -> list[str]:
    return [str(path) for path in folder.rglob("*") if path.name == BESIDE]


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

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(BrokenOffError):
        Destination(tmp_path).add("gathered/a", b"one")
    monkeypatch.undo()
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    Destination(tmp_path).add("gathered/a", b"one")
    assert (tmp_path / "gathered" / "a").read_bytes() == b"one"


def test_what_a_killed_run_left_half_written_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "gathered").mkdir()
    outside = tmp_path / "outside"
    outside.write_bytes(b"keep")
    (tmp_path / "gathered" / BESIDE).symlink_to(outside)
    Destination(tmp_path).add("gathered/a", b"one")
    assert (tmp_path / "gathered" / "a").read_bytes() == b"one"
    assert outside.read_bytes() == b"keep"
    assert left_over(tmp_path) == []


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
