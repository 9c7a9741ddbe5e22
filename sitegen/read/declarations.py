"""What campaign.toml declares must not contradict itself: everything else is read against it."""

from sitegen import units
from sitegen.model.campaign import CampaignRecord, Parameter, Station
from sitegen.model.figures import FIGURE_UNITS, TWO_PORT_ONLY
from sitegen.read.files import Intake
from sitegen.read.references import check_unique, is_known, tell_unknown_unit
from sitegen.read.wafers import check_on_wafer
from sitegen.read.words import quoted

FILE = "campaign.toml"


def check_declarations(intake: Intake, record: CampaignRecord) -> None:
    """Every name that campaign.toml uses must be declared in it, once, and every unit be known."""
    for place, names in (
        ("stations", [station.id for station in record.stations]),
        ("conditions", [condition.id for condition in record.conditions]),
        ("devices", [device.id for device in record.devices]),
        ("parameters", [parameter.id for parameter in record.parameters]),
        ("plan.wafers", [wafer.id for wafer in record.plan.wafers]),
    ):
        check_unique(intake, FILE, place, names)
    for number, station in enumerate(record.stations, 1):
        _check_station(intake, f"stations[{number}]", station)
    for number, condition in enumerate(record.conditions, 1):
        for name in condition.bias:
            if not name.endswith(("_v", "_a")):
                intake.tell(
                    FILE,
                    f"conditions[{number}].bias (id {quoted(condition.id)})",
                    found=f"the bias {quoted(name)}",
                    expected="a name that ends in its unit, _v for volts or _a for amperes",
                    remedy="Append the unit to the name.",
                )
    for number, parameter in enumerate(record.parameters, 1):
        _check_parameter(intake, f"parameters[{number}]", parameter, record)
    _check_plan(intake, record)


def _check_station(intake: Intake, place: str, station: Station) -> None:
    for kind, names in (
        ("instruments", [instrument.id for instrument in station.instruments]),
        ("probes", [probe.id for probe in station.probes]),
        ("cables", [part.id for part in station.cables]),
        ("switch_paths", [part.id for part in station.switch_paths]),
        ("bias_tees", [part.id for part in station.bias_tees]),
    ):
        check_unique(intake, FILE, f"{place}.{kind}", names)
    instruments = [instrument.id for instrument in station.instruments]
    for number, floor in enumerate(station.floors, 1):
        where = f"{place}.floors[{number}].instrument"
        remedy = f"Declare it at station {quoted(station.id)}."
        is_known(intake, FILE, where, floor.instrument, instruments, "instrument", remedy)


def _check_parameter(
    intake: Intake, place: str, parameter: Parameter, record: CampaignRecord
) -> None:
    named = f"(id {quoted(parameter.id)})"
    devices = {device.id: device for device in record.devices}
    has_device = is_known(
        intake,
        FILE,
        f"{place}.device {named}",
        parameter.device,
        devices,
        "device",
        "Declare it under [[devices]].",
    )
    conditions = [condition.id for condition in record.conditions]
    for condition in parameter.conditions:
        remedy = "Declare it under [[conditions]]."
        where = f"{place}.conditions {named}"
        is_known(intake, FILE, where, condition, conditions, "condition", remedy)
    try:
        units.normalise(parameter.unit)
    except units.UnknownUnit:
        tell_unknown_unit(intake, FILE, f"{place}.unit {named}", parameter.unit)
        return
    if parameter.from_sweep is None:
        return
    figure = parameter.from_sweep.figure
    try:
        units.conversion(FIGURE_UNITS[figure], parameter.unit)
    except units.NotConvertible:
        intake.tell(
            FILE,
            f"{place}.unit {named}",
            found=quoted(parameter.unit),
            expected=f"a unit of the figure {quoted(figure)}, such as {FIGURE_UNITS[figure]}",
            remedy="Correct the unit or the figure.",
        )
    if has_device and figure in TWO_PORT_ONLY and devices[parameter.device].ports == 1:
        intake.tell(
            FILE,
            f"{place}.from_sweep.figure {named}",
            found=f"the figure {quoted(figure)} for a device with 1 port",
            expected="a device with 2 ports, which this figure needs",
            remedy="Correct the figure, or the device's ports.",
        )


def _check_plan(intake: Intake, record: CampaignRecord) -> None:
    for number, wafer in enumerate(record.plan.wafers, 1):
        if wafer.dies == "all" or record.layout is None:
            continue
        first: dict[tuple[int, int], int] = {}
        for position, die in enumerate(wafer.dies, 1):
            place = f"plan.wafers[{number}].dies[{position}] (id {quoted(wafer.id)})"
            check_on_wafer(intake, FILE, place, die, record.layout)
            earlier = first.setdefault(die, position)
            if earlier != position:
                intake.tell(
                    FILE,
                    place,
                    found=f"die ({die[0]}, {die[1]}), which entry {earlier} names already",
                    expected="each die once",
                    remedy="Remove one of the two.",
                )
