"""Tables of a wafer's page: what must be taken again, and its dies."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.results import NOT_HELD, WaferResults
from sitegen.render import summaries
from sitegen.render.cells import count_cell
from sitegen.render.marks import marked, rank
from sitegen.render.phrases import capital, die_name, link, number_of
from sitegen.render.pieces import Cell, Column, Row, Table
from sitegen.render.tables import split
from sitegen.render.wafer_shared import Shared

OF_A_ROW = 24
"""How many dies a row of the table of values to take again names before it counts the rest."""


NEEDED = (
    "die_x",
    "die_y",
    "parameter",
    "outcome",
    "outcome_reason",
    "standing",
    "standing_reasons",
    "calibration",
    "counts",
    "value",
)


def again(shared: Shared, results: WaferResults) -> Table | None:
    """Values without standing, not closed or without a number, by reason; None where all are good.

    A planned value that was not measured is none of these: the table of dies counts it. Nor is
    one whose sweep came corrected: to take it again would not close it, and the page says so
    first.
    """
    columns = results.results.select(list(NEEDED)).to_pydict()
    groups: dict[tuple[str, str, str], list[int]] = {}
    for row, outcome in enumerate(columns["outcome"]):
        if outcome == "not measured" or not columns["counts"][row]:
            continue
        standing = columns["standing"][row] or ""
        reason = _reason(columns, row)
        if reason and reason != NOT_HELD:
            key = (standing, reason, columns["calibration"][row] or "")
            groups.setdefault(key, []).append(row)
    if not groups:
        return None
    return Table(
        id="again",
        caption="Values without standing, which keep their numbers on the dies' pages; values that"
        " no passed verification follows; and values of which no number could be determined.",
        columns=(
            Column("Reason"),
            Column("Standing"),
            Column("Calibration"),
            Column("Values", True),
            Column("Dies", True),
            Column("Parameters"),
            Column("Which dies"),
        ),
        rows=tuple(
            _again_row(shared, key, rows, columns)
            for key, rows in sorted(groups.items(), reverse=True)
        ),
        wide=True,
    )


def _reason(columns: Mapping[str, Sequence[object]], row: int) -> str:
    """Why the value of a row should be taken again or closed; empty for a good one."""
    told = []
    if columns["value"][row] is None:
        told.append(f"no number: {columns['outcome_reason'][row] or 'no reason was recorded'}")
    if columns["standing"][row] == "without standing":
        told.append(str(columns["standing_reasons"][row] or "no reason was recorded"))
    if columns["standing"][row] == "not closed":
        told.append("no passed verification after")
    return "; ".join(told)


def _again_row(
    shared: Shared,
    key: tuple[str, str, str],
    rows: Sequence[int],
    columns: Mapping[str, Sequence[object]],
) -> Row:
    standing, reason, calibration = key
    dies = dict.fromkeys((columns["die_x"][row], columns["die_y"][row]) for row in rows)
    names = dict.fromkeys(str(columns["parameter"][row]) for row in rows)
    parameters = summaries.parameters_of(shared.context.record)
    return Row(
        Cell(reason),
        (
            Cell(marked(standing) if standing else units.MISSING, standing),
            Cell(shared.calibration(calibration) if calibration else units.MISSING),
            Cell(number_of(len(rows)), str(len(rows)), True),
            Cell(number_of(len(dies)), str(len(dies)), True),
            Cell(
                Markup(", ").join(
                    summaries.symbol(parameters[name]) for name in names if name in parameters
                )
            ),
            Cell(_die_links(list(dies))),
        ),
    )


def _die_links(dies: Sequence[tuple[object, object]]) -> Markup:
    links = [die_link(int(str(x)), int(str(y))) for x, y in dies[:OF_A_ROW]]
    more = len(dies) - len(links)
    text = Markup(", ").join(links)
    return text + f" and {number_of(more)} more, marked in the table of dies" if more else text


def die_link(die_x: int, die_y: int) -> Markup:
    """A link to a die from its wafer's page."""
    return link(die_name(die_x, die_y), f"{addresses.die_stem(die_x, die_y)}.html")


COUNTED = (
    "measured",
    "missing",
    "outside",
    "not_refuted",
    "not_proven",
    "without_standing",
    "not_closed",
)
"""Counts of values on each die; the last is left out where nothing can be closed."""


def dies(shared: Shared, results: WaferResults) -> tuple[Table, ...]:
    """Every die with its verdict, in parts where there are many."""
    columns = results.dies.to_pydict()
    why = any(columns["reason"])
    counted = COUNTED if shared.context.calibrations else COUNTED[:-1]
    rows = [
        Row(
            Cell(die_link(x, y), str(index)),
            (
                Cell(columns["zone"][index]),
                Cell(marked(columns["outcome"][index]), rank(columns["outcome"][index])),
                *((Cell(columns["reason"][index] or ""),) if why else ()),
                *(
                    Cell(number_of(columns[name][index]), str(columns[name][index]), True)
                    for name in counted
                ),
                Cell("yes" if columns["conforming"][index] else "no"),
                Cell("yes" if columns["judged"][index] else "no"),
                Cell("yes" if columns["planned"][index] else "no"),
            ),
        )
        for index, (x, y) in enumerate(zip(columns["die_x"], columns["die_y"], strict=True))
    ]
    return split(
        "die-table",
        f"Dies of wafer {shared.wafer}, counts of values",
        (
            Column("Die"),
            Column("Zone"),
            Column("Verdict"),
            *((Column("Why"),) if why else ()),
            *(Column(capital(name.replace("_", " ")), True) for name in counted),
            Column("Conforms"),
            Column("Judged in full"),
            Column("Planned"),
        ),
        rows,
        "This wafer has no die in the record.",
        wide=True,
    )


QUALITY_WORDS = ("noise", "steps", "contact", "passivity", "reciprocity", "causality")


def quality(shared: Shared, results: WaferResults) -> Table | None:
    """How many sweeps of each device have a suspect quality; None without sweeps."""
    columns = results.sweep_quality.to_pydict()
    rows: dict[str, list[int]] = {}
    for row, device in enumerate(columns["device"]):
        rows.setdefault(device, []).append(row)
    if not rows:
        return None

    def cell(name: str, of: Sequence[int]) -> Cell:
        words = {columns[name][row] for row in of}
        suspect = sum(columns[name][row] == "suspect" for row in of)
        if words & {"sound", "suspect"}:
            return count_cell(suspect)
        return Cell("not declared" if words == {"not declared"} else "not assessable", "", True)

    return Table(
        id="quality",
        caption="Sweeps with a suspect quality. They are flagged, and their figures stay.",
        columns=(
            Column("Device"),
            Column("Sweeps", True),
            *(Column(f"{name[0].upper()}{name[1:]}", True) for name in QUALITY_WORDS),
        ),
        rows=tuple(
            Row(
                Cell(link(device, shared.to(addresses.device(device)))),
                (
                    Cell(number_of(len(of)), str(len(of)), True),
                    *(cell(name, of) for name in QUALITY_WORDS),
                ),
            )
            for device, of in rows.items()
        ),
    )
