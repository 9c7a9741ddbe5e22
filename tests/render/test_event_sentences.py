"""The first sentences of a calibration's page, with what failed beside."""

from typing import Any

from markupsafe import Markup

from sitegen.model.event_results import Check
from sitegen.model.results import CalibrationUse
from sitegen.render import event_sentences
from tests.render.samples import UNUSED, calibration_result, calibration_use
from tests.render.test_sentences import said


def calibration_said(use: CalibrationUse, **changes: Any) -> str:
    """The sentences about a calibration, the first of them left out."""
    found = event_sentences.calibration(
        calibration_result(**changes), Markup("PS-A"), use, "calibrations/CAL-1/index.html"
    )
    return said(found[1:])


def test_a_calibration() -> None:
    use = calibration_use(
        values_not_closed=0, values_lost=0, lost_reasons={}, dies_lost={}, failed_by=""
    )
    found = event_sentences.calibration(calibration_result(), Markup("PS-A"), use, "")
    assert said(found[:1]) == (
        "SOLT calibration CAL-1 was made on 2026-04-21 06:00:00 UTC on PS-A by engineer on duty."
    )
    assert calibration_said(use) == (
        "It is usable by its own checks (all three judged checks are met, one more is shown without"
        " a bound). Its validity is 8 h, until 2026-04-21 14:00:00 UTC. Eight values on two dies"
        " stand on it."
    )


def test_a_calibration_of_which_a_verification_failed_says_so_beside_its_own_checks() -> None:
    assert calibration_said(calibration_use()) == (
        "It is usable by its own checks (all three judged checks are met, one more is shown without"
        " a bound); verification VER-1 failed, so values stand only until 2026-04-21 07:00:04 UTC."
        " Its validity is 8 h, until 2026-04-21 14:00:00 UTC. Eight values on two dies stand on it,"
        " 1 of them not closed. Three values on two dies refer to it without standing (verification"
        " failed 2, expired by time 1)."
    )
    none = calibration_use(values_standing=0, dies_standing={}, stands_until=None)
    text = calibration_said(none)
    assert "; verification VER-1 failed and none passed before it, so no value stands. " in text
    assert "No value stands on it. Three values" in text


def test_a_check_without_a_figure_is_neither_met_nor_shown_without_a_bound() -> None:
    met = Check("repeatability", 1e-4, "1", None, 1e-3, True, "Found.")
    lacking = Check("contacts of this set", None, "1", None, 100.0, None, "Not judged.")
    shown = Check("trace noise", 1e-4, "1", None, None, None, "Found.")
    assert event_sentences.checks([met, lacking, shown]) == (
        "its one judged check is met, one more is shown without a bound, one more has a bound and"
        " no figure"
    )
    assert event_sentences.checks([met, lacking, lacking]).endswith(
        "two more have a bound and no figure"
    )
    assert event_sentences.checks([lacking, shown]) == (
        "no check that its record bounds could be judged"
    )
    assert event_sentences.checks([shown]) == "its record gives no check a bound"


def test_what_bounds_nothing_or_cannot_be_checked_of_the_substrate_is_said() -> None:
    record = calibration_result().record
    free = record.validity.model_copy(update={"substrate_change_c": None})
    bounded = calibration_said(UNUSED)
    unbounded = calibration_said(UNUSED, record=record.model_copy(update={"validity": free}))
    unknown = calibration_said(UNUSED, record=record.model_copy(update={"substrate_c": None}))
    assert "substrate" not in bounded
    assert "does not bound the change of the contact substrate's temperature" in unbounded
    assert "temperature at the calibration is not stated, so its change is not checked" in unknown


def test_a_calibration_without_a_solution() -> None:
    text = calibration_said(
        UNUSED, outcome="not solved", unsolved="The thru is missing.", checks=()
    )
    assert "It could not be solved: The thru is missing. " in text
    assert text.endswith("No value refers to it.")
