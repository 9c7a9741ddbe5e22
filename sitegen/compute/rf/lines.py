"""A line's propagation from its S-parameters, whatever impedance it and they have.

A uniform line of length l has A = D = cosh(gamma l) in its chain matrix. Of S-parameters with
equal real reference impedances

    (A + D)/2 = (1 - S11 S22 + S12 S21)/(2 S21) = cosh(gamma l),

after Eisenstadt and Eo, "S-parameter-based IC interconnect transmission line characterization",
IEEE Trans. CHMT 15, 1992 (quoted from memory). Of the two roots exp(-gamma l) and its inverse the
one nearer to S21 is the wave that travels through.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.rf.propagation import Deviation, Kind
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

LineQuantityName = Literal["effective permittivity", "attenuation db per mm", "phase deg per mm"]

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
NEAREST_PHASE_DEG = 20.0
"""Where no uncertainty is stated, a line nearer than this to a multiple of 180 degrees is not
determined (common practice)."""
LARGEST_SHARE = 0.3
"""Where it is stated, the largest share of |sinh(gamma l)| that u(gamma l) may have: beyond it
the equations are no longer linear over the uncertainty."""
LARGEST_PERMITTIVITY = 16.0
"""Turns of the phase are counted where a line of this effective permittivity would turn by less
than 180 degrees from one frequency to the next: more than any substrate that is probed has."""


@dataclass(frozen=True, eq=False)
class Propagation:
    """gamma l of a line over frequency, and what each source of uncertainty does to it."""

    frequency_hz: FloatArray
    gamma_l: ComplexArray
    """(n_freq,) alpha l + j beta l; NaN where it is not determined."""
    changes: tuple[tuple[Kind, ComplexArray], ...] | None
    """Of gamma l, by source at one standard uncertainty, (n_freq,) each; None: not stated."""


def propagation(
    s: ComplexArray,
    frequency_hz: FloatArray,
    length_m: float,
    deviations: Sequence[Deviation] | None,
) -> Propagation:
    """Propagation along a line from its corrected sweep.

    Args:
        s: (n_freq, 2, 2), equal real reference impedances at both ports.
        length_m: of the line; says whether the frequencies are close enough to count turns.
        deviations: of `s` by source; None where none are stated.

    Returns:
        NaN near multiples of 180 degrees, where the two waves cannot be told apart, and
        everywhere when the frequencies are too far apart to count the turns of the phase.
    """
    wave = _wave(s, s[:, 1, 0])
    gamma_l = -np.log(np.abs(wave)) + 1j * _turned(-np.angle(wave), frequency_hz, length_m)
    changes: list[tuple[Kind, ComplexArray]] | None = None
    if deviations is not None:
        with np.errstate(invalid="ignore"):  # at frequencies that are not determined
            changes = [
                (one.kind, -np.log(_wave(s + one.values, wave) / wave)) for one in deviations
            ]
    determined = _determined(gamma_l, changes)
    return Propagation(
        frequency_hz,
        np.where(determined, gamma_l, complex(np.nan, np.nan)),
        None if changes is None else tuple(changes),
    )


def quantity_at(
    line: Propagation, quantity: LineQuantityName, at_hz: float, length_m: float
) -> tuple[float, float | None]:
    """A line's quantity at one frequency, linear between points, with its standard uncertainty.

    Effective permittivity is the real part of -(c gamma/omega)^2; attenuation is positive for
    loss and phase for delay. NaN where the points around the frequency are not determined; the
    uncertainty is None where none is stated.
    """
    gamma_l = complex(np.interp(at_hz, line.frequency_hz, line.gamma_l))
    match quantity:
        case "effective permittivity":
            scale = -((SPEED_OF_LIGHT_M_PER_S / (2 * np.pi * at_hz * length_m)) ** 2)
            value, slope = scale * gamma_l**2, 2 * scale * gamma_l
        case "attenuation db per mm":
            slope = complex(20 / np.log(10) / (length_m * 1e3))
            value = slope * gamma_l
        case "phase deg per mm":
            slope = complex(np.degrees(1.0) / (length_m * 1e3)) / 1j
            value = slope * gamma_l
    if line.changes is None:
        return value.real, None
    square = 0.0
    for kind, values in line.changes:
        change = slope * complex(np.interp(at_hz, line.frequency_hz, values))
        square += abs(change) ** 2 if kind == "circular" else change.real**2
    return value.real, float(np.sqrt(square))


def _wave(s: ComplexArray, near: ComplexArray) -> ComplexArray:
    """exp(-gamma l): of both roots of z + 1/z = A + D the one nearer to `near`."""
    with np.errstate(all="ignore"):
        trace = (1 - s[:, 0, 0] * s[:, 1, 1] + s[:, 0, 1] * s[:, 1, 0]) / s[:, 1, 0]
        root = np.sqrt((trace / 2) ** 2 - 1)
        one, other = trace / 2 + root, trace / 2 - root
        return np.where(np.abs(one - near) <= np.abs(other - near), one, other)


def _turned(phase_rad: FloatArray, frequency_hz: FloatArray, length_m: float) -> FloatArray:
    """Phase with its whole turns, such that it would be zero at 0 Hz; NaN where steps are too wide.

    Fewer than three points are known where the line is shorter than half a turn.
    """
    half_turn_hz = SPEED_OF_LIGHT_M_PER_S / (2 * np.sqrt(LARGEST_PERMITTIVITY) * length_m)
    known = np.isfinite(phase_rad)
    if known.sum() < 3:
        return np.where(frequency_hz < half_turn_hz, phase_rad, np.nan)
    if np.diff(frequency_hz[known]).max() >= half_turn_hz:
        return np.full(phase_rad.shape, np.nan)
    unwrapped = np.unwrap(phase_rad[known])
    start = np.polynomial.polynomial.polyfit(frequency_hz[known], unwrapped, 1)[0]
    turned = np.full(phase_rad.shape, np.nan)
    turned[known] = unwrapped - 2 * np.pi * np.round(start / (2 * np.pi))
    return turned


def _determined(
    gamma_l: ComplexArray, changes: Sequence[tuple[Kind, ComplexArray]] | None
) -> BoolArray:
    """Where gamma l is far enough from a multiple of 180 degrees, for its uncertainty if stated."""
    with np.errstate(all="ignore"):
        apart = np.abs(np.sinh(gamma_l))
        if changes is None:
            return np.asarray(apart >= np.sin(np.radians(NEAREST_PHASE_DEG)))
        square = np.zeros(gamma_l.shape)
        for kind, values in changes:
            square += (2.0 if kind == "circular" else 1.0) * np.abs(values) ** 2
        return np.asarray(np.sqrt(square) <= LARGEST_SHARE * apart)
