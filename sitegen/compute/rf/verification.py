"""Corrected sweeps against references that took no part in the calibration."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.rf.definitions import (
    Load,
    Open,
    ReflectStandard,
    Short,
    Thru,
    reflection,
    transmission,
)
from sitegen.compute.rf.interpolation import interpolate
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

Quantity = Literal["complex deviation", "magnitude db", "phase deg"]
Verdict = Literal["passed", "failed", "not assessable"]


@dataclass(frozen=True)
class Attenuator:
    """A matched, reciprocal attenuator behind a line of the given one-way delay."""

    attenuation_db: float
    delay_s: float = 0.0


@dataclass(frozen=True, eq=False)
class ReferenceData:
    """A reference measured elsewhere: (n,), and (n,) or (n, 2, 2) complex."""

    frequency_hz: FloatArray
    s: ComplexArray


Reference = Thru | Attenuator | ReflectStandard | ReferenceData
"""A line is a `Thru` with its delay, impedance and loss."""


def reference_s(
    reference: Reference, frequency_hz: FloatArray, z_ref_ohm: float, n_ports: int
) -> ComplexArray:
    """S-parameters of a reference on given frequencies.

    A load, open or short on two ports stands at both and lets nothing through. Reference
    data are interpolated between their points and NaN outside them.

    Returns:
        (n_freq,) for one port, (n_freq, 2, 2) for two.

    Raises:
        ValueError: a two-port reference for a one-port sweep, or data of another shape.
    """
    match reference:
        case Short() | Open() | Load():
            gamma = reflection(reference, frequency_hz, z_ref_ohm)
            return gamma if n_ports == 1 else gamma[:, np.newaxis, np.newaxis] * np.eye(2)
        case ReferenceData():
            ports = () if n_ports == 1 else (2, 2)
            if reference.s.shape != (len(reference.frequency_hz), *ports):
                raise ValueError(f"reference data of shape {reference.s.shape} do not fit")
            by_frequency = np.moveaxis(reference.s, 0, -1)
            return np.moveaxis(
                interpolate(by_frequency, reference.frequency_hz, frequency_hz), -1, 0
            )
    if n_ports != 2:
        raise ValueError("a line or attenuator is a reference for two ports")
    if isinstance(reference, Thru):
        return transmission(reference, frequency_hz, z_ref_ohm)
    through: ComplexArray = 10.0 ** (-reference.attenuation_db / 20.0) * np.exp(
        -2j * np.pi * frequency_hz * reference.delay_s
    )
    return through[:, np.newaxis, np.newaxis] * (1.0 - np.eye(2))


@dataclass(frozen=True, eq=False)
class Deviation:
    """Corrected minus reference, three ways, each of the sweep's shape."""

    complex: ComplexArray
    magnitude_db: FloatArray
    """20 log10 |corrected| - 20 log10 |reference|; NaN where either is zero."""
    phase_deg: FloatArray
    """Phase of corrected/reference, -180 to 180; NaN where either is zero."""


def deviation(corrected: ComplexArray, reference: ComplexArray) -> Deviation:
    """The error of a corrected sweep: measured value minus reference value."""
    both = (np.abs(corrected) > 0) & (np.abs(reference) > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(both, corrected / reference, complex(np.nan, np.nan))
        magnitude_db = 20.0 * np.log10(np.abs(ratio))
    return Deviation(corrected - reference, magnitude_db, np.degrees(np.angle(ratio)))


@dataclass(frozen=True)
class Mask:
    """A tolerance over frequency for one S-parameter.

    The limit is a straight line between points and says nothing outside them.
    """

    to_port: int
    from_port: int
    quantity: Quantity
    frequency_hz: tuple[float, ...]
    limit: tuple[float, ...]
    """Largest |deviation| allowed: linear, dB or degrees as `quantity` says; above zero."""

    def __post_init__(self) -> None:
        if len(self.frequency_hz) != len(self.limit) or not self.limit:
            raise ValueError("a mask has one limit for each of its frequencies")
        if not all(limit > 0 for limit in self.limit):
            raise ValueError("a mask's limits are above zero")
        if any(b <= a for a, b in zip(self.frequency_hz, self.frequency_hz[1:], strict=False)):
            raise ValueError("a mask's frequencies increase")


@dataclass(frozen=True, eq=False)
class Judgement:
    """A deviation against its mask."""

    verdict: Verdict
    """"failed" when a judged point exceeds the limit; else "not assessable" when a judged
    point is NaN or there is none; else "passed"."""
    worst_ratio: float
    """Largest |deviation|/limit of the judged points that are numbers; at most 1 passes."""
    worst_margin: float
    """Limit minus |deviation| at that point, in the quantity's unit; negative is outside."""
    worst_at_hz: float
    n_judged: int
    """Points inside the mask."""
    n_outside_mask: int
    """Points that the mask says nothing about, not judged."""
    n_not_determined: int
    """Judged points whose deviation is NaN."""
    deviation: FloatArray
    """(n_freq,) |deviation| to draw."""
    limit: FloatArray
    """(n_freq,) the mask at the sweep's frequencies, NaN outside it."""

    @property
    def passed(self) -> bool:
        return self.verdict == "passed"


def judge(found: Deviation, frequency_hz: FloatArray, mask: Mask) -> Judgement:
    """Judge one S-parameter's deviation, |deviation| <= limit at each point of the mask.

    Args:
        found: of one sweep, (n_freq,) or (n_freq, 2, 2).
        frequency_hz: (n_freq,).
        mask: ports count from 1.
    """
    size = _selected(found, mask)
    points_hz, limits = np.array(mask.frequency_hz), np.array(mask.limit)
    limit = np.interp(frequency_hz, points_hz, limits, left=np.nan, right=np.nan)
    judged = np.isfinite(limit)
    ratio = size / limit
    known: BoolArray = judged & ~np.isnan(ratio)
    n_judged, n_known = int(judged.sum()), int(known.sum())
    worst = int(np.argmax(np.where(known, ratio, -np.inf))) if n_known else None
    if worst is not None and size[worst] > limit[worst]:
        verdict: Verdict = "failed"
    elif worst is None or n_known < n_judged:
        verdict = "not assessable"
    else:
        verdict = "passed"
    nan = float("nan")
    return Judgement(
        verdict=verdict,
        worst_ratio=nan if worst is None else float(ratio[worst]),
        worst_margin=nan if worst is None else float(limit[worst] - size[worst]),
        worst_at_hz=nan if worst is None else float(frequency_hz[worst]),
        n_judged=n_judged,
        n_outside_mask=len(frequency_hz) - n_judged,
        n_not_determined=n_judged - n_known,
        deviation=size,
        limit=limit,
    )


def _selected(found: Deviation, mask: Mask) -> FloatArray:
    values: ComplexArray | FloatArray
    match mask.quantity:
        case "complex deviation":
            values = found.complex
        case "magnitude db":
            values = found.magnitude_db
        case "phase deg":
            values = found.phase_deg
    if values.ndim == 3:
        values = values[:, mask.to_port - 1, mask.from_port - 1]
    return np.abs(values)
