"""The demonstration campaign: what lies in the folder, and what must be found in it."""

import tomllib
from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sitegen.publish.campaign_folder import truth_folder, write_campaign
from sitegen.read import read_campaign, read_wafer_tables
from sitegen.simulate import demo_campaign
from sitegen.simulate.campaign import analyser_of
from sitegen.simulate.demo import demo_scenario
from sitegen.simulate.devices_declared import DEVICES
from sitegen.simulate.scenario import FREQUENCY_HZ
from sitegen.simulate.set_points import SET_POINTS
from tests.simulate import demo_expected as expected
from tests.simulate.forward import (
    Value,
    die_outcomes,
    reason_against,
    standing_values,
    values_of,
)
from tests.simulate.same_content import assert_same_folders
from tests.simulate.write_demo import DEMO

LARGEST_BYTES = 6_000_000
SCENARIO = demo_scenario()


@cache
def _values(wafer: str) -> list[Value]:
    return values_of(SCENARIO, expected.WAFERS.index(wafer))


def test_folder_is_what_the_simulation_writes(tmp_path: Path) -> None:
    fresh = write_campaign(demo_campaign(), tmp_path / "lark-7")
    assert_same_folders(DEMO, fresh)
    assert_same_folders(truth_folder(DEMO), truth_folder(fresh))


def test_folder_is_not_too_large() -> None:
    for place in (DEMO, truth_folder(DEMO)):
        assert sum(one.stat().st_size for one in place.rglob("*") if one.is_file()) < LARGEST_BYTES


def test_folder_reads_without_a_fault() -> None:
    campaign, faults = read_campaign(DEMO)
    assert [fault.sentence() for fault in faults] == []
    assert {one.record.id: one.record.method for one in campaign.calibrations} == (
        expected.CALIBRATIONS
    )
    assert sorted(one.record.id for one in campaign.verifications) == sorted(
        (*expected.PASSED, expected.FAILED)
    )
    assert campaign.record.campaign.simulated
    calibrations = frozenset(expected.CALIBRATIONS)
    for wafer in campaign.wafers:
        _, told = read_wafer_tables(DEMO, wafer, campaign.record, calibrations)
        assert [fault.sentence() for fault in told] == []


def test_notes_stand_beside_records() -> None:
    campaign, _ = read_campaign(DEMO)
    assert len(campaign.notes) == 2
    noted = {one.record.id for one in campaign.calibrations if one.note is not None}
    noted |= {one.record.id for one in campaign.verifications if one.note is not None}
    noted |= {one.record.id for one in campaign.wafers if one.note is not None}
    assert noted == {"LK7-1", "LK7-2", "CAL-4", "VER-5"}


def test_every_file_says_that_it_is_simulated() -> None:
    for file in sorted(DEMO.rglob("*.s?p")):
        assert file.read_text().startswith("! Simulated: no measurement.\n"), file.name
    assert tomllib.loads((DEMO / "campaign.toml").read_text())["campaign"]["simulated"] is True


@pytest.mark.parametrize("wafer", expected.WAFERS)
def test_counts_of_values_and_floors(wafer: str) -> None:
    assert len(_values(wafer)) == expected.VALUES[wafer]
    below = [one for one in _values(wafer) if one.below_floor]
    assert {one.parameter for one in below} == {"ICAP"}
    assert len(below) == expected.BELOW_FLOOR[wafer]


def test_edge_ring() -> None:
    outside = {
        one.die for one in _values("LK7-1") if one.parameter == "RSH" and one.outcome == "outside"
    }
    assert outside == expected.EDGE_RING


def test_unmeasured_dies() -> None:
    dies = set(SCENARIO.grid.dies)
    assert len(dies) == expected.PLANNED_DIES
    for wafer in expected.WAFERS:
        left = dies - {one.die for one in _values(wafer)}
        assert left == (expected.UNMEASURED if wafer == "LK7-2" else set())


def test_values_past_the_validity() -> None:
    found: dict[tuple[int, int], set[str]] = {}
    for one in _values("LK7-3"):
        if reason_against(SCENARIO, one) == "expired by time":
            found.setdefault(one.die, set()).add(one.parameter)
    assert found == expected.EXPIRED
    assert sum(map(len, found.values())) == 29


def test_values_lost_to_the_failed_verification() -> None:
    lost = [
        one for one in _values("LK7-2") if reason_against(SCENARIO, one) == "verification failed"
    ]
    assert Counter(one.parameter for one in lost) == expected.LOST
    assert len({one.die for one in lost}) == expected.LOST_DIES


def test_nothing_else_has_lost_its_standing() -> None:
    reasons = Counter(
        (wafer, reason_against(SCENARIO, one))
        for wafer in expected.WAFERS
        for one in _values(wafer)
    )
    assert set(reasons) == {
        *((wafer, "") for wafer in expected.WAFERS),
        ("LK7-2", "verification failed"),
        ("LK7-3", "expired by time"),
        *expected.BAD_TOUCHES,
    }
    assert {key: reasons[key] for key in expected.BAD_TOUCHES} == expected.BAD_TOUCHES


def test_repeated_touchdown() -> None:
    wafer, die, parameter = expected.RETOUCHED
    outcomes = {
        one.touchdown: one.outcome
        for one in _values(wafer)
        if (one.die, one.parameter) == (die, parameter)
    }
    assert outcomes == {1: "outside", 2: "within"}
    first = {(one.die, one.parameter): one for one in _values(wafer) if one.touchdown == 1}
    again = [
        one for one in _values(wafer) if one.touchdown == 2 and (one.die, one.parameter) in first
    ]
    changed = [
        one.parameter for one in again if one.outcome != first[one.die, one.parameter].outcome
    ]
    assert changed == [parameter]


@pytest.mark.parametrize("wafer", expected.WAFERS)
def test_natural_tails(wafer: str) -> None:
    """None lies so near a limit that a tenth of its uncertainty could change its outcome."""
    number = expected.WAFERS.index(wafer)
    standing = standing_values(SCENARIO, number)
    tails = {
        (one.die, one.parameter): one.outcome
        for one in standing
        if one.outcome in {"outside", "not refuted", "not proven"}
        and not (wafer == "LK7-1" and one.parameter == "RSH" and one.die in expected.EDGE_RING)
    }
    assert tails == expected.ORDINARY[wafer]
    from_sweeps = {"C", "L", "Q", "H21"}
    assert min(one.margin for one in standing if one.parameter in from_sweeps) > 0.3


@pytest.mark.parametrize("wafer", expected.WAFERS)
def test_verdicts_of_dies(wafer: str) -> None:
    found = die_outcomes(SCENARIO, expected.WAFERS.index(wafer))
    assert found == expected.DIE_OUTCOMES[wafer]


def test_readme_says_what_is_planted() -> None:
    text = " ".join((DEMO / "README.md").read_text().split())
    for phrase in (
        f"the last {sum(map(len, expected.EXPIRED.values()))} RF values of LK7-3",
        f"the {sum(expected.LOST.values())} RF values on {expected.LOST_DIES} dies",
        f"RSH of the {len(expected.EDGE_RING)} outermost dies of LK7-1",
        "(-1, 5), (0, 5), (3, -3) and (4, -3) of LK7-2",
        "RON of die (1, 1) of LK7-3",
        "ICAP on {LK7-1}, {LK7-2} and {LK7-3} dies".format(**expected.BELOW_FLOOR),
        "BV of {LK7-1}, {LK7-2} and {LK7-3} dies".format(**expected.NOT_REACHED),
        f"{sum(expected.BAD_TOUCHES.values())} values have lost their standing to these",
    ):
        assert phrase in text
    for one in SCENARIO.plants.touches:
        x, y = one.die
        assert f"({x}, {y})" in text and SCENARIO.wafers[one.wafer].id in text


@pytest.mark.parametrize("wafer", expected.WAFERS)
def test_breakdowns_that_are_not_reached(wafer: str) -> None:
    beyond = [
        one for one in _values(wafer) if one.parameter == "BV" and one.value >= expected.SWEPT_TO_V
    ]
    assert len(beyond) == expected.NOT_REACHED[wafer]


def test_scope_of_the_campaign() -> None:
    assert {one["kind"] for one in DEVICES} >= {"transistor", "inductor", "capacitor", "line"}
    assert len(FREQUENCY_HZ) == 201
    assert (FREQUENCY_HZ[0], FREQUENCY_HZ[-1]) == (10e6, 110e9)
    hot = {one.id for one in SET_POINTS if one.temperature_c == 85.0}
    assert hot == set(expected.HOT_CONDITIONS)
    largest = {one.id: max([abs(v) for k, v in one.bias.items() if k.endswith("_v")], default=0.0)
               for one in SET_POINTS}  # fmt: skip
    assert {name for name, volts in largest.items() if volts > 60} == {expected.HAZARDOUS_CONDITION}
    days = {SCENARIO.time(one.at).date() for one in SCENARIO.verifications}
    assert len(days) == 3


def test_moved_cable_is_far_beyond_the_drift() -> None:
    """The boxes of port 2 at VER-4 and VER-5: the change is ten times that of port 1."""
    scenario = SCENARIO
    hours = np.array([one.at for one in scenario.verifications if one.calibration == "CAL-3"])
    first, second = analyser_of(scenario).boxes(FREQUENCY_HZ, hours)
    moved = [np.abs(box[1] - box[0]).max() for box in (first, second)]
    assert moved[1] > 10 * moved[0]
