"""Sweeps of a wafer's group, parted by the calibrations that stand behind them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.dummies import StrippedGroup
from sitegen.compute.rf.propagated import Propagated, Swept, not_stated, propagate_all
from sitegen.compute.rf.sensitivity import Sources
from sitegen.compute.rf.taken import COLD, DEVICE, Corrected, Devices, Taken, Wanted
from sitegen.compute.sweep_uncertainty import sources_for
from sitegen.compute.sweeps import WaferSetting, reference_impedances_ohm
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.device import DeembeddingMethod
from sitegen.model.extraction import FromSweep

Places = npt.NDArray[np.intp]
Label = tuple[float, bool, tuple[tuple[str, str | None], ...]]
"""Reference impedance, whether dummies stand on another calibration than the device, and the
calibration of each sweep that a value is taken from, by its role; None where its uncertainty is not
stated."""


@dataclass(frozen=True, eq=False)
class Alike:
    """Touchdowns of a group whose sweeps stand on the same calibrations, n of them."""

    places: Places
    """Among those asked for."""
    rows: Places
    """In the group."""
    frequency_hz: FloatArray
    z_ref_ohm: float
    deembedded: bool
    devices: Devices
    """Without pads."""
    swept: Swept | None
    """None: a sweep's calibration states no uncertainty."""
    other_calibration: bool
    """Whether dummies stand on another calibration than the device."""
    missing: str = ""
    """Why no value can be taken at all."""


@dataclass(frozen=True, eq=False)
class GroupSweeps:
    """A group of sweeps, with what is worked out once for all its parameters."""

    stripped: StrippedGroup
    setting: WaferSetting
    _sources: dict[str, Sources] = field(default_factory=dict)
    _alike: dict[object, list[Alike]] = field(default_factory=dict)

    def alike(self, taken_by: FromSweep, places: Places) -> list[Alike]:
        """Sweeps at these places of the group, parted by what they stand on."""
        key = (places.tobytes(), taken_by.deembedded, taken_by.access_condition)
        if key not in self._alike:
            self._alike[key] = list(_parted(self.stripped, self.setting, taken_by, places))
        return self._alike[key]

    def propagated(self, alike: Alike, figures: Sequence[tuple[Wanted, Taken]]) -> list[Propagated]:
        """What calibrations, sweeps and dummies do to the values of each figure."""
        found = [not_stated(len(alike.rows), alike.deembedded) for _ in figures]
        if alike.swept is None:
            return found
        there = [
            place
            for place, (_, taken) in enumerate(figures)
            if np.isfinite(taken.estimate.value).any()
        ]
        names = set(alike.swept.calibrations.values())
        calibrations = {name: self._sources_of(name) for name in names}
        shared = alike.deembedded and self.stripped.shared
        some = [figures[place] for place in there]
        for place, one in zip(
            there, propagate_all(some, alike.swept, calibrations, shared), strict=True
        ):
            found[place] = one
        return found

    def _sources_of(self, name: str) -> Sources:
        if name not in self._sources:
            group, setting = self.stripped.corrected.group, self.setting
            self._sources[name] = sources_for(
                setting.terms[name],
                setting.uncertainties[name],
                group.s.shape[-1],
                setting.devices()[group.device].port,
            )
        return self._sources[name]


def _parted(
    stripped: StrippedGroup, setting: WaferSetting, taken_by: FromSweep, places: Places
) -> Iterator[Alike]:
    pads = setting.devices()[stripped.corrected.group.device].deembedding
    method = pads.method if pads is not None and taken_by.deembedded else None
    cold = None
    if taken_by.access_condition is not None:
        keys = stripped.corrected.group.keys.to_pandas()
        cold = _cold_rows(keys, taken_by.access_condition, places)
    labels = _labels(stripped, setting, places, cold, method is not None)
    places_of: dict[Label, list[int]] = {}
    for place, label in enumerate(labels):
        places_of.setdefault(label, []).append(place)
    for label, alike in places_of.items():
        mine = np.array(alike, dtype=np.intp)
        without = np.zeros(len(mine), dtype=bool) if cold is None else cold[mine] < 0
        if without.any():
            there = mine[without]
            told = f"no sweep under {taken_by.access_condition} for the access resistances"
            yield _alike(stripped, label, there, places[there], None, method, told)
        if not without.all():
            there = mine[~without]
            of_cold = None if cold is None else cold[there]
            yield _alike(stripped, label, there, places[there], of_cold, method, "")


def _cold_rows(keys: pd.DataFrame, condition: str, places: Places) -> Places:
    """For each sweep the one of zero drain bias on the same die: of its touchdown, else the last.

    -1: there is none.
    """
    columns = [keys[name].tolist() for name in ("die_x", "die_y", "site", "touchdown")]
    every = list(zip(*columns, strict=True))
    cold = np.flatnonzero((keys["condition"] == condition).to_numpy()).tolist()
    cold.sort(key=lambda row: every[row][3])
    same = {every[row]: row for row in cold}
    last = {every[row][:3]: row for row in cold}
    found = [same.get(every[row], last.get(every[row][:3], -1)) for row in places.tolist()]
    return np.array(found, dtype=np.intp)


def _labels(
    stripped: StrippedGroup,
    setting: WaferSetting,
    places: Places,
    cold: Places | None,
    deembedded: bool,
) -> list[Label]:
    """What each sweep stands on."""
    corrected = stripped.corrected
    stated = () if corrected.group.corrected else tuple(setting.uncertainties)
    roles = {DEVICE: corrected.evidence.calibration[places]}
    if deembedded:
        for part, one in stripped.dummies.items():
            named = [None] * len(one.s) if one.calibration is None else list(one.calibration)
            by_set = np.array([*named, None], dtype=object)
            roles[part] = by_set[one.set_of[places]]
    if cold is not None:
        roles[COLD] = corrected.evidence.calibration[cold]
        for one in stripped.dummies.values() if deembedded else ():
            roles[COLD][one.set_of[places] != one.set_of[cold]] = None
    impedances = reference_impedances_ohm(corrected, setting)[places].tolist()
    names = [[name if name in stated else None for name in each] for each in roles.values()]
    other = np.zeros(len(places), dtype=bool)
    for part in stripped.dummies if deembedded else ():
        both = pd.notna(roles[part]) & pd.notna(roles[DEVICE])
        other |= both & (roles[part] != roles[DEVICE])
    return [
        (z_ref_ohm, of_other, tuple(zip(roles, each, strict=True)))
        for z_ref_ohm, of_other, *each in zip(impedances, other.tolist(), *names, strict=True)
    ]


def _alike(
    stripped: StrippedGroup,
    label: Label,
    places: Places,
    rows: Places,
    cold: Places | None,
    method: DeembeddingMethod | None,
    missing: str,
) -> Alike:
    group = stripped.corrected.group
    z_ref_ohm, other_calibration, calibrations = label
    of_devices = group.s if method is None or stripped.s is None else stripped.s
    swept = None
    names = {role: name for role, name in calibrations if name is not None}
    if len(names) == len(calibrations) and not missing:
        swept = Swept(
            group.frequency_hz,
            _corrected(stripped, rows, method),
            names,
            None if cold is None else _corrected(stripped, cold, method),
        )
    return Alike(
        places,
        rows,
        group.frequency_hz,
        z_ref_ohm,
        method is not None,
        Devices(
            group.frequency_hz,
            _of(of_devices, rows),
            None if cold is None else of_devices[cold],
        ),
        swept,
        other_calibration,
        missing,
    )


def _corrected(
    stripped: StrippedGroup, rows: Places, method: DeembeddingMethod | None
) -> Corrected:
    """Corrected sweeps with their dummies; where dies share them, without a copy for each."""
    s = _of(stripped.corrected.group.s, rows)
    if method is None:
        return Corrected(s)
    dummies: Mapping[str, ComplexArray] = {
        part: one.s if len(one.s) == 1 else one.s[one.set_of[rows]]
        for part, one in stripped.dummies.items()
    }
    return Corrected(s, method, dummies)


def _of(s: ComplexArray, rows: Places) -> ComplexArray:
    """Some of the sweeps; all of them in their order without a copy."""
    return s if np.array_equal(rows, np.arange(len(s))) else s[rows]
