"""Tables of a station's floors and of the accuracy of its instruments."""

from sitegen import units
from sitegen.model.campaign import Floor, Station
from sitegen.render.phrases import counted, day, declared_percent, figure_of, stated
from sitegen.render.pieces import Cell, Column, Row, Table


def floors(station: Station) -> Table:
    """The smallest current that each path can tell from none."""
    return Table(
        id="floors",
        caption="Open-circuit floors: the smallest current that a path can tell from none",
        columns=(
            Column("Instrument"),
            Column("Range"),
            Column("Path"),
            Column("Holds for"),
            Column("Floor", True),
            Column("Measured"),
            Column("Basis"),
        ),
        rows=tuple(
            Row(
                Cell(each.instrument),
                (
                    Cell(each.range),
                    Cell(each.path),
                    Cell(_holds_for(each)),
                    Cell(
                        stated(float(f"{each.decision_limit_a:.3g}"), "A"),
                        str(each.decision_limit_a),
                        True,
                    ),
                    Cell(day(each.measured_on)),
                    Cell(_basis(each)),
                ),
            )
            for each in station.floors
        ),
        empty="No floor is stored; a leakage measured here has no standing.",
        wide=True,
    )


def _holds_for(floor: Floor) -> str:
    parts = []
    if floor.integration_s is not None:
        parts.append(f"integration of {stated(floor.integration_s, 's')}")
    if floor.temperature_c is not None:
        parts.append(f"{figure_of(floor.temperature_c)}{units.THIN}°C")
    if floor.voltage_v is not None:
        parts.append(f"found at {stated(floor.voltage_v, 'V')}")
    return ", ".join(parts) or "all settings"


def _basis(floor: Floor) -> str:
    if not floor.open_readings_a:
        return floor.basis
    return (
        f"{floor.basis}; size of the mean of"
        f" {counted(len(floor.open_readings_a), 'open-circuit reading')} plus"
        f" {figure_of(floor.multiple)} times their standard deviation"
    )


def accuracies(station: Station) -> Table:
    """What each instrument's readings can be off by, as its certificate states."""
    return Table(
        id="accuracies",
        caption="Declared accuracy of readings, as standard uncertainties that all readings of a"
        " range share",
        columns=(
            Column("Instrument"),
            Column("Quantity"),
            Column("Range"),
            Column("Share of the reading", True),
            Column("Offset", True),
            Column("Basis"),
        ),
        rows=tuple(
            Row(
                Cell(each.instrument),
                (
                    Cell(each.quantity),
                    Cell(each.range),
                    Cell(
                        declared_percent(each.relative_u),
                        str(each.relative_u),
                        True,
                    ),
                    Cell(
                        stated(each.offset_u, "A" if each.quantity == "current" else "V"),
                        str(each.offset_u),
                        True,
                    ),
                    Cell(each.basis),
                ),
            )
            for each in station.accuracies
        ),
        empty="No accuracy is declared; values taken from curves have no part of their uncertainty"
        " from the instrument.",
        wide=True,
    )
