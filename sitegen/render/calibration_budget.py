"""The uncertainty of what a calibration corrects: its sources, budgets, and their check."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from sitegen import units
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import (
    COMMON_GROUPS,
    OWN_GROUPS,
    SOURCE_GROUPS,
    Budget,
    BudgetLine,
    CalibrationResult,
    MonteCarloCheck,
    SourceGroup,
)
from sitegen.model.results import Drawing
from sitegen.render.figures import figure
from sitegen.render.frequencies import frequency_columns, greatest, places
from sitegen.render.method_links import explained
from sitegen.render.phrases import (
    capital,
    counted,
    frequency,
    joined,
    link,
    percent,
    unbroken,
)
from sitegen.render.pieces import Cell, Column, Fact, Figure, Link, Row, Table

FEW = 5
"""At how many frequencies a budget is tabulated."""
TWO_PARTS = 2.4477
"""Coverage factor of a 95 % region of two components, the root of 5.991 (JCGM 102:2011)."""
PER_THOUSAND = 1e3
LEAST_SHARE = 0.1
"""A group's share of the greatest variance from which a sentence names it."""
LEAST_TOLD = 0.01
"""Share of the variance, at some frequency, from which a line of a budget stands by itself."""


@dataclass(frozen=True, slots=True)
class BudgetPart:
    """One budget: its sentence, its drawing, its table by group and by named source."""

    id: str
    title: str
    text: Markup
    figures: tuple[Figure, ...]
    groups: Table
    named: Table


def introduction(result: CalibrationResult, page: str) -> Markup:
    """What the uncertainty holds, or that none is stated."""
    word = explained("uncertainty", "law of propagation", page)
    if not result.sources:
        return Markup(
            "No uncertainty of sweeps corrected with this calibration is stated: its record does"
            " not say what its standards and sweeps can be off by."
        )
    return Markup(
        "Each source below is carried through the solution by the {}, kept apart by its name:"
        " sources that all sweeps share do not average out over dies. Uncertainties are standard"
        " uncertainties of a real or imaginary part (k = 1) unless U is written."
    ).format(word)


def sources(result: CalibrationResult) -> Table:
    """Every source with its size, where the size comes from, and how it enters."""
    entered: dict[tuple[str, str, str], list[SourceGroup]] = {}
    for one in result.sources:
        entered.setdefault((one.name, one.size, one.basis), []).append(one.group)
    return Table(
        id="uncertainty-sources",
        caption="Sources of uncertainty, and where each enters: once for all sweeps of the"
        " calibration, for each sweep anew, or both",
        columns=(
            Column("Source"),
            Column("Standard uncertainty"),
            Column("Basis"),
            Column("Once, as"),
            Column("Each sweep, as"),
        ),
        rows=tuple(
            Row(
                Cell(capital(name)),
                (
                    Cell(unbroken(size)),
                    Cell(basis),
                    Cell(", ".join(each for each in groups if each in COMMON_GROUPS) or "–"),
                    Cell(", ".join(each for each in groups if each in OWN_GROUPS) or "–"),
                ),
            )
            for (name, size, basis), groups in entered.items()
        ),
        empty="No source is stated.",
        wide=True,
        ordered=True,
    )


def meanings(result: CalibrationResult) -> tuple[Fact, ...]:
    """What each group holds that the sources or the budgets name."""
    named = {one.group for one in result.sources}
    named |= {line.group for one in result.budgets for line in one.lines}
    return tuple(
        Fact(capital(group), text) for group, text in SOURCE_GROUPS.items() if group in named
    )


def budgets(
    result: CalibrationResult, drawings: Mapping[str, Drawing], page: str
) -> tuple[BudgetPart, ...]:
    """A part for each named device and parameter."""
    return tuple(
        _part(one, place, result.frequency_hz, drawings.get(f"budget-{place}"), page)
        for place, one in enumerate(result.budgets)
    )


def overview(result: CalibrationResult) -> Table:
    """Each budget in a line, with a link to it."""

    def row(place: int, one: Budget) -> Row:
        head = Cell(link(capital(_name(one)), f"#budget-{place}-heading"))
        found = worst(one, result.frequency_hz)
        if found is None:
            return Row(head, (Cell("not determined", "", True), Cell("–", "", True), Cell("–")))
        return Row(
            head,
            (
                _number(found.u),
                Cell(frequency(found.frequency_hz), "", True),
                Cell(joined(_leading(found))),
            ),
        )

    return Table(
        id="budgets",
        caption=Markup(
            "Budgets: greatest standard uncertainty of a part, u / 10<sup>−3</sup>, and its share"
            " of the variance by group"
        ),
        columns=(
            Column("Corrected S-parameter"),
            Column("Greatest u", True),
            Column("At", True),
            Column("Made of"),
        ),
        rows=tuple(row(place, one) for place, one in enumerate(result.budgets)),
        empty="No budget is drawn up.",
        wide=True,
        ordered=True,
    )


def _part(
    one: Budget, place: int, frequency_hz: FloatArray, drawing: Drawing | None, page: str
) -> BudgetPart:
    at = places(len(frequency_hz), FEW)
    name = _name(one)
    columns = frequency_columns(frequency_hz, at)
    groups, less = _telling([line for line in one.lines if not line.name], one.u)
    named, lesser = _telling([line for line in one.lines if line.name], one.u)
    rest = f"Smaller{', together' if len(less) > 1 else ''}: {', '.join(one.group for one in less)}"
    return BudgetPart(
        id=f"budget-{place}-heading",
        title=name,
        text=summary(one, frequency_hz, page),
        figures=()
        if drawing is None
        else (
            figure(
                drawing,
                page,
                f"u of {name} by group of sources.",
                Link("Table", f"#budget-{place}"),
            ),
        ),
        groups=Table(
            id=f"budget-{place}",
            caption=Markup("{}: u / 10<sup>−3</sup> by group, the greatest first").format(name),
            columns=(Column("Group"), *columns),
            rows=(
                *(_row(capital(line.group), line.u, at) for line in groups),
                *([_row(rest, _together(less), at)] if less else []),
                replace(_row("Combined, u of a part", one.u, at), style="total"),
                replace(
                    _row("95 % region, greatest half-axis", half_axis(one.covariance), at),
                    style="total",
                ),
            ),
            wide=True,
            ordered=True,
        ),
        named=Table(
            id=f"budget-{place}-sources",
            caption=Markup("{}: u / 10<sup>−3</sup> by named source").format(name),
            columns=(Column("Source"), Column("Group"), *columns),
            rows=(
                *(_row(capital(line.name), line.u, at, line.group) for line in named),
                *([_row(_others(lesser), _together(lesser), at, "all")] if lesser else []),
            ),
            empty="No source has a name of its own.",
            wide=True,
            ordered=True,
        ),
    )


def _others(lines: Sequence[BudgetLine]) -> str:
    return (
        f"{capital(counted(len(lines), 'smaller source'))}{' together' if len(lines) > 1 else ''}"
    )


def _telling(
    lines: Sequence[BudgetLine], u: FloatArray
) -> tuple[list[BudgetLine], list[BudgetLine]]:
    """The lines that make `LEAST_TOLD` of the variance at some frequency, and the others."""

    ordered = by_size(lines)
    least = LEAST_TOLD * u**2
    telling = [bool((line.u**2 > least).any()) for line in ordered]
    return (
        [line for line, tells in zip(ordered, telling, strict=True) if tells],
        [line for line, tells in zip(ordered, telling, strict=True) if not tells],
    )


def _together(lines: Sequence[BudgetLine]) -> FloatArray:
    """In quadrature."""
    total: FloatArray = sum((line.u**2 for line in lines[1:]), start=lines[0].u ** 2) ** 0.5
    return total


def by_size(lines: Sequence[BudgetLine]) -> list[BudgetLine]:
    """The lines with the greatest mean square first."""

    def size(line: BudgetLine) -> float:
        return sum(float(u) ** 2 for u in line.u.tolist() if math.isfinite(u))

    return sorted(lines, key=lambda line: -size(line))


def half_axis(covariance: FloatArray) -> FloatArray:
    """Greatest half-axis of the 95 % region: 2.4477 times the root of the greater eigenvalue."""
    real, imaginary, both = covariance[..., 0], covariance[..., 1], covariance[..., 2]
    reach = (0.25 * (real - imaginary) ** 2 + both**2) ** 0.5
    found: FloatArray = TWO_PARTS * (0.5 * (real + imaginary) + reach) ** 0.5
    return found


def _row(name: str, values: FloatArray, at: Sequence[int], group: str = "") -> Row:
    cells = tuple(_number(float(values[place])) for place in at)
    return Row(Cell(name), (Cell(group), *cells) if group else cells)


def _number(value: float) -> Cell:
    if not math.isfinite(value):
        return Cell("not determined", "", True)
    return Cell(units.number(PER_THOUSAND * value, 2), "", True)


@dataclass(frozen=True, slots=True)
class Greatest:
    """Where a budget's combined uncertainty is greatest, and what it is made of there."""

    name: str
    u: float
    frequency_hz: float
    shares: tuple[tuple[str, float], ...]
    """Groups with their shares of the variance, the greatest first."""


def worst(one: Budget, frequency_hz: FloatArray) -> Greatest | None:
    """None where nothing is determined or nothing is uncertain."""
    found = greatest(one.u)
    if found is None or found[0] <= 0:
        return None
    u, place = found
    shares = [
        (line.group, min(float(line.u[place] / u) ** 2, 1.0)) for line in one.lines if not line.name
    ]
    return Greatest(
        _name(one), u, float(frequency_hz[place]), tuple(sorted(shares, key=lambda each: -each[1]))
    )


def summary(one: Budget, frequency_hz: FloatArray, page: str) -> Markup:
    """'u is greatest at 110 GHz: 0.0061 for a part; of its variance there: definitions 71 %.'"""
    found = worst(one, frequency_hz)
    if found is None:
        return Markup("Nothing is determined here, so no uncertainty is stated.")
    text = Markup("u is greatest at {}: {} for a part").format(
        frequency(found.frequency_hz), units.number(found.u, 2)
    )
    named = _leading(found)
    if not named:
        return text + Markup(".")
    word = explained("budget", "variance", page)
    return text + Markup("; of its {} there: {}.").format(word, joined(named))


def _leading(found: Greatest) -> list[str]:
    """'definitions 88.6 %': what makes the greatest shares."""
    return [f"{group} {percent(share)}" for group, share in found.shares if share >= LEAST_SHARE]


def _name(one: Budget) -> str:
    return f"{one.parameter.upper()} of the {one.device}"


def monte_carlo(check: MonteCarloCheck | None) -> str:
    """The simulated calibrations against the propagation; empty without them."""
    if check is None:
        return ""
    return f"{check.parameter.upper()} of the {check.device}: {unbroken(check.text)}"
