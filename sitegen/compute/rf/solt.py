"""Short-open-load-thru calibration: the 12-term model from known standards."""

import numpy as np

from sitegen.compute.rf.linear import LARGEST_CONDITION
from sitegen.compute.rf.one_port import (
    STANDARDS_NEEDED,
    ReflectionFit,
    Reflects,
    fit_reflects,
    port_residuals,
    undetermined_note,
)
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution
from sitegen.compute.rf.terms import DrivenTerms, TwoPortTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

ISOLATION_NOTE = "isolation was not measured and is taken as zero"


def solve_solt(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    reflects_1: Reflects,
    reflects_2: Reflects,
    raw_thru: ComplexArray,
    ideal_thru: ComplexArray,
    *,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from known reflects at each port and a known thru.

    Reflection terms come from `fit_reflects` at each port, load match and transmission
    tracking from the thru. Switch terms are not needed: the load matches contain them.

    Args:
        frequency_hz: (n_freq,).
        z_ref_ohm: real reference impedance of definitions and result.
        reflects_1, reflects_2: standards at port 1 and at port 2, three or more each.
        raw_thru, ideal_thru: (n_freq, 2, 2).
        raw_isolation: (n_freq, 2, 2), raw sweep with both ports terminated; its
            transmissions are the isolation terms. None: taken as zero, and noted.

    Returns:
        NaN terms and `determined` False where either port's standards are too close, where
        a sweep is NaN, or where the thru shows no transmission.

    Raises:
        CalibrationNotSolvable: too few standards, or shapes that disagree.
    """
    two_port = (len(frequency_hz), 2, 2)
    for name, sweep in (("thru", raw_thru), ("thru definition", ideal_thru)):
        if sweep.shape != two_port:
            raise CalibrationNotSolvable(f"the {name} has shape {sweep.shape}, not {two_port}")
    isolation = np.zeros(two_port, dtype=np.complex128) if raw_isolation is None else raw_isolation
    port_1 = fit_reflects(frequency_hz, z_ref_ohm, reflects_1, largest_condition)
    port_2 = fit_reflects(frequency_hz, z_ref_ohm, reflects_2, largest_condition)
    turned = np.s_[:, ::-1, ::-1]
    forward = _driven(port_1, raw_thru, ideal_thru, isolation)
    reverse = _driven(port_2, raw_thru[turned], ideal_thru[turned], isolation[turned])
    determined = _usable(forward) & _usable(reverse)
    terms = TwoPortTerms(
        frequency_hz, z_ref_ohm, _masked(forward, determined), _masked(reverse, determined)
    )
    notes = (ISOLATION_NOTE,) if raw_isolation is None else ()
    return CalibrationSolution(
        method="SOLT",
        terms=terms,
        determined=determined,
        condition=np.maximum(port_1.condition, port_2.condition),
        redundancy=len(reflects_1.raw) + len(reflects_2.raw) - 2 * STANDARDS_NEEDED,
        redundancy_of="reflection standards, both ports together",
        residuals=port_residuals(1, port_1) + port_residuals(2, port_2),
        notes=notes + undetermined_note(frequency_hz, determined),
    )


def _driven(
    fit: ReflectionFit, raw_thru: ComplexArray, thru: ComplexArray, isolation: ComplexArray
) -> DrivenTerms:
    """The six terms with the first port of the given sweeps driven.

    With G the corrected reflection into the thru and D its determinant,
    EL = (G - S11)/(S22 G - D) and ET = (m21 - EX)(1 - ES S11 - EL S22 + ES EL D)/S21.
    """
    one = fit.terms
    s11, s21, s22 = thru[:, 0, 0], thru[:, 1, 0], thru[:, 1, 1]
    determinant = s11 * s22 - s21 * thru[:, 0, 1]
    leak = isolation[:, 1, 0]
    with np.errstate(all="ignore"):
        difference = raw_thru[:, 0, 0] - one.directivity
        into_thru = difference / (one.reflection_tracking + one.source_match * difference)
        load_match = (into_thru - s11) / (s22 * into_thru - determinant)
        loops = (
            1.0
            - one.source_match * s11
            - load_match * s22
            + one.source_match * load_match * determinant
        )
        transmission_tracking = (raw_thru[:, 1, 0] - leak) * loops / s21
    return DrivenTerms(
        directivity=one.directivity,
        source_match=one.source_match,
        reflection_tracking=one.reflection_tracking,
        load_match=load_match,
        transmission_tracking=transmission_tracking,
        isolation=leak,
    )


def _arrays(terms: DrivenTerms) -> tuple[ComplexArray, ...]:
    return (
        terms.directivity,
        terms.source_match,
        terms.reflection_tracking,
        terms.load_match,
        terms.transmission_tracking,
        terms.isolation,
    )


def _usable(terms: DrivenTerms) -> BoolArray:
    """Where all terms are finite and both tracking terms let something through."""
    usable: BoolArray = (terms.transmission_tracking != 0) & (terms.reflection_tracking != 0)
    for values in _arrays(terms):
        usable &= np.isfinite(values)
    return usable


def _masked(terms: DrivenTerms, keep: BoolArray) -> DrivenTerms:
    nan = complex(np.nan, np.nan)
    return DrivenTerms(*(np.where(keep, values, nan) for values in _arrays(terms)))
