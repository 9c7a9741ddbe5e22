"""Short-open-load-reciprocal calibration: the thru is unknown but reciprocal."""

import numpy as np

from sitegen.compute.rf.eight_term import (
    Boxes,
    Receivers,
    SwitchTerms,
    determinant,
    inverse,
    require_shapes,
    scattering,
    terms_of_boxes,
    transfer,
)
from sitegen.compute.rf.linear import LARGEST_CONDITION
from sitegen.compute.rf.one_port import (
    STANDARDS_NEEDED,
    Reflects,
    fit_reflects,
    port_residuals,
    undetermined_note,
)
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.terms import OnePortTerms
from sitegen.model.arrays import ComplexArray, FloatArray

LARGEST_PHASE_ERROR_DEG = 60.0
"""Beyond this difference from the thru's expected phase, modulo 180 degrees, the sign of the
transmission counts as not determined; 90 degrees would be undecidable. Our own choice."""

_FACING = np.array([[1.0, -1.0], [-1.0, 1.0]])
"""Signs that, with a transposition, turn a box seen from port 1 into one seen from port 2."""


def solve_solr(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    reflects_1: Reflects,
    reflects_2: Reflects,
    raw_thru: ComplexArray,
    thru_delay_s: float,
    *,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
    largest_phase_error_deg: float = LARGEST_PHASE_ERROR_DEG,
) -> CalibrationSolution:
    """Twelve error terms from known reflects at each port and an unknown reciprocal thru.

    Ferrero and Pisani, IEEE Microwave Guided Wave Lett. 2 (1992) 505 (quoted from memory).
    The reflects give six of the seven terms. The seventh is the scale y of M = y X T Y; since
    det T = S12/S21 = 1, y^2 = det M/(det X det Y). Its sign is the one that brings the thru's
    transmission nearer to that of its approximate delay.

    Returns:
        NaN terms and `determined` False where a port's standards are too close, a sweep is
        NaN, the thru lets nothing through, or its phase is further than
        `largest_phase_error_deg` from the expected one on both branches.

    Raises:
        CalibrationNotSolvable: too few standards, or shapes that disagree.
    """
    require_shapes(frequency_hz, {"thru": raw_thru, "isolation": raw_isolation})
    receivers = Receivers(switch_terms, raw_isolation)
    port_1 = fit_reflects(frequency_hz, z_ref_ohm, reflects_1, largest_condition)
    port_2 = fit_reflects(frequency_hz, z_ref_ohm, reflects_2, largest_condition)
    x = _box(port_1.terms)
    y = _box(port_2.terms).transpose(0, 2, 1) * _FACING
    with np.errstate(all="ignore"):
        m = transfer(receivers.without(raw_thru))
        scale = np.sqrt(determinant(m) / (determinant(x) * determinant(y)))
        thru = scattering(inverse(x) @ m @ inverse(y) / scale[:, np.newaxis, np.newaxis])
        turned = thru[:, 1, 0] * np.exp(2j * np.pi * frequency_hz * thru_delay_s)
        sign = np.where(turned.real < 0, -1.0, 1.0)
        phase_error_deg = np.abs(np.degrees(np.angle(turned * sign)))
        thru[:, 0, 1] *= sign
        thru[:, 1, 0] *= sign
        boxes = Boxes(x, y * (scale * sign)[:, np.newaxis, np.newaxis])
        determined = (
            np.isfinite(thru).all(axis=(1, 2))
            & np.isfinite(boxes.port_2).all(axis=(1, 2))
            & (phase_error_deg <= largest_phase_error_deg)
        )
        terms = terms_of_boxes(frequency_hz, z_ref_ohm, boxes, receivers, determined)
    unclear = np.isfinite(phase_error_deg) & (phase_error_deg > largest_phase_error_deg)
    notes = receivers.notes
    if unclear.any():
        notes += (
            f"the thru's phase is more than {largest_phase_error_deg:g} degrees from that of "
            f"its approximate delay at {unclear.sum()} frequencies: its sign is not determined",
        )
    return CalibrationSolution(
        method="SOLR",
        terms=terms,
        determined=determined,
        condition=np.maximum(port_1.condition, port_2.condition),
        redundancy=len(reflects_1.raw) + len(reflects_2.raw) - 2 * STANDARDS_NEEDED,
        redundancy_of="reflection standards, both ports together",
        residuals=port_residuals(1, port_1) + port_residuals(2, port_2),
        notes=notes + undetermined_note(frequency_hz, determined),
        solved_thru=np.where(determined[:, np.newaxis, np.newaxis], thru, complex(np.nan, np.nan)),
    )


def _box(terms: OnePortTerms) -> ComplexArray:
    """The transfer matrix [[ER - ED ES, ED], [-ES, 1]] of one port's terms, (n_freq, 2, 2)."""
    box = np.ones((len(terms.frequency_hz), 2, 2), np.complex128)
    box[:, 0, 0] = terms.reflection_tracking - terms.directivity * terms.source_match
    box[:, 0, 1], box[:, 1, 0] = terms.directivity, -terms.source_match
    return box
