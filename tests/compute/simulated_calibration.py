"""Calibrations drawn from declared distributions by a forward model of their own.

Records are made here and read by the program as from a file; sweeps come from `forward`, which
shares no code with it. Each draw has its own standards, contacts, moved paths and noise; the
station's error boxes stay, so that the truth of any device between the tips is known.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.loaded import LoadedCalibration, LoadedStandard, Sweep
from tests.compute.events import STATE, hour
from tests.compute.rf import forward as fw

SHORT_PH, OPEN_FF, LOAD_PH, LOAD_OHM, THRU_PS = 3.0, -6.0, 4.5, 50.0, 1.5
LINE_PERMITTIVITY = 5.2
LINE_F_PER_M = np.sqrt(LINE_PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S / 50.0
LINES_UM = (0.0, 400.0, 1400.0)


@dataclass(frozen=True)
class Sizes:
    """Standard uncertainties of every source, as the record declares them; zero: none."""

    short_ph: float = 0.0
    open_ff: float = 0.0
    load_ohm: float = 0.0
    load_ph: float = 0.0
    thru_ps: float = 0.0
    line_um: float = 0.0
    capacitance_share: float = 0.0
    noise_floor: float = 0.0
    trace_noise: float = 0.0
    contact: float = 0.0
    linearity: float = 0.0
    cable: float = 0.0


USUAL = Sizes(
    short_ph=0.3,
    open_ff=0.3,
    load_ohm=0.1,
    load_ph=0.5,
    thru_ps=0.01,
    line_um=1.0,
    capacitance_share=0.003,
    noise_floor=2e-5,
    trace_noise=1e-4,
    contact=1e-3,
    linearity=3e-4,
    cable=3e-4,
)


def record_of(
    method: str, frequency_hz: fw.Floats, sizes: Sizes, **changes: Any
) -> CalibrationRecord:
    """The record of a calibration with these sources declared."""
    return CalibrationRecord.model_validate(
        {
            "id": "CAL-1",
            "station": "A",
            "instrument": "VNA-1",
            "at": hour(0.0),
            "by": "engineer",
            "method": method,
            "ports": (1,) if method == "one-port" else (1, 2),
            "reference_impedance_ohm": 50.0,
            "reference_plane": "probe tips",
            "wave_definition": "power",
            "frequency_start_hz": float(frequency_hz[0]),
            "frequency_stop_hz": float(frequency_hz[-1]),
            "frequency_points": len(frequency_hz),
            "averaging": 1,
            "ambient_c": 23.0,
            "substrate_c": 25.0,
            "overtravel_um": 50.0,
            "probe_spacing_um": 150.0,
            "state": STATE.model_dump(),
            "substrate": {
                "serial_number": "S",
                "standard_set": "1",
                "contacts": 1,
                "contacts_max": 10,
                "definitions_source": "closed form",
                "definitions_version": "1",
            },
            "definitions": _definitions(method, sizes),
            "line_medium": {
                "effective_permittivity": LINE_PERMITTIVITY,
                "capacitance_pf_per_m": LINE_F_PER_M * 1e12,
                "capacitance_u_pf_per_m": sizes.capacitance_share * LINE_F_PER_M * 1e12,
                "source": "closed form",
            }
            if "TRL" in method
            else None,
            "uncertainty": {
                "noise_floor": sizes.noise_floor,
                "trace_noise": sizes.trace_noise,
                "contact_repeatability": sizes.contact,
                "linearity": sizes.linearity,
                "cable": sizes.cable,
            },
            "sweeps": tuple(
                {"file": f"{name}.s2p", **contacts} for name, contacts in _contacts(method).items()
            ),
            "validity": {"hours": 8.0, "ambient_change_c": 1.0, "substrate_change_c": 1.0},
            **changes,
        }
    )


def _definitions(method: str, sizes: Sizes) -> dict[str, Any]:
    if "TRL" in method:
        lines = {
            f"line-{place}": {
                "kind": "line",
                "length_um": um,
                "length_u_um": sizes.line_um * (um > 0),
            }
            for place, um in enumerate(_lines_um(method))
        }
        return {**lines, "reflect": {"kind": "reflect", "near": "short"}}
    return {
        "short": {
            "kind": "short",
            "inductance_ph": (SHORT_PH,),
            "inductance_u_ph": sizes.short_ph,
        },
        "open": {"kind": "open", "capacitance_ff": (OPEN_FF,), "capacitance_u_ff": sizes.open_ff},
        "load": {
            "kind": "load",
            "resistance_ohm": LOAD_OHM,
            "resistance_u_ohm": sizes.load_ohm,
            "inductance_ph": LOAD_PH,
            "inductance_u_ph": sizes.load_ph,
        },
        "thru": {"kind": "thru", "delay_ps": THRU_PS, "delay_u_ps": sizes.thru_ps},
        "reflect": {"kind": "reflect", "near": "short"},
    }


def _lines_um(method: str) -> tuple[float, ...]:
    return LINES_UM if method == "multiline TRL" else LINES_UM[:2]


def _contacts(method: str) -> dict[str, dict[str, str]]:
    def both(name: str) -> dict[str, str]:
        return {"port_1": name, "port_2": name}

    if "TRL" in method:
        lines = {
            f"line-{place}": {"between": f"line-{place}"} for place in range(len(_lines_um(method)))
        }
        return {**lines, "reflect": both("reflect")}
    names = ("reflect", "load") if method == "LRM" else ("short", "open", "load")
    if method == "one-port":
        return {name: {"port_1": name} for name in names}
    return {**{name: both(name) for name in names}, "thru": {"between": "thru"}}


def calibration(
    method: str,
    at: fw.Station,
    frequency_hz: fw.Floats,
    sizes: Sizes,
    rng: np.random.Generator,
    /,
    true: Sizes | None = None,
    **changes: Any,
) -> LoadedCalibration:
    """One draw: the record states `sizes`, and what happened has `true` ones (None: the same)."""
    record = record_of(method, frequency_hz, sizes, **changes)
    drawn = sizes if true is None else true
    standards = []
    for contact in record.sweeps:
        name = contact.file.removesuffix(".s2p")
        standards.append((contact, name))
    devices = _devices(method, frequency_hz, drawn, rng)
    with_switch = method not in ("SOLT", "one-port")
    return LoadedCalibration(
        record=record,
        standards=tuple(
            LoadedStandard(
                contact,
                Sweep(contact.file, frequency_hz, measured(at, devices[name], drawn, rng), 50.0),
                (),
            )
            for contact, name in standards
        ),
        switch_forward=at.switch_forward if with_switch else None,
        switch_reverse=at.switch_reverse if with_switch else None,
        reported_terms=None,
        missing=(),
        note=None,
        sources=(),
    )


def _devices(
    method: str, frequency_hz: fw.Floats, sizes: Sizes, rng: np.random.Generator
) -> dict[str, fw.Array]:
    """What truly lies between the tips: standards as they are, not as they are defined."""
    short = fw.short_gamma(frequency_hz, (SHORT_PH + sizes.short_ph * rng.normal()) * 1e-12)
    open_ = fw.open_gamma(frequency_hz, (OPEN_FF + sizes.open_ff * rng.normal()) * 1e-15)
    load = fw.load_gamma(
        frequency_hz,
        LOAD_OHM + sizes.load_ohm * rng.normal(),
        (LOAD_PH + sizes.load_ph * rng.normal()) * 1e-12,
    )
    thru = fw.ideal_line(frequency_hz, (THRU_PS + sizes.thru_ps * rng.normal()) * 1e-12)
    gamma_per_m = propagation_per_m(frequency_hz)
    share = 1.0 + sizes.capacitance_share * rng.normal()
    z_c = gamma_per_m / (2j * np.pi * frequency_hz * LINE_F_PER_M * share)
    devices = {
        "short": fw.pair(short, short),
        "open": fw.pair(open_, open_),
        "load": fw.pair(load, load),
        "thru": thru,
        "reflect": fw.pair(0.95 * short, 0.95 * short),
    }
    for place, um in enumerate(LINES_UM):
        length_m = (um + sizes.line_um * (um > 0) * rng.normal()) * 1e-6
        devices[f"line-{place}"] = fw.line_s(frequency_hz, gamma_per_m * length_m, z_c)
    return devices


def propagation_per_m(frequency_hz: fw.Floats) -> fw.Array:
    """Of the lines: losses that grow with the square root of frequency."""
    phase = 2j * np.pi * frequency_hz * np.sqrt(LINE_PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S
    gamma: fw.Array = phase + 20.0 * np.sqrt(frequency_hz / 100e9)
    return gamma


def measured(at: fw.Station, device: fw.Array, sizes: Sizes, rng: np.random.Generator) -> fw.Array:
    """A raw sweep of a device between the tips, with its own contact, paths and noise."""

    def circular(*shape: int) -> fw.Array:
        drawn: fw.Array = rng.normal(size=shape) + 1j * rng.normal(size=shape)
        return drawn

    through = np.array([[0.0, 1.0], [1.0, 0.0]])
    touched = device * (1.0 + sizes.contact * circular(1) * through)
    touched = touched + sizes.contact * np.diag(circular(2))
    raw = fw.raw_sweep(at, touched)
    path = sizes.cable * circular(2)
    raw = raw * (1.0 + path[:, np.newaxis] + path) * (1.0 + sizes.linearity * circular(2, 2))
    noise = np.hypot(sizes.noise_floor, sizes.trace_noise * np.abs(raw))
    return raw + noise * circular(*raw.shape)
