"""The tiny campaign with what device results need: dummies, curves, touchdowns, an earlier map.

The curves follow the square law I_D = K (V_GS - V_T)^2 / 2 above V_T and a small leakage below.
"""

from datetime import timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from tests.campaigns import DIES, STARTED, in_prober_frame, tiny_campaign

GATE_V = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
DRAIN_V = (0.05, 1.2)
"""The stepped axis of the curves."""
LEAKAGE_A = 1e-10
K_A_PER_V2 = 2e-3

DEEMBEDDING = """
[devices.deembedding]
method = "open-short"
open = "OPEN"
short = "SHORT"
taken_from = "one die of the wafer"
die = [0, 0]
condition = "rf"
upper_hz = 8e9
"""

ACCURACY = """
[[stations.accuracies]]
instrument = "SMU1"
quantity = "current"
range = "100 nA"
relative_u = 1e-3
offset_u = 1e-13
basis = "certificate (simulated)"
"""

CHECK = """
[[touchdowns.checks]]
quantity = "contact resistance"
upper = 2.0
devices = ["FET"]
"""

DECLARED = """
[[devices]]
id = "OPEN"
name = "pads alone"
kind = "dummy"

[[devices]]
id = "SHORT"
name = "pads with the leads shorted"
kind = "dummy"

[[devices]]
id = "CHAIN"
name = "chain of contacts"
kind = "resistor"
ports = 1
links = 100

[[curves]]
id = "TRANSFER"
device = "FET"
description = "drain current over gate voltage"
swept = "vg_v"
stepped = "vd_v"
measured = "id_a"
also_measured = ["ig_a"]

[[curves]]
id = "FORCED"
device = "CHAIN"
description = "voltage over forced current"
swept = "i_a"
measured = "v_v"

[[parameters]]
id = "VTC"
symbol = "V_tc"
name = "threshold voltage at a current"
unit = "mV"
kind = "dc"
device = "FET"
conditions = ["sat"]
from_curve = { figure = "threshold by constant current", curve = "TRANSFER", stepped_at = 1.2,\
 current_a = 1e-6 }

[[parameters]]
id = "RC"
symbol = "R_c"
name = "resistance of a contact"
unit = "ohm"
kind = "dc"
device = "CHAIN"
conditions = ["rf"]
from_curve = { figure = "resistance of one contact", curve = "FORCED",\
 swept_window = [-1e-3, 1e-3] }

[[parameters]]
id = "GM"
symbol = "g_m"
name = "transconductance"
unit = "mS"
kind = "rf"
device = "FET"
conditions = ["sat"]
from_sweep = { figure = "transconductance", frequency_hz = 2e9, access_condition = "rf" }

[[controls]]
id = "CENTRE"
wafer = "W1"
die = [0, 0]
parameter = "VTH"
condition = "sat"
bound = 5.0

[handover]
parameter = "FT"
condition = "sat"
devices = ["FET"]
"""

AGREEMENT = """
[[agreements]]
id = "THRESHOLDS"
physics = "other"
first = { parameter = "VTH", condition = "sat" }
second = { parameter = "VTC", condition = "sat" }
allowance = 50.0
"""

TABLES = """
[[curves]]
file = "curves.parquet"

[[touchdowns]]
file = "touchdowns.parquet"
frame = "prober"

[[earlier_maps]]
file = "earlier.parquet"
origin = "process control, two days before (simulated)"
units = { VTC = "V" }
"""


def device_campaign(folder: Path) -> Path:
    """Write the campaign below `folder` and return its own folder. It has no fault."""
    campaign = tiny_campaign(folder)
    text = (campaign / "campaign.toml").read_text(encoding="utf-8")
    transistor = 'kind = "transistor"\n'
    for mark, more in (
        (transistor, f"{transistor}{DEEMBEDDING}"),
        ('counts = "last"\n', f'counts = "last"\n{CHECK}'),
        ("[[conditions]]", f"{ACCURACY}\n[[conditions]]"),
    ):
        text = text.replace(mark, more, 1)
    (campaign / "campaign.toml").write_text(text + DECLARED + AGREEMENT, encoding="utf-8")
    wafer = campaign / "wafers/W1"
    text = (wafer / "wafer.toml").read_text(encoding="utf-8")
    (wafer / "wafer.toml").write_text(text + TABLES, encoding="utf-8")
    pq.write_table(curves_table(), wafer / "curves.parquet")
    pq.write_table(touchdowns_table(), wafer / "touchdowns.parquet")
    pq.write_table(earlier_table(), wafer / "earlier.parquet")
    return campaign


def threshold_v(x: int, y: int) -> float:
    """What the transistor of a die truly has."""
    return 0.41 + 0.005 * x + 0.002 * y


def drain_a(gate_v: float, threshold: float) -> float:
    """The drain current at a gate voltage."""
    return LEAKAGE_A + K_A_PER_V2 / 2 * max(gate_v - threshold, 0.0) ** 2


def curves_table() -> pa.Table:
    """Each die: six points of the transistor at each of two drain voltages, then three points of
    the chain of contacts, all in the layout."""
    rows: list[dict[str, object]] = []
    for number, (x, y) in enumerate(DIES):
        start = {"die_x": x, "die_y": y, "touchdown": 1, "range": "100 nA", "path": "triaxial"}
        start |= {"i_a": None, "v_v": None}
        at = STARTED + timedelta(minutes=10 * number)
        for drain_v in DRAIN_V:
            for gate_v in GATE_V:
                current_a = drain_a(gate_v, threshold_v(x, y))
                point = {"vg_v": gate_v, "vd_v": drain_v, "id_a": current_a, "ig_a": 1e-12}
                at += timedelta(seconds=1)
                rows.append(
                    {
                        **start,
                        **point,
                        "id_a_again": current_a,
                        "device": "FET",
                        "curve": "TRANSFER",
                        "condition": "sat",
                        "measured_at": at,
                        "in_compliance": 0,
                    }
                )
        for current_a in (-1e-3, 0.0, 1e-3):
            at += timedelta(seconds=1)
            rows.append(
                {
                    **start,
                    "i_a": current_a,
                    "v_v": 50.0 * current_a,
                    "device": "CHAIN",
                    "curve": "FORCED",
                    "condition": "rf",
                    "measured_at": at,
                }
            )
    return pa.Table.from_pylist(rows)


def touchdowns_table() -> pa.Table:
    """One touchdown of the transistor and one of the whole die on each die."""
    rows = []
    for number, (x, y) in enumerate(DIES):
        die_x, die_y = in_prober_frame(x, y)
        for device in ("FET", None):
            rows.append(
                {
                    "die_x": die_x,
                    "die_y": die_y,
                    "device": device,
                    "touchdown": 1,
                    "measured_at": STARTED + timedelta(minutes=10 * number),
                    "contact_resistance_ohm": 0.5 + 0.01 * x if device else None,
                    "overtravel_um": 50.0,
                    "probe_contacts": 1000 + number,
                }
            )
    return pa.Table.from_pylist(rows)


def earlier_table() -> pa.Table:
    """The thresholds two days before, in the layout."""
    rows = [
        {
            "die_x": x,
            "die_y": y,
            "device": "FET",
            "parameter": "VTC",
            "condition": "sat",
            "value": threshold_v(x, y),
            "measured_at": STARTED - timedelta(days=2),
        }
        for x, y in DIES
    ]
    return pa.Table.from_pylist(rows)
