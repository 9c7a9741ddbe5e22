"""A station and its standards, simulated with formulas of its own.

Nothing here comes from the program: flow graphs of two-ports in cascade, reflections from
impedances, lines from their travelling waves. Arrays are (n_freq,) or (n_freq, 2, 2).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.complexfloating[Any, Any]]
Floats = NDArray[np.float64]

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
BAND_HZ = np.linspace(10e6, 110e9, 101)
Z_REF_OHM = 50.0
THRU_DELAY_S = 200e-6 * np.sqrt(5.2) / SPEED_OF_LIGHT_M_PER_S
"""200 um of line with an effective permittivity of 5.2."""


@dataclass(frozen=True, eq=False)
class Station:
    """Error boxes between receivers and probe tips, switch terms, and leakage."""

    box_1: Array
    box_2: Array
    switch_forward: Array
    switch_reverse: Array
    leak: Array


def station(seed: int, frequency_hz: Floats = BAND_HZ, leak: float = 0.0) -> Station:
    """Lossy, badly matched, non-reciprocal error boxes that vary smoothly over frequency."""
    rng = np.random.default_rng(seed)
    x = frequency_hz / 110e9

    def smooth(size: float) -> Array:
        amplitude, phase, turns = rng.uniform(0.3, 1.0), rng.uniform(0, 6.28), rng.uniform(1, 4)
        wave: Array = size * amplitude * np.exp(-1j * (phase + turns * 6.28 * x)) * (0.6 + 0.4 * x)
        return wave

    def box() -> Array:
        delay_s, loss = rng.uniform(20e-12, 40e-12), rng.uniform(0.3, 0.9)
        through = np.exp(-loss * np.sqrt(x) - 2j * np.pi * frequency_hz * delay_s)
        s = np.empty((len(frequency_hz), 2, 2), dtype=np.complex128)
        s[:, 0, 0], s[:, 1, 1] = smooth(0.2), smooth(0.2)
        s[:, 1, 0] = through * (1 + smooth(0.05))
        s[:, 0, 1] = through * (0.9 + smooth(0.05))
        return s

    leakage = np.zeros((len(frequency_hz), 2, 2), dtype=np.complex128)
    leakage[:, 1, 0], leakage[:, 0, 1] = smooth(leak), smooth(leak)
    return Station(box(), box(), smooth(0.15), smooth(0.15), leakage)


@np.errstate(invalid="ignore")
def cascade(left: Array, right: Array) -> Array:
    """Port 2 of the left two-port joined to port 1 of the right one (flow-graph loops)."""
    loop = 1.0 - left[..., 1, 1] * right[..., 0, 0]
    joined = np.empty(np.broadcast_shapes(left.shape, right.shape), dtype=np.complex128)
    joined[..., 0, 0] = (
        left[..., 0, 0] + left[..., 0, 1] * right[..., 0, 0] * left[..., 1, 0] / loop
    )
    joined[..., 1, 0] = left[..., 1, 0] * right[..., 1, 0] / loop
    joined[..., 0, 1] = left[..., 0, 1] * right[..., 0, 1] / loop
    joined[..., 1, 1] = (
        right[..., 1, 1] + right[..., 1, 0] * left[..., 1, 1] * right[..., 0, 1] / loop
    )
    return joined


@np.errstate(invalid="ignore")
def raw_sweep(at: Station, device: Array) -> Array:
    """What the receivers show of a two-port between the tips; leading axes are devices."""
    between = cascade(cascade(at.box_1, device), at.box_2)
    n11, n12, n21, n22 = (between[..., i, j] for i in (0, 1) for j in (0, 1))
    forward, reverse = at.switch_forward, at.switch_reverse
    raw = np.empty(between.shape, dtype=np.complex128)
    raw[..., 0, 0] = n11 + n12 * n21 * forward / (1.0 - n22 * forward)
    raw[..., 1, 0] = n21 / (1.0 - n22 * forward)
    raw[..., 1, 1] = n22 + n12 * n21 * reverse / (1.0 - n11 * reverse)
    raw[..., 0, 1] = n12 / (1.0 - n11 * reverse)
    return raw + at.leak


@np.errstate(invalid="ignore")
def raw_reflection(box: Array, gamma: Array) -> Array:
    """Raw reflection of a one-port behind an error box."""
    return box[..., 0, 0] + box[..., 0, 1] * box[..., 1, 0] * gamma / (1 - box[..., 1, 1] * gamma)


def from_impedance(impedance_ohm: Array) -> Array:
    return (impedance_ohm - Z_REF_OHM) / (impedance_ohm + Z_REF_OHM)


def from_admittance(admittance_s: Array) -> Array:
    return (1 - Z_REF_OHM * admittance_s) / (1 + Z_REF_OHM * admittance_s)


def short_gamma(frequency_hz: Floats, inductance_h: float | Floats) -> Array:
    return from_impedance(2j * np.pi * frequency_hz * inductance_h)


def open_gamma(frequency_hz: Floats, capacitance_f: float | Floats) -> Array:
    return from_admittance(2j * np.pi * frequency_hz * capacitance_f)


def load_gamma(
    frequency_hz: Floats, resistance_ohm: float, inductance_h: float, capacitance_f: float = 0.0
) -> Array:
    omega = 2 * np.pi * frequency_hz
    series = 1 / (resistance_ohm + 1j * omega * inductance_h)
    return from_admittance(series + 1j * omega * capacitance_f)


def line_s(frequency_hz: Floats, gamma_l: Array, z_c_ohm: float | Array) -> Array:
    """A line of propagation gamma*l and impedance z_c, from its internal reflections."""
    step = from_impedance(np.broadcast_to(np.asarray(z_c_ohm, complex), frequency_hz.shape))
    once = np.exp(-gamma_l)
    shared = 1.0 - step**2 * once**2
    s = np.empty((len(frequency_hz), 2, 2), dtype=np.complex128)
    s[:, 0, 0] = s[:, 1, 1] = step * (1.0 - once**2) / shared
    s[:, 0, 1] = s[:, 1, 0] = once * (1.0 - step**2) / shared
    return s


def ideal_line(frequency_hz: Floats, delay_s: float) -> Array:
    return line_s(frequency_hz, 2j * np.pi * frequency_hz * delay_s, Z_REF_OHM)


def pair(gamma_1: Array, gamma_2: Array) -> Array:
    """Two one-ports as a two-port that lets nothing through."""
    s = np.zeros((*gamma_1.shape, 2, 2), dtype=np.complex128)
    s[..., 0, 0], s[..., 1, 1] = gamma_1, gamma_2
    return s


def passive_devices(seed: int, n: int, n_freq: int) -> Array:
    """Random two-ports, reflecting or transmitting anything below full power."""
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(n, n_freq, 2, 2)) + 1j * rng.normal(size=(n, n_freq, 2, 2))
    largest = np.linalg.norm(s, ord=2, axis=(-2, -1), keepdims=True)
    scaled: Array = s / largest * rng.uniform(0.05, 0.98, size=(n, n_freq, 1, 1))
    return scaled


def active_devices(seed: int, n: int, n_freq: int) -> Array:
    """Random amplifiers: gain up to 20 dB, feedback up to -20 dB."""
    s = passive_devices(seed, n, n_freq)
    s[..., 1, 0] *= 10.0
    s[..., 0, 1] *= 0.1
    return s
