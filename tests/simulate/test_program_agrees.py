"""The program against the forward side: the same values, outcomes and standings on the demo.

The forward side shares no code with `sitegen.compute`: scikit-rf solves its calibrations from the
same raw sweeps, and the uncertainty that they propagate comes from simulated calibrations. What is
left between the two values is how each fits the load of LRRM, and lies below a tenth of each
value's standard uncertainty.
"""

from collections import Counter
from functools import cache

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.events import Events, solve_events
from sitegen.compute.evidence import facts
from sitegen.compute.suspicions import suspicions
from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.wafer import compute_wafer
from sitegen.model.event_results import VerificationResult
from sitegen.model.loaded import Campaign
from sitegen.model.results import WaferResults
from sitegen.read import read_campaign, read_wafer_tables
from sitegen.simulate.demo import demo_scenario
from tests.simulate import demo_expected as expected
from tests.simulate.forward import values_of
from tests.simulate.write_demo import DEMO

LARGEST_DIFFERENCE_U = 0.1
ROBUST = {"FMAX": 0.3, "FT": 0.3}
"""Larger differences, in u: a plain mean over the window stands here for a robust one."""


@cache
def _read() -> Campaign:
    return read_campaign(DEMO)[0]


@cache
def _events() -> Events:
    return solve_events(_read())


def _solved() -> dict[str, SolvedCalibration]:
    return {one.result.record.id: one for one in _events().calibrations}


def _verified() -> tuple[VerificationResult, ...]:
    return _events().verifications


@cache
def _computed(number: int) -> WaferResults:
    campaign = _read()
    wafer, station = campaign.wafers[number], campaign.record.stations[0]
    tables, _ = read_wafer_tables(DEMO, wafer, campaign.record, frozenset(_solved()))
    setting = WaferSetting(
        campaign.record,
        station,
        station.instruments[0],
        station.instruments[1],
        {state.id: state for state in wafer.record.states},
        facts(_events().results(), _verified()),
        {name: one.terms for name, one in _solved().items() if one.terms is not None},
        {name: one.uncertainty for name, one in _solved().items() if one.uncertainty is not None},
    )
    assert campaign.record.layout is not None
    return compute_wafer(wafer.record, tables, setting, campaign.record.layout)


def _measured(number: int) -> pd.DataFrame:
    results: pd.DataFrame = _computed(number).results.to_pandas()
    return results.loc[results["value"].notna()]


def test_calibrations_are_usable_and_recover_the_load() -> None:
    for name, method in expected.CALIBRATIONS.items():
        result = _solved()[name].result
        assert result.outcome == "usable"
        fitted = [
            (one.figure, one.u) for one in result.checks if one.name == "fitted load inductance"
        ]
        assert len(fitted) == (method == "LRRM")
        for inductance_h, u in fitted:
            assert u is not None and inductance_h is not None and u < 0.5e-12
            assert abs(inductance_h - expected.TRUE_LOAD_INDUCTANCE_PH * 1e-12) < 3 * u


def test_verifications_pass_with_margin_and_one_fails_clearly() -> None:
    outcomes = {one.record.id: one.outcome for one in _verified()}
    assert outcomes == dict.fromkeys(expected.PASSED, "passed") | {expected.FAILED: "failed"}
    for one in _verified():
        worst = {
            structure.structure.id: max(mask.worst_ratio or 0.0 for mask in structure.masks)
            for structure in one.structures
        }
        if one.record.id == expected.FAILED:
            assert set(worst) == set(expected.FAILED_STRUCTURES)
            assert min(worst.values()) > 2
        else:
            assert max(worst.values()) < 0.8


@pytest.mark.parametrize("number", range(3))
def test_values_and_outcomes_agree(number: int) -> None:
    forward = {
        (*one.die, one.parameter, one.condition, one.touchdown): one
        for one in values_of(demo_scenario(), number)
    }
    rows = _measured(number)
    assert len(rows) == len(forward)
    for row in rows.to_dict("records"):
        key = tuple(row[name] for name in ("die_x", "die_y", "parameter", "condition", "touchdown"))
        twin = forward[key]
        u = row["u"] if row["u"] > 0 else 0.01 * abs(twin.value)
        largest = ROBUST.get(row["parameter"], LARGEST_DIFFERENCE_U)
        assert abs(row["value"] - twin.value) < largest * u, key
        assert row["outcome"] == twin.outcome, key
        assert row["below_floor"] == twin.below_floor, key


def test_propagated_uncertainty_is_that_of_simulated_calibrations() -> None:
    """To 10 %: the devices of a wafer differ, and 1,500 simulated ones tell it to 2 %."""
    rows = pd.concat([_measured(number) for number in range(3)])
    methods = rows["calibration"].map(expected.CALIBRATIONS)
    propagated = np.hypot(rows["u_common"], rows["u_own"])
    for method, figures in expected.PROPAGATED_U.items():
        for name, u in figures.items():
            if name not in expected.AT_ONE_FREQUENCY or (method, name) in expected.OTHER_DUMMIES:
                continue
            mine = propagated[(methods == method) & (rows["parameter"] == name)]
            assert len(mine) > 3
            assert np.sqrt((mine**2).mean()) == pytest.approx(u, rel=0.1), (method, name)


def test_standing_is_lost_where_it_was_planted_and_nowhere_else() -> None:
    lost = {}
    for number, wafer in enumerate(expected.WAFERS):
        rows = _measured(number)
        assert not (rows["standing"] == "not closed").any()
        without = rows[rows["standing"] == "without standing"]
        touched = without["standing_reasons"].str.startswith("contact check")
        assert int(touched.sum()) == sum(
            n for (name, _), n in expected.BAD_TOUCHES.items() if name == wafer
        )
        without = without[~touched]
        lost[wafer] = Counter(zip(without["standing_reasons"], without["parameter"], strict=True))
    expired = Counter(name for names in expected.EXPIRED.values() for name in names)
    assert lost == {
        "LK7-1": Counter(),
        "LK7-2": Counter({("verification failed", name): n for name, n in expected.LOST.items()}),
        "LK7-3": Counter({("expired by time", name): n for name, n in expired.items()}),
    }


@pytest.mark.parametrize("number", range(3))
def test_dies_are_judged_alike(number: int) -> None:
    outcomes = dict(_computed(number).summary.outcomes)
    assert outcomes.pop("no limits") == 0
    assert outcomes == expected.DIE_OUTCOMES[expected.WAFERS[number]]


def test_nothing_is_suspected() -> None:
    layout = _read().record.layout
    assert layout is not None
    together = pd.concat([_computed(number).results.to_pandas() for number in range(3)])
    assert suspicions(together, layout) == ()
    for number in range(3):
        kinds = {(one.kind, one.subject) for one in _computed(number).findings}
        wafer = expected.WAFERS[number]
        assert kinds == {
            (reason, f"wafer {name}") for name, reason in expected.BAD_TOUCHES if name == wafer
        }
        assert _computed(number).faults == ()
