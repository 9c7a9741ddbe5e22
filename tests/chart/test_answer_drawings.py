"""The small drawings beside the answers of a parameter's page: to scale, and right at the edges."""

import re
from xml.etree.ElementTree import Element

import numpy as np
import pytest

from sitegen.chart.axis import snapped_range
from sitegen.chart.concerned_map import (
    GAP,
    MOST_MAPS,
    SIZE,
    MarkedDie,
    MarkedWafer,
    concerned_map,
)
from sitegen.chart.spread_shares import spread_shares
from sitegen.chart.tolerance_view import WIDTH, Bounds, tolerance_view, uncertainty_view
from sitegen.model.results import Drawing
from tests.chart.samples import LAYOUT, parsed

AXIS = snapped_range(0.0, 10.0)


def view(values: list[float], bounds: Bounds, interval: tuple[float, float] | None) -> Element:
    return parsed(
        tolerance_view(
            address="parameters/P/answer.svg",
            title="t",
            description="d",
            values=np.array(values, dtype=np.float64),
            unit="V",
            bounds=bounds,
            interval=interval,
            axis=AXIS,
        )
    )


def fills(root: Element, part: str) -> list[Element]:
    return [one for one in root.iter() if f"fill-{part}" in one.get("class", "").split()]


def lines(root: Element) -> list[tuple[float, ...]]:
    """Ends of the straight lines in ink: x1, y1, x2, y2."""
    return [
        tuple(float(number) for number in re.findall(r"-?[\d.]+", one.attrib["d"]))
        for one in root.iter("path")
        if one.get("class") == "line-ink"
    ]


def labels(root: Element) -> list[str]:
    return [(one.text or "").replace("\u202f", " ") for one in root.iter("text")]


def test_limits_interval_and_bars_are_to_scale() -> None:
    """The axis from 0 to 10 is 300 wide: 2 lies at 60, 8 at 240."""
    root = view([5.0, 5.0, 2.5], Bounds(2.0, 8.0, 3.0, 7.0), (2.5, 7.5))
    upright = sorted({one[0] for one in lines(root) if one[0] == one[2]})
    assert upright == [60.0, 75.0, 225.0, 240.0]
    level = [one for one in lines(root) if one[1] == one[3]]
    assert [(one[0], one[2]) for one in level] == [(75.0, 225.0)]
    guards = [(float(one.attrib["x"]), float(one.attrib["width"])) for one in fills(root, "band")]
    assert guards == [(60.0, 30.0), (210.0, 30.0)]
    assert labels(root) == ["2 V", "8 V"]


def test_bars_beyond_a_limit_are_painted_apart_and_count_the_same() -> None:
    root = view([5.0, 5.0, 9.0], Bounds(None, 8.0), None)
    heights = {}
    for part in ("accent", "alarm"):
        (path,) = fills(root, part)
        low, high = (
            float(one) for one in re.findall(r"M[\d.]+,([\d.]+)V([\d.]+)", path.attrib["d"])[0]
        )
        heights[part] = low - high
    assert heights["accent"] == pytest.approx(2 * heights["alarm"], abs=0.02)


def test_what_lies_beyond_the_axis_is_an_arrow_and_not_a_bar() -> None:
    inside = view([5.0], Bounds(None, None), None)
    assert not fills(inside, "alarm")
    beyond = view([5.0, -4.0, 40.0], Bounds(None, None), None)
    assert len(fills(beyond, "alarm")) == 2
    assert labels(beyond) == ["0 V", "10 V"]


def test_a_limit_at_the_end_of_the_axis_leaves_room_beyond_it() -> None:
    root = view([5.0, 10.4], Bounds(0.0, 10.0), None)
    upright = sorted({one[0] for one in lines(root) if one[0] == one[2]})
    assert 10 < upright[0] < upright[-1] < WIDTH - 10
    assert len(fills(root, "alarm")) == 1


@pytest.mark.parametrize("values", [[], [np.nan], [5.0] * 4])
def test_no_value_one_place_and_missing_ones(values: list[float]) -> None:
    assert labels(view(values, Bounds(2.0, None), None)) == ["2 V"]


def test_labels_that_would_touch_are_moved_apart() -> None:
    root = view([5.0], Bounds(5.0, 5.2), None)
    left, right = (float(one.attrib["x"]) for one in root.iter("text"))
    assert right - left > 30


def sure(bounds: Bounds, spread: tuple[float, float] | None = None) -> Drawing | None:
    return uncertainty_view(
        address="parameters/P/answer.svg",
        title="t",
        description="d",
        median=5.0,
        expanded=0.5,
        unit="V",
        bounds=bounds,
        spread=spread,
    )


def test_an_uncertainty_is_to_scale_between_the_limits() -> None:
    """Limits 2 and 8 with a quarter of their distance beyond each: 9 V are 300 pixels."""
    drawn = sure(Bounds(2.0, 8.0))
    assert drawn is not None
    level = [one for one in lines(parsed(drawn)) if one[1] == one[3]]
    assert [one[2] - one[0] for one in level] == [pytest.approx(300 / 9, abs=0.02)]
    (box,) = fills(parsed(drawn), "accent-soft")
    assert float(box.attrib["width"]) == pytest.approx(200.0)


def test_an_uncertainty_without_limits_is_shown_in_the_spread_or_not_at_all() -> None:
    assert sure(Bounds(None, None)) is None
    assert sure(Bounds(None, None), (5.0, 5.0)) is None
    drawn = sure(Bounds(None, None), (4.0, 7.0))
    assert drawn is not None and labels(parsed(drawn)) == ["4 V", "7 V"]
    one = sure(Bounds(2.0, None))
    assert one is not None and labels(parsed(one)) == ["2 V"]


def bar(shares: list[tuple[str, float]]) -> Element:
    return parsed(
        spread_shares(address="parameters/P/answer.svg", title="t", description="d", shares=shares)
    )


def test_shares_are_to_scale_and_named() -> None:
    root = bar([("wafers", 0.25), ("dies", 0.75)])
    widths = [float(one.attrib["width"]) for one in root.iter("rect")]
    assert widths[:2] == [74.0, 224.0]
    assert labels(root) == ["wafers 25.0 %", "dies 75.0 %"]


def test_a_tiny_share_is_a_line_and_never_nothing_or_all() -> None:
    root = bar([("measurement", 1e-9), ("dies", 1 - 1e-9)])
    widths = [float(one.attrib["width"]) for one in root.iter("rect")]
    assert widths[0] == 1.0
    assert labels(root) == ["measurement 0.1 %", "dies 99.9 %"]
    none = bar([("wafers", 0.0), ("dies", 1.0)])
    assert labels(none) == ["wafers 0 %", "dies 100 %"]
    assert len([one for one in none.iter("rect") if one.get("height") == "14"]) == 1
    assert labels(bar([("wafers", 0.0)])) == ["wafers 0 %"]


def marked(kind: str = "outside", die: tuple[int, int] = (0, 0)) -> MarkedDie:
    return MarkedDie(die, kind, f"die {die}: {kind}", "../../wafers/W1/x0_y0.html")


def test_marked_dies_are_links_with_names_at_their_places() -> None:
    drawn = concerned_map(
        address="parameters/P/answer.svg",
        title="t",
        description="d",
        layout=LAYOUT,
        wafers=[
            MarkedWafer(f"W{place}", [(0, 0)], [marked()]) for place in range(1, MOST_MAPS + 2)
        ],
    )
    root = parsed(drawn)
    links = list(root.iter("a"))
    assert len(links) == MOST_MAPS
    assert drawn.width == MOST_MAPS * (SIZE + GAP) - GAP
    assert [one.findtext("title") for one in links] == ["die (0, 0): outside"] * MOST_MAPS
    centres = []
    for link in links:
        circle = link.find("circle")
        assert circle is not None
        centres.append(float(circle.attrib["cx"]))
    assert np.diff(centres).tolist() == pytest.approx([SIZE + GAP] * (MOST_MAPS - 1))


def test_each_reason_has_a_shape_of_its_own() -> None:
    shapes = set()
    for kind in ("outside", "not refuted", "not proven", "without standing", "stands out"):
        drawn = concerned_map(
            address="parameters/P/answer.svg",
            title="t",
            description="d",
            layout=LAYOUT,
            wafers=[MarkedWafer("W1", [(0, 0)], [marked(kind)])],
        )
        link = next(parsed(drawn).iter("a"))
        path = link.find("path")
        assert path is not None
        letters = re.sub(r"[-\d.,\s]", "", path.attrib["d"])
        shapes.add((letters, len(re.findall(r"[\d.]+", path.attrib["d"]))))
    assert len(shapes) == 5
