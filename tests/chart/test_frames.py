"""Where a frame's plot lies, and the coordinates that are laid over it."""

import math
import re
from xml.etree.ElementTree import Element

import numpy as np
import pytest

from sitegen.chart import frames
from sitegen.chart.frames import Frame, polylines
from sitegen.model.arrays import FloatArray
from tests.chart import samples
from tests.chart.samples import FREQUENCY_HZ, curves, parsed


def plot_of(frame: Frame) -> Element:
    """The group that holds the plot."""
    return next(part for part in parsed(frame.drawing) if part.tag == "g")


def path_points(data: str) -> FloatArray:
    """The points of a path of straight lines, shape (n, 2)."""
    numbers = [float(text) for text in re.findall(r"-?[\d.]+", data)]
    return np.array(numbers).reshape(-1, 2)


def median_points(frame: Frame) -> FloatArray:
    dashed = [part for part in plot_of(frame).iter("path") if part.get("stroke-dasharray")]
    assert len(dashed) == 1
    return path_points(dashed[0].attrib["d"])


def test_plot_lies_where_the_frame_says() -> None:
    frame = samples.frame()
    plot = plot_of(frame)
    assert plot.attrib["transform"] == f"translate({frame.left},{frame.top})"
    clip = next(part for part in parsed(frame.drawing).iter("clipPath"))
    inside = clip.find("rect")
    assert inside is not None
    assert (inside.attrib["width"], inside.attrib["height"]) == (
        str(frame.width),
        str(frame.height),
    )
    assert frame.left + frame.width + frames.PADDING.right == frame.drawing.width
    assert frame.top + frame.height + frames.PADDING.bottom == frame.drawing.height


def test_known_value_lies_on_its_pixel() -> None:
    """At 50 GHz of 100 the median of -5 dB on -20 to 0 lies a quarter down, half across."""
    frame = samples.frame()
    assert (frame.y.lower, frame.y.upper) == (-20.0, 0.0)
    x, y = median_points(frame)[50]
    assert x == pytest.approx(frame.width / 2, abs=0.2)
    assert y == pytest.approx(frame.height / 4, abs=0.2)


def test_grid_lines_are_not_rounded_to_pixels() -> None:
    """20 GHz of 100 on 308 pixels lies at 61.6."""
    grid = [p for p in plot_of(samples.frame()).iter("line") if p.get("class") == "line-grid"]
    assert any("translate(61.6," in part.get("transform", "") for part in grid)


def test_logarithmic_axis_follows_its_law() -> None:
    """A decade takes the same width everywhere: x = W log(f/f0) / log(f1/f0)."""
    f = np.geomspace(1e7, 1e11, 41)
    frame = samples.frame(frequency_hz=f, curves=np.tile(-5.0, (3, 41)))
    assert frame.x.log
    points = median_points(frame)
    assert points[:, 0] == pytest.approx(frame.width * np.arange(41) / 40, abs=0.2)
    xs = [int(pair.split(",")[0]) for pair in _pairs(polylines(frame, f, np.zeros((1, 41)))[0][0])]
    assert xs == pytest.approx(10 * points[:, 0], abs=1)


def test_die_lies_on_the_median_that_it_is() -> None:
    """The overlay's coordinates, ten a pixel, against the frame's own path."""
    frame = samples.frame()
    (text,) = polylines(frame, FREQUENCY_HZ, curves(1) / 0.8)[0]
    laid = path_points(text) / frames.UNITS_PER_PIXEL
    assert laid == pytest.approx(median_points(frame), abs=0.1)
    assert frame.view_box == f"0 0 {10 * frame.width} {10 * frame.height}"


def test_axis_ticks_are_round_and_their_minus_is_true() -> None:
    shown = samples.texts(samples.frame().drawing)
    assert [text for text in shown if text.startswith("−")] == ["−20", "−15", "−10", "−5"]
    assert {"0", "20", "40", "60", "80", "100", "frequency / GHz"} <= set(shown)


def naive(frame: Frame, frequency_hz: FloatArray, curve: FloatArray) -> tuple[str, ...]:
    """The same polylines, written as one would first write them."""
    segments: list[list[str]] = [[]]
    for f, value in zip(frequency_hz, curve, strict=True):
        if not math.isfinite(value):
            segments.append([])
            continue
        x = frame.x.position(f * frame.x_per_hz, 10 * frame.width)
        y = 10 * frame.height - frame.y.position(value, 10 * frame.height)
        segments[-1].append(f"{round(x)},{round(y)}")
    return tuple(
        ",".join(points if len(points) > 1 else points * 2) for points in segments if points
    )


def _pairs(text: str) -> list[str]:
    return re.findall(r"-?\d+,-?\d+", text)


def test_polylines_agree_with_a_plain_loop() -> None:
    rng = np.random.default_rng(11)
    values = rng.uniform(-25, 5, (30, FREQUENCY_HZ.size))
    values[rng.uniform(size=values.shape) < 0.05] = np.nan
    values[3] = np.nan
    values[4] = -np.inf
    values[5, 1:] = np.nan
    values[6] = rng.uniform(-20, 0, FREQUENCY_HZ.size)
    frame = samples.frame()
    found = polylines(frame, FREQUENCY_HZ, values)
    assert found == [naive(frame, FREQUENCY_HZ, curve) for curve in values]
    assert found[3] == found[4] == ()
    assert len(found[6]) == 1


def test_nan_splits_a_curve_where_it_stands() -> None:
    values = curves(1)
    values[0, 40:43] = np.nan
    first, second = polylines(samples.frame(), FREQUENCY_HZ, values)[0]
    assert len(_pairs(first)) == 40
    assert len(_pairs(second)) == FREQUENCY_HZ.size - 43


def test_lone_point_is_written_twice() -> None:
    values = np.full((1, FREQUENCY_HZ.size), np.nan)
    values[0, 50] = -10.0
    frame = samples.frame()
    assert polylines(frame, FREQUENCY_HZ, values) == [("1540,900,1540,900",)]
    assert (frame.width, frame.height) == (308, 180)


def test_band_leaves_out_what_is_not_known() -> None:
    """The frame of five dies of which one is NaN is that of the other four."""
    with_gap = curves(5)
    with_gap[4] = np.nan
    assert samples.frame(curves=with_gap).drawing == samples.frame(curves=with_gap[:4]).drawing


def test_no_curve_at_all_is_said() -> None:
    empty = samples.frame(curves=np.full((3, FREQUENCY_HZ.size), np.nan))
    assert "no sweep has a curve" in samples.texts(empty.drawing)
    none = samples.frame(curves=np.empty((0, FREQUENCY_HZ.size)))
    assert none.drawing == empty.drawing
    assert polylines(none, FREQUENCY_HZ, np.empty((0, FREQUENCY_HZ.size))) == []


def test_a_single_frequency_has_a_frame() -> None:
    frame = samples.frame(frequency_hz=np.array([5e9]), curves=np.array([[-3.0], [-5.0]]))
    assert len(polylines(frame, np.array([5e9]), np.array([[-3.0]]))[0]) == 1
