"""Small events for tests: a station, calibrations and verifications at given hours."""

from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal

import numpy as np

from sitegen.compute.in_force import Rows
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Instrument, Station
from sitegen.model.event_results import CalibrationResult, Judged, VerificationResult
from sitegen.model.station_state import StationState
from sitegen.model.verification import VerificationRecord

START = datetime(2026, 4, 20, 8, 0, tzinfo=UTC)
STATE = StationState(
    source_power_dbm=-20.0,
    attenuator_db=10.0,
    if_bandwidth_hz=100.0,
    probes=("P1", "P2"),
    cables=("C1",),
)


def hour(hours: float) -> datetime:
    """A moment so many hours after the start."""
    return START + timedelta(hours=hours)


def instrument(name: str = "VNA-1", **changes: Any) -> Instrument:
    """An analyser in date with an exact clock."""
    return Instrument(
        id=name,
        kind="vna",
        model="analyser",
        serial_number="1",
        certificate="C-1",
        **{
            "due": date(2027, 1, 1),
            "clock_offset_s": 0.0,
            "clock_offset_u_s": 0.0,
            **changes,
        },
    )


def station(*instruments: Instrument, name: str = "A") -> Station:
    """A station with these instruments."""
    return Station(id=name, name=name, place="lab", instruments=instruments or (instrument(),))


def calibration(
    name: str,
    at_hour: float,
    *,
    outcome: Literal["usable", "checks failed", "not solved"] = "usable",
    station_id: str = "A",
    instrument_id: str = "VNA-1",
    ports: tuple[int, ...] = (1, 2),
    state: StationState = STATE,
    hours: float = 8.0,
) -> CalibrationResult:
    """A calibration that holds for some hours, 1 °C of ambient and 1 °C of substrate."""
    record = CalibrationRecord.model_validate(
        {
            "id": name,
            "station": station_id,
            "instrument": instrument_id,
            "at": hour(at_hour),
            "by": "engineer",
            "method": "SOLT",
            "ports": ports,
            "reference_impedance_ohm": 50.0,
            "reference_plane": "probe tips",
            "wave_definition": "power",
            "frequency_start_hz": 1e9,
            "frequency_stop_hz": 2e9,
            "frequency_points": 2,
            "averaging": 1,
            "ambient_c": 23.0,
            "substrate_c": 25.0,
            "overtravel_um": 50.0,
            "probe_spacing_um": 150.0,
            "state": state.model_dump(),
            "substrate": {
                "serial_number": "S",
                "standard_set": "1",
                "contacts": 1,
                "contacts_max": 10,
                "definitions_source": "maker",
                "definitions_version": "1",
            },
            "definitions": {"short": {"kind": "short"}},
            "sweeps": ({"file": "short.s2p", "port_1": "short", "port_2": "short"},),
            "validity": {"hours": hours, "ambient_change_c": 1.0, "substrate_change_c": 1.0},
        }
    )
    return CalibrationResult(
        record=record,
        frequency_hz=np.array([1e9, 2e9]),
        terms=(),
        reported=(),
        checks=(),
        notes=(),
        unsolved="",
        outcome=outcome,
        made_at=hour(at_hour),
        expires_at=hour(at_hour + hours),
    )


def verification(
    name: str,
    calibration_id: str,
    at_hour: float,
    outcome: Judged,
    station_id: str = "A",
    instrument_id: str = "VNA-1",
) -> VerificationResult:
    """A verification with its verdict."""
    record = VerificationRecord.model_validate(
        {
            "id": name,
            "station": station_id,
            "instrument": instrument_id,
            "calibration": calibration_id,
            "at": hour(at_hour),
            "by": "engineer",
            "ambient_c": 23.0,
            "state": STATE.model_dump(),
            "structures": (
                {
                    "id": "line",
                    "description": "line",
                    "file": "line.s2p",
                    "sweep": "raw",
                    "reference": {"kind": "line", "delay_ps": 1.0},
                    "masks": (
                        {
                            "parameter": "s21",
                            "quantity": "complex deviation",
                            "points": ((1e9, 0.1), (2e9, 0.1)),
                        },
                    ),
                },
            ),
        }
    )
    return VerificationResult(record, (), outcome, "", hour(at_hour))


def rows(*hours: float, **columns: Any) -> Rows:
    """RF rows at these hours, without a named calibration unless one is given."""
    n = len(hours)
    stamped = [np.datetime64(hour(at).replace(tzinfo=None), "us") for at in hours]
    given = {
        "named": [None] * n,
        "state": ["S"] * n,
        "ambient_c": [23.0] * n,
        "substrate_c": [25.0] * n,
        "contact_resistance_ohm": [np.nan] * n,
        "ports": [3] * n,
        **columns,
    }
    return Rows(
        measured_at=np.array(stamped),
        named=np.array(given["named"], dtype=object),
        state=np.array(given["state"], dtype=object),
        ambient_c=np.array(given["ambient_c"], dtype=float),
        substrate_c=np.array(given["substrate_c"], dtype=float),
        contact_resistance_ohm=np.array(given["contact_resistance_ohm"], dtype=float),
        ports=np.array(given["ports"], dtype=np.int64),
    )
