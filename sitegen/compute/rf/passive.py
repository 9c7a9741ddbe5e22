"""Inductors, capacitors, resistors and lines, pointwise from S (..., n_f, 2, 2) to (..., n_f).

Y11 is what port 1 sees with port 2 shorted; -Y12 is the branch between the ports of the pi
equivalent, so that what hangs on either port alone does not enter. A one-port device stands as the
first port of a two-port whose second is matched and by itself: its Y12 is 0. Formulas of inductors
and capacitors are common practice.
"""

import numpy as np

from sitegen.compute.rf.estimates import nothing_said, zero_crossing
from sitegen.compute.rf.figure_records import Surroundings, Texts
from sitegen.compute.rf.gains import decibel, entries
from sitegen.compute.rf.lines import LARGEST_PERMITTIVITY, SPEED_OF_LIGHT_M_PER_S
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.units import frequency

NEAREST_PHASE_DEG = 2.0
"""A line nearer than this to a multiple of 180 degrees does not tell its two waves apart."""
INDUCTOR_UP_TO = 0.5
"""Share of the self-resonance above which an inductance is hardly that of its coil."""


def one_sided(s: ComplexArray, around: Surroundings) -> ComplexArray:
    """Y11, in siemens."""
    s11, s12, s21, s22 = entries(s)
    crossed, matched = s12 * s21, 1 + s22
    over: ComplexArray = (1 - s11) * matched + crossed
    return over / (((1 + s11) * matched - crossed) * around.z_ref_ohm)


def to_ground(s: ComplexArray, around: Surroundings) -> ComplexArray:
    """Y11 + Y12, the branch at port 1 of the pi equivalent, in siemens."""
    return one_sided(s, around) - between(s, around)


def between(s: ComplexArray, around: Surroundings) -> ComplexArray:
    """-Y12, the branch between the ports of the pi equivalent, in siemens."""
    s11, s12, s21, s22 = entries(s)
    over: ComplexArray = 2 * s12
    return over / (((1 + s11) * (1 + s22) - s12 * s21) * around.z_ref_ohm)


def inductance_h(y: ComplexArray, frequency_hz: FloatArray) -> FloatArray:
    """Im(1/Y)/w of a branch; falls to zero at its self-resonance."""
    inductance: FloatArray = np.imag(1.0 / y) / (2.0 * np.pi * frequency_hz)
    return inductance


def capacitance_f(y: ComplexArray, frequency_hz: FloatArray) -> FloatArray:
    """-1/(w Im(1/Y)) of a branch taken as a capacitor with a resistor in series."""
    return -1.0 / (2.0 * np.pi * frequency_hz * np.imag(1.0 / y))


def parallel_capacitance_f(y: ComplexArray, frequency_hz: FloatArray) -> FloatArray:
    """Im(Y)/w of a branch taken as a capacitor with a conductance beside it."""
    return np.imag(y) / (2.0 * np.pi * frequency_hz)


def quality(y: ComplexArray) -> FloatArray:
    """Im(Y)/Re(Y): positive for a capacitor; an inductor's quality is its negative."""
    return np.imag(y) / np.real(y)


def resistance_ohm(y: ComplexArray) -> FloatArray:
    """Re(1/Y) of a branch."""
    return np.real(1.0 / y)


def resonant_susceptance(y: ComplexArray, frequency_hz: FloatArray) -> FloatArray:
    """2 pi f Im(Y), which `estimates.zero_crossing` takes the self-resonance from.

    Im(Y) rises through zero just where Im(1/Y) falls through it, and without its steep peaks.
    """
    return 2.0 * np.pi * frequency_hz * np.imag(y)


def near_self_resonance(y: ComplexArray, frequency_hz: FloatArray, at_hz: float) -> Texts:
    """Remarks on inductances at `at_hz` of branches (n, n_f) over their whole sweeps, (n,)."""
    resonance_hz = zero_crossing(resonant_susceptance(y, frequency_hz), frequency_hz, "whole").value
    remarks = nothing_said(len(y))
    for row in np.flatnonzero(at_hz > INDUCTOR_UP_TO * resonance_hz):
        where = "above" if at_hz > resonance_hz[row] else "above half"
        remarks[row] = f"taken {where} the self-resonance, {frequency(float(resonance_hz[row]))}"
    return remarks


def attenuation_db_per_m(
    s: ComplexArray, frequency_hz: FloatArray, around: Surroundings
) -> FloatArray:
    """20 log10(e) Re(gamma l)/l; positive for loss, NaN without a length."""
    loss_db: FloatArray = -decibel(_wave(s))
    return loss_db / _length_m(around)


def effective_permittivity(
    s: ComplexArray, frequency_hz: FloatArray, around: Surroundings
) -> FloatArray:
    """Real part of -(c gamma/w)^2, with whole turns of the phase; NaN without a length."""
    length_m = _length_m(around)
    wave = _wave(s)
    phase = whole_turns(-np.angle(wave), frequency_hz, length_m)
    gamma_l = -np.log(np.abs(wave)) + 1j * phase
    scale = SPEED_OF_LIGHT_M_PER_S / (2.0 * np.pi * frequency_hz * length_m)
    permittivity: FloatArray = -np.real((scale * gamma_l) ** 2)
    return permittivity


def _length_m(around: Surroundings) -> float:
    return np.nan if around.length_m is None else around.length_m


def _wave(s: ComplexArray) -> ComplexArray:
    """exp(-gamma l) of a uniform line, whatever its impedance.

    cosh(gamma l) = (A + D)/2 of the chain matrix; of its two solutions the one that is nearer to
    S21 (Eisenstadt and Eo 1992, see `lines`). NaN near multiples of 180 degrees.
    """
    s11, s12, s21, s22 = entries(s)
    cosh = (1 - s11 * s22 + s12 * s21) / (2 * s21)
    sinh = np.sqrt(cosh**2 - 1)
    one, other = cosh - sinh, cosh + sinh
    wave = np.where(np.abs(one - s21) <= np.abs(other - s21), one, other)
    apart = np.abs(sinh) >= np.sin(np.radians(NEAREST_PHASE_DEG))
    return np.where(apart, wave, complex(np.nan, np.nan))


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


def characteristic_impedance_ohm(s: ComplexArray, around: Surroundings) -> FloatArray:
    """Real part of sqrt(B/C) of the chain matrix, the root with a positive one."""
    s11, s12, s21, s22 = entries(s)
    crossed = s12 * s21
    square = ((1 + s11) * (1 + s22) - crossed) / ((1 - s11) * (1 - s22) - crossed)
    return around.z_ref_ohm * np.real(np.sqrt(square))
