"""Control charts: where points, limits, signals and exchanges stand, and what is said of them."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from sitegen.chart import control
from sitegen.chart.control import PADDING, PLOT_HEIGHT, PLOT_WIDTH, control_chart
from sitegen.chart.time_axis import time_axis
from sitegen.model.campaign import Exchange
from sitegen.model.followed_results import ControlLimits, Metric, Point, Segment
from sitegen.model.results import Drawing
from tests.chart.samples import exchange, hours, metric, parsed, texts

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def drawn(of: Metric | None = None, *exchanges: Exchange) -> Drawing:
    return control_chart(
        address="s.svg", title="t", description="d", metric=of or metric(), exchanges=exchanges
    )


def plain(**changes: object) -> Metric:
    return metric(name="contact resistance", **changes)


def heights(drawing: Drawing) -> Mapping[str, float]:
    """Height of each text."""
    return {
        part.text or "": float(part.attrib["y"])
        for part in parsed(drawing).iter("text")
        if "y" in part.attrib
    }


def centres(drawing: Drawing, closed: str) -> list[tuple[float, float]]:
    """Middles of one shape's marks; `closed` is a drawing command that only its path has."""
    for part in parsed(drawing).iter("path"):
        if part.get("class") == "line-alarm" and closed in part.attrib["d"]:
            shapes = [shape for shape in part.attrib["d"].split("z") if shape]
            return [_middle(shape, closed) for shape in shapes]
    return []


def _middle(shape: str, closed: str) -> tuple[float, float]:
    x, y = (float(n) for n in NUMBER.findall(shape)[:2])
    return (x + 6.0, y) if closed in ("a", "L") else (x + 6.0, y + 6.0)


def test_points_stand_in_proportion_to_time_and_value() -> None:
    """The axis is 0 to 0.11 Ω in mΩ: bound and headroom; one point a day."""
    drawing = drawn(plain())
    assert "contact resistance / mΩ" in texts(drawing)
    marks = [
        tuple(float(n) for n in NUMBER.findall(part.attrib["transform"])[:2])
        for part in parsed(drawing).iter("path")
        if part.get("class") == "fill-ink" and "transform" in part.attrib
    ]
    assert len(marks) == 6
    steps = [after[0] - before[0] for before, after in pairwise(marks)]
    assert steps == pytest.approx([steps[0]] * 5, abs=0.05)
    per_ohm = (marks[0][1] - marks[1][1]) / 0.01
    assert marks[2][1] - marks[0][1] == pytest.approx(0.01 * per_ohm, abs=0.05)
    assert marks[0][1] - marks[4][1] == pytest.approx(0.045 * per_ohm, abs=0.05)


def test_lines_have_their_names_and_values() -> None:
    said = texts(drawn(plain()))
    assert {
        "centre 50.0\u202fmΩ",
        "control limit 80.0\u202fmΩ",
        "control limit 20.0\u202fmΩ",
        "upper bound 100\u202fmΩ",
        "EWMA 58.2\u202fmΩ",
    } <= set(said)


def test_names_beside_the_plot_keep_apart() -> None:
    close = ControlLimits(0.05, 0.0499, 0.0501, 0.00003, 3, True)
    found = heights(drawn(plain(limits=close, bound_upper=0.0502)))
    beside = sorted(y for text, y in found.items() if text.split()[0] in ("centre", "control"))
    assert len(beside) == 3
    assert all(after - before >= 12.9 for before, after in pairwise(beside))


def test_signals_have_the_shape_and_the_name_of_their_rule() -> None:
    """A ring around the fifth point; diamonds on the average at the fifth and sixth, named once."""
    drawing = drawn(plain())
    assert texts(drawing).count("beyond a limit") == 1
    assert texts(drawing).count("EWMA") == 1
    (ring,) = centres(drawing, "a")
    diamonds = centres(drawing, "L")
    assert len(diamonds) == 2
    assert ring[0] == pytest.approx(diamonds[0][0], abs=0.05)
    assert ring[1] < diamonds[0][1], "the point lies above its average"


def test_nine_on_one_side_is_a_square() -> None:
    points = tuple(
        Point(hours(24.0 * day), 0.055, None, "C", ("nine on one side",) if day == 8 else ())
        for day in range(9)
    )
    limits = ControlLimits(0.05, 0.02, 0.08, 0.01, 9, True)
    many = plain(
        points=points,
        ewma=(0.05,) * 9,
        ewma_lower=(0.04,) * 9,
        ewma_upper=(0.06,) * 9,
        ewma_signals=(),
        segments=(Segment(0, 8, "", limits),),
    )
    assert "nine on one side" in texts(drawn(many))
    assert len(centres(drawn(many), "H")) == 1


def test_an_exchange_is_a_named_line_between_its_points() -> None:
    drawing = drawn(plain(), exchange(60.0))
    assert any(text.startswith("▾ a<b>&") for text in texts(drawing))
    assert texts(drawing).count("limits provisional: 3 points") == 2
    dashed = [
        part for part in parsed(drawing).iter("path") if part.get("stroke-dasharray") == "2 3"
    ]
    assert len(dashed) == 1
    x = float(NUMBER.findall(dashed[0].attrib["d"])[0])
    (ring,) = centres(drawn(plain()), "a")
    assert PADDING.left < x < ring[0]


def test_an_exchange_before_the_first_point_is_not_drawn() -> None:
    assert drawn(plain(), exchange(-30.0)) == drawn(plain())


def test_a_bound_far_away_is_pointed_at() -> None:
    said = texts(drawn(plain(bound_lower=-5.0, bound_upper=9.0)))
    assert {"upper bound 9000\u202fmΩ ↑", "lower bound −5000\u202fmΩ ↓"} <= set(said)
    assert "hatch" not in drawn(plain(bound_upper=9.0)).svg


def test_the_region_beyond_a_bound_is_hatched() -> None:
    (hatched,) = [
        part for part in parsed(drawn(plain())).iter("path") if "hatch" in part.get("fill", "")
    ]
    *_, width, height = (float(n) for n in NUMBER.findall(hatched.attrib["d"])[:4])
    assert width == pytest.approx(PLOT_WIDTH, abs=0.5)
    assert 0 < abs(height) < PLOT_HEIGHT / 4


def test_without_limits_the_points_stand_alone() -> None:
    alone = plain(
        points=(Point(hours(0), 0.05, None, "C", ()),),
        limits=None,
        ewma=(float("nan"),),
        ewma_lower=(float("nan"),),
        ewma_upper=(float("nan"),),
        ewma_signals=(),
        bound_upper=None,
        segments=(Segment(0, 0, "", None),),
    )
    said = " ".join(texts(drawn(alone)))
    assert "limit" not in said and "EWMA" not in said


def test_small_plain_numbers_are_counted_in_powers_of_a_thousand() -> None:
    small = plain(
        unit="1",
        points=tuple(
            Point(hours(24.0 * day), 3e-5 + day * 1e-6, None, "C", ()) for day in range(6)
        ),
        limits=None,
        ewma=(float("nan"),) * 6,
        ewma_signals=(),
        bound_upper=None,
        segments=(Segment(0, 5, "", None),),
        ewma_lower=(float("nan"),) * 6,
    )
    assert "contact resistance / 10⁻⁶" in texts(drawn(small))


def test_the_specification_is_compiled_once() -> None:
    control._specification.cache_clear()
    drawn(plain())
    drawn(plain(), exchange(60.0))
    assert control._specification.cache_info().misses == 1


@pytest.mark.parametrize(
    ("length", "first", "labels"),
    [
        (timedelta(hours=5), datetime(2026, 3, 2, 7, 30, tzinfo=UTC), {"03-02 08:00", "10:00"}),
        (timedelta(days=4), datetime(2026, 3, 2, 7, tzinfo=UTC), {"2026-03-03", "2026-03-06"}),
        (timedelta(days=40), datetime(2026, 3, 2, 7, tzinfo=UTC), {"2026-03-15", "2026-03-29"}),
        (timedelta(days=300), datetime(2025, 11, 2, tzinfo=UTC), {"2026-01-01", "2026-07-01"}),
        (timedelta(days=9000), datetime(2001, 1, 2, tzinfo=UTC), {"2005-01-01", "2020-01-01"}),
    ],
)
def test_ticks_are_whole_hours_days_or_months(
    length: timedelta, first: datetime, labels: set[str]
) -> None:
    axis, ticks = time_axis([first, first + length], 436.0)
    said = [label for _, label in ticks]
    assert labels <= set(said), said
    assert 2 <= len(ticks) <= 5
    for day, label in ticks:
        assert 0 <= day <= axis.axis.upper
        if len(label) == 10:
            moment = axis.start + timedelta(days=day)
            assert (moment + timedelta(seconds=1)).strftime("%Y-%m-%d") == label
