"""One calibration of any method: its raw sweeps, and its record."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import ComplexArray
from sitegen.model.calibration import LineDefinition, ThruDefinition
from sitegen.model.simulated import Portion, SimulatedSweep
from sitegen.simulate.networks import Z_REF_OHM
from sitegen.simulate.reading import Readings
from sitegen.simulate.scenario import CalibrationPlan
from sitegen.simulate.standards import Kit, both_ports
from sitegen.simulate.station import Analyser

CONTACTS: dict[str, tuple[str, ...]] = {
    "one-port": ("short", "open", "load"),
    "SOLT": ("thru", "short", "open", "load"),
    "SOLR": ("thru", "short", "open", "load"),
    "LRRM": ("thru", "short", "open", "load"),
    "LRM": ("thru", "reflect", "load"),
    "TRL": ("line-200", "reflect", "line-900"),
    "multiline TRL": ("line-200", "reflect", "line-450", "line-900", "line-1800", "line-3500"),
}
"""Names of the definitions that each method contacts."""


@dataclass(frozen=True)
class Occasion:
    """Where, when and in which state an event took place."""

    station: str
    instrument: str
    at: datetime
    ambient_c: float
    substrate_c: float
    state: Mapping[str, object]

    def record(self) -> dict[str, object]:
        """Its fields in an event's record."""
        return {
            "station": self.station,
            "instrument": self.instrument,
            "at": self.at,
            "by": "measurement engineer on duty",
            "ambient_c": self.ambient_c,
            "substrate_c": self.substrate_c,
            "state": dict(self.state),
        }


@dataclass(frozen=True, eq=False)
class Calibrating:
    """A calibration as it is made."""

    plan: CalibrationPlan
    kit: Kit
    readings: Readings
    loads_ohm: tuple[float, float]
    """Resistance measured through each probe that day."""

    @property
    def names(self) -> tuple[str, ...]:
        """The definitions that are contacted, in their order."""
        return CONTACTS[self.plan.method]

    @property
    def ports(self) -> int:
        """How many ports are calibrated."""
        return 1 if self.plan.method == "one-port" else 2

    def portion(self, record: Mapping[str, object]) -> Portion:
        """Everything that is written of it, and the true error boxes."""
        analyser, hours = self.readings.analyser, self.plan.at
        tables = {"reported-terms.parquet": self._reported()} if self.plan.reported else {}
        return Portion(
            folder=f"calibrations/{self.plan.id}",
            record_file="record.toml",
            record=record,
            sweeps=self._sweeps(),
            tables=tables,
            notes={"note.md": self.plan.note} if self.plan.note else {},
            true_tables={
                "error-boxes.parquet": true_boxes(analyser, self.readings.frequency_hz, hours)
            },
        )

    def record(
        self, occasion: Occasion, substrate: Mapping[str, object], bounds: Mapping[str, object]
    ) -> dict[str, object]:
        """Its record; `substrate` without the day's load resistances."""
        plan, frequency_hz = self.plan, self.readings.frequency_hz
        day = dict(substrate)
        if "load" in self.names:
            for port, ohm in zip((1, 2)[: self.ports], self.loads_ohm, strict=False):
                day[f"load_resistance_port_{port}_ohm"] = ohm
        uncertainty = self.readings.sources.record(with_noise=not plan.noise_from_repeats)
        if plan.monte_carlo_draws is not None:
            uncertainty["monte_carlo_draws"] = plan.monte_carlo_draws
        record: dict[str, object] = {
            "id": plan.id,
            **occasion.record(),
            "method": plan.method,
            "ports": [1, 2][: self.ports],
            "reference_impedance_ohm": Z_REF_OHM,
            "reference_plane": "probe tips",
            "wave_definition": "power",
            "frequency_start_hz": float(frequency_hz[0]),
            "frequency_stop_hz": float(frequency_hz[-1]),
            "frequency_points": len(frequency_hz),
            "averaging": 4,
            "overtravel_um": 50.0,
            "probe_spacing_um": 150.0,
            "substrate": day,
            "definitions": {
                name: self.kit.declared[name].model_dump(exclude_defaults=True)
                for name in self.names
            },
            "uncertainty": uncertainty,
            "sweeps": [self._contact(name) for name in self.names],
            "validity": {
                "hours": plan.valid_hours,
                "ambient_change_c": 1.5,
                "substrate_change_c": 2.0,
            },
            "bounds": dict(bounds),
        }
        if "TRL" in plan.method:
            assert self.kit.declared_medium is not None
            record["line_medium"] = self.kit.declared_medium.model_dump(exclude_defaults=True)
        if self.ports == 2:
            record["switch_terms"] = {
                "forward": "switch-forward.s1p",
                "reverse": "switch-reverse.s1p",
            }
        if plan.reported:
            record["reported_terms"] = "reported-terms.parquet"
        return record

    def _sweeps(self) -> dict[str, SimulatedSweep]:
        sweeps: dict[str, SimulatedSweep] = {}
        for name in self.names:
            shown = self.readings.raw(self._presented(name), name, self._repeats(name))
            sweeps.update(zip(self._files(name), shown, strict=True))
        if self.ports == 2:
            forward, reverse = self.readings.switch_terms()
            sweeps |= {"switch-forward.s1p": forward, "switch-reverse.s1p": reverse}
        return sweeps

    def _presented(self, name: str) -> ComplexArray:
        """What the tips are shown, with the planted bad contact: (n_freq, n_port, n_port)."""
        frequency_hz = self.readings.frequency_hz
        if self._between(name):
            return self.kit.presented(name, frequency_hz)
        day: tuple[float, float] | tuple[None, None] = (
            self.loads_ohm if name == "load" else (None, None)
        )
        first, second = (self.kit.presented(name, frequency_hz, ohm) for ohm in day)
        poor = self.plan.poor_contact
        if poor is not None and poor.standard == name:
            if poor.port == 1:
                first = _behind(poor.ohm, first)
            else:
                second = _behind(poor.ohm, second)
        return first.reshape(-1, 1, 1) if self.ports == 1 else both_ports(first, second)

    def _between(self, name: str) -> bool:
        return isinstance(self.kit.declared[name], ThruDefinition | LineDefinition)

    def _repeats(self, name: str) -> int:
        return self.plan.repeats if name == self.plan.repeated else 0

    def _files(self, name: str) -> list[str]:
        ending = f"s{self.ports}p"
        repeats = [f"{name}-repeat-{n}.{ending}" for n in range(1, self._repeats(name) + 1)]
        return [f"{name}.{ending}", *repeats]

    def _contact(self, name: str) -> dict[str, object]:
        file, *repeats = self._files(name)
        contact: dict[str, object] = {"file": file}
        if repeats:
            contact["repeats"] = repeats
        if self._between(name):
            return contact | {"between": name}
        return contact | {f"port_{port}": name for port in (1, 2)[: self.ports]}

    def _reported(self) -> pa.Table:
        """Error terms as the instrument reported them: without an error of its own."""
        frequency_hz = self.readings.frequency_hz
        terms = twelve_terms(self.readings.analyser, frequency_hz, self.plan.at)
        values = np.concatenate(list(terms.values()))
        names = [name for name in terms for _ in frequency_hz]
        return pa.table(
            {
                "frequency_hz": np.tile(frequency_hz, len(terms)),
                "term": names,
                "re": values.real,
                "im": values.imag,
            }
        )


def _behind(series_ohm: float, reflection: ComplexArray) -> ComplexArray:
    """A reflection behind a series resistance."""
    ratio = (1 + reflection) / (1 - reflection) + series_ohm / Z_REF_OHM
    return np.asarray((ratio - 1) / (ratio + 1))


def true_boxes(analyser: Analyser, frequency_hz: np.ndarray, hours: float) -> pa.Table:
    """Both ports' error boxes and the switch terms as they truly were: one row a frequency."""
    first, second = analyser.boxes(frequency_hz, np.array([hours]))
    forward, reverse = analyser.ends_s(frequency_hz)
    columns = {"frequency_hz": frequency_hz}
    terms = {
        f"port_{port}_s{i + 1}{j + 1}": box[0, :, i, j]
        for port, box in ((1, first), (2, second))
        for i in (0, 1)
        for j in (0, 1)
    } | {"switch_forward": forward, "switch_reverse": reverse}
    for name, values in terms.items():
        columns[f"{name}_re"], columns[f"{name}_im"] = values.real, values.imag
    return pa.table(columns)


def twelve_terms(
    analyser: Analyser, frequency_hz: np.ndarray, hours: float
) -> dict[str, ComplexArray]:
    """The twelve error terms of the true boxes: what a perfect calibration would report.

    With a box of port 1 (analyser on its port 1) and one of port 2 (tip on its port 1), port 2
    ended by G while port 1 is driven: directivity e00, source match e11, tracking e10 e01, load
    match h11 + h12 h21 G/(1 - h22 G), transmission e10 h21/(1 - h22 G).
    """
    first, second = (box[0] for box in analyser.boxes(frequency_hz, np.array([hours])))
    forward, reverse = analyser.ends_s(frequency_hz)
    turned = second[..., ::-1, ::-1]
    found: dict[str, ComplexArray] = {}
    for letter, own, other, end in (
        ("F", first, second, forward),
        ("R", turned, first[..., ::-1, ::-1], reverse),
    ):
        below = 1.0 - other[:, 1, 1] * end
        found |= {
            f"ED{letter}": own[:, 0, 0],
            f"ES{letter}": own[:, 1, 1],
            f"ER{letter}": own[:, 0, 1] * own[:, 1, 0],
            f"EL{letter}": other[:, 0, 0] + other[:, 0, 1] * other[:, 1, 0] * end / below,
            f"ET{letter}": own[:, 1, 0] * other[:, 1, 0] / below,
            f"EX{letter}": np.zeros(len(frequency_hz), dtype=np.complex128),
        }
    return found
