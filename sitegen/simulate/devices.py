"""Device models: S-parameters of a few elements, and the figures that the elements mean.

Every function takes elements of shape (n,) and gives arrays with n in front. Figures are worked
out from admittances, never from S-parameters.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate import networks


@dataclass(frozen=True, eq=False)
class Transistor:
    """A hybrid-pi between its pads; all (n,)."""

    gm_s: FloatArray
    gds_s: FloatArray
    cgs_f: FloatArray
    cgd_f: FloatArray
    cds_f: FloatArray
    rg_ohm: FloatArray
    pad_f: FloatArray
    """Capacitance of each pad to ground."""

    def chain(self, frequency_hz: FloatArray) -> ComplexArray:
        """Chain matrices (n, n_freq, 2, 2)."""
        jw = 2j * np.pi * frequency_hz

        def by(element: FloatArray) -> ComplexArray:
            return np.asarray(element[:, None] * jw)

        y = np.empty((len(self.gm_s), len(frequency_hz), 2, 2), dtype=np.complex128)
        y[..., 0, 0] = by(self.cgs_f + self.cgd_f)
        y[..., 0, 1] = -by(self.cgd_f)
        y[..., 1, 0] = self.gm_s[:, None] - by(self.cgd_f)
        y[..., 1, 1] = self.gds_s[:, None] + by(self.cds_f + self.cgd_f)
        gate = networks.series(self.rg_ohm[:, None] + 0 * jw)
        pads = networks.shunt(by(self.pad_f))
        return pads @ gate @ networks.from_admittance(y) @ pads

    def h21_db(self, frequency_hz: float) -> FloatArray:
        """20 log10 |h21|: with port 2 shorted, h21 = -I2-out/I1 = 1/D of the chain matrix."""
        d = self.chain(np.array([frequency_hz]))[:, 0, 1, 1]
        return np.asarray(-20 * np.log10(np.abs(d)))


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

    def chain(self, frequency_hz: FloatArray) -> ComplexArray:
        """Chain matrices (n, n_freq, 2, 2)."""
        return networks.series(1.0 / self.admittance(frequency_hz))

    def to_ground(self, frequency_hz: FloatArray) -> ComplexArray:
        """Reflection (n, n_freq) of the branch from port 1 to ground."""
        ratio = self.admittance(frequency_hz) * networks.Z_REF_OHM
        return np.asarray((1 - ratio) / (1 + ratio))

    def figure(
        self, name: Literal["inductance", "inductor quality", "capacitance"], frequency_hz: float
    ) -> FloatArray:
        """Im(1/Y)/w, -Im Y / Re Y, or Im Y / w; (n,)."""
        y = self.admittance(np.array([frequency_hz]))[:, 0]
        omega = 2 * np.pi * frequency_hz
        if name == "inductance":
            return np.asarray((1 / y).imag / omega)
        if name == "inductor quality":
            return np.asarray(-y.imag / y.real)
        return np.asarray(y.imag / omega)


@dataclass(frozen=True, eq=False)
class WaferLine:
    """A line on the wafer, of impedance near the reference; all (n,)."""

    delay_ps: FloatArray
    loss_db: FloatArray
    """At 110 GHz, growing with the square root of frequency."""
    z0_ohm: float = 51.0

    def chain(self, frequency_hz: FloatArray) -> ComplexArray:
        """Chain matrices (n, n_freq, 2, 2)."""
        loss = (self.loss_db * np.log(10) / 20)[:, None] * np.sqrt(frequency_hz / 110e9)
        phase = 2 * np.pi * frequency_hz * self.delay_ps[:, None] * 1e-12
        return networks.line(loss + 1j * (phase + loss), self.z0_ohm)

    def s21(self, frequency_hz: float) -> ComplexArray:
        """(n,) between `Z_REF_OHM` terminations: 2 / (2 cosh + (z + 1/z) sinh)."""
        loss = self.loss_db * np.log(10) / 20 * np.sqrt(frequency_hz / 110e9)
        phase = 2 * np.pi * frequency_hz * self.delay_ps * 1e-12
        gamma_l = loss + 1j * (phase + loss)
        z = self.z0_ohm / networks.Z_REF_OHM
        return np.asarray(2 / (2 * np.cosh(gamma_l) + (z + 1 / z) * np.sinh(gamma_l)))
