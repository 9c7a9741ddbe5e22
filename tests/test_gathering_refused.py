"""What the system refuses, and whatever bytes a tree has: everything is accounted for."""

import csv
import errno
import os
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen import gathering
from sitegen.gathering_campaign import NotGathered
from sitegen.gathering_report import Report, report_lines
from sitegen.read.foreign.tree import NotReadable, read_tree_file
from tests.conftest import quiet
from tests.foreign_tree import station_tree
from tests.read.foreign.test_tree import without_rights
from tests.test_gathering_names import NOW, copied, told_of, words


@pytest.fixture
def place(tmp_path: Path) -> tuple[Path, Path]:
    return station_tree(tmp_path)


def run(place: tuple[Path, Path]) -> Report:
    return gathering.gather(*place, NOW, quiet)


def listed(campaign: Path) -> dict[str, str]:
    """Files of the list by where they were taken from."""
    with (campaign / "gathered.csv").open(encoding="utf-8", newline="") as stream:
        return {row["taken_from"]: row["file"] for row in csv.DictReader(stream)}


def test_a_folder_without_rights_is_told_and_nothing_is_said_of_its_files(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(place)
    with without_rights(monkeypatch, place[1] / "W7"):
        report = run(place)
    assert told_of(report) == {
        "W7": "a folder that cannot be read (permission denied); it was not looked at"
    }
    assert report.gone == [] and report.sources["sweeps"].unchanged == 2
    assert not report.is_whole


def test_a_file_without_rights_is_told_and_the_rest_is_copied(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(tree: Path, path: str) -> bytes:
        if path == "dc/W7.csv":
            raise NotReadable("a file that cannot be read (permission denied)")
        return read_tree_file(tree, path)

    monkeypatch.setattr(gathering, "read_tree_file", refused)
    report = run(place)
    assert told_of(report) == {"dc/W7.csv": "a file that cannot be read (permission denied)"}
    assert len(listed(place[0])) == 5


def test_a_full_disk_is_told_and_what_was_copied_is_listed(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = os.open

    def full(path: Any, flags: int, mode: int = 0o777) -> int:
        if "W7" in str(path):
            raise OSError(errno.ENOSPC, "No space left on device")
        return opened(path, flags, mode)

    monkeypatch.setattr(os, "open", full)
    report = run(place)
    assert "no space left on device" in words(report)
    assert set(told_of(report)) == {"W7/X0_Y0_IND.s2p", "W7/X0_Y1_FET.s2p"}
    assert set(listed(place[0])) == {
        "W1/X0_Y0_IND.s2p",
        "W1/X1_Y-1_IND.s2p",
        "cal/CAL7/thru.s2p",
        "dc/W7.csv",
    }
    assert copied(place[0]) == {"W1/X0_Y0_IND.s2p", "W1/X1_Y-1_IND.s2p", "dc/W7.csv"}
    monkeypatch.undo()
    assert run(place).is_whole
    assert len(listed(place[0])) == 6


def test_a_list_that_cannot_be_written_is_told_and_the_next_run_writes_it(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    replace = os.replace

    def refused(source: Any, target: Any) -> None:
        if str(target).endswith("gathered.csv"):
            raise PermissionError(errno.EACCES, "Permission denied")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refused)
    with pytest.raises(NotGathered, match="cannot be written"):
        run(place)
    monkeypatch.undo()
    assert not (place[0] / "gathered.csv").exists()
    assert run(place).is_whole
    assert len(listed(place[0])) == 6


TOUCHSTONE_LIKE = st.text("#!HzSRI0123456789 .,-+e\n\r\t[]", max_size=200).map(
    lambda text: text.encode()
)
TABLE_LIKE = st.text('col;row,Vt/Vwhen"\n\r\t0123456789.,-+: ', max_size=200).map(
    lambda text: b"col;row;Vt/V;when\n" + text.encode()
)
CONTENTS = st.binary(max_size=200) | TOUCHSTONE_LIKE | TABLE_LIKE


@given(
    st.dictionaries(
        st.sampled_from(
            [
                "W1/X0_Y0_IND.s2p",
                "W1/X5_Y5_IND.s2p",
                "W8/X1_Y1_IND.s2p",
                "dc/W7.csv",
                "dc/W8.csv",
                "cal/CAL8/open.s2p",
                "notes.txt",
            ]
        ),
        CONTENTS,
        min_size=1,
    )
)
@settings(max_examples=60, deadline=None)
def test_whatever_a_file_holds_it_is_copied_whole_or_told(contents: dict[str, bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        campaign, tree = station_tree(Path(folder))
        for path in tree.rglob("*"):
            if path.is_file():
                path.unlink()
        for name, content in contents.items():
            (tree / name).parent.mkdir(parents=True, exist_ok=True)
            (tree / name).write_bytes(content)
        report = run((campaign, tree))
        taken = listed(campaign) if (campaign / "gathered.csv").exists() else {}
        told = set(told_of(report))
        assert set(taken) | told == set(contents) and not set(taken) & told
        for name, file in taken.items():
            assert (campaign / file).read_bytes() == contents[name]
        assert len(copied(campaign)) == sum(file.startswith("gathered/") for file in taken.values())
        "\n".join(report_lines(report)).encode("utf-8")
        again = run((campaign, tree))
        assert sum(one.new for one in again.sources.values()) == 0
        assert set(told_of(again)) == told
