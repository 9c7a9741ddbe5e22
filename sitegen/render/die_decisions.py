"""How each value of a die was decided: its rule, guard band, acceptance limits, probabilities."""

from collections.abc import Iterable, Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.decision import Decision
from sitegen.render import rule_sentences, sentences, summaries
from sitegen.render.cells import percent_over_cell, probability_cell
from sitegen.render.marks import marked, rank
from sitegen.render.phrases import capital, figure_of, joined, limits, plain
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.sentences import Sentences
from sitegen.render.wafer_shared import Columns, Kind, Shared, as_float


def decision_of(parameter: Parameter, record: CampaignRecord) -> Decision:
    """The rule that a parameter's values are judged by: its own, or else the campaign's."""
    return parameter.decision or record.decision


def rules(shared: Shared, rows: Sequence[int], href: str) -> Sentences:
    """By which rule the values that count were decided, with its clause, as one sentence."""
    record = shared.context.record
    by_rule: dict[Decision, dict[str, Parameter]] = {}
    for row in _decided(shared.columns, rows):
        parameter = shared.kinds[_key(shared.columns, row)].parameter
        by_rule.setdefault(decision_of(parameter, record), {})[parameter.id] = parameter
    told = [
        Markup("{} decided by {}").format(
            Markup("{} {}").format(
                joined([summaries.symbol(one) for one in decided.values()]),
                sentences.be(len(decided)),
            )
            if len(by_rule) > 1
            else "values are",
            rule_sentences.rule_with_clause(
                decision, href, any(one.tolerance is not None for one in decided.values())
            ),
        )
        for decision, decided in by_rule.items()
    ]
    if not told:
        return ()
    return (Markup("{}; limits are exact.").format(capital(Markup("; ").join(told))),)


def global_risks(shared: Shared, rows: Sequence[int]) -> Sentences:
    """The risks of deciding about values of a parameter whose process has a declared prior."""
    keys = dict.fromkeys(_key(shared.columns, row) for row in _decided(shared.columns, rows))
    told = []
    for key in keys:
        kind, risks = shared.kinds[key], shared.context.risks.get((str(key[0]), str(key[1])))
        prior = kind.parameter.prior
        if prior is None or risks is None or risks.global_consumer is None:
            continue
        told.append(
            Markup(
                "With the prior of {} ({}) the global consumer's risk is {}, the producer's {}"
                " (JCGM 106:2012, clause 9)."
            ).format(
                summaries.symbol(kind.parameter),
                prior.basis,
                units.probability(risks.global_consumer),
                units.probability(risks.global_producer),
            )
        )
    return tuple(told)


def table(shared: Shared, rows: Sequence[int]) -> Table | None:
    """The values that count and have limits, with what decided each; None without one."""
    columns = shared.columns
    mine = list(_decided(columns, rows))
    if not mine:
        return None
    prior = any(columns["probability_with_prior"][row] is not None for row in mine)
    heads = [
        Column("Parameter"),
        Column("Condition"),
        *([Column("Site")] if shared.sites else []),
        Column("Rule"),
        Column("Unit"),
        Column("Limits", True),
        Column("U", True),
        Column("k", True),
        Column("w", True),
        Column("Acceptance limits", True),
        Column("U / tolerance", True),
        Column("Probability of conformity", True),
        *([Column("Specific risk", True)] if prior else []),
        Column("Outcome"),
    ]
    return Table(
        id="decisions",
        caption="Values that count and have limits. w = rU; the probability that the measurand"
        " conforms follows from value and U alone"
        + (", the specific risk also from the declared prior." if prior else "."),
        columns=tuple(heads),
        rows=tuple(_row(shared, row, prior) for row in mine),
    )


def _key(columns: Columns, row: int) -> tuple[object, object]:
    return columns["parameter"][row], columns["condition"][row]


def _decided(columns: Columns, rows: Sequence[int]) -> Iterable[int]:
    """Rows of values that count, were measured and have a limit."""
    return (
        row
        for row in rows
        if columns["counts"][row]
        and columns["outcome"][row] not in ("not measured", "no limits")
        and (columns["lower"][row] is not None or columns["upper"][row] is not None)
    )


def _row(shared: Shared, row: int, prior: bool) -> Row:
    columns = shared.columns
    kind = shared.kinds[_key(columns, row)]
    decision = decision_of(kind.parameter, shared.context.record)
    outcome = str(columns["outcome"][row])
    cells = [
        kind.condition_cell,
        *([Cell(str(columns["site"][row] or ""))] if shared.sites else []),
        Cell(decision.rule),
        kind.unit_cell,
        kind.limits_cell,
        _scaled(columns["expanded_uncertainty"][row], kind),
        Cell(figure_of(decision.coverage_factor), "", True),
        _scaled(columns["guard_band"][row], kind),
        _acceptance(columns, row, kind),
        percent_over_cell(as_float(columns["uncertainty_share"][row])),
        probability_cell(as_float(columns["probability_of_conformity"][row])),
        *([_risk(columns, row, decision, outcome)] if prior else []),
        Cell(marked(outcome), rank(outcome)),
    ]
    return Row(kind.head, tuple(cells))


def _scaled(value: object, kind: Kind) -> Cell:
    number = as_float(value)
    shown = units.MISSING if number is None else units.number(number * kind.factor, 2)
    return Cell(shown, plain(number), True)


def _acceptance(columns: Columns, row: int, kind: Kind) -> Cell:
    lower, upper = (as_float(columns[f"acceptance_{end}"][row]) for end in ("lower", "upper"))
    if lower is not None and upper is not None and lower >= upper:
        return Cell("none", "", True)
    return Cell(
        limits(lower, upper, kind.factor), plain(lower if lower is not None else upper), True
    )


def _risk(columns: Columns, row: int, decision: Decision, outcome: str) -> Cell:
    """The consumer's risk of an accepted value, the producer's of one that is not accepted."""
    p = as_float(columns["probability_with_prior"][row])
    if p is None or outcome == "not assessable":
        return Cell(units.MISSING, "", True)
    accepted = outcome in decision.accepted
    whose, risk = ("consumer's", 1.0 - p) if accepted else ("producer's", p)
    return Cell(f"{whose} {units.probability(risk)}", plain(risk), True)
