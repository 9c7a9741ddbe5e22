"""One verification event: each of its structures judged, and what that says of the calibration.

What a rule neither accepts nor refuses, on either side of a limit, makes a verification not proven:
it neither closes its calibration nor takes standing from a value.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.candidates import candidates
from sitegen.compute.clocks import reference_time
from sitegen.compute.structure_judgement import judge_structure, worst_of
from sitegen.compute.verification_validity import outside_validity
from sitegen.model import verification as records
from sitegen.model.campaign import Instrument
from sitegen.model.decision import RULE_TEXTS, Decision
from sitegen.model.event_results import Judged, StructureResult, VerificationResult
from sitegen.model.loaded import LoadedStructure, LoadedVerification
from sitegen.model.station_state import differences


def judge_verification(
    loaded: LoadedVerification,
    calibrations: Mapping[str, SolvedCalibration],
    instrument: Instrument,
    decision: Decision,
) -> VerificationResult:
    """Judge every structure; the verification is as good as its worst one.

    It fails as soon as one structure fails, and passes only where every structure passes.
    """
    record = loaded.record
    calibration = calibrations.get(record.calibration)
    reason = _reason_against(loaded, calibration, instrument)
    structures = tuple(
        _judged(one, calibration, reason, decision, f"{record.id}/{one.structure.id}")
        for one in loaded.structures
    )
    outcome = worst_of(one.outcome for one in structures)
    if outcome != "failed" and loaded.missing:
        outcome = "not assessable"
    told = ""
    if outcome == "not assessable":
        told = reason or "; ".join(loaded.missing) or _named(structures, outcome)
    elif outcome != "passed":
        told = _named(structures, outcome)
    made_at = reference_time(record.at, instrument)
    return VerificationResult(
        record=record,
        structures=structures,
        outcome=outcome,
        reason=told,
        made_at=made_at,
        rule=rule_in_words(decision, _states_uncertainty(calibration)),
        candidates=candidates(structures=structures),
        outside=""
        if calibration is None or _of_another(record, calibration, made_at)
        else outside_validity(record, made_at, calibration.result),
    )


def _of_another(
    record: records.VerificationRecord, calibration: SolvedCalibration, made_at: datetime
) -> bool:
    """Whether it cannot be held against the calibration's validity: another station or instrument,
    or dated before it."""
    calibrated = calibration.result
    return (
        (calibrated.record.station, calibrated.record.instrument)
        != (record.station, record.instrument)
    ) or made_at < calibrated.made_at


def rule_in_words(decision: Decision, stated: bool) -> str:
    """The decision rule for deviations as one sentence; `stated`: their uncertainty is."""
    simple = (
        "a deviation passes where it does not exceed its limit, and its uncertainty is left out"
    )
    title = RULE_TEXTS[decision.rule].title
    if decision.rule == "simple":
        return f"Simple acceptance: {simple}."
    if not stated:
        return (
            f"Simple acceptance in place of {title[0].lower()}{title[1:]}, because no uncertainty"
            f" of the corrected sweeps is stated: {simple}."
        )
    factors = (
        f" w = r·k·u, with r = {decision.guard_factor:g} and k = {decision.coverage_factor:g},"
    )
    together = f"a deviation passes where it and its guard band{factors} together do not exceed"
    how = {
        "guarded": f"(JCGM 106:2012): {together} the limit, fails where it exceeds the limit by"
        " itself, and is not proven between",
        "guarded rejection": "(JCGM 106:2012): a deviation passes where it does not exceed the"
        f" limit, fails where it exceeds the limit by more than its guard band{factors} and is not"
        " proven between",
        "non-binary": f"(ILAC-G8:09/2019): {together} the limit, fails where it exceeds the limit"
        " by more than its guard band, and is not proven between",
    }
    return f"{title} {how[decision.rule]}; limits are exact."


def _states_uncertainty(calibration: SolvedCalibration | None) -> bool:
    return calibration is not None and calibration.uncertainty is not None


def _reason_against(
    loaded: LoadedVerification, calibration: SolvedCalibration | None, instrument: Instrument
) -> str:
    """Why no structure of the event can be judged; empty when they can."""
    record = loaded.record
    if calibration is None:
        return f"calibration {record.calibration} is not in the record"
    calibrated = calibration.result.record
    if calibrated.station != record.station:
        return f"calibration {record.calibration} was made on another station"
    if calibration.terms is None:
        return f"calibration {record.calibration} is not solved"
    if calibrated.instrument != record.instrument:
        return f"instrument: calibrated {calibrated.instrument}, verified {record.instrument}"
    if reference_time(record.at, instrument) < calibration.result.made_at:
        return f"it is dated before calibration {record.calibration}"
    return "; ".join(differences(calibrated.state, record.state))


def _judged(
    loaded: LoadedStructure,
    calibration: SolvedCalibration | None,
    reason: str,
    decision: Decision,
    name: str,
) -> StructureResult:
    structure = loaded.structure
    if not reason and loaded.sweep is None:
        reason = f"{structure.file} could not be read"
    if not reason and isinstance(structure.reference, records.MeasuredReference):
        reason = "" if loaded.reference is not None else "its reference could not be read"
    if reason or calibration is None:
        return StructureResult(structure, (), "not assessable", reason)
    return judge_structure(loaded, calibration, decision, name)


def _named(structures: Sequence[StructureResult], outcome: Judged) -> str:
    """'line, short failed', with the reasons of those that have one."""
    mine = [one for one in structures if one.outcome == outcome]
    reasons = sorted({one.reason for one in mine if one.reason})
    why = f" ({'; '.join(reasons)})" if reasons else ""
    return f"{', '.join(one.structure.id for one in mine)} {outcome}{why}"
