"""Numbers written in another unit than stated: millivolts for volts, kelvin for degrees Celsius.

A cause is named only where most numbers are impossible as they stand and one known factor makes
them possible. The thresholds are common practice, each stated once here.
"""

import math
from dataclasses import dataclass

import numpy as np

from sitegen import units
from sitegen.model.arrays import BoolArray, FloatArray

FEWEST = 3
"""From fewer numbers no unit is inferred: one odd device can be off by any factor."""
MOST = 0.9
"""The share of the numbers that must be impossible as stated, and possible under the other unit;
the rest may be dead devices."""
WIDER = 3.0
"""Where no plausible range is declared: how far beyond both limits a process may be off as a whole
(factor). Off by a factor of 1000 it lies at least 300 times beyond."""
NARROW = 100.0
"""Limits further apart than this factor say too little about the unit: a leakage current may well
be a thousand times too large."""
FACTORS = (1e-3, 1e3, 1e-6, 1e6, 1e-9, 1e9, 1e-12, 1e12)
"""Steps of the SI prefixes, small ones first: the smallest that fits is the likely one."""
KELVIN_C = 273.15
NEAR_SET_POINT_C = 20.0
"""A measured temperature further from its set point was not reached or is in another unit: chucks
hold 1 °C, and cold or hot tests at the wrong set point miss it by more than this."""
LEAST_GIGAHERTZ = 1000.0
"""No sweep on a wafer ends below 1000 Hz, and none goes beyond 1000 GHz by far."""

_PREFIX_WORDS = {
    "f": "femto",
    "p": "pico",
    "n": "nano",
    "µ": "micro",
    "m": "milli",
    "": "",
    "k": "kilo",
    "M": "mega",
    "G": "giga",
    "T": "tera",
}
_UNIT_WORDS = {
    "V": "volts",
    "A": "amperes",
    "Ω": "ohms",
    "S": "siemens",
    "F": "farads",
    "H": "henries",
    "W": "watts",
    "Hz": "hertz",
    "s": "seconds",
    "m": "metres",
}


@dataclass(frozen=True)
class Range:
    """What numbers of a parameter can be; infinite where nothing bounds them."""

    lower: float
    upper: float

    def holds(self, numbers: FloatArray) -> BoolArray:
        """Which numbers lie inside."""
        return np.asarray((numbers >= self.lower) & (numbers <= self.upper))


def possible_range(
    plausible_lower: float | None,
    plausible_upper: float | None,
    lower: float | None,
    upper: float | None,
) -> Range | None:
    """What a parameter's values can be: its plausible range, else its limits made `WIDER`.

    None where neither says enough: no plausible bound, and not both limits of one sign within a
    factor of `NARROW`.
    """
    if plausible_lower is not None or plausible_upper is not None:
        return Range(
            -math.inf if plausible_lower is None else plausible_lower,
            math.inf if plausible_upper is None else plausible_upper,
        )
    return limit_range(lower, upper)


def limit_range(lower: float | None, upper: float | None) -> Range | None:
    """The limits made `WIDER`; None where they are not both there, of one sign and near."""
    if lower is None or upper is None or lower * upper <= 0:
        return None
    ends = sorted((abs(lower), abs(upper)))
    if ends[1] > NARROW * ends[0]:
        return None
    sign = math.copysign(1.0, lower)
    first, second = sorted((sign * ends[0] / WIDER, sign * ends[1] * WIDER))
    return Range(first, second)


def scale_off(
    numbers: FloatArray, possible: Range | None, aim: Range | None, is_share: bool = False
) -> float | None:
    """The factor that makes most numbers possible where most are not; None: no such factor.

    numbers: shape (n,), the missing ones left out before. possible: what they can be. aim: where
    they are expected, such as their limits; None: `possible`. is_share: percent may stand for a
    share, or a share for percent.
    """
    if possible is None or len(numbers) < FEWEST or not np.isfinite(numbers).all():
        return None
    if np.mean(possible.holds(numbers)) > 1.0 - MOST:
        return None
    inside = possible if aim is None else aim
    if not (math.isfinite(inside.lower) and math.isfinite(inside.upper)):
        return None
    factors = (1e-2, 1e2, *FACTORS) if is_share else FACTORS
    for factor in factors:
        changed = numbers * factor
        fits = inside.holds(changed) & possible.holds(changed) & (numbers != 0)
        if np.mean(fits) >= MOST:
            return factor
    return None


def unit_after(stated: str, factor: float) -> str | None:
    """The unit that makes numbers stated in `stated` smaller or larger by `factor`, in words:
    'millivolts (mV)'; None where no known unit does."""
    try:
        parsed = units.parse(stated)
    except units.UnknownUnit:
        return None
    if parsed.quantity == "number":
        size = parsed.factor * factor
        return (
            "percent (%)"
            if math.isclose(size, 0.01)
            else ("shares of one (1)" if math.isclose(size, 1.0) else None)
        )
    base = parsed.symbol
    known = {symbol for symbol, _, prefixed in units.known() if prefixed}
    if base not in known and base[1:] in known:
        base = base[1:]
    elif base not in known:
        return None
    size = parsed.factor * factor
    for prefix, power in units.PREFIXES.items():
        if math.isclose(size, 10.0**power, rel_tol=1e-9):
            words = _UNIT_WORDS.get(base)
            symbol = prefix + base
            return symbol if words is None else f"{_PREFIX_WORDS[prefix]}{words} ({symbol})"
    return None


def temperature_unit(measured: FloatArray, set_point_c: FloatArray) -> str | None:
    """'kelvin (K)' or 'degrees Fahrenheit (°F)' where temperatures look so; None: they do not.

    measured, set_point_c: shape (n,), the missing ones left out before.
    """
    if not len(measured):
        return None
    off = np.abs(measured - set_point_c) > NEAR_SET_POINT_C
    if np.mean(off) < MOST:
        return None
    for told, in_c in (
        ("kelvin (K)", measured - KELVIN_C),
        ("degrees Fahrenheit (°F)", (measured - 32.0) / 1.8),
    ):
        if np.mean(np.abs(in_c - set_point_c) <= NEAR_SET_POINT_C / 2) >= MOST:
            return told
    return None


def frequency_unit(frequency_hz: FloatArray) -> str | None:
    """'gigahertz (GHz)' where no frequency in hertz is as large as 1000; None else."""
    finite = frequency_hz[np.isfinite(frequency_hz)]
    if not len(finite) or not 0 < finite.max() < LEAST_GIGAHERTZ or finite.min() < 0:
        return None
    return "gigahertz (GHz)"


def steps_off(frequency_hz: FloatArray, usual_hz: FloatArray) -> str:
    """'1000 times too small' where a list of frequencies is another one times a step of a prefix;
    empty else. Both lists have at least one frequency."""
    if len(frequency_hz) != len(usual_hz) or not usual_hz[-1] > 0 or not frequency_hz[-1] > 0:
        return ""
    for steps in (1e3, 1e6, 1e9):
        if np.allclose(frequency_hz * steps, usual_hz, rtol=1e-6, atol=0.0):
            return f"{steps:.0f} times too small"
        if np.allclose(frequency_hz / steps, usual_hz, rtol=1e-6, atol=0.0):
            return f"{steps:.0f} times too large"
    return ""
