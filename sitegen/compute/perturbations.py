"""The uncertainty of a calibration: each of its sources off by one standard uncertainty."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.error_sources import (
    MODES,
    modes_of,
    name_of,
    passes,
    paths_of,
    record_errors,
    touched,
)
from sitegen.compute.rf.propagation import (
    CalibrationUncertainty,
    Kind,
    Perturbation,
    SweepErrors,
    part_covariance,
    uncorrelated,
)
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution
from sitegen.compute.sensitivities import LINE, OPEN, Linearised, linearise, moves
from sitegen.compute.sweep_errors import NOT_STATED, sweep_errors
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SourceFigure, SourceGroup
from sitegen.units import count, quantity

_SHARE = 0.01
"""Of a standard uncertainty, by which a declared number is moved to find its derivative."""
_LOAD = ("inductance", "capacitance")


@dataclass(frozen=True, eq=False)
class Source:
    """What one source at one u changes, to first order."""

    group: SourceGroup
    name: str
    kind: Kind
    rows: ComplexArray
    """(n_row, n_freq) as `Linearised.rows`, the share of a fitted load included."""
    load: FloatArray
    """What the fit makes of it, one value a fitted parameter in SI units; empty without a fit."""


def with_uncertainty(solved: SolvedCalibration) -> SolvedCalibration:
    """With perturbations for every source that the record states, drift apart.

    The solution's fitted load and its line get the uncertainty that all sources together give
    them. What has no derivative, or is not stated at all, is said in the result's notes. Left out:
    noise of the switch terms, which enters a reflection multiplied by both transmissions, and
    leakage between the ports.
    """
    stated, solution = solved.loaded.record.uncertainty, solved.solution
    if stated is None or solution is None:
        return solved
    linear = linearise(solved.loaded, solution)
    errors, figures = sweep_errors(solved.loaded, stated)
    from_record, record_figures, unsolved = _of_record(linear)
    noise = list(_of_noise(linear, errors))
    load, load_figures = _of_fitted_load(linear, errors)
    sources = [*from_record, *load, *noise]
    sources += [*_of_contacts(linear, errors), *_of_linearity(linear, errors)]
    sources += _of_cables(linear, errors)
    notes = (
        *unsolved,
        *(f"the uncertainty leaves out the noise of {text}" for text in linear.failed),
        *dict.fromkeys(
            f"the uncertainty leaves out the {one.name}, which is {one.basis}"
            for one in figures
            if one.size == NOT_STATED
        ),
        *_lost(linear, sources),
    )
    perturbations = (
        Perturbation(one.group, one.name, one.kind, linear.terms(one.rows)) for one in sources
    )
    every_figure = (*record_figures, *load_figures, *figures)
    result = replace(solved.result, sources=every_figure, notes=solved.result.notes + tuple(notes))
    return replace(
        solved,
        result=result,
        solution=_with_total(solution, sources),
        uncertainty=CalibrationUncertainty(tuple(perturbations), errors, every_figure),
    )


def _of_record(
    linear: Linearised,
) -> tuple[list[Source], list[SourceFigure], list[str]]:
    """Definitions and the lines' capacitance; what cannot be solved when moved, as sentences."""
    sources, figures, unsolved = [], [], []
    record = linear.loaded.record
    for one in record_errors(record):
        basis = "declared"
        try:
            rows = linear.by_record(one.moved(record, _SHARE), _SHARE)
        except CalibrationNotSolvable as reason:
            unsolved.append(f"the uncertainty leaves out the {one.name}: {reason}")
            basis = "declared; left out, since the moved one cannot be solved"
        else:
            if moves(rows):
                sources.append(_followed(linear, one.group, one.name, rows))
            else:
                basis = f"declared; it does not enter {record.method}"
        figures.append(SourceFigure(one.name, one.group, one.size, basis))
    return sources, figures, unsolved


def _of_noise(linear: Linearised, errors: SweepErrors) -> Iterator[Source]:
    """Each raw S-parameter by itself at each frequency, with a fitted load held."""
    for entry, derivative in linear.by_entry.items():
        size = _noise_of(linear, errors, entry.sweep)[:, entry.row, entry.column]
        if size.any():
            yield Source("noise", entry.name, "circular", derivative * size, np.zeros(0))


def _of_fitted_load(
    linear: Linearised, errors: SweepErrors
) -> tuple[list[Source], list[SourceFigure]]:
    """What the noise of all frequencies together makes of the fitted load.

    Its parameters are correlated: each principal component of their covariance is a source.
    """
    fitted = linear.solution.fitted_load
    if fitted is None:
        return [], []
    covariance, basis = _load_covariance(linear, errors), "from the noise of the sweeps"
    if not np.any(covariance):
        covariance, basis = fitted.covariance, "from the scatter of the fit"
    n_load = len(linear.by_load)
    names = _LOAD[:n_load]
    units = ("H", "F")
    figures = [
        SourceFigure(
            f"fitted {name} of the load",
            "fitted load",
            quantity(float(np.sqrt(covariance[place, place])), units[place]),
            basis,
        )
        for place, name in enumerate(names)
    ]
    if not np.all(np.diag(covariance) > 0):
        return [], figures
    together = " and ".join(names)
    sources = []
    for order, load in enumerate(uncorrelated(covariance), start=1):
        name = f"{together} of the load" + (f", component {order}" if n_load > 1 else "")
        rows = linear.with_load(np.zeros_like(linear.rows), load)
        sources.append(Source("fitted load", name, "real", rows, load))
    return sources, figures


def _load_covariance(linear: Linearised, errors: SweepErrors) -> FloatArray:
    """Covariance of the fitted parameters from the noise of every raw S-parameter, SI units."""
    fitted = linear.solution.fitted_load
    assert fitted is not None
    total: FloatArray = np.zeros_like(fitted.covariance)
    for entry, derivative in linear.by_entry.items():
        size = _noise_of(linear, errors, entry.sweep)[:, entry.row, entry.column]
        for turn in (1.0, 1j):
            at_each = linear.load_change_at_each(turn * size * derivative)
            total = total + at_each @ at_each.T
    return total


def _of_contacts(linear: Linearised, errors: SweepErrors) -> Iterator[Source]:
    if not errors.contact:
        return
    loaded = linear.loaded
    for at, standard in enumerate(loaded.standards):
        for mode in modes_of(loaded.record, standard):
            change = np.zeros(3, np.complex128)
            change[mode] = errors.contact
            raw = touched(linear.solution.terms, loaded.record, standard, change)
            name = f"{name_of(standard)}, {MODES[mode]}"
            yield from _circular(linear, "contact repeatability", name, at, raw - standard.sweep.s)


def _of_linearity(linear: Linearised, errors: SweepErrors) -> Iterator[Source]:
    if not errors.linearity:
        return
    for entry in linear.by_entry:
        s = linear.loaded.standards[entry.sweep].sweep.s
        change = np.zeros_like(s)
        change[:, entry.row, entry.column] = errors.linearity * s[:, entry.row, entry.column]
        yield from _circular(linear, "linearity", entry.name, entry.sweep, change)


def _of_cables(linear: Linearised, errors: SweepErrors) -> Iterator[Source]:
    if not errors.cable:
        return
    for at, standard in enumerate(linear.loaded.standards):
        s = standard.sweep.s
        for port in paths_of(linear.loaded.record, standard):
            change = errors.cable * passes(s.shape[-1], port) * s
            name = f"path of port {port} at {name_of(standard)}"
            yield from _circular(linear, "cable", name, at, change)


def _circular(
    linear: Linearised, group: SourceGroup, name: str, sweep: int, raw: ComplexArray
) -> Iterator[Source]:
    """A change of one sweep, alike over frequency, in any direction of the complex plane.

    A fit over frequency is not analytic in it: then its two directions are two real sources.
    """
    rows = np.zeros_like(linear.rows)
    for entry, derivative in linear.by_entry.items():
        if entry.sweep == sweep:
            rows += derivative * raw[:, entry.row, entry.column]
    if not moves(rows):
        return
    if linear.solution.fitted_load is None:
        yield Source(group, name, "circular", rows, np.zeros(0))
    else:
        for turn in (1.0, 1j):
            yield _followed(linear, group, name, turn * rows)


def _followed(linear: Linearised, group: SourceGroup, name: str, rows: ComplexArray) -> Source:
    """A real source, with what a fitted load makes of it."""
    load = linear.load_change_at_each(rows).sum(axis=-1)
    return Source(group, name, "real", linear.with_load(rows, load), load)


def _noise_of(linear: Linearised, errors: SweepErrors, sweep: int) -> FloatArray:
    s = linear.loaded.standards[sweep].sweep.s
    return np.asarray(np.hypot(errors.noise_floor, errors.trace_noise * np.abs(s)))


def _lost(linear: Linearised, sources: Sequence[Source]) -> Iterator[str]:
    """Where the calibration is determined and the effect of a source is not."""
    missing = np.zeros_like(linear.solution.determined)
    names = []
    for one in sources:
        here = linear.solution.determined & ~np.isfinite(one.rows[:OPEN]).all(axis=0)
        if here.any():
            names.append(one.name)
            missing |= here
    if names:
        points = count(int(missing.sum()), "frequency", "frequencies")
        others = f" and {count(len(names) - 1, 'other source')}" if len(names) > 1 else ""
        yield f"no uncertainty at {points}: not determined for {names[0]}{others}"


def _with_total(solution: CalibrationSolution, sources: Sequence[Source]) -> CalibrationSolution:
    """With the uncertainty that all sources give the fitted load and TRL's line."""
    fitted, line = solution.fitted_load, solution.solved_line
    if fitted is not None:
        total: FloatArray = sum(
            (np.outer(one.load, one.load) for one in sources if len(one.load)),
            np.zeros_like(fitted.covariance),
        )
        u = np.sqrt(np.diag(total))
        both = len(u) > 1
        fitted = replace(
            fitted,
            covariance=total,
            u_inductance_h=float(u[0]),
            u_capacitance_f=float(u[1]) if both else None,
            u_open_capacitance_f=float(u[2]) if both else None,
        )
    if line is not None:
        moved = [(one.kind, one.rows[LINE]) for one in sources]
        line = replace(line, covariance=part_covariance(moved, line.propagation_per_m.shape))
    return replace(solution, fitted_load=fitted, solved_line=line)
