"""Of each device the corrected sweep that stands for a wafer: that of its most typical die."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.handover import typical_die
from sitegen.compute.joint_statistics import quantities_by_die
from sitegen.model.arrays import BoolArray, ComplexArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device_results import TypicalSweep
from sitegen.model.results import NOT_HELD, TraceGroup, WaferResults

PLACE = ["die_y", "die_x", "site"]


def typical_sweeps(results: WaferResults, campaign: CampaignRecord) -> tuple[TypicalSweep, ...]:
    """One for each device with a sweep that can be handed on, in the campaign's order.

    Its sweeps are those of the touchdown that counts, with standing or come corrected, at the
    first of its declared conditions and the first site that have any. The die is the wafer's most
    typical one (`stats.typical`); where the device was not swept there, the most typical of those
    where it was; where no value with standing is on those, the one whose sweep lies nearest the
    pointwise median of all, by the mean of |S - median|^2 over frequencies and S-parameters, ties
    by die_y, then die_x.
    """
    wide: pd.DataFrame | None = None
    found = []
    for device in campaign.devices:
        offered = _offered(device.id, results.traces, campaign)
        if not offered:
            continue
        if wide is None:
            wide = quantities_by_die(results.results.to_pandas(), campaign)
        place, basis = _die(offered, wide, results)
        found.append(_sweep(place, basis, offered, results.traces))
    return tuple(found)


def devices_without(results: WaferResults, campaign: CampaignRecord) -> tuple[str, ...]:
    """Devices that were swept and none of whose sweeps can be handed on."""
    swept = {group.device for group in results.traces}
    return tuple(
        device.id
        for device in campaign.devices
        if device.id in swept and not _offered(device.id, results.traces, campaign)
    )


def _offered(
    device: str, traces: Sequence[TraceGroup], campaign: CampaignRecord
) -> dict[int, pd.DataFrame]:
    """Sweeps of a device to choose from, one a die: by the group's number, rows of its keys."""
    for condition in campaign.conditions:
        found = {
            number: _sound(group, campaign)
            for number, group in enumerate(traces)
            if group.device == device and group.condition == condition.id
        }
        sites = sorted({site for keys in found.values() for site in keys["site"]})
        if sites:
            here = {number: keys[keys["site"] == sites[0]] for number, keys in found.items()}
            return {number: keys for number, keys in here.items() if len(keys)}
    return {}


def _sound(group: TraceGroup, campaign: CampaignRecord) -> pd.DataFrame:
    """Keys of the sweeps that count and can be handed on; the index is the row in the group."""
    names = [*PLACE, "touchdown", "standing", "standing_reasons"]
    keys = group.keys.select(names).to_pandas()
    keys["site"] = keys["site"].fillna("")
    first = campaign.touchdowns.counts == "first"
    keys = keys.sort_values("touchdown", kind="stable")
    keys = keys.drop_duplicates(PLACE, keep="first" if first else "last").sort_index()
    stands = (keys["standing"] != "without standing") | (keys["standing_reasons"] == NOT_HELD)
    known: BoolArray = np.any(np.isfinite(group.s).all(axis=(2, 3)), axis=1)
    sound: pd.DataFrame = keys[stands & known[keys.index.to_numpy()]]
    return sound


def _die(
    offered: dict[int, pd.DataFrame], wide: pd.DataFrame, results: WaferResults
) -> tuple[tuple[int, int], str]:
    """The die (x, y) that is chosen, and by what."""
    there = {
        (int(x), int(y))
        for keys in offered.values()
        for x, y in zip(keys["die_x"], keys["die_y"], strict=True)
    }
    if results.summary.typical_die in there:
        x, y = results.summary.typical_die or (0, 0)
        return (x, y), "values"
    mine = [(int(x), int(y)) in there for _, y, x in wide.index]
    typical = typical_die(wide[mine])
    if typical is not None:
        return (typical[2], typical[1]), "values"
    number = max(offered, key=lambda one: len(offered[one]))
    keys = offered[number]
    row = nearest_the_median(
        results.traces[number].s[keys.index.to_numpy()],
        keys["die_x"].to_numpy(),
        keys["die_y"].to_numpy(),
    )
    return (int(keys["die_x"].iloc[row]), int(keys["die_y"].iloc[row])), "sweeps"


def nearest_the_median(s: ComplexArray, die_x: npt.ArrayLike, die_y: npt.ArrayLike) -> int:
    """Row of the sweep nearest the pointwise median of (n, n_freq, p, p), n at least 1.

    The median is of real and imaginary parts apart, at the frequencies where every sweep is
    determined; where there is none, the sweep determined at most frequencies is taken.
    """
    known = np.isfinite(s).all(axis=(2, 3))
    everywhere = known.all(axis=0)
    if everywhere.any():
        part = s[:, everywhere]
        median = np.median(part.real, axis=0) + 1j * np.median(part.imag, axis=0)
        distance = np.mean(np.abs(part - median) ** 2, axis=(1, 2, 3))
    else:
        distance = -known.sum(axis=1).astype(np.float64)
    return int(np.lexsort((np.asarray(die_x), np.asarray(die_y), distance))[0])


def _sweep(
    die: tuple[int, int],
    basis: str,
    offered: dict[int, pd.DataFrame],
    traces: Sequence[TraceGroup],
) -> TypicalSweep:
    for number, keys in offered.items():
        mine = keys[(keys["die_x"] == die[0]) & (keys["die_y"] == die[1])]
        if len(mine):
            group = traces[number]
            return TypicalSweep(
                device=group.device,
                condition=group.condition,
                site=str(mine["site"].iloc[0]),
                die=die,
                by="values" if basis == "values" else "sweeps",
                group=number,
                row=int(mine.index[0]),
            )
    raise ValueError(f"no sweep on die {die}")
