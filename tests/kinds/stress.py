"""A small campaign before and after a stress, whose truth is known: transistors, no calibration.

Two wafers are stressed and one is measured twice without it. The stress takes 8 mV from the
threshold of every device, 12 mV more at the wafer's edge than in its middle, and from one device
40 mV; it kills two devices, makes one leak below the floor, and one die is not measured again. The
station reads 2 mV more the second time: that is the measurement's, and the control wafer shows it.
"""

import shutil
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.campaigns import STARTED
from tests.kinds.builders import Toml, changed, dc_only

PITCH_MM = 10.0
RADIUS_MM = 41.0
DIES = tuple(
    (x, y)
    for y in range(-4, 5)
    for x in range(-4, 5)
    if PITCH_MM * np.hypot(abs(x) + 0.5, abs(y) + 0.5) <= 47.0
)
"""Whole dies inside the edge exclusion."""
STRESSED, CONTROL = ("W1", "W2"), "W3"
AGAIN = "168h"
DRIFT_MV = 2.0
"""By what the station reads more the second time."""
NOISE_MV = 0.5
"""Standard deviation of one reading."""
WEAK, SHIFT_OF_WEAK_MV = ("W1", (2, 1)), -40.0
DEAD = (("W1", (0, 0)), ("W2", (-1, 3)))
"""Devices without a threshold afterwards: their tables have no row of it."""
QUIET = ("W2", (1, 1))
"""A device that leaks less than the floor afterwards."""
NOT_AGAIN = ("W1", (-3, 0))
"""A die that was not measured again."""
STRESS = f"""
[[stresses]]
id = "HTS"
name = "168 h at 125 °C"
pairs = [
    {{ before = "W1", after = "W1-{AGAIN}" }},
    {{ before = "W2", after = "W2-{AGAIN}" }},
]
controls = [{{ before = "W3", after = "W3-{AGAIN}" }}]
"""


def true_shift_mv(x: int, y: int) -> float:
    """What the stress does to the threshold of an ordinary device of a stressed wafer."""
    return -8.0 - 12.0 * float(PITCH_MM * np.hypot(x, y) / RADIUS_MM) ** 2


def stressed(folder: Path) -> Path:
    """Write the campaign below `folder` and return its own folder. It has no fault."""
    campaign = dc_only(folder)

    def declared(record: Toml) -> None:
        record["campaign"]["title"] = "Transistors before and after storage (simulated)"
        record["layout"]["die_pitch_x_mm"] = record["layout"]["die_pitch_y_mm"] = PITCH_MM
        record["decision"] = {"rule": "guarded"}
        threshold, leakage = record["parameters"]
        threshold["shift_max"] = 25.0
        threshold["uncertainty"] = [
            {"source": "reading", "absolute": NOISE_MV},
            {"source": "temperature of the wafer", "absolute": 0.3, "common": True},
        ]
        leakage["uncertainty"] = [{"source": "meter", "relative": 0.02}]
        record["plan"]["wafers"] = [{"id": name} for name in (*STRESSED, CONTROL)]

    changed(campaign / "campaign.toml", declared)
    path = campaign / "campaign.toml"
    path.write_text(path.read_text("utf-8") + STRESS, encoding="utf-8")
    rng = np.random.default_rng(20260401)
    for name in (*STRESSED, CONTROL):
        fresh = {die: _threshold_mv(*die) + 4.0 * rng.standard_normal() for die in DIES}
        leak = {die: 2e-9 * float(np.exp(0.3 * rng.standard_normal())) for die in DIES}
        _wafer(campaign, name, name, STARTED, _rows(name, fresh, leak, rng, again=False))
        later = STARTED + timedelta(days=9)
        rows = _rows(name, fresh, leak, rng, again=True)
        _wafer(campaign, f"{name}-{AGAIN}", name, later, rows)
    return campaign


def _threshold_mv(x: int, y: int) -> float:
    return 412.0 + 1.5 * x


def _rows(
    wafer: str,
    threshold_mv: dict[tuple[int, int], float],
    leakage_a: dict[tuple[int, int], float],
    rng: np.random.Generator,
    *,
    again: bool,
) -> list[dict[str, Any]]:
    """Readings of every die: parameter, value in mV or A."""
    rows = []
    for number, die in enumerate(DIES):
        if again and (wafer, die) == NOT_AGAIN:
            continue
        v, i = threshold_mv[die], leakage_a[die]
        if again:
            v += DRIFT_MV
            if wafer in STRESSED:
                v += SHIFT_OF_WEAK_MV if (wafer, die) == WEAK else true_shift_mv(*die)
                i *= 1.2
        v += NOISE_MV * rng.standard_normal()
        if again and (wafer, die) == QUIET:
            i = 2e-13
        readings = [("VTH", v * 1e-3), ("IOFF", i)]
        if again and (wafer, die) in DEAD:
            readings = [("IOFF", i)]
        for parameter, value in readings:
            rows.append({"die": die, "number": number, "parameter": parameter, "value": value})
    return rows


def _wafer(
    campaign: Path, record_id: str, wafer: str, started: datetime, rows: list[dict[str, Any]]
) -> None:
    """One record of a wafer, its tables in the layout's own frame."""
    home = campaign / "wafers" / record_id
    if not home.exists():
        shutil.copytree(campaign / "wafers/W1", home)

    def renamed(record: Toml) -> None:
        record["id"], record["identity_read"] = record_id, wafer
        record["started"] = started
        record["finished"] = started + timedelta(hours=2)
        record.pop("reference_dies", None)
        record["values"] = [{"file": "values.parquet", "units": {"VTH": "V", "IOFF": "A"}}]

    changed(home / "wafer.toml", renamed)
    table = [
        {
            "die_x": one["die"][0],
            "die_y": one["die"][1],
            "device": "FET",
            "parameter": one["parameter"],
            "condition": "sat",
            "touchdown": 1,
            "value": one["value"],
            "measured_at": started + timedelta(seconds=90 * one["number"]),
            "temperature_c": 25.0,
            "range": "100 nA",
            "path": "triaxial",
            "bias_vgs_v": 0.6,
            "bias_vds_v": 1.2,
        }
        for one in rows
    ]
    pq.write_table(pa.Table.from_pylist(table), home / "values.parquet")
