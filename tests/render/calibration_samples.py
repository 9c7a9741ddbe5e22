"""A hand-made calibration with every kind of evidence, to draw and render from."""

from dataclasses import replace
from typing import Any

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.calibration import LineDefinition, LineMedium, ProbeUse, ReflectDefinition
from sitegen.model.event_results import (
    Budget,
    BudgetLine,
    CalibrationResult,
    Check,
    Comparison,
    Curve,
    MonteCarloCheck,
    SourceFigure,
    SourceGroup,
    Term,
)
from tests.render import samples

FREQUENCY_HZ: FloatArray = np.linspace(0.5e9, 110e9, 220)
DETERMINED = (FREQUENCY_HZ >= 1e9) & ((FREQUENCY_HZ < 60e9) | (FREQUENCY_HZ > 64e9))
"""The first point, and a stretch in the middle, are not determined."""


def known(values: FloatArray) -> FloatArray:
    """NaN where nothing is determined."""
    return np.where(DETERMINED, values, np.nan)


RELATIVE = FREQUENCY_HZ / 110e9
CHECKS = (
    Check(
        "repeatability, load.s2p",
        2.1e-4,
        "1",
        None,
        2e-3,
        True,
        "3 raw sweeps without lifting; greatest |ΔS| at 90.2 GHz.",
        "before solving",
        3e-5,
    ),
    Check(
        "open against short, port 1",
        0.67,
        "1",
        None,
        0.9,
        True,
        "Greatest distance of the raw ratio from −1, at 109 GHz.",
        "before solving",
    ),
    Check(
        "fitted load inductance",
        4.6e-12,
        "H",
        0.0,
        12e-12,
        True,
        "Load at port 1; a negative inductance is the sign of a capacitive load.",
        "solution",
        1.1e-13,
    ),
    Check(
        "fitted load capacitance",
        None,
        "F",
        None,
        None,
        None,
        "It cannot be told from the inductance over these frequencies.",
        "solution",
    ),
    Check("frequencies determined", 0.95, "1", None, None, None, "209 of 220.", "solution"),
    Check(
        "difference from CAL-0",
        0.031,
        "1",
        None,
        0.02,
        False,
        "Greatest difference of a passive device, at 109 GHz.",
        "comparison",
    ),
    Check("contacts of this set of standards", 12.0, "1", None, 500.0, True, "Set 3.", "wear"),
    Check("contacts of probe RF-1", 40213.0, "1", None, None, None, "At port 1.", "wear"),
)
CURVES = (
    Curve(
        "fitted load inductance",
        "H",
        known(4.6e-12 + 2e-13 * np.sin(30 * RELATIVE)),
        known(1e-13 / (0.05 + RELATIVE)),
        np.zeros(FREQUENCY_HZ.size),
        np.full(FREQUENCY_HZ.size, 12e-12),
        np.full(FREQUENCY_HZ.size, 4.6e-12),
        "What each frequency by itself says of the load; the fit over all of them is used.",
    ),
    Curve(
        "magnitude of the solved short",
        "1",
        known(1 - 3e-4 * RELATIVE),
        None,
        np.full(FREQUENCY_HZ.size, 0.5),
        None,
        np.ones(FREQUENCY_HZ.size),
        "The reflect that was not assumed to be lossless.",
    ),
    Curve(
        "attenuation of the line",
        "dB/mm",
        np.full(FREQUENCY_HZ.size, np.nan),
        None,
        None,
        None,
        None,
        "From the propagation constant.",
    ),
)


def comparison(**changes: Any) -> Comparison:
    """A difference that grows to 0.031, of which 0.012 is what would show back to back."""
    bound = known(0.001 + 0.03 * RELATIVE)
    repeatable = known(0.0015 + 0.0105 * RELATIVE)
    fields: dict[str, Any] = {
        "kind": "previous calibration",
        "other": "CAL-0",
        "refused": "",
        "bound": bound,
        "repeatable": repeatable,
        "drift": np.maximum(bound - repeatable, 0.0),
        "limit": 0.02,
        "passed": False,
    }
    return Comparison(**{**fields, **changes})


REPORTED = comparison(
    kind="reported terms",
    other="",
    bound=known(1e-5 + 2e-6 * RELATIVE),
    repeatable=None,
    drift=None,
    limit=None,
    passed=None,
)
SOURCES = (
    SourceFigure("resistance of load", "definitions", "0.05 Ω", "declared"),
    SourceFigure("inductance of short", "definitions", "0.4 pH", "declared"),
    SourceFigure("load inductance", "fitted load", "0.11 pH", "from the fit"),
    SourceFigure("noise floor", "noise", "2×10⁻⁵", "estimated from repeats"),
    SourceFigure("contacts", "contact repeatability", "0.002", "declared"),
    SourceFigure("change until CAL-2", "drift", "as the terms differ", "from CAL-2"),
    SourceFigure("the device's touchdown", "contact of the touchdown", "0.002", "declared"),
)


def budget(device: str = "short at the tips", parameter: Any = "s11") -> Budget:
    """Four groups, one of them of two named sources; definitions lead."""
    parts: tuple[tuple[SourceGroup, str, FloatArray], ...] = (
        ("definitions", "resistance of load", known(3e-4 + 1e-4 * RELATIVE)),
        ("definitions", "inductance of short", known(6e-3 * RELATIVE)),
        ("fitted load", "load inductance", known(8e-4 * RELATIVE)),
        ("noise", "noise of thru.s2p", known(2e-5 + 4e-5 * RELATIVE)),
        ("contact repeatability", "contact of load", known(np.full(FREQUENCY_HZ.size, 2e-3))),
    )
    groups = dict.fromkeys(group for group, _, _ in parts)
    lines = []
    for group in groups:
        mine = [BudgetLine(name_of, name, u) for name_of, name, u in parts if name_of == group]
        together = np.sqrt(sum(line.u**2 for line in mine))
        lines += [BudgetLine(group, "", np.asarray(together)), *mine]
    u = np.sqrt(np.asarray(sum(line.u**2 for line in lines if not line.name)))
    covariance = np.stack([1.5 * u**2, 0.5 * u**2, np.zeros(u.size)], axis=-1)
    return Budget(device, parameter, tuple(lines), covariance, u)


MONTE_CARLO = MonteCarloCheck(
    draws=2000,
    device="short at the tips",
    parameter="s11",
    ratio=known(1 + 0.02 * np.sin(20 * RELATIVE)),
    inside=0.9497,
    text="The propagation is linear enough here.",
)


def evident(**changes: Any) -> CalibrationResult:
    """A two-port calibration that failed one check, with all that a page can show of it."""
    base = samples.calibration_result()
    record = base.record.model_copy(
        update={
            "method": "multiline TRL",
            "frequency_points": FREQUENCY_HZ.size,
            "line_medium": LineMedium(
                effective_permittivity=4.9,
                capacitance_pf_per_m=173.0,
                capacitance_u_pf_per_m=0.5,
                source="low-frequency resistance of a line",
            ),
            "probe_use": (
                ProbeUse(
                    port=1,
                    probe="RF-1",
                    contacts=40213,
                    contact_resistance_ohm=0.031,
                    contact_resistance_max_ohm=0.1,
                ),
                ProbeUse(port=2, probe="RF-2", contacts=1200),
            ),
            "definitions": {
                **base.record.definitions,
                "line": LineDefinition(kind="line", length_um=2000.0, length_u_um=0.5),
                "reflect": ReflectDefinition(kind="reflect", near="open"),
            },
        }
    )
    ripple = 0.1 * np.exp(40j * RELATIVE)
    fields: dict[str, Any] = {
        "record": record,
        "frequency_hz": FREQUENCY_HZ,
        "terms": (
            Term("directivity, port 1", "e00", np.where(DETERMINED, ripple, np.nan)),
            Term("directivity, port 2", "e33", np.where(DETERMINED, 0.7 * ripple, np.nan)),
            Term("isolation", "EX", np.zeros(FREQUENCY_HZ.size, np.complex128)),
        ),
        "reported": (Term("directivity, port 1", "e00", np.where(DETERMINED, ripple, np.nan)),),
        "checks": CHECKS,
        "outcome": "checks failed",
        "determined": DETERMINED,
        "condition": known(5 + 400 / (1 + 50 * np.abs(RELATIVE - 0.56))),
        "redundancy": 2,
        "redundancy_of": "reflection standards, both ports together",
        "curves": CURVES,
        "comparisons": (comparison(), REPORTED),
        "sources": SOURCES,
        "budgets": (budget(), budget("thru", "s21")),
        "monte_carlo": MONTE_CARLO,
        "candidates": ("The cable of port 2 moved.", "The load's contact was worn."),
    }
    return replace(base, **{**fields, **changes})
