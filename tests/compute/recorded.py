"""Calibration records of every method with noiseless sweeps of a simulated station.

The sweeps come from the forward model of `tests.compute.rf`, which shares no code with the
program; what they contact, in which order and at which port, is up to the caller.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.terms import TwoPortTerms, term_rows
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.loaded import LoadedCalibration, LoadedStandard, Sweep
from tests.compute.events import STATE, hour
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import shifted

PERMITTIVITY = 5.2
S_PER_UM = 1e-6 * np.sqrt(PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S
SHORT_PH, OPEN_FF, LOAD_OHM, LOAD_PH = 3.0, -6.0, 50.5, 4.5
LINES_UM = (200.0, 450.0, 900.0, 1800.0, 3500.0)
PF_PER_M = 150.0
GATE = 1e-10
METHODS = ("SOLT", "SOLR", "LRM", "LRRM", "TRL", "multiline TRL")


@dataclass(frozen=True)
class Arrangement:
    """How the standards lie and how they were measured."""

    offset_um: float = 0.0
    """In front of short, open and load."""
    thru_um: float = 200.0
    load_ports: tuple[int, ...] = (1, 2)
    ports_apart: bool = False
    """Each one-port standard in a sweep of its own for each port."""
    order: int = 0
    """Seed of the order of the sweeps."""
    reflect: str = "reflect"
    """What LRM and TRL take as their reflect: reflect, short or open."""
    short_2_ph: float = SHORT_PH
    """The short at port 2; another one has a definition of its own."""
    fourth: bool = False
    """A load of 25 ohm at both ports as well."""
    fourth_u_ohm: float = 0.0
    with_switch_terms: bool = True
    lines_um: tuple[float, ...] = LINES_UM
    changes: dict[str, Any] = field(default_factory=dict)
    """Fields of the record."""


def line_propagation(frequency_hz: fw.Floats) -> fw.Array:
    """Of a lossy line with a capacitance of 150 pF/m, some 47 ohm, from its R, L, C per metre."""
    omega = 2 * np.pi * frequency_hz
    capacitance = PF_PER_M * 1e-12
    inductance = PERMITTIVITY / fw.SPEED_OF_LIGHT_M_PER_S**2 / capacitance
    series = 300.0 * (1 + 1j) * np.sqrt(frequency_hz / 1e9) + 1j * omega * inductance
    return np.sqrt(series * 1j * omega * capacitance)


def line_impedance(frequency_hz: fw.Floats) -> fw.Array:
    omega = 2 * np.pi * frequency_hz
    z_c: fw.Array = line_propagation(frequency_hz) / (1j * omega * PF_PER_M * 1e-12)
    return z_c


def recorded(
    method: str, at: fw.Station, frequency_hz: fw.Floats, how: Arrangement = Arrangement()
) -> LoadedCalibration:
    """The calibration as it would have been read."""
    contacts = _contacts(method, how)
    np.random.default_rng(how.order).shuffle(contacts)
    record = _record(method, frequency_hz, contacts, how)
    standards = tuple(
        LoadedStandard(
            sweep, Sweep(sweep.file, frequency_hz, _raw(at, frequency_hz, contact, how), 50.0), ()
        )
        for sweep, contact in zip(record.sweeps, contacts, strict=True)
    )
    with_switch = how.with_switch_terms and method != "one-port"
    return LoadedCalibration(
        record=record,
        standards=standards,
        switch_forward=at.switch_forward if with_switch else None,
        switch_reverse=at.switch_reverse if with_switch else None,
        reported_terms=None,
        missing=(),
        note=None,
        sources=(),
    )


def _contacts(method: str, how: Arrangement) -> list[dict[str, str]]:
    if "TRL" in method:
        named = [f"line-{place}" for place in range(len(how.lines_um))]
        return [{"between": name} for name in named] + _reflects(how, [how.reflect])
    names = [how.reflect] if method == "LRM" else ["short", "open"]
    loads = [{f"port_{port}": "load" for port in how.load_ports}]
    if how.ports_apart:
        loads = [{f"port_{port}": "load"} for port in how.load_ports]
    thru = [] if method == "one-port" else [{"between": "thru"}]
    fourth = [{"port_1": "load-25", "port_2": "load-25"}] if how.fourth else []
    return _reflects(how, names) + loads + fourth + thru


def _reflects(how: Arrangement, names: Sequence[str]) -> list[dict[str, str]]:
    contacts = []
    for name in names:
        other = "short-2" if name == "short" and how.short_2_ph != SHORT_PH else name
        if how.ports_apart:
            contacts += [{"port_1": name}, {"port_2": other}]
        else:
            contacts.append({"port_1": name, "port_2": other})
    return contacts


def _record(
    method: str, frequency_hz: fw.Floats, contacts: list[dict[str, str]], how: Arrangement
) -> CalibrationRecord:
    is_trl = "TRL" in method
    return CalibrationRecord.model_validate(
        {
            "id": "CAL-1",
            "station": "A",
            "instrument": "VNA-1",
            "at": hour(0.0),
            "by": "engineer",
            "method": method,
            "ports": (1, 2),
            "reference_impedance_ohm": 50.0,
            "reference_plane": "probe tips",
            "wave_definition": "pseudo",
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
            "definitions": _definitions(how),
            "line_medium": {
                "effective_permittivity": 1.04 * PERMITTIVITY,
                "capacitance_pf_per_m": PF_PER_M,
                "source": "closed form",
            }
            if is_trl
            else None,
            "sweeps": tuple(
                {"file": f"{place}.s2p", **contact} for place, contact in enumerate(contacts)
            ),
            "validity": {"hours": 8.0, "ambient_change_c": 1.0, "substrate_change_c": 1.0},
            **how.changes,
        }
    )


def _definitions(how: Arrangement) -> dict[str, dict[str, Any]]:
    offset = {"delay_ps": how.offset_um * S_PER_UM * 1e12}
    lines = {
        f"line-{place}": {"kind": "line", "length_um": um} for place, um in enumerate(how.lines_um)
    }
    return {
        "short": {"kind": "short", "inductance_ph": (SHORT_PH,), "offset": offset},
        "short-2": {"kind": "short", "inductance_ph": (how.short_2_ph,), "offset": offset},
        "open": {"kind": "open", "capacitance_ff": (OPEN_FF,), "offset": offset},
        "load": {
            "kind": "load",
            "resistance_ohm": LOAD_OHM,
            "inductance_ph": LOAD_PH,
            "offset": offset,
        },
        "load-25": {
            "kind": "load",
            "resistance_ohm": 25.0,
            "resistance_u_ohm": how.fourth_u_ohm,
            "offset": offset,
        },
        "reflect": {"kind": "reflect", "near": "short", "offset": offset},
        "thru": {"kind": "thru", "delay_ps": how.thru_um * S_PER_UM * 1e12},
        **lines,
    }


def _raw(
    at: fw.Station, frequency_hz: fw.Floats, contact: dict[str, str], how: Arrangement
) -> fw.Array:
    between = contact.get("between")
    if between == "thru":
        return fw.raw_sweep(at, fw.ideal_line(frequency_hz, how.thru_um * S_PER_UM))
    if between is not None:
        length_m = how.lines_um[int(between.removeprefix("line-"))] * 1e-6
        propagation, z_c = line_propagation(frequency_hz), line_impedance(frequency_hz)
        return fw.raw_sweep(at, fw.line_s(frequency_hz, propagation * length_m, z_c))
    lifted = np.full(len(frequency_hz), 0.3 + 0.1j)
    gammas = (
        _gamma(contact[port], frequency_hz, how) if port in contact else lifted
        for port in ("port_1", "port_2")
    )
    return fw.raw_sweep(at, fw.pair(*gammas))


def _gamma(name: str, frequency_hz: fw.Floats, how: Arrangement) -> fw.Array:
    """True reflections; the unknown reflect is a lossy short of another inductance."""
    match name:
        case "short":
            gamma = fw.short_gamma(frequency_hz, SHORT_PH * 1e-12)
        case "short-2":
            gamma = fw.short_gamma(frequency_hz, how.short_2_ph * 1e-12)
        case "open":
            gamma = fw.open_gamma(frequency_hz, OPEN_FF * 1e-15)
        case "load":
            gamma = fw.load_gamma(frequency_hz, LOAD_OHM, LOAD_PH * 1e-12)
        case "load-25":
            gamma = fw.load_gamma(frequency_hz, 25.0, 0.0)
        case _:
            gamma = 0.93 * fw.short_gamma(frequency_hz, 6e-12)
    return shifted(gamma, frequency_hz, how.offset_um * S_PER_UM)


def known_points(solution: CalibrationSolution) -> NDArray[np.bool_]:
    """Where the equations are well conditioned, and the lines of TRL far enough apart."""
    known = solution.condition <= 1e4
    if solution.method == "TRL":
        assert solution.solved_line is not None
        phase_deg = solution.solved_line.phase_difference_deg
        known &= (phase_deg >= 20.0) & (phase_deg <= 160.0)
    return known


def assert_recovers(
    solution: CalibrationSolution, at: fw.Station, least_share: float = 0.95
) -> None:
    """Truth at every well-conditioned point, nothing elsewhere."""
    terms = solution.terms
    assert isinstance(terms, TwoPortTerms) and terms.z_ref_ohm == 50.0
    known = solution.determined
    assert known.tolist() == known_points(solution).tolist()
    assert known.mean() >= least_share
    devices = fw.passive_devices(5, 6, len(known))
    corrected = correct(terms, fw.raw_sweep(at, devices))
    assert np.abs(corrected - devices)[:, known].max() <= GATE
    for row in term_rows(terms):
        assert np.isnan(row.values).tolist() == (~known).tolist()
