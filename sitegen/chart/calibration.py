"""Every drawing of a calibration's page."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from sitegen import addresses
from sitegen.chart.evidence_curves import budget, compared, solved_quantity
from sitegen.chart.terms import error_terms, families
from sitegen.model.event_results import CalibrationResult, Curve
from sitegen.model.results import Drawing

Drawn = Iterator[tuple[str, Drawing]]


def calibration_drawings(result: CalibrationResult) -> Mapping[str, Drawing]:
    """By key: 'curve-<place>', 'condition', 'comparison-<place>', 'terms-<family>',
    'budget-<place>', 'simulated'; places are those in the result's own tuples.

    Nothing is drawn of a calibration that could not be solved, and no comparison that was refused.
    """
    if not result.terms:
        return {}
    return dict([*_solved(result), *_compared(result), *_terms(result), *_uncertainty(result)])


def _solved(result: CalibrationResult) -> Drawn:
    for place, curve in enumerate(result.curves):
        yield f"curve-{place}", _curve(result, f"curve-{place}", curve)
    if result.condition is not None and np.isfinite(result.condition).any():
        condition = np.where(np.isfinite(result.condition), result.condition, np.nan)
        if result.determined is not None:
            condition = np.where(result.determined, condition, np.nan)
        curve = Curve(
            name="condition number of the equations",
            unit="1",
            values=condition,
            u=None,
            lower=None,
            upper=None,
            expected=None,
            text="By how much an error of a raw sweep can be magnified, seen at the probe tips.",
        )
        yield "condition", _curve(result, "condition", curve, ratio=True)


def _curve(result: CalibrationResult, name: str, curve: Curve, *, ratio: bool = False) -> Drawing:
    return solved_quantity(
        address=_address(result, name),
        title=f"{curve.name[:1].upper()}{curve.name[1:]} of calibration {result.record.id}",
        description=curve.text,
        frequency_hz=result.frequency_hz,
        curve=curve,
        ratio=ratio,
    )


def _compared(result: CalibrationResult) -> Drawn:
    for place, comparison in enumerate(result.comparisons):
        if comparison.refused or comparison.bound is None:
            continue
        other = comparison.other or "the terms that the instrument reported"
        yield (
            f"comparison-{place}",
            compared(
                address=_address(result, f"comparison-{place}"),
                title=f"Calibration {result.record.id} against {other}",
                description="Greatest difference that any passive device could see, over"
                " frequency.",
                frequency_hz=result.frequency_hz,
                comparison=comparison,
            ),
        )


def _terms(result: CalibrationResult) -> Drawn:
    for family, terms in families(result.terms, result.reported).items():
        if all(np.all(term.values == 0) for term in terms):
            continue  # isolation that was not measured: the table says that it is zero
        name = f"terms-{re.sub(r'[^a-z0-9]+', '-', family.lower()).strip('-')}"
        mine = families(result.reported, terms)[family]
        yield (
            name,
            error_terms(
                address=_address(result, name),
                title=f"{family[:1].upper()}{family[1:]} of calibration {result.record.id}",
                description="Magnitude of the solved error terms over frequency"
                + ("; rings show what the instrument reported." if mine else "."),
                frequency_hz=result.frequency_hz,
                terms=terms,
                reported=mine,
            ),
        )


def _uncertainty(result: CalibrationResult) -> Drawn:
    for place, one in enumerate(result.budgets):
        yield (
            f"budget-{place}",
            budget(
                address=_address(result, f"budget-{place}"),
                title=f"Uncertainty of {one.parameter.upper()}, {one.device}, by source",
                description="Standard uncertainty of a real or imaginary part over frequency: each"
                " group of sources, and all combined in quadrature.",
                frequency_hz=result.frequency_hz,
                budget=one,
            ),
        )
    if result.monte_carlo is not None:
        check = result.monte_carlo
        curve = Curve(
            name="simulated over propagated u",
            unit="1",
            values=check.ratio,
            u=None,
            lower=None,
            upper=None,
            expected=np.ones_like(check.ratio),
            text=check.text,
        )
        drawn = _curve(result, "simulated", curve)
        yield "simulated", replace(drawn, description=check.text)


def _address(result: CalibrationResult, name: str) -> str:
    return addresses.drawing(addresses.calibration(result.record.id), name)
