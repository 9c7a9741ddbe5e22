"""What the second demonstration's verifications contact, and what they are held against."""

from collections.abc import Sequence
from dataclasses import dataclass

from sitegen.model.simulated import SimulatedSweep
from sitegen.simulate import structures
from sitegen.simulate.followed_station import (
    ATTENUATION_DB,
    FREQUENCY_HZ,
    MATCH,
    MODEL_U,
    OFFSET_SHORT,
    SEED,
    kit,
    structures_s,
)

_LOW_HZ, _TOP_HZ = float(FREQUENCY_HZ[0]), float(FREQUENCY_HZ[-1])
_ABOVE_HZ = 12e9
"""Masks of the verification after TRL begin here: below, its line is too short."""
_LINE_HZ = float(FREQUENCY_HZ[60])
MEASURED_U = {"line-600": 0.002, "line-2000": 0.002, "transistor": 0.006}
"""Standard uncertainty of each part of the references measured earlier."""


@dataclass(frozen=True)
class Contacted:
    """A structure as a verification contacts it."""

    id: str
    masks: tuple[tuple[str, str, float, float], ...]
    """Parameter, quantity, limit at the lowest and at the highest frequency."""
    ports: int = 2
    repeats: int = 0
    """Further contacts of it, lifted in between."""
    judged: bool = False
    """Whether the agreement of the whole sweep is judged."""
    low_hz: float = _LOW_HZ

    @property
    def files(self) -> list[str]:
        """Its sweeps, the further contacts after the first."""
        ending = f"s{self.ports}p"
        further = [f"{self.id}-contact-{n}.{ending}" for n in range(2, self.repeats + 2)]
        return [f"{self.id}.{ending}", *further]

    def record(self) -> dict[str, object]:
        """Its entry in a verification's record."""
        file, *further = self.files
        entry: dict[str, object] = {
            "id": self.id,
            "description": _DESCRIPTIONS[self.id],
            "file": file,
            "sweep": "raw",
            "reference": self._reference(),
            "masks": [
                structures.mask(parameter, quantity, ((self.low_hz, low), (_TOP_HZ, high)))
                for parameter, quantity, low, high in self.masks
            ],
        }
        if further:
            entry["repeats"] = further
        if self.id not in MEASURED_U:
            entry["reference_u"] = MODEL_U
        if self.id in _LENGTHS_UM:
            medium = kit().medium
            assert medium is not None
            entry["length_um"] = _LENGTHS_UM[self.id]
            entry["line_quantities"] = structures.line_quantities(medium, _LINE_HZ)
        if self.judged:
            entry |= {"agreement": "greatest value", "false_alarm_rate": 0.001}
        if self.id != "transistor":
            entry |= {"passive": True, "passivity_tolerance": 0.02}
        if self.id in {"line-600", "line-2000", "attenuator"}:
            entry["reciprocal"] = True
        return entry

    def _reference(self) -> dict[str, object]:
        match self.id:
            case "attenuator":
                return {"kind": "attenuator", "attenuation_db": ATTENUATION_DB}
            case "offset-short":
                return OFFSET_SHORT.model_dump(exclude_defaults=True)
            case "match":
                return MATCH.model_dump(exclude_defaults=True)
            case _:
                return {
                    "kind": "measured",
                    "file": f"{self.id}-reference.s2p",
                    "standard_uncertainty": MEASURED_U[self.id],
                    "measured_on": "supplier's reference laboratory, 2026-01-14 (simulated)",
                }


_DESCRIPTIONS = {
    "line-600": "line of 600 µm",
    "line-2000": "line of 2000 µm",
    "offset-short": f"short behind {OFFSET_SHORT.offset.delay_ps:g} ps of line",
    "match": "load of another set",
    "attenuator": f"attenuator of {ATTENUATION_DB:g} dB",
    "transistor": "transistor kept as a check standard, fixed bias",
}
_LENGTHS_UM = {"line-600": 600.0, "line-2000": 2000.0}
_COMPLEX = "complex deviation"
_LINE_MASKS = (("s21", _COMPLEX, 0.02, 0.05), ("s11", _COMPLEX, 0.02, 0.05))
_PAD_MASKS = (("s21", "magnitude db", 0.35, 0.4), ("s21", "phase deg", 2.0, 4.0))
_GAIN_MASKS = (("s21", _COMPLEX, 0.08, 0.08), ("s11", _COMPLEX, 0.05, 0.09))
_BOTH = (("s11", _COMPLEX, 0.03, 0.07), ("s22", _COMPLEX, 0.03, 0.07))
_SHORT_1 = (("s11", _COMPLEX, 0.03, 0.07),)

STRUCTURES: dict[str, tuple[Contacted, ...]] = {
    "acceptance": (
        Contacted("line-600", _LINE_MASKS, repeats=2, judged=True),
        Contacted("line-2000", _LINE_MASKS),
        Contacted("attenuator", _PAD_MASKS),
        Contacted("offset-short", _BOTH, repeats=2),
        Contacted("match", _BOTH),
        Contacted("transistor", _GAIN_MASKS),
    ),
    "above 12 GHz": (
        Contacted("line-600", _LINE_MASKS, low_hz=_ABOVE_HZ),
        Contacted("attenuator", _PAD_MASKS, low_hz=_ABOVE_HZ),
    ),
    "site": (
        Contacted("line-600", _LINE_MASKS),
        Contacted("offset-short", _BOTH),
        Contacted("match", _BOTH),
    ),
    "routine": (
        Contacted("line-600", _LINE_MASKS),
        Contacted("offset-short", _SHORT_1, ports=1),
        Contacted("transistor", _GAIN_MASKS),
    ),
}


def references(entries: Sequence[Contacted]) -> dict[str, SimulatedSweep]:
    """The references measured earlier of these structures: the same files wherever they lie."""
    return {
        f"{one.id}-reference.s2p": structures.measured_reference(
            one.id,
            FREQUENCY_HZ,
            structures_s()[one.id],
            MEASURED_U[one.id],
            (SEED, 61, tuple(MEASURED_U).index(one.id)),
        )
        for one in entries
        if one.id in MEASURED_U
    }


def performance() -> dict[str, object]:
    """What the acceptance declares, and how far the site may lie from the factory."""
    declared = (
        ("transmission of a line", "line-600", "s21", _COMPLEX, 0.04),
        ("match of a line", "line-2000", "s11", _COMPLEX, 0.04),
        ("reflection of an offset short", "offset-short", "s11", _COMPLEX, 0.05),
        ("match of a load", "match", "s22", _COMPLEX, 0.03),
        ("attenuation", "attenuator", "s21", "magnitude db", 0.35),
        ("gain of a transistor", "transistor", "s21", _COMPLEX, 0.08),
    )
    masks = (
        ("line-600", ("s21", _COMPLEX, 0.02, 0.04)),
        ("offset-short", ("s11", _COMPLEX, 0.02, 0.05)),
        ("transistor", ("s21", _COMPLEX, 0.08, 0.08)),
    )
    return {
        "performance": [
            {
                "name": name,
                "structure": structure,
                "parameter": parameter,
                "quantity": quantity,
                "frequency_start_hz": _LOW_HZ,
                "frequency_stop_hz": _TOP_HZ,
                "limit": limit,
            }
            for name, structure, parameter, quantity, limit in declared
        ],
        "differences": [
            {
                "structure": structure,
                "mask": structures.mask(parameter, quantity, ((_LOW_HZ, low), (_TOP_HZ, high))),
            }
            for structure, (parameter, quantity, low, high) in masks
        ],
    }
