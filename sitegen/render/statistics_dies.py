"""Which dies, and why: outside, in a guard band, standing out, without standing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.concerned_results import ConcernedValue
from sitegen.model.space_results import Outlier
from sitegen.render.marks import marked
from sitegen.render.parameter_case import Case
from sitegen.render.parameter_sentences import reasons_told
from sitegen.render.phrases import (
    capital,
    counted,
    die_name,
    figure_of,
    joined,
    link,
    number_of,
    plain,
    spelled,
)
from sitegen.render.pieces import Cell, Column, Row, Table, Text
from sitegen.render.sentences import be
from sitegen.render.statistics_answers import Answer, answer
from sitegen.render.statistics_text import sentences_of

KINDS = {
    "outside": ("lies outside its limits", "lie outside their limits"),
    "not refuted": (
        "lies beyond a limit, inside the guard band",
        "lie beyond a limit, inside the guard band",
    ),
    "not proven": (
        "lies between its limits, inside a guard band",
        "lie between their limits, inside a guard band",
    ),
}
"""Outcomes that ask for a look, and how one or several values are told."""
STANDS_OUT, LOST = "stands out", "without standing"
ORDER = (*KINDS, STANDS_OUT, LOST)
MOST_NAMED = 3
MOST_ROWS = 50


@dataclass(frozen=True)
class Concern:
    """A die of the table, with all that is said of it."""

    case: Case
    wafer: str
    die: tuple[int, int]
    site: str
    value: float | None
    u: float | None
    kind: str
    """What puts it into the table, the gravest where several do."""
    outcome: str
    """As it is marked: its outcome or 'without standing'."""
    beyond: float | None
    why: str
    score: float | None = None
    kinds: tuple[str, ...] = ()
    cluster: int = 0
    """Dies of the cluster of dies outside that it is part of."""


def dies(case: Case, drawing: Markup | None) -> Answer:
    """How many dies ask for a look, then which ones by the gravest reason first."""
    found = concerns(case)
    said = [*_named(case, found), _clusters(case), _stand_out(case, found)]
    text = sentences_of([*said, _lost(case)])
    if not text:
        return answer("dies", *_none(case), drawing)
    count, number = _how_many(case, found)
    asks = "asks" if count == 1 else "ask"
    lost = 0 if case.summary is None else case.summary.without_standing
    if not any(said) and count == lost:
        told = f"{asks} for a look: {LOST}{reasons_told(case)}."
        return answer("dies", number, Markup("{}").format(told), drawing)
    return answer("dies", number, sentences_of([f"{asks} for a look.", text]), drawing)


def _none(case: Case) -> tuple[str, Markup]:
    """What is said where nothing asks for a look."""
    if case.n == 0:
        return "No die", Markup("has a value to look at.")
    parts = ["lies outside its limits or in a guard band"] if case.limited else []
    parts.append("is without standing")
    if case.statistics is not None:
        parts.append("stands out from the others")
    return "No die", Markup("{}.").format(joined(parts, "or"))


def concerns(case: Case) -> tuple[Concern, ...]:
    """Every die that is told or listed, the gravest first; one that is flagged stands once."""
    found: dict[tuple[str, tuple[int, int], str], Concern] = {}
    for value in () if case.concerned is None else case.concerned.listed:
        found[value.wafer, value.die, value.site] = _of_value(case, value)
    for flag in () if case.statistics is None else case.statistics.outliers.flagged:
        key = (flag.wafer, flag.die, flag.site)
        known = found.get(key) or _of_flag(case, flag)
        found[key] = replace(known, score=flag.score, kinds=flag.kinds)
    sizes = _cluster_sizes(case)
    made = [
        replace(one, cluster=sizes.get((one.wafer, one.die), 0) if one.kind == "outside" else 0)
        for one in found.values()
    ]
    return tuple(sorted(made, key=_gravity))


def _of_value(case: Case, one: ConcernedValue) -> Concern:
    return Concern(
        case,
        one.wafer,
        one.die,
        one.site,
        one.value,
        one.u,
        kind=one.kind,
        outcome=one.kind,
        beyond=one.beyond,
        why="; ".join(part for part in (one.why, one.censored) if part),
    )


def _of_flag(case: Case, one: Outlier) -> Concern:
    return Concern(
        case,
        one.wafer,
        one.die,
        one.site,
        one.value,
        None,
        kind=STANDS_OUT,
        outcome=one.outcome,
        beyond=None,
        why="",
    )


def _cluster_sizes(case: Case) -> Mapping[tuple[str, tuple[int, int]], int]:
    if case.statistics is None:
        return {}
    return {
        (one.wafer, die): len(group)
        for one in case.statistics.patterns
        for group in one.clusters
        for die in group
    }


def _gravity(one: Concern) -> tuple[int, float, float, str, tuple[int, int]]:
    return (
        ORDER.index(one.kind),
        -(one.beyond if one.beyond is not None else 0.0),
        -(one.score or 0.0),
        one.wafer,
        one.die,
    )


def _how_many(case: Case, found: Sequence[Concern]) -> tuple[int, str]:
    """5 and '5 dies', or 'At least 200 dies' where not all values are kept."""
    known = {(one.wafer, one.die) for one in found}
    if not known:
        total = sum(case.outcome(word) for word in KINDS)
        total += case.summary.without_standing if case.summary is not None else 0
        return total, units.count(total, "value")
    kept = case.concerned is None or len(case.concerned.listed) == sum(
        case.concerned.counts.get(kind, 0) for kind in (*KINDS, LOST)
    )
    if kept or case.concerned is None:
        return len(known), units.count(len(known), "die")
    least = max(case.concerned.dies, len(known))
    return least, f"At least {units.count(least, 'die')}"


def _named(case: Case, found: Sequence[Concern]) -> list[Markup]:
    """'One lies outside its limits: LK7-1 (−3, −4), by 3.8 mV.' for each outcome."""
    said = []
    for kind, verbs in KINDS.items():
        number = case.outcome(kind)
        mine = [one for one in found if one.kind == kind]
        number = max(number, len(mine))
        if number == 0:
            continue
        lead = Markup("{} {}").format(capital(spelled(number)), verbs[number != 1])
        named = _list(mine[:MOST_NAMED], number)
        said.append(Markup("{}: {}.").format(lead, named) if mine else Markup("{}.").format(lead))
    return said


def _list(shown: Sequence[Concern], number: int) -> Markup:
    """'LK7-1 (−3, −4), by 3.8 mV', joined; the rest is counted."""
    told: list[Text] = [_die(one) + _by(one) for one in shown]
    more = number - len(told)
    if more > 0:
        told.append(link(f"{number_of(more)} more", "#concerned"))
    return joined(told)


def _die(one: Concern) -> Markup:
    """'LK7-1 (−3, −4)', a link to the die's page."""
    site = f" {one.site}" if one.site else ""
    return link(
        f"{one.wafer} {die_name(*one.die)}{site}", one.case.to(addresses.die(one.wafer, *one.die))
    )


def _by(one: Concern) -> str:
    if one.kind != "outside" or one.beyond is None or one.beyond <= 0:
        return ""
    return f" by {one.case.size(one.beyond)}"


def _clusters(case: Case) -> Markup:
    """'Three of those outside are neighbours on LK7-1; seven more groups are no larger.'"""
    if case.statistics is None:
        return Markup("")
    groups = [(one.wafer, len(group)) for one in case.statistics.patterns for group in one.clusters]
    if not groups:
        return Markup("")
    wafer, size = max(groups, key=lambda each: each[1])
    more = len(groups) - 1
    behind = f"; {counted(more, 'more group')} {be(more)} no larger" if more else ""
    return Markup("{} of those outside are neighbours on {}{}.").format(
        capital(spelled(size)), link(wafer, case.to(addresses.wafer(wafer))), behind
    )


def _stand_out(case: Case, found: Sequence[Concern]) -> Markup:
    """'Three stand out, which is no verdict (0.4 expected of clean data): ...'"""
    flagged = [one for one in found if one.kinds]
    if not flagged or case.statistics is None:
        return Markup("")
    only = [one for one in flagged if one.kind == STANDS_OUT]
    number = len(flagged)
    verb = "stands" if number == 1 else "stand"
    expected = figure_of(case.statistics.outliers.expected, 2)
    named = Markup(": {}").format(_list(only[:MOST_NAMED], len(only))) if only else Markup("")
    return Markup("{} {} out, which is no verdict ({} expected of clean data){}.").format(
        capital(spelled(number)), verb, expected, named
    )


def _lost(case: Case) -> str:
    """'21 are without standing (verification failed 20, expired by time 1).'"""
    number = 0 if case.summary is None else case.summary.without_standing
    if number == 0:
        return ""
    return (
        f"{capital(spelled(number))} {'is' if number == 1 else 'are'} {LOST}{reasons_told(case)}."
    )


def table(found: Sequence[Case]) -> tuple[Table, Text]:
    """At most fifty dies of all conditions, the gravest first; what is said of the rest."""
    every = [one for case in found for one in concerns(case)]
    every.sort(key=lambda one: (ORDER.index(one.kind),))
    shown = every[:MOST_ROWS]
    sites = any(one.site for one in shown)
    made = Table(
        id="concerned",
        caption="Dies that ask for a look, the gravest first: outside their limits, inside a guard"
        " band, standing out from the others (which is no verdict), without standing",
        columns=(
            Column("Die"),
            Column("Condition"),
            *((Column("Site"),) if sites else ()),
            Column("Value ± U", True),
            Column("Unit"),
            Column("Verdict"),
            Column("Why"),
        ),
        rows=tuple(_row(one, sites) for one in shown),
        empty="No die lies outside its limits, in a guard band or without standing, and none stands"
        " out."
        if any(case.n for case in found)
        else "No die has a value with standing.",
        wide=True,
    )
    return made, _rest(found, len(shown))


def _row(one: Concern, sites: bool) -> Row:
    k = one.case.decision.coverage_factor
    value, u = one.value, one.u
    factor = one.case.factor
    shown = units.with_uncertainty(
        None if value is None else value * factor, None if u is None else k * u * factor
    )
    return Row(
        Cell(_die(one), f"{one.wafer} {one.die[1]} {one.die[0]}"),
        (
            Cell(one.case.named),
            *((Cell(one.site),) if sites else ()),
            Cell(shown, plain(value), True),
            Cell(one.case.unit),
            Cell(marked(one.outcome)),
            Cell(_because(one)),
        ),
    )


def _because(one: Concern) -> str:
    """Everything that is said of a die, the verdict's reason first."""
    told = []
    if one.beyond is not None and one.kind != LOST:
        where = "beyond the limit" if one.beyond > 0 else "inside the limit"
        told.append(f"{one.case.size(abs(one.beyond))} {where}")
    if one.why:
        told.append(one.why)
    if one.cluster:
        told.append(f"with {counted(one.cluster - 1, 'neighbour')} outside too")
    if one.kinds:
        score = "" if one.score is None else f", {units.number(one.score, 2)} robust sigmas"
        told.append(f"stands out ({', '.join(one.kinds)}{score})")
    return "; ".join(told)


def _rest(found: Sequence[Case], shown: int) -> Text:
    """'Of 260 values 50 are listed; all are in the table results.'"""
    total = 0
    for case in found:
        known = concerns(case)
        kept = 0 if case.concerned is None else len(case.concerned.listed)
        counts = {} if case.concerned is None else case.concerned.counts
        total += len(known) + sum(counts.get(kind, 0) for kind in (*KINDS, LOST)) - kept
    if total <= shown:
        return ""
    return Markup("{} of {} are listed; every value is in {}.").format(
        number_of(shown), number_of(total), link("the data", found[0].to(addresses.DATA))
    )
