"""Studies on the campaign's page, and what the page of one of their records says first."""

from dataclasses import replace
from typing import Any

from sitegen import render
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.declared_statistics import Study
from sitegen.model.results import CampaignResults
from sitegen.render import campaign
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_pages import outline, text_of

STUDY = Study(id="OP-1", between="operators", wafers=("W1-A", "W1-B"))


def results(*studies: Study, **changes: Any) -> CampaignResults:
    record = samples.campaign_record(studies=studies)
    return given.results(
        context=samples.context(record),
        wafer_records=(*samples.campaign_results().wafer_records, samples.wafer_record("W1-A")),
        **changes,
    )


def test_without_a_study_there_is_no_table() -> None:
    assert campaign.view(results(), {}).studies is None
    assert 'id="studies' not in render.campaign_page(results(), {}).html


def test_a_study_with_its_records_sizes_and_shares() -> None:
    page = render.campaign_page(results(STUDY), {})
    table = page.html[page.html.index('<table id="studies"') :].partition("</table>")[0]
    text = text_of(replace(page, html=table))
    assert (
        "OP-1 operators W1-A, W1-B 10 × 3 × 3 Vth threshold voltage room 900 µV (800 µV to"
        " 3300 µV) 2.7 % 2.83 %" in text
    )
    assert 'href="wafers/W1-A/index.html"' in table, "the one that was read"
    assert "wafers/W1-B" not in table, "the other has no page"
    assert 'href="parameters/VTH/index.html#measurement"' in table
    assert "Not stated because" not in table


def test_a_study_without_a_value_or_a_tolerance_says_so() -> None:
    empty = replace(given.study(), study="ST-1")
    for statistics in (
        None,
        CampaignStatistics((given.statistics(studies=()),), given.NO_YIELDS, ()),
        CampaignStatistics((given.statistics(studies=(empty,)),), given.NO_YIELDS, ()),
    ):
        text = text_of(render.campaign_page(results(STUDY, statistics=statistics), {}))
        assert "no parameter has values in it" in text
    none = given.study(
        combined=given.not_stated("needs 2 dies, there is 1"),
        share_of_total=None,
        share_of_tolerance=None,
    )
    found = CampaignStatistics((given.statistics(studies=(none,)),), given.NO_YIELDS, ())
    text = text_of(render.campaign_page(results(STUDY, statistics=found), {}))
    assert "room – – – needs 2 dies, there is 1" in text


def wafer_page(only: bool, *studies: Study) -> render.Page:
    record = samples.wafer_record("W1").model_copy(update={"only_for_study": only})
    pages = render.wafer_pages(
        context=samples.context(samples.campaign_record(studies=studies)),
        record=record,
        results=samples.wafer_results(),
        note=None,
        frames={},
        maps={},
        bars={},
    )
    return next(iter(pages))


def test_a_record_for_a_study_says_that_first_and_states_no_yield() -> None:
    study = STUDY.model_copy(update={"wafers": ("W1", "W1-B")})
    page = wafer_page(True, study)
    lead = text_of(replace(page, html=page.html[page.html.index("<h1>") :]))
    assert lead.split("This record")[0].strip() == "Wafer W1"
    assert (
        "This record was measured for study OP-1 only: it takes no part in yields and in the"
        " statistics of the campaign. 8 of 9 planned dies were measured." in lead
    )
    assert "a yield of" not in lead
    assert "../../index.html#studies" in outline(page).targets


def test_a_record_of_no_declared_study_and_an_ordinary_one() -> None:
    assert "This record was measured for a study only: it takes" in text_of(wafer_page(True))
    ordinary = text_of(wafer_page(False))
    assert "for a study only" not in ordinary and "a yield of 85.7 %" in ordinary
