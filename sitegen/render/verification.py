"""View of a verification's page: its verdict, its worst margin, the deviations under each mask."""

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.event_results import MaskResult, StructureResult, VerificationResult
from sitegen.model.results import CalibrationUse, CampaignResults, Drawing
from sitegen.model.verification import MeasuredReference
from sitegen.render import event_sentences
from sitegen.render.calibration import sources
from sitegen.render.die_lists import die_list
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.markdown import note_text
from sitegen.render.marks import marked
from sitegen.render.page import Page
from sitegen.render.phrases import (
    figure_of,
    frequency,
    instant,
    link,
    number_of,
    plain,
    stated,
    time_tag,
)
from sitegen.render.pieces import (
    Cell,
    Column,
    DieList,
    Fact,
    Figure,
    Finding,
    Link,
    NoteText,
    Row,
    Table,
    Text,
)
from sitegen.render.shell import shell
from sitegen.render.standards import defined
from sitegen.render.states import state_facts
from sitegen.render.tables import split

QUANTITIES = {
    "complex deviation": ("complex deviation", ""),
    "magnitude db": ("deviation of the magnitude", "dB"),
    "phase deg": ("deviation of the phase", "°"),
}
"""Quantity of a mask -> its words and its unit."""


@dataclass(frozen=True, slots=True)
class Deviations:
    """All deviations under one mask, folded away until they are asked for."""

    title: str
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class StructureView:
    """One structure of a verification."""

    id: str
    title: str
    verdict: Text
    facts: tuple[Fact, ...]
    masks: Table
    figures: tuple[Figure, ...]
    deviations: tuple[Deviations, ...]


@dataclass(frozen=True, slots=True)
class VerificationView:
    """Contract of templates/verification.html."""

    title: str
    lead: tuple[Markup, ...]
    findings: tuple[Finding, ...]
    lost: DieList | None
    """Dies that lost a value to this verification; None where it took none."""
    structures: tuple[StructureView, ...]
    facts: tuple[Fact, ...]
    notes: tuple[NoteText, ...]
    sources: Table


def verification_page(
    result: VerificationResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> Page:
    """The page of one verification. drawings: '<structure>-<n>', n the mask's number from 0."""
    address = addresses.verification(result.record.id)
    return Page(
        address,
        render(
            "verification",
            view(result, results, drawings),
            shell(results.context.record, address, f"Verification {result.record.id}"),
        ),
    )


def view(
    result: VerificationResult, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> VerificationView:
    """What a verification's page shows."""
    record = result.record
    page = addresses.verification(record.id)
    calibration: Text = Markup("{}").format(record.calibration)
    if record.calibration in results.context.calibrations:
        target = addresses.calibration(record.calibration)
        calibration = link(record.calibration, addresses.relative(target, page))
    station = link(record.station, addresses.relative(addresses.station(record.station), page))
    use = results.uses.get(record.calibration)
    return VerificationView(
        title=f"Verification {record.id}",
        lead=event_sentences.verification(result, Markup(calibration), station, use),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        ),
        lost=_lost(record.id, use, page),
        structures=tuple(_structure(each, drawings, page) for each in result.structures),
        facts=_facts(result, station, calibration),
        notes=tuple(
            note_text(note) for note in results.notes if note.subject == f"verification {record.id}"
        ),
        sources=sources(results.sources, f"verifications/{record.id}/"),
    )


def _lost(name: str, use: CalibrationUse | None, page: str) -> DieList | None:
    """The dies that lost a value, where this verification was the one that took their standing."""
    if use is None or use.failed_by != name or not use.lost_to_it:
        return None
    others = set(use.lost_reasons) - {"verification failed"}
    title = "Dies with a value that lost its standing"
    if others:
        title += f" to this verification, or otherwise ({', '.join(sorted(others))})"
    return die_list("lost", title, use.dies_lost, page, "No die is recorded.")


def _facts(result: VerificationResult, station: Markup, calibration: Text) -> tuple[Fact, ...]:
    record = result.record
    temperature = units.MISSING if record.substrate_c is None else stated(record.substrate_c, "°C")
    return (
        Fact("Station", station),
        Fact("Instrument", record.instrument),
        Fact("Calibration", calibration),
        Fact("By", record.by),
        Fact("Stamped by the instrument", instant(record.at)),
        Fact("Reference time", time_tag(result.made_at)),
        Fact("Ambient", stated(record.ambient_c, "°C")),
        Fact("Contact substrate", temperature),
        *state_facts(record.state),
    )


def _structure(
    result: StructureResult, drawings: Mapping[str, Drawing], page: str
) -> StructureView:
    structure = result.structure
    name = structure.id
    verdict = marked(result.outcome)
    if result.reason:
        verdict = verdict + Markup(": {}").format(result.reason)
    keys = [f"{name}-{number}" for number in range(len(result.masks))]
    return StructureView(
        id=f"structure-{name}",
        title=f"{name}: {structure.description}",
        verdict=verdict,
        facts=(
            Fact("Sweep", Markup("{}, <code>{}</code>").format(structure.sweep, structure.file)),
            Fact("Reference", _reference(result)),
        ),
        masks=_masks(result),
        figures=tuple(
            figure(drawings[key], page, None, Link("Table", f"#masks-{name}"))
            for key in keys
            if key in drawings
        ),
        deviations=tuple(
            Deviations(
                f"Deviation of {mask.mask.parameter.upper()} at each frequency"
                f" ({QUANTITIES[mask.mask.quantity][0]})",
                _deviations(name, number, mask),
            )
            for number, mask in enumerate(result.masks)
            if mask.points_judged
        ),
    )


def _reference(result: StructureResult) -> Text:
    reference = result.structure.reference
    if isinstance(reference, MeasuredReference):
        return Markup(
            "measured at acceptance: {}; standard uncertainty {} of each real and imaginary"
            " part; <code>{}</code>"
        ).format(reference.measured_on, figure_of(reference.standard_uncertainty), reference.file)
    article = "an" if reference.kind[0] in "aeiou" else "a"
    return f"model of {article} {reference.kind}: {defined(reference)}"


def _masks(result: StructureResult) -> Table:
    def row(mask: MaskResult) -> Row:
        words, unit = QUANTITIES[mask.mask.quantity]
        worst = (
            units.MISSING if mask.worst_frequency_hz is None else frequency(mask.worst_frequency_hz)
        )
        margin = units.MISSING
        if mask.worst_margin is not None:
            margin = units.number(mask.worst_margin, 3) + (f" {unit}" if unit else "")
        verdict = marked(mask.outcome)
        if mask.reason:
            verdict = verdict + Markup(' <span class="why">{}</span>').format(mask.reason)
        return Row(
            Cell(f"{mask.mask.parameter.upper()}, {words}"),
            (
                Cell(verdict),
                Cell(
                    units.MISSING
                    if mask.worst_ratio is None
                    else event_sentences.ratio_text(mask.worst_ratio),
                    plain(mask.worst_ratio),
                    True,
                ),
                Cell(margin, plain(mask.worst_margin), True),
                Cell(worst, plain(mask.worst_frequency_hz), True),
                Cell(number_of(mask.points_judged), str(mask.points_judged), True),
                Cell(number_of(mask.points_outside_mask), str(mask.points_outside_mask), True),
            ),
        )

    return Table(
        id=f"masks-{result.structure.id}",
        caption=f"Verdict of {result.structure.id} under each mask. The worst point is where the"
        " deviation is the greatest share of the mask; the margin is the mask less the deviation"
        " there.",
        columns=(
            Column("Mask"),
            Column("Outcome"),
            Column("Share of the mask", True),
            Column("Margin", True),
            Column("At", True),
            Column("Points judged", True),
            Column("Outside its range", True),
        ),
        rows=tuple(row(mask) for mask in result.masks),
    )


def _deviations(structure: str, number: int, mask: MaskResult) -> tuple[Table, ...]:
    words, unit = QUANTITIES[mask.mask.quantity]
    rows = []
    for frequency_hz, deviation, limit in zip(
        mask.frequency_hz.tolist(), mask.deviation.tolist(), mask.limit.tolist(), strict=True
    ):
        judged = limit == limit and deviation == deviation  # neither is NaN
        rows.append(
            Row(
                Cell(frequency(frequency_hz), plain(frequency_hz), True),
                (
                    Cell(units.number(deviation, 3), plain(deviation), True),
                    Cell(units.number(limit, 3), plain(limit), True),
                    Cell(
                        event_sentences.ratio_text(deviation / limit) if judged else units.MISSING,
                        plain(deviation / limit) if judged else "",
                        True,
                    ),
                ),
                "beyond" if judged and deviation > limit else "",
            )
        )
    return split(
        f"deviations-{structure}-{number}",
        f"{structure}, {mask.mask.parameter.upper()}: {words}" + (f" in {unit}" if unit else ""),
        (
            Column("Frequency", True),
            Column("Deviation", True),
            Column("Mask", True),
            Column("Share of the mask", True),
        ),
        rows,
        "No frequency was judged.",
    )
