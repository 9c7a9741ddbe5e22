"""What a station's page says of its control dies."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device_results import ControlResult
from sitegen.model.results import CampaignResults, Drawing
from sitegen.render.cells import count_cell
from sitegen.render.figures import figure
from sitegen.render.marks import marked
from sitegen.render.phrases import (
    capital,
    counted,
    die_name,
    figure_of,
    instant,
    link,
    plain,
    stated,
)
from sitegen.render.pieces import Cell, Column, Figure, Link, Row, Table

BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
"""`lost_after` where no reading was good before the failure."""


@dataclass(frozen=True, slots=True)
class ControlView:
    """One control die."""

    id: str
    title: str
    lead: tuple[Markup, ...]
    chart: tuple[Figure, ...]
    readings: Table


def control_views(
    station: str, results: CampaignResults, drawings: Mapping[str, Drawing]
) -> tuple[ControlView, ...]:
    """Each control die of a station. drawings: 'control-<id>'."""
    page = addresses.station(station)
    return tuple(
        _view(control, results.context.record, drawings.get(f"control-{control.record.id}"), page)
        for control in results.controls
        if control.station == station
    )


def _view(
    control: ControlResult, record: CampaignRecord, drawing: Drawing | None, page: str
) -> ControlView:
    name = next(one.name for one in record.parameters if one.id == control.record.parameter)
    identity = f"control-{control.record.id}"
    return ControlView(
        id=identity,
        title=f"Control die {control.record.id}",
        lead=_lead(control, name, page),
        chart=(figure(drawing, page, None, Link("Table", f"#{identity}-readings")),)
        if drawing is not None
        else (),
        readings=_readings(control, identity),
    )


def _lead(control: ControlResult, name: str, page: str) -> tuple[Markup, ...]:
    declared, unit = control.record, control.unit
    where = link(
        f"die {die_name(*declared.die)} of wafer {declared.wafer}",
        addresses.relative(addresses.die(declared.wafer, *declared.die), page),
    )
    if not control.readings:
        return (
            Markup("{} of {} under {} has no reading with standing.").format(
                capital(name), where, declared.condition
            ),
        )
    said = [
        Markup("{} of {} under {} was measured {}; each must lie within {} of {}.").format(
            capital(name),
            where,
            declared.condition,
            counted(len(control.readings), "time"),
            stated(declared.bound, unit),
            stated(control.reference, unit),
        )
    ]
    if control.failed_at is not None:
        last_good = control.lost_after or BEFORE_ALL
        known = last_good > BEFORE_ALL
        since = f" taken after {instant(last_good)}" if known else ""
        said.append(
            Markup(
                "It was out of its bound at {}: {}values of the station{} have lost their standing."
            ).format(instant(control.failed_at), "" if known else "all ", since)
        )
    if control.reproducibility is not None:
        said.append(
            Markup(
                "From reading to reading the whole chain reproduces it to a standard deviation of"
                " {}."
            ).format(stated(float(f"{control.reproducibility:.2g}"), unit))
        )
    if control.drift_per_hour is not None and control.drift_p is not None:
        slope = stated(float(f"{control.drift_per_hour:.2g}"), unit)
        word = "It drifts" if control.drifting else "A drift is not significant"
        said.append(
            Markup("{}: {} per hour (p = {}).").format(word, slope, figure_of(control.drift_p, 2))
        )
    return tuple(said)


def _readings(control: ControlResult, identity: str) -> Table:
    factor, unit = units.shown_unit([one.value for one in control.readings], control.unit)
    stated_u = any(one.u is not None for one in control.readings)
    return Table(
        id=f"{identity}-readings",
        caption=f"Readings of control die {control.record.id}" + (f", in {unit}" if unit else ""),
        columns=(
            Column("Time"),
            Column("Touchdown", True),
            Column("Value", True),
            *((Column("u", True),) if stated_u else ()),
            Column("From the reference", True),
            Column("Outcome"),
        ),
        rows=tuple(
            Row(
                Cell(instant(one.at)),
                (
                    count_cell(one.touchdown),
                    Cell(units.number(one.value * factor, 5), plain(one.value), True),
                    *(
                        (Cell(units.number(one.u and one.u * factor, 2), plain(one.u), True),)
                        if stated_u
                        else ()
                    ),
                    Cell(units.number(one.difference * factor, 3), plain(one.difference), True),
                    Cell(marked(one.outcome), one.outcome),
                ),
            )
            for one in control.readings
        ),
        empty="No reading of this die has standing.",
        ordered=True,
    )
