"""Decisions against JCGM 106:2012, ISO 14253-1 and ILAC-G8 (figures recomputed with scipy)."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri

from sitegen.compute.conformity import (
    REASONS,
    Conformity,
    Outcome,
    Reason,
    decide,
)
from sitegen.model.decision import RULE_TEXTS, Decision, Rule
from sitegen.model.results import OUTCOMES

NAN = math.nan
SIMPLE = Decision(rule="simple")
GUARDED = Decision(rule="guarded", coverage_factor=2.0, guard_factor=1.0)
REJECTION = Decision(rule="guarded rejection")
NON_BINARY = Decision(rule="non-binary")
ALL_RULES: tuple[Rule, ...] = ("simple", "guarded", "guarded rejection", "non-binary")


def words(decision: Conformity) -> list[str]:
    return [OUTCOMES[code] for code in decision.outcome]


def reasons(decision: Conformity) -> list[str]:
    return [REASONS[code] for code in decision.reason]


# Worst case of false acceptance: the true value lies on the limit. k = 2, w = r U; 5 % and below
# are the figures of ISO 14253-1 (0.83) and ILAC-G8:09/2019 (1 and 1.5), 15.87 % is Phi(-1).
@pytest.mark.parametrize(
    ("guard_factor", "percent", "decimals"),
    [(0.0, 50.0, 2), (0.5, 15.87, 2), (0.83, 4.85, 2), (1.0, 2.275, 3), (1.5, 0.135, 3)],
)
def test_worst_case_false_acceptance(guard_factor: float, percent: float, decimals: int) -> None:
    """Readings at a million equally probable places of the normal distribution at the limit."""
    n = 1_000_000
    limit, u = 10.0, 0.2
    readings = limit + u * ndtri((np.arange(n) + 0.5) / n)
    rule = Decision(rule="guarded", guard_factor=guard_factor) if guard_factor else SIMPLE
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
    assert tuple(one.name.lower().replace("_", " ") for one in Outcome) == OUTCOMES
    assert set(RULE_TEXTS) == set(ALL_RULES)


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


@pytest.mark.parametrize(("k", "r"), [(2.0, 0.0), (0.0, 1.0), (2.0, -1.0), (NAN, 1.0), (1e31, 1.0)])
def test_a_guarded_rule_needs_a_guard_band(k: float, r: float) -> None:
    with pytest.raises(ValueError, match=r"greater than 0|finite number|less than or equal"):
        Decision(rule="guarded", coverage_factor=k, guard_factor=r)


# Tolerance 1 to 2, u = 1/16, w = 1/8, all exact in binary: places beyond, on the limit drawn out,
# in the outer band, on the limit, in the inner band, on the limit drawn in, inside. The zones are
# JCGM 106:2012, 8.2, 8.3.2 and 8.3.3, and ILAC-G8:09/2019, 4.2 (numbers quoted from memory).
PLACES = {
    "beyond": (0.8, 2.2),
    "on the limit drawn out": (0.875, 2.125),
    "outer band": (0.9, 2.1),
    "on the limit": (1.0, 2.0),
    "inner band": (1.1, 1.9),
    "on the limit drawn in": (1.125, 1.875),
    "inside": (1.2, 1.8),
}
ZONES: dict[Rule, tuple[str, ...]] = {
    "simple": ("outside", "outside", "outside", "within", "within", "within", "within"),
    "guarded": (
        *("outside", "outside", "outside", "not proven", "not proven"),
        *("within", "within"),
    ),
    "guarded rejection": (
        *("outside", "not refuted", "not refuted"),
        *("within", "within", "within", "within"),
    ),
    "non-binary": (
        *("outside", "not refuted", "not refuted", "not proven", "not proven"),
        *("within", "within"),
    ),
}


@pytest.mark.parametrize("kind", ALL_RULES)
def test_the_zones_of_every_rule(kind: Rule) -> None:
    rule = Decision(rule=kind)
    for (lower_place, upper_place), word in zip(PLACES.values(), ZONES[kind], strict=True):
        assert words(decide([lower_place, upper_place], 0.0625, 1.0, 2.0, rule)) == [word, word]
        assert words(decide([lower_place], 0.0625, 1.0, None, rule)) == [word]
        assert words(decide([upper_place], 0.0625, None, 2.0, rule)) == [word]
        far = decide([lower_place, upper_place, NAN], 0.0625, None, None, rule)
        assert words(far) == ["no limits", "no limits", "not measured"]


def test_acceptance_limits_of_every_rule() -> None:
    drawn = {kind: decide([1.5], 0.0625, 1.0, 2.0, Decision(rule=kind)) for kind in ALL_RULES}
    found = {
        kind: (one.acceptance_lower[0], one.acceptance_upper[0]) for kind, one in drawn.items()
    }
    assert found == {
        "simple": (1.0, 2.0),
        "guarded": (1.125, 1.875),
        "guarded rejection": (0.875, 2.125),
        "non-binary": (1.125, 1.875),
    }
    bands = {kind: one.guard_band[0] for kind, one in drawn.items()}
    assert np.isnan(bands.pop("simple"))
    assert set(bands.values()) == {0.125}
    assert {float(one.uncertainty_share[0]) for one in drawn.values()} == {0.125}


@pytest.mark.parametrize("kind", ALL_RULES[1:])
def test_without_uncertainty_no_guard_band_decides(kind: Rule) -> None:
    decision = decide([1.5, 9.0], NAN, 1.0, 2.0, Decision(rule=kind))
    assert words(decision) == ["not assessable"] * 2
    assert set(decision.reason) == {Reason.NO_UNCERTAINTY}
    assert np.isnan(decision.acceptance_lower).all() and np.isnan(decision.guard_band).all()


@pytest.mark.parametrize("u", [0.25, 0.3, 5.0])
def test_no_acceptance_zone_of_the_other_rules(u: float) -> None:
    """Guarded rejection draws nothing in: it never lacks a zone."""
    values = [1.0, 1.5, 2.0, 0.9, 2.1, 99.0]
    none = decide(values, u, 1.0, 2.0, NON_BINARY)
    assert words(none) == ["not assessable"] * 3 + ["not refuted"] * 2 + ["outside"]
    assert reasons(none)[:3] == ["guard bands leave no acceptance zone"] * 3
    wide = decide(values, u, 1.0, 2.0, REJECTION)
    assert words(wide) == ["within"] * 3 + ["not refuted"] * 2 + ["outside"]


# A reading below the floor of 1, or a value known to lie beyond what was reached, w = 0.25.
@pytest.mark.parametrize(
    ("lower", "upper", "rejection", "non_binary"),
    [
        (None, 1.25, "within", "within"),
        (None, 1.2, "within", "not proven"),
        (None, 0.9, "not assessable", "not assessable"),
        (None, -1.0, "not assessable", "not assessable"),
        (None, -1.1, "not refuted", "not refuted"),
        (None, -1.3, "outside", "outside"),
        (1.1, None, "not refuted", "not refuted"),
        (1.3, 9.0, "outside", "outside"),
        (0.5, 9.0, "not assessable", "not assessable"),
    ],
)
def test_below_the_floor_under_rules_that_guard_rejection(
    lower: float | None, upper: float | None, rejection: str, non_binary: str
) -> None:
    for rule, word in ((REJECTION, rejection), (NON_BINARY, non_binary)):
        assert words(decide([0.0], [0.125], lower, upper, rule, [True], 1.0)) == [word]


@pytest.mark.parametrize(
    ("reached", "rejection", "non_binary"),
    [
        (20.0, "within", "within"),
        (18.1, "within", "not proven"),
        (17.0, "not assessable", "not assessable"),
    ],
)
def test_not_reached_under_rules_that_guard_rejection(
    reached: float, rejection: str, non_binary: str
) -> None:
    for rule, word in ((REJECTION, rejection), (NON_BINARY, non_binary)):
        assert words(decide([reached], 0.125, 18.0, None, rule, not_reached=[True])) == [word]
        mirrored = decide([-reached], 0.125, None, -18.0, rule, not_reached=[True])
        assert words(mirrored) == [word]
    beyond = decide([20.1, 20.5], 0.125, None, 20.0, NON_BINARY, not_reached=[True, True])
    assert words(beyond) == ["not refuted", "outside"]


@pytest.mark.parametrize("kind", ALL_RULES)
@pytest.mark.parametrize("ends", [(1.0, 2.0), (None, 2.0), (1.0, None), (None, None)])
def test_what_a_rule_accepts_lies_between_its_acceptance_limits(
    kind: Rule, ends: tuple[float | None, float | None]
) -> None:
    """The limits and the accepted outcomes that the rule states, against how values are judged;
    w = 0.125 to 0.5 and values between multiples of it, so that none lies on a limit."""
    rule = Decision(rule=kind)
    values = np.arange(0.0, 3.0, 0.0625) + 0.03125
    for u in (0.0, 0.0625, 0.2, 0.25):
        lower, upper = rule.acceptance_limits(*ends, u)
        found = np.isin(words(decide(values, u, *ends, rule)), rule.accepted)
        if ends == (None, None) or (lower, upper) == (None, None):
            assert not found.any()
            assert ends == (None, None) or not rule.leaves_a_zone(1.0, u)
            continue
        low, high = (-np.inf if lower is None else lower), (np.inf if upper is None else upper)
        assert np.array_equal(found, (values > low) & (values < high))


def test_where_a_zone_is_left() -> None:
    """Not at 2 w = 1 and beyond, for rules that draw limits in; NaN takes nothing away."""
    u = [0.0, 0.2499, 0.25, 9.0, NAN]
    for rule in (GUARDED, NON_BINARY):
        assert rule.leaves_a_zone(1.0, u).tolist() == [True, True, False, False, True]
        assert rule.leaves_a_zone(0.0, u).tolist() == [True, False, False, False, True]
        assert rule.leaves_a_zone(math.inf, u).all()
    assert SIMPLE.leaves_a_zone(0.0, u).all() and REJECTION.leaves_a_zone(0.0, u).all()
    assert [one.guard_band(0.25) for one in (SIMPLE, GUARDED, REJECTION)] == [None, 0.5, 0.5]
    assert NON_BINARY.guard_band(None) is None


@pytest.mark.parametrize("kind", ALL_RULES)
def test_a_bound_on_the_uncertaintys_share_of_the_tolerance(kind: Rule) -> None:
    """U = 2 u of a tolerance of 1 at most 0.2: a value beyond it is judged nowhere."""
    rule = Decision(rule=kind, uncertainty_share_max=0.2)
    for value in (1.5, 99.0):
        decision = decide([value] * 3, [0.1, 0.1001, NAN], 1.0, 2.0, rule)
        assert words(decision)[1:] == ["not assessable"] * 2
        assert decision.reason[1] == Reason.UNCERTAINTY_TOO_LARGE
        assert decision.reason[2] == (
            Reason.CAPABILITY_NOT_KNOWN if kind == "simple" else Reason.NO_UNCERTAINTY
        )
        assert decision.uncertainty_share[1] == pytest.approx(0.2002)
    assert words(decide([1.5], 0.1, 1.0, 2.0, rule)) == ["within"]
    one_sided = decide([1.5, 99.0], 0.1001, None, 2.0, rule)
    assert words(one_sided) == ["within", "outside"]
    assert np.isnan(one_sided.uncertainty_share).all()
    assert words(decide([NAN], NAN, 1.0, 2.0, rule)) == ["not measured"]


def test_a_share_exactly_at_its_bound_survives_rounding() -> None:
    """0.5 - 0.4 is less than 0.1 in binary; U = 0.025 is still a quarter of it."""
    rule = Decision(rule="simple", uncertainty_share_max=0.25)
    assert words(decide([0.45], 0.0125, 0.4, 0.5, rule)) == ["within"]
    assert words(decide([0.45], 0.0125 * (1 + 1e-6), 0.4, 0.5, rule)) == ["not assessable"]


def test_one_sided_simple_acceptance_asks_no_uncertainty_for_a_bound() -> None:
    rule = Decision(rule="simple", uncertainty_share_max=0.25)
    assert words(decide([0.45], NAN, 0.4, None, rule)) == ["within"]


# The worst case of refusing what conforms, its true value on the limit: the same figures as those
# of false acceptance (check against Phi(-r k), scipy), for the rules that guard rejection.
@pytest.mark.parametrize(
    ("guard_factor", "percent", "decimals"),
    [(0.5, 15.87, 2), (0.83, 4.85, 2), (1.0, 2.275, 3), (1.5, 0.135, 3)],
)
@pytest.mark.parametrize("kind", ["guarded rejection", "non-binary"])
def test_worst_case_false_refusal(
    kind: Rule, guard_factor: float, percent: float, decimals: int
) -> None:
    n = 1_000_000
    limit, u = 10.0, 0.2
    readings = limit + u * ndtri((np.arange(n) + 0.5) / n)
    outcome = decide(
        readings, u, None, limit, Decision(rule=kind, guard_factor=guard_factor)
    ).outcome
    assert round(100 * (outcome == Outcome.OUTSIDE).mean(), decimals) == percent
    accepted = (outcome == Outcome.WITHIN).mean()
    expected = 50.0 if kind == "guarded rejection" else percent
    assert round(100 * accepted, decimals) == expected


def test_edges_of_the_arrays() -> None:
    for kind in ALL_RULES:
        assert decide([], [], 1.0, 2.0, Decision(rule=kind)).outcome.shape == (0,)
        single = decide(
            np.array([1.5], np.float32), np.zeros(1, np.float32), 1.0, 2.0, Decision(rule=kind)
        )
        assert words(single) == ["within"]
        assert words(decide([-0.0], 0.0, 0.0, 0.0, Decision(rule=kind))) == ["within"]
        assert words(decide([NAN, NAN], NAN, 1.0, 2.0, Decision(rule=kind))) == ["not measured"] * 2


@pytest.mark.parametrize("kind", ALL_RULES)
@pytest.mark.parametrize("factor", [1e-15, 1e-12, 1e-3, 0.1, 1e3, 1e9])
def test_a_value_on_a_limit_stays_on_it_in_every_unit(kind: Rule, factor: float) -> None:
    """Whole values in other units lie on limits and drawn limits by conversion: 397 to 424 with
    w = 8 also where 405 mV are written as 0.405 V; without slack 405 would be not proven."""
    values = np.arange(380.0, 441.0)
    whole = decide(values, 4.0, 397.0, 424.0, Decision(rule=kind))
    scaled = decide(
        factor * values, factor * 4.0, factor * 397.0, factor * 424.0, Decision(rule=kind)
    )
    assert np.array_equal(whole.outcome, scaled.outcome)
    volts = decide(1000.0 * (values / 1000.0), 4.0, 397.0, 424.0, Decision(rule=kind))
    assert np.array_equal(whole.outcome, volts.outcome)
    tiny = decide([-1e-15, 0.0, 1.0, 1.0 + 1e-14], 0.0, 0.0, 1.0, Decision(rule=kind))
    assert words(tiny) == ["outside", "within", "within", "outside"]
    inside = decide([405.0 - 1e-9, 405.0], 4.0, 397.0, 424.0, GUARDED)
    assert words(inside) == ["not proven", "within"]
