"""Clocks against independent computations: python-dateutil's rrule with zoneinfo, published sun
times, and brute force over minutes.

Sun values: USNO tables and the NREL SPA report as quoted in public test suites, READ there. Zone
changes: tzdata, COMPUTED by bisection and by the civil rule. Recurrences: RFC 5545, READ.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import ephem
import pytest
from dateutil.rrule import DAILY, rrule
from hypothesis import given
from hypothesis import strategies as st

from rungs.program.nodes import (
    EVERY_DAY,
    Clock,
    Days,
    Holiday,
    Moment,
    MonthDay,
    Site,
    SunTime,
    TimeOfDay,
)
from rungs.scan.calendar import HORIZON, Calendar, polar_days
from rungs.scan.sun import sun_events
from rungs.scan.zone import Zone, load_zone
from tests.helpers import reference_rows

DAY = 86_400_000
ANY_DAY = Days()
ZONES = (
    "Europe/Oslo",
    "America/New_York",
    "Australia/Lord_Howe",  # moves by half an hour
    "America/Santiago",  # south of the equator
    "Pacific/Auckland",
    "Antarctica/Troll",  # moves by two hours
)


def ms(hours: int, minutes: int = 0, seconds: int = 0) -> int:
    return ((hours * 60 + minutes) * 60 + seconds) * 1000


def at(text: str) -> int:
    """An instant from ISO 8601 text, ms UTC."""
    return int(datetime.fromisoformat(text).timestamp() * 1000)


def zone_of(key: str) -> Zone:
    zone = load_zone(key)
    assert zone is not None
    return zone


def calendar_of(
    *clocks: Clock,
    zone: str = "UTC",
    place: tuple[float, float] | None = None,
    holidays: tuple[Holiday, ...] = (),
    code: str | None = None,
) -> Calendar:
    latitude, longitude = place or (None, None)
    return Calendar(Site("", zone, latitude, longitude, code), holidays, clocks)


def window(begin: Moment, end: Moment, days: Days = ANY_DAY) -> Clock:
    return Clock("c", begin, end, days)


def event(begin: Moment, days: Days = ANY_DAY) -> Clock:
    return Clock("c", begin, None, days)


def events_between(calendar: Calendar, clock: Clock, first: int, last: int) -> list[int]:
    found = []
    now = first - 1
    while (now := calendar.occurrence_after(clock, now) or last) < last:
        found.append(now)
    return found


def edges_between(calendar: Calendar, clock: Clock, first: int, last: int) -> list[int]:
    found = []
    now = first - 1
    while (now := calendar.next_edge(clock, now) or last) < last:
        found.append(now)
    return found


# --- the independent computation


def instants(key: str, year: int, time: int, weekdays: tuple[int, ...]) -> list[tuple[date, int]]:
    """Local date and UTC instant of a local time on listed weekdays, by dateutil and zoneinfo."""
    start = datetime(year, 1, 1) + timedelta(milliseconds=time)
    rule = rrule(DAILY, dtstart=start, until=datetime(year, 12, 31, 23, 59), byweekday=weekdays)
    # fold 0 is the offset before a gap and the first of two readings, as RFC 5545 3.3.5 wants it
    return [(n.date(), at(n.replace(tzinfo=ZoneInfo(key), fold=0).isoformat())) for n in rule]


def resolved(key: str, day: date, time: int) -> int:
    naive = datetime(day.year, day.month, day.day) + timedelta(milliseconds=time)
    return at(naive.replace(tzinfo=ZoneInfo(key), fold=0).isoformat())


TIMES = (ms(0), ms(0, 30), ms(1, 30), ms(2), ms(2, 30), ms(2, 59, 59), ms(3), ms(12), ms(23, 45))
WEEKDAYS = (EVERY_DAY, (0, 1, 2, 3, 4), (6,), (5, 6))


@pytest.mark.parametrize("key", ZONES)
def test_events_of_whole_years_agree_with_dateutil_and_zoneinfo(key: str) -> None:
    for year in (2025, 2026):
        for time in TIMES:
            for weekdays in WEEKDAYS:
                clock = event(TimeOfDay(time), Days(weekdays))
                calendar = calendar_of(clock, zone=key)
                first, last = (
                    resolved(key, date(year, 1, 1), 0),
                    resolved(key, date(year + 1, 1, 1), 0),
                )
                wanted = [instant for _, instant in instants(key, year, time, weekdays)]
                assert events_between(calendar, clock, first, last) == sorted(set(wanted))


@pytest.mark.parametrize("key", ZONES)
@pytest.mark.parametrize(
    ("begin", "end"),
    [
        (ms(19), ms(22, 30)),
        (ms(22), ms(6)),
        (ms(1, 30), ms(2, 30)),
        (ms(2, 30), ms(3)),
        (ms(2, 30), ms(1)),
        (ms(0), ms(12)),
    ],
)
def test_windows_of_a_whole_year_agree_with_dateutil_and_zoneinfo(
    key: str, begin: int, end: int
) -> None:
    for weekdays in WEEKDAYS:
        clock = window(TimeOfDay(begin), TimeOfDay(end), Days(weekdays))
        calendar = calendar_of(clock, zone=key)
        wanted = []
        for day, start in instants(key, 2026, begin, weekdays):
            stop = resolved(key, day + timedelta(days=end < begin), end)
            if start < stop:
                wanted.append((start, stop))
        low, high = wanted[0][0], wanted[-1][1]
        shown = edges_between(calendar, clock, low, high)
        flat = [edge for pair in wanted for edge in pair][:-1]
        touching = {a for a, b in pairwise(flat) if a == b}
        assert shown == [edge for edge in flat if edge not in touching]
        for start, stop in wanted:
            assert calendar.is_closed(clock, start)
            assert calendar.is_closed(clock, stop - 1)


def test_windows_over_midnight_agree_with_brute_force_over_a_week_of_minutes() -> None:
    first = at("2026-06-01T00:00+00:00")  # a Monday
    for begin, end, weekdays in (
        (ms(22), ms(6), (4,)),
        (ms(22), ms(6), (6, 0)),
        (ms(6), ms(22), (1, 2)),
        (ms(23, 59), ms(23, 58), (3,)),
    ):
        clock = window(TimeOfDay(begin), TimeOfDay(end), Days(weekdays))
        calendar = calendar_of(clock)
        for minute in range(7 * 1440):
            weekday, of_day = divmod(minute * 60_000, DAY)
            late = of_day >= begin and (of_day < end or end < begin) and weekday in weekdays
            early = end < begin and of_day < end and (weekday - 1) % 7 in weekdays
            assert calendar.is_closed(clock, first + minute * 60_000) == (late or early)


# --- zones


# COMPUTED from tzdata: the instant, the wall interval that is skipped or comes twice
CHANGES = (
    ("America/New_York", "2026-03-08T07:00:00+00:00", "gap", "2026-03-08", ms(2), ms(3)),
    ("America/New_York", "2026-11-01T06:00:00+00:00", "overlap", "2026-11-01", ms(1), ms(2)),
    ("Europe/Berlin", "2025-03-30T01:00:00+00:00", "gap", "2025-03-30", ms(2), ms(3)),
)


@pytest.mark.parametrize(("key", "instant", "kind", "day", "begin", "end"), CHANGES)
def test_a_skipped_time_takes_the_offset_before_and_a_doubled_one_its_first_occurrence(
    key: str, instant: str, kind: str, day: str, begin: int, end: int
) -> None:
    assert_change(zone_of(key), at(instant), kind, date.fromisoformat(day), begin, end)


def assert_change(zone: Zone, change: int, kind: str, day: date, begin: int, end: int) -> None:
    half = (begin + end) // 2
    if kind == "gap":
        assert zone.instant(day, begin) == change
        assert zone.instant(day, half) == change + half - begin
        assert zone.instant(day, end) == change
    else:
        assert zone.instant(day, end) == change + end - begin
        assert zone.instant(day, half) == change - (end - half)
    assert zone.offset(change) - zone.offset(change - 1) == (
        end - begin if kind == "gap" else begin - end
    )


def test_every_listed_change_of_the_reference_file() -> None:
    for row in reference_rows("dst_transitions.csv"):
        if row["kind"] not in ("gap", "overlap"):
            continue  # a zone without changes
        begin = datetime.fromisoformat(row["wall_interval_start"])
        length = int(row["size_min"]) * 60_000
        time = ms(begin.hour, begin.minute)
        change = at(row["instant_utc"].replace("Z", "+00:00"))
        zone = load_zone(row["zone"])
        assert zone is not None
        if time + length <= DAY:
            assert_change(zone, change, row["kind"], begin.date(), time, time + length)


def test_recurrences_of_rfc_5545_keep_their_local_time_over_a_change_of_the_clocks() -> None:
    # RFC 5545 3.8.5.3, weekly: "1997 9:00 AM EDT September 2,9,16,23,30;October 7,14,21;
    # 9:00 AM EST October 28;November 4" (READ)
    clock = event(TimeOfDay(ms(9)), Days((1,)))
    calendar = calendar_of(clock, zone="America/New_York")
    found = events_between(
        calendar, clock, at("1997-09-01T00:00-04:00"), at("1997-11-05T00:00-05:00")
    )
    days = ["09-02", "09-09", "09-16", "09-23", "09-30", "10-07", "10-14", "10-21"]
    wanted = [at(f"1997-{day}T09:00-04:00") for day in days]
    wanted += [at(f"1997-{day}T09:00-05:00") for day in ("10-28", "11-04")]
    assert found == wanted


@given(
    st.text(max_size=30) | st.sampled_from(["../x", "", "a\0b", "Europe", "/etc/passwd", "x" * 999])
)
def test_a_zone_that_is_none_is_none_and_nothing_is_raised(key: str) -> None:
    zone = load_zone(key)
    assert zone is None or ZoneInfo(key)


def test_local_time_and_instant_are_inverse_outside_changes_and_never_raise() -> None:
    for key in ZONES:
        zone = zone_of(key)
        for hour in range(0, 24 * 365, 7):
            instant = at("2026-01-01T00:30+00:00") + hour * 3_600_000
            day, time = zone.local(instant)
            naive = datetime.fromtimestamp(instant / 1000, ZoneInfo(key))
            assert (day, time) == (naive.date(), ms(naive.hour, naive.minute, naive.second))
            assert zone.instant(day, time) in (
                instant,
                instant - 3_600_000 // 2,
                instant - 3_600_000,
                instant - 7_200_000,
            )
        assert zone.local(-(1 << 60))[0] == date.min
        assert zone.local(1 << 60)[0] == date.max
    # the day that Samoa skipped
    apia = zone_of("Pacific/Apia")
    start, end = apia.day_bounds(date(2011, 12, 30))
    assert start == end == at("2011-12-30T10:00+00:00")
    assert zone_of("Asia/Kolkata").offset_text(0) == "+05:30"


# --- the sun

# place, local date, rise and set in UTC, tolerance in s; USNO to the minute, NREL to the second
SUN = (
    (39.0, -105.0, "America/Denver", "2015-01-02", "14:19", "23:49", 60),
    (39.0, -105.0, "America/Denver", "2015-04-02", "12:43", None, 60),
    (39.0, -105.0, "America/Denver", "2015-08-02", "12:01", "02:10", 60),
    (39.0, -105.0, "America/Denver", "2015-12-02", "14:01", "23:38", 60),
    (-35.0, 0.0, "UTC", "1996-07-05", "07:08:15", "17:01:04", 30),
    (-35.0, 0.0, "UTC", "2004-12-04", "04:38:57", "19:02:02", 30),
    (29.0, -81.0, "UTC", "2019-01-01", "12:18", "22:38", 60),
    (29.0, -81.0, "UTC", "2019-03-20", "11:28", "23:35", 60),
)


@pytest.mark.parametrize(("latitude", "longitude", "key", "day", "rise", "set_", "tolerance"), SUN)
def test_the_sun_keeps_the_published_times(
    latitude: float,
    longitude: float,
    key: str,
    day: str,
    rise: str,
    set_: str | None,
    tolerance: int,
) -> None:
    sun = sun_events(latitude, longitude, zone_of(key), date.fromisoformat(day))
    for found, text in ((sun.rises, rise), (sun.sets, set_)):
        if text is None:
            continue
        assert len(found) == 1
        published = at(f"{day}T{text}+00:00")
        apart = (found[0] - published) % DAY
        assert min(apart, DAY - apart) <= tolerance * 1000


def test_every_published_sun_time_of_the_reference_file() -> None:
    keys = {"UTC": "UTC", "UTC-04:00 (EDT)": "Etc/GMT+4"}
    checked = 0
    for row in reference_rows("sun_times.csv"):
        zone = zone_of(keys.get(row["tz"], "Etc/GMT+7"))
        place = float(row["lat"]), float(row["lon"])
        sun = sun_events(*place, zone, date.fromisoformat(row["local_date"]))
        if row["event"].startswith("ALWAYS"):
            assert (sun.rises, sun.sets) == ((), ())
            assert sun.always_up == (row["event"] == "ALWAYS_UP")
            assert sun.never_up == (row["event"] == "ALWAYS_DOWN")
        else:
            found = sun.rises if row["event"] == "rise" else sun.sets
            published = at(row["published_utc"].replace("Z", "+00:00"))
            assert min(abs(t - published) for t in found) <= int(row["tolerance_s"]) * 1000
        checked += 1
    assert checked > 60


def altitude(latitude: float, longitude: float, instant: int) -> float:
    """The sun's altitude in degrees by ephem's own way, without refraction."""
    observer = ephem.Observer()
    observer.lat, observer.lon = str(latitude), str(longitude)
    observer.pressure = 0
    observer.date = datetime.fromtimestamp(instant / 1000, UTC).replace(tzinfo=None)
    return float(ephem.Sun(observer).alt) * 180 / 3.141592653589793


@pytest.mark.parametrize("place", [(60.39, 5.32), (69.65, 18.96), (-77.8, 166.7)])
def test_dark_and_light_follow_the_suns_altitude_through_a_whole_year(
    place: tuple[float, float],
) -> None:
    dark = Clock("dark", SunTime("sunset"), SunTime("sunrise"))
    light = Clock("light", SunTime("sunrise"), SunTime("sunset"))
    calendar = calendar_of(dark, light, zone="Europe/Oslo", place=place)
    start = at("2026-01-01T00:00+00:00")
    for step in range(365 * 48):
        instant = start + step * 1_800_000 + 7_000
        height = altitude(*place, instant) + 50 / 60
        if abs(height) < 0.05:
            continue  # near the horizon the two may differ by seconds
        assert calendar.is_closed(dark, instant) == (height < 0), (step, height)
        assert calendar.is_closed(light, instant) == (height > 0), (step, height)


def test_polar_days_are_told_and_no_latitude_raises() -> None:
    spans = polar_days(Site("", "Europe/Oslo", 69.65, 18.96), 2026)
    assert [state for _, _, state in spans] == ["down", "up", "down"]
    up = spans[1]
    # the midnight sun of that latitude lasts from about 20 May to 22 July (FROM MEMORY, almanacs)
    assert abs((up[0] - date(2026, 5, 19)).days) <= 3
    assert abs((up[1] - date(2026, 7, 24)).days) <= 3
    assert polar_days(Site("", "UTC", 50.0, 8.0), 2026) == ()
    for latitude in (-90.0, 90.0):
        for month in range(1, 13):
            sun = sun_events(latitude, 0.0, zone_of("UTC"), date(2026, month, 5))
            assert sun.always_up != sun.never_up


def test_offsets_move_sun_times_and_mixed_windows_end_at_the_next_fixed_time() -> None:
    place = (60.39, 5.32)
    day = date(2026, 11, 25)
    oslo = zone_of("Europe/Oslo")
    (sunset,) = sun_events(*place, oslo, day).sets
    early = Clock("early", SunTime("sunset", -ms(0, 20)), TimeOfDay(ms(23)))
    calendar = calendar_of(early, zone="Europe/Oslo", place=place)
    noon = oslo.instant(day, ms(12))
    opened = calendar.next_edge(early, noon)
    assert opened == sunset - ms(0, 20)
    assert calendar.next_edge(early, opened) == oslo.instant(day, ms(23))


# --- seasons and holidays


def listed_days(
    days: Days, holidays: tuple[Holiday, ...] = (), code: str | None = None
) -> set[str]:
    clock = event(TimeOfDay(ms(12)), days)
    calendar = calendar_of(clock, holidays=holidays, code=code)
    first, last = at("2026-01-01T00:00+00:00"), at("2027-01-01T00:00+00:00")
    return {
        datetime.fromtimestamp(t / 1000, UTC).strftime("%m-%d")
        for t in events_between(calendar, clock, first, last)
    }


def spread(first: MonthDay, last: MonthDay) -> Iterator[str]:
    day = date(2026, 1, 1)
    while day.year == 2026:
        here = (day.month, day.day)
        if first <= here <= last if first <= last else here >= first or here <= last:
            yield day.strftime("%m-%d")
        day += timedelta(1)


@pytest.mark.parametrize("season", [((5, 1), (9, 30)), ((11, 1), (2, 28)), ((6, 1), (6, 1))])
def test_a_season_holds_both_its_ends_and_may_run_over_the_new_year(
    season: tuple[MonthDay, MonthDay],
) -> None:
    assert listed_days(Days(season=season)) == set(spread(*season))


def test_holidays_leave_out_their_days() -> None:
    holidays = (
        Holiday("yule", (12, 24), (12, 26)),
        Holiday("new_year", (12, 31), (1, 1)),
        Holiday("works", date(2026, 7, 6), date(2026, 7, 10)),
        Holiday("past", date(2025, 3, 3), date(2025, 3, 3)),
    )
    everyday = listed_days(Days())
    assert everyday - listed_days(Days(except_holidays=True), holidays) == {
        "12-24",
        "12-25",
        "12-26",
        "12-31",
        "01-01",
        "07-06",
        "07-07",
        "07-08",
        "07-09",
        "07-10",
    }


def test_a_public_calendar_is_looked_up_and_a_missing_one_is_told() -> None:
    pytest.importorskip("holidays")
    missing = listed_days(Days()) - listed_days(Days(except_holidays=True), code="NO")
    # Norway 2026: 1 and 17 May, Easter Monday 6 April (Easter Sunday 2026-04-05, FROM MEMORY)
    assert {"05-01", "05-17", "04-06", "12-25", "12-26"} <= missing
    assert "05-04" not in missing
    calendar = calendar_of(event(TimeOfDay(0), Days(except_holidays=True)), code="XX")
    assert calendar.problems
    assert calendar_of(event(TimeOfDay(0)), code="not a code").problems
    assert calendar_of(event(TimeOfDay(0))).problems == ()


def test_a_window_belongs_to_the_day_on_which_it_starts() -> None:
    # 31 December is a holiday: the night that starts on the 30th still runs into it
    holidays = (Holiday("eve", (12, 31), (12, 31)),)
    clock = window(TimeOfDay(ms(22)), TimeOfDay(ms(6)), Days(except_holidays=True))
    calendar = calendar_of(clock, holidays=holidays)
    assert calendar.is_closed(clock, at("2026-12-31T03:00+00:00"))
    assert not calendar.is_closed(clock, at("2026-12-31T23:00+00:00"))
    assert not calendar.is_closed(clock, at("2027-01-01T03:00+00:00"))
    assert calendar.is_closed(clock, at("2027-01-01T23:00+00:00"))


# --- properties

MOMENTS = st.one_of(
    st.integers(0, 95).map(lambda quarter: TimeOfDay(quarter * 900_000)),
    st.builds(SunTime, st.sampled_from(["sunrise", "sunset"]), st.sampled_from([0, -ms(1), ms(2)])),
)
DAYS = st.builds(
    Days,
    st.sets(st.integers(0, 6), min_size=1).map(lambda days: tuple(sorted(days))),
    st.sampled_from([None, ((3, 20), (10, 30)), ((10, 1), (4, 1))]),
)


@given(MOMENTS, MOMENTS, DAYS, st.sampled_from(ZONES), st.integers(0, 500))
def test_the_next_edge_is_the_first_change_and_between_edges_nothing_changes(
    begin: Moment, end: Moment, days: Days, key: str, offset: int
) -> None:
    clock = window(begin, end, days)
    calendar = calendar_of(clock, zone=key, place=(55.0, 12.0))
    now = at("2026-01-01T00:00+00:00") + offset * 61_234_567
    edge = calendar.next_edge(clock, now)
    closed = calendar.is_closed(clock, now)
    until = now + 3 * DAY if edge is None else edge
    for instant in range(now, min(until, now + 3 * DAY), 613_000):
        assert calendar.is_closed(clock, instant) == closed
    if edge is not None:
        assert calendar.is_closed(clock, edge - 1) == closed
        assert calendar.is_closed(clock, edge) != closed
        assert edge - now <= HORIZON
        assert calendar.next_change(now) == edge


@given(MOMENTS, DAYS, st.sampled_from(ZONES), st.integers(0, 500), st.integers(1, 9 * DAY))
def test_the_last_event_of_a_stretch_agrees_with_walking_through_it(
    begin: Moment, days: Days, key: str, offset: int, length: int
) -> None:
    clock = event(begin, days)
    calendar = calendar_of(clock, zone=key, place=(55.0, 12.0))
    after = at("2026-01-01T00:00+00:00") + offset * 61_234_567
    walked = events_between(calendar, clock, after + 1, after + length + 1)
    assert calendar.occurrence_between(clock, after, after + length) == (
        walked[-1] if walked else None
    )
    dates = [zone_of(key).local(t)[0] for t in walked]
    if isinstance(begin, TimeOfDay):
        assert len(set(dates)) == len(
            dates
        )  # once a local day, also in a night with a doubled hour
