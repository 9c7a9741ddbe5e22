"""The dated record of a station."""

import re
from datetime import UTC, timedelta, timezone

import pytest

from sitegen.chart import timeline
from sitegen.chart.timeline import evidence_over_time
from sitegen.model.results import Drawing, Span, StationRecord
from tests.chart.samples import STATION, hours, parsed, texts


def drawn(record: StationRecord = STATION, zone: timezone = UTC) -> Drawing:
    return evidence_over_time(
        address="stations/ST-1/evidence.svg",
        title="t",
        description="d",
        record=record,
        zone=zone,
    )


def test_links_lead_from_the_drawing_to_each_page() -> None:
    links = {
        (link.findtext("title") or "").split(":")[0]: link.attrib["href"]
        for link in parsed(drawn()).iter("a")
    }
    assert links["calibration CAL-1, usable"] == "../../calibrations/CAL-1/index.html"
    assert links["verification VER-2, failed"] == "../../verifications/VER-2/x.html"
    assert len(links) == 4, "spans without a page are no links"


def test_names_tell_the_whole_span() -> None:
    names = [part.text for part in parsed(drawn()).iter("title")]
    assert "calibration CAL-1, usable: 2026-03-02 07:40 to 15:40 UTC" in names
    assert "verification VER-2, failed: 2026-03-04 06:40 UTC" in names


def test_time_is_linear() -> None:
    """A calibration of eight hours is eight times as wide as one hour without any."""
    boxes = {
        part.get("class"): float(part.attrib["width"]) for part in parsed(drawn()).iter("rect")
    }
    assert boxes["fill-accent"] == pytest.approx(8 * boxes["fill-paper line-alarm"], abs=0.1)


def test_dates_and_hours_are_readable() -> None:
    shown = texts(drawn())
    assert {"2026-03-02", "2026-03-03", "2026-03-04", "UTC", "12:00"} <= set(shown)


def test_an_offset_moves_the_clock_and_is_named() -> None:
    shown = drawn(zone=timezone(timedelta(hours=5, minutes=30)))
    assert "UTC+05:30" in texts(shown)
    assert "2026-03-02 13:10 to 21:10 UTC+05:30" in shown.svg


def test_texts_do_not_overlap() -> None:
    """Twenty verifications in an hour: each name has a place of its own."""
    moments = [hours(n / 20) for n in range(20)]
    spans = (
        Span("calibration", "CAL-1", hours(0), hours(70), "usable", ""),
        *(Span("verification", f"VER-{n}", at, at, "passed", "") for n, at in enumerate(moments)),
    )
    places = [
        (float(part.attrib["x"]), float(part.attrib["y"]))
        for part in parsed(drawn(StationRecord("ST-1", spans))).iter("text")
        if (part.text or "").startswith("VER-")
    ]
    assert len(places) == 20
    for one in places:
        near = [x for x, y in places if y == one[1] and 0 < abs(x - one[0]) < 40]
        assert not near
    assert len(set(places)) == 20


def test_names_stay_inside_the_drawing() -> None:
    late = Span("verification", "VER-9", hours(48), hours(48), "not assessable", "")
    drawing = drawn(StationRecord("ST-1", (*STATION.spans, late)))
    (label,) = [p for p in parsed(drawing).iter("text") if (p.text or "").startswith("VER-9")]
    assert float(label.attrib["x"]) + 7 * len(label.text or "") <= drawing.width


def test_more_days_make_it_wider_up_to_a_bound() -> None:
    def width(days: float) -> int:
        spans = (Span("wafer", "W1", hours(0), hours(24 * days), "", ""),)
        return drawn(StationRecord("ST-1", spans)).width

    assert width(0.1) == width(2) == timeline.NARROWEST
    assert timeline.NARROWEST < width(6) < timeline.WIDEST
    assert width(60) == timeline.WIDEST


def test_nothing_and_never_are_said() -> None:
    assert texts(drawn(StationRecord("ST-1", ()))) == ["no dated event on this station"]
    one = StationRecord("ST-1", (Span("wafer", "W1", hours(0), hours(1), "", ""),))
    assert not {"none", "at no time", "verifications"} & set(texts(drawn(one)))
    calibrated = Span("calibration", "C", hours(0), hours(1), "usable", "")
    both = texts(drawn(StationRecord("ST-1", (*one.spans, calibrated))))
    assert both.count("none") == 1 and "at no time" in both
    bare = Span("nothing stood", "W1", hours(0), hours(1), "", "")
    assert texts(drawn(StationRecord("ST-1", (*one.spans, bare)))).count("none") == 2
    assert re.search(r"no dated event", drawn(StationRecord("ST-1", ())).svg)
