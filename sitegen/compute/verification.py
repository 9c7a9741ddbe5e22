"""One verification event: its sweeps corrected, compared with references, judged under masks."""

from collections.abc import Mapping

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.clocks import reference_time
from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import Thru
from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.compute.rf.verification import (
    Attenuator,
    Mask,
    Reference,
    ReferenceData,
    Verdict,
    deviation,
    judge,
    reference_s,
)
from sitegen.compute.standards import GHZ, reflect_standard
from sitegen.model import verification as records
from sitegen.model.arrays import ComplexArray
from sitegen.model.campaign import Decision, Instrument
from sitegen.model.event_results import MaskResult, StructureResult, VerificationResult
from sitegen.model.frequency_lists import first_difference, same_frequencies
from sitegen.model.loaded import (
    LoadedStructure,
    LoadedVerification,
    Sweep,
)
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
    structures = tuple(_judge_structure(one, calibration, reason) for one in loaded.structures)
    outcomes = {one.outcome for one in structures}
    outcome: Verdict
    if "failed" in outcomes:
        outcome, told = "failed", _named(structures, "failed")
    elif outcomes == {"passed"} and not loaded.missing:
        outcome, told = "passed", ""
    else:
        outcome = "not assessable"
        told = reason or "; ".join(loaded.missing) or _named(structures, "not assessable")
    return VerificationResult(
        record=record,
        structures=structures,
        outcome=outcome,
        reason=told,
        made_at=reference_time(record.at, instrument),
    )


def applicable(terms: ErrorTerms, n_ports: int, port: int = 1) -> ErrorTerms:
    """Terms for sweeps of `n_ports`: a two-port calibration's terms of one port serve that port.

    Raises ValueError where a two-port sweep is to be corrected by a one-port calibration.
    """
    if n_ports == 1 and isinstance(terms, TwoPortTerms):
        driven: DrivenTerms = terms.forward if port == 1 else terms.reverse
        return OnePortTerms(
            terms.frequency_hz,
            terms.z_ref_ohm,
            driven.directivity,
            driven.source_match,
            driven.reflection_tracking,
        )
    if n_ports == 2 and isinstance(terms, OnePortTerms):
        raise ValueError("a one-port calibration cannot correct a two-port sweep")
    return terms


def correct_sweeps(terms: ErrorTerms, raw: ComplexArray, port: int = 1) -> ComplexArray:
    """Corrected sweeps of shape (..., n_freq, n_port, n_port), two ports or the one named."""
    n_ports = raw.shape[-1]
    fitting = applicable(terms, n_ports, port)
    if n_ports == 1:
        return np.asarray(correct(fitting, raw[..., 0, 0]))[..., np.newaxis, np.newaxis]
    return correct(fitting, raw)


def _reason_against(
    loaded: LoadedVerification, calibration: SolvedCalibration | None, instrument: Instrument
) -> str:
    """Why no structure of the event can be judged; empty when they can."""
    record = loaded.record
    if calibration is None:
        return f"calibration {record.calibration} is not in the record"
    if calibration.result.record.station != record.station:
        return f"calibration {record.calibration} was made on another station"
    calibrated = calibration.result.record
    if calibration.terms is None:
        return f"calibration {record.calibration} is not solved"
    if calibrated.instrument != record.instrument:
        return f"instrument: calibrated {calibrated.instrument}, verified {record.instrument}"
    if reference_time(record.at, instrument) < calibration.result.made_at:
        return f"it is dated before calibration {record.calibration}"
    return "; ".join(differences(calibrated.state, record.state))


def _judge_structure(
    loaded: LoadedStructure, calibration: SolvedCalibration | None, reason: str
) -> StructureResult:
    structure = loaded.structure
    if not reason and loaded.sweep is None:
        reason = f"{structure.file} could not be read"
    if not reason and isinstance(structure.reference, records.MeasuredReference):
        reason = "" if loaded.reference is not None else "its reference could not be read"
    if reason or calibration is None or calibration.terms is None or loaded.sweep is None:
        return StructureResult(structure, (), "not assessable", reason)
    try:
        masks = _judge_masks(loaded, loaded.sweep, calibration.terms)
    except ValueError as problem:
        return StructureResult(structure, (), "not assessable", str(problem))
    outcomes = {mask.outcome for mask in masks}
    if "failed" in outcomes:
        return StructureResult(structure, masks, "failed", "")
    if outcomes == {"passed"}:
        return StructureResult(structure, masks, "passed", "")
    told = "; ".join(mask.reason for mask in masks if mask.reason)
    return StructureResult(structure, masks, "not assessable", told)


def _judge_masks(
    loaded: LoadedStructure, sweep: Sweep, terms: ErrorTerms
) -> tuple[MaskResult, ...]:
    s = sweep.s
    if loaded.structure.sweep == "raw":
        if not same_frequencies(sweep.frequency_hz, terms.frequency_hz):
            told = first_difference(sweep.frequency_hz, terms.frequency_hz)
            raise ValueError(f"its frequency list differs from the calibration's: {told}")
        s = correct_sweeps(terms, s)
    n_ports = s.shape[-1]
    reference = reference_s(_reference(loaded), sweep.frequency_hz, terms.z_ref_ohm, n_ports)
    found = deviation(s[:, 0, 0] if n_ports == 1 else s, reference)
    results = []
    for mask in loaded.structure.masks:
        to_port, from_port = int(mask.parameter[1]), int(mask.parameter[2])
        if n_ports == 1 and mask.parameter != "s11":
            raise ValueError(f"a mask for {mask.parameter} needs a two-port sweep")
        judged = judge(
            found,
            sweep.frequency_hz,
            Mask(
                to_port,
                from_port,
                mask.quantity,
                tuple(point[0] for point in mask.points),
                tuple(point[1] for point in mask.points),
            ),
        )
        results.append(
            MaskResult(
                mask=mask,
                frequency_hz=sweep.frequency_hz,
                deviation=judged.deviation,
                limit=judged.limit,
                outcome=judged.verdict,
                reason=_not_assessable(judged.n_judged, judged.n_not_determined)
                if judged.verdict == "not assessable"
                else "",
                worst_ratio=_finite(judged.worst_ratio),
                worst_margin=_finite(judged.worst_margin),
                worst_frequency_hz=_finite(judged.worst_at_hz),
                points_judged=judged.n_judged,
                points_outside_mask=judged.n_outside_mask,
            )
        )
    return tuple(results)


def _reference(loaded: LoadedStructure) -> Reference:
    given = loaded.structure.reference
    match given:
        case records.MeasuredReference():
            assert loaded.reference is not None
            s = loaded.reference.s
            return ReferenceData(
                loaded.reference.frequency_hz, s[:, 0, 0] if s.shape[-1] == 1 else s
            )
        case records.LineModel():
            return Thru(given.delay_ps * 1e-12, given.z0_ohm, given.loss_gohm_per_s * GHZ)
        case records.AttenuatorModel():
            return Attenuator(given.attenuation_db)
        case _:
            return reflect_standard(given)


def _not_assessable(judged: int, undetermined: int) -> str:
    if judged == 0:
        return "no frequency of the sweep lies inside the mask"
    return f"{undetermined} of {judged} frequencies inside the mask are not determined"


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _named(structures: tuple[StructureResult, ...], outcome: str) -> str:
    mine = [one for one in structures if one.outcome == outcome]
    reasons = sorted({one.reason for one in mine if one.reason})
    why = f" ({'; '.join(reasons)})" if reasons else ""
    return f"{', '.join(one.structure.id for one in mine)} {outcome}{why}"
