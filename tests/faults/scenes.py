"""Simulated calibrations and verifications of one station, sound or with one planted fault.

A scene has a calibration of the day before, the day's calibration and its verification on
structures of their own. Everything that the analyser shows comes from the forward model in
`tests.compute.rf.forward`, which shares no code with the program; what the program is told
(records) is declared here. Errors are drawn from the distributions that the records declare.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import (
    Campaign,
    LoadedCalibration,
    LoadedStandard,
    LoadedStructure,
    LoadedVerification,
    Sweep,
)
from sitegen.model.verification import VerificationRecord
from tests.compute.rf import forward as fw

FREQUENCY_HZ = np.linspace(1e9, 110e9, 101)
X = FREQUENCY_HZ / 110e9
OMEGA = 2 * np.pi * FREQUENCY_HZ
START = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)

LOAD_OHM, LOAD_U_OHM, LOAD_PH = 50.0, 0.03, 4.5
SHORT_PH, OPEN_FF = 3.0, -6.0
THRU_PS, THRU_U_PS = 1.5, 0.003
LINE_PS, OFFSET_PS, ATTENUATION_DB = 7.0, 3.0, 10.0
NOISE, TRACE, CONTACT, REFERENCE_U = 2e-5, 1.5e-4, 4e-4, 3e-4
PATHS = 10
"""Different stations; a seed takes one of them."""
DRIFT_DEG, DRIFT_SHARE = 0.15, 1.5e-3
"""Standard deviations of the change of a path in a day, phase and size at 110 GHz."""

STATE = {
    "source_power_dbm": -20.0,
    "attenuator_db": 10.0,
    "if_bandwidth_hz": 100.0,
    "probes": ("P1", "P2"),
}
STANDARDS = ("thru", "short", "open", "load")
STRUCTURES = ("line", "attenuator", "offset-short")
MASKS: dict[str, tuple[tuple[str, float, float], ...]] = {
    "line": (("s21", 0.012, 0.04), ("s11", 0.012, 0.04)),
    "attenuator": (("s21", 0.006, 0.016),),
    "offset-short": (("s11", 0.015, 0.05), ("s22", 0.015, 0.05)),
}
"""Greatest accepted complex deviation at 1 GHz and at 110 GHz."""
BOUNDS: dict[str, float] = {
    "repeatability": 0.002,
    "noise_floor": 4e-5,
    "trace_noise": 4e-4,
    "load_inductance_min_ph": 3.5,
    "load_inductance_max_ph": 5.5,
    "reflect_magnitude_difference": 0.005,
    "fit_remainder": 0.0035,
    "residual": 0.0075,
    "raw_difference_from_previous": 0.012,
    "difference_from_previous": 0.033,
}
"""About 1.5 times the greatest figure of 60 sound campaigns with seeds kept for tuning."""


@dataclass(frozen=True, eq=False)
class Step:
    """One sweep: what is between the tips, and the path at that moment."""

    name: str
    device: fw.Array
    path: fw.Station


@dataclass(frozen=True, eq=False)
class Plan:
    """All that is measured of a scene, before noise; and what the record says otherwise."""

    before: tuple[Step, ...]
    calibration: tuple[Step, ...]
    verification: tuple[Step, ...]
    references: dict[str, fw.Array]
    declared_thru_ps: float = THRU_PS
    turned: bool = False
    """The day's calibration sweeps are stored with their ports interchanged."""
    verified_state: dict[str, Any] | None = None


@dataclass(frozen=True)
class Fault:
    """A fault that can be planted, with the largest size that a search may try."""

    name: str
    unit: str
    largest: float | None
    """None: there is only one size, it is or it is not."""
    plant: Callable[[Plan, float], Plan]


def sound(seed: int, quiet: bool = False) -> Plan:
    """A scene without fault; quiet: nothing is drawn, everything is as declared."""
    rng = np.random.default_rng([seed, 1])

    def draw(u: float) -> float:
        return 0.0 if quiet else float(rng.normal(0.0, u))

    def contacted(device: fw.Array) -> fw.Array:
        moved = device.copy()
        moved[:, 0, 0] += draw(CONTACT) + 1j * draw(CONTACT)
        moved[:, 1, 1] += draw(CONTACT) + 1j * draw(CONTACT)
        through = 1.0 + draw(CONTACT) + 1j * draw(CONTACT)
        moved[:, 1, 0] *= through
        moved[:, 0, 1] *= through
        return moved

    first = fw.station(seed % PATHS, FREQUENCY_HZ)
    today = replace(
        first,
        box_1=_through(first.box_1, draw(DRIFT_DEG), draw(DRIFT_SHARE)),
        box_2=_through(first.box_2, draw(DRIFT_DEG), draw(DRIFT_SHARE)),
    )
    standards = true_standards(LOAD_OHM + draw(LOAD_U_OHM), THRU_PS + draw(THRU_U_PS))
    structures = true_structures()
    return Plan(
        before=tuple(Step(name, contacted(standards[name]), first) for name in STANDARDS),
        calibration=tuple(Step(name, contacted(standards[name]), today) for name in STANDARDS),
        verification=tuple(Step(name, contacted(structures[name]), today) for name in STRUCTURES),
        references={
            name: s + (0.0 if quiet else _complex(rng, s.shape, REFERENCE_U) * (s != 0))
            for name, s in structures.items()
        },
    )


def true_standards(load_ohm: float, thru_ps: float) -> dict[str, fw.Array]:
    """The standards between the tips."""
    short = fw.short_gamma(FREQUENCY_HZ, SHORT_PH * 1e-12)
    open_ = fw.open_gamma(FREQUENCY_HZ, OPEN_FF * 1e-15)
    load = fw.load_gamma(FREQUENCY_HZ, load_ohm, LOAD_PH * 1e-12)
    return {
        "thru": fw.ideal_line(FREQUENCY_HZ, thru_ps * 1e-12),
        "short": fw.pair(short, short),
        "open": fw.pair(open_, open_),
        "load": fw.pair(load, load),
    }


def true_structures() -> dict[str, fw.Array]:
    """The structures of the verification, which the calibration never uses."""
    offset_short = fw.short_gamma(FREQUENCY_HZ, SHORT_PH * 1e-12) * np.exp(
        -2j * OMEGA * OFFSET_PS * 1e-12
    )
    attenuator = np.zeros((len(FREQUENCY_HZ), 2, 2), np.complex128)
    attenuator[:, 0, 1] = attenuator[:, 1, 0] = 10 ** (-ATTENUATION_DB / 20)
    return {
        "line": fw.line_s(FREQUENCY_HZ, 0.05 * np.sqrt(X) + 1j * OMEGA * LINE_PS * 1e-12, 50.6),
        "attenuator": attenuator,
        "offset-short": fw.pair(offset_short, offset_short),
    }


def campaign_of(plan: Plan, seed: int, quiet: bool = False) -> Campaign:
    """What the program reads of a scene; quiet: without noise."""
    rng = np.random.default_rng([seed, 2])
    switch = {
        f"switch-{way}": _noisy(rng, getattr(plan.before[0].path, f"switch_{way}"), quiet)
        for way in ("forward", "reverse")
    }
    before = _calibration("CAL-1", plan.before, START, rng, quiet, switch, THRU_PS, False)
    today = _calibration(
        "CAL-2",
        plan.calibration,
        START + timedelta(days=1),
        rng,
        quiet,
        switch,
        plan.declared_thru_ps,
        plan.turned,
    )
    return Campaign(
        folder=Path("simulated"),
        record=_campaign_record(),
        calibrations=(before, today),
        verifications=(_verification(plan, rng, quiet),),
        wafers=(),
        notes=(),
        sources=(),
    )


def limit_of(mask: tuple[str, float, float]) -> fw.Floats:
    """A mask over the scene's frequencies."""
    _, low, high = mask
    return np.asarray(np.interp(FREQUENCY_HZ, FREQUENCY_HZ[[0, -1]], [low, high]))


def _calibration(
    name: str,
    steps: tuple[Step, ...],
    at: datetime,
    rng: np.random.Generator,
    quiet: bool,
    switch: dict[str, fw.Array],
    thru_ps: float,
    turned: bool,
) -> LoadedCalibration:
    record = CalibrationRecord.model_validate(_calibration_dict(name, at, thru_ps))
    contacts = {contact.file: contact for contact in record.sweeps}
    standards = []
    for step in steps:
        raw = fw.raw_sweep(step.path, step.device)
        raw = raw[:, ::-1, ::-1] if turned else raw
        file = f"{step.name}.s2p"
        again = tuple(
            Sweep(repeat, FREQUENCY_HZ, _noisy(rng, raw, quiet), 50.0)
            for repeat in contacts[file].repeats
        )
        sweep = Sweep(file, FREQUENCY_HZ, _noisy(rng, raw, quiet), 50.0)
        standards.append(LoadedStandard(contacts[file], sweep, again))
    return LoadedCalibration(
        record,
        tuple(standards),
        switch["switch-forward"],
        switch["switch-reverse"],
        None,
        (),
        None,
        (),
    )


def _verification(plan: Plan, rng: np.random.Generator, quiet: bool) -> LoadedVerification:
    record = VerificationRecord.model_validate(
        {
            "id": "VER-1",
            "station": "ST",
            "instrument": "VNA",
            "calibration": "CAL-2",
            "at": START + timedelta(days=1, minutes=30),
            "by": "simulation",
            "ambient_c": 23.0,
            "state": plan.verified_state or STATE,
            "structures": tuple(_structure_dict(step.name) for step in plan.verification),
        }
    )
    structures = []
    for structure, step in zip(record.structures, plan.verification, strict=True):
        raw = _noisy(rng, fw.raw_sweep(step.path, step.device), quiet)
        reference = plan.references[step.name]
        structures.append(
            LoadedStructure(
                structure,
                Sweep(structure.file, FREQUENCY_HZ, raw, 50.0),
                Sweep(f"{step.name}-reference.s2p", FREQUENCY_HZ, reference, 50.0),
            )
        )
    return LoadedVerification(record, tuple(structures), (), None, ())


def _structure_dict(name: str) -> dict[str, Any]:
    return {
        "id": name,
        "description": f"simulated {name}",
        "file": f"{name}.s2p",
        "sweep": "raw",
        "reference": {
            "kind": "measured",
            "file": f"{name}-reference.s2p",
            "standard_uncertainty": REFERENCE_U,
            "measured_on": "acceptance (simulated)",
        },
        "masks": tuple(
            {
                "parameter": parameter,
                "quantity": "complex deviation",
                "points": ((1e9, low), (110e9, high)),
            }
            for parameter, low, high in MASKS[name]
        ),
    }


def _calibration_dict(name: str, at: datetime, thru_ps: float) -> dict[str, Any]:
    return {
        "id": name,
        "station": "ST",
        "instrument": "VNA",
        "at": at,
        "by": "simulation",
        "method": "LRRM",
        "reference_impedance_ohm": 50.0,
        "reference_plane": "probe tips",
        "wave_definition": "power",
        "frequency_start_hz": float(FREQUENCY_HZ[0]),
        "frequency_stop_hz": float(FREQUENCY_HZ[-1]),
        "frequency_points": len(FREQUENCY_HZ),
        "averaging": 1,
        "ambient_c": 23.0,
        "substrate_c": 23.0,
        "overtravel_um": 50.0,
        "probe_spacing_um": 150.0,
        "state": STATE,
        "substrate": {
            "serial_number": "S-1",
            "standard_set": "row 1",
            "contacts": 3,
            "contacts_max": 100,
            "definitions_source": "simulation",
            "definitions_version": "1",
        },
        "definitions": {
            "thru": {"kind": "thru", "delay_ps": thru_ps, "delay_u_ps": THRU_U_PS},
            "short": {"kind": "short", "inductance_ph": (SHORT_PH,)},
            "open": {"kind": "open", "capacitance_ff": (OPEN_FF,)},
            "load": {
                "kind": "load",
                "resistance_ohm": LOAD_OHM,
                "resistance_u_ohm": LOAD_U_OHM,
                "inductance_ph": LOAD_PH,
            },
        },
        "uncertainty": {
            "noise_floor": NOISE,
            "trace_noise": TRACE,
            "contact_repeatability": CONTACT,
        },
        "sweeps": tuple(_sweep_dict(standard) for standard in STANDARDS),
        "switch_terms": {"forward": "switch-forward.s1p", "reverse": "switch-reverse.s1p"},
        "validity": {"hours": 12.0, "ambient_change_c": 1.0, "substrate_change_c": 1.0},
        "bounds": BOUNDS,
    }


def _sweep_dict(standard: str) -> dict[str, Any]:
    file = f"{standard}.s2p"
    if standard == "thru":
        return {"file": file, "between": "thru"}
    repeats = ("load-again.s2p",) if standard == "load" else ()
    return {"file": file, "port_1": standard, "port_2": standard, "repeats": repeats}


@cache
def _campaign_record() -> CampaignRecord:
    day = START.date()
    words = ("title", "requested_by", "responsible", "authorised_by", "laboratory", "place")
    return CampaignRecord.model_validate(
        {
            "campaign": {
                "id": "FAULTS",
                **dict.fromkeys(words, "simulated"),
                "simulated": True,
                "edition": 1,
                "edition_reason": "first",
                "issued": day,
            },
            "stations": (
                {
                    "id": "ST",
                    "name": "simulated station",
                    "place": "nowhere",
                    "instruments": (
                        {
                            "id": "VNA",
                            "kind": "vna",
                            "model": "simulated",
                            "serial_number": "1",
                            "certificate": "none",
                            "due": day.replace(year=day.year + 1),
                            "clock_offset_s": 0.0,
                            "clock_offset_u_s": 0.1,
                        },
                    ),
                    "probes": tuple(
                        {"id": f"P{port}", "kind": "rf", "port": port, "serial_number": f"{port}"}
                        for port in (1, 2)
                    ),
                },
            ),
            "decision": {"rule": "guarded"},
            "touchdowns": {"counts": "last"},
        }
    )


def _through(box: fw.Array, degrees: float, share: float) -> fw.Array:
    """A box whose way through has changed, in phase with frequency and in size with its root."""
    changed = box.copy()
    factor = (1 + share * np.sqrt(X)) * np.exp(1j * np.radians(degrees) * X)
    changed[:, 0, 1] *= factor
    changed[:, 1, 0] *= factor
    return changed


def _noisy(rng: np.random.Generator, raw: fw.Array, quiet: bool) -> fw.Array:
    if quiet:
        return raw
    return np.asarray(raw + _complex(rng, raw.shape, 1.0) * np.hypot(NOISE, TRACE * np.abs(raw)))


def _complex(rng: np.random.Generator, shape: tuple[int, ...], u: float) -> fw.Array:
    return np.asarray(u * (rng.normal(size=shape) + 1j * rng.normal(size=shape)), np.complex128)
