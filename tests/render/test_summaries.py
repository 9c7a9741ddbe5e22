"""Symbols, prefixes and columns that the tables of parameters share."""

import pytest

from sitegen.render import summaries
from sitegen.render.phrases import unbroken
from tests.render import samples


@pytest.mark.parametrize(
    ("written", "set_"),
    [
        ("R", "R"),
        ("V_th", "V<sub>th</sub>"),
        ("|S_21|", "|S<sub>21</sub>|"),
        ("|S_21|,line", "|S<sub>21</sub>|<sub>,line</sub>"),
    ],
)
def test_what_follows_an_underscore_is_set_low_but_for_bars(written: str, set_: str) -> None:
    parameter = samples.VTH.model_copy(update={"symbol": written})
    assert summaries.symbol(parameter) == f'<span class="symbol">{set_}</span>'


def test_limits_take_the_prefix_of_the_values() -> None:
    inductance = samples.VTH.model_copy(update={"unit": "H", "lower": 950e-12, "upper": 1.05e-9})
    below, above = (samples.summary(median=median) for median in (0.98e-9, 1.02e-9))
    for summary, shown in ((below, "950 to 1050"), (above, "0.95 to 1.05")):
        factor, _ = summaries.scale(inductance, [summary])
        assert summaries.limits_cell(inductance, factor).text == shown


def test_a_count_that_never_occurs_has_no_column() -> None:
    quiet = samples.summary(missing=0, without_standing=0, not_closed=0, below_floor=0)
    assert summaries.counted([quiet]) == ("n",)
    assert summaries.counted([quiet, samples.summary(missing=0, not_closed=2)])[-1] == "not_closed"


def test_a_number_is_not_parted_from_its_unit() -> None:
    text = "raised until 0.1 mA flows, at most 120 V, 25 °C, 2 fingers of 25 µm"
    assert unbroken(text).replace("\u00a0", "~") == (
        "raised until 0.1~mA flows, at most 120~V, 25~°C, 2 fingers of 25~µm"
    )
