"""`check` tells every fault that `build` tells, though it computes nothing that no fault needs.

What a build tells is put together here as `build` does it: the faults of reading, of solving every
event, and of correcting and judging every wafer; drawing and writing pages add none.
"""

import shutil
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sitegen.build import build
from sitegen.checking import check
from sitegen.compute.events import solve_events
from sitegen.compute.wafer import measure
from sitegen.problems import Fault, NotACampaign
from sitegen.read import read_campaign, read_wafer_tables
from sitegen.wafer_jobs import _setting
from sitegen.wafer_listing import compute_jobs
from tests.campaigns import tiny_campaign
from tests.campaigns_broken.calibration_cases import CALIBRATION_CASES
from tests.campaigns_broken.cases import CASES, Case, ten_at_once
from tests.campaigns_broken.device_cases import DEVICE_CASES
from tests.campaigns_broken.foreign_cases import FOREIGN_CASES
from tests.campaigns_broken.laboratory_cases import LABORATORY_CASES
from tests.campaigns_broken.statistics_cases import STATISTICS_CASES
from tests.campaigns_broken.verification_cases import VERIFICATION_CASES
from tests.conftest import DEMO, STATION_DEMO, quiet
from tests.device_campaign import device_campaign
from tests.foreign_campaign import foreign_campaign

OF_TINY = CASES + CALIBRATION_CASES + VERIFICATION_CASES + STATISTICS_CASES + LABORATORY_CASES
STEP = 8
"""Every so many of the cases are compared each time; all of them in the full form."""
RECORD = "calibrations/CAL1/record.toml"


def shared_out(cases: tuple[Case, ...]) -> list[object]:
    """The cases, those beyond every eighth marked as the full form."""
    return [
        pytest.param(case, marks=pytest.mark.full if number % STEP else (), id=case.name)
        for number, case in enumerate(cases)
    ]


def faults_of_a_build(folder: Path) -> tuple[Fault, ...]:
    """Every fault that a build of the folder tells."""
    campaign, faults = read_campaign(folder)
    events = solve_events(campaign)
    found = {*faults, *events.faults()}
    for job in compute_jobs(campaign, events, folder):
        one = job.argument
        tables, told = read_wafer_tables(folder, one.wafer, one.campaign, one.known_calibrations)
        found |= {*told, *measure(one.wafer.record, tables, _setting(one)).faults}
    return tuple(sorted(found))


def assert_same(folder: Path) -> tuple[Fault, ...]:
    """Both tell the same, or both refuse the folder for the same reasons."""
    try:
        expected = faults_of_a_build(folder)
    except NotACampaign as refusal:
        with pytest.raises(NotACampaign) as refused:
            check(folder, quiet)
        assert refused.value.faults == refusal.faults
        return refusal.faults
    assert check(folder, quiet).faults == expected
    return expected


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tiny_campaign(tmp_path_factory.mktemp("whole"))


@pytest.fixture(scope="module")
def with_devices(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return device_campaign(tmp_path_factory.mktemp("devices"))


@pytest.mark.parametrize("case", shared_out(OF_TINY))
def test_a_broken_campaign_is_told_alike(case: Case, whole: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(whole, tmp_path / "tiny")
    case.broken_by(folder)
    assert assert_same(folder)


@pytest.mark.parametrize("case", shared_out(DEVICE_CASES))
def test_broken_device_results_are_told_alike(
    case: Case, with_devices: Path, tmp_path: Path
) -> None:
    folder = shutil.copytree(with_devices, tmp_path / "tiny")
    case.broken_by(folder)
    assert assert_same(folder)


@pytest.fixture(scope="module")
def foreign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return foreign_campaign(tmp_path_factory.mktemp("foreign"))


@pytest.mark.parametrize("case", shared_out(FOREIGN_CASES))
def test_broken_foreign_files_are_told_alike(case: Case, foreign: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(foreign, tmp_path / "tiny")
    case.broken_by(folder)
    assert assert_same(folder)


def test_ten_faults_and_none_are_told_alike(whole: Path, tmp_path: Path) -> None:
    assert assert_same(whole) == ()
    folder = shutil.copytree(whole, tmp_path / "tiny")
    ten_at_once(folder)
    assert len(assert_same(folder)) == 10


def _later(folder: Path) -> None:
    """Values and sweeps that name a calibration made after half of them."""
    _name_calibration(folder, "CAL1")
    _replace(folder, RECORD, "at = 2026-03-02T08:00", "at = 2026-03-02T09:00")


def _superseded(folder: Path) -> None:
    """Sweeps that name the first of two calibrations."""
    _name_calibration(folder, "CAL1")
    _second_calibration(folder)
    _replace(folder, "calibrations/CAL2/record.toml", "2026-03-02T08:00", "2026-03-02T08:20")


def _another_station(folder: Path) -> None:
    text = (folder / "campaign.toml").read_text("utf-8")
    station = text[text.index("[[stations]]") : text.index("[[conditions]]")]
    (folder / "campaign.toml").write_text(f"{text}\n{station.replace('ST1', 'ST2')}", "utf-8")
    _second_calibration(folder)
    _replace(folder, "calibrations/CAL2/record.toml", 'station = "ST1"', 'station = "ST2"')
    _name_calibration(folder, "CAL2")


def _unsolvable(folder: Path) -> None:
    """Every standard measured as the short."""
    short = (folder / "calibrations/CAL1/short.s2p").read_bytes()
    for path in (folder / "calibrations/CAL1").glob("*.s2p"):
        path.write_bytes(short + f"! taken as {path.stem}\n".encode())


def _second_calibration(folder: Path) -> None:
    shutil.copytree(folder / "calibrations/CAL1", folder / "calibrations/CAL2")
    _replace(folder, "calibrations/CAL2/record.toml", 'id = "CAL1"', 'id = "CAL2"')


def _name_calibration(folder: Path, name: str) -> None:
    for file in ("values", "sweeps"):
        path = folder / f"wafers/W1/{file}.parquet"
        table = pq.read_table(path)
        if "calibration" in table.column_names:
            table = table.drop_columns(["calibration"])
        rf = table.column("parameter").to_pylist() if file == "values" else ["L"] * table.num_rows
        names = pa.array([name if one in ("L", "FT") else None for one in rf], pa.string())
        pq.write_table(table.append_column("calibration", names), path)


def _replace(folder: Path, file: str, old: str, new: str) -> None:
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new), "utf-8")


COMPUTED = {
    "made after": (_later, "made after the value was taken"),
    "superseded": (_superseded, "was then in force by time"),
    "another station": (_another_station, "made at another station"),
    "not solvable": (_unsolvable, "cannot be solved"),
}
"""Faults that only computing shows."""


@pytest.mark.parametrize(("broken_by", "found"), COMPUTED.values(), ids=COMPUTED.keys())
def test_what_only_computing_shows_is_told_alike(
    broken_by: Callable[[Path], None], found: str, with_devices: Path, tmp_path: Path
) -> None:
    folder = shutil.copytree(with_devices, tmp_path / "tiny")
    broken_by(folder)
    told = assert_same(folder)
    assert any(found in fault.found for fault in told), [fault.sentence() for fault in told]
    assert build(folder, tmp_path / "out", quiet, workers=1).faults == told


@pytest.mark.parametrize("demo", [DEMO, STATION_DEMO], ids=["wafers", "station"])
def test_the_demos_are_told_alike(demo: Path) -> None:
    assert_same(demo)
