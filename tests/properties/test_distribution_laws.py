"""Laws that distributions and capabilities keep for every input."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from sitegen.compute.over_wafers.capabilities import capability
from sitegen.compute.over_wafers.distributions import distribution, distribution_of
from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.campaign import Parameter
from sitegen.model.distribution_results import Capability, Distribution
from sitegen.model.statistics import Estimate
from tests.compute.over_wafers.sample_data import sample
from tests.compute.settings import parameter as declared

FloatArray = npt.NDArray[np.float64]
laws = settings(derandomize=True, deadline=None, max_examples=60)

# Quarters as float64, so that shifts and scales by powers of two are exact.
quarters = st.integers(-400, 400).map(lambda whole: whole / 4)
vectors = hnp.arrays(np.float64, st.integers(0, 30), elements=quarters)
wafers = st.lists(vectors, min_size=1, max_size=7)
limits = st.sampled_from([{}, {"lower": -30.0}, {"upper": 40.0}, {"lower": -30.0, "upper": 40.0}])
any_number = st.floats(-1e150, 1e150) | st.just(float("nan")) | st.just(-0.0)


def parameter(**changes: object) -> Parameter:
    return Parameter.model_validate(declared("P", **changes))


def estimates(found: Distribution | Capability) -> dict[str, Estimate]:
    return {name: one for name, one in vars(found).items() if isinstance(one, Estimate)}


def numbers(one: Estimate) -> list[float | None]:
    return [one.value, one.lower, one.upper]


def alike(
    found: Sequence[float | None], expected: Sequence[float | None], size: float = 1.0
) -> bool:
    """To nine digits, or nine places behind the point; None beside None."""
    one, other = (np.array(values, dtype=np.float64) for values in (found, expected))
    return bool(np.allclose(one, other, rtol=1e-9, atol=1e-9 * size, equal_nan=True))


def moved(values: list[float | None], scale: float, shift: float) -> list[float | None]:
    return [None if value is None else scale * value + shift for value in values]


@laws
@given(wafers, limits, st.randoms(use_true_random=False))
def test_the_order_of_dies_plays_no_part(
    parts: list[FloatArray], bounds: dict[str, Any], random: "np.random.Generator"
) -> None:
    """So rotations and mirrorings of a map, which keep each die's value, play none either."""
    shuffled = [list(one) for one in parts]
    for one in shuffled:
        random.shuffle(one)
    before, after = sample(parts, **bounds), sample(shuffled, **bounds)
    assert distribution_of(after, None) == distribution_of(before, None)
    assert distribution_of(after, "W1") == distribution_of(before, "W1")
    assert capability(after) == capability(before)


@laws
@given(wafers, limits, st.sampled_from([0.25, 2.0, 1024.0]), st.integers(-64, 64))
def test_units_and_location(
    parts: list[FloatArray], bounds: dict[str, Any], scale: float, shift: int
) -> None:
    there = {name: scale * bound + shift for name, bound in bounds.items()}
    before = sample(parts, **bounds)
    after = sample([scale * one + shift for one in parts], **there)
    old, new = distribution_of(before, None), distribution_of(after, None)
    for name, one in estimates(old).items():
        by = 0 if name == "standard_deviation" else shift
        found, expected = numbers(estimates(new)[name]), moved(numbers(one), scale, by)
        assert alike(found, expected, scale)
        assert estimates(new)[name].reason == one.reason
    for tolerance, other in zip(old.tolerance, new.tolerance, strict=True):
        expected = moved([tolerance.lower, tolerance.upper], scale, shift)
        assert alike([other.lower, other.upper], expected, scale)
    assert alike([new.skewness, new.excess_kurtosis], [old.skewness, old.excess_kurtosis])
    assert alike([new.normality.p_value], [old.normality.p_value])
    for name, one in estimates(capability(before)).items():
        again = estimates(capability(after))[name]
        assert alike(numbers(again), numbers(one))


@laws
@given(wafers, limits)
def test_a_value_lies_in_its_interval(parts: list[FloatArray], bounds: dict[str, Any]) -> None:
    one = sample(parts, **bounds)
    for found in (distribution_of(one, None), distribution_of(one, "W1"), capability(one)):
        for figure in estimates(found).values():
            if figure.lower is not None:
                assert figure.value is not None and figure.upper is not None
                assert figure.lower <= figure.value <= figure.upper
            else:
                assert figure.reason


@laws
@given(vectors.filter(len))
def test_mirrored_values(values: FloatArray) -> None:
    """-x has the same spread, and what was above lies below."""
    plain = distribution(values, parameter(upper=7.0))
    mirrored = distribution(-values, parameter(lower=-7.0))
    assert alike(numbers(mirrored.standard_deviation), numbers(plain.standard_deviation))
    assert alike([mirrored.skewness], moved([plain.skewness], -1, 0))
    assert alike([mirrored.normality.statistic], [plain.normality.statistic])
    for one, other in zip(plain.tolerance, mirrored.tolerance, strict=True):
        assert (one.upper is None) == (other.lower is None)
        if one.upper is not None and other.lower is not None:
            assert other.lower == pytest.approx(-one.upper, rel=1e-9, abs=1e-9)


@laws
@given(hnp.arrays(np.float64, st.integers(0, 25), elements=any_number), st.integers(0, 2))
def test_any_numbers_without_warnings(values: FloatArray, censored: int) -> None:
    """Warnings are errors in these tests; NaN is no value."""
    for law in ("normal", "log-normal"):
        found = distribution(values, parameter(distribution=law), censored)
        assert found.n == int((~np.isnan(values)).sum())
        present = values[~np.isnan(values)]
        one = sample([present, present[:3]], lower=0.0, upper=1.0, distribution=law)
        capability(replace(one, censored=np.array([censored, 0])))
        distribution_of(one, None)


@laws
@given(hnp.arrays(np.float32, st.integers(0, 30), elements=st.floats(-1000, 1000, width=32)))
def test_single_precision_is_promoted(values: npt.NDArray[np.float32]) -> None:
    assert distribution(values, parameter()) == distribution(values.astype(np.float64), parameter())


@laws
@given(st.lists(vectors.filter(lambda one: len(one) > 1), min_size=1, max_size=6))
def test_a_duplicated_wafer(parts: list[FloatArray]) -> None:
    """A wafer given twice is one more wafer, no more spread within, and no fault."""
    once, twice = sample(parts, lower=-30.0), sample([*parts, parts[0]], lower=-30.0)
    first, last = distribution_of(once, "W1"), distribution_of(twice, f"W{len(parts) + 1}")
    assert first == last
    assert distribution_of(twice, None).n == once.n + len(parts[0])
    assert capability(twice).wafers in (0, len(parts) + 1)


def relabelled(one: Sample) -> Sample:
    """The same wafers in the opposite order, each value with its own die."""
    order = np.argsort(-one.wafer, kind="stable")
    names = one.wafers[::-1]
    of_values = ("die_x", "die_y", "x_mm", "y_mm", "site", "value", "u", "u_own", "u_shared")
    moved = {name: getattr(one, name)[order] for name in (*of_values, "outcome", "calibration")}
    return replace(
        one,
        wafers=names,
        wafer=(len(names) - 1 - one.wafer)[order],
        measured_at=one.measured_at[order],
        censored=one.censored[::-1],
        without_standing=one.without_standing[::-1],
        **moved,
    )


def test_values_that_are_relabelled_keep_their_dies() -> None:
    parts = [np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1), np.array([0.0, 0.25])]
    assert not relabelled(sample(parts)).dies_have_sites


@laws
@given(wafers, limits)
def test_the_order_of_wafers_plays_no_part(parts: list[FloatArray], bounds: dict[str, Any]) -> None:
    before = sample(parts, **bounds)
    after = relabelled(before)
    for old, new in (
        (distribution_of(before, None), distribution_of(after, None)),
        (capability(before), capability(after)),
    ):
        for name, one in estimates(old).items():
            assert alike(numbers(estimates(new)[name]), numbers(one))
