"""What events show, as findings: what failed, what is not proven, what is not accepted."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from sitegen.compute.findings import findings_of
from sitegen.model.decision import Decision
from sitegen.model.event_results import AcceptanceResult, VerificationResult
from sitegen.model.followed_results import Forecast, Metric, StationFollowed
from sitegen.model.plan import Plan
from sitegen.model.results import NOT_HELD, WaferSummary
from sitegen.problems import Finding
from tests.render import samples
from tests.render.event_samples import acceptance_result, guarded_verification


def findings(
    *verifications: VerificationResult,
    acceptances: tuple[AcceptanceResult, ...] = (),
    followed: tuple[StationFollowed, ...] = (),
) -> list[Finding]:
    record = samples.campaign_record(parameters=(), plan=Plan())
    return list(findings_of(record, (), verifications, acceptances, followed, (), (), ()))


def test_a_trend_wants_attention_once_the_end_of_its_way_can_be_named() -> None:
    at = datetime(2026, 4, 1, tzinfo=UTC)
    forecast = Forecast(0.1, 1e-4, 1.0, at, at, at, "It meets its upper bound in April.")
    metric = Metric(
        "load resistance", "Ω", "x", (), None, (), (), (), (), None, 1.0, forecast, "", "",
        trend="rises",
    )  # fmt: skip
    open_end = replace(metric, forecast=replace(forecast, latest=None))
    (found,) = findings(followed=(StationFollowed("PS", (metric, open_end, metric), ()),))
    assert (found.kind, found.weight) == ("trend towards a bound", "attention")
    assert found.text == (
        "On station PS: load resistance rises. It meets its upper bound in April. Likewise load"
        " resistance rises. It meets its upper bound in April."
    )


def test_a_failed_verification_tells_its_worst_point_where_a_mask_is_reached() -> None:
    (found,) = findings(samples.verification_result())
    assert (found.kind, found.weight) == ("verification failed", "decision")
    assert found.text == (
        "Verification VER-1 of calibration CAL-1 failed: line failed, worst 2.00 times the mask in"
        " S21 at 10\u202fGHz."
    )


def test_a_verification_that_failed_otherwise_names_no_mask() -> None:
    result = samples.verification_result()
    (structure,) = result.structures
    inside = replace(
        structure, masks=tuple(replace(one, worst_ratio=0.9) for one in structure.masks)
    )
    (found,) = findings(replace(result, structures=(inside,)))
    assert found.text.endswith("failed: line failed.")


def test_a_verification_inside_its_guard_band_wants_attention() -> None:
    (found,) = findings(guarded_verification())
    assert (found.kind, found.weight) == ("verification not proven", "attention")
    assert "is not proven: line not proven, worst 1.10 times the mask with its guard band" in (
        found.text
    )
    assert findings(guarded_verification(outcome="passed")) == []


def test_an_acceptance_that_is_not_accepted_needs_a_decision() -> None:
    dark = acceptance_result(outcome="failed", reason="attenuation fails on site")
    (found,) = findings(acceptances=(dark,))
    assert (found.kind, found.weight) == ("acceptance failed", "decision")
    assert found.text == (
        "Acceptance ACC-1 of station PS-A is not accepted: attenuation fails on site."
    )
    assert found.address == "acceptances/ACC-1/index.html"
    assert findings(acceptances=(acceptance_result(),)) == []


def of_wafer(wafer: WaferSummary) -> dict[str, Finding]:
    record = samples.campaign_record(parameters=(), plan=Plan())
    found = findings_of(record, (), (), (), (), (wafer,), (), ())
    return {one.kind: one for one in found}


def test_what_came_corrected_is_one_finding_of_the_campaign() -> None:
    first, second, third = (
        samples.wafer_summary(name, standing_reasons=reasons)
        for name, reasons in (
            ("W1", {NOT_HELD: 7}),
            ("W2", {NOT_HELD: 2, "floor missing": 3}),
            ("W3", {}),
        )
    )
    found = findings_of(samples.campaign_record(), (), (), (), (), (first, second, third), (), ())
    (whole,) = (one for one in found if one.kind == NOT_HELD)
    assert whole.text.startswith("9 values on 2 wafers have no standing: their sweeps were")
    assert (whole.weight, whole.subject) == ("decision", "campaign INVENTED-1")
    others = [one for one in found if one.kind == "without standing"]
    assert [(one.subject, "floor missing" in one.text) for one in others] == [("wafer W2", True)]


def test_dies_beyond_a_limit_inside_a_guard_band_want_attention() -> None:
    outcomes = {"within": 5, "outside": 0, "not refuted": 1, "not measured": 0}
    found = of_wafer(samples.wafer_summary(outcomes=outcomes, missing_dies={}))
    assert found["not refuted"].weight == "attention"
    assert found["not refuted"].text == (
        "1 die of 8 measured on wafer W1 has a value beyond a limit by no more than its guard band."
    )
    assert "outside limits" not in found
    assert "not refuted" not in of_wafer(samples.wafer_summary())


def test_a_failed_verification_outside_its_calibrations_validity_says_so() -> None:
    result = replace(samples.verification_result(), outside="9 h 00 min after ..., outside ...")
    (found,) = findings(result)
    assert found.text.endswith("; it was made 9 h 00 min after ..., outside ....")
    assert findings(replace(result, outcome="passed")) == []


@pytest.mark.parametrize(
    ("dies", "told"),
    [
        (((1, 0),), "VTH on die (1, 0)."),
        (((2, 0), (1, 0), (2, 0)), "VTH on dies (1, 0) and (2, 0)."),
        (((1, 0), (2, 0), (-3, 1)), "VTH on dies (-3, 1), (1, 0) and (2, 0)."),
        (tuple((x, 0) for x in range(4)), "VTH on 4 dies."),
    ],
)
def test_few_dies_that_a_finding_concerns_are_named(
    dies: tuple[tuple[int, int], ...], told: str
) -> None:
    found = of_wafer(samples.wafer_summary(outside_dies={"VTH": dies}, missing_dies={"VTH": dies}))
    assert found["outside limits"].text.endswith(f"outside the limits: {told}")
    assert found["values missing"].text.startswith(f"{len(dies)} planned value")
    assert found["values missing"].text.endswith(f"on dies that were measured: {told}")


@pytest.mark.parametrize(
    ("dies", "told"),
    [
        (((2, 1),), "1 planned die on wafer W1 was not measured: die (2, 1)."),
        (tuple((x, 0) for x in range(4)), "4 planned dies on wafer W1 were not measured."),
    ],
)
def test_few_dies_that_were_not_measured_are_named(
    dies: tuple[tuple[int, int], ...], told: str
) -> None:
    outcomes = {"within": 4, "outside": 0, "not measured": len(dies)}
    found = of_wafer(samples.wafer_summary(outcomes=outcomes, unmeasured_dies=dies))
    assert found["dies not measured"].text == told


def test_a_choice_between_touchdowns_decides_values() -> None:
    found = of_wafer(samples.wafer_summary())
    assert found["touchdown changes a verdict"].text == (
        "On wafer W1 the choice between touchdowns decides the outcome of 1 value: VTH on die"
        " (1, 0)."
    )


@pytest.mark.parametrize(
    ("decision", "own", "text", "weight"),
    [
        ({"rule": "simple"}, None, ".", "note"),
        (
            {"rule": "guarded"},
            None,
            ": under the guarded rule its values cannot be assessed.",
            "decision",
        ),
        (
            {"rule": "simple"},
            {"rule": "non-binary"},
            ": under the non-binary rule its values cannot be assessed.",
            "decision",
        ),
        (
            {"rule": "guarded"},
            {"rule": "simple", "uncertainty_share_max": 0.25},
            ": with a bound on its share of the tolerance its values cannot be assessed.",
            "decision",
        ),
        ({"rule": "guarded"}, {"rule": "simple"}, ".", "note"),
    ],
)
def test_what_asks_for_an_uncertainty_that_is_not_stated(
    decision: dict[str, Any], own: dict[str, Any] | None, text: str, weight: str
) -> None:
    bare = samples.VTH.model_copy(
        update={"uncertainty": (), "decision": own and Decision.model_validate(own)}
    )
    record = samples.campaign_record(parameters=(bare,), plan=Plan())
    record = record.model_copy(update={"decision": Decision.model_validate(decision)})
    (found,) = findings_of(record, (), (), (), (), (), (), ())
    assert (found.text, found.weight) == (f"No uncertainty is stated for VTH{text}", weight)
