"""Definitions of calibration standards and the S-parameters that they promise.

Closed forms only. Every standard is a lumped termination behind an offset line, worked out
with the line's chain matrix, so that an ideal short or open needs no special case.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.polynomial import polynomial

from sitegen.model.arrays import ComplexArray, FloatArray

Coefficients = float | tuple[float, ...]
"""One value, or up to four coefficients of a cubic polynomial in frequency (see `Short`)."""


@dataclass(frozen=True)
class Offset:
    """The line between the reference plane and a standard's termination."""

    delay_s: float = 0.0
    """One-way delay in seconds, never negative."""
    z0_ohm: float = 50.0
    """Characteristic impedance without loss, in ohm."""
    loss_ohm_per_s: float = 0.0
    """Skin-effect loss at 1 GHz, in ohm per second of one-way delay; see `line_chain`."""

    def __post_init__(self) -> None:
        if not (self.delay_s >= 0 and self.z0_ohm > 0 and self.loss_ohm_per_s >= 0):
            raise ValueError("an offset needs delay >= 0, impedance > 0 and loss >= 0")


@dataclass(frozen=True)
class Short:
    """A short circuit with a small series inductance.

    `inductance_h` is L0 or (L0, L1, L2, L3): L(f) = L0 + L1 f + L2 f^2 + L3 f^3, in
    H, H/Hz, H/Hz^2 and H/Hz^3 with f in Hz.
    """

    inductance_h: Coefficients = 0.0
    offset: Offset = field(default_factory=Offset)

    def __post_init__(self) -> None:
        _require_cubic(self.inductance_h)


@dataclass(frozen=True)
class Open:
    """An open circuit with a fringing capacitance (negative when probes are lifted).

    `capacitance_f` is C0 or (C0, C1, C2, C3): C(f) = C0 + C1 f + C2 f^2 + C3 f^3, in
    F, F/Hz, F/Hz^2 and F/Hz^3 with f in Hz.
    """

    capacitance_f: Coefficients = 0.0
    offset: Offset = field(default_factory=Offset)

    def __post_init__(self) -> None:
        _require_cubic(self.capacitance_f)


@dataclass(frozen=True)
class Load:
    """A resistor in series with an inductance; a capacitance lies in parallel with both."""

    resistance_ohm: float = 50.0
    inductance_h: float = 0.0
    capacitance_f: float = 0.0
    offset: Offset = field(default_factory=Offset)

    def __post_init__(self) -> None:
        if not self.resistance_ohm > 0:
            raise ValueError("a load needs a resistance above 0 ohm")


@dataclass(frozen=True)
class Thru:
    """A line between the two reference planes; delay 0 is a flush thru."""

    delay_s: float = 0.0
    z0_ohm: float = 50.0
    loss_ohm_per_s: float = 0.0

    @property
    def line(self) -> Offset:
        """The same line as an offset, whose checks it shares."""
        return Offset(self.delay_s, self.z0_ohm, self.loss_ohm_per_s)

    def __post_init__(self) -> None:
        _ = self.line  # refuses what is not a line


ReflectStandard = Short | Open | Load


def reflection(
    definition: ReflectStandard, frequency_hz: FloatArray, z_ref_ohm: float
) -> ComplexArray:
    """Reflection coefficient of a one-port standard at its reference plane.

    The termination is carried as numerator and denominator of its impedance, N/D, through
    the chain matrix of the offset: Z_in = (A N + B D)/(C N + D_chain D).

    Args:
        definition: the standard.
        frequency_hz: (n_freq,).
        z_ref_ohm: real reference impedance.

    Returns:
        (n_freq,) complex.
    """
    frequency_hz = np.asarray(frequency_hz, dtype=np.float64)
    numerator, denominator = _termination(definition, frequency_hz)
    a, b, c, d = line_chain(definition.offset, frequency_hz)
    voltage = a * numerator + b * denominator
    current_drop_v = z_ref_ohm * (c * numerator + d * denominator)
    return (voltage - current_drop_v) / (voltage + current_drop_v)


def transmission(thru: Thru, frequency_hz: FloatArray, z_ref_ohm: float) -> ComplexArray:
    """S-parameters of a thru or line between the reference planes.

    Returns:
        (n_freq, 2, 2) complex, symmetrical and reciprocal.
    """
    frequency_hz = np.asarray(frequency_hz, dtype=np.float64)
    a, b, c, d = line_chain(thru.line, frequency_hz)
    total = a + b / z_ref_ohm + c * z_ref_ohm + d
    s = np.empty((len(frequency_hz), 2, 2), dtype=np.complex128)
    s[:, 0, 0] = s[:, 1, 1] = (a + b / z_ref_ohm - c * z_ref_ohm - d) / total
    s[:, 0, 1] = s[:, 1, 0] = 2.0 / total
    return s


def line_chain(
    line: Offset, frequency_hz: FloatArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """Chain (ABCD) matrix of an offset line, B in ohm and C in siemens.

    With w = 2 pi f, delay T, impedance Z0 and loss K (ohm/s at 1 GHz):

        alpha l = K T / (2 Z0) sqrt(f / 1 GHz)      gamma l = alpha l + j (w T + alpha l)
        Zc = Z0 + (1 - j) K / (2 w) sqrt(f / 1 GHz)

    the skin-effect offset model usual in calibration-kit definitions, as in the Hewlett-
    Packard/Agilent application note 1287-11, "Specifying calibration standards and kits"
    (quoted from memory). This is a line with R = w L' = K sqrt(f / 1 GHz) added in series,
    to first order, and a lossless shunt capacitance. At 0 Hz the loss is taken as zero.

    Returns:
        A, B, C, D, each (n_freq,) complex.
    """
    omega = 2.0 * np.pi * frequency_hz
    gamma_l = 1j * omega * line.delay_s
    z_c: ComplexArray = np.full(len(frequency_hz), line.z0_ohm, dtype=np.complex128)
    if line.loss_ohm_per_s:
        root = np.sqrt(frequency_hz / 1e9)
        alpha_l = line.loss_ohm_per_s * line.delay_s / (2.0 * line.z0_ohm) * root
        gamma_l = gamma_l + (1.0 + 1.0j) * alpha_l
        root_over_omega = np.divide(root, omega, out=np.zeros_like(root), where=omega > 0)
        z_c = z_c + (1.0 - 1.0j) * line.loss_ohm_per_s / 2.0 * root_over_omega
    cosh, sinh = np.cosh(gamma_l), np.sinh(gamma_l)
    return cosh, z_c * sinh, sinh / z_c, cosh


def _termination(
    definition: ReflectStandard, frequency_hz: FloatArray
) -> tuple[ComplexArray, ComplexArray]:
    """Numerator (ohm) and denominator of the termination's impedance, (n_freq,) each."""
    omega = 2.0 * np.pi * frequency_hz
    one: ComplexArray = np.ones(len(frequency_hz), dtype=np.complex128)
    match definition:
        case Short():
            return 1j * omega * polynomial.polyval(frequency_hz, definition.inductance_h), one
        case Open():
            return one, 1j * omega * polynomial.polyval(frequency_hz, definition.capacitance_f)
        case Load():
            series: ComplexArray = definition.resistance_ohm + 1j * omega * definition.inductance_h
            return series, 1.0 + 1j * omega * definition.capacitance_f * series


def _require_cubic(coefficients: Coefficients) -> None:
    if isinstance(coefficients, tuple) and not 1 <= len(coefficients) <= 4:
        raise ValueError("a polynomial definition has one to four coefficients")
