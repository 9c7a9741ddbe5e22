"""The checks that a calibration record can be held to, each judged where it gives a bound.

Names of checks are stable: what is followed over a station's calibrations is found by them.
Before solving: "frequencies", "repeatability, FILE", "noise floor", "trace noise", "open against
short, port N", "raw open against the previous calibration, port N" and the same of the raw short.
Solution: "fitted load inductance", "fitted load capacitance", "remainder of the load's fit",
"magnitude of the solved short" (or "reflect"), "phase of the solved thru", "passivity of the
solved thru", "phase of the line against the thru", "effective permittivity", "attenuation",
"residual of redundant standards, port N", "residual of the load not used, port N", "frequencies
determined". Comparison: "difference from the terms that the instrument reported", "difference
from the previous calibration". Wear: "contacts of this set of standards", "contacts of probe ID",
"contact resistance, port N", "load resistance, port N".
"""

from collections.abc import Sequence

from sitegen.compute.checks.before_solving import checks_before_solving
from sitegen.compute.checks.solution import checks_of_solution
from sitegen.compute.checks.wear import checks_of_wear
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.model.campaign import Probe
from sitegen.model.event_results import Check
from sitegen.model.loaded import LoadedCalibration


def checks_of(
    loaded: LoadedCalibration, solution: CalibrationSolution | None, probes: Sequence[Probe] = ()
) -> tuple[Check, ...]:
    """Every check that the record's sweeps and the solution allow, without other calibrations.

    loaded: with at least one sweep. probes: of the station, for the bounds on their contacts.
    """
    checks = [*checks_before_solving(loaded)]
    if solution is not None:
        checks += checks_of_solution(loaded, solution)
    return (*checks, *checks_of_wear(loaded, probes))
