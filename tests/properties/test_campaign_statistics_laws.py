"""Laws of all statistics together: what must not matter does not, and odd tables are told, not met.

Warnings are errors in these tests. Numbers of 9.9e37 and more, which instruments give for an
overload, are refused on reading.
"""

from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.differences import compare_wafers
from sitegen.compute.over_wafers.campaign_statistics import campaign_statistics
from sitegen.model.campaign_statistics import CampaignStatistics
from sitegen.model.statistics import Estimate
from tests.compute.over_wafers.campaign_values import START, campaign, dies_of, values, wafer_record

pytestmark = pytest.mark.filterwarnings("error")
WAFERS, DIES, PARAMETERS = 6, 45, 3
RECORD = campaign(PARAMETERS)
ROWS = values(WAFERS, DIES, PARAMETERS)
CALIBRATED = {f"CAL-{number}": START + timedelta(hours=24 * number - 1) for number in range(6)}


def found_in(rows: pd.DataFrame, wafers: int = WAFERS) -> CampaignStatistics:
    records = [wafer_record(number) for number in range(wafers)]
    differences = compare_wafers(rows, RECORD, records).differences
    found = campaign_statistics(rows, dies_of(rows), RECORD, records, differences, CALIBRATED)
    assert found is not None
    return found


def numbers_of(found: object, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number of the record with where it stands."""
    if is_dataclass(found) and not isinstance(found, type):
        for one in fields(found):
            yield from numbers_of(getattr(found, one.name), f"{path}.{one.name}")
    elif isinstance(found, tuple):
        for place, one in enumerate(found):
            yield from numbers_of(one, f"{path}[{place}]")
    elif isinstance(found, int | float) and not isinstance(found, bool):
        yield path, float(found)


def estimates_of(found: object) -> Iterator[Estimate]:
    if isinstance(found, Estimate):
        yield found
    elif is_dataclass(found) and not isinstance(found, type):
        for one in fields(found):
            yield from estimates_of(getattr(found, one.name))
    elif isinstance(found, tuple):
        for part in found:
            yield from estimates_of(part)


def same(one: CampaignStatistics, other: CampaignStatistics, rtol: float) -> None:
    first, second = dict(numbers_of(one)), dict(numbers_of(other))
    assert first.keys() == second.keys()
    for path, number in first.items():
        assert second[path] == pytest.approx(number, rel=rtol, abs=1e-9), path


def test_the_order_of_rows_does_not_matter() -> None:
    mixed = ROWS.sample(frac=1.0, random_state=3)
    same(found_in(ROWS), found_in(mixed), 1e-9)


def test_float32_columns_are_promoted() -> None:
    narrow = ROWS.assign(value=ROWS["value"].astype(np.float32))
    wide = ROWS.assign(value=narrow["value"].astype(np.float64))
    same(found_in(narrow), found_in(wide), 1e-12)


def test_a_duplicated_wafer_is_another_wafer() -> None:
    """It brings no error; between the two there is no difference and no p-value below 1."""
    twin = ROWS[ROWS["wafer"] == "W1"].assign(wafer="W7")
    found = found_in(pd.concat([ROWS, twin], ignore_index=True), WAFERS + 1)
    pair = next(
        one for one in found.parameters[0].comparisons if {one.first, one.second} == {"W1", "W7"}
    )
    assert pair.difference.value == pytest.approx(0.0, abs=1e-12)
    assert pair.adjusted_p == pytest.approx(1.0)
    assert found.yields.process.wafers == WAFERS + 1


def hidden(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.assign(value=1e-3, below_floor=True, floor=2e-3)


NO_TIME = pd.Series(pd.NaT, ROWS.index, "datetime64[us, UTC]")
ODD: dict[str, Callable[[pd.DataFrame], pd.DataFrame]] = {
    "one value": lambda rows: rows.iloc[:1],
    "one die on each wafer": lambda rows: rows.groupby(["wafer", "parameter"]).head(1),
    "none": lambda rows: rows.iloc[:0],
    "all equal": lambda rows: rows.assign(value=0.5),
    "all missing": lambda rows: rows.assign(value=np.nan, outcome="not measured"),
    "all below the floor": hidden,
    "all not reached": lambda rows: rows.assign(not_reached=True),
    "half below the floor": lambda rows: pd.concat([rows.iloc[::2], hidden(rows.iloc[1::2])]),
    "none with standing": lambda rows: rows.assign(standing="without standing"),
    "no uncertainty": lambda rows: rows.assign(u=np.nan, u_own=np.nan, u_common=np.nan),
    "negative zero": lambda rows: rows.assign(value=-0.0),
    "no times": lambda rows: rows.assign(measured_at=NO_TIME),
    "tiny numbers": lambda rows: rows.assign(value=rows["value"] * 1e-60),
    "huge numbers": lambda rows: rows.assign(value=rows["value"] * 1e35),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_tables(name: str) -> None:
    """No warning, no NaN or infinity stated as a figure, and a reason where nothing is stated."""
    found = found_in(ODD[name](ROWS))
    assert len(found.parameters) == PARAMETERS
    for path, number in numbers_of(found):
        assert np.isfinite(number), path
    for one in estimates_of(found.parameters):
        assert one.value is not None or one.reason
        assert one.lower is None or one.upper is None or one.lower <= one.upper


def test_units_and_location() -> None:
    """In millivolts and with another zero, figures of spread scale and tests stay as they are."""
    plain = found_in(ROWS).parameters[0]
    moved = found_in(ROWS.assign(value=1000.0 * ROWS["value"] + 5.0)).parameters[0]
    spread = plain.distribution.standard_deviation, moved.distribution.standard_deviation
    assert spread[1].value == pytest.approx(1000.0 * (spread[0].value or 0.0))
    for one, other in zip(plain.patterns, moved.patterns, strict=True):
        for test, again in zip(one.tests, other.tests, strict=True):
            if test.kind != "cluster of outside dies" and test.p_value is not None:
                assert again.p_value == pytest.approx(test.p_value, rel=1e-6), test.kind
    for part, again_part in zip(
        plain.variation.components, moved.variation.components, strict=True
    ):
        assert again_part.share == pytest.approx(part.share, rel=1e-6)
    for trend, again_trend in zip(plain.trends, moved.trends, strict=True):
        assert (again_trend.p_value or 0.0) == pytest.approx(trend.p_value or 0.0, rel=1e-6)
    for pair, again_pair in zip(plain.comparisons, moved.comparisons, strict=True):
        assert (again_pair.difference.value or 0.0) == pytest.approx(
            1000.0 * (pair.difference.value or 0.0), rel=1e-6, abs=1e-9
        )
