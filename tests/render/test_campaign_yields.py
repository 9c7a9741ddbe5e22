"""What the pages of campaign and wafer say of yields, verdicts and limiting parameters."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen import render
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.decision import Verdict
from sitegen.model.results import CampaignResults
from sitegen.model.statistics import Estimate
from sitegen.model.yield_results import (
    LimitingParameter,
    LimitingTogether,
    ProcessYield,
    WaferYield,
    Yields,
)
from sitegen.render import campaign_yields, sentences
from tests.render import samples
from tests.render.test_pages import outline, text_of
from tests.render.test_sentences import RULE, said

FEW = ProcessYield(
    2,
    12,
    14,
    Estimate(12 / 14, reason="needs 5 wafers, there are 2"),
    Estimate(None, reason="needs 5 wafers, there are 2"),
    None,
    "",
)
MANY = ProcessYield(
    6,
    420,
    460,
    Estimate(420 / 460, 0.8512, 0.9604),
    Estimate(0.0578, 0.0, 0.6909),
    6.04,
    "beta-binomial",
)


def yields(**changes: Any) -> Yields:
    fields: dict[str, Any] = {
        "wafers": (WaferYield("W1", 6, 7, Estimate(6 / 7, 0.487, 0.974), "no limits"),),
        "process": FEW,
        "limiting": (
            LimitingParameter("VTH", "room", 9, 4),
            LimitingParameter("H21", "room", 5, 1),
        ),
        "together": (
            LimitingTogether((("VTH", "room"),), 4),
            LimitingTogether((("VTH", "room"), ("H21", "room")), 4),
            LimitingTogether((("VTH", "room"), ("VTH", "hot")), 1),
            LimitingTogether((("H21", "room"),), 1),
        ),
        "verdict": "no limits",
        "verdict_reason": "no least share of conforming dies is declared",
        "changed_by_touchdowns": 0,
    }
    return Yields(**{**fields, **changes})


def results(rules: Verdict | None = None, **changes: Any) -> CampaignResults:
    found = samples.campaign_results()
    record = found.context.record.model_copy(update={"verdict": rules or Verdict()})
    return replace(
        found,
        context=replace(found.context, record=record),
        statistics=CampaignStatistics((), yields(**changes), ()),
    )


def page(rules: Verdict | None = None, **changes: Any) -> str:
    made = render.campaign_page(results(rules, **changes), {})
    outline(made)
    return text_of(made)


def test_each_wafer_with_its_interval_and_its_denominator() -> None:
    told = page()
    assert "6 of 7 (48.7 % to 97.4 %)" in told
    assert "describes these dies as if each came out on its own" in told


def test_below_five_wafers_the_process_has_no_interval() -> None:
    told = page()
    assert (
        "No interval is stated for the yield of the process: that needs 5 wafers, there are 2."
        in told
    )
    assert "The wafer is the cluster" not in told


def test_from_five_wafers_on_it_has_one() -> None:
    told = page(process=MANY)
    assert (
        "The process that made these six wafers yields 91.3 % (95 % interval 85.1 % to 96.0 %,"
        " the wafer being the cluster)." in told
    )
    assert (
        "the intraclass correlation of two dies of a wafer is 0.058 (0 to 0.691), which multiplies"
        " the variance of the pooled yield by 6.0" in told
    )


def test_where_no_die_fails_the_correlation_is_not_stated() -> None:
    alike = replace(
        MANY,
        conforming=460,
        share=Estimate(1.0, 0.93, 1.0),
        intraclass_correlation=Estimate(None, reason="no die fails, which says nothing of it"),
        design_effect=None,
    )
    told = page(process=alike, limiting=(), together=())
    assert "yields 100 % (95 % interval 93.0 % to 100 %" in told
    assert "is not stated, since no die fails, which says nothing of it" in told


def test_without_a_judged_die_nothing_is_said_of_the_process() -> None:
    nothing = replace(FEW, conforming=0, judged=0, share=Estimate(None, reason="no die"))
    told = page(process=nothing, limiting=(), together=())
    assert "of the process" not in told
    assert "Parameters that take dies" not in told


@pytest.mark.parametrize(
    ("verdict", "text"),
    [
        (Verdict(), "No least yield is declared: wafers and campaign have no verdict."),
        (
            Verdict(wafer_least_share=0.9),
            "A wafer is within where its yield reaches 90 %; the campaign where every wafer is.",
        ),
        (
            Verdict(wafer_least_share=0.9995),
            "A wafer is within where its yield reaches 99.95 %; the campaign where every wafer is.",
        ),
        (
            Verdict(
                wafer_least_share=0.9,
                wafer_by="lower end",
                campaign_least_share=0.8,
                conforming=("within", "not proven"),
            ),
            "A die conforms where each of its values is within or not proven. A wafer is within"
            " where the lower end of its yield's interval reaches 90 %; the campaign where at"
            " least 80 % of the wafers are.",
        ),
    ],
)
def test_what_wafers_and_campaign_must_reach(verdict: Verdict, text: str) -> None:
    assert text in page(verdict)


def test_the_campaigns_verdict_with_what_decided_it() -> None:
    why = "1 of 2 wafers conform, 2 would have to"
    told = page(Verdict(wafer_least_share=0.9), verdict="outside", verdict_reason=why)
    assert f"The campaign's verdict by its wafers' yields is outside: {why}." in told
    within = page(Verdict(wafer_least_share=0.5), verdict="within", verdict_reason="")
    assert "The campaign's verdict by its wafers' yields is within." in within
    assert "The campaign is" not in page()


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        (0, "No die's verdict depends on which of its touchdowns counts."),
        (1, "One die would have another verdict if another of the touchdowns counted."),
        (14, "14 dies would have another verdict if another of the touchdowns counted."),
    ],
)
def test_verdicts_that_the_choice_of_touchdown_changes(changed: int, text: str) -> None:
    assert text in page(changed_by_touchdowns=changed)


def test_columns_that_depend_on_what_is_declared() -> None:
    def headings(verdict: Verdict) -> list[object]:
        table = campaign_yields.wafers(results(verdict))
        assert all(len(row.cells) == len(table.columns) - 1 for row in table.rows)
        return [column.heading for column in table.columns]

    assert not {"Verdict", "Conforming"} & set(headings(Verdict()))
    assert "Conforming" in headings(Verdict(conforming=("within", "not proven")))
    assert "Verdict" in headings(Verdict(wafer_least_share=0.9))


def test_limiting_parameters_alone_and_with_others() -> None:
    table = campaign_yields.limiting(results(process=replace(FEW, conforming=2, judged=12)))
    assert table is not None
    first, second = (
        [str(cell.text).replace("\u202f", " ") for cell in row.cells[1:]] for row in table.rows
    )
    assert first[:4] == ["9", "90.0 %", "4", "5"]
    assert second[:4] == ["5", "50.0 %", "1", "4"]
    assert first[4].startswith("4 ") and "; 1 " in first[4] and "(hot)" in first[4]
    assert second[4].startswith("4 ") and "(room)" in second[4]


def test_many_sets_are_counted() -> None:
    conditions = ("room", "hot")
    sets = [
        LimitingTogether((("H21", "room"), ("VTH", condition)), 9 - place)
        for place, condition in enumerate(conditions * 2)
    ]
    found = results(together=(*sets, LimitingTogether((("H21", "room"),), 1)))
    table = campaign_yields.limiting(found)
    assert table is not None
    assert "6 with other sets" in str(table.rows[1].cells[-1].text)


def test_without_statistics_the_page_says_what_it_knows() -> None:
    told = text_of(render.campaign_page(samples.campaign_results(), {}))
    assert "process" not in told
    assert "Parameters that take dies" not in told


def test_a_wafers_page_says_its_verdict() -> None:
    summary = samples.wafer_summary(
        verdict="outside", verdict_reason="6 of 7 judged dies conform, 7 would have to"
    )
    told = said(sentences.wafer(summary, RULE))
    assert (
        "The wafer's verdict by its yield is outside: 6 of 7 judged dies conform, 7 would have to."
        in told
    )
    within = said(sentences.wafer(samples.wafer_summary(verdict="within"), RULE))
    assert "The wafer's verdict by its yield is within." in within
    assert "The wafer's verdict" not in said(sentences.wafer(samples.wafer_summary(), RULE))


def test_a_wafer_without_a_judged_die_says_that_it_has_no_verdict() -> None:
    nothing = samples.wafer_summary(
        conforming=0,
        assessable=0,
        verdict="not assessable",
        verdict_reason="no die is judged in full",
    )
    told = said(sentences.wafer(nothing, RULE))
    assert "The wafer's verdict by its yield is not assessable: no die is judged in full." in told
