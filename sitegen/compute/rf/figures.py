"""Figures of a corrected two-port sweep at one frequency."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from sitegen.compute.rf.interpolation import interpolate
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import FIGURE_FORMULAS

Evaluate = Callable[[ComplexArray, float, float], FloatArray]
"""S (..., 2, 2), frequency in Hz and reference impedance in ohm to a figure (...)."""


@dataclass(frozen=True)
class Figure:
    """A figure of merit: what it is called, how it is computed and where that comes from."""

    name: str
    unit: str
    formula: str
    source: str
    evaluate: Evaluate


def figure_at(
    figure: Figure, s: ComplexArray, frequency_hz: FloatArray, at_hz: float, z_ref_ohm: float
) -> FloatArray:
    """A figure of any number of sweeps at one frequency.

    The complex S-parameters are interpolated in a straight line between the two points
    around `at_hz`, then the figure is computed; outside the sweep the result is NaN.

    Args:
        figure: one of `FIGURES`.
        s: (..., n_freq, 2, 2).
        frequency_hz: (n_freq,), increasing.
        at_hz: the wanted frequency.
        z_ref_ohm: real reference impedance of `s`.

    Returns:
        (...), NaN where a needed S-parameter is NaN or the figure is undefined.
    """
    by_frequency = np.moveaxis(s, -3, -1)
    at_one = interpolate(by_frequency, frequency_hz, np.array([at_hz]))[..., 0]
    with np.errstate(all="ignore"):
        value = figure.evaluate(at_one, at_hz, z_ref_ohm)
    return np.where(np.isfinite(value), value, np.nan)


def admittance(s: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """Y-parameters in siemens of two-port S-parameters, (..., 2, 2) to (..., 2, 2).

    Y = (1/Z0)(I - S)(I + S)^-1 for power waves at one real reference impedance (Pozar,
    "Microwave Engineering", conversion table; quoted from memory).
    """
    s11, s12, s21, s22 = (s[..., i, j] for i in (0, 1) for j in (0, 1))
    crossed = s12 * s21
    total = ((1 + s11) * (1 + s22) - crossed) * z_ref_ohm
    y = np.empty(s.shape, dtype=np.complex128)
    y[..., 0, 0] = ((1 - s11) * (1 + s22) + crossed) / total
    y[..., 0, 1] = -2 * s12 / total
    y[..., 1, 0] = -2 * s21 / total
    y[..., 1, 1] = ((1 + s11) * (1 - s22) + crossed) / total
    return y


def _decibel(ratio: ComplexArray) -> FloatArray:
    return 20.0 * np.log10(np.abs(ratio))


def _inductance_h(s: ComplexArray, at_hz: float, z_ref_ohm: float) -> FloatArray:
    y11 = admittance(s, z_ref_ohm)[..., 0, 0]
    return np.imag(1.0 / y11) / (2.0 * np.pi * at_hz)


def _quality(s: ComplexArray, at_hz: float, z_ref_ohm: float) -> FloatArray:
    y11 = admittance(s, z_ref_ohm)[..., 0, 0]
    return -y11.imag / y11.real


def _capacitance_f(s: ComplexArray, at_hz: float, z_ref_ohm: float) -> FloatArray:
    between = -1.0 / admittance(s, z_ref_ohm)[..., 0, 1]
    return -1.0 / (2.0 * np.pi * at_hz * between.imag)


def _h21_db(s: ComplexArray, at_hz: float, z_ref_ohm: float) -> FloatArray:
    y = admittance(s, z_ref_ohm)
    return _decibel(y[..., 1, 0] / y[..., 0, 0])


def _scattering(to_port: int, from_port: int) -> dict[str, Figure]:
    """Magnitude in dB and phase in degrees of one S-parameter."""
    i, j = to_port - 1, from_port - 1
    name = f"S{to_port}{from_port}"
    source = "definition"

    def decibel(s: ComplexArray, at_hz: float, z_ref_ohm: float) -> FloatArray:
        return _decibel(s[..., i, j])

    def degrees(s: ComplexArray, at_hz: float, z_ref_ohm: float) -> FloatArray:
        phase_deg = np.degrees(np.angle(s[..., i, j]))
        return np.where(s[..., i, j] == 0, np.nan, phase_deg)

    key = name.lower()
    magnitude = f"20 log10 |{name}|"
    return {
        f"{key} magnitude": Figure(f"|{name}|", "dB", magnitude, source, decibel),
        f"{key} phase": Figure(f"phase of {name}", "deg", f"arg {name}", source, degrees),
    }


FIGURES: Mapping[str, Figure] = MappingProxyType(
    {
        **_scattering(1, 1),
        **_scattering(1, 2),
        **_scattering(2, 1),
        **_scattering(2, 2),
        "inductance": Figure(
            "effective inductance",
            "H",
            FIGURE_FORMULAS["inductance"],
            "common practice: the series inductance seen at port 1 with port 2 shorted",
            _inductance_h,
        ),
        "inductor quality": Figure(
            "inductor quality factor",
            "1",
            FIGURE_FORMULAS["inductor quality"],
            "common practice: zero at self-resonance; counts shunt capacitance as lost storage",
            _quality,
        ),
        "capacitance": Figure(
            "series capacitance between the ports",
            "F",
            FIGURE_FORMULAS["capacitance"],
            "common practice: the series branch of the pi equivalent as a capacitor with a "
            "resistor in series; shunt branches at the ports do not enter",
            _capacitance_f,
        ),
        "h21 magnitude": Figure(
            "short-circuit current gain |h21|",
            "dB",
            FIGURE_FORMULAS["h21 magnitude"],
            "two-port theory: h21 = I2/I1 with port 2 shorted",
            _h21_db,
        ),
    }
)
"""Every figure by the key that a parameter's record names."""
