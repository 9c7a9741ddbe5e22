"""An acceptance's page: what customer and supplier sign, and what it rests on."""

from dataclasses import replace
from typing import Any

from sitegen import addresses, render
from sitegen.model.decision import Decision
from sitegen.model.event_results import AcceptanceResult
from sitegen.model.loaded import Note, SourceFile
from sitegen.model.plan import Plan
from tests.render import samples
from tests.render.event_samples import (
    acceptance_result,
    agreement,
    mask_result,
    station_without_wafers,
)
from tests.render.test_pages import outline, text_of


def page_of(result: AcceptanceResult, **changes: Any) -> render.Page:
    results = station_without_wafers(acceptances=(result,), **changes)
    here = addresses.acceptance(result.record.id)
    drawings = {
        key: samples.drawing(addresses.drawing(here, key), key) for key in ("0", "0-normalised")
    }
    return render.acceptance_page(result, results, drawings)


def test_what_was_shown_where_and_whether_it_is_accepted() -> None:
    text = text_of(page_of(acceptance_result()))
    assert (
        "A supplier that does not exist hands probe station A over to Laboratory that does not"
        " exist: shown where it was built (hall of the supplier) by verification VER-1 on"
        " 2026-04-21, and where it stands (room 2) by verification VER-2 on 2026-04-21."
    ) in text
    assert (
        "It is accepted: both verifications passed, the one declared figure is met at both places"
        " and the one difference of the site from the factory lies within its mask."
    ) in text
    assert "Decided by the simple rule" in text or "Decided by the guarded rule" in text


def test_it_leads_to_both_verifications_their_calibrations_and_the_station() -> None:
    targets = outline(page_of(acceptance_result())).targets
    for wanted in (
        "../../verifications/VER-1/index.html",
        "../../verifications/VER-2/index.html",
        "../../calibrations/CAL-1/index.html",
        "../../stations/PS-A/index.html",
    ):
        assert wanted in targets


def test_a_declared_figure_stands_with_its_uncertainty_at_both_places() -> None:
    text = text_of(page_of(acceptance_result()))
    assert (
        "line to 100 GHz line S21, complex deviation 1 GHz 100 GHz 0.03 0.0121 ± 0.0098 passed"
        " 0.01430 passed"
    ) in text


def test_each_difference_stands_under_its_mask_and_normalised() -> None:
    page = page_of(acceptance_result())
    text = text_of(page)
    assert "line: S21, complex deviation passed 100 GHz 0.0060 ± 0.0050 0.0200 55 %" in text
    assert "line, S21 shown, not judged – 1.20" in text
    targets = outline(page).targets
    assert "0.svg" in targets and "0-normalised.svg" in targets


def test_both_parties_sign_on_paper_for_a_named_edition() -> None:
    text = text_of(page_of(acceptance_result()))
    block = text[text.index("Signatures") :]
    assert (
        "Acceptance ACC-1 in record INVENTED-1, edition 2 of 2026-04-24: accepted. Signatures are"
        " made on paper; this page is not an accredited certificate."
    ) in text
    for party in ("Supplier: A supplier that", "Customer: Laboratory that"):
        assert party in block
    assert all(block.count(word) == 2 for word in ("Name ", "Function ", "Date "))


def test_what_is_not_accepted_says_why() -> None:
    result = acceptance_result()
    (figure,), (difference,) = result.performance, result.differences
    failed = replace(
        result,
        outcome="failed",
        performance=(replace(figure, site_outcome="failed"),),
        differences=(
            replace(
                difference,
                mask=mask_result(difference.mask.mask, "failed", 2.0),
                agreement=agreement(outcome="failed"),
            ),
        ),
    )
    text = text_of(page_of(failed))
    assert (
        "It is not accepted: the one declared figure is missed on site (line to 100 GHz); the"
        " site's line lies beyond the mask around the factory's; the site's line disagrees with"
        " the factory's over the whole sweep; the factory's verification VER-1 failed."
    ) in text
    assert "edition 2 of 2026-04-24: not accepted." in text


def test_an_acceptance_whose_verification_is_not_in_the_record_says_so() -> None:
    dark = acceptance_result(
        outcome="not assessable", reason="verification VER-2 is not in the record", performance=()
    )
    only = (samples.verification_result(),)
    text = text_of(page_of(replace(dark, differences=()), verifications=only))
    assert "verification VER-2, which is not in the record" in text
    assert "It cannot be assessed: verification VER-2 is not in the record." in text
    assert "No figure is declared." in text


def test_the_system_stands_side_by_side_and_what_differs_is_told() -> None:
    text = text_of(page_of(acceptance_result()))
    assert "Place hall of the supplier room 2 –" in text
    assert "Reference impedance 50 Ω 50 Ω same" in text
    site = station_without_wafers().verifications[1]
    moved = replace(
        site,
        record=site.record.model_copy(
            update={"state": samples.STATE.model_copy(update={"source_power_dbm": -10.0})}
        ),
    )
    other = text_of(
        page_of(acceptance_result(), verifications=(samples.verification_result(), moved))
    )
    assert "Source power −20 dBm −10 dBm differs" in other


def test_its_note_and_the_records_that_it_rests_on_are_there() -> None:
    sources = [
        SourceFile(path, "cd" * 32, 99)
        for path in (
            "acceptances/ACC-1/record.toml",
            "verifications/VER-1/record.toml",
            "verifications/VER-1/line.s2p",
            "calibrations/CAL-1/record.toml",
        )
    ]
    note = Note("acceptances/ACC-1/note.md", "acceptance ACC-1", "Seen by both.")
    text = text_of(page_of(acceptance_result(), sources=tuple(sources), notes=(note,)))
    assert "Seen by both." in text
    assert "calibrations/CAL-1/record.toml" in text
    assert "VER-1/line.s2p" not in text


def test_a_campaign_without_wafers_speaks_of_its_stations() -> None:
    results = station_without_wafers()
    text = text_of(render.campaign_page(results, {}))
    assert "This record is about probe station A; no wafer is planned or measured in it." in text
    assert "Acceptance ACC-1: probe station A is accepted." in text
    assert "probe station A room 2 ACC-1 accepted CAL-1 usable, 2026-04-21 06:00:00 UTC VER-2" in (
        text
    )
    assert "ACC-1 probe station A <as delivered> PS-A accepted hall of the supplier room 2" in text
    for word in ("Yield", "Values standing", "Touchdown that counts", "Parameters"):
        assert word not in text
    assert "Outcomes on these pages are decided by" in text


def test_a_planned_wafer_brings_the_table_of_wafers_back() -> None:
    results = station_without_wafers()
    record = samples.campaign_record(
        parameters=(),
        conditions=(),
        devices=(),
        plan=Plan(wafers=samples.campaign_record().plan.wafers),
    )
    results = replace(results, context=replace(results.context, record=record))
    assert "No wafer of this campaign has been measured." in text_of(
        render.campaign_page(results, {})
    )


def test_the_rule_is_told_in_words() -> None:
    record = samples.campaign_record(decision=Decision(rule="guarded"))
    results = station_without_wafers()
    text = text_of(
        render.acceptance_page(
            acceptance_result(),
            replace(results, context=replace(results.context, record=record)),
            {},
        )
    )
    assert (
        "Decided by the guarded rule (w = U, k = 2): a figure is met where with its guard band it"
        " does not exceed its limit, missed where it alone exceeds the limit, and not proven"
        " between the two."
    ) in text


def test_the_search_finds_an_acceptance() -> None:
    index = render.search_index(station_without_wafers(), [])
    assert '["ACC-1 probe station A <as delivered>","acceptances/ACC-1/index.html"' in index


def test_station_and_notes_lead_to_the_acceptance() -> None:
    note = Note("acceptances/ACC-1/note.md", "acceptance ACC-1", "Seen by both.")
    results = station_without_wafers(notes=(note,))
    station = render.station_page(samples.STATION, results, {})
    assert "Acceptance ACC-1 accepted" in text_of(station)
    assert "../../acceptances/ACC-1/index.html" in outline(station).targets
    assert "../acceptances/ACC-1/index.html" in outline(render.notes_page(results)).targets
