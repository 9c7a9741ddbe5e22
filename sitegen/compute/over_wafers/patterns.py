"""Patterns of a parameter's values over each wafer, each tested and corrected for all tests.

What depends on the set of dies alone is found once (`map_designs`), and maps of the same dies are
tested together. A pattern is claimed in words only where its p-value, adjusted over wafers and
kinds (Holm), is below 0.05: of parameters without any pattern, at most 5 % claim one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.compute.over_wafers.die_maps import DieMap, die_maps, in_logarithms
from sitegen.compute.over_wafers.laws import censored_reason
from sitegen.compute.over_wafers.map_designs import MapDesign, design_of
from sitegen.compute.over_wafers.pattern_words import (
    CAVEAT,
    bowl_words,
    cluster_words,
    not_positive,
    plane_words,
    position_words,
    resemblance_words,
    there_are,
    zone_words,
)
from sitegen.compute.over_wafers.samples import IntArray, Sample
from sitegen.compute.stats.deviations import deviations
from sitegen.compute.stats.join_counts import groups, join_count
from sitegen.compute.stats.moran import ResidualMoments, moran, residuals_resemble
from sitegen.compute.stats.multiple import holm
from sitegen.compute.stats.surface_fit import FTests, fit_positions, fit_surface
from sitegen.compute.stats.zone_test import fit_zones
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Layout
from sitegen.model.space_results import Die, Patterns, PatternTest

LEVEL = 0.05
"""A pattern is claimed below this adjusted p-value."""
CLUSTER = "cluster of outside dies"
ALL_EQUAL = "all values are equal"
NO_SPREAD = "no spread is left beside it to test it against"
EQUAL_NEIGHBOURS = "all values of dies with a neighbour are equal"
NOTHING_TO_TEST = (NO_SPREAD, EQUAL_NEIGHBOURS)

Words = Callable[[], str]


@dataclass(frozen=True)
class _Found:
    """One test of one map before the correction; `words` are made only where they are claimed."""

    kind: str
    n: int
    statistic_name: str = ""
    statistic: float | None = None
    p_value: float | None = None
    share: float | None = None
    words: Words | None = None
    reason: str = ""
    caveat: str = ""


@dataclass(frozen=True)
class _Setting:
    """What all maps of a sample have in common."""

    unit: str
    logarithms: bool
    limited: bool
    diameter_mm: float
    field: bool
    """Whether the layout declares the field of one exposure."""


@dataclass(frozen=True, eq=False)
class _MapTests:
    """All tests of one wafer's map before the correction."""

    dies: DieMap
    islands: int
    tests: tuple[_Found, ...]
    clusters: tuple[tuple[Die, ...], ...]


def patterns(sample: Sample, layout: Layout) -> tuple[Patterns, ...]:
    """Patterns of each wafer of the campaign, in order.

    The sites of a die are averaged first; parameters declared log-normal are tested in logarithms.
    Zones, plane, bowl and position in the field are F tests, which take residuals as independent:
    where Moran's I of the residuals has p < 0.05, the words say that the p-value is too small.
    Where values of a wafer are below the floor or were not reached, the gaps of its map follow the
    values, and only the cluster of outside dies is looked for.
    """
    parameter = sample.parameter
    setting = _Setting(
        unit=parameter.unit,
        logarithms=in_logarithms(sample),
        limited=parameter.lower is not None or parameter.upper is not None,
        diameter_mm=layout.diameter_mm,
        field=layout.reticle is not None,
    )
    maps = die_maps(sample)
    alike: dict[bytes, list[int]] = {}
    for place, one in enumerate(maps):
        alike.setdefault(one.places, []).append(place)
    found: dict[int, _MapTests] = {}
    for places in alike.values():
        found.update(
            zip(places, _tests([maps[place] for place in places], layout, setting), strict=True)
        )
    tested = [found[place] for place in range(len(maps))]
    return tuple(
        Patterns(
            wafer=one.dies.wafer,
            n=one.dies.n,
            islands=one.islands,
            tests=tuple(
                _told(test, float(value)) for test, value in zip(one.tests, values, strict=True)
            ),
            clusters=one.clusters,
            logarithms=setting.logarithms,
        )
        for one, values in zip(tested, _adjusted(tested), strict=True)
    )


def _told(found: _Found, adjusted: float) -> PatternTest:
    told = found.words() if adjusted < LEVEL and found.words is not None else ""
    caveat = found.caveat if told else ""
    return PatternTest(
        kind=found.kind,
        n=found.n,
        statistic=found.statistic,
        statistic_name=found.statistic_name,
        p_value=found.p_value,
        adjusted_p=None if np.isnan(adjusted) else adjusted,
        share=found.share,
        text=told + caveat,
        reason=found.reason,
        caveat=caveat,
    )


def _adjusted(tested: Sequence[_MapTests]) -> FloatArray:
    """(n_wafer, n_kind) p-values adjusted over all of them together; NaN where not tested."""
    p = np.array(
        [[np.nan if test.p_value is None else test.p_value for test in one.tests] for one in tested]
    )
    return holm(p)


def _tests(maps: Sequence[DieMap], layout: Layout, setting: _Setting) -> list[_MapTests]:
    """Every test of each map of one set of dies."""
    design = design_of(maps[0], layout)
    values = np.stack([one.value for one in maps])
    fit = np.array([one.unfit == 0 for one in maps])
    values = np.where(fit[:, np.newaxis], values, 0.0)
    _, spread = deviations(values)
    columns = _of_values(values, design, setting)
    islands = int(design.neighbours.islands.sum())
    tested = []
    for place, dies in enumerate(maps):
        row = [column[place] for column in columns]
        if dies.censored:
            row = [_instead(one, censored_reason(dies.censored)) for one in row]
        elif dies.unfit:
            row = [_instead(one, not_positive(dies.unfit)) for one in row]
        elif spread[place] == 0:
            row = [
                _instead(one, ALL_EQUAL) if one.reason in ("", *NOTHING_TO_TEST) else one
                for one in row
            ]
        together = groups(dies.outside, design.neighbours)
        clusters = tuple(
            tuple((int(dies.die_x[one]), int(dies.die_y[one])) for one in group)
            for group in together
        )
        row.append(_cluster(dies, design, together, setting))
        tested.append(_MapTests(dies, islands, tuple(row), clusters))
    return tested


def _instead(found: _Found, reason: str) -> _Found:
    return _Found(found.kind, found.n, reason=reason)


def _of_values(values: FloatArray, design: MapDesign, setting: _Setting) -> list[list[_Found]]:
    """Tests of the values by kind, each with one entry a map."""
    kinds = [
        _zones(values, design, setting),
        *_surface(values, design, setting),
        _resemblance(values, design),
    ]
    if setting.field:
        kinds.append(_positions(values, design, setting))
    return kinds


def _untested(kind: str, values: FloatArray, reason: str) -> list[_Found]:
    return [_Found(kind, values.shape[1], reason=reason)] * len(values)


def _f_found(
    kind: str,
    n: int,
    tests: FTests,
    alike: FloatArray,
    words: Callable[[int, float], str],
) -> list[_Found]:
    """F tests with their words, and the caveat where residuals of neighbours are alike."""

    def one(place: int) -> _Found:
        f = float(tests.f[place])
        if np.isnan(f):
            return _Found(kind, n, reason=NO_SPREAD)
        share = float(tests.share[place])
        caveat = CAVEAT if alike[place] < LEVEL else ""
        p_value = float(tests.p_value[place])
        return _Found(kind, n, "F", f, p_value, share, lambda: words(place, share), caveat=caveat)

    return [one(place) for place in range(len(tests.f))]


def _alike(residuals: FloatArray, design: MapDesign, moments: ResidualMoments) -> FloatArray:
    return residuals_resemble(residuals, design.neighbours, moments)


def _zones(values: FloatArray, design: MapDesign, setting: _Setting) -> list[_Found]:
    zones = design.zones
    if isinstance(zones, str):
        return _untested("zones", values, zones)
    fit = fit_zones(values, zones.basis)

    def words(place: int, share: float) -> str:
        return zone_words(fit.means[place], share, setting.unit, setting.logarithms)

    alike = _alike(fit.residuals, design, zones.moments)
    return _f_found("zones", design.n, fit.tests, alike, words)


def _surface(
    values: FloatArray, design: MapDesign, setting: _Setting
) -> tuple[list[_Found], list[_Found]]:
    """Plane and bowl."""
    surface = design.surface
    if isinstance(surface, str):
        return _untested("plane", values, surface), _untested("bowl", values, surface)
    fit = fit_surface(values, surface.surface)
    alike = _alike(fit.residuals, design, surface.moments)
    common = (setting.diameter_mm, setting.unit, setting.logarithms)

    def of_plane(place: int, share: float) -> str:
        return plane_words(fit.gradient[place], share, *common)

    def of_bowl(place: int, share: float) -> str:
        return bowl_words(fit.curvature[place], share, *common)

    plane = _f_found("plane", design.n, fit.plane, alike, of_plane)
    if design.bowl:
        return plane, _untested("bowl", values, design.bowl)
    return plane, _f_found("bowl", design.n, fit.bowl, alike, of_bowl)


def _resemblance(values: FloatArray, design: MapDesign) -> list[_Found]:
    """Moran's I among the dies that have a measured neighbour."""
    if design.resemblance:
        return _untested("neighbours", values, design.resemblance)
    kept = design.neighbours.connected
    found = moran(values[:, ~design.neighbours.islands], kept)

    def one(place: int) -> _Found:
        z, i = float(found.z[place]), float(found.i[place])
        if np.isnan(z):
            return _Found("neighbours", kept.n, reason=EQUAL_NEIGHBOURS)
        return _Found(
            "neighbours",
            kept.n,
            "z",
            z,
            float(found.p_value[place]),
            i,
            lambda: resemblance_words(i, found.expected),
        )

    return [one(place) for place in range(len(values))]


def _positions(values: FloatArray, design: MapDesign, setting: _Setting) -> list[_Found]:
    field, surface = design.field, design.surface
    if field is None or isinstance(field, str) or isinstance(surface, str):
        return _untested("reticle", values, str(field or surface))
    tests, effects, residuals = fit_positions(values, surface.surface, field.positions)

    def words(place: int, share: float) -> str:
        unit, logarithms = setting.unit, setting.logarithms
        return position_words(effects[place], field.names, share, unit, logarithms)

    return _f_found("reticle", design.n, tests, _alike(residuals, design, field.moments), words)


def _cluster(
    dies: DieMap, design: MapDesign, together: tuple[IntArray, ...], setting: _Setting
) -> _Found:
    """Whether the outside dies with a measured neighbour lie together."""
    kept = design.neighbours.connected
    outside = dies.outside[~design.neighbours.islands]
    total = int(outside.sum())
    if not setting.limited:
        return _Found(CLUSTER, kept.n, reason="there are no limits")
    if total < 2:
        return _Found(CLUSTER, kept.n, reason=f"needs 2 dies outside, {there_are(total)}")
    counted = join_count(outside, kept)
    if counted.p_value is None:
        reason = "where the outside dies lie cannot change how many of them are neighbours"
        return _Found(CLUSTER, kept.n, reason=reason)
    sizes = tuple(len(group) for group in together)
    grouped = sum(sizes)
    return _Found(
        CLUSTER,
        kept.n,
        "pairs of outside neighbours",
        float(counted.joins),
        counted.p_value,
        grouped / total,
        lambda: cluster_words(total, grouped, sizes, counted.joins, counted.expected),
    )
