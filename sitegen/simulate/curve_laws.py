"""Figures of a curve, each by its own estimator's law: of the truth, from points without error.

x, y: points (p,) of one curve by increasing x, all above the floor and without compliance.
"""

from collections.abc import Callable, Mapping

import numpy as np

from sitegen.model.arrays import FloatArray

THERMAL_V_PER_K = 8.617333262e-5
"""k/q (CODATA 2018)."""
ZERO_C_K = 273.15
_LOCAL = 7
_NEAR = 0.9


def crossing(x: FloatArray, y: FloatArray, current_a: float) -> float:
    """First x at which y reaches a current upwards, along a line of ln y; inf where never."""
    reached = np.flatnonzero((y[:-1] < current_a) & (y[1:] >= current_a))
    if not len(reached):
        return np.inf
    i = reached[0]
    low, high = np.log(y[i : i + 2])
    return float(x[i] + (np.log(current_a) - low) / (high - low) * (x[i + 1] - x[i]))


def reading(x: FloatArray, y: FloatArray, at: float) -> float:
    """y at a point of the sweep."""
    return float(y[np.argmin(np.abs(x - at))])


def slope_at(x: FloatArray, y: FloatArray, at: float) -> float:
    """dy/dx at a point of the sweep: of the cubic through the seven points around it."""
    start = int(np.clip(np.argmin(np.abs(x - at)) - _LOCAL // 2, 0, len(x) - _LOCAL))
    near = slice(start, start + _LOCAL)
    return float(np.polyfit(x[near] - at, y[near], 3)[2])


def greatest_slope(x: FloatArray, y: FloatArray) -> float:
    """Greatest dy/dx of the cubic through the points around it.

    Those around the steepest chord over six steps whose own chord has 0.9 of its slope, seven at
    least.
    """
    half = _LOCAL // 2
    chord = np.full(len(x), -np.inf)
    chord[half:-half] = (y[2 * half :] - y[: -2 * half]) / (x[2 * half :] - x[: -2 * half])
    peak = int(np.argmax(chord))
    first = last = peak
    while chord[first - 1] >= _NEAR * chord[peak]:
        first -= 1
    while chord[last + 1] >= _NEAR * chord[peak]:
        last += 1
    near = slice(min(first, peak - half), max(last, peak + half) + 1)
    middle = x[peak]
    fit = np.polynomial.Polynomial(np.polyfit(x[near] - middle, y[near], 3)[::-1]).deriv()
    inside = np.linspace(x[near][0], x[near][-1], 20001) - middle
    return float(fit(inside).max())


def volts_per_log(x: FloatArray, y: FloatArray, low_a: float, high_a: float) -> float:
    """dx / d ln y of the line through ln y over x, between two currents."""
    inside = (y >= low_a) & (y <= high_a)
    return float(1.0 / np.polyfit(x[inside], np.log(y[inside]), 1)[0])


def figure_of(
    taken: Mapping[str, object], x: FloatArray, curves: Mapping[float, FloatArray], celsius: float
) -> float:
    """The figure that a parameter's `from_curve` asks for; curves by their stepped value."""
    number: Callable[[str], float] = lambda key: float(taken[key])  # type: ignore[arg-type]
    y = curves[number("stepped_at")] if "stepped_at" in taken else next(iter(curves.values()))
    match taken["figure"]:
        case "threshold by constant current" | "breakdown voltage":
            return crossing(x, y, number("current_a"))
        case "drain-induced shift":
            (low, first), (high, second) = sorted(curves.items())
            shift = crossing(x, second, number("current_a")) - crossing(
                x, first, number("current_a")
            )
            return -shift / (high - low)
        case "greatest transconductance":
            return greatest_slope(x, y)
        case "transconductance" | "output conductance":
            return slope_at(x, y, number("swept_at"))
        case "current":
            return reading(x, y, number("swept_at"))
        case "subthreshold slope":
            return volts_per_log(x, y, *_window(taken)) * float(np.log(10))
        case "ideality factor":
            return volts_per_log(x, y, *_window(taken)) / (THERMAL_V_PER_K * (ZERO_C_K + celsius))
        case "four-terminal resistance":
            return float(np.polyfit(x, y, 1)[0])
        case _:
            raise ValueError(f"no law for {taken['figure']}")


def _window(taken: Mapping[str, object]) -> tuple[float, float]:
    low, high = taken["current_window_a"]  # type: ignore[misc]  # a list of two numbers
    return float(low), float(high)
