"""Three wafers on arrays: maps, touchdowns, control dies, earlier maps, and what can go wrong.

A generator of its own, which shares no code with the program: values follow a bowl, a ring at the
edge, a smooth random pattern, a detail from die to die that an earlier measurement saw as well, and
noise. Two values of one die agree but for errors of the size that they state.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen.model.loaded import TOUCHDOWN_SCHEMA
from tests.faults.touchdown_records import (
    CLEANED_HOUR,
    PARAMETERS,
    SPREADS,
    START,
    WAFER_HOURS,
    WAFERS,
)

Floats = npt.NDArray[np.float64]

LEVELS = {"RON": 12.0, "RLF": 12.0, "VTH": 0.4, "GM": 0.05}
OWN_U, COMMON_U = 0.04, 0.03
"""Of RON and RLF each, in ohm: every value's own error, and the wafer's."""
READINGS = 12
"""Of each control die, at even intervals over the three wafers."""
REPRODUCIBILITY = 0.2
"""Standard deviation of a control's readings, in spreads of its parameter."""
CONTACT_OHM, CONTACT_SD_OHM, LEAKAGE_A = 0.4, 0.1, 1e-12


@cache
def places() -> npt.NDArray[np.int64]:
    """Die numbers (97, 2) in the order of the path, which runs to and fro."""
    rows = []
    for y in range(-5, 6):
        row = [(x, y) for x in range(-5, 6) if np.hypot(x, y) < 5.5]
        rows += row if y % 2 else row[::-1]
    return np.array(rows)


@cache
def _smooth() -> Floats:
    """Square root of the covariance of a pattern that is smooth over three dies."""
    x, y = places().T
    apart = np.hypot(x[:, None] - x, y[:, None] - y)
    factor: Floats = np.linalg.cholesky(np.exp(-((apart / 3.0) ** 2) / 2) + 1e-9 * np.eye(len(x)))
    return factor


@dataclass(frozen=True, eq=False)
class Scene:
    """A campaign on arrays."""

    hours: Floats
    """(n_wafer, n_die) when each die was touched."""
    measured: Floats
    """(n_wafer, n_die, n_parameter), in spreads from the parameter's level."""
    earlier: Floats
    """The same from the earlier measurement."""
    contact_ohm: Floats
    """(n_wafer, n_die)."""
    leakage_a: Floats
    control: Floats
    """(2, n_reading): of RON and GM on the control die, in spreads."""

    def values(self) -> pd.DataFrame:
        """Value rows with evidence columns, and what the results add to them."""
        at = np.broadcast_to(self.hours[..., None], self.measured.shape)
        place = _places_of(self.measured)
        stated = place["parameter"].isin(("RON", "RLF"))
        return _frame(place["parameter"], _in_units(self.measured), moments(at.ravel())).assign(
            **{name: place[name] for name in ("wafer", "die_x", "die_y")},
            x_mm=12.0 * place["die_x"],
            y_mm=12.0 * place["die_y"],
            u=np.where(stated, np.hypot(OWN_U, COMMON_U), np.nan),
            u_common=np.where(stated, COMMON_U, np.nan),
        )

    def earlier_values(self) -> pd.DataFrame:
        """Rows of the earlier maps."""
        return _places_of(self.earlier).assign(condition="RT", value=_in_units(self.earlier))

    def touchdowns(self, number: int) -> pa.Table:
        """`TOUCHDOWN_SCHEMA` of one wafer, one touchdown a die."""
        x, y = places().T
        columns: dict[str, Any] = {
            "die_x": x,
            "die_y": y,
            "site": "",
            "device": None,
            "touchdown": 1,
            "measured_at": moments(self.hours[number]),
            "contact_resistance_ohm": self.contact_ohm[number],
            "pad_leakage_a": self.leakage_a[number],
            "open_capacitance_f": np.nan,
            "overtravel_um": np.nan,
            "probe_contacts": 1000 + len(x) * number + np.arange(len(x)),
            "pad_touchdowns": None,
            "file": "touchdowns.parquet",
        }
        frame = pd.DataFrame(columns, index=range(len(x)))
        return pa.Table.from_pandas(frame, schema=TOUCHDOWN_SCHEMA, preserve_index=False)

    def control_rows(self) -> pd.DataFrame:
        """Value rows of the control die, one touchdown a reading."""
        hours = np.linspace(0.0, WAFER_HOURS * len(WAFERS), READINGS)
        parts = []
        for place, name in enumerate(("RON", "GM")):
            values = LEVELS[name] + SPREADS[name] * self.control[place]
            frame = _frame(name, values, moments(hours))
            parts.append(frame.assign(die_x=0, die_y=0, touchdown=1 + np.arange(READINGS)))
        return pd.concat(parts, ignore_index=True)


def moments(hours: Floats) -> pd.DatetimeIndex:
    """Hours after the start."""
    return pd.DatetimeIndex(pd.Timestamp(START) + pd.to_timedelta(hours, unit="h")).as_unit("us")


def _places_of(measured: Floats) -> pd.DataFrame:
    """Wafer, die and parameter of each number, in the array's order."""
    wafer, die, parameter = (index.ravel() for index in np.indices(measured.shape))
    x, y = places()[die].T
    return pd.DataFrame(
        {
            "wafer": np.array(WAFERS)[wafer],
            "die_x": x,
            "die_y": y,
            "parameter": np.array(PARAMETERS)[parameter],
        }
    )


def _in_units(measured: Floats) -> Floats:
    """Spreads from the level, in the parameters' units, as one row."""
    level = np.array([LEVELS[name] for name in PARAMETERS])
    spread = np.array([SPREADS[name] for name in PARAMETERS])
    return np.asarray(level + spread * measured).ravel()


def _frame(name: "str | pd.Series[str]", values: Floats, at: pd.DatetimeIndex) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": "",
            "device": "D",
            "parameter": name,
            "condition": "RT",
            "touchdown": 1,
            "value": values,
            "measured_at": at,
            "counts": True,
            "below_floor": False,
            "not_reached": False,
            "standing": "stands",
            "calibration": None,
            "ev_reasons": 0,
            "ev_detail": "",
            "ev_not_closed": True,
            "ev_never_verified": False,
        }
    )


def sound(seed: int) -> Scene:
    """A campaign in which nothing is wrong."""
    rng = np.random.default_rng(seed)
    x, y = places().T
    n, shape = len(x), (len(WAFERS), len(x), len(PARAMETERS))
    radius = np.hypot(x, y) / 5.5
    bowl = rng.normal(1.5, 0.5, shape[::2])[:, None] * radius[:, None] ** 2
    tilt = rng.normal(0.0, 1.0, shape[::2])[:, None] * (y[:, None] / 5.5)
    ring = rng.uniform(0.0, 1.5, len(PARAMETERS)) * (radius[:, None] > 0.85)
    smooth = 0.5 * np.einsum("de,wep->wdp", _smooth(), rng.normal(size=shape))
    factor = rng.normal(size=(*shape[:2], 1))
    detail = 0.6 * factor + 0.8 * rng.normal(size=shape)
    detail[..., 1] = detail[..., 0]  # RON and RLF are one resistance
    process = rng.normal(0.0, 1.0, (len(WAFERS), 1, len(PARAMETERS))) + bowl + tilt + ring + smooth
    process[..., 1] = process[..., 0]
    truth = process + detail
    measured = truth + rng.normal(0.0, 1.0, shape) * np.array([0.0, 0.0, 1.0, 1.0])
    for place in (0, 1):
        common = rng.normal(0.0, COMMON_U, (len(WAFERS), 1))
        own = rng.normal(0.0, OWN_U, shape[:2])
        measured[..., place] += (common + own) / SPREADS["RON"]
    die_hours = WAFER_HOURS * (np.arange(n) + 0.5) / n
    return Scene(
        hours=WAFER_HOURS * np.arange(len(WAFERS))[:, None] + die_hours,
        measured=measured,
        earlier=truth + rng.normal(0.0, 1.0, shape),
        contact_ohm=rng.normal(CONTACT_OHM, CONTACT_SD_OHM, shape[:2]),
        leakage_a=LEAKAGE_A * rng.lognormal(0.0, 0.5, shape[:2]),
        control=REPRODUCIBILITY * rng.normal(size=(2, READINGS)),
    )


RAISED_OHM, FAILED_TOUCHDOWNS = 0.9, 5
DRIFT, STEP, OFFSET_OHM = 8.0, 4.0, 0.25


def failing_dies(seed: int) -> npt.NDArray[np.int64]:
    """The touchdowns of W2 whose contact fails."""
    rng = np.random.default_rng([seed, 1])
    return rng.choice(len(places()), FAILED_TOUCHDOWNS, replace=False)


def failed_contacts(scene: Scene, seed: int) -> Scene:
    contact = scene.contact_ohm.copy()
    contact[1, failing_dies(seed)] += RAISED_OHM
    return replace(scene, contact_ohm=contact)


def swapped(scene: Scene, _: int) -> Scene:
    measured = scene.measured.copy()
    measured[[0, 1]] = measured[[1, 0]]
    return replace(scene, measured=measured)


def turned(matrix: tuple[tuple[int, int], tuple[int, int]]) -> Callable[[Scene, int], Scene]:
    """W2 lay turned or mirrored: what stands at (x, y) was measured elsewhere."""

    def plant(scene: Scene, _: int) -> Scene:
        numbers = [tuple(place) for place in places().tolist()]
        source = [numbers.index(tuple(place)) for place in (places() @ np.array(matrix)).tolist()]
        measured = scene.measured.copy()
        measured[1] = measured[1][source]
        return replace(scene, measured=measured)

    return plant


def drifting_control(scene: Scene, _: int) -> Scene:
    control = scene.control.copy()
    control[1] += DRIFT * REPRODUCIBILITY * np.linspace(0.0, 1.0, READINGS)
    return replace(scene, control=control)


def step_at_cleaning(scene: Scene, _: int) -> Scene:
    measured = scene.measured.copy()
    after = scene.hours[1] >= CLEANED_HOUR
    measured[1, after, 3] += STEP
    return replace(scene, measured=measured)


def disagreeing(scene: Scene, _: int) -> Scene:
    measured = scene.measured.copy()
    measured[1, :, 1] += OFFSET_OHM / SPREADS["RLF"]
    return replace(scene, measured=measured)
