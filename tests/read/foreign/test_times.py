"""Times of stations: known instants, the hours that summer time moves, and each refusal.

Summer time in the European Union begins at 01:00 UTC on the last Sunday of March and ends at 01:00
UTC on the last Sunday of October (Directive 2000/84/EC, quoted from memory): in Berlin in 2026 on
29 March and on 25 October.
"""

import re
import zoneinfo
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.read.foreign import times
from sitegen.read.foreign.times import BadZone, format_trouble, instants_us, is_unset, zone_of

BERLIN = "Europe/Berlin"
MICROSECOND = timedelta(microseconds=1)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def instants(
    *texts: str | None,
    form: str | None = None,
    zone: str | None = None,
    repeated: str | None = None,
) -> list[str]:
    """The instants in UTC; '' where a text is refused."""
    column = np.array([*texts, None], dtype=object)[:-1]
    assert repeated in (None, "first", "second")
    at_us, refusals = instants_us(column, form, zone, repeated)  # type: ignore[arg-type]
    assert at_us.dtype == np.int64 and at_us.shape == column.shape
    bad = np.zeros(len(texts), np.bool_)
    for one in refusals:
        assert not (bad & one.bad).any(), "each text is refused once"
        bad |= one.bad
    assert (at_us[bad] == 0).all()
    stamps = [str(at) for at in at_us.astype("datetime64[us]")]
    return ["" if wrong else stamp for wrong, stamp in zip(bad, stamps, strict=True)]


def refused(text: str, *others: str, form: str | None = None, zone: str | None = "UTC") -> str:
    column = np.array([text, *others], dtype=object)
    _, refusals = instants_us(column, form, zone, None)
    (one,) = [one for one in refusals if one.bad[0]]
    assert one.field == "time"
    return f"{one.found(0)}; {one.expected}; {one.remedy}"


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-10-26T14:00:00+01:00", "2026-10-26T13:00:00.000000"),
        ("2026-10-26 14:00:00+0100", "2026-10-26T13:00:00.000000"),
        ("2026-10-26 14:00-05", "2026-10-26T19:00:00.000000"),
        ("2026-10-26T14:00:00Z", "2026-10-26T14:00:00.000000"),
        ("2026-10-26T14:00:00.25 UTC", "2026-10-26T14:00:00.250000"),
        ("2026-10-26T14:00:00,1234567Z", "2026-10-26T14:00:00.123456"),
        ("20261026T140000Z", "2026-10-26T14:00:00.000000"),
        ("20261026 1400 +01:00", "2026-10-26T13:00:00.000000"),
        (" 2026-10-26T14:00:00Z ", "2026-10-26T14:00:00.000000"),
    ],
)
def test_iso_8601_with_an_offset_needs_no_zone(text: str, utc: str) -> None:
    assert instants(text) == [utc]
    assert instants(text, zone="Asia/Tokyo") == [utc]


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-10-26 24:00", "2026-10-27T00:00:00.000000"),
        ("2026-10-26T24:00:00Z", "2026-10-27T00:00:00.000000"),
        ("2026-12-31 24:00:00.000", "2027-01-01T00:00:00.000000"),
        ("20280228T240000", "2028-02-29T00:00:00.000000"),
        ("2026-10-26T24:00:00+01:00", "2026-10-26T23:00:00.000000"),
        ("2016-12-31T23:59:60Z", "2017-01-01T00:00:00.000000"),
        ("2026-10-26 14:29:60", "2026-10-26T14:30:00.000000"),
        ("2026-10-26 14:29:60.25", "2026-10-26T14:30:00.250000"),
        ("20261026 142960", "2026-10-26T14:30:00.000000"),
    ],
)
def test_the_end_of_a_day_and_of_a_minute(text: str, utc: str) -> None:
    """24:00 is the next day's 0:00 (ISO 8601, quoted from memory). The leap second of 2016-12-31,
    23:59:60 UTC (IERS Bulletin C 52, quoted from memory), has in POSIX the same number of seconds
    as the second after it: 86400 a day (IEEE Std 1003.1, quoted from memory)."""
    assert instants(text, zone="UTC") == [utc]


@pytest.mark.parametrize("clock", ["24:00:01", "24:00:00.5", "24:01", "24:30", "25:00", "14:00:61"])
def test_later_than_the_end_of_a_day_is_no_time(clock: str) -> None:
    text = f"2026-10-26 {clock}"
    assert instants(text, zone="UTC") == [""]
    assert "which no calendar or clock has" in refused(text)
    assert instants("9999-12-31 24:00", zone="UTC") == [""]


def test_before_and_after_each_change_of_summer_time() -> None:
    assert instants(
        "2026-03-29 01:59:59",
        "2026-03-29 03:00:00",
        "2026-10-25 01:59:59",
        "2026-10-25 03:00:00",
        zone=BERLIN,
    ) == [
        "2026-03-29T00:59:59.000000",
        "2026-03-29T01:00:00.000000",
        "2026-10-24T23:59:59.000000",
        "2026-10-25T02:00:00.000000",
    ]


@pytest.mark.parametrize("clock", ["02:00:00", "02:30:00", "02:59:59.999999"])
def test_the_hour_that_comes_twice(clock: str) -> None:
    text = f"2026-10-25 {clock}"
    assert refused(text, zone=BERLIN) == (
        f'"{text}", which comes twice that day in Europe/Berlin, as summer time ends; a time that'
        " comes once; State the source's repeated_hour in mapping.toml as 'first' or 'second', or"
        " write such times with their offset."
    )
    (first,) = instants(text, zone=BERLIN, repeated="first")
    (second,) = instants(text, zone=BERLIN, repeated="second")
    assert first.startswith("2026-10-25T00:") and second.startswith("2026-10-25T01:")
    assert instants(text + "+02:00", text + "+01:00", zone=BERLIN) == [first, second]


def test_a_declared_repeated_hour_changes_no_other_time() -> None:
    texts = ("2026-10-25 01:59", "2026-10-25 03:00", "2026-07-01 12:00")
    for repeated in ("first", "second"):
        assert instants(*texts, zone=BERLIN, repeated=repeated) == instants(*texts, zone=BERLIN)


@pytest.mark.parametrize("clock", ["02:00:00", "02:30:00", "02:59:59"])
@pytest.mark.parametrize("repeated", [None, "first"])
def test_the_hour_that_does_not_exist(clock: str, repeated: str | None) -> None:
    text = f"2026-03-29 {clock}"
    assert instants(text, zone=BERLIN, repeated=repeated) == [""]
    told = refused(text, zone=BERLIN)
    assert told.startswith(f'"{text}", which does not exist in Europe/Berlin, as summer time begi')
    assert "time_zone = '+01:00'" in told


@given(
    st.datetimes(datetime(1990, 1, 2), datetime(2100, 12, 30)),
    st.sampled_from([BERLIN, "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]),
    st.sampled_from([None, "%d.%m.%Y %H:%M:%S.%f", "%m/%d/%Y %I:%M:%S.%f %p", "%j-%Y %H:%M:%S.%f"]),
)
def test_an_instant_written_in_local_time_comes_back(
    moment: datetime, zone: str, form: str | None
) -> None:
    """By the conversions of the standard library, with its `fold` (PEP 495)."""
    local = moment.replace(tzinfo=UTC).astimezone(zoneinfo.ZoneInfo(zone))
    text = local.replace(tzinfo=None).isoformat(" ") if form is None else local.strftime(form)
    column = np.array([text], dtype=object)
    at_us, refusals = instants_us(column, form, zone, "second" if local.fold else "first")
    assert refusals == ()
    assert EPOCH + int(at_us[0]) * MICROSECOND == moment.replace(tzinfo=UTC)


@pytest.mark.parametrize("change", ["2026-04-04T15:00", "2026-10-03T15:30"])
def test_a_change_of_half_an_hour(change: str) -> None:
    """Lord Howe moves its clocks by half an hour; the standard library tells its offsets."""
    start = datetime.fromisoformat(change + "+00:00") - timedelta(hours=2)
    zone = zoneinfo.ZoneInfo("Australia/Lord_Howe")
    local = (start.astimezone(zone)).replace(tzinfo=None)
    texts = [(local + timedelta(minutes=5 * step)).isoformat(" ") for step in range(48)]
    _, refusals = instants_us(np.array(texts, dtype=object), None, "Australia/Lord_Howe", None)
    assert sum(int(one.bad.sum()) for one in refusals) == 6


def test_a_fixed_offset_has_no_summer_time() -> None:
    texts = ("2026-03-29 02:30", "2026-10-25 02:30")
    assert instants(*texts, zone="+01:00") == [
        "2026-03-29T01:30:00.000000",
        "2026-10-25T01:30:00.000000",
    ]


@pytest.mark.parametrize(
    ("text", "form", "utc"),
    [
        ("26.10.2026 14:00:01", "%d.%m.%Y %H:%M:%S", "2026-10-26T14:00:01.000000"),
        ("10/26/2026 02:00 PM", "%m/%d/%Y %I:%M %p", "2026-10-26T14:00:00.000000"),
        ("10/26/2026 12:05 AM", "%D %R", ""),
        ("10/26/26 00:05", "%D %R", "2026-10-26T00:05:00.000000"),
        ("2026-10-26T14:00:01", "%FT%T", "2026-10-26T14:00:01.000000"),
        ("12:05:00 am 26 Oct 2026", "%r %d %b %Y", "2026-10-26T00:05:00.000000"),
        ("26.10.2026 14:00:01.1234567", "%d.%m.%Y %H:%M:%S.%f", "2026-10-26T14:00:01.123456"),
        ("2026-10-26 14:00 +0530", "%Y-%m-%d %H:%M %z", "2026-10-26T08:30:00.000000"),
        ("Mon Oct 26 14:00:01 2026", "%a %b %d %H:%M:%S %Y", "2026-10-26T14:00:01.000000"),
        ("299 2026 14h00", "%j %Y %Hh%M", "2026-10-26T14:00:00.000000"),
        ("1793023201.25", "%s", "2026-10-26T14:00:01.250000"),
        ("50% 2026-10-26 14:00", "50%% %F %R", "2026-10-26T14:00:00.000000"),
    ],
)
def test_formats(text: str, form: str, utc: str) -> None:
    assert instants(text, form=form, zone="UTC") == [utc]


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("2026112-104000", "%Y%m%d-%H%M%S"),  # 2 November, or 12 January
        ("20261102-10405", "%Y%m%d-%H%M%S"),  # 10:40:05, or 1:04:05
        ("1.2.2026 1230", "%d.%m.%Y %H%M%S"),
        ("112026 10:40", "%d%m%Y %H:%M"),
        ("2026-11-02T14 40", "%FT1%H %M"),  # a digit of the format beside a number
    ],
)
def test_digits_that_can_be_divided_in_two_ways_are_refused(text: str, form: str) -> None:
    assert instants(text, form=form, zone="UTC") == [""]
    told = refused(text, form=form)
    assert f'"{text}", whose digits time_format = "{form}" could divide in two ways' in told
    assert "with their leading zeros" in told


@pytest.mark.parametrize(
    ("text", "form", "utc"),
    [
        ("20261102-104005", "%Y%m%d-%H%M%S", "2026-11-02T10:40:05.000000"),
        ("2.1.2026 1:4:5", "%d.%m.%Y %H:%M:%S", "2026-01-02T01:04:05.000000"),
        ("1Nov2026 2:05PM", "%d%b%Y %I:%M%p", "2026-11-01T14:05:00.000000"),
        ("20261102104005123456", "%Y%m%d%H%M%S%f", "2026-11-02T10:40:05.123456"),
        ("20261102 10:40:512345", "%Y%m%d %H:%M:%S%f", "2026-11-02T10:40:51.234500"),
        ("261102104005.5", "%y%m%d%H%M%S.%f", "2026-11-02T10:40:05.500000"),
        ("2026306 0904+0100", "%Y%j %H%M%z", "2026-11-02T08:04:00.000000"),
    ],
)
def test_digits_that_can_be_divided_in_one_way_are_read(text: str, form: str, utc: str) -> None:
    assert instants(text, form=form, zone="UTC") == [utc]


@given(
    st.datetimes(datetime(1990, 1, 2), datetime(2068, 12, 30)),
    st.sampled_from(["%Y%m%d-%H%M%S", "%d%m%Y%H%M%S", "%y%m%d_%H%M%S", "%Y%j%H%M%S"]),
    st.data(),
)
def test_no_time_reads_as_another_one_without_one_of_its_digits(
    moment: datetime, form: str, data: st.DataObject
) -> None:
    """Whatever is written in full comes back; with one digit less nothing is read."""
    text = moment.strftime(form)
    (at,) = instants(text, form=form, zone="UTC")
    assert at == moment.replace(microsecond=0).isoformat(timespec="microseconds")
    place = data.draw(st.sampled_from([n for n, sign in enumerate(text) if sign.isdecimal()]))
    assert instants(text[:place] + text[place + 1 :], form=form, zone="UTC") == [""]


@pytest.mark.parametrize(
    ("form", "phrase"),
    [
        ("%d.%m.%Y", "no hour and minute"),
        ("%H:%M", "no whole day"),
        ("%d.%m. %H:%M", "no whole day"),
        ("%d.%m.%Y %I:%M", '"%I" without "%p"'),
        ("%d.%m.%Y %H:%M %p", '"%p" without "%I"'),
        ("%d.%m.%Y %H:%M:%Q", 'the directive "%Q"'),
        ("%d.%m.%Y %H:%M %Z", 'the directive "%Z"'),
        ("%d.%m.%Y %H:%M %", 'the directive "%"'),
        ("%d.%d.%Y %H:%M", 'the directive "%d" twice'),
        ("dd.mm.yyyy", "no whole day"),
        ("%s %H", 'the directive "%s"'),
    ],
)
def test_formats_that_cannot_be_used(form: str, phrase: str) -> None:
    assert (format_trouble(form) or "").startswith(phrase)
    with pytest.raises(ValueError, match=re.escape(phrase)):
        instants(form, form=form)


def test_a_time_without_a_zone() -> None:
    assert refused("2026-10-26 14:00:00", zone=None) == (
        '"2026-10-26 14:00:00", a time without a zone; a time with its offset, or the zone in'
        " mapping.toml; State the source's time_zone in mapping.toml, such as 'Europe/Berlin'."
    )


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("46139.4375", "looks like Excel's serial date of 2026-04-27 10:30"),
        ("46139,4375", "looks like Excel's serial date of 2026-04-27 10:30"),
        ("1793023200", "looks like seconds since 1970"),
        ("1793023200.5", "time_format = '%s'"),
        ("1793023200000", "looks like milliseconds since 1970"),
        ("3875868000", "looks like seconds since 1904"),
        ("03/04/2026", "a time with day and month that cannot be told apart"),
        ("03/04/2026 10:00", '"%d/%m/%Y %H:%M" or "%m/%d/%Y %H:%M"'),
        ("13/04/2026 10:00", "day first, as other times show"),
        ("04/13/2026 10:00", '"%m/%d/%Y %H:%M"'),
        ("03.04.26 10:00", "a year of two digits and day and month that cannot be told apart"),
        ("03/04/2026 10:00 PM", '"%d/%m/%Y %I:%M %p" or "%m/%d/%Y %I:%M %p"'),
        ("2026-10-26", "a day without a time of day"),
        ("20261026", "a day without a time of day"),
        ("14:00:00", "a time of day without its day"),
        ("2:00 PM", "a time of day without its day"),
        ("2026-10-26 14:00 CEST", "a time with a zone's abbreviation"),
        ("26-Oct-2026 14:00", 'time_format = "%d-%b-%Y %H:%M"'),
        ("20261026_140000", 'time_format = "%Y%m%d_%H%M%S"'),
        ("20261026140000", 'time_format = "%Y%m%d%H%M%S"'),
        ("2026/10/26 14:00:00", 'time_format = "%Y/%m/%d %H:%M:%S"'),
        ("Mon Oct 26 14:00:01 2026", 'time_format = "%a %b %d %H:%M:%S %Y"'),
        ("2026-13-26 14:00:00", "which no calendar or clock has"),
        ("2026-10-26 24:61", "which no calendar or clock has"),
        ("2026-02-29T14:00Z", "which no calendar or clock has"),
        ("soon", "which is no time"),
        ("12", "which is no time"),
        ("1970-01-01 00:00:01", "the instrument's clock was probably not set"),
        ("1980-01-01T00:00:01+01:00", "the instrument's clock was probably not set"),
        ("1989-12-31 23:59:59", "the instrument's clock was probably not set"),
        ("2101-01-02 00:00:00", "a time from 1990 to 2100"),
        ("0001-01-01 00:00:00", "the instrument's clock was probably not set"),
        ("9999-12-31 23:59:59", "the instrument's clock was probably not set"),
    ],
)
def test_what_is_no_time_is_told_with_its_likely_cause(text: str, phrase: str) -> None:
    told = refused(text)
    assert told.startswith(f'"{text}"') and phrase in told
    assert instants(text, zone=BERLIN) == [""]


def test_a_text_that_a_format_does_not_fit() -> None:
    told = refused("26-Oct-2026 14:00", form="%d.%m.%Y %H:%M")
    assert 'which time_format = "%d.%m.%Y %H:%M" does not fit' in told
    assert 'state time_format = "%d-%b-%Y %H:%M"' in told
    assert "Excel" in refused("46139.4375", form="%d.%m.%Y %H:%M")


def test_other_times_show_which_comes_first() -> None:
    assert "the day first, as other" in refused("03/04/2026 10:00", "13/04/2026 10:00")
    assert "the month first, as other" in refused("03/04/2026 10:00", "04/13/2026 10:00")
    assert "in both orders" in refused("3/4/2026 10:00", "13/4/2026 10:00", "4/13/2026 10:00")


def test_alike_refusals_are_one_with_their_own_words() -> None:
    column = np.array(["46139.4375", "46140.5", "2026-10-26T14:00Z", None, " "], dtype=object)
    at_us, (one,) = instants_us(column, None, None, None)
    assert one.bad.tolist() == [True, True, False, False, False]
    assert one.found(1).endswith("2026-04-28 12:00")
    assert at_us[3] == at_us[4] == 0


def test_nothing_at_all() -> None:
    assert instants() == []
    assert instants(None, None, "") == ["1970-01-01T00:00:00.000000"] * 3  # empty, not refused
    assert is_unset(np.array([], np.int64)).shape == (0,)


@pytest.mark.parametrize(
    ("text", "hours"), [("UTC", 0.0), ("+01:00", 1.0), ("-05:30", -5.5), (BERLIN, 1.0)]
)
def test_zones(text: str, hours: float) -> None:
    offset = datetime(2026, 1, 1, tzinfo=zone_of(text)).utcoffset()
    assert offset == timedelta(hours=hours)


@pytest.mark.parametrize(
    ("text", "phrase", "meant"),
    [
        ("Europe/Berlim", "is no zone", BERLIN),
        ("Berlin", "is no zone", None),
        ("America/New York", "is no zone", "America/New_York"),
        ("Europe", "is no zone", None),
        ("../etc", "is no zone", None),
        ("/etc/localtime", "is no zone", None),
        ("", "is no zone", None),
        ("Europe/Berlin\x00", "is no zone", BERLIN),
        ("CET", 'the abbreviation "CET"', None),
        ("EST", "leaves open when summer time holds", None),
        ("UTC+1", '"UTC+1"', "+01:00"),
        ("+1", '"+1"', "+01:00"),
        ("+0100", '"+0100"', "+01:00"),
        ("+15:00", "more than 14 hours", None),
    ],
)
def test_zones_that_are_none(text: str, phrase: str, meant: str | None) -> None:
    with pytest.raises(BadZone) as caught:
        zone_of(text)
    assert phrase in str(caught.value)
    assert meant is None or caught.value.meant == meant


def test_a_machine_without_zones_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def nothing(name: str) -> None:
        raise zoneinfo.ZoneInfoNotFoundError(name)

    monkeypatch.setattr(times, "ZoneInfo", nothing)
    monkeypatch.setattr(times, "available_timezones", set[str])
    times.zone_of.cache_clear()
    with pytest.raises(BadZone, match=r"this machine has no data of time zones.* tzdata"):
        zone_of(BERLIN)


def test_twenty_thousand_times_are_read_at_once() -> None:
    start = datetime(2026, 1, 1)
    moments = [start + timedelta(seconds=997 * step) for step in range(20_000)]
    for form in (None, "%d.%m.%Y %H:%M:%S"):
        texts = [str(at) if form is None else at.strftime(form) for at in moments]
        at_us, _ = instants_us(np.array(texts, dtype=object), form, BERLIN, "first")
        assert len(np.unique(at_us)) > 19_900
    texts = [f"{at:%d/%m/%Y %H:%M:%S}" for at in moments]
    _, refusals = instants_us(np.array(texts, dtype=object), None, BERLIN, None)
    assert sum(int(one.bad.sum()) for one in refusals) == 20_000
