"""Figures of a corrected two-port sweep: where they are taken, and one at one frequency."""

import numpy as np

from sitegen.compute.rf.figure_catalogue import FIGURES
from sitegen.compute.rf.figure_records import Estimate, Figure
from sitegen.compute.rf.interpolation import interpolate
from sitegen.compute.rf.seen import Surroundings
from sitegen.compute.rf.two_port import admittance
from sitegen.model.arrays import ComplexArray, FloatArray

__all__ = [
    "FIGURES",
    "Estimate",
    "Figure",
    "Surroundings",
    "admittance",
    "figure_at",
    "used_frequencies",
]


def used_frequencies(
    figure: Figure,
    frequency_hz: FloatArray,
    at_hz: float | None = None,
    window_hz: tuple[float, float] | None = None,
) -> FloatArray:
    """The frequencies whose S a value is taken from; S is interpolated to them.

    At one frequency that one alone, last, after all measured ones below it for a figure whose
    phase is followed; in a window the measured points inside, both ends included; else all.
    """
    if at_hz is not None:
        below = frequency_hz[frequency_hz < at_hz] if figure.followed else frequency_hz[:0]
        return np.append(below, at_hz)
    if window_hz is not None:
        return frequency_hz[(frequency_hz >= window_hz[0]) & (frequency_hz <= window_hz[1])]
    return frequency_hz


def figure_at(
    figure: Figure,
    s: ComplexArray,
    frequency_hz: FloatArray,
    at_hz: float,
    z_ref_ohm: float,
    length_m: float | None = None,
) -> FloatArray:
    """A figure's quantity of any number of sweeps at one frequency.

    The complex S-parameters are interpolated in a straight line between the two points
    around `at_hz`, then the figure is computed; outside the sweep the result is NaN. Of a figure
    that is taken over a window it is the quantity that the window's law is fitted to.

    Args:
        figure: one of `FIGURES`.
        s: (..., n_freq, 2, 2).
        frequency_hz: (n_freq,), increasing.
        at_hz: the wanted frequency.
        z_ref_ohm: real reference impedance of `s`.
        length_m: of a line.

    Returns:
        (...), NaN where a needed S-parameter is NaN or the figure is undefined.
    """
    used_hz = used_frequencies(figure, frequency_hz, at_hz)
    by_frequency = interpolate(np.moveaxis(s, -3, -1), frequency_hz, used_hz)
    around = Surroundings(z_ref_ohm, length_m)
    return figure.quantity(np.moveaxis(by_frequency, -1, -3), used_hz, around)[..., -1]
