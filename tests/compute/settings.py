"""A campaign of one station and one layout in memory, for tests of values and wafers."""

from datetime import UTC, datetime
from typing import Any

from sitegen.compute.sweeps import WaferSetting
from sitegen.model.campaign import CampaignRecord, Floor
from tests.compute.events import instrument, station

AT = datetime(2026, 4, 20, 9, 0, tzinfo=UTC)
FLOOR = Floor(
    instrument="SMU",
    range="1 nA",
    path="triaxial",
    floor_a=1e-12,
    measured_on=AT.date(),
    basis="three times the spread",
)


def parameter(name: str, **changes: Any) -> dict[str, Any]:
    return {
        "id": name,
        "symbol": name,
        "name": name,
        "unit": "V",
        "kind": "dc",
        "device": "D",
        "conditions": ("RT",),
        **changes,
    }


def setting(
    *parameters: dict[str, Any],
    rule: str = "simple",
    counts: str = "last",
    width_um: float | None = None,
) -> WaferSetting:
    here = station(instrument("SMU")).model_copy(update={"floors": (FLOOR,)})
    campaign = CampaignRecord.model_validate(
        {
            "campaign": {
                "id": "T",
                "title": "t",
                "simulated": True,
                "requested_by": "a",
                "responsible": "a",
                "authorised_by": "a",
                "laboratory": "a",
                "place": "a",
                "edition": 1,
                "edition_reason": "first",
                "issued": AT.date(),
            },
            "stations": (here.model_dump(),),
            "layout": {
                "diameter_mm": 100.0,
                "orientation_mark": "notch",
                "orientation_mark_angle_deg": 270.0,
                "die_pitch_x_mm": 20.0,
                "die_pitch_y_mm": 20.0,
                "x_increases": "right",
                "y_increases": "up",
                "origin_die": (0, 0),
                "origin_die_center_x_mm": 0.0,
                "origin_die_center_y_mm": 0.0,
                "edge_exclusion_mm": 3.0,
            },
            "conditions": ({"id": "RT", "description": "room", "temperature_c": 25.0},),
            "devices": ({"id": "D", "name": "d", "kind": "other", "width_um": width_um},),
            "parameters": parameters,
            "decision": {"rule": rule},
            "touchdowns": {"counts": counts},
            "plan": {"wafers": ({"id": "W", "dies": ((0, 0), (1, 0), (2, 0))},)},
        }
    )
    return WaferSetting(campaign, here, None, here.instruments[0], {}, (), {}, {})
