"""A transistor of known elements, for tests: hybrid-pi in common source, by matrix algebra."""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray

UNIT = np.eye(2)


@dataclass(frozen=True)
class HybridPi:
    """Elements in SI units; without the access resistances the inner device and Rg alone."""

    gm: float = 0.1
    gds: float = 5e-3
    cgs: float = 80e-15
    cgd: float = 20e-15
    cds: float = 30e-15
    rg: float = 5.0
    rs: float = 0.0
    rd: float = 0.0

    def impedance(self, frequency_hz: FloatArray) -> ComplexArray:
        """Z in ohm, (n_f, 2, 2)."""
        w = 2 * np.pi * frequency_hz
        y: ComplexArray = np.empty((len(w), 2, 2), np.complex128)
        y[:, 0, 0] = 1j * w * (self.cgs + self.cgd)
        y[:, 0, 1] = -1j * w * self.cgd
        y[:, 1, 0] = self.gm - 1j * w * self.cgd
        y[:, 1, 1] = self.gds + 1j * w * (self.cds + self.cgd)
        access = np.array([[self.rg + self.rs, self.rs], [self.rs, self.rd + self.rs]])
        return np.asarray(np.linalg.inv(y) + access)

    def s(self, frequency_hz: FloatArray, z_ref_ohm: float = 50.0) -> ComplexArray:
        """S, (n_f, 2, 2)."""
        z = self.impedance(frequency_hz) / z_ref_ohm
        return np.asarray((z - UNIT) @ np.linalg.inv(z + UNIT))


def admittance_of(s: ComplexArray, z_ref_ohm: float = 50.0) -> ComplexArray:
    """Y in siemens, by matrix algebra."""
    return np.asarray(np.linalg.inv(UNIT + s) @ (UNIT - s) / z_ref_ohm)
