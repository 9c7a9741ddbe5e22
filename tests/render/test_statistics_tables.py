"""The tables behind the five answers, where there is little or much to state."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.distribution_results import Normality
from sitegen.model.space_results import Patterns
from sitegen.render import statistics_spread_tables, statistics_sure
from sitegen.render.parameter_case import Case, cases
from sitegen.render.pieces import Table
from tests.render import statistics_samples as given
from tests.render.test_parameter_sentences import plain


def case_of(**changes: Any) -> Case:
    found = CampaignStatistics((given.statistics(**changes),), given.NO_YIELDS, ())
    results = given.results(statistics=found)
    (case,) = cases(results.context.record.parameters[0], results)
    return case


def column(table: Table, heading: str) -> list[str]:
    place = [plain(one.heading) for one in table.columns].index(heading)
    return [plain(row.cells[place - 1].text) for row in table.rows]


@pytest.mark.parametrize(
    ("share", "text"), [(1.4, "140 %"), (0.021, "2.10 %"), (0.0004, "0.0400 %"), (None, "–")]
)
def test_an_uncertainty_is_held_to_no_share_of_the_tolerance(
    share: float | None, text: str
) -> None:
    table = statistics_sure.table([case_of(risks=given.risks(uncertainty_share=share))])
    assert column(table, "U / tolerance") == [text]


def test_a_method_is_named_only_where_it_found_components() -> None:
    stated = case_of()
    empty = case_of(variation=given.variation(components=(), reason="needs 2 values, there is 1"))
    assert statistics_spread_tables.methods([stated, empty]) == ("Components by REML.",)
    assert statistics_spread_tables.methods([empty]) == ()


def none_tested(found: Patterns) -> Patterns:
    tests = tuple(
        replace(one, p_value=None, adjusted_p=None, reason="needs 7 dies, there are 5")
        for one in found.tests
    )
    return replace(found, tests=tests)


@pytest.mark.parametrize(
    ("tests", "text"),
    [
        (0, "No pattern over a wafer is shown: none could be tested."),
        (1, "No pattern over a wafer is shown: the one test has no adjusted p below 0.05."),
        (4, "No pattern over a wafer is shown: of four tests none has an adjusted p below 0.05."),
    ],
)
def test_patterns_of_which_none_is_claimed(tests: int, text: str) -> None:
    found = given.patterns(claimed=False)
    quiet = tuple(
        replace(one, p_value=None, adjusted_p=None) if place >= tests else one
        for place, one in enumerate(found.tests)
    )
    case = case_of(patterns=(replace(found, tests=quiet), none_tested(given.patterns("W2"))))
    claimed, every = statistics_spread_tables.patterns([case])
    assert claimed is not None and every is not None
    assert (claimed.rows, claimed.empty) == ((), text)
    assert len(every.rows) == 10


def test_a_refused_law_is_remarked_and_what_is_missing_has_its_reason() -> None:
    few = "needs 6 values, there are 5"
    refused = Normality("Anderson-Darling", 91, 1.9, 0.0001, "refused: shares are off by up to 9 %")
    untested = Normality("", 5, None, None, few)
    table = statistics_spread_tables.shape(
        case_of(
            distribution=given.distribution(normality=refused),
            by_wafer=(
                ("W1", given.distribution(5, median=given.not_stated(few), normality=untested)),
                ("W2", given.distribution(45)),
            ),
        )
    )
    assert table is not None
    assert column(table, "Remarks") == [
        "normality refused: shares are off by up to 9 %",
        f"median, normality: {few}",
        "",
    ]
