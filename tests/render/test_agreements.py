"""Values that must agree, on the page of their wafer: how many dies do, also where all do."""

from typing import Any

from sitegen import render
from sitegen.model.agreement_results import AgreementCount
from sitegen.model.trust import Agreement, ValueOf
from sitegen.render.agreements import agreement_table
from tests.render import samples
from tests.render.test_pages import text_of

PAGE = "wafers/W1/index.html"


def agreement_count(**changes: Any) -> AgreementCount:
    """58 dies, of which 43 have both values."""
    fields: dict[str, Any] = {
        "wafer": "W1",
        "declared": Agreement(
            id="A",
            physics="other",
            first=ValueOf(parameter="VTH", condition="room"),
            second=ValueOf(parameter="BV", condition="bv"),
            allowance=1e-3,
        ),
        "unit": "V",
        "agree": 41,
        "beyond": 2,
        "not_compared": 15,
        "mean": 2e-4,
        "u_mean": 5e-5,
        "largest": -1.1e-3,
        "largest_die": (1, 0),
        "outcome": "agree",
    }
    return AgreementCount(**{**fields, **changes})


NOTHING = agreement_count(
    agree=0,
    beyond=0,
    not_compared=58,
    mean=None,
    u_mean=None,
    largest=None,
    largest_die=None,
    outcome="not decided",
)


def wafer_text(*agreements: AgreementCount) -> str:
    """The wafer's own page."""
    wafer, *_ = render.wafer_pages(
        context=samples.context(),
        record=samples.wafer_record(),
        results=samples.wafer_results(),
        note=None,
        frames={"hemt/room/s21_db": samples.frame()},
        maps={},
        bars={},
        agreements=agreements,
    )
    return text_of(wafer).replace("\u202f", " ").replace("\u00a0", " ")


def test_an_agreement_that_holds_leaves_its_counts_on_the_wafers_page() -> None:
    text = wafer_text(agreement_count())
    assert "Values that must agree" in text
    assert "A VTH at room BV at bv agree 41 2 15 (200 ± 100) µV 1.000 mV −1.100 mV (1, 0)" in text


def test_one_that_fails_and_one_that_is_not_decided_say_so() -> None:
    broken = agreement_count(agree=1, beyond=42, not_compared=0, outcome="do not agree")
    text = wafer_text(broken, NOTHING)
    assert "do not agree 1 42 0 (200" in text
    assert "not decided 0 0 58 – 1.000 mV – –" in text


def test_k_is_the_campaigns_and_both_values_lead_to_their_parameters() -> None:
    record = samples.campaign_record()
    table = agreement_table([agreement_count()], record, PAGE)
    assert table is not None and f"k = {record.decision.coverage_factor:g}" in table.caption
    (row,) = table.rows
    assert 'href="../../parameters/VTH' in str(row.cells[0].text)


def test_without_a_declared_agreement_there_is_no_section() -> None:
    assert agreement_table([], samples.campaign_record(), PAGE) is None
    assert "Values that must agree" not in wafer_text()
