"""Which small drawings a parameter's page gets, from results and values."""

from dataclasses import replace
from typing import Any
from xml.etree.ElementTree import fromstring

import numpy as np
import pandas as pd
import pytest

from sitegen import addresses, render
from sitegen.answer_drawings import answer_drawings
from sitegen.chart.axis import snapped_range
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.decision import Decision
from sitegen.model.results import CampaignResults, Drawing
from tests.render import samples
from tests.render import statistics_samples as given
from tests.render.test_pages import outline

NAMES = ("good", "sure", "spread", "measurement", "dies")


def values(n: int = 40, **changes: Any) -> pd.DataFrame:
    """Values about −2.6 V on two wafers."""
    return pd.DataFrame(
        {
            "wafer": ["W1", "W2"] * (n // 2),
            "die_x": np.arange(n) // 2 % 5,
            "die_y": np.arange(n) // 10,
            "condition": "room",
            "value": np.linspace(-2.68, -2.52, n),
            "counts": True,
            "standing": "stands",
            "below_floor": False,
            "not_reached": False,
            **changes,
        }
    )


def with_axis(results: CampaignResults) -> CampaignResults:
    ranges = {"VTH/room": snapped_range(-2.7, -2.5)}
    return replace(results, context=replace(results.context, ranges=ranges))


def drawn(results: CampaignResults, table: pd.DataFrame) -> dict[str, Drawing]:
    declared = results.context.record.parameters[0]
    return dict(answer_drawings(declared, table, with_axis(results)))


def test_each_answer_has_its_drawing_beside_the_page() -> None:
    results = given.results()
    found = drawn(results, values())
    assert list(found) == [f"answer-{name}-room" for name in NAMES]
    for drawing in found.values():
        assert drawing.address.startswith("parameters/VTH/answer-")
        assert drawing.title and drawing.description
    page = render.parameter_page(results.context.record.parameters[0], results, found)
    assert page.html.count('class="drawn"') == len(NAMES)
    targets = outline(page).targets
    assert targets.count("../../wafers/W1/x3_y-2.html") >= 3, "in text, map and table"


def test_without_statistics_only_what_the_results_know_is_drawn() -> None:
    found = drawn(given.results(statistics=None), values())
    assert list(found) == ["answer-good-room", "answer-sure-room", "answer-dies-room"]


@pytest.mark.parametrize(
    "changes",
    [{"n": 0}, {"standing": "without standing"}, {"below_floor": True}, {"value": np.nan}],
    ids=str,
)
def test_without_a_number_there_is_no_histogram(changes: dict[str, Any]) -> None:
    assert "answer-good-room" not in drawn(given.results(), values(**changes))


def test_nothing_measured_draws_nothing() -> None:
    nobody = given.results(
        parameters=(),
        statistics=CampaignStatistics((given.nothing("VTH", "room"),), given.NO_YIELDS, ()),
        concerned=(),
    )
    assert drawn(nobody, values(0)) == {}


def dashed(drawing: Drawing) -> list[float]:
    """Where the acceptance limits are drawn."""
    return [
        float(one.attrib["d"][1:].split(",")[0])
        for one in fromstring(drawing.svg).iter("{http://www.w3.org/2000/svg}path")
        if one.get("stroke-dasharray") == "2 1.5"
    ]


@pytest.mark.parametrize(
    ("rule", "moves"),
    [("guarded", [1, -1]), ("non-binary", [1, -1]), ("guarded rejection", [-1, 1]), ("simple", [])],
)
def test_acceptance_limits_lie_where_the_rule_puts_them(rule: Any, moves: list[int]) -> None:
    results = given.results()
    record = results.context.record.model_copy(
        update={"decision": Decision(rule=rule, guard_factor=3.0)}
    )
    found = drawn(replace(results, context=replace(results.context, record=record)), values())
    places = dashed(found["answer-sure-room"])
    limits = [50.0, 250.0]
    assert [np.sign(place - limit) for place, limit in zip(places, limits, strict=False)] == moves


def test_several_wafers_are_named_and_the_rest_is_counted() -> None:
    listed = tuple(
        given.value("outside", (x, 0), wafer=f"W{wafer}") for wafer in range(1, 6) for x in range(2)
    )
    results = given.results(
        concerned=(given.concerned(counts={"outside": 10}, dies=10, listed=listed, reasons={}),)
    )
    wafers = tuple(f"W{wafer}" for wafer in range(1, 6))
    results = replace(results, context=replace(results.context, wafers=wafers))
    found = drawn(results, values())["answer-dies-room"]
    assert "2 more wafers with such dies." in found.description
    assert addresses.die_stem(0, 0) in found.svg


def test_the_same_results_give_the_same_drawings() -> None:
    assert drawn(given.results(), values()) == drawn(given.results(), values())


def test_a_campaign_without_a_layout_has_no_map() -> None:
    results = given.results()
    bare = samples.context(results.context.record.model_copy(update={"layout": None}))
    assert "answer-dies-room" not in drawn(replace(results, context=bare), values())
