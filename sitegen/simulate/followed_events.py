"""The second demonstration: every portion of a station without wafers."""

from datetime import date
from functools import partial

import numpy as np

from sitegen.model.simulated import Portion, SimulatedCampaign, SimulatedSweep
from sitegen.simulate.calibration_event import Calibrating, Occasion
from sitegen.simulate.followed_notes import ACCEPTANCE_NOTE, CAMPAIGN_NOTES, README
from sitegen.simulate.followed_plan import (
    EXCHANGE_H,
    SITE_H,
    Plan,
    Verified,
    analyser,
    plan,
)
from sitegen.simulate.followed_station import (
    FREQUENCY_HZ,
    SEED,
    SOURCES,
    STATION,
    VNA,
    ambient_c,
    kit,
    station_record,
    structures_s,
    time,
)
from sitegen.simulate.followed_structures import STRUCTURES, performance, references
from sitegen.simulate.reading import Readings
from sitegen.simulate.scenario import CalibrationPlan

LOAD_OHM, WEAR_OHM, READING_OHM = (50.012, 49.991), (0.009, 0.008), 0.004
"""Of each port's load: as new, growth with each calibration, spread of the day's reading."""
LOAD_BOUND_OHM = 0.45


def followed_campaign() -> SimulatedCampaign:
    """The campaign of `campaigns_demo/teasel-4`."""
    events = plan()
    return SimulatedCampaign(
        (
            _campaign_portion,
            *(partial(_calibration_portion, events, n) for n in range(len(events.calibrations))),
            *(partial(_verification_portion, one) for one in events.verifications),
            partial(_acceptance_portion, events),
        )
    )


def _campaign_portion() -> Portion:
    return Portion(
        folder="",
        record_file="campaign.toml",
        record={
            "campaign": _IDENTITY,
            "decision": {"rule": "guarded", "coverage_factor": 2.0, "guard_factor": 1.0},
            "touchdowns": {"counts": "last"},
            "stations": [
                station_record(
                    [
                        {
                            "at": time(EXCHANGE_H),
                            "part": "probe of port 2",
                            "description": "RF-12 replaced by RF-13: a tip was bent",
                        }
                    ]
                )
            ],
        },
        notes={
            "README.md": README,
            **CAMPAIGN_NOTES,
        },
    )


def _calibration_portion(events: Plan, number: int) -> Portion:
    made = events.calibrations[number]
    rng = np.random.default_rng([SEED, 50, number])
    wear = [
        round(new + step * number + READING_OHM * rng.standard_normal(), 3)
        for new, step in zip(LOAD_OHM, WEAR_OHM, strict=True)
    ]
    calibrating = Calibrating(
        made, kit(), Readings(analyser(), FREQUENCY_HZ, made.at, rng, SOURCES), (wear[0], wear[1])
    )
    record = calibrating.record(
        _occasion(made.at),
        {
            "serial_number": kit().serial_number,
            "standard_set": "lines" if "TRL" in made.method else "row 1",
            "contacts": 24 + 8 * number,
            "contacts_max": 400,
            "definitions_source": "characterisation of this substrate (simulated)",
            "definitions_version": "2",
        },
        _bounds(made),
    )
    record["probe_use"] = _probe_use(made, number)
    return calibrating.portion(record)


def _probe_use(made: CalibrationPlan, number: int) -> list[dict[str, object]]:
    rng = np.random.default_rng([SEED, 53, number])
    new = made.at > EXCHANGE_H
    contacts = (1200 + 46 * number, 46 * number - 400 if new else 900 + 46 * number)
    return [
        {
            "port": port,
            "probe": name,
            "contacts": contacts[port - 1],
            "contact_resistance_ohm": round(0.052 + 0.003 * rng.standard_normal(), 4),
            "contact_resistance_max_ohm": 0.15,
        }
        for port, name in zip((1, 2), _probes(made.at), strict=True)
    ]


def _verification_portion(verified: Verified) -> Portion:
    made = verified.plan
    number = int(made.id.split("-")[1])
    rng = np.random.default_rng([SEED, 60, number])
    readings = Readings(analyser(), FREQUENCY_HZ, made.at, rng, SOURCES)
    entries = STRUCTURES[verified.structures]
    sweeps: dict[str, SimulatedSweep] = {}
    for entry in entries:
        true = structures_s()[entry.id]
        if entry.ports == 1:
            true = true[:, :1, :1]
        for file in entry.files:
            (sweeps[file],) = readings.raw(true, entry.id)
    return Portion(
        folder=f"verifications/{made.id}",
        record_file="record.toml",
        record={
            "id": made.id,
            "calibration": made.calibration,
            **_occasion(made.at).record(),
            "structures": [entry.record() for entry in entries],
        },
        sweeps=sweeps | references(entries),
        notes={"note.md": made.note} if made.note else {},
    )


def _acceptance_portion(events: Plan) -> Portion:
    factory, site = (one.plan.id for one in events.verifications if one.structures == "acceptance")
    return Portion(
        folder="acceptances/ACC-1",
        record_file="record.toml",
        record={
            "id": "ACC-1",
            "title": "67 GHz path of probe station T (simulated)",
            "station": STATION,
            "at": time(SITE_H + 17.0),
            "factory": factory,
            "factory_place": "assembly hall of a supplier that does not exist",
            "site": site,
            "site_place": "screened room 5 of a laboratory that does not exist",
            "supplier": "commissioning engineer of the supplier (invented)",
            "customer": "head of the probe laboratory (invented)",
            **performance(),
        },
        notes={"note.md": ACCEPTANCE_NOTE},
    )


def _occasion(hours: float) -> Occasion:
    cables = ["CBL-F1", "CBL-F2"] if hours < SITE_H else ["CBL-1", "CBL-2"]
    return Occasion(
        STATION,
        VNA,
        time(hours),
        ambient_c(hours),
        round(ambient_c(hours) + 0.6, 2),
        {
            "source_power_dbm": -15.0,
            "attenuator_db": 0.0,
            "if_bandwidth_hz": 100.0,
            "probes": _probes(hours),
            "cables": cables,
        },
    )


def _probes(hours: float) -> list[str]:
    return ["RF-11", "RF-13" if hours > EXCHANGE_H else "RF-12"]


def _bounds(made: CalibrationPlan) -> dict[str, object]:
    bounds: dict[str, object] = {
        "repeatability": 0.002,
        "noise_floor": 1e-4,
        "trace_noise": 2e-4,
    }
    if made.reported:
        bounds["reported_terms_difference"] = 0.05
    match made.method:
        case "TRL" | "multiline TRL":
            return bounds | {
                "effective_permittivity_min": 4.9,
                "effective_permittivity_max": 5.8,
                "attenuation_max_db_per_mm": 0.6,
            }
        case "LRRM":
            bounds |= {
                "load_inductance_min_ph": 0.0,
                "load_inductance_max_ph": 8.0,
                "reflect_magnitude_difference": 0.02,
                "fit_remainder": 0.02,
                "open_short_distance": 0.9,
                "raw_difference_from_previous": 0.02,
                "difference_from_previous": 0.06,
            }
    return bounds | {
        "load_resistance_difference_ohm": LOAD_BOUND_OHM,
        "thru_phase_difference_deg": 3.0,
    }


_IDENTITY: dict[str, object] = {
    "id": "TEASEL-4",
    "title": "Teasel 4: a probe station accepted and followed over its first weeks (simulated)",
    "simulated": True,
    "requested_by": "head of the probe laboratory (invented)",
    "responsible": "measurement engineer on duty",
    "authorised_by": "head of the probe laboratory (invented)",
    "laboratory": "Probe laboratory of an institute that does not exist",
    "place": "screened room 5 of the same (invented)",
    "edition": 1,
    "edition_reason": "first edition",
    "issued": date(2026, 3, 23),
}
