"""Which drawings each page needs, made from results by the chart room."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sitegen import addresses
from sitegen.chart.axis import equal_classes, snapped_range
from sitegen.chart.by_wafer import by_wafer
from sitegen.chart.distribution import distribution
from sitegen.chart.frames import Frame, polylines, trace_frame
from sitegen.chart.limit_bar import limit_bar
from sitegen.chart.map_key import MapDie
from sitegen.chart.timeline import evidence_over_time
from sitegen.chart.wafer_map import wafer_map
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.results import (
    AxisRange,
    CampaignContext,
    Drawing,
    Outcome,
    StationRecord,
    WaferResults,
    WaferSummary,
)
from sitegen.render.page import FrameArt
from sitegen.units import axis_title, count

TRACE_UNITS = {"db": "dB", "deg": "°"}


@dataclass(frozen=True)
class DrawnFrame:
    """A frame's drawing, and what the pages need to lay curves over it."""

    drawing: Drawing
    art: FrameArt


def trace_title(trace: str) -> str:
    """'|S21| / dB' or 'phase of S21 / °'."""
    port, form = trace.split("_")
    name = f"|{port.upper()}|" if form == "db" else f"phase of {port.upper()}"
    return axis_title(name, TRACE_UNITS[form])


def trace_values(s: ComplexArray, trace: str) -> FloatArray:
    """The curves of one trace name, shape (n_sweep, n_freq): 's21_db' in dB, 's21_deg' in degrees.

    NaN where the sweep is not determined, or where the level of zero would be taken.
    """
    to_port, from_port = int(trace[1]), int(trace[2])
    if max(to_port, from_port) > s.shape[-1]:
        return np.full(s.shape[:2], np.nan)
    values = s[:, :, to_port - 1, from_port - 1]
    if trace.endswith("_deg"):
        return np.asarray(np.degrees(np.angle(values)))
    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(values))
    return np.where(np.isfinite(level), level, np.nan)


def frames(wafer: str, results: WaferResults, context: CampaignContext) -> Mapping[str, DrawnFrame]:
    """One frame for each device, condition and trace of a wafer, with every sweep's curve."""
    traces = {device.id: device for device in context.record.devices}
    drawn = {}
    for place, group in enumerate(results.traces):
        device = traces[group.device]
        stands = np.array(
            [word != "without standing" for word in group.keys.column("standing").to_pylist()]
        )
        for trace in device.traces:
            curves = trace_values(group.s, trace)
            if not np.isfinite(curves).any():
                continue
            title = f"{trace_title(trace)} of {device.name}, {group.condition}"
            frame = trace_frame(
                address=addresses.frame(wafer, group.device, group.condition, trace),
                title=title,
                description=f"Median and 5 to 95 % band over the sweeps with standing of wafer"
                f" {wafer}; axes shared by all wafers of the campaign.",
                frequency_hz=group.frequency_hz,
                curves=curves[stands] if stands.any() else curves,
                y_range=context.ranges[f"{group.device}/{trace}"],
                y_title=trace_title(trace),
            )
            name = f"{group.device}/{group.condition}/{trace}"
            drawn[name] = DrawnFrame(
                frame.drawing, _art(frame, group.frequency_hz, curves, place, trace)
            )
    return drawn


def _art(
    frame: Frame, frequency_hz: FloatArray, curves: FloatArray, group: int, trace: str
) -> FrameArt:
    return FrameArt(
        address=frame.drawing.address,
        title=frame.drawing.title,
        description=frame.drawing.description,
        width=frame.drawing.width,
        height=frame.drawing.height,
        left=frame.left,
        top=frame.top,
        plot_width=frame.width,
        plot_height=frame.height,
        group=group,
        y_title=trace_title(trace),
        polylines=polylines(frame, frequency_hz, curves),
        x_lower=frame.x.lower / frame.x_per_hz,
        x_upper=frame.x.upper / frame.x_per_hz,
        x_logarithmic=frame.x.log,
        y_lower=frame.y.lower,
        y_upper=frame.y.upper,
        unit=TRACE_UNITS[trace.split("_")[1]],
    )


def limit_bars(results: WaferResults) -> Mapping[int, str]:
    """A small bar for each row of the results that has a value and a limit."""
    names = (
        "value",
        "expanded_uncertainty",
        "lower",
        "upper",
        "acceptance_lower",
        "acceptance_upper",
        "decision_rule",
    )
    columns = [results.results.column(name).to_pylist() for name in names]
    return {
        row: limit_bar(
            value=value,
            expanded=expanded,
            lower=lower,
            upper=upper,
            acceptance_lower=acceptance_lower,
            acceptance_upper=acceptance_upper,
            both_sides=rule == "non-binary",
        )
        for row, (
            value,
            expanded,
            lower,
            upper,
            acceptance_lower,
            acceptance_upper,
            rule,
        ) in enumerate(zip(*columns, strict=True))
        if value is not None and (lower is not None or upper is not None)
    }


def wafer_maps(
    wafer: str, results: WaferResults, context: CampaignContext
) -> Mapping[str, Drawing]:
    """Small maps: the verdicts, and each parameter and condition that the wafer has values of."""
    drawn = {"verdicts": verdict_map(wafer, results, context, linked=False)}
    if results.touchdowns.num_rows:
        drawn["touchdowns"] = touchdown_map(wafer, results, context)
    layout = context.record.layout
    assert layout is not None  # reading refuses wafers without a layout
    table = results.results.to_pandas()
    counting = table[table["counts"] & table["value"].notna()]
    every = list(
        results.dies.select(["die_x", "die_y"]).to_pandas().itertuples(index=False, name=None)
    )
    for parameter in context.record.parameters:
        for condition in parameter.conditions:
            rows = counting[
                (counting["parameter"] == parameter.id) & (counting["condition"] == condition)
            ]
            if rows.empty:
                continue
            name = f"{parameter.id}/{condition}"
            drawn[name] = wafer_map(
                address=addresses.wafer_map(wafer, parameter.id, condition),
                title=f"{parameter.symbol} at {condition} on wafer {wafer}",
                description=f"{parameter.name} of each die in classes that all wafers share;"
                " hollow dies were not measured.",
                layout=layout,
                dies=_value_dies(rows, every),
                form="small",
                name=parameter.symbol,
                unit=parameter.unit,
                edges=equal_classes(context.ranges[name]),
            )
    return drawn


def touchdown_map(wafer: str, results: WaferResults, context: CampaignContext) -> Drawing:
    """The worst outcome of the contact checks on each die."""
    layout = context.record.layout
    assert layout is not None  # reading refuses wafers without a layout
    words: dict[str, Outcome] = {
        "passed": "within",
        "failed": "outside",
        "missing": "not assessable",
    }
    order = list(words)
    names = ("die_x", "die_y", "outcome", "outcome_reason")
    worst: dict[tuple[int, int], tuple[int, str]] = {}
    for x, y, outcome, reason in zip(
        *(results.touchdowns.column(name).to_pylist() for name in names), strict=True
    ):
        found = (order.index(outcome), reason or "")
        worst[x, y] = max(worst.get((x, y), (0, "")), found)
    dies = [
        MapDie(x, y, None, words[order[worst[x, y][0]]], note=worst[x, y][1])
        if (x, y) in worst
        else MapDie(x, y, None, "not measured")
        for x, y in results.dies.select(["die_x", "die_y"])
        .to_pandas()
        .itertuples(index=False, name=None)
    ]
    failed = sum(place > 0 for place, _ in worst.values())
    return wafer_map(
        address=addresses.touchdown_map(wafer),
        title=f"Contact checks on wafer {wafer}",
        description=f"On {failed} of {len(worst)} dies with touchdowns a contact check failed or is"
        " missing; marked like values outside and not assessable.",
        layout=layout,
        dies=dies,
        form="small",
        name="contact checks",
    )


def _value_dies(rows: pd.DataFrame, every: Sequence[tuple[int, int]]) -> list[MapDie]:
    """The first site's value of each die; dies without one are not measured."""
    first = rows.sort_values("site").drop_duplicates(["die_x", "die_y"])
    names = ("die_x", "die_y", "value", "below_floor", "outcome", "standing")
    by_die = {
        (x, y): MapDie(
            x, y, None if below else value, outcome, standing, "below the floor" if below else ""
        )
        for x, y, value, below, outcome, standing in zip(
            *(first[name].tolist() for name in names), strict=True
        )
    }
    return [by_die.get((x, y), MapDie(x, y, None, "not measured")) for x, y in every]


def verdict_map(
    wafer: str, results: WaferResults, context: CampaignContext, *, linked: bool
) -> Drawing:
    """The verdict of each die; linked, each die leads to its page."""
    layout = context.record.layout
    assert layout is not None  # reading refuses wafers without a layout
    names = ("die_x", "die_y", "outcome", "without_standing", "not_closed", "reason")
    columns = [results.dies.column(name).to_pylist() for name in names]
    dies = [
        MapDie(
            x,
            y,
            None,
            outcome,
            "without standing" if without else "not closed" if open_ else "stands",
            reason,
        )
        for x, y, outcome, without, open_, reason in zip(*columns, strict=True)
    ]
    return wafer_map(
        address=addresses.verdict_map(wafer, "linked" if linked else "small"),
        title=f"Verdicts of the dies on wafer {wafer}",
        description=_conforming(results.summary),
        layout=layout,
        dies=dies,
        form="linked" if linked else "small",
    )


def _conforming(summary: WaferSummary) -> str:
    """What a map of verdicts shows, as a sentence."""
    conforming, judged = summary.conforming, summary.assessable
    if judged == 0:
        return "No die has a judgement of its every value."
    if judged == 1:
        verb = "conforms" if conforming else "does not conform"
        return f"The one die whose every value could be judged {verb}."
    return f"{conforming} of the {judged} dies whose every value could be judged conform."


def parameter_drawings(
    parameter: Parameter, values: pd.DataFrame, context: CampaignContext
) -> Mapping[str, Drawing]:
    """Distribution and comparison of wafers for each condition.

    values: columns wafer, condition, value, floor, below_floor of the parameter's values that count
    and stand. Readings below the floor have no place in a distribution; where wafers are compared
    they are drawn at the floor, so that the quantiles of the others are those of the tables.
    """
    page = addresses.parameter(parameter.id)
    drawn = {}
    for condition in parameter.conditions:
        rows = values[values["condition"] == condition]
        below = rows["below_floor"].to_numpy(dtype=bool)
        about = f"{parameter.name} at {condition}"
        axis = context.ranges[f"{parameter.id}/{condition}"]
        left_out = f" {count(int(below.sum()), 'reading')} below the floor are left out."
        drawn[f"distribution-{condition}"] = distribution(
            address=addresses.drawing(page, f"distribution-{condition}"),
            title=f"Distribution of {about}",
            description="Values with standing of each wafer, on one axis, with the limits."
            + (left_out if below.any() else ""),
            values_by_wafer=_by_wafer(rows[~below], context.wafers),
            unit=parameter.unit,
            name=parameter.name,
            lower=parameter.lower,
            upper=parameter.upper,
            target=parameter.target,
            axis=axis,
        )
        at_floor = rows.assign(value=np.where(below, rows["floor"], rows["value"]))
        drawn[f"by-wafer-{condition}"] = by_wafer(
            address=addresses.drawing(page, f"by-wafer-{condition}"),
            title=f"{about[0].upper()}{about[1:]}, wafer by wafer",
            description="Median, quartiles and 5 to 95 % of the values with standing."
            + (" Readings below the floor are drawn at the floor." if below.any() else ""),
            values_by_wafer=_by_wafer(at_floor, context.wafers),
            unit=parameter.unit,
            name=parameter.name,
            lower=parameter.lower,
            upper=parameter.upper,
            target=parameter.target,
            axis=axis,
        )
    return drawn


def _by_wafer(rows: pd.DataFrame, wafers: Sequence[str]) -> Mapping[str, FloatArray]:
    return {
        wafer: rows.loc[rows["wafer"] == wafer, "value"].to_numpy(dtype=np.float64)
        for wafer in wafers
    }


def station_drawing(record: StationRecord, page: str, name: str) -> Drawing:
    """A station's dated record as a drawing beside `page`."""
    only_wafers = bool(record.spans) and all(span.kind == "wafer" for span in record.spans)
    return evidence_over_time(
        address=addresses.drawing(page, name),
        title=f"{'Wafers' if only_wafers else 'Evidence'} over time, station {record.station}",
        description="When each wafer was measured."
        if only_wafers
        else "Calibrations with their validity, verifications with their verdicts, wafers,"
        " and stretches in which no calibration was in force.",
        record=record,
    )


def value_ranges(
    context_parameters: Sequence[Parameter], values: pd.DataFrame
) -> Mapping[str, AxisRange]:
    """One axis for each parameter and condition: its values' bulk, and its limits.

    values: columns parameter, condition, value of all values that count. The outermost 0.5 % at
    each end do not stretch the axis.
    """
    ranges = {}
    for parameter in context_parameters:
        for condition in parameter.conditions:
            mine = values[
                (values["parameter"] == parameter.id) & (values["condition"] == condition)
            ]["value"].to_numpy(dtype=np.float64)
            ends = [limit for limit in (parameter.lower, parameter.upper) if limit is not None]
            finite = mine[np.isfinite(mine)]
            if finite.size:
                ends += np.quantile(finite, (0.005, 0.995)).tolist()
            ranges[f"{parameter.id}/{condition}"] = (
                snapped_range(min(ends), max(ends)) if ends else snapped_range(0.0, 1.0)
            )
    return ranges


def trace_ranges(extents: Sequence[Mapping[str, tuple[float, float]]]) -> Mapping[str, AxisRange]:
    """One axis for each device and trace, over all wafers."""
    names = sorted({name for one in extents for name in one})
    return {
        name: snapped_range(
            min(one[name][0] for one in extents if name in one),
            max(one[name][1] for one in extents if name in one),
        )
        for name in names
    }
