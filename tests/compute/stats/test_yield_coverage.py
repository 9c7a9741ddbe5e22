"""How often the interval of the process's yield holds it, with wafers whose dies are alike.

The full form, `python -m pytest -m full tests/compute/stats/test_yield_coverage.py`, runs every
case and writes the table beside this file.
"""

from collections.abc import Iterator
from datetime import date
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from sitegen.compute.stats.clustered_share import clustered_share, share_intervals
from tests.compute.stats.process_yields import (
    LEAST,
    UNEQUAL,
    Case,
    Counts,
    Ends,
    coverage,
    effective_exact,
    median_width,
    narrowed,
    pooled_wilson,
    simulated,
)

RESULTS = Path(__file__).with_name("yield_coverage.md")
SETS = 4000
SHARES = (0.5, 0.7, 0.8, 0.9, 0.95, 0.98)
CORRELATIONS = (0.0, 0.01, 0.05, 0.2)
SIZES = (
    *((size,) * n for n in (5, 10, 24) for size in (88, 300)),
    UNEQUAL,
    UNEQUAL * 2,
)
HARD = (Case((88,) * 5, 0.5, 0.2), Case((300,) * 5, 0.98, 0.05))
OTHER_LAWS = tuple(
    Case(sizes, share, correlation, law)
    for law in ("logit-normal", "probit-normal")
    for sizes in ((88,) * 5, (300,) * 10, (88,) * 24)
    for correlation in (0.01, 0.05, 0.2)
    for share in (0.5, 0.9, 0.95, 0.98)
)


def method(conforming: Counts, judged: Counts) -> Ends:
    """The program's intervals, some hundred sets at a time."""
    parts = [
        share_intervals(conforming[first : first + 500], judged)
        for first in range(0, len(conforming), 500)
    ]
    return np.concatenate([low for low, _ in parts]), np.concatenate([high for _, high in parts])


@pytest.mark.parametrize("case", [*HARD, Case((88,) * 24, 0.9, 0.0)], ids=str)
def test_covers_at_least_93_of_100(case: Case) -> None:
    assert coverage(method, case, SETS, seed=1) >= LEAST


def test_an_interval_a_tenth_too_small_fails_the_check() -> None:
    assert coverage(narrowed(method), HARD[0], SETS, seed=1) < LEAST


# 264 dies on 3 wafers: an independent program's figures at intraclass correlations 0.01 and 0.05.
@pytest.mark.parametrize(("correlation", "covered"), [(0.01, 0.85), (0.05, 0.61)])
def test_a_pooled_interval_fails_the_check(correlation: float, covered: float) -> None:
    found = coverage(pooled_wilson, Case((88,) * 3, 0.9, correlation), 20_000, seed=2)
    assert found == pytest.approx(covered, abs=0.015)
    assert found < LEAST


def test_a_t_interval_at_the_effective_size_fails_the_check() -> None:
    assert coverage(effective_exact, Case((88,) * 5, 0.98, 0.2), SETS, seed=3) < 0.8


@pytest.mark.full
def test_every_case() -> None:
    """Writes the table; no case may cover less than 93 %, but for the simulation's own spread."""
    cases = [
        Case(sizes, share, correlation)
        for sizes in SIZES
        for correlation in CORRELATIONS
        for share in SHARES
    ]
    found = [(case, *_figures(case, seed)) for seed, case in enumerate(cases)]
    others = [(case, coverage(method, case, SETS, seed)) for seed, case in enumerate(OTHER_LAWS)]
    correlations = list(_correlations())
    RESULTS.write_text(_page(found, others, correlations), encoding="utf-8")
    assert [row for row in found if row[1] < LEAST] == []
    assert sum(row[2] < LEAST for row in found) > len(found) / 2, "the pooled interval"
    assert all(held >= LEAST for _, held in correlations)


def _figures(case: Case, seed: int) -> tuple[float, float, float, float]:
    """Covered by the program, by pooling, by the t interval; and the median width."""
    return (
        coverage(method, case, SETS, seed),
        coverage(pooled_wilson, case, SETS, seed),
        coverage(effective_exact, case, SETS, seed),
        median_width(method, case, 500, seed),
    )


def _correlations(sets: int = 1000) -> Iterator[tuple[Case, float]]:
    """How often the interval of the intraclass correlation holds it, where one is stated."""
    for sizes, share in product(((88,) * 5, (300,) * 5, (88,) * 10, (300,) * 24), (0.9, 0.98)):
        for correlation in CORRELATIONS:
            case = Case(sizes, share, correlation)
            stated = [clustered_share(row, case.judged) for row in simulated(case, sets, seed=5)]
            held = [
                one.correlation_lower <= correlation <= one.correlation_upper
                for one in stated
                if one.correlation_lower is not None and one.correlation_upper is not None
            ]
            yield case, float(np.mean(held))


Row = tuple[Case, float, float, float, float]


def _page(
    found: list[Row], others: list[tuple[Case, float]], correlations: list[tuple[Case, float]]
) -> str:
    rows = "".join(
        f"| {case.wafers} | {case.correlation:g} | {case.share:g} | {held:.1%} | {pooled:.1%} |"
        f" {effective:.1%} | {width:.3f} |\n"
        for case, held, pooled, effective, width in found
    )
    by_law = "".join(
        f"| {case.law} | {case.wafers} | {case.correlation:g} | {case.share:g} | {held:.1%} |\n"
        for case, held in others
    )
    of_correlation = "".join(
        f"| {case.wafers} | {case.correlation:g} | {case.share:g} | {held:.1%} |\n"
        for case, held in correlations
    )
    return f"""# How often the interval of the process's yield holds it

Simulated; written on {date.today()} by the full form of `test_yield_coverage.py`:

    python -m pytest -m full tests/compute/stats/test_yield_coverage.py

{SETS} sets of wafers a row; each wafer's own yield is drawn from a beta law, then its dies.
"Covered" is the program's 95 % interval, "pooled" Wilson's over all dies as if they were
independent, "t" Clopper and Pearson's at the effective sample size of Korn and Graubard. One
standard deviation of the simulation is 0.3 %. The least coverage of the program is
{min(row[1] for row in found):.1%}, of the others {min(row[2] for row in found):.1%} and
{min(row[3] for row in found):.1%}.

| wafers x dies | intraclass correlation | yield | covered | pooled | t | median width |
|---|---|---|---|---|---|---|
{rows}
## Where the wafers' yields follow another law

The beta law is an assumption. With these the program's interval holds the yield so often; a
logit-normal law has the longer tail of bad wafers.

| law | wafers x dies | intraclass correlation | yield | covered |
|---|---|---|---|---|
{by_law}
## The intraclass correlation

1000 sets a row, so that one standard deviation of the simulation is 0.7 %; sets without an
estimate (every die conforms, or none) are left out.

| wafers x dies | intraclass correlation | yield | covered |
|---|---|---|---|
{of_correlation}"""
