"""Checks of raw and corrected sweeps that need no reference: repeats, reflects, passivity."""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class Repeatability:
    """Spread of repeated sweeps of the same thing."""

    standard_deviation: FloatArray
    """(n_freq,) s(f) = sqrt(sum |x_i - mean|^2 / (n - 1)); both components together."""
    pooled: float
    """Root mean square of s(f) over frequency."""
    largest_difference: float
    """Largest |x_i - x_j| of any two sweeps at any frequency."""
    largest_at_hz: float
    n_repeat: int


def repeatability(repeats: ComplexArray, frequency_hz: FloatArray) -> Repeatability:
    """Complex repeatability of repeated sweeps of one quantity.

    Args:
        repeats: (n_repeat, n_freq), at least two sweeps.
        frequency_hz: (n_freq,).

    Returns:
        Frequencies with a NaN in any sweep are NaN in `standard_deviation` and left out of
        the two figures, which are NaN when nothing is left.

    Raises:
        ValueError: fewer than two sweeps.
    """
    n_repeat = len(repeats)
    if n_repeat < 2:
        raise ValueError("repeatability needs at least two sweeps")
    variance = np.sum(np.abs(repeats - repeats.mean(axis=0)) ** 2, axis=0) / (n_repeat - 1)
    finite = np.isfinite(variance)
    spread = np.abs(repeats[:, np.newaxis] - repeats).max(axis=(0, 1))
    largest, at_hz = _largest(spread, frequency_hz)
    return Repeatability(
        standard_deviation=np.sqrt(variance),
        pooled=float(np.sqrt(variance[finite].mean())) if finite.any() else float("nan"),
        largest_difference=largest,
        largest_at_hz=at_hz,
        n_repeat=n_repeat,
    )


@dataclass(frozen=True, eq=False)
class OpenAgainstShort:
    """Raw open over raw short, with the phase that their definitions promise taken out."""

    ratio: ComplexArray
    """(n_freq,) near -1 when both were contacted; ripple comes from uncorrected mismatch."""
    largest_distance: float
    """Largest |ratio + 1|."""
    largest_at_hz: float
    exchanged: bool | None
    """True when the two sweeps look exchanged, None when that cannot be told."""


def open_against_short(
    raw_open: ComplexArray,
    raw_short: ComplexArray,
    ideal_open: ComplexArray,
    ideal_short: ComplexArray,
    frequency_hz: FloatArray,
    *,
    telling_factor: float = 2.0,
) -> OpenAgainstShort:
    """Compare raw sweeps of open and short at one port, all (n_freq,) complex.

    The ratio is (m_open/m_short) / (-G_open/G_short), which tends to -1 as directivity and
    source match tend to zero. Exchanged sweeps also give nearly -1; the phase of the open's
    capacitance and the short's inductance tells them apart where it is large enough: the
    sweeps taken as exchanged fit the definitions better, or worse, by `telling_factor` in
    root mean square distance. The sign of a raw reflection tells nothing: the path to the
    tips turns it. The factor is a default of our own, not from a standard.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = -ideal_open / ideal_short
        ratio = (raw_open / raw_short) / expected
        misfit = _root_mean_square(ratio + 1.0)
        misfit_exchanged = _root_mean_square((raw_short / raw_open) / expected + 1.0)
    largest, at_hz = _largest(np.abs(ratio + 1.0), frequency_hz)
    exchanged = None
    if misfit_exchanged * telling_factor < misfit:
        exchanged = True
    elif misfit * telling_factor < misfit_exchanged:
        exchanged = False
    return OpenAgainstShort(ratio, largest, at_hz, exchanged)


def largest_singular_value(s: ComplexArray) -> FloatArray:
    """Largest singular value of two-port S-parameters; a passive device has at most 1.

    From the greater eigenvalue of S^H S = [[p, r], [r*, q]], (p + q)/2 +
    sqrt(((p - q)/2)^2 + |r|^2). Column powers at most 1 are not enough: S with all four
    elements 0.6 has column powers 0.72 and largest singular value 1.2.

    Args:
        s: (..., 2, 2).

    Returns:
        (...), NaN where any S-parameter is NaN.
    """
    power = np.abs(s) ** 2
    p, q = power[..., 0, 0] + power[..., 1, 0], power[..., 0, 1] + power[..., 1, 1]
    r = s[..., 0, 0].conj() * s[..., 0, 1] + s[..., 1, 0].conj() * s[..., 1, 1]
    largest: FloatArray = np.sqrt((p + q) / 2.0 + np.hypot((p - q) / 2.0, np.abs(r)))
    return largest


@dataclass(frozen=True, eq=False)
class Likeness:
    """Whether ports look like bare probes: one truth value a port.

    For one-port sweeps the shape is that of the leading axes, for two-port ones (..., 2).
    """

    open: BoolArray
    short: BoolArray


def likeness(
    s: ComplexArray,
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    *,
    n_ports: int,
    smallest_reflection: float = 0.9,
    largest_transmission: float = 0.1,
    largest_capacitance_f: float = 20e-15,
    largest_inductance_h: float = 30e-12,
    phase_allowance_rad: float = 0.1,
    smallest_share: float = 0.9,
) -> Likeness:
    """Tell corrected sweeps that look like an open (no contact) or a short (bridged pads).

    A port looks like an open when, at `smallest_share` of its points or more, it reflects
    at least `smallest_reflection`, transmits at most `largest_transmission`, and its phase
    is that of a stray capacitance (positive or negative) up to `largest_capacitance_f`; like
    a short likewise with an inductance. The defaults follow common practice (stray
    capacitance of lifted probes 3 to 15 fF) with room to spare; none is from a standard.

    Args:
        s: (..., n_freq) for one port, (..., n_freq, 2, 2) for two, said by `n_ports`.
        frequency_hz: (n_freq,).
    """
    if n_ports == 1:
        gamma, alone = s, np.isfinite(s)
    else:
        gamma = np.moveaxis(np.diagonal(s, axis1=-2, axis2=-1), -1, -2)
        across = np.maximum(np.abs(s[..., 0, 1]), np.abs(s[..., 1, 0]))
        alone = (across <= largest_transmission)[..., np.newaxis, :]
    omega = 2.0 * np.pi * frequency_hz
    open_phase_rad = 2.0 * np.arctan(omega * largest_capacitance_f * z_ref_ohm)
    short_phase_rad = 2.0 * np.arctan(omega * largest_inductance_h / z_ref_ohm)
    reflects = alone & (np.abs(gamma) >= smallest_reflection)
    like_open = np.abs(np.angle(gamma)) <= open_phase_rad + phase_allowance_rad
    like_short = np.abs(np.angle(-gamma)) <= short_phase_rad + phase_allowance_rad
    return Likeness(
        open=(reflects & like_open).mean(axis=-1) >= smallest_share,
        short=(reflects & like_short).mean(axis=-1) >= smallest_share,
    )


def _largest(values: FloatArray, frequency_hz: FloatArray) -> tuple[float, float]:
    """The largest finite value and its frequency; NaN twice when there is none."""
    finite = np.isfinite(values)
    if not finite.any():
        return float("nan"), float("nan")
    index = int(np.argmax(np.where(finite, values, -np.inf)))
    return float(values[index]), float(frequency_hz[index])


def _root_mean_square(values: ComplexArray) -> float:
    finite = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(np.abs(finite) ** 2))) if len(finite) else float("nan")
