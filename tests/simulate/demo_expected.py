"""What is planted in campaigns_demo/lark-7 and what must be found there, and nothing else.

Worked out by the forward side (`tests.simulate.forward`), never by the program itself;
`test_demo.py` works it out again and compares. All dies are in the layout's own numbers.
"""

WAFERS = ("LK7-1", "LK7-2", "LK7-3")
PLANNED_DIES = 89
VALUES = {"LK7-1": 1571, "LK7-2": 1465, "LK7-3": 1539}
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
    "VTH": 9.0e-4, "GM": 2.5e-5, "ION": 2.8e-5, "SS": 1.2e-4, "DIBL": 8.1e-6, "GMQ": 2.7e-5,
    "IQ": 3.1e-5, "GDS": 1.1e-6, "BV": 0.044, "NID": 1.0e-3, "RC": 1.4e-3, "RDC": 9.1e-4,
}  # fmt: skip
"""What accuracy, temperature and noise of the readings add to a figure of a curve, in its unit:
root mean square over simulated curves; `test_spread.py` works it out again."""

EDGE_RING = frozenset(
    {(-5, -1), (-5, 0), (-5, 1), (-4, -3), (-4, 3), (-3, -4), (-3, 4), (-1, -5), (-1, 5), (0, -5),
     (0, 5), (1, -5), (1, 5), (3, -4), (3, 4), (4, -3), (4, 3), (5, -1), (5, 0), (5, 1)}
)  # fmt: skip
"""Dies of LK7-1 whose RSH is outside its limits."""

UNMEASURED = frozenset({(-1, 5), (0, 5), (3, -3), (4, -3)})
"""Planned dies of LK7-2 without any value."""

EXPIRED = {
    (0, -5): frozenset({"L", "Q", "IL", "PH"}),
    (1, -5): frozenset({"FT", "H21", "S21", "C", "L", "Q", "IL", "PH"}),
}
"""RF values of LK7-3 taken after CAL-5 had expired: the parameters of each die."""

LOST = {"FT": 20, "H21": 20, "S21": 20, "C": 20, "L": 20, "Q": 20, "IL": 20, "PH": 20, "H21B": 8}
"""RF values of LK7-2 by parameter, taken after VER-4 and before CAL-4: VER-5 takes their standing.
"""
LOST_DIES = 20

RETOUCHED = ("LK7-3", (1, 1), "RON")
"""Outside at the first touchdown, within at the last, which counts; the only verdict changed."""

BELOW_FLOOR = {"LK7-1": 13, "LK7-2": 28, "LK7-3": 27}
"""Readings of ICAP below the floor; no other parameter has any."""

ORDINARY = {
    "LK7-1": {
        ((1, 5), "RC"): "outside",
        ((1, 5), "FT"): "not proven",
        ((-4, 3), "ION"): "outside",
        ((3, 3), "BV"): "not proven",
        ((-3, 0), "RSH"): "not proven",
        ((4, -1), "GM"): "not proven",
        ((5, -1), "GM"): "not proven",
        ((5, -1), "FT"): "not proven",
        ((-4, -2), "RON"): "not proven",
        ((-2, -4), "FT"): "not proven",
        ((-3, -4), "VTH"): "outside",
    },
    "LK7-2": {
        ((-4, 1), "GM"): "not proven",
        ((-2, 1), "GM"): "not proven",
        ((-2, 0), "GM"): "outside",
        ((-5, 0), "ION"): "outside",
        ((-5, -1), "ION"): "outside",
        ((1, -2), "GM"): "outside",
        ((-4, -2), "GM"): "not proven",
        ((-4, -3), "ION"): "outside",
        ((0, -3), "GM"): "not proven",
        ((1, -4), "ION"): "not proven",
        ((-3, 1), "C"): "not proven",
    },
    "LK7-3": {
        ((-1, 4), "BV"): "not proven",
        ((-4, 3), "ION"): "not proven",
        ((-1, 0), "RSH"): "not proven",
        ((5, -1), "GM"): "not proven",
    },
}
"""The natural tails: values that count, have standing and are not within, beside the ring."""

DIE_OUTCOMES = {
    "LK7-1": {
        "within": 64, "not proven": 5, "outside": 20, "not assessable": 0, "not measured": 0,
    },
    "LK7-2": {
        "within": 57, "not proven": 6, "outside": 5, "not assessable": 17, "not measured": 4,
    },
    "LK7-3": {
        "within": 83, "not proven": 4, "outside": 0, "not assessable": 2, "not measured": 0,
    },
}  # fmt: skip
"""Verdicts of the planned dies."""

HOT_CONDITIONS = ("sat85", "off85")
HAZARDOUS_CONDITION = "bv"
"""Bias above 60 V DC."""
PROPAGATED_ONLY = ("S21",)
"""Declares no source of its own: its uncertainty is what the calibration propagates."""
WITHOUT_LIMITS = ("S21", "H21B", "LGND", "PH")
