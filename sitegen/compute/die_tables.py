"""A wafer's tables cut down to some of its dies."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import BoolArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device import Die
from sitegen.model.loaded import WaferTables


def on_dies(tables: WaferTables, dies: Collection[Die], campaign: CampaignRecord) -> WaferTables:
    """The rows of these dies that the campaign's parameters come from.

    Those of every dummy structure stay, since dies may share dummies.
    """
    known = {parameter.id for parameter in campaign.parameters}
    taken = {parameter.device for parameter in campaign.parameters if parameter.from_sweep}
    drawn = {one.from_curve.curve for one in campaign.parameters if one.from_curve is not None}
    dummies = {
        name
        for device in campaign.devices
        if device.deembedding is not None
        for name in device.deembedding.dummies().values()
    }

    def wanted(keys: pa.Table) -> BoolArray:
        x, y = (keys.column(name).to_pylist() for name in ("die_x", "die_y"))
        found: BoolArray = np.array([place in dies for place in zip(x, y, strict=True)], dtype=bool)
        return found

    sweeps = []
    for group in tables.sweeps:
        rows = wanted(group.keys) | (group.device in dummies)
        if rows.any() and group.device in taken | dummies:
            sweeps.append(replace(group, keys=group.keys.filter(pa.array(rows)), s=group.s[rows]))
    curves = []
    for one in tables.curves:
        rows = wanted(one.keys)
        if rows.any() and one.curve in drawn:
            curves.append(
                replace(
                    one,
                    keys=one.keys.filter(pa.array(rows)),
                    swept=one.swept[rows],
                    measured=one.measured[rows],
                    again=None if one.again is None else one.again[rows],
                    others={name: values[rows] for name, values in one.others.items()},
                    range=one.range[rows],
                    in_compliance=one.in_compliance[rows],
                )
            )
    of_known = np.array([name in known for name in tables.values.column("parameter").to_pylist()])
    return replace(
        tables,
        values=tables.values.filter(pa.array(wanted(tables.values) & of_known.astype(bool))),
        sweeps=tuple(sweeps),
        curves=tuple(curves),
    )
