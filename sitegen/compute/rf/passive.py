"""Inductors, capacitors, resistors and lines: quantities at each point, and their slopes by S.

Y11 is what port 1 sees with port 2 shorted; -Y12 is the branch between the ports of the pi
equivalent, so that what hangs on either port alone does not enter. A one-port device stands as the
first port of a two-port whose second is matched and by itself: its Y12 is 0. Formulas of inductors
and capacitors are common practice. Of a branch's admittance y, a slope by it is the c with
dv = Re(c dy).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.estimates import nothing_said, shown_frequency, zero_crossing
from sitegen.compute.rf.figure_records import Advise, Texts
from sitegen.compute.rf.gains import DB_PER_NEPER, decibel
from sitegen.compute.rf.lines import LARGEST_PERMITTIVITY, SPEED_OF_LIGHT_M_PER_S
from sitegen.compute.rf.seen import Seen
from sitegen.model.arrays import ComplexArray, FloatArray

NEAREST_PHASE_DEG = 2.0
"""A line nearer than this to a multiple of 180 degrees does not tell its two waves apart."""
INDUCTOR_UP_TO = 0.5
"""Share of the self-resonance above which an inductance is hardly that of its coil."""


@dataclass(frozen=True)
class Branch:
    """An admittance in siemens that is a sum of entries of Y."""

    entries: Mapping[tuple[int, int], float]
    """Y11 and Y12, with the sign of each."""

    def y(self, at: Seen) -> ComplexArray:
        """The admittance."""
        signed = [(at.y12 if j else at.y11, sign) for (_, j), sign in self.entries.items()]
        parts = [one if sign == 1.0 else sign * one for one, sign in signed]
        total: ComplexArray = sum(parts[1:], parts[0])
        return total

    def by_s(self, at: Seen, slope: ComplexArray) -> ComplexArray:
        """Slopes by S, from that by the admittance."""
        return at.by_s({place: sign * slope for place, sign in self.entries.items()})


ONE_SIDED = Branch({(0, 0): 1.0})
"""Y11."""
BETWEEN = Branch({(0, 1): -1.0})
"""-Y12, the branch between the ports of the pi equivalent."""
TO_GROUND = Branch({(0, 0): 1.0, (0, 1): 1.0})
"""Y11 + Y12, the branch at port 1 of the pi equivalent."""


def inductance_h(y: ComplexArray, angular: FloatArray) -> FloatArray:
    """Im(1/Y)/w of a branch; falls to zero at its self-resonance."""
    inductance: FloatArray = np.imag(1.0 / y) / angular
    return inductance


def by_inductance_h(y: ComplexArray, angular: FloatArray) -> ComplexArray:
    """Slope of the inductance."""
    return 1j / (angular * y**2)


def capacitance_f(y: ComplexArray, angular: FloatArray) -> FloatArray:
    """-1/(w Im(1/Y)) of a branch taken as a capacitor with a resistor in series."""
    return -1.0 / (angular * np.imag(1.0 / y))


def by_capacitance_f(y: ComplexArray, angular: FloatArray) -> ComplexArray:
    """Slope of the capacitance in series."""
    return 1j / (angular * (y * np.imag(1.0 / y)) ** 2)


def parallel_capacitance_f(y: ComplexArray, angular: FloatArray) -> FloatArray:
    """Im(Y)/w of a branch taken as a capacitor with a conductance beside it."""
    return np.imag(y) / angular


def by_parallel_capacitance_f(y: ComplexArray, angular: FloatArray) -> ComplexArray:
    """Slope of the capacitance in parallel."""
    return np.broadcast_to(-1j / angular, y.shape)


def quality(y: ComplexArray, angular: FloatArray) -> FloatArray:
    """Im(Y)/Re(Y): positive for a capacitor; an inductor's quality is its negative."""
    return np.imag(y) / np.real(y)


def by_quality(y: ComplexArray, angular: FloatArray) -> ComplexArray:
    """Slope of the quality."""
    return -(1j + quality(y, angular)) / np.real(y)


def resistance_ohm(y: ComplexArray, angular: FloatArray) -> FloatArray:
    """Re(1/Y) of a branch."""
    return np.real(1.0 / y)


def by_resistance_ohm(y: ComplexArray, angular: FloatArray) -> ComplexArray:
    """Slope of the resistance."""
    return -1.0 / y**2


def resonant_susceptance(y: ComplexArray, angular: FloatArray) -> FloatArray:
    """2 pi f Im(Y), which `estimates.zero_crossing` takes the self-resonance from.

    Im(Y) rises through zero just where Im(1/Y) falls through it, and without its steep peaks.
    """
    return angular * np.imag(y)


def by_resonant_susceptance(y: ComplexArray, angular: FloatArray) -> ComplexArray:
    """Slope of 2 pi f Im(Y)."""
    return np.broadcast_to(-1j * angular, y.shape)


def near_self_resonance(branch: Branch) -> Advise:
    """Remarks on inductances of a branch at one frequency, by its whole sweeps."""

    def advise(at: Seen, at_hz: float) -> Texts:
        below = at.part(slice(0, int(np.searchsorted(at.frequency_hz, at_hz / INDUCTOR_UP_TO)) + 1))
        with np.errstate(all="ignore"):
            susceptance = resonant_susceptance(branch.y(below), below.angular)
            resonance_hz = zero_crossing(susceptance, below.frequency_hz, "whole").value
        remarks = nothing_said(len(resonance_hz))
        for row in np.flatnonzero(at_hz > INDUCTOR_UP_TO * resonance_hz):
            where = "above" if at_hz > resonance_hz[row] else "above half"
            remarks[row] = (
                f"taken {where} the self-resonance, {shown_frequency(float(resonance_hz[row]))}"
            )
        return remarks

    return advise


def attenuation_db_per_m(at: Seen) -> FloatArray:
    """20 log10(e) Re(gamma l)/l; positive for loss, NaN without a length."""
    loss_db: FloatArray = -decibel(_wave(at))
    return loss_db / at.length_m


def by_attenuation_db_per_m(at: Seen) -> ComplexArray:
    """Slopes of the attenuation."""
    return np.asarray(DB_PER_NEPER / at.length_m * _by_propagation(at))


def effective_permittivity(at: Seen) -> FloatArray:
    """Real part of -(c gamma/w)^2, with whole turns of the phase; NaN without a length."""
    permittivity: FloatArray = -np.real(_slowness(at) ** 2)
    return permittivity


def by_effective_permittivity(at: Seen) -> ComplexArray:
    """Slopes of the effective permittivity."""
    scale = SPEED_OF_LIGHT_M_PER_S / (at.angular * at.length_m)
    return np.asarray(-2.0 * scale * _slowness(at) * _by_propagation(at))


def _slowness(at: Seen) -> ComplexArray:
    """c gamma/w."""
    wave = _wave(at)
    phase = whole_turns(-np.angle(wave), at.frequency_hz, at.length_m)
    gamma_l = -np.log(np.abs(wave)) + 1j * phase
    slowness: ComplexArray = SPEED_OF_LIGHT_M_PER_S / (at.angular * at.length_m) * gamma_l
    return slowness


def _cosh(at: Seen) -> ComplexArray:
    """cosh(gamma l) = (A + D)/2 of the chain matrix."""
    s11, _, s21, s22 = at.s
    return np.asarray((1.0 - s11 * s22 + at.crossed) / (2.0 * s21))


def _wave(at: Seen) -> ComplexArray:
    """exp(-gamma l) of a uniform line, whatever its impedance.

    Of its two solutions from cosh(gamma l) the one that is nearer to S21 (Eisenstadt and Eo 1992,
    see `lines`). NaN near multiples of 180 degrees.
    """
    s21, cosh = at.s[2], _cosh(at)
    sinh = np.sqrt(cosh**2 - 1)
    one, other = cosh - sinh, cosh + sinh
    wave = np.where(np.abs(one - s21) <= np.abs(other - s21), one, other)
    apart = np.abs(sinh) >= np.sin(np.radians(NEAREST_PHASE_DEG))
    return np.where(apart, wave, complex(np.nan, np.nan))


def _by_propagation(at: Seen) -> ComplexArray:
    """d(gamma l) by S: that of cosh(gamma l) over sinh(gamma l) = cosh(gamma l) - exp(-gamma l)."""
    s11, s12, s21, s22 = at.s
    cosh = _cosh(at)
    found = np.empty_like(at.s)
    found[0], found[3] = -s22 / s21, -s11 / s21
    found[1] = 1.0
    found[2] = (s12 - 2.0 * cosh) / s21
    return np.asarray(0.5 * found / (cosh - _wave(at)))


def whole_turns(phase_rad: FloatArray, frequency_hz: FloatArray, length_m: float) -> FloatArray:
    """A line's phase (..., n_f) with its whole turns, so that it would start from 0 at 0 Hz.

    Turns are counted from point to point, over points that are NaN too; then a straight line
    through the known points says how many came before the first. NaN where a step between known
    points could be half a turn for an effective permittivity of `lines.LARGEST_PERMITTIVITY`, and
    after it; with fewer than three points, where the line could be longer than half a turn.
    """
    half_turn_hz = SPEED_OF_LIGHT_M_PER_S / (2 * np.sqrt(LARGEST_PERMITTIVITY) * length_m)
    known = np.isfinite(phase_rad)
    n_f = len(frequency_hz)
    last = np.maximum.accumulate(np.where(known, np.arange(n_f), -1), axis=-1)
    first = np.where(known.any(axis=-1), known.argmax(axis=-1), 0)[..., np.newaxis]
    held = np.where(last < 0, first, last)
    held_hz = frequency_hz[held]
    turned = np.unwrap(np.take_along_axis(np.where(known, phase_rad, 0.0), held, axis=-1), axis=-1)
    too_wide = np.diff(held_hz, axis=-1, prepend=held_hz[..., :1]) >= half_turn_hz
    certain = known & ~np.logical_or.accumulate(too_wide, axis=-1)
    count = certain.sum(axis=-1, keepdims=True)
    n = np.maximum(count, 1)
    x = np.where(certain, frequency_hz / half_turn_hz, 0.0)
    y = np.where(certain, turned, 0.0)
    mean_x, mean_y = (each.sum(axis=-1, keepdims=True) / n for each in (x, y))
    away = np.where(certain, x - mean_x, 0.0)
    square = (away**2).sum(axis=-1, keepdims=True)
    slope = (away * y).sum(axis=-1, keepdims=True) / np.where(square > 0, square, 1.0)
    before = np.round((mean_y - slope * mean_x) / (2 * np.pi))
    few = count < 3
    told = certain & (~few | (frequency_hz < half_turn_hz))
    return np.where(told, turned - 2 * np.pi * np.where(few, 0.0, before), np.nan)


def characteristic_impedance_ohm(at: Seen) -> FloatArray:
    """Real part of sqrt(B/C) of the chain matrix, the root with a positive one."""
    series, shunt = _series_and_shunt(at)
    return at.around.z_ref_ohm * np.real(np.sqrt(series / shunt))


def by_characteristic_impedance_ohm(at: Seen) -> ComplexArray:
    """Slopes of the characteristic impedance."""
    s11, s12, s21, s22 = at.s
    series, shunt = _series_and_shunt(at)
    found = np.empty_like(at.s)
    found[0] = (1.0 + s22) / series + (1.0 - s22) / shunt
    found[1] = s21 / shunt - s21 / series
    found[2] = s12 / shunt - s12 / series
    found[3] = (1.0 + s11) / series + (1.0 - s11) / shunt
    return 0.5 * at.around.z_ref_ohm * np.sqrt(series / shunt) * found


def _series_and_shunt(at: Seen) -> tuple[ComplexArray, ComplexArray]:
    """What B and C of the chain matrix are proportional to."""
    s11, _, _, s22 = at.s
    return (1 + s11) * (1 + s22) - at.crossed, (1 - s11) * (1 - s22) - at.crossed
