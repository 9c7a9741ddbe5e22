"""What campaign.toml says of devices: each de-embedding needs its dummies, condition and die."""

from collections.abc import Mapping

from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import LUMPED, Deembedding, Device, Die
from sitegen.read.files import Intake, is_folder
from sitegen.read.references import CAMPAIGN_FILE, is_known
from sitegen.read.wafers import check_on_wafer
from sitegen.read.words import quoted

_PARTS = ("open", "short", "pad", "thru", "line", "compare_thru", "compare_line")


def check_devices(intake: Intake, record: CampaignRecord) -> None:
    """Everything that a de-embedding names must be there, and fit the device."""
    devices = {device.id: device for device in record.devices}
    for number, device in enumerate(record.devices, 1):
        if device.deembedding is not None:
            place = f"devices[{number}].deembedding"
            _check_ports(intake, place, device)
            _check_parts(intake, place, device, device.deembedding, devices)
            _check_source(intake, place, device, device.deembedding, record)


def _check_ports(intake: Intake, place: str, device: Device) -> None:
    if device.ports == 1:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place} (id {quoted(device.id)})",
            found="a de-embedding of a device with 1 port",
            expected="a device with 2 ports, which every method needs",
            remedy="Remove the de-embedding, or correct the device's ports.",
        )


def _check_parts(
    intake: Intake,
    place: str,
    device: Device,
    deembedding: Deembedding,
    devices: Mapping[str, Device],
) -> None:
    """Each dummy is a declared device with two ports, is not the device itself, plays one part."""
    named = f"(id {quoted(device.id)})"
    first: dict[str, str] = {}
    for part in _PARTS:
        dummy: str | None = getattr(deembedding, part)
        where = f"{place}.{part} {named}"
        if dummy is None:
            continue
        if not is_known(
            intake, CAMPAIGN_FILE, where, dummy, devices, "device", "Declare it under [[devices]]."
        ):
            continue
        if dummy == device.id:
            intake.tell(
                CAMPAIGN_FILE,
                where,
                found=f"{quoted(dummy)}, the device itself",
                expected="another device, the dummy structure",
                remedy="Name the dummy structure.",
            )
        elif devices[dummy].ports == 1 and device.ports == 2:
            intake.tell(
                CAMPAIGN_FILE,
                where,
                found=f"{quoted(dummy)}, a device with 1 port",
                expected="a dummy with 2 ports, as the device has",
                remedy="Correct the dummy, or its ports.",
            )
        if part in deembedding.dummies():
            earlier = first.setdefault(dummy, part)
            if earlier != part:
                intake.tell(
                    CAMPAIGN_FILE,
                    where,
                    found=f"{quoted(dummy)}, which is '{earlier}' already",
                    expected="a dummy structure of its own for each part",
                    remedy="Correct one of the two.",
                )


def _check_source(
    intake: Intake, place: str, device: Device, deembedding: Deembedding, record: CampaignRecord
) -> None:
    """Where the dummies are taken from, under which condition, and up to which frequency."""
    named = f"(id {quoted(device.id)})"
    conditions = [condition.id for condition in record.conditions]
    where, remedy = f"{place}.condition {named}", "Declare it under [[conditions]]."
    is_known(intake, CAMPAIGN_FILE, where, deembedding.condition, conditions, "condition", remedy)
    if deembedding.wafer is not None:
        check_wafer(intake, f"{place}.wafer {named}", deembedding.wafer, record)
    if deembedding.die is not None:
        check_die(intake, f"{place}.die {named}", deembedding.die, record)
    if deembedding.upper_hz is not None and deembedding.method not in LUMPED:
        intake.tell(
            CAMPAIGN_FILE,
            f"{place}.upper_hz {named}",
            found=f"an upper frequency of the method '{deembedding.method}'",
            expected="one for a lumped method only: "
            + ", ".join(f"'{name}'" for name in sorted(LUMPED)),
            remedy="Remove it, or correct the method.",
        )


def check_wafer(intake: Intake, place: str, wafer: str, record: CampaignRecord) -> None:
    """A wafer that campaign.toml names must be planned, or have a folder."""
    planned = {each.id for each in record.plan.wafers}
    if not is_folder(intake.folder / "wafers" / wafer):
        remedy = "Plan it under [[plan.wafers]], or add its folder."
        is_known(intake, CAMPAIGN_FILE, place, wafer, planned, "wafer", remedy)


def check_die(intake: Intake, place: str, die: Die, record: CampaignRecord) -> None:
    """A die that campaign.toml names must lie on the wafer."""
    if record.layout is not None:
        check_on_wafer(intake, CAMPAIGN_FILE, place, die, record.layout)
