"""Contact substrates: definitions of their standards, and what the standards truly are.

A definition is the record that a calibration names. The standard itself has the same form, each
number with a draw of the uncertainty that its definition declares; what it presents to the probe
tips follows from chain matrices.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.base import Record
from sitegen.model.calibration import (
    LineDefinition,
    LineMedium,
    LoadDefinition,
    Offset,
    OpenDefinition,
    ReflectDefinition,
    ShortDefinition,
    StandardDefinition,
    ThruDefinition,
)
from sitegen.simulate import networks
from sitegen.simulate.networks import Z_REF_OHM

R = TypeVar("R", bound=Record)
Reflect = ShortDefinition | OpenDefinition | LoadDefinition
LIGHT_M_PER_S = 299_792_458.0


def drawn(declared: R, rng: np.random.Generator) -> R:
    """A record with every number `x_unit` off by a normal draw of its `x_u_unit`.

    Of a polynomial its first coefficient is drawn; an offset is drawn as well.
    """
    changes: dict[str, object] = {}
    for name in type(declared).model_fields:
        entry = getattr(declared, name)
        if isinstance(entry, Offset):
            changes[name] = drawn(entry, rng)
        elif "_u_" in name and entry:
            of = name.replace("_u_", "_", 1)
            value = getattr(declared, of)
            error = float(entry * rng.standard_normal())
            changes[of] = (
                (value[0] + error, *value[1:]) if isinstance(value, tuple) else value + error
            )
    return declared.model_copy(update=changes)


@dataclass(frozen=True)
class Medium:
    """The lines of a substrate as they truly are: coplanar lines without shunt conductance."""

    effective_permittivity: float
    """Without loss."""
    capacitance_pf_per_m: float
    loss_ohm_per_m: float
    """Series resistance at 1 GHz, growing with the square root of frequency, with the reactance
    of its skin effect."""

    def propagation_per_m(self, frequency_hz: FloatArray) -> ComplexArray:
        """sqrt((R + j w L)(j w C)), (n_freq,)."""
        return np.asarray(np.sqrt(self._series(frequency_hz) * self._shunt(frequency_hz)))

    def impedance_ohm(self, frequency_hz: FloatArray) -> ComplexArray:
        """sqrt((R + j w L)/(j w C)), (n_freq,)."""
        return np.asarray(np.sqrt(self._series(frequency_hz) / self._shunt(frequency_hz)))

    def line(self, length_um: float, frequency_hz: FloatArray) -> ComplexArray:
        """S-parameters of a length of it, (n_freq, 2, 2)."""
        gamma_l = self.propagation_per_m(frequency_hz) * length_um * 1e-6
        return networks.to_scattering(networks.line(gamma_l, self.impedance_ohm(frequency_hz)))

    def _series(self, frequency_hz: FloatArray) -> ComplexArray:
        inductance = self.effective_permittivity / (
            LIGHT_M_PER_S**2 * self.capacitance_pf_per_m * 1e-12
        )
        skin = self.loss_ohm_per_m * np.sqrt(frequency_hz / 1e9)
        return np.asarray(skin + 1j * (2 * np.pi * frequency_hz * inductance + skin))

    def _shunt(self, frequency_hz: FloatArray) -> ComplexArray:
        return np.asarray(2j * np.pi * frequency_hz * self.capacitance_pf_per_m * 1e-12)


@dataclass(frozen=True)
class Kit:
    """A contact substrate: what its definitions say, and what its standards are."""

    serial_number: str
    declared: Mapping[str, StandardDefinition]
    true: Mapping[str, StandardDefinition]
    declared_medium: LineMedium | None = None
    medium: Medium | None = None

    def presented(
        self, name: str, frequency_hz: FloatArray, day_ohm: float | None = None
    ) -> ComplexArray:
        """What a standard presents to the tips: (n_freq,) of a reflect, (n_freq, 2, 2) else.

        `day_ohm` is the load's resistance as measured that day; the ohmmeter errs by as much as
        the load's definition does.
        """
        true, declared = self.true[name], self.declared[name]
        match true:
            case ThruDefinition():
                return _thru(true, frequency_hz)
            case LineDefinition():
                assert self.medium is not None, "a line needs its medium"
                return self.medium.line(true.length_um, frequency_hz)
            case ReflectDefinition():
                known = self.true[true.near]
                assert isinstance(known, ShortDefinition | OpenDefinition)
                return reflection(known, frequency_hz)
            case LoadDefinition() if day_ohm is not None:
                assert isinstance(declared, LoadDefinition)
                ohm = day_ohm + true.resistance_ohm - declared.resistance_ohm
                return reflection(true.model_copy(update={"resistance_ohm": ohm}), frequency_hz)
            case _:
                return reflection(true, frequency_hz)


def kit_of(
    serial_number: str,
    declared: Mapping[str, StandardDefinition],
    seed: tuple[int, ...],
    medium: tuple[LineMedium, float] | None = None,
) -> Kit:
    """A substrate whose standards are drawn from their definitions.

    `medium`: what is declared of its lines, and their series resistance at 1 GHz in ohm/m.
    """
    rng = np.random.default_rng(seed)
    true = {name: drawn(one, rng) for name, one in declared.items()}
    if medium is None:
        return Kit(serial_number, declared, true)
    known, loss_ohm_per_m = medium
    made = drawn(known, rng)
    lines = Medium(made.effective_permittivity, made.capacitance_pf_per_m, loss_ohm_per_m)
    return Kit(serial_number, declared, true, known, lines)


def reflection(standard: Reflect, frequency_hz: FloatArray) -> ComplexArray:
    """Reflection of a termination behind its offset, (n_freq,).

    The termination is worked as voltage over current, so that an ideal open is no exception.
    """
    omega, ghz = 2 * np.pi * frequency_hz, frequency_hz / 1e9
    volt: ComplexArray = np.ones(len(ghz), dtype=np.complex128)
    ampere: ComplexArray = np.ones(len(ghz), dtype=np.complex128)
    match standard:
        case ShortDefinition():
            henry = np.polyval(standard.inductance_ph[::-1], ghz) * 1e-12
            volt = 1j * omega * henry
        case OpenDefinition():
            farad = np.polyval(standard.capacitance_ff[::-1], ghz) * 1e-15
            ampere = 1j * omega * farad
        case LoadDefinition():
            volt = standard.resistance_ohm + 1j * omega * standard.inductance_ph * 1e-12
            ampere = 1.0 + 1j * omega * standard.capacitance_ff * 1e-15 * volt
    offset = standard.offset
    chain = _line_chain(offset.delay_ps, offset.z0_ohm, offset.loss_gohm_per_s, frequency_hz)
    at_tip = chain[..., 0, 0] * volt + chain[..., 0, 1] * ampere
    through = Z_REF_OHM * (chain[..., 1, 0] * volt + chain[..., 1, 1] * ampere)
    return np.asarray((at_tip - through) / (at_tip + through))


def _thru(thru: ThruDefinition, frequency_hz: FloatArray) -> ComplexArray:
    chain = _line_chain(thru.delay_ps, thru.z0_ohm, thru.loss_gohm_per_s, frequency_hz)
    return networks.to_scattering(chain)


def _line_chain(
    delay_ps: float, z0_ohm: float, loss_gohm_per_s: float, frequency_hz: FloatArray
) -> ComplexArray:
    """A line whose loss K at 1 GHz, in ohm/s of its delay, grows with sqrt(f).

    R = w L' = K sqrt(f / 1 GHz) in series per second of delay, to first order: gamma l is
    j w T + (1 + j) R T / (2 Z0), and the impedance Z0 + (1 - j) R / (2 w).
    """
    omega = 2 * np.pi * frequency_hz
    ohm_per_s = loss_gohm_per_s * 1e9 * np.sqrt(frequency_hz / 1e9)
    seconds = delay_ps * 1e-12
    gamma_l = 1j * omega * seconds + (1 + 1j) * ohm_per_s * seconds / (2 * z0_ohm)
    return networks.line(gamma_l, z0_ohm + (1 - 1j) * ohm_per_s / (2 * omega))


def both_ports(first: ComplexArray, second: ComplexArray) -> ComplexArray:
    """One reflect at each port, nothing between them: (n_freq, 2, 2)."""
    s = np.zeros((len(first), 2, 2), dtype=np.complex128)
    s[:, 0, 0], s[:, 1, 1] = first, second
    return s


def attenuator(attenuation_db: float, frequency_hz: FloatArray) -> ComplexArray:
    """A matched attenuator without delay, (n_freq, 2, 2)."""
    s = np.zeros((len(frequency_hz), 2, 2), dtype=np.complex128)
    s[:, 0, 1] = s[:, 1, 0] = 10 ** (-attenuation_db / 20)
    return s
