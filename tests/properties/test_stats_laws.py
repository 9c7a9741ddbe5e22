"""Laws that statistics and decisions keep for every input."""

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from sitegen.compute.conformity import (
    Outcome,
    decide,
)
from sitegen.compute.die_verdict import die_verdict
from sitegen.compute.stats.conformity_probability import probability_of_conformity
from sitegen.compute.stats.intervals import wilson
from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.spatial import WaferMap, orientation_suspicion
from sitegen.compute.stats.summary import BELOW_FLOOR, Summary, summarise
from sitegen.compute.stats.typical import most_typical
from sitegen.compute.stats.variance import nested_table
from sitegen.compute.stats.zones import zone_index
from sitegen.model.decision import Decision

FloatArray = npt.NDArray[np.float64]
laws = settings(derandomize=True, deadline=None, max_examples=100)

# Whole numbers as float64: sums and shifts are exact, so that laws need no tolerance.
whole = st.integers(-1000, 1000).map(float)
vectors = hnp.arrays(np.float64, st.integers(2, 40), elements=whole)
FIGURES = ("mean", "median", "quantile_05", "quantile_25", "quantile_75", "quantile_95")
SPREADS = ("standard_deviation", "robust_spread")


def figures(summary: Summary, names: tuple[str, ...]) -> list[float]:
    return [getattr(summary, name) for name in names]


@laws
@given(vectors, st.integers(-1000, 1000), st.sampled_from([0.25, 2.0, 1024.0]))
def test_shift_and_scale(values: FloatArray, shift: int, scale: float) -> None:
    before, after = summarise(values), summarise(scale * values + shift)
    tolerance = 1e-9 * scale
    expected = [scale * figure + shift for figure in figures(before, FIGURES)]
    assert figures(after, FIGURES) == pytest.approx(expected, abs=tolerance)
    expected = [scale * figure for figure in figures(before, SPREADS)]
    assert figures(after, SPREADS) == pytest.approx(expected, abs=tolerance)


@laws
@given(vectors, st.randoms(use_true_random=False), st.integers(0, 5))
def test_order_and_gaps_do_not_matter(
    values: FloatArray, random: "np.random.Generator", gaps: int
) -> None:
    shuffled = list(values) + [math.nan] * gaps
    random.shuffle(shuffled)
    found = summarise(shuffled)
    assert found.missing == gaps
    assert found == summarise(np.sort(np.append(values, [math.nan] * gaps)))


@laws
@given(vectors)
def test_figures_are_in_order(values: FloatArray) -> None:
    found = summarise(values)
    in_order = figures(
        found,
        ("minimum", "quantile_05", "quantile_25", "median", "quantile_75", "quantile_95"),
    )
    assert in_order == sorted(in_order)
    assert found.minimum is not None and found.mean is not None and found.maximum is not None
    assert found.minimum <= found.mean <= found.maximum


@laws
@given(vectors, whole)
def test_a_floor_hides_and_never_moves(values: FloatArray, floor: float) -> None:
    """A quantile of censored data is that of the true data, or below the floor, or not stated."""
    below = np.abs(values) < floor
    true, seen = summarise(values), summarise(np.where(below, 0.5 * floor, values), below, floor)
    for name in (*FIGURES[1:], "minimum", "maximum"):
        expected, found = getattr(true, name), getattr(seen, name)
        assert found in (expected, BELOW_FLOOR, None)
        if found == BELOW_FLOOR:
            assert abs(expected) < floor


@laws
@given(st.integers(1, 10_000), st.floats(0, 1), st.floats(0.5, 0.999))
def test_wilson(n: int, share: float, confidence: float) -> None:
    successes = round(share * n)
    found, opposite = wilson(successes, n, confidence), wilson(n - successes, n, confidence)
    assert found is not None and opposite is not None
    assert found.lower == pytest.approx(1 - opposite.upper, abs=1e-12)
    assert 0 <= found.lower <= found.share <= found.upper <= 1
    assert found.lower < found.upper
    wider = wilson(successes, n, (1 + confidence) / 2)
    assert wider is not None
    assert wider.lower <= found.lower and wider.upper >= found.upper


@laws
@given(hnp.arrays(np.float64, (12, 2), elements=st.floats(-100, 100)), st.floats(1, 200))
def test_zones_turn_with_the_wafer(places: FloatArray, radius: float) -> None:
    x, y = places.T
    assert list(zone_index(x, y, radius)) == list(zone_index(-y, x, radius))
    assert (zone_index(x / 2, y / 2, radius) <= zone_index(x, y, radius)).all()


@laws
@given(st.lists(vectors, min_size=2, max_size=5), st.integers(-1000, 1000))
def test_sums_of_squares_add_up(groups: list[FloatArray], shift: int) -> None:
    within, between = squares_of(groups)
    pooled = np.concatenate(groups)
    total = float(np.sum((pooled - pooled.mean()) ** 2))
    assert within + between == pytest.approx(total, rel=1e-12, abs=1e-9)
    moved = squares_of([group + shift for group in reversed(groups)])
    assert moved == pytest.approx((within, between), rel=1e-9, abs=1e-9)


def squares_of(groups: list[FloatArray]) -> tuple[float, float]:
    """Sums of squares within groups and between them."""
    labels = np.repeat(np.arange(len(groups)), [len(one) for one in groups])
    within, between = nested_table(design([labels], np.concatenate(groups)))
    assert within.sum_of_squares is not None and between.sum_of_squares is not None
    return within.sum_of_squares, between.sum_of_squares


@laws
@given(hnp.arrays(np.float64, (9, 3), elements=whole), st.permutations(range(9)))
def test_the_typical_die_is_the_same_in_any_order(values: FloatArray, order: list[int]) -> None:
    x, y = np.arange(9) % 3, np.arange(9) // 3
    found, again = most_typical(x, y, values), most_typical(x[order], y[order], values[order])
    rescaled = most_typical(x, y, 4 * values + 8)
    assert found is not None and again is not None and rescaled is not None
    assert order[again.index] == found.index == rescaled.index


@laws
@given(st.integers(0, 2**32 - 1))
def test_orientation_ignores_what_ranks_ignore(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(-3.0, 4), np.arange(-3.0, 4)))
    first, second, third = (rng.normal(size=(49, 1)) + 0.4 * x[:, None] for _ in range(3))
    references = [WaferMap(x, y, second), WaferMap(x, y, third)]
    plain = orientation_suspicion(WaferMap(x, y, first), references)
    bent = orientation_suspicion(WaferMap(x, y, np.exp(first) - 3), references)
    assert plain == bent


limits = st.tuples(whole, whole).map(lambda pair: (min(pair), max(pair)))
uncertain = st.floats(0, 200)


@laws
@given(vectors, uncertain, limits, st.sampled_from([0.5, 0.83, 1.0, 1.5]))
def test_guarded_acceptance_is_part_of_simple_acceptance(
    values: FloatArray, u: float, zone: tuple[float, float], r: float
) -> None:
    simple = decide(values, u, *zone, Decision(rule="simple")).outcome
    guarded = decide(values, u, *zone, Decision(rule="guarded", guard_factor=r)).outcome
    wider = decide(values, u, *zone, Decision(rule="guarded", guard_factor=2 * r)).outcome
    within, outside = Outcome.WITHIN, Outcome.OUTSIDE
    assert (simple[guarded == within] == within).all()
    assert (guarded[wider == within] == within).all()
    assert ((guarded == outside) == (simple == outside)).all()
    accepted = guarded == within
    probability = probability_of_conformity(values, u, *zone)
    assert (probability[accepted] >= 0.5).all()


@laws
@given(vectors, uncertain, whole, st.sampled_from(["simple", "guarded"]))
def test_outcomes_are_monotone_in_the_value(
    values: FloatArray, u: float, limit: float, kind: str
) -> None:
    rule = Decision(rule="simple") if kind == "simple" else Decision(rule="guarded")
    against_upper = decide(np.sort(values), u, None, limit, rule).outcome
    against_lower = decide(np.sort(values), u, limit, None, rule).outcome
    assert (np.diff(against_upper) >= 0).all(), "within, not proven, outside are 0, 1, 2"
    assert (np.diff(against_lower) <= 0).all()
    mirrored = decide(-np.sort(values), u, -limit, None, rule).outcome
    assert np.array_equal(against_upper, mirrored)


@laws
@given(whole, uncertain, limits, whole, st.sampled_from(["simple", "guarded"]))
def test_below_the_floor_is_never_bolder_than_the_truth(
    true: float, u: float, zone: tuple[float, float], floor: float, kind: str
) -> None:
    """Whatever lies below the floor: a verdict of within or outside would be given of it too."""
    assume(abs(true) <= floor)
    rule = Decision(rule="simple") if kind == "simple" else Decision(rule="guarded")
    lower, upper = zone
    for low, high in ((None, upper), (lower, None), zone):
        censored = decide([0.0], u, low, high, rule, [True], floor).outcome[0]
        known = decide([true], u, low, high, rule).outcome[0]
        if censored in (Outcome.WITHIN, Outcome.OUTSIDE):
            assert censored == known


@laws
@given(
    hnp.arrays(np.int8, (6, 4), elements=st.integers(0, 3)),
    hnp.arrays(bool, (6, 4)),
    hnp.arrays(bool, (6, 4)),
    st.permutations(range(4)),
)
def test_die_verdicts(
    outcome: npt.NDArray[np.int8],
    standing: npt.NDArray[np.bool_],
    measured: npt.NDArray[np.bool_],
    order: list[int],
) -> None:
    found = die_verdict(outcome, standing, True, measured)
    same = die_verdict(outcome[:, order], standing[:, order], True, measured[:, order])
    assert np.array_equal(found, same)
    conforming = found == Outcome.WITHIN
    assert (outcome[conforming] == Outcome.WITHIN).all()
    assert standing[conforming].all() and measured[conforming].all()
    # A value without standing neither lets a die conform nor fail, whatever it is.
    changed = die_verdict(np.where(standing, outcome, 2 - outcome % 3), standing, True, measured)
    assert np.array_equal(found, changed)
    # Taking standing away from everything leaves nothing decided.
    undecided = die_verdict(outcome, False, True, measured)
    assert set(undecided) <= {Outcome.NOT_ASSESSABLE, Outcome.NOT_MEASURED}
