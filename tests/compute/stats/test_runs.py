"""Run rules: each rule on a row written for it, and chance against every order and simulation."""

import math
from itertools import permutations, product

import numpy as np
import pytest
from scipy.stats import norm

from sitegen.compute.stats.runs import (
    ALTERNATING,
    BEYOND,
    CHANCES,
    SIDE,
    STEADY,
    expected_signals,
    run_signals,
)


def signals(values: list[float]) -> dict[str, int]:
    found = run_signals(values)
    assert found is not None
    return {name: n for name, n in found if n}


def test_each_rule_on_a_row_of_its_own() -> None:
    zigzag = [1.0, -1.0, 0.9, -1.1, 1.2, -0.8, 1.0, -1.0, 1.1, -0.9, 0.7, -1.2]
    assert signals(zigzag) == {}
    assert signals([*zigzag, 1.0, -1.0]) == {ALTERNATING: 1}
    assert signals([*zigzag, 1.0, -1.0, 1.1, -0.7]) == {ALTERNATING: 3}
    assert signals([0.0, 0.1, -0.1, 0.0, 0.0, 0.1, -0.1, 5.0]) == {BEYOND: 1}
    assert signals([0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 2.0]) == {STEADY: 1}
    assert STEADY not in signals([0.5, 1.0, 2.0, 3.0, 4.0, 4.0, 5.0]), "equal ones do not rise"
    one_side = [3.0, 1.0, 2.0, 1.0, 3.0, 2.0, 1.0, 2.0, 1.0]
    other = [-value for value in one_side]
    assert signals([*one_side, *other]) == {SIDE: 2}
    assert signals([*one_side[:8], 0.0, *other[:8]]) == {}, "the centre is on neither side"


def test_nothing_to_judge() -> None:
    assert run_signals([]) is None
    assert run_signals([1.0]) is None
    assert run_signals([2.0] * 30) is None
    with pytest.raises(ValueError, match="finite"):
        run_signals([1.0, np.nan])
    assert expected_signals(0) == 0.0
    assert expected_signals(5) == pytest.approx(5 * 0.0026998, rel=1e-4)


def test_chances_are_those_of_every_order() -> None:
    """Tests 2 and 3 counted over all rows of signs and all orders; 4 by its known recursion."""
    alike = sum(len(set(signs)) == 1 for signs in product((-1, 1), repeat=9))
    assert CHANCES[1] == alike / 2**9
    rising = sum(
        order in ((0, 1, 2, 3, 4, 5), (5, 4, 3, 2, 1, 0)) for order in permutations(range(6))
    )
    assert CHANCES[2] == rising / math.factorial(6)
    zigzags = [1, 1]  # 2 E(n+1) = sum of C(n, k) E(k) E(n-k) (André 1879)
    for n in range(1, 14):
        zigzags.append(
            sum(math.comb(n, k) * zigzags[k] * zigzags[n - k] for k in range(n + 1)) // 2
        )
    assert CHANCES[3] == pytest.approx(2 * zigzags[14] / math.factorial(14), rel=1e-15)
    assert CHANCES[0] == pytest.approx(2 * norm.sf(3), rel=1e-12)


@pytest.mark.parametrize(("n", "most"), [(50, 0.80), (100, 0.91), (300, 0.97)])
def test_clean_values_give_as_many_signals_as_stated(n: int, most: float) -> None:
    """1,500 rows of normal values; centre and sigma found from the row itself give fewer runs on
    one side, so that short rows stay below what is stated: by 8 % at 50, 5 % at 100."""
    rng = np.random.default_rng(n)
    counts = [sum(signals(row).values()) for row in rng.normal(3.0, 2.0, (1500, n)).tolist()]
    error = np.std(counts) / math.sqrt(len(counts))
    stated = expected_signals(n)
    assert most * stated - 4 * error <= np.mean(counts) <= stated + 4 * error


def test_a_slow_change_gives_more_than_chance() -> None:
    rng = np.random.default_rng(8)
    row = rng.normal(0, 1, 100) + 2 * np.sin(np.arange(100) / 12)
    assert sum(signals(row.tolist()).values()) > 4 * expected_signals(100)
