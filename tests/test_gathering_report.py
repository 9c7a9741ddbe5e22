"""What `sitegen gather` counts and says: as `check` reads it, and in few lines."""

from datetime import datetime
from pathlib import Path

import pytest

from sitegen.checking import check
from sitegen.gathering import gather
from sitegen.gathering_report import Report, report_lines
from sitegen.model.campaign import CampaignRecord
from sitegen.publish import gathered_files
from sitegen.publish.gathered_files import Destination, NotCopied
from tests.conftest import quiet
from tests.foreign_tree import MAPPING, station_tree, write, write_sweep
from tests.test_gathering_names import NOW, copied, told_of, words

BY_ROWS = """
[[sources]]
id = "all"
files = "lot/*.csv"
holds = "values"
rows = "one a die"
constants = { condition = "sat", touchdown = 9 }
time_zone = "UTC"
dialect = { missing = ["n/a"] }
columns = [
  { theirs = "wafer", ours = "wafer" },
  { theirs = "col", ours = "die_x" },
  { theirs = "row", ours = "die_y" },
  { theirs = "Vt/V", parameter = "VTH", unit = "V" },
  { theirs = "Ioff/A", parameter = "IOFF", unit = "A" },
  { theirs = "when", ours = "time" },
]
"""
HEAD = "wafer;col;row;Vt/V;Ioff/A;when\n"


@pytest.fixture
def place(tmp_path: Path) -> tuple[Path, Path]:
    campaign, tree = station_tree(tmp_path)
    (campaign / "mapping.toml").write_text(MAPPING + BY_ROWS, "utf-8")
    return campaign, tree


def started(wafer: str, _: CampaignRecord, first: datetime | None, last: datetime | None) -> str:
    return f"{wafer} {first} {last}\n"


def run(place: tuple[Path, Path], *, dry_run: bool = False) -> Report:
    return gather(*place, NOW, quiet, dry_run=dry_run)


def faults_of(campaign: Path, file: str) -> list[str]:
    """What `check` tells of a file."""
    return [fault.sentence() for fault in check(campaign, quiet).faults if fault.file == file]


def test_blanks_that_pad_a_cell_say_nothing_as_in_a_build(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    rows = (
        "W1 ; 0 ;0 ; 0,412 ; 1e-9; 2026-03-02 09:00:30 \n W1; 1;0;0,415;2e-9;2026-03-02 09:01:00\n"
    )
    write(tree / "lot/a.csv", HEAD + rows)
    report = run(place)
    assert report.copied_with_faults == [] and report.told == []
    tally = report.sources["all"].tally
    assert (tally.wafers, len(tally.dies), tally.rows) == ({"W1"}, 2, 2)
    assert faults_of(campaign, "gathered/lot/a.csv") == []


def test_a_cell_that_is_no_number_is_told_as_check_tells_it(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    rows = "W1;0;0;open;1e-9;2026-03-02 09:00:30\nW1;1;0;0,415;2e-9;2026-03-02 09:01:00\n"
    write(tree / "lot/a.csv", HEAD + rows)
    report = run(place)
    (mine,) = report.copied_with_faults
    (theirs,) = faults_of(campaign, "gathered/lot/a.csv")
    assert mine.what.startswith('column "Vt/V", line 2: found "open", expected a number')
    assert 'column "Vt/V", line 2: found "open", expected a number' in theirs
    assert report.sources["all"].tally.points == 3


def test_rows_without_a_wafer_are_nobodys_and_not_counted(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    rows = "".join(
        f"{wafer};{number // 4};0;0,4;1e-9;2026-03-02 09:0{number}:00\n"
        for number, wafer in enumerate(("W1", "", "  ", "n/a", "W1"))
    )
    write(tree / "lot/a.csv", HEAD + rows)
    report = run(place)
    tally = report.sources["all"].tally
    assert (tally.wafers, len(tally.dies), tally.rows, tally.points) == ({"W1"}, 2, 2, 4)
    assert report.copied_with_faults == []
    (theirs,) = faults_of(campaign, "gathered/lot/a.csv")
    assert "line 3" in theirs and "empty" in theirs


def test_a_wide_table_counts_filled_cells_and_its_parameters_devices(
    place: tuple[Path, Path],
) -> None:
    rows = "W1;0;0;0,4;;2026-03-02 09:00:30\nW1;1;0;;n/a;2026-03-02 09:01:00\n"
    write(place[1] / "lot/a.csv", HEAD + rows + "W1;-1;0;0,3;1e-9;2026-03-02 09:02:00\n")
    dry = run(place, dry_run=True)
    tally = dry.sources["all"].tally
    assert (tally.rows, tally.points, tally.devices) == (3, 3, {"FET"})
    assert held(dry, "all") == ["1", "3", "1", "0", "3", "3"]
    (place[0] / "campaign.toml").unlink()
    assert held(run(place, dry_run=True), "all") == ["1", "3", "-", "0", "3", "3"]


def test_devices_of_parameters_without_a_value_are_not_counted(place: tuple[Path, Path]) -> None:
    text = (MAPPING + BY_ROWS).replace('"IOFF", unit = "A"', '"L", unit = "nH"')
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    write(place[1] / "lot/a.csv", HEAD + "W1;0;0;0,4;;2026-03-02 09:00:30\n")
    assert run(place, dry_run=True).sources["all"].tally.devices == {"FET"}
    write(place[1] / "lot/b.csv", HEAD + "W1;0;0;;1,1;2026-03-02 09:00:30\n")
    assert run(place, dry_run=True).sources["all"].tally.devices == {"FET", "IND"}


def held(report: Report, source: str) -> list[str]:
    """The row of a source in the table of what new files hold."""
    lines = report_lines(report)
    start = next(at for at, line in enumerate(lines) if line.startswith("In new files"))
    return next(line.split()[1:] for line in lines[start:] if line.startswith(source))


@pytest.mark.parametrize("number", [20, 21])
def test_a_second_tree_lists_few_of_what_the_first_had(number: int, tmp_path: Path) -> None:
    campaign, _ = station_tree(tmp_path)
    first, second = tmp_path / "week 1", tmp_path / "week 2"
    for x in range(number):
        write_sweep(first / f"W1/X{x}_Y0_IND.s2p", x)
    write_sweep(second / "W1/X0_Y1_IND.s2p", 99)
    gather(campaign, first, NOW, quiet)
    report = gather(campaign, second, NOW, quiet)
    assert report.is_whole and len(report.gone) == number
    said = words(report)
    assert "Not in this tree, gathered before from it or from another;" in said
    assert "o longer" not in said
    named = sum(f"gathered/W1/X{x}_Y0_IND.s2p" in said for x in range(number))
    assert named == (20 if number == 20 else 3)
    more = "21 files: gathered/W1/X0_Y0_IND.s2p, gathered/W1/X10_Y0_IND.s2p,"
    assert (more in said and "and 18 more." in said) is (number == 21)


def test_what_lay_there_already_is_listed_and_not_copied(place: tuple[Path, Path]) -> None:
    campaign, tree = place
    there = campaign / "gathered/W1/X0_Y0_IND.s2p"
    there.parent.mkdir(parents=True)
    there.write_bytes((tree / "W1/X0_Y0_IND.s2p").read_bytes())
    dry, wet = run(place, dry_run=True), run(place)
    assert dry.is_whole and wet.is_whole
    assert "5 files would be copied, and 1 that lies there already listed." in words(dry)
    assert (
        "5 files copied and listed in gathered.csv. 1 file lay there already and is listed now."
        in words(wet)
    )
    (campaign / "gathered.csv").unlink()
    assert "No file was copied. 6 files lay there already and are listed now." in words(run(place))


def test_groups_of_the_same_bytes_are_few_and_the_rest_is_counted(place: tuple[Path, Path]) -> None:
    for group in range(8):
        for number in range(2 + 3 * (group == 0)):
            write_sweep(place[1] / f"W1/X{10 + number}_Y{group}_IND.s2p", 200 + group)
    report = run(place)
    assert len(report.alike) == 8
    lines = [line for line in report_lines(report) if " = " in line or "more, of" in line]
    assert sum(" = " in line for line in lines) == 5
    said = words(report)
    assert (
        "W1/X10_Y0_IND.s2p = W1/X11_Y0_IND.s2p = W1/X12_Y0_IND.s2p and 2 more"
        " W1/X10_Y1_IND.s2p = W1/X11_Y1_IND.s2p" in said
    )
    assert "and 3 groups more, of 6 files" in said


def test_a_folder_in_place_of_a_gathered_file_is_told(place: tuple[Path, Path]) -> None:
    campaign, _ = place
    run(place)
    there = campaign / "gathered/W1/X0_Y0_IND.s2p"
    there.unlink()
    there.mkdir()
    report = run(place)
    assert set(told_of(report)) == {"W1/X0_Y0_IND.s2p"}
    assert "is something else" in told_of(report)["W1/X0_Y0_IND.s2p"]
    assert report.changed == [] and there.is_dir()


def test_events_that_differ_by_capitals_from_the_campaigns_are_not_copied(
    place: tuple[Path, Path],
) -> None:
    campaign, tree = place
    write_sweep(tree / "cal/cal1/open.s2p", 70)
    assert (campaign / "calibrations/CAL1").is_dir()
    report = run(place)
    assert told_of(report) == {
        "cal/cal1/open.s2p": "it belongs to calibration cal1; the campaign has calibrations/CAL1,"
        " which differs by capitals only"
    }
    assert [path.name for path in sorted((campaign / "calibrations").iterdir())] == ["CAL1", "CAL7"]
    assert report.events == [("calibration", "CAL7")]
    text = MAPPING.replace(
        'holds = "calibration sweeps"',
        'holds = "calibration sweeps"\nrename = { calibration = { cal1 = "CAL1" } }',
    )
    (campaign / "mapping.toml").write_text(text, "utf-8")
    assert "open.s2p" in told_of(run(place))["cal/cal1/open.s2p"]  # the record's own file is there
    (tree / "cal/cal1/open.s2p").rename(tree / "cal/cal1/again.s2p")
    assert run(place).is_whole
    assert (campaign / "calibrations/CAL1/again.s2p").is_file()


def test_events_of_a_tree_that_differ_by_capitals_are_not_copied(place: tuple[Path, Path]) -> None:
    write_sweep(place[1] / "cal/Cal7/short.s2p", 71)
    report = run(place)
    assert set(told_of(report)) == {"cal/CAL7/thru.s2p", "cal/Cal7/short.s2p"}
    assert not (place[0] / "calibrations/CAL7").exists() and report.events == []
    (place[0] / "calibrations/CAL7").mkdir()
    report = run(place)
    assert set(told_of(report)) == {"cal/Cal7/short.s2p"}
    assert (place[0] / "calibrations/CAL7/thru.s2p").is_file()


def test_a_record_that_cannot_be_written_is_no_file_that_was_not_copied(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    add = Destination.add

    def refused(self: Destination, file: str, content: bytes) -> None:
        if file.startswith("wafers/"):
            raise NotCopied("permission denied")
        add(self, file, content)

    monkeypatch.setattr(Destination, "add", refused)
    report = gather(*place, NOW, quiet, start_wafer=started)
    assert [one.path for one in report.not_started] == ["wafers/W7/wafer.toml"]
    assert report.told == [] and not report.is_whole and len(copied(place[0])) == 5


def test_two_runs_at_the_same_time_list_what_either_copied(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another run copies each file just before this one does."""
    add, began = Destination.add, list[Report]()

    def late(self: Destination, file: str, content: bytes) -> None:
        if not began:
            monkeypatch.setattr(Destination, "add", add)
            began.append(run(place))
            monkeypatch.setattr(Destination, "add", late)
        add(self, file, content)

    monkeypatch.setattr(Destination, "add", late)
    report = run(place)
    assert began[0].is_whole and report.is_whole
    assert "No file was copied. 6 files lay there already and are listed now." in words(report)
    before = (place[0] / "gathered.csv").read_bytes()
    assert before.count(b"\n") == 7
    assert run(place).is_whole and (place[0] / "gathered.csv").read_bytes() == before


def test_a_run_removes_what_was_left_half_written_and_a_dry_run_does_not(
    place: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    part = place[0] / "gathered/W1/.gathering-12-ab.part"
    part.parent.mkdir(parents=True)
    part.write_bytes(b"half")
    monkeypatch.setattr(gathered_files, "OLD_S", -60.0)
    run(place, dry_run=True)
    assert part.exists()
    assert run(place).is_whole and not part.exists()


def test_two_runs_of_two_trees_at_the_same_time_keep_both_lists(
    place: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_sweep(tmp_path / "other/W1/X5_Y5_IND.s2p", 99)
    add, began = Destination.add, list[Report]()

    def late(self: Destination, file: str, content: bytes) -> None:
        if not began:
            monkeypatch.setattr(Destination, "add", add)
            began.append(run((place[0], tmp_path / "other")))
            monkeypatch.setattr(Destination, "add", late)
        add(self, file, content)

    monkeypatch.setattr(Destination, "add", late)
    report = run(place)
    assert began[0].is_whole and report.is_whole
    text = (place[0] / "gathered.csv").read_text("utf-8")
    assert text.count("\n") == 8 and "gathered/W1/X5_Y5_IND.s2p,W1/X5_Y5_IND.s2p," in text


@pytest.mark.parametrize("name", ["record.toml", "Record.TOML"])
def test_a_file_with_the_name_of_a_record_is_not_copied(
    name: str, place: tuple[Path, Path]
) -> None:
    text = MAPPING.replace("cal/{calibration}/*.s2p", "cal/{calibration}/*")
    (place[0] / "mapping.toml").write_text(text, "utf-8")
    write(place[1] / f"cal/CAL7/{name}", 'id = "CAL7"\n')
    report = run(place)
    assert told_of(report) == {
        f"cal/CAL7/{name}": "its name is that of the calibration's own record"
    }
    assert [one.name for one in (place[0] / "calibrations/CAL7").iterdir()] == ["thru.s2p"]
