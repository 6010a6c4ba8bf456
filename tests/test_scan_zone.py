"""Wall times to instants and back, by RFC 5545 section 3.3.5."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND, Zone, load_zone, utc

REFERENCE = Path(__file__).parents[2] / "shared" / "reference"
EPOCH = datetime(1970, 1, 1)

ZONES = (
    "Europe/Oslo",
    "America/New_York",
    "Australia/Lord_Howe",
    "America/Santiago",
    "Antarctica/Troll",
    "Pacific/Apia",
    "America/St_Johns",
    "Africa/Cairo",
    "Asia/Kolkata",
)


def zone_of(key: str) -> Zone:
    zone = load_zone(key)
    assert zone is not None
    return zone


def at(text: str) -> int:
    """An instant in ms from ISO 8601 text with an offset."""
    moment = datetime.fromisoformat(text)
    assert moment.tzinfo is not None
    return (moment.astimezone(UTC).replace(tzinfo=None) - EPOCH) // timedelta(milliseconds=1)


def wall(text: str) -> tuple[date, int]:
    """A wall time from ISO 8601 text without an offset."""
    moment = datetime.fromisoformat(text)
    midnight = datetime(moment.year, moment.month, moment.day)
    return moment.date(), (moment - midnight) // timedelta(milliseconds=1)


def minutes(text: str) -> int:
    """`+05:30` in minutes."""
    hours, rest = int(text[1:3]), int(text[4:6])
    return (hours * 60 + rest) * (-1 if text[0] == "-" else 1)


# --- keys


@pytest.mark.parametrize(
    "key",
    [
        "",
        ".",
        "..",
        "../x",
        "../../etc/passwd",
        "/etc/passwd",
        "Europe/../Europe/Oslo",
        "Europe/Oslo/",
        "Europe//Oslo",
        "Europe",
        "Europe/Oslo\0",
        "a\0b",
        "\0",
        "Europe/Oslo ",
        "Nowhere/Town",
        "x" * 5000,
        "\ud800",
        "zone.tab",
        "tzdata.zi",
        "localtime",
        "posixrules",
        "right/UTC",
        "posix/UTC",
        "CET-1CEST",
    ],
)
def test_a_key_that_is_no_zone_gives_none(key: str) -> None:
    assert load_zone(key) is None


@given(st.text(max_size=40))
@settings(deadline=None, max_examples=80)
def test_no_key_raises(key: str) -> None:
    zone = load_zone(key)
    assert zone is None or zone.key == key


def test_zones_of_one_key_are_equal_and_of_two_keys_are_not() -> None:
    assert zone_of("Europe/Oslo") == zone_of("Europe/Oslo")
    assert zone_of("Europe/Oslo") != zone_of("Europe/Berlin")
    assert utc().offset(at("2026-07-01T00:00+00:00")) == 0


# --- transitions

# COMPUTED from tzdata 2026f by bisection, the first six checked by the civil rule of the place:
# zone, instant of the change, kind, offsets before and after, first wall time of the gap or overlap
TRANSITIONS = [
    ("America/New_York", "2026-03-08T07:00+00:00", "gap", "-05:00", "-04:00", "2026-03-08T02:00"),
    ("America/New_York", "2026-11-01T06:00+00:00", "overlap", "-04:00", "-05:00", "2026-11-01T01"),
    ("Europe/Berlin", "2026-03-29T01:00+00:00", "gap", "+01:00", "+02:00", "2026-03-29T02:00"),
    ("Europe/Berlin", "2026-10-25T01:00+00:00", "overlap", "+02:00", "+01:00", "2026-10-25T02:00"),
    (
        "Australia/Lord_Howe",
        "2026-04-04T15:00+00:00",
        "overlap",
        "+11:00",
        "+10:30",
        "2026-04-05T01:30",
    ),
    (
        "Australia/Lord_Howe",
        "2026-10-03T15:30+00:00",
        "gap",
        "+10:30",
        "+11:00",
        "2026-10-04T02:00",
    ),
    (
        "America/Santiago",
        "2026-04-05T03:00+00:00",
        "overlap",
        "-03:00",
        "-04:00",
        "2026-04-04T23:00",
    ),
    ("America/Santiago", "2026-09-06T04:00+00:00", "gap", "-04:00", "-03:00", "2026-09-06T00:00"),
    ("Antarctica/Troll", "2026-03-29T01:00+00:00", "gap", "+00:00", "+02:00", "2026-03-29T01:00"),
    (
        "Antarctica/Troll",
        "2026-10-25T01:00+00:00",
        "overlap",
        "+02:00",
        "+00:00",
        "2026-10-25T01:00",
    ),
]


def check_transition(key: str, change: int, before: int, after: int, first: str) -> None:
    """Offsets on both sides of a change, and every wall time in and around its gap or overlap."""
    zone = zone_of(key)
    assert zone.offset(change - 1) == before * MINUTE
    assert zone.offset(change) == after * MINUTE
    day, ms = wall(first)
    size = abs(after - before)
    for step in range(size):
        instant = zone.instant(day, ms + step * MINUTE)
        if after > before:
            assert instant == change + step * MINUTE
        else:
            assert instant == change - size * MINUTE + step * MINUTE
            # the same wall time comes again after the change
            assert zone.local(instant + size * MINUTE) == zone.local(instant)
    assert zone.instant(day, ms - 1) < zone.instant(day, ms)
    beyond = ms + size * MINUTE
    assert zone.instant(day, beyond) == change + (0 if after > before else size * MINUTE)


@pytest.mark.parametrize("key, change, kind, before, after, first", TRANSITIONS)
def test_times_in_gaps_and_overlaps(
    key: str, change: str, kind: str, before: str, after: str, first: str
) -> None:
    assert (kind == "gap") == (minutes(after) > minutes(before))
    check_transition(key, at(change), minutes(before), minutes(after), first)


def test_every_transition_of_the_reference_file() -> None:
    path = REFERENCE / "dst_transitions.csv"
    if not path.exists():
        pytest.skip("the reference values are not here")
    changes = 0
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            before, after = minutes(row["offset_before"]), minutes(row["offset_after"])
            if row["kind"] == "none":
                zone = zone_of(row["zone"])
                start, end = at("2024-01-01T00:00+00:00"), at("2028-01-01T00:00+00:00")
                assert {zone.offset(t) for t in range(start, end, HOUR)} == {before * MINUTE}
                continue
            assert int(row["size_min"]) == abs(after - before)
            change = at(row["instant_utc"].replace("Z", "+00:00"))
            check_transition(row["zone"], change, before, after, row["wall_interval_start"])
            changes += 1
    assert changes > 80


def test_every_fifth_zone_follows_the_rule_at_each_change_from_2000_to_2037() -> None:
    start, end = at("2000-01-01T00:00+00:00"), at("2038-01-01T00:00+00:00")
    checked = 0
    for key in sorted(available_timezones())[::5]:
        zone = load_zone(key)
        if zone is None:
            continue
        offset = zone.offset(start)
        for t in range(start, end, 28 * DAY):
            after = zone.offset(t + 28 * DAY)
            if after == offset:
                continue
            low, high = t, t + 28 * DAY  # the change lies between them
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if zone.offset(middle) == after else (middle, high)
            change, before, offset = high, zone.offset(high - 1), after
            if before == after:
                continue  # more than one change in these days
            checked += 1
            half = abs(after - before) // 2
            if after > before:  # the middle of the gap, by the offset before it
                assert zone.instant(*_day_and_ms(change + before + half)) == change + half
            else:  # the middle of the repeated time, the first time that it comes
                assert zone.instant(*_day_and_ms(change + after + half)) == change - half
    assert checked > 1000


def _day_and_ms(wall_ms: int) -> tuple[date, int]:
    days, ms = divmod(wall_ms, DAY)
    return date(1970, 1, 1) + timedelta(days), ms


# --- there and back

instants = st.integers(at("1970-01-02T00:00+00:00"), at("2199-12-30T00:00+00:00"))
days = st.dates(date(1970, 1, 2), date(2199, 12, 30))


@given(st.sampled_from(ZONES), instants)
@settings(deadline=None, max_examples=50)
def test_local_time_is_what_the_standard_library_says(key: str, instant: int) -> None:
    zone = zone_of(key)
    moment = datetime.fromtimestamp(instant // 1000, ZoneInfo(key))
    seconds = (moment.hour * 60 + moment.minute) * 60 + moment.second
    assert zone.local(instant) == (moment.date(), seconds * 1000 + instant % 1000)


@given(st.sampled_from(ZONES), days, st.integers(0, DAY - 1))
@settings(deadline=None, max_examples=50)
def test_a_wall_time_comes_back_unless_a_gap_took_it(key: str, day: date, ms: int) -> None:
    zone = zone_of(key)
    instant = zone.instant(day, ms)
    if zone.local(instant) != (day, ms):
        # no instant near shows that wall time
        size = zone.offset(instant) - zone.offset(instant - DAY)
        assert size > 0
        assert zone.local(instant - size) != (day, ms)
    else:  # and none earlier shows it
        for back in (30 * MINUTE, HOUR, 2 * HOUR):
            assert zone.local(instant - back) != (day, ms)


@given(st.sampled_from(ZONES), days)
@settings(deadline=None, max_examples=50)
def test_days_join_without_a_hole(key: str, day: date) -> None:
    zone = zone_of(key)
    start, end = zone.day_bounds(day)
    assert start <= end == zone.day_bounds(day + timedelta(1))[0]
    if start < end:
        assert zone.local(start)[0] == day
        assert zone.local(start - 1)[0] < day
        assert zone.local(end)[0] > day


@pytest.mark.parametrize(
    "key, day, hours",
    [
        ("Europe/Oslo", "2026-03-29", 23),
        ("Europe/Oslo", "2026-10-25", 25),
        ("Australia/Lord_Howe", "2026-10-04", 23.5),
        ("Antarctica/Troll", "2026-10-25", 26),
        ("America/Santiago", "2026-09-06", 23),  # without a midnight
        ("America/Santiago", "2026-04-04", 25),  # the hour before midnight comes twice
    ],
)
def test_days_have_the_length_that_the_changes_give_them(key: str, day: str, hours: float) -> None:
    start, end = zone_of(key).day_bounds(date.fromisoformat(day))
    assert end - start == hours * HOUR


def test_a_date_that_the_zone_skipped_is_empty() -> None:
    # Samoa went west of the date line, tzdata: 2011-12-30 did not happen (READ in tzdata)
    zone = zone_of("Pacific/Apia")
    change = at("2011-12-30T10:00+00:00")
    assert zone.day_bounds(date(2011, 12, 29)) == (change - DAY, change)
    assert zone.day_bounds(date(2011, 12, 30)) == (change, change)
    assert zone.day_bounds(date(2011, 12, 31)) == (change, change + DAY)
    assert zone.local(change - 1) == (date(2011, 12, 29), DAY - 1)
    assert zone.local(change) == (date(2011, 12, 31), 0)
    # by the offset before the gap
    assert zone.instant(date(2011, 12, 30), 8 * HOUR) == change + 8 * HOUR


def test_a_gap_over_midnight_begins_the_day_at_its_end() -> None:
    # tzdata: Toronto went from 23:30 to 00:30 on the night to 1919-03-31
    zone = zone_of("America/Toronto")
    change = at("1919-03-30T23:30-05:00")
    assert zone.offset(change) - zone.offset(change - 1) == HOUR
    assert zone.day_bounds(date(1919, 3, 31))[0] == change
    assert zone.day_bounds(date(1919, 3, 30))[1] == change
    assert zone.instant(date(1919, 3, 31), 0) == change + 30 * MINUTE


@pytest.mark.parametrize("key", [*ZONES, "UTC"])
def test_the_ends_of_the_calendar_do_not_raise(key: str) -> None:
    zone = zone_of(key)
    for day in (date.min, date.max):
        for ms in (0, DAY - 1, 2 * DAY):
            assert isinstance(zone.instant(day, ms), int)
        start, end = zone.day_bounds(day)
        assert end - start == DAY
    for huge in (-(1 << 62), 1 << 62):
        assert zone.local(huge) == ((date.min, 0) if huge < 0 else (date.max, DAY - 1))
        assert isinstance(zone.offset(huge), int)


def test_a_time_past_midnight_belongs_to_the_next_date() -> None:
    zone = zone_of("Europe/Oslo")
    eve = date(2026, 3, 28)
    assert zone.instant(eve, DAY + 6 * HOUR) == zone.instant(date(2026, 3, 29), 6 * HOUR)
    assert zone.instant(eve, 22 * HOUR) + 7 * HOUR == zone.instant(eve, DAY + 6 * HOUR)


@pytest.mark.parametrize(
    "key, when, text",
    [
        ("Europe/Oslo", "2026-07-01T00:00+00:00", "+02:00"),
        ("America/St_Johns", "2026-01-01T00:00+00:00", "-03:30"),
        ("UTC", "2026-01-01T00:00+00:00", "+00:00"),
        # Liberia kept its mean time until 1972 (READ in tzdata)
        ("Africa/Monrovia", "1971-06-01T00:00+00:00", "-00:44:30"),
    ],
)
def test_an_offset_reads_as_hours_and_minutes(key: str, when: str, text: str) -> None:
    assert zone_of(key).offset_text(at(when)) == text


def test_milliseconds_are_kept() -> None:
    zone = zone_of("Asia/Kolkata")
    instant = zone.instant(date(2026, 6, 1), 123)
    assert instant == at("2026-05-31T18:30:00.123+00:00")
    assert zone.local(instant + SECOND) == (date(2026, 6, 1), 1123)
