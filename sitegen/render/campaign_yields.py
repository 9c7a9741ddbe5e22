"""Yields on the page of the campaign: of each wafer, of the process, and what takes dies."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.decision import Verdict
from sitegen.model.results import CampaignResults, WaferSummary
from sitegen.model.statistics import Estimate
from sitegen.model.yield_results import LimitingTogether, ProcessYield, Yields
from sitegen.render import campaign_splits, summaries
from sitegen.render.cells import count_cell
from sitegen.render.kinds import asks_for_calibrations
from sitegen.render.marks import marked, rank
from sitegen.render.phrases import (
    capital,
    counted,
    declared_percent,
    joined,
    link,
    number_of,
    percent,
    several,
    spelled,
)
from sitegen.render.pieces import Cell, Column, Row, Table, Text

MOST_SETS = 3
"""How many sets of parameters are named beside one of them before the rest is counted."""


def lead(yields: Yields) -> tuple[Markup, ...]:
    """What the campaign's first sentences say of the process and of the campaign's verdict."""
    process = (_process(yields.process),) if yields.process.judged else ()
    return (*process, *_verdict(yields))


def _process(found: ProcessYield) -> Markup:
    """The yield of the process that made the wafers, or why it has no interval."""
    share = found.share
    if share.lower is None or share.upper is None:
        return Markup("No interval is stated for the yield of the process: that {}.").format(
            share.reason
        )
    return Markup(
        "The process that made these {} wafers yields {} (95 % interval {} to {}, the wafer being"
        " the cluster)."
    ).format(
        spelled(found.wafers), percent(share.value), percent(share.lower), percent(share.upper)
    )


def _verdict(yields: Yields) -> tuple[Markup, ...]:
    """The campaign's verdict with what decided it; nothing where none is declared."""
    if yields.verdict == "no limits":
        return ()
    why = f": {yields.verdict_reason}" if yields.verdict_reason else ""
    return (
        Markup("The campaign's verdict by its wafers' yields is {}{}.").format(
            marked(yields.verdict), why
        ),
    )


def asked(rules: Verdict) -> Text:
    """What a conforming wafer and the campaign must reach, as sentences."""
    die = (
        ""
        if rules.conforming == ("within",)
        else f"A die conforms where each of its values is {joined(rules.conforming, 'or')}. "
    )
    if rules.wafer_least_share is None:
        return f"{die}No least yield is declared: wafers and campaign have no verdict."
    least = declared_percent(rules.wafer_least_share)
    by = "its yield" if rules.wafer_by == "share" else "the lower end of its yield's interval"
    of = rules.campaign_least_share
    wafers = "every wafer is" if of == 1 else f"at least {declared_percent(of)} of the wafers are"
    return f"{die}A wafer is within where {by} reaches {least}; the campaign where {wafers}."


def details(yields: Yields, rules: Verdict) -> tuple[Text, ...]:
    """What stands below the table of wafers: the rules, the touchdowns, how wafers differ."""
    return (asked(rules), touchdowns(yields.changed_by_touchdowns), *_differ(yields.process))


def touchdowns(changed: int) -> str:
    """How many verdicts of dies the rule of choice between touchdowns decides."""
    if changed == 0:
        return "No die's verdict depends on which of its touchdowns counts."
    dies = capital(counted(changed, "die"))
    return f"{dies} would have another verdict if another of the touchdowns counted."


def _differ(found: ProcessYield) -> tuple[Markup, ...]:
    """The intraclass correlation and the design effect, or why they are not stated."""
    method = link("beta-binomial", f"{addresses.METHOD}#yield")
    if found.share.lower is None:
        return ()
    correlation = found.intraclass_correlation
    if correlation.value is None or found.design_effect is None:
        told = Markup("the intraclass correlation is not stated, since {}").format(
            correlation.reason
        )
    else:
        told = Markup(
            "the intraclass correlation of two dies of a wafer is {}, which multiplies the variance"
            " of the pooled yield by {}"
        ).format(_with_interval(correlation), units.number(found.design_effect, 2))
    return (Markup("The wafer is the cluster ({}): {}.").format(method, told),)


def _with_interval(found: Estimate) -> str:
    """'0.058 (0.001 to 0.691)'."""
    ends = (found.value or 0.0, found.lower or 0.0, found.upper or 0.0)
    value, lower, upper = ("0" if one == 0 else f"{one:.3f}" for one in ends)
    return f"{value} ({lower} to {upper})"


@dataclass(frozen=True)
class _Shown:
    """Columns of the table of wafers that not every campaign has."""

    outcomes: tuple[str, ...]
    conforming: bool
    """Where dies conform that are not within."""
    verdict: bool
    """Where a least yield is declared."""
    closed: bool
    """Where verifications are asked for."""
    lots: Mapping[str, str]
    """By wafer, where there are several."""


def wafers(results: CampaignResults) -> Table:
    """Dies of each wafer by verdict, its yield and what became of its values."""
    outcomes = summaries.seen([wafer.outcomes for wafer in results.wafers])
    rules = results.context.record.verdict
    shown = _Shown(
        outcomes=outcomes,
        conforming=rules.conforming != ("within",),
        verdict=rules.wafer_least_share is not None,
        closed=asks_for_calibrations(results),
        lots=campaign_splits.lots(results),
    )
    return Table(
        id="wafers",
        caption="Dies of each wafer by verdict. The yield is the share of conforming dies among"
        " those whose every planned value with limits is judged; dies outside besides lie outside"
        " by what was judged and are no part of it. Its 95 % interval (Wilson) describes these dies"
        " as if each came out on its own, and no other wafer.",
        columns=(
            Column("Wafer"),
            *((Column("Lot"),) if shown.lots else ()),
            Column("Planned", True),
            Column("Measured", True),
            *summaries.outcome_columns(outcomes),
            *((Column("Conforming", True),) if shown.conforming else ()),
            Column("Judged in full", True),
            Column("Outside besides", True),
            Column("Yield", True),
            Column("95 % interval", True),
            *((Column("Verdict"),) if shown.verdict else ()),
            Column("Values", True),
            Column("Without standing", True),
            *(
                (Column("Not closed", True), Column("Of these never verified", True))
                if shown.closed
                else ()
            ),
        ),
        rows=tuple(_wafer_row(wafer, shown) for wafer in results.wafers),
        empty="No wafer has been measured.",
    )


def _wafer_row(wafer: WaferSummary, shown: _Shown) -> Row:
    share = wafer.conforming / wafer.assessable if wafer.assessable else None
    open_ = (wafer.values_not_closed, wafer.values_never_verified)
    interval = units.MISSING
    if wafer.yield_lower is not None and wafer.yield_upper is not None:
        interval = f"{percent(wafer.yield_lower)} to {percent(wafer.yield_upper)}"
    return Row(
        Cell(link(wafer.wafer, addresses.wafer(wafer.wafer))),
        (
            *((Cell(shown.lots[wafer.wafer]),) if shown.lots else ()),
            count_cell(wafer.planned),
            count_cell(wafer.measured),
            *summaries.outcome_cells(wafer.outcomes, shown.outcomes),
            *((count_cell(wafer.conforming),) if shown.conforming else ()),
            count_cell(wafer.assessable),
            count_cell(wafer.outside_besides),
            Cell(percent(share), "" if share is None else str(share), True),
            Cell(interval, "", True),
            *((Cell(marked(wafer.verdict), rank(wafer.verdict)),) if shown.verdict else ()),
            count_cell(wafer.values),
            count_cell(wafer.values_without_standing),
            *(map(count_cell, open_) if shown.closed else ()),
        ),
    )


def limiting(results: CampaignResults) -> Table | None:
    """Parameters that take dies, the most limiting first; None where no die is judged or taken."""
    statistics = results.statistics
    if statistics is None or not statistics.yields.limiting:
        return None
    record, yields = results.context.record, statistics.yields
    parameters, conditions = summaries.parameters_of(record), summaries.conditions_of(record)
    refused = yields.process.judged - yields.process.conforming
    return Table(
        id="limiting",
        caption="Parameters that take dies, the most limiting first, of the"
        f" {counted(refused, 'judged die')} that {'does' if refused == 1 else 'do'} not conform."
        " Alone: no other parameter takes the die, which would conform without this one.",
        columns=(
            Column("Parameter"),
            Column("Condition"),
            Column("Dies", True),
            Column("Share", True),
            Column("Alone", True),
            Column("With others", True),
            Column("Dies taken together with"),
        ),
        rows=tuple(
            Row(
                summaries.parameter_cell(parameters[one.parameter], addresses.HOME, record),
                (
                    summaries.condition_cell(conditions.get(one.condition), one.condition),
                    count_cell(one.outside),
                    Cell(percent(one.outside / refused), str(one.outside / refused), True),
                    count_cell(one.alone),
                    count_cell(one.outside - one.alone),
                    Cell(_partners(results, (one.parameter, one.condition), yields.together)),
                ),
            )
            for one in yields.limiting
        ),
        wide=True,
    )


def _partners(
    results: CampaignResults, kind: tuple[str, str], together: Sequence[LimitingTogether]
) -> Text:
    """'5 V_th; 2 V_th and I_G (hot)': the other parameters of each set, the most frequent first."""
    mine = [one for one in together if kind in one.parameters and len(one.parameters) > 1]
    parameters = summaries.parameters_of(results.context.record)

    def name(other: tuple[str, str]) -> Markup:
        parameter = parameters[other[0]]
        shown = summaries.symbol(parameter)
        if len(parameter.conditions) == 1:
            return shown
        return Markup("{} ({})").format(shown, other[1])

    told = [
        Markup("{} {}").format(
            number_of(one.dies), joined([name(other) for other in one.parameters if other != kind])
        )
        for one in mine[:MOST_SETS]
    ]
    rest = sum(one.dies for one in mine[MOST_SETS:])
    if rest:
        told.append(Markup("{} with other sets").format(number_of(rest)))
    return several(told, "; ") if told else units.MISSING
