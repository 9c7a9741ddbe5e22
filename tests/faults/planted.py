"""The faults that are planted, and the smallest size at which each one matters.

A fault matters when it moves a corrected S-parameter of one of the verification's structures by
more than its mask, without noise.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np

from sitegen.compute.calibration import solve
from sitegen.compute.correction import correct_sweeps
from tests.compute.rf import forward as fw
from tests.faults.scenes import (
    FREQUENCY_HZ,
    MASKS,
    OMEGA,
    STATE,
    STRUCTURES,
    Fault,
    Plan,
    Step,
    X,
    campaign_of,
    limit_of,
    sound,
)

MATTERS = 1.02
"""Shift over mask at the size that is planted."""


def _changed(
    steps: tuple[Step, ...], names: tuple[str, ...], change: Callable[[Step], Step]
) -> tuple[Step, ...]:
    return tuple(change(step) if step.name in names else step for step in steps)


def _gamma_to_z(gamma: fw.Array) -> fw.Array:
    z: fw.Array = fw.Z_REF_OHM * (1 + gamma) / (1 - gamma)
    return z


def _in_series(port: int, impedance_ohm: fw.Array | float) -> Callable[[Step], Step]:
    """An impedance between the tip of a port and a one-port standard."""

    def change(step: Step) -> Step:
        device = step.device.copy()
        place = port - 1
        z = _gamma_to_z(device[:, place, place]) + impedance_ohm
        device[:, place, place] = fw.from_impedance(z)
        return replace(step, device=device)

    return change


def _behind_line(port: int, delay_ps: float) -> Callable[[Step], Step]:
    """A tip that lands short of where it should: a piece of line before the device."""

    def change(step: Step) -> Step:
        piece = fw.ideal_line(FREQUENCY_HZ, delay_ps * 1e-12)
        cascade = (piece, step.device) if port == 1 else (step.device, piece)
        return replace(step, device=fw.cascade(*cascade))

    return change


def _path(
    degrees_1: float, degrees_2: float, share_1: float = 0.0, share_2: float = 0.0
) -> Callable[[Step], Step]:
    """Paths whose way through has changed: phase and size at 110 GHz."""

    def through(box: fw.Array, degrees: float, share: float) -> fw.Array:
        changed = box.copy()
        factor = (1 + share * np.sqrt(X)) * np.exp(-1j * np.radians(degrees) * X)
        changed[:, 0, 1] *= factor
        changed[:, 1, 0] *= factor
        return changed

    def change(step: Step) -> Step:
        path = replace(
            step.path,
            box_1=through(step.path.box_1, degrees_1, share_1),
            box_2=through(step.path.box_2, degrees_2, share_2),
        )
        return replace(step, path=path)

    return change


def worn_pad(plan: Plan, ohm: float) -> Plan:
    """A pad of the load is worn: contact resistance at port 1, where the load is used."""
    return replace(plan, calibration=_changed(plan.calibration, ("load",), _in_series(1, ohm)))


def lifted_probe(plan: Plan, per_farad: float) -> Plan:
    """Port 2's probe barely touches the short: a gap's capacitance in series."""
    gap = per_farad / (1j * OMEGA * 1e-12)
    return replace(plan, calibration=_changed(plan.calibration, ("short",), _in_series(2, gap)))


def swapped_open_and_short(plan: Plan, _: float) -> Plan:
    """The sweeps of open and short are stored under each other's name."""
    other = {"open": "short", "short": "open"}
    by_name = {step.name: step for step in plan.calibration}
    return replace(
        plan,
        calibration=tuple(
            replace(by_name[other.get(step.name, step.name)], name=step.name)
            for step in plan.calibration
        ),
    )


def wrong_load_value(plan: Plan, ohm: float) -> Plan:
    """The loads, at both ports, are not what the definition says."""

    def change(step: Step) -> Step:
        return _in_series(2, ohm)(_in_series(1, ohm)(step))

    return replace(plan, calibration=_changed(plan.calibration, ("load",), change))


def moved_cable(plan: Plan, degrees: float) -> Plan:
    """Port 2's cable moved after the thru and stayed so."""
    change = _path(0.0, degrees)
    return replace(
        plan,
        calibration=_changed(plan.calibration, ("short", "open", "load"), change),
        verification=_changed(plan.verification, STRUCTURES, change),
    )


def temperature_step(plan: Plan, degrees: float) -> Plan:
    """Both paths changed between calibration and verification: phase, and loss with it."""
    change = _path(degrees, degrees, 0.004 * degrees, 0.004 * degrees)
    return replace(plan, verification=_changed(plan.verification, STRUCTURES, change))


def wrong_definitions(plan: Plan, delay_ps: float) -> Plan:
    """The record declares another thru than the one that was measured."""
    return replace(plan, declared_thru_ps=plan.declared_thru_ps + delay_ps)


def interchanged_ports(plan: Plan, _: float) -> Plan:
    """The calibration's sweeps are stored with their ports interchanged."""
    return replace(plan, turned=True)


def changed_state_recorded(plan: Plan, _: float) -> Plan:
    """The attenuator was changed after the calibration, and the record says so."""
    return replace(plan, verified_state={**STATE, "attenuator_db": 20.0})


def changed_state_unrecorded(plan: Plan, share: float) -> Plan:
    """A setting was changed after the calibration, and the record does not say so."""

    def change(step: Step) -> Step:
        box = step.path.box_1.copy()
        box[:, 0, 1] *= 1 - share
        return replace(step, path=replace(step.path, box_1=box))

    return replace(plan, verification=_changed(plan.verification, STRUCTURES, change))


def slipped_reference_plane(plan: Plan, delay_ps: float) -> Plan:
    """Port 2's probe lands short of where it should on every structure of the verification."""
    change = _behind_line(2, delay_ps)
    return replace(plan, verification=_changed(plan.verification, STRUCTURES, change))


def slipped_reference_structure(plan: Plan, share: float) -> Plan:
    """The attenuator is no longer what it was at acceptance."""

    def change(step: Step) -> Step:
        return replace(step, device=step.device * (1 - share))

    return replace(plan, verification=_changed(plan.verification, ("attenuator",), change))


FAULTS = (
    Fault("worn pad of the load", "Ω", 20.0, worn_pad),
    Fault("probe lifted on the short, port 2", "1/pF", 1.0, lifted_probe),
    Fault("open and short swapped", "", None, swapped_open_and_short),
    Fault("wrong load value", "Ω", 20.0, wrong_load_value),
    Fault("cable moved between standards", "° at 110 GHz", 60.0, moved_cable),
    Fault("temperature step after the calibration", "° at 110 GHz", 60.0, temperature_step),
    Fault("wrong definition of the thru", "ps", 2.0, wrong_definitions),
    Fault("ports interchanged", "", None, interchanged_ports),
    Fault("state changed, recorded", "", None, changed_state_recorded),
    Fault("state changed, not recorded", "share", 0.5, changed_state_unrecorded),
    Fault("reference plane slipped at port 2", "ps", 2.0, slipped_reference_plane),
    Fault("reference structure slipped", "share", 0.5, slipped_reference_structure),
)


@cache
def smallest_size(fault: Fault, path: int) -> float:
    """The size at which the fault shifts a structure by just more than its mask, on one path."""
    if fault.largest is None:
        return 1.0
    low, high = 0.0, fault.largest
    assert shift_over_mask(fault, high, path) > MATTERS, f"{fault.name} never matters"
    for _ in range(14):
        middle = 0.5 * (low + high)
        if shift_over_mask(fault, middle, path) > MATTERS:
            high = middle
        else:
            low = middle
    return high


def shift_over_mask(fault: Fault, size: float, path: int) -> float:
    """Greatest shift of a corrected S-parameter by the fault, over its mask, without noise.

    Infinite where the calibration can then not be solved.
    """
    right = _right(path)
    wrong = _corrected(fault.plant(sound(path, quiet=True), size), path)
    if not wrong:
        return np.inf
    ratios = [
        np.abs((wrong[name] - right[name])[:, int(mask[0][1]) - 1, int(mask[0][2]) - 1])
        / limit_of(mask)
        for name, masks in MASKS.items()
        for mask in masks
    ]
    return float(np.nanmax(ratios))


@cache
def _right(path: int) -> dict[str, fw.Array]:
    """Each structure of a path without fault, corrected."""
    return _corrected(sound(path, quiet=True), path)


def _corrected(plan: Plan, seed: int) -> dict[str, fw.Array]:
    """Each structure, corrected; empty where the calibration cannot be solved."""
    campaign = campaign_of(plan, seed, quiet=True)
    (station,) = campaign.record.stations
    (analyser,) = station.instruments
    solved = solve(campaign.calibrations[1], analyser)
    if solved.terms is None:
        return {}
    return {
        one.structure.id: correct_sweeps(solved.terms, one.sweep.s)
        for one in campaign.verifications[0].structures
        if one.sweep is not None
    }
