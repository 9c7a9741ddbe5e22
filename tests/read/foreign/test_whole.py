"""A campaign of foreign files is read as the tables that they were written from."""

import shutil
from datetime import timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sitegen.model.loaded import Campaign, WaferTables
from sitegen.problems import Fault
from sitegen.read import read_campaign, read_wafer_tables
from tests.campaigns import DIES, sweeps_table
from tests.device_campaign import device_campaign
from tests.foreign_campaign import alike, foreign_campaign, write_list

Read = tuple[Campaign, WaferTables, tuple[Fault, ...]]


def read(folder: Path) -> Read:
    campaign, faults = read_campaign(folder)
    known = frozenset(one.record.id for one in campaign.calibrations)
    tables, more = read_wafer_tables(folder, campaign.wafers[0], campaign.record, known)
    return campaign, tables, (*faults, *more)


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Read:
    return read(device_campaign(tmp_path_factory.mktemp("own")))


@pytest.fixture(scope="module")
def foreign(tmp_path_factory: pytest.TempPathFactory) -> Read:
    return read(foreign_campaign(tmp_path_factory.mktemp("foreign")))


def same_rows(one: pa.Table, other: pa.Table, left_out: set[str]) -> None:
    names = [name for name in one.column_names if name not in left_out]
    assert one.num_rows == other.num_rows
    for name in names:
        pairs = zip(one.column(name).to_pylist(), other.column(name).to_pylist(), strict=True)
        for a, b in pairs:
            assert alike(a, b), (name, a, b)


def test_nothing_is_wrong_with_it(foreign: Read) -> None:
    assert [fault.sentence() for fault in foreign[2]] == []


def test_values_of_a_wide_table(own: Read, foreign: Read) -> None:
    # in a wide table all values of a die share range and path, and none names a calibration
    left_out = {"file", "calibration", "range", "path"}
    same_rows(own[1].values, foreign[1].values, left_out)


def test_sweeps_of_a_touchstone_tree(own: Read, foreign: Read) -> None:
    for one, other in zip(own[1].sweeps, foreign[1].sweeps, strict=True):
        same_rows(one.keys, other.keys, {"file"})
        np.testing.assert_array_equal(one.s, other.s)
        np.testing.assert_allclose(one.frequency_hz, other.frequency_hz, rtol=1e-15)


def test_curves_of_one_file_a_die_and_of_partitions(own: Read, foreign: Read) -> None:
    for one, other in zip(own[1].curves, foreign[1].curves, strict=True):
        # a file states its start, a table of ours each row's time: the second curve of a file
        # begins seconds later in the one and at the same time in the other
        same_rows(one.keys, other.keys, {"file", "measured_at"})
        np.testing.assert_allclose(one.measured, other.measured, rtol=1e-12)
        np.testing.assert_allclose(one.swept, other.swept, rtol=1e-12)
        assert (one.range == other.range).all()


def test_touchdowns_of_a_table_with_all_wafers(own: Read, foreign: Read) -> None:
    same_rows(own[1].touchdowns, foreign[1].touchdowns, {"file"})


def test_each_file_is_a_source_with_its_digest(foreign: Read) -> None:
    wafer = foreign[0].wafers[0]
    paths = [source.path for source in wafer.sources]
    assert len(paths) == len(set(paths))
    assert sum(path.startswith("gathered/rf/W1/") for path in paths) == 9
    assert sum(path.startswith("chains/") for path in paths) == 2


def _without_rf(campaign: Path, source: str) -> None:
    """Take the Touchstone tree out of a campaign and put another source of sweeps in its place."""
    mapping = campaign / "mapping.toml"
    text = mapping.read_text(encoding="utf-8")
    start, end = text.index('[[sources]]\nid = "rf"'), text.index('[[sources]]\nid = "parametric"')
    mapping.write_text(text[:start] + source + text[end:], encoding="utf-8")
    shutil.rmtree(campaign / "gathered/rf")


IN_PLACE = """
[[sources]]
id = "rf"
folder = "sweeps"
files = "wafer={wafer}/*.parquet"
holds = "sweeps"
sweep = "raw"
columns = [
  { theirs = "die_x", ours = "die_x" },
  { theirs = "die_y", ours = "die_y" },
  { theirs = "device", ours = "device" },
  { theirs = "condition", ours = "condition" },
  { theirs = "measured_at", ours = "time" },
  { theirs = "f_GHz", ours = "frequency_hz", unit = "GHz" },
  { theirs = "s11_re", ours = "s11_re" },
  { theirs = "s11_im", ours = "s11_im" },
  { theirs = "s21_re", ours = "s21_re" },
  { theirs = "s21_im", ours = "s21_im" },
  { theirs = "s12_re", ours = "s12_re" },
  { theirs = "s12_im", ours = "s12_im" },
  { theirs = "s22_re", ours = "s22_re" },
  { theirs = "s22_im", ours = "s22_im" },
]

"""


def test_sweeps_of_a_partitioned_dataset_that_is_cut_anywhere(own: Read, tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    _without_rf(campaign, IN_PLACE)
    table = sweeps_table()
    ghz = pa.array(table.column("frequency_hz").to_numpy() / 1e9)
    table = table.drop_columns(["frequency_hz"]).append_column("f_GHz", ghz)
    place = campaign / "sweeps/wafer=W1"
    place.mkdir(parents=True)
    for number, start in enumerate(range(0, table.num_rows, 17)):
        pq.write_table(table.slice(start, 17), place / f"part-{number:03}.parquet")
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    np.testing.assert_allclose(tables.sweeps[0].s, own[1].sweeps[0].s, rtol=1e-15)
    same_rows(own[1].sweeps[0].keys, tables.sweeps[0].keys, {"file"})


HALVES = """
[[sources]]
id = "rf"
files = "rf/{wafer}/{device}_x{die_x}y{die_y}_{part}_{time}.s2p"
holds = "sweeps"
sweep = "raw"
constants = { condition = "rf" }
rename = { device = { spiral = "IND" } }
ports = [2, 1]
minus = "m"
time_format = "%Y%m%d-%H%M%S"
time_zone = "UTC"

"""


def test_halves_of_the_frequency_range_with_the_ports_exchanged(own: Read, tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    _without_rf(campaign, HALVES)
    place = campaign / "gathered/rf/W1"
    place.mkdir(parents=True)
    for row in sweeps_table().to_pylist():
        words = [f"{row[name]}".replace("-", "m") for name in ("die_x", "die_y")]
        upper = row["frequency_hz"] > 5e9
        # the upper half is taken a minute after the lower one, and the sweep's time is the first
        at = row["measured_at"] + timedelta(minutes=int(upper))
        part = f"{'b' if upper else 'a'}_{at:%Y%m%d-%H%M%S}"
        path = place / f"spiral_x{words[0]}y{words[1]}_{part}.s2p"
        text = path.read_text() if path.exists() else "# Hz S RI R 50\n"
        exchanged = ("s22", "s12", "s21", "s11")
        numbers = [f"{row[f'{name}_{half}']!r}" for name in exchanged for half in ("re", "im")]
        path.write_text(f"{text}{row['frequency_hz']!r} {' '.join(numbers)}\n")
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    np.testing.assert_array_equal(tables.sweeps[0].s, own[1].sweeps[0].s)
    same_rows(own[1].sweeps[0].keys, tables.sweeps[0].keys, {"file"})


def test_a_sweep_without_its_upper_half_is_told(tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    _without_rf(campaign, HALVES)
    place = campaign / "gathered/rf/W1"
    place.mkdir(parents=True)
    for number, (x, y) in enumerate(DIES):
        words = [f"{one}".replace("-", "m") for one in (x, y)]
        for part, ghz in (("a", 1), ("b", 2)):
            noise = 0.001 * number
            path = place / f"spiral_x{words[0]}y{words[1]}_{part}_20260302-0900{number:02}.s2p"
            path.write_text(f"# GHz S RI R 50\n{ghz} 0.1 {noise} 0.2 0 0.2 0 0.1 {noise}\n")
    (place / "spiral_x0y0_b_20260302-090004.s2p").unlink()
    write_list(campaign)
    _, tables, faults = read(campaign)
    (fault,) = faults
    assert fault.file == "gathered/rf/W1/spiral_x0y0_a_20260302-090004.s2p"
    assert fault.found == 'no file of its sweep for the part "b"'
    assert tables.sweeps[0].keys.num_rows == 8


PAIRS = HALVES.replace("_{part}_", "_port{port}_").replace("s2p", "s1p")
PAIRS = PAIRS.replace("ports = [2, 1]", 'one_port_pairs = "no transmission"')


def test_one_port_files_of_both_ports_are_one_sweep(own: Read, tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    _without_rf(campaign, PAIRS)
    place = campaign / "gathered/rf/W1"
    place.mkdir(parents=True)
    for row in sweeps_table().to_pylist():
        words = [f"{row[name]}".replace("-", "m") for name in ("die_x", "die_y")]
        for port in (1, 2):
            at = f"{row['measured_at']:%Y%m%d-%H%M%S}"
            path = place / f"spiral_x{words[0]}y{words[1]}_port{port}_{at}.s1p"
            text = path.read_text() if path.exists() else "# Hz S RI R 50\n"
            s = f"s{port}{port}"
            path.write_text(
                f"{text}{row['frequency_hz']!r} {row[f'{s}_re']!r} {row[f'{s}_im']!r}\n"
            )
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    for port in (0, 1):
        reflection = own[1].sweeps[0].s[:, :, port, port]
        np.testing.assert_array_equal(tables.sweeps[0].s[:, :, port, port], reflection)
    assert (tables.sweeps[0].s[:, :, 0, 1] == 0).all()


def _changed(path: Path, old: str, new: str, encoding: str = "utf-8") -> None:
    text = path.read_bytes().decode(encoding)
    assert old in text
    path.write_bytes(text.replace(old, new).encode(encoding))


def test_a_value_beyond_the_range_of_a_column_of_its_own(tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    column = 'parameter = "IOFF", unit = "nA"'
    more = ', range = "10 nA", path = "matrix", beyond = { OVL = 10.5 }'
    _changed(campaign / "mapping.toml", column, column + more)
    _changed(campaign / "gathered/dc/W1 parametric.csv", ";1,8;", ";OVL;", "utf-8-sig")
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    rows = tables.values.to_pandas()
    beyond = rows[rows["beyond"]]
    assert (beyond["parameter"] == "IOFF").all() and len(beyond) == 3  # one row of dies
    np.testing.assert_allclose(beyond["value"], 10.5e-9)
    ranges = rows.groupby("parameter")["range"].unique().map(list).to_dict()
    assert ranges == {"IOFF": ["10 nA"], "VTH": ["100 nA"], "FT": ["100 nA"]}


def test_a_line_with_a_decimal_comma_says_the_room_temperature(tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    for number, path in enumerate(sorted((campaign / "gathered/rf/W1").iterdir())):
        _changed(path, "! simulated\n", f"! simulated\n! room 22,{number} degC\n")
    mapping = campaign / "mapping.toml"
    _changed(mapping, 'sweep = "raw"\n', 'sweep = "raw"\nlines = ["! room {ambient_c} degC"]\n')
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert tables.sweeps == ()
    assert {fault.remedy for fault in faults} == {
        "State point = ',' in source \"rf\": the line has decimal commas."
    }
    _changed(mapping, 'sweep = "raw"\n', 'sweep = "raw"\npoint = ","\n')
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    measured = tables.sweeps[0].keys.column("ambient_c").to_pylist()
    assert sorted(measured) == pytest.approx([22 + number / 10 for number in range(9)])


def test_lines_of_a_file_in_utf_16_say_the_wafer(own: Read, tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    mapping = campaign / "mapping.toml"
    _changed(mapping, 'files = "dc/{wafer} parametric.csv"', 'files = "dc/* parametric.csv"')
    _changed(mapping, 'lines = ["Bias: {bias}"]', 'lines = ["Bias: {bias}", "Wafer {wafer}"]')
    table = campaign / "gathered/dc/W1 parametric.csv"
    text = table.read_bytes().decode("utf-8-sig")
    table.write_bytes(text.replace("Bias:", "Wafer W1\r\nBias:").encode("utf-16"))
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    assert tables.values.num_rows == own[1].values.num_rows


def test_times_of_parquet_beside_times_as_text(tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    part = campaign / "chains/wafer=W1/part-1.parquet"
    table = pq.read_table(part)
    texts = pa.array([at.isoformat() for at in table.column("at").to_pylist()])
    place = table.column_names.index("at")
    before = read(campaign)[1].curves
    pq.write_table(table.set_column(place, "at", texts), part)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    for one, other in zip(before, tables.curves, strict=True):
        same_rows(one.keys, other.keys, set())


def test_lines_that_a_spreadsheet_saved_again_say_what_they_said(tmp_path: Path) -> None:
    campaign = foreign_campaign(tmp_path)
    table = campaign / "gathered/dc/W1 parametric.csv"
    _changed(table, "Bias: VG 0.6 VD 1.2", '"Bias: VG 0.6 VD 1.2";;;;;;', "utf-8-sig")
    write_list(campaign)
    _, tables, faults = read(campaign)
    assert [fault.sentence() for fault in faults] == []
    assert tables.values.num_rows == 27
