"""Uncertainty of corrected S-parameters: what each source does to them, kept apart by source.

The law of propagation (JCGM 100:2008, 5.2; JCGM 102:2011 for several quantities at once): a
source that is off by one standard uncertainty moves a corrected S-parameter by a complex
deviation. A real source (a resistance, a length) moves it along that deviation only; a circular
one (noise, a contact) moves it likewise in every direction, since correction is analytic in
error terms and raw sweeps. Covariances are those of real and imaginary part. Deviations are
found by correcting again with perturbed terms, not by derivatives.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SourceFigure, SourceGroup

Kind = Literal["real", "circular"]


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

    A touchdown changes the reflections at both tips and the transmission, the same both ways.
    """
    corrected = correct(terms, raw)
    found: list[Deviation] = []

    def moved(group: SourceGroup, name: str, change: ComplexArray) -> None:
        values = correct(terms, raw + change) - corrected
        found.append(Deviation(group, name, "circular", values))

    for name, entry in _entries(terms):
        mine = entry * raw
        noise = np.hypot(errors.noise_floor, errors.trace_noise * np.abs(raw)) * entry
        if errors.noise_floor or errors.trace_noise:
            moved("noise of the sweep", name, noise.astype(np.complex128))
        if errors.linearity:
            moved("linearity of the sweep", name, errors.linearity * mine)
    if errors.cable:
        for name, path in _paths(terms):
            moved("cable during the sweep", name, errors.cable * path * raw)
    if errors.contact:
        found += [
            Deviation(
                "contact of the touchdown",
                name,
                "circular",
                np.where(np.isfinite(corrected), errors.contact * entry, complex(np.nan, np.nan)),
            )
            for name, entry in _contacts(terms)
        ]
    return tuple(found)


def covariance(deviations: Sequence[Deviation], shape: tuple[int, ...]) -> FloatArray:
    """Variances of real and imaginary part and their covariance, (*shape, 3).

    Sources are uncorrelated with one another; without any the covariance is zero.
    """
    total: FloatArray = np.zeros((*shape, 3))
    for one in deviations:
        if one.kind == "circular":
            square = np.abs(one.values) ** 2
            total[..., 0] += square
            total[..., 1] += square
        else:
            total[..., 0] += one.values.real**2
            total[..., 1] += one.values.imag**2
            total[..., 2] += one.values.real * one.values.imag
    return total


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


def _contacts(terms: ErrorTerms) -> tuple[tuple[str, FloatArray], ...]:
    """What a touchdown changes at the tips."""
    if isinstance(terms, OnePortTerms):
        return (("reflection", np.ones(1)),)
    return (
        ("reflection at port 1", _unit((0, 0))),
        ("reflection at port 2", _unit((1, 1))),
        ("transmission", _unit((0, 1), (1, 0))),
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
