"""Deviations under masks and normalised deviations: what is drawn, and where."""

import re
from dataclasses import replace

import numpy as np
import pytest

from sitegen.chart import agreement, mask
from sitegen.chart.axis import snapped_range
from tests.chart import samples
from tests.chart.samples import FREQUENCY_HZ, KINDS, parsed, texts


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
    assert np.diff(centres).min() >= mask.MARK_GAP - 0.02
    ends = mask.PLOT_WIDTH * np.array([over[0], over[-1]]) / 100e9
    assert centres[0] == pytest.approx(ends[0], abs=0.02)
    assert ends[1] - mask.MARK_GAP < centres[-1] <= ends[1] + 0.02


def test_a_guard_band_is_drawn_around_the_deviation_and_marked_where_it_reaches_the_mask() -> None:
    drawing = KINDS["guarded mask"]()
    root = parsed(drawing)
    result = samples.guarded_mask_result()
    assert result.guard is not None
    assert "worst at 100.0\u202fGHz: 0.00400 + 0.0080 of 0.0100" in texts(drawing)
    assert "+ w" in texts(drawing)
    assert "|S21 − factory|" in texts(drawing)
    axis = snapped_range(0.0, 1.1 * 0.012)
    (band,) = [p for p in root.iter("path") if p.get("class") == "fill-accent-soft"]
    heights = [float(n) for n in re.findall(r",(-?[\d.]+)", band.attrib["d"])]
    assert min(heights) == pytest.approx(mask.PLOT_HEIGHT * (1 - 0.012 / axis.upper), abs=0.2)
    assert max(heights) == pytest.approx(mask.PLOT_HEIGHT, abs=0.01)
    (diamonds,) = [p for p in root.iter("path") if p.get("class") == "line-alarm"]
    places = [float(n) for n in re.findall(r"M([\d.]+)", diamonds.attrib["d"])]
    first = FREQUENCY_HZ[np.flatnonzero(result.deviation + result.guard > result.limit)[0]]
    assert places[0] + 2.5 - mask.PADDING.left == pytest.approx(
        mask.PLOT_WIDTH * first / 100e9, abs=0.02
    )


def test_without_a_guard_band_the_expanded_uncertainty_is_drawn() -> None:
    bare = replace(samples.guarded_mask_result(), guard=None)
    drawing = mask.deviation(
        address="a.svg", title="t", description="d", result=bare, coverage_factor=2.0
    )
    assert "+ U" in texts(drawing) and "+ w" not in texts(drawing)
    assert not [p for p in parsed(drawing).iter("path") if p.get("class") == "line-alarm"]
    none = mask.deviation(
        address="a.svg",
        title="t",
        description="d",
        result=replace(bare, u=None),
        coverage_factor=2.0,
    )
    assert not [p for p in parsed(none).iter("path") if p.get("class") == "fill-accent-soft"]


def test_a_normalised_deviation_has_its_line_at_one_and_its_limit() -> None:
    drawing = KINDS["normalised deviation"]()
    assert "greatest at 100.0\u202fGHz: 1.50; 50 of 101 points above 1" in texts(drawing)
    shown = texts(drawing)
    assert "1" in shown and "limit" in shown
    root = parsed(drawing)
    axis = snapped_range(0.0, 1.05 * 1.5)
    lines = [p for p in root.iter("path") if p.get("class") == "line-ink"]
    heights = {
        round(float(n), 1)
        for p in lines
        if "transform" not in p.attrib
        for n in re.findall(r",(-?[\d.]+)", p.attrib["d"])
    }
    for value in (1.0, 1.3):
        assert any(
            abs(height - agreement.PLOT_HEIGHT * (1 - value / axis.upper)) < 0.2
            for height in heights
        )
    (beyond,) = [p for p in root.iter("path") if p.get("class") == "fill-alarm-soft"]
    tops = [float(n) for n in re.findall(r",(-?[\d.]+)", beyond.attrib["d"])]
    assert min(tops) == pytest.approx(agreement.PLOT_HEIGHT * (1 - 1.5 / axis.upper), abs=0.2)


def test_a_limit_of_the_share_of_points_is_no_line() -> None:
    drawing = agreement.normalised_deviation(
        address="a.svg",
        title="t",
        description="d",
        result=samples.agreement(rule="share of points", figure=0.5, limit=0.1),
    )
    assert "limit" not in texts(drawing)


def test_a_guard_band_without_end_fills_the_plot_and_is_told() -> None:
    result = samples.guarded_mask_result()
    assert result.guard is not None
    guard = result.guard.copy()
    guard[-1] = np.inf
    drawing = mask.deviation(
        address="a.svg",
        title="t",
        description="d",
        result=replace(result, guard=guard),
        coverage_factor=2.0,
    )
    assert "worst at 100.0\u202fGHz: 0.00400 + w without end of 0.0100" in texts(drawing)
    (band,) = [p for p in parsed(drawing).iter("path") if p.get("class") == "fill-accent-soft"]
    heights = [float(n) for n in re.findall(r",(-?[\d.]+)", band.attrib["d"])]
    assert min(heights) == pytest.approx(0.0, abs=0.01)
