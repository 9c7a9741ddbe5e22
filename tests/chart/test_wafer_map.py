"""Geometry, names and legend of wafer maps."""

import math
import re

import numpy as np
import pytest

from sitegen.chart import wafer_map
from sitegen.chart.map_key import MapDie
from sitegen.chart.wafer_map import LINKED_SIZE
from sitegen.model.campaign import Layout
from sitegen.model.geometry import die_centers_mm
from tests.chart import samples
from tests.chart.samples import DIES, LAYOUT, map_of, parsed

RADIUS = LINKED_SIZE / 2 - 32
"""Of the wafer, in pixels of a linked map."""


def changed(**changes: object) -> Layout:
    return LAYOUT.model_copy(update=changes)


def rectangles(layout: Layout = LAYOUT) -> dict[str, tuple[float, float, float, float]]:
    """Centre and size in millimetres of each die of a linked map, by its link."""
    scale = layout.diameter_mm / 2 / RADIUS
    found = {}
    for link in parsed(map_of("linked", layout=layout)).iter("a"):
        box = link.find("rect")
        assert box is not None
        x, y, width, height = (float(box.attrib[n]) for n in ("x", "y", "width", "height"))
        found[link.attrib["href"]] = (
            (x + width / 2 - LINKED_SIZE / 2) * scale,
            (LINKED_SIZE / 2 - y - height / 2) * scale,
            width * scale,
            height * scale,
        )
    return found


def test_dies_lie_at_their_true_place() -> None:
    """Die (3, −2): 1 + 3·10 mm right of the centre and −2 − 2·8 mm above it."""
    x, y, width, height = rectangles()["x3_y-2.html"]
    assert (x, y) == pytest.approx((31.0, -18.0), abs=0.01)
    assert (width, height) == pytest.approx((9.4, 7.52), abs=0.01)


@pytest.mark.parametrize(
    ("x_increases", "y_increases", "expected"),
    [
        ("right", "up", (31.0, -18.0)),
        ("left", "up", (-29.0, -18.0)),
        ("right", "down", (31.0, 14.0)),
    ],
)
def test_senses_of_the_axes(
    x_increases: str, y_increases: str, expected: tuple[float, float]
) -> None:
    layout = changed(x_increases=x_increases, y_increases=y_increases)
    assert tuple(map(float, die_centers_mm(layout, 3, -2))) == expected
    assert rectangles(layout)["x3_y-2.html"][:2] == pytest.approx(expected, abs=0.01)


def edge_points(layout: Layout) -> np.ndarray:
    """Corners of the wafer's edge in pixels from its centre, y up."""
    edge = next(
        part
        for part in parsed(map_of("linked", layout=layout)).iter("path")
        if "A" in part.get("d", "")
    )
    corners = re.match(r"M([^A]*)A", edge.attrib["d"])
    assert corners is not None
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", corners[1])]
    return np.array(numbers).reshape(-1, 2) * (1, -1) + (-LINKED_SIZE / 2, LINKED_SIZE / 2)


@pytest.mark.parametrize("angle", [270.0, 0.0, 90.0, 180.0, 45.0])
def test_notch_points_in_at_its_angle(angle: float) -> None:
    points = edge_points(changed(orientation_mark_angle_deg=angle))
    assert len(points) == 3
    tip = points[1]
    assert math.degrees(math.atan2(tip[1], tip[0])) % 360 == pytest.approx(angle % 360, abs=0.1)
    assert math.hypot(*tip) < RADIUS - 5
    assert np.hypot(*points[::2].T) == pytest.approx(RADIUS, abs=0.02)


def test_flat_is_a_chord_at_its_angle() -> None:
    points = edge_points(changed(orientation_mark="flat", orientation_mark_angle_deg=180.0))
    assert len(points) == 2
    assert points[:, 0] == pytest.approx(points[0, 0])
    assert points[:, 0].mean() < 0 and points[:, 1].sum() == pytest.approx(0, abs=0.02)


def test_edge_exclusion_is_a_dashed_circle() -> None:
    (circle,) = parsed(map_of("linked")).iter("circle")
    assert float(circle.attrib["r"]) == pytest.approx(RADIUS * 47 / 50, abs=0.01)
    assert circle.get("stroke-dasharray")
    assert not list(parsed(map_of("linked", layout=changed(edge_exclusion_mm=0.0))).iter("circle"))


def names() -> dict[str, str]:
    return {
        link.attrib["href"]: link.findtext("title", "")
        for link in parsed(map_of("linked")).iter("a")
    }


def test_each_die_is_a_link_with_its_name() -> None:
    found = names()
    assert len(found) == len(DIES)
    assert found["x3_y-2.html"] == "die (3, −2): 425.1\u202fmV, outside"
    assert found["x1_y1.html"] == "die (1, 1): not measured"
    assert found["x2_y0.html"].startswith(
        "die (2, 0): 411.1\u202fmV, within, without standing, a<b"
    )
    assert found["x-2_y0.html"].endswith("within, not closed")


def test_links_follow_the_rows_as_read() -> None:
    assert list(names())[:2] == ["x-1_y2.html", "x1_y1.html"]
    assert list(names())[-1] == "x0_y-3.html"


def legend(edges: tuple[float, ...]) -> dict[str, str]:
    shown = samples.texts(map_of("linked", edges))
    start = next(n for n, text in enumerate(shown) if text.startswith("a<b"))
    return dict(zip(shown[start + 1 :: 2], shown[start + 2 :: 2], strict=True))


def test_legend_counts_every_die() -> None:
    found = legend(samples.EDGES)
    classes = {text: int(n) for text, n in found.items() if " to " in text}
    assert classes == {
        "400 to 405": 1,
        "405 to 410": 0,
        "410 to 415": 5,
        "415 to 420": 0,
        "420 to 425": 0,
        "425 to 430": 1,
    }
    rest = {text: int(n) for text, n in found.items() if " to " not in text}
    assert rest == {
        "within": 3,
        "not proven": 1,
        "not refuted": 1,
        "outside": 1,
        "not assessable": 1,
        "not measured": 1,
        "without standing": 1,
        "not closed": 1,
    }


def test_values_beyond_the_classes_are_said() -> None:
    found = legend((0.405, 0.41, 0.42))
    assert found["below 410"] == "1"
    assert found["410 and above"] == "6"


def test_verdicts_differ_without_colour() -> None:
    """Each verdict of a die has its own shape, not measured is dashed, no standing is hatched."""
    shapes = {}
    for link in parsed(map_of("linked", ())).iter("a"):
        box = link.find("rect")
        assert box is not None
        paths = [path.attrib["d"] for path in link.iter("path")]
        marks = tuple((re.sub(r"[\d.,\s-]", "", data), data.count(",")) for data in paths)
        hatched = sum("url(" in r.get("fill", "") for r in link.iter("rect"))
        shapes[link.attrib["href"]] = (marks, hatched, box.get("stroke-dasharray", ""))
    assert len(set(shapes.values())) == len(DIES)


def test_small_map_has_only_the_wafer() -> None:
    drawing = map_of("small")
    root = parsed(drawing)
    assert drawing.width == drawing.height
    assert not list(root.iter("a")) and not list(root.iter("text"))
    assert len(drawing.svg) < len(map_of("linked").svg)


def test_a_full_wafer_is_small_enough_to_stand_in_a_page() -> None:
    dies = [MapDie(x, y, 0.41, "within") for x in range(-8, 8) for y in range(-8, 8)]
    drawing = wafer_map.wafer_map(
        address="m.svg",
        title="t",
        description="d",
        layout=changed(die_pitch_x_mm=4.0, die_pitch_y_mm=4.0),
        dies=dies,
        form="linked",
        unit="V",
        edges=samples.EDGES,
    )
    assert len(drawing.svg) < 70_000
