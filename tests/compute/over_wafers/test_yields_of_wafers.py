"""From a wafer's values to its verdict and its yield: what is counted agrees everywhere."""

from dataclasses import replace
from typing import Any

import pytest

from sitegen.compute.over_wafers.yields import yields
from sitegen.compute.sweeps import WaferSetting
from sitegen.model.decision import Verdict
from sitegen.model.results import WaferResults
from sitegen.model.yield_results import Yields
from tests.compute.settings import parameter, setting
from tests.compute.test_wafer import compute


def ruled(rule: str = "simple", **verdict: Any) -> WaferSetting:
    """Three planned dies, one parameter between 0 and 1 with u = 0.1."""
    source = {"source": "instrument", "absolute": 0.1}
    here = setting(parameter("P", lower=0.0, upper=1.0, uncertainty=(source,)), rule=rule)
    return replace(here, campaign=here.campaign.model_copy(update={"verdict": Verdict(**verdict)}))


def measured(here: WaferSetting, *values: float) -> WaferResults:
    """One value on each die of the plan, from the first."""
    rows = [{"die_x": x, "value": value} for x, value in enumerate(values)]
    return compute(here, *rows)


def yields_of(here: WaferSetting, found: WaferResults) -> Yields:
    return yields(found.dies.to_pandas(), found.results.to_pandas(), here.campaign, ("W",))


@pytest.mark.parametrize(
    ("values", "rules", "counts", "word"),
    [
        ((0.5, 0.5, 1.5), {"wafer_least_share": 0.6}, (2, 3), "within"),
        ((0.5, 0.5, 1.5), {"wafer_least_share": 0.7}, (2, 3), "outside"),
        (
            (0.5, 0.5, 0.5),
            {"wafer_least_share": 0.9, "wafer_by": "lower end"},
            (3, 3),
            "not proven",
        ),
        ((0.5, 0.5, 1.5), {}, (2, 3), "no limits"),
        ((0.5, 1.5), {"wafer_least_share": 0.5}, (1, 2), "within"),
    ],
)
def test_summary_and_yields_agree(
    values: tuple[float, ...], rules: dict[str, Any], counts: tuple[int, int], word: str
) -> None:
    """A die of the plan that was not measured belongs to no yield."""
    here = ruled(**rules)
    found = measured(here, *values)
    (one,) = yields_of(here, found).wafers
    assert (one.conforming, one.judged) == counts
    assert (found.summary.conforming, found.summary.assessable) == counts
    assert one.verdict == found.summary.verdict == word
    assert one.verdict_reason == found.summary.verdict_reason
    assert (one.share.lower, one.share.upper) == (
        found.summary.yield_lower,
        found.summary.yield_upper,
    )


@pytest.mark.parametrize(
    ("conforming", "counts"), [(("within",), (1, 3)), (("within", "not proven"), (2, 3))]
)
def test_declared_outcomes_conform(conforming: tuple[str, ...], counts: tuple[int, int]) -> None:
    """0.9 with U = 0.2 lies inside the guard band below 1."""
    here = ruled("guarded", conforming=conforming)
    found = measured(here, 0.5, 0.9, 1.5)
    result = yields_of(here, found)
    (one,) = result.wafers
    assert (one.conforming, one.judged) == counts
    assert (found.summary.conforming, found.summary.assessable) == counts
    assert [(each.parameter, each.outside) for each in result.limiting] == [
        ("P", counts[1] - counts[0])
    ]


def test_a_verdict_that_another_touchdown_would_change_is_counted() -> None:
    here = ruled()
    found = compute(
        here,
        {"value": 0.5, "touchdown": 1},
        {"value": 1.5, "touchdown": 2},
        {"die_x": 1, "value": 0.5, "touchdown": 1},
        {"die_x": 1, "value": 0.6, "touchdown": 2},
    )
    assert yields_of(here, found).changed_by_touchdowns == 1


def test_nothing_measured() -> None:
    here = ruled(wafer_least_share=0.5)
    found = measured(here)
    result = yields_of(here, found)
    assert result.wafers[0].verdict == found.summary.verdict == "not assessable"
    assert result.verdict == "not assessable"
    assert result.process.share.reason == "no die is judged in full"
