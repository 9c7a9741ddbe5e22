"""How often correlations' intervals hold the truth, and how often a trend is told where none is.

The full form writes the table beside it; the reduced form looks at a few of its rows.
"""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sitegen.compute.over_wafers.relations import correlations
from sitegen.compute.over_wafers.trends import TOUCHDOWN, trends
from sitegen.compute.stats.correlation import fisher_interval, rank_interval
from sitegen.model.arrays import FloatArray
from sitegen.model.declared_statistics import Pair
from sitegen.model.statistics import Estimate
from tests.compute.over_wafers.sample_data import grid, sample
from tests.compute.relation_chain import MADE, PATHS, SURFACES, field, touched
from tests.compute.settings import parameter, setting

RESULTS = Path(__file__).with_name("relation_coverage.md")
PARAMETERS = 20
"""Of one simulated campaign: pairs of neighbours in the list are looked at."""


@dataclass(frozen=True)
class Row:
    """What one kind of wafers gives, as shares of its pairs."""

    name: str
    dies: int
    wafers: int
    rho: float
    pairs: int
    linear: float
    rank: float
    as_independent: float
    """Of Pearson's, were every die independent."""
    called: float
    """Ranks with p < 0.05; of rho = 0 these are errors."""
    freedom: float
    """Median."""


def held(name: str, radius: float, wafers: int, rho: float, campaigns: int) -> Row:
    """Pairs of parameters whose fields are normal with correlation rho, die by die."""
    dies = grid(radius)
    fields = {f"field over {n} dies": field(float(n), radius) for n in (2, 4)}
    kinds = {**SURFACES, **fields}
    noise = 0.0 if name.startswith("field") else 1.0
    record = setting(*(parameter(f"P{n}") for n in range(PARAMETERS))).campaign
    names = [(f"P{n}", f"P{n + 1}") for n in range(0, PARAMETERS, 2)]
    record = record.model_copy(
        update={
            "pairs": tuple(Pair(x=x, x_condition="RT", y=y, y_condition="RT") for x, y in names)
        }
    )
    rng = np.random.default_rng([len(dies), wafers, int(100 * rho), *name.encode()])

    def drawn() -> FloatArray:
        found = [kinds[name](dies, rng) + noise * rng.normal(size=len(dies)) for _ in range(wafers)]
        return np.array(found)

    truth = 6 / np.pi * np.arcsin(rho / 2)
    counts, freedom = np.zeros(4), []
    for _ in range(campaigns):
        columns: list[FloatArray] = []
        for _ in names:
            first = drawn()
            columns += [first, rho * first + np.sqrt(1 - rho**2) * drawn()]
        made = {
            (f"P{n}", "RT"): sample(list(one), dies=[dies] * wafers)
            for n, one in enumerate(columns)
        }
        for one in correlations(made, record)[: len(names)]:
            linear, rank = one.linear, one.rank
            assert linear.value is not None and one.freedom is not None
            low, high = fisher_interval(linear.value, one.n - one.wafers)
            hits = (
                _inside(linear, rho),
                _inside(rank, truth),
                bool(low <= rho <= high),
                one.p_value is not None and one.p_value < 0.05,
            )
            counts += np.array(hits, dtype=np.float64)
            freedom.append(one.freedom)
    n = campaigns * len(names)
    a, b, c, d = (float(count) / n for count in counts)
    return Row(name, len(dies), wafers, rho, n, a, b, c, d, float(np.median(freedom)))


def _inside(told: Estimate, truth: float) -> bool:
    return told.lower is not None and told.upper is not None and told.lower <= truth <= told.upper


@pytest.mark.parametrize(
    ("name", "radius", "wafers", "rho"),
    [
        ("nothing", 2.5, 1, 0.6),
        ("nothing", 5.6, 4, 0.0),
        ("field over 2 dies", 5.6, 1, 0.0),
        ("field over 2 dies", 5.6, 3, 0.6),
    ],
)
def test_intervals_hold_the_truth(name: str, radius: float, wafers: int, rho: float) -> None:
    """400 pairs, of which 93 % or more, less what so few cannot tell; without counting neighbours
    it would be 75 % and less."""
    row = held(name, radius, wafers, rho, 40)
    assert 0.905 <= row.linear <= 0.985
    assert 0.905 <= row.rank <= 0.99
    if name != "nothing":
        assert row.as_independent < 0.85
    if rho == 0:
        assert row.called <= 0.09


def trend_shares(path: str, surface: str, wafers: int) -> tuple[float, float, float, float]:
    """Shares of wafers with a stated trend, of those called at 5 %; signals, and those expected."""
    found = [
        one for one in trends(touched(surface, path, wafers, 11), MADE) if one.against == TOUCHDOWN
    ]
    stated = [one.p_value for one in found if one.p_value is not None]
    called = sum(p < 0.05 for p in stated)
    signals = float(np.mean([sum(n for _, n in one.runs) for one in found]))
    expected = found[0].expected_runs or 0.0
    return len(stated) / wafers, called / max(len(stated), 1), signals, expected


@pytest.mark.full
def test_the_whole_table() -> None:
    """Writes it; no less than 93 % where fields or independent dies were drawn.

    Planes and bowls are no such field: their rows say how much is missing there, and are claimed
    nowhere. What is asked of them is only that they hold far more than independent dies would.
    """
    rows = [
        held(name, radius, wafers, rho, 150)
        for name in (
            "nothing",
            "field over 2 dies",
            "field over 4 dies",
            "plane and bowl",
        )
        for radius in (2.5, 5.6, 9.7)
        for wafers in (1, 4)
        for rho in (0.0, 0.6)
    ]
    flags = [
        (path, surface, *trend_shares(path, surface, 2000))
        for path in PATHS
        for surface in SURFACES
    ]
    RESULTS.write_text(_table(rows, flags), encoding="utf-8")
    stationary = [one for one in rows if one.name.startswith(("nothing", "field"))]
    assert [one for one in stationary if one.dies > 90 and not 0.93 <= one.linear <= 0.975] == []
    planes = [one for one in rows if one.name == "plane and bowl"]
    assert [one for one in planes if 1 - one.linear > 0.4 * (1 - one.as_independent)] == []
    for path, surface, _, called, *_ in flags:
        if surface != "high edge":
            assert called <= 0.065, f"{path}, {surface}"
    n = 10_000
    rng = np.random.default_rng(1)
    x, y = rng.normal(size=(2, n, 100))
    x, y = x - x.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
    r = (x * y).sum(axis=1) / np.sqrt((x**2).sum(axis=1) * (y**2).sum(axis=1))
    for interval in (fisher_interval, rank_interval):
        low, high = interval(r, 99)
        narrow = np.abs(low + high) / 2 > 0.9 * (high - low) / 2
        assert 1 - narrow.mean() < 0.93, "a tenth too short is seen"


def _table(rows: list[Row], flags: list[tuple[str, str, float, float, float, float]]) -> str:
    lines = [
        "# Correlations and trends on simulated wafers",
        "",
        f"Written on {date.today()} by `python -m pytest -m full"
        " tests/compute/over_wafers/test_relation_coverage.py`.",
        "",
        "Correlations: share of 1,500 pairs whose 95 % interval holds the truth. Values are noise"
        " with, on each wafer and parameter anew, what the first column says over it; a field has"
        " no noise beside it. 'As independent': what Pearson's interval would hold were every die"
        " counted as independent. 'Called': rank test at 5 %; without correlation an error.",
        "",
        "| over the wafer | dies | wafers | correlation | Pearson's | Spearman's | as independent"
        " | called | worth (median) |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {one.name} | {one.dies} | {one.wafers} | {one.rho:g} | {100 * one.linear:.1f} %"
        f" | {100 * one.rank:.1f} % | {100 * one.as_independent:.1f} % | {100 * one.called:.1f} %"
        f" | {one.freedom:.0f} of {one.wafers * (one.dies - 1)} |"
        for one in rows
    ]
    lines += [
        "",
        "Trends: 2,000 wafers of 97 dies without any change in time. 'Stated': share of wafers of"
        " which the path lets a trend be told from place; 'called': of those, tested at 5 % without"
        " the adjustment over wafers. Signals: run rules a wafer, and how many are stated as"
        " expected.",
        "",
        "| path | over the wafer | stated | called | signals | expected |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {path} | {surface} | {100 * stated:.0f} % | "
        + (f"{100 * called:.1f} %" if stated else "-")
        + f" | {signals:.2f} | {expected:.2f} |"
        for path, surface, stated, called, signals, expected in flags
    ]
    return "\n".join(lines) + "\n"
