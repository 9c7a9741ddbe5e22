"""What the method page says of decisions: rules, what they risk, verdicts made of others."""

from dataclasses import dataclass

from markupsafe import Markup

from sitegen import units
from sitegen.model.campaign import CampaignRecord
from sitegen.model.decision import RULE_TEXTS, Verdict, worst_false_acceptance
from sitegen.render import rule_sentences, sentences, summaries
from sitegen.render.phrases import capital, declared_percent, figure_of, joined
from sitegen.render.pieces import Cell, Column, Fact, Row, Table, Text

GUARD_RATIOS = (0.0, 0.5, 0.83, 1.0, 1.5)
"""r of the table of worst-case risks."""
TABLE_K = 2.0
"""k of that table."""


@dataclass(frozen=True, slots=True)
class DecisionTexts:
    """What templates/parts/method_decisions.html shows of this campaign."""

    decided: Markup
    """The rule in use, or that each parameter has its own."""
    rules: tuple[Fact, ...]
    """The four rules with their clauses."""
    own: tuple[Fact, ...]
    """Parameters with a rule of their own, then that of all others; empty where none has."""
    bounds: tuple[Text, ...]
    """Declared bounds on the uncertainty's share of a tolerance, as sentences."""
    risks: Table
    """Worst-case false acceptance by r."""
    priors: tuple[Fact, ...]
    """Parameters whose process is declared, with where it comes from."""
    conforming: Markup
    """'within', or 'within or not proven'."""
    wafer: Text
    campaign: Text


def decision_texts(record: CampaignRecord) -> DecisionTexts:
    """The decisions of a campaign in words."""
    return DecisionTexts(
        decided=rule_sentences.rules(record, "#decision"),
        rules=tuple(
            Fact(text.title, f"{text.logic} Source: {text.clauses}.")
            for text in RULE_TEXTS.values()
        ),
        own=_own(record),
        bounds=_bounds(record),
        risks=risk_table(),
        priors=tuple(
            Fact(
                summaries.symbol(one),
                f"mean {figure_of(one.prior.mean)}, standard deviation"
                f" {figure_of(one.prior.standard_deviation)} {units.normalise(one.unit)}:"
                f" {one.prior.basis}",
            )
            for one in record.parameters
            if one.prior is not None
        ),
        conforming=joined(record.verdict.conforming, "or"),
        wafer=_wafer(record.verdict),
        campaign=_campaign(record.verdict),
    )


def _own(record: CampaignRecord) -> tuple[Fact, ...]:
    """Parameters with a rule of their own, and the campaign's rule for all others."""
    own = [
        Fact(
            summaries.symbol(one),
            sentences.rule(one.decision, "#decision", one.tolerance is not None),
        )
        for one in record.parameters
        if one.decision is not None
    ]
    bounded = any(one.tolerance is not None for one in record.parameters if one.decision is None)
    others = Fact("All others", sentences.rule(record.decision, "#decision", bounded))
    return (*own, others) if own else ()


def risk_table() -> Table:
    """Worst-case false acceptance by r for k = 2."""
    return Table(
        id="worst-case",
        caption="Guarded acceptance, one limit, k = 2: probability that a measurand exactly on its"
        " tolerance limit is accepted. Under guarded rejection it is that of refusing such a one.",
        columns=(Column("r"), Column("w / u", True), Column("Worst case", True)),
        rows=tuple(
            Row(
                Cell(figure_of(ratio)),
                (
                    Cell(figure_of(ratio * TABLE_K), "", True),
                    Cell(_risk(worst_false_acceptance(ratio * TABLE_K)), "", True),
                ),
            )
            for ratio in GUARD_RATIOS
        ),
        ordered=True,
    )


def _risk(share: float) -> str:
    return f"{figure_of(100 * share, 4)}{units.THIN}%"


def _bounds(record: CampaignRecord) -> tuple[Text, ...]:
    told: dict[float, list[Markup]] = {}
    for one in record.parameters:
        bound = (one.decision or record.decision).uncertainty_share_max
        if bound is not None and one.tolerance is not None:
            told.setdefault(bound, []).append(summaries.symbol(one))
    return tuple(
        Markup("{}: U at most {} of the tolerance.").format(joined(names), declared_percent(bound))
        for bound, names in told.items()
    )


def _wafer(verdict: Verdict) -> str:
    least = verdict.wafer_least_share
    if least is None:
        return "No least share of conforming dies is declared: wafers and campaign have no verdict."
    share = (
        "the share of conforming dies among those judged in full"
        if verdict.wafer_by == "share"
        else "the lower end of the 95 % interval of the share of conforming dies among those judged"
        " in full"
    )
    undecided = (
        ""
        if verdict.wafer_by == "share"
        else " Where only the share itself reaches it the wafer is not proven."
    )
    return (
        f"A wafer conforms where {share} is at least {declared_percent(least)}; without a die"
        f" judged in full it is not assessable.{undecided}"
    )


def _campaign(verdict: Verdict) -> str:
    if verdict.wafer_least_share is None:
        return ""
    least = verdict.campaign_least_share
    which = (
        "every wafer does" if least == 1 else f"at least {declared_percent(least)} of its wafers do"
    )
    return capital(
        f"the campaign conforms where {which}; wafers that are not proven, not assessable or"
        " planned and not measured do not count as conforming, and leave it undecided where it"
        " could still conform by them."
    )
