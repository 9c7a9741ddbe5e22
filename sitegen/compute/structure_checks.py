"""What a structure's own nature promises: quantities of a line, passivity, reciprocity."""

from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np

from sitegen.compute.conformity import REASONS, Outcome, decide
from sitegen.compute.rf.lines import Propagation, propagation, quantity_at
from sitegen.compute.rf.propagation import Deviation
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.decision import Decision
from sitegen.model.event_results import Judged, LineQuantityResult, PhysicalCheck
from sitegen.model.verification import LineQuantity, Structure
from sitegen.units import frequency, number

_JUDGED: dict[int, Judged] = {
    Outcome.WITHIN: "passed",
    Outcome.OUTSIDE: "failed",
    Outcome.NOT_PROVEN: "not proven",
    Outcome.NOT_REFUTED: "not proven",
    Outcome.NOT_ASSESSABLE: "not assessable",
    Outcome.NOT_MEASURED: "not assessable",
}


def judge_line(
    structure: Structure,
    frequency_hz: FloatArray,
    s: ComplexArray,
    deviations: Sequence[Deviation] | None,
    decision: Decision,
) -> tuple[LineQuantityResult, ...]:
    """Each quantity of a line against its tolerance by the decision rule, and its reference.

    Beyond its tolerance by no more than the guard band of a rule that guards rejection it is not
    proven: neither accepted nor refused. Without a stated uncertainty it is judged alone.

    The normalised error (value - reference)/(k sqrt(u^2 + u_ref^2)) is E_n with its sign
    (ISO 13528, quoted from memory). It is judged, at most 1 in magnitude, where the structure
    asks for a rule of agreement; otherwise it is shown.
    """
    if not structure.line_quantities or structure.length_um is None:
        return ()
    length_m = structure.length_um * 1e-6
    line = propagation(s, frequency_hz, length_m, deviations)
    return tuple(
        _judge_quantity(line, one, length_m, structure.agreement != "shown", decision)
        for one in structure.line_quantities
    )


def _judge_quantity(
    line: Propagation, declared: LineQuantity, length_m: float, agree: bool, decision: Decision
) -> LineQuantityResult:
    value, u = quantity_at(line, declared.quantity, declared.frequency_hz, length_m)
    if not np.isfinite(value):
        return LineQuantityResult(
            declared,
            None,
            None,
            None,
            None,
            "not assessable",
            f"not determined at {frequency(declared.frequency_hz)}: the line's phase lies too near"
            " a multiple of 180° there, or its frequencies too far apart",
        )
    difference = value - declared.reference
    combined = None if u is None else float(np.hypot(u, declared.reference_u))
    normalised = None
    if combined:
        normalised = difference / (decision.coverage_factor * combined)
    rule = Decision(rule="simple") if combined is None else decision
    found = decide([difference], [combined or 0.0], -declared.tolerance, declared.tolerance, rule)
    outcome, reason = _JUDGED[int(found.outcome[0])], REASONS[int(found.reason[0])]
    if found.outcome[0] == Outcome.NOT_REFUTED:
        reason = "it lies beyond its tolerance by no more than the guard band"
    if agree and normalised is not None and abs(normalised) > 1 and outcome != "failed":
        outcome = "failed"
        reason = (
            f"it differs from its reference by {number(abs(normalised), 3)} times their expanded"
            " uncertainty"
        )
    return LineQuantityResult(declared, value, u, difference, normalised, outcome, reason)


def judge_physical(
    structure: Structure, frequency_hz: FloatArray, s: ComplexArray
) -> tuple[PhysicalCheck, ...]:
    """Passivity and reciprocity where the structure declares them, by its tolerances alone."""
    return tuple(_physical(structure, frequency_hz, s))


def _physical(
    structure: Structure, frequency_hz: FloatArray, s: ComplexArray
) -> Iterator[PhysicalCheck]:
    known = np.isfinite(s).all(axis=(1, 2))
    at, known_s = frequency_hz[known], s[known]
    if structure.passive:
        largest = np.linalg.svd(known_s, compute_uv=False)[:, 0] if len(at) else np.empty(0)
        yield _check("passivity", largest - 1.0, at, structure.passivity_tolerance)
    if structure.reciprocal and s.shape[-1] == 2:
        apart = np.abs(known_s[:, 1, 0] - known_s[:, 0, 1])
        yield _check("reciprocity", apart, at, structure.reciprocity_tolerance)


def _check(
    name: Literal["passivity", "reciprocity"], excess: FloatArray, at: FloatArray, tolerance: float
) -> PhysicalCheck:
    if not len(at):
        return PhysicalCheck(name, None, None, tolerance, "not assessable")
    worst = int(np.argmax(excess))
    figure = float(excess[worst])
    outcome: Judged = "passed" if figure <= tolerance else "failed"
    return PhysicalCheck(name, figure, float(at[worst]), tolerance, outcome)
