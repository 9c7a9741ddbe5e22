"""The drawing of each declared pair shows the dies that have both values, each once."""

from typing import Any
from xml.etree.ElementTree import fromstring

import pandas as pd

from sitegen.chart.axis import snapped_range
from sitegen.model.declared_statistics import Pair
from sitegen.model.results import CampaignContext, Drawing
from sitegen.pair_drawings import of_parameter, pair_drawings
from sitegen.render.statistics_relations import drawing_name
from tests.render import samples

PAIR = Pair(x="VTH", x_condition="room", y="H21", y_condition="room")
NAME = drawing_name(PAIR)


def context() -> CampaignContext:
    record = samples.campaign_record(pairs=(PAIR,))
    ranges = {"VTH/room": snapped_range(-2.7, -2.5), "H21/room": snapped_range(15.0, 20.0)}
    return samples.context(record, ranges=ranges)


def row(parameter: str, value: float, die_x: int = 0, **changes: Any) -> dict[str, Any]:
    fields: dict[str, Any] = {
        "wafer": "W1",
        "die_x": die_x,
        "die_y": 0,
        "site": "",
        "parameter": parameter,
        "condition": "room",
        "value": value,
        "counts": True,
        "standing": "stands",
        "below_floor": False,
        "not_reached": False,
    }
    return {**fields, **changes}


def drawn(*rows: dict[str, Any]) -> Drawing:
    columns = list(row("VTH", 0.0))
    return pair_drawings(pd.DataFrame(rows, columns=columns), context())[NAME]


def texts(drawing: Drawing) -> list[str]:
    return [
        "".join(part.itertext()) for part in fromstring(drawing.svg).iter() if "text" in part.tag
    ]


def test_dies_with_both_values_are_marked_by_wafer() -> None:
    drawing = drawn(
        row("VTH", -2.6),
        row("H21", 18.0),
        row("VTH", -2.61, 1),
        row("H21", 17.0, 2),
        row("VTH", -2.62, 3, wafer="W2"),
        row("H21", 17.5, 3, wafer="W2"),
        row("H21", 17.5, 1, wafer="W2"),
    )
    assert "W1, 1 die" in texts(drawing) and "W2, 1 die" in texts(drawing)
    assert drawing.description.startswith("2 dies with both values and standing")
    assert drawing.title == "Current gain at room against threshold voltage at room"
    assert drawing.address == "parameters/VTH/pair~room~H21~room.svg"


def test_only_numbers_with_standing_that_count_at_the_same_site_are_drawn() -> None:
    """What does not correlate is not drawn either."""
    for changes in (
        {"standing": "without standing"},
        {"counts": False},
        {"below_floor": True},
        {"not_reached": True},
        {"value": float("nan")},
        {"site": "b"},
        {"condition": "hot"},
        {"wafer": "W2"},
    ):
        drawing = drawn(row("VTH", -2.6), row("H21", 18.0) | changes)
        assert "no die has both values" in texts(drawing), changes
    assert "W1, 1 die" in texts(drawn(row("VTH", -2.6), row("H21", 18.0, standing="not closed")))


def test_nothing_measured_still_has_its_drawing() -> None:
    assert "no die has both values" in texts(drawn())


def test_each_page_gets_its_drawing_and_one_of_them_the_file() -> None:
    found = {NAME: drawn(row("VTH", -2.6), row("H21", 18.0))}
    mine, other = (of_parameter(name, found, context()) for name in ("VTH", "H21"))
    assert mine[NAME].svg and not other[NAME].svg
    assert mine[NAME].address == other[NAME].address
    assert of_parameter("BV", found, context()) == {}
