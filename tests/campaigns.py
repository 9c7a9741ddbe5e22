"""A tiny whole campaign, written by hand: one wafer of nine dies, everything in place.

Its raw sweeps come from the two formulas below, which share no code with the program: two error
boxes around standards and devices whose S-parameters are known in closed form. So the calibration
solves, the verification passes, and every inductor is 1 nH plus what `inductance_h` says.
"""

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

Complex = npt.NDArray[np.complex128]
Float = npt.NDArray[np.float64]

FREQUENCY_HZ: Float = np.arange(1e9, 11.5e9, 1e9)
OMEGA: Float = np.asarray(2 * np.pi * FREQUENCY_HZ, dtype=np.float64)
DIES = tuple((x, y) for y in (-1, 0, 1) for x in (-1, 0, 1))
"""In the layout. The values' table has them in the prober's frame, see `in_prober_frame`."""
STARTED = datetime(2026, 3, 2, 8, 30, tzinfo=UTC)

CAMPAIGN = """
[campaign]
id = "TINY"
title = "Inductors and transistors on one wafer (simulated)"
simulated = true
requested_by = "design engineer (invented)"
responsible = "measuring engineer (invented)"
authorised_by = "head of the laboratory (invented)"
laboratory = "a laboratory that does not exist"
place = "room 1 (invented)"
edition = 1
edition_reason = "first edition"
issued = 2026-03-03

[decision]
rule = "simple"

[touchdowns]
counts = "last"

[layout]
diameter_mm = 100.0
orientation_mark = "flat"
orientation_mark_angle_deg = 270.0
die_pitch_x_mm = 20.0
die_pitch_y_mm = 20.0
x_increases = "right"
y_increases = "up"
origin_die = [0, 0]
origin_die_center_x_mm = 0.0
origin_die_center_y_mm = 0.0
edge_exclusion_mm = 3.0

[[stations]]
id = "ST1"
name = "probe station 1 (simulated)"
place = "room 1 (invented)"
cables = [{ id = "C1", description = "cable of port 1" }]

[[stations.instruments]]
id = "VNA1"
kind = "vna"
model = "invented network analyser"
serial_number = "N-1"
certificate = "SIM-1"
due = 2027-01-31
clock_offset_s = 0.5
clock_offset_u_s = 0.1

[[stations.instruments]]
id = "SMU1"
kind = "smu"
model = "invented source-measure unit"
serial_number = "S-1"
certificate = "SIM-2"
due = 2027-01-31
clock_offset_s = 0.0
clock_offset_u_s = 0.1

[[stations.probes]]
id = "P1"
kind = "rf"
port = 1
pitch_um = 100.0
serial_number = "1001"

[[stations.probes]]
id = "P2"
kind = "rf"
port = 2
pitch_um = 100.0
serial_number = "1002"

[[stations.floors]]
instrument = "SMU1"
range = "100 nA"
path = "triaxial"
floor_a = 1e-12
measured_on = 2026-03-01
basis = "three times the spread of 20 readings with the probes lifted"

[[conditions]]
id = "rf"
description = "no bias, 25 °C"
temperature_c = 25.0

[[conditions]]
id = "sat"
description = "saturation, 25 °C"
temperature_c = 25.0
temperature_tolerance_c = 1.0
bias = { vgs_v = 0.6, vds_v = 1.2 }

[[devices]]
id = "IND"
name = "inductor"
kind = "inductor"

[[devices]]
id = "FET"
name = "transistor"
kind = "transistor"

[[parameters]]
id = "VTH"
symbol = "V_th"
name = "threshold voltage"
unit = "mV"
kind = "dc"
device = "FET"
conditions = ["sat"]
lower = 380.0
upper = 440.0
uncertainty = [{ source = "meter", absolute = 1.0 }]

[[parameters]]
id = "IOFF"
symbol = "I_off"
name = "leakage current"
unit = "A"
kind = "dc"
device = "FET"
conditions = ["sat"]
upper = 1e-8

[[parameters]]
id = "FT"
symbol = "f_T"
name = "transit frequency"
unit = "GHz"
kind = "rf"
device = "FET"
conditions = ["sat"]
lower = 90.0

[[parameters]]
id = "L"
symbol = "L"
name = "inductance"
unit = "nH"
kind = "rf"
device = "IND"
conditions = ["rf"]
lower = 0.9
upper = 1.1
from_sweep = { figure = "inductance", frequency_hz = 5e9 }

[[plan.wafers]]
id = "W1"
"""

STATE = """
source_power_dbm = -20.0
attenuator_db = 10.0
if_bandwidth_hz = 100.0
probes = ["P1", "P2"]
cables = ["C1"]
"""

CALIBRATION = f"""
id = "CAL1"
station = "ST1"
instrument = "VNA1"
at = 2026-03-02T08:00:00Z
by = "measuring engineer (invented)"
method = "SOLT"
reference_impedance_ohm = 50.0
reference_plane = "probe tips"
wave_definition = "power"
frequency_start_hz = 1e9
frequency_stop_hz = 11e9
frequency_points = 11
averaging = 1
ambient_c = 23.0
substrate_c = 23.5
overtravel_um = 50.0
probe_spacing_um = 150.0
validity = {{ hours = 8.0, ambient_change_c = 1.0, substrate_change_c = 1.0 }}
bounds = {{ repeatability = 0.001 }}

[state]{STATE}
[substrate]
serial_number = "CS-1"
standard_set = "row 1"
contacts = 3
contacts_max = 100
definitions_source = "closed form"
definitions_version = "1"

[definitions]
short = {{ kind = "short", inductance_ph = [5.0] }}
open = {{ kind = "open", capacitance_ff = [4.0] }}
load = {{ kind = "load", resistance_ohm = 50.0 }}
thru = {{ kind = "thru", delay_ps = 1.0 }}

[[sweeps]]
file = "short.s2p"
port_1 = "short"
port_2 = "short"

[[sweeps]]
file = "open.s2p"
port_1 = "open"
port_2 = "open"

[[sweeps]]
file = "load.s2p"
repeats = ["load-again.s2p"]
port_1 = "load"
port_2 = "load"

[[sweeps]]
file = "thru.s2p"
between = "thru"
"""

VERIFICATION = f"""
id = "VER1"
station = "ST1"
instrument = "VNA1"
calibration = "CAL1"
at = 2026-03-02T10:05:00Z
by = "measuring engineer (invented)"
ambient_c = 23.1

[state]{STATE}
[[structures]]
id = "line"
description = "line of 7 ps"
file = "line.s2p"
sweep = "raw"
reference = {{ kind = "measured", file = "line-reference.s2p", standard_uncertainty = 0.001,\
 measured_on = "acceptance (simulated)" }}

[[structures.masks]]
parameter = "s21"
quantity = "complex deviation"
points = [[1e9, 0.01], [11e9, 0.02]]
"""

ACCEPTANCE = """
id = "ACC1"
title = "Acceptance of the station (simulated)"
station = "ST1"
at = 2026-03-02T12:00:00Z
factory = "VER1"
factory_place = "hall of the supplier (invented)"
site = "VER2"
site_place = "room 1 (invented)"
supplier = "a supplier that does not exist"
customer = "a laboratory that does not exist"

[[performance]]
name = "transmission of the line"
structure = "line"
parameter = "s21"
quantity = "complex deviation"
frequency_start_hz = 1e9
frequency_stop_hz = 11e9
limit = 0.02

[[differences]]
structure = "line"

[differences.mask]
parameter = "s21"
quantity = "complex deviation"
points = [[1e9, 0.01], [11e9, 0.02]]
"""

WAFER = f"""
id = "W1"
identity_read = "W1"
lot = "TINY"
station = "ST1"
by = "measuring engineer (invented)"
started = 2026-03-02T08:30:00Z
finished = 2026-03-02T10:00:00Z
ambient_c = 23.0
substrate_c = 23.5
rf_instrument = "VNA1"
dc_instrument = "SMU1"

[[thermal]]
set_point_c = 25.0
chuck_reading_c = 25.1
surface_correction_c = -0.1
surface_correction_u_c = 0.1
soak_s = 300.0

[[states]]
id = "rf-path"
{STATE}
[[reference_dies]]
die = [-1, -1]
frames = {{ prober = [11, 4] }}

[[reference_dies]]
die = [1, -1]
frames = {{ prober = [11, 6] }}

[[reference_dies]]
die = [1, 0]
frames = {{ prober = [10, 6] }}

[[values]]
file = "values.parquet"
frame = "prober"
units = {{ VTH = "V", IOFF = "A", FT = "GHz" }}

[[sweeps]]
file = "sweeps.parquet"
sweep = "raw"
"""

NOTE = """# Purpose

A campaign for trying the program. **Everything in it is simulated.**
"""


def tiny_campaign(folder: Path) -> Path:
    """Write the campaign below `folder` and return its own folder. It has no fault."""
    campaign = folder / "tiny"
    for part in ("calibrations/CAL1", "verifications/VER1", "wafers/W1", "notes"):
        (campaign / part).mkdir(parents=True)
    _write(campaign / "campaign.toml", CAMPAIGN)
    _write(campaign / "calibrations/CAL1/record.toml", CALIBRATION)
    _write(campaign / "verifications/VER1/record.toml", VERIFICATION)
    _write(campaign / "wafers/W1/wafer.toml", WAFER)
    _write(campaign / "notes/purpose.md", NOTE)
    for name, s in _standards().items():
        write_touchstone(campaign / "calibrations/CAL1" / name, s)
    write_touchstone(campaign / "verifications/VER1/line.s2p", raw(line(7.0)))
    write_touchstone(campaign / "verifications/VER1/line-reference.s2p", line(7.0))
    pq.write_table(values_table(), campaign / "wafers/W1/values.parquet")
    pq.write_table(sweeps_table(), campaign / "wafers/W1/sweeps.parquet")
    return campaign


def acceptance_of_tiny(campaign: Path) -> None:
    """Add a second verification, equal to the first, and an acceptance that rests on both."""
    shutil.copytree(campaign / "verifications/VER1", campaign / "verifications/VER2")
    again = VERIFICATION.replace('"VER1"', '"VER2"').replace("T10:05", "T10:35")
    _write(campaign / "verifications/VER2/record.toml", again)
    (campaign / "acceptances/ACC1").mkdir(parents=True)
    _write(campaign / "acceptances/ACC1/record.toml", ACCEPTANCE)


def in_prober_frame(x: int, y: int) -> tuple[int, int]:
    """The prober's numbers of a die: a quarter turn and a shift away from the layout's."""
    return 10 - y, 5 + x


def values_table() -> pa.Table:
    """Three parameters on each die."""
    rows = []
    for number, (x, y) in enumerate(DIES):
        die_x, die_y = in_prober_frame(x, y)
        for parameter, value in (
            ("VTH", 0.41 + 0.005 * x),
            ("IOFF", 2e-9 * (1 + 0.1 * y)),
            ("FT", 100.0 + x + y),
        ):
            is_rf = parameter == "FT"
            rows.append(
                {
                    "die_x": die_x,
                    "die_y": die_y,
                    "device": "FET",
                    "parameter": parameter,
                    "condition": "sat",
                    "touchdown": 1,
                    "value": value,
                    "measured_at": STARTED + timedelta(minutes=10 * number),
                    "calibration": "CAL1" if is_rf else None,
                    "temperature_c": 25.0 + 0.01 * number,
                    "range": None if is_rf else "100 nA",
                    "path": None if is_rf else "triaxial",
                    "bias_vgs_v": 0.6012,
                    "bias_vds_v": 1.2,
                }
            )
    return pa.Table.from_pylist(rows)


def sweeps_table() -> pa.Table:
    """One raw sweep of the inductor on each die, from wafer positions in the layout."""
    parts = []
    for number, (x, y) in enumerate(DIES):
        s = raw(series(np.asarray(2.0 + 1j * OMEGA * inductance_h(x, y))))
        points = len(FREQUENCY_HZ)
        columns: dict[str, object] = {
            "die_x": np.full(points, x),
            "die_y": np.full(points, y),
            "device": ["IND"] * points,
            "condition": ["rf"] * points,
            "frequency_hz": FREQUENCY_HZ,
            "measured_at": [STARTED + timedelta(minutes=10 * number + 5)] * points,
        }
        for i, j in ((0, 0), (1, 0), (0, 1), (1, 1)):
            columns[f"s{i + 1}{j + 1}_re"] = s[:, i, j].real
            columns[f"s{i + 1}{j + 1}_im"] = s[:, i, j].imag
        parts.append(pa.table(columns))
    return pa.concat_tables(parts)


def inductance_h(x: int, y: int) -> float:
    """What the inductor of a die truly has."""
    return 1e-9 * (1 + 0.01 * x + 0.025 * y)


def raw(s: Complex) -> Complex:
    """What the analyser shows of a two-port: the cascade of both error boxes around it."""
    return _cascade(_cascade(_box(0.05, 0.93, 30.0), s), _box(0.07, 0.9, 35.0))


def line(delay_ps: float) -> Complex:
    """A matched line without loss."""
    s = np.zeros((len(OMEGA), 2, 2), dtype=np.complex128)
    s[:, 0, 1] = s[:, 1, 0] = np.exp(-1j * OMEGA * delay_ps * 1e-12)
    return s


def series(impedance_ohm: npt.NDArray[np.complexfloating[Any, Any]]) -> Complex:
    """An impedance in series between the ports: S11 = Z/(Z + 2 Z0), S21 = 2 Z0/(Z + 2 Z0)."""
    s = np.empty((len(OMEGA), 2, 2), dtype=np.complex128)
    s[:, 0, 0] = s[:, 1, 1] = impedance_ohm / (impedance_ohm + 100.0)
    s[:, 0, 1] = s[:, 1, 0] = 100.0 / (impedance_ohm + 100.0)
    return s


def write_touchstone(path: Path, s: Complex) -> None:
    """A version 1 file in real and imaginary parts, S11 S21 S12 S22."""
    lines = ["! simulated", "# Hz S RI R 50"]
    for frequency, matrix in zip(FREQUENCY_HZ, s, strict=True):
        numbers = [part for entry in matrix.T.flat for part in (entry.real, entry.imag)]
        lines.append(f"{frequency:.1f} " + " ".join(f"{number:.15g}" for number in numbers))
    _write(path, "\n".join(lines) + "\n")


def _standards() -> dict[str, Complex]:
    short = 1j * OMEGA * 5e-12
    admittance = 1j * OMEGA * 4e-15
    load = _reflects(np.zeros(len(OMEGA), dtype=np.complex128))
    return {
        "short.s2p": _reflects((short - 50) / (short + 50)),
        "open.s2p": _reflects((1 - 50 * admittance) / (1 + 50 * admittance)),
        "load.s2p": load,
        "load-again.s2p": load + 1e-5,
        "thru.s2p": raw(line(1.0)),
    }


def _reflects(reflection: Complex) -> Complex:
    """What the analyser shows when the same one-port stands at each of its ports."""
    left, right = _box(0.05, 0.93, 30.0), _box(0.07, 0.9, 35.0)
    s = np.zeros((len(OMEGA), 2, 2), dtype=np.complex128)
    for port, box, outer, inner in ((0, left, 0, 1), (1, right, 1, 0)):
        through = box[:, 0, 1] * box[:, 1, 0]
        s[:, port, port] = box[:, outer, outer] + through * reflection / (
            1 - box[:, inner, inner] * reflection
        )
    return s


def _box(mismatch: float, transmission: float, delay_ps: float) -> Complex:
    """An error box: reflections at both ends and a lossy path between them."""
    turn = np.exp(-1j * OMEGA * delay_ps * 1e-12)
    s = np.empty((len(OMEGA), 2, 2), dtype=np.complex128)
    s[:, 0, 0] = mismatch * turn
    s[:, 1, 1] = 1.5 * mismatch * turn**2
    s[:, 0, 1] = s[:, 1, 0] = transmission * turn
    return s


def _cascade(a: Complex, b: Complex) -> Complex:
    """Two two-ports in a row, by Mason's rule on their signal-flow graph (common practice)."""
    loop = 1 - a[:, 1, 1] * b[:, 0, 0]
    s = np.empty_like(a)
    s[:, 0, 0] = a[:, 0, 0] + a[:, 0, 1] * a[:, 1, 0] * b[:, 0, 0] / loop
    s[:, 1, 0] = a[:, 1, 0] * b[:, 1, 0] / loop
    s[:, 0, 1] = a[:, 0, 1] * b[:, 0, 1] / loop
    s[:, 1, 1] = b[:, 1, 1] + b[:, 0, 1] * b[:, 1, 0] * a[:, 1, 1] / loop
    return s


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
