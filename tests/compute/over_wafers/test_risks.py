"""Risks over a parameter's values, by its rule and its declared prior."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from sitegen.compute.conformity import decide
from sitegen.compute.over_wafers.risks import risks
from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.decision import Decision
from sitegen.model.decision_results import Risks
from sitegen.model.results import OUTCOMES
from tests.compute.over_wafers.sample_data import sample

GUARDED = Decision(rule="guarded")
PRIOR = {"mean": 0.0, "standard_deviation": 0.12, "basis": "earlier lots"}


def judged(values: list[float], decision: Decision, u: float = 0.04, **changes: Any) -> Sample:
    """A sample whose outcomes follow from the rule."""
    limits = {"lower": -0.2, "upper": 0.2, **changes}
    found = sample([values], u=u, **limits)
    parameter = found.parameter
    outcome = decide(found.value, found.u, parameter.lower, parameter.upper, decision)
    return replace(found, outcome=np.array(OUTCOMES, dtype=object)[outcome.outcome])


def of(values: list[float], decision: Decision = GUARDED, **changes: Any) -> Risks:
    return risks(judged(values, decision, **changes), decision)


def test_the_resistors() -> None:
    """JCGM 106:2012, clause 9 (parameters from memory): r k u = 0.04 with k = 2, r = 0.5."""
    decision = Decision(rule="guarded", guard_factor=0.5)
    found = of([0.0, 0.1, 0.15, 0.18, 0.3], decision, prior=PRIOR)
    assert found.n == 5
    assert round(100 * (found.global_consumer or 0), 3) == 0.433
    assert round(100 * (found.global_producer or 0), 3) == 11.466
    assert found.capability_index == pytest.approx(0.4 / 0.16)
    assert found.uncertainty_share == pytest.approx(0.2)
    assert found.worst_false_acceptance == pytest.approx(norm.sf(1.0))
    assert found.reason == ""


def test_probabilities_of_the_values_within() -> None:
    """0 and 0.12 are within (w = 0.08), 0.15 is not proven; p by scipy's normal law."""
    found = of([0.0, 0.12, 0.15])
    p = [norm.cdf((0.2 - y) / 0.04) - norm.cdf((-0.2 - y) / 0.04) for y in (0.0, 0.12)]
    assert found.least_probability == pytest.approx(min(p))
    assert found.expected_outside == pytest.approx(sum(1 - one for one in p))
    assert found.specific_consumer is None and found.global_producer is None
    assert found.reason == "no prior is declared"


def test_specific_risks_with_the_prior() -> None:
    """The posterior of value y: mean 0.9 y (0.12²/(0.12² + 0.04²)), spread sqrt(0.9) 0.04."""
    found = of([0.0, 0.12, 0.15, 0.3], prior=PRIOR)
    spread = np.sqrt(0.9) * 0.04

    def conforms(y: float) -> float:
        law = norm(0.9 * y, spread)
        return float(law.cdf(0.2) - law.cdf(-0.2))

    assert found.specific_consumer == pytest.approx(1 - conforms(0.12))
    assert found.specific_producer == pytest.approx(conforms(0.15))


@pytest.mark.parametrize(
    ("rule", "acceptance"),
    [
        ("simple", 0.5),
        ("guarded", 0.02275),
        ("guarded rejection", 0.97725),
        ("non-binary", 0.02275),
    ],
)
def test_worst_cases_by_rule(rule: Any, acceptance: float) -> None:
    found = of([0.0], Decision(rule=rule))
    assert found.worst_false_acceptance == pytest.approx(acceptance, abs=5e-6)


def test_guarded_rejection_accepts_what_is_not_refuted() -> None:
    """0.25 lies beyond 0.2 by less than 0.08: accepted, so its risk is the consumer's."""
    decision = Decision(rule="guarded rejection")
    found = of([0.0, 0.25, 0.3], decision, prior=PRIOR)
    law = norm(0.9 * 0.25, np.sqrt(0.9) * 0.04)
    assert found.specific_consumer == pytest.approx(1 - (law.cdf(0.2) - law.cdf(-0.2)))
    wide = of([0.0], decision, prior=PRIOR).global_consumer
    narrow = of([0.0], GUARDED, prior=PRIOR).global_consumer
    assert wide is not None and narrow is not None and wide > narrow


def test_global_risks_by_judging_simulated_values_with_the_program() -> None:
    """A million true values and readings, judged by `decide`: how many are wrongly accepted."""
    random = np.random.default_rng(9)
    n = 1_000_000
    true = random.normal(0.0, 0.12, n)
    reading = random.normal(true, 0.04)
    inside = np.abs(true) <= 0.2
    for rule in ("simple", "guarded", "non-binary", "guarded rejection"):
        decision = Decision.model_validate({"rule": rule, "guard_factor": 0.25})
        codes = decide(reading, 0.04, -0.2, 0.2, decision).outcome
        words = np.array(OUTCOMES, dtype=object)[codes]
        good = ("within", "not refuted") if rule == "guarded rejection" else ("within",)
        accepted = np.isin(words, good)
        found = of([0.0], decision, prior=PRIOR)
        for p, share in (
            (found.global_consumer, (accepted & ~inside).mean()),
            (found.global_producer, (~accepted & inside).mean()),
        ):
            assert p is not None
            assert abs(share - p) < 4.0 * np.sqrt(p / n)


def test_what_cannot_be_stated_says_why() -> None:
    bare = of([0.0, 0.1], u=np.nan)
    assert bare.n == 0 and bare.least_probability is None
    assert bare.reason == ("no value was judged; no uncertainty is stated; no prior is declared")
    simple = of([0.0, 0.1], Decision(rule="simple"), u=np.nan, prior=PRIOR)
    assert simple.n == 2 and simple.global_consumer is None
    assert simple.reason == "no uncertainty is stated"
    nothing = of([], prior=PRIOR)
    assert (nothing.n, nothing.reason) == (0, "no value was judged")
    free = of([0.0], lower=None, upper=None, prior=PRIOR)
    assert (free.n, free.reason, free.worst_false_acceptance) == (0, "it has no limits", None)
    tight = of([0.0], u=0.2, prior=PRIOR)
    assert tight.global_consumer is None
    assert (tight.capability_index, tight.uncertainty_share) == pytest.approx((0.5, 1.0))
    assert tight.reason == (
        "no value was judged; at the median u guard bands leave no acceptance zone"
    )


def test_one_limit_has_no_capability_index() -> None:
    found = of([0.0], lower=None, prior=PRIOR)
    assert found.capability_index is None and found.uncertainty_share is None
    assert found.global_consumer is not None and 0 < found.global_consumer < 0.01


def test_without_spread_of_measurement_nothing_is_risked() -> None:
    found = of([0.0, 0.3], u=0.0, prior=PRIOR)
    assert (found.global_consumer, found.global_producer) == (0.0, 0.0)
    assert (found.least_probability, found.capability_index) == (1.0, None)


def test_units_do_not_matter() -> None:
    values = [0.0, 0.12, 0.15, 0.3]
    found = of(values, prior=PRIOR)
    milli = of(
        [1000 * one for one in values],
        u=40.0,
        lower=-200.0,
        upper=200.0,
        prior={"mean": 0.0, "standard_deviation": 120.0, "basis": "earlier lots"},
    )
    for name in (
        *("least_probability", "expected_outside", "specific_consumer", "specific_producer"),
        *("global_consumer", "global_producer", "capability_index", "uncertainty_share"),
    ):
        assert getattr(milli, name) == pytest.approx(getattr(found, name), rel=1e-9)
