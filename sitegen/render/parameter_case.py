"""One parameter under one condition with all that is computed of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Parameter
from sitegen.model.campaign_statistics import ParameterStatistics
from sitegen.model.concerned_results import ConcernedDies
from sitegen.model.decision import Decision
from sitegen.model.results import JUDGED, CampaignResults, ParameterResult, Summary
from sitegen.render import sentences, summaries
from sitegen.render.phrases import with_unit


@dataclass(frozen=True)
class Case:
    """A parameter under one condition."""

    parameter: Parameter
    condition: str
    several: bool
    """Whether the parameter has other conditions, so that sentences must name this one."""
    results: CampaignResults
    page: str
    decision: Decision
    """Its own rule, or the campaign's."""
    decided: Markup
    """The rule in words, linked."""
    overall: ParameterResult | None
    """Over all wafers; None: there is no result at all."""
    by_wafer: tuple[ParameterResult, ...]
    statistics: ParameterStatistics | None
    concerned: ConcernedDies | None
    factor: float
    """Into the unit in which its values are shown."""
    unit: str

    @property
    def summary(self) -> Summary | None:
        """Of all wafers together."""
        return None if self.overall is None else self.overall.summary

    @property
    def named(self) -> str:
        """The condition, where there are several."""
        return self.condition if self.several else ""

    @property
    def n(self) -> int:
        """Values with standing."""
        return 0 if self.overall is None else self.overall.summary.n

    @property
    def limited(self) -> bool:
        """Whether it has a specification limit."""
        return self.parameter.lower is not None or self.parameter.upper is not None

    @property
    def judged(self) -> int:
        """Values that could be judged."""
        return sum(self.outcome(word) for word in JUDGED)

    @property
    def all(self) -> tuple[ParameterResult, ...]:
        """Of all wafers together, then of each."""
        return (*(() if self.overall is None else (self.overall,)), *self.by_wafer)

    def outcome(self, word: str) -> int:
        """How many values have this outcome."""
        return 0 if self.overall is None else self.overall.outcomes.get(word, 0)

    def size(self, value: float | None, digits: int = 2) -> str:
        """A length on the parameter's axis (a spread, an uncertainty) in a prefix of its own."""
        if value is None:
            return units.MISSING
        return self.sizes([value], digits)[0]

    def sizes(self, values: Sequence[float | None], digits: int = 2) -> list[str]:
        """Several such lengths in one prefix, that of the greatest; much smaller ones in theirs."""
        scale, unit = self.scale_of(values)

        def shown(value: float) -> str:
            factor, symbol = scale, unit
            if value and abs(value) * scale < 0.01:
                factor, symbol = units.shown_unit([value], self.parameter.unit)
            return with_unit(units.number(value * factor, digits), symbol)

        return [units.MISSING if value is None else shown(value) for value in values]

    def scale_of(self, sizes: Sequence[float | None]) -> tuple[float, str]:
        """Factor and unit of a column of such lengths: the values' own, unless they are small."""
        known = [abs(one) for one in sizes if one]
        if not known or max(known) * self.factor >= 0.1:
            return self.factor, self.unit
        return units.shown_unit([max(known)], self.parameter.unit)

    def to(self, address: str) -> str:
        """A link from the parameter's page."""
        return addresses.relative(address, self.page)


def cases(parameter: Parameter, results: CampaignResults) -> tuple[Case, ...]:
    """A case for each condition, in the parameter's order."""
    record, page = results.context.record, addresses.parameter(parameter.id)
    decision = parameter.decision or record.decision
    decided = sentences.rule(
        decision,
        addresses.relative(f"{addresses.METHOD}#decision", page),
        parameter.tolerance is not None,
    )
    computed = results.statistics.parameters if results.statistics is not None else ()
    made = []
    for name in parameter.conditions:
        key = (parameter.id, name)
        found = [one for one in results.parameters if (one.parameter, one.condition) == key]
        factor, unit = summaries.scale(parameter, [one.summary for one in found])
        made.append(
            Case(
                parameter=parameter,
                condition=name,
                several=len(parameter.conditions) > 1,
                results=results,
                page=page,
                decision=decision,
                decided=decided,
                overall=next((one for one in found if not one.wafer), None),
                by_wafer=tuple(
                    sorted((one for one in found if one.wafer), key=lambda one: one.wafer)
                ),
                statistics=next(
                    (one for one in computed if (one.parameter, one.condition) == key), None
                ),
                concerned=next(
                    (one for one in results.concerned if (one.parameter, one.condition) == key),
                    None,
                ),
                factor=factor,
                unit=unit,
            )
        )
    return tuple(made)


def worst_first(found: Sequence[Case]) -> tuple[Case, ...]:
    """The condition with the smallest share within first; those that nothing is judged of last."""

    def badness(case: Case) -> tuple[bool, bool, float, float]:
        share = case.outcome("within") / case.judged if case.judged else 1.0
        ppk = case.statistics.capability.ppk.value if case.statistics is not None else None
        return (case.judged == 0, case.n == 0, share, 0.0 if ppk is None else ppk)

    return tuple(sorted(found, key=badness))
