"""The demonstration of a station without wafers: its folder, and what the program makes of it.

The truth of standards, lines and structures comes from the forward model; the program is given the
folder alone.
"""

import tomllib
from datetime import UTC
from functools import cache
from pathlib import Path

import numpy as np
import numpy.testing as npt
import pytest

from sitegen.compute.events import Events, solve_events
from sitegen.model.calibration import LoadDefinition
from sitegen.model.event_results import CalibrationResult
from sitegen.model.loaded import Campaign
from sitegen.publish.campaign_folder import truth_folder, write_campaign
from sitegen.read import read_campaign
from sitegen.simulate import followed_campaign
from sitegen.simulate.followed_plan import EXCHANGE_H, MOVED_H, plan
from sitegen.simulate.followed_station import FREQUENCY_HZ, kit, structures_s, time
from tests.simulate import followed_expected as expected
from tests.simulate.same_content import assert_same_folders
from tests.simulate.write_demo import FOLLOWED

LARGEST_BYTES = 6_000_000


@cache
def _read() -> Campaign:
    campaign, faults = read_campaign(FOLLOWED)
    assert [fault.sentence() for fault in faults] == []
    return campaign


@cache
def _events() -> Events:
    return solve_events(_read())


@cache
def _results() -> dict[str, CalibrationResult]:
    return {one.record.id: one for one in _events().results()}


def test_folder_is_what_the_simulation_writes(tmp_path: Path) -> None:
    fresh = write_campaign(followed_campaign(), tmp_path / FOLLOWED.name)
    assert_same_folders(FOLLOWED, fresh)
    assert_same_folders(truth_folder(FOLLOWED), truth_folder(fresh))


def test_folder_is_small_and_says_that_it_is_simulated() -> None:
    files = [file for file in FOLLOWED.rglob("*") if file.is_file()]
    assert sum(file.stat().st_size for file in files) < LARGEST_BYTES
    for file in files:
        if file.suffix in {".s1p", ".s2p"}:
            assert file.read_text().startswith("! Simulated: no measurement.\n"), file.name
    assert tomllib.loads((FOLLOWED / "campaign.toml").read_text())["campaign"]["simulated"] is True
    assert _read().record.campaign.simulated


def test_plan_is_what_is_expected() -> None:
    events = plan()
    assert {one.id: one.method for one in events.calibrations} == expected.CALIBRATIONS
    assert len(events.verifications) == expected.VERIFICATIONS
    (poor,) = (one.id for one in events.calibrations if one.poor_contact is not None)
    assert poor == expected.BADLY_CONTACTED
    failed = next(one.plan for one in events.verifications if one.plan.at > MOVED_H)
    assert (failed.id, failed.calibration) == (expected.FAILED, expected.OF_FAILED)
    after = next(one for one in events.calibrations if one.at > EXCHANGE_H)
    assert after.id == expected.FIRST_AFTER_EXCHANGE
    assert time(EXCHANGE_H).astimezone(UTC) == expected.EXCHANGED_AT
    assert tuple(one.id for one in events.calibrations if one.reported) == expected.REPORTED
    acceptance = [one.plan.id for one in events.verifications if one.structures == "acceptance"]
    assert acceptance == [expected.FACTORY, expected.SITE]
    since = [one for one in events.calibrations if one.at > EXCHANGE_H]
    assert len(since) >= 24


def test_readme_says_what_is_planted() -> None:
    text = " ".join((FOLLOWED / "README.md").read_text().split())
    day = f"{expected.EXCHANGED_AT:%d %B}"
    for phrase in (
        f"{expected.FAILED} fails in the afternoon; {expected.BEFORE_FAILED}, of the same",
        f"The load at port 1 in {expected.BADLY_CONTACTED}",
        f"repeated as {expected.REPEATED}",
        f"The probe of port 2 on {day}, before {expected.FIRST_AFTER_EXCHANGE}",
        f"grows by {expected.WEAR_OHM_PER_CALIBRATION} Ω with each calibration",
        f"the bound lies {expected.WORN_BOUND_OHM} Ω from the definition",
    ):
        assert phrase in text


def test_every_calibration_states_its_uncertainty_and_only_one_fails_its_checks() -> None:
    outcomes = {name: one.outcome for name, one in _results().items()}
    usable = dict.fromkeys(expected.CALIBRATIONS, "usable")
    assert outcomes == usable | {expected.BADLY_CONTACTED: "checks failed"}
    assert all(one.uncertainty is not None for one in _events().calibrations)
    poor = _results()[expected.BADLY_CONTACTED]
    failed = [check.name for check in poor.checks if check.passed is False]
    assert expected.CHECK_THAT_SEES_IT in failed
    assert poor.candidates


def test_only_the_moved_cable_fails_a_verification() -> None:
    outcomes = {one.record.id: one.outcome for one in _events().verifications}
    passed = {f"VER-{n:02d}": "passed" for n in range(1, expected.VERIFICATIONS + 1)}
    assert outcomes == passed | {expected.FAILED: "failed"}
    failed = next(one for one in _events().verifications if one.record.id == expected.FAILED)
    found = {one.structure.id for one in failed.structures if one.outcome == "failed"}
    assert found == set(expected.FAILED_STRUCTURES)


def test_the_acceptance_is_passed() -> None:
    (acceptance,) = _events().acceptances
    assert (acceptance.record.id, acceptance.outcome) == (expected.ACCEPTANCE, "passed")
    assert len(acceptance.performance) == 6
    assert len(acceptance.differences) == 3


def test_what_differs_in_its_parts_is_not_compared() -> None:
    refused = {
        name
        for name, one in _results().items()
        for comparison in one.comparisons
        if comparison.refused
    }
    assert refused == {expected.FIRST_ON_SITE, expected.FIRST_AFTER_EXCHANGE}
    reported = {
        name
        for name, one in _results().items()
        if any(comparison.kind == "reported terms" for comparison in one.comparisons)
    }
    assert reported == set(expected.REPORTED)


def test_fitted_loads_hold_the_truth() -> None:
    """31 fits of one load, whose own error they share: nearly all within two u, all within 3.5."""
    true = kit().true["load"]
    assert isinstance(true, LoadDefinition)
    distances = []
    for name, one in _results().items():
        if one.record.method == "LRRM" and name != expected.BADLY_CONTACTED:
            (check,) = (c for c in one.checks if c.name == "fitted load inductance")
            assert check.figure is not None and check.u is not None
            distances.append((check.figure - true.inductance_ph * 1e-12) / check.u)
    assert max(np.abs(distances)) < 3.5
    assert np.mean(np.abs(distances) < 2.0) > 0.85


def test_lines_of_trl_hold_the_truth() -> None:
    """Permittivity, and Zc within what the declared capacitance leaves of it (1 %)."""
    medium = kit().medium
    assert medium is not None
    gamma, zc = medium.propagation_per_m(FREQUENCY_HZ), medium.impedance_ohm(FREQUENCY_HZ)
    for one in _events().calibrations:
        if "TRL" not in one.result.record.method:
            continue
        assert one.solution is not None and one.solution.solved_line is not None
        line, high = one.solution.solved_line, FREQUENCY_HZ > 15e9
        npt.assert_allclose(line.propagation_per_m.imag[high], gamma.imag[high], rtol=4e-3)
        assert line.characteristic_impedance_ohm is not None
        npt.assert_allclose(line.characteristic_impedance_ohm[high], zc[high], rtol=0.02)


@pytest.mark.parametrize("name", [expected.FACTORY, expected.SITE])
def test_corrected_structures_hold_the_truth(name: str) -> None:
    """The shares of points outside 95 % regions are those of one draw of common errors, so a
    structure may be outside at many; no S-parameter is off by more than five u anywhere."""
    verification = next(one for one in _events().verifications if one.record.id == name)
    for one in verification.structures:
        assert one.corrected is not None and one.covariance is not None
        true = structures_s()[one.structure.id]
        u = np.sqrt(0.5 * (one.covariance[..., 0] + one.covariance[..., 1]))
        off = np.abs(one.corrected - true) / u
        worst = np.nanmax(off[:, np.abs(true).max(axis=0) > 0])
        assert worst < 5 * np.sqrt(2), one.structure.id


def test_notes_stand_beside_records() -> None:
    campaign = _read()
    noted = {
        one.record.id
        for events in (campaign.calibrations, campaign.verifications, campaign.acceptances)
        for one in events
        if one.note is not None
    }
    assert noted == set(expected.NOTED)
    assert len(campaign.notes) == 2
