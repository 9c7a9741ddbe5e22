"""Declared decisions: their texts, and what is refused."""

from typing import Any, get_args

import pytest
from pydantic import ValidationError

from sitegen.model.decision import RULE_TEXTS, Decision, Prior, Rule, Verdict


def test_every_rule_has_its_words_and_clauses() -> None:
    assert tuple(RULE_TEXTS) == get_args(Rule)
    for text in RULE_TEXTS.values():
        assert text.logic.endswith(".")
        assert len({text.name, text.title, text.logic, text.clauses}) == 4
    assert "8.3.2" in RULE_TEXTS["guarded"].clauses
    assert "8.3.3" in RULE_TEXTS["guarded rejection"].clauses
    assert "ISO 14253-1:2017" in RULE_TEXTS["non-binary"].clauses


def test_a_die_whose_every_value_is_within_always_conforms() -> None:
    with pytest.raises(ValidationError, match="must hold 'within'"):
        Verdict(conforming=("not proven",))
    assert Verdict().conforming == ("within",)


@pytest.mark.parametrize(
    "wrong",
    [
        {"rule": "generous"},
        {"rule": "guarded", "coverage_factor": 0.0},
        {"rule": "guarded", "guard_factor": -1.0},
        {"rule": "simple", "uncertainty_share_max": 0.0},
        {"rule": "simple", "uncertainty_share_max": float("nan")},
    ],
)
def test_what_cannot_be_a_rule_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        Decision.model_validate(wrong)


def test_a_prior_needs_spread_and_a_basis() -> None:
    for wrong in ({"standard_deviation": 0.0}, {"basis": ""}, {"mean": float("inf")}):
        with pytest.raises(ValidationError):
            Prior.model_validate({"mean": 1.0, "standard_deviation": 0.1, "basis": "lots", **wrong})
