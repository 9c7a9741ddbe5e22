"""The pages' first sentences, in the cases none, one, some, all and nothing measured."""

from dataclasses import replace
from typing import Any

import pytest
from markupsafe import Markup

from sitegen.model.decision import Decision
from sitegen.model.results import NOT_HELD
from sitegen.render import die_sentences, sentences, yield_sentences
from sitegen.render.die_sentences import DieFacts
from tests.render.samples import (
    FINDINGS,
    calibration_result,
    wafer_summary,
)

RULE = Markup("the guarded rule")


def said(found: sentences.Sentences) -> str:
    """The sentences as a reader sees them."""
    return " ".join(str(each.striptags()) for each in found).replace("\u202f", " ")


@pytest.mark.parametrize(
    ("planned", "measured", "text"),
    [
        (9, 9, "all 9 planned dies were measured"),
        (9, 8, "8 of 9 planned dies were measured"),
        (9, 1, "1 of 9 planned dies was measured"),
        (9, 0, "none of the 9 planned dies was measured"),
        (1, 1, "the one planned die was measured"),
        (1, 0, "the one planned die was not measured"),
        (9, 11, "eleven dies were measured, 2 more than the 9 planned"),
        (0, 3, "three dies were measured, without a plan"),
        (0, 0, "no die was planned or measured"),
    ],
)
def test_how_many_dies_were_measured(planned: int, measured: int, text: str) -> None:
    assert sentences.dies_measured(planned, measured) == text


@pytest.mark.parametrize(
    ("conforming", "assessable", "text"),
    [
        (7, 7, "All 7 dies whose every value could be judged meet every limit under the guarded"),
        (6, 7, "6 of the 7 dies whose every value could be judged meet every limit under the"),
        (1, 7, "1 of the 7 dies whose every value could be judged meets every limit under the"),
        (0, 7, "None of the 7 dies whose every value could be judged meets every limit under the"),
        (1, 1, "The one die whose every value could be judged meets every limit under the guarded"),
        (0, 1, "The one die whose every value could be judged does not meet every limit under the"),
        (0, 0, "On no die could every value with limits be judged under the guarded rule."),
    ],
)
def test_a_wafer(conforming: int, assessable: int, text: str) -> None:
    found = wafer_summary(conforming=conforming, assessable=assessable)
    assert text in said(sentences.wafer(found, RULE))


@pytest.mark.parametrize(
    ("assessable", "besides", "text"),
    [
        (7, 0, "came out on its own). "),
        (7, 1, "came out on its own); 1 more lies outside by what was judged. "),
        (7, 3, "came out on its own); 3 more lie outside by what was judged. "),
        (0, 1, "be judged under the guarded rule; 1 die lies outside by what was judged. "),
        (0, 3, "be judged under the guarded rule; 3 dies lie outside by what was judged. "),
    ],
)
def test_dies_outside_that_are_no_part_of_the_yield(
    assessable: int, besides: int, text: str
) -> None:
    found = wafer_summary(
        conforming=min(assessable, 6), assessable=assessable, outside_besides=besides
    )
    assert text in said(sentences.wafer(found, RULE))


def test_without_limits_no_die_is_judged() -> None:
    found = wafer_summary(
        conforming=0, assessable=0, outcomes={"no limits": 8, "not measured": 1, "within": 0}
    )
    told = "No die is judged: nothing that was measured has limits."
    assert told in said(sentences.wafer(found, RULE))
    assert told in said(sentences.campaign_dies([(found, "")], RULE))


def test_a_wafer_says_its_interval_and_what_it_describes() -> None:
    text = said(sentences.wafer(wafer_summary(), RULE))
    assert (
        ", a yield of 85.7 % (95 % interval 48.7 % to 97.4 %, which describes these dies as if each"
        " came out on its own)." in text
    )


def test_where_values_not_proven_conform_dies_are_not_said_to_meet_their_limits() -> None:
    verbs = yield_sentences.met(("within", "not proven"))
    told = "6 of the 7 dies whose every value could be judged conform under the guarded rule"
    assert told in said(sentences.wafer(wafer_summary(), RULE, verbs))
    assert told in said(sentences.campaign_dies([(wafer_summary(), "")], RULE, verbs))
    assert yield_sentences.met(("within",)) == yield_sentences.MEET


@pytest.mark.parametrize(
    ("values", "lost", "told"),
    [
        (9, 9, "No value has standing: the sweeps were corrected before they came"),
        (1, 1, "The one value has no standing: its sweep was corrected before it came"),
        (9, 2, "Two of nine values have no standing: the sweeps were corrected before they came"),
        (9, 1, "One of nine values has no standing: its sweep was corrected before it came"),
    ],
)
def test_what_came_corrected_is_said_once(values: int, lost: int, told: str) -> None:
    found = wafer_summary(
        values=values,
        values_without_standing=lost,
        values_not_closed=0,
        values_never_verified=0,
        standing_reasons={NOT_HELD: lost},
    )
    behind = " into the record, with a calibration that the record does not hold."
    assert said(sentences.standing([(found, "w.html")])) == told + behind


def test_what_came_corrected_stands_beside_other_reasons() -> None:
    first = wafer_summary("W1", values=9, values_without_standing=9, standing_reasons={NOT_HELD: 9})
    second = wafer_summary(
        "W2",
        values=9,
        values_without_standing=9,
        standing_reasons={NOT_HELD: 9, "floor missing": 4},
    )
    text = said(sentences.standing([(first, "a"), (second, "b")]))
    assert text.count("corrected before") == 1 and text.startswith("No value has standing")
    assert "9 of 18 values are without standing: 9 on W2 (floor missing)" in text.lower().replace(
        "w2", "W2"
    ).replace("nine of", "9 of")


def test_a_wafer_on_which_nothing_was_measured_says_only_that() -> None:
    found = wafer_summary(measured=0, conforming=0, assessable=0, values=0)
    assert said(sentences.wafer(found, RULE)) == "None of the 9 planned dies was measured."


def test_a_campaign_without_wafers() -> None:
    assert said(sentences.campaign_dies([], RULE)) == (
        "No wafer of this campaign has been measured."
    )


def test_a_campaign_of_one_wafer_does_not_name_it_again() -> None:
    assert said(sentences.campaign_dies([(wafer_summary(), "w.html")], RULE)) == (
        "On one wafer 8 of 9 planned dies were measured. 6 of the 7 dies whose every value could be"
        " judged meet every limit under the guarded rule, a yield of 85.7 % (95 % interval 48.7 %"
        " to 97.4 %, which describes these dies as if each came out on its own)."
    )


def test_a_campaign_of_several_wafers_has_each_with_its_link() -> None:
    dark = wafer_summary("W2", conforming=0, assessable=0, outside_besides=3)
    found = sentences.campaign_dies([(wafer_summary(), "a.html"), (dark, "b.html")], RULE)
    assert said(found) == (
        "On two wafers 16 of 18 planned dies were measured. 6 of the 7 dies whose every value could"
        " be judged meet every limit under the guarded rule: W1 6 of 7 (48.7 % to 97.4 %) and W2"
        " (none judged in full); 3 more lie outside by what was judged. The 95 % interval of each"
        " wafer's yield describes these dies as if each came out on its own."
    )
    assert '<a href="a.html">W1</a>' in found[1]


def test_a_campaign_of_many_wafers_names_the_first_and_counts_the_rest() -> None:
    many = [(wafer_summary(f"W{n}"), "") for n in range(1, 26)]
    assert "W6 6 of 7 (48.7 % to 97.4 %), and 19 more." in said(sentences.campaign_dies(many, RULE))


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"values": 0, "values_without_standing": 0}, ""),
        (
            {"values_without_standing": 0, "values_not_closed": 0},
            "All 24 values stand on valid evidence.",
        ),
        (
            {"values": 1, "values_without_standing": 0, "values_not_closed": 0},
            "The one value stands on valid evidence.",
        ),
        (
            {"values_not_closed": 0},
            "Two of 24 values are without standing: expired by time.",
        ),
        (
            {"values_without_standing": 0},
            "One value is not closed: a verification passed before, and none after.",
        ),
        (
            {"values_without_standing": 0, "values_not_closed": 3, "values_never_verified": 1},
            "Two values are not closed: a verification passed before, and none after. One value"
            " stands on a calibration that no verification has passed.",
        ),
        (
            {"values_without_standing": 0, "values_not_closed": 12, "values_never_verified": 12},
            "Twelve values stand on a calibration that no verification has passed.",
        ),
        (
            {
                "values_without_standing": 14,
                "values_not_closed": 0,
                "standing_reasons": {"expired by time": 2, "verification failed": 12},
            },
            "14 of 24 values are without standing: verification failed 12, expired by time 2.",
        ),
    ],
)
def test_standing_of_a_wafer(changes: dict[str, Any], text: str) -> None:
    assert said(sentences.standing([(wafer_summary(**changes), "")])) == text


def test_standing_of_a_campaign_names_the_wafers_concerned() -> None:
    whole = wafer_summary("W2", values_without_standing=0, values_not_closed=0)
    found = sentences.standing(
        [(wafer_summary(values_not_closed=0), "w1.html"), (whole, "w2.html")]
    )
    assert said(found) == "Two of 48 values are without standing: 2 on W1 (expired by time)."
    assert "w1.html" in found[0] and "w2.html" not in found[0]


@pytest.mark.parametrize(
    ("outcomes", "text"),
    [
        ([], "The record holds no calibration."),
        (["usable"], "The one calibration is usable by its own checks."),
        (["usable", "usable"], "Both calibrations are usable by their own checks."),
        (["checks failed"], "The one calibration, CAL-0, did not meet its own checks."),
        (
            ["usable", "not solved"],
            "One of two calibrations is usable; CAL-1 could not be solved.",
        ),
        (
            ["checks failed", "not solved"],
            "None of two calibrations is usable; CAL-0 did not meet its own checks; CAL-1 could"
            " not be solved.",
        ),
        (
            ["usable", "checks failed", "checks failed"],
            "One of three calibrations is usable; CAL-1 and CAL-2 did not meet their own checks.",
        ),
    ],
)
def test_calibrations_in_a_sentence(outcomes: list[str], text: str) -> None:
    results = [
        (calibration_result(f"CAL-{n}", outcome=outcome), "") for n, outcome in enumerate(outcomes)
    ]
    first, second = sentences.evidence(results, [])
    assert said((first,)) == text
    assert said((second,)) == "The record holds no verification."


def test_findings_and_faults() -> None:
    assert said(sentences.needs([], 0, "p.html")) == "The measurements show no finding."
    assert said(sentences.needs(FINDINGS, 1, "p.html")) == (
        "The measurements show two findings; one needs a decision. One fault of the input kept"
        " something from being read, computed or shown."
    )
    assert "none needs a decision" in said(sentences.needs(FINDINGS[1:], 0, ""))
    assert "<a" not in sentences.needs(FINDINGS, 3, "")[0]


def test_a_station() -> None:
    assert said(sentences.station("A", 0, 0, 0, 0, [])) == "Nothing is recorded on A."
    assert said(sentences.station("A", 1, 2, 3, 0, [])) == (
        "The record of A holds one calibration, two verifications and three wafers. A calibration"
        " was in force whenever a wafer was measured on it."
    )
    assert said(sentences.station("A", 1, 2, 1, 1, [("W1", "then")])) == (
        "The record of A holds one calibration, two verifications and one wafer. One verification"
        " failed. No calibration was in force for one stretch: W1, then."
    )


def test_the_rule_names_its_factors() -> None:
    assert said((sentences.rule(Decision(rule="simple"), "m"),)) == "the simple rule"
    guarded = Decision(rule="guarded", coverage_factor=2.5, guard_factor=0.83)
    assert said((sentences.rule(guarded, "m"),)).replace("\u00a0", " ") == (
        "the guarded rule (w = 0.83 U, k = 2.5)"
    )
    told = {
        "guarded rejection": "the rule of guarded rejection (w = U, k = 2)",
        "non-binary": "the non-binary rule (w = U, k = 2)",
    }
    for name, text in told.items():
        assert said((sentences.rule(Decision.model_validate({"rule": name}), "m"),)) == text
    bounded = Decision(rule="simple", uncertainty_share_max=0.25)
    assert said((sentences.rule(bounded, "m"),)) == (
        "the simple rule (k = 2, U at most 25 % of the tolerance)"
    )
    assert said((sentences.rule(bounded, "m", tolerance=False),)) == "the simple rule"


WITHIN = DieFacts(
    name="(0, 0)",
    outcome="within",
    reason="",
    planned=True,
    limited=3,
    outside=(),
    not_proven=(),
    not_assessable=(),
    missing=0,
    without_standing=0,
    standing_reasons=(),
    not_closed=0,
    repeated=0,
    hinging=(),
)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "is within: all three values with limits lie within them under the guarded rule."),
        (
            {"limited": 1},
            "is within: its one value with limits lies within them under the guarded rule.",
        ),
        (
            {"outcome": "outside", "outside": ("a 3 V, above 2 V",)},
            "is outside under the guarded rule: one value lies outside its limits (a 3 V, above"
            " 2 V).",
        ),
        (
            {"outcome": "outside", "outside": tuple("abcdef"), "missing": 1},
            "is outside under the guarded rule: six values lie outside their limits (a; b; c; d;"
            " and two more). One planned value is missing.",
        ),
        (
            {"outcome": "not refuted", "not_refuted": ("a", "b")},
            "is not refuted under the guarded rule: two values lie beyond a limit by no more than"
            " the guard band (a; b).",
        ),
        (
            {"outcome": "not proven", "not_proven": ("a",)},
            "is not proven under the guarded rule: one value lies inside the guard band (a).",
        ),
        (
            {
                "outcome": "not assessable",
                "without_standing": 2,
                "standing_reasons": ("expired by time",),
                "missing": 1,
            },
            "is not assessable under the guarded rule: two values are without standing (expired by"
            " time) and one planned value is missing.",
        ),
        (
            {"outcome": "not assessable", "reason": "the computation's own words"},
            "is not assessable under the guarded rule: the computation's own words.",
        ),
        (
            {"outcome": "not measured"},
            "was not measured although the plan asks for it.",
        ),
        (
            {"outcome": "not measured", "planned": False},
            "was not measured; the plan does not ask for it.",
        ),
        (
            {"outcome": "no limits"},
            "was measured, and none of its values has limits to be judged against.",
        ),
        (
            {"not_closed": 1, "repeated": 2},
            "is within: all three values with limits lie within them under the guarded rule. One"
            " value is not closed, with no passed verification after. Two values were taken at more"
            " than one touchdown; the last touchdown counts.",
        ),
        (
            {"repeated": 2, "hinging": ("RON",)},
            "is within: all three values with limits lie within them under the guarded rule. Two"
            " values were taken at more than one touchdown; the last touchdown counts; another one"
            " would change the outcome of RON.",
        ),
    ],
)
def test_a_die(changes: dict[str, Any], text: str) -> None:

    assert said(die_sentences.die(replace(WITHIN, **changes), RULE, "last")) == f"Die (0, 0) {text}"
