"""What a parameter's page says of its correlations: nothing more than was found."""

import re
from dataclasses import replace
from html import unescape
from typing import Any

import pytest

from sitegen import render
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.declared_statistics import Pair
from sitegen.model.relation_results import Correlation
from sitegen.model.results import CampaignResults
from sitegen.model.statistics import Estimate
from sitegen.render import statistics_relations
from sitegen.render.parameter_case import cases
from sitegen.render.statistics_relations import MOST_ROWS, drawing_name
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_pages import outline, text_of

PAIR = Pair(x="VTH", x_condition="room", y="H21", y_condition="room")


def correlation(other: str = "H21", **changes: Any) -> Correlation:
    """Of the threshold voltage with another parameter, clear."""
    fields: dict[str, Any] = {
        "first": ("VTH", "room"),
        "second": (other, "room"),
        "n": 91,
        "wafers": 2,
        "rank": Estimate(0.62, 0.41, 0.77),
        "linear": Estimate(0.58, 0.36, 0.74),
        "p_value": 1e-6,
        "adjusted_p": 1.7e-5,
        "pairs": 1770,
        "declared": False,
        "freedom": 43.4,
    }
    return Correlation(**{**fields, **changes})


UNCLEAR = correlation(
    declared=True, rank=Estimate(-0.11, -0.34, 0.13), p_value=0.4, adjusted_p=0.83
)
ALIKE = correlation("BV", second=("BV", "bv"), rank=Estimate(1.0, 1.0, 1.0), n=13, freedom=10.0)


def found(*correlations: Correlation, pairs: tuple[Pair, ...] = ()) -> CampaignResults:
    results = given.results()
    record = results.context.record.model_copy(update={"pairs": pairs})
    statistics = CampaignStatistics(
        (given.statistics(), given.nothing("H21", "room"), given.nothing("BV", "bv")),
        given.NO_YIELDS,
        correlations,
    )
    return replace(results, context=samples.context(record), statistics=statistics)


def page_of(results: CampaignResults, place: int = 0, **drawings: Any) -> render.Page:
    return render.parameter_page(results.context.record.parameters[place], results, drawings)


def rows(page: render.Page) -> list[str]:
    """The rows of the table as text."""
    start = page.html.find('<table id="relations"')
    if start < 0:
        return []
    table = page.html[start : page.html.index("</table>", start)]
    told = [
        re.sub(r"<[^>]+>", " ", row) for row in re.findall(r"<tr>(<th scope=\"row.*?)</tr>", table)
    ]
    return [" ".join(unescape(row).split()) for row in told]


def test_nothing_claimed_is_said_with_how_much_was_looked_at() -> None:
    """Three parameters of one condition each make three pairs."""
    page = page_of(found())
    assert (
        "No correlation with another parameter is claimed among the three pairs looked at."
        in text_of(page)
    )
    assert rows(page) == []


def test_without_statistics_or_a_second_parameter_nothing_is_said() -> None:
    for statistics in (None, CampaignStatistics((given.statistics(),), given.NO_YIELDS, ())):
        text = text_of(page_of(given.results(statistics=statistics)))
        assert "orrelation with another" not in text


def test_a_declared_pair_stands_in_the_table_without_being_claimed() -> None:
    page = page_of(found(UNCLEAR))
    assert "No correlation with another parameter is claimed among the 1 770" in text_of(
        page
    ).replace("\u202f", " ")
    (row,) = rows(page)
    assert "−0.11 (−0.34 to 0.13)" in row and "0.83" in row and row.endswith("declared")


def test_both_pages_show_the_pair_with_all_that_belongs_to_it() -> None:
    results = found(correlation())
    first, second = page_of(results), page_of(results, 1)
    assert rows(first) == [
        "|h 21 | current gain room 0.62 (0.41 to 0.77) 0.58 (0.36 to 0.74) < 0.001 91 43"
    ]
    assert rows(second)[0].startswith("V th threshold voltage room 0.62 (0.41 to 0.77)")
    assert 'href="../H21/index.html"' in first.html and 'href="../VTH/index.html"' in second.html
    text = text_of(first).replace("\u202f", " ")
    assert (
        "Of the 1 770 pairs looked at, one with this parameter has an adjusted p below 0.05, that"
        " with H21 under room: rank correlation 0.62 (0.41 to 0.77). Patterns over the wafer that"
        " both share count as correlation." in text
    )
    assert "adjusted over the 1 770 pairs looked at by Benjamini and Hochberg's method" in text
    assert "method/index.html#statistics-correlation" in first.html


def test_the_surely_strongest_stands_first_and_declared_ones_before_it() -> None:
    """Of 0.7 (0.2 to 0.9) and 0.6 (0.5 to 0.7) the second is the stronger by what is sure."""
    wide = correlation("BV", second=("BV", "bv"), rank=Estimate(0.7, 0.2, 0.9))
    narrow = correlation(rank=Estimate(-0.6, -0.7, -0.5))
    told = rows(page_of(found(wide, narrow)))
    assert ["−0.60" in row for row in told] == [True, False]
    declared = replace(wide, declared=True)
    told = rows(page_of(found(declared, narrow)))
    assert ["−0.60" in row for row in told] == [False, True]
    text = text_of(page_of(found(declared, narrow)))
    assert "2 with this parameter have an adjusted p below 0.05, the strongest with H21" in text


def test_dies_in_one_order_have_no_interval_and_are_never_the_strongest() -> None:
    page = page_of(found(ALIKE, correlation()))
    first, last = rows(page)
    assert "(1" not in last and "the dies come in one order in both" in last
    assert "0.62 (0.41 to 0.77)" in first
    assert "the strongest with H21 under room: rank correlation 0.62" in text_of(page)
    kept = replace(ALIKE, rank=Estimate(1.0, 0.87, 1.0))
    assert "1.000 (0.870 to 1.000)" in rows(page_of(found(kept)))[0]


def test_a_pair_without_a_correlation_says_why() -> None:
    reason = "one of the two does not vary"
    none = given.not_stated(reason)
    dull = correlation(
        declared=True, rank=none, linear=none, p_value=None, adjusted_p=None, freedom=None
    )
    (row,) = rows(page_of(found(dull)))
    assert row.count(reason) == 1 and "–" not in row


def test_one_parameter_under_two_conditions_is_one_row_with_both() -> None:
    record = samples.campaign_record(parameters=(samples.VTH, samples.H21))
    own = correlation(second=("VTH", "hot"))
    statistics = CampaignStatistics(
        (given.statistics(), given.statistics(condition="hot")), given.NO_YIELDS, (own,)
    )
    results = given.results(context=samples.context(record), statistics=statistics)
    (row,) = rows(page_of(results))
    assert row.startswith("V th threshold voltage hot room 0.62")


def test_many_pairs_end_with_a_count_and_the_data() -> None:
    many = tuple(
        correlation(rank=Estimate(0.9 - n / 100, 0.8 - n / 100, 0.95)) for n in range(MOST_ROWS + 5)
    )
    page = page_of(found(*many))
    assert len(rows(page)) == MOST_ROWS
    assert "The table has 12 of its 17 pairs; all are in the data." in text_of(page)
    assert 'href="../../data/index.html#table-correlations"' in page.html


def test_the_drawing_of_a_declared_pair_stands_on_both_pages() -> None:
    results = found(UNCLEAR, pairs=(PAIR,))
    drawing = samples.drawing("parameters/VTH/pair~room~H21~room.svg", "Current gain against it")
    for place, address in ((0, "pair~room~H21~room.svg"), (1, "../VTH/pair~room~H21~room.svg")):
        page = page_of(results, place, **{drawing_name(PAIR): drawing})
        spread = page.html[page.html.index('<h2 id="spread"') :].partition("</section>")[0]
        assert f'src="{address}"' in spread and 'href="#relations"' in spread
        assert "relations" in outline(page).ids
    assert "pair~" not in page_of(results, 2, **{drawing_name(PAIR): drawing}).html


@pytest.mark.parametrize("given_pairs", [(), (UNCLEAR,), (correlation(), ALIKE)])
def test_no_value_of_python_is_printed(given_pairs: tuple[Correlation, ...]) -> None:
    results = found(*given_pairs)
    mine = cases(results.context.record.parameters[0], results)
    told = str(statistics_relations.sentence(mine)) + " ".join(rows(page_of(results)))
    assert "None" not in told and "Estimate" not in told and "nan" not in told.split()
