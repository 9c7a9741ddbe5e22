"""Laws of deciding: between rules, over uncertainty, units, intervals and standing."""

from itertools import chain, combinations
from typing import get_args

import numpy as np
import numpy.typing as npt
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from sitegen.compute.conformity import Outcome, decide
from sitegen.compute.die_verdict import conforms, die_verdict, judged_in_full
from sitegen.model.decision import Decision, Rule

Codes = npt.NDArray[np.int8]
laws = settings(derandomize=True, deadline=None, max_examples=150)

RULES: tuple[Rule, ...] = get_args(Rule)
GUARDING: tuple[Rule, ...] = RULES[1:]
# Whole numbers as float64, with limits between them: no value lies on a limit or a drawn one by
# chance of rounding, and powers of two scale exactly.
whole = st.integers(-40, 40).map(float)
vectors = hnp.arrays(np.float64, st.integers(1, 12), elements=whole)
limit = st.one_of(st.none(), st.integers(-20, 20).map(lambda n: n + 0.5))
rules = st.sampled_from(RULES)
u_whole = st.sampled_from([0.0, 0.25, 1.0, 4.0, 16.0, 64.0])
OUTCOMES_JUDGED = (Outcome.WITHIN, Outcome.NOT_PROVEN, Outcome.NOT_REFUTED, Outcome.OUTSIDE)


def judged(
    values: npt.ArrayLike, u: float, ends: tuple[float | None, float | None], rule: Rule
) -> Codes:
    return decide(values, u, *ends, Decision(rule=rule)).outcome


def in_order(lower: float | None, upper: float | None) -> tuple[float | None, float | None]:
    if lower is not None and upper is not None:
        assume(lower != upper)
        return min(lower, upper), max(lower, upper)
    return lower, upper


@laws
@given(vectors, limit, limit, u_whole, u_whole, rules)
def test_more_uncertainty_never_decides_more(
    values: npt.NDArray[np.float64],
    lower: float | None,
    upper: float | None,
    u: float,
    more: float,
    rule: Rule,
) -> None:
    """What is not within with less uncertainty is not within with more, under a rule that guards
    acceptance; likewise outside, under one that guards rejection."""
    ends = in_order(lower, upper)
    less, larger = (
        judged(values, min(u, more), ends, rule),
        judged(values, max(u, more), ends, rule),
    )
    if rule in ("simple", "guarded rejection"):
        assert np.array_equal(less == Outcome.WITHIN, larger == Outcome.WITHIN)
    else:
        assert not ((less != Outcome.WITHIN) & (larger == Outcome.WITHIN)).any()
    if rule in ("simple", "guarded"):
        assert np.array_equal(less == Outcome.OUTSIDE, larger == Outcome.OUTSIDE)
    else:
        assert not ((less != Outcome.OUTSIDE) & (larger == Outcome.OUTSIDE)).any()


@laws
@given(vectors, limit, limit, u_whole)
def test_the_rules_are_one_family(
    values: npt.NDArray[np.float64], lower: float | None, upper: float | None, u: float
) -> None:
    """The non-binary rule is within as guarded acceptance is, outside as guarded rejection is."""
    ends = in_order(lower, upper)
    found = {rule: judged(values, u, ends, rule) for rule in RULES}
    both = found["non-binary"]
    assert np.array_equal(both == Outcome.WITHIN, found["guarded"] == Outcome.WITHIN)
    assert np.array_equal(both == Outcome.OUTSIDE, found["guarded rejection"] == Outcome.OUTSIDE)
    conform = found["simple"] == Outcome.WITHIN
    judged_there = np.isin(both, OUTCOMES_JUDGED)
    inside = np.isin(both, (Outcome.WITHIN, Outcome.NOT_PROVEN))
    assert np.array_equal(conform & judged_there, inside)
    assert np.array_equal(found["guarded rejection"] == Outcome.WITHIN, conform)


@laws
@given(vectors, limit, limit, u_whole, st.sampled_from(GUARDING))
def test_a_guard_band_that_shrinks_to_nothing_is_the_simple_rule(
    values: npt.NDArray[np.float64],
    lower: float | None,
    upper: float | None,
    u: float,
    rule: Rule,
) -> None:
    """No value lies on a limit here: on it a guard band of any width makes a difference."""
    ends = in_order(lower, upper)
    tiny = decide(values, u, *ends, Decision(rule=rule, guard_factor=1e-9)).outcome
    assert np.array_equal(tiny, judged(values, u, ends, "simple"))


@laws
@given(vectors, limit, limit, u_whole, rules, st.sampled_from([2.0**-40, 0.25, 1024.0]))
def test_units_and_mirroring(
    values: npt.NDArray[np.float64],
    lower: float | None,
    upper: float | None,
    u: float,
    rule: Rule,
    scale: float,
) -> None:
    ends = in_order(lower, upper)
    bounded = Decision(rule=rule, uncertainty_share_max=0.3)

    def scaled(end: float | None, factor: float) -> float | None:
        return None if end is None else factor * end

    found = decide(values, u, *ends, bounded)
    low, high = (scaled(end, scale) for end in ends)
    other = decide(scale * values, scale * u, low, high, bounded)
    assert np.array_equal(found.outcome, other.outcome)
    assert np.array_equal(found.reason, other.reason)
    mirrored = decide(-values, u, scaled(ends[1], -1.0), scaled(ends[0], -1.0), bounded)
    assert np.array_equal(found.outcome, mirrored.outcome)
    single = decide(values.astype(np.float32), np.float32(u), *ends, bounded)
    assert np.array_equal(found.outcome, single.outcome)


@laws
@given(
    st.integers(1, 12), limit, limit, st.sampled_from([0.0, 0.25, 1.0, 4.0]), rules, st.booleans()
)
def test_an_interval_is_judged_as_all_of_its_points(
    size: int,
    lower: float | None,
    upper: float | None,
    u: float,
    rule: Rule,
    below: bool,
) -> None:
    """A floor of `size`, or a value not reached beyond it, against every point that it can be."""
    ends = in_order(lower, upper)
    assume(ends != (None, None))
    kind = Decision(rule=rule)
    if below:
        found = decide([0.0], u, *ends, kind, [True], float(size))
        points = np.linspace(-size, size, 16 * size + 1)
    else:
        found = decide([float(size)], u, *ends, kind, not_reached=[True])
        points = np.append(np.linspace(size, size + 60, 961), 1e9)
    seen = {int(code) for code in decide(points, u, *ends, kind).outcome}
    word = int(found.outcome[0])
    if Outcome.NOT_ASSESSABLE in seen:  # no acceptance zone between the limits
        assert word in (Outcome.NOT_ASSESSABLE, Outcome.NOT_REFUTED, Outcome.OUTSIDE)
        return
    if seen == {Outcome.WITHIN} or seen == {Outcome.OUTSIDE}:
        assert {word} == seen
    elif seen <= {Outcome.WITHIN, Outcome.NOT_PROVEN}:
        assert word == Outcome.NOT_PROVEN
    elif seen <= {Outcome.NOT_REFUTED, Outcome.OUTSIDE} and len(beyond(points, ends)) == 1:
        assert word == Outcome.NOT_REFUTED
    else:
        assert word == Outcome.NOT_ASSESSABLE


def beyond(points: npt.NDArray[np.float64], ends: tuple[float | None, float | None]) -> set[int]:
    """On which sides of the tolerance the points lie."""
    low, high = (-np.inf if ends[0] is None else ends[0]), (np.inf if ends[1] is None else ends[1])
    return {int(side) for side in np.select([points < low, points > high], [-1, 1], 0)}


CONFORMING = tuple(
    tuple(chosen)
    for n in range(1, 4)
    for chosen in combinations((Outcome.WITHIN, Outcome.NOT_PROVEN, Outcome.NOT_REFUTED), n)
)


@laws
@given(
    hnp.arrays(np.float64, (8, 3), elements=whole),
    hnp.arrays(np.bool_, (8, 3)),
    hnp.arrays(np.bool_, (8, 3)),
    limit,
    limit,
    u_whole,
    rules,
    st.sampled_from(CONFORMING),
)
def test_a_value_without_standing_never_makes_a_die_conform(
    values: npt.NDArray[np.float64],
    standing: npt.NDArray[np.bool_],
    measured: npt.NDArray[np.bool_],
    lower: float | None,
    upper: float | None,
    u: float,
    rule: Rule,
    conforming: tuple[Outcome, ...],
) -> None:
    """Under every rule and every declared set of conforming outcomes: whatever the value is, a die
    with a planned value that is missing or has no standing does not conform, and taking standing
    away never makes a die conform."""
    ends = in_order(lower, upper)
    assume(ends != (None, None))
    taken = np.where(measured, values, np.nan)
    outcome = judged(taken.ravel(), u, ends, rule).reshape(taken.shape)
    found = conforms(outcome, standing, True, measured, conforming=conforming)
    gaps = (~standing | ~measured).any(axis=1)
    assert not (found & gaps).any()
    whole_dies = conforms(outcome, True, True, measured, conforming=conforming)
    assert not (found & ~whole_dies).any()
    verdict = die_verdict(outcome, standing, True, measured)
    assert not (found & ~np.isin(verdict, conforming)).any()
    assert not (found & ~judged_in_full(outcome, standing, True, measured)).any()
    assert not (np.isin(verdict, OUTCOMES_JUDGED[:3]) & gaps).any()


def test_every_set_of_conforming_outcomes_is_tried() -> None:
    assert len(CONFORMING) == 7
    assert set(chain.from_iterable(CONFORMING)) == set(OUTCOMES_JUDGED[:3])
