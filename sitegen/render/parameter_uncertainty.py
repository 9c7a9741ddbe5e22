"""The tables of what a parameter's uncertainty is made of: parts, sources, facts about its fits."""

from collections.abc import Callable, Mapping, Sequence

from sitegen import units
from sitegen.model.campaign import CampaignRecord, Parameter, UncertaintySource
from sitegen.model.event_results import SOURCE_GROUPS
from sitegen.model.results import CampaignResults, ParameterResult
from sitegen.render.phrases import (
    capital,
    declared_percent,
    figure_of,
    frequency,
    percent,
    with_unit,
)
from sitegen.render.pieces import Cell, Column, Row, Table

PARTS = {
    "u_calibration": "calibration, shared by all its values",
    "u_dummies": "dummy structures",
    "u_own": "each sweep's own noise, contact and cable",
    "u_touchdowns": "spread of repeated touchdowns",
    "u_instrument": "instrument's accuracy, shared by its readings",
    "u_temperature": "temperature, shared by a wafer's values",
    "u_misfit": "bend of the curves, shared by a wafer's values",
    "u_extraction": "the fit itself",
}
"""Parts of a value's uncertainty that are computed, by their column of the results."""
OWN_DUMMIES = {
    "u_own": "each sweep's own noise, contact and cable, and its own dummies",
    "u_dummies": "of these, its own dummies",
}
"""The same of devices whose dummies stand on each die."""
SHARED = ("u_common", "u_instrument", "u_temperature", "u_misfit")
"""Parts that the values of a wafer on one calibration share; calibration and shared dummies are
inside the first."""
SOURCES: tuple[str, ...] = (*SOURCE_GROUPS, "dummy structures", "extraction")
"""Sources of a budget in the order in which they are shown."""


MEANINGS: Mapping[str, str] = {
    **{str(name): text for name, text in SOURCE_GROUPS.items()},
    "dummy structures": "Noise and contacts of the dummies' own sweeps.",
    "extraction": "What the fit adds: scatter about its law, extrapolation.",
}
STANDARD = "Standard uncertainty"
DECLARED = (
    "Sources of standard uncertainty, as the laboratory declares them; they add in quadrature"
)
COMPUTED = (
    "Sources of standard uncertainty; they add in quadrature. What comes from calibration, sweep,"
    " instrument, temperature and fit is computed for each value (here its median over all"
    " wafers), the rest is as the laboratory declares it"
)
FACTS: Mapping[str, tuple[str, Callable[[float], str]]] = {
    "points": ("Points in the window", lambda n: f"{n:.0f}"),
    "share_used": ("Share of them used", percent),
    "slope_db_per_decade": (
        "Slope found",
        lambda slope: f"{units.number(slope, 3)}{units.THIN}dB per decade",
    ),
    "remainder_db": (
        "Remainder, rms",
        lambda rms: f"{units.number(rms, 2)}{units.THIN}dB",
    ),
    "extrapolated_decades": (
        "Extrapolated by",
        lambda reach: f"{units.number(reach, 2)} decades" if reach else "nothing",
    ),
    "flat_from_hz": ("Within 5 % of the value from", frequency),
    "flat_to_hz": ("to", frequency),
    "flat_share": ("Share of points within 5 %", percent),
    "step_hz": ("Distance of the two points around it", frequency),
}
"""Fact of a fit -> its heading, and how it is written."""


def table(parameter: Parameter, found: Sequence[ParameterResult], record: CampaignRecord) -> Table:
    """What is computed for each value, here its median, and what the laboratory declares.

    A column for each condition where anything is computed.
    """
    overall = [result for result in found if not result.wafer]
    names = [name for name in PARTS if any(_part(result, name) for result in overall)]
    own_dummies = _own_dummies(parameter, record)
    if own_dummies and "u_dummies" in names:
        names.remove("u_dummies")
        names.insert(names.index("u_own") + 1 if "u_own" in names else 0, "u_dummies")
    columns = overall if names else overall[:1]
    headings = [f"u, {one.condition}" for one in columns] if len(columns) > 1 else [STANDARD]

    sizes = [_part(one, name) or 0.0 for one in columns for name in names]
    sizes += [one.absolute for one in parameter.uncertainty if one.absolute is not None]
    factor, unit = units.shown_unit([max(sizes, default=0.0)], parameter.unit)

    def size(u: float) -> str:
        return with_unit(figure_of(u * factor), unit)

    def computed_size(u: float) -> str:
        return with_unit(units.number(u * factor, 3), unit)

    def computed(name: str) -> Row:
        words = {**PARTS, **OWN_DUMMIES} if own_dummies else PARTS
        parts = [_part(result, name) for result in columns]
        return Row(
            Cell(capital(words[name])),
            tuple(Cell(units.MISSING if u is None else computed_size(u), "", True) for u in parts),
        )

    def declared(one: UncertaintySource) -> Row:
        name = f"{one.source}, shared by a wafer's values" if one.common else one.source
        if one.absolute is not None:
            told = size(one.absolute)
        else:
            told = f"{declared_percent(one.relative or 0.0)} of the value"
        return Row(Cell(capital(name)), (Cell(told, "", True),) * len(headings))

    return Table(
        id="uncertainty",
        caption=COMPUTED if names else DECLARED,
        columns=(Column("Source"), *(Column(heading, True) for heading in headings)),
        rows=(
            *(computed(name) for name in names),
            *(declared(one) for one in parameter.uncertainty),
        ),
        empty="No uncertainty is stated for this parameter; under a guarded rule its values cannot"
        " be judged.",
        wide=True,
    )


def _own_dummies(parameter: Parameter, record: CampaignRecord) -> bool:
    """Whether the parameter's device has dummies on each die."""
    return any(
        one.deembedding is not None and one.deembedding.taken_from == "each die"
        for one in record.devices
        if one.id == parameter.device
    )


def _part(result: ParameterResult, name: str) -> float | None:
    """Median of a part; None where it is not stated or nothing."""
    return result.summary.budget.get(name) or None


def budget(parameter: Parameter, condition: str, results: CampaignResults) -> Table | None:
    """u by source on each wafer, of a parameter from sweeps; None without one."""
    found = _of_wafers(results.budgets, parameter, condition, results)
    names = [name for name in SOURCES if any(by_name.get(name) for by_name in found.values())]
    if not names:
        return None
    sizes = [u for by_name in found.values() for u in by_name.values() if u]
    factor, unit = units.shown_unit([max(sizes)], parameter.unit)

    def cell(u: float | None) -> Cell:
        return Cell(units.number(u * factor, 3) if u else units.MISSING, str(u or ""), True)

    return Table(
        id=f"budget-{condition}",
        caption=f"Standard uncertainty by source under condition {condition}, median over the"
        f" values of each wafer{_in(unit)}. Shares add in quadrature; medians of shares only"
        " nearly do",
        columns=(Column("Source"), Column("What it holds"), *(Column(one, True) for one in found)),
        rows=tuple(
            Row(
                Cell(capital(name)),
                (Cell(MEANINGS[name]), *(cell(by_name.get(name)) for by_name in found.values())),
            )
            for name in names
        ),
        wide=True,
        ordered=True,
    )


def fits(parameter: Parameter, results: CampaignResults) -> Table | None:
    """What the fits of a parameter from sweeps found on each wafer; None without a fit."""
    found = [
        (condition, wafer, facts)
        for condition in parameter.conditions
        for wafer, facts in _of_wafers(results.fits, parameter, condition, results).items()
    ]
    names = [name for name in FACTS if any(name in facts for _, _, facts in found)]
    if not names:
        return None
    return Table(
        id="fits",
        caption="Facts about the fits, median over the values of each wafer",
        columns=(
            Column("Wafer"),
            Column("Condition"),
            *(Column(FACTS[name][0], True) for name in names),
        ),
        rows=tuple(
            Row(
                Cell(wafer),
                (
                    Cell(condition),
                    *(
                        Cell(FACTS[name][1](facts[name]), str(facts[name]), True)
                        if name in facts
                        else Cell(units.MISSING, "", True)
                        for name in names
                    ),
                ),
            )
            for condition, wafer, facts in found
        ),
        wide=True,
    )


def _of_wafers(
    by_place: Mapping[tuple[str, str, str], Mapping[str, float]],
    parameter: Parameter,
    condition: str,
    results: CampaignResults,
) -> dict[str, Mapping[str, float]]:
    """Of the wafers that have any, in the campaign's order."""
    return {
        wafer: by_place[wafer, parameter.id, condition]
        for wafer in results.context.wafers
        if by_place.get((wafer, parameter.id, condition))
    }


def _in(unit: str) -> str:
    return f", in {unit}" if unit else ""
