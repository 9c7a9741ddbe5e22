"""What a Touchstone file of a corrected sweep says in its comments, and the file's content.

It says what stands behind the sweep, and nothing of the day on which it was written.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sitegen.model.arrays import BoolArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import Device
from sitegen.model.results import NOT_HELD, TraceGroup
from sitegen.model.wafer import WaferRecord
from sitegen.publish.touchstone import touchstone_text

NOT_ACCREDITED = "This file is no certificate of an accredited laboratory."


PLAIN = str.maketrans({"µ": "u", "μ": "u", "°": "deg ", "Ω": "ohm", "−": "-", "\u202f": " "})
"""Touchstone files are ASCII; what else has no plain form becomes a question mark."""


@dataclass(frozen=True)
class Sweep:
    """One sweep of a chosen die, at the probe tips and without pads and leads."""

    group: TraceGroup
    row: int
    key: Mapping[str, Any]
    """What is known of it besides its S-parameters."""


def sweep_file(
    sweep: Sweep,
    stem: str,
    chosen_as: str,
    device: Device,
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> bytes | None:
    """The content of a file; None where the sweep is determined at no frequency.

    stem: 'corrected' for the probe tips, 'deembedded' without pads and leads. chosen_as: why it
    is this die.
    """
    group = sweep.group
    values = group.s if stem == "corrected" else group.deembedded
    if values is None:
        return None
    s = values[sweep.row]
    known = np.isfinite(s).all(axis=(1, 2))
    if not known.any():
        return None
    says = [
        *_provenance(sweep, device, chosen_as, campaign, wafer),
        _plane(device, stem),
        *_gaps(known),
        NOT_ACCREDITED,
    ]
    text = touchstone_text(group.frequency_hz[known], s[known], "\n".join(says), group.z_ref_ohm)
    return text.translate(PLAIN).encode("ascii", "replace")


def _provenance(
    sweep: Sweep,
    device: Device,
    chosen_as: str,
    campaign: CampaignRecord,
    wafer: WaferRecord,
) -> list[str]:
    """What the file is of and what stands behind it, a line each."""
    key = sweep.key
    condition = next(one for one in campaign.conditions if one.id == sweep.group.condition)
    site = f", site {key['site']}" if key["site"] else ""
    reasons = f" ({key['standing_reasons']})" if key["standing_reasons"] else ""
    none = "not in the record" if key["standing_reasons"] == NOT_HELD else "none in force"
    taken = key["measured_at"].strftime("%Y-%m-%dT%H:%M:%SZ")
    simulated = ["The data are simulated."] if campaign.campaign.simulated else []
    return [
        f"Campaign {campaign.campaign.id}, edition {campaign.campaign.edition}:"
        f" {campaign.campaign.title}",
        *simulated,
        f"Wafer {wafer.id}, die ({key['die_x']}, {key['die_y']}){site}, chosen as: {chosen_as}",
        f"Device {device.id}: {device.name}",
        f"Condition {condition.id}: {condition.description}; set point"
        f" {condition.temperature_c:g} degrees Celsius",
        f"Touchdown {key['touchdown']}, measured {taken} by the instrument's clock",
        f"Calibration: {key['calibration'] or none}; standing: {key['standing']}{reasons}",
    ]


def _plane(device: Device, stem: str) -> str:
    """What lies between the file's reference planes, as a line."""
    if stem == "corrected":
        return "Reference planes: as the calibration set them; pads and leads are in the data"
    one = device.deembedding
    method, taken_from = (one.method, one.taken_from) if one else ("", "")
    upper = f", declared to hold up to {one.upper_hz / 1e9:g} GHz" if one and one.upper_hz else ""
    return f"Pads and leads taken off: {method}, dummies of {taken_from}{upper}"


def _gaps(known: BoolArray) -> list[str]:
    missing = int((~known).sum())
    return [f"{missing} frequencies are left out: not determined there"] if missing else []
