"""The program against the forward side: the same values, outcomes and standings on the demo.

The forward side corrects by the true error boxes and shares no code with `sitegen.compute`, which
solves the calibrations from their raw sweeps: what is left between the two is the noise of the
standards' sweeps, and lies below a tenth of each value's standard uncertainty.
"""

from collections import Counter
from functools import cache

import pandas as pd
import pytest

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.evidence import facts
from sitegen.compute.suspicions import suspicions
from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.verification import judge_verification
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


@cache
def _read() -> Campaign:
    return read_campaign(DEMO)[0]


@cache
def _solved() -> dict[str, SolvedCalibration]:
    analyser = _read().record.stations[0].instruments[0]
    return {one.record.id: solve(one, analyser) for one in _read().calibrations}


@cache
def _verified() -> tuple[VerificationResult, ...]:
    analyser = _read().record.stations[0].instruments[0]
    return tuple(
        judge_verification(one, _solved(), analyser, _read().record.decision)
        for one in _read().verifications
    )


@cache
def _computed(number: int) -> WaferResults:
    campaign = _read()
    wafer, station = campaign.wafers[number], campaign.record.stations[0]
    tables, _ = read_wafer_tables(DEMO, wafer, campaign.record, frozenset(_solved()))
    terms = {name: one.terms for name, one in _solved().items() if one.terms is not None}
    setting = WaferSetting(
        campaign.record,
        station,
        station.instruments[0],
        station.instruments[1],
        {state.id: state for state in wafer.record.states},
        facts([one.result for one in _solved().values()], _verified()),
        terms,
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
        fitted = [one.figure for one in result.checks if one.name == "fitted load inductance"]
        assert len(fitted) == (method == "LRRM")
        for inductance_h in fitted:
            # 1 % of the load's inductance is 0.03 ohm at 110 GHz, ten times the noise.
            assert inductance_h == pytest.approx(expected.TRUE_LOAD_INDUCTANCE_PH * 1e-12, rel=0.01)


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
            assert max(worst.values()) < 0.5


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
        assert abs(row["value"] - twin.value) < LARGEST_DIFFERENCE_U * u, key
        assert row["outcome"] == twin.outcome, key
        assert row["below_floor"] == twin.below_floor, key


def test_standing_is_lost_where_it_was_planted_and_nowhere_else() -> None:
    lost = {}
    for number, wafer in enumerate(expected.WAFERS):
        rows = _measured(number)
        assert not (rows["standing"] == "not closed").any()
        without = rows[rows["standing"] == "without standing"]
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
        assert (_computed(number).findings, _computed(number).faults) == ((), ())
