"""The Touchstone files of the most typical dies: on the page of a wafer, and of all data."""

from collections.abc import Iterable, Sequence

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.device_results import TypicalFile
from sitegen.render.downloads import file_link
from sitegen.render.phrases import capital, die_name, joined, link
from sitegen.render.pieces import Cell, Column, Row, Table, Text

BY_VALUES = (
    "nearest the medians of all parameters with standing, among the dies where the device was swept"
)
BY_SWEEPS = (
    "whose sweep is nearest the pointwise median of all, since no value with standing is on them"
)


def sentences(files: Sequence[TypicalFile], without: Sequence[str], page: str) -> tuple[Text, ...]:
    """Which sweeps stand for a wafer, by which rule; nothing where nothing was swept.

    without: devices that were swept and of which no sweep can be handed on.
    """
    said: list[Text] = []
    groups: dict[tuple[tuple[int, int], str], list[str]] = {}
    for one in files:
        groups.setdefault((one.sweep.die, one.sweep.by), []).append(one.sweep.device)
    for (die, by), devices in groups.items():
        wafer = files[0].wafer
        where = link(die_name(*die), addresses.relative(addresses.die(wafer, *die), page))
        said.append(
            Markup("Corrected sweeps of {} on the most typical die, {}: the one {}.").format(
                joined(devices), where, BY_VALUES if by == "values" else BY_SWEEPS
            )
        )
    if without:
        said.append(f"No sweep of {joined(without)} has standing, so none stands for the wafer.")
    return tuple(said)


def links(files: Sequence[TypicalFile], page: str) -> tuple[Markup, ...]:
    """Each file as a link with its size."""
    return tuple(file_link(one.address, one.size, page) for one in files)


def table(files: Iterable[TypicalFile]) -> Table | None:
    """All wafers' files, on the page of downloads; None where there are none."""
    listed = tuple(files)
    if not listed:
        return None
    page = addresses.DATA
    return Table(
        id="typical",
        caption="Corrected sweeps at the probe tips, of each device one a wafer: of the die nearest"
        " the medians of all parameters with standing, among those where the device was swept; or"
        " of the die whose sweep is nearest the pointwise median, where no value has standing",
        columns=(
            Column("Wafer"),
            Column("Device"),
            Column("Condition"),
            Column("Die"),
            Column("Chosen by"),
            Column("Touchstone file"),
        ),
        rows=tuple(
            Row(
                Cell(link(one.wafer, addresses.relative(addresses.wafer(one.wafer), page))),
                (
                    Cell(one.sweep.device),
                    Cell(one.sweep.condition),
                    Cell(
                        link(
                            die_name(*one.sweep.die),
                            addresses.relative(addresses.die(one.wafer, *one.sweep.die), page),
                        )
                    ),
                    Cell(str(capital(one.sweep.by))),
                    Cell(file_link(one.address, one.size, page)),
                ),
            )
            for one in listed
        ),
        wide=True,
    )
