"""The columns of the tables that a campaign brings: what must stand in them and may stand in them.

A table is a Parquet file. Text columns may be dictionary-encoded, whole numbers may have any
width, numbers may be float32 or float64 or whole
unless they are said to be precise. A column of numbers may state its unit in the
Parquet field metadata, under the key `unit`; a convertible unit is converted.
"""

from dataclasses import dataclass
from typing import Literal

Content = Literal["whole number", "number", "precise number", "text", "time"]
"""A precise number needs float64: the seven digits of float32 cannot tell frequencies apart."""


@dataclass(frozen=True)
class Column:
    """A column of a table that is read."""

    name: str
    content: Content
    required: bool
    meaning: str
    unit: str = ""
    """The unit that its numbers have after reading; empty for a number without one, and for
    columns whose rows have units of their own."""
    may_be_empty: bool = False
    """Whether a row may leave it empty (null)."""


BIAS_PREFIX = "bias_"
"""A column of measured bias is named bias_ and the name of the condition's set point, which ends
in _v or _a: bias_vgs_v."""

_DIE = (
    Column("die_x", "whole number", True, "column of the die, in the frame that the record names"),
    Column("die_y", "whole number", True, "row of the die, in the frame that the record names"),
    Column(
        "site", "text", False, "place inside the die; empty where it has none", may_be_empty=True
    ),
    Column("device", "text", True, "id of the device in campaign.toml"),
)
_CONDITION = (
    Column("condition", "text", True, "id of the condition in campaign.toml"),
    Column("touchdown", "whole number", False, "number of the touchdown, from 1; without it 1"),
)
_CIRCUMSTANCES = (
    Column("measured_at", "time", True, "time as the instrument stamped it, with its zone"),
    Column(
        "calibration",
        "text",
        False,
        "id of the calibration used; empty: the one in force by time and station",
        may_be_empty=True,
    ),
    Column(
        "state",
        "text",
        False,
        "id of a state in wafer.toml; without the column the only state that it declares",
        may_be_empty=True,
    ),
    Column("temperature_c", "number", False, "measured temperature", "°C", may_be_empty=True),
    Column(
        "ambient_c",
        "number",
        False,
        "ambient temperature; empty: the one in wafer.toml",
        "°C",
        may_be_empty=True,
    ),
    Column(
        "substrate_c",
        "number",
        False,
        "contact substrate's temperature; empty: the one in wafer.toml",
        "°C",
        may_be_empty=True,
    ),
    Column(
        "contact_resistance_ohm",
        "number",
        False,
        "contact resistance found by the touchdown's contact check",
        "Ω",
        may_be_empty=True,
    ),
)

VALUE_COLUMNS: tuple[Column, ...] = (
    *_DIE,
    Column("parameter", "text", True, "id of the parameter in campaign.toml"),
    *_CONDITION,
    Column("value", "number", True, "measured value, in the unit stated for it"),
    Column("unit", "text", False, "unit of the value, where rows differ", may_be_empty=True),
    *_CIRCUMSTANCES,
    Column("range", "text", False, "measuring range, as named by a floor", may_be_empty=True),
    Column("path", "text", False, "path to the pads, as named by a floor", may_be_empty=True),
    Column(
        "beyond",
        "whole number",
        False,
        "1 where the value itself lies beyond the number, further from zero: a range had ended"
        " there; else 0",
        may_be_empty=True,
    ),
)
"""Columns of a table of values, one row a value; besides these, columns of measured bias.
Key: die_x, die_y, site, device, parameter, condition, touchdown."""

_S_WORDS = {
    "s11": "reflection at port 1",
    "s21": "transmission from port 1 to port 2",
    "s12": "transmission from port 2 to port 1",
    "s22": "reflection at port 2",
}

SWEEP_COLUMNS: tuple[Column, ...] = (
    *_DIE,
    *_CONDITION,
    Column("frequency_hz", "precise number", True, "frequency, increasing within a sweep", "Hz"),
    *(
        Column(
            f"{name}_{part}",
            "number",
            name == "s11",
            f"{words}, {'real' if part == 're' else 'imaginary'} part"
            + ("" if name == "s11" else "; needed for devices with two ports"),
            may_be_empty=name != "s11",
        )
        for name, words in _S_WORDS.items()
        for part in ("re", "im")
    ),
    *_CIRCUMSTANCES,
)
"""Columns of a table of sweeps, one row a frequency.
Key of a sweep: die_x, die_y, site, device, condition, touchdown; what else is stated of a sweep
is taken from its first row."""

CURVE_COLUMNS: tuple[Column, ...] = (
    *_DIE,
    Column("curve", "text", True, "id of the curve in campaign.toml"),
    *_CONDITION,
    *(one for one in _CIRCUMSTANCES if one.name in ("measured_at", "temperature_c")),
    Column("range", "text", False, "measuring range, as named by a floor", may_be_empty=True),
    Column("path", "text", False, "path to the pads, as named by a floor", may_be_empty=True),
    Column(
        "integration_s", "number", False, "integration time of a reading", "s", may_be_empty=True
    ),
    Column(
        "in_compliance",
        "whole number",
        False,
        "1 where the source had reached its bound, else 0",
        may_be_empty=True,
    ),
)
"""Columns of a table of curves, one row a point in the order of measurement; besides these, the
columns that the curves of campaign.toml name, and the measured one again with `AGAIN` after it: a
second reading at the same point.
Key of a curve: die_x, die_y, site, device, curve, condition, touchdown and the stepped value; what
else is stated of a curve is taken from its first row, range and in_compliance from each."""

AGAIN = "_again"

TOUCHDOWN_COLUMNS: tuple[Column, ...] = (
    *(one for one in _DIE if one.name in ("die_x", "die_y", "site")),
    Column(
        "device",
        "text",
        False,
        "device that was touched; empty: all of the die",
        may_be_empty=True,
    ),
    *(one for one in _CONDITION if one.name == "touchdown"),
    Column("measured_at", "time", True, "time as the instrument stamped it, with its zone"),
    Column("contact_resistance_ohm", "number", False, "contact resistance", "Ω", may_be_empty=True),
    Column("pad_leakage_a", "number", False, "leakage between pads", "A", may_be_empty=True),
    Column(
        "open_capacitance_f",
        "number",
        False,
        "capacitance with the circuit open",
        "F",
        may_be_empty=True,
    ),
    Column(
        "overtravel_um", "number", False, "overtravel after first contact", "µm", may_be_empty=True
    ),
    Column(
        "probe_contacts",
        "whole number",
        False,
        "contacts that the probe has made up to and with this one",
        may_be_empty=True,
    ),
    Column(
        "pad_touchdowns",
        "whole number",
        False,
        "touchdowns on these pads up to and with this one; without it they are counted here",
        may_be_empty=True,
    ),
)
"""Columns of a table of touchdowns, one row a touchdown.
Key: die_x, die_y, site, device, touchdown."""

REPORTED_TERM_COLUMNS: tuple[Column, ...] = (
    Column("frequency_hz", "precise number", True, "frequency, increasing within a term", "Hz"),
    Column("term", "text", True, "name of the error term"),
    Column("re", "number", True, "its real part"),
    Column("im", "number", True, "its imaginary part"),
)
"""Columns of the table of the error terms that an instrument reported."""
