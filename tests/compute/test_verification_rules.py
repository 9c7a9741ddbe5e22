"""Verifications under the rules that guard rejection: what fails, and what is left undecided."""

from typing import Any, Literal

import numpy as np
import pytest

from sitegen.compute.verification import rule_in_words
from sitegen.model.decision import Decision
from sitegen.model.event_results import MaskResult
from tests.compute import test_verification
from tests.compute.test_verification import (
    QUIET,
    judged,
    loaded,
    mask,
    structure,
    the_line,
    verified,
    without_statement,
)

REJECTION = Decision(rule="guarded rejection")
NON_BINARY = Decision(rule="non-binary")
GUARDED = Decision(rule="guarded")


OFF = 1.2 * np.exp(0.2j) * the_line()
"""A line that is not what its reference says: 1.6 dB and 11 degrees off."""


def wide(quantity: str, decision: Decision) -> MaskResult:
    """Its deviation under a mask far away."""
    one = loaded(structure(masks=(mask(50.0, quantity=quantity),)), device=OFF)
    (found,) = judged(one, decision=decision).masks
    return found


def at(limit: float, quantity: str, decision: Decision) -> Any:
    masks = (mask(float(limit), quantity=quantity),)
    return verified(loaded(structure(masks=masks), device=OFF), decision=decision)


@pytest.mark.parametrize("quantity", ["complex deviation", "phase deg", "magnitude db"])
def test_a_mask_is_failed_beyond_its_guard_band_only(
    quantity: Literal["complex deviation", "phase deg", "magnitude db"],
) -> None:
    """Around the greatest deviation and around where every point and its band lie beyond."""
    found = wide(quantity, GUARDED)
    assert found.guard is not None
    size = np.abs(found.deviation)
    most, reach = float(size.max()), float((size + found.guard).max())
    for decision in (REJECTION, NON_BINARY):
        assert at(1.01 * reach, quantity, decision).outcome == "passed"
        inner = at(0.5 * (most + reach), quantity, decision)
        assert inner.outcome == ("passed" if decision is REJECTION else "not proven")
        outer = at(0.999 * most, quantity, decision)
        assert outer.outcome == "not proven"
        assert "beyond the mask by no more than its guard band" in outer.reason
        assert at(0.3 * most, quantity, decision).outcome == "failed"
    assert at(0.999 * most, quantity, GUARDED).outcome == "failed"


def test_guarded_rejection_adds_no_guard_band_to_a_deviation() -> None:
    found = wide("complex deviation", REJECTION)
    assert found.guard is None and found.u is not None
    assert found.worst_ratio == pytest.approx(np.abs(found.deviation).max() / 50.0)
    assert wide("complex deviation", NON_BINARY).guard is not None


def test_without_stated_uncertainty_it_is_simple_acceptance_and_says_so() -> None:
    one = loaded(structure(), QUIET)
    for decision, name in ((REJECTION, "guarded rejection"), (NON_BINARY, "non-binary rule")):
        result = verified(one, by=without_statement(), decision=decision)
        assert result.outcome == "passed" and f"in place of {name}" in result.rule


def test_every_rule_has_its_sentence() -> None:
    told = {
        rule: rule_in_words(Decision.model_validate({"rule": rule}), True)
        for rule in ("simple", "guarded", "guarded rejection", "non-binary")
    }
    assert len(set(told.values())) == 4
    assert all(text.endswith(".") for text in told.values())
    assert "JCGM 106:2012" in told["guarded rejection"]
    assert (
        "by more than its guard band w = r·k·u, with r = 1 and k = 2,"
        in (told["guarded rejection"])
    )
    assert "ILAC-G8:09/2019" in told["non-binary"]


@pytest.mark.parametrize("decision", [REJECTION, NON_BINARY], ids=lambda one: one.rule)
def test_a_quantity_of_a_line_beyond_its_tolerance_inside_the_guard_band(
    decision: Decision,
) -> None:
    one = test_verification.TestLinesAndPhysics().line_structure()
    declared = one.line_quantities[0]
    (usual, *_) = judged(loaded(one)).line_quantities
    assert usual.u is not None and usual.value is not None
    combined = float(np.hypot(usual.u, declared.reference_u))
    for beyond, expected in ((1.0, "not proven"), (2.5, "failed")):
        changed = declared.model_copy(
            update={"tolerance": 0.4, "reference": usual.value - 0.4 - beyond * combined}
        )
        (found,) = judged(
            loaded(one.model_copy(update={"line_quantities": (changed,)})), decision=decision
        ).line_quantities
        assert found.outcome == expected
        assert ("by no more than the guard band" in found.reason) == (expected == "not proven")


def test_a_bound_on_the_uncertaintys_share_holds_for_quantities_of_lines() -> None:
    one = test_verification.TestLinesAndPhysics().line_structure()
    strict = Decision(rule="simple", uncertainty_share_max=1e-4)
    result = judged(loaded(one), decision=strict)
    assert {found.outcome for found in result.line_quantities} == {"not assessable"}
    assert {found.outcome for found in result.masks} == {"passed"}
