"""Corrected sweeps against references that took no part in the calibration.

Guarded acceptance (JCGM 106:2012, 8.3.2): a deviation is accepted where it and its guard band
w = r k u together do not exceed the limit, refused where it exceeds the limit by itself, and not
proven between. Guarded rejection (8.3.3): accepted where it does not exceed the limit by itself,
refused where it exceeds the limit by more than its guard band, and neither between; a non-binary
rule has both guard bands. What is neither accepted nor refused has one word here, "not proven":
nothing is closed and nothing lost by it. Levels and phases take their guard bands from the linear
magnitude, so that no symmetric interval in dB is ever laid around a small value.
"""

from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from sitegen.compute.rf.agreement import largest_u, u_along
from sitegen.compute.rf.definitions import (
    Load,
    Open,
    ReflectStandard,
    Short,
    Thru,
    reflection,
    transmission,
)
from sitegen.compute.rf.differences import Uncertainty
from sitegen.compute.rf.interpolation import interpolate
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

Values = TypeVar("Values", ComplexArray, FloatArray)
Quantity = Literal["complex deviation", "magnitude db", "phase deg"]
Verdict = Literal["passed", "failed", "not proven", "not assessable"]

LARGEST_RELATIVE_U = 0.3
"""Beyond this share of |S| a standard uncertainty in dB or degrees is not stated: the interval
would not be symmetric, and only its guard band, from the linear magnitude, has a meaning."""


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
    """"failed" when a judged point exceeds the limit, under guarded rejection by more than its
    guard band; else "not assessable" when a judged point is NaN or there is none; else "not
    proven" when one exceeds it with or, under guarded rejection, by less than its guard band;
    else "passed"."""
    worst_ratio: float
    """Largest (|deviation| + guard band)/limit of the judged points that are numbers; at most 1
    passes. When it failed, of the points that are refused."""
    worst_margin: float
    """Limit minus |deviation| and guard band at that point; negative is outside."""
    worst_at_hz: float
    n_judged: int
    """Points inside the mask."""
    n_outside_mask: int
    """Points that the mask says nothing about, not judged."""
    n_not_determined: int
    """Judged points whose deviation is NaN."""
    n_without_end: int
    """Judged points whose guard band has no end: a level that is not told from nothing."""
    n_not_refuted: int
    """Judged points beyond the limit by no more than their guard band."""
    deviation: FloatArray
    """(n_freq,) |deviation| to draw."""
    limit: FloatArray
    """(n_freq,) the mask at the sweep's frequencies, NaN outside it."""
    guard: FloatArray | None
    """(n_freq,) guard band w that acceptance adds, in the mask's quantity; None where the rule adds
    none."""

    @property
    def passed(self) -> bool:
        return self.verdict == "passed"


def judge(
    found: Deviation,
    frequency_hz: FloatArray,
    mask: Mask,
    guard: FloatArray | None = None,
    rejection: FloatArray | None = None,
) -> Judgement:
    """Judge one S-parameter's deviation, |deviation| + guard <= limit at each point of the mask.

    Args:
        found: of one sweep, (n_freq,) or (n_freq, 2, 2).
        frequency_hz: (n_freq,).
        mask: ports count from 1.
        guard: (n_freq,), from `guard_band`; None where the rule accepts without one.
        rejection: (n_freq,), from `rejection_band`; None where the rule refuses without one.
    """
    size = np.abs(_selected(found, mask))
    reach = size if guard is None else size + guard
    points_hz, limits = np.array(mask.frequency_hz), np.array(mask.limit)
    limit = np.interp(frequency_hz, points_hz, limits, left=np.nan, right=np.nan)
    judged = np.isfinite(limit)
    over: BoolArray = judged & (size > limit)
    least = size if rejection is None else size - rejection
    known: BoolArray = judged & ~np.isnan(reach) & ~(over & np.isnan(least))
    beyond: BoolArray = over & (least > limit)
    n_judged, n_known = int(judged.sum()), int(known.sum())
    if beyond.any():
        verdict: Verdict = "failed"
    elif n_known == 0 or n_known < n_judged:
        verdict = "not assessable"
    elif (reach[judged] > limit[judged]).any():
        verdict = "not proven"
    else:
        verdict = "passed"
    worst = _worst(reach / limit, known & beyond if (known & beyond).any() else known)
    nan = float("nan")
    return Judgement(
        verdict=verdict,
        worst_ratio=nan if worst is None else float(reach[worst] / limit[worst]),
        worst_margin=nan if worst is None else float(limit[worst] - reach[worst]),
        worst_at_hz=nan if worst is None else float(frequency_hz[worst]),
        n_judged=n_judged,
        n_outside_mask=len(frequency_hz) - n_judged,
        n_not_determined=n_judged - n_known,
        n_without_end=int((judged & np.isinf(reach)).sum()),
        n_not_refuted=int((known & over & ~beyond).sum()),
        deviation=size,
        limit=limit,
        guard=guard,
    )


def deviation_u(found: Deviation, uncertainty: Uncertainty, mask: Mask) -> FloatArray:
    """Standard uncertainty of one S-parameter's deviation in the mask's quantity, (n_freq,).

    Of a complex deviation it is that along its own direction, or the largest of any direction
    where the deviation is smaller than that, and has no direction that could be relied on. Levels
    and phases follow to first order, u(dB) = 20/ln(10) u(|S|)/|S|, and are NaN beyond
    `LARGEST_RELATIVE_U`.
    """
    if mask.quantity == "complex deviation":
        return _u_of_complex(_at(found.complex, mask), _at(uncertainty.absolute, mask))
    share = _relative_u(uncertainty, mask)
    factor = 20.0 / np.log(10.0) if mask.quantity == "magnitude db" else 180.0 / np.pi
    return np.where(share <= LARGEST_RELATIVE_U, factor * share, np.nan)


def guard_band(found: Deviation, uncertainty: Uncertainty, mask: Mask, factor: float) -> FloatArray:
    """What guarded acceptance adds to one S-parameter's |deviation|, (n_freq,).

    A complex deviation reaches as far as its region goes in the direction in which it goes
    farthest, the largest e'd + factor sqrt(e' V e) of any unit vector e: what truly lies on the
    limit is then accepted with a probability of at most Phi(-factor), whatever the region's shape.

    With w = factor times the relative standard uncertainty, a level lies between 20 lg(1 - w) and
    20 lg(1 + w) about its value and a phase within arcsin(w): without end, and half a turn, where
    w reaches 1 and the S-parameter is not told from nothing.

    Args:
        factor: r k of the guard band r k u.
    """
    if mask.quantity == "complex deviation":
        return _reach(_at(found.complex, mask), _at(uncertainty.absolute, mask), factor)
    share: FloatArray = np.asarray(factor * _relative_u(uncertainty, mask))
    if mask.quantity == "phase deg":
        half_turn = np.where(np.isnan(share), np.nan, 180.0)
        return np.where(share < 1, np.degrees(np.arcsin(np.minimum(share, 1.0))), half_turn)
    at = _at(found.magnitude_db, mask)
    up, down = _level_ends(share)
    return np.asarray(np.maximum(np.abs(at + up), np.abs(at - down)) - np.abs(at))


def rejection_band(
    found: Deviation, uncertainty: Uncertainty, mask: Mask, factor: float
) -> FloatArray:
    """By how much a deviation must exceed a mask before guarded rejection refuses it, (n_freq,).

    Of a complex deviation and of a phase it is the guard band of acceptance. A level's is what its
    interval reaches back towards zero: down by -20 lg(1 - w) where it is too high, up by
    20 lg(1 + w) where it is too low, so that a level that is not told from nothing can still be
    refused as too low.

    Where the mask is not large against u, a complex deviation that truly lies on it is refused
    more often than Phi(-factor), since errors along the mask's circle lengthen it too: for
    factor 2 in 3.4 % of cases where the mask is 2 u, 2.8 % at 5 u, 2.3 % without end.
    """
    if mask.quantity != "magnitude db":
        return guard_band(found, uncertainty, mask, factor)
    at = _at(found.magnitude_db, mask)
    up, down = _level_ends(np.asarray(factor * _relative_u(uncertainty, mask)))
    return np.where(at > 0, down, up)


def _level_ends(share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far a level reaches up and down, in dB; down without end where its share reaches 1."""
    with np.errstate(divide="ignore"):
        up = 20.0 * np.log10(1.0 + share)
        down = -20.0 * np.log10(np.maximum(1.0 - share, 0.0))
    return np.asarray(up), np.asarray(down)


def _u_of_complex(difference: ComplexArray, covariance: FloatArray) -> FloatArray:
    size, largest = np.abs(difference), largest_u(covariance)
    direction = difference / np.where(size > 0, size, 1.0)
    return np.where(size > largest, u_along(covariance, direction), largest)


def _reach(difference: ComplexArray, covariance: FloatArray, factor: float) -> FloatArray:
    """How much farther than the difference its region goes, over directions in steps of 2 degrees
    about its own."""
    size = np.abs(difference)[:, np.newaxis]
    turns = np.exp(1j * np.radians(np.arange(-90.0, 91.0, 2.0)))
    own = np.where(size > 0, difference[:, np.newaxis] / np.where(size > 0, size, 1.0), 1.0)
    along = u_along(covariance[:, np.newaxis], own * turns)
    farthest = np.max(size * turns.real + factor * along, axis=1)
    return np.asarray(farthest - size[:, 0])


def _relative_u(uncertainty: Uncertainty, mask: Mask) -> FloatArray:
    """Of the magnitude as a share of it, or of the phase in radians."""
    place = 0 if mask.quantity == "magnitude db" else 1
    return np.asarray(np.sqrt(_at(uncertainty.relative, mask)[..., place]))


def _worst(ratio: FloatArray, among: BoolArray) -> int | None:
    """Place of the largest ratio; without end only where all are."""
    if not among.any():
        return None
    ended = among & np.isfinite(ratio)
    return int(np.argmax(np.where(ended if ended.any() else among, ratio, -np.inf)))


def _selected(found: Deviation, mask: Mask) -> ComplexArray | FloatArray:
    match mask.quantity:
        case "complex deviation":
            return _at(found.complex, mask)
        case "magnitude db":
            return _at(found.magnitude_db, mask)
        case "phase deg":
            return _at(found.phase_deg, mask)


def _at(values: Values, mask: Mask) -> Values:
    """The mask's S-parameter of what has (n_freq,) or (n_freq, 2, 2), and maybe (..., 3) after."""
    if values.ndim >= 3:
        return values[:, mask.to_port - 1, mask.from_port - 1]
    return values
