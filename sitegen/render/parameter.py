"""View of a parameter's page: five questions answered first, then the tables behind each answer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Parameter
from sitegen.model.results import CampaignResults, Drawing
from sitegen.problems import Fault
from sitegen.render import cautions as caution_rules
from sitegen.render import (
    downloads,
    estimators,
    parameter_sentences,
    parameter_temperatures,
    summaries,
)
from sitegen.render.environment import render
from sitegen.render.figures import inline
from sitegen.render.findings import fault_line, finding_line, in_order
from sitegen.render.page import Page
from sitegen.render.parameter_case import Case, cases, worst_first
from sitegen.render.parameter_sections import SectionView, asked, sections
from sitegen.render.phrases import capital, figure_of, link, percent, stated, with_unit
from sitegen.render.pieces import Caution, Cell, Column, Fact, Finding, Link, Row, Table, Text
from sitegen.render.shell import shell
from sitegen.render.statistics_answers import Answer, Question
from sitegen.render.statistics_dies import dies
from sitegen.render.statistics_good import good
from sitegen.render.statistics_measurement import measurement
from sitegen.render.statistics_spread import lies, shares, spread
from sitegen.render.statistics_sure import sure

ANSWERS = {
    "good": good,
    "sure": sure,
    "spread": spread,
    "measurement": measurement,
    "dies": dies,
}
"""Each question's answer for one condition, with a drawing where there is one."""


@dataclass(frozen=True, slots=True)
class ParameterView:
    """Contract of templates/parameter.html."""

    title: str
    symbol: Markup
    value: Text
    """The values in a sentence, under the condition that is answered for."""
    answers: tuple[Answer, ...]
    """Of the condition that came out worst."""
    others: Table | None
    """The other conditions by the same questions; None with one condition."""
    temperatures: Table | None
    """None where no two conditions differ in temperature alone."""
    findings: tuple[Finding, ...]
    cautions: tuple[Caution, ...]
    sections: tuple[SectionView, ...]
    facts: tuple[Fact, ...]
    conditions: Table
    files: tuple[Markup, ...]
    """The files that hold the values, each a link with its size."""
    links: tuple[Link, ...]


def parameter_page(
    parameter: Parameter, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> Page:
    """The page of one parameter, all its conditions and wafers.

    drawings: 'distribution-<condition>', 'by-wafer-<condition>', 'map/<wafer>/<condition>',
    'touchdowns/<wafer>', `statistics_relations.drawing_name` of a declared pair, and
    'answer-<question>-<condition>' to stand inline.
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
    page = addresses.parameter(parameter.id)
    found = cases(parameter, results)
    first, *others = worst_first(found)
    return ParameterView(
        title=capital(parameter.name),
        symbol=summaries.symbol(parameter),
        value=_value(first),
        answers=tuple(_answer(question, first, drawings) for question in asked(found)),
        others=_others(others, found) if others and any(case.n for case in found) else None,
        temperatures=parameter_temperatures.table(found),
        findings=tuple(
            finding_line(each, page)
            for each in in_order(results.findings)
            if each.address.partition("#")[0] == page
        )
        + tuple(fault_line(each) for each in results.faults if _names(each, parameter)),
        cautions=_cautions(parameter, results),
        sections=sections(found, drawings),
        facts=_facts(found[0]),
        conditions=_conditions(found),
        files=downloads.files(results.context, page),
        links=(
            Link("What the columns mean", addresses.relative(addresses.DATA, page)),
            Link("How the figures are computed", addresses.relative(addresses.METHOD, page)),
        ),
    )


def _names(fault: Fault, parameter: Parameter) -> bool:
    """Whether a fault of a table of a wafer names the parameter, so that its values may lack."""
    return fault.file.startswith("wafers/") and f'"{parameter.id}"' in fault.found


def _value(case: Case) -> Text:
    """'Under room, saturation (25 °C, vds = 1.2 V): median ...'"""
    told = parameter_sentences.value(case)
    if case.several:
        worst = "that came out worst" if case.judged else "the first with values"
        told = f"Under {case.condition}, {worst}: {told[:1].lower()}{told[1:]}"
    if case.statistics is None or not shares(case):
        return told
    return Markup('{} <span class="why">Intervals in brackets are at 95{}%.</span>').format(
        told, units.THIN
    )


def _answer(question: Question, case: Case, drawings: Mapping[str, Drawing]) -> Answer:
    drawing = drawings.get(f"answer-{question}-{case.condition}")
    return ANSWERS[question](case, None if drawing is None else inline(drawing))


def _others(others: Sequence[Case], found: Sequence[Case]) -> Table:
    """A row for each further condition, its cells leading to what is behind them."""
    ordered = [case for case in found if case in others]

    def leading(number: Text, href: str) -> Cell:
        return Cell(Markup('<a href="{}">{}</a>').format(href, number))

    def row(case: Case) -> Row:
        known = shares(case)
        largest = (
            f"{percent(known[0].share)} {lies(known[0].level)}"
            if known
            else spread(case, None).number
        )
        return Row(
            Cell(case.condition),
            (
                Cell(parameter_sentences.brief(case)),
                leading(good(case, None).number, "#good"),
                leading(sure(case, None).number, "#sure"),
                leading(largest, "#spread"),
                leading(measurement(case, None).number, "#measurement"),
                leading(dies(case, None).number, "#dies"),
            ),
        )

    return Table(
        id="others",
        caption="The other conditions by the same questions",
        columns=(
            Column("Condition"),
            Column(f"Median (5{units.THIN}% to 95{units.THIN}%)"),
            Column("Within limits"),
            Column("U"),
            Column("Most of the spread"),
            Column("Measured part"),
            Column("Dies to look at"),
        ),
        rows=tuple(row(case) for case in ordered),
        wide=True,
        ordered=True,
    )


def _cautions(parameter: Parameter, results: CampaignResults) -> tuple[Caution, ...]:
    record = results.context.record
    wafers = {r.wafer for r in results.parameters if r.parameter == parameter.id and r.wafer}
    stations = {wafer.station for wafer in results.wafer_records if wafer.id in wafers}
    return caution_rules.cautions(
        [station for station in record.stations if station.id in stations],
        [each for each in record.conditions if each.id in parameter.conditions],
    )


def _conditions(found: Sequence[Case]) -> Table:
    """The set point of each condition in words."""
    known = summaries.conditions_of(found[0].results.context.record)
    return Table(
        id="conditions",
        caption="Conditions: set points of bias and temperature",
        columns=(Column("Condition"), Column("Set point")),
        rows=tuple(
            Row(
                Cell(case.condition),
                (Cell(summaries.condition_text(known.get(case.condition), case.condition)),),
            )
            for case in found
        ),
        wide=True,
        ordered=True,
    )


def _facts(case: Case) -> tuple[Fact, ...]:
    parameter, record = case.parameter, case.results.context.record
    device = next((each.name for each in record.devices if each.id == parameter.device), "")
    named = f"{device} ({parameter.device})" if device else parameter.device

    def limit(value: float | None) -> str:
        return "none" if value is None else with_unit(figure_of(value * case.factor), case.unit)

    facts = [
        Fact("Identity", parameter.id),
        Fact("Meaning", parameter.name),
        Fact("Unit", "1 (a number)" if parameter.unit == "1" else units.normalise(parameter.unit)),
        Fact("Kind", parameter.kind.upper()),
        Fact("Device", link(named, case.to(addresses.device(parameter.device)))),
        Fact("Lower specification limit", limit(parameter.lower)),
        Fact("Upper specification limit", limit(parameter.upper)),
        Fact("Target", limit(parameter.target)),
        Fact("Decision rule", case.decided),
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
    if parameter.distribution != "normal":
        facts.append(Fact("Taken to follow", f"a {parameter.distribution} distribution"))
    facts += _declared(parameter)
    taken = estimators.estimator(parameter, record)
    if taken:
        facts.append(Fact("Taken as", taken))
        facts.append(Fact("Estimator", estimators.formula(parameter)))
    return tuple(facts)


def _declared(parameter: Parameter) -> list[Fact]:
    """What is known beforehand, and which difference does not matter."""
    facts = []
    if parameter.prior is not None:
        prior = parameter.prior
        facts.append(
            Fact(
                "Known of the process",
                f"normal with mean {stated(prior.mean, parameter.unit)} and standard deviation"
                f" {stated(prior.standard_deviation, parameter.unit)} ({prior.basis})",
            )
        )
    if parameter.equivalence_margin is not None:
        margin = stated(parameter.equivalence_margin, parameter.unit)
        facts.append(Fact("Equivalent within", f"±{margin} between wafers or splits"))
    if parameter.shift_max is not None:
        most = stated(parameter.shift_max, parameter.unit)
        facts.append(Fact("Greatest shift by a stress", f"±{most}"))
    return facts


def _plausible(value: float | None, parameter: Parameter) -> str:
    """In a prefix of its own: it can be far from the values."""
    return "none" if value is None else stated(value, parameter.unit)
