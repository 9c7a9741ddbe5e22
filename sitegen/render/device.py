"""View of a device's page: what is taken from it, over bias and frequency, and its dummies."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.device import Device
from sitegen.model.device_results import DummyUse, QualityCount
from sitegen.model.results import CampaignResults, Drawing, ParameterResult
from sitegen.render import downloads, estimators, summaries
from sitegen.render.cells import count_cell
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.handed_over import handed_over
from sitegen.render.page import Page
from sitegen.render.phrases import (
    capital,
    counted,
    die_name,
    figure_of,
    frequency,
    number_of,
    with_unit,
)
from sitegen.render.pieces import Cell, Column, Fact, Figure, Finding, Link, Row, Table
from sitegen.render.shell import shell

FIGURES = ("median", "robust_spread", "q05", "q95")
QUALITY_WORDS = ("noise", "steps", "contact", "passivity", "reciprocity", "causality")


@dataclass(frozen=True, slots=True)
class DeviceView:
    """Contract of templates/device.html."""

    title: str
    lead: tuple[Markup, ...]
    doubts: tuple[Finding, ...]
    """What is wrong with its dummies."""
    facts: tuple[Fact, ...]
    parameters: Table
    bias: tuple[Figure, ...]
    """Parameters against a set point."""
    frequency: tuple[Figure, ...]
    """Under the condition that most dies were measured under."""
    further: tuple[Figure, ...]
    """Under its other conditions."""
    curves: tuple[Figure, ...]
    dummies: Table | None
    quality: Table | None
    handed_over: Table | None
    files: tuple[Markup, ...]
    links: tuple[Link, ...]


def device_page(device: Device, results: CampaignResults, drawings: Mapping[str, Drawing]) -> Page:
    """The page of one kind of device, over all wafers.

    drawings: 'bias-...', 'frequency-...', 'further-...' and 'curve-...', in the order in which they
    are shown.
    """
    address = addresses.device(device.id)
    return Page(
        address,
        render(
            "device",
            view(device, results, drawings),
            shell(results.context.record, address, capital(device.name)),
        ),
    )


def view(device: Device, results: CampaignResults, drawings: Mapping[str, Drawing]) -> DeviceView:
    """What a device's page shows."""
    page = addresses.device(device.id)
    uses = [use for use in results.dummies if use.device == device.id]
    counts = [one for one in results.sweep_quality if one.device == device.id]

    def pictures(kind: str) -> tuple[Figure, ...]:
        return tuple(
            figure(drawing, page) for name, drawing in drawings.items() if name.startswith(kind)
        )

    return DeviceView(
        title=capital(device.name),
        lead=_lead(device, results, uses, counts),
        doubts=tuple(
            Finding("attention", f"Wafer {use.wafer}: {doubt}")
            for use in uses
            for doubt in use.doubts
        ),
        facts=_facts(device, _is_swept(device, results)),
        parameters=_parameters(device, results, page),
        bias=pictures("bias-"),
        frequency=pictures("frequency-"),
        further=pictures("further-"),
        curves=pictures("curve-"),
        dummies=_dummies(uses) if uses else None,
        quality=_quality(counts) if counts else None,
        handed_over=handed_over(results, page, device.id),
        files=downloads.files(results.context, page),
        links=(
            Link("How the figures are computed", f"{addresses.relative(addresses.METHOD, page)}"),
            Link("What the columns mean", addresses.relative(addresses.DATA, page)),
        ),
    )


def _lead(
    device: Device,
    results: CampaignResults,
    uses: Sequence[DummyUse],
    counts: Sequence[QualityCount],
) -> tuple[Markup, ...]:
    record = results.context.record
    taken = [one for one in record.parameters if one.device == device.id]
    said = [
        Markup("{} {} taken from this device on {}.").format(
            capital(counted(len(taken), "parameter")),
            "is" if len(taken) == 1 else "are",
            counted(len(results.wafers), "wafer"),
        )
    ]
    if device.deembedding is not None:
        told = estimators.deembedding(device.deembedding)
        until = (
            f"; the lumped form is declared to hold up to {frequency(device.deembedding.upper_hz)}"
            if device.deembedding.upper_hz
            else ""
        )
        said.append(Markup("Pads and leads are taken off: {}{}.").format(told, until))
        unserved = sum(use.unserved for use in uses)
        if unserved:
            said.append(
                Markup("For {} no dummies served; their figures are not assessable.").format(
                    counted(unserved, "sweep")
                )
            )
    sweeps = sum(one.sweeps for one in counts)
    if sweeps:
        suspect = max(_most(counts).values(), default=0)
        said.append(
            Markup("{} of {} a quality that is suspect.").format(
                f"At least {number_of(suspect)}", f"{counted(sweeps, 'sweep')} have"
            )
            if suspect
            else Markup("None of {} has a quality that is suspect.").format(
                counted(sweeps, "sweep")
            )
        )
    return tuple(said)


def _most(counts: Sequence[QualityCount]) -> Mapping[str, int]:
    return {
        name: sum(one.words.get(name, {}).get("suspect", 0) for one in counts)
        for name in QUALITY_WORDS
    }


def _is_swept(device: Device, results: CampaignResults) -> bool:
    """Whether S-parameters are taken, or to be taken, of a device."""
    planned = any(
        one.device == device.id and one.kind == "rf" for one in results.context.record.parameters
    )
    return planned or any(one.device == device.id for one in results.sweep_quality)


def _facts(device: Device, swept: bool) -> tuple[Fact, ...]:
    facts = [Fact("Identity", device.id), Fact("Kind", device.kind)]
    if swept:
        facts.append(Fact("Ports", str(device.ports)))
    if device.width_um is not None:
        facts.append(Fact("Total width", with_unit(figure_of(device.width_um), "µm")))
    if device.length_um is not None:
        facts.append(Fact("Length", with_unit(figure_of(device.length_um), "µm")))
    if device.links is not None:
        facts.append(Fact("Contacts in series", number_of(device.links)))
    if not swept:
        return tuple(facts)
    facts.append(
        Fact(
            "De-embedding",
            estimators.deembedding(device.deembedding)
            if device.deembedding
            else "none: figures hold at the probe tips",
        )
    )
    facts.append(
        Fact(
            "Declared passive",
            "yes; passivity and reciprocity of its sweeps are judged" if device.passive else "no",
        )
    )
    return tuple(facts)


def _parameters(device: Device, results: CampaignResults, page: str) -> Table:
    record = results.context.record
    parameters = {one.id: one for one in record.parameters if one.device == device.id}
    conditions = summaries.conditions_of(record)
    rows = []
    for result in results.parameters:
        if result.wafer or result.parameter not in parameters:
            continue
        parameter = parameters[result.parameter]
        factor, unit = summaries.scale(parameter, [result.summary])
        rows.append(
            Row(
                summaries.parameter_cell(parameter, page, record),
                (
                    summaries.condition_cell(conditions.get(result.condition), result.condition),
                    count_cell(result.summary.n),
                    Cell(unit),
                    *summaries.figure_cells(result.summary, factor, FIGURES),
                    _uncertainty(result, factor, record.decision.coverage_factor),
                ),
            )
        )
    return Table(
        id="parameters",
        caption="Parameters of this device over all wafers, values with standing. U is the median"
        " expanded uncertainty of one value.",
        columns=(
            Column("Parameter"),
            Column("Condition"),
            Column("Values", True),
            Column("Unit"),
            *summaries.figure_columns(FIGURES),
            Column("U", True),
        ),
        rows=tuple(rows),
        empty="No parameter is taken from this device.",
    )


def _uncertainty(result: ParameterResult, factor: float, coverage: float) -> Cell:
    u = result.summary.u
    if u is None:
        return Cell(units.MISSING, "", True)
    return Cell(units.number(u * coverage * factor, 2), str(u), True)


def _dummies(uses: Sequence[DummyUse]) -> Table:
    names = list(dict.fromkeys(name for use in uses for name in use.parasitics))
    compared = any(use.distributed_difference for use in uses)
    distances = ("below the upper frequency", "above it") if compared else ()
    return Table(
        id="dummies",
        caption="Dummy structures: which served, and what they look like as lumped elements"
        " (medians over the lower half of the frequencies): C1 and C2 of the pads to ground, C12"
        " between them; L and R of the leads of port 1, port 2 and the common lead 3."
        + (
            " The last columns say how far the result lies from the distributed method, as the"
            " greatest |ΔS|."
            if compared
            else ""
        ),
        columns=(
            Column("Wafer"),
            Column("Method"),
            Column("Dummies of"),
            Column("Sweeps served", True),
            Column("Not served", True),
            *(Column(name, True) for name in names),
            *(Column(f"To distributed, {key}", True) for key in distances),
        ),
        rows=tuple(
            Row(
                Cell(use.wafer),
                (
                    Cell(use.method),
                    Cell("each die" if use.die is None else f"die {die_name(*use.die)}"),
                    count_cell(use.served),
                    count_cell(use.unserved),
                    *(_parasitic(use, name) for name in names),
                    *(
                        Cell(figure_of(use.distributed_difference.get(key), 2), "", True)
                        for key in distances
                    ),
                ),
            )
            for use in uses
        ),
        empty="No dummies were used.",
    )


def _parasitic(use: DummyUse, name: str) -> Cell:
    if name not in use.parasitics:
        return Cell(units.MISSING, "", True)
    value, unit = use.parasitics[name]
    return Cell(units.quantity(value, unit), str(value), True)


def _quality(counts: Sequence[QualityCount]) -> Table:
    def cell(one: QualityCount, name: str) -> Cell:
        words = one.words.get(name, {})
        suspect = words.get("suspect", 0)
        if set(words) <= {"not declared"}:
            return Cell("not declared", "", True)
        if set(words) <= {"not assessable", "not declared"}:
            return Cell("not assessable", "", True)
        return count_cell(suspect)

    return Table(
        id="quality",
        caption="Quality of the sweeps: how many are suspect. A suspect sweep is flagged, and its"
        " figures stay.",
        columns=(
            Column("Wafer"),
            Column("Sweeps", True),
            *(Column(capital(name), True) for name in QUALITY_WORDS),
        ),
        rows=tuple(
            Row(
                Cell(one.wafer),
                (
                    count_cell(one.sweeps),
                    *(cell(one, name) for name in QUALITY_WORDS),
                ),
            )
            for one in counts
        ),
    )
