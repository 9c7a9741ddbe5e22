"""Acceptance limits of a typical value under each rule, by JCGM 106:2012, 8.3 (from memory)."""

from typing import Any

import pytest

from sitegen.model.campaign import Parameter
from sitegen.model.decision import Decision
from sitegen.render.parameter_case import cases
from sitegen.render.statistics_rule import NO_ZONE, rule_table
from tests.render import samples
from tests.render import statistics_samples as given


def limits_of(
    parameter: Parameter, decision: Decision, u: float | None
) -> tuple[float | None, float | None]:
    return decision.acceptance_limits(parameter.lower, parameter.upper, u)


@pytest.mark.parametrize(
    ("rule", "ends"),
    [
        ("simple", (-2.7, -2.5)),
        ("guarded", (-2.694, -2.506)),
        ("non-binary", (-2.694, -2.506)),
        ("guarded rejection", (-2.706, -2.494)),
    ],
)
def test_the_guard_band_moves_each_limit(rule: Any, ends: tuple[float, float]) -> None:
    """u = 2 mV, k = 2, r = 1.5: w = 6 mV."""
    decision = Decision(rule=rule, guard_factor=1.5)
    assert limits_of(samples.VTH, decision, 0.002) == pytest.approx(ends)


def test_one_limit_no_limit_no_uncertainty_no_zone() -> None:
    guarded = Decision(rule="guarded")
    assert limits_of(samples.H21, guarded, 0.5) == (17.0, None)
    assert limits_of(samples.BV, guarded, 0.5) == (None, None)
    assert limits_of(samples.VTH, guarded, None) == (-2.7, -2.5)
    assert limits_of(samples.VTH, guarded, 0.06) == (None, None)
    wide = limits_of(samples.VTH, Decision(rule="guarded rejection"), 0.05)
    assert wide == pytest.approx((-2.8, -2.4))


def shown(**changes: Any) -> list[str]:
    results = given.results(parameters=(given.result("room", **changes),))
    declared = results.context.record.parameters[0]
    table = rule_table(cases(declared, results))
    assert table is not None
    return [str(cell.text) for cell in table.rows[0].cells]


def test_the_table_says_the_rule_with_its_clause() -> None:
    row = shown(u=0.0021)
    assert row[:8] == [
        "Guarded acceptance",
        "−2.7",
        "−2.5",
        "2",
        "0.0042",
        "−2.6958",
        "−2.5042",
        "V",
    ]
    assert "JCGM 106:2012" in row[8] and row[9] == ""
    assert shown(u=None)[4:7] == ["–", "–", "–"] and shown(u=None)[9] == "no uncertainty is stated"
    assert shown(u=0.06)[9] == NO_ZONE


def test_without_a_limit_there_is_no_table() -> None:
    results = samples.campaign_results()
    assert rule_table(cases(samples.BV, results)) is None
