"""Small-signal elements of a transistor at each point, and their slopes by S.

Common source, gate at port 1 and drain at port 2 (or base and collector): a hybrid-pi of Cgs, Cgd,
Cds, gds and a current source y_m v_gs, with a resistance Rg in series with the gate. Of

    Y11 = jw(Cgs + Cgd), Y12 = -jw Cgd, Y21 = y_m - jw Cgd, Y22 = gds + jw(Cds + Cgd)

Rg adds to Z11 alone. As the inner Y11 has no real part,

    1/Y11 = Rg + 1/(jw(Cgs + Cgd))

holds for the whole device at any frequency: Rg is its real part, and is taken off at each point.
What stands in series with Cgs inside (the channel's resistance) is counted in Rg. Access
resistances of source and drain are taken off before, with `access.without_access`.

Source, quoted from memory: Minasian, Electron. Lett. 13, 1977 (elements from Y-parameters).
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.gains import current_gain, relative_by_current_gain
from sitegen.compute.rf.seen import Seen
from sitegen.model.arrays import ComplexArray, FloatArray


def transit_frequency_hz(at: Seen) -> FloatArray:
    """f/Im(1/h21): of one dominant pole, h21 = -j fT/f + ..., at any frequency above it.

    Gummel, "On the definition of the cutoff frequency fT", Proc. IEEE 57, 1969 (quoted from
    memory).
    """
    return at.frequency_hz / np.imag(1.0 / current_gain(at))


def by_transit_frequency_hz(at: Seen) -> ComplexArray:
    """Slopes of f/Im(1/h21)."""
    inverted = 1.0 / current_gain(at)
    per_relative = -1j * inverted * at.frequency_hz / np.imag(inverted) ** 2
    return np.asarray(per_relative * relative_by_current_gain(at))


@dataclass(frozen=True, eq=False)
class Inner:
    """Y without Re(1/Y11) in series with port 1, in siemens.

    With R in series, Z11 = Z11' + R: Y11 = Y11'/(1 + R Y11'), and with q = 1/(1 - R Y11) the inner
    ones are q Y11, q Y12, q Y21 and Y22 + q R Y12 Y21. With 1/Y11 = R + jX, q Y11 = 1/(jX) and
    q = 1 - jt, t = R/X. Slopes by Y11 come from those by R, X and t, real all three: as
    d(1/Y11) = -dY11/Y11^2 = dR + j dX, dt = Re((1 + jt) d(1/Y11))/X.
    """

    at: Seen
    share: FloatArray
    """t."""
    q: ComplexArray

    @property
    def y11(self) -> ComplexArray:
        """Inner Y11."""
        return np.asarray(-1j / self.at.z11.imag, np.complex128)

    @property
    def y12(self) -> ComplexArray:
        """Inner Y12."""
        return np.asarray(self.q * self.at.y[1])

    @property
    def y22_and_y12(self) -> ComplexArray:
        """Inner Y22 + Y12."""
        _, _, y21, y22 = self.at.y
        return np.asarray(y22 + self.y12 * (1.0 + self.at.z11.real * y21))

    def by_y11(
        self, by_r: FloatArray | float, by_x: FloatArray | float, by_t: FloatArray
    ) -> ComplexArray:
        """Slope by Y11 from those by R, X and t."""
        per_z11 = by_r - 1j * np.asarray(by_x) + by_t * (1.0 + 1j * self.share) / self.at.z11.imag
        return -per_z11 * self.at.z11**2

    def by_y12(self, slope: ComplexArray | complex, by_x: FloatArray | float = 0.0) -> ComplexArray:
        """Slopes by S from those by inner Y12, and by X besides."""
        by_t = np.real(-1j * slope * self.at.y[1])
        return self.at.by_s({(0, 0): self.by_y11(0.0, by_x, by_t), (0, 1): slope * self.q})

    def by_y22_and_y12(self, slope: ComplexArray | complex) -> ComplexArray:
        """Slopes by S from that by inner Y22 + Y12."""
        _, y12, y21, y22 = self.at.y
        r, back = self.at.z11.real, slope * self.q
        by_r = np.real(back * y12 * y21)
        by_t = np.real(-1j * slope * y12 * (1.0 + r * y21))
        return self.at.by_s(
            {
                (0, 0): self.by_y11(by_r, 0.0, by_t),
                (0, 1): back * (1.0 + r * y21),
                (1, 0): back * r * y12,
                (1, 1): np.broadcast_to(slope, y22.shape),
            }
        )


def inner(at: Seen) -> Inner:
    """Y without the gate's resistance."""
    share = at.z11.real / at.z11.imag
    return Inner(at, share, 1.0 - 1j * share)


def gate_resistance_ohm(at: Seen) -> FloatArray:
    """Re(1/Y11)."""
    return np.real(at.z11)


def by_gate_resistance_ohm(at: Seen) -> ComplexArray:
    """Slopes of the gate's resistance."""
    return at.by_s({(0, 0): -(at.z11**2)})


def transconductance_s(at: Seen) -> FloatArray:
    """|y_m| of the inner Y, y_m = Y21 - Y12; a delay of the current source does not enter."""
    return np.asarray(np.abs(inner(at).q) * np.abs(at.y[2] - at.y[1]))


def by_transconductance_s(at: Seen) -> ComplexArray:
    """Slopes of |y_m|."""
    of, gm = inner(at), transconductance_s(at)
    relative = gm / (at.y[2] - at.y[1])
    by_t = gm * of.share / (1.0 + of.share**2)
    return at.by_s({(0, 0): of.by_y11(0.0, 0.0, by_t), (0, 1): -relative, (1, 0): relative})


def output_conductance_s(at: Seen) -> FloatArray:
    """Re(Y22 + Y12) of the inner Y."""
    return np.real(inner(at).y22_and_y12)


def by_output_conductance_s(at: Seen) -> ComplexArray:
    """Slopes of the output conductance."""
    return inner(at).by_y22_and_y12(1.0)


def gate_source_capacitance_f(at: Seen) -> FloatArray:
    """Im(Y11 + Y12)/w of the inner Y."""
    of = inner(at)
    return np.imag(of.y11 + of.y12) / at.angular


def by_gate_source_capacitance_f(at: Seen) -> ComplexArray:
    """Slopes of Cgs."""
    of = inner(at)
    return of.by_y12(np.asarray(-1j / at.angular), 1.0 / (at.angular * at.z11.imag**2))


def gate_drain_capacitance_f(at: Seen) -> FloatArray:
    """-Im(Y12)/w of the inner Y."""
    return -np.imag(inner(at).y12) / at.angular


def by_gate_drain_capacitance_f(at: Seen) -> ComplexArray:
    """Slopes of Cgd."""
    return inner(at).by_y12(np.asarray(1j / at.angular))


def drain_source_capacitance_f(at: Seen) -> FloatArray:
    """Im(Y22 + Y12)/w of the inner Y."""
    return np.imag(inner(at).y22_and_y12) / at.angular


def by_drain_source_capacitance_f(at: Seen) -> ComplexArray:
    """Slopes of Cds."""
    return inner(at).by_y22_and_y12(np.asarray(-1j / at.angular))
