"""Which sweeps of dummy structures serve which sweeps of devices."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.dummy_sweeps import DummySweeps
from sitegen.compute.sweeps import CorrectedGroup, WaferSetting, reference_impedances_ohm
from sitegen.model.device import Deembedding, Device, Die
from sitegen.model.frequency_lists import first_difference, same_frequencies

COMPARED = "compare "
"""Before the part of a dummy of the distributed comparison."""


@dataclass(frozen=True, eq=False)
class Chosen:
    """The dummies of one part for one group of devices, or why there are none."""

    sweeps: DummySweeps | None
    missing: str


def campaign_dummies(
    groups: Sequence[CorrectedGroup], device: Device, setting: WaferSetting
) -> Mapping[str, DummySweeps]:
    """The dummies that this wafer lends to a device of the whole campaign, by part.

    `set_of` is empty: it is made for each group that they serve. A part without a sweep that has
    standing is absent.
    """
    if device.deembedding is None:
        return {}
    declared = device.deembedding
    parts = _parts(declared)
    found: dict[str, DummySweeps] = {}
    die = declared.die if declared.die is not None else _first_die(groups, declared, setting)
    for part, dummy in parts.items():
        for group in groups:
            rows = _standing_rows(group, dummy, declared.condition)
            at = [row for row in rows if _die_of(group, row) == die]
            if at and part not in found:
                found[part] = _sweeps(group, dummy, at[:1], np.empty(0, np.intp), device, setting)
    return found


def _parts(declared: Deembedding) -> dict[str, str]:
    """Devices by part, with those of the distributed comparison."""
    compared = {"thru": declared.compare_thru, "line": declared.compare_line}
    more = {f"{COMPARED}{part}": name for part, name in compared.items() if name is not None}
    return {**declared.dummies(), **more}


def _standing_rows(group: CorrectedGroup, dummy: str, condition: str) -> list[int]:
    """Corrected sweeps of a dummy with standing, by die, site and touchdown: the first of each."""
    if group.group.device != dummy:
        return []
    keys = group.group.keys
    conditions = keys["condition"].to_pylist()
    known = np.isfinite(group.group.s).all(axis=(1, 2, 3)) & (group.evidence.reasons == 0)
    rows = [row for row in np.flatnonzero(known).tolist() if conditions[row] == condition]
    columns = [keys[name].to_pylist() for name in ("die_y", "die_x", "site", "touchdown")]
    every = list(zip(*columns, strict=True))
    rows.sort(key=lambda row: (every[row][:2], every[row][2] or "", every[row][3] or 0))
    seen = {every[row][:3]: row for row in reversed(rows)}
    return [row for row in rows if seen[every[row][:3]] == row]


def _die_of(group: CorrectedGroup, row: int) -> Die:
    keys = group.group.keys
    return keys["die_x"][row].as_py(), keys["die_y"][row].as_py()


def _first_die(
    groups: Sequence[CorrectedGroup], declared: Deembedding, setting: WaferSetting
) -> Die | None:
    """The first die, by rows, on which all dummies of the method stand."""
    on = [
        {
            _die_of(group, row)
            for group in groups
            for row in _standing_rows(group, dummy, declared.condition)
        }
        for dummy in declared.dummies().values()
    ]
    common = sorted(set.intersection(*on), key=lambda die: (die[1], die[0]))
    return common[0] if common else None


def _sweeps(
    group: CorrectedGroup,
    dummy: str,
    rows: list[int],
    set_of: npt.NDArray[np.intp],
    device: Device,
    setting: WaferSetting,
) -> DummySweeps:
    """Of a one-port device the two-port dummies' reflection at its port."""
    s = group.group.s[rows]
    if s.shape[-1] == 2 and device.ports == 1:
        s = s[..., device.port - 1 : device.port, device.port - 1 : device.port]
    return DummySweeps(
        device=dummy,
        frequency_hz=group.group.frequency_hz,
        s=s,
        set_of=set_of,
        calibration=group.evidence.calibration[rows],
        z_ref_ohm=float(reference_impedances_ohm(group, setting)[rows[0]]),
        dies=tuple(_die_of(group, row) for row in rows),
    )


def choose_dummies(
    groups: Sequence[CorrectedGroup],
    served: CorrectedGroup,
    device: Device,
    declared: Deembedding,
    setting: WaferSetting,
) -> Mapping[str, Chosen]:
    """The dummies of each part for one group of devices."""
    n = len(served.group.s)
    if declared.taken_from == "one die of the campaign":
        lent = setting.campaign_dummies.get(device.id, {})
        found: dict[str, Chosen] = {}
        for part, dummy in _parts(declared).items():
            if part not in lent:
                told = f"{dummy} has no sweep with standing on wafer {declared.wafer}"
                found[part] = Chosen(None, told)
            else:
                found[part] = _fitting(replace(lent[part], set_of=np.zeros(n, np.intp)), served)
        return found
    die = declared.die
    if declared.taken_from == "one die of the wafer" and die is None:
        die = _first_die(groups, declared, setting)
    each = declared.taken_from == "each die"
    return {
        part: _of_wafer(groups, served, dummy, device, declared, setting, None if each else die)
        if each or die is not None
        else Chosen(None, "the dummies do not all stand, with standing, on one die")
        for part, dummy in _parts(declared).items()
    }


def _of_wafer(
    groups: Sequence[CorrectedGroup],
    served: CorrectedGroup,
    dummy: str,
    device: Device,
    declared: Deembedding,
    setting: WaferSetting,
    die: Die | None,
) -> Chosen:
    """One part from this wafer; die None: from each die."""
    missing = f"{dummy} has no sweep with standing under {declared.condition}"
    if die is not None:
        missing += f" on die ({die[0]}, {die[1]})"
    for group in groups:
        rows = _standing_rows(group, dummy, declared.condition)
        if die is not None:
            rows = [row for row in rows if _die_of(group, row) == die][:1]
        if not rows:
            continue
        if die is not None:
            set_of = np.zeros(len(served.group.s), np.intp)
        else:
            set_of = _own_sets(group, rows, served)
        found = _fitting(_sweeps(group, dummy, rows, set_of, device, setting), served)
        if found.sweeps is not None:
            return found
        missing = found.missing
    return Chosen(None, missing)


def _own_sets(
    group: CorrectedGroup, rows: list[int], served: CorrectedGroup
) -> npt.NDArray[np.intp]:
    """For each sweep the dummy of its own die: at its site, else the first of the die."""
    sites = group.group.keys["site"].to_pylist()
    first: dict[Die, int] = {}
    exact: dict[tuple[Die, str | None], int] = {}
    for place, row in enumerate(rows):
        die = _die_of(group, row)
        first.setdefault(die, place)
        exact[die, sites[row]] = place
    theirs = served.group.keys
    columns = [theirs[name].to_pylist() for name in ("die_x", "die_y", "site")]
    found = [
        exact.get(((x, y), site), first.get((x, y), -1))
        for x, y, site in zip(*columns, strict=True)
    ]
    return np.array(found, dtype=np.intp)


def _fitting(sweeps: DummySweeps, served: CorrectedGroup) -> Chosen:
    """Refused where the frequency lists differ."""
    wanted = served.group.frequency_hz
    if same_frequencies(sweeps.frequency_hz, wanted):
        return Chosen(sweeps, "")
    told = first_difference(sweeps.frequency_hz, wanted)
    return Chosen(None, f"the frequency list of {sweeps.device} differs from the device's: {told}")
