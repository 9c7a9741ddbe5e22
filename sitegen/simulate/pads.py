"""Pads and leads around a device, and the dummy structures that show them alone.

Pads are capacitances to ground and between each other, in parallel to everything; leads are
series impedances with a common part to ground, behind the pads: Y = Y_pads + (Z_leads + Z)^-1.
An open dummy has the pads alone, a short dummy the leads shorted at their ends.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate.networks import Z_REF_OHM


@dataclass(frozen=True)
class Pads:
    """What lies between the probe tips and a device."""

    pad_1_f: float = 25e-15
    pad_2_f: float = 28e-15
    coupling_f: float = 3e-15
    lead_1_h: float = 35e-12
    lead_2_h: float = 30e-12
    lead_1_ohm: float = 0.30
    lead_2_ohm: float = 0.35
    common_ohm: float = 0.05

    def admittance(self, frequency_hz: FloatArray) -> ComplexArray:
        """Of the pads, (n_freq, 2, 2) in siemens."""
        jw = 2j * np.pi * frequency_hz
        return _symmetric(
            jw * (self.pad_1_f + self.coupling_f),
            -jw * self.coupling_f,
            jw * (self.pad_2_f + self.coupling_f),
        )

    def impedance(self, frequency_hz: FloatArray) -> ComplexArray:
        """Of the leads, (n_freq, 2, 2) in ohm."""
        jw = 2j * np.pi * frequency_hz
        common = self.common_ohm + 0 * jw
        return _symmetric(
            self.lead_1_ohm + jw * self.lead_1_h + common,
            common,
            self.lead_2_ohm + jw * self.lead_2_h + common,
        )

    def around(self, z: ComplexArray, frequency_hz: FloatArray) -> ComplexArray:
        """S-parameters at the probe tips of devices of impedance z (..., n_freq, 2, 2)."""
        inner = np.linalg.inv(self.impedance(frequency_hz) + z)
        return scattering(self.admittance(frequency_hz) + inner)

    def dummy(self, kind: str, frequency_hz: FloatArray) -> ComplexArray:
        """S-parameters of the 'open' or 'short' dummy, (n_freq, 2, 2)."""
        y = self.admittance(frequency_hz)
        if kind == "short":
            y = y + np.linalg.inv(self.impedance(frequency_hz))
        return scattering(y)


PADS = Pads()
"""Of every transistor of the process; they do not scatter."""


def scattering(y: ComplexArray) -> ComplexArray:
    """S-parameters of admittances (..., 2, 2): (1 + Z0 Y)^-1 (1 - Z0 Y)."""
    unit = np.eye(2)
    return np.asarray(np.linalg.solve(unit + Z_REF_OHM * y, unit - Z_REF_OHM * y))


def _symmetric(first: ComplexArray, between: ComplexArray, second: ComplexArray) -> ComplexArray:
    rows = np.stack([first, between, between, second], axis=-1)
    return np.asarray(rows.reshape((*rows.shape[:-1], 2, 2)))
