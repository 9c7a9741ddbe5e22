"""Pads and leads taken off a wafer's devices, and which dummies did it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sitegen import addresses
from sitegen.compute.dummy_choice import COMPARED, Chosen, campaign_dummies, choose_dummies
from sitegen.compute.dummy_sweeps import DummySweeps
from sitegen.compute.rf.deembedding import deembedding
from sitegen.compute.rf.dummy_structures import Parasitics, doubts, parasitics
from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.portions import portions
from sitegen.compute.sweeps import CorrectedGroup, WaferSetting, reference_impedances_ohm
from sitegen.model.arrays import BoolArray, ComplexArray
from sitegen.model.device import DUMMIES_OF, Deembedding, DeembeddingMethod
from sitegen.model.device_results import DummyUse
from sitegen.problems import Finding
from sitegen.units import count

__all__ = ["DummySweeps", "Stripped", "StrippedGroup", "campaign_dummies", "deembed_groups"]

_NOT_DETERMINED = complex(np.nan, np.nan)


@dataclass(frozen=True, eq=False)
class StrippedGroup:
    """A group of corrected sweeps, with what lies between tips and device taken off."""

    corrected: CorrectedGroup
    s: ComplexArray | None
    """The shape of `corrected.group.s`; NaN where no dummies served, None without de-embedding."""
    dummies: Mapping[str, DummySweeps]
    """By part, 'open', 'short', ...; empty without de-embedding, or where none serve at all."""
    shared: bool
    """All dies of the wafer share the dummies."""
    unserved: Mapping[str, int]
    """Why sweeps were not served, and how many."""


@dataclass(frozen=True, eq=False)
class Stripped:
    """All groups of a wafer."""

    groups: tuple[StrippedGroup, ...]
    uses: tuple[DummyUse, ...]
    findings: tuple[Finding, ...]


def deembed_groups(
    groups: Sequence[CorrectedGroup], setting: WaferSetting, wafer_id: str
) -> Stripped:
    """Take pads and leads off every device that declares it.

    Of several touchdowns of a dummy the first with standing serves. Dummies serve sweeps of the
    same frequency list and reference impedance alone; what they do not serve is NaN.
    """
    stripped, uses = [], []
    for group in groups:
        device = setting.devices()[group.group.device]
        if device.deembedding is None:
            stripped.append(StrippedGroup(group, None, {}, False, {}))
            continue
        chosen = choose_dummies(groups, group, device, device.deembedding, setting)
        one = _strip(group, device.deembedding, chosen, setting)
        stripped.append(one)
        uses.append(_use(one, device.deembedding, chosen, wafer_id))
    return Stripped(tuple(stripped), tuple(uses), _findings(stripped, uses, wafer_id))


def _strip(
    group: CorrectedGroup,
    declared: Deembedding,
    chosen: Mapping[str, Chosen],
    setting: WaferSetting,
) -> StrippedGroup:
    needed = {part: chosen[part] for part in DUMMIES_OF[declared.method]}
    missing = [one.missing for one in needed.values() if one.sweeps is None]
    shared = declared.taken_from != "each die"
    if missing:
        told = "; ".join(dict.fromkeys(missing))
        s = np.full(group.group.s.shape, _NOT_DETERMINED)
        return StrippedGroup(group, s, {}, shared, {told: len(s)} if len(s) else {})
    dummies = {part: one.sweeps for part, one in needed.items() if one.sweeps is not None}
    served, unserved = _served(group, dummies, setting)
    dummies = {
        part: replace(one, set_of=np.where(served, one.set_of, -1)) for part, one in dummies.items()
    }
    z_ref_ohm = next(iter(dummies.values())).z_ref_ohm
    s = _deembedded(declared.method, group.group.s, dummies, served, z_ref_ohm)
    return StrippedGroup(group, s, dummies, shared, unserved)


def _served(
    group: CorrectedGroup, dummies: Mapping[str, DummySweeps], setting: WaferSetting
) -> tuple[BoolArray, Mapping[str, int]]:
    """Sweeps whose dummies are all there and of one reference impedance; why the others not."""
    impedances = reference_impedances_ohm(group, setting)
    served: BoolArray = np.ones(len(impedances), dtype=bool)
    reasons: dict[str, int] = {}
    for one in dummies.values():
        absent = served & (one.set_of < 0)
        if absent.any():
            reasons[f"{one.device} has no sweep with standing on their die"] = int(absent.sum())
        served &= ~absent
        other = served & (impedances != one.z_ref_ohm)
        if other.any():
            told = f"the reference impedance of {one.device} is {one.z_ref_ohm:g} Ω, theirs is not"
            reasons[told] = int(other.sum())
        served &= ~other
    return served, reasons


def _deembedded(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, DummySweeps],
    served: BoolArray,
    z_ref_ohm: float,
) -> ComplexArray:
    """S of the devices themselves, by entry in memory; NaN where it is not served or not known.

    Dummies that all sweeps share lie in their sets once.
    """
    n_ports = s.shape[-1]
    found = as_matrices(np.empty((n_ports**2, *s.shape[:2]), np.complex128))
    found[~served] = _NOT_DETERMINED
    shared = all(len(one.s) == 1 for one in dummies.values())
    if shared:
        take_off = deembedding(
            method, {part: one.s for part, one in dummies.items()}, z_ref_ohm, n_ports
        )
    rows = np.flatnonzero(served)
    for portion in portions(len(rows), s.shape[1]):
        mine = portion if len(rows) == len(s) else rows[portion]
        if not shared:
            parts = {part: one.s[one.set_of[mine]] for part, one in dummies.items()}
            take_off = deembedding(method, parts, z_ref_ohm, n_ports)
        inner = take_off(s[mine])
        if not np.isfinite(inner.sum()):
            inner[~np.isfinite(inner).all(axis=(2, 3))] = _NOT_DETERMINED
        found[mine] = inner
    return found


def _use(
    stripped: StrippedGroup,
    declared: Deembedding,
    chosen: Mapping[str, Chosen],
    wafer_id: str,
) -> DummyUse:
    """What served one group, and what it looks like."""
    found: Parasitics = {}
    told: tuple[str, ...] = ()
    corrected, dummies = stripped.corrected, stripped.dummies
    n_unserved = sum(stripped.unserved.values())
    die = None
    if dummies:
        first = next(iter(dummies.values()))
        die = first.dies[0] if stripped.shared else None
        s = _together(dummies)
        if s:
            arguments = (declared.method, s, first.frequency_hz, first.z_ref_ohm)
            found = parasitics(*arguments)
            told = doubts(found, *arguments, declared.upper_hz)
    return DummyUse(
        device=corrected.group.device,
        method=declared.method,
        taken_from=declared.taken_from,
        wafer=declared.wafer or wafer_id,
        die=die,
        served=len(corrected.group.s) - n_unserved,
        unserved=n_unserved,
        upper_hz=declared.upper_hz,
        parasitics=found,
        doubts=told,
        distributed_difference=_differences(stripped, declared, chosen),
    )


def _together(dummies: Mapping[str, DummySweeps]) -> dict[str, ComplexArray]:
    """Dummies that serve together, once for each combination of them; empty without one."""
    every = np.stack([one.set_of for one in dummies.values()], axis=-1)
    sets = np.unique(every[(every >= 0).all(axis=-1)], axis=0)
    if not len(sets):
        return {}
    return {part: one.s[sets[:, at]] for at, (part, one) in enumerate(dummies.items())}


def _differences(
    stripped: StrippedGroup, declared: Deembedding, chosen: Mapping[str, Chosen]
) -> Mapping[str, float]:
    """Greatest |S| distance to the distributed method, median over dies."""
    compared = {
        part.removeprefix(COMPARED): one.sweeps
        for part, one in chosen.items()
        if part.startswith(COMPARED)
    }
    if stripped.s is None or not compared or not stripped.dummies:
        return {}
    there = {part: one for part, one in compared.items() if one is not None}
    first = next(iter(stripped.dummies.values()))
    if len(there) < len(compared) or stripped.s.shape[-1] != 2:
        return {}
    if any(one.z_ref_ohm != first.z_ref_ohm for one in there.values()):
        return {}
    sets = [one.set_of >= 0 for one in (first, *there.values())]
    served = np.logical_and.reduce(sets)
    if not served.any():
        return {}
    method: DeembeddingMethod = "thru-line" if "line" in there else "thru"
    group = stripped.corrected.group
    other = _deembedded(method, group.s, there, served, first.z_ref_ohm)
    apart = np.abs(stripped.s[served] - other[served]).max(axis=(-2, -1))
    upper_hz = np.inf if declared.upper_hz is None else declared.upper_hz
    found = {}
    for name, points in (
        ("below the upper frequency", group.frequency_hz <= upper_hz),
        ("above it", group.frequency_hz > upper_hz),
    ):
        known = np.where(np.isfinite(apart[:, points]), apart[:, points], -1.0)
        greatest = known.max(axis=1, initial=-1.0)
        if (greatest >= 0.0).any():
            found[name] = float(np.median(greatest[greatest >= 0.0]))
    return found


def _findings(
    stripped: Sequence[StrippedGroup], uses: Sequence[DummyUse], wafer_id: str
) -> tuple[Finding, ...]:
    page = addresses.wafer(wafer_id)
    subject = f"wafer {wafer_id}"
    found = [
        Finding(
            "dummies missing",
            subject,
            f"On wafer {wafer_id}, {count(number, 'sweep')} of {one.corrected.group.device}"
            f" {'was' if number == 1 else 'were'} not de-embedded: {reason}.",
            "attention",
            page,
        )
        for one in stripped
        for reason, number in one.unserved.items()
    ]
    found += [
        Finding(
            "dummies doubtful",
            subject,
            f"Dummies of {use.device} on wafer {use.wafer}: {doubt}",
            "attention",
            page,
        )
        for use in uses
        for doubt in use.doubts
    ]
    return tuple(sorted(set(found)))
