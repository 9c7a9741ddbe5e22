"""Tables of touchdowns and their contact checks, on the pages of a wafer and of its dies."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import CampaignRecord
from sitegen.model.results import WaferResults
from sitegen.model.trust import CONTACT_COLUMNS, CONTACT_UNITS
from sitegen.render.marks import marked
from sitegen.render.phrases import capital, die_name, instant, link, number_of, plain, stated
from sitegen.render.pieces import Cell, Column, Fact, Row, Table

QUANTITIES = {column: quantity for quantity, column in CONTACT_COLUMNS.items()}
MOST_ROWS = 60
"""How many touchdowns that did not pass a wafer's page lists before it refers to the data."""

Columns = Mapping[str, Sequence[object]]


def of_die(results: WaferResults) -> Mapping[tuple[object, object], Table]:
    """A table for each die that has touchdowns in the record."""
    columns: Columns = results.touchdowns.to_pydict()
    by_die: dict[tuple[object, object], list[int]] = {}
    for row, key in enumerate(zip(columns["die_x"], columns["die_y"], strict=True)):
        by_die.setdefault(key, []).append(row)
    shown = _measured(columns)
    return {
        key: Table(
            id="touchdowns",
            caption="Touchdowns on this die and their contact checks",
            columns=(Column("Touchdown"), Column("Device"), *_heads(shown), Column("Outcome")),
            rows=tuple(
                Row(
                    Cell(number_of(int(str(columns["touchdown"][row])))),
                    (
                        Cell(str(columns["device"][row] or "all of the die")),
                        *_cells(columns, row, shown),
                        _outcome(columns, row),
                    ),
                )
                for row in rows
            ),
            ordered=True,
        )
        for key, rows in by_die.items()
    }


def not_passed(results: WaferResults, home: str, wafer: str) -> Table | None:
    """The touchdowns of a wafer that failed a check or lack a mandatory one; None without any."""
    columns: Columns = results.touchdowns.to_pydict()
    rows = [row for row, word in enumerate(columns["outcome"]) if word != "passed"]
    if not columns["outcome"]:
        return None
    shown = _measured(columns)
    more = f" The first {MOST_ROWS} of {len(rows)}; all of them are in the data."
    return Table(
        id="touchdowns",
        caption="Touchdowns that did not pass their contact checks."
        + (more if len(rows) > MOST_ROWS else ""),
        columns=(
            Column("Die"),
            Column("Device"),
            Column("Touchdown", True),
            *_heads(shown),
            Column("Outcome"),
        ),
        rows=tuple(
            Row(
                Cell(_die(columns, row, home, wafer)),
                (
                    Cell(str(columns["device"][row] or "all")),
                    Cell(str(columns["touchdown"][row]), str(columns["touchdown"][row]), True),
                    *_cells(columns, row, shown),
                    _outcome(columns, row),
                ),
            )
            for row in rows[:MOST_ROWS]
        ),
        empty=_all_passed(len(columns["outcome"])),
    )


def _all_passed(touchdowns: int) -> str:
    """'All 90 touchdowns passed their contact checks.'"""
    if touchdowns == 1:
        return "The one touchdown passed its contact check."
    return f"All {number_of(touchdowns)} touchdowns passed their contact checks."


def facts(results: WaferResults, record: CampaignRecord) -> tuple[Fact, ...]:
    """How often pads and probes were touched, against their bounds."""
    columns: Columns = results.touchdowns.to_pydict()
    if not columns["outcome"]:
        return ()
    times = [one for one in columns["measured_at"] if isinstance(one, datetime)]
    pads = _greatest(columns["pad_touchdowns"])
    contacts = _greatest(columns["probe_contacts"])
    found = [Fact("Touchdowns", number_of(len(columns["outcome"])))]
    if times:
        found.append(Fact("Last touchdown", instant(max(times))))
    if pads:
        bound = record.touchdowns.pad_touchdowns_max
        told = f", at most {bound} declared" if bound else ""
        found.append(Fact("Most touchdowns on a pad", f"{number_of(pads)}{told}"))
    if contacts:
        found.append(Fact("Contacts that the probe had made at its last", number_of(contacts)))
    return tuple(found)


def _greatest(column: Sequence[object]) -> int:
    return max((one for one in column if isinstance(one, int)), default=0)


def _measured(columns: Columns) -> tuple[str, ...]:
    return tuple(name for name in QUANTITIES if any(value is not None for value in columns[name]))


def _heads(shown: Sequence[str]) -> tuple[Column, ...]:
    return tuple(Column(capital(QUANTITIES[name]), True) for name in shown)


def _cells(columns: Columns, row: int, shown: Sequence[str]) -> tuple[Cell, ...]:
    cells = []
    for name in shown:
        value = columns[name][row]
        number = float(value) if isinstance(value, float | int) else None
        text = stated(number, CONTACT_UNITS[QUANTITIES[name]]) if number is not None else ""
        cells.append(Cell(text or units.MISSING, plain(number), True))
    return tuple(cells)


def _outcome(columns: Columns, row: int) -> Cell:
    word, reason = str(columns["outcome"][row]), columns["outcome_reason"][row]
    text = marked("check missing" if word == "missing" else word)
    if reason:
        text = text + Markup(' <span class="why">{}</span>').format(reason)
    return Cell(text, word)


def _die(columns: Columns, row: int, home: str, wafer: str) -> Markup:
    x, y = int(str(columns["die_x"][row])), int(str(columns["die_y"][row]))
    return link(die_name(x, y), addresses.relative(addresses.die(wafer, x, y), home))
