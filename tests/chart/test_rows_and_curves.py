"""Distributions and comparisons of wafers: what they show, and where."""

import re

import numpy as np
import pytest

from sitegen.chart import by_wafer, distribution, value_rows
from sitegen.chart.axis import snapped_range, value_axis
from sitegen.model.arrays import FloatArray
from sitegen.model.results import Drawing
from tests.chart.samples import parsed, texts


def drawn(kind: str, values: FloatArray, **changes: object) -> Drawing:
    given: dict[str, object] = {
        "address": "p.svg",
        "title": "t",
        "description": "d",
        "values_by_wafer": {"W1": values},
        "unit": "V",
        "name": "threshold voltage",
        "lower": 0.39,
        "upper": 0.43,
        "target": None,
        "axis": snapped_range(0.38, 0.44),
    }
    function = {"distribution": distribution.distribution, "by wafer": by_wafer.by_wafer}[kind]
    return function(**{**given, **changes})  # type: ignore[arg-type]


def bars(drawing: Drawing) -> list[tuple[float, float, float, float]]:
    """Left, right, top and bottom of each bar, in pixels of the plot."""
    found = []
    for part in parsed(drawing).iter("path"):
        if "fill-accent" in part.get("class", ""):
            x, y, width, height = (float(n) for n in re.findall(r"-?[\d.]+", part.attrib["d"])[:4])
            found.append((x, x + width, y, y + height))
    return found


def test_bars_have_the_heights_of_their_counts() -> None:
    """Three values in one bin and one in another: bars 3 to 1, each on its value's place."""
    found = bars(drawn("distribution", np.array([0.4101, 0.4102, 0.4103, 0.4301])))
    assert len(found) == 2
    (low, high) = sorted(found)
    assert (low[3] - low[2]) == pytest.approx(3 * (high[3] - high[2]), abs=0.05)
    width = value_rows.PLOT_WIDTH
    for (left, right, _, _), value in ((low, 0.4102), (high, 0.4301)):
        assert left <= width * (value - 0.38) / 0.06 <= right


def test_every_tick_is_an_edge_of_a_bin() -> None:
    axis = value_axis(snapped_range(0.38, 0.44), 1000.0, "")
    edges = distribution.bin_edges(axis)
    for tick in axis.ticks:
        assert np.min(np.abs(np.array(edges) - tick)) < 1e-9


@pytest.mark.parametrize("kind", ["distribution", "by wafer"])
class TestRows:
    def test_limits_are_words_with_units(self, kind: str) -> None:
        shown = texts(drawn(kind, np.linspace(0.4, 0.42, 30)))
        assert {"lower limit 390\u202fmV", "upper limit 430\u202fmV"} <= set(shown)
        assert "threshold voltage / mV" in shown

    def test_limits_outside_the_axis_are_pointed_at(self, kind: str) -> None:
        shown = texts(drawn(kind, np.linspace(0.4, 0.42, 30), lower=0.1, upper=0.9))
        assert {"← lower limit 100\u202fmV", "upper limit 900\u202fmV →"} <= set(shown)

    def test_values_outside_the_axis_are_counted(self, kind: str) -> None:
        shown = texts(drawn(kind, np.array([0.1, 0.2, 0.41, np.nan, 0.9])))
        assert {"← 2 below", "1 above →", "4 values"} <= set(shown)

    def test_words_beside_a_row_keep_apart(self, kind: str) -> None:
        values = np.array([0.1, 0.9, *np.linspace(0.4, 0.42, 20), *np.full(9, 0.41)])
        places = [
            float(part.attrib["y"])
            for part in parsed(drawn(kind, values)).iter("text")
            if float(part.get("x", "0")) > value_rows.WIDTH - value_rows.RIGHT
        ]
        assert len(places) == (3 if kind == "distribution" else 2)
        assert np.diff(sorted(places)).min() >= 11.9

    def test_no_values_are_said(self, kind: str) -> None:
        assert "no values" in texts(drawn(kind, np.array([])))
        assert "no values" in texts(drawn(kind, np.array([]), values_by_wafer={}))

    def test_close_limits_keep_out_of_each_other(self, kind: str) -> None:
        drawing = drawn(kind, np.array([0.41]), lower=0.409, upper=0.411, target=0.41)
        heights = {
            part.text: part.attrib["y"]
            for part in parsed(drawing).iter("text")
            if part.text and ("limit" in part.text or "target" in part.text)
        }
        assert len(heights) == len(set(heights.values())) == 3


def test_few_values_stand_alone_and_have_no_box() -> None:
    few, many = (
        drawn("by wafer", np.linspace(0.4, 0.42, number))
        for number in (by_wafer.FEW, by_wafer.FEW + 1)
    )
    assert "fill-accent-soft" not in few.svg.partition("</style>")[2]
    assert many.svg.partition("</style>")[2].count("fill-accent-soft") == 1


def test_median_and_quartiles_lie_where_numpy_has_them() -> None:
    values = np.random.default_rng(5).normal(0.41, 0.005, 84)
    drawing = drawn("by wafer", values)
    width = value_rows.PLOT_WIDTH
    q25, q75 = (width * (q - 0.38) / 0.06 for q in np.quantile(values, (0.25, 0.75)))
    box = next(
        part for part in parsed(drawing).iter("path") if "fill-accent-soft" in part.get("class", "")
    )
    x, _, across = (float(n) for n in re.findall(r"-?[\d.]+", box.attrib["d"])[:3])
    assert (x, x + across) == pytest.approx((q25, q75), abs=0.05)
