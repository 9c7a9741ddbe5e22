"""Which values ask for a look: kinds, order, counts, in the odd cases too."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.over_wafers.concerned_dies import MOST_LISTED, concerned_dies
from sitegen.model.concerned_results import ConcernedDies
from tests.render import samples

ROW: dict[str, Any] = {
    "wafer": "W1",
    "die_x": 0,
    "die_y": 0,
    "site": "",
    "parameter": "VTH",
    "condition": "room",
    "value": -2.6,
    "u": 0.002,
    "outcome": "within",
    "standing": "stands",
    "standing_reasons": "",
    "below_floor": False,
    "not_reached": False,
    "counts": True,
}


def found(*rows: dict[str, Any]) -> ConcernedDies:
    """Of the threshold voltage, its limits −2.7 V and −2.5 V, at room."""
    table = pd.DataFrame([{**ROW, **row} for row in rows], columns=list(ROW))
    by_key = {
        (one.parameter, one.condition): one
        for one in concerned_dies(table, samples.campaign_record())
    }
    assert list(by_key) == [("VTH", "room"), ("VTH", "hot"), ("H21", "room"), ("BV", "bv")]
    return by_key["VTH", "room"]


OUTSIDE = {"outcome": "outside", "value": -2.45}
LOST = {"standing": "without standing", "outcome": "outside", "value": -2.4}


def test_the_worst_come_first_with_their_distance_from_the_limit() -> None:
    one = found(
        {},
        {"die_x": 1, "outcome": "not proven", "value": -2.503},
        {"die_x": 2, **LOST, "standing_reasons": "expired by time; verification failed"},
        {"die_x": 3, **OUTSIDE},
        {"die_x": 4, **OUTSIDE, "value": -2.75},
        {"die_x": 5, "outcome": "not refuted", "value": -2.499},
        {"die_x": 6, **OUTSIDE, "counts": False},
    )
    assert [value.die[0] for value in one.listed] == [3, 4, 5, 1, 2]
    assert [value.beyond for value in one.listed[:4]] == pytest.approx([0.05, 0.05, 0.001, -0.003])
    assert one.listed[-1].beyond is None
    assert one.listed[-1].kind == "without standing"
    assert one.listed[-1].why == "expired by time; verification failed"
    assert one.dies == 5
    assert one.counts == {"not proven": 1, "not refuted": 1, "outside": 2, "without standing": 1}
    assert one.reasons == {"expired by time": 1, "verification failed": 1}


def test_what_has_no_number_or_was_not_measured_is_counted_and_not_listed() -> None:
    one = found(
        {"value": None, "u": None, "outcome": "not measured", "counts": False},
        {"value": None, "u": None, "outcome": "not assessable"},
        {"u": None, "outcome": "not assessable"},
        {"value": None, "u": None, "outcome": "not assessable", "standing": "without standing"},
    )
    assert one.counts == {
        "not assessable": 1,
        "not determined": 1,
        "not measured": 1,
        "without standing": 1,
    }
    assert [(value.kind, value.value, value.u) for value in one.listed] == [
        ("without standing", None, None)
    ]


def test_a_bound_is_told_from_a_value() -> None:
    one = found(
        {**OUTSIDE, "below_floor": True}, {"die_x": 1, **OUTSIDE, "not_reached": np.bool_(True)}
    )
    assert [value.censored for value in one.listed] == ["below the floor", "not reached"]


def test_nothing_at_all() -> None:
    nobody: tuple[tuple[dict[str, Any], ...], ...] = ((), ({},))
    for rows in nobody:
        one = found(*rows)
        assert (one.counts, one.dies, one.reasons, one.listed) == ({}, 0, {}, ())


def test_the_order_of_the_rows_does_not_matter_and_the_list_has_an_end() -> None:
    rows = [{"die_x": x, "die_y": y, **OUTSIDE} for x in range(20) for y in range(15)]
    one = found(*rows)
    assert one == found(*rows[::-1])
    assert len(one.listed) == MOST_LISTED < 300 == one.dies == one.counts["outside"]


def test_several_sites_of_a_die_are_one_die() -> None:
    one = found({**OUTSIDE, "site": "a"}, {**OUTSIDE, "site": "b"})
    assert (one.dies, one.counts) == (1, {"outside": 2})
