"""A section for each question of a parameter's page, with the tables and drawings behind it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from sitegen import units
from sitegen.model.results import Drawing
from sitegen.render import (
    parameter_conditions,
    parameter_means,
    parameter_uncertainty,
    shift_sentences,
    statistics_comparison,
    statistics_dies,
    statistics_good,
    statistics_measurement,
    statistics_outliers,
    statistics_relations,
    statistics_rule,
    statistics_shifts,
    statistics_spread_tables,
    statistics_sure,
)
from sitegen.render.parameter_case import Case, worst_first
from sitegen.render.pieces import Figure, Link, Table, Text
from sitegen.render.statistics_answers import QUESTIONS, Question
from sitegen.render.statistics_text import Explained, explained
from sitegen.render.tables import compact, there

BLANKS = ("", units.MISSING)
"""What a cell says that says nothing."""
OTHERS = "The other conditions"
"""Name of what is folded."""


@dataclass(frozen=True, slots=True)
class Folded:
    """Tables that are opened by a click; on paper they are open."""

    summary: str
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class SectionView:
    """One question with everything behind its answer."""

    id: str
    title: str
    texts: tuple[Text, ...]
    tables: tuple[Table, ...]
    charts: tuple[Figure, ...]
    maps: tuple[Figure, ...]
    folded: tuple[Folded, ...]


def asked(found: Sequence[Case]) -> tuple[Question, ...]:
    """The questions that can be answered: without any value with standing only which dies, why."""
    known = any(case.n for case in found) or statistics_relations.table(found) is not None
    return tuple(QUESTIONS) if known else ("dies",)


def sections(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> tuple[SectionView, ...]:
    """The five, in the order of the questions, then what stresses did, where any is declared.

    Without any value with standing there is nothing behind four of them.
    """
    if asked(found) == ("dies",):
        maps = [one for case in found for one in parameter_conditions.maps(case, drawings)]
        behind = Link("Table", "#dies")
        few = _dies(found, [replace(one, behind=behind) for one in maps])
        return (few, *_stress(found, drawings))
    return (
        _good(found, drawings),
        _sure(found),
        _spread(found, drawings),
        _measurement(found, drawings),
        _dies(found),
        *_stress(found, drawings),
    )


def _section(
    question: Question,
    texts: Sequence[Text] = (),
    tables: Sequence[Table] = (),
    charts: Sequence[Figure] = (),
    maps: Sequence[Figure] = (),
    folded: Sequence[tuple[str, Sequence[Table]]] = (),
) -> SectionView:
    """A section without the columns that say nothing."""
    return SectionView(
        id=question,
        title=QUESTIONS[question],
        texts=tuple(text for text in texts if text),
        tables=tuple(compact(table, BLANKS) for table in tables),
        charts=tuple(charts),
        maps=tuple(maps),
        folded=tuple(
            Folded(name, tuple(compact(table, BLANKS) for table in some))
            for name, some in folded
            if some
        ),
    )


def _bare(*tables: Table | None) -> tuple[Table, ...]:
    """Those that there are, without columns in which nothing is stated."""
    return tuple(compact(table, ("", units.MISSING)) for table in there(*tables))


def _method(found: Sequence[Case], *links: tuple[Explained, str]) -> Text:
    """Links to the method page; what explains the statistics only where there are any."""
    computed = any(case.statistics is not None for case in found)
    told = [(what, text) for what, text in links if computed or what == "decision"]
    return explained(found[0].page, *told) if told else ""


def _opened(
    found: Sequence[Case], made: Callable[[Case], Sequence[Table]]
) -> tuple[Sequence[Table], tuple[str, Sequence[Table]]]:
    """Tables of the condition that is answered for, and those of the others to be folded."""
    first, *others = worst_first(found)
    rest = [table for case in found if case in others for table in made(case)]
    return made(first), (OTHERS, rest)


def _good(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> SectionView:
    outcomes, others = _opened(found, lambda case: [parameter_conditions.outcome_table(case)])
    return _section(
        "good",
        [
            _method(
                found,
                ("decision", "decision rule and risks"),
                ("capability", "capability"),
                ("tolerance", "tolerance intervals"),
            )
        ],
        [
            *outcomes,
            *there(statistics_rule.rule_table(found)),
            *statistics_good.tables(found),
        ],
        [one for case in found for one in parameter_conditions.distribution(case, drawings)],
        folded=[others],
    )


def _sure(found: Sequence[Case]) -> SectionView:
    first = found[0]
    parameter, results = first.parameter, first.results
    record = results.context.record
    every = [one for case in found for one in case.all]
    budgets = there(
        *(parameter_uncertainty.budget(parameter, case.condition, results) for case in found)
    )
    fits = there(parameter_uncertainty.fits(parameter, results))
    return _section(
        "sure",
        [_method(found, ("decision", "coverage, guard bands and probability of conformity"))],
        [
            statistics_sure.table(found),
            parameter_uncertainty.table(parameter, every, record),
        ],
        folded=[("Uncertainty by source", budgets), ("What the fits found", fits)],
    )


def _spread(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> SectionView:
    claimed, every = statistics_spread_tables.patterns(found)
    trends = statistics_spread_tables.trends(found)
    zones = [parameter_conditions.zone_table(case) for case in found]
    related = statistics_relations.table(found)
    summaries, others = _opened(found, lambda case: [parameter_conditions.summary_table(case)])
    return _section(
        "spread",
        [
            *(text for case in found for text in parameter_conditions.estimated(case)),
            *statistics_spread_tables.methods(found),
            statistics_relations.sentence(found),
            _method(
                found,
                ("components", "components of the variance"),
                ("distribution", "distribution"),
                ("space", "patterns"),
                ("correlation", "correlations"),
                ("time", "trends and run rules"),
            ),
        ],
        [
            *_bare(statistics_spread_tables.components(found)),
            *summaries,
            *there(claimed),
        ],
        [
            *(one for case in found for one in parameter_conditions.by_wafer(case, drawings)),
            *statistics_relations.figures(found, drawings),
        ],
        [one for case in found for one in parameter_conditions.maps(case, drawings)],
        [
            (
                "Distribution: intervals, shape, normality",
                _bare(*(statistics_spread_tables.shape(case) for case in found)),
            ),
            others,
            ("Zones", zones),
            ("Every pattern that was looked for", _bare(every)),
            ("Values in the order of measurement", _bare(trends)),
            ("What it goes with", there(related)),
        ],
    )


def _measurement(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> SectionView:
    every = [
        parameter_means.means(case.parameter, case.condition, case.results, case.page)
        for case in found
    ]
    texts = dict.fromkeys(one.text for one in every if one is not None)
    compared, others = _opened(found, _compared)
    return _section(
        "measurement",
        [
            *statistics_measurement.study_sentences(found),
            *texts,
            _method(
                found,
                ("measured part", "the measured part and studies"),
                ("comparison", "comparisons and equivalence"),
            ),
        ],
        [
            *there(statistics_measurement.measured_table(found)),
            *statistics_measurement.studies(found),
            *compared,
        ],
        maps=parameter_conditions.contact_maps(found, drawings),
        folded=[others],
    )


def _compared(case: Case) -> tuple[Table, ...]:
    """Means of the wafers, their differences, and comparisons of wafers and splits."""
    means = parameter_means.means(case.parameter, case.condition, case.results, case.page)
    tables = () if means is None else there(means.means, means.differences)
    return (*tables, *statistics_comparison.comparisons([case]))


def _dies(found: Sequence[Case], maps: Sequence[Figure] = ()) -> SectionView:
    table, rest = statistics_dies.table(found)
    limits = statistics_outliers.average_limits(found)
    return _section(
        "dies",
        [
            rest,
            _method(found, ("decision", "verdicts"), ("outliers", "dies that stand out")),
        ],
        [table],
        maps=maps,
        folded=[("Limits of the part average tests", () if maps else there(limits))],
    )


def _stress(found: Sequence[Case], drawings: Mapping[str, Drawing]) -> tuple[SectionView, ...]:
    """What stresses did to the parameter; nothing where none has values of it."""
    tables = statistics_shifts.tables(found)
    if not tables:
        return ()
    method = explained(found[0].page, ("stress", "shifts by a stress"))
    return (
        SectionView(
            id=statistics_shifts.STRESS,
            title=statistics_shifts.QUESTION,
            texts=(*shift_sentences.texts(statistics_shifts.told(found)), method),
            tables=_bare(*tables),
            charts=statistics_shifts.charts(found, drawings),
            maps=statistics_shifts.maps(found, drawings),
            folded=(
                Folded(
                    "Medians, spread and dependence on the size",
                    _bare(*statistics_shifts.details(found)),
                ),
            ),
        ),
    )
