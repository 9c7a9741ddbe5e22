"""Each kind of page from hand-made results: what stands on it, in odd cases too."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from sitegen import addresses, render
from sitegen.model.decision import Decision
from sitegen.model.loaded import Note
from sitegen.model.results import CampaignResults
from sitegen.render.page import Page
from tests.render import event_samples, samples

VOID = {"meta", "link", "img", "br", "input", "hr"}
SELF_CLOSED = {"circle", "path", "rect", "use", "image", "polyline"}


class Outline(HTMLParser):
    """Checks that elements nest, and gathers headings, links, ids and forbidden attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[int] = []
        self.targets: list[str] = []
        self.ids: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        self._look(tag, dict(attrs))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in SELF_CLOSED, f"<{tag}/> is not closed in HTML"
        self._look(tag, dict(attrs))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, f"</{tag}> closes nothing"

    def _look(self, tag: str, attrs: dict[str, str | None]) -> None:
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        self.targets += [str(attrs[name]) for name in ("href", "src") if name in attrs]
        self.ids += [str(attrs["id"])] if "id" in attrs else []
        self.wrong += [name for name in attrs if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and not attrs.get("src")):
            self.wrong.append(tag)


def outline(page: Page) -> Outline:
    """The page's outline, its elements checked to nest."""
    found = Outline()
    found.feed(page.html)
    assert found.open == []
    return found


def text_of(page: Page) -> str:
    """The page's text, spaces made plain."""
    without = re.sub(r"<svg class=\"symbols\".*?</svg>", "", page.html, flags=re.DOTALL)
    inline = re.sub(r"</?(a|strong|em|span|sub|code|time|var)\b[^>]*>", "", without)
    text = re.sub(r"<[^>]+>", " ", inline)
    for entity, character in (("&lt;", "<"), ("&gt;", ">"), ("&#39;", "'"), ("&amp;", "&")):
        text = text.replace(entity, character)
    return re.sub(r"[\s\u202f\u00a0\u2060]+", " ", text)


def wafer_pages(**changes: object) -> list[Page]:
    """The pages of the sample wafer."""
    return list(
        render.wafer_pages(
            context=samples.context(),
            record=samples.wafer_record(),
            results=samples.wafer_results(**changes),
            note=Note("wafers/W1/note.md", "wafer W1", "Looked *hazy*."),
            frames={"hemt/room/s21_db": samples.frame()},
            maps={
                "verdicts": samples.drawing(addresses.wafer_map("W1", "verdicts", "linked")),
                "VTH/room": samples.drawing(addresses.wafer_map("W1", "VTH", "room")),
            },
            bars={0: '<svg class="limit-bar" aria-hidden="true"></svg>'},
        )
    )


def other_pages(results: CampaignResults) -> Iterator[Page]:
    """A page of every kind but the wafers' own."""
    evidence = samples.drawing("evidence.svg", "Evidence over time")
    yield render.campaign_page(results, {"evidence-PS-A": evidence})
    for parameter in results.context.record.parameters:
        yield render.parameter_page(parameter, results, {})
    for calibration in results.calibrations:
        drawn = {"terms-all": samples.drawing("calibrations/CAL-1/terms.svg")}
        yield render.calibration_page(calibration, results, drawn)
    for verification in results.verifications:
        yield render.verification_page(verification, results, {})
    for acceptance in results.acceptances:
        yield render.acceptance_page(acceptance, results, {})
    for station in results.context.record.stations:
        yield render.station_page(station, results, {"evidence": evidence})
    for make in (
        render.problems_page,
        render.method_page,
        render.reference_page,
        render.data_page,
        render.notes_page,
    ):
        yield make(results)


def every_page() -> list[Page]:
    return [
        *other_pages(samples.campaign_results()),
        *wafer_pages(),
        *other_pages(samples.nothing_measured()),
        *other_pages(event_samples.station_without_wafers()),
    ]


@pytest.mark.parametrize("page", every_page(), ids=lambda page: page.address)
def test_a_page_is_whole(page: Page) -> None:
    found = outline(page)
    assert found.wrong == []
    assert found.headings.count(1) == 1 and found.headings[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(found.headings))
    assert len(found.ids) == len(set(found.ids))
    assert "default-src &#39;none&#39;" in page.html or "default-src 'none'" in page.html
    text = text_of(page)
    assert "INVENTED-1, edition 2 of 2026-04-24" in text
    assert "Simulated data" in text
    assert f"End of page {page.address} of record INVENTED-1, edition 2." in text
    assert "not an accredited calibration certificate" in text
    assert "None" not in text.replace("None of", "").replace("None.", "")


@pytest.mark.parametrize("page", every_page(), ids=lambda page: page.address)
def test_a_page_leads_to_nothing_outside_and_to_its_own_anchors(page: Page) -> None:
    found = outline(page)
    for target in found.targets:
        assert not re.match(r"[a-z]+:|/", target), target
        if target.startswith("#"):
            assert target[1:] in found.ids, target


def test_markup_in_records_is_escaped() -> None:
    page = render.campaign_page(samples.campaign_results(), {})
    assert "An invented campaign &lt;with markup&gt;" in page.html
    assert "design &amp; test" in page.html
    assert "<b>real</b>" not in page.html


def test_without_simulation_no_page_says_so() -> None:
    identity = samples.IDENTITY.model_copy(update={"simulated": False})
    record = samples.campaign_record(campaign=identity)
    results = replace(samples.campaign_results(), context=samples.context(record))
    for page in other_pages(results):
        assert "Simulated data" not in page.html


def test_the_campaign_leads_with_its_findings_and_verdicts() -> None:
    text = text_of(render.campaign_page(samples.campaign_results(), {}))
    assert text.index("On two wafers 16 of 18 planned dies were measured.") < text.index("Findings")
    assert text.index("Two values on wafer W1") < text.index("One value lies below the floor")
    assert "85.7 %" in text and "48.7 % to 97.4 %" in text
    assert "Hot chuck" in text and "Hazardous voltage" in text


def test_a_campaign_of_which_nothing_was_measured_says_so() -> None:
    page = render.campaign_page(samples.nothing_measured(), {})
    text = text_of(page)
    assert "This record is about probe station A; no wafer is planned or measured in it." in text
    assert "The record holds no calibration. The record holds no verification." in text
    assert "The measurements show no finding." in text
    assert "Cautions" not in text


def test_the_first_words_are_plain_text() -> None:
    words = render.first_words(samples.campaign_results())
    assert words.startswith("On two wafers 16 of 18 planned dies were measured. ")
    assert "<" not in words


def test_a_calibration_leads_to_every_die_that_stands_on_it_and_to_those_that_do_not() -> None:
    results = samples.campaign_results()
    page = render.calibration_page(results.calibrations[0], results, {})
    targets = outline(page).targets
    standing = page.html[page.html.index('id="standing"') : page.html.index('id="lost"')]
    lost = page.html[page.html.index('id="lost"') :]
    for text, die in (
        (standing, "W1/x0_y0"),
        (standing, "W1/x-1_y2"),
        (lost, "W1/x1_y0"),
        (lost, "W2/x0_y0"),
    ):
        assert f'href="../../wafers/{die}.html"' in text
    assert "../../wafers/W1/x1_y0.html" not in standing
    assert "../../verifications/VER-1/index.html" in targets
    text = text_of(page)
    assert "Values that stand on it 8 Of these not closed 1" in text
    assert "Values without standing 3 (verification failed 2, expired by time 1)" in text
    assert "C −6 fF + 0.1 fF/GHz; behind an offset: delay 1 ps" in text
    assert "−40.00" in text and "not determined" in text and "zero" in text
    assert "ab" * 32 in page.html


def test_counts_among_the_checks_are_whole_numbers() -> None:
    results = samples.campaign_results()
    text = text_of(render.calibration_page(results.calibrations[0], results, {}))
    assert "contacts of this set of standards 12 ≤ 500 met" in text
    assert "frequencies determined 3 of 3 " in text


def test_the_campaign_shows_what_stands_on_a_calibration_and_what_was_lost() -> None:
    text = text_of(render.campaign_page(samples.campaign_results(), {}))
    assert "usable 8 1 3 2026-04-21 07:00:04 UTC (VER-1 failed)" in text


def test_a_calibration_that_was_not_solved_says_why() -> None:
    results = samples.campaign_results(uses={"CAL-1": samples.UNUSED})
    unsolved = samples.calibration_result(
        outcome="not solved", unsolved="LRRM with a flush thru", terms=(), checks=()
    )
    text = text_of(render.calibration_page(unsolved, results, {}))
    assert "It could not be solved: LRRM with a flush thru." in text
    assert "There are no error terms: the calibration could not be solved." in text
    assert "No value stands on this calibration." in text
    assert "No value that refers to this calibration has lost its standing." in text


def test_a_failed_verification_leads_to_the_dies_that_lost_a_value_to_it() -> None:
    results = samples.campaign_results()
    page = render.verification_page(results.verifications[0], results, {})
    assert "../../wafers/W2/x0_y0.html" in outline(page).targets
    text = text_of(page)
    assert "Dies with a value that lost its standing to this verification, or otherwise" in text
    other = samples.campaign_results(uses={"CAL-1": samples.calibration_use(failed_by="VER-0")})
    text = text_of(render.verification_page(other.verifications[0], other, {}))
    assert "Verification VER-0 of the same calibration had failed before." in text
    assert "What it took standing from" not in text


def test_a_verification_has_its_verdict_and_every_deviation() -> None:
    results = samples.campaign_results()
    text = text_of(render.verification_page(results.verifications[0], results, {}))
    assert "S21, complex deviation failed 10 GHz 0.1000 0.0500 200 % −0.0500 2 1" in text
    assert "no frequency of the sweep lies inside the mask" in text
    assert "model of a line: delay 7 ps; Z₀ 50 Ω; loss 0 GΩ/s" in text
    assert "10 GHz 0.100 0.0500 200 %" in text


def test_a_station_has_its_dated_record_and_its_instruments() -> None:
    results = samples.campaign_results()
    text = text_of(render.station_page(samples.STATION, results, {}))
    assert "2026-04-21 06:00:00 UTC 2026-04-21 14:00:00 UTC 8 h Calibration CAL-1 usable" in text
    assert "wafers as their instruments stamped them" in text
    assert "VNA-A VNA invented analyser N-1 C-1 2027-01-31 1.2 0.3" in text
    assert "6 pA" in text


def test_every_fault_stands_on_the_problems_page_with_its_remedy() -> None:
    text = text_of(render.problems_page(samples.campaign_results()))
    assert "column value, row 3 <NaN> (and 2 more like it) a number Leave the row out." in text
    assert "No fault was found in the input." in text_of(
        render.problems_page(samples.nothing_measured())
    )


def test_a_long_table_comes_in_parts() -> None:
    faults = tuple(replace(samples.FAULTS[0], place=f"row {row}") for row in range(1201))
    page = render.problems_page(samples.campaign_results(faults=faults))
    assert [page.html.count(f"part {part} of 3") for part in (1, 2, 3)] == [1, 1, 1]
    assert page.html.count("row 1200<") == 1


def test_a_parameter_shows_limits_uncertainty_and_each_condition() -> None:
    results = samples.campaign_results()
    text = text_of(render.parameter_page(samples.VTH, results, {}))
    assert "Lower specification limit −2.7 V" in text
    assert "Source-measure unit 2 mV" in text
    assert text.index("median −2.605 V over 8 values") < text.index("Definition")
    assert "No number: planned and not measured, or measured and not determined." in text
    assert "room Saturation (25 °C, vds = 1.2 V)" in text
    assert "Hot chuck" in text and "Hazardous voltage" not in text
    text = text_of(render.parameter_page(samples.H21, results, {}))
    assert "No uncertainty is stated for this parameter; under a guarded rule" in text


def test_downloads_are_named_with_their_size_and_columns() -> None:
    page = render.data_page(samples.campaign_results())
    assert "results.parquet" in outline(page).targets
    text = text_of(page)
    assert "results.parquet 12.3 kB, results.csv 99 B" in text
    assert "value double measured value in 'unit'" in text


def test_the_method_page_names_the_rule_in_use() -> None:
    simple = Decision(rule="simple")
    record = samples.campaign_record(decision=simple)
    results = replace(samples.campaign_results(), context=samples.context(record))
    assert "simple acceptance" in text_of(render.method_page(results))
    assert "guarded acceptance" in text_of(render.method_page(samples.campaign_results()))


@pytest.mark.parametrize("make", [samples.campaign_results, samples.nothing_measured])
def test_the_same_results_give_the_same_bytes(make: Callable[[], CampaignResults]) -> None:
    assert list(other_pages(make())) == list(other_pages(make()))


def test_captions_say_what_the_drawings_do_with_readings_below_the_floor() -> None:
    drawn = {
        name: samples.drawing(f"parameters/{name}.svg", name)
        for name in ("distribution-room", "by-wafer-room")
    }
    results = samples.campaign_results()
    assert "below the floor are" not in text_of(render.parameter_page(samples.VTH, results, drawn))
    low = replace(samples.parameter_result("VTH", "room"), summary=samples.summary(below_floor=2))
    page = render.parameter_page(samples.VTH, replace(results, parameters=(low,)), drawn)
    text = text_of(page)
    assert "Distribution on each wafer under room. Readings below the floor are left out" in text
    assert "Wafer by wafer under room. Readings below the floor are drawn at the floor." in text
