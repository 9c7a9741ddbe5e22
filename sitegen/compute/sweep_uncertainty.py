"""What a calibration's uncertainty makes of a wafer's sweeps."""

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from sitegen.compute.correction import applicable
from sitegen.compute.rf.correct import uncorrect
from sitegen.compute.rf.propagation import (
    CalibrationUncertainty,
    Deviation,
    Perturbation,
    common_deviations,
    own_deviations,
)
from sitegen.compute.rf.sensitivity import Sources, sources_of
from sitegen.compute.rf.sweep_covariance import sweep_covariance
from sitegen.compute.rf.terms import ErrorTerms
from sitegen.model.arrays import ComplexArray, FloatArray


def deviations_of(
    s: ComplexArray, terms: ErrorTerms, uncertainty: CalibrationUncertainty, port: int
) -> Iterator[tuple[bool, Deviation]]:
    """Each source's deviation of corrected sweeps, with whether it is common to them all.

    Args:
        s: corrected with `terms`, (n_sweep, n_freq, n_port, n_port).
        port: of the analyser, for sweeps of one port.
    """
    n_ports = s.shape[-1]
    fitting, moved = _at_ports(terms, uncertainty, n_ports, port)
    raw = uncorrect(fitting, s[..., 0, 0] if n_ports == 1 else s)
    for found in common_deviations(fitting, moved, raw):
        yield True, _with_ports(found, n_ports)
    for found in own_deviations(fitting, uncertainty.own, raw):
        yield False, _with_ports(found, n_ports)


def covariance_of(
    raw: ComplexArray, terms: ErrorTerms, uncertainty: CalibrationUncertainty, port: int
) -> FloatArray:
    """Covariance of raw sweeps (n_sweep, n_freq, n_port, n_port) once they are corrected.

    Every S-parameter, all sources: (*raw.shape, 3) float32.
    """
    n_ports = raw.shape[-1]
    fitting, moved = _at_ports(terms, uncertainty, n_ports, port)
    seen = raw[..., 0, 0] if n_ports == 1 else raw
    found = sweep_covariance(fitting, moved, uncertainty.own, seen)
    return found.reshape(*raw.shape, 3)


@lru_cache(maxsize=16)
def sources_for(
    terms: ErrorTerms, uncertainty: CalibrationUncertainty, n_ports: int, port: int
) -> Sources:
    """Sources of a calibration and of each sweep, for figures of sweeps of so many ports.

    Kept, as they serve all groups of sweeps of a calibration.
    """
    fitting, moved = _at_ports(terms, uncertainty, n_ports, port)
    return sources_of(fitting, moved, uncertainty.own)


def _at_ports(
    terms: ErrorTerms, uncertainty: CalibrationUncertainty, n_ports: int, port: int
) -> tuple[ErrorTerms, list[Perturbation]]:
    """Error terms and every source's perturbed ones, as sweeps of so many ports need them."""
    moved = [
        replace(one, terms=applicable(one.terms, n_ports, port))
        for one in uncertainty.perturbations
    ]
    return applicable(terms, n_ports, port), moved


def _with_ports(one: Deviation, n_ports: int) -> Deviation:
    return replace(one, values=one.values[..., None, None]) if n_ports == 1 else one
