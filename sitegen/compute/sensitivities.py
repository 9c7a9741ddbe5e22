"""A calibration to first order: what small changes of its sweeps and definitions do to it.

What is solved is analytic in the raw S-parameters at each frequency, apart from the LRRM load
that one fit finds for all of them. So it is solved again with that load held, once for each raw
S-parameter, each declared number and each number of the load; all sources of uncertainty are
made of these derivatives. The fit follows through its own Jacobian (`FittedLoad.gain`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.contacts import contacts_at
from sitegen.compute.error_sources import Entry, Record, entries
from sitegen.compute.rf.definitions import Open, reflection
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution, FittedLoad
from sitegen.compute.rf.terms import ErrorTerms, term_rows, terms_from_rows
from sitegen.compute.solving import solution_of
from sitegen.compute.standards import reflect_standard
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.loaded import LoadedCalibration

_STEP = 1e-6
"""Of a raw S-parameter, and of the load's reactance over reference impedance."""
_ROUNDING = 1e-9
"""Of error terms of order one; what differences of `_STEP` leave over."""
OPEN, LINE = -2, -1
"""Rows beside the error terms: the open that LRRM solves, and the propagation of TRL's line."""


@dataclass(frozen=True, eq=False)
class Linearised:
    """A solved calibration with its derivatives; rows are error terms, then `OPEN` and `LINE`."""

    loaded: LoadedCalibration
    solution: CalibrationSolution
    rows: ComplexArray
    """(n_row, n_freq) as solved."""
    by_entry: Mapping[Entry, ComplexArray]
    """(n_row, n_freq) for each raw S-parameter that the solution rests on."""
    by_load: ComplexArray
    """(n_load, n_row, n_freq) for inductance (and capacitance) of a fitted load, in SI units."""
    failed: tuple[str, ...]
    """Raw S-parameters without a derivative, with the reason."""

    def by_record(self, moved: Record, by: float) -> ComplexArray:
        """(n_row, n_freq) per unit of a change of the record that is `by` units large.

        Raises:
            CalibrationNotSolvable: the changed record cannot be solved.
        """
        changed = replace(self.loaded, record=moved)
        solved = solution_of(changed, held=self.solution)
        return (_rows_of(changed, solved, self.solution.fitted_load) - self.rows) / by

    def load_change_at_each(self, change: ComplexArray) -> FloatArray:
        """What the fit makes of a change (n_row, n_freq), by frequency: (n_parameter, n_freq).

        One row a fitted parameter, none without a fit; a change of all frequencies at once
        has their sum.
        """
        fitted = self.solution.fitted_load
        if fitted is None:
            return np.zeros((0, change.shape[-1]))
        parts = _parts(fitted, self.rows[OPEN], change[OPEN])
        return np.asarray(np.einsum("pkf,kf->pf", fitted.gain, parts))

    def with_load(self, change: ComplexArray, load: FloatArray) -> ComplexArray:
        """A change with what the load's own change adds to it."""
        if not len(load):
            return change
        followed: ComplexArray = np.tensordot(load[: len(self.by_load)], self.by_load, axes=1)
        return change + followed

    def terms(self, change: ComplexArray) -> ErrorTerms:
        """The error terms after a change."""
        return terms_from_rows(self.solution.terms, (self.rows + change)[:OPEN])


def linearise(loaded: LoadedCalibration, solution: CalibrationSolution) -> Linearised:
    """Derivatives of a solution, by differences small enough for nothing else to show."""
    rows = _rows_of(loaded, solution, solution.fitted_load)
    by_entry, failed = {}, []
    for entry in entries(loaded):
        changed = _with_raw(loaded, entry, _STEP)
        try:
            found = _rows_of(loaded, solution_of(changed, held=solution), solution.fitted_load)
        except CalibrationNotSolvable as reason:
            failed.append(f"{entry.name}: {reason}")
            continue
        derivative = (found - rows) / _STEP
        if moves(derivative):
            by_entry[entry] = derivative
    return Linearised(
        loaded, solution, rows, by_entry, _by_load(loaded, solution, rows), (*failed,)
    )


def moves(change: ComplexArray) -> bool:
    """Whether a change (n_row, n_freq) reaches any error term by more than rounding."""
    size = np.abs(change[:OPEN])
    return bool(np.max(size, initial=0.0, where=np.isfinite(size)) > _ROUNDING)


def _by_load(
    loaded: LoadedCalibration, solution: CalibrationSolution, rows: ComplexArray
) -> ComplexArray:
    fitted = solution.fitted_load
    if fitted is None:
        return np.zeros((0, *rows.shape), np.complex128)
    top_rad_per_s = 2.0 * np.pi * float(loaded.frequency_hz[-1])
    z_ref_ohm = loaded.record.reference_impedance_ohm
    step_h, step_f = _STEP * z_ref_ohm / top_rad_per_s, _STEP / (z_ref_ohm * top_rad_per_s)
    moved = [(replace(fitted, inductance_h=fitted.inductance_h + step_h), step_h)]
    if fitted.capacitance_f is not None:
        moved.append((replace(fitted, capacitance_f=fitted.capacitance_f + step_f), step_f))
    found = []
    for load, step in moved:
        solved = solution_of(loaded, held=replace(solution, fitted_load=load))
        found.append((_rows_of(loaded, solved, fitted) - rows) / step)
    return np.array(found)


def _rows_of(
    loaded: LoadedCalibration, solution: CalibrationSolution, fitted: FittedLoad | None
) -> ComplexArray:
    terms = [row.values for row in term_rows(solution.terms)]
    open_: ComplexArray = np.zeros(len(loaded.frequency_hz), np.complex128)
    line = open_
    if fitted is not None and solution.solved_reflects is not None:
        open_ = solution.solved_reflects.open - _expected_open(loaded, fitted)
    if solution.solved_line is not None:
        line = solution.solved_line.propagation_per_m
    return np.array([*terms, open_, line])


def _expected_open(loaded: LoadedCalibration, fitted: FittedLoad) -> ComplexArray:
    """What the fit compares the open with as a complex number; zero where only |open| counts."""
    if fitted.open_capacitance_f is None:
        return np.zeros(len(loaded.frequency_hz), np.complex128)
    record = loaded.record
    definition = next(
        one
        for one in (record.definitions[contact.name] for contact in contacts_at(loaded, 1))
        if isinstance(one, records.OpenDefinition)
    )
    open_ = reflect_standard(definition)
    assert isinstance(open_, Open) and isinstance(open_.capacitance_f, tuple)
    constant = (fitted.open_capacitance_f, *open_.capacitance_f[1:])
    return reflection(
        replace(open_, capacitance_f=constant), loaded.frequency_hz, record.reference_impedance_ohm
    )


def _parts(fitted: FittedLoad, open_: ComplexArray, change: ComplexArray) -> FloatArray:
    """The change of the fit's remainders, (n_part, n_freq); zero where the open is not solved."""
    if fitted.gain.shape[1] == 2:
        parts = np.stack([change.real, change.imag])
    else:
        with np.errstate(invalid="ignore"):
            parts = (change * np.conj(open_) / np.abs(open_)).real[np.newaxis]
    return np.asarray(np.nan_to_num(parts))


def _with_raw(loaded: LoadedCalibration, entry: Entry, change: float) -> LoadedCalibration:
    standard = loaded.standards[entry.sweep]
    s = np.array(standard.sweep.s)
    s[:, entry.row, entry.column] += change
    return with_sweeps(loaded, {entry.sweep: s})


def with_sweeps(
    loaded: LoadedCalibration, changed: Mapping[int, ComplexArray]
) -> LoadedCalibration:
    """A calibration with other raw sweeps, by their places."""
    return replace(
        loaded,
        standards=tuple(
            replace(one, sweep=replace(one.sweep, s=changed[at])) if at in changed else one
            for at, one in enumerate(loaded.standards)
        ),
    )
