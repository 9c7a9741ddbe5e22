"""Moving S-parameters and error terms from a line's impedance to a real reference impedance.

Waves are the pseudo-waves of Marks and Williams, "A general waveguide circuit theory", J. Res.
NIST 97 (1992) 533 (quoted from memory): in a reference impedance equal to the line's they are
its travelling waves, in a real one also the power waves. Going from Z1 to Z2,

    [b, a]_2 ~ [[1, r], [r, 1]] [b, a]_1    with    r = (Z1 - Z2)/(Z1 + Z2),

the common factor being the same at both ports.
"""

from dataclasses import replace

import numpy as np

from sitegen.compute.rf.terms import DrivenTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray, FloatArray


def line_impedance(
    frequency_hz: FloatArray, propagation_per_m: ComplexArray, capacitance_f_per_m: float
) -> ComplexArray:
    """Zc = gamma/(j omega C), in ohm: a line whose shunt conductance is negligible.

    Marks and Williams, IEEE Microwave Guided Wave Lett. 1 (1991) 141 (quoted from memory). The
    relative uncertainty of Zc is at least that of C. NaN at 0 Hz.
    """
    with np.errstate(all="ignore"):
        z_c = propagation_per_m / (2j * np.pi * frequency_hz * capacitance_f_per_m)
    return np.where(np.isfinite(z_c), z_c, complex(np.nan, np.nan))


def at_real_impedance(
    terms: TwoPortTerms, line_impedance_ohm: ComplexArray, z_ref_ohm: float
) -> TwoPortTerms:
    """Terms that correct to `z_ref_ohm`, from terms that correct to the line's impedance.

    Args:
        line_impedance_ohm: (n_freq,) complex; NaN gives NaN terms.
        z_ref_ohm: real and positive.
    """
    with np.errstate(invalid="ignore"):
        r = _step(line_impedance_ohm, z_ref_ohm)
        forward, reverse = _moved(terms.forward, r), _moved(terms.reverse, r)
    return TwoPortTerms(terms.frequency_hz, z_ref_ohm, forward, reverse)


def s_at_real_impedance(
    s: ComplexArray, line_impedance_ohm: ComplexArray, z_ref_ohm: float
) -> ComplexArray:
    """Corrected S-parameters moved likewise, (..., n_freq, 2, 2): S2 = (S + r)(1 + r S)^-1."""
    with np.errstate(invalid="ignore"):
        r = _step(line_impedance_ohm, z_ref_ohm)[:, np.newaxis, np.newaxis] * np.eye(2)
        below = np.eye(2) + r @ s
    wanted = np.isfinite(below).all(axis=(-2, -1), keepdims=True)
    moved = (s + r) @ np.linalg.inv(np.where(wanted, below, np.eye(2)))
    return np.where(wanted, moved, complex(np.nan, np.nan))


def reflection_at_real_impedance(
    gamma: ComplexArray, line_impedance_ohm: ComplexArray, z_ref_ohm: float
) -> ComplexArray:
    """A corrected reflection moved likewise, (..., n_freq): G2 = (G + r)/(1 + r G)."""
    with np.errstate(all="ignore"):
        r = _step(line_impedance_ohm, z_ref_ohm)
        return (gamma + r) / (1.0 + r * gamma)


def _step(line_impedance_ohm: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    if not z_ref_ohm > 0:
        raise ValueError("a reference impedance is real and positive")
    return (line_impedance_ohm - z_ref_ohm) / (line_impedance_ohm + z_ref_ohm)


def _moved(terms: DrivenTerms, r: ComplexArray) -> DrivenTerms:
    """One direction, with both tips' waves replaced; leakage is not seen at the tips."""
    source = 1.0 + r * terms.source_match
    load = 1.0 + r * terms.load_match
    kept = 1.0 - r**2
    return replace(
        terms,
        directivity=terms.directivity - r * terms.reflection_tracking / source,
        source_match=(terms.source_match + r) / source,
        reflection_tracking=terms.reflection_tracking * kept / source**2,
        load_match=(terms.load_match + r) / load,
        transmission_tracking=terms.transmission_tracking * kept / (source * load),
        isolation=np.where(np.isfinite(r), terms.isolation, complex(np.nan, np.nan)),
    )
