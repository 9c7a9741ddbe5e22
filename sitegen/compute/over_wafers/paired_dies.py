"""The values of one wafer before and after, die by die, and why some have no partner."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.compute.population import NEEDED
from sitegen.compute.rows import Rows, count_of, taken
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.declared_statistics import Remeasured
from sitegen.model.shift_results import LossKind, Lost

COLUMNS = [
    *NEEDED,
    "die_x",
    "die_y",
    "x_mm",
    "y_mm",
    "site",
    "standing_reasons",
    "outcome_reason",
]
"""Of the results, what pairs are made from."""
NOT_MEASURED = "not measured"
UNTOUCHED: frozenset[tuple[int, int]] = frozenset()
"""Of a record of which nothing is known but the parameter's own values."""
Key = tuple[int, int, str]
"""die_x, die_y and site."""


@dataclass(frozen=True)
class LostValue:
    """A number before without one after."""

    die: Key
    value: float
    """The number before."""
    kind: LossKind
    reason: str


@dataclass(frozen=True, eq=False)
class PairedDies:
    """One wafer before and after, of one parameter under one condition."""

    pair: Remeasured
    control: bool
    before: Rows
    after: Rows
    """n rows each, partner beside partner, by die_y, die_x and site."""
    had: int
    lost: tuple[LostValue, ...]
    appeared: tuple[tuple[str, int], ...]
    censored: int
    """Values after that are below a floor or were not reached, whatever was before."""
    reason: str = ""
    """Why the two were not compared at all."""

    @property
    def n(self) -> int:
        """How many values are paired."""
        return count_of(self.before)

    @property
    def difference(self) -> FloatArray:
        """(n,): after less before."""
        return np.asarray(self.after["value"] - self.before["value"])

    def losses(self) -> tuple[Lost, ...]:
        """Lost values by reason, devices first, then the most frequent."""
        counts = Counter((one.kind, one.reason) for one in self.lost)
        return in_order(Lost(kind, reason, n) for (kind, reason), n in counts.items())

    def by_die(self) -> tuple[npt.NDArray[np.int64], FloatArray, FloatArray]:
        """(n_die,) each: a row of each die, and the means over its sites before and after."""
        if not self.n:
            return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0)
        keys = np.stack([self.before["die_y"], self.before["die_x"]])
        first = np.flatnonzero(np.r_[True, np.any(keys[:, 1:] != keys[:, :-1], axis=0)])
        sites = np.diff(np.append(first, self.n))
        means = [
            np.add.reduceat(rows["value"], first) / sites for rows in (self.before, self.after)
        ]
        return first, means[0], means[1]


KIND_ORDER: tuple[LossKind, ...] = ("no value", "censored", "without standing", "not measured")


def in_order(lost: Iterable[Lost]) -> tuple[Lost, ...]:
    """Losses with those of devices first, the most frequent first within a kind."""
    return tuple(sorted(lost, key=lambda one: (KIND_ORDER.index(one.kind), -one.n, one.reason)))


def pair_dies(
    pair: Remeasured,
    control: bool,
    before: Rows,
    after: Rows,
    touched: frozenset[tuple[int, int]] = UNTOUCHED,
) -> PairedDies:
    """Pair the values of two records by die and site.

    before, after: rows of `COLUMNS` that count, of one parameter and condition, any number of each.
    touched: dies of the record after that have any value; where this one is missing on them, though
    it was measured elsewhere on the wafer, the device gave none.
    """
    places = [_places(rows) for rows in (before, after)]
    numbers = [_numbers(rows) for rows in (before, after)]
    pairs: list[tuple[int, int]] = []
    lost: list[LostValue] = []
    appeared: Counter[str] = Counter()
    for die in sorted(
        places[0].keys() | places[1].keys(), key=lambda die: (die[1], die[0], die[2])
    ):
        one, other = places[0].get(die), places[1].get(die)
        was = one is not None and bool(numbers[0][one])
        has = other is not None and bool(numbers[1][other])
        if was and has and one is not None and other is not None:
            pairs.append((one, other))
        elif was and one is not None:
            why = _why_none(after, other)
            if why[0] == NOT_MEASURED and die[:2] in touched:
                why = "no value", "no value, though the die was measured"
            lost.append(LostValue(die, float(before["value"][one]), *why))
        elif has:
            appeared[_why_none(before, one)[1]] += 1
    chosen = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return PairedDies(
        pair=pair,
        control=control,
        before=taken(before, chosen[:, 0]),
        after=taken(after, chosen[:, 1]),
        had=int(numbers[0].sum()),
        lost=tuple(lost),
        appeared=tuple(sorted(appeared.items())),
        censored=int((_stands(after) & (after["below_floor"] | after["not_reached"])).sum()),
    )


def _places(rows: Rows) -> Mapping[Key, int]:
    columns = (rows["die_x"], rows["die_y"], rows["site"])
    return {
        (int(x), int(y), site or ""): place
        for place, (x, y, site) in enumerate(zip(*columns, strict=True))
    }


def _stands(rows: Rows) -> BoolArray:
    stands = (rows["standing"] == "stands") | (rows["standing"] == "not closed")
    return np.asarray(stands & ~np.isnan(rows["value"]), dtype=bool)


def _numbers(rows: Rows) -> BoolArray:
    return np.asarray(_stands(rows) & ~rows["below_floor"] & ~rows["not_reached"], dtype=bool)


def _why_none(rows: Rows, place: int | None) -> tuple[LossKind, str]:
    """Why a die has no number with standing in these rows."""
    if place is None or rows["outcome"][place] == NOT_MEASURED:
        return "not measured", NOT_MEASURED
    if rows["standing"][place] == "without standing":
        why = rows["standing_reasons"][place]
        return "without standing", f"without standing: {why}" if why else "without standing"
    if np.isnan(rows["value"][place]):
        why = rows["outcome_reason"][place]
        return "no value", f"no value: {why}" if why else "no value"
    return "censored", "below the floor" if rows["below_floor"][place] else "not reached"
