"""The sweeps that go to the design team, as a table of links on the pages of devices and data."""

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.device_results import HandedOver
from sitegen.model.results import CampaignResults
from sitegen.render.downloads import file_link
from sitegen.render.phrases import die_name, link, stated
from sitegen.render.pieces import Cell, Column, Row, Table


def handed_over(results: CampaignResults, page: str, device: str = "") -> Table | None:
    """Each chosen die with its Touchstone files, of one device or of all; None: there are none."""
    record = results.context.record
    chosen = [one for one in results.handed_over if not device or _of(one, device)]
    if record.handover is None or (device and not chosen):
        return None
    parameter = next(one for one in record.parameters if one.id == record.handover.parameter)
    return Table(
        id="handed-over",
        caption=f"Sweeps for the design team. The dies are chosen by {parameter.name} under"
        f" {record.handover.condition}: those with standing whose value is nearest the 5th and"
        " 95th percentile; and the most typical die, which is nearest the median in all that was"
        " measured on it.",
        columns=(
            Column("Of"),
            Column("Which die"),
            Column("Die"),
            Column("Value", True),
            Column("Touchstone files"),
        ),
        rows=tuple(
            Row(
                Cell(one.wafer if one.scope == "wafer" else f"all wafers: {one.wafer}"),
                (
                    Cell(one.role),
                    Cell(
                        link(
                            die_name(*one.die),
                            addresses.relative(addresses.die(one.wafer, *one.die), page),
                        )
                    ),
                    Cell(stated(float(f"{one.value:.4g}"), parameter.unit), str(one.value), True),
                    Cell(_files(one, page, device)),
                ),
            )
            for one in chosen
        ),
        empty="No die has a value of the declared parameter.",
        wide=True,
    )


def _files(one: HandedOver, page: str, device: str) -> Markup:
    return Markup("; ").join(
        Markup("{}: {}").format(what, file_link(address, size, page))
        for what, address, size in _of(one, device)
    )


def _of(one: HandedOver, device: str) -> list[tuple[str, str, int]]:
    """The files of one device; of all where none is named."""
    return [each for each in one.files if not device or each[0].split(" ")[0] == device]
