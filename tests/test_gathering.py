"""`sitegen gather` as its user meets it: what is copied, listed, told, left alone."""

import csv
import hashlib
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sitegen.cli import main
from sitegen.gathering import gather
from sitegen.gathering_campaign import NotGathered
from sitegen.gathering_report import WIDTH, Report, report_lines
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import GATHERED_COLUMNS
from tests.conftest import quiet
from tests.foreign_tree import MAPPING, WRITTEN, station_tree, write, write_sweep

NOW = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
FILES = {
    "W1/X0_Y0_IND.s2p": "gathered/W1/X0_Y0_IND.s2p",
    "W1/X1_Y-1_IND.s2p": "gathered/W1/X1_Y-1_IND.s2p",
    "W7/X0_Y0_IND.s2p": "gathered/W7/X0_Y0_IND.s2p",
    "W7/X0_Y1_FET.s2p": "gathered/W7/X0_Y1_FET.s2p",
    "cal/CAL7/thru.s2p": "calibrations/CAL7/thru.s2p",
    "dc/W7.csv": "gathered/dc/W7.csv",
}
"""Where each file of the tree belongs."""


@pytest.fixture
def place(tmp_path: Path) -> tuple[Path, Path]:
    return station_tree(tmp_path)


def started(wafer: str, _: CampaignRecord, first: datetime | None, last: datetime | None) -> str:
    return f"{wafer} {first} {last}\n"


def run(place: tuple[Path, Path], *, dry_run: bool = False, at: datetime = NOW) -> Report:
    return gather(*place, at, quiet, dry_run=dry_run, start_wafer=started)


def command(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["gather", *map(str, arguments)], catch_exceptions=False)


def counts(report: Report) -> dict[str, tuple[int, ...]]:
    return {
        name: (one.understood, one.new, one.unchanged, one.changed, one.gone)
        for name, one in report.sources.items()
    }


def listed(campaign: Path) -> list[dict[str, str]]:
    with (campaign / "gathered.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def everything(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def text(report: Report) -> str:
    return "\n".join(report_lines(report))


def test_files_are_copied_byte_for_byte_and_listed(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    report = run(place)
    assert counts(report) == {
        "sweeps": (4, 4, 0, 0, 0),
        "thresholds": (1, 1, 0, 0, 0),
        "standards": (1, 1, 0, 0, 0),
    }
    assert report.is_whole
    rows = listed(campaign)
    assert [row["file"] for row in rows] == sorted(FILES.values())
    assert tuple(rows[0]) == GATHERED_COLUMNS
    for row in rows:
        content = (tree / row["taken_from"]).read_bytes()
        assert FILES[row["taken_from"]] == row["file"]
        assert (campaign / row["file"]).read_bytes() == content
        assert row["sha256"] == hashlib.sha256(content).hexdigest()
        assert int(row["bytes"]) == len(content)
        assert datetime.fromisoformat(row["modified_at"]) == WRITTEN
        assert row["gathered_at"] == "2026-03-03T12:00:00Z"
    assert b"\r" not in (campaign / "gathered.csv").read_bytes()


def test_what_the_files_hold_is_found_by_reading_them(place: tuple[Path, Path]) -> None:
    report = run(place, dry_run=True)
    sweeps, table, standard = (one.tally for one in report.sources.values())
    assert (len(sweeps.wafers), len(sweeps.dies), len(sweeps.devices)) == (2, 4, 2)
    assert (sweeps.sweeps, sweeps.rows, sweeps.points) == (4, 0, 12)
    assert (len(table.wafers), len(table.dies), table.rows, table.points) == (1, 3, 3, 3)
    assert (standard.sweeps, standard.points) == (1, 3)


def test_a_dry_run_writes_nothing_and_says_the_same(place: tuple[Path, Path]) -> None:
    before = everything(place[0])
    dry = run(place, dry_run=True)
    assert everything(place[0]) == before
    wet = run(place)
    assert counts(dry) == counts(wet)
    assert "Dry run: nothing was written; 6 files would be copied." in text(dry)
    assert "6 files copied and listed in gathered.csv." in text(wet)
    assert text(dry).split("Records:")[0] == text(wet).split("Records:")[0]


def test_a_second_run_adds_just_what_is_new_and_says_what_changed(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    run(place)
    first = {row["file"]: row for row in listed(campaign)}
    write_sweep(tree / "W1" / "X1_Y1_IND.s2p", 77)
    kept = (campaign / "gathered/W7/X0_Y0_IND.s2p").read_bytes()
    write_sweep(tree / "W7" / "X0_Y0_IND.s2p", 78)
    (tree / "cal" / "CAL7" / "thru.s2p").unlink()
    report = run(place, at=NOW + timedelta(days=1))
    assert counts(report) == {
        "sweeps": (5, 1, 3, 1, 0),
        "thresholds": (1, 0, 1, 0, 0),
        "standards": (0, 0, 0, 0, 1),
    }
    assert report.changed == ["gathered/W7/X0_Y0_IND.s2p"]
    assert report.gone == ["calibrations/CAL7/thru.s2p"]
    assert (campaign / "gathered/W7/X0_Y0_IND.s2p").read_bytes() == kept
    assert (campaign / "calibrations/CAL7/thru.s2p").is_file()
    second = {row["file"]: row for row in listed(campaign)}
    assert {file: row for file, row in second.items() if file in first} == first
    assert set(second) - set(first) == {"gathered/W1/X1_Y1_IND.s2p"}
    assert second["gathered/W1/X1_Y1_IND.s2p"]["gathered_at"] == "2026-03-04T12:00:00Z"
    assert not report.is_whole
    assert "gathered/W7/X0_Y0_IND.s2p" in text(report)


def test_a_third_run_without_anything_new_leaves_the_list_alone(place: tuple[Path, Path]) -> None:
    run(place)
    before = everything(place[0])
    report = run(place, at=NOW + timedelta(days=1))
    assert report.is_whole
    assert everything(place[0]) == before
    assert "No file was copied." in text(report)


def test_a_changed_file_is_taken_again_once_it_is_removed(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    run(place)
    write_sweep(tree / "W7" / "X0_Y0_IND.s2p", 78)
    (campaign / "gathered/W7/X0_Y0_IND.s2p").unlink()
    report = run(place)
    assert counts(report)["sweeps"] == (4, 1, 3, 0, 0)
    content = (tree / "W7" / "X0_Y0_IND.s2p").read_bytes()
    assert (campaign / "gathered/W7/X0_Y0_IND.s2p").read_bytes() == content
    row = next(one for one in listed(campaign) if one["taken_from"] == "W7/X0_Y0_IND.s2p")
    assert row["sha256"] == hashlib.sha256(content).hexdigest()
    assert run(place).is_whole


def test_a_file_altered_in_the_campaign_is_told(place: tuple[Path, Path]) -> None:
    campaign, _ = place
    run(place)
    (campaign / "gathered/dc/W7.csv").write_text("other")
    report = run(place)
    assert [fault.file for fault in report.campaign_faults] == ["gathered/dc/W7.csv"]
    assert "altered since" in text(report).replace("\n    ", " ")


class BrokenOffError(BaseException):
    """Stands for the user's interruption."""


def test_after_an_interruption_the_next_run_goes_on(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    campaign, tree = place
    link = os.link
    done: list[str] = []

    def interrupted(source: str, target: str) -> None:
        if len(done) == 3:
            raise BrokenOffError
        done.append(target)
        link(source, target)

    monkeypatch.setattr(os, "link", interrupted)
    with pytest.raises(BrokenOffError):
        run(place)
    monkeypatch.undo()
    assert not (campaign / "gathered.csv").exists()
    copied = [file for name, file in FILES.items() if (campaign / file).exists()]
    assert len(copied) == 3
    for name, file in FILES.items():
        if file in copied:
            assert (campaign / file).read_bytes() == (tree / name).read_bytes()
    assert not list(campaign.rglob("*.part"))
    assert run(place, dry_run=True).is_whole
    report = run(place)
    assert report.is_whole
    assert [row["file"] for row in listed(campaign)] == sorted(FILES.values())


def test_something_else_in_a_files_place_is_not_overwritten(place: tuple[Path, Path]) -> None:
    campaign, _ = place
    write(campaign / "gathered/dc/W7.csv", "my own")
    report = run(place)
    assert (campaign / "gathered/dc/W7.csv").read_text() == "my own"
    assert [told.path for told in report.told] == ["dc/W7.csv"]
    assert "is something else" in report.told[0].what
    assert "gathered/dc/W7.csv" not in {row["file"] for row in listed(campaign)}


def test_wafers_without_a_record_get_one_with_the_time_of_their_data(
    place: tuple[Path, Path],
) -> None:
    campaign, _ = place
    before = (campaign / "wafers" / "W1" / "wafer.toml").read_bytes()
    report = run(place)
    assert report.started == ["wafers/W7/wafer.toml"]
    assert (campaign / "wafers" / "W1" / "wafer.toml").read_bytes() == before
    assert (campaign / "wafers" / "W7" / "wafer.toml").read_text() == (
        "W7 2026-03-02 09:00:30+00:00 2026-03-02 10:40:00+00:00\n"
    )
    assert run(place).started == []


def test_a_wafer_that_differs_by_capitals_only_is_told(place: tuple[Path, Path]) -> None:
    write_sweep(place[1] / "w1" / "X0_Y1_IND.s2p", 55)
    report = run(place)
    assert [told.path for told in report.not_started] == ["wafer w1"]
    assert "wafers/W1" in report.not_started[0].what
    assert report.told == [] and not report.is_whole
    assert (place[0] / "gathered/w1/X0_Y1_IND.s2p").is_file()
    assert "Not copied" not in text(report)
    assert "Records that cannot be started:\n  wafer w1: the campaign has" in text(report)
    assert not (place[0] / "wafers" / "w1").exists()


def test_calibrations_without_a_record_are_pointed_out(place: tuple[Path, Path]) -> None:
    report = run(place)
    assert report.events == [("calibration", "CAL7")]
    assert "sitegen new" in text(report) and "--calibration" in text(report)


def test_the_command_ends_with_its_status(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    done = command(campaign, tree, "--dry-run")
    assert done.exit_code == 0, done.output
    done = command(campaign, tree)
    assert done.exit_code == 0, done.output
    assert "TO FILL IN" in (campaign / "wafers" / "W7" / "wafer.toml").read_text("utf-8")
    write(tree / "readme.txt", "hello")
    done = command(campaign, tree)
    assert done.exit_code == 1
    assert "readme.txt: no source's pattern fits" in done.output
    lines = [line for line in done.stdout.splitlines() if str(tree.parent) not in line]
    assert all(len(line) <= WIDTH for line in lines)


def test_another_part_of_gathered_belongs_to_sources_of_its_own(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    text_ = MAPPING.replace('holds = "sweeps"', 'holds = "sweeps"\nfolder = "gathered/station-a"')
    (campaign / "mapping.toml").write_text(text_, "utf-8")
    shutil.rmtree(tree / "dc")
    shutil.rmtree(tree / "cal")
    report = gather(campaign, tree, NOW, quiet, into="gathered/station-a", start_wafer=started)
    assert report.is_whole and counts(report) == {"sweeps": (4, 4, 0, 0, 0)}
    assert (campaign / "gathered/station-a/W1/X0_Y0_IND.s2p").is_file()
    assert "gathered with --into gathered." in " ".join(text(report).split())
    with pytest.raises(NotGathered, match="belong to --into gathered"):
        gather(campaign, tree, NOW, quiet, into="gathered/station-b")


@pytest.mark.parametrize(
    "into", ["elsewhere", "gathered/../x", "/gathered", "", "gathered//x", "."]
)
def test_files_are_gathered_below_gathered_only(into: str, place: tuple[Path, Path]) -> None:
    with pytest.raises(NotGathered, match="--into"):
        gather(*place, NOW, quiet, into=into)


def no_mapping(campaign: Path, tree: Path) -> None:
    (campaign / "mapping.toml").unlink()


def no_source(campaign: Path, tree: Path) -> None:
    (campaign / "mapping.toml").write_text("")


def broken_mapping(campaign: Path, tree: Path) -> None:
    (campaign / "mapping.toml").write_text("[[sources]\n")


def unknown_field(campaign: Path, tree: Path) -> None:
    (campaign / "mapping.toml").write_text(MAPPING.replace("{die_x}", "{column}"))


def no_tree(campaign: Path, tree: Path) -> None:
    shutil.rmtree(tree)


def no_campaign(campaign: Path, tree: Path) -> None:
    shutil.rmtree(campaign)


def broken_list(campaign: Path, tree: Path) -> None:
    (campaign / "gathered.csv").write_text("file;sha256\n")


def lost_link(campaign: Path, tree: Path) -> None:
    (campaign / "mapping.toml").unlink()
    (campaign / "mapping.toml").symlink_to("nowhere")


@pytest.mark.parametrize(
    ("broken_by", "says"),
    [
        (no_mapping, "[[sources]]"),
        (no_source, "it has no source"),
        (broken_mapping, "not TOML"),
        (unknown_field, "column"),
        (no_tree, "no folder of this name"),
        (no_campaign, "no folder of this name"),
        (broken_list, "gathered.csv"),
        (lost_link, "mapping.toml"),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_where_nothing_can_be_done_the_status_is_2(
    broken_by: object, says: str, place: tuple[Path, Path]
) -> None:
    campaign, tree = place
    assert callable(broken_by)
    broken_by(campaign, tree)
    before = everything(campaign) if campaign.exists() else {}
    done = command(campaign, tree)
    assert done.exit_code == 2, done.output
    assert says in " ".join(done.output.split()) and "Traceback" not in done.output
    assert "Nothing was gathered." in done.output
    if campaign.exists():
        assert everything(campaign) == before


def test_without_a_mapping_examples_of_the_tree_are_shown(place: tuple[Path, Path]) -> None:
    no_mapping(*place)
    done = command(*place)
    shown = [line.strip() for line in done.output.splitlines() if line.strip() in FILES]
    assert 2 <= len(shown) <= 5
    assert {path.rpartition(".")[2] for path in shown} == {"s2p", "csv"}


def test_a_campaign_that_cannot_be_read_is_gathered_into_all_the_same(
    place: tuple[Path, Path],
) -> None:
    (place[0] / "campaign.toml").unlink()
    report = run(place)
    assert counts(report)["sweeps"] == (4, 4, 0, 0, 0)
    assert (report.started, report.to_start) == ([], ["W7"])


def test_files_that_are_known_and_not_needed_are_left_aside(place: tuple[Path, Path]) -> None:
    folder, tree = place
    write(tree / "prober.log", "needle down\n")
    assert not run(place, dry_run=True).is_whole
    mapping = folder / "mapping.toml"
    mapping.write_text('aside = ["**/*.log"]\n' + mapping.read_text(encoding="utf-8"))
    report = run(place, dry_run=True)
    assert report.is_whole
    assert report.not_needed == ("prober.log",)
    assert "1 file left aside, as mapping.toml says: prober.log." in "\n".join(report_lines(report))


def test_a_pattern_of_files_aside_that_is_none_is_told(place: tuple[Path, Path]) -> None:
    mapping = place[0] / "mapping.toml"
    mapping.write_text('aside = ["{waver}"]\n' + mapping.read_text(encoding="utf-8"))
    with pytest.raises(NotGathered) as refused:
        run(place)
    assert [fault.place for fault in refused.value.faults] == ["aside[1]"]
