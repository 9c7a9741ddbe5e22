"""Signals of values in their order by a named set of run rules, and how many chance alone gives.

The rules are tests 1 to 4 of Nelson 1984, Journal of Quality Technology 16:237. A signal is a value
that completes what a rule describes: a run of eleven on one side gives three.
"""

import math

import numpy as np
import numpy.typing as npt

from sitegen.compute.stats.control import control_limits
from sitegen.model.arrays import FloatArray

BEYOND, SIDE, STEADY, ALTERNATING = RULES = (
    "one beyond three sigma",
    "nine on one side",
    "six rising or falling",
    "fourteen alternating",
)
"""Names of the rules, test 1 to test 4."""
_LENGTHS = (1, 9, 6, 14)
_UP_DOWN_14 = 199_360_981
"""Orders of 14 values that go up and down in turn, beginning with up (Euler's zigzag number)."""
CHANCES = (
    math.erfc(3 / math.sqrt(2)),
    2 * 0.5**9,
    2 / math.factorial(6),
    2 * _UP_DOWN_14 / math.factorial(14),
)
"""Of a value with enough before it, to complete each rule: independent normal values whose centre
and sigma are known; of the last two rules for any distribution."""


def run_signals(values: npt.ArrayLike) -> tuple[tuple[str, int], ...] | None:
    """How many of the values (n,), in their order, complete each rule.

    Centre: the mean; sigma: the mean moving range over 1.128 (`control.control_limits` of all the
    values), which slow changes hardly widen. A value on the centre is on neither side; equal
    neighbours neither rise nor fall. None where `control_limits` gives none. Raises ValueError for
    another shape or values that are not finite.
    """
    numbers = np.asarray(values, dtype=np.float64)
    limits = control_limits(numbers, basis=max(numbers.size, 1))
    if limits is None:
        return None
    beyond = (numbers < limits.lower) | (numbers > limits.upper)
    side = _lengths(np.sign(numbers - limits.centre))
    moves = np.sign(np.diff(numbers))
    steady = _lengths(moves)
    # Moves that alternate are steady once every other one is turned round.
    alternating = _lengths(moves * np.where(np.arange(len(moves)) % 2, -1.0, 1.0))
    counts = (
        beyond.sum(),
        (side >= _LENGTHS[1]).sum(),
        (steady >= _LENGTHS[2] - 1).sum(),
        (alternating >= _LENGTHS[3] - 1).sum(),
    )
    return tuple((name, int(n)) for name, n in zip(RULES, counts, strict=True))


def expected_signals(n: int) -> float:
    """How many signals of all rules together n values without any order give on average."""
    return sum(
        chance * max(n - length + 1, 0) for chance, length in zip(CHANCES, _LENGTHS, strict=True)
    )


def _lengths(signs: FloatArray) -> npt.NDArray[np.int64]:
    """(n,) how many equal signs in a row end at each place; 0 where the sign is zero."""
    place = np.arange(len(signs))
    begins = np.diff(signs, prepend=np.nan) != 0
    began = np.maximum.accumulate(np.where(begins, place, 0))
    return np.asarray(np.where(signs == 0, 0, place - began + 1))
