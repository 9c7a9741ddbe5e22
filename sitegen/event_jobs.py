"""Jobs that draw a campaign's events: each writes its drawings and hands them back without SVG."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from sitegen.chart.calibration import calibration_drawings
from sitegen.chart.verification import acceptance_drawings, verification_drawings
from sitegen.model.event_results import AcceptanceResult, CalibrationResult, VerificationResult
from sitegen.model.results import Drawing
from sitegen.publish.staging import write_text

Event = CalibrationResult | VerificationResult | AcceptanceResult


@dataclass(frozen=True, eq=False)
class DrawArgument:
    """What the job of an event needs."""

    event: Event
    coverage_factor: float
    root: Path
    """Where the publication is being written."""


def draw(argument: DrawArgument) -> Mapping[str, Drawing]:
    """Draw an event and write its drawings beside the page to come."""
    drawn = _drawings(argument.event, argument.coverage_factor)
    for drawing in drawn.values():
        if drawing.svg:
            write_text(argument.root, drawing.address, drawing.svg)
    return {name: replace(drawing, svg="") for name, drawing in drawn.items()}


def subject_of(event: Event) -> str:
    """An event as it is called among all: 'calibration CAL-1'."""
    match event:
        case CalibrationResult():
            return f"calibration {event.record.id}"
        case VerificationResult():
            return f"verification {event.record.id}"
        case AcceptanceResult():
            return f"acceptance {event.record.id}"


def _drawings(event: Event, coverage_factor: float) -> Mapping[str, Drawing]:
    match event:
        case CalibrationResult():
            return calibration_drawings(event)
        case VerificationResult():
            return verification_drawings(event, coverage_factor)
        case AcceptanceResult():
            return acceptance_drawings(event, coverage_factor)
