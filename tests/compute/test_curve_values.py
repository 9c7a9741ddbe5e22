"""A wafer's curves: values with floors, evidence, uncertainty and flags, and what has none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from sitegen.compute.curve_values import CurveValues, values_from_curves
from sitegen.compute.floors import BELOW_MINUS_FLOOR, floor_findings
from sitegen.compute.sweeps import WaferSetting
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Accuracy, CampaignRecord, Floor
from sitegen.model.device_results import CURVE_TRACE_SCHEMA
from sitegen.model.loaded import CURVE_KEY_SCHEMA, CurveGroup
from sitegen.model.wafer import Thermal
from tests.compute.dc import laws
from tests.compute.events import instrument, station

AT = datetime(2026, 4, 20, 9, 0, tzinfo=UTC)
V_GS = np.arange(61) * 0.02
RANGES = ("1 nA", "1 mA")
FLOOR = {
    "instrument": "SMU",
    "path": "triaxial",
    "measured_on": date(2026, 4, 1),
    "basis": "open readings",
}


def parameter(name: str, figure: str, unit: str, **changes: Any) -> dict[str, Any]:
    places = changes.pop("places", {})
    return {
        "id": name,
        "symbol": name,
        "name": name,
        "unit": unit,
        "kind": "dc",
        "device": "FET",
        "conditions": ("RT",),
        "from_curve": {"figure": figure, "curve": "IDVG", **places},
        **changes,
    }


VTH = parameter(
    "VTH",
    "threshold by constant current",
    "mV",
    places={"current_a": 1e-7, "stepped_at": 0.05},
    temperature_coefficient_per_c=-0.8,
)


def setting(*parameters: dict[str, Any], polarity: str = "n", **changes: Any) -> WaferSetting:
    here = station(instrument("SMU")).model_copy(
        update={
            "floors": tuple(
                Floor(range=name, floor_a=limit, **FLOOR)  # type: ignore[arg-type]
                for name, limit in zip(RANGES, (1e-12, 1e-9), strict=True)
            ),
            "accuracies": tuple(
                Accuracy(
                    instrument="SMU",
                    quantity="current",
                    range=name,
                    relative_u=1e-2,
                    offset_u=0.0,
                    basis="certificate",
                )
                for name in RANGES
            ),
        }
    )
    curve = {
        "id": "IDVG",
        "device": "FET",
        "description": "transfer curves",
        "swept": "vgs_v",
        "stepped": "vds_v",
        "measured": "id_a",
        "polarity": polarity,
    }
    campaign = CampaignRecord.model_validate(
        {
            "campaign": {
                **dict.fromkeys(
                    ("title", "requested_by", "responsible", "authorised_by", "laboratory"), "a"
                ),
                "id": "T",
                "simulated": True,
                "place": "a",
                "edition": 1,
                "edition_reason": "first",
                "issued": AT.date(),
            },
            "stations": (here.model_dump(),),
            "conditions": ({"id": "RT", "description": "room", "temperature_c": 25.0},),
            "devices": (
                {"id": "FET", "name": "t", "kind": "transistor", **changes.get("device", {})},
            ),
            "curves": ({**curve, **changes.get("curve", {})},),
            "parameters": parameters,
            "decision": {"rule": "simple"},
            "touchdowns": {"counts": "last"},
        }
    )
    thermal = Thermal(
        set_point_c=25.0,
        chuck_reading_c=25.0,
        surface_correction_c=0.0,
        surface_correction_u_c=0.5,
        soak_s=0.0,
    )
    return WaferSetting(
        campaign, here, None, here.instruments[0], {}, (), {}, {}, thermal=(thermal,)
    )


@dataclass(frozen=True)
class One:
    """A curve of the group: on which die, at which drain voltage, what was read."""

    die_x: int
    stepped: float | None
    current: FloatArray


def group(curves: Sequence[One], swept: FloatArray = V_GS) -> CurveGroup:
    columns: dict[str, list[Any]] = {name: [] for name in CURVE_KEY_SCHEMA.names}
    for one in curves:
        row = {
            "die_x": one.die_x,
            "die_y": 0,
            "site": "",
            "device": "FET",
            "condition": "RT",
            "touchdown": 1,
            "stepped": one.stepped,
            "measured_at": AT,
            "path": "triaxial",
            "file": "curves.parquet",
        }
        for name in columns:
            columns[name].append(row.get(name))
    measured = np.array([one.current for one in curves])
    return CurveGroup(
        curve="IDVG",
        keys=pa.table(columns, schema=CURVE_KEY_SCHEMA),
        swept=np.broadcast_to(swept, measured.shape).copy(),
        measured=measured,
        again=None,
        others={},
        range=np.where(np.abs(measured) < 1e-9, *RANGES).astype(object),
        in_compliance=np.zeros(measured.shape, dtype=bool),
    )


def exponential(v_t: float = 0.45) -> FloatArray:
    return laws.exponential(V_GS - v_t, 1e-7, 0.09)


def rows_of(found: CurveValues) -> pd.DataFrame:
    return found.rows.sort_values(["parameter", "die_x"], ignore_index=True)


def test_a_threshold_comes_in_its_own_unit_with_evidence_and_uncertainty() -> None:
    curves = group([One(0, 0.05, exponential(0.40)), One(1, 0.05, exponential(0.41))])
    rows = rows_of(values_from_curves((curves,), setting(VTH), "W"))
    assert rows["value"].tolist() == pytest.approx([400.0, 410.0])
    assert (rows["no_value"] == "").all()
    assert (rows["ev_reasons"] == 0).all()
    # A reading off by 1 % moves the threshold by 1 % of a decade: 90 mV log10(1.01).
    assert rows["u_instrument"].tolist() == pytest.approx([90 * np.log10(1.01)] * 2, rel=0.02)
    assert rows["u_temperature"].tolist() == pytest.approx([0.4, 0.4])
    assert rows["u_extraction"].max() < 1e-6
    assert set(rows["bias"]) == {"vds_v=0.05"}
    assert set(rows["range"]) == {"1 mA"}
    assert not rows["not_reached"].any()


def test_a_die_without_the_curve_has_a_row_that_says_so() -> None:
    curves = group([One(0, 0.05, exponential()), One(1, 1.2, exponential())])
    rows = rows_of(values_from_curves((curves,), setting(VTH), "W"))
    assert rows["no_value"].tolist() == ["", "no curve at vds_v = 0.05"]
    assert np.isnan(rows["value"][1])


def test_a_stepped_curve_and_a_parameter_without_a_stepped_value() -> None:
    open_ = parameter("V", "threshold by constant current", "V", places={"current_a": 1e-7})
    rows = rows_of(values_from_curves((group([One(0, 0.05, exponential())]),), setting(open_), "W"))
    assert "states no 'stepped_at'" in rows["no_value"][0]


def test_half_the_drain_voltage_comes_from_the_stepped_axis() -> None:
    linear = parameter("VL", "threshold by extrapolation", "V", places={"stepped_at": 0.05})
    curves = group([One(0, 0.05, laws.triode(V_GS, 0.413, 0.05))])
    rows = rows_of(values_from_curves((curves,), setting(linear), "W"))
    assert rows["value"][0] == pytest.approx(0.413, abs=1e-12)
    assert "below the floor left out" not in rows["remarks"][0]


def test_a_p_device_is_the_negative_of_its_n_twin() -> None:
    twin = parameter(
        "VTH", "threshold by constant current", "V", places={"current_a": 1e-7, "stepped_at": -0.05}
    )
    off = parameter("IOFF", "current", "A", places={"swept_at": -0.44, "stepped_at": -0.05})
    curves = group([One(0, -0.05, -exponential(0.40))], -V_GS)
    rows = rows_of(values_from_curves((curves,), setting(twin, off, polarity="p"), "W"))
    assert rows["value"].tolist() == pytest.approx([-exponential(0.40)[22], -0.40])
    assert (rows["no_value"] == "").all()


def test_a_drain_induced_shift_needs_both_curves() -> None:
    shift = parameter(
        "DIBL",
        "drain-induced shift",
        "mV/V",
        places={"current_a": 1e-7, "stepped_pair": (0.05, 1.25)},
    )
    curves = group(
        [One(0, 0.05, exponential(0.40)), One(0, 1.25, exponential(0.34)), One(1, 0.05, V_GS)]
    )
    rows = rows_of(values_from_curves((curves,), setting(shift), "W"))
    assert rows["value"][0] == pytest.approx(50.0)
    assert rows["no_value"][1] == "no curve at vds_v = 1.25"
    # Both readings err by the same share: the shift does not.
    assert rows["u_instrument"][0] < 1e-9
    assert rows["bias"][0] == ""  # a pair of steps is no bias


IOFF = parameter("IOFF", "current", "pA", places={"swept_at": 0.0, "stepped_at": 0.05}, upper=50.0)


def test_a_current_below_its_floor_keeps_its_reading() -> None:
    low, high, faulty = exponential(), exponential(), exponential()
    low[0], high[0], faulty[0] = -0.4e-12, 20e-12, -5e-12
    curves = group([One(x, 0.05, one) for x, one in enumerate((low, high, faulty))])
    found = values_from_curves((curves,), setting(IOFF), "W")
    rows = rows_of(found)
    assert rows["below_floor"].tolist() == [True, False, False]
    assert rows["floor"].tolist() == pytest.approx([1.0, 1.0, 1.0])
    assert rows["raw_reading"][0] == pytest.approx(-0.4)
    assert rows["raw_reading"][2] == pytest.approx(-5.0)
    assert rows["value"][1] == pytest.approx(20.0)
    assert np.isnan(rows["value"][2])
    assert rows["no_value"][2].startswith("a fault of the measurement")
    assert rows["flags"].tolist() == ["", "", BELOW_MINUS_FLOOR]
    (finding,) = floor_findings(found.rows, "W")
    assert "1 reading of IOFF lies beyond the floor" in finding.text


def test_a_current_that_may_flow_either_way_is_no_fault() -> None:
    either = {**IOFF, "lower": -50.0}
    reverse = exponential()
    reverse[0] = -5e-12
    found = values_from_curves((group([One(0, 0.05, reverse)]),), setting(either), "W")
    assert found.rows["value"].tolist() == pytest.approx([-5.0])


def test_a_current_without_a_stored_floor_has_no_standing() -> None:
    here = setting(IOFF)
    bare = replace(here, station=here.station.model_copy(update={"floors": ()}))
    found = values_from_curves((group([One(0, 0.05, exponential())]),), bare, "W")
    assert "floor missing" in found.rows["ev_detail"][0]
    assert "range 1 nA, path triaxial" in found.rows["ev_detail"][0]
    with_slope = setting(
        parameter(
            "SS",
            "subthreshold slope",
            "mV/dec",
            places={"current_window_a": (1e-10, 1e-8), "stepped_at": 0.05},
        )
    )
    bare = replace(with_slope, station=bare.station)
    row = values_from_curves((group([One(0, 0.05, exponential())]),), bare, "W").rows.iloc[0]
    assert row["ev_reasons"] == 0
    assert "no floor is stored for its readings" in row["remarks"]


def test_a_current_per_width_has_its_floor_per_width() -> None:
    wide = parameter(
        "ION", "current", "mA/mm", places={"swept_at": 1.2, "stepped_at": 0.05}, lower=0.0
    )
    curves = group([One(0, 0.05, laws.triode(V_GS, 0.4, 0.05))])
    known = setting(wide, device={"width_um": 100.0})
    row = values_from_curves((curves,), known, "W").rows.iloc[0]
    assert row["value"] == pytest.approx(2e-3 * 0.05 * (0.8 - 0.025) * 1e3 / 0.1)
    assert row["floor"] == pytest.approx(1e-9 * 1e3 / 0.1)
    unknown = values_from_curves((curves,), setting(wide), "W").rows.iloc[0]
    assert unknown["no_value"] == "FET states no width_um"


def test_a_subthreshold_slope_leaves_points_below_the_floor_out_and_says_so() -> None:
    slope = parameter(
        "SS",
        "subthreshold slope",
        "mV/dec",
        places={"current_window_a": (1e-13, 1e-8), "stepped_at": 0.05},
    )
    flat = np.maximum(exponential(), 5e-13)
    rows = values_from_curves((group([One(0, 0.05, flat)]),), setting(slope), "W").rows
    # Of the range to 1 mA nothing below 1 nA counts, of the range to 1 nA nothing below 1 pA.
    assert rows["value"][0] == pytest.approx(90.0, rel=1e-9)
    assert "below the floor left out" in rows["remarks"][0]


def test_breakdown_not_reached_is_censored_and_compliance_is_no_flag_of_it() -> None:
    bv = {
        "swept": "vd_v",
        "stepped": None,
        "compliance": 1e-6,
    }
    wanted = parameter("BV", "breakdown voltage", "V", places={"current_a": 1e-5})
    volts = np.arange(61) * 0.5
    curves = group([One(0, None, laws.exponential(volts, 1e-12, 4.0))], volts)
    stopped = volts[None] > 24.0
    row = values_from_curves(
        (replace(curves, in_compliance=stopped),), setting(wanted, curve=bv), "W"
    ).rows.iloc[0]
    assert (row["value"], row["not_reached"], row["flags"]) == (24.0, True, "")


def test_compliance_inside_the_window_is_a_flag_of_the_value() -> None:
    near, away = (
        parameter(name, "transconductance", "mS", places={"swept_at": at, "stepped_at": 0.05})
        for name, at in (("NEAR", 0.98), ("AWAY", 0.80))
    )
    curves = group([One(0, 0.05, laws.triode(V_GS, 0.413, 0.05))])
    stopped = np.zeros(curves.measured.shape, dtype=bool)
    stopped[0, 50:] = True
    row = values_from_curves((replace(curves, in_compliance=stopped),), setting(near, away), "W")
    assert row.rows["flags"].tolist() == ["compliance reached", ""]
    assert row.rows["value"].tolist() == pytest.approx([0.1, 0.1])
    assert row.traces[0].keys["flags"].to_pylist() == ["compliance reached"]


def test_flags_reach_values_traces_and_findings() -> None:
    random = np.random.default_rng(8)
    current = exponential()[None] * (1 + 1e-3 * random.normal(size=(20, len(V_GS))))
    curves = group([One(x, 0.05, one) for x, one in enumerate(current)])
    again = curves.measured.copy()
    again[3] *= 0.98
    again *= 1 + 1e-3 * random.normal(size=again.shape)
    found = values_from_curves((replace(curves, again=again),), setting(VTH), "W")
    assert rows_of(found)["flags"].tolist() == [
        "incomplete settling" if x == 3 else "" for x in range(20)
    ]
    (trace,) = found.traces
    assert trace.keys.schema.equals(CURVE_TRACE_SCHEMA)
    assert trace.keys["flags"].to_pylist()[3] == "incomplete settling"
    assert (trace.curve, trace.condition) == ("IDVG", "RT")
    assert trace.floor_a.shape == trace.measured.shape
    (finding,) = found.findings
    assert "1 curve of 20 of IDVG shows incomplete settling" in finding.text


def test_no_curves_give_no_rows_but_all_columns() -> None:
    found = values_from_curves((), setting(VTH), "W")
    assert found.rows.empty
    assert {"value", "u_extraction", "not_reached", "ev_reasons"} <= set(found.rows.columns)
    assert (found.traces, found.findings) == ((), ())


def test_an_ideality_factor_has_the_temperature_of_its_definition() -> None:
    """n is in proportion to 1/T: 0.5 K of 298.15 K."""
    wanted = parameter("N", "ideality factor", "1", places={"current_window_a": (1e-8, 1e-4)})
    v = np.arange(0.2, 0.7, 0.01)
    diode = 1e-14 * np.exp(v / (1.05 * laws.BOLTZMANN_OVER_CHARGE * 298.15))
    row = values_from_curves(
        (group([One(0, None, diode)], v),),
        setting(wanted, curve={"stepped": None, "swept": "va_v"}, device={"kind": "diode"}),
        "W",
    ).rows.iloc[0]
    assert row["value"] == pytest.approx(1.05, rel=1e-9)
    assert row["u_temperature"] == pytest.approx(1.05 * 0.5 / 298.15, rel=1e-6)
