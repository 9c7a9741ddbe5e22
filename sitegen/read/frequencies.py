"""Frequency lists: whether two are the same, and how one is told."""

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.loaded import Sweep
from sitegen.read.files import Intake
from sitegen.read.words import counted, frequency

FREQUENCY_TOLERANCE = 1e-9
"""Relative difference below which two frequencies are the same: files print at least ten digits,
and a unit's factor costs the last bit."""


def span(frequency_hz: FloatArray) -> str:
    """'201 points from 10 MHz to 110 GHz'."""
    points = counted(len(frequency_hz), "point")
    return f"{points} from {frequency(frequency_hz[0])} to {frequency(frequency_hz[-1])}"


def same_frequencies(one: FloatArray, other: FloatArray) -> bool:
    """Whether two frequency lists are the same."""
    return one.shape == other.shape and bool(
        np.allclose(one, other, rtol=FREQUENCY_TOLERANCE, atol=0.0)
    )


def tell_other_frequencies(intake: Intake, sweep: Sweep, usual: FloatArray, whose: str) -> None:
    """The fault for a sweep whose frequency list differs from the one it must have."""
    expected = f"the frequencies of {whose}, {span(usual)}"
    if len(usual) == len(sweep.frequency_hz):
        different = np.abs(sweep.frequency_hz - usual) > FREQUENCY_TOLERANCE * np.abs(usual)
        index = int(np.argmax(different))
        found = f"{frequency(sweep.frequency_hz[index])} as point {index + 1}"
        expected = f"{frequency(usual[index])} there, as in {whose}"
    else:
        found = span(sweep.frequency_hz)
    remedy = "Take or export the sweep again with that frequency list."
    intake.tell(sweep.file, "", found=found, expected=expected, remedy=remedy)
