"""An acceptance: what was shown where the system was built against what is shown on site."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.rf.differences import parts_between
from sitegen.compute.standards import made_alike
from sitegen.compute.structure_judgement import (
    deviation_parts,
    same_plane,
    with_deviations,
    worst_of,
)
from sitegen.compute.sweep_judgement import Compared, judge_agreements, judge_mask
from sitegen.model import verification as records
from sitegen.model.acceptance import AcceptanceRecord, DeclaredPerformance, SiteDifference
from sitegen.model.decision import Decision
from sitegen.model.event_results import (
    SHARED_BY_DEFINITIONS,
    AcceptanceResult,
    DifferenceResult,
    Judged,
    MaskResult,
    PerformanceResult,
    SourceGroup,
    StructureResult,
    VerificationResult,
)
from sitegen.model.frequency_lists import first_difference, same_frequencies
from sitegen.model.loaded import LoadedAcceptance


@dataclass(frozen=True, eq=False)
class _Place:
    """One of the two places: its verification and the calibration that this rests on."""

    word: str
    """'factory' or 'site'."""
    verification: VerificationResult
    calibration: SolvedCalibration

    def structure(self, name: str) -> StructureResult:
        """A structure's result. Raises _Refused where it was not measured."""
        for one in self.verification.structures:
            if one.structure.id == name:
                if one.corrected is None:
                    raise _Refused(f"{name} at the {self.word}: {one.reason}")
                return one
        raise _Refused(f"{name} is not in verification {self.verification.record.id}")


class _Refused(Exception):
    """Something cannot be judged or compared; the text says why."""


@dataclass(frozen=True)
class _Shown:
    """A declared figure as one place shows it."""

    figure: float | None
    u: float | None
    outcome: Judged
    reason: str


def judge_acceptance(
    loaded: LoadedAcceptance,
    verifications: Mapping[str, VerificationResult],
    calibrations: Mapping[str, SolvedCalibration],
    decision: Decision,
) -> AcceptanceResult:
    """Judge declared performance at both places, and each structure's difference between them.

    It is passed only where both verifications passed, under calibrations that met their own
    checks, and everything declared is met at both places.
    """
    record = loaded.record
    try:
        factory = _place("factory", record.factory, record, verifications, calibrations)
        site = _place("site", record.site, record, verifications, calibrations)
    except _Refused as reason:
        return AcceptanceResult(record, (), (), "not assessable", str(reason))
    reasons: list[str] = []
    performance = tuple(
        _performance(one, factory, site, decision, reasons) for one in record.performance
    )
    differences = tuple(
        _difference(one, factory, site, decision, f"{record.id}/{one.structure}", reasons)
        for one in record.differences
    )
    outcomes: list[Judged] = [
        *(one.factory_outcome for one in performance),
        *(one.site_outcome for one in performance),
        *(one.mask.outcome for one in differences),
    ]
    for place in (factory, site):
        judged, why = _standing(place)
        outcomes.append(judged)
        reasons += [why] if why else []
    outcome: Judged = worst_of(outcomes) if performance or differences else "not assessable"
    told = reasons if performance or differences else ["nothing is declared", *reasons]
    return AcceptanceResult(
        record,
        performance,
        differences,
        outcome,
        "" if outcome == "passed" else "; ".join(dict.fromkeys(told)),
    )


def _place(
    word: str,
    name: str,
    record: AcceptanceRecord,
    verifications: Mapping[str, VerificationResult],
    calibrations: Mapping[str, SolvedCalibration],
) -> _Place:
    """Raises _Refused where there is nothing that the place could be judged by."""
    verification = verifications.get(name)
    if verification is None:
        raise _Refused(f"the {word}'s verification {name} is not in the record")
    if verification.record.station != record.station:
        raise _Refused(
            f"the {word}'s verification {name} was made on station {verification.record.station}"
        )
    if record.factory == record.site:
        raise _Refused(f"{name} is named for both places")
    calibration = calibrations.get(verification.record.calibration)
    if calibration is None or calibration.terms is None:
        raise _Refused(f"calibration {verification.record.calibration} of {name} is not solved")
    return _Place(word, verification, calibration)


def _standing(place: _Place) -> tuple[Judged, str]:
    """What the place's own evidence lets an acceptance be at most, and why."""
    result, calibration = place.verification, place.calibration.result
    if result.outcome != "passed":
        return result.outcome, f"the {place.word}'s verification {result.record.id} " + (
            "failed" if result.outcome == "failed" else f"is {result.outcome}"
        )
    if calibration.outcome != "usable":
        return (
            "not assessable",
            f"the {place.word}'s calibration {calibration.record.id}: {calibration.outcome}",
        )
    return "passed", ""


def _performance(
    declared: DeclaredPerformance,
    factory: _Place,
    site: _Place,
    decision: Decision,
    reasons: list[str],
) -> PerformanceResult:
    at_factory, on_site = (_shown(declared, place, decision) for place in (factory, site))
    reasons += [one.reason for one in (at_factory, on_site) if one.reason]
    return PerformanceResult(
        declared,
        at_factory.figure,
        at_factory.u,
        on_site.figure,
        on_site.u,
        at_factory.outcome,
        on_site.outcome,
    )


def _shown(declared: DeclaredPerformance, place: _Place, decision: Decision) -> _Shown:
    """The greatest |deviation| in the declared range, judged as under a mask of that limit."""
    try:
        result = place.structure(declared.structure)
        judged = judge_mask(_against_reference(result, place), _as_mask(declared), decision)
    except (_Refused, ValueError) as reason:
        return _Shown(None, None, "not assessable", str(reason))
    inside = np.where(np.isfinite(judged.limit), judged.deviation, np.nan)
    figure = u = None
    if np.isfinite(inside).any():
        at = int(np.nanargmax(inside))
        figure = float(inside[at])
        if judged.u is not None and np.isfinite(judged.u[at]):
            u = float(judged.u[at])
    why = ""
    if judged.outcome != "passed":
        verb = "fails" if judged.outcome == "failed" else f"is {judged.outcome}"
        why = f"{declared.name} {verb} at the {place.word}"
        why += f" ({judged.reason})" if judged.reason else ""
    return _Shown(figure, u, judged.outcome, why)


def _against_reference(result: StructureResult, place: _Place) -> Compared:
    assert result.corrected is not None
    assert result.frequency_hz is not None and result.reference is not None
    sweep = with_deviations(result.frequency_hz, result.corrected, place.calibration)
    return Compared(
        sweep.frequency_hz,
        sweep.s,
        result.reference,
        deviation_parts(result.structure, result.reference, sweep),
    )


def _as_mask(declared: DeclaredPerformance) -> records.Mask:
    ends = dict.fromkeys((declared.frequency_start_hz, declared.frequency_stop_hz))
    return records.Mask(
        parameter=declared.parameter,
        quantity=declared.quantity,
        points=tuple((end, declared.limit) for end in ends),
    )


def _difference(
    declared: SiteDifference,
    factory: _Place,
    site: _Place,
    decision: Decision,
    name: str,
    reasons: list[str],
) -> DifferenceResult:
    """Site less factory under the declared mask, with both their uncertainties."""
    mask, structure = declared.mask, declared.structure
    try:
        compared = _between(structure, factory, site)
        judged = judge_mask(compared, mask, decision)
    except (_Refused, ValueError) as reason:
        reasons.append(f"{structure} is not compared: {reason}")
        return DifferenceResult(_not_judged(mask, str(reason)), structure, None)
    agreement = next(iter(judge_agreements(compared, (mask.parameter,), "shown", 0.05, name)), None)
    if judged.outcome != "passed":
        verb = "differs too much" if judged.outcome == "failed" else f"is {judged.outcome}"
        why = f" ({judged.reason})" if judged.reason else ""
        reasons.append(f"{structure} {verb} between the factory and the site{why}")
    return DifferenceResult(judged, structure, agreement)


def _between(structure: str, factory: _Place, site: _Place) -> Compared:
    """Raises _Refused across reference planes, impedances, numbers of ports or frequencies."""
    built, stands = factory.structure(structure), site.structure(structure)
    one, other = factory.calibration.result.record, site.calibration.result.record
    if not same_plane(one.reference_plane, other.reference_plane):
        raise _Refused(f"reference planes '{one.reference_plane}' and '{other.reference_plane}'")
    if one.reference_impedance_ohm != other.reference_impedance_ohm:
        raise _Refused(
            f"reference impedances {one.reference_impedance_ohm:g} Ω and"
            f" {other.reference_impedance_ohm:g} Ω"
        )
    assert built.corrected is not None and stands.corrected is not None
    assert built.frequency_hz is not None and stands.frequency_hz is not None
    if built.corrected.shape[-1] != stands.corrected.shape[-1]:
        raise _Refused("its sweep has one port at one place and two at the other")
    if not same_frequencies(built.frequency_hz, stands.frequency_hz):
        told = first_difference(stands.frequency_hz, built.frequency_hz)
        raise _Refused(f"the site's frequency list differs from the factory's: {told}")
    theirs = with_deviations(built.frequency_hz, built.corrected, factory.calibration)
    ours = with_deviations(stands.frequency_hz, stands.corrected, site.calibration)
    parts = None
    if ours.deviations is not None and theirs.deviations is not None:
        parts = parts_between(
            (ours.s, ours.deviations),
            (theirs.s, theirs.deviations),
            shared_sources(site.calibration, factory.calibration),
        )
    return Compared(ours.frequency_hz, ours.s, theirs.s, parts)


def shared_sources(
    one: SolvedCalibration, other: SolvedCalibration
) -> tuple[tuple[SourceGroup, str], ...]:
    """Group and name of the sources whose errors two calibrations have in common.

    One calibration shares all its common sources with itself, but for drift, since its
    verifications have their own times. Two share the definitions and the line's capacitance where
    they were made alike.
    """
    if one.uncertainty is None or other.uncertainty is None:
        return ()
    theirs = {(each.group, each.name) for each in other.uncertainty.perturbations}
    both = [
        (each.group, each.name)
        for each in one.uncertainty.perturbations
        if (each.group, each.name) in theirs
    ]
    first, second = one.result.record, other.result.record
    if first.id == second.id:
        return tuple(each for each in both if each[0] != "drift")
    alike = made_alike(first, second)
    return tuple(each for each in both if alike and each[0] in SHARED_BY_DEFINITIONS)


def _not_judged(mask: records.Mask, reason: str) -> MaskResult:
    nothing = np.empty(0)
    return MaskResult(
        mask, nothing, nothing, nothing, "not assessable", reason, None, None, None, 0, 0
    )
