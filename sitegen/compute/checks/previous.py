"""A calibration beside an earlier one of its station: do they compare, and their raw sweeps."""

from collections.abc import Iterator, Sequence

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.checks.judge import greatest, judged
from sitegen.compute.contacts import PORTS, contacts_at
from sitegen.compute.rf.solution import Port
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray
from sitegen.model.campaign import Exchange
from sitegen.model.event_results import Check
from sitegen.model.frequency_lists import first_difference, same_frequencies
from sitegen.model.loaded import LoadedCalibration
from sitegen.model.station_state import differences
from sitegen.units import frequency

_KINDS = {"open": records.OpenDefinition, "short": records.ShortDefinition}


def why_not_comparable(
    earlier: SolvedCalibration, later: SolvedCalibration, exchanges: Sequence[Exchange]
) -> str:
    """Why two calibrations of a station cannot be compared, in words; empty when they can."""
    before, after = earlier.result.record, later.result.record
    reasons = []
    if before.reference_impedance_ohm != after.reference_impedance_ohm:
        reasons.append(
            f"reference impedance: then {before.reference_impedance_ohm:g} Ω,"
            f" now {after.reference_impedance_ohm:g} Ω"
        )
    for word, then, now in (
        ("reference plane", before.reference_plane, after.reference_plane),
        ("wave definition", before.wave_definition, after.wave_definition),
        ("analyser", before.instrument, after.instrument),
    ):
        if then != now:
            reasons.append(f"{word}: then {then}, now {now}")
    reasons += differences(before.state, after.state, ("then", "now"))
    frequencies = earlier.result.frequency_hz, later.result.frequency_hz
    if not same_frequencies(*frequencies):
        reasons.append(f"frequencies: {first_difference(*frequencies)}")
    reasons += [
        f"between them {one.part}: {one.description}"
        for one in exchanges
        if earlier.result.made_at < one.at <= later.result.made_at
    ]
    return "; ".join(reasons)


def raw_against_previous(earlier: LoadedCalibration, later: LoadedCalibration) -> Iterator[Check]:
    """Raw open and raw short at each port against those of the calibration before."""
    for port in PORTS:
        for word in _KINDS:
            then, now = _raw(earlier, port, word), _raw(later, port, word)
            if then is None or now is None:
                continue
            worst = greatest(np.abs(now - then), later.frequency_hz)
            text = "No frequency has both."
            if worst is not None:
                text = f"Greatest |ΔS| from {earlier.record.id}, at {frequency(worst[1])}."
            yield judged(
                "before solving",
                f"raw {word} against the previous calibration, port {port}",
                None if worst is None else worst[0],
                text,
                upper=later.record.bounds.raw_difference_from_previous,
            )


def _raw(loaded: LoadedCalibration, port: Port, word: str) -> ComplexArray | None:
    definitions = loaded.record.definitions
    return next(
        (
            one.raw
            for one in contacts_at(loaded, port)
            if isinstance(definitions.get(one.name), _KINDS[word])
        ),
        None,
    )
