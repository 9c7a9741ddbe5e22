"""How values changed between two measurements of wafers, with or without a stress between them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import pyarrow as pa

from sitegen.model.space_results import Patterns
from sitegen.model.statistics import Estimate

LossKind = Literal["no value", "censored", "without standing", "not measured"]
"""Why a die that had a number before has none after. Of the first two kinds the device was
measured: it may have died."""
DEVICE_KINDS: tuple[LossKind, ...] = ("no value", "censored")
Resolved = Literal["resolved", "not resolved", "not stated"]
"""Whether a mean shift exceeds its own expanded measurement uncertainty."""

SHIFT_DIE_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    ("stress", pa.string(), "stress between the two measurements"),
    ("parameter", pa.string(), "parameter"),
    ("condition", pa.string(), "declared set point of bias and temperature"),
    ("before", pa.string(), "wafer record of the measurement before"),
    ("after", pa.string(), "wafer record of the measurement after"),
    ("control", pa.bool_(), "true: measured twice without the stress"),
    ("die_x", pa.int32(), "column of the die in the campaign's layout"),
    ("die_y", pa.int32(), "row of the die in the campaign's layout"),
    ("site", pa.string(), "place inside the die; empty where the die has no sites"),
    ("value_before", pa.float64(), "value before, in the parameter's unit"),
    ("value_after", pa.float64(), "value after; null: no number, see 'state'"),
    ("difference", pa.float64(), "after less before"),
    (
        "shift",
        pa.float64(),
        "the difference less the mean difference of the control wafers, where there are any; of"
        " control dies the difference itself",
    ),
    ("u", pa.float64(), "standard uncertainty of the shift by the measurement; null: not stated"),
    (
        "outcome",
        pa.string(),
        "of the shift against the parameter's greatest shift: within, not proven, not refuted,"
        " outside, not assessable; empty: not judged",
    ),
    ("state", pa.string(), "paired, or why there is no number after"),
)
"""Columns of data/shift-dies: one row a value with a number with standing before."""


@dataclass(frozen=True, order=True)
class Lost:
    """Values with a number before and none after, by why there is none."""

    kind: LossKind
    reason: str
    """'no value: no crossing of the criterion', 'below the floor', 'not measured', ..."""
    n: int


def devices_of(lost: Iterable[Lost]) -> int:
    """How many of these values were lost though the device was measured again."""
    return sum(one.n for one in lost if one.kind in DEVICE_KINDS)


@dataclass(frozen=True)
class PairShift:
    """One wafer before and after, of one parameter under one condition; in the parameter's unit.

    Nothing is taken off for control wafers here.
    """

    before: str
    after: str
    control: bool
    """Measured twice without the stress."""
    had: int
    """Numbers with standing before."""
    n: int
    """Of them those with a number with standing after: the paired values."""
    dies: int
    """Dies that they are of; the sites of a die are averaged first."""
    lost: tuple[Lost, ...]
    appeared: tuple[tuple[str, int], ...]
    """Numbers after without one before, by why there was none."""
    mean: Estimate
    """Of the dies' differences, after less before; Student's interval, widened by shared errors."""
    median: Estimate
    """Its interval is that of the sign test, widened likewise."""
    standard_deviation: float | None
    p_value: float | None
    """Two-sided, of such a mean without a shift, shared errors counted."""
    sign_p: float | None
    """Two-sided, of so many dies on one side of zero: the sign test, of the values as measured."""
    u: float | None
    """Standard uncertainty of the mean by the measurement; None: not stated."""
    u_shared: float | None
    """Part of it from errors that the dies share and that do not cancel."""
    reason: str = ""
    """Why something is not stated; empty where everything is."""

    @property
    def lost_devices(self) -> int:
        """Values lost though the device was measured again."""
        return devices_of(self.lost)


@dataclass(frozen=True)
class Shift:
    """What a stress did to one parameter under one condition, over all wafers that it names.

    Where control wafers are declared and have paired values, what they shift by is taken off.
    """

    stress: str
    parameter: str
    condition: str
    pairs: tuple[PairShift, ...]
    """Stressed wafers, then control wafers."""
    had: int
    n: int
    dies: int
    lost: tuple[Lost, ...]
    appeared: tuple[tuple[str, int], ...]
    """All of the stressed wafers alone, as the counts are."""
    wafers: int
    """Stressed wafers with paired values."""
    controls: int
    """Control wafers with paired values."""
    of_process: bool
    """True: the mean's interval takes the wafer as the unit; False: it holds for these wafers."""
    mean: Estimate
    """Mean of the wafers' means."""
    median: Estimate
    """Of the dies of these wafers."""
    standard_deviation: float | None
    """Of the dies' differences about their wafer's mean, pooled."""
    control_mean: float | None
    """What was taken off; None: nothing."""
    p_value: float | None
    adjusted_p: float | None
    """Over all parameters and conditions of the stress (Holm)."""
    sign_p: float | None
    """Of the sign test over the dies of these wafers; None where control wafers are taken off."""
    u: float | None
    """Standard uncertainty of the mean by the measurement."""
    u_shared: float | None
    expanded: float | None
    """k u."""
    resolved: Resolved
    u_die: float | None
    """Median standard uncertainty of one die's shift."""
    shift_max: float | None
    outcomes: Mapping[str, int] = field(default_factory=dict)
    """How many paired values came out how against +- shift_max; empty without it."""
    dependence: Estimate = field(default_factory=lambda: Estimate(None))
    """Correlation of a die's shift with the mean of its two values, within wafers."""
    dependence_p: float | None = None
    dependence_adjusted: float | None = None
    """Over all parameters and conditions of the stress (Holm)."""
    patterns: tuple[Patterns, ...] = ()
    """Of the shifts over each stressed wafer, by its record after."""
    reason: str = ""

    @property
    def beyond(self) -> int:
        """Paired values whose shift is shown to be beyond the bound."""
        return self.outcomes.get("outside", 0)

    @property
    def lost_devices(self) -> int:
        """Values lost though the device was measured again."""
        return devices_of(self.lost)

    @property
    def lost_total(self) -> int:
        """All values lost."""
        return sum(one.n for one in self.lost)
