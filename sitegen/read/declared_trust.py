"""What campaign.toml says of trust and handing over: what it names must be declared in it."""

from collections.abc import Sequence

from sitegen import units
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.trust import Agreement
from sitegen.read.declared_devices import check_die, check_wafer
from sitegen.read.files import Intake
from sitegen.read.references import CAMPAIGN_FILE, check_unique, is_known
from sitegen.read.words import choices, quoted


def check_trust(intake: Intake, record: CampaignRecord) -> None:
    """Contact checks, control dies, agreements and the handing over."""
    for number, check in enumerate(record.touchdowns.checks, 1):
        _check_devices(intake, f"touchdowns.checks[{number}].devices", check.devices, record)
    check_unique(intake, CAMPAIGN_FILE, "controls", [control.id for control in record.controls])
    for number, control in enumerate(record.controls, 1):
        place, named = f"controls[{number}]", f" (id {quoted(control.id)})"
        check_wafer(intake, f"{place}.wafer{named}", control.wafer, record)
        check_die(intake, f"{place}.die{named}", control.die, record)
        _check_value(intake, place, named, control.parameter, control.condition, record)
    check_unique(
        intake, CAMPAIGN_FILE, "agreements", [agreement.id for agreement in record.agreements]
    )
    for number, agreement in enumerate(record.agreements, 1):
        _check_agreement(intake, f"agreements[{number}]", agreement, record)
    if record.handover is not None:
        handover = record.handover
        _check_value(intake, "handover", "", handover.parameter, handover.condition, record)
        _check_devices(intake, "handover.devices", handover.devices, record)
        _check_two_ports(intake, "handover.devices", handover.devices, record)


def _check_devices(
    intake: Intake, place: str, named: Sequence[str], record: CampaignRecord
) -> None:
    devices = [device.id for device in record.devices]
    for name in named:
        is_known(
            intake, CAMPAIGN_FILE, place, name, devices, "device", "Declare it under [[devices]]."
        )


def _check_two_ports(
    intake: Intake, place: str, named: Sequence[str], record: CampaignRecord
) -> None:
    for device in record.devices:
        if device.id in named and device.ports == 1:
            intake.tell(
                CAMPAIGN_FILE,
                place,
                found=f"{quoted(device.id)}, a device with 1 port",
                expected="devices with 2 ports",
                remedy="Leave it out, or correct its ports.",
            )


def _check_value(
    intake: Intake, place: str, named: str, parameter: str, condition: str, record: CampaignRecord
) -> Parameter | None:
    """The parameter, where it is declared and is measured under the condition."""
    parameters = {each.id: each for each in record.parameters}
    where, remedy = f"{place}.parameter{named}", "Declare it under [[parameters]]."
    if not is_known(intake, CAMPAIGN_FILE, where, parameter, parameters, "parameter", remedy):
        return None
    conditions = parameters[parameter].conditions
    if condition in conditions:
        return parameters[parameter]
    intake.tell(
        CAMPAIGN_FILE,
        f"{place}.condition{named}",
        found=f"{quoted(condition)} with the parameter {quoted(parameter)}",
        expected=f"{choices(conditions)}, the parameter's conditions",
        remedy="Correct the condition, or add it to the parameter.",
    )
    return None


def _check_agreement(
    intake: Intake, place: str, agreement: Agreement, record: CampaignRecord
) -> None:
    """Two values that differ, in units that can be compared."""
    named = f" (id {quoted(agreement.id)})"
    first, second = (
        _check_value(intake, f"{place}.{key}", named, value.parameter, value.condition, record)
        for key, value in (("first", agreement.first), ("second", agreement.second))
    )
    if agreement.first == agreement.second:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.second{named}",
            found="the same value as the first",
            expected="another parameter, or another condition",
            remedy="Correct one of the two.",
        )
    if first is None or second is None:
        return
    try:
        units.conversion(second.unit, first.unit)
    except units.NotConvertible:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.second{named}",
            found=f"a value in {quoted(second.unit)}",
            expected=f"one in {quoted(first.unit)} as the first, or in a unit that converts to it",
            remedy="Correct one of the two parameters.",
        )
    except units.UnknownUnit:
        return  # told with the parameter
