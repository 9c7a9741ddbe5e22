"""How a die's page says by what rule, between which limits and how surely a value was decided."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen import render
from sitegen.model.campaign import CampaignRecord
from sitegen.model.decision import Decision, Prior, Verdict
from sitegen.model.results import CampaignContext
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_pages import text_of

PRIOR = Prior(mean=-2.6, standard_deviation=0.05, basis="earlier lots")
DECIDED: dict[str, Any] = {
    "decision_rule": "guarded",
    "guard_band": 0.004,
    "uncertainty_share": 0.02,
    "probability_of_conformity": 0.99999,
}


def page(
    *rows: dict[str, Any],
    record: CampaignRecord | None = None,
    die: dict[str, Any] | None = None,
    context: CampaignContext | None = None,
) -> str:
    """The text of the page of die (0, 0) with these values."""
    _, first, *_ = render.wafer_pages(
        context=context or samples.context(record),
        record=samples.wafer_record(),
        results=samples.wafer_results(
            results=samples.values(*({**DECIDED, **row} for row in rows)),
            dies=samples.dies(die or {}),
            traces=(),
        ),
        note=None,
        frames={},
        maps={},
        bars={},
    )
    return text_of(first)


def record(rule: Decision, **of_parameter: Any) -> CampaignRecord:
    """A campaign with this rule, and these fields of its threshold voltage."""
    vth = samples.VTH.model_copy(update=of_parameter)
    every = samples.campaign_record().parameters
    parameters = tuple(vth if one.id == "VTH" else one for one in every)
    found = samples.campaign_record(parameters=parameters)
    return found.model_copy(update={"decision": rule})


def table(text: str) -> str:
    return text[text.index("How each value was decided") :].partition("About this die")[0]


def test_rule_limits_uncertainty_guard_band_and_probability_stand_together() -> None:
    text = table(page({}))
    assert "−2.7 to −2.5 0.0040 2 0.0040 −2.696 to −2.504 2.00 % > 99.99 % within" in text
    assert "Specific risk" not in text


def test_the_rule_has_its_clause_in_one_sentence() -> None:
    text = page({})
    assert (
        "Values are decided by the guarded rule (w = U, k = 2): guarded acceptance, JCGM 106:2012,"
        " 8.3.2; ILAC-G8:09/2019, 4.2 (binary statement with guard band); limits are exact."
    ) in text


@pytest.mark.parametrize(
    ("rule", "clause"),
    [
        ("simple", "simple acceptance, JCGM 106:2012, 8.2;"),
        ("guarded rejection", "guarded rejection, JCGM 106:2012, 8.3.3; limits are exact."),
        ("non-binary", "ILAC-G8:09/2019, 4.2 (non-binary statement with guard band)"),
    ],
)
def test_each_rule_has_its_clause(rule: Any, clause: str) -> None:
    assert clause in page({}, record=record(Decision(rule=rule)))


def test_parameters_with_a_rule_of_their_own_are_named() -> None:
    own = Decision(rule="simple", uncertainty_share_max=0.25)
    rows = ({"decision_rule": "simple", "guard_band": None}, {"parameter": "H21", "unit": "dB"})
    text = page(*rows, record=record(Decision(rule="non-binary"), decision=own))
    assert "Vth is decided by the simple rule (k = 2, U at most 25 % of the tolerance):" in text
    assert "|h21| is decided by the non-binary rule (w = U, k = 2):" in text
    assert "lie within them under the decision rules of the parameters" in text


def test_specific_risks_where_a_prior_is_declared() -> None:
    rows = (
        {"probability_with_prior": 0.9},
        {"condition": "hot", "outcome": "not proven", "probability_with_prior": 0.75},
    )
    text = table(page(*rows, record=record(Decision(rule="guarded"), prior=PRIOR)))
    assert "Specific risk" in text
    assert "consumer's 10.00 % within" in text
    assert "producer's 75.00 % not proven" in text


def test_what_guarded_rejection_does_not_refute_is_the_consumers_risk() -> None:
    row = {"outcome": "not refuted", "probability_with_prior": 0.3}
    rejection = record(Decision(rule="guarded rejection"), prior=PRIOR)
    assert "consumer's 70.00 %" in table(page(row, record=rejection))
    non_binary = record(Decision(rule="non-binary"), prior=PRIOR)
    assert "producer's 30.00 %" in table(page(row, record=non_binary))


def test_an_acceptance_zone_that_is_empty_says_none() -> None:
    row = {
        "acceptance_lower": -2.4,
        "acceptance_upper": -2.8,
        "outcome": "not assessable",
        "outcome_reason": "guard bands leave no acceptance zone",
        "probability_with_prior": None,
    }
    text = table(page(row))
    assert "none 2.00 % > 99.99 % not assessable" in text


def test_a_share_beyond_its_bound_is_printed_with_it() -> None:
    bounded = record(Decision(rule="guarded", uncertainty_share_max=0.01))
    row = {
        "outcome": "not assessable",
        "outcome_reason": "expanded uncertainty above 1 % of the tolerance, its declared bound",
    }
    text = page(row, record=bounded)
    assert "above 1 % of the tolerance, its declared bound (here 2.00 %)" in text


def test_values_that_do_not_count_or_have_no_limits_are_not_in_the_table() -> None:
    rows = (
        {"counts": False, "touchdown": 1, "touchdowns": 2},
        {"lower": None, "upper": None, "outcome": "no limits"},
        {"value": None, "outcome": "not measured"},
    )
    text = page(*rows)
    assert "How each value was decided" not in text
    assert "limits are exact" not in text


def test_a_die_that_is_not_refuted_says_so_and_whether_it_conforms() -> None:
    row = {"value": -2.499, "outcome": "not refuted"}
    rejection = record(Decision(rule="guarded rejection"))
    text = page(row, record=rejection, die={"outcome": "not refuted"})
    assert (
        "is not refuted under the rule of guarded rejection (w = U, k = 2): one value lies beyond a"
        " limit by no more than the guard band (threshold voltage (room) −2.499 V, above −2.5 V)."
    ) in text
    assert "conforms" not in text.partition("Values")[0]
    lenient = rejection.model_copy(
        update={"verdict": Verdict(conforming=("within", "not refuted"))}
    )
    die = {"outcome": "not refuted", "conforming": True}
    text = page(row, record=lenient, die=die)
    assert "It conforms: values of a conforming die may be within or not refuted." in text


@pytest.mark.parametrize(
    ("others", "told"),
    [
        (
            "first: outside; mean: not proven",
            "Were it the first one, the die would be outside; were it the mean, not proven.",
        ),
        (
            "first: outside; mean: outside",
            "Were it the first one or the mean, the die would be outside.",
        ),
        ("", ""),
    ],
)
def test_a_die_says_what_other_touchdowns_would_make_of_it(others: str, told: str) -> None:
    rows = (
        {"counts": False, "touchdown": 1, "touchdowns": 2, "value": -2.45, "outcome": "outside"},
        {"touchdown": 2, "touchdowns": 2},
    )
    text = page(*rows, die={"other_verdicts": others})
    assert told in text and ("Were it" in text) == bool(told)


def test_global_risks_stand_where_a_prior_is_declared() -> None:
    risks = {("VTH", "room"): given.risks(global_consumer=0.000041, global_producer=0.0123)}
    declared = record(Decision(rule="guarded"), prior=PRIOR)
    context = replace(samples.context(declared), risks=risks)
    told = "(earlier lots) the global consumer's risk is < 0.01 %, the producer's 1.23 %"
    assert told in page({}, context=context)
    assert "global consumer's risk" not in page({}, context=replace(context, risks={}))
    assert "global consumer's risk" not in page({}, context=replace(samples.context(), risks=risks))
