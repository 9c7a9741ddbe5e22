"""Suspicions from wafer maps, on seeded simulations whose truth is known."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import spearmanr

from sitegen.compute.stats.spatial import (
    AS_RECORDED,
    MINIMUM_DIES,
    ORIENTATIONS,
    WaferMap,
    orientation_suspicion,
    same_values,
)

FloatArray = npt.NDArray[np.float64]


def layout(radius: float, half: bool = True) -> tuple[FloatArray, FloatArray]:
    """Dies within a radius in pitches, with the wafer's centre on a corner or on a die."""
    axis = np.arange(-20, 21, dtype=np.float64) + (0.5 if half else 0.0)
    x, y = np.meshgrid(axis, axis)
    on_wafer = np.hypot(x, y) <= radius
    return x[on_wafer], y[on_wafer]


X, Y = layout(5.6)  # 96 dies
RADIUS = 5.6


def nothing() -> FloatArray:
    return np.zeros(X.size)


def bowl() -> FloatArray:
    return 4 * (X**2 + Y**2) / RADIUS**2


def gradient() -> FloatArray:
    return 2 * (2.5 * X + Y) / RADIUS


def gradient_and_saddle() -> FloatArray:
    """A gradient at 22.5 degrees and a saddle at 22.5 degrees, of which no mirror image agrees."""
    angle, radius = np.arctan2(Y, X) - np.pi / 8, np.hypot(X, Y) / RADIUS
    return 5 * (radius * np.cos(angle) + 1.5 * radius**2 * np.cos(2 * angle))


def recorded_as(wafer: WaferMap, orientation: str) -> WaferMap:
    """The same wafer with its dies' coordinates changed."""
    (xx, xy), (yx, yy) = ORIENTATIONS[orientation]
    x, y = wafer.die_x, wafer.die_y
    return WaferMap(xx * x + xy * y, yx * x + yy * y, wafer.values)


def noisy(rng: np.random.Generator, pattern: FloatArray, n_parameters: int = 1) -> WaferMap:
    return WaferMap(X, Y, pattern[:, None] + rng.normal(size=(X.size, n_parameters)))


@pytest.mark.parametrize("pattern", [nothing, bowl, gradient])
def test_false_alarms_are_rare(pattern: Callable[[], FloatArray]) -> None:
    """1,000 triples of wafers as they should be: at most 1 % raise a suspicion.

    gradient is strong enough that each triple has a pattern to compare.
    """
    rng = np.random.default_rng(20)
    alarms = 0
    for _ in range(1000):
        first, second, third = (noisy(rng, pattern()) for _ in range(3))
        alarms += orientation_suspicion(first, [second, third]).suspected
    assert alarms <= 10


TURNS = tuple(name for name in ORIENTATIONS if name.startswith("turned"))


@pytest.mark.parametrize(
    ("pattern", "changed"),
    [(gradient, name) for name in (*TURNS, "mirrored left to right")]
    + [(gradient_and_saddle, name) for name in ORIENTATIONS if name != AS_RECORDED],
)
def test_a_changed_wafer_is_found(pattern: Callable[[], FloatArray], changed: str) -> None:
    """Each of 40 changed wafers is suspected.

    The change that undoes it is named each time where no other gives nearly the same map. Of a
    gradient alone one mirror image is near to each turn, so 80 % must do.
    """
    matrix = np.array(ORIENTATIONS[changed])
    undo = next(name for name, other in ORIENTATIONS.items() if np.array_equal(other, matrix.T))
    rng = np.random.default_rng(21)
    named = 0
    for _ in range(40):
        first, second, third = (noisy(rng, pattern()) for _ in range(3))
        found = orientation_suspicion(recorded_as(first, changed), [second, third])
        assert found.suspected
        assert found.best is not None
        named += found.best.orientation == undo
    assert named >= (40 if pattern is gradient_and_saddle else 32)


def test_a_difference_under_the_margin_is_no_suspicion() -> None:
    """Mirrored top to bottom, the gradient turns by 44 degrees and still agrees."""
    rng = np.random.default_rng(30)
    first, second, third = (noisy(rng, gradient()) for _ in range(3))
    mirrored = recorded_as(first, "mirrored top to bottom")
    assert not orientation_suspicion(mirrored, [second, third]).suspected


def test_neighbours_of_a_changed_wafer_are_not_suspected() -> None:
    rng = np.random.default_rng(22)
    for _ in range(50):
        first, second, third = (noisy(rng, gradient()) for _ in range(3))
        turned = recorded_as(third, "turned by 180 degrees")
        assert not orientation_suspicion(first, [second, turned]).suspected
        assert orientation_suspicion(turned, [first, second]).suspected


def test_parameters_are_pooled() -> None:
    """Nine parameters: three with the pattern, one constant, one mostly missing, four noise."""
    rng = np.random.default_rng(23)
    maps = [noisy(rng, gradient(), 9) for _ in range(3)]
    for wafer in maps:
        wafer.values[:, 5:] = rng.normal(size=(X.size, 4))
        wafer.values[:, 1] = 7.0
        wafer.values[MINIMUM_DIES - 1 :, 2] = np.nan
    found = orientation_suspicion(recorded_as(maps[0], "turned by 180 degrees"), maps[1:])
    assert found.suspected
    assert found.best is not None
    assert found.best.orientation == "turned by 180 degrees"
    assert (found.best.n_dies, found.n_parameters) == (X.size, 3)
    assert not orientation_suspicion(maps[0], maps[1:]).suspected


def test_patterns_of_each_wafers_own_seldom_agree_by_chance() -> None:
    """The hardest case: each wafer and parameter has a smooth pattern of its own, under noise.

    At most 2 % of 500 triples may raise a suspicion where there are several parameters.
    """
    rng = np.random.default_rng(31)
    x, y = X / RADIUS, Y / RADIUS
    shapes = np.stack([x, y, x * x, y * y, x * y], axis=1)
    for n_parameters in (4, 12):
        alarms = 0
        for _ in range(500):
            maps = []
            for _ in range(3):
                own = 1.5 * shapes @ rng.normal(size=(5, n_parameters))
                maps.append(WaferMap(X, Y, own + rng.normal(size=(X.size, n_parameters))))
            alarms += orientation_suspicion(maps[0], maps[1:]).suspected
        assert alarms <= 10, f"{alarms} alarms with {n_parameters} parameters"


def test_small_wafers() -> None:
    """32 dies: at most 1 % false alarms of 1,000 noisy triples; a clear gradient is found."""
    rng = np.random.default_rng(32)
    x, y = layout(3.2)
    assert x.size == 32
    alarms = found = 0
    for trial in range(1000):
        maps = [WaferMap(x, y, rng.normal(size=(32, 1))) for _ in range(3)]
        alarms += orientation_suspicion(maps[0], maps[1:]).suspected
        if trial < 50:
            for wafer in maps:
                wafer.values[:, 0] += 2.5 * x + y
            found += orientation_suspicion(
                recorded_as(maps[0], "turned by 180 degrees"), maps[1:]
            ).suspected
    assert alarms <= 10
    assert found == 50


@pytest.mark.parametrize("half", [True, False])
def test_correlation_is_spearmans(half: bool) -> None:
    """Against scipy, on a layout centred on a corner or on a die."""
    rng = np.random.default_rng(24)
    x, y = layout(5.2, half)
    first, second = (WaferMap(x, y, rng.normal(size=(x.size, 1))) for _ in range(2))
    found = orientation_suspicion(first, [second])
    assert len(found.agreements) == 7
    place = {(a, b): row for row, (a, b) in enumerate(zip(x, y, strict=True))}
    for agreement in found.agreements:
        moved = recorded_as(first, agreement.orientation)
        rows = [place[a, b] for a, b in zip(moved.die_x, moved.die_y, strict=True)]
        expected = spearmanr(first.values[:, 0], second.values[rows, 0]).statistic
        assert agreement.correlation == pytest.approx(float(expected), abs=1e-12)
        recorded = spearmanr(first.values[:, 0], second.values[:, 0]).statistic
        assert agreement.correlation_as_recorded == pytest.approx(float(recorded), abs=1e-12)
        assert agreement.n_dies == x.size


def test_one_trusted_reference_is_enough() -> None:
    rng = np.random.default_rng(25)
    wafer, reference = noisy(rng, gradient()), noisy(rng, gradient())
    found = orientation_suspicion(recorded_as(wafer, "turned by 90 degrees"), [reference])
    assert found.suspected
    assert found.n_parameters == 1


def test_unequal_pitches_leave_out_quarter_turns() -> None:
    rng = np.random.default_rng(26)
    wafer, reference = noisy(rng, bowl()), noisy(rng, bowl())
    found = orientation_suspicion(wafer, [reference], quarter_turns=False)
    assert [agreement.orientation for agreement in found.agreements] == [
        "turned by 180 degrees",
        "mirrored left to right",
        "mirrored top to bottom",
    ]


@pytest.mark.parametrize("n", [MINIMUM_DIES - 1, 1])
def test_few_dies_are_not_compared(n: int) -> None:
    x = np.arange(n, dtype=np.float64) - (n - 1) / 2
    wafer = WaferMap(x, np.zeros(n), x[:, None])
    found = orientation_suspicion(wafer, [WaferMap(x, np.zeros(n), -x[:, None])])
    assert (found.suspected, found.best, found.agreements) == (False, None, ())
    assert not orientation_suspicion(wafer, []).suspected


def test_parameters_without_any_value_are_not_compared() -> None:
    empty = WaferMap(X, Y, np.full((X.size, 2), np.nan))
    assert orientation_suspicion(empty, [empty, empty]).best is None
    assert same_values(empty, empty).n_compared == 0


def test_a_copied_wafer_is_found() -> None:
    rng = np.random.default_rng(27)
    first = noisy(rng, gradient(), 4)
    again = WaferMap(first.die_x[::-1], first.die_y[::-1], first.values[::-1].copy())
    again.values[:30] += 1e-9
    found = same_values(first, again)
    assert found.suspected
    assert (found.n_equal, found.n_compared) == (4 * (X.size - 30), 4 * X.size)
    assert found.share == pytest.approx(1 - 30 / X.size)


def test_coarse_or_constant_values_are_no_copy() -> None:
    """Flags, constants and a threshold voltage stored in steps of a fifth of its spread."""
    rng = np.random.default_rng(28)
    for _ in range(200):
        first, second = noisy(rng, nothing(), 3), noisy(rng, nothing(), 3)
        for wafer in (first, second):
            wafer.values[:, 0] = 1.0
            wafer.values[:, 1] = wafer.values[:, 1] > 0
            wafer.values[:, 2] = np.round(wafer.values[:, 2], 1) * 0.2
        found = same_values(first, second)
        assert not found.suspected
        assert found.n_compared == X.size
    assert found.share_by_chance is not None
    # Two normal values in bins of h sigma are equal with probability h / (2 sqrt(pi)).
    assert found.share_by_chance == pytest.approx(0.1 / (2 * np.pi**0.5), rel=0.5)


def test_wafers_without_a_die_in_common() -> None:
    left, right = X < 0, X > 0
    values = np.random.default_rng(29).normal(size=(X.size, 1))
    a = WaferMap(X[left], Y[left], values[left])
    b = WaferMap(X[right], Y[right], values[right])
    assert same_values(a, b).share is None
    assert orientation_suspicion(a, [b]).best is None


@pytest.mark.parametrize(
    ("x", "n_parameters", "message"),
    [
        (np.array([0.25, 1.0]), 1, "half die pitches"),
        (np.array([1.0, 1.0]), 1, "twice"),
        (np.array([1.0, 2.0]), 2, "same parameters"),
        (np.array([1.0]), 1, "shape"),
    ],
)
def test_misuse_is_refused(x: FloatArray, n_parameters: int, message: str) -> None:
    good = WaferMap(np.array([1.0, 2.0]), np.zeros(2), np.zeros((2, 1)))
    bad = WaferMap(x, np.zeros(x.size), np.zeros((2, n_parameters)))
    with pytest.raises(ValueError, match=message):
        same_values(good, bad)
    with pytest.raises(ValueError, match=message):
        orientation_suspicion(good, [bad])
