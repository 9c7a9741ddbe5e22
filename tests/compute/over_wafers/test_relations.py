"""Correlations of a campaign's parameters: which are told, of which dies, and how surely."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from time import process_time
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import false_discovery_control, pearsonr, spearmanr

from sitegen.compute.over_wafers.relations import LEAST_RANKS, LEVEL, correlations
from sitegen.compute.over_wafers.samples import Key, Sample
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.declared_statistics import Pair
from tests.compute.over_wafers.sample_data import grid, sample
from tests.compute.relation_chain import field
from tests.compute.settings import parameter, setting

RNG = np.random.default_rng(51)
DIES = grid(5.6)
N = len(DIES)


def campaign(*pairs: tuple[str, str], parameters: int = 5) -> CampaignRecord:
    made = setting(*(parameter(f"P{n}") for n in range(parameters))).campaign
    declared = tuple(Pair(x=x, x_condition="RT", y=y, y_condition="RT") for x, y in pairs)
    return made.model_copy(update={"pairs": declared})


def samples(*columns: Sequence[FloatArray]) -> Mapping[Key, Sample]:
    """A parameter each, of a list of wafers."""
    return {
        (f"P{place}", "RT"): sample(wafers, dies=[DIES[: len(one)] for one in wafers])
        for place, wafers in enumerate(columns)
    }


def noise(wafers: int = 1, n: int = N) -> list[FloatArray]:
    return list(RNG.normal(size=(wafers, n)))


def only(chosen: npt.NDArray[np.bool_], given: Sample) -> Sample:
    """The sample's values that are chosen."""
    arrays = {
        one.name: getattr(given, one.name)[chosen]
        for one in fields(given)
        if one.name not in ("parameter", "condition", "wafers", "censored", "without_standing")
    }
    return replace(given, **arrays)


def test_declared_pairs_first_then_what_is_clear() -> None:
    a, b, c = noise(2), noise(2), noise(2)
    d = [0.7 * one + 0.7 * other for one, other in zip(a, noise(2), strict=True)]
    e = [0.95 * one + 0.3 * other for one, other in zip(b, noise(2), strict=True)]
    found = correlations(samples(a, b, c, d, e), campaign(("P2", "P0"), ("P3", "P0")))
    assert [(one.first[0], one.second[0], one.declared) for one in found] == [
        ("P2", "P0", True),
        ("P3", "P0", True),
        ("P1", "P4", False),
    ]
    assert {one.pairs for one in found} == {10}
    assert all(one.n == 2 * N and one.wafers == 2 for one in found)
    nothing, clear, clearest = found
    assert nothing.adjusted_p is not None and nothing.adjusted_p > LEVEL
    assert clear.adjusted_p is not None and clear.adjusted_p < 1e-6
    assert clearest.linear.value is not None and 0.9 < clearest.linear.value < 1


def test_of_one_wafer_they_are_scipys_and_adjusted_over_all_pairs() -> None:
    columns = [noise() for _ in range(4)]
    columns[3] = [columns[3][0] + 0.2 * columns[0][0]]
    pairs = [(f"P{i}", f"P{j}") for i in range(4) for j in range(i)]
    found = correlations(samples(*columns), campaign(*pairs))
    assert len(found) == 6
    for one in found:
        x, y = (columns[int(name[0][1])][0] for name in (one.first, one.second))
        assert one.linear.value == pytest.approx(pearsonr(x, y)[0])
        assert one.rank.value == pytest.approx(spearmanr(x, y)[0])
        # Dies without resemblance are worth about as many as there are.
        ends = pearsonr(x, y).confidence_interval(0.95)
        assert one.freedom is not None and 0.8 * (N - 1) < one.freedom <= N - 1
        assert (one.linear.lower, one.linear.upper) == pytest.approx(
            (ends.low, ends.high), abs=0.03
        )
    p_values = [one.p_value for one in found if one.p_value is not None]
    assert [one.adjusted_p for one in found] == pytest.approx(
        list(false_discovery_control(p_values))
    )


def test_what_makes_wafers_differ_correlates_nothing() -> None:
    a, b = noise(3), noise(3)
    pair = campaign(("P0", "P1"))
    (plain,) = correlations(samples(a, b), pair)
    moved = [[one + 50.0 * place for place, one in enumerate(column)] for column in (a, b)]
    (found,) = correlations(samples(*moved), pair)
    assert found.linear.value == pytest.approx(plain.linear.value, abs=1e-9)
    assert found.p_value == pytest.approx(plain.p_value, rel=1e-6)
    assert found.freedom == pytest.approx(plain.freedom, rel=1e-6)


def test_dies_that_resemble_each_other_are_worth_fewer() -> None:
    drawn = field(2.0)
    smooth = [[drawn(DIES, RNG) for _ in range(3)] for _ in range(2)]
    (found,) = correlations(samples(*smooth), campaign(("P0", "P1")))
    (rough,) = correlations(samples(smooth[0], noise(3)), campaign(("P0", "P1")))
    assert found.freedom is not None and rough.freedom is not None
    assert found.freedom < 0.5 * (3 * N - 3) < 0.8 * (3 * N - 3) < rough.freedom
    for one in (found, rough):
        assert one.linear.lower is not None and one.linear.upper is not None
        width = np.arctanh(one.linear.upper) - np.arctanh(one.linear.lower)
        assert one.freedom is not None
        assert width == pytest.approx(2 * 1.959964 / np.sqrt(one.freedom - 2), rel=1e-6)


def test_each_pair_is_of_the_dies_that_have_both() -> None:
    a, b = noise(2), noise(2)
    made = samples(a, b, noise(2))
    first, second = RNG.uniform(size=2 * N) < 0.8, RNG.uniform(size=2 * N) < 0.7
    gappy = {
        ("P0", "RT"): only(first, made["P0", "RT"]),
        ("P1", "RT"): only(second, made["P1", "RT"]),
        ("P2", "RT"): made["P2", "RT"],
    }
    (found,) = correlations(gappy, campaign(("P0", "P1")))
    both = first & second
    assert (found.n, found.wafers) == (both.sum(), 2)
    x, y, wafer = np.concatenate(a)[both], np.concatenate(b)[both], np.repeat([0, 1], N)[both]
    for place in (0, 1):
        x[wafer == place] -= x[wafer == place].mean()
        y[wafer == place] -= y[wafer == place].mean()
    assert found.linear.value == pytest.approx(x @ y / np.sqrt((x @ x) * (y @ y)))


def test_values_at_other_sites_are_never_paired() -> None:
    made = samples(noise(), noise())
    other = replace(made["P1", "RT"], site=np.full(N, "B", dtype=object))
    found = correlations({**made, ("P1", "RT"): other}, campaign(("P0", "P1")))
    assert [one.n for one in found] == [0]
    assert found[0].linear.reason == "needs 2 dies of a wafer that have both"
    assert found[0].linear.value is None and found[0].p_value is None and found[0].freedom is None


def test_what_is_not_stated_and_why() -> None:
    pair = campaign(("P0", "P1"))
    (level,) = correlations(samples(noise(), [np.full(N, 0.1)]), pair)
    assert level.linear.reason == level.rank.reason == "one of the two does not vary"
    assert level.linear.value is None and level.p_value is None
    (few,) = correlations(samples(noise(n=5), noise(n=5)), pair)
    assert few.linear.lower is not None and few.linear.reason == ""
    assert few.rank.value is not None and few.rank.lower is None and few.p_value is None
    assert few.rank.reason == f"needs {1 + LEAST_RANKS} dies on these wafers, there are 5"
    (three,) = correlations(samples(noise(n=3), noise(n=3)), pair)
    assert three.linear.reason == "needs 4 dies on these wafers, there are 3"
    (two,) = correlations(samples(noise(n=2), noise(n=2)), pair)
    assert two.linear.lower is None and abs(two.linear.value or 0.0) == pytest.approx(1.0)
    row = np.column_stack([np.arange(20), np.zeros(20, dtype=np.int64)])
    slopes = [np.arange(20.0), np.arange(20.0) + 1e-3 * np.arange(20.0) ** 2]
    made = {(f"P{n}", "RT"): sample([one], dies=[row]) for n, one in enumerate(slopes)}
    (line,) = correlations(made, pair)
    assert line.linear.value == pytest.approx(1.0, abs=1e-4) and line.linear.lower is None
    assert line.linear.reason == (
        "neighbours resemble each other so much that 20 dies are worth 1.5 independent deviations;"
        " an interval needs more than 2"
    )
    assert line.rank.lower is None and line.rank.value == pytest.approx(1.0)


def test_a_wafer_twice_says_no_more() -> None:
    """A copy has the same maps: dies at one place of two wafers resemble each other fully."""
    a, b = noise()[0], noise()[0]
    b = b + 0.3 * a
    pair = campaign(("P0", "P1"))
    (one,) = correlations(samples([a], [b]), pair)
    (two,) = correlations(samples([a, a], [b, b]), pair)
    assert two.linear.value == pytest.approx(one.linear.value)
    assert one.freedom is not None and two.freedom == pytest.approx(one.freedom, rel=0.1)


def test_nothing_at_all() -> None:
    assert correlations({}, campaign()) == ()
    assert correlations(samples(noise()), campaign()) == ()
    empty: list[FloatArray] = [np.empty(0), np.empty(0)]
    assert correlations(samples(empty, empty), campaign()) == ()
    (told,) = correlations(samples(empty, empty), campaign(("P0", "P1")))
    assert (told.n, told.wafers, told.pairs) == (0, 0, 1)
    assert correlations(samples(noise(), noise()), campaign(("P3", "P4"))) == ()


def test_order_units_rotation_and_float32() -> None:
    a = noise(2)
    b = [0.5 * one + other for one, other in zip(a, noise(2), strict=True)]
    pair = campaign(("P0", "P1"))
    made = samples(a, b)
    (plain,) = correlations(made, pair)
    order = RNG.permutation(2 * N)

    def changed(change: Any) -> Mapping[Key, Sample]:
        return {key: change(one) for key, one in made.items()}

    def shuffled(one: Sample) -> Sample:
        return only(order, one)  # type: ignore[arg-type]  # by place instead of by mask

    others = [
        changed(shuffled),
        changed(lambda one: replace(one, value=1e-12 * one.value)),
        changed(lambda one: replace(one, value=one.value.astype(np.float32))),
        changed(lambda one: replace(one, die_x=-one.die_y, die_y=one.die_x)),
        changed(lambda one: replace(one, die_x=one.die_x + 7)),
    ]
    for other in others:
        (found,) = correlations(other, pair)
        assert found.linear.value == pytest.approx(plain.linear.value, abs=1e-6)
        assert found.rank.value == pytest.approx(plain.rank.value, abs=1e-6)
        assert found.freedom == pytest.approx(plain.freedom, rel=1e-4)


def test_of_forty_true_nothings_hardly_any_is_told() -> None:
    """780 pairs of 40 parameters that have nothing to do with each other, ten times over."""
    told = 0
    for _ in range(10):
        made = samples(*(noise() for _ in range(40)))
        told += bool(correlations(made, campaign(parameters=40)))
    assert told <= 3, "Benjamini and Hochberg's level holds for any of them: 5 % of campaigns"


@pytest.mark.parametrize(("share", "most_s"), [(1.0, 1.0), (0.98, 2.0)])
def test_990_pairs_over_24_wafers_take_little_time(share: float, most_s: float) -> None:
    """45 parameters x 24 wafers x 97 dies; with gaps of its own in each ranks are taken by pair."""
    made = samples(*(noise(24) for _ in range(45)))
    kept = {key: only(RNG.uniform(size=one.n) <= share, one) for key, one in made.items()}
    before = process_time()
    correlations(kept, campaign(parameters=45))
    assert process_time() - before < most_s
