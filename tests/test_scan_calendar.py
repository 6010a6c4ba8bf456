"""Windows, events, holidays and seasons against calendars worked out another way."""

from __future__ import annotations

import csv
import importlib
import math
import random
import re
import sys
from bisect import bisect_right
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import ephem
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.program.nodes import (
    Clock,
    Days,
    Holiday,
    Moment,
    MonthDay,
    Program,
    Site,
    SunTime,
    TimeOfDay,
)
from rungs.scan.calendar import HORIZON, Calendar, _Stretch, build_calendar, polar_days
from rungs.scan.daysoff import Missing, in_span, public_holidays
from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND

# without stubs; imported so that the type checker neither needs nor misses them
rrule = importlib.import_module("dateutil.rrule")

REFERENCE = Path(__file__).parents[2] / "shared" / "reference"

ZONES = (
    "Europe/Oslo",
    "America/New_York",
    "Australia/Lord_Howe",
    "America/Santiago",
    "Pacific/Auckland",
    "Antarctica/Troll",
)
WEEKDAYS = (0, 1, 2, 3, 4)
MON, TUE, WED, THU, FRI, SAT, SUN = range(7)


def tod(text: str) -> TimeOfDay:
    parts = [int(part) for part in text.split(":")]
    return TimeOfDay(parts[0] * HOUR + parts[1] * MINUTE + sum(parts[2:]) * SECOND)


def rise(offset: int = 0) -> SunTime:
    return SunTime("sunrise", offset)


def sunset(offset: int = 0) -> SunTime:
    return SunTime("sunset", offset)


EVERY = Days()


def window(begin: str | Moment, end: str | Moment, days: Days = EVERY) -> Clock:
    a = tod(begin) if isinstance(begin, str) else begin
    b = tod(end) if isinstance(end, str) else end
    return Clock("window", a, b, days)


def event(begin: str | Moment, days: Days = EVERY) -> Clock:
    return Clock("event", tod(begin) if isinstance(begin, str) else begin, None, days)


def calendar_of(
    *clocks: Clock,
    zone: str = "UTC",
    place: tuple[float, float] | None = None,
    holidays: tuple[Holiday, ...] = (),
    code: str | None = None,
) -> Calendar:
    latitude, longitude = place or (None, None)
    return build_calendar(
        Program(site=Site("", zone, latitude, longitude, code), devices=clocks, holidays=holidays)
    )


def at(text: str, zone: str = "UTC") -> int:
    """The instant of a local time by zoneinfo alone (PEP 495, fold 0)."""
    return to_ms(datetime.fromisoformat(text), zone)


def to_ms(naive: datetime, zone: str) -> int:
    return int(naive.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC).timestamp()) * 1000


def edges(calendar: Calendar, clock: Clock, low: int, high: int) -> list[int]:
    """Every edge after `low` and before `high`, by walking."""
    found = []
    now = calendar.next_edge(clock, low)
    while now is not None and now < high:
        found.append(now)
        now = calendar.next_edge(clock, now)
    return found


def occurrences(calendar: Calendar, clock: Clock, low: int, high: int) -> list[int]:
    found = []
    now = calendar.occurrence_after(clock, low)
    while now is not None and now < high:
        found.append(now)
        now = calendar.occurrence_after(clock, now)
    return found


# --- an independent calendar: recurrence rules, and zoneinfo for the instants


def rule_days(days: Days, first: date, last: date) -> Iterator[datetime]:
    """The listed days by a weekly recurrence rule, holidays not looked at."""
    start = datetime(first.year, first.month, first.day)
    rule = rrule.rrule(
        rrule.WEEKLY,
        dtstart=start,
        until=datetime(last.year, last.month, last.day),
        byweekday=days.weekdays,
    )
    for day in rule:
        if days.season is not None:
            a, b = (month * 100 + number for month, number in days.season)
            here = day.month * 100 + day.day
            if (a <= b and not a <= here <= b) or (a > b and b < here < a):
                continue
        yield day


def rule_windows(clock: Clock, zone: str, first: date, last: date) -> list[tuple[int, int]]:
    """Merged windows of a clock with fixed times."""
    assert isinstance(clock.begin, TimeOfDay)
    assert isinstance(clock.end, TimeOfDay)
    minutes: set[tuple[int, int]] = set()
    for day in rule_days(clock.days, first, last):
        begin = day + timedelta(milliseconds=clock.begin.ms)
        end = day + timedelta(milliseconds=clock.end.ms)
        if end < begin:
            end += timedelta(1)
        minutes.add((to_ms(begin, zone), to_ms(end, zone)))
    merged: list[tuple[int, int]] = []
    for a, b in sorted((a, b) for a, b in minutes if a < b):
        if merged and a <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
        else:
            merged.append((a, b))
    return merged


FIXED = [
    window("19:00", "22:30", Days(WEEKDAYS)),
    window("22:00", "06:00", Days((FRI, SAT))),
    window("22:00", "06:00"),
    window("02:15", "02:45"),
    window("01:30", "02:10"),
    window("02:30", "03:15"),
    window("02:30", "01:30"),
    window("00:00", "12:00", Days((SUN,))),
    window("12:00", "00:00", Days((SAT, SUN))),
    window("23:50", "00:10", Days((TUE,), ((11, 15), (2, 15)))),
    window("08:00", "20:00", Days(season=((5, 1), (9, 30)))),
    window("03:00:01", "03:00:00", Days((SUN, MON), ((10, 31), (10, 31)))),
]


@pytest.mark.parametrize("zone", ZONES)
def test_a_year_of_windows_is_what_recurrence_rules_give(zone: str) -> None:
    low, high = at("2026-01-01T00:00", zone), at("2027-01-01T00:00", zone)
    draw = random.Random(zone)
    for clock in FIXED:
        expected = rule_windows(clock, zone, date(2025, 12, 28), date(2027, 1, 4))
        flat = [edge for pair in expected for edge in pair]
        calendar = calendar_of(clock, zone=zone)
        assert edges(calendar, clock, low, high) == [t for t in flat if low < t < high]
        for t in [draw.randrange(low, high) for _ in range(300)] + flat + [t - 1 for t in flat]:
            if low <= t < high:
                assert calendar.is_closed(clock, t) == bool(bisect_right(flat, t) % 2)


@pytest.mark.parametrize("zone", ZONES)
def test_a_year_of_events_is_what_recurrence_rules_give(zone: str) -> None:
    low, high = at("2026-01-01T00:00", zone), at("2027-01-01T00:00", zone)
    for time_of_day in ("00:00", "00:30", "01:30", "02:00", "02:15", "02:30", "23:30", "12:00"):
        for days in (Days(), Days(WEEKDAYS), Days((SUN,)), Days(season=((10, 1), (4, 10)))):
            clock = event(time_of_day, days)
            moment = clock.begin
            assert isinstance(moment, TimeOfDay)
            expected = sorted(
                to_ms(day + timedelta(milliseconds=moment.ms), zone)
                for day in rule_days(days, date(2025, 12, 31), date(2027, 1, 1))
            )
            found = occurrences(calendar_of(clock, zone=zone), clock, low, high)
            assert found == [t for t in expected if low < t < high]


@pytest.mark.parametrize("zone", ZONES)
def test_an_event_comes_once_a_day_even_when_its_time_comes_twice(zone: str) -> None:
    calendar = calendar_of(zone=zone)
    low, high = at("2026-01-01T00:00", zone) - 1, at("2027-01-01T00:00", zone)
    for quarter in range(0, 96, 3):
        clock = Clock("e", TimeOfDay(quarter * 15 * MINUTE))
        found = occurrences(calendar, clock, low, high)
        assert len({calendar.zone.local(t)[0] for t in found}) == len(found) == 365


# READ: RFC 5545 section 3.8.5.3, the first, the seventh and the eleventh example: dates of 1997 in
# New York at 09:00; and section 3.3.5 for the times in a gap and an overlap (own examples)
RFC_ROWS = [
    ("1997-09-02", (0, 1, 2, 3, 4, 5, 6), ["09-02", "09-03", "09-04", "09-05", "09-06", "09-07"]),
    (
        "1997-09-02",
        (TUE,),
        ["09-02", "09-09", "09-16", "09-23", "09-30", "10-07", "10-14", "10-21", "10-28", "11-04"],
    ),
    (
        "1997-09-02",
        (TUE, THU),
        ["09-02", "09-04", "09-09", "09-11", "09-16", "09-18", "09-23", "09-25", "09-30", "10-02"],
    ),
]


@pytest.mark.parametrize("start, weekdays, dates", RFC_ROWS)
def test_examples_of_the_recurrence_standard(
    start: str, weekdays: tuple[int, ...], dates: list[str]
) -> None:
    clock = event("09:00", Days(weekdays))
    calendar = calendar_of(clock, zone="America/New_York")
    found = occurrences(
        calendar, clock, at(f"{start}T00:00", "America/New_York"), at("1998-01-01T00:00")
    )[: len(dates)]
    # daylight time, four hours behind, until 26 October 1997
    hours = ["13" if text < "10-26" else "14" for text in dates]
    expected = [at(f"1997-{text}T{hour}:00") for text, hour in zip(dates, hours, strict=True)]
    assert found == expected


def test_every_weekly_and_daily_row_of_the_reference_file() -> None:
    path = REFERENCE / "rrule_examples.csv"
    if not path.exists():
        pytest.skip("the reference values are not here")
    names = {"MO": 0, "TU": 1, "WE": 2, "TH": 3, "FR": 4, "SA": 5, "SU": 6}
    checked = 0
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            parts = dict(part.split("=") for part in row["rrule"].split(";"))
            if parts["FREQ"] not in ("DAILY", "WEEKLY") or "INTERVAL" in parts:
                continue  # the language has no `every other week`
            begin = datetime.strptime(row["dtstart_local"], "%Y%m%dT%H%M%S")
            weekdays: tuple[int, ...] = tuple(range(7))
            if parts["FREQ"] == "WEEKLY":
                listed = parts.get("BYDAY")
                weekdays = (
                    tuple(names[name] for name in listed.split(","))
                    if listed
                    else (begin.weekday(),)
                )
            clock = event(f"{begin:%H:%M}", Days(weekdays))
            calendar = calendar_of(clock, zone=row["tzid"])
            expected = [
                int(datetime.fromisoformat(text.split("=")[0]).timestamp()) * 1000
                for text in row["occurrences_local_with_offset"].split()
            ]
            low, high = to_ms(begin, row["tzid"]) - 1, expected[-1] + 1
            assert occurrences(calendar, clock, low, high) == expected
            checked += 1
    assert checked >= 7


# --- windows over midnight


@pytest.mark.parametrize("begin, end", [("22:00", "06:00"), ("12:01", "12:00"), ("23:59", "00:01")])
def test_every_minute_of_a_week_for_every_set_of_weekdays(begin: str, end: str) -> None:
    a, b = tod(begin).ms // MINUTE, tod(end).ms // MINUTE
    monday = at("2026-01-05T00:00")
    for listed in range(128):
        weekdays = tuple(day for day in range(7) if listed >> day & 1)
        clock = window(begin, end, Days(weekdays))
        calendar = calendar_of(clock)
        for weekday in range(7):
            tonight, last_night = weekday in weekdays, (weekday - 1) % 7 in weekdays
            for minute in range(1440):
                expected = (tonight and minute >= a) or (last_night and minute < b)
                t = monday + (weekday * 1440 + minute) * MINUTE
                assert calendar.is_closed(clock, t) == expected


def test_a_window_belongs_to_the_day_on_which_it_starts() -> None:
    holiday = Holiday("Closing day", date(2026, 1, 7), date(2026, 1, 7))  # a Wednesday
    days = Days((TUE, WED), ((1, 1), (1, 20)), except_holidays=True)
    clock = window("22:00", "06:00", days)
    calendar = calendar_of(clock, holidays=(holiday,))
    low, high = at("2026-01-01T00:00"), at("2026-03-01T00:00")
    expected = [
        # the 6th runs into the holiday, the 7th is one, the 20th runs out of the season
        ("2026-01-06T22:00", "2026-01-07T06:00"),
        ("2026-01-13T22:00", "2026-01-14T06:00"),
        ("2026-01-14T22:00", "2026-01-15T06:00"),
        ("2026-01-20T22:00", "2026-01-21T06:00"),
    ]
    assert edges(calendar, clock, low, high) == [at(t) for pair in expected for t in pair]


def test_windows_that_touch_are_one_closure() -> None:
    # in Oslo 02:30 means 03:30 on 2026-03-29, when that day's own window begins
    clock = window("03:30", "02:30")
    calendar = calendar_of(clock, zone="Europe/Oslo")
    found = edges(calendar, clock, at("2026-03-27T12:00"), at("2026-03-31T00:00"))
    texts = ["2026-03-28T02:30", "2026-03-28T03:30", "2026-03-30T02:30", "2026-03-30T03:30"]
    assert found == [at(text, "Europe/Oslo") for text in texts]
    assert calendar.is_closed(clock, at("2026-03-29T01:30"))


@pytest.mark.parametrize("zone", ["UTC", "Europe/Oslo", "America/Santiago"])
def test_a_window_of_zero_length_is_never_closed(zone: str) -> None:
    for clock in (window("08:00", "08:00"), window(rise(), rise()), window("00:00", "00:00")):
        calendar = calendar_of(clock, zone=zone, place=(60.0, 10.0))
        now = at("2026-01-01T08:00", zone)
        assert calendar.next_edge(clock, now) is None
        assert not any(calendar.is_closed(clock, now + t * HOUR) for t in range(24 * 30))


def test_a_window_inside_a_gap_or_over_its_end() -> None:
    # Oslo goes from 02:00 to 03:00 on 2026-03-29 at 01:00 UTC (COMPUTED from tzdata 2026f)
    def on_the_day(begin: str, end: str) -> list[int]:
        clock = window(begin, end)
        calendar = calendar_of(clock, zone="Europe/Oslo")
        return edges(calendar, clock, at("2026-03-28T23:30"), at("2026-03-29T20:00"))

    assert on_the_day("02:15", "02:45") == [at("2026-03-29T01:15"), at("2026-03-29T01:45")]
    assert on_the_day("02:30", "03:15") == []  # 02:30 means 03:30, after the end
    assert on_the_day("02:30", "03:45") == [at("2026-03-29T01:30"), at("2026-03-29T01:45")]
    assert on_the_day("01:30", "03:00") == [at("2026-03-29T00:30"), at("2026-03-29T01:00")]


def test_a_window_over_the_repeated_hour_lasts_longer() -> None:
    # Oslo goes from 03:00 back to 02:00 on 2026-10-25 at 01:00 UTC (COMPUTED from tzdata 2026f)
    clock = window("01:30", "03:30")
    calendar = calendar_of(clock, zone="Europe/Oslo")
    low, high = at("2026-10-24T12:00"), at("2026-10-25T12:00")
    assert edges(calendar, clock, low, high) == [at("2026-10-24T23:30"), at("2026-10-25T02:30")]
    twice = window("02:15", "02:45")  # closed in the first of the two hours only
    assert edges(calendar, twice, low, high) == [at("2026-10-25T00:15"), at("2026-10-25T00:45")]


def test_a_date_that_the_zone_skipped_leaves_no_trace() -> None:
    clock, bell = window("08:00", "09:00"), event("07:00")
    calendar = calendar_of(clock, bell, zone="Pacific/Apia")
    low, high = at("2011-12-29T00:00", "Pacific/Apia"), at("2012-01-01T00:00", "Pacific/Apia")
    days = [29, 31]
    expected = [at(f"2011-12-{day}T0{hour}:00", "Pacific/Apia") for day in days for hour in (8, 9)]
    assert edges(calendar, clock, low, high) == expected
    assert len(occurrences(calendar, bell, low, high)) == 2


# --- the sun


def altitude(place: tuple[float, float], instant: int) -> float:
    """The altitude of the sun's centre over the almanac horizon in degrees, by ephem."""
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(place[0]), math.radians(place[1])
    observer.pressure = 0
    observer.date = 25567.5 + instant / DAY  # ephem counts days from 1899-12-31T12:00
    sun = ephem.Sun()
    sun.compute(observer)
    return math.degrees(float(sun.alt)) + 50 / 60


NORTH = (69.65, 18.96)
NIGHT = Clock("night", sunset(), rise())
DAYTIME = Clock("day", rise(), sunset())


@pytest.mark.parametrize("year", [2026, 2032])
def test_a_year_at_the_polar_circle_follows_the_sun(year: int) -> None:
    """Every tenth minute of the year, and every edge between them to the minute.

    Between two moments with the same sun there is no edge; between two others there is one, and
    the sun stands on the other side of the horizon a minute before and after it.
    """
    calendar = calendar_of(NIGHT, DAYTIME, zone="Europe/Oslo", place=NORTH)
    low = at(f"{year}-01-01T00:00", "Europe/Oslo")
    high = at(f"{year + 1}-01-01T00:00", "Europe/Oslo")
    night, day = edges(calendar, NIGHT, low, high), edges(calendar, DAYTIME, low, high)
    assert night == day
    assert len(night) > 400
    up = altitude(NORTH, low) > 0
    for t in range(low, high, 10 * MINUTE):
        assert calendar.is_closed(DAYTIME, t) != calendar.is_closed(NIGHT, t)
        now_up = altitude(NORTH, t) > 0
        between = night[bisect_right(night, t - 10 * MINUTE) : bisect_right(night, t)]
        assert len(between) == (now_up != up) or t == low
        for edge in between:
            assert (altitude(NORTH, edge - MINUTE) > 0) == up
            assert (altitude(NORTH, edge + MINUTE) > 0) == now_up
        assert calendar.is_closed(DAYTIME, t) == now_up
        up = now_up


@pytest.mark.parametrize("place", [(-66.6, -110.0), (88.0, 0.0)])
def test_polar_years_far_from_the_zone_follow_the_sun(place: tuple[float, float]) -> None:
    calendar = calendar_of(NIGHT, DAYTIME, zone="Europe/Oslo", place=place)
    low, high = at("2027-01-01T00:00"), at("2028-01-01T00:00")
    for t in range(low, high, 11 * MINUTE):
        above = altitude(place, t)
        if abs(above) > 0.001:
            assert calendar.is_closed(DAYTIME, t) == (above > 0)
            assert calendar.is_closed(NIGHT, t) == (above < 0)


@pytest.mark.parametrize("latitude", [90.0, -90.0, 89.9, -89.9, 78.0, 66.5])
def test_windows_of_the_sun_near_the_poles(latitude: float) -> None:
    calendar = calendar_of(NIGHT, DAYTIME, zone="Antarctica/Troll", place=(latitude, 2.5))
    low, high = at("2026-01-01T00:00"), at("2027-01-01T00:00")
    for t in range(low, high, 173 * MINUTE):
        above = altitude((latitude, 2.5), t)
        if abs(above) > 0.01:
            assert calendar.is_closed(DAYTIME, t) == (above > 0)
            assert calendar.is_closed(NIGHT, t) == (above < 0)
    assert edges(calendar, NIGHT, low, high) == edges(calendar, DAYTIME, low, high)


def north(begin: str | Moment, end: str | Moment, weekday: int) -> list[tuple[str, str]]:
    """Local wall times of the windows of one weekday at 69.65 N in the first days of a season."""
    clock = window(begin, end, Days((weekday,)))
    calendar = calendar_of(clock, zone="Europe/Oslo", place=NORTH)
    found = []
    for low in ("2026-12-06T12:00", "2026-06-07T12:00"):  # Sundays of polar night and polar day
        start = at(low, "Europe/Oslo")
        for a, b in zip(*[iter(edges(calendar, clock, start, start + 5 * DAY))] * 2, strict=True):
            found.append((local_text(calendar, a), local_text(calendar, b)))
    return found


def local_text(calendar: Calendar, instant: int) -> str:
    day, ms = calendar.zone.local(instant)
    return f"{day:%m-%d} {ms // HOUR:02}:{ms // MINUTE % 60:02}"


def test_windows_on_single_days_of_polar_night_and_polar_day() -> None:
    # Monday 7 December is in the polar night, Monday 8 June in the polar day
    assert north(sunset(), rise(), MON) == [("12-07 00:00", "12-08 00:00")]
    assert north(rise(), sunset(), MON) == [("06-08 00:00", "06-09 00:00")]
    # offsets move sun events, and there are none to move
    assert north(sunset(-HOUR), rise(HOUR), MON) == [("12-07 00:00", "12-08 00:00")]
    assert north(rise(HOUR), sunset(-HOUR), MON) == [("06-08 00:00", "06-09 00:00")]
    # the sun has set, or risen, before the day began
    assert north(sunset(), "23:00", MON) == [("12-07 00:00", "12-07 23:00")]
    assert north(rise(), "16:00", MON) == [("06-08 00:00", "06-08 16:00")]
    # a beginning of its own lasts to the end of the next date; one that waits for nothing is empty
    assert north("22:00", rise(), MON) == [("12-07 22:00", "12-09 00:00")]
    assert north("06:00", sunset(), MON) == [("06-08 06:00", "06-10 00:00")]
    assert north(rise(), rise(2 * HOUR), MON) == []


def test_windows_at_the_ends_of_polar_night_and_polar_day() -> None:
    site = Site("", "Europe/Oslo", *NORTH)
    for first, last, state in polar_days(site, 2026):
        clock = NIGHT if state == "down" else DAYTIME
        calendar = calendar_of(clock, zone="Europe/Oslo", place=NORTH)
        middle = at(f"{first + (last - first) / 2}T12:00", "Europe/Oslo")
        assert calendar.is_closed(clock, middle)
        start, end = calendar.zone.day_bounds(first)[0], calendar.zone.day_bounds(last)[1]
        assert edges(calendar, clock, start, end) == []
        assert calendar.is_closed(clock, start - 1)
        assert calendar.is_closed(clock, end)


def test_an_offset_before_the_last_sunset_still_begins_the_polar_night() -> None:
    low, high = at("2026-11-27T00:00", "Europe/Oslo"), at("2027-01-10T00:00", "Europe/Oslo")

    def near_the_last_day(clock: Clock) -> list[int]:
        calendar = calendar_of(clock, zone="Europe/Oslo", place=NORTH)
        return edges(calendar, clock, low, high)

    sunrise, last_sunset = near_the_last_day(NIGHT)
    assert 15 * MINUTE < last_sunset - sunrise < 20 * MINUTE
    early = last_sunset - 15 * MINUTE
    assert near_the_last_day(window(sunset(-15 * MINUTE), rise())) == [sunrise, early]
    # 20 minutes before that sunset the sun is still down, so the next sunrise is the same day's
    midnight = at("2026-11-28T00:00", "Europe/Oslo")
    assert near_the_last_day(window(sunset(-20 * MINUTE), rise())) == [sunrise, midnight]


def test_an_offset_after_the_first_sunrise_still_ends_the_polar_night() -> None:
    low, high = at("2026-01-01T00:00", "Europe/Oslo"), at("2026-01-16T00:00", "Europe/Oslo")
    calendar = calendar_of(NIGHT, zone="Europe/Oslo", place=NORTH)
    sunrise, last_sunset = edges(calendar, NIGHT, low, high)
    assert last_sunset - sunrise > 5 * MINUTE
    late = window(sunset(), rise(5 * MINUTE))
    assert edges(calendar, late, low, high) == [sunrise + 5 * MINUTE, last_sunset]


def test_a_window_carried_back_over_midnight_counts_from_its_own_date() -> None:
    # in this zone the sun is highest near midnight, and the last sunset comes just after
    zone, place = "Etc/GMT-12", (69.65, -3.0)
    calendar = calendar_of(zone=zone, place=place)
    low, high = at("2026-11-20T12:00", zone), at("2026-12-20T00:00", zone)
    last = occurrences(calendar, event(sunset()), low, high)[-1]
    day, ms = calendar.zone.local(last)
    assert ms < 10 * MINUTE
    clock = window(sunset(-10 * MINUTE), rise(), Days((day.weekday(),)))
    begin, end = edges(calendar, clock, last - HOUR, last + 6 * DAY)
    assert begin == last - 10 * MINUTE
    assert calendar.zone.local(begin)[0] == day - timedelta(1)
    assert end == calendar.zone.day_bounds(day + timedelta(1))[1]


def test_the_longest_windows_are_seen_from_their_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rungs.scan.calendar._STRETCH", 7 * HOUR)
    calendar = calendar_of(NIGHT, zone="Europe/Oslo", place=NORTH)
    low = at("2026-01-05T00:00", "Europe/Oslo")
    first_sunrise = calendar.next_edge(NIGHT, low)
    assert first_sunrise is not None
    eve = calendar.zone.local(first_sunrise)[0] - timedelta(1)
    clock = Clock("long", tod("00:10"), rise(23 * HOUR), Days((eve.weekday(),)))
    begin, end = at(f"{eve}T00:10", "Europe/Oslo"), first_sunrise + 23 * HOUR
    assert end - begin > 2 * DAY
    for t in range(end - 5 * DAY, end + DAY, 17 * MINUTE):
        assert calendar.is_closed(clock, t) == (begin <= t < end)


def test_a_sunset_that_slides_past_midnight_leaves_out_a_date() -> None:
    calendar = calendar_of(zone="Europe/Oslo", place=NORTH)
    low, high = at("2026-05-01T00:00", "Europe/Oslo"), at("2026-05-18T00:00", "Europe/Oslo")
    sunsets = occurrences(calendar, event(sunset()), low, high)
    skips = [
        (a, b)
        for a, b in pairwise(sunsets)
        if calendar.zone.local(b)[0] - calendar.zone.local(a)[0] == timedelta(2)
    ]
    assert len(skips) == 1
    a, b = skips[0]
    # nearly a day long, from one sunset to just before the next
    clock = window(sunset(), sunset(-MINUTE))
    assert edges(calendar, clock, a - HOUR, b + HOUR)[-3:] == [a, b - MINUTE, b]


@pytest.mark.parametrize("place", [(69.65, 18.96), (40.7, -74.0), (-77.0, 166.0), (69.65, -170.0)])
@pytest.mark.parametrize("zone", ["Europe/Oslo", "America/New_York", "Pacific/Auckland"])
def test_answers_do_not_depend_on_how_the_days_are_cut_up(
    place: tuple[float, float], zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    draw = random.Random(f"{place} {zone}")
    choices: list[Moment] = [tod("00:10"), tod("22:00"), tod("12:00")]
    for offset in (0, -23 * HOUR, 23 * HOUR, -10 * HOUR):
        choices += [rise(offset), sunset(offset)]
    clocks = [
        Clock(f"c{n}", draw.choice(choices), end, Days((draw.randrange(7), draw.randrange(7))))
        for n in range(14)
        for end in (draw.choice(choices) if n % 3 else None,)
    ]
    low = at("2026-01-01T00:00") + draw.randrange(365) * DAY
    answers = []
    for stretch in (16 * DAY, 7 * HOUR, 31 * HOUR):
        monkeypatch.setattr("rungs.scan.calendar._STRETCH", stretch)
        calendar = calendar_of(*clocks, zone=zone, place=place)
        answers.append(
            [
                calendar.is_closed(clock, t)
                or calendar.occurrence_between(clock, t - 37 * MINUTE, t)
                for clock in clocks
                for t in range(low, low + 25 * DAY, 37 * MINUTE)
            ]
        )
    assert answers[0] == answers[1] == answers[2]
    assert True in answers[0]


OSLO_PLACE = (59.91, 10.75)


def test_sun_events_move_by_their_offset() -> None:
    plain, moved = event(sunset()), event(sunset(-90 * MINUTE))
    calendar = calendar_of(plain, zone="Europe/Oslo", place=OSLO_PLACE)
    low, high = at("2026-01-01T00:00"), at("2027-01-01T00:00")
    sunsets = occurrences(calendar, plain, low, high)
    assert len(sunsets) == 365
    assert occurrences(calendar, moved, low, high) == [t - 90 * MINUTE for t in sunsets]


def test_an_offset_may_carry_an_event_into_the_next_day() -> None:
    late, plain = event(sunset(23 * HOUR), Days((MON,))), event(sunset(), Days((MON,)))
    calendar = calendar_of(late, zone="Europe/Oslo", place=OSLO_PLACE)
    low, high = at("2026-03-01T00:00"), at("2026-05-01T00:00")
    mondays = occurrences(calendar, plain, low, high)
    assert {calendar.zone.local(t)[0].weekday() for t in mondays} == {MON}
    found = occurrences(calendar, late, low, high)
    assert found == [t + 23 * HOUR for t in mondays]
    assert {calendar.zone.local(t)[0].weekday() for t in found} == {TUE}


@pytest.mark.parametrize("before, after", [(0, 0), (-20, 0), (30, -30), (-600, 700), (700, 1400)])
def test_a_window_of_the_sun_ends_at_the_next_event(before: int, after: int) -> None:
    """From each sunset to the first sunrise after it, both moved, away from the poles."""
    a, b = before * MINUTE, after * MINUTE
    clock = window(sunset(a), rise(b))
    calendar = calendar_of(clock, zone="Europe/Oslo", place=OSLO_PLACE)
    low, high = at("2026-02-01T00:00"), at("2026-04-20T00:00")
    begins = occurrences(calendar, event(sunset(a)), low - 5 * DAY, high + 5 * DAY)
    ends = occurrences(calendar, event(rise(b)), low - 5 * DAY, high + 5 * DAY)
    spans = [(t, next(e for e in ends if e >= t)) for t in begins if t < high + 2 * DAY]
    for t in range(low, high, 13 * MINUTE):
        assert calendar.is_closed(clock, t) == any(x <= t < y for x, y in spans)


def test_windows_between_the_sun_and_a_fixed_time() -> None:
    calendar = calendar_of(zone="Europe/Oslo", place=OSLO_PLACE)
    low, high = at("2026-01-01T00:00"), at("2027-01-01T00:00")
    sunsets = occurrences(calendar, event(sunset()), low - 2 * DAY, high + 2 * DAY)
    rises = occurrences(calendar, event(rise()), low - 2 * DAY, high + 2 * DAY)
    tens = occurrences(calendar, event("22:00"), low - 2 * DAY, high + 2 * DAY)
    evening = Clock("evening", sunset(), tod("22:00"))
    morning = Clock("morning", tod("22:00"), rise())
    for t in range(low, high, 29 * MINUTE):
        last_sunset = sunsets[bisect_right(sunsets, t) - 1]
        last_ten, last_rise = tens[bisect_right(tens, t) - 1], rises[bisect_right(rises, t) - 1]
        # midsummer sunsets come after 22:00 and run to the next evening
        assert calendar.is_closed(evening, t) == (last_sunset > last_ten)
        assert calendar.is_closed(morning, t) == (last_ten > last_rise)


def test_no_clock_of_the_sun_runs_without_a_place() -> None:
    clocks = (window(sunset(), rise()), window("22:00", rise()), window(sunset(), "23:00"))
    for clock in (*clocks, event(rise())):
        calendar = calendar_of(clock)
        assert any("latitude" in problem for problem in calendar.problems)
        assert calendar.next_change(at("2026-01-01T00:00")) is None
        assert not calendar.is_closed(clock, at("2026-01-01T23:30"))


def test_polar_spans_of_a_year() -> None:
    # READ: USNO year table for 2019 at 80 N 0 E: the sun is down to 20 February and from
    # 22 October, and up from 14 April (rises last on the 12th or 13th)
    spans = polar_days(Site("", "UTC", 80.0, 0.0), 2019)
    assert [state for _, _, state in spans] == ["down", "up", "down"]
    assert spans[0][:2] == (date(2019, 1, 1), date(2019, 2, 20))
    assert spans[1][0] in (date(2019, 4, 13), date(2019, 4, 14))
    assert spans[1][1] == date(2019, 8, 29) or spans[1][1] == date(2019, 8, 30)
    assert spans[2][:2] == (date(2019, 10, 22), date(2019, 12, 31))
    assert polar_days(Site("", "UTC", 60.0, 0.0), 2019) == ()
    assert polar_days(Site("", "UTC"), 2019) == ()


# --- holidays and seasons


@pytest.mark.parametrize(
    "season, inside, outside",
    [
        (((5, 1), (9, 30)), ["05-01", "09-30", "07-15"], ["04-30", "10-01", "01-01"]),
        (((11, 15), (2, 15)), ["11-15", "12-31", "01-01", "02-15"], ["11-14", "02-16", "06-01"]),
        (((6, 6), (6, 6)), ["06-06"], ["06-05", "06-07"]),
        (((2, 1), (2, 29)), ["02-28", "02-29"], ["03-01", "01-31"]),
        (((2, 29), (3, 1)), ["02-29", "03-01"], ["02-28", "03-02"]),
    ],
)
def test_a_season_holds_both_its_ends_and_may_run_over_the_new_year(
    season: tuple[MonthDay, MonthDay], inside: list[str], outside: list[str]
) -> None:
    clock = window("08:00", "09:00", Days(season=season))
    calendar = calendar_of(clock)
    for text, expected in [(t, True) for t in inside] + [(t, False) for t in outside]:
        assert calendar.is_closed(clock, at(f"2024-{text}T08:30")) == expected


def test_seasons_never_raise_over_four_hundred_years() -> None:
    """The Gregorian calendar repeats after 400 years: every date against every kind of season."""
    seasons: list[tuple[MonthDay, MonthDay]] = [((2, 29), (2, 29)), ((12, 31), (1, 1))]
    counts = [0, 0]
    for ordinal in range(date(1970, 1, 1).toordinal(), date(2370, 1, 1).toordinal()):
        for number, season in enumerate(seasons):
            counts[number] += in_span(date.fromordinal(ordinal), *season)
    assert counts == [97, 800]


def test_holidays_of_the_file_are_spans_of_dates_or_of_every_year() -> None:
    calendar = calendar_of(
        holidays=(
            Holiday("Works closed", date(2026, 7, 13), date(2026, 7, 31)),
            Holiday("Year's end", (12, 24), (1, 2)),
            Holiday("Founding day", (7, 20), (7, 20)),
        )
    )
    named = {
        "2026-07-12": None,
        "2026-07-13": "Works closed",
        "2026-07-20": "Works closed",  # the first in the file
        "2027-07-20": "Founding day",
        "2026-07-31": "Works closed",
        "2027-07-13": None,
        "2026-12-24": "Year's end",
        "2029-01-02": "Year's end",
        "2029-01-03": None,
    }
    found = {text: calendar.holiday(date.fromisoformat(text)) for text in named}
    assert found == named
    assert calendar.problems == ()


def test_events_leave_out_holidays() -> None:
    clock = event("08:00", Days((MON, TUE), except_holidays=True))
    plain = event("08:00", Days((MON, TUE)))
    calendar = calendar_of(clock, holidays=(Holiday("Spring", (4, 6), (4, 7)),))
    low, high = at("2026-04-01T00:00"), at("2026-04-15T00:00")
    assert len(occurrences(calendar, plain, low, high)) == 4
    assert occurrences(calendar, clock, low, high) == [
        at("2026-04-13T08:00"),
        at("2026-04-14T08:00"),
    ]


def test_public_holidays_come_from_a_country_or_a_part_of_it() -> None:
    pytest.importorskip("holidays")
    # FROM MEMORY: Epiphany is a holiday in Bavaria and not in all of Germany
    christmas, epiphany = date(2026, 12, 25), date(2026, 1, 6)
    whole, part = calendar_of(code="DE"), calendar_of(code="DE-BY")
    assert whole.holiday(christmas)
    assert whole.holiday(epiphany) is None
    assert part.holiday(epiphany)
    assert whole.holiday(date(2026, 7, 15)) is None
    assert whole.holiday(date.min) is None
    assert whole.holiday(date.max) is None
    assert whole.problems == part.problems == ()
    clock = window("08:00", "16:00", Days(except_holidays=True))
    calendar = calendar_of(clock, code="DE-BY")
    assert not calendar.is_closed(clock, at("2026-01-06T12:00"))
    assert calendar.is_closed(clock, at("2026-01-07T12:00"))


def test_holidays_of_the_file_come_before_public_ones() -> None:
    pytest.importorskip("holidays")
    calendar = calendar_of(code="NO", holidays=(Holiday("Our day", (5, 17), (5, 17)),))
    assert calendar.holiday(date(2026, 5, 17)) == "Our day"
    assert calendar.holiday(date(2026, 5, 1)) not in (None, "Our day")


def test_every_holiday_of_the_reference_file() -> None:
    path = REFERENCE / "holiday_checks.csv"
    if not path.exists():
        pytest.skip("the reference values are not here")
    pytest.importorskip("holidays")
    calendars = {"US federal": calendar_of(code="US"), "England": calendar_of(code="GB-ENG")}
    norway = calendar_of(code="NO")  # Easter Sunday has a name there
    checked = 0
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            day = date.fromisoformat(row["date"])
            if row["kind"].startswith("Easter"):
                if day.year >= 1990:
                    assert norway.holiday(day) is not None
                    assert norway.holiday(day + timedelta(1)) is not None  # Easter Monday
                    assert norway.holiday(day - timedelta(1)) is None
                    checked += 1
                continue
            place, name = row["kind"].split(": ")
            assert name in (calendars[place].holiday(day) or "").split("; ")
            checked += 1
    assert checked > 50


@pytest.mark.parametrize(
    "code", ["", "no", "NOR", "Norway", "N", "XX", "DE-ZZ", "DE-", "-BY", "DE-by", "../x", "DE\0"]
)
def test_an_unknown_holiday_calendar_is_said_so(code: str) -> None:
    pytest.importorskip("holidays")
    found = public_holidays(code)
    assert isinstance(found, Missing)
    calendar = calendar_of(code=code)
    assert calendar.problems == (found.reason,)
    assert calendar.holiday(date(2026, 12, 25)) is None


def test_a_missing_package_is_said_so_and_nothing_raises(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "holidays", None)  # an import of it now fails
    clock = window("08:00", "16:00", Days(except_holidays=True))
    calendar = calendar_of(clock, code="NO", holidays=(Holiday("Ours", (1, 6), (1, 6)),))
    assert len(calendar.problems) == 1
    assert re.search(r"package 'holidays' is not installed", calendar.problems[0])
    assert calendar.is_closed(clock, at("2026-12-25T12:00"))
    assert not calendar.is_closed(clock, at("2026-01-06T12:00"))  # the file's own still hold


def test_an_unknown_zone_is_said_so_and_counts_as_utc() -> None:
    clock = window("08:00", "09:00")
    calendar = calendar_of(clock, zone="../x")
    assert len(calendar.problems) == 1
    assert "'../x'" in calendar.problems[0]
    assert calendar.is_closed(clock, at("2026-01-01T08:30"))
    assert polar_days(Site("", "../x", 80.0, 0.0), 2019) == polar_days(
        Site("", "UTC", 80.0, 0.0), 2019
    )


# --- properties of the answers

moments = st.one_of(
    st.integers(0, DAY // SECOND - 1).map(lambda s: TimeOfDay(s * SECOND)),
    st.integers(0, 47).map(lambda half: TimeOfDay(half * 30 * MINUTE)),
    st.builds(
        SunTime,
        st.sampled_from(["sunrise", "sunset"]),
        st.sampled_from([0, 0, -20 * MINUTE, 45 * MINUTE, -10 * HOUR, 23 * HOUR]),
    ),
)
month_days = st.dates(date(2024, 1, 1), date(2024, 12, 31)).map(lambda d: (d.month, d.day))
day_sets = st.builds(
    Days,
    st.sets(st.integers(0, 6), min_size=1).map(lambda days: tuple(sorted(days))),
    st.none() | st.tuples(month_days, month_days),
    st.booleans(),
)
windows = st.builds(window, moments, moments, day_sets)
events_at = st.builds(event, moments, day_sets)
places = st.sampled_from([(59.91, 10.75), (69.65, 18.96), (-77.0, 166.0), (0.0, 0.0), (90.0, 0.0)])
instants = st.integers(at("1971-01-01T00:00"), at("2198-01-01T00:00"))
some_holidays = (
    Holiday("A", (3, 28), (4, 3)),
    Holiday("B", date(2026, 10, 24), date(2026, 10, 26)),
)


def any_calendar(clock: Clock, zone: str, place: tuple[float, float]) -> Calendar:
    return calendar_of(clock, zone=zone, place=place, holidays=some_holidays)


@given(windows, st.sampled_from(ZONES), places, instants, st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=60)
def test_the_next_edge_is_the_first_change(
    clock: Clock, zone: str, place: tuple[float, float], now: int, draw: random.Random
) -> None:
    calendar = any_calendar(clock, zone, place)
    closed = calendar.is_closed(clock, now)
    edge = calendar.next_edge(clock, now)
    high = now + HORIZON if edge is None else edge - 1
    between = [now + (high - now) * k // 150 for k in range(151)]
    between += [draw.randint(now, high) for _ in range(50)]
    assert {calendar.is_closed(clock, t) for t in between} == {closed}
    if edge is not None:
        assert now < edge <= now + HORIZON
        assert calendar.is_closed(clock, edge) != closed
        # a calendar that is first asked about the edge, and not about what came before
        fresh = any_calendar(clock, zone, place)
        assert fresh.is_closed(clock, edge) != fresh.is_closed(clock, edge - 1)
    assert calendar.next_change(now) == edge


@given(
    events_at,
    st.sampled_from(ZONES),
    places,
    instants,
    st.sampled_from([1, 10, SECOND, HOUR, DAY, 7 * DAY, 40 * DAY, 366 * DAY]),
)
@settings(deadline=None, max_examples=60)
def test_events_between_two_moments_agree_with_events_after_the_first(
    clock: Clock, zone: str, place: tuple[float, float], after: int, span: int
) -> None:
    calendar = any_calendar(clock, zone, place)
    upto = after + span
    walked = occurrences(calendar, clock, after, upto + 1)
    fresh = any_calendar(clock, zone, place)
    assert fresh.occurrence_between(clock, after, upto) == (walked[-1] if walked else None)
    assert fresh.occurrence_between(clock, upto, after) is None
    for t in walked[:20]:
        assert calendar.occurrence_between(clock, t - 1, t) == t
        assert calendar.occurrence_between(clock, t, t) is None
        assert calendar.occurrence_after(clock, t - 1) == t
    assert calendar.next_change(after) == calendar.occurrence_after(clock, after)


def test_windows_have_no_events_and_events_no_edges() -> None:
    clock, bell = window("08:00", "09:00"), event("08:00")
    calendar = calendar_of(clock, bell)
    now = at("2026-01-01T08:00")
    assert calendar.occurrence_after(clock, now) is None
    assert calendar.occurrence_between(clock, now - DAY, now) is None
    assert calendar.next_edge(bell, now) is None
    assert not calendar.is_closed(bell, now)


def test_the_next_change_is_the_first_of_all_clocks() -> None:
    clocks = (
        Clock("a", tod("08:00"), tod("09:00")),
        Clock("b", tod("08:30")),
        Clock("c", tod("08:30"), tod("08:30")),
    )
    calendar = calendar_of(*clocks)
    now, seen = at("2026-01-01T00:00"), []
    for _ in range(4):
        change = calendar.next_change(now)
        assert change is not None
        seen.append(change)
        now = change
    texts = ["2026-01-01T08:00", "2026-01-01T08:30", "2026-01-01T09:00", "2026-01-02T08:00"]
    assert seen == [at(text) for text in texts]
    assert calendar_of().next_change(now) is None


def test_what_is_farther_than_the_horizon_is_not_found_yet() -> None:
    clock = event("12:00", Days(season=((2, 29), (2, 29))))
    calendar = calendar_of(clock)
    leap_day = at("2028-02-29T12:00")
    assert calendar.occurrence_after(clock, leap_day - HORIZON - 1) is None
    assert calendar.next_change(leap_day - HORIZON - 1) is None
    assert calendar.occurrence_after(clock, leap_day - HORIZON) == leap_day
    assert calendar.occurrence_between(clock, leap_day - 4 * 366 * DAY, leap_day + DAY) == leap_day


def test_clocks_of_one_name_are_not_mixed_up() -> None:
    calendar = calendar_of()
    early, late = Clock("c", tod("08:00"), tod("09:00")), Clock("c", tod("10:00"), tod("11:00"))
    now = at("2026-01-01T08:30")
    assert calendar.is_closed(early, now)
    assert not calendar.is_closed(late, now)
    assert calendar.is_closed(early, now)


@pytest.mark.parametrize(
    "now", [-(1 << 60), at("0001-01-01T00:00"), at("9999-12-31T22:30"), 1 << 60]
)
def test_the_ends_of_the_calendar_do_not_raise(now: int) -> None:
    clocks = (window("22:00", "06:00"), window(sunset(), rise()), event(rise()), event("23:00"))
    for clock in clocks:
        for latitude in (60.0, 90.0, -90.0):
            calendar = calendar_of(clock, zone="Europe/Oslo", place=(latitude, 10.0))
            assert calendar.is_closed(clock, now) in (True, False)
            change = calendar.next_change(now)
            assert change is None or change > now
            found = calendar.occurrence_between(clock, now - 30 * DAY, now)
            assert found is None or found <= now


# --- cost


def year_clocks() -> tuple[Clock, ...]:
    return (
        Clock("a", sunset(-20 * MINUTE), rise()),
        Clock("b", rise(), sunset()),
        Clock("c", tod("22:00"), tod("06:00")),
        Clock("d", tod("07:00"), tod("16:00"), Days(WEEKDAYS, except_holidays=True)),
        Clock("e", sunset(), tod("23:00")),
        Clock("f", tod("06:00"), rise(HOUR)),
        Clock("g", tod("12:00"), tod("13:00")),
        Clock("h", tod("15:00"), tod("15:15"), Days(season=((5, 1), (9, 30)))),
        Clock("i", tod("23:00")),
        Clock("j", rise(SECOND)),
        Clock("k", tod("02:30")),
    )


def test_a_year_of_changes_works_out_each_day_of_a_clock_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made: list[tuple[str, int]] = []
    make = Calendar._make

    def counted(self: Calendar, clock: Clock, low: int, high: int) -> _Stretch:
        made.append((clock.name, low))
        return make(self, clock, low, high)

    monkeypatch.setattr(Calendar, "_make", counted)
    calendar = calendar_of(*year_clocks(), zone="Europe/Oslo", place=OSLO_PLACE)
    now, end = at("2026-01-01T00:00"), at("2027-01-01T00:00")
    changes = 0
    while True:
        change = calendar.next_change(now)
        assert change is not None
        assert change > now
        if change >= end:
            break
        now, changes = change, changes + 1
    assert changes > 4_500
    assert len(set(made)) == len(made)


def test_a_long_run_keeps_a_bounded_number_of_days() -> None:
    calendar = calendar_of(*year_clocks(), zone="Europe/Oslo", place=OSLO_PLACE)
    now, sizes = at("1970-01-01T00:00"), []
    for _ in range(60):
        for clock in calendar.clocks:
            calendar.is_closed(clock, now)
            calendar.occurrence_between(clock, now - 40 * DAY, now)
        now += 41 * DAY
        sizes.append(sum(len(kept) for _, kept in calendar._tracks.values()))
    assert sizes[-1] == sizes[-10] < 400
