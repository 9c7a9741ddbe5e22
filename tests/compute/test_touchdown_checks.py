"""Touchdowns and the values taken with them: failed, missing, counted."""

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from sitegen.compute.evidence import reason_text
from sitegen.compute.standing import bit_of
from sitegen.compute.touchdown_checks import (
    contact_resistance_ohm,
    judge_touchdowns,
    with_touchdowns,
)
from sitegen.model.campaign import CampaignRecord, Touchdowns
from sitegen.model.loaded import TOUCHDOWN_SCHEMA
from tests.faults.touchdown_records import campaign
from tests.faults.touchdown_scenes import moments


def campaign_with(*checks: dict[str, Any], bound: float | None = None) -> CampaignRecord:
    touchdowns = Touchdowns.model_validate(
        {"counts": "last", "contact_resistance_max_ohm": bound, "checks": checks}
    )
    return campaign().model_copy(update={"touchdowns": touchdowns})


def touchdowns(*rows: dict[str, Any]) -> pa.Table:
    ordinary = dict.fromkeys(TOUCHDOWN_SCHEMA.names) | {
        "die_x": 0,
        "die_y": 0,
        "site": "",
        "touchdown": 1,
        "file": "t.parquet",
    }
    hours = [row.pop("hour", number) for number, row in enumerate(rows)]
    at = moments(np.array(hours, dtype=float))
    listed = [{**ordinary, "measured_at": when, **row} for when, row in zip(at, rows, strict=True)]
    return pa.Table.from_pylist(listed, schema=TOUCHDOWN_SCHEMA)


def values(*rows: dict[str, Any]) -> pd.DataFrame:
    ordinary = {
        "die_x": 0,
        "die_y": 0,
        "site": "",
        "device": "D",
        "touchdown": 1,
        "contact_resistance_ohm": np.nan,
        "ev_reasons": 0,
        "ev_detail": "",
        "ev_not_closed": True,
        "ev_never_verified": True,
    }
    return pd.DataFrame([{**ordinary, **row} for row in rows])


def reasons(found: pd.DataFrame) -> list[str]:
    return [reason_text(int(bits)) for bits in found["ev_reasons"]]


RESISTANCE = {"quantity": "contact resistance", "upper": 1.0}


def test_a_touchdown_passes_fails_or_misses_its_checks() -> None:
    asked = campaign_with(
        {**RESISTANCE, "mandatory": True}, {"quantity": "overtravel", "lower": 40.0, "upper": 70.0}
    )
    table = touchdowns(
        {"contact_resistance_ohm": 0.4, "overtravel_um": 55.0},
        {"die_x": 1, "contact_resistance_ohm": 3.2, "overtravel_um": 20.0},
        {"die_x": 2},
        {"die_x": 3, "contact_resistance_ohm": 1.0, "overtravel_um": 70.0},
    )
    found = judge_touchdowns(table, asked, "W1").to_pandas()
    assert list(found["outcome"]) == ["passed", "failed", "missing", "passed"]
    assert found["outcome_reason"][1] == (
        "contact resistance 3.200\u202fΩ, at most 1.000\u202fΩ and overtravel 20 µm, at least 40 µm"
    )
    assert found["outcome_reason"][2] == "no contact resistance"
    assert list(found["wafer"].unique()) == ["W1"]


def test_a_failed_touchdown_takes_standing_from_its_values_only() -> None:
    asked = campaign_with(RESISTANCE)
    table = touchdowns(
        {"contact_resistance_ohm": 3.2},
        {"touchdown": 2, "contact_resistance_ohm": 0.3},
        {"site": "B", "contact_resistance_ohm": 0.3},
    )
    judged = judge_touchdowns(table, asked, "W1")
    rows = values({}, {"touchdown": 2}, {"site": "B"}, {"die_y": 1})
    found = with_touchdowns(rows, judged, asked)
    assert reasons(found) == ["contact check failed", "", "", ""]
    assert found["ev_detail"][0].startswith("contact check failed: contact resistance 3.2")
    assert list(found["ev_not_closed"]) == [False, True, True, True]
    assert list(found["ev_never_verified"]) == [False, True, True, True]


def test_a_mandatory_check_is_missed_with_and_without_a_row() -> None:
    asked = campaign_with({**RESISTANCE, "mandatory": True})
    judged = judge_touchdowns(touchdowns({"die_x": 1}), asked, "W1")
    rows = values({}, {"die_x": 1}, {"contact_resistance_ohm": 0.5})
    assert reasons(with_touchdowns(rows, judged, asked)) == [
        "contact check missing",
        "contact check missing",
        "",  # beside the value itself it is stated
    ]


def test_a_check_of_one_device_leaves_the_others_alone() -> None:
    asked = campaign_with({**RESISTANCE, "devices": ("E",)})
    judged = judge_touchdowns(touchdowns({"contact_resistance_ohm": 3.0}), asked, "W1")
    found = with_touchdowns(values({}, {"device": "E"}), judged, asked)
    assert reasons(found) == ["", "contact check failed"]
    assert judged["outcome"][0].as_py() == "failed"


def test_a_devices_own_touchdown_comes_before_the_one_for_all() -> None:
    asked = campaign_with(RESISTANCE, {"quantity": "pad-to-pad leakage", "upper": 1e-9})
    table = touchdowns(
        {"contact_resistance_ohm": 3.0, "pad_leakage_a": 1e-6},
        {"device": "D", "contact_resistance_ohm": 0.4},
    )
    found = with_touchdowns(values({}), judge_touchdowns(table, asked, "W1"), asked)
    assert "leakage" in found["ev_detail"][0] and "resistance" not in found["ev_detail"][0]


def test_the_greatest_resistance_holds_for_the_table_and_is_told_once() -> None:
    asked = campaign_with(RESISTANCE, bound=1.0)
    judged = judge_touchdowns(touchdowns({"contact_resistance_ohm": 3.0}), asked, "W1")
    detail = with_touchdowns(values({}), judged, asked)["ev_detail"][0]
    assert detail.count("contact resistance") == 1
    alone = campaign_with(bound=1.0)
    # What a value's own row states has been judged with the evidence already.
    own = with_touchdowns(values({"die_x": 5, "contact_resistance_ohm": 3.0}), judged, alone)
    assert reasons(own) == [""]


def test_a_further_reason_is_added_to_those_there() -> None:
    asked = campaign_with(RESISTANCE)
    judged = judge_touchdowns(touchdowns({"contact_resistance_ohm": 3.0}), asked, "W1")
    row = {"ev_reasons": bit_of("floor missing"), "ev_detail": "floor missing: none"}
    found = with_touchdowns(values(row), judged, asked)
    assert reasons(found) == ["contact check failed; floor missing"]
    assert found["ev_detail"][0].startswith("floor missing: none; contact check failed: ")


def test_without_checks_and_touchdowns_nothing_changes() -> None:
    rows = values({})
    judged = judge_touchdowns(TOUCHDOWN_SCHEMA.empty_table(), campaign_with(), "W1")
    pd.testing.assert_frame_equal(with_touchdowns(rows, judged, campaign_with()), rows)


def test_touchdowns_on_a_pad_are_counted_in_time_order_unless_stated() -> None:
    table = touchdowns(
        {"device": "D", "hour": 3},
        {"device": "D", "hour": 1},
        {"device": "E", "hour": 2},
        {"device": None, "hour": 4, "touchdown": 2},
        {"device": "E", "hour": 5, "touchdown": 3},
        {"device": "D", "hour": 6, "touchdown": 4, "pad_touchdowns": 17},
        {"die_x": 1, "hour": 0},
    )
    judged = judge_touchdowns(table, campaign_with(), "W1")
    assert judged["pad_touchdowns"].to_pylist() == [2, 1, 1, 3, 3, 17, 1]


def test_the_contact_resistance_of_a_value() -> None:
    judged = judge_touchdowns(touchdowns({"contact_resistance_ohm": 0.7}), campaign_with(), "W1")
    stated = {"contact_resistance_ohm": 0.5}
    rows = values(stated, {"die_x": 1, **stated}, {"die_x": 2})
    np.testing.assert_array_equal(contact_resistance_ohm(rows, judged), [0.7, 0.5, np.nan])
