"""The parts of a value's uncertainty: what adds to u, and what of them a mean of values keeps.

    u² = u_common² + u_own² + u_touchdowns² + u_instrument² + u_temperature² + u_misfit²
         + u_extraction² + u_declared²                          (JCGM 100:2008, equation 10)

Which errors are the same, and for which values, is decided here once:

- the calibration's: the same for all values that stand on one calibration, independent between
  calibrations, but for the standards' definitions: a record does not prove whether two calibrations
  used the same standards, so that the errors of their definitions are taken as one where they add
  and as independent where they would cancel. Both are on the safe side;
- of shared dummies: the same on the wafer whose die they stand on, for 'one die of the campaign' on
  all wafers;
- of an instrument's declared accuracy: the same wherever that instrument of that station measured;
- of curves that are not the law taken between or through their points: the same on one wafer, for
  like curves on one grid are bent alike. The noise of their readings is u_extraction, each value's
  own;
- of the temperature, and declared with `common`: the same on one wafer. A wafer is placed on the
  chuck anew, so between wafers they are independent: a difference keeps them.
- all others: each value its own.

What is the same for two values is taken as fully correlated, with the same sign.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.rows import Rows, count_of
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter, UncertaintySource
from sitegen.model.device import Device
from sitegen.model.uncertainty import standard_uncertainty

COMMON = ("u_common", "u_instrument", "u_temperature", "u_misfit")
"""Parts that are the same for the values of a wafer on one calibration."""
OWN = ("u_own", "u_touchdowns", "u_extraction")
"""Parts of each value's own."""
ADDED = (*COMMON, *OWN, "u_declared")
"""Parts whose squares add to the square of u."""
INSIDE = ("u_calibration", "u_definitions", "u_dummies")
"""Parts that are inside u_common or u_own and are stated besides."""
BUDGET = (*INSIDE, *ADDED)

DEFINITIONS = "definitions"


def quadrature(*parts: npt.ArrayLike) -> FloatArray:
    """Parts of shape (n,) in quadrature; NaN is one that is not stated, and stays where all are."""
    squares = np.array(parts, dtype=np.float64) ** 2
    total: FloatArray = np.sqrt(np.nansum(squares, axis=0))
    return np.where(np.isnan(squares).all(axis=0), np.nan, total)


def with_own_dummies(campaign: CampaignRecord) -> frozenset[str]:
    """Devices whose dummies stand on each die: their u_dummies is inside u_own."""
    return frozenset(
        one.id
        for one in campaign.devices
        if one.deembedding is not None and one.deembedding.taken_from == "each die"
    )


@dataclass(frozen=True)
class Carried:
    """What the mean of some values carries of their uncertainty, in the parameter's unit."""

    common: Mapping[tuple[str, Hashable], float]
    """Standard deviation of the mean by each error that several values share, by its label."""
    own_square: float
    """Variance of the mean by errors of each value's own."""

    @property
    def u_common(self) -> float:
        """Standard uncertainty of the mean by shared errors."""
        definitions = [u for (kind, _), u in self.common.items() if kind == DEFINITIONS]
        others = [u for (kind, _), u in self.common.items() if kind != DEFINITIONS]
        added = sum(u for u in definitions if u > 0)
        taken = sum(u for u in definitions if u < 0)
        return float(np.sqrt(added**2 + taken**2 + sum(u**2 for u in others)))

    @property
    def u_own(self) -> float:
        """Standard uncertainty of the mean by each value's own errors."""
        return float(np.sqrt(self.own_square))

    @property
    def u(self) -> float:
        """Standard uncertainty of the mean."""
        return float(np.hypot(self.u_common, self.u_own))

    def minus(self, other: "Carried") -> "Carried":
        """What the difference of two means carries: an error that both share cancels."""
        labels = {**self.common, **other.common}
        return Carried(
            {one: self.common.get(one, 0.0) - other.common.get(one, 0.0) for one in labels},
            self.own_square + other.own_square,
        )

    @staticmethod
    def mean_of(several: "Sequence[Carried]") -> "Carried":
        """What the mean of several means carries, at least one: an error that they share stays."""
        n = len(several)
        labels = {label for one in several for label in one.common}
        return Carried(
            {label: sum(one.common.get(label, 0.0) for one in several) / n for label in labels},
            sum(one.own_square for one in several) / n**2,
        )


def carried_by_mean(
    rows: Rows,
    parameter: Parameter,
    devices: Mapping[str, Device],
    instruments: Mapping[str, str],
) -> Carried | None:
    """What the mean of these values of one parameter and condition carries.

    rows: columns of `RESULT_COLUMNS`, n of each. instruments: which instrument measured each wafer;
    wafers that are not in it share one. None without a value, or where a value has no stated u.
    """
    n = count_of(rows)
    if not n or np.isnan(rows["u"]).any():
        return None
    weight = 1.0 / n
    common: dict[tuple[str, Hashable], float] = {}
    for kind, u, code, names in _shared(rows, parameter, devices[parameter.device], instruments):
        for name, total in zip(names, np.bincount(code, u), strict=True):
            if total > 0:
                common[kind, name] = weight * float(total)
    each_its_own = tuple(one for one in parameter.uncertainty if not one.common)
    declared = _declared(rows, parameter, each_its_own)
    own = quadrature(*(_column(rows, name) for name in OWN), declared)
    return Carried(common, float(np.nansum(own**2)) * weight**2)


def u_of_differences(
    first: Rows,
    second: Rows,
    parameter: Parameter,
    devices: Mapping[str, Device],
    instruments: Mapping[str, str],
    less: Carried | None = None,
) -> FloatArray:
    """Standard uncertainty of each value of `first` less its partner in `second`, (n,).

    first, second: rows as in `carried_by_mean`, n of each. less: what a mean carries that is taken
    off every difference; an error that it shares with a difference cancels too. NaN where either
    value has no stated u.
    """
    n = count_of(first)
    common: dict[tuple[str, Hashable], FloatArray] = {}
    own = np.full(n, 0.0 if less is None else less.own_square)
    each_its_own = tuple(one for one in parameter.uncertainty if not one.common)
    for sign, rows in ((1.0, first), (-1.0, second)):
        shared = _shared(rows, parameter, devices[parameter.device], instruments)
        for kind, u, code, names in shared:
            for place, name in enumerate(names):
                mine = sign * np.where(code == place, u, 0.0)
                common[kind, name] = common.get((kind, name), np.zeros(n)) + mine
        parts = (_column(rows, name) for name in OWN)
        own = own + np.nan_to_num(quadrature(*parts, _declared(rows, parameter, each_its_own))) ** 2
    for label, u_mean in () if less is None else less.common.items():
        common[label] = common.get(label, np.zeros(n)) - u_mean
    added, taken, others = np.zeros(n), np.zeros(n), own
    for (kind, _), size in common.items():
        if kind == DEFINITIONS:
            added, taken = added + np.maximum(size, 0.0), taken + np.minimum(size, 0.0)
        else:
            others = others + size**2
    stated = ~(np.isnan(first["u"]) | np.isnan(second["u"]))
    return np.where(stated, np.sqrt(others + added**2 + taken**2), np.nan)


@dataclass(frozen=True, eq=False)
class _Labels:
    """Which of n values share something: codes (n,) of the names."""

    code: npt.NDArray[np.int64]
    names: tuple[str, ...]


def _shared(
    rows: Rows, parameter: Parameter, device: Device, instruments: Mapping[str, str]
) -> list[tuple[str, FloatArray, npt.NDArray[np.int64], tuple[str, ...]]]:
    """Each kind of shared error: its size at each row, and a label of what shares it."""
    wafer = _labels(rows["wafer"])
    everywhere = _Labels(np.zeros(count_of(rows), dtype=np.int64), ("",))
    calibration = _labels(_calibrations(rows))
    whole, of_calibration = _column(rows, "u_common"), _column(rows, "u_calibration")
    of_calibration = np.where(np.isnan(of_calibration), whole, of_calibration)
    of_dummies = np.sqrt(np.maximum(whole**2 - of_calibration**2, 0.0))
    taken_from = device.deembedding.taken_from if device.deembedding else ""
    of_wafer = np.array([instruments.get(one, "") for one in wafer.names], dtype=object)
    measured_by = _labels(of_wafer[wafer.code])
    definitions = np.minimum(np.nan_to_num(_column(rows, "u_definitions")), of_calibration)
    parts = [
        (DEFINITIONS, definitions, calibration),
        ("calibration", np.sqrt(of_calibration**2 - definitions**2), calibration),
        ("dummies", of_dummies, everywhere if taken_from == "one die of the campaign" else wafer),
        ("instrument", _column(rows, "u_instrument"), measured_by),
        ("temperature", _column(rows, "u_temperature"), wafer),
        ("misfit", _column(rows, "u_misfit"), wafer),
        *(
            (f"declared {place}", _declared(rows, parameter, (source,)), wafer)
            for place, source in enumerate(parameter.uncertainty)
            if source.common
        ),
    ]
    return [(kind, np.nan_to_num(u), labels.code, labels.names) for kind, u, labels in parts]


def _calibrations(rows: Rows) -> npt.NDArray[np.object_]:
    """The calibration in force of each value; where none is named, the wafer stands for it."""
    named, wafer = rows["calibration"], rows["wafer"]
    return np.array(
        [f"wafer {at}" if one is None else one for one, at in zip(named, wafer, strict=True)],
        dtype=object,
    )


def _labels(names: npt.NDArray[np.object_]) -> _Labels:
    code, found = pd.factorize(names)
    return _Labels(code.astype(np.int64), tuple(str(one) for one in found))


def _column(rows: Rows, name: str) -> FloatArray:
    """A part of u; NaN where the rows do not have it."""
    return rows[name] if name in rows else np.full(count_of(rows), np.nan)


def _declared(
    rows: Rows, parameter: Parameter, sources: tuple[UncertaintySource, ...]
) -> FloatArray:
    """What these of the parameter's declared sources say of each value."""
    part = parameter.model_copy(update={"uncertainty": sources})
    return standard_uncertainty(part, rows["value"])
