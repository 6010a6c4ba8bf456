"""Sunrise and sunset against published almanacs, and against altitudes from ephem."""

from __future__ import annotations

import csv
import math
import random
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import ephem
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.scan.sun import SunDay, sun_events, sun_is_up
from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND, Zone, load_zone

REFERENCE = Path(__file__).parents[2] / "shared" / "reference"


def zone_of(key: str) -> Zone:
    zone = load_zone(key)
    assert zone is not None
    return zone


UTC_ZONE = zone_of("UTC")
OSLO = zone_of("Europe/Oslo")


def at(text: str) -> int:
    moment = datetime.fromisoformat(text).replace(tzinfo=UTC)
    return int(moment.timestamp() * 1000)


def altitude(latitude: float, longitude: float, instant: int) -> float:
    """The altitude of the sun's centre in degrees without refraction, by ephem's observer."""
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(latitude), math.radians(longitude)
    observer.pressure = 0
    observer.date = 25567.5 + instant / DAY  # ephem counts days from 1899-12-31T12:00
    sun = ephem.Sun()
    sun.compute(observer)
    return math.degrees(float(sun.alt))


# --- published values

# READ: USNO values quoted in pvlib-python, pvlib/tests/test_spa.py at commit 014cda24 (Golden);
# USNO year tables for 2019 stored in cosinekitty/astronomy, generate/riseset, at commits 865d3da7
# and 0be57450 (29 N, 60 S, 80 N, 80 S); NREL/TP-560-34302 as quoted in the same pvlib test (35 S).
# The tables are in whole minutes. Columns: latitude, longitude, zone, local date, event, instant
# in UTC, tolerance in seconds.
PUBLISHED = [
    (39.0, -105.0, "Etc/GMT+7", "2015-01-02", "rise", "2015-01-02T14:19:00", 60),
    (39.0, -105.0, "Etc/GMT+7", "2015-01-02", "set", "2015-01-02T23:49:00", 60),
    (39.0, -105.0, "Etc/GMT+7", "2015-08-02", "set", "2015-08-03T02:10:00", 60),
    (-35.0, 0.0, "UTC", "1996-07-05", "rise", "1996-07-05T07:08:15", 30),
    (-35.0, 0.0, "UTC", "1996-07-05", "set", "1996-07-05T17:01:04", 30),
    (-35.0, 0.0, "UTC", "2004-12-04", "rise", "2004-12-04T04:38:57", 30),
    (-35.0, 0.0, "UTC", "2004-12-04", "set", "2004-12-04T19:02:02", 30),
    (29.0, -81.0, "UTC", "2019-06-21", "set", "2019-06-21T00:26:00", 60),
    (29.0, -81.0, "UTC", "2019-12-21", "rise", "2019-12-21T12:13:00", 60),
    (-60.0, -150.0, "UTC", "2019-03-20", "rise", "2019-03-20T16:00:00", 60),
    (-60.0, -150.0, "UTC", "2019-03-20", "set", "2019-03-20T04:16:00", 60),
    (80.0, 0.0, "UTC", "2019-02-21", "rise", "2019-02-21T11:20:00", 60),
    (80.0, 0.0, "UTC", "2019-10-21", "set", "2019-10-21T12:23:00", 60),
    (-80.0, -150.0, "UTC", "2019-02-25", "set", "2019-02-25T09:52:00", 60),
    (-80.0, -150.0, "UTC", "2019-08-25", "rise", "2019-08-25T21:15:00", 60),
]

# READ: the same USNO tables
PUBLISHED_POLAR = [
    (80.0, 0.0, "2019-02-20", "down"),
    (80.0, 0.0, "2019-04-14", "up"),
    (80.0, 0.0, "2019-10-22", "down"),
    (-80.0, -150.0, "2019-02-24", "up"),
    (-80.0, -150.0, "2019-04-18", "down"),
    (-80.0, -150.0, "2019-10-17", "up"),
]


def check_event(
    place: tuple[float, float], zone: Zone, day: str, event: str, instant: int, tolerance: int
) -> None:
    found = sun_events(*place, zone, date.fromisoformat(day))
    times = found.rises if event == "rise" else found.sets
    assert len(times) == 1
    assert abs(times[0] - instant) <= tolerance * SECOND
    assert not found.always_up
    assert not found.never_up


@pytest.mark.parametrize("latitude, longitude, key, day, event, when, tolerance", PUBLISHED)
def test_events_stand_in_the_almanac(
    latitude: float, longitude: float, key: str, day: str, event: str, when: str, tolerance: int
) -> None:
    check_event((latitude, longitude), zone_of(key), day, event, at(when), tolerance)


@pytest.mark.parametrize("latitude, longitude, day, state", PUBLISHED_POLAR)
def test_polar_days_and_nights_stand_in_the_almanac(
    latitude: float, longitude: float, day: str, state: str
) -> None:
    found = sun_events(latitude, longitude, UTC_ZONE, date.fromisoformat(day))
    assert found == SunDay((), (), state == "up", state == "down")


def test_every_row_of_the_reference_file() -> None:
    path = REFERENCE / "sun_times.csv"
    if not path.exists():
        pytest.skip("the reference values are not here")
    zones = {"UTC": "UTC", "UTC-07:00": "Etc/GMT+7", "UTC-04:00": "Etc/GMT+4"}
    zones |= {"UTC+08:00": "Etc/GMT-8", "UTC-05:00": "Etc/GMT+5", "UTC-09:00": "Etc/GMT+9"}
    zones |= {"UTC-08:00": "Etc/GMT+8"}
    rows = 0
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            place = float(row["lat"]), float(row["lon"])
            zone = zone_of(zones[row["tz"].split(" ")[0]])
            if row["event"].startswith("ALWAYS"):
                found = sun_events(*place, zone, date.fromisoformat(row["local_date"]))
                up = row["event"] == "ALWAYS_UP"
                assert found == SunDay((), (), up, not up)
            else:
                instant, tolerance = at(row["published_utc"][:19]), int(row["tolerance_s"])
                check_event(place, zone, row["local_date"], row["event"], instant, tolerance)
            rows += 1
    assert rows > 50


# --- altitudes


def test_the_sun_is_up_when_its_altitude_says_so() -> None:
    draw = random.Random(20260101)
    for _ in range(1500):
        place = draw.uniform(-90, 90), draw.uniform(-180, 180)
        instant = draw.randrange(at("1970-01-01"), at("2199-12-31"))
        above = altitude(*place, instant) + 50 / 60
        if abs(above) > 0.001:  # degrees; a quarter of a second of time on the equator
            assert sun_is_up(*place, instant) == (above > 0)


def test_the_sun_crosses_the_horizon_in_the_second_of_the_event() -> None:
    draw = random.Random(7)
    for _ in range(250):
        place = draw.uniform(-66, 66), draw.uniform(-180, 180)
        found = sun_events(*place, UTC_ZONE, date(1970, 1, 2) + timedelta(draw.randrange(83_000)))
        for times, sign in ((found.rises, 1), (found.sets, -1)):
            for t in times:
                assert t % SECOND == 0
                assert sign * (altitude(*place, t + SECOND // 2) + 50 / 60) > 0
                assert sign * (altitude(*place, t - 3 * SECOND // 2) + 50 / 60) < 0


@given(
    st.floats(-60, 60),
    st.floats(-180, 180),
    st.dates(date(1970, 1, 2), date(2199, 12, 30)),
)
@settings(deadline=None, max_examples=50)
def test_events_are_the_ones_ephem_searches_for(
    latitude: float, longitude: float, day: date
) -> None:
    start, end = UTC_ZONE.day_bounds(day)
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(latitude), math.radians(longitude)
    observer.pressure, observer.horizon = 0, "-0:50"
    observer.date = 25567.5 + start / DAY
    found = sun_events(latitude, longitude, UTC_ZONE, day)
    for search, times in ((observer.next_rising, found.rises), (observer.next_setting, found.sets)):
        first = (float(search(ephem.Sun(), use_center=True)) - 25567.5) * DAY
        if times:
            assert abs(times[0] - first) < 2 * SECOND
        else:  # a day can lie between an event just before it and one just after
            assert first >= end - SECOND


@pytest.mark.parametrize("latitude", [66.2, 69.65, 78.2, 85.0, -67.6, -80.0])
def test_between_events_the_sun_stays_up_or_down_all_year(latitude: float) -> None:
    """Every altitude at steps of 31 minutes fits the events, and so do the days without."""
    state: bool | None = None
    for number in range(365):
        day = date(2026, 1, 1) + timedelta(number)
        start, end = OSLO.day_bounds(day)
        found = sun_events(latitude, 18.96, OSLO, day)
        events = sorted([(t, True) for t in found.rises] + [(t, False) for t in found.sets])
        assert found.always_up == (not events and sun_is_up(latitude, 18.96, start))
        assert found.never_up == (not events and not sun_is_up(latitude, 18.96, start))
        for t in range(start, end, 31 * MINUTE):
            above = altitude(latitude, 18.96, t) + 50 / 60
            passed = [up for event, up in events if event <= t]
            state = passed[-1] if passed else (above > 0 if state is None else state)
            assert state == (above > 0) or abs(above) < 0.005
        state = events[-1][1] if events else state


def test_a_sun_that_peeps_over_the_horizon_rises_and_sets() -> None:
    # COMPUTED by stepping along the noon altitude: where the sun just clears the horizon
    noon = max(
        range(at("2026-12-21T09:00"), at("2026-12-21T13:00"), MINUTE),
        key=lambda t: altitude(67.0, 18.96, t),
    )
    top = altitude(67.0, 18.96, noon) + 50 / 60
    for above, count in ((0.002, 1), (-0.002, 0)):
        place = 67.0 + top - above, 18.96  # a degree north lowers the noon sun by a degree
        found = sun_events(*place, OSLO, date(2026, 12, 21))
        assert (len(found.rises), len(found.sets)) == (count, count)
        assert found.never_up == (count == 0)
        if count:
            assert 0 < found.sets[0] - found.rises[0] < HOUR
            assert found.rises[0] < noon < found.sets[0]


def test_a_sun_that_dips_under_the_horizon_sets_and_rises() -> None:
    low = min(
        range(at("2026-06-20T21:00"), at("2026-06-21T02:00"), MINUTE),
        key=lambda t: altitude(66.0, 18.96, t),
    )
    depth = -(altitude(66.0, 18.96, low) + 50 / 60)
    for below, count in ((0.002, 1), (-0.002, 0)):
        place = 66.0 + depth - below, 18.96  # a degree north lifts the midnight sun by a degree
        # the date of a zone in which that moment is in the afternoon
        found = sun_events(*place, zone_of("Etc/GMT+11"), date(2026, 6, 20))
        assert len(found.sets) == len(found.rises) == count
        assert found.always_up == (count == 0)
        if count:
            assert found.sets[0] < low < found.rises[0]


# --- dates


@given(
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.sampled_from(["Europe/Oslo", "Pacific/Auckland", "America/St_Johns", "Antarctica/Troll"]),
    st.dates(date(1970, 1, 5), date(2199, 12, 25)),
)
@settings(deadline=None, max_examples=50)
def test_each_event_falls_on_one_date_whatever_the_zone(
    latitude: float, longitude: float, key: str, day: date
) -> None:
    def events(zone: Zone) -> set[tuple[int, bool]]:
        found: list[tuple[int, bool]] = []
        for ahead in range(-3, 4):
            start, end = zone.day_bounds(day + timedelta(ahead))
            sun = sun_events(latitude, longitude, zone, day + timedelta(ahead))
            assert all(start <= t < end for t in sun.rises + sun.sets)
            found += [(t, True) for t in sun.rises] + [(t, False) for t in sun.sets]
        assert len(found) == len(set(found))
        return set(found)

    low = UTC_ZONE.day_bounds(day - timedelta(2))[0]
    high = UTC_ZONE.day_bounds(day + timedelta(2))[1]
    ours, others = events(zone_of(key)), events(UTC_ZONE)
    assert {e for e in ours if low <= e[0] < high} == {e for e in others if low <= e[0] < high}
    ordered = sorted(ours)
    assert all(a[1] != b[1] for a, b in pairwise(ordered))  # by turns


def test_a_date_may_hold_two_sunsets() -> None:
    # in August the sunsets of the far north cross midnight towards the evening
    counts = {
        (len(found.sets), len(found.rises))
        for number in range(365)
        for found in [sun_events(69.65, 18.96, OSLO, date(2026, 1, 1) + timedelta(number))]
    }
    assert (2, 1) in counts
    assert (0, 0) in counts


def test_no_latitude_raises() -> None:
    for latitude in (-90.0, *range(-89, 90, 2), 90.0):
        for number in range(0, 365, 13):
            day = date(2026, 1, 1) + timedelta(number)
            found = sun_events(float(latitude), 0.0, UTC_ZONE, day)
            flags = found.always_up + found.never_up
            assert flags == (0 if found.rises or found.sets else 1)


@pytest.mark.parametrize("latitude", [90.0, -90.0])
def test_at_a_pole_the_sun_rises_and_sets_once_a_year(latitude: float) -> None:
    year = [
        sun_events(latitude, 0.0, UTC_ZONE, date(2026, 1, 1) + timedelta(number))
        for number in range(365)
    ]
    assert sum(len(found.rises) for found in year) == 1
    assert sum(len(found.sets) for found in year) == 1
    assert 180 < sum(found.always_up for found in year) < 195  # refraction lengthens the day


@pytest.mark.parametrize("day", [date.min, date.max, date(1969, 12, 31), date(2200, 1, 1)])
@pytest.mark.parametrize("latitude", [-90.0, -66.0, 0.0, 66.0, 90.0])
def test_the_ends_of_the_calendar_do_not_raise(day: date, latitude: float) -> None:
    found = sun_events(latitude, 170.0, zone_of("Pacific/Auckland"), day)
    assert found.of("sunrise") == found.rises
    assert found.of("sunset") == found.sets


def test_a_date_that_the_zone_skipped_has_no_sun_at_all() -> None:
    assert sun_events(-13.8, -171.8, zone_of("Pacific/Apia"), date(2011, 12, 30)) == SunDay()


def test_the_ephemeris_is_not_loaded_before_it_is_needed() -> None:
    code = (
        "import sys, rungs.scan.calendar; print('ephem' in sys.modules, 'holidays' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
