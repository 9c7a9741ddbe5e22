"""Bias and power at the device: Ohm's law, decibels, and nothing beyond what is known."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.delivered import delivered_bias, measured_bias, way_of, with_delivered
from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.touchdown_checks import judge_touchdowns
from sitegen.model.campaign import Part, Station
from sitegen.model.loaded import TOUCHDOWN_SCHEMA
from sitegen.model.station_state import StationState
from tests.faults.touchdown_records import campaign


def part(name: str, ohm: float | None = None, db: float | None = None) -> Part:
    return Part(id=name, description=name, resistance_ohm=ohm, loss_db=db)


def station(**parts: tuple[Part, ...]) -> Station:
    ordinary = {
        "bias_tees": (part("BT-1", 1.2, 0.4), part("BT-2", 1.2, 0.4)),
        "cables": (part("C-1", 0.3, 1.5), part("C-2", 0.3, 1.5)),
        "switch_paths": (part("S", None, 0.6),),
    }
    return campaign().stations[0].model_copy(update={**ordinary, **parts})


def state(**changes: Any) -> StationState:
    ordinary = {
        "source_power_dbm": -10.0,
        "attenuator_db": 10.0,
        "if_bandwidth_hz": 100.0,
        "probes": ("RF-1",),
        "cables": ("C-1", "C-2"),
        "bias_tees": ("BT-1", "BT-2"),
        "switch_path": "S",
    }
    return StationState.model_validate({**ordinary, **changes})


def test_the_drop_is_current_times_resistance_to_both_signs() -> None:
    way = [("bias tee", 1.2), ("cable", 0.3), ("contact", 0.5)]
    assert delivered_bias({"vds_v": 10.0}, {"id_a": 0.02}, way) == (
        "vds_v=9.96 (40.00\u202fmV dropped in bias tee and cable and contact)"
    )
    p_channel = delivered_bias({"vds_v": -10.0}, {"id_a": -0.02}, way)
    assert p_channel is not None and p_channel.startswith("vds_v=-9.96 (−40.00")


def test_terminals_are_kept_apart() -> None:
    found = delivered_bias(
        {"vds_v": 2.0, "vgs_v": 0.5}, {"ids_a": 0.1, "ig_a": 1e-3}, [("contact", 1.0)]
    )
    assert found is not None
    assert "vds_v=1.9 " in found and "vgs_v=0.499 " in found


def test_what_is_measured_comes_before_what_is_requested() -> None:
    found = delivered_bias({"vds_v": 2.0}, {"vds_v": 1.98, "id_a": 0.1}, [("contact", 1.0)])
    assert found is not None and found.startswith("vds_v=1.88 ")


@pytest.mark.parametrize(
    ("requested", "measured", "parts"),
    [
        ({"vds_v": 2.0}, {}, [("contact", 1.0)]),
        ({"vds_v": 2.0}, {"ig_a": 0.1}, [("contact", 1.0)]),
        ({"vds_v": 2.0}, {"id_a": 0.1}, []),
        ({"vds_v": 2.0}, {"id_a": 0.1, "ids_a": 0.1}, [("contact", 1.0)]),
        ({}, {}, []),
    ],
    ids=["no current", "another terminal's", "no resistance", "two currents", "nothing"],
)
def test_nothing_is_claimed_where_it_is_not_known(
    requested: dict[str, float], measured: dict[str, float], parts: list[tuple[str, float]]
) -> None:
    assert delivered_bias(requested, measured, parts) is None


def test_power_at_the_tip_and_resistances_of_a_state() -> None:
    way = way_of(state(), station())
    assert way.tip_power_dbm == pytest.approx(-10.0 - 10.0 - 0.4 - 1.5 - 0.6)
    assert way.resistances_ohm == (("bias tee", 1.2), ("cable", 0.3))
    bare = way_of(state(cables=(), bias_tees=(), switch_path=None), station())
    assert (bare.tip_power_dbm, bare.resistances_ohm) == (-20.0, ())


@pytest.mark.parametrize("setting", ["source_power_dbm", "attenuator_db"])
def test_without_source_power_or_attenuator_no_power_is_claimed(setting: str) -> None:
    way = way_of(state(**{setting: None}), station())
    assert np.isnan(way.tip_power_dbm)
    assert way.resistances_ohm == way_of(state(), station()).resistances_ohm


@pytest.mark.parametrize(
    "cables",
    [
        (part("C-1", 0.3, 1.5), part("C-2")),
        (part("C-1", 0.3, 1.5), part("C-2", 0.4, 1.7)),
        (part("C-1", 0.3, 1.5),),
    ],
    ids=["one states nothing", "they differ", "one is not in the record"],
)
def test_a_kind_of_part_that_is_not_known_is_left_out(cables: tuple[Part, ...]) -> None:
    way = way_of(state(), station(cables=cables))
    assert np.isnan(way.tip_power_dbm)
    assert way.resistances_ohm == (("bias tee", 1.2),)


def test_rows_get_what_is_known_of_them() -> None:
    conditions = tuple(
        one.model_copy(update={"bias": {"vds_v": 1.0}}) for one in campaign().conditions
    )
    asked = campaign().model_copy(update={"conditions": conditions})
    here = WaferSetting(asked, station(), None, None, {"S1": state()}, (), {}, {})
    row = {"die_x": 0, "die_y": 0, "site": "", "device": "D", "touchdown": 1, "condition": "RT"}
    values = pd.DataFrame(
        [
            {**row, "parameter": "GM", "state": "S1", "bias": "id_a=0.01", "contact": np.nan},
            {**row, "parameter": "GM", "state": None, "bias": None, "contact": 0.5},
            {**row, "parameter": "RON", "state": None, "bias": "id_a=0.01", "contact": 0.5},
            {**row, "parameter": "GM", "state": "S9", "bias": "id_a=0.01", "contact": np.nan},
        ]
    ).rename(columns={"contact": "contact_resistance_ohm"})
    judged = judge_touchdowns(TOUCHDOWN_SCHEMA.empty_table(), asked, "W1")
    found = with_delivered(values, judged, here)
    assert list(found["delivered_bias"].fillna("")) == [
        "vds_v=0.985 (15.00\u202fmV dropped in bias tee and cable)",
        "",
        "vds_v=0.995 (5.000\u202fmV dropped in contact)",
        "",
    ]
    np.testing.assert_allclose(found["tip_power_dbm"], [-22.5, -22.5, np.nan, np.nan])


def test_measured_bias_is_read_from_its_text() -> None:
    assert measured_bias("vgs_v=0.6012 id_a=-1.2e-05") == {"vgs_v": 0.6012, "id_a": -1.2e-05}
