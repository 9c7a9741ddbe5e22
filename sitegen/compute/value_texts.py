"""What is to be known about values taken from sweeps, and why there is none."""

import numpy as np
import numpy.typing as npt

from sitegen.compute.alike_sweeps import Alike
from sitegen.compute.dummies import StrippedGroup
from sitegen.compute.evidence import reason_text
from sitegen.compute.rf.estimates import after
from sitegen.compute.rf.taken import Taken, Wanted
from sitegen.model.device import Device
from sitegen.model.extraction import FromSweep
from sitegen.units import frequency

Texts = npt.NDArray[np.object_]
OTHER_CALIBRATION = "its dummies stand on another calibration"


def remarks(wanted: Wanted, alike: Alike, taken: Taken, propagated: Texts, device: Device) -> Texts:
    """What estimator, de-embedding and propagation have to say of the values that are there.

    propagated: what propagation says.
    """
    joined = taken.estimate.remarks.copy()
    if wanted.figure.advise is not None and wanted.at_hz is not None:
        _, whole, _ = alike.devices.seen(alike.frequency_hz, wanted.around)
        _say(joined, wanted.figure.advise(whole, wanted.at_hz))
    for text in _of_all(wanted, alike, taken, device):
        _say(joined, [text] * len(joined))
    _say(joined, propagated)
    joined[np.isnan(taken.estimate.value)] = ""
    return joined


def _say(joined: Texts, texts: Texts | list[str]) -> None:
    """Each of some texts after what is said already."""
    for row, text in enumerate(texts) if any(texts) else ():
        if text:
            joined[row] = after(joined[row], text)


def _of_all(wanted: Wanted, alike: Alike, taken: Taken, device: Device) -> list[str]:
    """What is to be known about all values of a figure."""
    said = []
    upper_hz = device.deembedding.upper_hz if alike.deembedded and device.deembedding else None
    if upper_hz is not None and wanted.place != "whole" and taken.used_hz[-1] > upper_hz:
        said.append(f"above the upper frequency of the de-embedding, {frequency(upper_hz)}")
    if wanted.window_hz is not None:
        lowest, highest = float(alike.frequency_hz[0]), float(alike.frequency_hz[-1])
        if lowest > wanted.window_hz[0] or highest < wanted.window_hz[1]:
            inside = (
                f"{frequency(float(taken.used_hz[0]))} to {frequency(float(taken.used_hz[-1]))}"
            )
            said.append(f"the sweep covers only {inside} of the window")
    if alike.other_calibration:
        said.append(OTHER_CALIBRATION)
    return said


def why_none_at_all(alike: Alike, taken_by: FromSweep) -> str:
    """Why no sweep of a group can give a value; empty where one can."""
    lowest, highest = float(alike.frequency_hz[0]), float(alike.frequency_hz[-1])
    at_hz, window_hz = taken_by.frequency_hz, taken_by.window_hz
    if at_hz is not None and not lowest <= at_hz <= highest:
        return f"{frequency(at_hz)} lies outside {_span(lowest, highest)}"
    if window_hz is not None:
        inside = (alike.frequency_hz >= window_hz[0]) & (alike.frequency_hz <= window_hz[1])
        if not inside.any():
            window = f"{frequency(window_hz[0])} to {frequency(window_hz[1])}"
            return f"no point of {_span(lowest, highest)} lies in the window {window}"
    return alike.missing


def _span(lowest_hz: float, highest_hz: float) -> str:
    return f"the sweep from {frequency(lowest_hz)} to {frequency(highest_hz)}"


def why_none(alike: Alike, taken: Taken, stripped: StrippedGroup) -> Texts:
    """Why a sweep gives no value; empty where it gives one."""
    corrected = stripped.corrected
    told = np.full(len(alike.rows), "", dtype=object)
    for place in np.flatnonzero(np.isnan(taken.estimate.value)):
        row = alike.rows[place]
        if np.isnan(corrected.group.s[row]).all():
            reason = reason_text(int(corrected.evidence.reasons[row]))
            told[place] = f"not corrected: {reason}" if reason else ""
        elif np.isnan(alike.devices.s[place]).all():
            told[place] = "not de-embedded: no dummies serve this sweep"
        elif not np.isnan(taken.at.s[:, place, -1]).all():
            told[place] = str(taken.estimate.no_value[place])
        told[place] = told[place] or "not determined at this frequency"
    return told
