"""Small-signal elements of a transistor, pointwise from S (..., 2, 2) to (...).

Common source, gate at port 1 and drain at port 2 (or base and collector): a hybrid-pi of Cgs, Cgd,
Cds, gds and a current source y_m v_gs, with a resistance Rg in series with the gate. Of

    Y11 = jw(Cgs + Cgd), Y12 = -jw Cgd, Y21 = y_m - jw Cgd, Y22 = gds + jw(Cds + Cgd)

Rg adds to Z11 alone. As the inner Y11 has no real part,

    1/Y11 = Rg + 1/(jw(Cgs + Cgd))

holds for the whole device at any frequency: Rg is its real part, and is taken off at each point.
What stands in series with Cgs inside (the channel's resistance) is counted in Rg. Access
resistances of source and drain are taken off before, with `without_access`.

Sources, quoted from memory: Minasian, Electron. Lett. 13, 1977 (elements from Y-parameters);
Dambrine et al., "A new method for determining the FET small-signal equivalent circuit", IEEE Trans.
MTT 36, 1988 (access resistances at zero drain bias).
"""

import numpy as np

from sitegen.compute.rf.estimates import middle_half
from sitegen.compute.rf.figure_records import Surroundings
from sitegen.compute.rf.gains import current_gain, entries
from sitegen.compute.rf.passive import one_sided
from sitegen.compute.rf.two_port import admittance, from_impedance, impedance
from sitegen.model.arrays import ComplexArray, FloatArray


def transit_frequency_hz(s: ComplexArray, frequency_hz: FloatArray) -> FloatArray:
    """f/Im(1/h21): of one dominant pole, h21 = -j fT/f + ..., at any frequency above it.

    Gummel, "On the definition of the cutoff frequency fT", Proc. IEEE 57, 1969 (quoted from
    memory).
    """
    return frequency_hz / np.imag(1.0 / current_gain(s))


def gate_resistance_ohm(s: ComplexArray, around: Surroundings) -> FloatArray:
    """Re(1/Y11)."""
    return np.real(1.0 / one_sided(s, around))


def transconductance_s(s: ComplexArray, around: Surroundings) -> FloatArray:
    """|y_m| of the inner Y, y_m = Y21 - Y12; a delay of the current source does not enter."""
    _, y12, y21, _ = inner_admittances(s, around)
    return np.abs(y21 - y12)


def output_conductance_s(s: ComplexArray, around: Surroundings) -> FloatArray:
    """Re(Y22 + Y12) of the inner Y."""
    _, y12, _, y22 = inner_admittances(s, around)
    return np.real(y22 + y12)


def gate_source_capacitance_f(
    s: ComplexArray, frequency_hz: FloatArray, around: Surroundings
) -> FloatArray:
    """Im(Y11 + Y12)/w of the inner Y."""
    y11, y12, _, _ = inner_admittances(s, around)
    return np.imag(y11 + y12) / (2.0 * np.pi * frequency_hz)


def gate_drain_capacitance_f(
    s: ComplexArray, frequency_hz: FloatArray, around: Surroundings
) -> FloatArray:
    """-Im(Y12)/w of the inner Y."""
    _, y12, _, _ = inner_admittances(s, around)
    return -np.imag(y12) / (2.0 * np.pi * frequency_hz)


def drain_source_capacitance_f(
    s: ComplexArray, frequency_hz: FloatArray, around: Surroundings
) -> FloatArray:
    """Im(Y22 + Y12)/w of the inner Y."""
    _, y12, _, y22 = inner_admittances(s, around)
    return np.imag(y22 + y12) / (2.0 * np.pi * frequency_hz)


def inner_admittances(
    s: ComplexArray, around: Surroundings
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """Y11, Y12, Y21, Y22 without Re(1/Y11) in series with port 1, in siemens.

    With R in series, Z11 = Z11' + R: Y11 = Y11'/(1 + R Y11'), and with q = 1/(1 - R Y11) the inner
    ones are q Y11, q Y12, q Y21 and Y22 + q R Y12 Y21. Here q Y11 = 1/(j Im(1/Y11)).
    """
    y11, y12, y21, y22 = entries(admittance(s, around.z_ref_ohm))
    z11 = 1.0 / y11
    inner = 1.0 / (1j * np.imag(z11))
    back, forth = inner * z11 * y12, inner * z11 * y21
    return inner, back, forth, y22 + np.real(z11) * back * y21


def access_resistances(
    s_cold: ComplexArray, frequency_hz: FloatArray, z_ref_ohm: float
) -> FloatArray:
    """Rg, Rs and Rd in ohm from sweeps at zero drain bias with the channel pinched off.

    With neither current nor channel only capacitances are left inside, and the real parts of Z are
    the access resistances, whatever the capacitances and inductances in series:

        Re Z11 = Rg + Rs, Re Z12 = Re Z21 = Rs, Re Z22 = Rd + Rs

    (Dambrine et al. 1988). With the gate biased into conduction Re Z would also hold parts of the
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
