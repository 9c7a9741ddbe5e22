"""The wafers' station: its substrate, its calibrations and verifications."""

from functools import cache

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.calibration import (
    LoadDefinition,
    Offset,
    OpenDefinition,
    ShortDefinition,
    StandardDefinition,
    ThruDefinition,
)
from sitegen.model.simulated import Portion, SimulatedSweep
from sitegen.simulate import structures
from sitegen.simulate.calibration_event import Calibrating, Occasion
from sitegen.simulate.reading import Readings
from sitegen.simulate.scenario import (
    FREQUENCY_HZ,
    CalibrationPlan,
    Scenario,
)
from sitegen.simulate.standards import Kit, Medium, attenuator, both_ports, kit_of, reflection
from sitegen.simulate.station import Analyser
from sitegen.simulate.station_records import (
    ONE_PORT_STATE,
    PROBES,
    STATION,
    TWO_PORT_STATE,
    VNA,
)

DEFINITIONS: dict[str, StandardDefinition] = {
    "thru": ThruDefinition(kind="thru", delay_ps=1.0, delay_u_ps=0.01),
    "short": ShortDefinition(kind="short", inductance_ph=(3.3,), inductance_u_ph=0.15),
    # negative: lifted probes have less capacitance than touching ones
    "open": OpenDefinition(kind="open", capacitance_ff=(-6.2,), capacitance_u_ff=0.15),
    "load": LoadDefinition(
        kind="load",
        resistance_ohm=50.0,
        inductance_ph=4.6,
        resistance_u_ohm=0.02,
        inductance_u_ph=0.3,
    ),
}
"""Of the contact substrate; the probes touch every standard without an offset."""
LINE = Medium(effective_permittivity=5.2, capacitance_pf_per_m=150.0, loss_ohm_per_m=480.0)
LINE_UM = 920.0
"""The verification line: 7 ps."""
LINE_HZ = 55.005e9
ATTENUATION_DB = 10.0
OFFSET_SHORT = ShortDefinition(kind="short", inductance_ph=(3.3,), offset=Offset(delay_ps=3.0))


def kit(seed: int) -> Kit:
    """The contact substrate of a campaign."""
    return kit_of("CS-88", DEFINITIONS, (seed, 51))


def calibration_portion(
    scenario: Scenario,
    number: int,
    analyser: Analyser,
    frequency_hz: FloatArray = FREQUENCY_HZ,
) -> Portion:
    """Everything of calibration number `number` that is written, and its true error boxes."""
    plan = scenario.calibrations[number]
    rng = np.random.default_rng([scenario.seed, 50, number])
    first, second = np.round(50.0 + rng.uniform(-0.04, 0.04, 2), 3).tolist()
    made = Calibrating(
        plan,
        kit(scenario.seed),
        Readings(analyser, frequency_hz, plan.at, rng),
        (first, second),
    )
    record = made.record(
        _occasion(scenario, plan.at, one_port=plan.method == "one-port"),
        {
            "serial_number": made.kit.serial_number,
            "standard_set": f"row {1 + number % 4}",
            "contacts": 12 + 9 * number,
            "contacts_max": 500,
            "definitions_source": "characterisation of this substrate (simulated)",
            "definitions_version": "3",
        },
        _bounds(plan),
    )
    record["probe_use"] = [
        {
            "port": port,
            "probe": probe,
            "contacts": 4210 + 700 * number + 13 * port,
            "contact_resistance_ohm": round(0.052 + 0.002 * number + 0.004 * port, 3),
            "contact_resistance_max_ohm": 0.2,
        }
        for port, probe in zip((1, 2)[: made.ports], PROBES, strict=False)
    ]
    return made.portion(record)


def verification_portion(scenario: Scenario, number: int, analyser: Analyser) -> Portion:
    """Everything of verification number `number` that is written."""
    plan = scenario.verifications[number]
    rng = np.random.default_rng([scenario.seed, 60, number])
    readings = Readings(analyser, FREQUENCY_HZ, plan.at, rng)
    calibrated = next(one for one in scenario.calibrations if one.id == plan.calibration)
    one_port = calibrated.method == "one-port"
    sweeps: dict[str, SimulatedSweep] = {}
    for name, true in (_one_port() if one_port else _two_ports()).items():
        file = f"{name}.s{true.shape[-1]}p"
        (sweeps[file],) = readings.raw(true, name)
    if not one_port:
        sweeps["line-reference.s2p"] = _line_reference(scenario.seed)
    return Portion(
        folder=f"verifications/{plan.id}",
        record_file="record.toml",
        record={
            "id": plan.id,
            "calibration": plan.calibration,
            **_occasion(scenario, plan.at, one_port).record(),
            "structures": _one_port_structures() if one_port else _two_port_structures(),
        },
        sweeps=sweeps,
        notes={"note.md": plan.note} if plan.note else {},
    )


def _occasion(scenario: Scenario, hours: float, one_port: bool) -> Occasion:
    return Occasion(
        STATION,
        VNA,
        scenario.time(hours),
        scenario.ambient_c(hours),
        scenario.substrate_c(hours),
        ONE_PORT_STATE if one_port else TWO_PORT_STATE,
    )


def _bounds(plan: CalibrationPlan) -> dict[str, object]:
    bounds: dict[str, object] = {
        "repeatability": 0.002,
        "noise_floor": 1e-4,
        "trace_noise": 2e-4,
        "load_resistance_difference_ohm": 0.25,
        "open_short_distance": 0.9,
        "raw_difference_from_previous": 0.02,
        "difference_from_previous": 0.1,
    }
    if plan.reported:
        bounds["reported_terms_difference"] = 0.05
    if plan.method == "LRRM":
        bounds |= {
            "load_inductance_min_ph": 0.0,
            "load_inductance_max_ph": 12.0,
            "reflect_magnitude_difference": 0.02,
            "fit_remainder": 0.02,
            "thru_phase_difference_deg": 3.0,
        }
    elif plan.method == "SOLT":
        bounds["residual"] = 0.02
    return bounds


def _one_port() -> dict[str, ComplexArray]:
    """What is contacted after a one-port calibration, (n_freq, 1, 1)."""
    return {"offset-short": reflection(OFFSET_SHORT, FREQUENCY_HZ).reshape(-1, 1, 1)}


@cache
def _two_ports() -> dict[str, ComplexArray]:
    """What is contacted after a two-port calibration, (n_freq, 2, 2)."""
    short = reflection(OFFSET_SHORT, FREQUENCY_HZ)
    return {
        "line": LINE.line(LINE_UM, FREQUENCY_HZ),
        "attenuator": attenuator(ATTENUATION_DB, FREQUENCY_HZ),
        "offset-short": both_ports(short, short),
    }


def _line_reference(seed: int) -> SimulatedSweep:
    true = _two_ports()["line"]
    return structures.measured_reference("line", FREQUENCY_HZ, true, 0.001, (seed, 61))


def _offset_short(file: str, parameters: tuple[str, ...]) -> dict[str, object]:
    return {
        "id": "offset-short",
        "description": f"short behind {OFFSET_SHORT.offset.delay_ps:g} ps of line",
        "file": file,
        "sweep": "raw",
        "reference": OFFSET_SHORT.model_dump(exclude_defaults=True),
        "passive": True,
        "passivity_tolerance": 0.02,
        "masks": [_mask(parameter, "complex deviation", 0.02, 0.10) for parameter in parameters],
    }


def _one_port_structures() -> list[dict[str, object]]:
    return [_offset_short("offset-short.s1p", ("s11",))]


def _two_port_structures() -> list[dict[str, object]]:
    return [
        {
            "id": "line",
            "description": "line of 7 ps",
            "file": "line.s2p",
            "sweep": "raw",
            "reference": {
                "kind": "measured",
                "file": "line-reference.s2p",
                "standard_uncertainty": 0.001,
                "measured_on": "acceptance of the station, 2026-01-19 (simulated)",
            },
            "length_um": LINE_UM,
            "line_quantities": structures.line_quantities(LINE, LINE_HZ),
            "agreement": "greatest value",
            "false_alarm_rate": 0.001,
            "passive": True,
            "reciprocal": True,
            "masks": [
                _mask("s21", "complex deviation", 0.01, 0.06),
                _mask("s11", "complex deviation", 0.01, 0.05),
            ],
        },
        {
            "id": "attenuator",
            "description": f"attenuator of {ATTENUATION_DB:g} dB",
            "file": "attenuator.s2p",
            "sweep": "raw",
            "reference": {"kind": "attenuator", "attenuation_db": ATTENUATION_DB},
            "passive": True,
            "reciprocal": True,
            "masks": [
                _mask("s21", "magnitude db", 0.15, 0.3),
                _mask("s21", "phase deg", 1.0, 4.0),
            ],
        },
        _offset_short("offset-short.s2p", ("s11", "s22")),
    ]


def _mask(parameter: str, quantity: str, low: float, high: float) -> dict[str, object]:
    middle = round((low + high) / 2, 6)
    return structures.mask(parameter, quantity, ((10e6, low), (40e9, middle), (110e9, high)))
