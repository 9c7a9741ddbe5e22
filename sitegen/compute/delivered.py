"""What reaches the device: bias after the drop on its way, and source power at the probe tip.

Bias. A voltage is requested or measured at the source; the current into its terminal drops part of
it in the bias tee, the cable and the contact: v at the device = v - i R, i positive into the
terminal, so that a drain at +10 V with +20 mA sees less, and one at -10 V with -20 mA sees less as
well. The contact's resistance is taken once, as its check measured it. A voltage and a current
belong together where the letter after their leading v and i is the same: vds_v and id_a or ids_a.
What is measured comes before what is requested.

Power. At the tip = source_power_dbm - attenuator_db - the losses on the way (loss_db). The source
power is what the analyser would give without its attenuator.

Nothing is claimed where it is not known: no voltage without a current of its terminal or without
any resistance on its way, no power while a part on the way states no loss or the state states no
source power or no attenuator. Of each kind of part
(tees, cables) one lies on each way; where a state names several that differ, which one it is is not
known, and that kind is left out of the drop, or the power not claimed.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa

from sitegen.compute.sweeps import WaferSetting
from sitegen.compute.touchdown_checks import contact_resistance_ohm
from sitegen.model.campaign import Part, Station
from sitegen.model.station_state import StationState
from sitegen.units import quantity


@dataclass(frozen=True)
class Way:
    """What lies between the instrument and the tip, as far as it is known."""

    resistances_ohm: tuple[tuple[str, float], ...]
    """'bias tee' and 'cable', each with its resistance."""
    tip_power_dbm: float
    """NaN where it is not known."""


def with_delivered(values: pd.DataFrame, judged: pa.Table, setting: WaferSetting) -> pd.DataFrame:
    """Values with `delivered_bias` and `tip_power_dbm`; None and NaN where nothing is known.

    values: value rows with condition, parameter, and where known bias, state and
    contact_resistance_ohm; judged: `TOUCHDOWN_RESULT_SCHEMA` of the wafer. A row that names no
    state was taken in the only state that the wafer's record declares, if there is just one; DC
    values have no tip power.
    """
    ways = {name: way_of(state, setting.station) for name, state in setting.states.items()}
    only = next(iter(ways.values())) if len(ways) == 1 else None
    nothing = Way((), float("nan"))
    kinds = {one.id: one.kind for one in setting.campaign.parameters}
    requested = {one.id: one.bias for one in setting.campaign.conditions}
    n = len(values)
    states = values["state"] if "state" in values else pd.Series([None] * n)
    texts = values["bias"] if "bias" in values else pd.Series([None] * n)
    resistances = contact_resistance_ohm(values, judged)
    parsed = cache(measured_bias)
    bias, power = np.full(n, None, dtype=object), np.full(n, np.nan)
    columns = (values["parameter"], values["condition"], states, texts, resistances)
    for row, (parameter, condition, state, text, contact) in enumerate(zip(*columns, strict=True)):
        rf = kinds[parameter] == "rf"
        way = (ways.get(state) if isinstance(state, str) else only) if rf else nothing
        way = way or nothing
        power[row] = way.tip_power_dbm
        measured = parsed(text) if isinstance(text, str) else {}
        parts = [*way.resistances_ohm]
        if not np.isnan(contact):
            parts.append(("contact", float(contact)))
        bias[row] = delivered_bias(requested[condition], measured, parts)
    return values.assign(delivered_bias=bias, tip_power_dbm=power)


def delivered_bias(
    requested: Mapping[str, float],
    measured: Mapping[str, float],
    parts: Sequence[tuple[str, float]],
) -> str | None:
    """'vds_v=9.9752 (24.8 mV dropped in bias tee and contact)'; None where nothing is known.

    requested, measured: by name, ending in _v or _a, in volts and amperes; parts: what lies on the
    way, each with its resistance in ohm.
    """
    known = {**requested, **measured}
    total = sum(ohm for _, ohm in parts)
    told = []
    for name, voltage in known.items():
        currents = [
            value
            for other, value in known.items()
            if other.endswith("_a") and terminal(other) == terminal(name)
        ]
        if not name.endswith("_v") or "limit" in name or len(currents) != 1 or not parts:
            continue
        drop = currents[0] * total
        where = " and ".join(part for part, _ in parts)
        told.append(f"{name}={voltage - drop:.6g} ({quantity(drop, 'V')} dropped in {where})")
    return "; ".join(told) or None


def terminal(name: str) -> str:
    """The letter after the leading v or i of a bias's name: 'd' of vds_v, ids_a and id_a."""
    stem = name.rpartition("_")[0]
    return stem[1:2]


def measured_bias(text: str) -> dict[str, float]:
    """'vgs_v=0.6012 vds_v=1.2' by name."""
    found = {}
    for item in text.split():
        name, mark, number = item.partition("=")
        if mark and "/" not in number:  # of two curves: neither is the bias
            found[name] = float(number)
    return found


def way_of(state: StationState, station: Station) -> Way:
    """What a state of the RF path says of the ways to the tips."""
    tees = _parts(state.bias_tees, station.bias_tees)
    cables = _parts(state.cables, station.cables)
    path = _parts([state.switch_path] if state.switch_path else [], station.switch_paths)
    known = (
        (word, _one_value([part.resistance_ohm if part else None for part in parts]))
        for word, parts in (("bias tee", tees), ("cable", cables))
    )
    losses = [
        _one_value([part.loss_db if part else None for part in parts])
        for parts in (tees, cables, path)
        if parts
    ]
    lost = _sum_if_known(losses)
    return Way(
        tuple((word, ohm) for word, ohm in known if ohm is not None),
        _sum_if_known([state.source_power_dbm]) - _sum_if_known([state.attenuator_db]) - lost,
    )


def _sum_if_known(terms: Sequence[float | None]) -> float:
    """NaN where a term is not stated."""
    return float(np.sum([np.nan if one is None else one for one in terms]))


def _parts(names: Iterable[str], parts: Sequence[Part]) -> list[Part | None]:
    by_id = {one.id: one for one in parts}
    return [by_id.get(name) for name in names]


def _one_value(stated: Sequence[float | None]) -> float | None:
    """The value that all parts of a kind state; None where one states none or they differ."""
    values = set(stated)
    return next(iter(values)) if len(values) == 1 else None
