"""Faults as values, and how they are grouped by cause."""

import random
from dataclasses import replace

import pytest

from sitegen.problems import Fault, cause_of, grouped
from tests.campaigns_broken.calibration_cases import CALIBRATION_CASES
from tests.campaigns_broken.cases import CASES
from tests.campaigns_broken.device_cases import DEVICE_CASES
from tests.campaigns_broken.laboratory_cases import LABORATORY_CASES, LABORATORY_DEVICE_CASES
from tests.campaigns_broken.statistics_cases import STATISTICS_CASES
from tests.campaigns_broken.verification_cases import VERIFICATION_CASES

EVERY_CASE = (
    *CASES,
    *CALIBRATION_CASES,
    *VERIFICATION_CASES,
    *STATISTICS_CASES,
    *DEVICE_CASES,
    *LABORATORY_CASES,
    *LABORATORY_DEVICE_CASES,
)


def unknown(number: int, **changes: object) -> Fault:
    fault = Fault(
        f"wafers/W{number}/values.parquet",
        'column "device", row 1',
        'the unknown device "FETX"',
        '"FET"',
        'Write "FET" if that is meant.',
    )
    return replace(fault, **changes)  # type: ignore[arg-type]


MISSING = Fault("a.s2p", "", "no file", "a Touchstone file", "Put it there.")
COMMA = Fault("b.s2p", "line 3", '"1,5"', "numbers with a decimal point", "Export it again.")


def test_a_cause_is_no_part_of_what_a_fault_is() -> None:
    """Two faults with one sentence are one fault, whoever named the cause."""
    one, other = unknown(1), unknown(1, cause="Names")
    assert one == other and hash(one) == hash(other) and len({one, other}) == 1
    assert not one < other and one.sentence() == other.sentence()


def test_faults_are_grouped_by_cause_with_large_groups_first() -> None:
    faults = [unknown(3), MISSING, unknown(1), COMMA, unknown(2), unknown(1)]
    groups = grouped(faults)
    assert [(group.cause, group.count) for group in groups] == [
        ("Names that are not declared", 3),
        ("Decimal commas", 1),
        ("Files that are missing or cannot be opened", 1),
    ]
    assert groups[0].faults == (unknown(1), unknown(2), unknown(3))


def test_what_forbids_publishing_comes_first() -> None:
    fatal = replace(MISSING, fatal=True)
    assert grouped([unknown(1), unknown(2), fatal])[0].faults == (fatal,)


def test_grouping_does_not_depend_on_the_order_and_loses_nothing() -> None:
    faults = [unknown(number) for number in range(9)] + [MISSING, COMMA]
    faults += [unknown(number, found="nan", expected="a finite number") for number in range(4)]
    expected = grouped(faults)
    mixed = faults.copy()
    random.Random(5).shuffle(mixed)
    assert grouped(mixed) == expected
    assert sorted(fault for group in expected for fault in group.faults) == sorted(set(faults))
    assert grouped([]) == ()


def test_a_named_cause_is_the_heading() -> None:
    named = unknown(1, cause="Columns that look exchanged")
    assert cause_of(named) == "Columns that look exchanged"
    assert [group.cause for group in grouped([named])] == ["Columns that look exchanged"]


@pytest.mark.parametrize(
    ("found", "expected", "cause"),
    [
        ("no file", "a Touchstone file", "Files that are missing or cannot be opened"),
        (
            "bytes that are not a whole Parquet file",
            "it",
            "Files that are cut off or of another kind",
        ),
        ("a number with a decimal comma", "a decimal point", "Decimal commas"),
        ('the unknown key "lots"', "a key", "Keys that are missing, unknown or misspelt"),
        ("nan", "a finite number", "Numbers that are empty, infinite or impossible"),
        ("the same key as in row 4", "each key once", "Entries that come twice"),
        ("2026-03-02T10:05:00", "a time with its zone", "Times"),
        ("10 GHz after 11 GHz", "increasing frequencies", "Frequencies"),
        ("1 port", "2 ports", "Ports and reference impedances"),
        ("anything", "something else", "Entries that do not go together"),
    ],
)
def test_headings_follow_from_the_words(found: str, expected: str, cause: str) -> None:
    assert cause_of(Fault("f", "", found, expected, "Mend it.")) == cause


def test_there_are_enough_broken_campaigns_and_each_has_its_own_name() -> None:
    names = [case.name for case in EVERY_CASE]
    assert len(set(names)) == len(names) >= 180
    assert len(LABORATORY_CASES) >= 50
