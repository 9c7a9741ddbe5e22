"""Decisions against JCGM 106:2012, ISO 14253-1 and ILAC-G8 (figures recomputed with scipy)."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import ndtri
from scipy.stats import norm

from sitegen.compute.conformity import (
    DIE_VERDICT_LOGIC,
    REASONS,
    RULE_LOGIC,
    Conformity,
    DecisionRule,
    Outcome,
    Reason,
    decide,
    die_verdict,
    probability_of_conformity,
)
from sitegen.model.results import OUTCOMES

NAN = math.nan
SIMPLE = DecisionRule("simple")
GUARDED = DecisionRule("guarded", coverage_factor=2.0, guard_ratio=1.0)


def words(decision: Conformity) -> list[str]:
    return [OUTCOMES[code] for code in decision.outcome]


def reasons(decision: Conformity) -> list[str]:
    return [REASONS[code] for code in decision.reason]


# JCGM 106:2012, equation (7): worked figures at the printed rounding.
@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "probability"),
    [
        (9.7, 0.2, None, 10.0, 0.933193),
        (10.0, 0.2, None, 10.0, 0.5),
        (0.5, 0.25, 0.0, 1.0, 0.954500),
        (0.9, 0.25, 0.0, 1.0, 0.655263),
    ],
)
def test_probability_of_conformity(
    value: float, u: float, lower: float | None, upper: float | None, probability: float
) -> None:
    found = probability_of_conformity(value, u, lower, upper)
    assert float(found) == pytest.approx(probability, abs=5e-7)


def test_probability_keeps_its_digits_in_both_tails() -> None:
    """A difference of two Phi near 1 would be 0; the integral of the density is the reference."""
    for value in (-9.0, 10.0):
        density = norm(value, 1.0).pdf
        expected = quad(density, 0.0, 1.0, epsabs=0, epsrel=1e-12)[0]
        found = float(probability_of_conformity(value, 1.0, 0.0, 1.0))
        assert found == pytest.approx(expected, rel=1e-9)
        assert found > 0


def test_probability_where_something_is_missing() -> None:
    found = probability_of_conformity([NAN, 1.0, 1.0, 2.1], [1.0, NAN, 0.0, 0.0], 1.0, 2.0)
    assert np.array_equal(found, [NAN, NAN, 1.0, 0.0], equal_nan=True)
    assert float(probability_of_conformity(3.0, 1.0, None, None)) == 1


# Worst case of false acceptance: the true value lies on the limit. k = 2, w = r U; 5 % and below
# are the figures of ISO 14253-1 (0.83) and ILAC-G8:09/2019 (1 and 1.5), 15.87 % is Phi(-1).
@pytest.mark.parametrize(
    ("guard_ratio", "percent", "decimals"),
    [(0.0, 50.0, 2), (0.5, 15.87, 2), (0.83, 4.85, 2), (1.0, 2.275, 3), (1.5, 0.135, 3)],
)
def test_worst_case_false_acceptance(guard_ratio: float, percent: float, decimals: int) -> None:
    """Readings at a million equally probable places of the normal distribution at the limit."""
    n = 1_000_000
    limit, u = 10.0, 0.2
    readings = limit + u * ndtri((np.arange(n) + 0.5) / n)
    rule = DecisionRule("guarded", 2.0, guard_ratio) if guard_ratio else SIMPLE
    accepted = decide(readings, u, None, limit, rule).outcome == Outcome.WITHIN
    assert round(100 * accepted.mean(), decimals) == percent
    mirrored = decide(-readings, u, -limit, None, rule).outcome == Outcome.WITHIN
    assert np.array_equal(accepted, mirrored)


def test_simple_rule() -> None:
    values = [0.0, 1.0, 1.5, 2.0, 2.0000001, 0.9999999, NAN]
    decision = decide(values, NAN, 1.0, 2.0, SIMPLE)
    assert words(decision) == [
        "outside",
        "within",
        "within",
        "within",
        "outside",
        "outside",
        "not measured",
    ]
    assert set(decision.acceptance_lower) == {1.0}
    assert set(decision.acceptance_upper) == {2.0}


def test_guarded_rule() -> None:
    """JCGM 106:2012, 8.3.2: tolerance 1 to 2, u = 1/16, w = 1/8 (all exact in binary)."""
    values = [0.99, 1.0, 1.124, 1.125, 1.5, 1.875, 1.876, 2.0, 2.01, NAN]
    decision = decide(values, 0.0625, 1.0, 2.0, GUARDED)
    assert words(decision) == [
        "outside",
        "not proven",
        "not proven",
        "within",
        "within",
        "within",
        "not proven",
        "not proven",
        "outside",
        "not measured",
    ]
    assert set(decision.acceptance_lower) == {1.125}
    assert set(decision.acceptance_upper) == {1.875}
    assert set(reasons(decision)) == {""}


def test_one_limit_only() -> None:
    upper = decide([-1e9, 0.875, 0.9, 1.1], 0.0625, None, 1.0, GUARDED)
    assert words(upper) == ["within", "within", "not proven", "outside"]
    assert np.isnan(upper.acceptance_lower).all()
    lower = decide([1e9, 1.125, 1.1, 0.9], 0.0625, 1.0, None, GUARDED)
    assert words(lower) == ["within", "within", "not proven", "outside"]
    assert np.isnan(lower.acceptance_upper).all()


def test_no_limits() -> None:
    for rule in (SIMPLE, GUARDED):
        assert words(decide([1.0, NAN], NAN, None, None, rule)) == ["no limits", "not measured"]


def test_guarded_rule_without_uncertainty() -> None:
    decision = decide([1.5, 9.0, NAN], [NAN, NAN, 0.1], 1.0, 2.0, GUARDED)
    assert words(decision) == ["not assessable", "not assessable", "not measured"]
    assert reasons(decision) == ["no uncertainty stated for a guarded rule"] * 2 + [""]
    assert np.isnan(decision.acceptance_upper[0])


@pytest.mark.parametrize("u", [0.25, 0.3, 5.0])
def test_no_acceptance_zone(u: float) -> None:
    """With 2 w at least the tolerance nothing can be accepted: that is no failure of the dies."""
    decision = decide([1.0, 1.5, 2.0, 0.9, 2.1], u, 1.0, 2.0, GUARDED)
    assert words(decision) == ["not assessable"] * 3 + ["outside"] * 2
    assert reasons(decision) == ["guard bands leave no acceptance zone"] * 3 + [""] * 2


def test_acceptance_zone_may_differ_from_value_to_value() -> None:
    decision = decide([1.5, 1.5, 1.5], [0.05, 0.3, NAN], 1.0, 2.0, GUARDED)
    assert words(decision) == ["within", "not assessable", "not assessable"]
    assert decision.reason.tolist() == [0, Reason.NO_ACCEPTANCE_ZONE, Reason.NO_UNCERTAINTY]


def test_below_the_floor_and_an_upper_limit() -> None:
    """A leakage of at most 1 pA (the floor), whatever number was stored."""
    values, below = [-3e-12, NAN, 5e-14], [True, True, True]
    floor = [1e-12, 1e-12, 1e-12]
    for limit, word in ((1e-11, "within"), (1e-12, "within"), (0.9e-12, "not assessable")):
        decision = decide(values, NAN, None, limit, SIMPLE, below, floor)
        assert words(decision) == [word] * 3
    assert reasons(decision) == ["floor above the limit"] * 3


def test_below_the_floor_under_the_guarded_rule() -> None:
    """Floor and guard band together must fit: floor 1, w = 0.25."""
    for limit, word in ((1.25, "within"), (1.2, "not proven"), (0.9, "not assessable")):
        decision = decide([0.0], [0.125], None, limit, GUARDED, [True], 1.0)
        assert words(decision) == [word]
    assert words(decide([0.0], [NAN], None, 9.0, GUARDED, [True], 1.0)) == ["not assessable"]


def test_below_the_floor_and_a_lower_limit() -> None:
    """What is at most 1 misses a lower limit of 2; whether it meets one of 0.5 is not known."""
    for rule in (SIMPLE, GUARDED):
        missed = decide([0.0], [0.01], 2.0, 3.0, rule, [True], 1.0)
        unknown = decide([0.0], [0.01], 0.5, 3.0, rule, [True], 1.0)
        assert words(missed) == ["outside"]
        assert words(unknown) == ["not assessable"]
        assert reasons(unknown) == [
            "a reading below the floor cannot show that a lower limit is met"
        ]


def test_words_fit_a_categorical() -> None:
    decision = decide([0.5, 3.0, NAN], 0.0, 0.0, 1.0, SIMPLE)
    column = pd.Categorical.from_codes(decision.outcome, pd.Index(OUTCOMES))
    assert list(column) == ["within", "outside", "not measured"]
    assert len(OUTCOMES) == len(Outcome)
    assert len(REASONS) == len(Reason)
    assert set(RULE_LOGIC) == {"simple", "guarded"}


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "message"),
    [
        ([1.0], 0.1, 2.0, 1.0, "lies above"),
        ([1.0], 0.1, NAN, 1.0, "finite or None"),
        ([math.inf], 0.1, 0.0, 1.0, "finite or NaN"),
        ([1.0], -0.1, 0.0, 1.0, "not negative"),
    ],
)
def test_misuse_is_refused(
    value: list[float], u: float, lower: float, upper: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        decide(value, u, lower, upper, GUARDED)


def test_a_reading_below_an_unstated_floor_is_refused() -> None:
    with pytest.raises(ValueError, match="finite floor"):
        decide([1.0], 0.1, 0.0, 1.0, SIMPLE, [True])


@pytest.mark.parametrize(("k", "r"), [(2.0, 0.0), (0.0, 1.0), (2.0, -1.0), (NAN, 1.0)])
def test_a_guarded_rule_needs_a_guard_band(k: float, r: float) -> None:
    with pytest.raises(ValueError, match="guarded rule"):
        DecisionRule("guarded", k, r)


IN, NP, OUT, NA = Outcome.WITHIN, Outcome.NOT_PROVEN, Outcome.OUTSIDE, Outcome.NOT_ASSESSABLE


@pytest.mark.parametrize(
    ("outcomes", "standing", "expected"),
    [
        ([IN, IN, IN], [True, True, True], IN),
        ([IN, NP, IN], [True, True, True], NP),
        ([IN, NP, NA], [True, True, True], NA),
        ([OUT, NP, NA], [True, True, True], OUT),
        ([IN, IN, IN], [True, False, True], NA),
        ([IN, OUT, IN], [True, False, True], NA),
        ([OUT, OUT, IN], [True, False, False], OUT),
        ([NP, OUT, IN], [True, False, True], NA),
    ],
)
def test_die_precedence(outcomes: list[Outcome], standing: list[bool], expected: Outcome) -> None:
    assert die_verdict([outcomes], [standing], True, True).tolist() == [expected]


def test_die_with_gaps() -> None:
    """Four dies with parameters of which the last has no limits."""
    outcome = [
        [IN, Outcome.NOT_MEASURED, Outcome.NO_LIMITS],
        [OUT, Outcome.NOT_MEASURED, Outcome.NO_LIMITS],
        [Outcome.NOT_MEASURED] * 3,
        [Outcome.NOT_MEASURED, Outcome.NOT_MEASURED, Outcome.NO_LIMITS],
    ]
    measured = np.array(outcome) != Outcome.NOT_MEASURED
    limits = [True, True, False]
    as_planned = die_verdict(outcome, True, limits, measured)
    assert as_planned.tolist() == [NA, OUT, Outcome.NOT_MEASURED, NA]
    one_planned = die_verdict(outcome, True, limits, measured, [True, False, True])
    assert one_planned.tolist() == [IN, OUT, Outcome.NOT_MEASURED, NA]
    none_limited = die_verdict(outcome, True, False, measured)
    nothing = Outcome.NO_LIMITS
    assert none_limited.tolist() == [nothing, nothing, Outcome.NOT_MEASURED, nothing]


def test_a_parameter_without_limits_needs_no_standing() -> None:
    found = die_verdict([[IN, Outcome.NO_LIMITS]], [[True, False]], [True, False], True)
    assert found.tolist() == [IN]


def test_the_printed_logic_is_two_sentences() -> None:
    assert DIE_VERDICT_LOGIC.count(".") == 2
