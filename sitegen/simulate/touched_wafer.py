"""A wafer of a scenario: what it truly is, which of its dies were touched, and when."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.simulate.process import Truth, wafer_truth
from sitegen.simulate.scenario import ControlPlan, Die, PoorTouch, Scenario, WaferPlan
from sitegen.simulate.station import Analyser

Places = npt.NDArray[np.intp]
"""Places of dies in the grid's order."""

Touches = npt.NDArray[np.int32]

TOUCHED_DEVICES = (
    "hemt", "contacts", "chain", "cap", "spiral", "line", "dummy-open", "dummy-short",
    "spiral-gnd",
)  # fmt: skip
"""In the order in which a die's devices are touched; the last one has a session of its own."""
SWEPT_AT = {
    "hemt": 0.45, "cap": 0.60, "spiral": 0.72, "line": 0.84, "dummy-open": 0.90,
    "dummy-short": 0.94,
}  # fmt: skip
"""When, as a share of a die's time, each device was swept."""


@dataclass(frozen=True, eq=False)
class TouchedWafer:
    """One wafer; everything follows from the scenario, the wafer's number and the analyser."""

    scenario: Scenario
    number: int
    analyser: Analyser

    @property
    def plan(self) -> WaferPlan:
        """The wafer's plan."""
        return self.scenario.wafers[self.number]

    @property
    def die_hours(self) -> float:
        """From one die to the next, in hours."""
        return self.plan.period_s / 3600

    @cached_property
    def truth(self) -> Truth:
        """What the process made, with the planted edge ring where this wafer has one."""
        truth = wafer_truth(self.scenario.grid, self.scenario.seed, self.number)
        ring = self.scenario.plants.edge_ring
        if ring is not None and ring.wafer == self.number:
            beyond = self.scenario.grid.radius_mm() > ring.beyond_mm
            truth["sheet_resistance_ohm"] = truth["sheet_resistance_ohm"] + ring.shift_ohm * beyond
        return truth

    @cached_property
    def hours(self) -> FloatArray:
        """When each die of the grid is touched, (n_die,)."""
        return self.plan.die_hours(len(self.scenario.grid.dies))

    @cached_property
    def touched(self) -> Places:
        """The dies that were measured."""
        left_out = {die for wafer, die in self.scenario.plants.unmeasured if wafer == self.number}
        dies = self.scenario.grid.dies
        return np.array([place for place, die in enumerate(dies) if die not in left_out])

    def places(self, dies: tuple[Die, ...]) -> Places:
        """Where these dies stand in the grid's order; those that the grid lacks are left out."""
        order = {die: place for place, die in enumerate(self.scenario.grid.dies)}
        return np.array([order[die] for die in dies if die in order], dtype=np.intp)

    def swept_hours(self, device: str, places: Places) -> FloatArray:
        """When a device is swept on these dies."""
        return np.asarray(self.hours[places] + SWEPT_AT[device] * self.die_hours)

    def controls(self, device: str) -> tuple[ControlPlan, ...]:
        """The plan of this wafer's control measurements of a device: one or none."""
        return tuple(
            one
            for one in self.scenario.controls
            if one.wafer == self.number and one.device == device
        )

    def touchdown(self, device: str, places: Places, swept: bool = False) -> Touches:
        """Number of the touchdown in a die's own turn, (n,): of a control die the second.

        `swept`: of the RF sweep, which comes after a second touchdown where there was one.
        """
        number = np.ones(len(places), dtype=np.int32)
        for one in self.controls(device):
            number[places == self.places((one.die,))[0]] = 2
        again = self.scenario.plants.retouched
        if swept and again is not None and again.wafer == self.number and device == again.device:
            number[places == self.places((again.die,))[0]] = 2
        return number

    def poor_touches(self, device: str) -> tuple[tuple[int, PoorTouch], ...]:
        """Places of the grid where a device was badly touched, or not checked, and how."""
        return tuple(
            (int(self.places((one.die,))[0]), one)
            for one in self.scenario.plants.touches
            if one.wafer == self.number and one.device == device
        )

    def contact_ohm(self, device: str, touchdown: int = 1) -> FloatArray:
        """Contact resistance that each touchdown of a device shows, (n_die,) of the grid."""
        device_number = TOUCHED_DEVICES.index(device)
        rng = np.random.default_rng([self.scenario.seed, 23, self.number, touchdown, device_number])
        ohm = np.round(rng.uniform(0.3, 0.7, len(self.scenario.grid.dies)), 3)
        again = self.scenario.plants.retouched
        here = again is not None and (again.wafer, again.device) == (self.number, device)
        if again is not None and here and touchdown == 1:
            ohm[self.places((again.die,))] = again.contact_ohm
        for place, one in self.poor_touches(device):
            if one.ohm is not None:
                ohm[place] = one.ohm
            if one.unchecked:
                ohm[place] = np.nan
        return ohm

    def numbers(self, places: Places) -> npt.NDArray[np.int32]:
        """Die numbers (n, 2) in the layout's frame."""
        return np.array(self.scenario.grid.dies, dtype=np.int32)[places]

    def frame_numbers(self, places: Places) -> npt.NDArray[np.int32]:
        """Die numbers (n, 2) in the frame of the wafer's tables."""
        dies = [in_frame(self.plan, self.scenario.grid.dies[place]) for place in places]
        return np.array(dies, dtype=np.int32).reshape(-1, 2)

    def temperature_c(self, places: Places, set_c: float) -> FloatArray:
        """Measured temperature of these dies: within 0.08 °C of the set point."""
        rng = np.random.default_rng([self.scenario.seed, 40, self.number, round(set_c)])
        every = set_c + 0.08 * rng.uniform(-1, 1, len(self.scenario.grid.dies))
        return np.round(every[places], 2)

    def stamps(self, hours: FloatArray) -> pa.Array:
        """Local times of these hours, with the scenario's offset from UTC."""
        zone = self.scenario.start.strftime("%z")
        kind = pa.timestamp("us", tz=f"{zone[:3]}:{zone[3:]}")
        return pa.array([self.scenario.time(float(hour)) for hour in hours], kind)


def in_frame(plan: WaferPlan, die: Die) -> Die:
    """A die's number in the frame of the wafer's tables.

    The prober counts columns from 1 at the left and rows from 1 at the top.
    """
    return die if plan.frame == "layout" else (die[0] + 6, 6 - die[1])


_UNITS = {
    "temperature_c": "°C",
    "ambient_c": "°C",
    "substrate_c": "°C",
    "frequency_hz": "Hz",
    "contact_resistance_ohm": "ohm",
    "pad_leakage_a": "A",
    "overtravel_um": "µm",
    **dict.fromkeys(("vgs_v", "vds_v", "v_v"), "V"),
    **dict.fromkeys(("id_a", "ig_a", "i_a"), "A"),
}


def as_table(columns: dict[str, pa.Array]) -> pa.Table:
    """A table whose columns of circumstances say their unit in the field metadata."""
    fields = [
        pa.field(name, array.type, metadata={"unit": _UNITS[name]} if name in _UNITS else None)
        for name, array in columns.items()
    ]
    return pa.Table.from_arrays(list(columns.values()), schema=pa.schema(fields))


def key_columns(
    numbers: npt.NDArray[np.int32],
    device: list[str],
    condition: list[str],
    touchdown: npt.ArrayLike,
) -> dict[str, pa.Array]:
    """The columns that say which die, device, condition and touchdown a row is about."""
    return {
        "die_x": pa.array(numbers[:, 0], pa.int32()),
        "die_y": pa.array(numbers[:, 1], pa.int32()),
        "site": pa.array([""] * len(numbers), pa.string()),
        "device": pa.array(device, pa.string()),
        "condition": pa.array(condition, pa.string()),
        "touchdown": pa.array(np.asarray(touchdown, dtype=np.int32)),
    }


def true_table(
    wafer: str, keys: dict[str, pa.Array], parameter: list[str], true: FloatArray
) -> pa.Table:
    """Rows of truth.parquet: the key of each value, in the layout's frame, and its true value."""
    return pa.table(
        {
            "wafer": pa.array([wafer] * len(parameter), pa.string()),
            **keys,
            "parameter": pa.array(parameter, pa.string()),
            "true_value": pa.array(true, pa.float64()),
        }
    )
