"""The values with standing of each parameter and condition as arrays, once for all statistics."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.standing import numbers_that_stand, that_stand, touchdowns_that_stand
from sitegen.compute.uncertainty_parts import COMMON, OWN, quadrature
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.uncertainty import standard_uncertainty

IntArray = npt.NDArray[np.int64]
TextArray = npt.NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Sample:
    """Numbers with standing that count, of one parameter under one condition; arrays (n,).

    Sorted by wafer, die_y, die_x and site. What lies below a floor or was not reached is no number
    and is only counted.
    """

    parameter: Parameter
    condition: str
    wafers: tuple[str, ...]
    """Every wafer of the campaign, in order; those without a value too."""
    wafer: IntArray
    """Place in `wafers`."""
    die_x: IntArray
    die_y: IntArray
    x_mm: FloatArray
    y_mm: FloatArray
    site: TextArray
    value: FloatArray
    """In the parameter's unit, float64."""
    u: FloatArray
    """Standard uncertainty; NaN where not stated."""
    u_own: FloatArray
    """Parts of u of each value's own, in quadrature; NaN where u is not stated."""
    u_shared: FloatArray
    """Parts of u that values of a wafer share, in quadrature; NaN where u is not stated."""
    outcome: TextArray
    """Words of `model.results.OUTCOMES`."""
    calibration: TextArray
    """In force; '' without one."""
    measured_at: npt.NDArray[np.datetime64]
    """UTC, microseconds; NaT where not stated."""
    censored: IntArray
    """(n_wafers,): values below the floor or not reached."""
    without_standing: IntArray
    """(n_wafers,): values that count and have no standing."""

    @property
    def n(self) -> int:
        """How many numbers there are."""
        return len(self.value)

    @property
    def dies_have_sites(self) -> bool:
        """Whether any die has values at several sites: these are alike, and no more dies."""
        keys = (self.wafer, self.die_y, self.die_x)
        same = np.all([one[1:] == one[:-1] for one in keys], axis=0)
        return bool(np.any(same))

    def die_means(self) -> tuple[IntArray, FloatArray]:
        """(n_die,) and (n_die,): wafer and mean over the sites of each die."""
        if not self.dies_have_sites:
            return self.wafer, self.value
        keys = np.stack([self.wafer, self.die_y, self.die_x])
        first = np.flatnonzero(np.r_[True, np.any(keys[:, 1:] != keys[:, :-1], axis=0)])
        sites = np.diff(np.append(first, self.n))
        return self.wafer[first], np.add.reduceat(self.value, first) / sites

    def on(self, wafer: str) -> BoolArray:
        """(n,): which values are of one wafer."""
        return np.asarray(self.wafer == self.wafers.index(wafer))


@dataclass(frozen=True, eq=False)
class Repeats:
    """Every single touchdown with a number and standing, of one parameter and condition; (n,)."""

    parameter: Parameter
    condition: str
    wafers: tuple[str, ...]
    wafer: IntArray
    die_x: IntArray
    die_y: IntArray
    site: TextArray
    touchdown: IntArray
    value: FloatArray


Key = tuple[str, str]
"""Parameter and condition."""


def samples_of(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: tuple[str, ...]
) -> Mapping[Key, Sample]:
    """A sample for each parameter and condition, in the campaign's order, also for those without.

    results: of `RESULT_COLUMNS`, of all wafers.
    """
    counting = results[results["counts"].eq(True)]
    lost = counting[(counting["standing"] == "without standing") & counting["value"].notna()]
    stands = that_stand(results)
    hidden = stands[stands["below_floor"].eq(True) | stands["not_reached"].eq(True)]
    numbers = numbers_that_stand(results)
    place = {name: number for number, name in enumerate(wafers)}
    order = numbers["wafer"].map(place)
    numbers = numbers.assign(_wafer=order).sort_values(["_wafer", "die_y", "die_x", "site"])
    groups = _by_key(numbers)
    gone, unseen = _counts(lost, place), _counts(hidden, place)
    nothing = np.zeros(len(wafers), dtype=np.int64)
    empty = numbers.iloc[:0]
    return {
        (parameter.id, condition): _sample(
            groups.get((parameter.id, condition), empty),
            parameter,
            condition,
            wafers,
            unseen.get((parameter.id, condition), nothing),
            gone.get((parameter.id, condition), nothing),
        )
        for parameter in campaign.parameters
        for condition in parameter.conditions
    }


def repeats_of(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: tuple[str, ...]
) -> Mapping[Key, Repeats]:
    """Single touchdowns of the dies that have several, by parameter and condition.

    Keys without a repeated die are left out.
    """
    valid = touchdowns_that_stand(results)
    die = ["wafer", "parameter", "condition", "die_y", "die_x", "site"]
    several = valid[valid.duplicated(die, keep=False)]
    place = {name: number for number, name in enumerate(wafers)}
    several = several.assign(_wafer=several["wafer"].map(place))
    several = several.sort_values(["_wafer", "die_y", "die_x", "site", "touchdown"])
    groups = _by_key(several)
    return {
        (parameter.id, condition): Repeats(
            parameter=parameter,
            condition=condition,
            wafers=wafers,
            wafer=rows["_wafer"].to_numpy(dtype=np.int64),
            die_x=rows["die_x"].to_numpy(dtype=np.int64),
            die_y=rows["die_y"].to_numpy(dtype=np.int64),
            site=rows["site"].to_numpy(dtype=object),
            touchdown=rows["touchdown"].to_numpy(dtype=np.int64),
            value=rows["value"].to_numpy(dtype=np.float64),
        )
        for parameter in campaign.parameters
        for condition in parameter.conditions
        if (rows := groups.get((parameter.id, condition))) is not None
    }


def _by_key(rows: pd.DataFrame) -> dict[Key, pd.DataFrame]:
    return {
        (str(parameter), str(condition)): group
        for (parameter, condition), group in rows.groupby(["parameter", "condition"], sort=False)
    }


def _counts(rows: pd.DataFrame, place: Mapping[str, int]) -> dict[Key, IntArray]:
    """How many rows each wafer has, by parameter and condition."""
    return {
        key: np.bincount(group["wafer"].map(place).to_numpy(dtype=np.int64), minlength=len(place))
        for key, group in _by_key(rows).items()
    }


def _sample(
    rows: pd.DataFrame,
    parameter: Parameter,
    condition: str,
    wafers: tuple[str, ...],
    censored: IntArray,
    without_standing: IntArray,
) -> Sample:
    value = rows["value"].to_numpy(dtype=np.float64)
    u = rows["u"].to_numpy(dtype=np.float64)
    stated = ~np.isnan(u)

    def declared(common: bool) -> FloatArray:
        sources = tuple(one for one in parameter.uncertainty if one.common == common)
        part = parameter.model_copy(update={"uncertainty": sources})
        return standard_uncertainty(part, value)

    def parts(names: tuple[str, ...], common: bool) -> FloatArray:
        columns = [rows[name].to_numpy(dtype=np.float64) for name in names if name in rows]
        found = np.nan_to_num(quadrature(*columns, declared(common)))
        return np.where(stated, found, np.nan)

    return Sample(
        parameter=parameter,
        condition=condition,
        wafers=wafers,
        wafer=rows["_wafer"].to_numpy(dtype=np.int64),
        die_x=rows["die_x"].to_numpy(dtype=np.int64),
        die_y=rows["die_y"].to_numpy(dtype=np.int64),
        x_mm=rows["x_mm"].to_numpy(dtype=np.float64),
        y_mm=rows["y_mm"].to_numpy(dtype=np.float64),
        site=rows["site"].to_numpy(dtype=object),
        value=value,
        u=u,
        u_own=parts(OWN, common=False),
        u_shared=parts(COMMON, common=True),
        outcome=rows["outcome"].to_numpy(dtype=object),
        calibration=rows["calibration"].fillna("").to_numpy(dtype=object),
        measured_at=rows["measured_at"].dt.tz_convert(None).to_numpy(dtype="datetime64[us]"),
        censored=censored,
        without_standing=without_standing,
    )
