"""The drawings of a device's page: its parameters over bias, itself over frequency, its curves."""

from collections.abc import Mapping, Sequence

import numpy as np

from sitegen import addresses
from sitegen.chart.device_bands import band_drawing, by_set_point
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Condition, Parameter
from sitegen.model.device import Device
from sitegen.model.device_results import Band
from sitegen.model.results import CampaignResults, Drawing, ParameterResult
from sitegen.units import MINUS

FEWEST_SET_POINTS = 3


def device_drawings(device: Device, results: CampaignResults) -> Mapping[str, Drawing]:
    """By 'bias-...', 'frequency-...', 'further-...' and 'curve-...', in the order shown.

    'frequency-...' are under the condition that most dies were measured under, 'further-...' under
    the others.
    """
    return {
        **_over_bias(device, results),
        **_over_frequency(device, results),
        **_curves(device, results),
    }


def _over_frequency(device: Device, results: CampaignResults) -> dict[str, Drawing]:
    drawn = {}
    grouped = _grouped(device, results.bands, "Hz")
    dies: dict[str, int] = {}
    for (condition, _), bands in grouped.items():
        dies[condition] = max(dies.get(condition, 0), sum(one.n for one in bands))
    first = max(dies, key=lambda name: dies[name], default="")
    for (condition, shown), bands in grouped.items():
        part = "frequency" if condition == first else "further"
        name = f"{part}-{condition}-{_stem(shown)}"
        drawn[name] = band_drawing(
            address=addresses.drawing(addresses.device(device.id), name),
            title=f"{shown[0].upper()}{shown[1:]} of the {device.name} under {condition}"
            + (", de-embedded" if bands[0].deembedded else ""),
            bands=bands,
            heading=f"{shown}, {condition}",
        )
    return drawn


def _curves(device: Device, results: CampaignResults) -> dict[str, Drawing]:
    declared = {curve.id: curve for curve in results.context.record.curves}
    drawn = {}
    for unit in ("V", "A"):
        for (condition, curve), bands in _grouped(device, results.bands, unit).items():
            name = f"curve-{condition}-{curve}"
            told, stepped = declared[curve].description, declared[curve].stepped or ""
            drawn[name] = band_drawing(
                address=addresses.drawing(addresses.device(device.id), name),
                title=f"{told[0].upper()}{told[1:]} under {condition}{_steps(bands, stepped)}",
                bands=bands,
                heading=declared[curve].measured.rpartition("_")[0],
                x_name=declared[curve].swept.rpartition("_")[0],
            )
    return drawn


def _steps(bands: Sequence[Band], stepped: str) -> str:
    """', vgs = -1.8 V, 0 V': values of the stepped axis; empty without one."""
    values = sorted({one.stepped for one in bands if one.stepped is not None})
    if not values:
        return ""
    stem, _, unit = stepped.rpartition("_")

    def figures(value: float) -> str:
        return f"{value:g}".replace("-", MINUS)

    return f", {stem} = {', '.join(figures(value) for value in values)} {unit.upper()}"


def _grouped(
    device: Device, bands: Sequence[Band], x_unit: str
) -> Mapping[tuple[str, str], list[Band]]:
    found: dict[tuple[str, str], list[Band]] = {}
    for band in bands:
        if band.device == device.id and band.x_unit == x_unit:
            found.setdefault((band.condition, band.quantity), []).append(band)
    return found


def _stem(text: str) -> str:
    return "".join(one if one.isalnum() else "-" for one in text).strip("-")


def _over_bias(device: Device, results: CampaignResults) -> dict[str, Drawing]:
    record = results.context.record
    conditions = {one.id: one for one in record.conditions}
    drawn = {}
    for parameter in record.parameters:
        if parameter.device != device.id:
            continue
        known = [conditions[name] for name in parameter.conditions]
        for bias, chosen in _families(known):
            name = f"bias-{parameter.id}-{bias}-{chosen[0].id}"
            drawing = _of_family(parameter, bias, chosen, results, device, name)
            if drawing is not None:
                drawn[name] = drawing
    return drawn


def _families(conditions: Sequence[Condition]) -> list[tuple[str, list[Condition]]]:
    """Sets of conditions that differ in one set point only, each with that set point's name."""
    found = []
    names = list(dict.fromkeys(name for one in conditions for name in one.bias))
    for bias in names:
        others: dict[tuple[object, ...], list[Condition]] = {}
        for one in conditions:
            if bias in one.bias:
                rest = (
                    one.temperature_c,
                    *sorted((name, value) for name, value in one.bias.items() if name != bias),
                )
                others.setdefault(rest, []).append(one)
        for family in others.values():
            if len({one.bias[bias] for one in family}) >= FEWEST_SET_POINTS:
                found.append((bias, sorted(family, key=lambda one: one.bias[bias])))
    return found


def _of_family(
    parameter: Parameter,
    bias: str,
    chosen: Sequence[Condition],
    results: CampaignResults,
    device: Device,
    name: str,
) -> Drawing | None:
    by_place: dict[tuple[str, str], ParameterResult] = {
        (one.wafer, one.condition): one
        for one in results.parameters
        if one.parameter == parameter.id
    }

    def course(wafer: str, field: str) -> FloatArray:
        values = [
            getattr(by_place[wafer, one.id].summary, field) if (wafer, one.id) in by_place else None
            for one in chosen
        ]
        return np.array([np.nan if value is None else value for value in values])

    medians = [(wafer, course(wafer, "median")) for wafer in results.context.wafers]
    medians = [(wafer, values) for wafer, values in medians if np.isfinite(values).any()]
    if not medians:
        return None
    stem, _, unit = bias.rpartition("_")
    return by_set_point(
        address=addresses.drawing(addresses.device(device.id), name),
        title=f"{parameter.name[0].upper()}{parameter.name[1:]} over {stem}",
        set_points=np.array([one.bias[bias] for one in chosen]),
        set_point_name=stem,
        set_point_unit=unit.upper(),
        medians_by_wafer=medians,
        spread=(course("", "q05"), course("", "q95")),
        unit=parameter.unit,
        name=parameter.name,
    )
