"""Uncertainty of corrected S-parameters: what each source does to them, kept apart by source.

The law of propagation (JCGM 100:2008, 5.2; JCGM 102:2011 for several quantities at once): a
source that is off by one standard uncertainty moves a corrected S-parameter by a complex
deviation. A real source (a resistance, a length) moves it along that deviation only; a circular
one (noise, a contact) moves it likewise in every direction, since correction is analytic in
error terms and raw sweeps. Covariances are those of real and imaginary part.

Deviations source by source come from correcting again with perturbed terms; where only their
covariance is wanted, for every sweep of every die, `common_covariance` takes all at once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SourceFigure, SourceGroup

Kind = Literal["real", "circular"]
_STEP = 1e-6
"""Of error terms and raw S-parameters, small enough for nothing but the derivative to show."""
_NEGLIGIBLE = 1e-9
"""Share of the largest principal component below which one is rounding."""


@dataclass(frozen=True, eq=False)
class Perturbation:
    """The error terms that a calibration would have if one source were off by one u."""

    group: SourceGroup
    name: str
    """For example 'resistance of load'."""
    kind: Kind
    terms: ErrorTerms


@dataclass(frozen=True)
class SweepErrors:
    """What one raw sweep can be off by, standard uncertainties as in `SweepUncertainty`."""

    noise_floor: float
    trace_noise: float
    contact: float
    linearity: float
    cable: float


@dataclass(frozen=True, eq=False)
class CalibrationUncertainty:
    """All that the uncertainty of a sweep corrected with a calibration is made from."""

    perturbations: tuple[Perturbation, ...]
    """Sources common to all sweeps of the calibration, fully correlated over their points."""
    own: SweepErrors
    """Sources that each sweep has for itself."""
    sources: tuple[SourceFigure, ...]


@dataclass(frozen=True, eq=False)
class Deviation:
    """What one source at one u does to corrected sweeps."""

    group: SourceGroup
    name: str
    kind: Kind
    values: ComplexArray
    """The shape of the corrected sweeps: (..., n_freq), or (..., n_freq, 2, 2)."""


def common_deviations(
    terms: ErrorTerms, perturbations: Sequence[Perturbation], raw: ComplexArray
) -> tuple[Deviation, ...]:
    """What the calibration's sources do to raw sweeps corrected with it.

    Args:
        terms: the calibration's error terms.
        perturbations: made from the same calibration.
        raw: (..., n_freq) with `OnePortTerms`, (..., n_freq, 2, 2) with `TwoPortTerms`.
    """
    corrected = correct(terms, raw)
    return tuple(
        Deviation(one.group, one.name, one.kind, correct(one.terms, raw) - corrected)
        for one in perturbations
    )


def own_deviations(
    terms: ErrorTerms, errors: SweepErrors, raw: ComplexArray
) -> tuple[Deviation, ...]:
    """What a sweep's own sources do to it: noise, its touchdown, linearity, cables.

    A touchdown changes the reflections at both tips, and the transmissions as a share of them,
    the same both ways.
    """
    corrected = correct(terms, raw)
    found: list[Deviation] = []
    by_entry = [
        (name, entry, (correct(terms, raw + _STEP * entry) - corrected) / _STEP)
        for name, entry in _entries(terms)
    ]
    for name, entry, derivative in by_entry:
        here = _at(entry, raw)
        if errors.noise_floor or errors.trace_noise:
            size = np.hypot(errors.noise_floor, errors.trace_noise * np.abs(here))
            found.append(Deviation("noise of the sweep", name, "circular", size * derivative))
        if errors.linearity:
            values = errors.linearity * here * derivative
            found.append(Deviation("linearity of the sweep", name, "circular", values))
    if errors.cable:
        for name, path in _paths(terms):
            values = np.zeros_like(corrected)
            for _, entry, derivative in by_entry:
                values += errors.cable * np.sum(path * entry) * _at(entry, raw) * derivative
            found.append(Deviation("cable during the sweep", name, "circular", values))
    if errors.contact:
        for name, change in _contacts(terms, corrected):
            found.append(
                Deviation("contact of the touchdown", name, "circular", errors.contact * change)
            )
    return tuple(found)


def _at(entry: FloatArray, raw: ComplexArray) -> ComplexArray:
    """One raw S-parameter, in a shape that goes with all of them."""
    if entry.ndim == 1:
        return raw
    here: ComplexArray = np.sum(entry * raw, axis=(-2, -1), keepdims=True)
    return here


def covariance(deviations: Sequence[Deviation], shape: tuple[int, ...]) -> FloatArray:
    """Variances of real and imaginary part and their covariance, (*shape, 3).

    Sources are uncorrelated with one another; without any the covariance is zero.
    """
    return part_covariance(((one.kind, one.values) for one in deviations), shape)


def part_covariance(
    changes: Iterable[tuple[Kind, ComplexArray]], shape: tuple[int, ...]
) -> FloatArray:
    """The same from changes of a complex quantity, with the kind of source behind each."""
    total: FloatArray = np.zeros((*shape, 3))
    for kind, values in changes:
        if kind == "circular":
            square = values.real**2 + values.imag**2
            total[..., 0] += square
            total[..., 1] += square
        else:
            total[..., 0] += values.real**2
            total[..., 1] += values.imag**2
            total[..., 2] += values.real * values.imag
    total[np.isnan(total).any(axis=-1)] = np.nan
    return total


def uncorrelated(covariance_of_inputs: FloatArray) -> FloatArray:
    """Correlated real inputs as uncorrelated sources of one standard uncertainty each.

    Principal components of the correlation matrix, largest first; those that are not there
    (inputs wholly correlated) are left out.

    Args:
        covariance_of_inputs: (n, n), every variance above zero.

    Returns:
        (n_component, n): what each source changes in the inputs; their outer products add up
        to the covariance.
    """
    u = np.sqrt(np.diag(covariance_of_inputs))
    variances, directions = np.linalg.eigh(covariance_of_inputs / np.outer(u, u))
    there = variances > _NEGLIGIBLE * variances.max()
    columns = directions * np.sqrt(np.where(there, variances, 0.0))
    components: FloatArray = columns.T[there][::-1] * u
    return components


def mean_u(covariances: FloatArray) -> FloatArray:
    """sqrt of the mean of both parts' variances, (..., 3) to (...)."""
    u: FloatArray = np.sqrt(0.5 * (covariances[..., 0] + covariances[..., 1]))
    return u


def along(deviations: Sequence[Deviation], direction: ComplexArray) -> FloatArray:
    """Standard uncertainty of the part of S along unit phasors `direction`, of their shape."""
    total: FloatArray = np.zeros(direction.shape)
    for one in deviations:
        turned = one.values * np.conj(direction)
        total += np.abs(turned) ** 2 if one.kind == "circular" else turned.real**2
    return np.asarray(np.sqrt(total))


def _entries(terms: ErrorTerms) -> tuple[tuple[str, FloatArray], ...]:
    """Each raw S-parameter by itself."""
    if isinstance(terms, OnePortTerms):
        return (("S11", np.ones(1)),)
    return tuple((f"S{i + 1}{j + 1}", _unit((i, j))) for i in (0, 1) for j in (0, 1))


def _contacts(terms: ErrorTerms, corrected: ComplexArray) -> tuple[tuple[str, ComplexArray], ...]:
    """What a touchdown changes at the tips; NaN where nothing is determined."""
    known: ComplexArray = np.where(np.isfinite(corrected), complex(1.0), complex(np.nan, np.nan))
    if isinstance(terms, OnePortTerms):
        return (("reflection", known),)
    return (
        ("reflection at port 1", known * _unit((0, 0))),
        ("reflection at port 2", known * _unit((1, 1))),
        ("transmission", corrected * _unit((0, 1), (1, 0))),
    )


def _paths(terms: ErrorTerms) -> tuple[tuple[str, FloatArray], ...]:
    """How often each S-parameter passes the path of a port: a reflection twice."""
    if isinstance(terms, OnePortTerms):
        return (("path of the port", np.full(1, 2.0)),)
    transmissions = _unit((0, 1), (1, 0))
    return (
        ("path of port 1", 2.0 * _unit((0, 0)) + transmissions),
        ("path of port 2", 2.0 * _unit((1, 1)) + transmissions),
    )


def _unit(*places: tuple[int, int]) -> FloatArray:
    chosen: FloatArray = np.zeros((2, 2))
    for i, j in places:
        chosen[i, j] = 1.0
    return chosen
