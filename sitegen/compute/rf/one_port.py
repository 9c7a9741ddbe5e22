"""One-port calibration from three or more known reflection standards."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.linear import LARGEST_CONDITION, least_squares
from sitegen.compute.rf.solution import (
    CalibrationNotSolvable,
    CalibrationSolution,
    Port,
    PortResidual,
)
from sitegen.compute.rf.terms import OnePortTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

STANDARDS_NEEDED = 3


@dataclass(frozen=True, eq=False)
class Reflects:
    """Raw sweeps of known one-port standards and what their definitions promise.

    Both are (n_standard, n_freq) complex in the same order, with at least three standards.
    `weights`, (n_standard,) or (n_standard, n_freq), multiply squared remainders; None
    weighs all alike.
    """

    raw: ComplexArray
    ideal: ComplexArray
    weights: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class ReflectionFit:
    """Error terms of one port with what is known about them."""

    terms: OnePortTerms
    condition: FloatArray
    determined: BoolArray
    residual: ComplexArray | None
    """(n_standard, n_freq), None when nothing is redundant."""


def solve_one_port(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    reflects: Reflects,
    *,
    port: Port = 1,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """One-port error terms; see `fit_reflects` for equations, NaN and errors."""
    fit = fit_reflects(frequency_hz, z_ref_ohm, reflects, largest_condition)
    return CalibrationSolution(
        method="one-port",
        terms=fit.terms,
        determined=fit.determined,
        condition=fit.condition,
        redundancy=len(reflects.raw) - STANDARDS_NEEDED,
        redundancy_of="reflection standards",
        residuals=port_residuals(port, fit),
        notes=undetermined_note(frequency_hz, fit.determined),
    )


def fit_reflects(
    frequency_hz: FloatArray, z_ref_ohm: float, reflects: Reflects, largest_condition: float
) -> ReflectionFit:
    """Directivity, source match and reflection tracking of one port.

    m = ED + ER G/(1 - ES G) is linear in three unknowns,

        m = (ER - ED ES) G + ED + ES (G m),

    solved by (weighted) least squares over the standards at each frequency (Rytting; also
    Marks, "Formulations of the basic vector network analyzer error model including switch
    terms", ARFTG 1997, quoted from memory).

    Returns:
        Terms that are NaN, and `determined` False, where a standard is NaN or where the
        condition number exceeds `largest_condition` (standards too close in reflection).

    Raises:
        CalibrationNotSolvable: fewer than three standards, or shapes that disagree.
    """
    n_standard = len(reflects.raw)
    if reflects.raw.shape != reflects.ideal.shape or reflects.raw.shape[1:] != frequency_hz.shape:
        raise CalibrationNotSolvable(
            f"raw sweeps of shape {reflects.raw.shape} and definitions of shape "
            f"{reflects.ideal.shape} do not fit {len(frequency_hz)} frequencies"
        )
    if n_standard < STANDARDS_NEEDED:
        raise CalibrationNotSolvable(
            f"a port needs at least {STANDARDS_NEEDED} different reflection standards, "
            f"and {n_standard} were given"
        )
    raw, ideal = reflects.raw.T, reflects.ideal.T
    matrix: ComplexArray = np.stack([ideal, np.ones_like(ideal), ideal * raw], axis=-1)
    row_scale = _row_scale(reflects)
    unknown, condition = least_squares(matrix * row_scale[:, :, np.newaxis], raw * row_scale)
    determined = condition <= largest_condition
    unknown[~determined] = complex(np.nan, np.nan)
    directivity, source_match = unknown[:, 1], unknown[:, 2]
    tracking = unknown[:, 0] + directivity * source_match
    terms = OnePortTerms(frequency_hz, z_ref_ohm, directivity, source_match, tracking)
    redundant = n_standard > STANDARDS_NEEDED
    residual = correct(terms, reflects.raw) - reflects.ideal if redundant else None
    return ReflectionFit(terms, condition, determined, residual)


def port_residuals(port: Port, fit: ReflectionFit) -> tuple[PortResidual, ...]:
    """The residuals of one port as a tuple that is empty without redundancy."""
    return () if fit.residual is None else (PortResidual(port, fit.residual),)


def undetermined_note(frequency_hz: FloatArray, determined: BoolArray) -> tuple[str, ...]:
    """A sentence about frequencies without error terms, or nothing."""
    missing_hz = frequency_hz[~determined]
    if not len(missing_hz):
        return ()
    return (
        f"error terms not determined at {len(missing_hz)} of {len(frequency_hz)} frequencies, "
        f"{missing_hz[0] / 1e9:.6g} GHz to {missing_hz[-1] / 1e9:.6g} GHz",
    )


def _row_scale(reflects: Reflects) -> FloatArray:
    """Square roots of the weights as (n_freq, n_standard)."""
    n_standard, n_freq = reflects.raw.shape
    if reflects.weights is None:
        return np.ones((n_freq, n_standard))
    weights = reflects.weights if reflects.weights.ndim == 2 else reflects.weights[:, np.newaxis]
    return np.sqrt(np.broadcast_to(weights, (n_standard, n_freq)).T)
