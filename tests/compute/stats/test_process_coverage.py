"""Intervals for a process whose dies are alike within wafers hold at every correlation.

Mean squares are drawn by their laws: wafers' means normal, the mean square within wafers
chi-squared. The process has mean 0 and standard deviation 1.
"""

import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from sitegen.compute.stats.capability import nearer_interval
from sitegen.compute.stats.clusters import (
    Clusters,
    mean_reach,
    one_sided_reach,
    pooled_ends,
    spread_ends,
    two_sided_reach,
)

CORRELATIONS = (0.0, 0.01, 0.05, 0.2)
SHORT_SIZES = ((5, 4), (5, 300), (10, 20), (24, 300))
FULL_SIZES = ((5, 4), (5, 20), (5, 300), (10, 4), (10, 20), (10, 300), (24, 4), (24, 300))
INDICES = (0.33, 1.33)
SHORT, FULL = 1500, 10_000
LEAST = 0.93
RESULTS = Path(__file__).parent / "process_coverage.md"


def drawn(wafers: int, dies: int, correlation: float, draws: int) -> list[Clusters]:
    rng = np.random.default_rng([wafers, dies, round(1000 * correlation)])
    between = correlation + (1 - correlation) / dies
    means = rng.normal(0, np.sqrt(between), (draws, wafers))
    df = wafers * (dies - 1)
    within = (1 - correlation) * rng.chisquare(df, draws) / df
    return [
        Clusters(wafers, wafers * dies, float(m.mean()), float(m.var(ddof=1)), float(w), dies)
        for m, w in zip(means, within, strict=True)
    ]


def holds(truth: float, found: float, ends: tuple[float, float], narrower: float) -> bool:
    """Whether the interval, made narrower about what was found, holds the truth."""
    return found - narrower * (found - ends[0]) <= truth <= found + narrower * (ends[1] - found)


def held(one: Clusters, correlation: float, narrower: float) -> dict[str, bool]:
    """Which intervals of one draw hold the truth, by figure."""
    sigma, inner, inside = (
        math.sqrt(one.variance),
        math.sqrt(one.within),
        math.sqrt(1 - correlation),
    )
    reach, total, within = mean_reach(one, 0.95), spread_ends(one, 0.95), pooled_ends(one, 0.95)
    bound = narrower * one_sided_reach(one, 0.95, 0.95)
    wide = narrower * two_sided_reach(one, 0.95, 0.95)
    found = {
        "mean": abs(one.mean) <= narrower * reach,
        "standard deviation, Pp": holds(1.0, sigma, total, narrower),
        "standard deviation within wafers, Cp": holds(inside, inner, within, narrower),
        "tolerance bound 95/95": bool(ndtr(one.mean + bound) >= 0.95),
        "tolerance interval 95/95": bool(ndtr(one.mean + wide) - ndtr(one.mean - wide) >= 0.95),
    }
    for index in INDICES:
        for sides in (1, 2):
            distance = 3 * index - (abs(one.mean) if sides == 2 else one.mean)
            limits = "one limit" if sides == 1 else "two limits"
            for name, spread, ends, truth in (
                ("Ppk", sigma, total, index),
                ("Cpk", inner, within, index / inside),
            ):
                interval = nearer_interval(distance, reach, spread, ends)
                found[f"{name}, Ppk {index}, {limits}"] = holds(
                    truth, distance / (3 * spread), interval, narrower
                )
    return found


def coverage(
    wafers: int, dies: int, correlation: float, draws: int, narrower: float = 1.0
) -> dict[str, float]:
    found = [held(one, correlation, narrower) for one in drawn(wafers, dies, correlation, draws)]
    return {name: sum(one[name] for one in found) / draws for name in found[0]}


@pytest.mark.parametrize("correlation", CORRELATIONS)
@pytest.mark.parametrize(("wafers", "dies"), SHORT_SIZES)
def test_every_interval_holds_what_it_says(wafers: int, dies: int, correlation: float) -> None:
    """No figure below 93 %; a standard error of the draws beside it is 0.6 %."""
    found = coverage(wafers, dies, correlation, SHORT)
    assert {name: share for name, share in found.items() if share < LEAST} == {}
    assert found["mean"] < 0.97
    assert found["standard deviation within wafers, Cp"] < 0.97


def test_narrower_intervals_would_be_seen() -> None:
    """All made a tenth narrower, at 24 wafers that do not differ: each figure falls below 93 %."""
    found = coverage(24, 300, 0.0, FULL, narrower=0.9)
    assert {name: share for name, share in found.items() if share >= LEAST} == {}


def test_dies_taken_as_independent_would_hold_too_little() -> None:
    """At a correlation of 0.05 on 5 wafers of 300 dies, the mean's interval holds under a half."""
    found = drawn(5, 300, 0.05, SHORT)
    assert sum(abs(one.mean) <= 1.96 / math.sqrt(1500) for one in found) / SHORT < 0.5


@pytest.mark.full
def test_table_of_coverage() -> None:
    least: dict[str, dict[int, float]] = {}
    most: dict[str, dict[int, float]] = {}
    narrow: dict[str, float] = {}
    for wafers, dies in FULL_SIZES:
        for correlation in CORRELATIONS:
            for name, share in coverage(wafers, dies, correlation, FULL).items():
                row, top = least.setdefault(name, {}), most.setdefault(name, {})
                row[wafers] = min(row.get(wafers, 1.0), share)
                top[wafers] = max(top.get(wafers, 0.0), share)
    for name, share in coverage(24, 300, 0.0, FULL, narrower=0.9).items():
        narrow[name] = share
    lines = [
        "# Coverage of intervals for the process",
        "",
        f"Least and greatest share of {FULL:,} simulated processes whose 95 % interval holds the",
        "truth, over 4, 20 and 300 dies a wafer (24 wafers: 4 and 300) and intraclass",
        f"correlations of 0, 0.01, 0.05 and 0.2; {date.today().isoformat()}, written by",
        "`python -m pytest -m full tests/compute/stats/test_process_coverage.py`. Last column:",
        "every interval a tenth narrower, at 24 wafers of 300 dies and a correlation of 0.",
        "",
        "| figure | 5 wafers | 10 wafers | 24 wafers | a tenth narrower |",
        "|---|---|---|---|---|",
    ]
    for name, row in least.items():
        cells = [f"{100 * row[k]:.1f} to {100 * most[name][k]:.1f} %" for k in (5, 10, 24)]
        lines.append(f"| {name} | {' | '.join(cells)} | {100 * narrow[name]:.1f} % |")
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert min(min(row.values()) for row in least.values()) >= LEAST
    assert max(narrow.values()) < LEAST
