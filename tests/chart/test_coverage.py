"""Coverage of intervals: where the curves stand, and what is said of them."""

import re
from xml.etree.ElementTree import Element

import numpy as np
import pytest

from sitegen.chart import coverage
from sitegen.chart.coverage import PADDING, PLOT_HEIGHT, PLOT_WIDTH, coverage_chart, described
from sitegen.compute.over_wafers.interval_coverage import interval_coverages
from sitegen.model.results import Drawing
from sitegen.model.yield_results import IntervalCoverage
from tests.chart.samples import parsed, texts

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def drawn(*coverages: IntervalCoverage) -> Drawing:
    return coverage_chart(address="c.svg", title="t", description="d", coverages=coverages)


def flat(method: str, n: int, covered: float) -> IntervalCoverage:
    return IntervalCoverage(method, n, np.array([0.0, 0.5, 1.0]), np.full(3, covered))  # type: ignore[arg-type]


def curves(drawing: Drawing, part: str) -> list[Element]:
    """Lines of one part of the palette that run over the whole plot."""
    return [
        line
        for line in parsed(drawing).iter("path")
        if line.get("class") == f"line-{part}" and "stroke-width" in line.attrib
    ]


def test_a_curve_stands_at_its_coverage() -> None:
    """90 % is half-way up an axis from 80 to 100 %."""
    (line,) = curves(drawn(flat("Wilson", 7, 0.9)), "accent")
    numbers = [float(n) for n in NUMBER.findall(line.attrib["d"])]
    assert numbers[0::2] == pytest.approx([0, PLOT_WIDTH / 2, PLOT_WIDTH], abs=0.01)
    assert numbers[1::2] == pytest.approx([PLOT_HEIGHT / 2] * 3, abs=0.01)


def test_a_panel_for_each_number_of_dies_and_the_least_beside_each_curve() -> None:
    drawing = drawn(*interval_coverages())
    said = texts(drawing)
    assert [text for text in said if text.endswith(" dies")] == ["5 dies", "20 dies", "100 dies"]
    # Wilson's least coverage is 83 to 84 % at every n; Clopper and Pearson's at 5 dies 97.5 %.
    assert len([text for text in said if text.startswith("Wilson, least 83.")]) == 3
    assert "Clopper-Pearson, least 97.5\u202f%" in said
    assert {"coverage / %", "true share / %"} <= set(said)
    assert drawing.height == 3 * (PLOT_HEIGHT + PADDING.top + PADDING.bottom) + coverage.TITLE


def test_names_of_curves_at_one_height_keep_apart() -> None:
    drawing = drawn(flat("Wilson", 7, 0.95), flat("Clopper-Pearson", 7, 0.95))
    places = sorted(
        float(part.attrib["y"])
        for part in parsed(drawing).iter("text")
        if "least" in (part.text or "")
    )
    assert places[1] - places[0] >= 13.9


def test_identifiers_of_the_panels_differ() -> None:
    drawing = drawn(flat("Wilson", 7, 0.95), flat("Wilson", 8, 0.95))
    found = [part.attrib["id"] for part in parsed(drawing).iter() if "id" in part.attrib]
    assert len(found) == len(set(found))


def test_words_for_readers_who_do_not_see_it() -> None:
    said = described(interval_coverages())
    assert "Wilson at 5 dies from 83.2" in said
    assert "Clopper-Pearson at 100 dies from 95.0" in said


def test_the_specification_is_compiled_once() -> None:
    coverage._specification.cache_clear()
    drawn(flat("Wilson", 7, 0.95), flat("Wilson", 8, 0.95))
    assert coverage._specification.cache_info().misses == 1
