"""The invented station as campaign.toml describes it, and the states of its RF path."""

from datetime import date

from sitegen.simulate import smu
from sitegen.simulate.smu import SMU

STATION, VNA = "PS-A", "VNA-A"
PROBES = ("RF-1", "RF-2")
CONTACT_RESISTANCE_MAX_OHM = 1.5

_SETTINGS: dict[str, object] = {
    "source_power_dbm": -20.0,
    "attenuator_db": 10.0,
    "if_bandwidth_hz": 300.0,
}
TWO_PORT_STATE: dict[str, object] = {
    **_SETTINGS,
    "probes": list(PROBES),
    "cables": ["CBL-1", "CBL-2"],
    "bias_tees": ["BT-1", "BT-2"],
}
ONE_PORT_STATE: dict[str, object] = {
    **_SETTINGS,
    "probes": [PROBES[0]],
    "cables": ["CBL-1"],
    "bias_tees": ["BT-1"],
}


def station_record(floors_on: date) -> dict[str, object]:
    """The station's entry in campaign.toml; every certificate holds for a year more."""
    due = date(floors_on.year + 1, 1, 31)

    def instrument(
        id: str, kind: str, model: str, serial: str, offset_s: float
    ) -> dict[str, object]:
        return {
            "id": id,
            "kind": kind,
            "model": model,
            "serial_number": serial,
            "certificate": f"SIM-{serial}",
            "due": due,
            "clock_offset_s": offset_s,
            "clock_offset_u_s": 0.3,
        }

    def probe(id: str, kind: str, port: int | None, serial: str) -> dict[str, object]:
        record: dict[str, object] = {"id": id, "kind": kind, "serial_number": serial}
        if port is not None:
            record |= {"port": port, "pitch_um": 100.0, "contacts_max": 250_000}
        return record

    return {
        "id": STATION,
        "name": "probe station A (simulated)",
        "place": "screened room 2 (invented)",
        "instruments": [
            instrument(VNA, "vna", "invented network analyser, 110 GHz", "N-0417", 1.2),
            instrument(SMU, "smu", "invented source-measure unit, 200 V", "S-0233", -0.8),
            instrument("TH-A", "thermometer", "invented chuck thermometer", "T-0091", 0.0),
        ],
        "probes": [
            probe("RF-1", "rf", 1, "P-1101"),
            probe("RF-2", "rf", 2, "P-1102"),
            probe("DC-1", "dc", None, "P-2001"),
        ],
        "cables": [
            {"id": "CBL-1", "description": "cable of port 1", "serial_number": "C-301"},
            {"id": "CBL-2", "description": "cable of port 2", "serial_number": "C-302"},
        ],
        "bias_tees": [
            {
                "id": "BT-1",
                "description": "bias tee of port 1",
                "serial_number": "B-71",
                "resistance_ohm": 0.9,
                "loss_db": 0.6,
            },
            {
                "id": "BT-2",
                "description": "bias tee of port 2",
                "serial_number": "B-72",
                "resistance_ohm": 0.9,
                "loss_db": 0.6,
            },
        ],
        **smu.records(floors_on),
        "hazards": ["hazardous voltage"],
    }
