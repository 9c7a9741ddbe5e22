"""Table of what lies between measurements of one structure."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import units
from sitegen.model.followed_results import Spread
from sitegen.render.phrases import plain
from sitegen.render.pieces import Cell, Column, Row, Table, Text

PARTS = (
    ("repeatability", "Repeatability", "contacts of one verification about their mean"),
    ("drift", "Drift", "later verifications of one calibration less its first"),
    ("reproducibility", "Reproducibility", "first verifications of several calibrations"),
    ("difference", "Difference from reference", "mean deviation over calibrations"),
)
"""Field of `Spread`, heading, what it is."""


def spread_table(spreads: Sequence[Spread]) -> Table:
    """One row a structure and S-parameter; the greatest of each row is set strong."""
    means = "; ".join(f"{heading.lower()}: {text}" for _, heading, text in PARTS)
    return Table(
        id="spreads",
        caption=f"Spread of structures measured again, as rms |ΔS| over frequency with its"
        f" degrees of freedom or number in brackets. {means[0].upper()}{means[1:]}. Drift and"
        " reproducibility are what remains beyond repeatability, 0 where nothing does; ≤ where no"
        " contact was repeated, so that it is part of them. The greatest of a row is bold.",
        columns=(
            Column("Structure"),
            Column("Parameter"),
            *(Column(heading, True) for _, heading, _ in PARTS),
            Column("Left out", True),
        ),
        rows=tuple(_row(spread) for spread in spreads),
        empty="No structure was corrected in a verification of this station.",
    )


def _row(spread: Spread) -> Row:
    values = {name: getattr(spread, name) for name, _, _ in PARTS}
    greatest = max((value for value in values.values() if value is not None), default=None)
    left_out = spread.counts.get("left out", 0)
    return Row(
        Cell(spread.structure),
        (
            Cell(spread.parameter.upper()),
            *(
                Cell(
                    _text(value, spread.counts.get(name, 0), name, spread, value == greatest),
                    plain(value),
                    True,
                )
                for name, value in values.items()
            ),
            Cell(str(left_out) if left_out else units.MISSING, str(left_out), True),
        ),
    )


def _text(value: float | None, count: int, name: str, spread: Spread, greatest: bool) -> Text:
    if value is None:
        return units.MISSING
    mixed = name in {"drift", "reproducibility"} and spread.repeatability is None
    shown = f"{'≤ ' if mixed else ''}{units.number(value, 2)}"
    if greatest and value > 0:
        return Markup("<strong>{}</strong> ({})").format(shown, count)
    return f"{shown} ({count})"
