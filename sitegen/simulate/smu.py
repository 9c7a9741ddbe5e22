"""The source-measure unit: its ranges, what they can be off by, and their open-circuit readings."""

from dataclasses import dataclass
from datetime import date
from functools import cache

import numpy as np

from sitegen.model.arrays import FloatArray

SMU = "SMU-A"
LARGE, NANO, PICO = ("100 mA", "coaxial"), ("100 nA", "triaxial"), ("100 pA", "triaxial")
MICRO, FULL = ("100 µA", "triaxial"), ("100 mA", "triaxial")
OPEN_SPREAD_A: dict[tuple[str, str], float] = {
    LARGE: 1.0e-6,
    NANO: 2.0e-12,
    PICO: 2.0e-14,
    MICRO: 1.0e-10,
    FULL: 5.0e-8,
}
"""Standard deviation of a reading with the circuit open, by range and path."""
_OPEN_READINGS = 20
_OPEN_SEED = 33
FLOOR_MULTIPLE = 3.0


@dataclass(frozen=True)
class RangeAccuracy:
    """Standard uncertainties of a range's readings, common to all of them."""

    quantity: str
    range: str
    relative: float
    offset: float
    """In A or V."""


ACCURACIES: tuple[RangeAccuracy, ...] = (
    RangeAccuracy("current", "100 pA", 2e-2, 4e-15),
    RangeAccuracy("current", "100 nA", 3e-3, 5e-13),
    RangeAccuracy("current", "100 µA", 5e-4, 3e-11),
    RangeAccuracy("current", "100 mA", 5e-4, 2e-8),
    RangeAccuracy("current", "1 mA", 2e-4, 1e-8),
    RangeAccuracy("voltage", "1 V", 2e-4, 2e-6),
    RangeAccuracy("voltage", "10 V", 2e-4, 5e-4),
    RangeAccuracy("voltage", "20 V", 2e-4, 1e-3),
    RangeAccuracy("voltage", "200 V", 5e-4, 2e-2),
)
_BY_RANGE = {(one.quantity, one.range): one for one in ACCURACIES}


@cache
def open_readings_a(place: tuple[str, str]) -> tuple[float, ...]:
    """Twenty readings with the probes lifted, in amperes; always the same ones."""
    rng = np.random.default_rng([_OPEN_SEED, list(OPEN_SPREAD_A).index(place)])
    spread = OPEN_SPREAD_A[place]
    readings = spread * (0.1 + rng.standard_normal(_OPEN_READINGS))
    return tuple(float(f"{one:.3g}") for one in readings)


def floor_a(place: tuple[str, str]) -> float:
    """Size of their mean plus three times their standard deviation."""
    readings = np.array(open_readings_a(place))
    return float(abs(readings.mean()) + FLOOR_MULTIPLE * readings.std(ddof=1))


def accuracy(quantity: str, name: str) -> RangeAccuracy:
    """What a range is declared to be off by."""
    return _BY_RANGE[quantity, name]


def shown(seed: int, quantity: str, name: str, true: FloatArray) -> FloatArray:
    """What a range shows of true readings: one draw of its accuracy for the whole campaign."""
    declared = _BY_RANGE[quantity, name]
    rng = np.random.default_rng([seed, 25, ACCURACIES.index(declared)])
    share, offset = rng.standard_normal(2)
    return np.asarray(true * (1.0 + share * declared.relative) + offset * declared.offset)


def records(measured_on: date) -> dict[str, object]:
    """Floors and accuracies as the station's record has them."""
    return {
        "floors": [
            {
                "instrument": SMU,
                "range": measuring_range,
                "path": path,
                "open_readings_a": list(open_readings_a((measuring_range, path))),
                "multiple": FLOOR_MULTIPLE,
                "measured_on": measured_on,
                "basis": "20 readings with the probes lifted",
            }
            for measuring_range, path in OPEN_SPREAD_A
        ],
        "accuracies": [
            {
                "instrument": SMU,
                "quantity": one.quantity,
                "range": one.range,
                "relative_u": one.relative,
                "offset_u": one.offset,
                "basis": "certificate SIM-S-0233",
            }
            for one in ACCURACIES
        ],
    }
