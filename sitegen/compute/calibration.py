"""One calibration event: its raw sweeps solved again, and its own checks judged."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sitegen.compute.calibration_checks import checks_of
from sitegen.compute.candidates import candidates
from sitegen.compute.checks.curves import curves_of
from sitegen.compute.checks.reported import against_reported, reported_terms
from sitegen.compute.checks.solution import checks_of_solution
from sitegen.compute.rf.propagation import CalibrationUncertainty
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.terms import ErrorTerms, term_rows
from sitegen.compute.solvable import solved_alone
from sitegen.model.campaign import Instrument, Probe
from sitegen.model.event_results import CalibrationResult, Comparison, Term
from sitegen.model.loaded import LoadedCalibration
from sitegen.problems import Fault

Outcome = Literal["usable", "checks failed", "not solved"]


@dataclass(frozen=True, eq=False)
class SolvedCalibration:
    """A calibration's result, and the error terms that correct sweeps with it."""

    result: CalibrationResult
    terms: ErrorTerms | None
    faults: tuple[Fault, ...]
    loaded: LoadedCalibration
    solution: CalibrationSolution | None = None
    uncertainty: CalibrationUncertainty | None = None
    """None: the record states none, or nothing was solved."""


def solve(
    loaded: LoadedCalibration, instrument: Instrument, probes: Sequence[Probe] = ()
) -> SolvedCalibration:
    """Solve a calibration from its raw sweeps and judge its own checks.

    What keeps it from being solved is a fault of the record; what its checks show is not.

    Args:
        instrument: the analyser, whose clock stamped the record.
        probes: of the station, for the bounds on their contacts.
    """
    result, solution, faults = solved_alone(loaded, instrument)
    checks = checks_of(loaded, solution, probes) if loaded.frequency_hz.size else ()
    terms: tuple[Term, ...] = ()
    reported: tuple[Term, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    if solution is not None:
        terms = tuple(Term(row.name, row.symbol, row.values) for row in term_rows(solution.terms))
        reported = reported_terms(loaded, solution.terms)
        compared, comparisons = against_reported(loaded, solution.terms, reported)
        checks += compared
    result = replace(
        result,
        terms=terms,
        reported=reported,
        checks=checks,
        curves=() if solution is None else tuple(curves_of(loaded, solution)),
        comparisons=comparisons,
    )
    terms_found = None if solution is None else solution.terms
    return judged(SolvedCalibration(result, terms_found, faults, loaded, solution))


def judged(solved: SolvedCalibration) -> SolvedCalibration:
    """With the outcome that its checks and comparisons ask for, whoever added them."""
    result = solved.result
    if solved.solution is None:
        return solved
    passed = [one.passed for one in result.checks] + [one.passed for one in result.comparisons]
    outcome: Outcome = "checks failed" if False in passed else "usable"
    causes = candidates(result.checks, comparisons=result.comparisons)
    return replace(solved, result=replace(result, outcome=outcome, candidates=causes))


def restated(solved: SolvedCalibration) -> SolvedCalibration:
    """With the checks and curves of a solution whose uncertainty has become known since."""
    if solved.solution is None:
        return solved
    checks = {one.name: one for one in checks_of_solution(solved.loaded, solved.solution)}
    result = replace(
        solved.result,
        checks=tuple(checks.get(one.name, one) for one in solved.result.checks),
        curves=tuple(curves_of(solved.loaded, solved.solution)),
    )
    return replace(solved, result=result)


def without_arrays(result: CalibrationResult) -> CalibrationResult:
    """What a wafer's job needs of a calibration: its facts, not its curves."""
    return replace(
        result,
        terms=(),
        reported=(),
        determined=None,
        condition=None,
        curves=(),
        comparisons=(),
        budgets=(),
        monte_carlo=None,
    )
