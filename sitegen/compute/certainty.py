"""Multiline TRL: its solution's own uncertainty decides where it is determined."""

from dataclasses import replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.rf.correct import uncorrect
from sitegen.compute.rf.propagation import mean_u
from sitegen.compute.rf.sweep_covariance import sweep_covariance
from sitegen.compute.rf.terms import ErrorTerms, TwoPortTerms, term_rows, terms_from_rows
from sitegen.model.arrays import BoolArray
from sitegen.model.event_results import Term
from sitegen.units import frequency


def where_certain(solved: SolvedCalibration) -> SolvedCalibration:
    """Not determined where a match's reflection would be less certain than the record asks.

    Many lines seldom coincide, so no phase between two of them says where the solution holds;
    what its sources make of a match, which the lines define, does (`bounds.line_u_max`; every
    source common to all sweeps).
    """
    terms, uncertainty, solution = solved.terms, solved.uncertainty, solved.solution
    record = solved.loaded.record
    if record.method != "multiline TRL" or uncertainty is None or solution is None:
        return solved
    assert isinstance(terms, TwoPortTerms)
    matches = np.zeros((len(terms.frequency_hz), 2, 2), np.complex128)
    raw = uncorrect(terms, matches)
    u = mean_u(sweep_covariance(terms, uncertainty.perturbations, None, raw)).max(axis=(-2, -1))
    with np.errstate(invalid="ignore"):
        certain: BoolArray = u <= record.bounds.line_u_max
    lost = solution.determined & ~certain
    if not lost.any():
        return solved
    kept = _masked(terms, certain)
    note = (
        f"not determined at {int(lost.sum())} frequencies, up to"
        f" {frequency(float(terms.frequency_hz[lost].max()))}, where a match's standard uncertainty"
        f" exceeds {record.bounds.line_u_max:g}"
    )
    solution = replace(
        solution,
        terms=kept,
        determined=solution.determined & certain,
        notes=(*solution.notes, note),
    )
    result = replace(
        solved.result,
        terms=tuple(Term(row.name, row.symbol, row.values) for row in term_rows(kept)),
        determined=solution.determined,
        notes=(*solved.result.notes, note),
    )
    perturbations = tuple(
        replace(one, terms=_masked(one.terms, certain)) for one in uncertainty.perturbations
    )
    uncertainty = replace(uncertainty, perturbations=perturbations)
    return replace(solved, terms=kept, solution=solution, result=result, uncertainty=uncertainty)


def _masked(terms: ErrorTerms, kept: BoolArray) -> ErrorTerms:
    rows = np.array([row.values for row in term_rows(terms)])
    return terms_from_rows(terms, np.where(kept, rows, complex(np.nan, np.nan)))
