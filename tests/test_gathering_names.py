"""Names and contents that are not understood: each is told with its cause, nothing is guessed."""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitegen.gathering import gather
from sitegen.gathering_plan import Told, matched, placed, resolved, without_collisions
from sitegen.gathering_report import Report, grouped, report_lines
from sitegen.model.mapping import Source
from sitegen.read.foreign.fields import resolve
from sitegen.read.foreign.tree import TreeFile
from tests.conftest import quiet
from tests.foreign_tree import MAPPING, station_tree, write, write_sweep

NOW = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
SWEEPS = Source(
    id="sweeps",
    files="{wafer}/X{die_x}_Y{die_y}_{device}.s2p",
    holds="sweeps",
    sweep="raw",
    constants={"condition": "rf"},
    time_from="modification",
)


@pytest.fixture
def place(tmp_path: Path) -> tuple[Path, Path]:
    return station_tree(tmp_path)


def run(place: tuple[Path, Path]) -> Report:
    return gather(*place, NOW, quiet)


def add_sources(campaign: Path, text: str) -> None:
    with (campaign / "mapping.toml").open("a", encoding="utf-8") as stream:
        stream.write(text)


def words(report: Report) -> str:
    return " ".join(" ".join(report_lines(report)).split())


def files(*paths: str) -> list[TreeFile]:
    return [TreeFile(path, 1, NOW) for path in paths]


def told_of(report: Report) -> dict[str, str]:
    return {one.path: one.what for one in report.told}


def copied(campaign: Path) -> set[str]:
    """Files below gathered/, relative to it."""
    return {
        path.relative_to(campaign / "gathered").as_posix()
        for path in (campaign / "gathered").rglob("*")
        if path.is_file()
    }


def test_files_that_no_pattern_fits_are_told_together(place: tuple[Path, Path]) -> None:
    for number in range(12):
        write(place[1] / f"log/run {number}.txt", "x")
    write(place[1] / "W1/XA_Y1_IND.s2p", "x")
    report = run(place)
    assert "12 files such as log/run 0.txt: no source's pattern fits; nearest is that of" in words(
        report
    )
    assert '"A" where {die_x} should be a whole number' in words(report)
    assert not report.is_whole
    assert not any(path.startswith("log") for path in copied(place[0]))


def test_a_name_that_two_patterns_fit_is_not_copied(place: tuple[Path, Path]) -> None:
    add_sources(
        place[0],
        '\n[[sources]]\nid = "other"\nfiles = "{wafer}/X{die_x}_Y{die_y}_FET.s2p"\n'
        'holds = "sweeps"\nsweep = "raw"\nconstants = { device = "FET", condition = "rf" }\n'
        'time_from = "modification"\n',
    )
    report = run(place)
    assert told_of(report) == {"W7/X0_Y1_FET.s2p": 'the patterns of "sweeps" and "other" both fit'}
    assert "W7/X0_Y1_FET.s2p" not in copied(place[0])


def test_a_name_that_can_be_read_in_two_ways_is_not_copied() -> None:
    source = SWEEPS.model_copy(update={"files": "{wafer}_{device}_X{die_x}_Y{die_y}.s2p"})
    named, told, _ = matched(files("A_B_C_X1_Y2.s2p", "A_B_X1_Y2.s2p"), [source])
    assert [one.path for one in named] == ["A_B_X1_Y2.s2p"]
    assert [one.path for one in told] == ["A_B_C_X1_Y2.s2p"]
    assert "two ways" in told[0].what


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("W1\n/X0_Y0_IND.s2p", "control characters"),
        ("W1/X0_Y0_I\x1b[31mND.s2p", "control characters"),
        ("W1/X0_Y0_I\u2028ND.s2p", "control characters"),
        (os.fsdecode(b"W\xff/X0_Y0_IND.s2p"), "not UTF-8"),
        ("W1\\W2/X0_Y0_IND.s2p", "backslash"),
        ("d/" * 60 + "X0_Y0_IND.s2p", "60 folders"),
    ],
)
def test_names_that_a_campaign_cannot_hold_are_told(
    name: str, says: str, place: tuple[Path, Path]
) -> None:
    write_sweep(place[1] / name, 60)
    report = run(place)
    assert len(report.told) == 1 and says in report.told[0].what
    assert len(copied(place[0])) == 5
    assert "\x1b" not in "".join(report_lines(report))
    "\n".join(report_lines(report)).encode("utf-8")


def test_names_that_differ_by_capitals_only_are_both_told(place: tuple[Path, Path]) -> None:
    write_sweep(place[1] / "W1/X0_Y0_Ind.s2p", 61)
    report = run(place)
    assert set(told_of(report)) == {"W1/X0_Y0_IND.s2p", "W1/X0_Y0_Ind.s2p"}
    assert all("differs only by capitals" in what for what in told_of(report).values())
    assert "W1/X0_Y0_IND.s2p" not in copied(place[0])


def test_a_new_name_that_differs_by_capitals_from_a_gathered_one_is_told(
    place: tuple[Path, Path],
) -> None:
    run(place)
    (place[1] / "W1/X0_Y0_IND.s2p").rename(place[1] / "W1/X0_Y0_Ind.s2p")
    report = run(place)
    assert set(told_of(report)) == {"W1/X0_Y0_Ind.s2p"}
    assert report.gone == ["gathered/W1/X0_Y0_IND.s2p"]


def test_names_whose_accents_are_written_in_two_ways_collide() -> None:
    source = SWEEPS.model_copy(update={"files": "*/{wafer}_X{die_x}_Y{die_y}_{device}.s2p"})
    paths = ("caf\u00e9/W1_X0_Y0_A.s2p", "cafe\u0301/W1_X0_Y0_A.s2p", "cafe/W1_X0_Y0_A.s2p")
    named, _, _ = matched(files(*paths), [source])
    places, told = placed(source, named, resolved(source, named, resolve), "gathered")
    assert len(places) == 3 and told == ()
    alone, collided = without_collisions(places, ())
    assert [one.path for one in alone] == [paths[2]]
    assert {one.path for one in collided} == set(paths[:2])


def test_standards_of_one_name_from_two_folders_are_both_told(place: tuple[Path, Path]) -> None:
    text = MAPPING.replace("cal/{calibration}/*.s2p", "cal/*/{calibration}/*.s2p")
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    write_sweep(place[1] / "cal/a/CAL7/thru.s2p", 62)
    write_sweep(place[1] / "cal/b/CAL7/thru.s2p", 63)
    report = run(place)
    assert "cal/b/CAL7/thru.s2p" in told_of(report)["cal/a/CAL7/thru.s2p"]
    assert not (place[0] / "calibrations/CAL7").exists()


@pytest.mark.parametrize("wafer", ["W 1", "..", "ü", "x" * 65, "-1", "a.", "NUL"])
def test_what_cannot_be_the_id_of_a_record_is_told(wafer: str, place: tuple[Path, Path]) -> None:
    text = MAPPING.replace('files = "{wafer}/', 'files = "by name/w{wafer}w/')
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    write_sweep(place[1] / f"by name/w{wafer}w/X0_Y0_IND.s2p", 64)
    report = run(place)
    (mine,) = [one for one in report.copied_with_faults if "by name" in one.path]
    assert mine.what.startswith("wafer: found") and "expected an id" in mine.what
    assert f"by name/w{wafer}w/X0_Y0_IND.s2p" in copied(place[0])
    assert not (place[0] / "wafers" / wafer / "wafer.toml").exists() or wafer == ".."


def test_a_link_out_of_the_tree_is_told(place: tuple[Path, Path]) -> None:
    (place[1] / "W1/X9_Y9_IND.s2p").symlink_to("../../tiny/campaign.toml")
    report = run(place)
    assert "leads out of the tree" in told_of(report)["W1/X9_Y9_IND.s2p"]
    assert "W1/X9_Y9_IND.s2p" not in copied(place[0])


def test_gathered_that_leads_out_of_the_campaign_is_not_written_into(
    place: tuple[Path, Path], tmp_path: Path
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (place[0] / "gathered").symlink_to(outside)
    report = run(place)
    assert list(outside.iterdir()) == []
    assert all("leads out of the campaign" in what for what in told_of(report).values())


def test_names_that_windows_cannot_hold_are_copied_and_told(place: tuple[Path, Path]) -> None:
    write_sweep(place[1] / "W1/X5_Y5_T=25:00.s2p", 65)
    text = MAPPING.replace('"{wafer}/X{die_x}', '"**/{wafer}/X{die_x}')
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    write_sweep(place[1] / "nul.d/W1/X5_Y5_IND.s2p", 66)
    report = run(place)
    assert {"W1/X5_Y5_T=25:00.s2p", "nul.d/W1/X5_Y5_IND.s2p"} <= copied(place[0])
    assert "2 files have names that Windows cannot hold" in words(report)


def test_the_same_bytes_under_two_names_are_told(place: tuple[Path, Path]) -> None:
    write_sweep(place[1] / "W1/X3_Y0_IND.s2p", 0)
    report = run(place)
    assert report.alike == [("W1/X0_Y0_IND.s2p", "W1/X3_Y0_IND.s2p")]
    assert report.is_whole
    assert "W1/X0_Y0_IND.s2p = W1/X3_Y0_IND.s2p" in words(report)


def test_a_file_that_cannot_be_read_is_copied_as_it_is_and_told(place: tuple[Path, Path]) -> None:
    whole = (place[1] / "W1/X0_Y0_IND.s2p").read_text()
    write(place[1] / "W1/X4_Y0_IND.s2p", whole[:-20])
    write(place[1] / "W1/X4_Y1_IND.s2p", "")
    write(place[1] / "dc/W8.csv", "col;row\n1;2\n")
    report = run(place)
    told = {one.path for one in report.copied_with_faults}
    assert told == {"W1/X4_Y0_IND.s2p", "W1/X4_Y1_IND.s2p", "dc/W8.csv"}
    assert told <= copied(place[0])
    assert "expected" in words(report)
    sweeps = report.sources["sweeps"]
    assert (sweeps.understood, sweeps.new, sweeps.tally.sweeps) == (6, 6, 4)


def test_rows_that_cannot_be_taken_are_told_and_the_table_is_copied(
    place: tuple[Path, Path],
) -> None:
    write(place[1] / "dc/W8.csv", "col;row;Vt/V;when\n0;0;0,4;2026-03-02 09:00:00\nA;0;0,4;soon\n")
    report = run(place)
    assert "dc/W8.csv" in copied(place[0])
    assert {one.path for one in report.copied_with_faults} == {"dc/W8.csv"}
    assert '"A"' in words(report) and "line 3" in words(report)
    assert report.sources["thresholds"].tally.rows == 4
    assert not report.is_whole


def test_a_name_that_says_what_no_rule_names_is_told(place: tuple[Path, Path]) -> None:
    text = MAPPING.replace("{device}.s2p", "{device}_{bias}.s2p").replace(
        'constants = { condition = "rf" }',
        'conditions = [{ condition = "rf", when = { bias = "off" } }]',
    )
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    write_sweep(place[1] / "W1/X0_Y0_IND_off.s2p", 67)
    write_sweep(place[1] / "W1/X0_Y0_IND_on.s2p", 68)
    report = run(place)
    assert "W1/X0_Y0_IND_off.s2p" in copied(place[0])
    assert "W1/X0_Y0_IND_on.s2p" in copied(place[0])
    (mine,) = [one for one in report.copied_with_faults if one.path == "W1/X0_Y0_IND_on.s2p"]
    assert 'bias "on"' in mine.what


def test_lines_say_what_names_do_not(place: tuple[Path, Path]) -> None:
    text = MAPPING.replace('"{wafer}/X{die_x}', '"*/X{die_x}').replace(
        'time_from = "modification"', 'time_from = "modification"\nlines = ["! wafer {wafer}"]', 1
    )
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    path = place[1] / "W1/X0_Y0_IND.s2p"
    write(path, "! wafer W9\n" + path.read_text())
    report = run(place)
    assert len(copied(place[0])) == 5
    assert {one.path for one in report.copied_with_faults} == copied(place[0]) - {
        "W1/X0_Y0_IND.s2p",
        "dc/W7.csv",
    }
    assert report.sources["sweeps"].tally.wafers == {"W9"}
    assert "3 files such as W1/X1_Y-1_IND.s2p" in words(report)


def test_parts_of_the_frequency_range_are_one_sweep(place: tuple[Path, Path]) -> None:
    text = MAPPING.replace("{device}.s2p", "{device}_{part}.s2p")
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    for part in ("low", "high"):
        write_sweep(place[1] / f"W1/X0_Y0_IND_{part}.s2p", 69 + len(part))
        write_sweep(place[1] / f"W1/X1_Y0_IND_{part}.s2p", 79 + len(part))
    tally = run(place).sources["sweeps"].tally
    assert (tally.sweeps, tally.points) == (2, 12)


def test_a_mapping_that_uses_names_the_campaign_lacks_is_told(place: tuple[Path, Path]) -> None:
    text = MAPPING.replace('condition = "rf"', 'condition = "rff"')
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    report = run(place)
    assert [fault.file for fault in report.campaign_faults] == ["mapping.toml"]
    assert '"rff"' in words(report)


def test_alike_ones_are_grouped_by_their_words_without_numbers() -> None:
    told = [Told(f"f{n}", f'line {n}: found "{n}"', "Mend it.") for n in (3, 1, 2)]
    told += [Told("g", "another", "Mend it."), Told("h", 'line 1: found "1"', "Leave it.")]
    assert [(one.path, number) for one, number in grouped(told)] == [("f1", 3), ("g", 1), ("h", 1)]


NAMES = st.text(st.characters(exclude_characters="/\x00"), min_size=1, max_size=30).filter(
    lambda name: name not in (".", "..")
)


@given(st.lists(st.lists(NAMES, min_size=1, max_size=4).map("/".join), max_size=6, unique=True))
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_every_file_is_either_understood_or_told(paths: list[str]) -> None:
    named, told, _ = matched(files(*paths), [SWEEPS])
    assert sorted([one.path for one in named] + [one.path for one in told]) == sorted(paths)
    report = Report(Path("c"), Path("t"), "gathered", True, len(paths), told=list(told))
    "\n".join(report_lines(report)).encode("utf-8")
