"""How often the intervals of variance components hold what was planted.

Wafers of a lot and dies of a wafer are drawn from normal distributions whose variances add to 1;
the share of the wafers' is 0, 0.1 or 0.5. Lots of 3 wafers are in the table only: the program
states no interval of the spread between fewer than 5. Where the share is small the lower end is
often zero and cannot miss, so that an interval of two sides holds 97.5 % and more: what is asked
there is that it holds enough, and misses on the one side that can miss no more often than 2.5 %.

The reduced form takes 4,000 balanced lots of a kind; the full form 10,000 of all kinds, and it
writes the table of results.
"""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sitegen.compute.over_wafers.measured_part import measured_part
from sitegen.compute.stats.clusters import LEAST_WAFERS
from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.nested_reml import (
    fit,
    profile_intervals,
    rises_without,
    threshold,
)
from tests.compute.over_wafers.sample_data import sample
from tests.compute.stats.test_gauge import held as held_by_gauge

REDUCED, IN_FULL = 4_000, 10_000
BAND = (0.93, 0.97)
SHARES = (0.0, 0.1, 0.5)
SIZES: dict[str, tuple[int, ...]] = {
    "3 of 20": (20,) * 3,
    "5 of 20": (20,) * 5,
    "10 of 20": (20,) * 10,
    "5 of 5": (5,) * 5,
    "5 of 100": (100,) * 5,
    "5 unequal": (5, 10, 20, 20, 60),
    "10 unequal": (2, 3, 5, 10, 10, 20, 20, 20, 30, 60),
}
RESULTS = Path(__file__).with_name("variance_coverage.md")


@dataclass(frozen=True)
class Held:
    """Shares of lots."""

    wafer: float
    """Whose interval of the wafers' component holds it."""
    nearer: float
    """The same with the deviance's rise cut as for an interval a tenth shorter."""
    above: float
    """Whose interval begins above the component."""
    die: float
    """Whose interval of the dies' component holds it."""


def held(sizes: tuple[int, ...], share: float, n: int) -> Held:
    """Over n lots."""
    rng = np.random.default_rng(len(sizes) + int(100 * share))
    label = np.repeat(np.arange(len(sizes)), sizes)
    value = np.sqrt(share) * rng.normal(size=(len(sizes), n))[label]
    value = value + np.sqrt(1 - share) * rng.normal(size=(len(label), n))
    data = design([label], value)
    best = fit(data)
    without = rises_without(data, best)
    rises = np.array([threshold(one, 0.95) for one in data.degrees_of_freedom])
    lower, upper = profile_intervals(data, best, rises, without)
    near_lower, near_upper = profile_intervals(data, best, 0.81 * rises, without)
    return Held(
        wafer=float(((lower[1] <= share) & (share <= upper[1])).mean()),
        nearer=float(((near_lower[1] <= share) & (share <= near_upper[1])).mean()),
        above=float((lower[1] > share).mean()),
        die=float(((lower[0] <= 1 - share) & (1 - share <= upper[0])).mean()),
    )


def in_order(sizes: tuple[int, ...], share: float, found: Held) -> bool:
    """Whether the intervals hold what they should."""
    if not BAND[0] <= found.die <= BAND[1]:
        return False
    if len(sizes) < LEAST_WAFERS:
        return True
    most = BAND[1] if share == 0.5 else 1.0
    return BAND[0] <= found.wafer <= most and found.above <= 0.03


@pytest.mark.parametrize("name", ["5 of 20", "10 of 20"])
def test_components(name: str) -> None:
    for share in SHARES:
        found = held(SIZES[name], share, REDUCED)
        assert in_order(SIZES[name], share, found), (share, found)


def test_shorter_intervals_are_refused() -> None:
    """Lots with half of the variance between wafers: a tenth shorter, they hold 92.9 % or less."""
    found = [held(SIZES[name], 0.5, REDUCED).nearer for name in ("5 of 20", "10 of 20")]
    assert max(found) < BAND[0] + 0.002
    assert float(np.mean(found)) < BAND[0]


def test_likelihood_ratio_keeps_its_size() -> None:
    """Lots whose wafers do not differ: the halved p-value is below 5 % in no more than 5 %."""
    rng = np.random.default_rng(12)
    for sizes in ((20,) * 5, (2, 3, 5, 10, 20, 30)):
        label = np.repeat(np.arange(len(sizes)), sizes)
        data = design([label], rng.normal(size=(len(label), 2000)))
        rise = rises_without(data, fit(data))[1]
        assert 0.01 < (rise > 2.705543).mean() <= 0.05


def held_of_dies(n: int, own: float) -> float:
    """Share of lots of 3 wafers of 20 dies whose interval of the dies' own spread holds it.

    The dies' standard deviation is 1, and `own` that of the measurement, known."""
    rng = np.random.default_rng(7)
    inside = 0
    like = sample([np.zeros(20)] * 3, u=own, u_own=own, u_shared=0.0)
    for _ in range(n):
        values = rng.normal(0, np.hypot(1, own), (3, 20)) + rng.normal(size=(3, 1))
        found = measured_part(replace(like, value=values.ravel())).spread_of_dies
        assert found.lower is not None and found.upper is not None
        inside += found.lower <= 1 <= found.upper
    return inside / n


def test_spread_of_dies() -> None:
    n = 4000
    for own in (0.3, 1.0):
        assert held_of_dies(n, own) == pytest.approx(0.95, abs=3.5 * np.sqrt(0.95 * 0.05 / n))


@pytest.mark.full
def test_components_in_full() -> None:
    """Writes the table of results as well."""
    found = {
        (name, share): held(sizes, share, IN_FULL)
        for name, sizes in SIZES.items()
        for share in SHARES
    }
    gauge = {
        (appraisers, between, interaction): held_by_gauge(
            appraisers, between, interaction, IN_FULL // 5
        )
        for appraisers in (2, 3, 4)
        for between, interaction in ((0.0, 0.0), (1.0, 0.0), (1.0, 0.5), (4.0, 0.0))
    }
    dies = {own: held_of_dies(IN_FULL // 5, own) for own in (0.0, 0.3, 1.0)}
    RESULTS.write_text(_table(found, gauge, dies), encoding="utf-8")
    wrong = {key: one for key, one in found.items() if not in_order(SIZES[key[0]], key[1], one)}
    assert wrong == {}
    too_short = [one.nearer for (name, share), one in found.items() if share == 0.5]
    assert float(np.mean(too_short)) < BAND[0]
    stated = [(key, name) for key, one in gauge.items() for name in one if name != "nearer"]
    assert [(key, name) for key, name in stated if gauge[key][name] < BAND[0]] == []
    assert all(BAND[0] <= share <= BAND[1] for share in dies.values())


def _table(
    found: dict[tuple[str, float], Held],
    gauge: dict[tuple[int, float, float], dict[str, float]],
    dies: dict[float, float],
) -> str:
    rows = "\n".join(
        f"| {name} | {share:g} | {_percent(one.wafer)} | {_percent(one.nearer)} "
        f"| {_percent(one.above)} | {_percent(one.die)} |"
        for (name, share), one in found.items()
    )
    names = ("repeatability", "reproducibility", "combined", "part", "nearer")
    studies = "\n".join(
        f"| {appraisers} | {between:g} | {interaction:g} | "
        + " | ".join(_percent(one[name]) for name in names)
        + " |"
        for (appraisers, between, interaction), one in gauge.items()
    )
    alone = "\n".join(f"| {own:g} | {_percent(share)} |" for own, share in dies.items())
    return f"""\
# Coverage of variance components

Share of simulated lots and studies whose 95 % interval holds what was planted; written by
`python -m pytest -m full tests/compute/stats/test_variance_coverage.py` on {date.today()}.

## Wafers and dies

Profile likelihood with Bartlett's factor, {IN_FULL:,} lots of a kind. "Shorter": the wafers'
interval a tenth shorter. "Above": the interval begins above the component; where the component is
zero this is the only way to miss. No interval of the wafers' spread is stated below
{LEAST_WAFERS} wafers; lots of 3 are here to show what it would be worth.

| wafers of dies | share of wafers | wafers | shorter | above | dies |
|---|---|---|---|---|---|
{rows}

## Repeatability and reproducibility

Modified large-sample intervals, 10 dies touched twice by each appraiser, repeats with variance 1
and dies with variance 9, {IN_FULL // 5:,} studies of a kind. "Shorter": repeatability, a tenth
shorter.

| appraisers | their variance | interaction | repeat. | reprod. | both | dies | shorter |
|---|---|---|---|---|---|---|---|
{studies}

## Spread of the dies without the measurement

3 wafers of 20 dies, whose standard deviation is 1, {IN_FULL // 5:,} lots of a kind.

| own uncertainty | held |
|---|---|
{alone}
"""


def _percent(share: float) -> str:
    return f"{100 * share:.2f} %"
