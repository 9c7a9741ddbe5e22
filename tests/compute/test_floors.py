"""Which floor holds for a reading, and what a reading below it means."""

from dataclasses import replace
from datetime import date
from statistics import mean, stdev
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.floors import (
    Circumstances,
    against_floor,
    floor_findings,
    floor_of,
    per_ampere,
    sense_of,
)
from sitegen.compute.values import with_evidence
from sitegen.model.campaign import Floor, Parameter
from tests.compute.test_curve_values import setting

AT = Circumstances(
    range="1 nA", path="triaxial", day=date(2026, 4, 20), set_point_c=25.0, integration_s=0.02
)


def floor(limit_a: float = 1e-12, **changes: Any) -> Floor:
    return Floor(
        **{
            "instrument": "SMU",
            "range": "1 nA",
            "path": "triaxial",
            "floor_a": limit_a,
            "measured_on": date(2026, 4, 1),
            "basis": "open readings",
            **changes,
        }
    )


def limit(*stored: Floor, at: Circumstances = AT) -> float | None:
    found = floor_of(stored, at)
    return None if found is None else found.decision_limit_a


def test_a_floor_holds_for_its_range_and_path_from_its_day_on() -> None:
    one = floor()
    assert limit(one) == 1e-12
    assert limit(one, at=replace(AT, range="10 nA")) is None
    assert limit(one, at=replace(AT, path="coaxial")) is None
    assert limit(one, at=replace(AT, range=None)) is None
    assert limit(one, at=replace(AT, day=date(2026, 3, 31))) is None
    assert limit(one, at=replace(AT, day=date(2026, 4, 1))) == 1e-12


def test_a_floor_may_hold_for_one_integration_time_and_one_set_point() -> None:
    slow, hot = floor(2e-12, integration_s=0.2), floor(3e-12, temperature_c=125.0)
    assert limit(slow) is None
    assert limit(slow, at=replace(AT, integration_s=0.2)) == 2e-12
    assert limit(slow, at=replace(AT, integration_s=None)) is None
    assert limit(hot) is None
    assert limit(hot, at=replace(AT, set_point_c=125.0)) == 3e-12


def test_the_most_specific_holds_then_the_latest_then_the_nearest_voltage() -> None:
    general_later = floor(1e-12, measured_on=date(2026, 4, 10))
    specific = floor(2e-12, integration_s=0.02)
    both = floor(3e-12, integration_s=0.02, temperature_c=25.0)
    assert limit(general_later, specific) == 2e-12
    assert limit(general_later, both, specific) == 3e-12
    assert limit(floor(5e-12), general_later) == 1e-12
    low, high = floor(1e-12, voltage_v=1.0), floor(9e-12, voltage_v=20.0)
    assert limit(low, high, at=replace(AT, voltage_v=15.0)) == 9e-12
    assert limit(low, high, at=replace(AT, voltage_v=2.0)) == 1e-12


def test_the_decision_limit_of_open_readings() -> None:
    """Size of their mean plus a multiple of their standard deviation: common practice."""
    readings = (-1.2e-13, 0.4e-13, -0.6e-13, 0.2e-13)
    one = floor(floor_a=None, open_readings_a=readings, multiple=3.0)
    assert limit(one) == pytest.approx(abs(mean(readings)) + 3 * stdev(readings), rel=1e-12)


def test_below_the_floor_and_below_minus_the_floor() -> None:
    readings = np.array([2.0, 0.5, -0.5, -2.0, np.nan])
    below, faulty = against_floor(readings, 1.0, 1)
    assert below.tolist() == [False, True, True, False, False]
    assert faulty.tolist() == [False, False, False, True, False]
    assert against_floor(readings, 1.0, -1)[1].tolist() == [True, False, False, False, False]
    assert not against_floor(readings, 1.0, 0)[1].any()
    assert not np.any(against_floor(readings, np.full(5, np.nan), 1))


@pytest.mark.parametrize(
    ("limits", "sense"),
    [
        ({}, 1),
        ({"upper": 1e-9}, 1),
        ({"lower": 0.0, "upper": 1e-9}, 1),
        ({"lower": -1e-9}, -1),
        ({"lower": -1e-9, "upper": 0.0}, -1),
        ({"plausible_upper": 0.0}, -1),
        ({"lower": -1e-9, "upper": 1e-9}, 0),
        ({"upper": 1e-9, "plausible_lower": -1e-3}, 0),
    ],
)
def test_limits_say_in_which_sense_a_current_can_flow(limits: dict[str, float], sense: int) -> None:
    parameter = Parameter(
        id="I",
        symbol="I",
        name="current",
        unit="A",
        kind="dc",
        device="D",
        conditions=("RT",),
        **limits,  # type: ignore[arg-type]  # floats only
    )
    assert sense_of(parameter) == sense


def test_a_floor_per_width() -> None:
    assert per_ampere("V", 100.0) is None
    assert per_ampere("nA", None) == pytest.approx(1e9)
    assert per_ampere("A/mm", 100.0) == pytest.approx(10.0)
    assert np.isnan(per_ampere("mA/mm", None) or 0.0)


def test_a_table_s_reading_below_minus_the_floor_has_no_value_and_is_counted() -> None:
    columns: dict[str, Any] = {
        "die_x": [0, 1, 2],
        "die_y": [0, 0, 0],
        "site": "",
        "device": "FET",
        "parameter": "I",
        "condition": "RT",
        "touchdown": 1,
        "value": [-0.4, 20.0, -5.0],
        "measured_at": pd.Timestamp("2026-04-20", tz="UTC"),
        "calibration": None,
        "state": None,
        "temperature_c": 25.0,
        "ambient_c": 23.0,
        "substrate_c": np.nan,
        "contact_resistance_ohm": np.nan,
        "range": "1 nA",
        "path": "triaxial",
        "beyond": False,
    }
    plain = {"id": "I", "symbol": "I", "name": "current", "unit": "pA", "kind": "dc"}
    here = setting({**plain, "device": "FET", "conditions": ("RT",)})
    rows, faults = with_evidence(pd.DataFrame(columns), here, "wafer.toml")
    assert faults == ()
    assert rows["below_floor"].tolist() == [True, False, False]
    assert rows["value"].isna().tolist() == [False, False, True]
    assert rows["raw_reading"].dropna().tolist() == [-0.4, -5.0]
    (finding,) = floor_findings(rows, "W")
    assert finding.kind == "reading below minus the floor"
    assert "1 reading of I lies" in finding.text
