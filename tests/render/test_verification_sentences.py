"""The first sentences of a verification's page: verdict, worst point, consequence, rule."""

from dataclasses import replace
from typing import Any

import pytest
from markupsafe import Markup

from sitegen.model.event_results import VerificationResult
from sitegen.model.results import CalibrationUse
from sitegen.render import verification_sentences
from tests.render.event_samples import (
    agreement,
    bare_result,
    guarded_verification,
    line_result,
)
from tests.render.samples import calibration_use, verification_result
from tests.render.test_sentences import said


def verification_said(result: VerificationResult, use: CalibrationUse | None = None) -> str:
    """The sentences about a verification."""
    return said(verification_sentences.verification(result, Markup("CAL-1"), Markup("A"), use))


def test_a_verification_that_failed() -> None:
    text = verification_said(verification_result())
    assert "It failed: its one structure failed (line: S21 lies beyond a mask)." in text
    assert (
        "Its worst point under a mask is S21 of line at 10 GHz: 0.100 is 200 % of what its mask"
        " allows, 0.0500 beyond it."
    ) in text


def test_a_verification_that_passed_says_by_what() -> None:
    one = verification_result(outcome="passed")
    text = verification_said(one, calibration_use())
    assert "It passed: its one structure meets every mask." in text
    assert "lost" not in text
    two = guarded_verification(outcome="passed", structures=(line_result("passed"), bare_result()))
    assert (
        "It passed: both structures meet every mask, every sweep rule, every tolerance of a line,"
        " passivity and reciprocity."
    ) in verification_said(two)


def test_a_verification_that_could_not_be_judged() -> None:
    dark = verification_result(outcome="not assessable", reason="", structures=())
    assert verification_said(dark).endswith("It cannot be assessed: no structure could be judged.")


def test_a_verification_inside_the_guard_band_neither_closes_nor_takes() -> None:
    text = verification_said(guarded_verification(), calibration_use(failed_by="VER-2"))
    assert (
        "It is not proven: one of two structures is not proven (line: S21 lies inside the guard"
        " band of a mask). It neither closes calibration CAL-1 nor takes standing from a value."
    ) in text
    assert "0.0120 and a guard band of 0.010 are 110 % of what its mask allows" in text
    assert "lost" not in text


def test_the_rule_is_told_and_where_no_uncertainty_is_stated() -> None:
    guarded = verification_said(guarded_verification())
    assert "Guarded acceptance with w = U, k = 2: a deviation passes where" in guarded
    assert guarded.endswith(
        "No uncertainty is stated for short-line: there the deviation is judged alone."
    )
    whole = verification_said(guarded_verification(structures=(line_result(),)))
    assert "No uncertainty" not in whole
    assert "No uncertainty" not in verification_said(verification_result())


def test_everything_that_failed_of_a_structure_is_told() -> None:
    line = line_result("failed")
    permittivity, attenuation = line.line_quantities
    passivity, reciprocity = line.physical
    line = replace(
        line,
        agreements=(agreement(outcome="failed"), agreement(rule="shown", outcome="failed")),
        line_quantities=(replace(permittivity, outcome="failed"), attenuation),
        physical=(replace(passivity, outcome="failed"), replace(reciprocity, outcome="failed")),
    )
    assert list(verification_sentences.reasons_of(line, "failed")) == [
        "S21 lies beyond a mask",
        "S21 disagrees with its reference over the whole sweep",
        "its effective permittivity lies beyond the tolerance",
        "it is not passive",
        "it is not reciprocal",
    ]


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        (
            {},
            "Two values of calibration CAL-1 lost their standing to it: those taken after"
            " 2026-04-21 07:00:04 UTC, when the last one had passed.",
        ),
        (
            {"lost_to_it": 1, "stands_until": None},
            "One value of calibration CAL-1 lost its standing to it: no verification had passed"
            " before it.",
        ),
        ({"lost_to_it": 0}, "No value lost its standing to it."),
        ({"failed_by": "VER-0"}, "Verification VER-0 of the same calibration had failed before."),
    ],
)
def test_a_failed_verification_tells_its_consequence(changes: dict[str, Any], text: str) -> None:
    assert text in verification_said(verification_result(), calibration_use(**changes))


def test_without_a_failure_there_is_no_consequence() -> None:
    text = verification_said(verification_result(), calibration_use(failed_by=""))
    assert "standing" not in text
    nothing = calibration_use(values_standing=0, values_lost=0, lost_to_it=0)
    assert "standing" not in verification_said(verification_result(), nothing)
