"""Is it the wafer or the measurement: the measured part of the spread, studies, shared errors."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.variation_results import GaugeStudy
from sitegen.render.cells import count_cell, percent_cell, percent_over_cell
from sitegen.render.parameter_case import Case
from sitegen.render.parameter_sentences import nothing
from sitegen.render.phrases import capital, counted, percent, plain, spelled
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.statistics_answers import NOT_COMPUTED, NOT_STATED, Answer, answer
from sitegen.render.statistics_text import (
    because,
    between,
    estimate_cell,
    number_cell,
    numbers,
    p_cell,
    sentences_of,
    share_cell,
)

OF_A_STUDY = {
    "die": "between dies",
    "operator": "between operators",
    "station": "between stations",
    "interaction": "interaction with dies",
    "repeat": "repeats",
}
"""Level of a study's component -> where it lies."""


def measurement(case: Case, drawing: Markup | None) -> Answer:
    """How much of the spread of a wafer's dies is the measurement's own; what means keep."""
    number, first = _part(case)
    study = study_sentence(case) if number == NOT_STATED else ""
    return answer("measurement", number, sentences_of([first, _shared(case), study]), drawing)


def _part(case: Case) -> tuple[str, str]:
    """'4.0 %', 'of the variance of the dies on a wafer is the measurement's own uncertainty ...'"""
    if case.n == 0:
        return "No value", f"{nothing(case)}."
    if case.n == 1:
        return "One value", "shows no spread that could be parted."
    if case.statistics is None:
        return NOT_STATED, f"is how much of the spread the measurement makes: {NOT_COMPUTED}."
    part = case.statistics.variation.measured
    share = part.share_measured
    if share.value is None or part.spread is None or part.u_own is None:
        why = because([share.reason or part.reason])
        return NOT_STATED, f"is how much of the spread the measurement makes{why}."
    if part.spread == 0:
        return NOT_STATED, "is any spread of the dies: their values are equal."
    interval = between(*("" if end is None else percent(end) for end in (share.lower, share.upper)))
    if part.u_own >= part.spread:
        return percent(share.value), _all_of_it(case, "" if share.lower == 1 else interval)
    small = max(share.value, share.upper or 0.0) < 0.001
    told = f"({interval}) " if interval and not small else ""
    own, spread = case.sizes([part.u_own, part.spread])
    number = f"Under 0.1{units.THIN}%" if share.value < 0.001 else percent(share.value)
    return number, (
        f"{told}of the variance of a wafer's dies is the measurement's own uncertainty ({own} of"
        f" {spread}); {_dies_themselves(case)}."
    )


def _all_of_it(case: Case, interval: str) -> str:
    """What is said where the measurement's own uncertainty is as large as the spread seen."""
    assert case.statistics is not None  # `_part` has left the others
    part = case.statistics.variation.measured
    own, spread, most = case.sizes([part.u_own, part.spread, part.spread_of_dies.upper])
    at_most = f" (at most {most})" if part.spread_of_dies.upper else ""
    return (
        f"{f'({interval}) ' if interval else ''}of the variance of a wafer's dies could be the"
        f" measurement's own uncertainty ({own}): it is no less than the spread seen ({spread}), so"
        f" that no spread of the dies themselves is shown{at_most}."
    )


def _dies_themselves(case: Case) -> str:
    """'the dies themselves spread by 37 mV, 34 mV to 41 mV'."""
    assert case.statistics is not None  # `_part` has left the others
    found = case.statistics.variation.measured.spread_of_dies
    if found.value is None:
        return f"what the dies themselves spread by is not stated{because([found.reason])}"
    scale, unit = case.scale_of([found.value, found.upper])
    value, lower, upper = numbers(found, scale, 2)
    interval = between(lower, upper, unit)
    behind = f"{units.THIN}{unit}" if unit else ""
    told = f" ({interval})" if interval else ""
    return f"the dies themselves spread by {value}{behind}{told}"


def _shared(case: Case) -> str:
    """Errors that a wafer's values share make no spread on it; its mean keeps them."""
    if case.statistics is None or case.n < 2:
        return ""
    variation = case.statistics.variation
    u = variation.measured.u_shared
    if not u:
        return ""
    shared = case.sizes([u, variation.measured.spread])[0]
    first = (
        f"Errors that the values of a wafer share ({shared}) make no spread on it but stay in"
        " its mean"
    )
    wafers = [one for one in variation.components if one.level == "wafer"]
    alone = variation.wafer_spread_by_measurement
    seen = wafers[0].standard_deviation.value if wafers else None
    if alone is None or seen is None:
        return f"{first}."
    made, found = case.sizes([alone, seen])
    if alone > seen:
        return f"{first}; between wafers they alone could make {made}, more than is seen ({found})."
    return f"{first}; between wafers they alone would make {made} of the {found} seen."


def study_sentence(case: Case) -> str:
    """'In study OP-1 (three operators, ...) repeatability and reproducibility together are ...'"""
    if case.statistics is None:
        return ""
    stated = [one for one in case.statistics.studies if one.combined.value is not None]
    if not stated:
        return ""
    one = stated[0]
    of = (
        ""
        if one.share_of_tolerance is None
        else f"; six times that is {units.percent_over(one.share_of_tolerance)} of the tolerance"
    )
    made = (
        f"{spelled(one.appraisers)} {one.between}, {counted(one.parts, 'die')} and"
        f" {counted(one.repeats, 'repeat')}"
    )
    return (
        f"In study {one.study} ({made}) repeatability and reproducibility together are"
        f" {case.size(one.combined.value)}{of}."
    )


def study_sentences(found: Sequence[Case]) -> tuple[str, ...]:
    """A sentence for each condition that a study was made of."""
    return tuple(told for case in found if (told := study_sentence(case)))


def measured_table(found: Sequence[Case]) -> Table | None:
    """How much of the spread is the measurement, a row for each condition; None: not computed."""
    rows = []
    for case in found:
        if case.statistics is None:
            continue
        variation = case.statistics.variation
        part = variation.measured
        scale, unit = case.scale_of([part.spread, part.u_own, part.u_shared])
        rows.append(
            Row(
                Cell(case.condition),
                (
                    count_cell(part.n),
                    number_cell(part.spread, scale),
                    number_cell(part.u_own, scale, 2),
                    estimate_cell(part.spread_of_dies, scale),
                    share_cell(part.share_measured),
                    number_cell(part.u_shared, scale, 2),
                    number_cell(variation.wafer_spread_by_measurement, scale, 2),
                    Cell(unit),
                    Cell(part.reason or part.share_measured.reason or part.spread_of_dies.reason),
                ),
            )
        )
    if not rows:
        return None
    return Table(
        id="measured",
        caption="How much of the spread of the dies on a wafer is the measurement. Each value's own"
        " uncertainty makes spread; what the values of a wafer share makes none on it, but shifts"
        f" its mean and so parts the wafers. Intervals at 95{units.THIN}%",
        columns=(
            Column("Condition"),
            Column("Values", True),
            Column("Spread as measured", True),
            Column("Own u, rms", True),
            Column("Spread of the dies", True),
            Column("Measured share of the variance", True),
            Column("Shared u, rms", True),
            Column("Between wafers by measurement alone", True),
            Column("Unit"),
            Column("Not stated because"),
        ),
        rows=tuple(rows),
        wide=True,
    )


def studies(found: Sequence[Case]) -> tuple[Table, ...]:
    """A summary of the declared studies, then the components of each; empty without one."""
    every = [
        (case, one)
        for case in found
        if case.statistics is not None
        for one in case.statistics.studies
    ]
    if not every:
        return ()
    return (_study_table(every), _study_components(every))


def _study_table(every: Sequence[tuple[Case, GaugeStudy]]) -> Table:
    rows = []
    for case, one in every:
        found = (one.repeatability, one.reproducibility, one.combined, one.part_to_part)
        scale, unit = case.scale_of([each.value for each in found])
        rows.append(
            Row(
                Cell(one.study),
                (
                    Cell(case.named),
                    Cell(f"{one.appraisers} {one.between}"),
                    count_cell(one.parts),
                    Cell(str(one.repeats), "", True),
                    *(estimate_cell(each, scale) for each in found),
                    Cell(unit),
                    percent_cell(one.share_of_total),
                    percent_over_cell(one.share_of_tolerance),
                    Cell(
                        units.MISSING
                        if one.distinct_categories is None
                        else str(one.distinct_categories),
                        plain(one.distinct_categories),
                        True,
                    ),
                    Cell(one.reason or one.reproducibility.reason or one.combined.reason),
                ),
            )
        )
    return Table(
        id="studies",
        caption="Repeatability and reproducibility as standard deviations with"
        f" 95{units.THIN}% intervals; their share of the total is of standard deviations, that of"
        " the tolerance of 6 of them",
        columns=(
            Column("Study"),
            Column("Condition"),
            Column("Over"),
            Column("Dies", True),
            Column("Repeats", True),
            Column("Repeatability", True),
            Column("Reproducibility", True),
            Column("Together", True),
            Column("Between dies", True),
            Column("Unit"),
            Column("Of the total", True),
            Column("Of the tolerance", True),
            Column("Distinct categories", True),
            Column("Not stated because"),
        ),
        rows=tuple(rows),
        wide=True,
    )


def _study_components(every: Sequence[tuple[Case, GaugeStudy]]) -> Table:
    rows = []
    for case, one in every:
        scale, unit = case.scale_of([each.standard_deviation.value for each in one.components])
        for each in one.components:
            pooled = " (pooled with the repeats)" if one.interaction_pooled else ""
            name = OF_A_STUDY.get(each.level, each.level)
            rows.append(
                Row(
                    Cell(one.study),
                    (
                        Cell(case.named),
                        Cell(capital(name) + (pooled if each.level == "interaction" else "")),
                        count_cell(each.degrees_of_freedom),
                        number_cell(each.mean_square, scale**2),
                        number_cell(each.f_ratio),
                        p_cell(each.p_value),
                        estimate_cell(each.standard_deviation, scale),
                        Cell(unit),
                        percent_cell(each.share),
                    ),
                )
            )
    return Table(
        id="study-components",
        caption="Analysis of variance of the studies; p is of no such component. The mean square is"
        " in the square of the unit",
        columns=(
            Column("Study"),
            Column("Condition"),
            Column("Source"),
            Column("Degrees of freedom", True),
            Column("Mean square", True),
            Column("F", True),
            Column("p", True),
            Column("Standard deviation", True),
            Column("Unit"),
            Column("Share of the variance", True),
        ),
        rows=tuple(rows),
        empty="No study has components.",
        wide=True,
        ordered=True,
    )
