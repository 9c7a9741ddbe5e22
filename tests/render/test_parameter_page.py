"""The parameter's page as a whole: five questions first, then what is behind each of them."""

import re
from dataclasses import replace

import pytest

from sitegen import render
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.results import CampaignResults
from sitegen.render import parameter, tables
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_answers import QUESTIONS, Question
from sitegen.render.statistics_text import ANCHORS
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_pages import Outline, outline, text_of


def page_of(results: CampaignResults) -> render.Page:
    return render.parameter_page(results.context.record.parameters[0], results, {})


def nothing_at_all() -> CampaignResults:
    found = CampaignStatistics((given.nothing("VTH", "room"),), given.NO_YIELDS, ())
    return given.results(parameters=(), statistics=found, concerned=())


def two_conditions() -> CampaignResults:
    results = given.results()
    both = results.context.record.parameters[0].model_copy(update={"conditions": ("room", "hot")})
    return replace(
        results,
        context=samples.context(samples.campaign_record(parameters=(both,))),
        parameters=(given.result("room"), given.result("hot"), given.result("hot", "W1")),
        statistics=CampaignStatistics(
            (given.statistics(), given.statistics(condition="hot")), given.NO_YIELDS, ()
        ),
        concerned=(given.concerned(), given.concerned(condition="hot")),
    )


EVERY = {
    "all stated": given.results,
    "no statistics": lambda: given.results(statistics=None, concerned=()),
    "nothing": nothing_at_all,
    "two conditions": two_conditions,
}


@pytest.mark.parametrize("name", EVERY)
def test_a_page_nests_names_its_anchors_once_and_leads_to_them(name: str) -> None:
    found: Outline = outline(page_of(EVERY[name]()))
    assert len(found.ids) == len(set(found.ids))
    assert found.wrong == []
    for target in found.targets:
        assert not target.startswith("#") or target[1:] in found.ids, target


@pytest.mark.parametrize("name", EVERY)
def test_the_questions_are_answered_in_order_before_everything_else(name: str) -> None:
    page = page_of(EVERY[name]())
    first = page.html[: page.html.index("</dl>")]
    asked: list[Question] = ["dies"] if name == "nothing" else list(QUESTIONS)
    places = [first.index(f">{QUESTIONS[one]}</a></dt>") for one in asked]
    assert first.count("</a></dt>") == len(asked)
    assert places == sorted(places)
    assert "<table" not in first and "<section" not in first
    headings = re.findall(r"<h2 id=\"(\w+)\"", page.html)
    order = [one for one in headings if one in QUESTIONS]
    assert order == asked
    assert headings[-2:] == ["definition", "onward"]


def test_no_value_of_python_is_printed() -> None:
    for make in EVERY.values():
        text = text_of(page_of(make()))
        assert "None" not in text.replace("None of", "")
        assert "nan" not in text.split() and "Estimate" not in text


def test_every_table_of_the_statistics_stands_in_its_section() -> None:
    html = page_of(given.results()).html
    sections: dict[str, str] = {one: html[html.index(f'<h2 id="{one}"') :] for one in QUESTIONS}
    for question, names in {
        "good": ("outcomes-room", "capability", "tolerance", "risks"),
        "sure": ("sureness", "uncertainty"),
        "spread": ("components", "summary-room", "patterns", "shape-room", "zones-room", "trends"),
        "measurement": ("measured", "studies", "study-components", "compared-wafers-room"),
        "dies": ("concerned", "average-limits"),
    }.items():
        section = sections[question].partition("</section>")[0]
        for name in names:
            assert f'<table id="{name}"' in section, name


def test_what_is_not_stated_says_why_and_how_many_would_be_needed() -> None:
    text = text_of(page_of(given.results()))
    assert "Cp, Cpk: needs 5 wafers, there are 3" in text
    assert "needs 93, there are 91" in text
    assert "needs 6 lots of 30 values, there is 1" in text
    assert "needs 2 wafers in each split" in text
    assert "no reticle grid is declared" in text


def test_effect_stands_before_significance() -> None:
    html = page_of(given.results()).html
    table = html[html.index('<table id="compared-wafers-room"') :]
    head = table[: table.index("</thead>")]
    order = [head.index(word) for word in ("Difference", "Effect", "Equivalent", "Adjusted p")]
    assert order == sorted(order)


def test_the_dies_lead_to_their_pages_with_every_reason() -> None:
    page = page_of(given.results())
    for die in ("W1/x3_y-2", "W1/x-1_y4", "W2/x0_y4", "W2/x5_y0"):
        assert f'href="../../wafers/{die}.html"' in page.html
    text = text_of(page)
    assert "W1 (3, −2) −2.4962 ± 0.0042 V outside 3.8 mV beyond the limit; stands out" in text
    assert "W1 (−1, 4) −2.5031 ± 0.0042 V not proven 3.1 mV inside the limit" in text
    assert "W2 (0, 4) −2.531 V within stands out (neighbours, 7.3 robust sigmas)" in text
    assert "W2 (5, 0) −2.4962 ± 0.0042 V without standing verification failed" in text


def test_a_die_in_a_cluster_and_at_a_site_says_so() -> None:
    listed = tuple(given.value("outside", die, site="a") for die in ((3, -2), (3, -1)))
    cluster = replace(given.patterns("W1"), clusters=(((3, -2), (3, -1)),))
    found = given.results(
        statistics=CampaignStatistics(
            (given.statistics(patterns=(cluster,)),), given.NO_YIELDS, ()
        ),
        concerned=(given.concerned(counts={"outside": 2}, dies=2, listed=listed, reasons={}),),
    )
    text = text_of(page_of(found))
    assert "Two of those outside are neighbours on W1." in text
    assert "W1 (3, −2) a a −2.4962 ± 0.0042 V outside 3.8 mV beyond the limit; with one" in text


def test_a_long_list_of_dies_ends_with_a_count_and_the_data() -> None:
    listed = tuple(given.value("outside", (x, 0), site="") for x in range(200))
    many = given.concerned(counts={"outside": 300}, dies=300, listed=listed, reasons={})
    page = page_of(given.results(concerned=(many,)))
    table = page.html[page.html.index('<table id="concerned"') :]
    assert table[: table.index("</table>")].count("<tr") == 51
    assert "50 of 302 are listed; every value is in the data." in text_of(page)


def test_method_links_appear_with_the_statistics() -> None:
    page, method = page_of(given.results()), render.method_page(given.results())
    places = {name for name in ANCHORS.values() if f"method/index.html#{name}" in page.html}
    assert places == set(ANCHORS.values()) - {ANCHORS["stress"]}, "no stress is declared"
    assert places <= set(outline(method).ids)
    without = page_of(given.results(statistics=None))
    assert "statistics-" not in without.html and "method/index.html#decision" in without.html


def test_what_is_declared_stands_in_the_definition() -> None:
    text = text_of(page_of(given.results()))
    assert "Equivalent within ±10 mV between wafers or splits" in text
    assert "room Saturation (25 °C, vds = 1.2 V)" in text


def test_the_page_stays_light() -> None:
    assert len(page_of(two_conditions()).html.encode()) < 400_000


def test_a_table_loses_the_columns_that_say_nothing() -> None:
    full = Table(
        "t",
        "",
        (Column("a"), Column("b"), Column("c"), Column("d")),
        (
            Row(Cell(""), (Cell(""), Cell("–"), Cell("1"))),
            Row(Cell(""), (Cell(""), Cell("–"), Cell(""))),
        ),
    )
    assert [one.heading for one in tables.compact(full).columns] == ["a", "c", "d"]
    bare = tables.compact(full, ("", "–"))
    assert [one.heading for one in bare.columns] == ["a", "d"]
    assert [len(row.cells) for row in bare.rows] == [1, 1]
    empty = replace(full, rows=())
    assert tables.compact(empty) == empty


def test_the_same_results_give_the_same_view() -> None:
    results = two_conditions()
    shown = results.context.record.parameters[0]
    assert parameter.view(shown, results, {}) == parameter.view(shown, results, {})
