"""Which sweep stands for a wafer where no value can tell: the one nearest the pointwise median."""

import numpy as np
import numpy.typing as npt
import pytest

from sitegen.compute.typical_sweeps import nearest_the_median

Complex = npt.NDArray[np.complex128]
NAN = complex(np.nan, np.nan)


def sweeps(n: int, seed: int = 7) -> Complex:
    """Random S-parameters of n two-ports at 5 frequencies."""
    random = np.random.default_rng(seed)
    shape = (n, 5, 2, 2)
    return np.asarray(random.normal(size=shape) + 1j * random.normal(size=shape))


def by_loops(s: Complex) -> list[float]:
    """The rule's distances, a number at a time."""
    found = []
    for one in s:
        total = 0.0
        for place in np.ndindex(s.shape[1:]):
            here = sorted(s[(slice(None), *place)].real), sorted(s[(slice(None), *place)].imag)
            middle = [(part[(len(part) - 1) // 2] + part[len(part) // 2]) / 2 for part in here]
            total += (one[place].real - middle[0]) ** 2 + (one[place].imag - middle[1]) ** 2
        found.append(total)
    return found


@pytest.mark.parametrize("n", [1, 2, 5, 8])
def test_it_is_the_least_distance_as_counted_by_hand(n: int) -> None:
    s, places = sweeps(n), list(range(n))
    best = nearest_the_median(s, places, places)
    distances = by_loops(s)
    assert distances[best] == pytest.approx(min(distances), rel=1e-12)


def test_the_order_of_the_dies_and_a_common_offset_change_nothing() -> None:
    s, x = sweeps(9), np.arange(9)
    best = nearest_the_median(s, x, 0 * x)
    order = np.random.default_rng(1).permutation(9)
    assert order[nearest_the_median(s[order], x[order], 0 * x)] == best
    assert nearest_the_median(s + (0.25 - 0.5j), x, 0 * x) == best


def test_ties_go_to_the_lowest_row_then_column() -> None:
    s = np.ones((4, 3, 1, 1), np.complex128)
    assert nearest_the_median(s, [1, 3, 2, 0], [1, 0, 0, 1]) == 2
    assert nearest_the_median(s[:1], [1], [1]) == 0


def test_a_point_that_is_not_determined_everywhere_takes_no_part() -> None:
    s = sweeps(5)
    spoiled = s.copy()
    spoiled[3, 2] = NAN
    kept = np.delete(s, 2, axis=1)
    x = list(range(5))
    assert nearest_the_median(spoiled, x, x) == nearest_the_median(kept, x, x)


def test_without_a_common_point_the_most_complete_is_taken() -> None:
    s = np.full((3, 4, 1, 1), NAN)
    s[0, 0], s[1, 1:3], s[2, 3] = 1, 1, 1
    assert nearest_the_median(s, [0, 1, 2], [0, 0, 0]) == 1
