"""What cannot be corrected or determined is named with its reason, counted, and never just gone."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sitegen.build import build
from sitegen.checking import Report, check
from tests.conftest import quiet

WAFER, CALIBRATION = "wafers/W1/wafer.toml", "calibrations/CAL1/record.toml"
SWEEPS = "wafers/W1/sweeps.parquet"


def replaced(file: str, old: str, new: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        text = (folder / file).read_text("utf-8")
        assert old in text
        (folder / file).write_text(text.replace(old, new), "utf-8")

    return change


def scaled_frequencies(factor: float) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        table = pq.read_table(folder / SWEEPS)
        place = table.schema.get_field_index("frequency_hz")
        column = pd.Series(table.column(place).to_pandas() * factor)
        pq.write_table(table.set_column(place, "frequency_hz", [column]), folder / SWEEPS)

    return change


def published(folder: Path) -> tuple[Report, pd.DataFrame]:
    report = build(folder, folder.parent / "out", quiet, workers=1)
    values = pd.read_parquet(folder.parent / "out" / "data" / "results.parquet")
    return report, values[values["parameter"] == "L"]


@pytest.mark.parametrize(
    ("change", "standing", "reason"),
    [
        (
            replaced(WAFER, "if_bandwidth_hz = 100.0", "if_bandwidth_hz = 1000.0"),
            "different state",
            "not corrected: different state",
        ),
        (
            scaled_frequencies(1.001),
            "different state",
            "not corrected: different state",
        ),
        (
            replaced("campaign.toml", "frequency_hz = 5e9", "frequency_hz = 50e9"),
            "",
            "lies outside the sweep",
        ),
    ],
    ids=["another IF bandwidth", "another frequency list", "a frequency outside the sweep"],
)
def test_a_sweep_value_that_is_lost_says_why(
    change: Callable[[Path], None], standing: str, reason: str, tiny: Path
) -> None:
    change(tiny)
    report, values = published(tiny)
    assert len(values) == 9
    assert values["value"].isna().all()
    assert set(values["outcome"]) == {"not assessable"}
    assert all(reason in told for told in values["outcome_reason"])
    assert set(values["standing_reasons"]) == {standing}
    told = "have no standing: different state" if standing else "cannot be assessed"
    decisions = [one.text for one in report.findings if one.weight == "decision"]
    assert any(told in text for text in decisions)
    assert "no finding" not in report.first
    page = (tiny.parent / "out" / "wafers" / "W1" / "x0_y0.html").read_text("utf-8")
    assert reason.removeprefix("not corrected: ") in page


def test_a_frequency_list_that_differs_in_the_last_bit_is_the_same(tiny: Path) -> None:
    scaled_frequencies(1.0 + 2e-12)(tiny)
    report, values = published(tiny)
    assert report.faults == () and values["value"].notna().all()
    assert set(values["standing"]) == {"stands"}


def test_another_calibration_of_another_impedance_changes_nothing(tiny: Path) -> None:
    """The reference impedance is that of the calibration in force, not of the station's first."""
    _, before = published(tiny)
    text = (tiny / CALIBRATION).read_text("utf-8")
    older = text.replace('id = "CAL1"', 'id = "CAL0"').replace("2026-03-02T08", "2026-03-02T06")
    older = older.replace("reference_impedance_ohm = 50.0", "reference_impedance_ohm = 75.0")
    place = tiny / "calibrations" / "CAL0"
    place.mkdir()
    for file in (tiny / "calibrations" / "CAL1").iterdir():
        content = file.read_bytes()
        if file.suffix in {".s1p", ".s2p"}:
            content = content.replace(b"R 50", b"R 75")
        (place / file.name).write_bytes(content)
    (place / "record.toml").write_text(older, "utf-8")
    _, after = published(tiny)
    pd.testing.assert_frame_equal(before, after)


def test_a_layout_whose_centre_lies_between_dies_builds(tiny: Path) -> None:
    change = replaced(
        "campaign.toml", "origin_die_center_x_mm = 0.0", "origin_die_center_x_mm = 3.7"
    )
    change(tiny)
    report, _ = published(tiny)
    assert report.faults == ()


def test_planned_dies_that_were_not_touched_count_as_missing(tiny: Path) -> None:
    path = tiny / "wafers" / "W1" / "values.parquet"
    table = pq.read_table(path)
    first = (table.column("die_x")[0].as_py(), table.column("die_y")[0].as_py())
    frame = table.to_pandas()
    keep = ~((frame["die_x"] == first[0]) & (frame["die_y"] == first[1]))
    pq.write_table(table.filter(keep.to_numpy()), path)
    report, _ = published(tiny)
    summaries = pd.read_parquet(tiny.parent / "out" / "data" / "parameters.parquet")
    whole = summaries[(summaries["wafer"] == "W1") & (summaries["zone"] == "")]
    dc = whole[whole["parameter"] == "VTH"].iloc[0]
    assert (dc["n"], dc["missing"]) == (8, 1)
    assert any(one.kind == "values missing" for one in report.findings)


def test_check_tells_every_fault_that_build_tells(tiny: Path) -> None:
    """Also those that only a comparison of the tables with the calibrations shows."""
    path = tiny / "wafers" / "W1" / "values.parquet"
    table = pq.read_table(path)
    place = table.schema.get_field_index("calibration")
    names = ["CAL1" if name else None for name in table.column("parameter").to_pylist()]
    column = pa.array(names, pa.string())
    table = (
        table.append_column("calibration", column)
        if place < 0
        else table.set_column(place, "calibration", column)
    )
    pq.write_table(table, path)
    replaced(CALIBRATION, "at = 2026-03-02T08:00", "at = 2026-03-02T09:00")(tiny)
    report, _ = published(tiny)
    assert report.faults
    assert check(tiny, quiet).faults == report.faults


def test_a_calibration_named_from_another_station_is_told(tiny: Path) -> None:
    text = (tiny / "campaign.toml").read_text("utf-8")
    station = text[text.index("[[stations]]") : text.index("[[conditions]]")]
    (tiny / "campaign.toml").write_text(f"{text}\n{station.replace('ST1', 'ST2')}", "utf-8")
    shutil.copytree(tiny / "calibrations" / "CAL1", tiny / "calibrations" / "CAL2")
    other = "calibrations/CAL2/record.toml"
    replaced(other, 'id = "CAL1"', 'id = "CAL2"')(tiny)
    replaced(other, 'station = "ST1"', 'station = "ST2"')(tiny)
    path = tiny / "wafers" / "W1" / "sweeps.parquet"
    table = pq.read_table(path)
    names = pa.array(["CAL2"] * table.num_rows, pa.string())
    if "calibration" in table.column_names:
        table = table.drop_columns(["calibration"])
    pq.write_table(table.append_column("calibration", names), path)
    report = check(tiny, quiet)
    assert [fault.found for fault in report.faults] == ["calibration CAL2, made at another station"]
