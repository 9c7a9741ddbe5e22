"""The first sentences of a verification's page: its verdict, its rule, its worst point."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import units
from sitegen.model.event_results import (
    Judged,
    MaskResult,
    StructureResult,
    VerificationResult,
)
from sitegen.model.results import CalibrationUse
from sitegen.render.phrases import (
    capital,
    counted,
    every,
    figure_of,
    frequency,
    instant,
    joined,
    several,
    spelled,
    unbroken,
    with_unit,
)
from sitegen.render.sentences import Sentences

QUANTITIES = {
    "complex deviation": ("complex deviation", ""),
    "magnitude db": ("deviation of the magnitude", "dB"),
    "phase deg": ("deviation of the phase", "°"),
}
"""Quantity of a mask -> its words and its unit."""
SWEEP_RULES = {
    "shown": "shown, not judged",
    "share of points": "share of points above 1",
    "greatest value": "greatest value",
}
"""Rule for a whole sweep -> its words."""
LINE_QUANTITIES = {
    "effective permittivity": ("effective permittivity", ""),
    "attenuation db per mm": ("attenuation per length", "dB/mm"),
    "phase deg per mm": ("phase per length", "°/mm"),
}
"""Quantity of a line -> its words and its unit."""
MOST_NAMED = 6
"""How many structures a sentence names before it counts the rest."""


def verification(
    result: VerificationResult,
    calibration_link: Markup,
    station: Markup,
    use: CalibrationUse | None,
) -> Sentences:
    """The verdict of a verification, its worst margin and where, its consequence, its rule.

    use: of the verified calibration; None where that is not in the record.
    """
    record = result.record
    made = Markup("Verification {} of calibration {} was made on {} on {} by {}.").format(
        record.id, calibration_link, instant(result.made_at), station, record.by
    )
    return (
        made,
        *outside(result),
        _verdict(result, calibration_link),
        *worst_margin(result),
        *_consequence(result, calibration_link, use),
        *rule(result),
    )


def outside(result: VerificationResult) -> Sentences:
    """That it was made outside its calibration's own validity; empty where it was not."""
    if not result.outside:
        return ()
    return (Markup("It was made {}.").format(unbroken(result.outside)),)


def _verdict(result: VerificationResult, calibration_link: Markup) -> Markup:
    total = len(result.structures)
    if result.outcome == "passed":
        own = "its one structure meets" if total == 1 else f"{every(total, 'structure')} meet"
        return Markup("It passed: {} {}.").format(own, _judged_by(result.structures))
    if result.outcome == "failed":
        return Markup("It failed: {}.").format(_concerned(result.structures, "failed"))
    if result.outcome == "not proven":
        return Markup(
            "It is not proven: {}. It neither closes calibration {} nor takes standing from a"
            " value."
        ).format(_concerned(result.structures, "not proven"), calibration_link)
    return Markup("It cannot be assessed: {}.").format(
        (result.reason or "no structure could be judged").rstrip(".")
    )


def _judged_by(structures: Sequence[StructureResult]) -> Markup:
    """'every mask, every sweep rule and every tolerance of a line': what the structures have."""
    kinds = {
        "every mask": any(one.masks for one in structures),
        "every sweep rule": any(
            each.rule != "shown" for one in structures for each in one.agreements
        ),
        "every tolerance of a line": any(one.line_quantities for one in structures),
        "passivity": _has_physical(structures, "passivity"),
        "reciprocity": _has_physical(structures, "reciprocity"),
    }
    return joined([word for word, there in kinds.items() if there])


def _has_physical(structures: Sequence[StructureResult], name: str) -> bool:
    return any(each.property == name for one in structures for each in one.physical)


def _concerned(structures: Sequence[StructureResult], outcome: Judged) -> Markup:
    """'one of three structures failed (line: S21 is beyond its mask)'."""
    mine = [one for one in structures if one.outcome == outcome]
    verb = {"failed": ("failed", "failed"), "not proven": ("is not proven", "are not proven")}
    one, many = verb[outcome]
    whole = len(structures)
    if whole == 1:
        told = f"its one structure {one}"
    elif len(mine) == whole:
        told = f"{every(whole, 'structure')} {many}"
    else:
        told = (
            f"{spelled(len(mine))} of {counted(whole, 'structure')}"
            f" {one if len(mine) == 1 else many}"
        )
    named = several([_why(each, outcome) for each in mine[:MOST_NAMED]], "; ")
    more = f"; and {spelled(len(mine) - MOST_NAMED)} more" if len(mine) > MOST_NAMED else ""
    return Markup("{} ({}{})").format(told, named, more)


def _why(result: StructureResult, outcome: Judged) -> Markup:
    reasons = list(reasons_of(result, outcome))
    name = result.structure.id
    return Markup("{}: {}").format(name, joined(reasons)) if reasons else Markup(name)


def reasons_of(result: StructureResult, outcome: Judged) -> Iterator[str]:
    """What of a structure has this outcome: 'S21 is beyond its mask', 'it is not passive', ..."""
    inside = outcome == "not proven"
    ports = list(
        dict.fromkeys(
            mask.mask.parameter.upper() for mask in result.masks if mask.outcome == outcome
        )
    )
    if ports:
        where = "inside the guard band of" if inside else "beyond"
        yield f"{joined(ports)} {'lies' if len(ports) == 1 else 'lie'} {where} a mask"
    for agreement in result.agreements:
        if agreement.outcome == outcome and agreement.rule != "shown":
            yield f"{agreement.parameter.upper()} disagrees with its reference over the whole sweep"
    for line in result.line_quantities:
        if line.outcome == outcome:
            where = "inside the guard band of" if inside else "beyond"
            words = LINE_QUANTITIES[line.declared.quantity][0]
            yield f"its {words} lies {where} the tolerance"
    for check in result.physical:
        if check.outcome == outcome:
            word = "passive" if check.property == "passivity" else "reciprocal"
            yield f"it is {'not proven ' if inside else 'not '}{word}"


def rule(result: VerificationResult) -> Sentences:
    """The decision rule, and which structures it judges without the uncertainty others have."""
    said = [Markup("{}.").format(result.rule.rstrip("."))] if result.rule else []
    judged = [
        (one.structure.id, mask.u is not None)
        for one in result.structures
        for mask in one.masks
        if mask.points_judged
    ]
    bare = list(dict.fromkeys(name for name, stated in judged if not stated))
    if bare and any(stated for _, stated in judged):
        said.append(
            Markup("No uncertainty is stated for {}: there the deviation is judged alone.").format(
                joined(bare)
            )
        )
    return tuple(said)


def _consequence(
    result: VerificationResult, calibration_link: Markup, use: CalibrationUse | None
) -> Sentences:
    """What a failed verification took from the values of its calibration."""
    if use is None or result.outcome != "failed" or not use.failed_by:
        return ()
    if use.failed_by != result.record.id:
        return (
            Markup("Verification {} of the same calibration had failed before.").format(
                use.failed_by
            ),
        )
    since = (
        "no verification had passed before it"
        if use.stands_until is None
        else f"those taken after {instant(use.stands_until)}, when the last one had passed"
    )
    if use.values_standing + use.values_lost == 0:
        return ()
    if use.lost_to_it == 0:
        return (Markup("No value lost its standing to it."),)
    return (
        Markup("{} of calibration {} lost {} standing to it: {}.").format(
            capital(counted(use.lost_to_it, "value")),
            calibration_link,
            "its" if use.lost_to_it == 1 else "their",
            since,
        ),
    )


@dataclass(frozen=True, slots=True)
class WorstPoint:
    """Where a verification came nearest to a mask, or went farthest beyond one."""

    mask: MaskResult
    structure: str
    ratio: float
    """Deviation with its guard band, divided by the mask."""
    frequency_hz: float

    @property
    def parameter(self) -> str:
        """'S22'."""
        return self.mask.mask.parameter.upper()


def worst_point(result: VerificationResult) -> WorstPoint | None:
    """The worst point over all structures and masks; None where nothing was judged."""
    return worst_of(
        (mask, structure.structure.id)
        for structure in result.structures
        for mask in structure.masks
    )


def worst_of(masks: Iterator[tuple[MaskResult, str]]) -> WorstPoint | None:
    """The worst point of masks, each with its structure; None where nothing was judged."""
    judged = [
        WorstPoint(mask, structure, mask.worst_ratio, mask.worst_frequency_hz)
        for mask, structure in masks
        if mask.worst_ratio is not None and mask.worst_frequency_hz is not None
    ]
    return max(judged, key=lambda point: point.ratio, default=None)


def worst_margin(result: VerificationResult) -> Sentences:
    """'Its worst point under a mask is S21 of THRU at 92 GHz: ...'; empty where none was judged."""
    worst = worst_point(result)
    if worst is None:
        return ()
    return (
        Markup("Its worst point under a mask is {} of {} at {}: {}.").format(
            worst.parameter, worst.structure, frequency(worst.frequency_hz), of_its_mask(worst)
        ),
    )


def of_its_mask(worst: WorstPoint) -> str:
    """'0.012 and a guard band of 0.003 are 75 % of what its mask allows, a margin of 0.005'."""
    mask = worst.mask
    unit = QUANTITIES[mask.mask.quantity][1]
    place = place_of(mask, worst.frequency_hz)
    told = with_unit(units.number(abs(float(mask.deviation[place])), 3), unit)
    verb = "is"
    if mask.guard is not None:
        guard = with_unit(units.number(float(mask.guard[place]), 2), unit)
        told, verb = f"{told} and a guard band of {guard}", "are"
    share = f"{told} {verb} {ratio_text(worst.ratio)} of what its mask allows"
    margin = mask.worst_margin
    if margin is None:
        return share
    room = with_unit(units.number(abs(margin), 3), unit)
    return f"{share}, {room} beyond it" if margin < 0 else f"{share}, a margin of {room}"


def place_of(mask: MaskResult, frequency_hz: float) -> int:
    """Place of a frequency of the mask's list in it."""
    return int(abs(mask.frequency_hz - frequency_hz).argmin())


def ratio_text(ratio: float) -> str:
    """'63 %'."""
    return f"{figure_of(ratio * 100, 3)}{units.THIN}%"
