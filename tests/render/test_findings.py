"""Findings and faults as lines."""

import pytest

from sitegen.problems import Finding
from sitegen.render.findings import finding_line


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("12 values on wafer W1 fell.", '12 values on <a href="w1.html">wafer W1</a> fell.'),
        ("Wafer W1 was late.", '<a href="w1.html">Wafer W1</a> was late.'),
        ("It was late.", '<a href="w1.html">wafer W1</a>: It was late.'),
    ],
)
def test_the_subject_of_a_finding_leads_to_its_page(text: str, shown: str) -> None:
    found = Finding(weight="note", kind="late", subject="wafer W1", text=text, address="w1.html")
    assert finding_line(found, "index.html").text == shown


def test_a_die_is_named_as_on_its_page() -> None:
    found = Finding(weight="note", kind="late", subject="wafer W1", text="Die (1, -2).", address="")
    assert finding_line(found, "index.html").text == "Die (1,\u00a0−2)."
