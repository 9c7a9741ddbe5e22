"""What a wafer's devices show over frequency and over bias: median and 5 % to 95 % of its dies."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import pyarrow as pa

from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.two_port import as_two_port
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import Device
from sitegen.model.device_results import Band, CurveTraces, QualityCount
from sitegen.model.figures import FIGURE_UNITS, TWO_PORT_ONLY, FigureName
from sitegen.model.results import TraceGroup

Kind = Literal["transistor", "diode", "inductor", "capacitor", "resistor", "line", "dummy", "other"]
SHOWN: dict[Kind, tuple[FigureName, ...]] = {
    "transistor": ("h21 magnitude", "unilateral gain", "maximum stable gain", "stability factor K"),
    "inductor": ("inductance", "inductor quality"),
    "capacitor": ("capacitance", "equivalent series resistance"),
    "resistor": ("series resistance",),
    "line": ("attenuation per length", "effective permittivity", "characteristic impedance"),
    "diode": (),
    "dummy": (),
    "other": (),
}
"""Which figures of each kind of device are drawn over frequency."""
QUANTILES = (0.05, 0.5, 0.95)


def frequency_bands(
    groups: Sequence[TraceGroup], campaign: CampaignRecord, wafer: str
) -> tuple[Band, ...]:
    """Of every device with sweeps and every condition; de-embedded where the device declares it."""
    devices = {device.id: device for device in campaign.devices}
    return tuple(
        band
        for group in groups
        for band in _of_group(group, devices[group.device], campaign, wafer)
    )


def _of_group(
    group: TraceGroup, device: Device, campaign: CampaignRecord, wafer: str
) -> list[Band]:
    keep = _standing(group, campaign)
    s = group.s if group.deembedded is None else group.deembedded
    s = s[keep & ~np.isnan(s).all(axis=(1, 2, 3))]
    names = [
        name
        for name in SHOWN[device.kind]
        if (s.shape[-1] == 2 or name not in TWO_PORT_ONLY)
        and (device.length_um or device.kind != "line" or name == "characteristic impedance")
    ]
    if not len(s) or not names:
        return []
    length_m = None if device.length_um is None else device.length_um * 1e-6
    around = Surroundings(group.z_ref_ohm, length_m)
    found = []
    for name in names:
        values = FIGURES[name].quantity(as_two_port(s), group.frequency_hz, around)
        if name == "unilateral gain":
            values = np.where(np.isnan(values) & np.isfinite(s).all(axis=(2, 3)), np.inf, values)
        lower, median, upper = _quantiles(values)
        if np.isfinite(median).any():
            found.append(
                Band(
                    wafer=wafer,
                    device=device.id,
                    condition=group.condition,
                    quantity=FIGURES[name].name,
                    unit=FIGURE_UNITS[name],
                    x=group.frequency_hz,
                    x_unit="Hz",
                    median=median,
                    lower=lower,
                    upper=upper,
                    n=len(s),
                    deembedded=group.deembedded is not None,
                )
            )
    return found


def curve_bands(
    curves: Sequence[CurveTraces], campaign: CampaignRecord, wafer: str
) -> tuple[Band, ...]:
    """Of every declared curve, condition and value of the stepped axis whose dies share an axis."""
    declared = {curve.id: curve for curve in campaign.curves}
    found = []
    for traces in curves:
        curve = declared[traces.curve]
        stepped = np.array(
            [np.nan if one is None else one for one in traces.keys.column("stepped").to_pylist()]
        )
        for value in np.unique(np.round(stepped, 9)):
            mine = np.isnan(stepped) if np.isnan(value) else np.isclose(stepped, value, atol=1e-9)
            swept, measured = traces.swept[mine], traces.measured[mine]
            middle = np.nanmedian(swept, axis=0)
            alike = np.isclose(swept, middle, rtol=1e-2, atol=1e-6) | np.isnan(swept)
            if not alike.all():
                continue
            lower, median, upper = _quantiles(measured)
            found.append(
                Band(
                    wafer=wafer,
                    device=curve.device,
                    condition=traces.condition,
                    quantity=curve.id,
                    unit="A" if curve.measured.endswith("_a") else "V",
                    x=middle,
                    x_unit="V" if curve.swept.endswith("_v") else "A",
                    median=median,
                    lower=lower,
                    upper=upper,
                    n=int(mine.sum()),
                    stepped=None if np.isnan(value) else float(value),
                )
            )
    return tuple(found)


def _standing(group: TraceGroup, campaign: CampaignRecord) -> BoolArray:
    """Sweeps with standing, of each die the touchdown that counts."""
    keys = group.keys.to_pandas()
    stands = (keys["standing"] != "without standing").to_numpy()
    chosen = keys.groupby(["die_x", "die_y", "site"])["touchdown"]
    rule = campaign.touchdowns.counts
    counts = keys["touchdown"] == chosen.transform("min" if rule == "first" else "max")
    found: BoolArray = stands & (counts.to_numpy() | (rule == "mean"))
    return found


@np.errstate(all="ignore")
def _quantiles(values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Lower, median and upper of (n, n_x); NaN where fewer than half of the rows have a value.

    An infinite value (Mason's U of a device that is active by itself) ranks above all others.
    """
    known = ~np.isnan(values)
    enough = known.sum(axis=0) * 2 >= max(len(values), 1)
    if known.all():
        found = np.quantile(values, QUANTILES, axis=0)
        found = np.where(np.isfinite(found), found, np.nan)
        return found[0], found[1], found[2]
    usable = np.where(known & enough, values, np.nan)
    usable[:, ~enough] = 0.0
    found = np.where(enough, np.nanquantile(usable, QUANTILES, axis=0), np.nan)
    found = np.where(np.isfinite(found), found, np.nan)
    return found[0], found[1], found[2]


QUALITIES = ("noise", "steps", "contact", "passivity", "reciprocity", "causality")


def quality_counts(table: pa.Table) -> tuple[QualityCount, ...]:
    """How many sweeps of each device bear each word; table: `SWEEP_QUALITY_COLUMNS`."""
    rows = table.to_pandas()
    return tuple(
        QualityCount(
            wafer=str(wafer),
            device=str(device),
            sweeps=len(mine),
            words={name: mine[name].value_counts().to_dict() for name in QUALITIES},
        )
        for (wafer, device), mine in rows.groupby(["wafer", "device"], sort=False)
    )
