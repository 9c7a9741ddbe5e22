"""What a parameter goes with: its correlations with other parameters, declared pairs first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.declared_statistics import Pair
from sitegen.model.relation_results import Correlation
from sitegen.model.results import Drawing
from sitegen.model.statistics import Estimate
from sitegen.render import summaries
from sitegen.render.cells import count_cell
from sitegen.render.figures import figure
from sitegen.render.parameter_case import Case
from sitegen.render.phrases import counted, figure_of, link, number_of, unbroken
from sitegen.render.pieces import Cell, Column, Figure, Link, Row, Table, Text
from sitegen.render.statistics_text import (
    SIGNIFICANT,
    between,
    estimate_cell,
    number_cell,
    numbers,
    p_cell,
    reasons,
)

MOST_ROWS = 12
"""Pairs in the table of a page; the data have all."""
RELATIONS = "relations"
"""Id of that table."""
SAME_ORDER = "the dies come in one order in both: their ranks give no interval"
Key = tuple[str, str]
"""Parameter and condition."""


@dataclass(frozen=True)
class _Seen:
    """A correlation as it is seen from one of its two parameters."""

    case: Case
    other: Key
    found: Correlation

    @property
    def strength(self) -> tuple[float, float]:
        """What it surely is: the end of its interval that is nearer to zero, then its value."""
        rank = _without_certainty(self.found.rank)
        ends = (rank.lower or 0.0, rank.upper or 0.0)
        least = 0.0 if ends[0] * ends[1] <= 0 else min(abs(end) for end in ends)
        return least, abs(rank.value or 0.0)

    @property
    def claimed(self) -> bool:
        p = self.found.adjusted_p
        return p is not None and p < SIGNIFICANT


def sentence(found: Sequence[Case]) -> Text:
    """'Of the 1 770 pairs looked at, two with this parameter have ..., the strongest with ...'"""
    pairs = _looked_at(found)
    if not pairs:
        return ""
    every = _seen(found)
    claimed = [one for one in every if one.claimed]
    if not claimed:
        of = "the one pair" if pairs == 1 else f"the {counted(pairs, 'pair')}"
        return f"No correlation with another parameter is claimed among {of} looked at."
    strongest = max(claimed, key=lambda one: one.strength)
    several = len(claimed) > 1
    return Markup(
        "Of {} looked at, {} with this parameter {} an adjusted p below {}{} {}: rank correlation"
        " {}. Patterns over the wafer that both share count as correlation.{}"
    ).format(
        "the one pair" if pairs == 1 else f"the {counted(pairs, 'pair')}",
        f"{number_of(len(claimed))}" if several else "one",
        "have" if several else "has",
        figure_of(SIGNIFICANT),
        ", the strongest with" if several else ", that with",
        _named(strongest),
        _interval(strongest.found.rank),
        _rest(found[0], len(every)),
    )


def table(found: Sequence[Case]) -> Table | None:
    """The pairs of a parameter, declared ones first, then the strongest; None without a pair."""
    every = sorted(_seen(found), key=lambda one: one.strength, reverse=True)
    if not every:
        return None
    shown = sorted(every, key=lambda one: not one.found.declared)[:MOST_ROWS]
    sure = f"95{units.THIN}%"
    pairs = counted(every[0].found.pairs, "pair")
    return Table(
        id=RELATIONS,
        caption="Correlations with other parameters: declared pairs, then those with an adjusted p"
        f" below {figure_of(SIGNIFICANT)}, what is surely strongest first (by the interval's end"
        f" nearer to zero). Within wafers, with {sure} intervals; dies whose neighbours resemble"
        " them in both count for less than one. p is of no rank correlation, adjusted over the"
        f" {pairs} looked at by Benjamini and Hochberg's method",
        columns=(
            Column("Other parameter"),
            Column("Its condition"),
            Column("Condition here"),
            Column("Correlation of ranks (Spearman)", True),
            Column("Linear correlation (Pearson)", True),
            Column("Adjusted p", True),
            Column("Dies", True),
            Column("Independent deviations they are worth", True),
            Column("Declared"),
            Column("Not stated because"),
        ),
        rows=tuple(_row(one) for one in shown),
        wide=True,
        ordered=True,
    )


def figures(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> tuple[Figure, ...]:
    """The drawing of each declared pair that the parameter takes part in."""
    first = found[0]
    mine = first.parameter.id
    return tuple(
        figure(drawings[name], first.page, drawings[name].title, Link("Table", f"#{RELATIONS}"))
        for pair in first.results.context.record.pairs
        if mine in (pair.x, pair.y) and (name := drawing_name(pair)) in drawings
    )


def drawing_name(pair: Pair) -> str:
    """By which a pair's drawing is handed to the page."""
    return f"pair-{pair.x}/{pair.x_condition}~{pair.y}/{pair.y_condition}"


def _seen(found: Sequence[Case]) -> list[_Seen]:
    """Every pair of the parameter once; of two of its own conditions, from the first one."""
    statistics = found[0].results.statistics
    by_key = {(case.parameter.id, case.condition): case for case in found}
    seen = []
    for one in () if statistics is None else statistics.correlations:
        if one.first in by_key:
            seen.append(_Seen(by_key[one.first], one.second, one))
        elif one.second in by_key:
            seen.append(_Seen(by_key[one.second], one.first, one))
    return seen


def _looked_at(found: Sequence[Case]) -> int:
    """How many pairs of the campaign were looked at; 0: none, or not computed."""
    statistics = found[0].results.statistics
    if statistics is None:
        return 0
    told = next((one.pairs for one in statistics.correlations), None)
    return comb(len(statistics.parameters), 2) if told is None else told


def _row(one: _Seen) -> Row:
    found = one.found
    rank = _without_certainty(found.rank)
    return Row(
        _link(one),
        (
            Cell(one.other[1]),
            Cell(one.case.named),
            estimate_cell(rank, digits=2),
            estimate_cell(found.linear, digits=2),
            p_cell(found.adjusted_p),
            count_cell(found.n),
            number_cell(found.freedom, digits=2),
            Cell("declared" if found.declared else ""),
            Cell(reasons([rank.reason, found.linear.reason])),
        ),
    )


def _link(one: _Seen) -> Cell:
    """The other parameter's symbol, linked to its page, with its name."""
    record = one.case.results.context.record
    other = next((each for each in record.parameters if each.id == one.other[0]), None)
    if other is None:
        return Cell(one.other[0])
    href = one.case.to(addresses.parameter(other.id))
    text = Markup('<a href="{}">{}</a> <span class="name">{}</span>').format(
        href, summaries.symbol(other), unbroken(other.name)
    )
    return Cell(text, other.symbol)


def _named(one: _Seen) -> Markup:
    """'RON under lin', the parameter linked."""
    name = link(one.other[0], one.case.to(addresses.parameter(one.other[0])))
    return Markup("{} under {}").format(name, one.other[1])


def _interval(found: Estimate) -> str:
    """'0.83 (0.77 to 0.88)'."""
    value, lower, upper = numbers(_without_certainty(found), digits=2)
    interval = between(lower, upper)
    return f"{value} ({interval})" if interval else value


def _without_certainty(found: Estimate) -> Estimate:
    """Without an interval that ends at one on both sides: ranks in one order make no other."""
    ends = [abs(end) for end in (found.lower, found.upper) if end is not None]
    if not ends or min(ends) < 1 - 1e-6:
        return found
    return Estimate(found.value, reason=SAME_ORDER)


def _rest(case: Case, total: int) -> Markup:
    """Where the pairs are that the table leaves out."""
    if total <= MOST_ROWS:
        return Markup("")
    data = link("the data", f"{case.to(addresses.DATA)}#table-correlations")
    return Markup(" The table has {} of its {} pairs; all are in {}.").format(
        number_of(MOST_ROWS), number_of(total), data
    )
