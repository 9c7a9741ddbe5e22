"""Quantities over frequency: where lines, bands, bounds and gaps lie, and what is said of them."""

import re
from xml.etree.ElementTree import Element

import numpy as np
import pytest

from sitegen.chart import evidence_curves, over_frequency, terms
from sitegen.chart.axis import snapped_range
from sitegen.chart.calibration import calibration_drawings
from sitegen.chart.evidence_curves import BUDGET_LINES
from sitegen.chart.over_frequency import PADDINGS, linear_axis, log_axis, scale_of
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import SOURCE_GROUPS, Curve, Term
from sitegen.model.results import Drawing
from tests.chart import samples
from tests.chart.samples import FREQUENCY_HZ, KINDS, parsed, texts
from tests.render import calibration_samples
from tests.render.samples import calibration_result


def size(names: over_frequency.Names) -> tuple[int, int]:
    padding = PADDINGS[names]
    width = over_frequency.WIDTH - padding.left - padding.right
    return width, over_frequency.HEIGHT - padding.top - padding.bottom


def quantity(curve: Curve, frequency_hz: FloatArray = FREQUENCY_HZ) -> Drawing:
    return evidence_curves.solved_quantity(
        address="c.svg", title="t", description="d", frequency_hz=frequency_hz, curve=curve
    )


def points(part: Element) -> FloatArray:
    """The corners of a path, shape (n, 2), in pixels of the plot."""
    return np.array([float(n) for n in re.findall(r"-?[\d.]+", part.attrib["d"])]).reshape(-1, 2)


def plot_paths(drawing: Drawing) -> list[Element]:
    """The paths inside the plot; those of the key stand outside."""
    plot = next(part for part in parsed(drawing) if part.tag == "g")
    return list(plot.iter("path"))


def hatched(drawing: Drawing) -> list[Element]:
    return [part for part in plot_paths(drawing) if "hatch" in part.get("fill", "")]


def lines(drawing: Drawing, part: str) -> list[Element]:
    return [
        one
        for one in plot_paths(drawing)
        if one.get("class") == f"line-{part}" and one.get("d", "").count("L") > 3
    ]


def test_values_lie_on_their_pixels_and_break_where_not_determined() -> None:
    """4 pH at 0 Hz to 2 pH at 100 GHz on an axis of 0 to 8 pH, with a gap at 40 to 60 GHz."""
    width, height = size("key")
    (line,) = lines(KINDS["solved quantity"](), "accent")
    assert line.attrib["d"].count("M") == 2
    found = points(line)
    assert found[0] == pytest.approx((0, height * (1 - 4 / 8)), abs=0.02)
    assert found[-1] == pytest.approx((width, height * (1 - 2 / 8)), abs=0.02)
    inside = (found[:, 0] > width * 0.395) & (found[:, 0] < width * 0.605)
    assert not inside.any()


def test_a_gap_is_hatched_to_half_way_to_the_next_point_and_named() -> None:
    drawing = KINDS["solved quantity"]()
    width, height = size("key")
    (gap,) = hatched(drawing)
    x, y, across, down = (float(n) for n in re.findall(r"-?[\d.]+", gap.attrib["d"])[:4])
    if place := re.match(r"translate\(([\d.]+),([\d.]+)\)", gap.get("transform", "")):
        x, y = x + float(place[1]), y + float(place[2])
    assert (x, x + across) == pytest.approx((width * 0.395, width * 0.605), abs=0.05)
    assert (y, down) == pytest.approx((0, height))
    assert "not determined" in texts(drawing)
    whole = quantity(samples.curve(values=np.linspace(1, 2, FREQUENCY_HZ.size)))
    assert not hatched(whole)
    assert "not determined" not in texts(whole)


def test_nothing_determined_is_hatched_whole_and_said() -> None:
    drawing = quantity(samples.curve(values=np.full(FREQUENCY_HZ.size, np.nan), u=None))
    (gap,) = hatched(drawing)
    assert f"h{size('key')[0]}" in gap.attrib["d"]
    assert texts(drawing).count("not determined") == 2, "in the plot and in the key"
    assert any(text.endswith(" / pH") for text in texts(drawing))


def test_the_band_reaches_twice_the_standard_uncertainty() -> None:
    """u = 0.5 pH: at 0 Hz the band holds 3 pH to 5 pH."""
    drawing = KINDS["solved quantity"]()
    _, height = size("key")
    (band,) = [part for part in plot_paths(drawing) if part.get("class") == "fill-accent-soft"]
    start = points(band)[np.isclose(points(band)[:, 0], 0)]
    ends = sorted({round(float(y), 1) for y in start[:, 1]})
    assert ends == pytest.approx([height * (1 - 5 / 8), height * (1 - 3 / 8)], abs=0.1)
    assert "± U (k = 2)" in texts(drawing)


def test_a_bound_far_away_is_told_and_does_not_flatten_the_values() -> None:
    near, far = KINDS["solved quantity"](), quantity(samples.curve(upper=np.full(101, 500e-12)))
    assert "allowed ≥ 0 and ≤ 8" in texts(near)
    assert "allowed ≤ 500, off the axis" in texts(far)
    assert "500" not in texts(far)
    assert len(lines(near, "ink")) == 2 and len(lines(far, "ink")) == 1


def test_a_point_without_neighbours_is_a_dot() -> None:
    values = np.full(FREQUENCY_HZ.size, np.nan)
    values[50] = 3e-12
    drawing = quantity(samples.curve(values=values, u=None))
    dots = [part for part in plot_paths(drawing) if part.get("class") == "fill-accent"]
    assert len(dots) == 1
    assert f"translate({size('key')[0] / 2:g}," in dots[0].attrib["transform"]


def test_one_frequency_and_a_logarithmic_list_are_drawn() -> None:
    one = np.array([1e9])
    flat = {"u": None, "lower": None, "upper": None, "expected": None}
    assert "Inductance" in texts(
        quantity(samples.curve(name="inductance", unit="1", values=np.ones(1), **flat), one)
    )
    listed = np.geomspace(1e7, 1e11, 41)
    values = np.where(np.arange(41) == 20, np.nan, 1.0)
    (gap,) = hatched(quantity(samples.curve(values=values, unit="1", **flat), listed))
    x, _, across, _ = (float(n) for n in re.findall(r"-?[\d.]+", gap.attrib["d"])[:4])
    if place := re.match(r"translate\(([\d.]+),", gap.get("transform", "")):
        x += float(place[1])
    width, _ = size("key")
    assert (x, across) == pytest.approx((width * 19.5 / 40, width / 40), abs=0.05)


def test_axes_hold_their_values() -> None:
    assert linear_axis([np.array([2.0, 9.0])], "").lower == 0.0
    assert linear_axis([np.array([8.0, 9.0])], "").lower == 8.0
    found = log_axis([np.array([0.0, np.nan, 3e-6, 0.012])], "", decades=2)
    assert (found.lower, found.upper) == pytest.approx((2e-4, 2e-2))
    found = log_axis([np.array([20.0, 50.0])], "")
    assert (found.lower, found.upper) == pytest.approx((5.0, 50.0))
    assert log_axis([np.array([np.nan])], "").log


@pytest.mark.parametrize(
    ("greatest", "unit", "expected"),
    [
        (0.5, "1", (1.0, "")),
        (0.004, "1", (1e3, "10⁻³")),
        (4e-7, "", (1e6, "10⁻⁶")),
        (4e-12, "H", (1e12, "pH")),
        (30.0, "deg", (1.0, "°")),
        (3.0, "Np/fathom", (1.0, "Np/fathom")),
    ],
)
def test_numbers_on_an_axis_are_short(
    greatest: float, unit: str, expected: tuple[float, str]
) -> None:
    factor, symbol = scale_of(np.array([0.0, greatest, np.nan]), unit)
    assert factor == pytest.approx(expected[0])
    assert symbol == expected[1]


def test_a_comparison_shows_what_is_repeatable_what_remains_and_what_is_allowed() -> None:
    drawing = KINDS["comparison"]()
    shown = texts(drawing)
    assert {"bound", "made back to back (95 %)", "drift", "allowed 0.02"} <= set(shown)
    assert "Greatest |ΔS| of a passive device" in shown
    _, height = size("key")
    bound, drift = lines(drawing, "accent")
    axis = snapped_range(0.0, 0.04)
    assert points(bound)[-1][1] == pytest.approx(height * (1 - 0.04 / axis.upper), abs=0.02)
    assert points(drift)[-1][1] == pytest.approx(height * (1 - 0.03 / axis.upper), abs=0.02)
    reported = evidence_curves.compared(
        address="c.svg",
        title="t",
        description="d",
        frequency_hz=FREQUENCY_HZ,
        comparison=samples.comparison(
            kind="reported terms",
            bound=np.full(FREQUENCY_HZ.size, np.inf),
            repeatable=None,
            drift=None,
            limit=None,
        ),
    )
    assert "not determined" in texts(reported), "infinity has no place on an axis"


def test_a_budget_is_lines_over_decades_that_do_not_stack() -> None:
    """3 and 4 thousandths are drawn at their own heights, 5 for both together."""
    drawing = KINDS["budget"]()
    shown = texts(drawing)
    assert {"combined", "definitions", "noise", "u / 10⁻³"} <= set(shown)
    assert "resistance of load" not in shown, "named sources stand in the table"
    _, height = size("long ends")
    for part, value in (("ink", 5.0), ("accent", 3.0), ("second", 4.0)):
        (line,) = lines(drawing, part)
        share = np.log10(value / 0.5)  # the axis reaches from 0.5 to 5
        assert points(line)[:, 1] == pytest.approx(height * (1 - share), abs=0.05)


def test_every_group_of_sources_has_a_look_of_its_own() -> None:
    assert set(BUDGET_LINES) == set(SOURCE_GROUPS)
    assert len(set(BUDGET_LINES.values())) == len(BUDGET_LINES)


def test_terms_of_a_family_share_a_drawing() -> None:
    found = terms.families(samples.terms(), samples.terms()[:1])
    assert list(found) == ["directivity", "isolation", samples.NASTY]
    assert [term.symbol for term in found["directivity"]] == ["EDF", "EDR"]
    shown = texts(KINDS["terms"]())
    assert {"directivity", "forward", "reverse", "magnitude / dB", "rings: as reported"} <= set(
        shown
    )
    assert "hatched: not determined" in texts(KINDS["odd terms"]())


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


def test_terms_are_in_decibels() -> None:
    """|e| = 0.1 is −20 dB and 0.05 is −26.02 dB: so say the axis and the lines on it."""
    drawing = directivities(0.1, 0.05)
    axis = snapped_range(-26.02, -20.0)
    assert (axis.lower, axis.upper, axis.step) == (-27.0, -20.0, 1.0)
    assert {"−27", "−20"} <= set(texts(drawing))
    heights = [points(one)[0][1] for part in ("accent", "second") for one in lines(drawing, part)]
    assert heights == pytest.approx([0.0, size("ends")[1] * 6.0206 / 7], abs=0.02)


def test_ports_are_told_apart_like_directions() -> None:
    drawing = directivities(0.1, 0.05)
    assert {"directivity", "port 1", "port 2"} <= set(texts(drawing))
    dashes = {part.get("stroke-dasharray") for part in parsed(drawing).iter("path")}
    assert {"1,0", "6,3"} <= dashes


def test_zero_has_no_level_and_is_not_hatched() -> None:
    drawing = directivities(0.0)
    assert "zero" in texts(drawing)
    assert not hatched(drawing)


def test_a_calibration_has_its_drawings_and_none_without_a_solution() -> None:
    result = calibration_samples.evident()
    found = calibration_drawings(result)
    assert set(found) == {
        *("curve-0", "curve-1", "curve-2", "condition", "comparison-0", "comparison-1"),
        *("terms-directivity", "budget-0", "budget-1", "simulated"),
    }
    assert len({drawing.address for drawing in found.values()}) == len(found)
    refused = calibration_samples.comparison(refused="another reference plane", bound=None)
    assert "comparison-0" not in calibration_drawings(
        calibration_samples.evident(comparisons=(refused,))
    )
    assert calibration_drawings(calibration_result(terms=(), outcome="not solved")) == {}
