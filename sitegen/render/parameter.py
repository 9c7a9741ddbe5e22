"""View of a parameter's page: its definition, how sure it is, how it varies."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Parameter
from sitegen.model.results import CampaignResults, Drawing, ParameterResult, Summary
from sitegen.render import cautions as caution_rules
from sitegen.render import (
    downloads,
    estimators,
    parameter_means,
    parameter_sentences,
    parameter_uncertainty,
    sentences,
    summaries,
)
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.findings import finding_line, in_order
from sitegen.render.page import Page
from sitegen.render.parameter_means import Means
from sitegen.render.phrases import capital, figure_of, joined, link, number_of, stated, with_unit
from sitegen.render.pieces import (
    Caution,
    Cell,
    Column,
    Fact,
    Figure,
    Finding,
    Link,
    Row,
    Table,
    Text,
)
from sitegen.render.shell import shell
from sitegen.render.tables import there

BELOW_IN_DISTRIBUTION = "Readings below the floor are left out, and counted in the table."
BELOW_BY_WAFER = "Readings below the floor are drawn at the floor."
BEYOND = "Values not reached are drawn at what was reached."
ALL_FIGURES = tuple(name for name, _, _ in summaries.FIGURES)


@dataclass(frozen=True, slots=True)
class ConditionView:
    """One condition of a parameter."""

    id: str
    title: str
    text: Text
    """The set point in words."""
    summaries: Table
    """The campaign as a whole, then each wafer."""
    zones: Table
    outcomes: Table
    estimated: tuple[Text, ...]
    """How mean and standard deviation were found beside censored values."""
    figures: tuple[Figure, ...]
    """Distribution, and the wafers side by side."""
    means: Means | None
    """Means of the wafers and their differences."""
    maps: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class ParameterView:
    """Contract of templates/parameter.html."""

    title: str
    symbol: Markup
    lead: tuple[Markup, ...]
    cautions: tuple[Caution, ...]
    findings: tuple[Finding, ...]
    facts: tuple[Fact, ...]
    uncertainty: Table
    budgets: tuple[Table, ...]
    """By source, of a parameter from sweeps."""
    fits: Table | None
    conditions: tuple[ConditionView, ...]
    files: tuple[Markup, ...]
    """The files that hold the values, each a link with its size."""
    links: tuple[Link, ...]


def parameter_page(
    parameter: Parameter, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> Page:
    """The page of one parameter, all its conditions and wafers.

    drawings: 'distribution-<condition>', 'by-wafer-<condition>', 'map/<wafer>/<condition>'.
    """
    address = addresses.parameter(parameter.id)
    return Page(
        address,
        render(
            "parameter",
            view(parameter, results, drawings),
            shell(results.context.record, address, capital(parameter.name)),
        ),
    )


def view(
    parameter: Parameter, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> ParameterView:
    """What a parameter's page shows."""
    record, page = results.context.record, addresses.parameter(parameter.id)
    found = [result for result in results.parameters if result.parameter == parameter.id]
    overall = [result for result in found if not result.wafer]
    factor, unit = summaries.scale(parameter, [result.summary for result in found])
    decided = sentences.rule(
        record.decision, addresses.relative(f"{addresses.METHOD}#decision", page)
    )
    counts: dict[str, int] = {}
    for result in overall:
        for outcome, count in result.outcomes.items():
            counts[outcome] = counts.get(outcome, 0) + count
    unmeasured = sum(wafer.missing.get(parameter.id, 0) for wafer in results.wafers)
    return ParameterView(
        title=capital(parameter.name),
        symbol=summaries.symbol(parameter),
        lead=(
            *parameter_sentences.values(parameter, overall, record.decision),
            *parameter_sentences.outcomes(
                counts,
                {
                    "not measured": unmeasured,
                    "not determined": sum(r.summary.missing for r in overall) - unmeasured,
                    "without standing": sum(r.summary.without_standing for r in overall),
                    "not closed": sum(result.summary.not_closed for result in overall),
                },
                decided,
                parameter.lower is not None or parameter.upper is not None,
            ),
        ),
        cautions=_cautions(parameter, results),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        ),
        facts=_facts(parameter, results, decided, factor, unit),
        uncertainty=parameter_uncertainty.table(parameter, found, record),
        budgets=there(
            *(
                parameter_uncertainty.budget(parameter, name, results)
                for name in parameter.conditions
            )
        ),
        fits=parameter_uncertainty.fits(parameter, results),
        conditions=tuple(
            _condition(parameter, name, found, results, drawings) for name in parameter.conditions
        ),
        files=downloads.files(results.context, page),
        links=(
            Link("What the columns mean", addresses.relative(addresses.DATA, page)),
            Link("How the figures are computed", addresses.relative(addresses.METHOD, page)),
        ),
    )


def _cautions(parameter: Parameter, results: CampaignResults) -> tuple[Caution, ...]:
    record = results.context.record
    wafers = {r.wafer for r in results.parameters if r.parameter == parameter.id and r.wafer}
    stations = {wafer.station for wafer in results.wafer_records if wafer.id in wafers}
    return caution_rules.cautions(
        [station for station in record.stations if station.id in stations],
        [each for each in record.conditions if each.id in parameter.conditions],
    )


def _facts(
    parameter: Parameter, results: CampaignResults, decided: Markup, factor: float, unit: str
) -> tuple[Fact, ...]:
    record = results.context.record
    device = next((each.name for each in record.devices if each.id == parameter.device), "")

    def limit(value: float | None) -> str:
        if value is None:
            return "none"
        return with_unit(figure_of(value * factor), unit)

    facts = [
        Fact("Identity", parameter.id),
        Fact("Meaning", parameter.name),
        Fact("Unit", "1 (a number)" if parameter.unit == "1" else units.normalise(parameter.unit)),
        Fact("Kind", parameter.kind.upper()),
        Fact(
            "Device",
            link(
                f"{device} ({parameter.device})" if device else parameter.device,
                addresses.relative(
                    addresses.device(parameter.device), addresses.parameter(parameter.id)
                ),
            ),
        ),
        Fact("Lower specification limit", limit(parameter.lower)),
        Fact("Upper specification limit", limit(parameter.upper)),
        Fact("Target", limit(parameter.target)),
        Fact("Decision rule", decided),
        Fact("Measured on", parameter.coverage),
    ]
    if parameter.plausible_lower is not None or parameter.plausible_upper is not None:
        facts.append(
            Fact(
                "Plausible range",
                f"{_plausible(parameter.plausible_lower, parameter)} to"
                f" {_plausible(parameter.plausible_upper, parameter)};"
                " a value beyond it is a mistake, not a device",
            )
        )
    taken = estimators.estimator(parameter, record)
    if taken:
        facts.append(Fact("Taken as", taken))
        facts.append(Fact("Estimator", estimators.formula(parameter)))
    return tuple(facts)


def _plausible(value: float | None, parameter: Parameter) -> str:
    """In a prefix of its own: it can be far from the values."""
    return "none" if value is None else stated(value, parameter.unit)


def _condition(
    parameter: Parameter,
    name: str,
    found: Iterable[ParameterResult],
    results: CampaignResults,
    drawings: Mapping[str, Drawing],
) -> ConditionView:
    record, page = results.context.record, addresses.parameter(parameter.id)
    chosen = sorted(
        (result for result in found if result.condition == name),
        key=lambda result: result.wafer,
    )
    factor, unit = summaries.scale(parameter, [result.summary for result in chosen])
    condition = summaries.conditions_of(record).get(name)
    behind = Link("Table", f"#summary-{name}")
    below = any(result.summary.below_floor for result in chosen)
    beyond = any(result.summary.not_reached for result in chosen)
    pictures = [
        figure(
            drawings[key],
            page,
            _caption(caption, *([said] if below else []), *([BEYOND] if beyond else [])),
            behind,
        )
        for key, caption, said in (
            (f"distribution-{name}", "Distribution on each wafer", BELOW_IN_DISTRIBUTION),
            (f"by-wafer-{name}", "Wafer by wafer", BELOW_BY_WAFER),
        )
        if key in drawings
    ]
    maps = [
        figure(
            drawings[f"map/{wafer}/{name}"],
            page,
            link(f"Wafer {wafer}", addresses.relative(addresses.wafer(wafer), page)),
            behind,
        )
        for wafer in results.context.wafers
        if f"map/{wafer}/{name}" in drawings
    ]
    told = summaries.condition_text(condition, name)
    return ConditionView(
        id=f"condition-{name}",
        title=f"Condition {name}",
        text=told,
        summaries=_summaries(name, chosen, page, factor, unit),
        zones=_zones(name, chosen, factor, unit),
        outcomes=_outcomes(name, chosen, page),
        estimated=_estimated(chosen),
        figures=tuple(pictures),
        means=parameter_means.means(parameter, name, results, page),
        maps=(*maps, *_contact_maps(chosen, drawings, page)),
    )


def _caption(caption: str, *said: str) -> str:
    """'Wafer by wafer', with a full stop where sentences follow."""
    return " ".join([f"{caption}.", *said]) if said else caption


def _estimated(chosen: Sequence[ParameterResult]) -> tuple[Text, ...]:
    """'Mean and s of LK7-1 and LK7-2: Kaplan-Meier on flipped values.'"""
    found: dict[str, list[str]] = {}
    for one in chosen:
        if one.summary.estimator:
            found.setdefault(one.summary.estimator, []).append(one.wafer or "all wafers")
    return tuple(
        Markup("Mean and s of {}: {}.").format(joined(whose), told) for told, whose in found.items()
    )


def _contact_maps(
    chosen: Sequence[ParameterResult], drawings: Mapping[str, Drawing], page: str
) -> list[Figure]:
    """The contact checks of each wafer that has values, beside the parameter's own maps."""
    return [
        figure(
            drawings[f"touchdowns/{one.wafer}"],
            page,
            link(
                f"Contact checks, wafer {one.wafer}",
                addresses.relative(f"{addresses.wafer(one.wafer)}#contact", page),
            ),
        )
        for one in chosen
        if one.wafer and f"touchdowns/{one.wafer}" in drawings
    ]


def _whose(result: ParameterResult, page: str) -> Cell:
    if not result.wafer:
        return Cell("All wafers", " ")
    return Cell(link(result.wafer, addresses.relative(addresses.wafer(result.wafer), page)))


def _in_unit(text: str, unit: str) -> str:
    return f"{text}, in {unit}" if unit else text


def _summaries(
    name: str, chosen: Sequence[ParameterResult], page: str, factor: float, unit: str
) -> Table:
    counts = summaries.counted([result.summary for result in chosen])
    caption = _in_unit(f"Summary of the values with standing under {name}", unit) + "."
    return Table(
        id=f"summary-{name}",
        caption=f"{caption} {summaries.NO_NUMBER}" if "missing" in counts else caption,
        columns=(
            Column("Wafer"),
            *summaries.count_columns(counts),
            *summaries.figure_columns(ALL_FIGURES),
        ),
        rows=tuple(
            Row(
                _whose(result, page),
                (
                    *summaries.count_cells(result.summary, counts),
                    *summaries.figure_cells(result.summary, factor, ALL_FIGURES),
                ),
            )
            for result in chosen
        ),
        empty="No value was measured under this condition.",
    )


def _zones(name: str, chosen: Iterable[ParameterResult], factor: float, unit: str) -> Table:
    names = ("mean", "standard_deviation", "median", "robust_spread")

    def row(result: ParameterResult, zone: str, summary: Summary) -> Row:
        return Row(
            Cell(result.wafer or "All wafers"),
            (
                Cell(zone),
                Cell(number_of(summary.n), str(summary.n), True),
                Cell(number_of(summary.without_standing), str(summary.without_standing), True),
                *summaries.figure_cells(summary, factor, names),
            ),
        )

    return Table(
        id=f"zones-{name}",
        caption=_in_unit(f"Zones of equal area under {name}, by the centre of the die", unit),
        columns=(
            Column("Wafer"),
            Column("Zone"),
            Column("Values", True),
            Column("Without standing", True),
            *summaries.figure_columns(names),
        ),
        rows=tuple(
            row(result, zone, result.zones[zone])
            for result in chosen
            for zone in ("centre", "middle", "edge")
            if zone in result.zones
        ),
        empty="No zone has values under this condition.",
    )


def _outcomes(name: str, chosen: list[ParameterResult], page: str) -> Table:
    outcomes = summaries.seen([result.outcomes for result in chosen])
    return Table(
        id=f"outcomes-{name}",
        caption=f"Outcomes of the values with standing or not closed under {name}",
        columns=(Column("Wafer"), *summaries.outcome_columns(outcomes)),
        rows=tuple(
            Row(_whose(result, page), summaries.outcome_cells(result.outcomes, outcomes))
            for result in chosen
            if set(outcomes) - {"no limits"}
        ),
        empty="No outcome was decided under this condition.",
    )
