"""Laws that patterns and outliers keep for every map."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from sitegen.compute.over_wafers.outliers import outliers
from sitegen.compute.over_wafers.pattern_words import ALONG, TOWARDS
from sitegen.compute.over_wafers.patterns import patterns
from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.space_results import AverageLimits, Outliers, Patterns
from tests.compute.over_wafers.layouts import RETICLE, layout
from tests.compute.over_wafers.sample_data import grid, sample

FloatArray = npt.NDArray[np.float64]
laws = settings(derandomize=True, deadline=None, max_examples=40)
LOTS = {"W1": "A", "W2": "A", "W3": "B"}
DIES = grid(3.2)
N = len(DIES)
LAYOUT = layout(diameter_mm=80.0, reticle={"columns": 2, "rows": 1, "origin_die": (0, 0)})

# Whole numbers: sums and shifts are exact. Ties are common, and maps of equal values too.
whole = st.integers(-50, 50).map(float)
maps = hnp.arrays(np.float64, (3, N), elements=whole)
gaps = hnp.arrays(np.bool_, (3, N), elements=st.sampled_from([True, True, True, False]))


def made(values: FloatArray, kept: npt.NDArray[np.bool_]) -> Sample:
    numbers = [row[there] for row, there in zip(values, kept, strict=True)]
    outcome = [np.where(row > 30, "outside", "within").tolist() for row in numbers]
    dies = [DIES[there] for there in kept]
    return sample(numbers, dies=dies, outcome=outcome, upper=30.0)


def figures(found: tuple[Patterns, ...]) -> list[float]:
    """Every number of every test; NaN where there is none."""
    return [
        np.nan if figure is None else figure
        for one in found
        for test in one.tests
        for figure in (test.statistic, test.p_value, test.adjusted_p, test.share)
    ]


def same(found: tuple[Patterns, ...], other: tuple[Patterns, ...]) -> None:
    assert figures(found) == pytest.approx(figures(other), rel=1e-6, abs=1e-9, nan_ok=True)
    for one, two in zip(found, other, strict=True):
        assert (one.n, one.islands) == (two.n, two.islands)
        assert [test.reason for test in one.tests] == [test.reason for test in two.tests]
        assert sorted(map(len, one.clusters)) == sorted(map(len, two.clusters))


def flags(found: Outliers) -> list[tuple[object, ...]]:
    return [(one.wafer, one.site, one.kinds, round(one.score, 6)) for one in found.flagged]


@laws
@given(maps, gaps, st.randoms(use_true_random=False))
def test_the_order_of_dies_does_not_matter(
    values: FloatArray, kept: npt.NDArray[np.bool_], random: "np.random.Generator"
) -> None:
    plain = made(values, kept)
    order = list(range(plain.n))
    random.shuffle(order)
    arrays = {
        name: getattr(plain, name)[order]
        for name in ("wafer", "die_x", "die_y", "x_mm", "y_mm", "site", "value", "outcome")
    }
    shuffled = replace(plain, **arrays)
    assert patterns(shuffled, LAYOUT) == patterns(plain, LAYOUT)
    found, other = outliers(plain, LOTS), outliers(shuffled, LOTS)
    assert sorted(flags(found)) == sorted(flags(other))
    assert found.dynamic == other.dynamic and found.static == other.static


@laws
@given(maps, gaps, st.integers(-1000, 1000), st.sampled_from([2.0**-40, 0.5, 4.0, 2.0**40]))
def test_units_and_location(
    values: FloatArray, kept: npt.NDArray[np.bool_], shift: int, scale: float
) -> None:
    plain = made(values, kept)
    moved = replace(
        plain,
        value=scale * (plain.value + shift),
        parameter=plain.parameter.model_copy(update={"upper": scale * (30.0 + shift)}),
    )
    same(patterns(plain, LAYOUT), patterns(moved, LAYOUT))
    found, other = outliers(plain, LOTS), outliers(moved, LOTS)
    assert flags(found) == flags(other)

    def scaled(one: AverageLimits) -> list[float]:
        ends = (one.lower, one.upper)
        return [np.nan if end is None else scale * (end + shift) for end in ends]

    for (_, one), (_, two) in zip(found.dynamic, other.dynamic, strict=True):
        ends = [np.nan if end is None else end for end in (two.lower, two.upper)]
        assert ends == pytest.approx(scaled(one), rel=1e-9, abs=1e-9 * scale, nan_ok=True)
        assert one.at_specification == two.at_specification


TURNS: dict[str, tuple[tuple[int, int], tuple[int, int]]] = {
    "by 90 degrees": ((0, -1), (1, 0)),
    "by 180 degrees": ((-1, 0), (0, -1)),
    "left to right": ((-1, 0), (0, 1)),
    "about the rising diagonal": ((0, 1), (1, 0)),
}
"""Matrix that takes a place to its place in the changed map."""


def turned_words(text: str, name: str) -> str:
    """What a plane's direction becomes."""
    for place, word in enumerate(TOWARDS):
        if f" {word} by" in text:
            other = {
                "by 90 degrees": place + 2,
                "by 180 degrees": place + 4,
                "left to right": 4 - place,
                "about the rising diagonal": 2 - place,
            }[name]
            return text.replace(f" {word} by", f" {TOWARDS[other % 8]} by")
    return text


@laws
@given(maps, gaps, st.sampled_from(sorted(TURNS)), st.booleans())
def test_turned_and_mirrored_maps(
    values: FloatArray, kept: npt.NDArray[np.bool_], name: str, ids_kept: bool
) -> None:
    """With ids kept only places change; otherwise ids as well, and no field is declared."""
    plain = made(values, kept)
    (xx, xy), (yx, yy) = TURNS[name]
    x, y = plain.x_mm, plain.y_mm
    # Adding zero makes negative zeros positive: they would be other bytes of the same place.
    changed = replace(plain, x_mm=xx * x + xy * y + 0.0, y_mm=yx * x + yy * y + 0.0)
    here = LAYOUT
    if not ids_kept:
        a, b = plain.die_x, plain.die_y
        changed = replace(changed, die_x=xx * a + xy * b, die_y=yx * a + yy * b)
        here = LAYOUT.model_copy(update={"reticle": None})
    found, other = patterns(plain, here), patterns(changed, here)
    same(found, other)
    if ids_kept:
        assert [one.clusters for one in found] == [one.clusters for one in other]
    for one, two in zip(found, other, strict=True):
        assert turned_words(one.tests[1].text, name) == two.tests[1].text or one.tests[1].text == ""
    kinds = flags(outliers(plain, LOTS)), flags(outliers(changed, LOTS))
    assert sorted(kinds[0]) == sorted(kinds[1])


@pytest.mark.parametrize("name", TURNS)
def test_directions_turn_along(name: str) -> None:
    """Planes and valleys of every direction: claimed, and turned with the map."""
    (xx, xy), (yx, yy) = TURNS[name]
    x, y = (10.0 * axis for axis in DIES.T)
    noise = np.random.default_rng(1).normal(0, 0.1, N)
    for place in range(8):
        angle = np.pi / 4 * place
        along = x * np.cos(angle) + y * np.sin(angle)
        plain = sample([along + noise], dies=[DIES])
        changed = replace(plain, x_mm=xx * x + xy * y, y_mm=yx * x + yy * y)
        text, other = (patterns(one, LAYOUT)[0].tests[1].text for one in (plain, changed))
        assert f" {TOWARDS[place]} by" in text
        assert turned_words(text, name) == other
        plain = sample([along**2 + noise], dies=[DIES])
        changed = replace(plain, x_mm=xx * x + xy * y, y_mm=yx * x + yy * y)
        text, other = (patterns(one, LAYOUT)[0].tests[2].text for one in (plain, changed))
        assert text.startswith(f"valley {ALONG[(place + 2) % 4]}")
        new = {
            "by 90 degrees": place + 4,
            "by 180 degrees": place + 2,
            "left to right": 4 - (place + 2),
            "about the rising diagonal": 2 - (place + 2),
        }[name]
        assert other.startswith(f"valley {ALONG[new % 4]}")


@laws
@given(maps, gaps)
def test_a_duplicated_wafer_is_tested_again(
    values: FloatArray, kept: npt.NDArray[np.bool_]
) -> None:
    """The same figures for both; the correction counts one wafer more."""
    plain = patterns(made(values, kept), LAYOUT)
    again = patterns(made(np.vstack([values, values[:1]]), np.vstack([kept, kept[:1]])), LAYOUT)

    def uncorrected(found: tuple[Patterns, ...]) -> list[float]:
        return figures(
            tuple(
                replace(one, tests=tuple(replace(test, adjusted_p=None) for test in one.tests))
                for one in found
            )
        )

    both = (*plain, plain[0])
    assert uncorrected(both) == pytest.approx(uncorrected(again), rel=1e-9, nan_ok=True)
    for one, two in zip(both, again, strict=True):
        assert one.clusters == two.clusters
        for test, other in zip(one.tests, two.tests, strict=True):
            if test.adjusted_p is not None:
                assert other.adjusted_p is not None
                assert other.adjusted_p >= test.adjusted_p * (1 - 1e-9)
    twice = outliers(made(np.vstack([values, values[:1]]), np.vstack([kept, kept[:1]])), {})
    once = outliers(made(values, kept), {})
    assert len(twice.flagged) == len(once.flagged) + sum(one.wafer == "W1" for one in once.flagged)


@laws
@given(maps, gaps)
def test_float32_columns(values: FloatArray, kept: npt.NDArray[np.bool_]) -> None:
    """The same as the stored numbers in float64, with many digits in common."""
    plain = made(1e4 + values / 7, kept)
    stored = plain.value.astype(np.float32)
    single = replace(plain, value=stored)
    double = replace(plain, value=stored.astype(np.float64))
    assert patterns(single, LAYOUT) == patterns(double, LAYOUT)
    assert outliers(single, LOTS) == outliers(double, LOTS)


@laws
@given(maps, gaps, st.sampled_from(["within", "outside", "not proven", "not assessable"]))
def test_a_flag_never_touches_an_outcome_nor_an_outcome_a_flag(
    values: FloatArray, kept: npt.NDArray[np.bool_], word: str
) -> None:
    values = np.where(np.abs(values) > 45, 40 * values, values)
    plain = made(values, kept)
    before = plain.outcome.copy()
    found = outliers(plain, LOTS)
    assert np.array_equal(plain.outcome, before)
    places = {
        (plain.wafers[wafer], (int(x), int(y))): outcome
        for wafer, x, y, outcome in zip(
            plain.wafer, plain.die_x, plain.die_y, plain.outcome, strict=True
        )
    }
    assert all(places[one.wafer, one.die] == one.outcome for one in found.flagged)
    judged = replace(plain, outcome=np.full(plain.n, word, dtype=object))
    assert flags(outliers(judged, LOTS)) == flags(found)


def test_the_reticle_counts_from_its_declared_die() -> None:
    """Any die in column 0 and row 0 of its field declares the same fields."""
    values = np.random.default_rng(3).normal(size=N)
    made_once = sample([values], dies=[DIES])
    found = {
        patterns(made_once, layout(reticle={**RETICLE, "origin_die": origin}))[0].tests[4]
        for origin in ((0, 0), (3, -2), (-30, 4), (6, 200))
    }
    assert len(found) == 1
    other = layout(reticle={**RETICLE, "origin_die": (1, 0)})
    assert patterns(made_once, other)[0].tests[4] not in found
