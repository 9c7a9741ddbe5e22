"""What the method page says of decision rules, their risks, and verdicts made of others."""

import math

import pytest
from markupsafe import Markup
from scipy.stats import norm

from sitegen import render
from sitegen.model.campaign import CampaignRecord
from sitegen.model.decision import RULE_TEXTS, Decision, Prior, Verdict, worst_false_acceptance
from sitegen.render.method_decisions import (
    GUARD_RATIOS,
    decision_texts,
    risk_table,
)
from tests.render import samples
from tests.render.test_pages import text_of


def record(**changes: object) -> CampaignRecord:
    return samples.campaign_record().model_copy(update=changes)


def test_worst_cases_are_those_of_the_standards() -> None:
    """k = 2: 50, 15.87, 4.85, 2.275, 0.135 %: Phi(-r k) (scipy); ILAC-G8:09/2019 rounds the last
    two to below 2.5 and 0.16 %."""
    for ratio in GUARD_RATIOS:
        found = worst_false_acceptance(2.0 * ratio)
        assert found == pytest.approx(norm.cdf(-2.0 * ratio), rel=1e-12)
    printed = [row.cells[1].text.replace("\u202f", " ") for row in risk_table().rows]
    assert printed == ["50 %", "15.87 %", "4.846 %", "2.275 %", "0.135 %"]
    assert math.isclose(worst_false_acceptance(2.0 * 0.8225), 0.05, abs_tol=2e-5)


def test_the_method_page_has_every_rule_with_its_clauses_and_worst_cases() -> None:
    text = text_of(render.method_page(samples.campaign_results()))
    for rule in RULE_TEXTS.values():
        assert rule.logic in text and rule.clauses in text
    assert "quoted from memory and must be checked against the standards" in text
    assert "Probabilities of conformity are not stated" not in text
    assert "A value without standing never makes a die conform." in text
    for words in ("not refuted", "Limits that cross are refused", "specific consumer's risk"):
        assert words in text


def test_own_rules_bounds_and_priors_are_named() -> None:
    vth = samples.VTH.model_copy(
        update={
            "decision": Decision(rule="simple", uncertainty_share_max=0.25),
            "prior": Prior(mean=-2.6, standard_deviation=0.05, basis="ten lots of 2025"),
        }
    )
    found = decision_texts(record(parameters=(vth, *samples.campaign_record().parameters[1:])))
    assert [Markup(one.text).striptags() for one in found.own] == [
        "the simple rule (k = 2, U at most 25 % of the tolerance)",
        "the guarded rule (w = U, k = 2)",
    ]
    assert len(found.bounds) == 1 and "at most 25" in found.bounds[0]
    assert found.priors[0].text == "mean \u22122.6, standard deviation 0.05 V: ten lots of 2025"
    assert "decision rules" in found.decided
    plain = decision_texts(record())
    assert not plain.own and not plain.bounds and not plain.priors


def test_a_bound_is_told_only_where_there_is_a_tolerance() -> None:
    """One limit alone, and none, have no tolerance to take a share of."""
    bounded = Decision(rule="guarded", uncertainty_share_max=0.25)
    one_sided, free = (
        samples.H21.model_copy(update={"decision": bounded}),
        samples.BV.model_copy(update={"decision": bounded}),
    )
    found = decision_texts(record(parameters=(one_sided, free)))
    assert not found.bounds
    for text in (found.own[0].text, found.own[1].text, found.decided):
        assert Markup(text).striptags() == "the guarded rule (w = U, k = 2)"
    both = samples.VTH.model_copy(update={"decision": None})
    common = decision_texts(record(decision=bounded, parameters=(one_sided, both)))
    assert "U at most 25 % of the tolerance" in common.decided
    assert "U at most" not in common.own[0].text and "U at most" in common.own[1].text
    assert len(common.bounds) == 1 and "H_21" not in common.bounds[0]


@pytest.mark.parametrize(
    ("verdict", "wafer", "campaign"),
    [
        (Verdict(), "wafers and campaign have no verdict", ""),
        (
            Verdict(wafer_least_share=0.8),
            "where the share of conforming dies among those judged in full is at least 80\u202f%",
            "The campaign conforms where every wafer does",
        ),
        (
            Verdict(wafer_least_share=0.99995),
            "among those judged in full is at least 99.995\u202f%",
            "The campaign conforms where every wafer does",
        ),
        (
            Verdict(wafer_least_share=0.8, wafer_by="lower end", campaign_least_share=0.9),
            "where the lower end of the 95 % interval of the share of conforming dies",
            "The campaign conforms where at least 90\u202f% of its wafers do",
        ),
    ],
)
def test_the_logic_of_wafers_and_campaign(verdict: Verdict, wafer: str, campaign: str) -> None:
    found = decision_texts(record(verdict=verdict))
    assert wafer in found.wafer
    assert campaign in found.campaign and bool(campaign) == bool(found.campaign)


def test_conforming_outcomes_are_those_declared() -> None:
    lenient = Verdict(conforming=("within", "not proven"))
    assert decision_texts(record(verdict=lenient)).conforming == "within or not proven"
