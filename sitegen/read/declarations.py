"""What campaign.toml declares must not contradict itself: everything else is read against it."""

from collections.abc import Sequence

from sitegen.model.campaign import Accuracy, CampaignRecord, Floor, Parameter, Station
from sitegen.read.declared_devices import check_devices
from sitegen.read.declared_extraction import check_curves, check_extraction
from sitegen.read.declared_statistics import check_statistics
from sitegen.read.declared_trust import check_trust
from sitegen.read.files import Intake
from sitegen.read.references import CAMPAIGN_FILE, check_unique, is_known
from sitegen.read.wafers import check_on_wafer
from sitegen.read.words import quoted

_ABOUT = (
    "instrument",
    "quantity",
    "range",
    "path",
    "integration_s",
    "temperature_c",
    "voltage_v",
    "measured_on",
)
"""What a floor or an accuracy is about; the other fields say how large it is."""


def check_declarations(intake: Intake, record: CampaignRecord) -> None:
    """Every name that campaign.toml uses must be declared in it, once, and every unit be known."""
    for place, names in (
        ("stations", [station.id for station in record.stations]),
        ("conditions", [condition.id for condition in record.conditions]),
        ("devices", [device.id for device in record.devices]),
        ("parameters", [parameter.id for parameter in record.parameters]),
        ("plan.wafers", [wafer.id for wafer in record.plan.wafers]),
    ):
        check_unique(intake, CAMPAIGN_FILE, place, names)
    for number, station in enumerate(record.stations, 1):
        _check_station(intake, f"stations[{number}]", station)
    for number, condition in enumerate(record.conditions, 1):
        for name in condition.bias:
            if not name.endswith(("_v", "_a")):
                intake.tell(
                    CAMPAIGN_FILE,
                    f"conditions[{number}].bias (id {quoted(condition.id)})",
                    found=f"the bias {quoted(name)}",
                    expected="a name that ends in its unit, _v for volts or _a for amperes",
                    remedy="Append the unit to the name.",
                )
    for number, parameter in enumerate(record.parameters, 1):
        _check_parameter(intake, f"parameters[{number}]", parameter, record)
    check_devices(intake, record)
    check_curves(intake, record)
    check_extraction(intake, record)
    check_trust(intake, record)
    check_statistics(intake, record)
    _check_plan(intake, record)


def _check_station(intake: Intake, place: str, station: Station) -> None:
    for kind, names in (
        ("instruments", [instrument.id for instrument in station.instruments]),
        ("probes", [probe.id for probe in station.probes]),
        ("cables", [part.id for part in station.cables]),
        ("switch_paths", [part.id for part in station.switch_paths]),
        ("bias_tees", [part.id for part in station.bias_tees]),
    ):
        check_unique(intake, CAMPAIGN_FILE, f"{place}.{kind}", names)
    _check_ranges(intake, place, station)


def _check_ranges(intake: Intake, place: str, station: Station) -> None:
    """Floors and accuracies are of the station's instruments, and one holds for one thing."""
    instruments = [instrument.id for instrument in station.instruments]
    remedy = f"Declare it at station {quoted(station.id)}."
    both: tuple[tuple[str, Sequence[Floor | Accuracy]], ...] = (
        ("floors", station.floors),
        ("accuracies", station.accuracies),
    )
    for key, listed in both:
        first: dict[tuple[object, ...], int] = {}
        for number, one in enumerate(listed, 1):
            where, name = f"{place}.{key}[{number}]", one.instrument
            at = f"{where}.instrument"
            is_known(intake, CAMPAIGN_FILE, at, name, instruments, "instrument", remedy)
            about = tuple(getattr(one, name) for name in _ABOUT if hasattr(one, name))
            earlier = first.setdefault(about, number)
            if earlier != number:
                intake.tell(
                    CAMPAIGN_FILE,
                    where,
                    found=f"the same as entry {earlier} is about",
                    expected="each instrument and range once",
                    remedy="Remove one of the two, or say in what they differ.",
                )


def _check_parameter(
    intake: Intake, place: str, parameter: Parameter, record: CampaignRecord
) -> None:
    named = f"(id {quoted(parameter.id)})"
    devices = {device.id: device for device in record.devices}
    is_known(
        intake,
        CAMPAIGN_FILE,
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
        is_known(intake, CAMPAIGN_FILE, where, condition, conditions, "condition", remedy)


def _check_plan(intake: Intake, record: CampaignRecord) -> None:
    for number, wafer in enumerate(record.plan.wafers, 1):
        if wafer.dies == "all" or record.layout is None:
            continue
        first: dict[tuple[int, int], int] = {}
        for position, die in enumerate(wafer.dies, 1):
            place = f"plan.wafers[{number}].dies[{position}] (id {quoted(wafer.id)})"
            check_on_wafer(intake, CAMPAIGN_FILE, place, die, record.layout)
            earlier = first.setdefault(die, position)
            if earlier != position:
                intake.tell(
                    CAMPAIGN_FILE,
                    place,
                    found=f"die ({die[0]}, {die[1]}), which entry {earlier} names already",
                    expected="each die once",
                    remedy="Remove one of the two.",
                )
