"""What two sweeps of one thing share leaves their difference."""

import numpy as np
import pytest

from sitegen.compute.rf.agreement import normalised_deviation
from sitegen.compute.rf.differences import parts_against_reference, parts_between, uncertainty
from sitegen.compute.rf.propagation import Deviation, Kind
from sitegen.model.arrays import ComplexArray
from sitegen.model.event_results import SourceGroup

SHAPE = (4, 2, 2)
RNG = np.random.default_rng(3)


def sweep() -> ComplexArray:
    return np.asarray(0.5 + 0.2 * RNG.normal(size=SHAPE) + 0.3j * RNG.normal(size=SHAPE))


def source(group: SourceGroup, name: str, kind: Kind = "real", size: float = 1e-3) -> Deviation:
    values = RNG.normal(size=SHAPE) + 1j * RNG.normal(size=SHAPE)
    return Deviation(group, name, kind, np.asarray(size * values))


def test_definitions_that_the_reference_shares_leave_the_deviation() -> None:
    s, reference = sweep(), sweep()
    noise = source("noise of the sweep", "S11", "circular")
    sources = [source("definitions", "resistance of load"), noise, source("line impedance", "C")]
    parts = parts_against_reference(s, reference, sources, 0.0, ("definitions", "line impedance"))
    found = uncertainty(parts, SHAPE)
    assert found.absolute[..., 0] == pytest.approx(np.abs(noise.values) ** 2)
    assert found.relative[..., 1] == pytest.approx(np.abs(noise.values / s) ** 2)
    assert parts[0].over_frequency == "anew"


def test_the_references_own_uncertainty_joins() -> None:
    s, reference = sweep(), sweep()
    parts = parts_against_reference(s, reference, [], 2e-3, ())
    found = uncertainty(parts, SHAPE)
    assert found.absolute[..., 0] == pytest.approx(4e-6)
    assert found.absolute[..., 2] == pytest.approx(0.0)
    assert found.relative[..., 0] == pytest.approx(4e-6 / np.abs(reference) ** 2)
    assert {one.over_frequency for one in parts} == {"not known"}


def test_without_any_uncertainty_it_is_zero_and_nothing_is_normalised() -> None:
    s = sweep()
    found = uncertainty(parts_against_reference(s, s, [], 0.0, ()), SHAPE)
    assert not found.absolute.any()
    assert np.isnan(normalised_deviation(s - s, found.absolute)).all()


def test_shared_sources_are_kept_once_between_two_sweeps() -> None:
    one, other = sweep(), sweep()
    load = source("definitions", "resistance of load")
    other_load = Deviation(load.group, load.name, load.kind, 0.9 * load.values)
    mine, theirs = source("noise", "S11 of thru", "circular"), source("noise", "S11 of thru")
    shared: list[tuple[SourceGroup, str]] = [(load.group, load.name)]
    parts = parts_between((one, (load, mine)), (other, (other_load, theirs)), shared)
    assert len(parts) == 3
    assert parts[0].absolute == pytest.approx(0.1 * load.values)
    assert parts[0].relative == pytest.approx(load.values / one - 0.9 * load.values / other)
    apart = parts_between((one, (load, mine)), (other, (other_load, theirs)), ())
    assert len(apart) == 4
    more = uncertainty(apart, SHAPE).absolute[..., 0] - uncertainty(parts, SHAPE).absolute[..., 0]
    assert more == pytest.approx((1 + 0.81 - 0.01) * load.values.real**2)


def test_nothing_has_neither_level_nor_phase() -> None:
    s = np.zeros(SHAPE, complex)
    parts = parts_against_reference(s, s, [source("noise of the sweep", "S11")], 1e-3, ())
    assert np.isnan(uncertainty(parts, SHAPE).relative).all()
