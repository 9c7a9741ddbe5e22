"""The list of gathered files: what was written is read, what is broken is told."""

import hashlib
import tempfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.model.loaded import GATHERED_COLUMNS, Gathered
from sitegen.publish.gathered_files import list_text
from sitegen.read.files import Intake
from sitegen.read.foreign.gathered_list import list_troubles, read_list

HEADER = ",".join(GATHERED_COLUMNS)
DIGEST = hashlib.sha256(b"one").hexdigest()
AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def row(file: str = "gathered/a.s2p", **other: object) -> Gathered:
    entries: dict[str, object] = {
        "file": file,
        "taken_from": "a.s2p",
        "sha256": DIGEST,
        "bytes": 3,
        "modified_at": AT,
        "gathered_at": AT,
        "source": "sweeps",
    }
    return Gathered(**(entries | other))  # type: ignore[arg-type]


def read(folder: Path, text: str) -> tuple[dict[str, Gathered], list[str]]:
    (folder / "gathered.csv").write_text(text, "utf-8", newline="")
    intake = Intake(folder)
    listed = dict(read_list(intake))
    return listed, [fault.sentence() for fault in intake.faults]


def test_without_a_list_nothing_was_gathered(tmp_path: Path) -> None:
    intake = Intake(tmp_path)
    assert read_list(intake) == {} and intake.faults == []


PARTS = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp"), exclude_characters="/\\"),
    min_size=1,
    max_size=12,
).filter(lambda text: text not in (".", ".."))
PATHS = st.lists(PARTS, min_size=1, max_size=4).map("/".join)
TIMES = st.datetimes(
    datetime(1000, 1, 2), datetime(9999, 12, 30), timezones=st.just(timezone(timedelta(hours=5)))
)
ROWS = st.builds(
    Gathered,
    file=st.builds(
        "{}/{}".format, st.sampled_from(["gathered", "calibrations", "verifications"]), PATHS
    ),
    taken_from=PATHS,
    sha256=st.just(DIGEST),
    bytes=st.integers(0, 10**15),
    modified_at=st.none() | TIMES,
    gathered_at=TIMES,
    source=PARTS,
)


@given(st.lists(ROWS, max_size=5, unique_by=lambda one: one.file))
def test_what_is_written_is_read(rows: list[Gathered]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        listed, faults = read(Path(folder), list_text(rows))
    assert faults == []
    assert listed == {one.file: one for one in rows}
    assert list(listed) == sorted(listed)
    assert all(one.gathered_at.utcoffset() == timedelta(0) for one in listed.values())


GOOD = f"gathered/a.s2p,a.s2p,{DIGEST},3,2026-03-02T09:00:00Z,2026-03-02T09:00:00Z,sweeps"


@pytest.mark.parametrize(
    ("line", "place", "found"),
    [
        (GOOD.replace(DIGEST, "abc"), "row 3", '"abc"'),
        (GOOD.replace(",3,", ",-3,"), "row 3", '"-3"'),
        (GOOD.replace(",3,", ",three,"), "row 3", '"three"'),
        (GOOD.replace("gathered/a", "../a"), "row 3", '"../a.s2p"'),
        (GOOD.replace("gathered/a.s2p", "/etc/passwd"), "row 3", '"/etc/passwd"'),
        (GOOD.replace("gathered/a.s2p", "campaign.toml"), "row 3", '"campaign.toml"'),
        (GOOD.replace("gathered/a.s2p", "wafers/W1/wafer.toml"), "row 3", '"wafers/W1/wafer.toml"'),
        (
            GOOD.replace("gathered/a.s2p", "calibrations/C/record.toml"),
            "row 3",
            '"calibrations/C/record.toml"',
        ),
        (GOOD.replace("gathered/a.s2p", "gathered"), "row 3", '"gathered"'),
        (GOOD.replace("gathered/a.s2p", "gathered2/a.s2p"), "row 3", '"gathered2/a.s2p"'),
        (GOOD.replace("09:00:00Z,2026", "09:00:00,2026"), "row 3", '"2026-03-02T09:00:00"'),
        (GOOD.replace("00Z,sweeps", "00,sweeps"), "row 3", '"2026-03-02T09:00:00"'),
        (GOOD.replace(",sweeps", ","), "row 3", '""'),
        (GOOD + ",more", "row 3", "8 entries"),
        (GOOD.replace(",sweeps", ""), "row 3", "6 entries"),
        (GOOD.replace("a.s2p", "b.s2p"), "row 3", "a second time"),
    ],
)
def test_a_broken_row_is_told_and_the_others_stay(
    line: str, place: str, found: str, tmp_path: Path
) -> None:
    first = GOOD.replace("a.s2p", "b.s2p")
    listed, faults = read(tmp_path, f"{HEADER}\n{first}\n{line}\n")
    assert list(listed) == ["gathered/b.s2p"]
    assert len(faults) == 1
    assert faults[0].startswith(f"gathered.csv, {place}: found") and found in faults[0]


def test_a_row_that_names_a_record_is_the_lists_own_mistake(tmp_path: Path) -> None:
    """Nobody is told to remove a record because a list names it."""
    (tmp_path / "campaign.toml").write_text("mine", "utf-8")
    line = GOOD.replace("gathered/a.s2p", "campaign.toml")
    (tmp_path / "gathered.csv").write_text(f"{HEADER}\n{line}\n", "utf-8")
    intake = Intake(tmp_path)
    list_troubles(intake, read_list(intake))
    assert [fault.file for fault in intake.faults] == ["gathered.csv"]
    assert "Remove the file" not in intake.faults[0].remedy


@pytest.mark.parametrize("end", ["\n", "\n\n", "\r\n\r\n"])
def test_empty_lines_say_nothing(end: str, tmp_path: Path) -> None:
    listed, faults = read(tmp_path, f"{HEADER}\n\n{GOOD}{end}")
    assert list(listed) == ["gathered/a.s2p"] and faults == []


def test_a_row_below_an_empty_line_is_told_by_its_own_place(tmp_path: Path) -> None:
    _, faults = read(tmp_path, f"{HEADER}\n\n{GOOD.replace(DIGEST, 'abc')}\n")
    assert len(faults) == 1 and faults[0].startswith("gathered.csv, row 3: found")


@pytest.mark.parametrize("is_read", [True, False])
def test_a_size_that_is_not_the_files_is_told_and_the_file_stays(
    is_read: bool, tmp_path: Path
) -> None:
    files = {"gathered/a.s2p": b"one", "gathered/b.s2p": b"one"}
    intake = campaign(tmp_path, files)
    if is_read:
        intake.read("gathered/a.s2p")
    listed = {"gathered/a.s2p": row(bytes=4), "gathered/b.s2p": row("gathered/b.s2p")}
    assert list_troubles(intake, listed) == frozenset()
    assert [(fault.file, fault.count) for fault in intake.faults] == [("gathered.csv", 1)]
    assert "4 bytes" in intake.faults[0].found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "nothing"),
        ("a,b\n", '"a,b"'),
        (HEADER.replace(",", ";") + "\n", "file;taken_from"),
        (f'{HEADER}\n"gathered/a', "no comma-separated row"),
        (f"{HEADER}\n{'x' * 200_000},", "no comma-separated row"),
    ],
)
def test_what_is_no_list_is_told(text: str, found: str, tmp_path: Path) -> None:
    listed, faults = read(tmp_path, text)
    assert listed == {}
    assert len(faults) == 1 and found in faults[0]


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"file\x00", b"\x80abc"])
def test_bytes_that_are_no_text_are_told(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "gathered.csv").write_bytes(content)
    intake = Intake(tmp_path)
    assert read_list(intake) == {}
    assert len(intake.faults) == 1


def test_a_folder_in_place_of_the_list_is_told(tmp_path: Path) -> None:
    (tmp_path / "gathered.csv").mkdir()
    intake = Intake(tmp_path)
    assert read_list(intake) == {}
    assert "a folder in place of the file" in intake.faults[0].found


def campaign(folder: Path, files: dict[str, bytes]) -> Intake:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return Intake(folder)


def test_files_as_they_were_gathered_have_no_trouble(tmp_path: Path) -> None:
    intake = campaign(tmp_path, {"gathered/a.s2p": b"one", "calibrations/C/b.s2p": b"one"})
    listed = {name: row(name) for name in ("gathered/a.s2p", "calibrations/C/b.s2p")}
    assert list_troubles(intake, listed) == frozenset()
    assert intake.faults == []


def test_an_altered_file_is_told_by_its_own_name(tmp_path: Path) -> None:
    intake = campaign(tmp_path, {"gathered/a.s2p": b"One"})
    assert list_troubles(intake, {"gathered/a.s2p": row()}) == {"gathered/a.s2p"}
    assert [fault.file for fault in intake.faults] == ["gathered/a.s2p"]
    assert "altered since" in intake.faults[0].found


def test_a_file_that_was_read_is_judged_by_the_digest_that_it_had_then(tmp_path: Path) -> None:
    intake = campaign(tmp_path, {"gathered/a.s2p": b"one"})
    intake.read("gathered/a.s2p")
    (tmp_path / "gathered" / "a.s2p").write_bytes(b"other")
    assert list_troubles(intake, {"gathered/a.s2p": row()}) == frozenset()


def test_missing_files_are_told_together(tmp_path: Path) -> None:
    intake = campaign(tmp_path, {"gathered/a.s2p": b"one"})
    listed = {name: row(name) for name in ("gathered/a.s2p", "gathered/b.s2p", "gathered/c.s2p")}
    assert list_troubles(intake, listed) == {"gathered/b.s2p", "gathered/c.s2p"}
    assert [(fault.file, fault.count) for fault in intake.faults] == [("gathered.csv", 2)]
    assert "gathered/b.s2p" in intake.faults[0].place


def test_files_that_the_list_does_not_have_are_told_together(tmp_path: Path) -> None:
    intake = campaign(
        tmp_path,
        {
            "gathered/a.s2p": b"one",
            "gathered/x/b.s2p": b"",
            "gathered/x/c": b"",
            "gathered/.d": b"",
        },
    )
    assert list_troubles(intake, {"gathered/a.s2p": row()}) == frozenset()
    assert [(fault.file, fault.count) for fault in intake.faults] == [("gathered/x/b.s2p", 2)]


def test_with_a_broken_list_nobody_says_which_files_are_not_listed(tmp_path: Path) -> None:
    intake = campaign(tmp_path, {"gathered/a.s2p": b"one", "gathered.csv": b"file\n"})
    list_troubles(intake, read_list(intake))
    assert [fault.file for fault in intake.faults] == ["gathered.csv"]


def test_a_name_that_cannot_be_shown_does_not_stop_the_comparison(tmp_path: Path) -> None:
    intake = campaign(tmp_path, {"gathered/a\nb": b"one"})
    list_troubles(intake, {})
    assert "\n" not in intake.faults[0].sentence()
