"""What is planted in campaigns_demo/lark-7 and what must be found there, and nothing else.

Worked out by the forward side (`tests.simulate.forward`), never by the program itself;
`test_demo.py` works it out again and compares. All dies are in the layout's own numbers.
"""

WAFERS = ("LK7-1", "LK7-2", "LK7-3")
PLANNED_DIES = 89
VALUES = {"LK7-1": 3367, "LK7-2": 3179, "LK7-3": 3325}
"""Values of every touchdown, those taken from sweeps included."""

CALIBRATIONS = {
    "CAL-1": "LRRM",
    "CAL-2": "one-port",
    "CAL-3": "LRRM",
    "CAL-4": "SOLT",
    "CAL-5": "LRRM",
}
PASSED = ("VER-1", "VER-2", "VER-3", "VER-4", "VER-6", "VER-7", "VER-8")
FAILED = "VER-5"
FAILED_STRUCTURES = ("line", "attenuator", "offset-short")
TRUE_LOAD_INDUCTANCE_PH = 4.337
"""Of the substrate that the seed gives; declared as 4.6 pH, with a standard uncertainty of 0.3."""

PROPAGATED_U: dict[str, dict[str, float]] = {
    "LRRM": {
        "FT": 1.5e+08, "H21": 0.0193, "FMAX": 8.22e+09, "GMRF": 6.58e-05, "GDSRF": 1.15e-05,
        "CGS": 2.8e-16, "CGD": 1.86e-17, "S21": 0.0117, "H21B": 0.0193, "C": 3.54e-16,
        "ESR": 0.123, "L": 1.34e-12, "Q": 0.472, "RLF": 0.0541,
    },
    "SOLT": {
        "FT": 1.99e+08, "H21": 0.0226, "FMAX": 8.62e+09, "GMRF": 6.29e-05, "GDSRF": 1.16e-05,
        "CGS": 3.01e-16, "CGD": 1.97e-17, "S21": 0.0169, "H21B": 0.0218, "C": 3.18e-16,
        "ESR": 0.136, "L": 1.24e-12, "Q": 0.485, "RLF": 0.0534,
    },
    "one-port": {
        "LGND": 8.81e-13,
    },
}  # fmt: skip
"""What a calibration and the sweep itself add to a figure's standard uncertainty, in its unit: root
mean square over simulated calibrations that scikit-rf solved; `test_spread.py` works it out again.
"""

CURVE_U: dict[str, float] = {
    "VTH": 8.4e-4, "GM": 2.6e-5, "ION": 2.9e-5, "SS": 1.1e-4, "DIBL": 3.1e-6, "GMQ": 2.8e-5,
    "IQ": 3.0e-5, "GDS": 1.1e-6, "BV": 0.059, "NID": 9.1e-4, "RC": 1.2e-3, "RDC": 8.5e-4,
}  # fmt: skip
"""What accuracy and noise of the readings add to a figure of a curve, in its unit: root mean square
over simulated curves; `test_spread.py` works it out again."""

EDGE_RING = frozenset(
    {(-5, -1), (-5, 0), (-5, 1), (-4, -3), (-4, 3), (-3, -4), (-3, 4), (-1, -5), (-1, 5), (0, -5),
     (0, 5), (1, -5), (1, 5), (3, -4), (3, 4), (4, -3), (4, 3), (5, -1), (5, 0), (5, 1)}
)  # fmt: skip
"""Dies of LK7-1 whose RSH is outside its limits."""

UNMEASURED = frozenset({(-1, 5), (0, 5), (3, -3), (4, -3)})
"""Planned dies of LK7-2 without any value."""

OF_INDUCTOR = frozenset({"L", "Q", "RLF", "SRF"})
OF_LINE = frozenset({"ATT", "EPS", "IL", "PH", "ZC"})
OF_CAPACITOR = frozenset({"C", "ESR", "QC"})
OF_TRANSISTOR = frozenset({"CGD", "CGS", "FMAX", "FT", "GDSRF", "GMRF", "H21", "S21"})
EXPIRED = {
    (0, -5): OF_INDUCTOR | OF_LINE,
    (1, -5): OF_INDUCTOR | OF_LINE | OF_CAPACITOR | OF_TRANSISTOR,
}
"""RF values of LK7-3 taken after CAL-5 had expired: the parameters of each die."""

OVER_BIAS = frozenset({"CGD", "CGS", "GDSRF", "GMRF"})
LOST = {
    **dict.fromkeys(OF_INDUCTOR | OF_LINE | OF_CAPACITOR | (OF_TRANSISTOR - OVER_BIAS), 20),
    **dict.fromkeys(OVER_BIAS, 28),
    "H21B": 8,
}
"""RF values of LK7-2 by parameter, taken after VER-4 and before CAL-4: VER-5 takes their standing.
"""
LOST_DIES = 20

BAD_TOUCHES = {
    ("LK7-1", "contact check failed"): 10,
    ("LK7-2", "contact check missing"): 5,
    ("LK7-3", "contact check failed"): 4,
}
"""Values that lost their standing to a touchdown's contact checks."""

NOT_REACHED = {"LK7-1": 5, "LK7-2": 5, "LK7-3": 2}
"""Dies whose BV lies beyond the end of the sweep."""
SWEPT_TO_V = 102.0

RETOUCHED = ("LK7-3", (1, 1), "RON")
"""Outside at the first touchdown, within at the last, which counts; the only verdict changed."""

STUDY = ("LK7-3-A", "LK7-3-B", "LK7-3-C")
"""Records measured for the study of operators only."""
READS_HIGH = ("operators", 0.004)
"""The study, and by which share of the median its third operator reads RON and RSH higher."""

BELOW_FLOOR = {"LK7-1": 22, "LK7-2": 41, "LK7-3": 38}
"""Readings of ICAP below the floor; no other parameter has any."""

ORDINARY = {
    "LK7-1": {
        ((1, 5), "RC"): "not refuted",
        ((-4, 3), "ION"): "outside",
        ((4, -1), "GM"): "not proven",
        ((5, -1), "GM"): "not proven",
        ((-4, -2), "RON"): "not proven",
        ((-3, -4), "VTH"): "outside",
    },
    "LK7-2": {
        ((-2, 0), "GM"): "not proven",
        ((-5, 0), "ION"): "outside",
        ((-5, -1), "ION"): "outside",
        ((1, -2), "GM"): "not proven",
        ((-4, -3), "ION"): "outside",
        ((1, -4), "ION"): "not proven",
        ((-3, 1), "C"): "not proven",
    },
    "LK7-3": {
        ((5, -1), "GM"): "not proven",
    },
}
"""The natural tails: values that count, have standing and are not within, beside the ring."""

DIE_OUTCOMES = {
    "LK7-1": {
        "within": 65, "not proven": 2, "not refuted": 0, "outside": 20, "not assessable": 2,
        "not measured": 0,
    },
    "LK7-2": {
        "within": 60, "not proven": 3, "not refuted": 0, "outside": 3, "not assessable": 19,
        "not measured": 4,
    },
    "LK7-3": {
        "within": 85, "not proven": 1, "not refuted": 0, "outside": 0, "not assessable": 3,
        "not measured": 0,
    },
}  # fmt: skip
"""Verdicts of the planned dies."""

HOT_CONDITIONS = ("sat85", "off85")
HAZARDOUS_CONDITION = "bv"
"""Bias above 60 V DC."""
AT_ONE_FREQUENCY = ("H21", "S21", "H21B", "C", "ESR", "L", "Q", "LGND")
"""Figures whose scatter does not depend on how many frequencies a simulated calibration has; those
over a window average the noise of more points than `PROPAGATED_U` was found with."""
OTHER_DUMMIES = {("SOLT", "H21"), ("SOLT", "H21B")}
"""Under CAL-4 the dummies of LK7-2 stand on CAL-3: nothing cancels, and u is larger than where both
stand on one calibration, as they do in the simulated ones."""
