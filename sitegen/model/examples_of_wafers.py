"""An example for every field of wafer.toml and of mapping.toml."""

from datetime import UTC, datetime

from sitegen.model.examples_of_campaign import Examples
from sitegen.model.examples_of_events import STATE_FIELDS

WAFERS: Examples = {
    "WaferRecord": {
        "id": "W01",
        "campaign": "FET-7",
        "identity_read": "LOT7-W01",
        "lot": "LOT7",
        "slot": 3,
        "station": "ST1",
        "by": "M. Ito",
        "started": datetime(2026, 3, 2, 8, 30, tzinfo=UTC),
        "finished": datetime(2026, 3, 2, 11, 50, tzinfo=UTC),
        "only_for_study": False,
        "ambient_c": 23.0,
        "substrate_c": 23.5,
        "rf_instrument": "VNA1",
        "dc_instrument": "SMU1",
    },
    "Thermal": {
        "set_point_c": 25.0,
        "chuck_reading_c": 25.1,
        "surface_correction_c": -0.1,
        "surface_correction_u_c": 0.1,
        "soak_s": 300.0,
    },
    "WaferState": {"id": "rf-path", **STATE_FIELDS},
    "ReferenceDie": {"die": [-1, -1], "frames": {"prober": [11, 4]}},
    "ValueTable": {
        "file": "values.parquet",
        "frame": "prober",
        "units": {"VTH": "V"},
    },
    "SweepTable": {
        "file": "sweeps.parquet",
        "sweep": "raw",
        "reference_impedance_ohm": 50.0,
        "frame": "prober",
    },
    "CurveTable": {"file": "curves.parquet", "frame": "prober"},
    "TouchdownTable": {"file": "touchdowns.parquet", "frame": "prober"},
    "EarlierMap": {
        "file": "pilot-line.parquet",
        "frame": "prober",
        "units": {"VTH": "V"},
        "origin": "pilot line, 2025-11-20",
    },
}

MAPPINGS: Examples = {
    "MappingRecord": {"aside": ["**/*.log", "**/*.png"]},
    "Source": {
        "id": "station-sweeps",
        "files": "**/{wafer}_X{die_x}_Y{die_y}_{device}_{bias}_TD{touchdown}.s2p",
        "folder": "gathered",
        "holds": "sweeps",
        "constants": {"state": "rf-path"},
        "lines": ["! Date: {time}"],
        "rename": {"device": {"FET_A": "fet"}},
        "dies": {"D07": [2, -1]},
        "minus": "m",
        "point": "p",
        "frame": "prober",
        "time_format": "%d.%m.%Y %H:%M:%S",
        "time_zone": "Europe/Berlin",
        "repeated_hour": "first",
        "time_from": "modification",
        "sweep": "raw",
        "reference_impedance_ohm": 50.0,
        "ports": [2, 1],
        "one_port_pairs": "no transmission",
        "rows": "one a die",
        "leave": ["Operator", "Remark"],
    },
    "NamedCondition": {"condition": "sat", "when": {"bias": "VG0p6_VD1p2"}},
    "MappedColumn": {
        "theirs": "Vth (V)",
        "ours": "value",
        "parameter": "VTH",
        "condition": "sat",
        "unit": "V",
        "range": "100 nA",
        "path": "triaxial",
        "beyond": {"OVL": 10.5},
    },
    "Dialect": {
        "separator": "semicolon",
        "decimal": "comma",
        "encoding": "windows-1252",
        "names_line": 7,
        "units_line": 8,
        "missing": ["n/a", "---"],
    },
}
