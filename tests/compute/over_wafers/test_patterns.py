"""Patterns over wafers: planted ones in words, what is not tested and why, and clean campaigns."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, kstest

from sitegen.compute.over_wafers.patterns import patterns
from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.space_results import Patterns, PatternTest
from sitegen.units import THIN
from tests.compute.over_wafers.layouts import RETICLE, layout
from tests.compute.over_wafers.sample_data import grid, sample

DIES = grid(9.8)
X, Y = (10.0 * axis for axis in DIES.T)
R2 = (X**2 + Y**2) / 100.0**2
KINDS = ("zones", "plane", "bowl", "neighbours", "cluster of outside dies")


def noise(seed: int, n: int = len(DIES)) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=n)


def of(values: np.ndarray, reticle: bool = False, **more: object) -> Patterns:
    found = patterns(
        sample([values], dies=[DIES], **more),  # type: ignore[arg-type]
        layout(reticle=RETICLE if reticle else None),
    )
    assert len(found) == 1
    return found[0]


def test_of(found: Patterns, kind: str) -> PatternTest:
    (one,) = (test for test in found.tests if test.kind == kind)
    return one


def as_number(figure: float | None) -> float:
    return np.nan if figure is None else figure


test_of.__test__ = False  # type: ignore[attr-defined]


def test_every_kind_is_there_and_a_clean_wafer_claims_nothing() -> None:
    found = of(noise(3), upper=2.0)
    assert tuple(test.kind for test in found.tests) == KINDS
    assert all(test.text == "" for test in found.tests)
    assert (found.n, found.islands, found.logarithms) == (len(DIES), 0, False)
    assert all(test.n == len(DIES) for test in found.tests)
    assert [test.kind for test in of(noise(3), reticle=True).tests][4] == "reticle"


@pytest.mark.parametrize(
    ("right", "up", "words"),
    [
        (1, 0, "to the right"),
        (1, 1, "to the upper right"),
        (0, 1, "to the top"),
        (-1, 1, "to the upper left"),
        (-1, 0, "to the left"),
        (-1, -1, "to the lower left"),
        (0, -1, "to the bottom"),
        (1, -1, "to the lower right"),
    ],
)
def test_a_plane_in_words(right: int, up: int, words: str) -> None:
    """0.1 mV a mm along each axis; 20 mV, or 28 mV along a diagonal, over 200 mm."""
    plane = test_of(of(1e-4 * (right * X + up * Y) + 1e-5 * noise(1)), "plane")
    size = "20" if right * up == 0 else "28"
    assert plane.text.startswith(f"rises {words} by {size}{THIN}mV over the diameter, 99.9{THIN}%")
    assert plane.statistic_name == "F" and plane.share is not None and plane.share > 0.99


def test_directions_respect_the_layout() -> None:
    """die_x counted to the left: rising along die_x is rising to the left; places are in mm."""
    made = sample([1e-4 * X + 1e-5 * noise(1)], dies=[DIES])
    turned = replace(made, x_mm=-made.x_mm)
    plane = test_of(patterns(turned, layout(x_increases="left"))[0], "plane")
    assert plane.text.startswith("rises to the left by")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (R2, f"lower in the centre than at the rim by 1.0{THIN}V"),
        (-R2, f"higher in the centre than at the rim by 1.0{THIN}V"),
        (
            (X / 100) ** 2,
            f"valley from bottom to top, lower in it than beside it by 1.0{THIN}V at the rim",
        ),
        (
            -((X + Y) ** 2) / 2e4,
            "ridge from lower right to upper left, higher in it than beside it"
            f" by 1.0{THIN}V at the rim",
        ),
        (
            X * Y / 5e3,
            f"saddle: from the centre it rises by 1.0{THIN}V along the line from lower left to"
            f" upper right and falls by 1.0{THIN}V across it",
        ),
    ],
)
def test_a_bowl_in_words(values: np.ndarray, words: str) -> None:
    bowl = test_of(of(values + 1e-3 * noise(2)), "bowl")
    assert bowl.text.startswith(words)
    assert "% of the variance within the wafer" in bowl.text


def test_zones_in_words() -> None:
    """Steps at the borders of three equal areas."""
    radius = np.hypot(X, Y) / 100
    step = 0.5 * (radius > np.sqrt(2 / 3)) - 0.1 * (radius <= np.sqrt(1 / 3))
    zones = test_of(of(step + 0.01 * noise(2)), "zones")
    assert zones.text.startswith(
        f"highest in the edge, lowest in the centre zone, by 600{THIN}mV, 99.8{THIN}%"
    )


def test_neighbours_in_words_and_what_is_left_is_told() -> None:
    """A patch: neighbours are alike, and no surface describes them, so F tests are too sure."""
    patch = np.cos(X / 12) * np.cos(Y / 12)
    found = of(patch + 0.3 * noise(4) + 0.01 * X)
    neighbours, plane = test_of(found, "neighbours"), test_of(found, "plane")
    assert neighbours.text.startswith("neighbouring dies resemble each other more than by chance")
    assert neighbours.share is not None and neighbours.share > 0.3
    assert neighbours.statistic_name == "z"
    assert plane.text.endswith("so that its p-value is too small")
    assert plane.caveat and plane.text.endswith(plane.caveat)
    checkerboard = np.where((X + Y) / 10 % 2 == 0, 1.0, -1.0) * (Y / 10 % 2 == 0)
    other = test_of(of(checkerboard + 0.3 * noise(4)), "neighbours")
    assert other.text == "" or "differ from each other" in other.text
    stripes = np.where(X / 10 % 2 == 0, 1.0, -1.0)
    assert "differ from each other" in test_of(of(stripes + 0.1 * noise(4)), "neighbours").text


def test_the_field_in_words() -> None:
    column, row = (X / 10).astype(int) % 3, (Y / 10).astype(int) % 2
    raised = 0.5 * ((column == 2) & (row == 1)) - 0.3 * ((column == 0) & (row == 0))
    found = test_of(of(raised + R2 + 0.1 * noise(5), reticle=True), "reticle")
    assert found.text.startswith(
        "highest at column 2, row 1 of the field, lowest at column 0, row 0,"
        f" by 790{THIN}mV, 41.7{THIN}% of the variance within the wafer"
    )
    assert found.statistic_name == "F"
    clean = test_of(of(R2 + 0.1 * noise(6), reticle=True), "reticle")
    assert clean.text == "" and clean.p_value is not None


def test_clusters_of_outside_dies() -> None:
    values = 0.1 * noise(7)
    patch = np.hypot(X - 40, Y) < 16
    alone = (X == -50) & (Y == 20)
    values[patch] = 5.0
    values[alone] = 5.0
    outcome = np.where(values > 1, "outside", "within")
    found = of(values, upper=1.0, outcome=[outcome.tolist()])
    test = test_of(found, "cluster of outside dies")
    n = int(patch.sum())
    assert test.text.startswith(f"{n} of {n + 1} dies outside lie in one group of {n} neighbours")
    assert test.share == n / (n + 1)
    assert test.p_value is not None and test.p_value < 1e-6
    assert [set(group) for group in found.clusters] == [
        {(int(x) // 10, int(y) // 10) for x, y in zip(X[patch], Y[patch], strict=True)}
    ]
    unlimited = test_of(of(values), "cluster of outside dies")
    assert unlimited.reason == "there are no limits"
    inside = test_of(of(0.1 * noise(7), upper=1.0), "cluster of outside dies")
    assert inside.reason == "needs 2 dies outside, there are none"
    all_out = of(values, upper=-9.0, outcome=[["outside"] * len(DIES)])
    assert test_of(all_out, "cluster of outside dies").reason.startswith("where the outside dies")


def test_sites_are_averaged_first() -> None:
    """Five sites a die with a common die effect are one value: n is dies, not values."""
    die = noise(8)
    sites = np.repeat(die, 5) + np.tile([-2.0, -1.0, 0.0, 1.0, 2.0], len(die))
    made = sample([sites], dies=[np.repeat(DIES, 5, axis=0)])
    made = replace(made, site=np.tile(np.array(list("abcde"), dtype=object), len(die)))
    # Every third die has its middle site alone.
    kept = np.flatnonzero((np.arange(made.n) // 5 % 3 > 0) | (made.site == "c"))
    columns = ("wafer", "die_x", "die_y", "x_mm", "y_mm", "site", "value", "outcome")
    made = replace(made, **{name: getattr(made, name)[kept] for name in columns})
    found, single = patterns(made, layout())[0], of(die)
    for one, other in zip(found.tests, single.tests, strict=True):
        assert one.n == other.n == len(DIES)
        assert as_number(one.statistic) == pytest.approx(
            as_number(other.statistic), rel=1e-9, nan_ok=True
        )


def test_log_normal_parameters_are_tested_in_logarithms() -> None:
    values = np.exp(0.01 * X + 0.05 * noise(9))
    found = of(values, distribution="log-normal")
    assert found.logarithms
    # exp(0.01 * 200): over the diameter.
    assert test_of(found, "plane").text.startswith("rises to the right by a factor of 7.")
    straight = of(np.log(values))
    for one, other in zip(found.tests, straight.tests, strict=True):
        assert as_number(one.statistic) == pytest.approx(
            as_number(other.statistic), rel=1e-9, nan_ok=True
        )
    values[0] = 0.0
    spoiled = of(values, distribution="log-normal")
    assert spoiled.tests[1].reason == "declared log-normal, and 1 value is not positive"
    assert spoiled.tests[1].p_value is None


def test_islands_are_counted_and_taken_out() -> None:
    """13 dies in the middle and 4 far ones."""
    dies = np.concatenate([grid(2), [[-8, 0], [8, 0], [0, 8], [0, -8]]])
    values = noise(10, len(dies))
    found = patterns(sample([values], dies=[dies]), layout())[0]
    assert (found.n, found.islands) == (17, 4)
    inner = patterns(sample([values[:13]], dies=[dies[:13]]), layout())[0]
    assert test_of(found, "neighbours").n == 13
    assert test_of(found, "neighbours").statistic == test_of(inner, "neighbours").statistic


@pytest.mark.parametrize(
    ("dies", "kind", "reason"),
    [
        (grid(0), "plane", "needs 8 dies, there is 1"),
        (grid(0), "zones", "needs 3 dies in each of the three zones, the middle has no dies"),
        (grid(1), "bowl", "needs 8 dies, there are 5"),
        (grid(1), "neighbours", "needs 12 dies with a measured neighbour, there are 5"),
        (grid(1.5), "bowl", "needs 11 dies, there are 9"),
        (5 * grid(1.5), "neighbours", "needs 12 dies with a measured neighbour, there are none"),
        (np.column_stack([np.arange(9), np.arange(9)]), "plane", "the dies lie on one line"),
        (
            np.column_stack([np.arange(12) // 2, np.arange(12) % 2]),
            "bowl",
            "the dies lie in too few rows or columns",
        ),
        (
            np.array([[3 * x, 2 * y] for x in range(4) for y in range(4)]),
            "reticle",
            "needs 5 fields with several measured dies, there are none",
        ),
    ],
)
def test_what_is_not_tested_says_why(dies: np.ndarray, kind: str, reason: str) -> None:
    made = sample([noise(11, len(dies))], dies=[dies])
    one = test_of(patterns(made, layout(reticle=RETICLE))[0], kind)
    assert one.reason == reason
    assert (one.statistic, one.p_value, one.adjusted_p, one.text) == (None, None, None, "")


def test_nothing_and_all_equal() -> None:
    found = patterns(sample([[], np.full(len(DIES), 0.1)], dies=[DIES[:0], DIES]), layout())
    assert found[0].n == 0 and all(test.reason for test in found[0].tests)
    assert {test.reason for test in found[1].tests} == {
        "all values are equal",
        "there are no limits",
    }
    assert patterns(sample([]), layout()) == ()


def test_adjusted_for_all_tests_of_a_parameter() -> None:
    """Holm 1979 by hand: four kinds on three wafers, of which the second was not measured."""
    waves = [0.01 * X + noise(12), 0.0 * X[:0], noise(13)]
    found = patterns(sample(waves, dies=[DIES, DIES[:0], DIES]), layout())
    first, none, _ = (test_of(one, "plane") for one in found)
    assert none.adjusted_p is None
    made = [test for one in found for test in one.tests if test.p_value is not None]
    ranked = sorted(made, key=lambda test: as_number(test.p_value))
    assert len(ranked) == 8 and ranked[0] == first
    greatest = 0.0
    for place, test in enumerate(ranked):
        greatest = max(greatest, (8 - place) * as_number(test.p_value))
        assert test.adjusted_p == pytest.approx(min(greatest, 1.0))


def campaign(rng: np.random.Generator, wafers: int, radius: float = 5.5) -> Sample:
    dies = grid(radius)
    values = rng.normal(size=(wafers, len(dies)))
    outcome = np.where(values > 1.3, "outside", "within").tolist()
    return sample(list(values), dies=[dies] * wafers, upper=1.3, outcome=outcome)


def test_a_clean_campaign_claims_anything_as_seldom_as_stated() -> None:
    """400 parameters on 3 wafers of 89 dies: any wafer and kind together in at most 5 % of them.

    Corrected over the wafers of each kind alone it is 20 %.
    """
    rng = np.random.default_rng(18)
    here = layout(diameter_mm=120.0, reticle=RETICLE)
    claimed = alone = 0
    for _ in range(400):
        found = patterns(campaign(rng, 3, 5.2), here)
        assert found[0].n == 89
        claimed += any(test.text for one in found for test in one.tests)
        p = np.array([[as_number(test.p_value) for test in one.tests] for one in found])
        alone += bool((np.sort(p, axis=0)[0] * (~np.isnan(p)).sum(axis=0) < 0.05).any())
    assert claimed <= binom.ppf(0.999, 400, 0.05)
    assert alone > 0.15 * 400


def test_a_clean_campaign_of_many_wafers_claims_as_seldom() -> None:
    """200 parameters on 24 wafers with 97 dies.

    Without the correction any kind is claimed in most of them; p-values of F tests are uniform.
    """
    rng = np.random.default_rng(17)
    here = layout(diameter_mm=120.0, reticle=RETICLE)
    claimed = 0
    raw: dict[str, list[float]] = {}
    for _ in range(200):
        found = patterns(campaign(rng, 24), here)
        claimed += any(test.text for one in found for test in one.tests)
        for place, first in enumerate(found[0].tests):
            tests = [one.tests[place] for one in found]
            raw.setdefault(first.kind, []).extend(
                np.nan if test.p_value is None else test.p_value for test in tests
            )
    assert claimed <= binom.ppf(0.999, 200, 0.05)
    for kind in raw:
        uncorrected = np.reshape(np.array(raw[kind]) < 0.05, (200, 24)).any(axis=1)
        assert np.mean(uncorrected) > 0.4, kind
    for kind in ("zones", "plane", "bowl", "reticle"):
        assert kstest(raw[kind], "uniform").pvalue > 0.001
