"""What a calibration's uncertainty makes of a wafer's sweeps and of the figures taken from them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from sitegen.compute.correction import applicable
from sitegen.compute.rf.correct import uncorrect
from sitegen.compute.rf.figures import Figure, figure_at
from sitegen.compute.rf.propagation import (
    CalibrationUncertainty,
    Deviation,
    Perturbation,
    common_deviations,
    covariance,
    own_deviations,
)
from sitegen.compute.rf.sensitivity import Sources, sources_of
from sitegen.compute.rf.sweep_covariance import sweep_covariance
from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

LARGEST_RELATIVE = 0.3
"""A level in dB or a phase whose S-parameter is less certain than this has no stated u: its
interval would not be symmetric."""

Evaluate = Callable[[ComplexArray], FloatArray]


@dataclass(frozen=True, eq=False)
class Stated:
    """Standard uncertainty of each value, in its unit, (n,); NaN where not stated."""

    common: FloatArray
    """From sources common to every sweep of the calibration."""
    own: FloatArray
    """From each sweep's own sources."""


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


def sources_for(
    terms: ErrorTerms, uncertainty: CalibrationUncertainty, n_ports: int, port: int
) -> Sources:
    """Sources of a calibration and of each sweep, for figures of sweeps of so many ports."""
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


def figure_uncertainty(
    figure: Figure,
    s: ComplexArray,
    frequency_hz: FloatArray,
    at_hz: float,
    z_ref_ohm: float,
    found: Mapping[bool, list[Deviation]],
) -> Stated:
    """Propagate deviations of two-port sweeps (n, n_freq, 2, 2) into a figure at one frequency.

    The law of propagation with central differences at one standard uncertainty; a circular
    source counts in both of its directions. Both points around `at_hz` move together.
    """

    def evaluate(moved: ComplexArray) -> FloatArray:
        return figure_at(figure, moved, frequency_hz, at_hz, z_ref_ohm)

    certain = _certain_enough(figure, evaluate(s), s, found)
    stated = {
        common: np.where(certain, np.sqrt(_squares(figure, evaluate, s, found[common])), np.nan)
        for common in (True, False)
    }
    return Stated(stated[True], stated[False])


def uncertainty_at(uncertainty: CalibrationUncertainty, points: slice) -> CalibrationUncertainty:
    """The same at some of its frequencies."""
    return replace(
        uncertainty,
        perturbations=tuple(
            replace(one, terms=at_frequencies(one.terms, points))
            for one in uncertainty.perturbations
        ),
    )


def at_frequencies(terms: ErrorTerms, points: slice) -> ErrorTerms:
    """Error terms at some of their frequencies."""
    if isinstance(terms, OnePortTerms):
        return OnePortTerms(
            terms.frequency_hz[points],
            terms.z_ref_ohm,
            terms.directivity[points],
            terms.source_match[points],
            terms.reflection_tracking[points],
        )
    return replace(
        terms,
        frequency_hz=terms.frequency_hz[points],
        forward=_driven_at(terms.forward, points),
        reverse=_driven_at(terms.reverse, points),
    )


def _driven_at(terms: DrivenTerms, points: slice) -> DrivenTerms:
    return DrivenTerms(**{one.name: getattr(terms, one.name)[points] for one in fields(terms)})


def _squares(
    figure: Figure, evaluate: Evaluate, s: ComplexArray, deviations: list[Deviation]
) -> FloatArray:
    total: FloatArray = np.zeros(len(s))
    for one in deviations:
        for turn in (1.0, 1j) if one.kind == "circular" else (1.0,):
            change = turn * one.values
            difference = evaluate(s + change) - evaluate(s - change)
            if figure.unit == "deg":
                difference = (difference + 180.0) % 360.0 - 180.0
            total += (0.5 * difference) ** 2
    return total


def _certain_enough(
    figure: Figure, value: FloatArray, s: ComplexArray, found: Mapping[bool, list[Deviation]]
) -> BoolArray:
    """Where the figure is there, and is not a level or a phase lost in uncertainty."""
    known: BoolArray = np.isfinite(value)
    if figure.unit not in ("dB", "deg"):
        return known
    place = _scattering(figure)
    if place is None:
        return known
    i, j = place
    every = [replace(one, values=one.values[..., i, j]) for part in found.values() for one in part]
    entry = s[..., i, j]
    square = covariance(every, entry.shape)
    with np.errstate(all="ignore"):
        relative = np.sqrt(square[..., 0] + square[..., 1]) / np.abs(entry)
    certain: BoolArray = known & np.all(relative <= LARGEST_RELATIVE, axis=-1)
    return certain


def _scattering(figure: Figure) -> tuple[int, int] | None:
    """The S-parameter that a level or a phase is of: 'phase of S21' is (1, 0)."""
    name = figure.name.strip("|").removeprefix("phase of ")
    if len(name) == 3 and name.startswith("S") and name[1:].isdigit():
        return int(name[1]) - 1, int(name[2]) - 1
    return None


def _with_ports(one: Deviation, n_ports: int) -> Deviation:
    return replace(one, values=one.values[..., None, None]) if n_ports == 1 else one
