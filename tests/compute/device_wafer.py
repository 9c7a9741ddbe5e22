"""Raw sweeps of a wafer's devices and dummies, corrected with one simulated calibration.

Measured by `forward`, with no code of the program's: the transistor of `transistors` behind pads
and leads, an inductor, and the pads' open and short.
"""

import itertools
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pyarrow as pa

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.correction import correct_sweeps
from sitegen.compute.dummies import StrippedGroup, deembed_groups
from sitegen.compute.evidence import Evidence
from sitegen.compute.sweeps import CorrectedGroup, WaferSetting
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import SWEEP_KEY_SCHEMA, SweepGroup
from tests.compute.events import instrument, station

AT = datetime(2026, 4, 20, 9, 0, tzinfo=UTC)
CONDITIONS = ("rf", "cold")
NAMES = {"FET": "transistor", "IND": "inductor", "OPEN": "dummy", "SHORT": "dummy"}


def setting(
    solved: SolvedCalibration | None, parameters: Sequence[Mapping[str, Any]], **pads: Any
) -> WaferSetting:
    """A wafer's setting with parameters of FET and IND; `pads` changes the FET's de-embedding."""
    deembedding = {
        "method": "open-short",
        "open": "OPEN",
        "short": "SHORT",
        "taken_from": "one die of the wafer",
        "condition": "rf",
        **pads,
    }
    campaign = CampaignRecord.model_validate(
        {
            "campaign": {
                "id": "T",
                "title": "t",
                "simulated": True,
                "requested_by": "a",
                "responsible": "a",
                "authorised_by": "a",
                "laboratory": "a",
                "place": "a",
                "edition": 1,
                "edition_reason": "first",
                "issued": AT.date(),
            },
            "stations": (station(instrument("VNA-1")).model_dump(),),
            "layout": None,
            "conditions": tuple(
                {"id": one, "description": one, "temperature_c": 25.0} for one in CONDITIONS
            ),
            "devices": tuple(
                {
                    "id": one,
                    "name": one,
                    "kind": kind,
                    "deembedding": deembedding if one == "FET" else None,
                }
                for one, kind in NAMES.items()
            ),
            "parameters": tuple(parameters),
            "decision": {"rule": "simple"},
            "touchdowns": {"counts": "last"},
            "plan": {"wafers": ()},
        }
    )
    here = campaign.stations[0]
    terms, uncertainties = {}, {}
    if solved is not None and solved.terms is not None:
        terms = {"CAL-1": solved.terms}
        uncertainties = {} if solved.uncertainty is None else {"CAL-1": solved.uncertainty}
    return WaferSetting(campaign, here, here.instruments[0], None, {}, (), terms, uncertainties)


def parameter(
    name: str, figure: str, unit: str, device: str = "FET", **taken: Any
) -> dict[str, Any]:
    """A parameter that is taken from sweeps under 'rf'."""
    return {
        "id": name,
        "symbol": name,
        "name": name,
        "unit": unit,
        "kind": "rf",
        "device": device,
        "conditions": ("rf",),
        "from_sweep": {"figure": figure, **taken},
    }


def group(
    device: str,
    frequency_hz: FloatArray,
    s: ComplexArray,
    condition: Sequence[str] | None = None,
    calibration: str | None = "CAL-1",
    corrected: bool = False,
) -> CorrectedGroup:
    """Sweeps (n, n_freq, p, p), corrected or not to be, on dies (0, 0), (1, 0), ..."""
    n = len(s)
    columns: dict[str, Any] = {name: [None] * n for name in SWEEP_KEY_SCHEMA.names}
    conditions = list(condition or ["rf"] * n)
    dies = {one: itertools.count() for one in conditions}
    columns |= {
        "die_x": [next(dies[one]) for one in conditions],
        "die_y": [0] * n,
        "site": [""] * n,
        "device": [device] * n,
        "condition": conditions,
        "touchdown": [1] * n,
        "measured_at": np.datetime64(AT.replace(tzinfo=None), "us") + 1_000_000 * np.arange(n),
        "file": ["sweeps.parquet"] * n,
    }
    keys = pa.table(columns, schema=SWEEP_KEY_SCHEMA)
    nothing = np.full(n, "", dtype=object)
    evidence = Evidence(
        calibration=np.full(n, calibration, dtype=object),
        basis=np.full(n, "named", dtype=object),
        reasons=np.zeros(n, dtype=np.int64),
        not_closed=np.zeros(n, dtype=bool),
        never_verified=np.zeros(n, dtype=bool),
        detail=nothing,
        faults=(),
    )
    return CorrectedGroup(
        SweepGroup(device, corrected, 50.0, frequency_hz, keys, s), evidence, None
    )


def measured(
    solved: SolvedCalibration, device: str, raw: ComplexArray, **more: Any
) -> CorrectedGroup:
    """Raw sweeps (n, n_freq, p, p) corrected with the calibration."""
    assert solved.terms is not None
    corrected = correct_sweeps(solved.terms, raw)
    return group(device, solved.terms.frequency_hz, corrected, **more)


def stripped(groups: Sequence[CorrectedGroup], here: WaferSetting) -> dict[str, StrippedGroup]:
    """By device, with pads taken off."""
    found = deembed_groups(groups, here, "W")
    return {one.corrected.group.device: one for one in found.groups}
