"""Control dies: readings, limits and drift against published and general sources, and standing."""

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import linregress

from sitegen.compute.controls import BEFORE_ALL, control_findings, control_result, with_controls
from sitegen.compute.evidence import reason_text
from sitegen.compute.sweeps import WaferSetting
from sitegen.model.campaign import Instrument
from sitegen.model.device_results import ControlResult
from sitegen.model.trust import Control
from tests.faults.touchdown_records import campaign
from tests.faults.touchdown_scenes import moments

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches (quoted from memory; the printed
# figures follow from the printed data).
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
STATION = campaign().stations[0]
VNA, SMU = STATION.instruments


def control(**changes: Any) -> Control:
    ordinary = {
        "id": "C",
        "wafer": "W1",
        "die": (0, 0),
        "parameter": "GM",
        "condition": "RT",
        "bound": 2.0,
    }
    return Control.model_validate({**ordinary, **changes})


def rows(*readings: float, hours: Any = None, **columns: Any) -> pd.DataFrame:
    """Value rows of the control die, one an hour."""
    n = len(readings)
    ordinary = {
        "die_x": 0,
        "die_y": 0,
        "site": "",
        "parameter": "GM",
        "condition": "RT",
        "touchdown": np.arange(1, n + 1),
        "value": np.array(readings, dtype=float),
        "measured_at": moments(np.arange(float(n)) if hours is None else np.array(hours)),
        "ev_reasons": 0,
        "ev_detail": "",
        "ev_not_closed": False,
        "ev_never_verified": False,
    }
    return pd.DataFrame({**ordinary, **columns}, index=range(n))


def judged(found: pd.DataFrame, clock: Instrument = VNA, **changes: Any) -> ControlResult:
    return control_result(control(**changes), found, campaign(), STATION, clock)


def setting() -> WaferSetting:
    return WaferSetting(campaign(), STATION, VNA, SMU, {}, (), {}, {})


def at(hours: float) -> datetime:
    return moments(np.array([hours]))[0].to_pydatetime()


def test_limits_and_reproducibility_are_the_handbooks() -> None:
    found = judged(rows(*FLOW))
    assert found.lower is not None and found.upper is not None
    assert (round(found.lower, 4), round(found.upper, 4)) == (45.8159, 55.8041)
    assert found.reproducibility == pytest.approx(1.8778 / 1.128, rel=1e-4)


def test_drift_is_scipys_line() -> None:
    found, expected = judged(rows(*FLOW)), linregress(np.arange(10.0), FLOW)
    assert found.drift_per_hour == pytest.approx(expected.slope, rel=1e-9)
    assert found.drift_p == pytest.approx(expected.pvalue, rel=1e-8)
    assert not found.drifting
    steep = judged(rows(*(np.array(FLOW) + 3 * np.arange(10))), bound=1000.0)
    assert steep.drifting and control_findings([steep])[0].kind == "control die drifts"


def test_readings_are_ordered_in_reference_time_and_few_say_little() -> None:
    slow = VNA.model_copy(update={"clock_offset_s": 1800.0})
    found = judged(rows(2.0, 1.0, 3.0, hours=[5.0, 1.0, 9.0]), slow)
    assert [one.value for one in found.readings] == [1.0, 2.0, 3.0]
    assert found.readings[0].at == datetime(2026, 4, 20, 8, 30, tzinfo=UTC)
    assert found.reference == 1.0
    assert (found.lower, found.drifting) == (None, False)
    assert [one.difference for one in found.readings] == [0.0, 1.0, 2.0]


def test_only_readings_that_stand_and_belong_to_it_judge() -> None:
    table = rows(1.0, 99.0, np.nan, 1.1, 50.0, 60.0)
    table.loc[1, "ev_reasons"] = 1
    table.loc[4, "die_x"] = 3
    table.loc[5, "site"] = "B"
    found = judged(table)
    assert [one.value for one in found.readings] == [1.0, 1.1]
    assert found.failed_at is None and not control_findings([found])
    at_b = judged(table, site="B")
    assert [one.value for one in at_b.readings] == [60.0]
    nothing = judged(table.iloc[:0])
    assert nothing.readings == () and nothing.reference is None
    assert control_findings([nothing])[0].kind == "control die not measured"


def test_a_failure_takes_standing_from_the_last_good_reading_on_for_good() -> None:
    failed = judged(rows(10.0, 10.1, 14.0, 10.0))
    assert (failed.lost_after, failed.failed_at) == (at(1.0), at(2.0))
    values = rows(*[1.0] * 4, hours=[0.5, 1.5, 2.5, 9.0], parameter=["GM", "RON", "GM", "VTH"])
    values["ev_not_closed"] = True
    found = with_controls(values, [failed], setting())
    told = [reason_text(int(bits)) for bits in found["ev_reasons"]]
    assert told == ["", *["control die failed"] * 3]
    assert list(found["ev_not_closed"]) == [True, False, False, False]
    assert found["ev_detail"][1] == "control die failed: C out of bound at 2026-04-20 10:00 UTC"
    finding = control_findings([failed])[0]
    assert finding.weight == "decision" and "1 of 4 readings" in finding.text
    elsewhere = [ControlResult(**{**vars(failed), "station": "B"})]
    assert (with_controls(values, elsewhere, setting())["ev_reasons"] == 0).all()


def test_without_a_good_reading_before_it_all_values_lose_standing() -> None:
    failed = judged(rows(14.0, 10.0), reference=10.0)
    assert failed.lost_after == BEFORE_ALL
    found = with_controls(rows(1.0, hours=[-100.0]), [failed], setting())
    assert (found["ev_reasons"] != 0).all()
    assert "from the start" in control_findings([failed])[0].text


def test_what_two_clocks_cannot_tell_apart_counts_as_after() -> None:
    """Both clocks have 0.1 s: 2 sqrt(2) 0.1 s = 0.28 s; the same clock is always sure."""
    failed = judged(rows(10.0, 10.1, 14.0))
    just_before = rows(1.0, 1.0, hours=[1 - 0.25 / 3600, 1 - 0.35 / 3600], parameter="RON")
    found = with_controls(just_before, [failed], setting())
    assert list(found["ev_reasons"] != 0) == [True, False]
    own_clock = with_controls(just_before.assign(parameter="GM"), [failed], setting())
    assert list(own_clock["ev_reasons"] != 0) == [False, False]


def test_calibrations_that_differ_are_no_drift() -> None:
    """Two calibrations with an error of their own look like a slope; stated, they explain it."""
    rng = np.random.default_rng(3)
    readings = 10 + 0.01 * rng.normal(size=12) + np.repeat([0.0, 0.1], 6)
    under = {"ev_calibration": np.repeat(["CAL-1", "CAL-2"], 6), "u_common": 0.05}
    assert judged(rows(*readings)).drifting
    explained = judged(rows(*readings, **under))
    assert not explained.drifting and explained.drift_p is not None and explained.drift_p > 0.05
