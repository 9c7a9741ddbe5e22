"""Access resistances of a transistor: found at zero drain bias, taken off, and slopes back.

Source, quoted from memory: Dambrine et al., "A new method for determining the FET small-signal
equivalent circuit", IEEE Trans. MTT 36, 1988.
"""

import numpy as np

from sitegen.compute.rf.entries import by_entry, known, through
from sitegen.compute.rf.estimates import middle_half
from sitegen.compute.rf.two_port import from_impedance, impedance
from sitegen.model.arrays import ComplexArray, FloatArray


def access_resistances(
    s_cold: ComplexArray, frequency_hz: FloatArray, z_ref_ohm: float
) -> FloatArray:
    """Rg, Rs and Rd in ohm from sweeps at zero drain bias with the channel pinched off.

    With neither current nor channel only capacitances are left inside, and the real parts of Z are
    the access resistances, whatever the capacitances and inductances in series:

        Re Z11 = Rg + Rs, Re Z12 = Re Z21 = Rs, Re Z22 = Rd + Rs

    (Dambrine et al.). With the gate biased into conduction Re Z would also hold parts of the
    channel's resistance, which these sweeps cannot tell apart from the access. As the real part's
    noise falls with |Z|^2, which falls with f^2, points are weighed by f^4 after the wild ones are
    left out: only the middle half in order of size counts.

    Args:
        s_cold: (n, n_f, 2, 2), de-embedded as the sweeps are that the result is taken off.

    Returns:
        (n, 3); NaN where no point is known.
    """
    found: FloatArray = np.full((len(s_cold), 3), np.nan)
    for column, part in enumerate(access_parts(s_cold, z_ref_ohm)):
        weights = access_weights(part, frequency_hz)
        value = np.where(weights > 0, weights * part, 0.0).sum(axis=1)
        found[:, column] = np.where(weights.any(axis=1), value, np.nan)
    return found


def access_parts(
    s_cold: ComplexArray, z_ref_ohm: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rg, Rs and Rd in ohm as each point shows them, (..., 2, 2) to (...)."""
    z = impedance(s_cold, z_ref_ohm)
    source = 0.5 * np.real(z[..., 0, 1] + z[..., 1, 0])
    return np.real(z[..., 0, 0]) - source, source, np.real(z[..., 1, 1]) - source


def access_weights(part: FloatArray, frequency_hz: FloatArray) -> FloatArray:
    """What each point of one of `access_parts`, (n, n_f), weighs; 1 together, or 0 all."""
    weights = middle_half(part) * (frequency_hz / frequency_hz[-1]) ** 4
    total = weights.sum(axis=1, keepdims=True)
    return np.where(total > 0, weights / np.where(total > 0, total, 1.0), 0.0)


def without_access(s: ComplexArray, resistances_ohm: FloatArray, z_ref_ohm: float) -> ComplexArray:
    """S of sweeps (n, n_f, 2, 2) without access resistances Rg, Rs, Rd, (n, 3) or (3,).

    Z less [[Rg + Rs, Rs], [Rs, Rd + Rs]].
    """
    gate, source, drain = (resistances_ohm[..., k, np.newaxis] for k in range(3))
    z = impedance(s, z_ref_ohm)
    inner = np.empty_like(z)
    inner[..., 0, 0] = z[..., 0, 0] - gate - source
    inner[..., 0, 1] = z[..., 0, 1] - source
    inner[..., 1, 0] = z[..., 1, 0] - source
    inner[..., 1, 1] = z[..., 1, 1] - drain - source
    return from_impedance(inner, z_ref_ohm)


def slopes_by_whole(
    s: ComplexArray, resistances_ohm: FloatArray, slope: ComplexArray, z_ref_ohm: float
) -> tuple[ComplexArray, FloatArray]:
    """Slopes by S of whole sweeps (n, n_f, 2, 2), and by Rg, Rs, Rd, (n, 3).

    Args:
        slope: (4, n, n_f) by S of the same without access, 0 where it is not used.
    """
    inner = known(by_entry(np.eye(2) - without_access(s, resistances_ohm, z_ref_ohm)))
    by_z = through(inner / (2.0 * z_ref_ohm), slope, inner)
    source = by_z.sum(axis=0)
    by_ohm = -np.stack([by_z[0], source, by_z[3]], axis=-1).real.sum(axis=1)
    return _by_s(s, by_z, z_ref_ohm), by_ohm


def slopes_by_cold(
    s_cold: ComplexArray, frequency_hz: FloatArray, by_ohm: FloatArray, z_ref_ohm: float
) -> ComplexArray:
    """Slopes (4, n, n_f) by S of cold sweeps, from those by Rg, Rs, Rd."""
    gate, source, drain = (
        access_weights(part, frequency_hz) * by_ohm[:, place, np.newaxis]
        for place, part in enumerate(access_parts(s_cold, z_ref_ohm))
    )
    across = 0.5 * (source - gate - drain)
    return _by_s(s_cold, np.stack([gate, across, across, drain]) + 0j, z_ref_ohm)


def _by_s(s: ComplexArray, by_z: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """dZ = (Z + z) dS (Z + z) / 2z."""
    across = known(by_entry(impedance(s, z_ref_ohm) + z_ref_ohm * np.eye(2)))
    return through(across / (2.0 * z_ref_ohm), by_z, across)
