"""Whether a calibration can be solved: its solution, or the fault that keeps it from one."""

from datetime import timedelta

from sitegen.compute.clocks import reference_time
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution
from sitegen.compute.solving import solution_of
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import Instrument
from sitegen.model.event_results import CalibrationResult
from sitegen.model.loaded import LoadedCalibration
from sitegen.problems import Fault


def solved_alone(
    loaded: LoadedCalibration, instrument: Instrument
) -> tuple[CalibrationResult, CalibrationSolution | None, tuple[Fault, ...]]:
    """A calibration's bare result, its solution, and what keeps it from one as a fault.

    The result says what was solved and when, and nothing yet of terms, checks or curves. What is
    missing from the record has been told where it was read.

    Args:
        instrument: the analyser, whose clock stamped the record.
    """
    record = loaded.record
    solution: CalibrationSolution | None = None
    unsolved = "; ".join(loaded.missing)
    faults: tuple[Fault, ...] = ()
    if not unsolved:
        try:
            solution = solution_of(loaded)
            if not solution.determined.any():
                raise CalibrationNotSolvable("its sweeps determine the terms at no frequency")
        except CalibrationNotSolvable as reason:
            solution = None
            unsolved = str(reason)
            faults = (_not_solvable(record, unsolved),)
    made_at = reference_time(record.at, instrument)
    result = CalibrationResult(
        record=record,
        frequency_hz=loaded.frequency_hz,
        terms=(),
        reported=(),
        checks=(),
        notes=() if solution is None else solution.notes,
        unsolved=unsolved,
        outcome="not solved" if solution is None else "usable",
        made_at=made_at,
        expires_at=made_at + timedelta(hours=record.validity.hours),
        determined=None if solution is None else solution.determined,
        condition=None if solution is None else solution.condition,
        redundancy=None if solution is None else solution.redundancy,
        redundancy_of="" if solution is None else solution.redundancy_of,
    )
    return result, solution, faults


def _not_solvable(record: CalibrationRecord, reason: str) -> Fault:
    return Fault(
        file=f"calibrations/{record.id}/record.toml",
        place="sweeps and definitions",
        found=f"a {record.method} calibration that cannot be solved: {reason}",
        expected="the sweeps and definitions that its method needs",
        remedy="Complete or correct the record; until then its values show 'not solved'.",
    )
