"""The station of the second demonstration: its substrate, its structures, its parts."""

from datetime import date, datetime, timedelta, timezone
from functools import cache

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.calibration import (
    LineDefinition,
    LineMedium,
    LoadDefinition,
    Offset,
    OpenDefinition,
    ReflectDefinition,
    ShortDefinition,
    StandardDefinition,
    ThruDefinition,
)
from sitegen.simulate.devices import Transistor
from sitegen.simulate.pads import Pads
from sitegen.simulate.reading import Sources
from sitegen.simulate.standards import Kit, attenuator, both_ports, kit_of, reflection

SEED = 412
STATION, VNA = "PS-T", "VNA-T"
FREQUENCY_HZ: FloatArray = 1e9 + 0.66e9 * np.arange(101)
"""1 GHz to 67 GHz."""
FREQUENCY_HZ.setflags(write=False)
LOCAL = timezone(timedelta(hours=1))
START = datetime(2026, 2, 2, tzinfo=LOCAL)
"""A Monday; hours count from here."""

_OFFSET = Offset(delay_ps=0.4, loss_gohm_per_s=4.0, delay_u_ps=0.004)
DEFINITIONS: dict[str, StandardDefinition] = {
    "thru": ThruDefinition(kind="thru", delay_ps=1.52, delay_u_ps=0.008),
    "short": ShortDefinition(
        kind="short", inductance_ph=(2.4,), inductance_u_ph=0.15, offset=_OFFSET
    ),
    "open": OpenDefinition(
        kind="open", capacitance_ff=(3.1,), capacitance_u_ff=0.15, offset=_OFFSET
    ),
    "load": LoadDefinition(
        kind="load",
        resistance_ohm=50.0,
        inductance_ph=3.5,
        resistance_u_ohm=0.02,
        inductance_u_ph=0.3,
        offset=_OFFSET,
    ),
    "reflect": ReflectDefinition(kind="reflect", near="short", offset=_OFFSET),
    **{
        f"line-{length_um}": LineDefinition(
            kind="line", length_um=float(length_um), length_u_um=0.3
        )
        for length_um in (200, 450, 900, 1800, 3500)
    },
}
"""Of the contact substrate; every reflect stands behind a short piece of line."""
MEDIUM = LineMedium(
    effective_permittivity=5.2,
    capacitance_pf_per_m=155.0,
    capacitance_u_pf_per_m=0.8,
    source="low-frequency measurement of a resistor on the same substrate (simulated)",
)
_LOSS_OHM_PER_M = 450.0

SOURCES = Sources(
    noise_floor=2.0e-5,
    trace_noise=3.0e-5,
    contact_repeatability=3.0e-4,
    linearity=1.0e-4,
    cable=1.0e-4,
)
"""What the station's sweeps can be off by; its contacts are made without hands."""
ATTENUATION_DB = 10.0
OFFSET_SHORT = ShortDefinition(kind="short", inductance_ph=(2.4,), offset=Offset(delay_ps=1.5))
MATCH = LoadDefinition(kind="load", resistance_ohm=50.0, inductance_ph=3.0)
MODEL_U = 0.002
"""Standard uncertainty of each part of a modelled reference."""


@cache
def kit() -> Kit:
    """The contact substrate, its standards drawn from their definitions."""
    return kit_of("TS-12", DEFINITIONS, (SEED, 51), (MEDIUM, _LOSS_OHM_PER_M))


@cache
def structures_s() -> dict[str, ComplexArray]:
    """What the verification structures truly are, (n_freq, n, n).

    A modelled one is off its model by a draw that stays the same over frequency and time.
    """
    medium = kit().medium
    assert medium is not None
    rng = np.random.default_rng([SEED, 52])
    short, match = (reflection(one, FREQUENCY_HZ) for one in (OFFSET_SHORT, MATCH))
    pad = attenuator(ATTENUATION_DB, FREQUENCY_HZ)
    modelled = {
        "offset-short": both_ports(short, short),
        "match": both_ports(match, match),
        "attenuator": pad,
    }
    return {
        "line-600": medium.line(600.0, FREQUENCY_HZ),
        "line-2000": medium.line(2000.0, FREQUENCY_HZ),
        "transistor": _transistor(),
    } | {name: s + _constant(rng, s) for name, s in modelled.items()}


def _constant(rng: np.random.Generator, s: ComplexArray) -> ComplexArray:
    """One error for each S-parameter that the model does not make zero; both ways the same."""
    errors = MODEL_U * (rng.standard_normal((2, 2)) + 1j * rng.standard_normal((2, 2)))
    errors[0, 1] = errors[1, 0]
    return np.asarray(errors * (np.abs(s).max(axis=0) > 0))


def _transistor() -> ComplexArray:
    """The transistor that is kept as a check standard, under its fixed bias."""
    one = np.ones(1)
    device = Transistor(
        gm_s=0.040 * one,
        gds_s=2.5e-3 * one,
        cgs_f=68e-15 * one,
        cgd_f=10e-15 * one,
        cds_f=14e-15 * one,
        rg_ohm=4.0 * one,
    )
    pads = Pads(12e-15, 12e-15, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    return np.asarray(device.at_tips(FREQUENCY_HZ, pads)[0])


def time(hours: float) -> datetime:
    """The local time of an hour, to the second."""
    return START + timedelta(seconds=round(hours * 3600))


def ambient_c(hours: float) -> float:
    """Within 0.2 °C of 23.0 °C over the day."""
    return round(23.0 + 0.2 * float(np.sin(2 * np.pi * (hours - 9.0) / 24.0)), 2)


def station_record(exchanges: list[dict[str, object]]) -> dict[str, object]:
    """The station's entry in campaign.toml."""
    probes = [
        ("RF-11", 1, "P-4411"),
        ("RF-12", 2, "P-4412"),
        ("RF-13", 2, "P-4413"),
    ]
    cables = [
        ("CBL-F1", "cable of port 1 where the system was built", "C-801"),
        ("CBL-F2", "cable of port 2 where the system was built", "C-802"),
        ("CBL-1", "cable of port 1", "C-811"),
        ("CBL-2", "cable of port 2", "C-812"),
    ]
    return {
        "id": STATION,
        "name": "probe station T (simulated)",
        "place": "screened room 5 (invented)",
        "instruments": [
            {
                "id": VNA,
                "kind": "vna",
                "model": "invented network analyser, 67 GHz",
                "serial_number": "N-0588",
                "certificate": "SIM-N-0588",
                "due": date(2026, 12, 31),
                "clock_offset_s": 0.6,
                "clock_offset_u_s": 0.3,
            }
        ],
        "probes": [
            {
                "id": name,
                "kind": "rf",
                "serial_number": serial,
                "port": port,
                "pitch_um": 125.0,
                "contacts_max": 200_000,
            }
            for name, port, serial in probes
        ],
        "cables": [
            {"id": name, "description": description, "serial_number": serial}
            for name, description, serial in cables
        ],
        "exchanges": exchanges,
    }
