"""A calibration's checks, group by group, and where and how far its equations determine it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import units
from sitegen.model.event_results import CalibrationResult, Check, CheckGroup
from sitegen.render.frequencies import stretches
from sitegen.render.marks import marked
from sitegen.render.method_links import explained
from sitegen.render.phrases import (
    every,
    figure_of,
    frequency,
    limits,
    number_of,
    plain,
)
from sitegen.render.pieces import Cell, Column, Row, Table

COVERAGE_FACTOR = 2.0
"""Of the uncertainties on a calibration's page; each table and drawing says so."""
SHARE_OF_FREQUENCIES = "frequencies determined"
"""Check whose figure is the share of the frequencies that have error terms."""
COUNTED = ("contacts", "frequencies")
"""First words of the checks whose figure is a count."""
LEFT_OVER = ("residual", "remainder")
"""In the names of checks: what redundant measurements leave over."""
_NONE: Mapping[CheckGroup, str] = {
    "before solving": "The raw sweeps allow no check before solving: none is repeated, and no port"
    " contacts both an open and a short.",
    "solution": "There is no solution to be checked.",
    "comparison": "No check compares it with another calibration, or with error terms that the"
    " instrument reported.",
    "wear": "The record counts no contacts.",
}


@dataclass(frozen=True, slots=True)
class GroupOfChecks:
    """One group with what it tells."""

    title: str
    table: Table


def groups(result: CalibrationResult, station: Markup, page: str) -> tuple[GroupOfChecks, ...]:
    """The four groups in the order in which an engineer asks; a group without a check says so.

    station: link to the station's page, which shows what wear changes over time.
    """
    bound = explained("comparison bound", "comparison bound", page)
    told: Mapping[CheckGroup, tuple[str, Markup]] = {
        "before solving": (
            "Before solving",
            Markup("What the raw sweeps show before anything is solved from them"),
        ),
        "solution": (
            "Solution",
            Markup("What was solved beside the error terms, and what the equations left over"),
        ),
        "comparison": (
            "Comparison",
            Markup(
                "This calibration against others, by the {}: the greatest difference that any"
                " passive device could see"
            ).format(bound),
        ),
        "wear": (
            "Wear",
            Markup(
                "What contacts and probes have been through; their trend stands on the page of {}"
            ).format(station),
        ),
    }
    return tuple(
        GroupOfChecks(title, _table(result, group, text)) for group, (title, text) in told.items()
    )


def _table(result: CalibrationResult, group: CheckGroup, text: Markup) -> Table:
    mine = [check for check in result.checks if check.group == group]
    uncertain = any(check.u is not None for check in mine)
    return Table(
        id=f"checks-{group.replace(' ', '-')}",
        caption=text + Markup("; U has k = 2." if uncertain else "."),
        columns=(
            Column("Check"),
            Column("Found ± U" if uncertain else "Found", True),
            Column("Unit"),
            Column("Bound", True),
            Column("Outcome"),
            Column("What was found"),
        ),
        rows=tuple(_row(check, len(result.frequency_hz)) for check in mine),
        empty=_NONE[group],
        wide=True,
    )


def _row(check: Check, frequencies: int) -> Row:
    factor, unit = units.shown_unit([check.figure, check.lower, check.upper], check.unit)
    return Row(
        Cell(check.name),
        (
            Cell(_found(check, factor, frequencies), plain(check.figure), True),
            Cell(unit),
            Cell(_bound(check, factor), "", True),
            Cell(marked(_outcome(check))),
            Cell(check.text),
        ),
    )


def _bound(check: Check, factor: float) -> str:
    if check.name.startswith(COUNTED) and check.lower is None and check.upper is not None:
        return f"≤ {number_of(round(check.upper))}"
    return limits(check.lower, check.upper, factor)


def _outcome(check: Check) -> str:
    if check.passed is not None:
        return "met" if check.passed else "missed"
    return "shown, not judged" if check.figure is not None else "not determined"


def _found(check: Check, factor: float, frequencies: int) -> str:
    """A check's figure: a count as a whole number, the share of frequencies as '201 of 201'."""
    if check.figure is None:
        return units.MISSING
    if check.name == SHARE_OF_FREQUENCIES:
        return f"{number_of(round(check.figure * frequencies))} of {number_of(frequencies)}"
    if check.name.startswith(COUNTED):
        return number_of(round(check.figure))
    if check.u is None:
        return units.number(check.figure * factor, 3)
    return units.with_uncertainty(check.figure * factor, COVERAGE_FACTOR * check.u * factor)


def determined(result: CalibrationResult, page: str) -> Markup:
    """At which frequencies there is a solution, and what becomes of the others."""
    if result.determined is None:
        return Markup("")
    missing = [not there for there in result.determined.tolist()]
    total = len(missing)
    if not any(missing):
        text = Markup("The error terms are determined at {}.").format(
            every(total, "frequency", "frequencies")
        )
    else:
        text = Markup(
            "The error terms are {} at {} of {} frequencies, {}. The drawings are hatched there,"
            " nothing is corrected there, and no value rests on it."
        ).format(
            explained("not determined", "not determined", page),
            number_of(sum(missing)),
            number_of(total),
            stretches(result.frequency_hz, missing),
        )
    return text + _condition(result)


def _condition(result: CalibrationResult) -> Markup:
    """The greatest condition number where the terms are determined."""
    if result.condition is None or result.determined is None:
        return Markup("")
    known = [
        (condition, frequency_hz)
        for condition, frequency_hz, there in zip(
            result.condition.tolist(),
            result.frequency_hz.tolist(),
            result.determined.tolist(),
            strict=True,
        )
        if there and math.isfinite(condition)
    ]
    if not known:
        return Markup("")
    worst, at_hz = max(known)
    return Markup(
        " Where they are determined, the condition number of the equations is at most {} (at {})."
    ).format(figure_of(worst, 3), frequency(at_hz))


def redundancy(result: CalibrationResult, page: str) -> Markup:
    """What was measured beyond what is unknown, and what therefore can and cannot show."""
    if result.redundancy is None:
        return Markup("")
    word = explained("redundancy", "redundancy", page)
    of = f" ({result.redundancy_of})" if result.redundancy_of else ""
    if result.redundancy <= 0:
        return Markup(
            "Its {} is 0{}: as much was measured as is unknown, so the solution fits the sweeps"
            " exactly whatever they hold. No residual is shown, since it would be zero even with a"
            " standard mistaken. What can speak for the solution are the checks above, and"
            " structures that took no part in it."
        ).format(word, of)
    left = any(part in check.name for check in result.checks for part in LEFT_OVER)
    return Markup("Its {} is {}{}: so much was measured beyond what is unknown. {}").format(
        word,
        number_of(result.redundancy),
        of,
        "What the solution leaves of it stands among the checks, and can be missed."
        if left
        else "All of it went into the solution; what it leaves over is not stated.",
    )
