"""Which calibration stands behind a value, and every reason against it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sitegen.compute.evidence import Evidence, dc_evidence, facts, reason_text, rf_evidence
from sitegen.compute.in_force import Rows
from sitegen.model.campaign import Instrument, Station
from sitegen.model.event_results import CalibrationResult, Judged, VerificationResult
from sitegen.model.results import NOT_HELD, REASONS
from sitegen.model.station_state import SETTINGS, differences
from tests.compute.events import STATE, calibration, instrument, rows, station, verification

PORT_1, PORT_2, BOTH = 1, 2, 3
"""Ports that a row needs, as bits."""


def judge(
    asked: Rows,
    calibrations: Sequence[CalibrationResult],
    verifications: Sequence[VerificationResult] = (),
    here: Station | None = None,
    taken_by: Instrument | None = None,
    contact_max: float | None = None,
    corrected: bool = False,
) -> Evidence:
    return rf_evidence(
        asked,
        facts(calibrations, verifications),
        here or station(),
        taken_by or instrument(),
        {"S": STATE},
        contact_max,
        "wafers/W1/wafer.toml",
        corrected,
    )


def replace_station(result: CalibrationResult, name: str) -> CalibrationResult:
    return replace(result, record=result.record.model_copy(update={"station": name}))


def reasons(found: Evidence) -> list[str]:
    return [reason_text(int(bits)) for bits in found.reasons]


def test_the_last_calibration_before_the_value_is_in_force() -> None:
    found = judge(rows(1, 3, -1), [calibration("CAL-2", 2), calibration("CAL-1", 0)])
    assert found.calibration.tolist() == ["CAL-1", "CAL-2", None]
    assert found.basis.tolist() == ["by time", "by time", ""]
    assert reasons(found) == ["", "", "calibration missing"]


def test_a_sweep_that_came_corrected_asks_for_a_record_only_where_there_is_one() -> None:
    """Without any calibration of the station, and named none: the calibration is elsewhere."""
    alone = judge(rows(1, 3), [], corrected=True)
    assert reasons(alone) == [NOT_HELD, NOT_HELD]
    assert alone.detail.tolist() == ["", ""] and not alone.not_closed.any()
    named = judge(rows(1, 3, named=["CAL-9", None]), [], corrected=True)
    assert reasons(named) == ["calibration missing", NOT_HELD]
    early = judge(rows(-1, 3), [calibration("CAL-1", 0)], corrected=True)
    assert reasons(early) == ["calibration missing", ""]
    assert early.calibration.tolist() == [None, "CAL-1"]
    assert reasons(judge(rows(1), [])) == ["calibration missing"]


def test_a_calibration_of_another_station_is_none_of_this_one() -> None:
    other = replace_station(calibration("CAL-1", 0), "elsewhere")
    assert reasons(judge(rows(1), [other], corrected=True)) == [NOT_HELD]


def test_only_a_calibration_that_covers_the_ports_is_in_force() -> None:
    known = [calibration("CAL-1", 0), calibration("CAL-2", 1, ports=(1,))]
    found = judge(rows(2, 2, 2, ports=[BOTH, PORT_1, PORT_2]), known)
    assert found.calibration.tolist() == ["CAL-1", "CAL-2", "CAL-1"]


def test_a_named_calibration_wins_and_a_disagreement_is_a_fault() -> None:
    found = judge(rows(3, named=["CAL-1"]), [calibration("CAL-1", 0), calibration("CAL-2", 2)])
    assert (found.calibration[0], found.basis[0]) == ("CAL-1", "named")
    assert "CAL-2 was then in force" in found.faults[0].found


def test_a_named_calibration_from_after_the_value_is_a_fault_and_not_followed() -> None:
    found = judge(rows(1, named=["CAL-1"]), [calibration("CAL-1", 2)])
    assert found.calibration[0] is None
    assert reasons(found) == ["calibration missing"]
    assert "made after the value was taken" in found.faults[0].found


def test_a_calibration_of_another_station_does_not_count() -> None:
    found = judge(rows(1, named=["CAL-1"]), [calibration("CAL-1", 0, station_id="B")])
    assert reasons(found) == ["calibration missing"]


def test_validity_ends_by_time_ambient_and_substrate() -> None:
    asked = rows(8.0, 8.01, 1, 1, ambient_c=[23, 23, 24.5, 23], substrate_c=[25, 25, 25, 23.5])
    found = judge(asked, [calibration("CAL-1", 0)])
    assert reasons(found) == [
        "",
        "expired by time",
        "expired by ambient temperature",
        "expired by substrate temperature",
    ]
    assert "36 s past the end of CAL-1's 8 h" in found.detail[1]


def test_a_substrate_temperature_that_is_not_stated_takes_no_standing() -> None:
    """The wafer's findings tell that its change was not checked."""
    assert reasons(judge(rows(1, substrate_c=[np.nan]), [calibration("CAL-1", 0)])) == [""]


def with_record(result: CalibrationResult, **changes: object) -> CalibrationResult:
    return replace(result, record=result.record.model_copy(update=changes))


def test_a_validity_that_does_not_bound_the_substrate_does_not_expire_by_it() -> None:
    bounded = calibration("CAL-1", 0)
    free = bounded.record.validity.model_copy(update={"substrate_change_c": None})
    asked = rows(1, 8.01, 1, substrate_c=[99, 99, 25], ambient_c=[23, 23, 25])
    told = ["expired by substrate temperature", "expired by time", "expired by ambient temperature"]
    assert reasons(judge(asked, [bounded])) == [told[0], "; ".join((told[1], told[0])), told[2]]
    assert reasons(judge(asked, [with_record(bounded, validity=free)])) == ["", *told[1:]]


def test_a_calibration_that_does_not_state_the_substrate_s_temperature_takes_no_standing() -> None:
    """The wafer's findings tell that the change was not checked."""
    unknown = with_record(calibration("CAL-1", 0), substrate_c=None)
    assert reasons(judge(rows(1, substrate_c=[99.0]), [unknown])) == [""]


@pytest.mark.parametrize("name", SETTINGS)
def test_a_setting_that_both_states_leave_out_is_equal_and_one_that_one_states_differs(
    name: str,
) -> None:
    bare = STATE.model_copy(update={name: None})
    assert differences(bare, bare) == differences(STATE, STATE) == ()
    (told,) = differences(bare, STATE)
    assert "calibrated not stated, measured" in told
    (found,) = judge(rows(1), [calibration("CAL-1", 0, state=bare)]).detail
    assert found == f"different state: {told}"


@pytest.mark.parametrize("outcome", ["checks failed", "not solved"])
def test_failed_checks_take_standing(outcome: str) -> None:
    found = judge(rows(1), [calibration("CAL-1", 0, outcome=outcome)])  # type: ignore[arg-type]
    assert reasons(found) == ["calibration's own checks failed"]


def test_a_failed_verification_reaches_back_to_the_last_passed_one_and_on() -> None:
    known = [calibration("CAL-1", 0), calibration("CAL-2", 5)]
    events = [
        verification("V1", "CAL-1", 1, "passed"),
        verification("V2", "CAL-1", 3, "failed"),
        verification("V3", "CAL-1", 4, "passed"),
        verification("V4", "CAL-2", 7, "passed"),
    ]
    found = judge(rows(0.5, 1, 2, 3.5, 4.5, 6), known, events)
    assert reasons(found) == ["", "", *["verification failed"] * 3, ""]
    assert not found.not_closed.any()
    assert found.detail[2].endswith("V2")


def test_a_failed_first_verification_takes_standing_from_the_calibration_on() -> None:
    found = judge(
        rows(0.5, 4), [calibration("CAL-1", 0)], [verification("V1", "CAL-1", 1, "failed")]
    )
    assert reasons(found) == ["verification failed"] * 2


def test_without_a_pass_afterwards_a_value_is_not_closed() -> None:
    found = judge(
        rows(0.5, 2), [calibration("CAL-1", 0)], [verification("V1", "CAL-1", 1, "passed")]
    )
    assert found.not_closed.tolist() == [False, True]
    assert judge(rows(1), [calibration("CAL-1", 0)]).not_closed.tolist() == [True]


@pytest.mark.parametrize("outcome", ["not assessable", "not proven"])
def test_what_neither_passed_nor_failed_neither_closes_nor_takes(outcome: Judged) -> None:
    events = [verification("V1", "CAL-1", 1, outcome)]
    found = judge(rows(0.5, 2), [calibration("CAL-1", 0)], events)
    assert reasons(found) == ["", ""]
    assert found.not_closed.all() and found.never_verified.all()
    closed = [*events, verification("V2", "CAL-1", 3, "passed")]
    found = judge(rows(0.5, 2), [calibration("CAL-1", 0)], closed)
    assert reasons(found) == ["", ""] and not found.not_closed.any()


def test_a_verification_of_another_station_changes_nothing() -> None:
    events = [verification("V1", "CAL-1", 1, "failed", station_id="B")]
    assert reasons(judge(rows(2), [calibration("CAL-1", 0)], events)) == [""]


def test_each_difference_of_the_state_is_named() -> None:
    other = STATE.model_copy(update={"source_power_dbm": -10.0, "probes": ("P1", "P3")})
    found = judge(rows(1), [calibration("CAL-1", 0, state=other)])
    assert reasons(found) == ["different state"]
    assert "source power: calibrated -10, measured -20" in found.detail[0]
    assert "probes: calibrated P1, P3, measured P1, P2" in found.detail[0]


def test_an_unknown_state_is_a_different_state() -> None:
    assert reasons(judge(rows(1, state=[None]), [calibration("CAL-1", 0)])) == ["different state"]


def test_an_instrument_past_its_due_date_takes_standing_on_the_day_after() -> None:
    past = instrument(due=date(2026, 4, 20))
    found = judge(rows(1, 20), [calibration("CAL-1", 0, hours=48)], taken_by=past)
    assert reasons(found) == ["", "instrument past due"]


def test_a_bad_contact_takes_standing() -> None:
    asked = rows(1, 1, 1, contact_resistance_ohm=[0.5, 2.5, np.nan])
    found = judge(asked, [calibration("CAL-1", 0)], contact_max=1.0)
    assert reasons(found) == ["", "contact check failed", ""]


def test_the_clock_offset_is_taken_off_before_times_are_compared() -> None:
    late = instrument(clock_offset_s=3600.0)
    found = judge(rows(2.5), [calibration("CAL-1", 0), calibration("CAL-2", 2)], taken_by=late)
    assert found.calibration[0] == "CAL-1"


def test_a_choice_that_two_clocks_could_change_is_refused() -> None:
    vna, other = instrument(clock_offset_u_s=40.0), instrument("VNA-2", clock_offset_u_s=30.0)
    here = station(vna, other)
    known = [calibration("CAL-1", 0), calibration("CAL-2", 2, instrument_id="VNA-2")]
    seconds = np.array([99.0, 101.0]) / 3600.0  # 2 sqrt(40² + 30²) = 100 s
    found = judge(rows(*(2 + seconds), *(2 - seconds)), known, here=here, taken_by=vna)
    assert found.calibration.tolist() == [None, "CAL-2", None, "CAL-1"]
    assert "could change which calibration" in found.detail[0]
    # the same clock on both sides is always sure of the order
    same = [calibration("CAL-1", 0), calibration("CAL-2", 2)]
    assert judge(rows(2 + seconds[0]), same, here=here, taken_by=vna).calibration[0] == "CAL-2"


def test_several_reasons_stand_beside_each_other_in_the_closed_list_s_order() -> None:
    asked = rows(9, ambient_c=[26], contact_resistance_ohm=[9.0])
    found = judge(asked, [calibration("CAL-1", 0)], contact_max=1.0)
    told = reasons(found)[0].split("; ")
    assert told == ["expired by time", "expired by ambient temperature", "contact check failed"]
    assert told == sorted(told, key=list(REASONS).index)


def test_dc_values_ask_for_the_instrument_the_floor_and_contact() -> None:
    asked = rows(1, 1, 1, contact_resistance_ohm=[0.1, 0.1, 5.0])
    missing = np.array(["", "range 1 nA", ""], dtype=object)
    found = dc_evidence(asked.measured_at, asked.contact_resistance_ohm, missing, instrument(), 1.0)
    assert reasons(found) == ["", "floor missing", "contact check failed"]
    assert found.calibration.tolist() == [None] * 3


def test_a_value_that_the_clocks_cannot_tell_from_a_verification_counts_as_after_it() -> None:
    vna, other = instrument(clock_offset_u_s=40.0), instrument("VNA-2", clock_offset_u_s=30.0)
    here = station(vna, other)
    known = [calibration("CAL-1", -5, instrument_id="VNA-2", hours=20)]
    events = [
        verification("V1", "CAL-1", 1, "passed", instrument_id="VNA-2"),
        verification("V2", "CAL-1", 3, "failed", instrument_id="VNA-2"),
    ]
    seconds = np.array([99.0, 101.0]) / 3600.0  # 2 sqrt(40² + 30²) = 100 s
    found = judge(rows(*(1 - seconds)), known, events, here=here, taken_by=vna)
    assert ["verification failed" in told for told in reasons(found)] == [True, False]


def test_an_expiry_that_the_clocks_cannot_tell_from_the_value_has_come() -> None:
    vna, other = instrument(clock_offset_u_s=40.0), instrument("VNA-2", clock_offset_u_s=30.0)
    known = [calibration("CAL-1", 0, instrument_id="VNA-2", hours=8)]
    seconds = np.array([99.0, 101.0]) / 3600.0
    found = judge(rows(*(8 - seconds)), known, here=station(vna, other), taken_by=vna)
    assert ["expired by time" in told for told in reasons(found)] == [True, False]


def test_a_named_calibration_within_the_clocks_margin_is_followed() -> None:
    vna, other = instrument(clock_offset_u_s=40.0), instrument("VNA-2", clock_offset_u_s=30.0)
    known = [calibration("CAL-1", 1, instrument_id="VNA-2")]
    asked = rows(1 - 5 / 3600, named=["CAL-1"])
    found = judge(asked, known, here=station(vna, other), taken_by=vna)
    assert (found.calibration[0], found.faults) == ("CAL-1", ())


def test_of_two_calibrations_at_the_same_instant_none_is_chosen() -> None:
    found = judge(rows(1), [calibration("CAL-1", 0), calibration("CAL-2", 0)])
    assert found.calibration[0] is None
    assert "could change which calibration" in found.detail[0]


def test_a_calibration_made_with_another_analyser_is_a_different_state() -> None:
    here = station(instrument(), instrument("VNA-2"))
    found = judge(rows(1), [calibration("CAL-1", 0, instrument_id="VNA-2")], here=here)
    assert reasons(found) == ["different state"]
    assert "instrument: calibrated VNA-2, measured VNA-1" in found.detail[0]


def test_a_calibration_named_from_another_station_is_a_fault() -> None:
    found = judge(rows(1, named=["CAL-1"]), [calibration("CAL-1", 0, station_id="B")])
    assert "made at another station" in found.faults[0].found


def test_a_value_at_the_calibrations_own_instant_is_lost_with_a_failed_first_verification() -> None:
    events = [verification("V1", "CAL-1", 1, "failed")]
    assert reasons(judge(rows(0), [calibration("CAL-1", 0)], events)) == ["verification failed"]


def test_never_verified_is_told_apart_from_not_closed() -> None:
    passed = [verification("V1", "CAL-1", 1, "passed")]
    known = [calibration("CAL-1", 0)]
    assert judge(rows(2), known, passed).never_verified.tolist() == [False]
    assert judge(rows(2), known).never_verified.tolist() == [True]
