"""Calibrations and verifications: their records and the raw sweeps that the analyser showed."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import ComplexArray
from sitegen.model.simulated import Portion, SimulatedSweep
from sitegen.simulate import standards
from sitegen.simulate.scenario import (
    FREQUENCY_HZ,
    CalibrationPlan,
    Scenario,
    VerificationPlan,
)
from sitegen.simulate.station import Analyser, noise
from sitegen.simulate.station_records import ONE_PORT_STATE, STATION, TWO_PORT_STATE, VNA

REPEATS = 2
"""Further raw sweeps of the loads, without lifting the probes."""
_TWO_PORT_CONTACTS = ("thru", "short", "open", "load")
_ONE_PORT_CONTACTS = ("short", "open", "load")


@dataclass(frozen=True, eq=False)
class Readings:
    """The analyser at one moment: raw sweeps of standards, with noise of their own."""

    analyser: Analyser
    hours: float
    rng: np.random.Generator

    def two_port(self, true: ComplexArray, says: str) -> SimulatedSweep:
        """A raw sweep of a two-port (n_freq, 2, 2)."""
        raw = self.analyser.raw(true[None], FREQUENCY_HZ, np.array([self.hours]))[0]
        return SimulatedSweep(
            FREQUENCY_HZ, raw + noise(self.rng, FREQUENCY_HZ, raw.shape), f"raw sweep, {says}"
        )

    def one_port(self, true: ComplexArray, says: str) -> SimulatedSweep:
        """A raw sweep of a reflection (n_freq,) at port 1."""
        at = np.array([self.hours])
        raw = self.analyser.raw_one_port(true[None], FREQUENCY_HZ, at)[0]
        raw = raw + noise(self.rng, FREQUENCY_HZ, raw.shape)
        return SimulatedSweep(FREQUENCY_HZ, raw.reshape(-1, 1, 1), f"raw sweep, {says}")


def calibration_portion(scenario: Scenario, number: int, analyser: Analyser) -> Portion:
    """Everything of calibration number `number` that is written, and its true error boxes."""
    plan = scenario.calibrations[number]
    rng = np.random.default_rng([scenario.seed, 50, number])
    readings = Readings(analyser, plan.at, rng)
    loads_ohm = np.round(standards.LOAD_OHM + rng.uniform(-0.04, 0.04, 2), 3)
    one_port = plan.method == "one-port"
    sweeps = {}
    for name in _ONE_PORT_CONTACTS if one_port else _TWO_PORT_CONTACTS:
        for repeat in range(1 + (REPEATS if name == "load" else 0)):
            file = f"{name}{f'-repeat-{repeat}' if repeat else ''}.{'s1p' if one_port else 's2p'}"
            if one_port:
                true = standards.reflection(name, FREQUENCY_HZ, loads_ohm[0])
                sweeps[file] = readings.one_port(true, name)
            else:
                s = standards.two_port(name, FREQUENCY_HZ, (loads_ohm[0], loads_ohm[1]))
                sweeps[file] = readings.two_port(s, name)
    if not one_port:
        for file, values in zip(
            ("switch-forward.s1p", "switch-reverse.s1p"),
            analyser.ends_s(FREQUENCY_HZ),
            strict=True,
        ):
            shown = values + noise(rng, FREQUENCY_HZ, values.shape)
            sweeps[file] = SimulatedSweep(FREQUENCY_HZ, shown.reshape(-1, 1, 1), "switch term")
    return Portion(
        folder=f"calibrations/{plan.id}",
        record_file="record.toml",
        record=_calibration_record(scenario, plan, number, loads_ohm.tolist()),
        sweeps=sweeps,
        notes={"note.md": plan.note} if plan.note else {},
        true_tables={"error-boxes.parquet": true_boxes(analyser, plan.at)},
    )


def verification_portion(scenario: Scenario, number: int, analyser: Analyser) -> Portion:
    """Everything of verification number `number` that is written."""
    plan = scenario.verifications[number]
    rng = np.random.default_rng([scenario.seed, 60, number])
    readings = Readings(analyser, plan.at, rng)
    calibrated = next(one for one in scenario.calibrations if one.id == plan.calibration)
    offset_short = standards.reflection("offset-short", FREQUENCY_HZ)
    if calibrated.method == "one-port":
        sweeps = {"offset-short.s1p": readings.one_port(offset_short, "offset short")}
    else:
        sweeps = {
            "line.s2p": readings.two_port(standards.two_port("line", FREQUENCY_HZ), "line"),
            "line-reference.s2p": _line_reference(scenario),
            "attenuator.s2p": readings.two_port(
                standards.two_port("attenuator", FREQUENCY_HZ), "attenuator"
            ),
            "offset-short.s2p": readings.two_port(
                standards.two_port("offset-short", FREQUENCY_HZ), "offset shorts"
            ),
        }
    return Portion(
        folder=f"verifications/{plan.id}",
        record_file="record.toml",
        record=_verification_record(scenario, plan, calibrated),
        sweeps=sweeps,
        notes={"note.md": plan.note} if plan.note else {},
    )


def true_boxes(analyser: Analyser, hours: float) -> pa.Table:
    """Both ports' error boxes and the switch terms as they truly were: one row a frequency."""
    first, second = analyser.boxes(FREQUENCY_HZ, np.array([hours]))
    forward, reverse = analyser.ends_s(FREQUENCY_HZ)
    columns = {"frequency_hz": FREQUENCY_HZ}
    terms = {
        f"port_{port}_s{i + 1}{j + 1}": box[0, :, i, j]
        for port, box in ((1, first), (2, second))
        for i in (0, 1)
        for j in (0, 1)
    } | {"switch_forward": forward, "switch_reverse": reverse}
    for name, values in terms.items():
        columns[f"{name}_re"], columns[f"{name}_im"] = values.real, values.imag
    return pa.table(columns)


def _line_reference(scenario: Scenario) -> SimulatedSweep:
    rng = np.random.default_rng([scenario.seed, 61])
    true = standards.two_port("line", FREQUENCY_HZ)
    measured = true + 20 * noise(rng, FREQUENCY_HZ, true.shape)
    return SimulatedSweep(FREQUENCY_HZ, measured, "corrected sweep of the line at acceptance")


def _calibration_record(
    scenario: Scenario, plan: CalibrationPlan, number: int, loads_ohm: list[float]
) -> dict[str, object]:
    one_port = plan.method == "one-port"
    names = _ONE_PORT_CONTACTS if one_port else _TWO_PORT_CONTACTS
    substrate: dict[str, object] = {
        "serial_number": "CS-88",
        "standard_set": f"row {1 + number % 4}",
        "contacts": 12 + 9 * number,
        "contacts_max": 500,
        "definitions_source": "characterisation of this substrate (simulated)",
        "definitions_version": "3",
        "load_resistance_port_1_ohm": loads_ohm[0],
    }
    if not one_port:
        substrate["load_resistance_port_2_ohm"] = loads_ohm[1]
    bounds: dict[str, object] = {"repeatability": 0.002, "load_resistance_difference_ohm": 0.25}
    if plan.method == "LRRM":
        bounds |= {
            "load_inductance_min_ph": 0.0,
            "load_inductance_max_ph": 12.0,
            "reflect_magnitude_difference": 0.01,
        }
    elif plan.method == "SOLT":
        bounds["residual"] = 0.02
    record: dict[str, object] = {
        "id": plan.id,
        "station": STATION,
        "instrument": VNA,
        "at": scenario.time(plan.at),
        "by": "measurement engineer on duty",
        "method": plan.method,
        "ports": [1] if one_port else [1, 2],
        "reference_impedance_ohm": 50.0,
        "reference_plane": "probe tips",
        "wave_definition": "power",
        "frequency_start_hz": float(FREQUENCY_HZ[0]),
        "frequency_stop_hz": float(FREQUENCY_HZ[-1]),
        "frequency_points": len(FREQUENCY_HZ),
        "averaging": 4,
        "ambient_c": scenario.ambient_c(plan.at),
        "substrate_c": scenario.substrate_c(plan.at),
        "overtravel_um": 50.0,
        "probe_spacing_um": 150.0,
        "state": ONE_PORT_STATE if one_port else TWO_PORT_STATE,
        "substrate": substrate,
        "definitions": {name: standards.DEFINITIONS[name] for name in names},
        "sweeps": [_contact(name, one_port) for name in names],
        "validity": {
            "hours": plan.valid_hours,
            "ambient_change_c": 1.5,
            "substrate_change_c": 2.0,
        },
        "bounds": bounds,
    }
    if not one_port:
        record["switch_terms"] = {
            "forward": "switch-forward.s1p",
            "reverse": "switch-reverse.s1p",
        }
    return record


def _contact(name: str, one_port: bool) -> dict[str, object]:
    ending = "s1p" if one_port else "s2p"
    contact: dict[str, object] = {"file": f"{name}.{ending}"}
    if name == "load":
        contact["repeats"] = [f"load-repeat-{n}.{ending}" for n in range(1, REPEATS + 1)]
    if name == "thru":
        return contact | {"between": "thru"}
    return contact | ({"port_1": name} if one_port else {"port_1": name, "port_2": name})


def _verification_record(
    scenario: Scenario, plan: VerificationPlan, calibrated: CalibrationPlan
) -> dict[str, object]:
    one_port = calibrated.method == "one-port"
    structures = _one_port_structures() if one_port else _two_port_structures()
    return {
        "id": plan.id,
        "station": STATION,
        "instrument": VNA,
        "calibration": plan.calibration,
        "at": scenario.time(plan.at),
        "by": "measurement engineer on duty",
        "ambient_c": scenario.ambient_c(plan.at),
        "substrate_c": scenario.substrate_c(plan.at),
        "state": ONE_PORT_STATE if one_port else TWO_PORT_STATE,
        "structures": structures,
    }


def _mask(parameter: str, quantity: str, low: float, high: float) -> dict[str, object]:
    return {
        "parameter": parameter,
        "quantity": quantity,
        "points": [[10e6, low], [40e9, (low + high) / 2], [110e9, high]],
    }


def _offset_short(file: str, masks: list[dict[str, object]]) -> dict[str, object]:
    return {
        "id": "offset-short",
        "description": f"short behind {standards.OFFSET_PS:g} ps of line",
        "file": file,
        "sweep": "raw",
        "reference": {
            "kind": "short",
            "inductance_ph": [standards.SHORT_PH],
            "offset": {"delay_ps": standards.OFFSET_PS, "z0_ohm": 50.0},
        },
        "masks": masks,
    }


def _one_port_structures() -> list[dict[str, object]]:
    mask = _mask("s11", "complex deviation", 0.02, 0.10)
    return [_offset_short("offset-short.s1p", [mask])]


def _two_port_structures() -> list[dict[str, object]]:
    reflect = ("s11", "s22")
    return [
        {
            "id": "line",
            "description": f"line of {standards.LINE_PS:g} ps",
            "file": "line.s2p",
            "sweep": "raw",
            "reference": {
                "kind": "measured",
                "file": "line-reference.s2p",
                "standard_uncertainty": 0.001,
                "measured_on": "acceptance of the station, 2026-01-19 (simulated)",
            },
            "masks": [
                _mask("s21", "complex deviation", 0.01, 0.06),
                _mask("s11", "complex deviation", 0.01, 0.05),
            ],
        },
        {
            "id": "attenuator",
            "description": f"attenuator of {standards.ATTENUATION_DB:g} dB",
            "file": "attenuator.s2p",
            "sweep": "raw",
            "reference": {"kind": "attenuator", "attenuation_db": standards.ATTENUATION_DB},
            "masks": [
                _mask("s21", "magnitude db", 0.1, 0.3),
                _mask("s21", "phase deg", 1.0, 4.0),
            ],
        },
        _offset_short(
            "offset-short.s2p",
            [_mask(parameter, "complex deviation", 0.02, 0.10) for parameter in reflect],
        ),
    ]
