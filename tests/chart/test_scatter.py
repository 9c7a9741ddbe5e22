"""What a drawing of two parameters shows, and says of what it does not show."""

from collections.abc import Mapping

import numpy as np

from sitegen.chart.axis import snapped_range
from sitegen.chart.scatter import Along, scatter
from sitegen.model.arrays import FloatArray
from sitegen.model.results import Drawing
from tests.chart.samples import parsed

Dies = Mapping[str, tuple[FloatArray, FloatArray]]
DIES: Dies = {
    "W1": (np.array([0.40, 0.41, np.nan, 0.42]), np.array([1e-3, 2e-3, 2e-3, np.inf])),
    "W2": (np.array([0.41, 0.5, 0.41]), np.array([2e-3, 2e-3, 9e-3])),
}


def drawn(dies: Dies = DIES, lower: float | None = 0.39, upper: float | None = 2.5e-3) -> Drawing:
    return scatter(
        address="pairs/vt-id.svg",
        title="t",
        description="d",
        dies_by_wafer=dies,
        x=Along("threshold voltage", "V", snapped_range(0.38, 0.43), lower, 0.6),
        y=Along("current", "A", snapped_range(1e-3, 3e-3), None, upper),
    )


def texts(drawing: Drawing) -> list[str]:
    return ["".join(part.itertext()) for part in parsed(drawing).iter("text")]


def clouds(drawing: Drawing) -> list[str]:
    """Paths with a mark for each die: more than one closed or stroked outline, or one in a key."""
    return [
        str(part.get("d"))
        for part in parsed(drawing).iter("path")
        if "m" in str(part.get("d", "")) and str(part.get("d")).startswith("M")
    ]


def test_one_mark_a_die_inside_the_axes_and_one_in_the_legend() -> None:
    marks = clouds(drawn())
    assert [path.count("M") for path in marks] == [2, 1, 1, 1]
    shapes = [path.partition("m")[2].partition("M")[0] for path in marks]
    assert shapes[0] == shapes[2] and shapes[1] == shapes[3] and shapes[0] != shapes[1]


def test_words_of_limits_axes_wafers_and_what_is_not_shown() -> None:
    told = texts(drawn())
    assert "threshold voltage / mV" in told and "current / mA" in told
    assert "lower limit 390\u202fmV" in told and "upper limit 600\u202fmV →" in told
    assert "upper limit 2.5\u202fmA" in told
    assert "W1, 2 dies" in told and "W2, 3 dies" in told
    assert "2 dies lie beyond the axes" in told


def test_nothing_to_show() -> None:
    for dies in ({}, {"W1": (np.array([]), np.array([]))}):
        drawing = drawn(dies, None, None)
        assert "no die has both values" in texts(drawing)
        assert not [path for path in clouds(drawing) if path.count("M") > 1]


def test_looks_of_many_wafers_differ() -> None:
    """Shape, colour, filling and pen together, of 36 wafers."""
    many = {f"W{n}": (np.array([0.4]), np.array([2e-3])) for n in range(36)}
    looks = set()
    for part in parsed(drawn(many)).iter("path"):
        data = str(part.get("d", ""))
        if "m" in data and data.startswith("M"):
            looks.add((part.get("class"), part.get("stroke-width"), data.partition("m")[2]))
    assert len(looks) == 36


def test_equal_values_and_many_dies() -> None:
    level = {"W1": (np.full(2000, 0.41), np.full(2000, 2e-3))}
    drawing = drawn(level)
    assert "W1, 2\u202f000 dies" in texts(drawing)
    assert len(drawing.svg) < 100_000, "one path a wafer keeps it small"
