"""Table of wear: contacts of sets of standards and of probes, and what they change."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.followed_results import Metric, Wear
from sitegen.render.cells import count_cell
from sitegen.render.marks import marked
from sitegen.render.phrases import NOT_STATED, link, number_of, percent, several, stated, time_tag
from sitegen.render.pieces import Cell, Column, Row, Table, Text


def wear_table(wear: Sequence[Wear], metrics: Sequence[Metric]) -> Table:
    """One row a set or probe: contacts against their bound, and the quantities that it changes."""
    return Table(
        id="wear",
        caption="Wear of sets of standards and of probes, as the latest calibration with each"
        " states it, with the trend of what it changes",
        columns=(
            Column("What"),
            Column("State"),
            Column("Contacts", True),
            Column("Bound", True),
            Column("Used", True),
            Column("Contact resistance", True),
            Column("Bound", True),
            Column("What it changes"),
            Column("Stated by"),
        ),
        rows=tuple(_row(each, metrics) for each in wear),
        empty="No calibration states contacts of this station.",
        wide=True,
    )


def _row(wear: Wear, metrics: Sequence[Metric]) -> Row:
    share = (
        None
        if wear.contacts is None or wear.contacts_max is None
        else wear.contacts / wear.contacts_max
    )
    return Row(
        Cell(wear.subject),
        (
            Cell(marked(_state(wear))),
            Cell(NOT_STATED, "", True) if wear.contacts is None else count_cell(wear.contacts),
            Cell(
                units.MISSING if wear.contacts_max is None else number_of(wear.contacts_max),
                "",
                True,
            ),
            Cell(_share(share), "" if share is None else f"{share}", True),
            Cell(stated(wear.contact_resistance_ohm, "Ω"), "", True),
            Cell(stated(wear.contact_resistance_max_ohm, "Ω"), "", True),
            Cell(_changes([each for each in metrics if each.subject == wear.subject])),
            Cell(Markup("{}, {}").format(wear.source, time_tag(wear.at))),
        ),
    )


def _state(wear: Wear) -> str:
    pairs = [
        (found, bound)
        for found, bound in (
            (wear.contacts, wear.contacts_max),
            (wear.contact_resistance_ohm, wear.contact_resistance_max_ohm),
        )
        if found is not None and bound is not None
    ]
    if not pairs:
        return "shown, not judged"
    return "met" if all(found <= bound for found, bound in pairs) else "missed"


def _share(share: float | None) -> str:
    if share is None:
        return units.MISSING
    return percent(share) if share <= 1 else f"{max(100 * share, 100.1):.1f}{units.THIN}%"


def _changes(metrics: Sequence[Metric]) -> Text:
    """Quantities with a trend by name, then how many have none; links only to what is charted."""
    if not metrics:
        return units.MISSING
    moving = [each for each in metrics if each.trend in ("rises", "falls")]
    said: list[Text] = [
        Markup("{} {}").format(link(each.name, f"#{each.address}"), each.trend) for each in moving
    ]
    for word, text in (
        ("not significant", "no significant trend in"),
        ("not judged", "too few points of"),
    ):
        rest = [each.name for each in metrics if each.trend == word]
        if rest:
            said.append(f"{text} {rest[0] if len(rest) == 1 else f'{len(rest)} quantities'}")
    return several(said, "; ")
