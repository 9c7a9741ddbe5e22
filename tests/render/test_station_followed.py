"""The station page over time: what comes first, what is said, where the links lead."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from sitegen import addresses, render
from sitegen.model.campaign import Exchange
from sitegen.model.followed_results import (
    ControlLimits,
    Forecast,
    Metric,
    Point,
    Segment,
    Spread,
    StationFollowed,
    Wear,
)
from sitegen.render.page import Page
from sitegen.render.station_followed import by_attention, followed_lead, state
from tests.render import samples
from tests.render.samples import DAY
from tests.render.test_pages import outline, text_of

LIMITS = ControlLimits(0.05, 0.02, 0.08, 0.01, 20, False)
FORECAST = Forecast(
    0.001, 0.003, 0.1, DAY + timedelta(days=90), DAY + timedelta(days=60), None, "It meets it."
)


def metric(name: str, **changes: Any) -> Metric:
    """A resistance in control over three points."""
    given: dict[str, Any] = {
        "name": name,
        "unit": "Ω",
        "address": f"over-time-{name.replace(' ', '-')}",
        "points": tuple(point(day, 0.05 + 0.001 * day) for day in range(3)),
        "limits": LIMITS,
        "ewma": (0.05,) * 3,
        "ewma_lower": (0.04,) * 3,
        "ewma_upper": (0.06,) * 3,
        "ewma_signals": (),
        "bound_lower": None,
        "bound_upper": 0.1,
        "forecast": None,
        "forecast_text": "None: the slope is not significant.",
        "trend_text": "No significant trend.",
        "segments": (Segment(0, 2, "", LIMITS),),
        "trend": "not significant",
    }
    return Metric(**{**given, **changes})


def point(day: int, value: float, *signals: str) -> Point:
    return Point(DAY + timedelta(days=day), value, 0.001, f"CAL-{day + 1}", signals)


QUIET = metric("quiet")
SIGNALLING = metric(
    "signalling", points=(point(0, 0.05), point(1, 0.05), point(2, 0.09, "beyond a limit"))
)
EARLIER = metric(
    "earlier", points=(point(0, 0.05), point(1, 0.09, "beyond a limit"), point(2, 0.05))
)
BEYOND = metric("beyond", points=(point(0, 0.05), point(1, 0.05), point(2, 0.12)))
DRIFTING = metric("drifting", forecast=FORECAST, forecast_text="It meets it.", trend="rises")
AVERAGED = metric("averaged", ewma_signals=(2,))
PROVISIONAL = metric("provisional", limits=replace(LIMITS, basis=3, provisional=True))
ALONE = metric("alone", limits=None, segments=(Segment(0, 2, "", None),))


def page(followed: StationFollowed | None, **station: Any) -> Page:
    mine = samples.STATION.model_copy(update=station)
    results = samples.campaign_results(
        context=samples.context(samples.campaign_record(stations=(mine,))),
        followed=() if followed is None else (followed,),
    )
    drawings = {
        each.address: samples.drawing(
            addresses.drawing(addresses.station("PS-A"), each.address), each.name
        )
        for each in (followed.metrics if followed else ())
    }
    return render.station_page(mine, results, drawings)


@pytest.mark.parametrize(
    ("one", "word"),
    [
        (QUIET, "in control"),
        (SIGNALLING, "signal now"),
        (AVERAGED, "signal now"),
        (EARLIER, "signal earlier"),
        (BEYOND, "beyond its bound"),
        (PROVISIONAL, "in control, provisional"),
        (ALONE, "no limits yet"),
    ],
    ids=lambda each: each.name if isinstance(each, Metric) else "",
)
def test_the_state_of_a_quantity(one: Metric, word: str) -> None:
    assert state(one) == word


def test_a_signal_before_an_exchange_is_over() -> None:
    over = replace(EARLIER, segments=(Segment(0, 1, "", LIMITS), Segment(2, 2, "cable", LIMITS)))
    assert state(over) == "in control"


def test_what_needs_attention_comes_first() -> None:
    ordered = by_attention([QUIET, EARLIER, PROVISIONAL, DRIFTING, AVERAGED, BEYOND, SIGNALLING])
    assert [one.name for one in ordered] == [
        "beyond",
        "averaged",
        "signalling",
        "drifting",
        "earlier",
        "quiet",
        "provisional",
    ]


def test_the_first_sentence() -> None:
    (said,) = followed_lead([QUIET, DRIFTING, SIGNALLING])
    assert "Of three quantities" in said
    assert "one gives a signal at its latest point" in said
    assert "one would meet its bound" in said and "if its trend went on" in said
    (calm,) = followed_lead([QUIET])
    assert "none gives a signal at its latest point" in calm
    assert followed_lead([]) == ()


def test_every_line_of_the_overview_leads_to_its_chart() -> None:
    made = page(StationFollowed("PS-A", (QUIET, DRIFTING, BEYOND), ()))
    found = outline(made)
    assert found.wrong == []
    for one in (QUIET, DRIFTING, BEYOND):
        assert made.html.count(f'href="#{one.address}"') >= 1
        assert f'<figure id="{one.address}"' in made.html
        assert f'src="{one.address}.svg"' in made.html
    text = text_of(made)
    rows = ("beyond beyond its bound", "drifting in control (52.0 ± 2.0) mΩ", "quiet in control")
    places = [text.index(row) for row in rows]
    assert places == sorted(places)
    assert "2026-07-20 (2026-06-20 to open)" in text


def test_charts_have_their_trend_and_forecast_beside_them() -> None:
    text = text_of(page(StationFollowed("PS-A", (QUIET, DRIFTING), ())))
    assert "Drifting. No significant trend. Forecast: It meets it. Limits of the latest" in text
    assert "a false one about once in 130 points" in text
    for rule in ("Nelson 1984, test 1", "Nelson 1984, test 2", "e-Handbook, 6.3.2.4"):
        assert rule in text


def test_spreads_stand_apart_and_the_greatest_is_strong() -> None:
    counts = {
        "repeatability": 12,
        "drift": 9,
        "reproducibility": 5,
        "difference": 6,
        "left out": 2,
    }
    alone = {**counts, "repeatability": 0}
    spreads = (
        Spread("line", "s21", 0.0011, 0.0, 0.0021, 0.0032, counts),
        Spread("pad", "s11", None, 0.0013, None, None, alone),
    )
    made = page(StationFollowed("PS-A", (QUIET,), spreads))
    text = text_of(made)
    assert "line S21 0.0011 (12) 0 (9) 0.0021 (5) 0.0032 (6) 2" in text
    assert "<strong>0.0032</strong> (6)" in made.html
    assert "pad S11 – ≤ 0.0013 (9) – – 2" in text


def test_wear_against_bounds_with_what_it_changes() -> None:
    worn = replace(DRIFTING, subject="probe RF-1")
    wear = (
        Wear("set CS-1, row 3", DAY, "CAL-1", 501, 500),
        Wear("probe RF-1", DAY, "CAL-1", 9_800, 10_000, 0.052, 0.1),
        Wear("probe RF-2", DAY, "CAL-1", 9_800, None),
    )
    text = text_of(page(StationFollowed("PS-A", (worn,), (), wear)))
    assert "set CS-1, row 3 missed 501 500 100.2 %" in text
    assert "probe RF-1 met 9 800 10 000 98.0 % 52 mΩ 100 mΩ drifting rises CAL-1" in text
    assert "probe RF-2 shown, not judged 9 800 – – – – –" in text


def test_wear_counts_what_has_no_trend() -> None:
    subject = "set CS-1, row 3"
    metrics = [replace(one, subject=subject) for one in (DRIFTING, QUIET, EARLIER, BEYOND)]
    metrics[3] = replace(metrics[3], trend="not judged")
    wear = (Wear(subject, DAY, "CAL-1", 12, 500),)
    text = text_of(page(StationFollowed("PS-A", tuple(metrics), (), wear)))
    assert (
        "drifting rises; no significant trend in 2 quantities; too few points of beyond CAL-1"
        in text
    )


def test_a_quantity_with_two_points_has_a_line_and_no_chart() -> None:
    two = metric("scarce", points=(point(0, 0.05), point(1, 0.12)), ewma=(0.05, 0.05))
    made = page(StationFollowed("PS-A", (QUIET, two), ()))
    assert "Quantities with fewer than three points" in text_of(made)
    assert 'id="over-time-scarce"' not in made.html
    assert '<a href="#few">scarce</a>' in made.html, "the first sentence leads to its line"
    assert outline(made).wrong == []


def test_exchanges_are_listed_with_what_was_done() -> None:
    exchange = Exchange(at=DAY, part="cable of port 1", description="worn <connector>")
    text = text_of(page(StationFollowed("PS-A", (QUIET,), ()), exchanges=(exchange,)))
    assert "2026-04-21 06:00:00 UTC cable of port 1 worn <connector>" in text
    assert "No exchange of a part is recorded." in text_of(
        page(StationFollowed("PS-A", (QUIET,), ()))
    )


@pytest.mark.parametrize("nothing", [None, StationFollowed("PS-A", (), ())])
def test_a_station_of_which_nothing_is_followed_says_so_once(
    nothing: StationFollowed | None,
) -> None:
    text = text_of(page(nothing))
    assert text.count("Nothing of this station is followed over time yet.") == 1
    assert "Control charts" not in text and "Wear of sets" not in text
