"""A guarded verification of many structures, and an acceptance, by hand, to render pages from."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np

from sitegen.model.acceptance import AcceptanceRecord, DeclaredPerformance, SiteDifference
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import (
    AcceptanceResult,
    Agreement,
    DifferenceResult,
    Judged,
    LineQuantityResult,
    MaskResult,
    PerformanceResult,
    PhysicalCheck,
    StructureResult,
    VerificationResult,
)
from sitegen.model.results import CampaignResults
from sitegen.model.verification import (
    LineModel,
    LineQuantity,
    Mask,
    MeasuredReference,
    Structure,
    VerificationRecord,
)
from tests.render import samples

FREQUENCY_HZ: FloatArray = np.linspace(1e9, 100e9, 100)
RULE = (
    "Guarded acceptance with w = U, k = 2: a deviation passes where with its guard band it does not"
    " exceed its limit, and fails where it alone exceeds it"
)
LINE = Structure(
    id="line",
    description="line of 900 µm",
    file="line.s2p",
    repeats=("line-2.s2p", "line-3.s2p"),
    sweep="raw",
    reference=MeasuredReference(
        kind="measured",
        file="line-reference.s2p",
        standard_uncertainty=0.001,
        shares="definitions",
        reference_plane="probe tips",
        measured_on="acceptance of the station",
    ),
    masks=(Mask(parameter="s21", quantity="complex deviation", points=((1e9, 0.02),)),),
    length_um=900.0,
    line_quantities=(
        LineQuantity(
            quantity="effective permittivity",
            frequency_hz=40e9,
            reference=5.2,
            reference_u=0.02,
            tolerance=0.3,
        ),
        LineQuantity(
            quantity="attenuation db per mm", frequency_hz=40e9, reference=0.21, tolerance=0.05
        ),
    ),
    agreement="greatest value",
    passive=True,
    reciprocal=True,
)
MODEL = Structure(
    id="short-line",
    description="line of 200 µm",
    file="short-line.s2p",
    sweep="corrected",
    reference=LineModel(kind="line", delay_ps=1.6),
    masks=(Mask(parameter="s11", quantity="magnitude db", points=((1e9, 0.5),)),),
)


def mask_result(mask: Mask, outcome: Judged = "not proven", scale: float = 1.0) -> MaskResult:
    """A deviation that rises to 0.012 at the last frequency, under a guard band of 0.01."""
    rising = FREQUENCY_HZ / FREQUENCY_HZ[-1] * scale
    limit = mask.points[0][1]
    return MaskResult(
        mask=mask,
        frequency_hz=FREQUENCY_HZ,
        deviation=0.012 * rising,
        limit=np.full(FREQUENCY_HZ.size, limit),
        outcome=outcome,
        reason="",
        worst_ratio=0.022 * scale / limit,
        worst_margin=limit - 0.012 * scale,
        worst_frequency_hz=100e9,
        points_judged=100,
        points_outside_mask=0,
        u=0.005 * rising,
        guard=0.010 * rising,
    )


def agreement(**changes: Any) -> Agreement:
    """A normalised deviation below 1 but for one point."""
    normalised = np.full(FREQUENCY_HZ.size, 0.4)
    normalised[50] = 1.2
    fields: dict[str, Any] = {
        "parameter": "s21",
        "frequency_hz": FREQUENCY_HZ,
        "normalised": normalised,
        "rule": "greatest value",
        "figure": 1.2,
        "limit": 1.31,
        "false_alarm_rate": 0.05,
        "outcome": "passed",
        "text": "The greatest value is 1.2; a sweep that agrees exceeds 1.31 in 5 % of cases.",
    }
    return Agreement(**{**fields, **changes})


def line_result(outcome: Judged = "not proven") -> StructureResult:
    """A line with everything that a structure can be judged by."""
    permittivity, attenuation = LINE.line_quantities
    return StructureResult(
        structure=LINE,
        masks=(mask_result(LINE.masks[0], outcome),),
        outcome=outcome,
        reason="",
        agreements=(agreement(),),
        line_quantities=(
            LineQuantityResult(permittivity, 5.236, 0.04, 0.036, 0.4025, "passed", ""),
            LineQuantityResult(
                attenuation, None, None, None, None, "not assessable", "the line is too short"
            ),
        ),
        physical=(
            PhysicalCheck("passivity", -0.002, 3e9, 0.01, "passed"),
            PhysicalCheck("reciprocity", 0.0021, 98e9, 0.01, "passed"),
        ),
        repeatability=0.00171,
    )


def bare_result() -> StructureResult:
    """A modelled line whose uncertainty is not stated."""
    mask = replace(mask_result(MODEL.masks[0], "passed"), u=None, guard=None, worst_ratio=0.024)
    return StructureResult(MODEL, (mask,), "passed", "")


def guarded_verification(name: str = "VER-2", **changes: Any) -> VerificationResult:
    """A verification that is not proven: one line inside its guard band, another passed."""
    fields: dict[str, Any] = {
        "record": VerificationRecord(
            id=name,
            station="PS-A",
            instrument="VNA-A",
            calibration="CAL-1",
            at=samples.DAY + timedelta(hours=6),
            by="engineer on duty",
            ambient_c=22.4,
            state=samples.STATE,
            structures=(LINE, MODEL),
        ),
        "structures": (line_result(), bare_result()),
        "outcome": "not proven",
        "reason": "line not proven",
        "made_at": samples.DAY + timedelta(hours=6),
        "rule": RULE,
    }
    return VerificationResult(**{**fields, **changes})


FIGURE = DeclaredPerformance(
    name="line to 100 GHz",
    structure="line",
    parameter="s21",
    quantity="complex deviation",
    frequency_start_hz=1e9,
    frequency_stop_hz=100e9,
    limit=0.03,
)


def acceptance_result(name: str = "ACC-1", **changes: Any) -> AcceptanceResult:
    """An acceptance of which everything is met."""
    mask = LINE.masks[0]
    fields: dict[str, Any] = {
        "record": AcceptanceRecord(
            id=name,
            title="probe station A <as delivered>",
            station="PS-A",
            at=samples.DAY + timedelta(days=20),
            factory="VER-1",
            factory_place="hall of the supplier",
            site="VER-2",
            site_place="room 2",
            supplier="A supplier that does not exist",
            customer="Laboratory that does not exist",
            performance=(FIGURE,),
            differences=(SiteDifference(structure="line", mask=mask),),
        ),
        "performance": (
            PerformanceResult(FIGURE, 0.0121, 0.0049, 0.0143, None, "passed", "passed"),
        ),
        "differences": (
            DifferenceResult(mask_result(mask, "passed", 0.5), "line", agreement(rule="shown")),
        ),
        "outcome": "passed",
        "reason": "",
    }
    return AcceptanceResult(**{**fields, **changes})


def station_without_wafers(**changes: Any) -> CampaignResults:
    """A campaign about a station: verifications and an acceptance, no wafer, no parameter."""
    results = samples.nothing_measured()
    fields: dict[str, Any] = {
        "context": replace(results.context, calibrations={"CAL-1": "usable"}),
        "calibrations": (samples.calibration_result(),),
        "verifications": (samples.verification_result(), guarded_verification()),
        "acceptances": (acceptance_result(),),
        "uses": {"CAL-1": samples.UNUSED},
    }
    return replace(results, **{**fields, **changes})
