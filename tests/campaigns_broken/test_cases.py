"""Each broken campaign gives its one sentence, and what is healthy is still read."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from sitegen.model.loaded import Campaign
from sitegen.problems import Fault, NotACampaign
from sitegen.read import read_campaign, read_wafer_tables
from tests.campaigns import tiny_campaign
from tests.campaigns_broken.calibration_cases import CALIBRATION_CASES, HEALTHY
from tests.campaigns_broken.cases import CASES, WHOLE, Case, Left, ten_at_once
from tests.campaigns_broken.device_cases import DEVICE_CASES, DEVICES_WHOLE
from tests.campaigns_broken.laboratory_cases import LABORATORY_CASES, LABORATORY_DEVICE_CASES
from tests.campaigns_broken.statistics_cases import STATISTICS_CASES, WHOLE_STATISTICS
from tests.campaigns_broken.verification_cases import VERIFICATION_CASES
from tests.device_campaign import device_campaign


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tiny campaign, written once."""
    return tiny_campaign(tmp_path_factory.mktemp("whole"))


@pytest.fixture
def folder(whole: Path, tmp_path: Path) -> Iterator[Path]:
    """A copy of it to break."""
    yield shutil.copytree(whole, tmp_path / "tiny")


def read_all(folder: Path) -> tuple[Campaign | None, Left, list[Fault]]:
    """The campaign with its tables: what is left of it, and every fault."""
    try:
        campaign, told = read_campaign(folder)
    except NotACampaign as refusal:
        return None, Left(0, 0, 0, 0, 0), list(refusal.faults)
    faults = list(told)
    values = sweeps = curves = touchdowns = earlier = 0
    known = frozenset(calibration.record.id for calibration in campaign.calibrations)
    for wafer in campaign.wafers:
        tables, more = read_wafer_tables(folder, wafer, campaign.record, known)
        faults.extend(more)
        values += tables.values.num_rows
        sweeps += sum(group.keys.num_rows for group in tables.sweeps)
        curves += sum(group.keys.num_rows for group in tables.curves)
        touchdowns += tables.touchdowns.num_rows
        earlier += tables.earlier.num_rows
    left = Left(
        len(campaign.calibrations),
        len(campaign.verifications),
        len(campaign.wafers),
        values,
        sweeps,
        curves,
        touchdowns,
        earlier,
    )
    return campaign, left, faults


def assert_told(case: Case, fault: Fault) -> None:
    """Every part of the sentence says what the case asks for."""
    assert fault.file == case.file
    assert fault.place.startswith(case.place) and bool(fault.place) == bool(case.place)
    assert case.found in fault.found
    assert case.expected in fault.expected
    assert case.remedy in fault.remedy
    assert fault.count == case.count
    assert fault.fatal == (case.left is None)
    assert fault.sentence().endswith(".") and "\n" not in fault.sentence()


def test_the_whole_campaign_has_no_fault(whole: Path) -> None:
    campaign, left, faults = read_all(whole)
    assert faults == []
    assert campaign is not None and left == WHOLE
    assert not campaign.calibrations[0].missing and not campaign.verifications[0].missing


@pytest.mark.parametrize(
    "case",
    CASES + CALIBRATION_CASES + VERIFICATION_CASES + STATISTICS_CASES + LABORATORY_CASES,
    ids=lambda case: case.name,
)
def test_one_fault_one_sentence(case: Case, folder: Path) -> None:
    case.broken_by(folder)
    campaign, left, faults = read_all(folder)
    assert len(faults) == 1, [fault.sentence() for fault in faults]
    assert_told(case, faults[0])
    if case.left is None:
        assert campaign is None
        return
    assert campaign is not None
    assert left == case.left
    missing = [phrase for loaded in campaign.calibrations for phrase in loaded.missing]
    missing += [phrase for loaded in campaign.verifications for phrase in loaded.missing]
    assert len(missing) == bool(case.missing)
    assert all(case.missing in phrase for phrase in missing)


@pytest.fixture(scope="module")
def with_devices(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The campaign with device results, written once."""
    return device_campaign(tmp_path_factory.mktemp("devices"))


def test_the_campaign_with_device_results_has_no_fault(with_devices: Path) -> None:
    campaign, left, faults = read_all(with_devices)
    assert faults == []
    assert campaign is not None and left == DEVICES_WHOLE


@pytest.mark.parametrize("case", DEVICE_CASES + LABORATORY_DEVICE_CASES, ids=lambda case: case.name)
def test_one_fault_of_device_results_one_sentence(
    case: Case, with_devices: Path, tmp_path: Path
) -> None:
    folder = shutil.copytree(with_devices, tmp_path / "tiny")
    case.broken_by(folder)
    _, left, faults = read_all(folder)
    assert len(faults) == 1, [fault.sentence() for fault in faults]
    assert_told(case, faults[0])
    assert case.left is None or left == case.left


@pytest.mark.parametrize("changed", HEALTHY.values(), ids=HEALTHY.keys())
def test_other_calibrations_have_no_fault(changed: Callable[[Path], object], folder: Path) -> None:
    changed(folder)
    campaign, left, faults = read_all(folder)
    assert faults == []
    assert campaign is not None and left == WHOLE
    assert not campaign.calibrations[0].missing


def test_what_is_declared_for_the_statistics_has_no_fault(folder: Path) -> None:
    WHOLE_STATISTICS(folder)
    campaign, left, faults = read_all(folder)
    assert faults == []
    assert campaign is not None and left == WHOLE


def test_ten_faults_are_all_told(folder: Path) -> None:
    chosen = ten_at_once(folder)
    _, _, faults = read_all(folder)
    assert len(chosen) == 10
    assert len(faults) == 10, [fault.sentence() for fault in faults]
    for case in chosen:
        assert any(fault.file == case.file and case.found in fault.found for fault in faults), (
            case.name
        )


def test_faults_of_other_files_are_told_beside_a_fatal_one(folder: Path) -> None:
    for name in ("limits reversed", "missing file", "time without zone"):
        next(case for case in CASES if case.name == name).broken_by(folder)
    with pytest.raises(NotACampaign) as refusal:
        read_campaign(folder)
    assert [fault.fatal for fault in refusal.value.faults] == [False, True, False]


def test_the_same_folder_gives_the_same_faults(folder: Path) -> None:
    ten_at_once(folder)
    assert read_campaign(folder)[1] == read_campaign(folder)[1]
    assert list(read_campaign(folder)[1]) == sorted(read_campaign(folder)[1])
