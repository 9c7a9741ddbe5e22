"""What a stress did to a parameter, in tables and drawings."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.declared_statistics import Stress
from sitegen.model.results import Drawing
from sitegen.model.shift_results import Lost, PairShift, Shift
from sitegen.model.statistics import Estimate
from sitegen.render.cells import count_cell
from sitegen.render.figures import figure
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import (
    link,
    number_of,
    plain,
)
from sitegen.render.pieces import Cell, Column, Figure, Link, Row, Table
from sitegen.render.statistics_text import (
    estimate_cell,
    number_cell,
    p_cell,
    reasons,
)

STRESS = "stress"
"""Id of the section."""
QUESTION = "What did the stress do?"
TABLE = "shifts"
NEXT_TO_ONE = 0.999
Told = tuple[Case, Shift, Stress]


def told(found: Sequence[Case]) -> tuple[Told, ...]:
    """Every shift of the parameter with its case and stress, the worst first."""
    if not found:
        return ()
    results = found[0].results
    stresses = {one.id: one for one in results.context.record.stresses}
    cases = {(case.parameter.id, case.condition): case for case in found}
    every = [
        (cases[one.parameter, one.condition], one, stresses[one.stress])
        for one in results.shifts
        if (one.parameter, one.condition) in cases and one.stress in stresses
    ]
    return tuple(sorted(every, key=lambda each: _badness(each[1])))


def _badness(one: Shift) -> tuple[float, float, float]:
    """Lost devices first, then shifts beyond the bound, then the shift in its own U."""
    had, n = max(one.had, 1), max(one.n, 1)
    size = abs(one.mean.value or 0.0) / one.expanded if one.expanded else 0.0
    return -one.lost_devices / had, -one.beyond / n, -size


def tables(found: Sequence[Case]) -> tuple[Table, ...]:
    """What was lost and the mean shift, of all wafers of each stress and of each wafer."""
    every = told(found)
    if not every:
        return ()
    scale, unit = _scale(every)
    return (
        Table(
            id=TABLE,
            caption=f"Shifts, after less before, with 95{units.THIN}% intervals that hold the"
            " measurement's shared errors; of all stressed wafers less what control wafers shift"
            " by, of each wafer as measured. U is of the mean shift by the measurement alone; p is"
            " of no shift, adjusted over the parameters and conditions of the stress by Holm",
            columns=(
                Column("Stress"),
                Column("Condition"),
                Column("Wafers"),
                Column("Values before", True),
                Column("Paired", True),
                Column("Lost"),
                Column(units.axis_title("Mean shift", unit), True),
                Column(units.axis_title("U", unit), True),
                Column("Resolved"),
                Column("Beyond the bound", True),
                Column("Adjusted p", True),
                Column("Not stated because"),
            ),
            rows=tuple(row for each in every for row in _rows(*each, scale)),
            wide=True,
            ordered=True,
        ),
    )


def details(found: Sequence[Case]) -> tuple[Table, ...]:
    """Median, spread and signs of the shifts, and whether they go with the size."""
    every = told(found)
    if not every:
        return ()
    scale, unit = _scale(every)
    return (
        Table(
            id=f"{TABLE}-details",
            caption="The shifts of single dies: s is their standard deviation about their wafer's"
            " mean, u the median uncertainty of one by the measurement; the sign test is of the"
            " values as measured. The correlation is that of a die's shift with the mean of its"
            " two values, within wafers",
            columns=(
                Column("Stress"),
                Column("Condition"),
                Column("Wafers"),
                Column(units.axis_title("Median shift", unit), True),
                Column(units.axis_title("s", unit), True),
                Column(units.axis_title("u", unit), True),
                Column("p of the sign test", True),
                Column("Correlation", True),
                Column("Its adjusted p", True),
                Column("No number before"),
                Column("Not stated because"),
            ),
            rows=tuple(row for each in every for row in _detail_rows(*each, scale)),
            wide=True,
            ordered=True,
        ),
    )


def _scale(every: Sequence[Told]) -> tuple[float, str]:
    """One for all shifts of the parameter."""
    sizes = [one.mean.value for _, one, _ in every]
    sizes += [pair.mean.value for _, one, _ in every for pair in one.pairs]
    return every[0][0].scale_of(sizes)


def _rows(case: Case, one: Shift, stress: Stress, scale: float) -> list[Row]:
    none = Cell(units.MISSING, "", True)
    judged, k = sum(one.outcomes.values()), case.decision.coverage_factor
    together = (
        Cell("all stressed"),
        *_counts(one),
        estimate_cell(one.mean, scale),
        number_cell(one.expanded, scale, 2),
        Cell(one.resolved),
        none
        if one.shift_max is None
        else Cell(f"{number_of(one.beyond)} of {number_of(judged)}", str(one.beyond), True),
        p_cell(one.adjusted_p),
        Cell(reasons([one.reason, one.mean.reason])),
    )
    of_pairs = [
        (
            Cell(_whose(case, pair), pair.after),
            *_counts(pair),
            estimate_cell(pair.mean, scale),
            number_cell(None if pair.u is None else k * pair.u, scale, 2),
            Cell(""),
            none,
            none,
            Cell(reasons([pair.reason, pair.mean.reason])),
        )
        for pair in one.pairs
    ]
    return [Row(Cell(stress.id), (Cell(case.named), *cells)) for cells in (together, *of_pairs)]


def _detail_rows(case: Case, one: Shift, stress: Stress, scale: float) -> list[Row]:
    none = Cell(units.MISSING, "", True)
    together = (
        Cell("all stressed"),
        estimate_cell(one.median, scale),
        number_cell(one.standard_deviation, scale, 2),
        number_cell(one.u_die, scale, 2),
        p_cell(one.sign_p),
        correlation_cell(one.dependence),
        p_cell(one.dependence_adjusted),
        _appeared(one),
        Cell(reasons([one.median.reason, one.dependence.reason])),
    )
    of_pairs = [
        (
            Cell(_whose(case, pair), pair.after),
            estimate_cell(pair.median, scale),
            number_cell(pair.standard_deviation, scale, 2),
            none,
            p_cell(pair.sign_p),
            none,
            none,
            _appeared(pair),
            Cell(reasons([pair.median.reason])),
        )
        for pair in one.pairs
    ]
    return [Row(Cell(stress.id), (Cell(case.named), *cells)) for cells in (together, *of_pairs)]


def loss(one: Lost) -> str:
    """'2 below the floor'."""
    return f"{number_of(one.n)} {one.reason}"


def correlation_cell(found: Estimate) -> Cell:
    """'0.23 (−0.04 to 0.48)'; one that is surely next to one is told as beyond 0.999."""
    ends = [abs(end) for end in (found.lower, found.upper) if end is not None]
    if found.value is not None and ends and min(ends) > NEXT_TO_ONE:
        sign = "" if found.value > 0 else units.MINUS
        word = "above" if found.value > 0 else "below"
        return Cell(f"{word} {sign}{NEXT_TO_ONE}", plain(found.value), True)
    return estimate_cell(found, digits=2)


def _counts(one: Shift | PairShift) -> tuple[Cell, ...]:
    lost = "; ".join(loss(each) for each in one.lost)
    return count_cell(one.had), count_cell(one.n), Cell(lost)


def _appeared(one: Shift | PairShift) -> Cell:
    """Numbers after without one before, by why there was none."""
    return Cell("; ".join(f"{number_of(n)} {why}" for why, n in one.appeared))


def _whose(case: Case, pair: PairShift) -> Markup:
    """'W1 → W1-168h', each a link to its page where it has one, and whether it is a control."""
    read = {one.id for one in case.results.wafer_records}
    names = [
        link(name, case.to(addresses.wafer(name))) if name in read else Markup("{}").format(name)
        for name in (pair.before, pair.after)
    ]
    return Markup("{} → {}{}").format(*names, " (control)" if pair.control else "")


def charts(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """Each die's shift over the mean of its two values, a drawing for each stress."""
    return tuple(
        figure(drawings[name], case.page, drawings[name].title, Link("Table", f"#{TABLE}"))
        for case, one, _ in told(found)
        if (name := chart_name(one)) in drawings
    )


def maps(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """The shift of each die of each stressed wafer."""
    return tuple(
        figure(
            drawings[name],
            case.page,
            Markup("Shift of wafer {}{}: {}").format(
                link(pair.before, case.to(addresses.wafer(pair.before))),
                f", {case.condition}" if case.several else "",
                drawings[name].description,
            ),
            Link("Table", f"#{TABLE}"),
        )
        for case, one, _ in told(found)
        for pair in one.pairs
        if (name := map_name(one, pair.after)) in drawings
    )


def chart_name(one: Shift) -> str:
    """By which the drawing of single shifts is handed to the page."""
    return f"stress-{one.stress}/{one.condition}"


def map_name(one: Shift, after: str) -> str:
    """By which the map of a wafer's shifts is handed to the page."""
    return f"stress-map-{one.stress}/{after}/{one.condition}"
