"""What the outcomes of its values make of a die, and whether it conforms."""

from itertools import product

import numpy as np
import pytest

from sitegen.compute.conformity import Outcome
from sitegen.compute.die_verdict import conforms, die_verdict, judged_in_full

IN, NP, NR = Outcome.WITHIN, Outcome.NOT_PROVEN, Outcome.NOT_REFUTED
OUT, NA, NM = Outcome.OUTSIDE, Outcome.NOT_ASSESSABLE, Outcome.NOT_MEASURED


@pytest.mark.parametrize(
    ("outcomes", "standing", "expected"),
    [
        ([IN, IN, IN], [True, True, True], IN),
        ([IN, NP, IN], [True, True, True], NP),
        ([NR, NP, IN], [True, True, True], NR),
        ([NR, NP, NA], [True, True, True], NA),
        ([OUT, NR, IN], [True, True, True], OUT),
        ([NR, IN, IN], [False, True, True], NA),
        ([IN, NP, NA], [True, True, True], NA),
        ([OUT, NP, NA], [True, True, True], OUT),
        ([IN, IN, IN], [True, False, True], NA),
        ([IN, OUT, IN], [True, False, True], NA),
        ([OUT, OUT, IN], [True, False, False], OUT),
        ([NP, OUT, IN], [True, False, True], NA),
    ],
)
def test_die_precedence(outcomes: list[Outcome], standing: list[bool], expected: Outcome) -> None:
    assert die_verdict([outcomes], [standing], True, True).tolist() == [expected]


def test_die_with_gaps() -> None:
    """Four dies with parameters of which the last has no limits."""
    outcome = [
        [IN, Outcome.NOT_MEASURED, Outcome.NO_LIMITS],
        [OUT, Outcome.NOT_MEASURED, Outcome.NO_LIMITS],
        [Outcome.NOT_MEASURED] * 3,
        [Outcome.NOT_MEASURED, Outcome.NOT_MEASURED, Outcome.NO_LIMITS],
    ]
    measured = np.array(outcome) != Outcome.NOT_MEASURED
    limits = [True, True, False]
    as_planned = die_verdict(outcome, True, limits, measured)
    assert as_planned.tolist() == [NA, OUT, Outcome.NOT_MEASURED, NA]
    one_planned = die_verdict(outcome, True, limits, measured, [True, False, True])
    assert one_planned.tolist() == [IN, OUT, Outcome.NOT_MEASURED, NA]
    none_limited = die_verdict(outcome, True, False, measured)
    nothing = Outcome.NO_LIMITS
    assert none_limited.tolist() == [nothing, nothing, Outcome.NOT_MEASURED, nothing]


def test_a_parameter_without_limits_needs_no_standing() -> None:
    found = die_verdict([[IN, Outcome.NO_LIMITS]], [[True, False]], [True, False], True)
    assert found.tolist() == [IN]


@pytest.mark.parametrize(
    ("outcomes", "conforming", "expected"),
    [
        ([IN, IN], (IN,), True),
        ([IN, NP], (IN,), False),
        ([IN, NP], (IN, NP), True),
        ([NR, NP], (IN, NR), False),
        ([NR, NP], (IN, NP, NR), True),
        ([OUT, IN], (IN, NP, NR), False),
        ([NA, IN], (IN, NP, NR), False),
        ([NM, IN], (IN, NP, NR), False),
        ([OUT, IN], (IN, OUT), False),
    ],
)
def test_a_die_conforms_by_the_declared_outcomes(
    outcomes: list[Outcome], conforming: tuple[Outcome, ...], expected: bool
) -> None:
    measured = [one != NM for one in outcomes]
    found = conforms([outcomes], True, True, [measured], conforming=conforming)
    assert found.tolist() == [expected]


def test_conforming_over_every_combination() -> None:
    """All outcomes and standings of three values under all declared sets, by the definition."""
    every = list(product(list(Outcome)[:6], (True, False)))
    cases = list(product(every, repeat=3))
    outcome = np.array([[one for one, _ in case] for case in cases])
    standing = np.array([[stands for _, stands in case] for case in cases])
    measured = outcome != NM
    for conforming in ((IN,), (IN, NP), (IN, NR), (IN, NP, NR)):
        found = conforms(outcome, standing, True, measured, conforming=conforming)
        expected = [all(one in conforming and stands for one, stands in case) for case in cases]
        assert found.tolist() == expected
    whole = judged_in_full(outcome, standing, True, measured)
    assert whole.tolist() == [
        all(one in (IN, NP, NR, OUT) and stands for one, stands in case) for case in cases
    ]
    verdict = die_verdict(outcome, standing, True, measured)
    assert ((verdict == IN) == conforms(outcome, standing, True, measured)).all()


def test_a_die_without_a_value_to_count_does_not_conform() -> None:
    assert conforms([[Outcome.NO_LIMITS]], True, False, True).tolist() == [False]
    assert conforms(np.empty((2, 0)), True, True, True).tolist() == [False, False]
    assert die_verdict(np.empty((2, 0)), True, True, True).tolist() == [NM, NM]
