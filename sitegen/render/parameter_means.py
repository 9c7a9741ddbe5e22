"""Means of wafers and their differences, with what each carries of its values' uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Parameter
from sitegen.model.results import CampaignResults
from sitegen.model.wafer_means import WaferDifference, WaferMean
from sitegen.render.cells import count_cell
from sitegen.render.phrases import figure_of, joined, link, number_of, percent, plain
from sitegen.render.pieces import Cell, Column, Row, Table, Text

MOST_PAIRS = 12
"""Differences shown on a page; of more the largest against their uncertainty."""


@dataclass(frozen=True, slots=True)
class Means:
    """Under one condition."""

    text: Text
    """What a mean keeps and a difference cancels."""
    means: Table
    differences: Table | None
    """None with a single wafer."""


def means(
    parameter: Parameter, condition: str, results: CampaignResults, page: str
) -> Means | None:
    """None where no mean is stated."""
    key = (parameter.id, condition)
    found = [one for one in results.means if (one.parameter, one.condition) == key]
    pairs = [one for one in results.differences if (one.parameter, one.condition) == key]
    if not any(one.mean is not None for one in found):
        return None
    k = figure_of(results.context.record.decision.coverage_factor)
    explained = link("the method page", addresses.relative(f"{addresses.METHOD}#means", page))
    return Means(
        text=Markup(
            "U is the expanded uncertainty (k = {}) of the mean of these dies as measured; it is"
            " not their spread. A mean keeps what its values share, and the rest shrinks with their"
            " number. {}Details are on {}."
        ).format(k, _cancels(pairs), explained),
        means=_means(parameter, condition, found),
        differences=_differences(parameter, condition, pairs) if pairs else None,
    )


def _cancels(pairs: Sequence[WaferDifference]) -> str:
    """What the differences lose of the shared errors."""
    shares = [one.same_calibration for one in pairs]
    if not pairs:
        return ""
    if all(share is None for share in shares):
        return (
            "In a difference of two wafers the instrument's error cancels where the same"
            " instrument measured both; the temperature's does not. "
        )
    if not any(shares):
        return (
            "No two of these wafers stand on the same calibration, so the calibration's part does"
            " not cancel in their differences. "
        )
    return (
        "In a difference of two wafers the calibration's part cancels for the share of values on"
        " the same calibration; the temperature's does not. "
    )


def _means(parameter: Parameter, condition: str, found: Sequence[WaferMean]) -> Table:
    factor, unit = units.shown_unit([one.mean for one in found], parameter.unit)
    factor_u, unit_u = _beside([one.expanded_uncertainty for one in found], factor, unit, parameter)
    named = any(one.calibrations for one in found)
    reasons = any(one.reason for one in found)
    return Table(
        id=f"means-{condition}",
        caption=f"Mean of each wafer's values with standing under {condition}",
        columns=(
            Column("Wafer"),
            Column("Values", True),
            Column(units.axis_title("Mean ± U", unit), True),
            Column(units.axis_title("Shared part of U", unit_u), True),
            *((Column("Calibrations"),) if named else ()),
            *((Column("Not stated because"),) if reasons else ()),
        ),
        rows=tuple(
            Row(
                Cell(one.wafer),
                (
                    count_cell(one.n),
                    _with_u(one.mean, one.expanded_uncertainty, factor),
                    _number(_scaled(one), factor_u, 2),
                    *((Cell(_calibrations(one)),) if named else ()),
                    *((Cell(one.reason),) if reasons else ()),
                ),
            )
            for one in found
        ),
        wide=reasons,
    )


def _differences(parameter: Parameter, condition: str, pairs: Sequence[WaferDifference]) -> Table:
    shown = sorted(pairs, key=_beyond)[:MOST_PAIRS] if len(pairs) > MOST_PAIRS else list(pairs)
    factor, unit = units.shown_unit([one.difference for one in shown], parameter.unit)
    factor_u, unit_u = _beside([one.expanded_uncertainty for one in shown], factor, unit, parameter)
    named = any(one.same_calibration is not None for one in shown)
    reasons = any(one.reason for one in shown)
    which = (
        f"The {MOST_PAIRS} of {number_of(len(pairs))} differences of wafers that are largest"
        " against their uncertainty"
        if len(pairs) > MOST_PAIRS
        else "Differences of wafers"
    )
    return Table(
        id=f"differences-{condition}",
        caption=f"{which} under {condition}, the first less the second; all are in the table"
        " differences",
        columns=(
            Column("Wafers"),
            Column(units.axis_title("Difference ± U", unit), True),
            Column(units.axis_title("Shared part of U", unit_u), True),
            *((Column("On the same calibration", True),) if named else ()),
            *((Column("Not stated because"),) if reasons else ()),
        ),
        rows=tuple(
            Row(
                Cell(f"{one.first} {units.MINUS} {one.second}"),
                (
                    _with_u(one.difference, one.expanded_uncertainty, factor),
                    _number(_scaled(one), factor_u, 2),
                    *((Cell(percent(one.same_calibration), "", True),) if named else ()),
                    *((Cell(one.reason),) if reasons else ()),
                ),
            )
            for one in shown
        ),
        wide=reasons,
    )


def _beyond(one: WaferDifference) -> float:
    """Order of the pairs: the largest against its uncertainty first, those not stated last."""
    if one.difference is None or not one.u:
        return math.inf
    return -abs(one.difference) / one.u


def _scaled(one: WaferMean | WaferDifference) -> float | None:
    """The shared part, expanded by the same factor as the whole."""
    if one.u_common is None or one.expanded_uncertainty is None:
        return None
    return one.expanded_uncertainty * one.u_common / one.u if one.u else 0.0


def _calibrations(one: WaferMean) -> Markup:
    """'CAL-1', or 'CAL-1 (30) and CAL-2 (59)'."""
    if len(one.calibrations) == 1:
        return Markup("{}").format(one.calibrations[0][0])
    return joined([f"{name} ({number_of(count)})" for name, count in one.calibrations])


def _beside(
    expanded: Sequence[float | None], factor: float, unit: str, parameter: Parameter
) -> tuple[float, str]:
    """The values' unit, unless their uncertainties would begin with zeros in it."""
    known = [one for one in expanded if one]
    if not known or max(known) * factor >= 0.1:
        return factor, unit
    return units.shown_unit(known, parameter.unit)


def _with_u(value: float | None, expanded: float | None, factor: float) -> Cell:
    if value is None:
        return Cell(units.MISSING, "", True)
    shown = units.with_uncertainty(value * factor, None if expanded is None else expanded * factor)
    return Cell(shown, plain(value), True)


def _number(value: float | None, factor: float, digits: int) -> Cell:
    if value is None:
        return Cell(units.MISSING, "", True)
    return Cell(units.number(value * factor, digits), plain(value), True)
