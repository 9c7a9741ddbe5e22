"""Figures of a curve, each by its own estimator's law: of the truth, from points without error.

x, y: points (p,) of one curve by increasing x, all above the floor and without compliance.
"""

from collections.abc import Mapping

import numpy as np
from scipy import stats

from sitegen.model.arrays import FloatArray

THERMAL_V_PER_K = 8.617333262e-5
"""k/q (CODATA 2018)."""
ZERO_C_K = 273.15
_NOTHING_A = 1e-29
"""A reading no larger is one below the floor."""
_LOCAL = 7
_NEAR = 0.8
_DEGREE, _DEGREE_OF_FEW, _FEW = 6, 4, 9


def crossing(x: FloatArray, y: FloatArray, current_a: float) -> float:
    """First x at which y reaches a current upwards; inf where never.

    Along the cubic of x over ln y through the four points around, or the line through two where
    these do not rise throughout.
    """
    reached = np.flatnonzero((y[:-1] < current_a) & (y[1:] >= current_a))
    if not len(reached):
        return np.inf
    i = int(reached[0])
    known = np.flatnonzero(y > _NOTHING_A)
    at = int(np.searchsorted(known, i))
    start = int(np.clip(at - 1, 0, max(len(known) - 4, 0)))
    four = known[start : start + 4]
    if len(four) < 4 or np.any(np.diff(y[four]) <= 0):
        four = np.array([i, i + 1])
    level, nodes = np.log(current_a), np.log(y[four])
    weights = [
        np.prod([(level - other) / (node - other) for other in nodes if other != node])
        for node in nodes
    ]
    return float(np.dot(weights, x[four]))


def reading(x: FloatArray, y: FloatArray, at: float) -> float:
    """y at a point of the sweep."""
    return float(y[np.argmin(np.abs(x - at))])


def slope_at(x: FloatArray, y: FloatArray, at: float) -> float:
    """dy/dx at a point of the sweep: of the cubic through the seven points around it."""
    start = int(np.clip(np.argmin(np.abs(x - at)) - _LOCAL // 2, 0, len(x) - _LOCAL))
    near = slice(start, start + _LOCAL)
    return float(np.polyfit(x[near] - at, y[near], 3)[2])


def greatest_slope(x: FloatArray, y: FloatArray) -> float:
    """Greatest dy/dx of the polynomial of degree 6 through the points around it.

    Those around the steepest chord over six steps whose own chord has 0.8 of its slope, seven at
    least; with fewer than nine the degree is 4.
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
    return _greatest_of_polynomial(x[near] - x[peak], y[near])


def _greatest_of_polynomial(x: FloatArray, y: FloatArray) -> float:
    """Greatest slope of the polynomial through points, where it is known best.

    That is at the place of 101 whose slope less its standard uncertainty (of the points' scatter
    about the polynomial, widened by Student's t for few points) is greatest; from there one step
    of Newton's method where it is no longer than a hundredth of the points' range.
    """
    degree = _DEGREE_OF_FEW if len(x) < _FEW else _DEGREE
    coefficients, unscaled = np.polyfit(x, y, degree, cov="unscaled")
    freedom = len(x) - degree - 1
    left = y - np.polyval(coefficients, x)
    widened = stats.t.ppf(0.975, freedom) / stats.norm.ppf(0.975)
    s = widened * np.sqrt(np.sum(left**2) / freedom)
    first, second, third = (np.polyder(coefficients, order) for order in (1, 2, 3))
    at = np.linspace(x[0], x[-1], 101)
    powers = np.arange(degree, 0, -1)
    row = np.zeros((len(at), degree + 1))
    row[:, :-1] = powers * at[:, None] ** (powers - 1)
    u = s * np.sqrt(np.einsum("ni,ij,nj->n", row, unscaled, row))
    best = int(np.argmax(np.polyval(first, at) - u))
    place = at[best]
    step = -np.polyval(second, place) / np.polyval(third, place)
    if 0 < best < len(at) - 1 and abs(step) <= (x[-1] - x[0]) / 100:
        place += step
    return float(np.polyval(first, place))


def volts_per_log(x: FloatArray, y: FloatArray, low_a: float, high_a: float) -> float:
    """dx / d ln y of the line through ln y over x, between two currents."""
    inside = (y >= low_a) & (y <= high_a)
    return float(1.0 / np.polyfit(x[inside], np.log(y[inside]), 1)[0])


def figure_of(
    taken: Mapping[str, object], x: FloatArray, curves: Mapping[float, FloatArray], celsius: float
) -> float:
    """The figure that a parameter's `from_curve` asks for; curves by their stepped value."""

    def number(key: str) -> float:
        return float(taken[key])  # type: ignore[arg-type]

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
    window = taken["current_window_a"]
    assert isinstance(window, list)
    return float(window[0]), float(window[1])
