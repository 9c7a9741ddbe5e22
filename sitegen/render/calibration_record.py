"""A calibration's record as facts and tables: everything that was written down when it was made."""

from markupsafe import Markup

from sitegen import units
from sitegen.model.calibration import CalibrationRecord, RawSweep
from sitegen.model.event_results import CalibrationResult
from sitegen.render.cells import count_cell
from sitegen.render.method_links import explained
from sitegen.render.phrases import (
    NOT_STATED,
    figure_of,
    frequency,
    if_stated,
    instant,
    number_of,
    stated,
    time_tag,
)
from sitegen.render.pieces import Cell, Column, Fact, Row, Table, Text
from sitegen.render.standards import defined, uncertain
from sitegen.render.states import state_facts


def facts(result: CalibrationResult, station: Markup, page: str) -> tuple[Fact, ...]:
    """Conditions of the calibration."""
    record = result.record
    stamped = record.at
    return (
        Fact("Station", station),
        Fact("Instrument", record.instrument),
        Fact("By", record.by),
        Fact("Stamped by the instrument", instant(stamped)),
        Fact("Reference time", time_tag(result.made_at)),
        Fact("Validity until", time_tag(result.expires_at)),
        Fact("Method", _method(record)),
        Fact("Ports", ", ".join(str(port) for port in record.ports)),
        Fact("Reference plane", record.reference_plane),
        Fact("Reference impedance", _impedance(record, page)),
        Fact("Wave definition", f"{record.wave_definition} waves"),
        Fact(
            "Frequencies",
            f"{number_of(record.frequency_points)} points,"
            f" {frequency(record.frequency_start_hz)} to"
            f" {frequency(record.frequency_stop_hz)}",
        ),
        Fact("Averaging", _count_if_stated(record.averaging)),
        Fact("Ambient", stated(record.ambient_c, "°C")),
        Fact("Contact substrate", if_stated(record.substrate_c, "°C")),
        Fact("Overtravel", if_stated(record.overtravel_um, "µm")),
        Fact("Probe spacing", if_stated(record.probe_spacing_um, "µm")),
        Fact("Switch terms", "measured" if record.switch_terms else "not measured"),
        Fact(
            "Validity",
            f"{figure_of(record.validity.hours)}{units.THIN}h, ambient change up to"
            f" {figure_of(record.validity.ambient_change_c)}{units.THIN}K,"
            f" {_substrate_change(record)}",
        ),
    )


def _count_if_stated(number: int | None) -> str:
    return NOT_STATED if number is None else number_of(number)


def _substrate_change(record: CalibrationRecord) -> str:
    """How far the contact substrate's temperature may move, and whether that can be checked."""
    bound = record.validity.substrate_change_c
    if bound is None:
        return "substrate change not bounded"
    told = f"substrate change up to {figure_of(bound)}{units.THIN}K"
    if record.substrate_c is None:
        told += (
            ", which is not checked: the substrate's temperature at the calibration is not stated"
        )
    return told


def _method(record: CalibrationRecord) -> str:
    if record.method != "LRRM":
        return record.method
    found = (
        "the load is not fitted"
        if record.load_fit == "none"
        else f"load's {record.load_fit} fitted"
    )
    return f"LRRM, {found}"


def _impedance(record: CalibrationRecord, page: str) -> Text:
    """The declared one; of TRL with where the error terms stood before they were moved."""
    declared = stated(record.reference_impedance_ohm, "Ω")
    if record.line_medium is None:
        return declared
    moved = explained("reference impedance", "moved there", page)
    return Markup(
        "{}, real; {} from the lines' own impedance, which stands among the"
        ' <a href="#solved">solved quantities</a>'
    ).format(declared, moved)


def line_medium(record: CalibrationRecord) -> tuple[Fact, ...]:
    """What is known of the lines of TRL; none for other methods."""
    medium = record.line_medium
    if medium is None:
        return ()
    capacitance = figure_of(medium.capacitance_pf_per_m)
    u = medium.capacitance_u_pf_per_m
    return (
        Fact("Lines: capacitance per length", f"{capacitance}{units.THIN}pF/m"),
        Fact("Its standard uncertainty", f"{figure_of(u)}{units.THIN}pF/m" if u else "not stated"),
        Fact("Its source", medium.source),
        Fact(
            "Lines: effective permittivity",
            f"about {figure_of(medium.effective_permittivity)}; it only chooses between two roots",
        ),
    )


def probes(record: CalibrationRecord) -> Table:
    """The probes as they were used that day."""

    def resistance(value: float | None) -> str:
        return units.MISSING if value is None else figure_of(value)

    return Table(
        id="probes",
        caption="Probes at the time of the calibration",
        columns=(
            Column("Probe"),
            Column("Port", True),
            Column("Contacts so far", True),
            Column("Contact resistance on a short / Ω", True),
            Column("Bound / Ω", True),
        ),
        rows=tuple(
            Row(
                Cell(one.probe),
                (
                    Cell(str(one.port), "", True),
                    Cell(NOT_STATED, "", True)
                    if one.contacts is None
                    else count_cell(one.contacts),
                    Cell(resistance(one.contact_resistance_ohm), "", True),
                    Cell(resistance(one.contact_resistance_max_ohm), "", True),
                ),
            )
            for one in record.probe_use
        ),
        empty="The record does not say how the probes were used.",
    )


def state(record: CalibrationRecord) -> tuple[Fact, ...]:
    """State of the RF path."""
    return state_facts(record.state)


def substrate(record: CalibrationRecord) -> tuple[Fact, ...]:
    """The contact substrate."""
    found = record.substrate
    loads = [
        (f"Load resistance through probe {port}", resistance)
        for port, resistance in (
            (1, found.load_resistance_port_1_ohm),
            (2, found.load_resistance_port_2_ohm),
        )
    ]
    return (
        Fact("Serial number", found.serial_number),
        Fact("Set of standards", found.standard_set),
        Fact(
            "Contacts so far",
            f"{_count_if_stated(found.contacts)}, bound {_count_if_stated(found.contacts_max)}",
        ),
        Fact(
            "Definitions",
            f"{found.definitions_source}, version {found.definitions_version}",
        ),
        *(
            Fact(
                name,
                "not measured" if resistance is None else f"{figure_of(resistance)}{units.THIN}Ω",
            )
            for name, resistance in loads
        ),
    )


def definitions(record: CalibrationRecord) -> Table:
    """The standards' definitions."""
    return Table(
        id="definitions",
        caption="Definitions of the standards",
        columns=(
            Column("Name"),
            Column("Kind"),
            Column("Definition"),
            Column("Standard uncertainties (k = 1)"),
        ),
        rows=tuple(
            Row(
                Cell(name),
                (
                    Cell(definition.kind),
                    Cell(defined(definition)),
                    Cell(uncertain(definition) or "none stated"),
                ),
            )
            for name, definition in record.definitions.items()
        ),
        wide=True,
    )


def sweeps(record: CalibrationRecord) -> Table:
    """The raw sweeps of the standards."""

    def contacted(sweep: RawSweep) -> str:
        if sweep.between is not None:
            return f"{sweep.between} between the ports"
        return ", ".join(
            f"{name} at port {port}"
            for port, name in ((1, sweep.port_1), (2, sweep.port_2))
            if name is not None
        )

    return Table(
        id="sweeps",
        caption="Raw sweeps of the standards",
        columns=(
            Column("File"),
            Column("Contacted"),
            Column("Repeats without lifting", True),
        ),
        rows=tuple(
            Row(
                Cell(Markup("<code>{}</code>").format(sweep.file)),
                (
                    Cell(contacted(sweep)),
                    Cell(number_of(len(sweep.repeats)), "", True),
                ),
            )
            for sweep in record.sweeps
        ),
    )
