"""Every drawing of a verification's and of an acceptance's page."""

from collections.abc import Mapping

from sitegen import addresses
from sitegen.chart.agreement import normalised_deviation
from sitegen.chart.mask import deviation
from sitegen.model.event_results import (
    AcceptanceResult,
    Agreement,
    MaskResult,
    VerificationResult,
)
from sitegen.model.results import Drawing
from sitegen.units import count

QUANTITIES = {
    "complex deviation": "complex deviation",
    "magnitude db": "deviation of the magnitude",
    "phase deg": "deviation of the phase",
}
"""Quantity of a mask in words."""


def verification_drawings(
    result: VerificationResult, coverage_factor: float
) -> Mapping[str, Drawing]:
    """Each deviation under its mask, '<structure>-<n>', and each normalised deviation,
    '<structure>-<s21>-normalised'.

    coverage_factor: k of the expanded uncertainty that is drawn where the rule has no guard band.
    """
    page = addresses.verification(result.record.id)
    drawn = {}
    for structure in result.structures:
        name = structure.structure.id
        for number, mask in enumerate(structure.masks):
            if not mask.frequency_hz.size:
                continue
            key = f"{name}-{number}"
            drawn[key] = deviation(
                address=addresses.drawing(page, key),
                title=f"{mask.mask.parameter.upper()} of {name}: {QUANTITIES[mask.mask.quantity]}"
                " against its mask",
                description=_judged(mask),
                result=mask,
                coverage_factor=coverage_factor,
            )
        for agreement in structure.agreements:
            key = f"{name}-{agreement.parameter}-normalised"
            drawn[key] = normalised_deviation(
                address=addresses.drawing(page, key),
                title=f"{agreement.parameter.upper()} of {name}: normalised deviation from its"
                " reference",
                description=_agrees(agreement),
                result=agreement,
            )
    return drawn


def acceptance_drawings(result: AcceptanceResult, coverage_factor: float) -> Mapping[str, Drawing]:
    """Site less factory of each structure, '<n>', and normalised, '<n>-normalised', n from 0."""
    page = addresses.acceptance(result.record.id)
    drawn = {}
    for number, difference in enumerate(result.differences):
        if not difference.mask.frequency_hz.size:
            continue
        port = difference.mask.mask.parameter.upper()
        drawn[f"{number}"] = deviation(
            address=addresses.drawing(page, f"difference-{number}"),
            title=f"{port} of {difference.structure}: site against factory,"
            f" {QUANTITIES[difference.mask.mask.quantity]}",
            description=_judged(difference.mask),
            result=difference.mask,
            coverage_factor=coverage_factor,
            less="factory",
        )
        if difference.agreement is not None:
            drawn[f"{number}-normalised"] = normalised_deviation(
                address=addresses.drawing(page, f"difference-{number}-normalised"),
                title=f"{port} of {difference.structure}: normalised deviation of the site from"
                " the factory",
                description=_agrees(difference.agreement),
                result=difference.agreement,
            )
    return drawn


def _judged(mask: MaskResult) -> str:
    around = (
        "guard band around it"
        if mask.guard is not None
        else "expanded uncertainty around it"
        if mask.u is not None
        else "no uncertainty stated"
    )
    frequencies = count(mask.points_judged, "frequency", "frequencies")
    return f"{mask.outcome}; {frequencies} judged; {around}."


def _agrees(agreement: Agreement) -> str:
    judged = "shown, not judged" if agreement.rule == "shown" else agreement.outcome
    return f"{judged}. {agreement.text}".strip()
