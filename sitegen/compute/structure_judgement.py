"""One structure of a verification: corrected, held against its reference, and judged."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.correction import correct_sweeps
from sitegen.compute.rf.checks import repeatability
from sitegen.compute.rf.definitions import Thru
from sitegen.compute.rf.differences import Part, parts_against_reference
from sitegen.compute.rf.propagation import Deviation, covariance
from sitegen.compute.rf.terms import ErrorTerms
from sitegen.compute.rf.verification import Attenuator, Reference, ReferenceData, reference_s
from sitegen.compute.standards import GHZ, reflect_standard
from sitegen.compute.structure_checks import judge_line, judge_physical
from sitegen.compute.sweep_judgement import Compared, judge_agreements, judge_mask
from sitegen.compute.sweep_uncertainty import deviations_of
from sitegen.model import verification as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.decision import Decision
from sitegen.model.event_results import SHARED_BY_DEFINITIONS, Judged, StructureResult
from sitegen.model.frequency_lists import first_difference, same_frequencies
from sitegen.model.loaded import LoadedStructure, Sweep

_PRECEDENCE: tuple[Judged, ...] = ("failed", "not assessable", "not proven")


class NotComparable(Exception):
    """A structure's sweep cannot be held against its reference; the text says why."""


@dataclass(frozen=True, eq=False)
class CorrectedSweep:
    """A structure's sweep, corrected."""

    frequency_hz: FloatArray
    s: ComplexArray
    """(n_freq, n_port, n_port)."""
    deviations: tuple[Deviation, ...] | None
    """By source, of the shape of `s`; None where no uncertainty is stated."""


def worst_of(outcomes: Iterable[Judged]) -> Judged:
    """Failed before not assessable before not proven; passed only where all passed and are any."""
    found = set(outcomes)
    if not found:
        return "not assessable"
    return next((one for one in _PRECEDENCE if one in found), "passed")


def judge_structure(
    loaded: LoadedStructure, calibration: SolvedCalibration, decision: Decision, name: str
) -> StructureResult:
    """Judge a structure by its masks, its rule for the whole sweep, its lines' quantities, physics.

    Args:
        loaded: with its sweep and, where measured, its reference.
        calibration: a solved one.
        name: of the structure within the campaign; seeds what is simulated.
    """
    structure = loaded.structure
    try:
        sweep = corrected_sweep(loaded, calibration)
        reference = _reference_of(loaded, calibration, sweep)
        parts = deviation_parts(structure, reference, sweep)
        compared = Compared(sweep.frequency_hz, sweep.s, reference, parts)
        masks = tuple(judge_mask(compared, mask, decision) for mask in structure.masks)
    except (NotComparable, ValueError) as reason:
        return StructureResult(structure, (), "not assessable", str(reason))
    agreements = judge_agreements(
        compared,
        tuple(dict.fromkeys(mask.parameter for mask in structure.masks)),
        structure.agreement,
        structure.false_alarm_rate,
        name,
    )
    lines = judge_line(structure, sweep.frequency_hz, sweep.s, sweep.deviations, decision)
    physical = judge_physical(structure, sweep.frequency_hz, sweep.s)
    whole = [one for one in agreements if one.rule != "shown"]
    outcomes = [one.outcome for one in masks] + [one.outcome for one in whole]
    outcomes += [one.outcome for one in lines] + [one.outcome for one in physical]
    outcome = worst_of(outcomes)
    reasons = [
        *(one.reason for one in masks),
        *(one.reason for one in lines),
        *(one.text.rstrip(".") for one in whole if one.outcome == "not assessable"),
    ]
    told = "; ".join(dict.fromkeys(one for one in reasons if one))
    return StructureResult(
        structure=structure,
        masks=masks,
        outcome=outcome,
        reason="" if outcome in ("passed", "failed") else told,
        agreements=agreements,
        line_quantities=lines,
        physical=physical,
        repeatability=_repeatability(loaded, calibration, sweep),
        frequency_hz=sweep.frequency_hz,
        corrected=sweep.s,
        covariance=None
        if sweep.deviations is None
        else covariance(sweep.deviations, sweep.s.shape),
        reference=reference,
    )


def corrected_sweep(loaded: LoadedStructure, calibration: SolvedCalibration) -> CorrectedSweep:
    """A structure's sweep corrected, with what each source does to it.

    A sweep that came corrected is taken as corrected with this calibration.

    Raises NotComparable or ValueError where it cannot be corrected.
    """
    sweep, terms = loaded.sweep, calibration.terms
    assert sweep is not None and terms is not None  # the verification looked at both
    if loaded.structure.sweep == "raw":
        return with_deviations(sweep.frequency_hz, _corrected(terms, sweep), calibration)
    if sweep.z_ref_ohm != terms.z_ref_ohm:
        raise NotComparable(
            f"its sweep refers to {sweep.z_ref_ohm:g} Ω, the calibration to {terms.z_ref_ohm:g} Ω"
        )
    if not same_frequencies(sweep.frequency_hz, terms.frequency_hz):
        return CorrectedSweep(sweep.frequency_hz, sweep.s, None)
    return with_deviations(sweep.frequency_hz, sweep.s, calibration)


def with_deviations(
    frequency_hz: FloatArray, s: ComplexArray, calibration: SolvedCalibration
) -> CorrectedSweep:
    """A sweep that was corrected with a calibration, with what each of its sources does to it."""
    terms, stated = calibration.terms, calibration.uncertainty
    if terms is None or stated is None:
        return CorrectedSweep(frequency_hz, s, None)
    port = calibration.result.record.ports[0] if s.shape[-1] == 1 else 1
    return CorrectedSweep(
        frequency_hz, s, tuple(one for _, one in deviations_of(s, terms, stated, port))
    )


def _corrected(terms: ErrorTerms, sweep: Sweep) -> ComplexArray:
    if not same_frequencies(sweep.frequency_hz, terms.frequency_hz):
        told = first_difference(sweep.frequency_hz, terms.frequency_hz)
        raise NotComparable(f"its frequency list differs from the calibration's: {told}")
    return correct_sweeps(terms, sweep.s)


def _reference_of(
    loaded: LoadedStructure, calibration: SolvedCalibration, sweep: CorrectedSweep
) -> ComplexArray:
    """The reference on the sweep's frequencies, of the sweep's shape.

    Raises NotComparable across reference planes or impedances.
    """
    given = loaded.structure.reference
    assert calibration.terms is not None
    z_ref_ohm = calibration.terms.z_ref_ohm
    if isinstance(given, records.MeasuredReference):
        plane = calibration.result.record.reference_plane
        if given.reference_plane is not None and not same_plane(given.reference_plane, plane):
            raise NotComparable(
                f"its reference refers to the plane '{given.reference_plane}', the calibration to"
                f" '{plane}'"
            )
        assert loaded.reference is not None
        if loaded.reference.z_ref_ohm != z_ref_ohm:
            raise NotComparable(
                f"its reference refers to {loaded.reference.z_ref_ohm:g} Ω, the calibration to"
                f" {z_ref_ohm:g} Ω"
            )
    n_ports = sweep.s.shape[-1]
    found = reference_s(_as_reference(loaded), sweep.frequency_hz, z_ref_ohm, n_ports)
    return found.reshape(sweep.s.shape)


def same_plane(one: str, other: str) -> bool:
    """Whether two texts name the same reference plane, capitals aside."""
    return one.strip().casefold() == other.strip().casefold()


def deviation_parts(
    structure: records.Structure, reference: ComplexArray, sweep: CorrectedSweep
) -> tuple[Part, ...] | None:
    """What the deviation from the reference can be off by; None where it is not stated."""
    if sweep.deviations is None:
        return None
    given = structure.reference
    if isinstance(given, records.MeasuredReference):
        shared = SHARED_BY_DEFINITIONS if given.shares == "definitions" else ()
        u = given.standard_uncertainty
    else:
        shared, u = (), structure.reference_u
    return parts_against_reference(sweep.s, reference, sweep.deviations, u, shared)


def _repeatability(
    loaded: LoadedStructure, calibration: SolvedCalibration, sweep: CorrectedSweep
) -> float | None:
    """Standard deviation of a complex S-parameter over contacts, pooled over the sweep."""
    if not loaded.repeats:
        return None
    contacts = [sweep.s]
    for one in loaded.repeats:
        raw = loaded.structure.sweep == "raw"
        assert calibration.terms is not None
        contacts.append(correct_sweeps(calibration.terms, one.s) if raw else one.s)
    columns = np.array(contacts).reshape(len(contacts), -1)
    at_hz = np.repeat(sweep.frequency_hz, sweep.s.shape[-1] ** 2)
    pooled = repeatability(columns, at_hz).pooled
    return pooled if np.isfinite(pooled) else None


def _as_reference(loaded: LoadedStructure) -> Reference:
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
