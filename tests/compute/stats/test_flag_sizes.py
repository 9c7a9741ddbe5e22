"""How often patterns are called and values are flagged where there is nothing, by law and size.

Values of a die are independent of each other here. The reduced form holds the sizes against what
is stated of them with few maps; the full form does so with many and writes the table
`flag_sizes.md` anew. Negative control: deviations taken a tenth too great (F by 1.21, z by 1.1)
must be refused by the same bounds.
"""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, f

from sitegen.compute.stats.join_counts import join_count
from sitegen.compute.stats.moran import moran, skewness, upper_tail
from sitegen.compute.stats.neighbours import neighbours_of
from sitegen.compute.stats.part_average import SIGMAS, clean_rate, remainders, robust
from sitegen.compute.stats.surface_fit import fit_positions, fit_surface, positions_of, surface_of
from sitegen.compute.stats.zone_test import fit_zones, zone_basis
from sitegen.compute.stats.zones import zone_index
from tests.compute.stats.maps import LAWS, FloatArray, disc

RESULTS = Path(__file__).with_name("flag_sizes.md")
SIZES = (20, 100, 300)
OUTSIDE = 0.15
"""Share of the dies outside, in clusters."""
TESTS = ("zones", "plane", "bowl", "reticle", "neighbours", "cluster")
GREATEST, LEAST = 0.06, 0.04
"""Between which the size of a test at 5 % must lie; a cluster's only below the first: a count
cannot reach every level."""


@dataclass(frozen=True)
class Flags:
    """Values beyond 6 robust sigma."""

    values: int
    flagged: int
    maps: int
    with_some: int


@dataclass(frozen=True)
class Measured:
    """What clean maps of one law and size give."""

    law: str
    n: int
    maps: int
    called: dict[str, int]
    """Maps with p < 0.05 by kind."""
    too_great: dict[str, int]
    """The same with deviations taken a tenth too great."""
    limits: Flags
    around: Flags


def measured(law: str, n: int, maps: int, seed: int) -> Measured:
    """Every test on clean maps of the n dies nearest to the centre; fields of 3 x 2 dies."""
    die_x, die_y = disc(n)
    x, y = 10.0 * die_x, 10.0 * die_y
    values = LAWS[law](np.random.default_rng(seed), (maps, n))
    neighbours = neighbours_of(die_x, die_y)
    assert not neighbours.islands.any()
    surface = surface_of(x, y)
    fit = fit_surface(values, surface)
    zones = fit_zones(values, zone_basis(zone_index(x, y, np.hypot(x, y).max()))).tests
    positions = positions_of(die_x % 3 + 3 * (die_y % 2), surface)
    field = fit_positions(values, surface, positions)[0]
    left = n - surface.basis.shape[1]
    p, too_great = {}, {}
    for kind, tests, terms, freedom in (
        ("zones", zones, 2, n - 3),
        ("plane", fit.plane, 2, left),
        ("bowl", fit.bowl, 3, left),
        ("reticle", field, positions.basis.shape[1], left - positions.basis.shape[1]),
    ):
        p[kind] = tests.p_value
        too_great[kind] = f.sf(1.21 * tests.f, terms, freedom)
    found = moran(values, neighbours)
    p["neighbours"] = found.p_value
    above = upper_tail(1.1 * found.z, skewness(neighbours))
    too_great["neighbours"] = 2 * np.minimum(above, 1 - above)
    outside = values > np.quantile(values, 1 - OUTSIDE)
    chances = [join_count(row, neighbours).p_value for row in outside]
    p["cluster"] = np.array([1.0 if one is None else one for one in chances])
    return Measured(
        law,
        n,
        maps,
        {kind: int(np.sum(p[kind] < 0.05)) for kind in TESTS},
        {kind: int(np.sum(one < 0.05)) for kind, one in too_great.items()},
        _flags(values),
        _flags(np.stack([remainders(row, die_x, die_y, surface) for row in values])),
    )


def _flags(values: FloatArray) -> Flags:
    beyond = np.zeros(values.shape, dtype=bool)
    told = ~np.isnan(values)
    for row, there, out in zip(values, told, beyond, strict=True):
        scale = robust(row[there])
        out[there] = np.abs(row[there] - scale.centre) > SIGMAS * scale.sigma
    return Flags(int(told.sum()), int(beyond.sum()), len(values), int(np.sum(beyond.any(axis=1))))


def held(found: Measured) -> None:
    """The sizes are those stated, by chance of a thousandth each."""
    for kind, called in found.called.items():
        assert called <= binom.ppf(0.9995, found.maps, GREATEST - 0.005), (kind, found)
        if kind != "cluster":
            assert called >= binom.ppf(0.0005, found.maps, LEAST + 0.005), (kind, found)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("n", [20, 100])
def test_sizes_are_those_stated(law: str, n: int) -> None:
    held(measured(law, n, 1000, seed=n))


def test_clean_normal_values_are_flagged_as_seldom_as_expected() -> None:
    """At 20 dies, where it is not rare: 2.6e-4 of the values, by limits and by neighbours."""
    found = measured("normal", 20, 10_000, seed=3)
    for flags in (found.limits, found.around):
        # Remainders of dies with fewer neighbours scatter more: up to half as many again.
        assert flags.flagged <= binom.ppf(0.9999, flags.values, 1.5 * clean_rate(20))
        assert flags.flagged >= binom.ppf(0.0001, flags.values, 0.7 * clean_rate(20))


@pytest.mark.full
def test_sizes_are_those_stated_in_full() -> None:
    found = [
        measured(law, n, 10_000 if n < 300 else 4000, seed=100 + n) for law in LAWS for n in SIZES
    ]
    RESULTS.write_text(table(found), "utf-8")
    for one in found:
        held(one)
        for kind, called in one.too_great.items():
            assert called > binom.ppf(0.9995, one.maps, GREATEST - 0.005), (kind, one)


def table(found: list[Measured]) -> str:
    """The results as a page."""
    tests = "\n".join(
        f"| {one.law} | {one.n} | {one.maps} | "
        + " | ".join(f"{100 * one.called[kind] / one.maps:.1f} %" for kind in TESTS)
        + " |"
        for one in found
    )
    control = "\n".join(
        f"| {one.law} | {one.n} | "
        + " | ".join(f"{100 * one.too_great[kind] / one.maps:.1f} %" for kind in TESTS[:-1])
        + " |"
        for one in found
    )
    flags = "\n".join(
        f"| {one.law} | {one.n} | "
        + " | ".join(
            f"{flag.flagged / flag.values:.1e} | {100 * flag.with_some / flag.maps:.2f} %"
            for flag in (one.limits, one.around)
        )
        + f" | {clean_rate(one.n):.1e} |"
        for one in found
    )
    return f"""\
# How often clean maps are called patterned, and clean values stand out

Simulated; written on {date.today()} by the full form of `test_flag_sizes.py`:

    python -m pytest -m full tests/compute/stats/test_flag_sizes.py

Independent values of the n dies nearest to the centre; fields of 3 x 2 dies; the highest
{OUTSIDE:.0%} of the values of all maps are outside.

Share of maps with p < 0.05, before the correction for the number of wafers; a count of neighbours
cannot reach every level, so that clusters are called less often.

| law | n | maps | {" | ".join(TESTS)} |
|---|---|---|{"---|" * len(TESTS)}
{tests}

The same with deviations taken a tenth too great (F by 1.21, z by 1.1): refused by the same bounds.

| law | n | {" | ".join(TESTS[:-1])} |
|---|---|{"---|" * (len(TESTS) - 1)}
{control}

Values beyond 6 robust sigma of their wafer, and of its remainders against neighbours: share of the
values, and of the wafers with one at least. The last column is the share that the program expects
of normal values. The program flags only from 30 dies on; what 20 would give is why. Laws with
longer tails than the normal one are flagged far more often: a flag is no verdict.

| law | n | by limits | wafers | by neighbours | wafers | expected if normal |
|---|---|---|---|---|---|---|
{flags}
"""
