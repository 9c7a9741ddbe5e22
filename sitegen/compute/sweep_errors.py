"""What one raw sweep can be off by, and where each of these figures comes from."""

import numpy as np

from sitegen.compute.rf.noise import SweepNoise, noise_from_repeats
from sitegen.compute.rf.propagation import SweepErrors
from sitegen.model.calibration import SweepUncertainty
from sitegen.model.event_results import SourceFigure, SourceGroup
from sitegen.model.loaded import LoadedCalibration
from sitegen.units import number

NOT_STATED = "not stated"
_NOISE: tuple[SourceGroup, SourceGroup] = ("noise", "noise of the sweep")
_CONTACT: tuple[SourceGroup, SourceGroup] = ("contact repeatability", "contact of the touchdown")
_LINEARITY: tuple[SourceGroup, SourceGroup] = ("linearity", "linearity of the sweep")
_CABLE: tuple[SourceGroup, SourceGroup] = ("cable", "cable during the sweep")
"""Each source in the calibration's sweeps and in a device's own."""


def estimated_noise(loaded: LoadedCalibration) -> SweepNoise | None:
    """Noise of a calibration's raw sweeps, from those repeated without lifting."""
    return noise_from_repeats(
        [np.array([one.s for one in (each.sweep, *each.repeats)]) for each in loaded.standards]
    )


def sweep_errors(
    loaded: LoadedCalibration, stated: SweepUncertainty
) -> tuple[SweepErrors, tuple[SourceFigure, ...]]:
    """Standard uncertainties of one raw sweep, noise from repeats where it is not declared.

    Noise that is neither declared nor to be estimated counts as none, and its figures say
    `NOT_STATED`.
    """
    found = estimated_noise(loaded)
    floor, floors = _noise(
        "noise floor", stated.noise_floor, None if found is None else found.floor
    )
    trace, traces = _noise(
        "trace noise", stated.trace_noise, None if found is None else found.trace
    )
    declared = [
        figure
        for name, groups, size in (
            ("contact repeatability", _CONTACT, stated.contact_repeatability),
            ("linearity", _LINEARITY, stated.linearity),
            ("cable", _CABLE, stated.cable),
        )
        if size
        for figure in _figures(name, groups, number(size, 2), "declared")
    ]
    errors = SweepErrors(floor, trace, stated.contact_repeatability, stated.linearity, stated.cable)
    return errors, (*floors, *traces, *declared)


def _noise(
    name: str, declared: float | None, found: float | None
) -> tuple[float, tuple[SourceFigure, ...]]:
    if declared is not None:
        return declared, _figures(name, _NOISE, number(declared, 2), "declared")
    if found is not None:
        return found, _figures(name, _NOISE, number(found, 2), "estimated from repeats")
    return 0.0, _figures(name, _NOISE, NOT_STATED, "neither declared nor in repeated sweeps")


def _figures(
    name: str, groups: tuple[SourceGroup, SourceGroup], size: str, basis: str
) -> tuple[SourceFigure, ...]:
    return tuple(SourceFigure(name, group, size, basis) for group in groups)
