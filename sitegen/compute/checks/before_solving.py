"""Checks of the raw sweeps before anything is solved from them."""

from collections.abc import Iterator

import numpy as np

from sitegen.compute.checks.judge import judged
from sitegen.compute.contacts import PORTS, contacts_at
from sitegen.compute.rf.checks import OpenAgainstShort, open_against_short, repeatability
from sitegen.compute.rf.definitions import reflection
from sitegen.compute.rf.solution import Port
from sitegen.compute.standards import reflect_standard
from sitegen.compute.sweep_errors import estimated_noise
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray
from sitegen.model.event_results import Check, CheckGroup
from sitegen.model.loaded import LoadedCalibration
from sitegen.units import count, frequency, number

GROUP: CheckGroup = "before solving"
_EXCHANGED = {
    True: "They look exchanged.",
    False: "Open and short are what they are said to be.",
    None: "Whether they are exchanged cannot be told from these sweeps.",
}


def checks_before_solving(loaded: LoadedCalibration) -> Iterator[Check]:
    """Frequencies, repeats and noise, and the raw open against the raw short at each port."""
    yield _frequencies(loaded)
    yield from _repeats(loaded)
    yield from _noise(loaded)
    for port in PORTS:
        found = raw_open_against_short(loaded, port)
        if found is not None:
            yield _open_against_short(loaded, port, found)


def raw_open_against_short(loaded: LoadedCalibration, port: Port) -> OpenAgainstShort | None:
    """Raw open over raw short at a port; None where it does not contact both."""
    raw: dict[str, ComplexArray] = {}
    ideal: dict[str, ComplexArray] = {}
    for contact in contacts_at(loaded, port):
        definition = loaded.record.definitions.get(contact.name)
        if isinstance(definition, records.ShortDefinition | records.OpenDefinition):
            raw[definition.kind] = contact.raw
            ideal[definition.kind] = reflection(
                reflect_standard(definition),
                loaded.frequency_hz,
                loaded.record.reference_impedance_ohm,
            )
    if set(raw) != {"short", "open"}:
        return None
    return open_against_short(
        raw["open"], raw["short"], ideal["open"], ideal["short"], loaded.frequency_hz
    )


def _frequencies(loaded: LoadedCalibration) -> Check:
    """What reading made sure of: a list that decreases, differs or has no number is a fault."""
    frequency_hz = loaded.frequency_hz
    sweeps = sum(1 + len(one.repeats) for one in loaded.standards)
    return judged(
        GROUP,
        "frequencies",
        float(len(frequency_hz)),
        f"{frequency(float(frequency_hz[0]))} to {frequency(float(frequency_hz[-1]))}, increasing,"
        f" with a finite value at each, the same in {count(sweeps, 'raw sweep')}.",
    )


def _repeats(loaded: LoadedCalibration) -> Iterator[Check]:
    for standard in loaded.standards:
        if not standard.repeats:
            continue
        sweeps = np.array([one.s for one in (standard.sweep, *standard.repeats)])
        found = [
            repeatability(sweeps[:, :, i, j], loaded.frequency_hz)
            for i in range(sweeps.shape[2])
            for j in range(sweeps.shape[3])
        ]
        worst = max(found, key=lambda one: one.largest_difference)
        yield judged(
            GROUP,
            f"repeatability, {standard.contact.file}",
            worst.largest_difference,
            f"{len(sweeps)} raw sweeps without lifting; greatest |ΔS| at"
            f" {frequency(worst.largest_at_hz)}, pooled standard deviation"
            f" {number(worst.pooled, 2)}.",
            upper=loaded.record.bounds.repeatability,
        )


def _noise(loaded: LoadedCalibration) -> Iterator[Check]:
    bounds = loaded.record.bounds
    found = estimated_noise(loaded)
    if found is None:
        if bounds.noise_floor is not None or bounds.trace_noise is not None:
            text = "No sweep is repeated without lifting: it cannot be estimated."
            yield judged(GROUP, "noise floor", None, text, upper=bounds.noise_floor)
            yield judged(GROUP, "trace noise", None, text, upper=bounds.trace_noise)
        return
    basis = f"from the repeats, {found.degrees_of_freedom} degrees of freedom"
    yield judged(
        GROUP,
        "noise floor",
        found.floor,
        f"Standard deviation of each part of a raw S-parameter, whatever its size; {basis}.",
        upper=bounds.noise_floor,
    )
    yield judged(
        GROUP,
        "trace noise",
        found.trace,
        f"Standard deviation of each part that grows with |S|, as a share of it; {basis}.",
        upper=bounds.trace_noise,
    )


def _open_against_short(loaded: LoadedCalibration, port: Port, found: OpenAgainstShort) -> Check:
    return judged(
        GROUP,
        f"open against short, port {port}",
        found.largest_distance,
        f"Greatest distance of the raw ratio from −1, after the phase of their definitions, at"
        f" {frequency(found.largest_at_hz)}; mismatch not yet corrected is part of it."
        f" {_EXCHANGED[found.exchanged]}",
        upper=loaded.record.bounds.open_short_distance,
    )
