"""Frequency lists: whether two are the same, and how one is told."""

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.frequency_lists import FREQUENCY_TOLERANCE
from sitegen.model.loaded import Sweep
from sitegen.read.files import Intake
from sitegen.read.likely_scales import steps_off
from sitegen.read.words import counted, frequency


def span(frequency_hz: FloatArray) -> str:
    """'201 points from 10 MHz to 110 GHz'."""
    points = counted(len(frequency_hz), "point")
    return f"{points} from {frequency(frequency_hz[0])} to {frequency(frequency_hz[-1])}"


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
    steps = steps_off(sweep.frequency_hz, usual)
    if steps:
        found = f"{span(sweep.frequency_hz)}, {steps}: the unit of the frequencies is likely wrong"
        remedy = "Correct the unit in the option line, or export the sweep again."
    intake.tell(sweep.file, "", found=found, expected=expected, remedy=remedy)
