"""The linear propagation held against simulated calibrations (JCGM 101:2008, JCGM 102:2011)."""

import hashlib
from dataclasses import replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.error_sources import modes_of, passes, paths_of, record_errors, touched
from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.propagation import Perturbation, SweepErrors
from sitegen.compute.rf.solution import CalibrationNotSolvable
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms, term_rows, terms_from_rows
from sitegen.compute.sensitivities import with_sweeps
from sitegen.compute.solving import solution_of
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import Budget, MonteCarloCheck
from sitegen.model.loaded import LoadedCalibration

REGION_95 = 5.991
"""95 % of two Gaussian components: chi-squared with two degrees of freedom, k = 2.45."""


def monte_carlo_check(
    solved: SolvedCalibration, device: ComplexArray, budget: Budget, draws: int
) -> MonteCarloCheck:
    """Solve a calibration again with all its sources drawn at once, and correct a device with it.

    Sources are Gaussian, drift is rectangular. Every draw is solved as the record itself was,
    load fit included, and the device is touched, disturbed and corrected anew. The draws
    depend on the record's id alone.

    Args:
        device: true S-parameters in the shape that the terms correct, one parameter of which
            `budget` is about.
    """
    rng = np.random.default_rng(_seed(solved.loaded.record.id))
    deviations, unsolved = [], 0
    for _ in range(draws):
        try:
            deviation = _drawn(solved, device, rng)
        except CalibrationNotSolvable:
            unsolved += 1
            continue
        deviations.append(entry_of(deviation, budget.parameter))
    found = np.array(deviations).reshape(-1, len(budget.u))
    square = normalised_square(found, budget.covariance)
    known = np.isfinite(square)
    inside = float(np.mean(square[known] <= REGION_95)) if known.any() else float("nan")
    with np.errstate(all="ignore"):
        ratio = _spread(found) / budget.u
    return MonteCarloCheck(
        draws=draws,
        device=budget.device,
        parameter=budget.parameter,
        ratio=ratio,
        inside=inside,
        text=_text(draws, unsolved, ratio, inside),
    )


def entry_of(values: ComplexArray, parameter: str) -> ComplexArray:
    """S-parameter 'sij' of (n_freq, 2, 2); of one port the reflection that (n_freq,) is."""
    return values if values.ndim == 1 else values[:, int(parameter[1]) - 1, int(parameter[2]) - 1]


def _spread(found: ComplexArray) -> FloatArray:
    """(n_freq,) standard deviation of a part of (n_draw, n_freq), of the draws that are known."""
    known = np.isfinite(found)
    number_of = known.sum(axis=0)
    mean = np.where(known, found, 0.0).sum(axis=0) / number_of
    square = (np.where(known, np.abs(found - mean), 0.0) ** 2).sum(axis=0)
    return np.asarray(np.sqrt(0.5 * square / (number_of - 1)))


def normalised_square(deviation: ComplexArray, covariance: FloatArray) -> FloatArray:
    """d' V^-1 d of complex deviations (..., n_freq) with covariances (n_freq, 3).

    NaN where V is singular: a deviation of known direction has no region in the plane.
    """
    var_re, var_im, cov = np.moveaxis(covariance, -1, 0)
    re, im = deviation.real, deviation.imag
    with np.errstate(all="ignore"):
        determinant = var_re * var_im - cov**2
        square = (var_im * re**2 + var_re * im**2 - 2.0 * cov * re * im) / determinant
    known = determinant > 1e-12 * (var_re + var_im) ** 2
    return np.where(known, square, np.nan)


def _drawn(
    solved: SolvedCalibration, device: ComplexArray, rng: np.random.Generator
) -> ComplexArray:
    """Corrected less true S-parameters of the device in one simulated calibration."""
    assert solved.terms is not None and solved.uncertainty is not None
    errors, terms = solved.uncertainty.own, solved.terms
    drawn = solution_of(_drawn_calibration(solved.loaded, terms, errors, rng)).terms
    drawn = _drifted(terms, drawn, solved.uncertainty.perturbations, rng)
    touchdown = errors.contact * _circular(rng, 3)
    true = np.array(device)
    if isinstance(terms, OnePortTerms):
        raw = uncorrect(terms, true + touchdown[0])[:, np.newaxis, np.newaxis]
        return correct(drawn, _disturbed(raw, (1,), errors, rng)[:, 0, 0]) - device
    true[:, 0, 0] += touchdown[0]
    true[:, 1, 1] += touchdown[1]
    true[:, (0, 1), (1, 0)] *= 1.0 + touchdown[2]
    return correct(drawn, _disturbed(uncorrect(terms, true), (1, 2), errors, rng)) - device


def _drawn_calibration(
    loaded: LoadedCalibration, terms: ErrorTerms, errors: SweepErrors, rng: np.random.Generator
) -> LoadedCalibration:
    """The record and its sweeps as they could have been."""
    record = loaded.record
    for one in record_errors(record):
        record = one.moved(record, float(rng.normal()))
    changed = {}
    for at, standard in enumerate(loaded.standards):
        contact = np.zeros(3, np.complex128)
        modes = list(modes_of(loaded.record, standard))
        contact[modes] = errors.contact * _circular(rng, len(modes))
        raw = touched(terms, loaded.record, standard, contact)
        changed[at] = _disturbed(raw, paths_of(loaded.record, standard), errors, rng)
    return replace(with_sweeps(loaded, changed), record=record)


def _disturbed(
    raw: ComplexArray, ports: tuple[int, ...], errors: SweepErrors, rng: np.random.Generator
) -> ComplexArray:
    """A raw sweep through moved paths and receivers that err, with noise."""
    n_port = raw.shape[-1]
    moved = sum(
        (passes(n_port, port) * errors.cable * _circular(rng, 1) for port in ports),
        np.zeros((n_port, n_port), np.complex128),
    )
    linearity = errors.linearity * _circular(rng, n_port, n_port)
    noise = np.hypot(errors.noise_floor, errors.trace_noise * np.abs(raw))
    return raw * (1.0 + moved) * (1.0 + linearity) + noise * _circular(rng, *raw.shape)


def _drifted(
    terms: ErrorTerms,
    drawn: ErrorTerms,
    perturbations: tuple[Perturbation, ...],
    rng: np.random.Generator,
) -> ErrorTerms:
    """Drift added to first order, from a rectangular distribution of its standard uncertainty."""
    drifts = [one for one in perturbations if one.group == "drift"]
    if not drifts:
        return drawn
    base, rows = _rows(terms), _rows(drawn)
    for one in drifts:
        real, imaginary = rng.uniform(-np.sqrt(3.0), np.sqrt(3.0), 2)
        factor = real + 1j * imaginary if one.kind == "circular" else complex(real)
        rows = rows + factor * (_rows(one.terms) - base)
    return terms_from_rows(drawn, rows)


def _rows(terms: ErrorTerms) -> ComplexArray:
    return np.array([row.values for row in term_rows(terms)])


def _circular(rng: np.random.Generator, *shape: int) -> ComplexArray:
    drawn: ComplexArray = rng.normal(size=shape) + 1j * rng.normal(size=shape)
    return drawn


def _seed(name: str) -> int:
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big")


def _text(draws: int, unsolved: int, ratio: FloatArray, inside: float) -> str:
    known = ratio[np.isfinite(ratio)]
    if not len(known):
        return f"None of {draws} simulated calibrations could be compared."
    lost = f" {unsolved} of them could not be solved and are left out." if unsolved else ""
    return (
        f"{draws} simulated calibrations, every source drawn at once: their spread is"
        f" {known.min():.2f} to {known.max():.2f} of the propagated one (median"
        f" {np.median(known):.2f}), and {100.0 * inside:.1f} % of values lie inside the"
        f" propagated 95 % region.{lost}"
    )
