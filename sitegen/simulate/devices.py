"""Device models: S-parameters of a few elements, and the figures that the elements mean.

Every function takes elements of shape (n,) and gives arrays with n in front. Figures are worked
out from admittances, never from S-parameters.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate import networks
from sitegen.simulate.pads import Pads
from sitegen.simulate.standards import LIGHT_M_PER_S


@dataclass(frozen=True, eq=False)
class Transistor:
    """A hybrid-pi behind its gate resistance; all (n,)."""

    gm_s: FloatArray
    gds_s: FloatArray
    cgs_f: FloatArray
    cgd_f: FloatArray
    cds_f: FloatArray
    rg_ohm: FloatArray

    def impedance(self, frequency_hz: FloatArray) -> ComplexArray:
        """Between the ends of its leads, (n, n_freq, 2, 2) in ohm."""
        jw = 2j * np.pi * frequency_hz

        def by(element: FloatArray) -> ComplexArray:
            return np.asarray(element[:, None] * jw)

        y = np.empty((len(self.gm_s), len(frequency_hz), 2, 2), dtype=np.complex128)
        y[..., 0, 0] = by(self.cgs_f + self.cgd_f)
        y[..., 0, 1] = -by(self.cgd_f)
        y[..., 1, 0] = self.gm_s[:, None] - by(self.cgd_f)
        y[..., 1, 1] = self.gds_s[:, None] + by(self.cds_f + self.cgd_f)
        z = np.linalg.inv(y)
        z[..., 0, 0] += self.rg_ohm[:, None]
        return np.asarray(z)

    def admittance(self, frequency_hz: FloatArray) -> ComplexArray:
        """The same, (n, n_freq, 2, 2) in siemens."""
        return np.asarray(np.linalg.inv(self.impedance(frequency_hz)))

    def at_tips(self, frequency_hz: FloatArray, pads: Pads) -> ComplexArray:
        """S-parameters with its pads and leads, (n, n_freq, 2, 2)."""
        return pads.around(self.impedance(frequency_hz), frequency_hz)


@dataclass(frozen=True, eq=False)
class SeriesBranch:
    """A branch from port 1 to port 2 (or to ground): an inductor or a capacitor; all (n,)."""

    kind: Literal["inductor", "capacitor"]
    main: FloatArray
    """Inductance in H or capacitance in F."""
    resistance_ohm: FloatArray
    parallel_f: float = 0.0
    """Capacitance across the whole branch, in F."""

    def admittance(self, frequency_hz: FloatArray) -> ComplexArray:
        """(n, n_freq) in siemens."""
        jw = 2j * np.pi * frequency_hz
        main = self.main[:, None]
        reactance = jw * main if self.kind == "inductor" else 1.0 / (jw * main)
        return np.asarray(1.0 / (self.resistance_ohm[:, None] + reactance) + jw * self.parallel_f)

    def matrix(self, frequency_hz: FloatArray) -> ComplexArray:
        """Admittance matrix of the branch between the ports, (n, n_freq, 2, 2) in siemens."""
        y = self.admittance(frequency_hz)
        rows = np.stack([y, -y, -y, y], axis=-1)
        return np.asarray(rows.reshape((*y.shape, 2, 2)))

    def chain(self, frequency_hz: FloatArray) -> ComplexArray:
        """Chain matrices (n, n_freq, 2, 2)."""
        return networks.series(1.0 / self.admittance(frequency_hz))

    def to_ground(self, frequency_hz: FloatArray) -> ComplexArray:
        """Reflection (n, n_freq) of the branch from port 1 to ground."""
        ratio = self.admittance(frequency_hz) * networks.Z_REF_OHM
        return np.asarray((1 - ratio) / (1 + ratio))

    def resonance_hz(self) -> FloatArray:
        """Where Im(1/Y) of the inductor falls through 0: w^2 = 1/(L C) - (R/L)^2; (n,)."""
        square = 1.0 / (self.main * self.parallel_f) - (self.resistance_ohm / self.main) ** 2
        return np.asarray(np.sqrt(square) / (2 * np.pi))


@dataclass(frozen=True, eq=False)
class WaferLine:
    """A line on the wafer, of impedance near the reference; all (n,)."""

    delay_ps: FloatArray
    loss_db: FloatArray
    """At 110 GHz, growing with the square root of frequency."""
    z0_ohm: FloatArray

    def gamma_l(self, frequency_hz: FloatArray) -> ComplexArray:
        """Propagation constant times length, (n, n_freq)."""
        loss = (self.loss_db * np.log(10) / 20)[:, None] * np.sqrt(frequency_hz / 110e9)
        phase = 2 * np.pi * frequency_hz * self.delay_ps[:, None] * 1e-12
        return np.asarray(loss + 1j * (phase + loss))

    def chain(self, frequency_hz: FloatArray) -> ComplexArray:
        """Chain matrices (n, n_freq, 2, 2)."""
        return networks.line(self.gamma_l(frequency_hz), self.z0_ohm[:, None])

    def s21(self, frequency_hz: float) -> ComplexArray:
        """(n,) between `Z_REF_OHM` terminations: 2 / (2 cosh + (z + 1/z) sinh)."""
        gamma_l = self.gamma_l(np.array([frequency_hz]))[:, 0]
        z = self.z0_ohm / networks.Z_REF_OHM
        return np.asarray(2 / (2 * np.cosh(gamma_l) + (z + 1 / z) * np.sinh(gamma_l)))

    def attenuation_db_per_m(self, length_m: float, frequency_hz: float) -> FloatArray:
        """(n,)."""
        gamma_l = self.gamma_l(np.array([frequency_hz]))[:, 0]
        return np.asarray(gamma_l.real * 20 / np.log(10) / length_m)

    def permittivity(self, length_m: float, frequency_hz: float) -> FloatArray:
        """Effective: (c times phase / (2 pi f length))^2; (n,)."""
        phase = self.gamma_l(np.array([frequency_hz]))[:, 0].imag
        return np.asarray((LIGHT_M_PER_S * phase / (2 * np.pi * frequency_hz * length_m)) ** 2)
