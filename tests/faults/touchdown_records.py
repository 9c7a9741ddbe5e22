"""Records of the campaign that `touchdown_scenes` fills: its wafers, checks and control dies."""

from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any

from sitegen.model.campaign import CampaignRecord
from sitegen.model.wafer import WaferRecord

START = datetime(2026, 4, 20, 8, 0, tzinfo=UTC)
WAFERS = ("W1", "W2", "W3")
WAFER_HOURS = 8.0
CLEANED_HOUR = 1.5 * WAFER_HOURS
"""In the middle of the second wafer."""
PARAMETERS = ("RON", "RLF", "VTH", "GM")
UNITS = {"RON": "ohm", "RLF": "ohm", "VTH": "V", "GM": "S"}
RF = ("RLF", "GM")
SPREADS = {"RON": 0.3, "RLF": 0.3, "VTH": 0.01, "GM": 0.001}
"""Of the detail from die to die."""
BOUND = 3.0
"""Of a control die, in spreads of its parameter."""
CONTACT_MAX_OHM, LEAKAGE_MAX_A = 1.0, 1e-10


@cache
def campaign() -> CampaignRecord:
    def control(name: str, parameter: str) -> dict[str, Any]:
        return {
            "id": name,
            "wafer": "W1",
            "die": (0, 0),
            "parameter": parameter,
            "condition": "RT",
            "bound": BOUND * SPREADS[parameter],
        }

    instrument = {
        "model": "invented",
        "serial_number": "1",
        "certificate": "C-1",
        "due": date(2027, 1, 1),
        "clock_offset_s": 0.0,
        "clock_offset_u_s": 0.1,
    }
    probe = {"serial_number": "1", "contacts_max": 1_000_000}
    return CampaignRecord.model_validate(
        {
            "campaign": {
                "id": "T",
                "title": "simulated",
                "simulated": True,
                "requested_by": "a",
                "responsible": "a",
                "authorised_by": "a",
                "laboratory": "a",
                "place": "a",
                "edition": 1,
                "edition_reason": "first",
                "issued": START.date(),
            },
            "stations": (
                {
                    "id": "A",
                    "name": "A",
                    "place": "lab",
                    "instruments": (
                        {"id": "VNA", "kind": "vna", **instrument},
                        {"id": "SMU", "kind": "smu", **instrument},
                    ),
                    "probes": (
                        {"id": "RF-1", "kind": "rf", **probe},
                        {"id": "DC-1", "kind": "dc", **probe},
                    ),
                    "exchanges": tuple(
                        {
                            "at": START + timedelta(hours=CLEANED_HOUR),
                            "part": part,
                            "description": "tips cleaned",
                            "kind": "cleaned",
                        }
                        for part in ("RF-1", "DC-1")
                    ),
                },
            ),
            "layout": {
                "diameter_mm": 150.0,
                "orientation_mark": "notch",
                "orientation_mark_angle_deg": 270.0,
                "die_pitch_x_mm": 12.0,
                "die_pitch_y_mm": 12.0,
                "x_increases": "right",
                "y_increases": "up",
                "origin_die": (0, 0),
                "origin_die_center_x_mm": 0.0,
                "origin_die_center_y_mm": 0.0,
                "edge_exclusion_mm": 3.0,
            },
            "conditions": ({"id": "RT", "description": "room", "temperature_c": 25.0},),
            "devices": ({"id": "D", "name": "d", "kind": "transistor"},),
            "parameters": tuple(
                {
                    "id": name,
                    "symbol": name,
                    "name": name,
                    "unit": UNITS[name],
                    "kind": "rf" if name in RF else "dc",
                    "device": "D",
                    "conditions": ("RT",),
                }
                for name in PARAMETERS
            ),
            "controls": (control("C-RON", "RON"), control("C-GM", "GM")),
            "agreements": (
                {
                    "id": "A-R",
                    "physics": "low-frequency resistance",
                    "first": {"parameter": "RON", "condition": "RT"},
                    "second": {"parameter": "RLF", "condition": "RT"},
                },
            ),
            "decision": {"rule": "simple"},
            "touchdowns": {
                "counts": "last",
                "pad_touchdowns_max": 3,
                "checks": (
                    {
                        "quantity": "contact resistance",
                        "upper": CONTACT_MAX_OHM,
                        "mandatory": True,
                    },
                    {"quantity": "pad-to-pad leakage", "upper": LEAKAGE_MAX_A},
                ),
            },
        }
    )


@cache
def wafer_records() -> tuple[WaferRecord, ...]:
    return tuple(
        WaferRecord.model_validate(
            {
                "id": wafer,
                "identity_read": wafer,
                "lot": "L",
                "station": "A",
                "by": "a",
                "started": START + timedelta(hours=WAFER_HOURS * number),
                "finished": START + timedelta(hours=WAFER_HOURS * (number + 1)),
                "ambient_c": 23.0,
                "rf_instrument": "VNA",
                "dc_instrument": "SMU",
                "thermal": (
                    {
                        "set_point_c": 25.0,
                        "chuck_reading_c": 25.0,
                        "surface_correction_c": 0.0,
                        "surface_correction_u_c": 0.1,
                        "soak_s": 60.0,
                    },
                ),
            }
        )
        for number, wafer in enumerate(WAFERS)
    )
