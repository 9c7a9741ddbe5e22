"""The difference of two sweeps of one thing, and what each source of uncertainty does to it.

What both sweeps share leaves their difference: a source that moves both alike is kept once, with
the difference of its two deviations. From the sources come the covariance of the difference,
from which masks and normalised deviations are judged, and its share that is the same at every
frequency, which a rule for a whole sweep must know.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.rf.propagation import Deviation, Kind, part_covariance
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SourceGroup

OverFrequency = Literal["the same", "anew", "not known"]
"""How a source goes on from one frequency to the next: one draw for a sweep, one for each point,
or not declared."""

ANEW: tuple[SourceGroup, ...] = ("noise", "noise of the sweep")
"""Groups whose errors are independent from one frequency to the next."""


@dataclass(frozen=True, eq=False)
class Part:
    """One source at one standard uncertainty; both arrays of the sweeps' shape."""

    kind: Kind
    over_frequency: OverFrequency
    absolute: ComplexArray
    """What it does to `one - other`."""
    relative: ComplexArray
    """What it does to ln(one/other): its real part to the magnitude, its imaginary to the phase."""


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """Covariances of a difference, (..., 3): variances of the parts and their covariance."""

    absolute: FloatArray
    """Of one - other."""
    relative: FloatArray
    """Of ln(one/other), magnitude and phase in place of real and imaginary part."""


def parts_against_reference(
    sweep: ComplexArray,
    reference: ComplexArray,
    deviations: Iterable[Deviation],
    reference_u: float,
    shared: Sequence[SourceGroup],
) -> tuple[Part, ...]:
    """Parts of `sweep - reference`.

    Args:
        sweep: corrected, (n_freq, n_port, n_port); the reference likewise.
        deviations: of the sweep, by source.
        reference_u: standard uncertainty of each part of the reference, without what it shares.
        shared: groups whose errors the reference has as well; they are left out.
    """
    found = [
        Part(one.kind, _over_frequency(one), one.values, _ratio(one.values, sweep))
        for one in deviations
        if one.group not in shared
    ]
    if reference_u > 0:
        own: ComplexArray = np.full(reference.shape, complex(reference_u))
        found += [
            Part("circular", "not known", each, _ratio(each, reference))
            for each in _each_parameter(own)
        ]
    return tuple(found)


def parts_between(
    one: tuple[ComplexArray, Sequence[Deviation]],
    other: tuple[ComplexArray, Sequence[Deviation]],
    shared: Sequence[tuple[SourceGroup, str]],
) -> tuple[Part, ...]:
    """Parts of `one - other`, two corrected sweeps, each with its deviations.

    shared: group and name of each source that both calibrations have in common: its errors are
    the same in both.
    """
    (first, first_deviations), (second, second_deviations) = one, other
    common = set(shared)
    theirs = {(each.group, each.name): each.values for each in second_deviations}
    found = []
    for each in first_deviations:
        absolute, relative = each.values, _ratio(each.values, first)
        if (each.group, each.name) in common:
            same = theirs[each.group, each.name]
            absolute, relative = absolute - same, relative - _ratio(same, second)
        found.append(Part(each.kind, _over_frequency(each), absolute, relative))
    found += [
        Part(each.kind, _over_frequency(each), -each.values, -_ratio(each.values, second))
        for each in second_deviations
        if (each.group, each.name) not in common
    ]
    return tuple(found)


def uncertainty(parts: Sequence[Part], shape: tuple[int, ...]) -> Uncertainty:
    """Covariances of the difference that the parts belong to; zero without any."""
    return Uncertainty(
        part_covariance(((one.kind, one.absolute) for one in parts), shape),
        part_covariance(((one.kind, one.relative) for one in parts), shape),
    )


def _over_frequency(one: Deviation) -> OverFrequency:
    return "anew" if one.group in ANEW else "the same"


def _ratio(change: ComplexArray, value: ComplexArray) -> ComplexArray:
    """NaN where the value is zero: nothing has neither a level nor a phase."""
    with np.errstate(all="ignore"):
        return np.where(np.abs(value) > 0, change / value, complex(np.nan, np.nan))


def _each_parameter(values: ComplexArray) -> Iterable[ComplexArray]:
    """The same for each S-parameter by itself, zero elsewhere: their errors are independent."""
    for i, j in np.ndindex(values.shape[-2:]):
        alone = np.zeros_like(values)
        alone[..., i, j] = values[..., i, j]
        yield alone
