"""What a calibration solved, how it compares, and its uncertainty, over frequency."""

from collections.abc import Mapping, Sequence

import numpy as np

from sitegen.chart.axis import Axis
from sitegen.chart.over_frequency import Band, Line, linear_axis, log_axis, over_frequency, scale_of
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import OWN_GROUPS, Budget, Comparison, Curve, SourceGroup
from sitegen.model.results import Drawing
from sitegen.units import MINUS, axis_title

COVERAGE_FACTOR = 2.0
"""Of the bands in curves; each drawing says so."""
WIDER_BY = 4.0
"""A bound that would stretch the axis more than this is told in words instead."""
LOGARITHMIC_FROM = 300.0
"""A ratio whose greatest value is so many times its least has a logarithmic axis."""

BUDGET_LINES: Mapping[SourceGroup, tuple[str, tuple[int, ...]]] = {
    "definitions": ("accent", (1, 0)),
    "fitted load": ("accent", (6, 3)),
    "line impedance": ("accent", (2, 2)),
    "drift": ("accent", (8, 2, 2, 2)),
    "contact repeatability": ("second", (1, 0)),
    "noise": ("second", (2, 2)),
    "linearity": ("second", (6, 3)),
    "cable": ("second", (8, 2, 2, 2)),
    "contact of the touchdown": ("muted", (1, 0)),
    "noise of the sweep": ("muted", (2, 2)),
    "linearity of the sweep": ("muted", (6, 3)),
    "cable during the sweep": ("muted", (8, 2, 2, 2)),
}
"""Part of the palette and dash of each group: the same in every budget."""


def solved_quantity(
    *,
    address: str,
    title: str,
    description: str,
    frequency_hz: FloatArray,
    curve: Curve,
    ratio: bool = False,
) -> Drawing:
    """A solved quantity with its band, its bounds and what it should be.

    Hatched where it is not determined. A bound far outside the values is told in the key and
    does not flatten them. `ratio`: one that may reach over decades, whose axis is then logarithmic.
    """
    values = np.asarray(curve.values, dtype=float)
    shown = values if np.isfinite(values).any() else _against(curve)
    factor, symbol = scale_of(shown, curve.unit)
    lines = [Line("found", factor * values, "accent")]
    if curve.expected is not None:
        lines.append(Line("expected", factor * curve.expected, "second", (6, 3), 1.5))
    band = None
    if curve.u is not None and np.isfinite(curve.u).any():
        half = COVERAGE_FACTOR * factor * curve.u
        band = Band("± U (k = 2)", factor * values - half, factor * values + half)
    drawn = [line.values for line in lines]
    if band is not None:
        drawn += [_bulk(band.lower), _bulk(band.upper)]
    bounds, told = _bounds(curve, factor, drawn)
    drawn += [line.values for line in bounds]
    return over_frequency(
        address=address,
        title=title,
        description=description,
        frequency_hz=frequency_hz,
        lines=[*lines, *bounds],
        band=band,
        y=_axis(drawn) if ratio else linear_axis(drawn, ""),
        names="key",
        undetermined=~np.isfinite(values),
        heading=_heading(curve.name, symbol),
        told=told,
    )


def _against(curve: Curve) -> FloatArray:
    """All that a quantity is held against, to choose its unit by where it has no value."""
    held = (curve.expected, curve.lower, curve.upper)
    return np.concatenate([np.zeros(1), *(np.ravel(one) for one in held if one is not None)])


def _heading(name: str, symbol: str) -> str:
    return axis_title(f"{name[:1].upper()}{name[1:]}", symbol)


def _axis(drawn: Sequence[FloatArray]) -> Axis:
    known = np.concatenate([one[np.isfinite(one)] for one in drawn])
    if known.size and known.min() > 0 and known.max() > LOGARITHMIC_FROM * known.min():
        return log_axis(drawn, "", decades=6)
    return linear_axis(drawn, "")


def _bulk(values: FloatArray) -> FloatArray:
    """A band's edge without the twentieth at each end that would flatten the rest."""
    known = values[np.isfinite(values)]
    return np.quantile(known, (0.05, 0.95)) if known.size else known


def _bounds(curve: Curve, factor: float, drawn: Sequence[FloatArray]) -> tuple[list[Line], str]:
    """The bounds as lines, and in words those too far away to be drawn."""
    known = np.concatenate([np.ravel(one)[np.isfinite(np.ravel(one))] for one in drawn])
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    reach = WIDER_BY * max(high - low, 1e-3 * max(abs(low), abs(high)))
    near: list[tuple[str, FloatArray]] = []
    far: list[str] = []
    for sign, bound in (("≥", curve.lower), ("≤", curve.upper)):
        if bound is None or not np.isfinite(bound).any():
            continue
        level = factor * np.asarray(bound, dtype=float)
        least, greatest = float(np.nanmin(level)), float(np.nanmax(level))
        text = f"{sign} {_short(least)}" if least == greatest else f"{sign} the line"
        if greatest < low - reach or least > high + reach:
            far.append(text)
        else:
            near.append((text, level))
    name = f"allowed {' and '.join(text for text, _ in near)}"
    lines = [
        Line(name if place == 0 else "", level, "ink", (1, 0), 1.0)
        for place, (_, level) in enumerate(near)
    ]
    return lines, f"allowed {' and '.join(far)}, off the axis" if far else ""


def _short(value: float) -> str:
    return f"{value:.4g}".replace("-", MINUS)


def compared(
    *, address: str, title: str, description: str, frequency_hz: FloatArray, comparison: Comparison
) -> Drawing:
    """The comparison bound with the repeatable level, the drift that remains, and the limit.

    Without a bound (they could not be compared) there is nothing to draw: the caller leaves it out.
    """
    bound = _there(comparison.bound, frequency_hz)
    factor, symbol = scale_of(bound, "1")
    lines = [Line("bound", factor * bound, "accent")]
    if comparison.repeatable is not None:
        level = factor * comparison.repeatable
        lines.append(Line("made back to back (95 %)", level, "second", (6, 3), 1.5))
    if comparison.drift is not None:
        lines.append(Line("drift", factor * comparison.drift, "accent", (2, 2)))
    if comparison.limit is not None:
        level = np.full(bound.shape, factor * comparison.limit)
        name = f"allowed {_short(factor * comparison.limit)}"
        lines.append(Line(name, level, "ink", (1, 0), 1.0))
    return over_frequency(
        address=address,
        title=title,
        description=description,
        frequency_hz=frequency_hz,
        lines=lines,
        y=linear_axis([np.zeros(1), *(line.values for line in lines)], ""),
        names="key",
        undetermined=~np.isfinite(bound),
        heading=axis_title("Greatest |ΔS| of a passive device", symbol),
    )


def _there(values: FloatArray | None, frequency_hz: FloatArray) -> FloatArray:
    """The values, nothing finite where there are none; infinity has no place in a drawing."""
    if values is None:
        return np.full(np.shape(frequency_hz), np.nan)
    return np.where(np.isfinite(values), values, np.nan)


def budget(
    *, address: str, title: str, description: str, frequency_hz: FloatArray, budget: Budget
) -> Drawing:
    """Standard uncertainty by group as lines over a logarithmic axis, with all of them combined.

    Lines, not a stack: uncertainties add in quadrature, and areas on top of each other would
    show a sum that is not the combined uncertainty.
    """
    factor = 1e3
    lines = [Line("combined", factor * budget.u, "ink", (1, 0), 2.5)]
    for one in budget.lines:
        if not one.name:
            part, dash = BUDGET_LINES[one.group]
            width = 1.0 if one.group in OWN_GROUPS else 1.75
            lines.append(Line(one.group, factor * one.u, part, dash, width))
    return over_frequency(
        address=address,
        title=title,
        description=description,
        frequency_hz=frequency_hz,
        lines=lines,
        y=log_axis([line.values for line in lines], "u / 10⁻³", decades=2),
        names="long ends",
        undetermined=~np.isfinite(budget.u),
        heading=f"{budget.parameter.upper()}, {budget.device}",
    )
