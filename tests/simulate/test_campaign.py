"""Simulated campaigns of any size: determinism, counts, truth beside them, and files that read."""

import hashlib
import json
import tomllib
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import numpy.testing as npt
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import skrf

from sitegen.model.simulated import SimulatedCampaign
from sitegen.problems import SitegenError
from sitegen.publish.campaign_folder import FolderInUse, truth_folder, write_campaign
from sitegen.publish.toml_text import toml_text
from sitegen.publish.touchstone import touchstone_text
from sitegen.read import read_campaign, read_wafer_tables
from sitegen.simulate import simulate_campaign
from sitegen.simulate.devices_declared import CURVES, DUMMIES
from sitegen.simulate.layout import grid_of
from sitegen.simulate.parameters import BY_ID, PARAMETERS
from sitegen.simulate.scenario import FREQUENCY_HZ

WAFERS, DIES, SEED = 2, 9, 5
KEY = ["wafer", "die_x", "die_y", "site", "device", "parameter", "condition", "touchdown"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("simulated") / "small"
    return write_campaign(simulate_campaign(WAFERS, DIES, SEED), place)


def _digests(folder: Path) -> dict[str, str]:
    return {
        str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(folder.rglob("*"))
        if file.is_file()
    }


def test_same_seed_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    again = write_campaign(simulate_campaign(WAFERS, DIES, SEED), tmp_path / "again")
    assert _digests(again) == _digests(folder)
    assert _digests(truth_folder(again)) == _digests(truth_folder(folder))


def test_another_seed_gives_other_values(folder: Path, tmp_path: Path) -> None:
    other = write_campaign(simulate_campaign(WAFERS, DIES, SEED + 1), tmp_path / "other")
    ours, theirs = _digests(folder), _digests(other)
    assert ours.keys() == theirs.keys()
    assert all(ours[name] != theirs[name] for name in ours if name.endswith(("parquet", "s2p")))


def test_a_portion_does_not_depend_on_those_before_it() -> None:
    whole = list(simulate_campaign(WAFERS, DIES, SEED).portions())
    last = simulate_campaign(WAFERS, DIES, SEED).makers[-1]()
    assert last.folder == whole[-1].folder == "wafers/W02"
    for name, table in last.tables.items():
        assert table.equals(whole[-1].tables[name])


def test_what_is_written_reads_without_a_fault(folder: Path) -> None:
    campaign, faults = read_campaign(folder)
    assert [fault.sentence() for fault in faults] == []
    assert [one.record.id for one in campaign.wafers] == ["W01", "W02"]
    assert {one.record.method for one in campaign.calibrations} == {"LRRM", "SOLT"}
    assert len(campaign.verifications) == 2 * WAFERS
    assert campaign.record.campaign.simulated
    calibrations = frozenset(one.record.id for one in campaign.calibrations)
    for wafer in campaign.wafers:
        tables, told = read_wafer_tables(folder, wafer, campaign.record, calibrations)
        assert [fault.sentence() for fault in told] == []
        assert tables.values.num_rows > 0
        assert {group.device for group in tables.sweeps} == {
            "hemt", "cap", "spiral", "line", *DUMMIES,
        }  # fmt: skip
        assert {group.curve for group in tables.curves} == {one["id"] for one in CURVES}
        assert tables.touchdowns.num_rows > DIES
        assert tables.earlier.num_rows == DIES


def test_every_value_has_its_truth_beside_it(folder: Path) -> None:
    truth = pq.read_table(truth_folder(folder) / "truth.parquet").to_pandas()
    assert not truth.duplicated(KEY).any()
    assert np.isfinite(truth["true_value"]).all()
    parts = []
    for wafer in ("W01", "W02"):
        values = pq.read_table(folder / "wafers" / wafer / "values.parquet").to_pandas()
        parts.append(values.assign(wafer=wafer))
        joined = parts[-1].merge(truth, on=KEY, how="left")
        assert joined["true_value"].notna().all()
    taken = {one.id for one in PARAMETERS if not one.tabled and not one.some_dies}
    for name in taken:
        assert (truth["parameter"] == name).sum() == WAFERS * DIES
    assert not any("truth" in str(file) for file in folder.rglob("*"))


def test_every_calibration_has_its_true_boxes_beside_it(folder: Path) -> None:
    for name in ("CAL-01", "CAL-02"):
        boxes = pq.read_table(truth_folder(folder) / "calibrations" / name / "error-boxes.parquet")
        npt.assert_array_equal(boxes["frequency_hz"].to_numpy(), FREQUENCY_HZ)
        assert "port_2_s21_re" in boxes.column_names


@pytest.mark.parametrize("dies", [1, 9, 60, 88, 89, 264, 300, 2000])
def test_grid_has_exactly_the_dies_asked_for(dies: int) -> None:
    grid = grid_of(dies)
    assert len(set(grid.dies)) == dies
    assert grid.diameter_mm in {100.0, 150.0, 200.0}
    farthest = np.hypot(*(np.abs(grid.positions_mm()) + grid.pitch_mm / 2).T).max()
    assert farthest < grid.usable_mm


@pytest.mark.parametrize(("wafers", "dies", "seed"), [(-1, 9, 1), (1, 0, 1), (1, 9, -1)])
def test_sizes_that_make_no_sense_are_refused(wafers: int, dies: int, seed: int) -> None:
    with pytest.raises(ValueError, match="at least"):
        simulate_campaign(wafers, dies, seed)


def test_campaign_without_wafers_reads(tmp_path: Path) -> None:
    campaign, faults = read_campaign(write_campaign(simulate_campaign(0, 9, 1), tmp_path / "none"))
    assert (campaign.wafers, campaign.calibrations, faults) == ((), (), ())


def test_a_folder_in_use_is_refused_and_left_alone(tmp_path: Path) -> None:
    place = tmp_path / "mine"
    place.mkdir()
    (place / "diary.txt").write_text("keep me")
    with pytest.raises(FolderInUse, match=r"mine exists and is not empty\. Choose another"):
        write_campaign(SimulatedCampaign(()), place)
    assert issubclass(FolderInUse, SitegenError)
    assert [file.name for file in place.iterdir()] == ["diary.txt"]
    with pytest.raises(FolderInUse):
        write_campaign(SimulatedCampaign(()), place / "diary.txt")


def test_toml_text_is_what_the_standard_library_reads_back() -> None:
    table = {
        "text": 'quotes " and \\ and µ and\nlines \x7f',
        "numbers": [1, -2.5, 1e-15, 6.0],
        "flag": True,
        "day": date(2026, 4, 21),
        "time": datetime(2026, 4, 21, 8, 30, tzinfo=UTC),
        "empty": [],
        "nothing": {},
        "short": {"a": 1, "b c": "x"},
        "rows": [{"id": "A", "deep": {"list": [[1, 2.0]]}}, {"id": "B" * 90, "list": [{"x": 1}]}],
        "deep": {"one": {"two": {"three": "x" * 80}, "text": "y" * 80}},
    }
    assert tomllib.loads(toml_text(table)) == table
    with pytest.raises(TypeError, match="no form for NoneType"):
        toml_text({"nothing": None})


@pytest.mark.parametrize("ports", [1, 2])
def test_touchstone_text_is_what_the_reference_library_reads(ports: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    s = rng.normal(size=(201, ports, ports)) + 1j * rng.normal(size=(201, ports, ports))
    file = tmp_path / f"sweep.s{ports}p"
    file.write_text(touchstone_text(FREQUENCY_HZ, s, "Simulated.\nA sweep.", 50.0))
    assert file.read_text().startswith("! Simulated.\n! A sweep.\n# Hz S RI R 50\n10000000 ")
    network = skrf.Network(str(file))
    npt.assert_array_equal(network.f, FREQUENCY_HZ)
    npt.assert_allclose(network.s.real, s.real, rtol=5.1e-7)  # seven significant digits
    npt.assert_allclose(network.s.imag, s.imag, rtol=5.1e-7)


def test_sweeps_are_small_and_say_their_units(folder: Path) -> None:
    file = pq.ParquetFile(folder / "wafers" / "W01" / "sweeps-raw.parquet")
    schema = file.schema_arrow
    assert schema.field("s11_re").type == pa.float32()
    assert schema.field("frequency_hz").metadata == {b"unit": b"Hz"}
    bytes_a_number = sum(
        file.metadata.row_group(0).column(n).total_compressed_size
        for n, name in enumerate(schema.names)
        if name.startswith("s") and name.endswith(("_re", "_im"))
    ) / (8 * file.metadata.num_rows)
    assert bytes_a_number < 3.2


def test_parameters_are_enough_and_honest() -> None:
    assert len(PARAMETERS) >= 12
    for way in ("figure", "curve"):
        assert sum(getattr(one, way) is not None for one in PARAMETERS) >= 4
    assert sum(one.tabled for one in PARAMETERS) >= 4
    for one in PARAMETERS:
        json.dumps(one.record())
        limited = one.lower is not None or one.upper is not None
        taken = not one.tabled
        assert one.sources or taken or not limited, f"{one.id} has limits but no uncertainty"
        assert len({source.name for source in one.sources}) == len(one.sources)
    assert BY_ID["S21"].sources == ()
