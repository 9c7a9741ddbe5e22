"""Control charts against the NIST/SEMATECH e-Handbook's worked examples and by simulation."""

import numpy as np
import pytest

from sitegen.compute.stats.control import (
    AVERAGE,
    BASIS,
    BEYOND,
    D2,
    SIDE,
    control_limits,
    ewma,
    signals,
    weighted_average,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.followed_results import POINTS_A_FALSE_SIGNAL, SIGNAL_RULES, ControlLimits

KNOWN = ControlLimits(0.0, -3.0, 3.0, 1.0, BASIS, False)

# e-Handbook 6.3.2.2, flow rate of ten batches (quoted from memory; the printed figures follow from
# the printed data, whose sum is 508.1 and whose moving ranges sum to 16.9).
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)

# e-Handbook 6.3.2.4: target 50, s = 2.0539, weight 0.3, width 3 (quoted from memory).
EWMA_DATA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)
EWMA_PRINTED = (
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
)


def test_limits_of_single_values_are_the_handbooks() -> None:
    limits = control_limits(FLOW)
    assert limits is not None
    assert round(limits.centre, 2) == 50.81
    assert round(limits.sigma * D2, 4) == 1.8778
    assert (round(limits.upper, 4), round(limits.lower, 4)) == (55.8041, 45.8159)
    assert (limits.basis, limits.provisional) == (10, True)


def test_the_factor_is_the_one_that_tables_print() -> None:
    """Limits at 2.66 mean moving ranges; 1.128 is 2/sqrt(pi)."""
    limits = control_limits(FLOW)
    assert limits is not None
    assert round((limits.upper - limits.centre) / np.mean(np.abs(np.diff(FLOW))), 2) == 2.66
    assert pytest.approx(2 / np.sqrt(np.pi), abs=5e-4) == D2


def test_the_average_is_the_handbooks() -> None:
    found = weighted_average(EWMA_DATA, 50.0, 2.0539, 0.3, 3.0)
    assert np.round(found.values, 2) == pytest.approx(EWMA_PRINTED, abs=0.0051)
    assert not found.signals().any()


def test_the_averages_limits_become_the_handbooks() -> None:
    """It prints the limits for many points, 52.5884 and 47.4115(6); ours begin narrower."""
    found = weighted_average(np.full(200, 50.0), 50.0, 2.0539, 0.3, 3.0)
    assert (round(found.upper[-1], 4), found.lower[-1]) == (52.5884, pytest.approx(47.41156, 1e-6))
    assert found.upper[0] == pytest.approx(50 + 3 * 2.0539 * 0.3)


def test_limits_stay_with_the_first_points() -> None:
    first = np.random.default_rng(3).normal(size=BASIS)
    drifting = np.concatenate([first, np.linspace(0, 40, 40)])
    assert control_limits(drifting) == control_limits(first)
    limits = control_limits(first)
    assert limits is not None and not limits.provisional
    short = control_limits(first[:-1])
    assert short is not None and short.provisional


@pytest.mark.parametrize("values", [(), (1.0,), (2.0, 2.0, 2.0), (0.1 + 0.2, 0.3, 0.3)])
def test_no_limits_follow_from_too_little(values: tuple[float, ...]) -> None:
    assert control_limits(values) is None


@pytest.mark.parametrize("values", [(1.0, np.nan), ((1.0, 2.0), (3.0, 4.0))])
def test_what_is_no_row_of_values_is_refused(values: object) -> None:
    with pytest.raises(ValueError, match="one row of finite values"):
        control_limits(values)  # type: ignore[arg-type]


def test_each_rule_at_its_point() -> None:
    quiet = [0.5, -0.5] * 3
    assert signals([*quiet, 3.1, -3.1, 3.0], KNOWN) == (*[()] * 6, (BEYOND,), (BEYOND,), ())
    run = signals([-0.1, *[0.2] * 10, 0.0, 0.2], KNOWN)
    assert run == (*[()] * 9, (SIDE,), (SIDE,), (), ())
    assert signals([-0.2] * 8 + [0.0] + [-0.2] * 8, KNOWN) == ((),) * 17


def test_the_average_sees_a_shift_that_no_limit_does() -> None:
    shifted = np.full(12, 1.5)
    assert not any(BEYOND in names for names in signals(shifted, KNOWN))
    assert np.flatnonzero(ewma(shifted, 0.0, 1.0).signals())[0] < 6


def first_signals(draws: FloatArray, rules: set[str]) -> FloatArray:
    """Number of points until the first signal in each row; rows are long enough to hold one."""
    lengths = []
    for row in draws:
        broken = np.array([bool(rules & set(names)) for names in signals(row, KNOWN)])
        if AVERAGE in rules:
            broken |= ewma(row, 0.0, 1.0).signals()
        lengths.append(np.flatnonzero(broken)[0] + 1)
    return np.array(lengths, dtype=np.float64)


# Without a shift: 370.4 by one rule is 1/(2 (1 - Phi(3))), exact. With nine in a row, and with the
# average too: as stated beside the rules' names. Four standard errors of the mean are allowed.
@pytest.mark.parametrize(
    ("rules", "expected"),
    [({BEYOND}, 370.4), ({BEYOND, SIDE}, 225.0), (set(SIGNAL_RULES), POINTS_A_FALSE_SIGNAL)],
    ids=["limits", "limits and run", "all"],
)
def test_points_until_a_false_signal(rules: set[str], expected: float) -> None:
    assert rules <= set(SIGNAL_RULES)
    found = first_signals(np.random.default_rng(11).normal(size=(250, 5000)), rules)
    error = found.std() / np.sqrt(len(found))
    assert abs(found.mean() - expected) < 4 * error
    assert error < 0.08 * expected


def test_stretches_of_thirty_points_with_a_false_signal() -> None:
    """With limits from the first 20 of them: 23 %, as stated; four standard errors."""
    rng = np.random.default_rng(12)
    hits = 0
    for _ in range(1500):
        values = rng.normal(size=30)
        limits = control_limits(values)
        assert limits is not None
        hits += any(signals(values, limits)) or bool(
            ewma(values, limits.centre, limits.sigma).signals().any()
        )
    assert abs(hits / 1500 - 0.23) < 4 * np.sqrt(0.23 * 0.77 / 1500)
