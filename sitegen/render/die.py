"""View of a die's page: its verdict, its values, its traces."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.render import die_decisions, die_sentences, die_values, downloads, summaries
from sitegen.render.phrases import die_name, figure_of, stretch, with_unit
from sitegen.render.pieces import Caution, Fact, Link, Table, Text
from sitegen.render.tables import there
from sitegen.render.traces import DieTraces
from sitegen.render.wafer_shared import DieRow, Kind, Shared, as_float


@dataclass(frozen=True, slots=True)
class DieView:
    """Contract of templates/die.html."""

    title: str
    lead: tuple[Markup, ...]
    """The verdict with its reason, then what must be known beside it."""
    cautions: tuple[Caution, ...]
    values: Table
    decided: tuple[Markup, ...]
    """By which rules, with their clauses; empty where nothing was decided."""
    decisions: Table | None
    """What decided each value that counts."""
    contact: tuple[Table, ...]
    """Touchdowns with their contact checks, and bias and power as delivered, where known."""
    traces: tuple[DieTraces, ...]
    """By device and condition."""
    facts: tuple[Fact, ...]
    neighbours: tuple[Link, ...]
    """The die before and the die after, in the order of the wafer's table."""
    elsewhere: tuple[Link, ...]
    """The same die on the other wafers."""
    files: tuple[Markup, ...]
    """The files that hold these values and sweeps, each a link with its size."""
    columns: Link
    """What the columns of the files mean."""
    sources: tuple[str, ...]
    """Files of the campaign that the values were read from."""


def view(shared: Shared, place: int) -> DieView:
    """The page of the die at `place` in the wafer's table of dies."""
    die = shared.dies[place]
    rows = shared.rows_of.get((die.die_x, die.die_y), [])
    name = die_name(die.die_x, die.die_y)
    return DieView(
        title=f"Die {name} of wafer {shared.wafer}",
        lead=die_sentences.die(
            _facts_of_verdict(shared, die, rows),
            shared.decided,
            shared.context.record.touchdowns.counts,
            shared.context.record.verdict.conforming,
        ),
        cautions=shared.cautions(_conditions(shared, die, rows)),
        values=die_values.table(shared, rows),
        decided=(
            *die_decisions.rules(shared, rows, shared.to(f"{addresses.METHOD}#decision")),
            *die_decisions.global_risks(shared, rows),
        ),
        decisions=die_decisions.table(shared, rows),
        contact=there(
            shared.touchdowns.get((die.die_x, die.die_y)), die_values.delivered(shared, rows)
        ),
        traces=shared.traces.of(die.die_x, die.die_y),
        facts=_facts(shared, die, rows),
        neighbours=_neighbours(shared, place),
        elsewhere=_elsewhere(shared, die),
        files=downloads.files(shared.context, shared.home, (shared.wafer,)),
        columns=Link("What the columns mean", shared.to(addresses.DATA)),
        sources=tuple(
            dict.fromkeys(str(file) for row in rows if (file := shared.columns["file"][row]))
        ),
    )


def _conditions(shared: Shared, die: DieRow, rows: Sequence[int]) -> frozenset[str]:
    """Conditions under which the die has a value, or must have one by the plan."""
    columns = shared.columns
    measured = {str(columns["condition"][r]) for r in rows if columns["value"][r] is not None}
    return frozenset(measured | (shared.planned_conditions if die.planned else set()))


def _neighbours(shared: Shared, place: int) -> tuple[Link, ...]:
    found = []
    for words, other in (("Die before", place - 1), ("Die after", place + 1)):
        if 0 <= other < len(shared.dies):
            die = shared.dies[other]
            target = f"{addresses.die_stem(die.die_x, die.die_y)}.html"
            found.append(Link(f"{words}: {die_name(die.die_x, die.die_y)}", target))
    return tuple(found)


def _elsewhere(shared: Shared, die: DieRow) -> tuple[Link, ...]:
    """Full dies have a page on every wafer; of others nothing is known here."""
    if not die.full:
        return ()
    return tuple(
        Link(wafer, shared.to(addresses.die(wafer, die.die_x, die.die_y)))
        for wafer in shared.context.wafers
        if wafer != shared.wafer
    )


def _facts(shared: Shared, die: DieRow, rows: Sequence[int]) -> tuple[Fact, ...]:
    times = [
        time for row in rows if isinstance(time := shared.columns["measured_at"][row], datetime)
    ]
    where = f"{figure_of(die.x_mm)}, {figure_of(die.y_mm)}{units.THIN}mm from the wafer's centre"
    facts = [
        Fact("Zone", die.zone),
        Fact("Centre", where),
        Fact("Whole inside the edge exclusion", "yes" if die.full else "no"),
        Fact("Planned", "yes" if die.planned else "no"),
    ]
    if times:
        facts.append(Fact("Measured, as stamped", stretch(min(times), max(times))))
    return tuple(facts)


def _facts_of_verdict(shared: Shared, die: DieRow, rows: Sequence[int]) -> die_sentences.DieFacts:
    columns = shared.columns
    counting = [row for row in rows if columns["counts"][row]]
    present = [row for row in counting if columns["outcome"][row] != "not measured"]
    lost = [row for row in present if columns["standing"][row] == "without standing"]
    stands = [row for row in present if columns["standing"][row] != "without standing"]
    outcomes = {
        outcome: tuple(_told(shared, row) for row in stands if columns["outcome"][row] == outcome)
        for outcome in ("outside", "not refuted", "not proven", "not assessable")
    }
    reasons = sorted(
        {
            reason
            for row in lost
            for reason in str(columns["standing_reasons"][row] or "").split("; ")
            if reason
        }
    )
    return die_sentences.DieFacts(
        name=die_name(die.die_x, die.die_y),
        outcome=die.outcome,
        reason=die.reason or "",
        planned=die.planned,
        limited=sum(columns["outcome"][row] != "no limits" for row in stands),
        outside=outcomes["outside"],
        not_proven=outcomes["not proven"],
        not_assessable=outcomes["not assessable"],
        missing=die.missing,
        without_standing=len(lost),
        standing_reasons=tuple(reasons),
        not_closed=sum(columns["standing"][row] == "not closed" for row in stands),
        repeated=sum(_number(columns["touchdowns"][row]) > 1 for row in counting),
        hinging=_hinging(shared, rows),
        not_refuted=outcomes["not refuted"],
        conforming=bool(die.conforming),
        other_verdicts=die.other_verdicts or "",
    )


def _hinging(shared: Shared, rows: Sequence[int]) -> tuple[Text, ...]:
    """Parameters whose outcome another touchdown would have changed, by their symbols."""
    columns = shared.columns
    outcomes: dict[tuple[object, ...], set[object]] = {}
    for row in rows:
        if _number(columns["touchdown"][row]) > 0:
            key = tuple(columns[name][row] for name in ("parameter", "condition", "site"))
            outcomes.setdefault(key, set()).add(columns["outcome"][row])
    names = [str(key[0]) for key, found in outcomes.items() if len(found) > 1]
    if not names:
        return ()
    parameters = summaries.parameters_of(shared.context.record)
    return tuple(summaries.symbol(parameters[name]) for name in dict.fromkeys(names))


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0


def _told(shared: Shared, row: int) -> str:
    """'threshold voltage (room) 712 mV, above 650 mV'."""
    columns = shared.columns
    kind = shared.kinds[columns["parameter"][row], columns["condition"][row]]
    value, lower, upper = (as_float(columns[name][row]) for name in ("value", "lower", "upper"))
    shown = "below its floor" if columns["below_floor"][row] else _shown(value, kind)
    name = f"{kind.parameter.name} ({columns['condition'][row]}) {shown}"
    if columns["outcome"][row] == "not assessable":
        return f"{name}: {columns['outcome_reason'][row]}"
    if value is None:
        return name
    for limit, beyond, near in ((upper, "above", "below"), (lower, "below", "above")):
        if limit is None:
            continue
        if (value > limit) if limit == upper else (value < limit):
            return f"{name}, {beyond} {_limit(limit, kind)}"
        if columns["outcome"][row] == "not proven" and _nearer(value, limit, lower, upper):
            return f"{name}, just {near} {_limit(limit, kind)}"
    return name


def _nearer(value: float, limit: float, lower: float | None, upper: float | None) -> bool:
    """True where `limit` is the one that the value lies nearer to."""
    return all(
        abs(value - limit) <= abs(value - other) for other in (lower, upper) if other is not None
    )


def _shown(value: float | None, kind: Kind) -> str:
    if value is None:
        return "has no number"
    return with_unit(units.number(value * kind.factor, 4), kind.unit)


def _limit(limit: float, kind: Kind) -> str:
    return with_unit(figure_of(limit * kind.factor), kind.unit)
