"""Distributions, comparisons of wafers, error terms and masks: what they show, and where."""

import re

import numpy as np
import pytest

from sitegen.chart import by_wafer, distribution, mask, terms, value_rows
from sitegen.chart.axis import snapped_range, value_axis
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import Term
from sitegen.model.results import Drawing
from tests.chart import samples
from tests.chart.samples import FREQUENCY_HZ, KINDS, parsed, texts


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


def test_terms_share_panels_by_family() -> None:
    shown = texts(KINDS["terms"]())
    assert {"directivity", "isolation", "forward", "reverse", "zero or not determined"} <= set(
        shown
    )
    assert shown.count("magnitude / dB") == 3
    assert shown.count("rings: as reported") == 1


def test_terms_are_in_decibels() -> None:
    """|e| = 0.1 is −20 dB and 0.05 is −26.02 dB: so say the axis and the lines on it."""
    drawing = directivities(0.1, 0.05)
    axis = snapped_range(-26.02, -20.0)
    assert (axis.lower, axis.upper, axis.step) == (-27.0, -20.0, 1.0)
    assert {"−27", "−20"} <= set(texts(drawing))
    heights = [
        float(re.findall(r"-?[\d.]+", part.attrib["d"])[1])
        for part in parsed(drawing).iter("path")
        if part.get("d", "").count("L") == 100
    ]
    assert heights == pytest.approx([0.0, terms.PANEL_HEIGHT * 6.0206 / 7], abs=0.02)


def directivities(*levels: float) -> Drawing:
    """Directivity of port 1, 2, ... at these levels."""
    return terms.error_terms(
        address="t.svg",
        title="t",
        description="d",
        frequency_hz=FREQUENCY_HZ,
        terms=[
            Term(f"directivity, port {port}", "e00", np.full(FREQUENCY_HZ.size, level + 0j))
            for port, level in enumerate(levels, start=1)
        ],
        reported=(),
    )


def test_ports_are_told_apart_like_directions() -> None:
    drawing = directivities(0.1, 0.05)
    assert {"directivity", "port 1", "port 2"} <= set(texts(drawing))
    dashes = {part.get("stroke-dasharray") for part in parsed(drawing).iter("path")}
    assert {"1,0", "6,3"} <= dashes


def test_no_terms_are_said() -> None:
    drawing = terms.error_terms(
        address="t.svg",
        title="t",
        description="d",
        frequency_hz=FREQUENCY_HZ,
        terms=(),
        reported=(),
    )
    assert texts(drawing) == ["no error term was solved or reported"]


def test_mask_marks_its_worst_point() -> None:
    drawing = KINDS["mask"]()
    assert "worst at 50.00\u202fGHz: 0.0200 of 0.0100" in texts(drawing)
    rings = [
        part
        for part in parsed(drawing).iter("path")
        if part.get("class") == "line-ink" and part.get("stroke-width") == "1.75"
    ]
    assert len(rings) == 1
    place = re.match(r"translate\(([\d.]+),([\d.]+)\)", rings[0].attrib["transform"])
    assert place is not None
    axis = snapped_range(0.0, 0.022)
    assert float(place[1]) == pytest.approx(mask.PLOT_WIDTH / 2, abs=0.2)
    assert float(place[2]) == pytest.approx(mask.PLOT_HEIGHT * (1 - 0.02 / axis.upper), abs=0.2)


def test_mask_is_hatched_where_it_speaks_and_crossed_where_it_fails() -> None:
    root = parsed(KINDS["mask"]())
    (hatched,) = [part for part in root.iter("path") if "hatch" in part.get("fill", "")]
    xs = [float(n) for n in re.findall(r"[ML](-?[\d.]+)", hatched.attrib["d"])]
    assert (min(xs), max(xs)) == pytest.approx(
        (mask.PLOT_WIDTH * 0.1, mask.PLOT_WIDTH * 0.9), abs=0.2
    )
    (crosses,) = [part for part in root.iter("path") if part.get("class") == "line-alarm"]
    result = samples.mask_result()
    over = FREQUENCY_HZ[result.deviation > np.nan_to_num(result.limit, nan=np.inf)]
    left = [float(n) for n in re.findall(r"M([\d.]+)", crosses.attrib["d"])[::2]]
    centres = np.array(left) + 2.5 - mask.PADDING.left
    assert np.diff(centres).min() >= mask.CROSS_GAP - 0.02
    ends = mask.PLOT_WIDTH * np.array([over[0], over[-1]]) / 100e9
    assert centres[0] == pytest.approx(ends[0], abs=0.02)
    assert ends[1] - mask.CROSS_GAP < centres[-1] <= ends[1] + 0.02
