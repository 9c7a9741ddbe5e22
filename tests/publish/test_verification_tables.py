"""The tables of verifications and acceptances hold what their pages show, null for what is not."""

import numpy as np
import pytest

from sitegen.publish import acceptance_tables, verification_tables
from tests.render.event_samples import acceptance_result, guarded_verification
from tests.render.samples import verification_result

VERIFICATIONS = (verification_result(), guarded_verification())


def test_every_point_of_every_mask_has_a_row_with_its_uncertainty() -> None:
    table = verification_tables.deviations(VERIFICATIONS).to_pandas()
    assert len(table) == 3 + 1 + 100 + 100
    line = table[(table["verification"] == "VER-2") & (table["structure"] == "line")]
    last = line.iloc[-1]
    assert (last["frequency_hz"], last["deviation"]) == (100e9, 0.012)
    assert (last["u"], last["guard"], last["limit"]) == (0.005, 0.01, 0.02)
    assert table[table["structure"] == "short-line"]["u"].isna().all()


def test_a_missing_number_is_null_and_never_nan() -> None:
    column = verification_tables.deviations(VERIFICATIONS).column("deviation")
    assert column.null_count == 2
    assert np.isfinite(column.drop_null().to_numpy()).all()


def test_a_sweep_rule_stands_with_its_limit_and_false_alarm_rate() -> None:
    (row,) = verification_tables.agreements(VERIFICATIONS).to_pylist()
    assert (row["structure"], row["parameter"], row["rule"]) == ("line", "s21", "greatest value")
    assert (row["figure"], row["limit"], row["false_alarm_rate"]) == (1.2, 1.31, 0.05)
    points = verification_tables.normalised(VERIFICATIONS).to_pandas()
    assert len(points) == 100 and points["normalised"].max() == 1.2


def test_quantities_of_a_line_and_physics() -> None:
    found, unknown = verification_tables.line_quantities(VERIFICATIONS).to_pylist()
    assert (found["value"], found["u"], found["reference"]) == (5.236, 0.04, 5.2)
    assert unknown["value"] is None and unknown["reason"] == "the line is too short"
    checks = verification_tables.physical_checks(VERIFICATIONS).to_pylist()
    assert [one["property"] for one in checks] == ["passivity", "reciprocity"]


def test_an_acceptance_has_its_figures_and_differences() -> None:
    accepted = (acceptance_result(),)
    (row,) = acceptance_tables.acceptances(accepted).to_pylist()
    assert (row["acceptance"], row["factory"], row["site"]) == ("ACC-1", "VER-1", "VER-2")
    (figure,) = acceptance_tables.declared_performance(accepted).to_pylist()
    assert (figure["limit"], figure["factory"], figure["site_u"]) == (0.03, 0.0121, None)
    differences = acceptance_tables.site_differences(accepted).to_pandas()
    assert len(differences) == 100 and differences["normalised"].iloc[50] == 1.2


@pytest.mark.parametrize(
    "contents",
    [
        verification_tables.contents(VERIFICATIONS),
        acceptance_tables.contents([acceptance_result()]),
    ],
)
def test_every_column_of_every_table_says_what_it_means(contents: object) -> None:
    names = []
    for name, description, table in contents:  # type: ignore[attr-defined]
        names.append(name)
        assert description.endswith(".")
        assert all(field.metadata[b"description"] for field in table.schema)
    assert len(set(names)) == len(names) >= 3


def test_without_events_tables_are_empty_and_those_of_acceptances_are_not_written() -> None:
    assert [table.num_rows for _, _, table in verification_tables.contents([])] == [0] * 6
    assert list(acceptance_tables.contents([])) == []
