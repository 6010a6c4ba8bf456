"""The week of the clocks against runs made minute by minute, a second library for recurrences, and
what is written down of the changes of the clocks."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import product
from pathlib import Path
from random import Random

import pytest
from dateutil.rrule import WEEKLY, rrule
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.cells import columns
from rungs.cli.main import main
from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.reduce import reduce
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.ready import Fights, fights
from rungs.report.week_model import WeekModel, week_model
from rungs.scan.calendar import build_calendar, polar_days
from rungs.scan.generate import scan_once
from rungs.scan.runner import Panel
from rungs.scan.sun import sun_events
from rungs.scan.zone import DAY, HOUR, MINUTE, load_zone
from rungs.week import decided
from rungs.week.build import monday, week
from rungs.week.data import Decision, Row, Span, Week
from rungs.week.decided import depends_on, only_needed
from rungs.week.odd import zone_changes
from rungs.week.overlaps import ways
from rungs.week.paper import week_paper
from rungs.week.strip import ASCII, BLOCKS, cells, strip_text
from tests.helpers import program_of, reference_rows
from tests.strategies import NOON, random_program

DEMOS = Path(__file__).resolve().parents[1] / "demos"

YARD = """
site "Yard" zone "{zone}" latitude {latitude} longitude {longitude}
input  push   at I1
output path   at R1
output mast   at R2 retained
output pump   at R3
output sign   at R4 NC
output bell   at R5
timer  linger off-delay 10min
clock  night  from 22:00 to 06:00 on Mon-Fri
clock  short  from 02:10 to 02:40
clock  dark   from sunset -20min to sunrise
clock  on_at  at 18:00 daily
clock  off_at at 02:30 daily
rung night or short -> path
rung on_at -> latch mast
rung off_at -> unlatch mast
rung short -> linger
rung linger -> pump
rung (push or not push) and dark -> sign
rung push and dark -> bell
"""

WEEKS = (
    ("Europe/Berlin", 52.5, 13.4, date(2026, 3, 23)),  # 02:00 is left out on the Sunday
    ("Europe/Berlin", 52.5, 13.4, date(2026, 10, 19)),  # 02:00 comes twice
    ("Australia/Lord_Howe", -31.5, 159.1, date(2026, 3, 30)),  # half an hour comes twice
    ("America/New_York", 40.7, -74.0, date(2026, 6, 8)),  # an ordinary week
)


def demo(name: str) -> Program:
    return program_of((DEMOS / f"{name}.rungs").read_text(encoding="utf-8"))


@cache
def yard_week(zone: str, latitude: float, longitude: float, first: date) -> Week:
    program = program_of(YARD.format(zone=zone, latitude=latitude, longitude=longitude))
    return week(program, first)


def closed_at(row: Row, instant: int) -> bool:
    return any(span.begin <= instant < span.end for span in row.spans)


def row_of(found: Week, name: str) -> Row:
    return next(row for row in found.rows if row.name == name)


def decision_of(found: Week, name: str) -> Decision:
    return next(each for each in found.decisions if each.output == name)


# --- rows ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "zone,latitude,longitude,first,minutes",
    [(*each, 1 if n == 0 else 5) for n, each in enumerate(WEEKS)],
)
def test_rows_are_what_a_run_shows_minute_by_minute(
    zone: str, latitude: float, longitude: float, first: date, minutes: int
) -> None:
    program = program_of(YARD.format(zone=zone, latitude=latitude, longitude=longitude))
    found = yard_week(zone, latitude, longitude, first)
    start = found.begin - DAY
    panel = Panel(program, start, minutes * MINUTE, jump=False)
    rows = [row for row in found.rows if row.kind != "at rest"]
    assert [row.name for row in rows if row.kind == "decided"] == ["path", "mast", "pump", "sign"]
    events: dict[str, list[int]] = {row.name: [] for row in rows if row.event}
    for state in panel.advance(found.end - 1 - start):
        now = start + state.t
        if now < found.begin:
            continue
        for row in rows:
            if row.event:
                if state.contacts[row.name]:
                    events[row.name].append(now)
            else:
                assert state.contacts[row.name] == closed_at(row, now), (row.name, now)
    for name, times in events.items():
        assert [span.begin for span in row_of(found, name).spans] == times


def test_a_row_says_what_goes_on_beyond_the_week() -> None:
    found = yard_week(*WEEKS[3])
    spans = row_of(found, "dark").spans
    assert (spans[0].before, spans[0].after) == (True, False)
    assert (spans[-1].before, spans[-1].after) == (False, True)
    assert not any(span.before or span.after for span in spans[1:-1])
    assert row_of(found, "sign").spans == spans


@settings(max_examples=12, deadline=None)
@given(
    st.sets(st.integers(0, 6), min_size=1),
    st.integers(0, 24 * 60 - 1),
    st.integers(1, 24 * 60 - 1),
    st.dates(date(2026, 1, 5), date(2027, 12, 1)),
)
def test_weekday_windows_are_those_of_the_standard_recurrences(
    weekdays: set[int], begin: int, length: int, first: date
) -> None:
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    end = (begin + length) % (24 * 60)
    program = program_of(
        f"output lamp at R1\nclock c from {begin // 60:02}:{begin % 60:02} to "
        f"{end // 60:02}:{end % 60:02} on {', '.join(names[d] for d in sorted(weekdays))}\n"
        "rung c -> lamp"
    )
    found = week(program, first)
    # RFC 5545, as python-dateutil reads it: FREQ=WEEKLY with BYDAY, BYHOUR and BYMINUTE
    midnight = datetime(first.year, first.month, first.day)
    rule = rrule(
        WEEKLY,
        dtstart=midnight - timedelta(days=14),
        until=midnight + timedelta(days=7),
        byweekday=sorted(weekdays),
        byhour=begin // 60,
        byminute=begin % 60,
        bysecond=0,
    )
    starts = [int(each.replace(tzinfo=UTC).timestamp()) * 1000 for each in rule]
    wanted = [
        (max(at, found.begin), min(at + length * MINUTE, found.end))
        for at in starts
        if at < found.end and at + length * MINUTE > found.begin
    ]
    assert [(span.begin, span.end) for span in row_of(found, "c").spans] == wanted
    assert row_of(found, "lamp").spans == row_of(found, "c").spans


# --- what decides an output ----------------------------------------------------------------------


def truly_needed(core: Core) -> set[str]:
    """The signals on which the outputs of a core depend, found by flipping each leaf in every
    pattern of the others."""
    scan = scan_once(core)
    count, signals = len(core.signals), [signal.name for signal in core.signals]
    leaves = count + len(core.state)
    timers = {timer.due: place for place, timer in enumerate(core.timers)}
    results = {}
    for bits in product((False, True), repeat=leaves):
        state, outputs, runs = scan(bits[count:], bits[:count])
        results[bits] = (*outputs, *state, *runs)
    first_state, first_run = len(core.outputs), len(core.outputs) + len(core.state)
    open_functions, seen, needed = list(range(first_state)), set[int](), set[int]()
    while open_functions:
        function = open_functions.pop()
        if function in seen:
            continue
        seen.add(function)
        for leaf in range(leaves):
            flips = any(
                value[function] != results[(*b[:leaf], not b[leaf], *b[leaf + 1 :])][function]
                for b, value in results.items()
            )
            if not flips:
                continue
            needed.add(leaf)
            if leaf >= count:
                open_functions.append(first_state + leaf - count)
            elif leaf in timers:
                run = first_run + 3 * timers[leaf]
                open_functions += [run, run + 1, run + 2]
    return {signals[leaf] for leaf in needed if leaf < count}


def test_an_output_depends_on_just_the_inputs_that_move_one_of_its_functions() -> None:
    looked = free = 0
    for seed in range(60):
        program = random_program(Random(seed), 4)
        core = lower(program)
        for output in program.outputs:
            small = reduce(core, (output.name,))
            if len(small.signals) + len(small.state) > 8:
                continue
            looked += 1
            wanted = truly_needed(small)
            clocks, inputs = depends_on(only_needed(small))
            names = {signal.name for signal in small.signals if signal.kind in ("clock", "input")}
            assert {*clocks, *inputs} == wanted & names, (seed, output.name)
            free += not inputs
    assert looked > 20
    assert free > 3


def test_an_output_without_inputs_is_the_same_whatever_the_inputs_do() -> None:
    rng = Random(7)
    start = int(NOON.replace(tzinfo=UTC).timestamp()) * 1000
    found = 0
    for seed in range(120):
        program = random_program(Random(seed), 5)
        core = lower(program)
        names = [
            output.name
            for output in program.outputs
            if not depends_on(only_needed(reduce(core, (output.name,))))[1]
        ]
        if not names or not program.inputs:
            continue
        found += 1
        one, other = Panel(program, start), Panel(program, start)
        for step in range(60):
            for panel in (one, other):
                panel.give_circuits({i.name: rng.random() < 0.5 for i in program.inputs})
            a, b = (panel.make_scan(step * 10) for panel in (one, other))
            assert [a.contacts[n] for n in names] == [b.contacts[n] for n in names], seed
    assert found > 15


KINDS = """
input  push at I1
output plain at R1
output kept at R2 retained
output flips at R3
output flashes at R4
output mixed at R5
output still at R6
output weekly at R7
relay  seen
timer  blink flasher 500ms on 500ms off
clock  day from 08:00 to 18:00
clock  noon at 12:00 daily
clock  tea at 16:00 daily
clock  monday at 06:00 on Mon
clock  summer at 05:00 on Sun between 05-01 and 08-31
rung day -> plain, blink
rung noon -> latch kept
rung tea -> unlatch kept
rung summer -> impulse flips
rung blink -> flashes
rung day and push -> mixed
rung not first_scan -> still
rung monday -> latch weekly
rung tea and not day -> unlatch weekly
"""


def test_what_an_output_remembers_is_told_and_not_drawn_as_certain(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(decided, "MOST_SCANS", 6_000)  # soon enough for a flasher
    found = week(program_of(KINDS), date(2026, 1, 5))
    by = {each.output: each.by for each in found.decisions}
    assert by == {
        "plain": "clocks",
        "kept": "clocks",  # whatever it held once, noon and tea have set it since
        "flips": "start",  # how often it has flipped hangs on when power came
        "flashes": "busy",
        "mixed": "inputs",
        "still": "nothing",
        "weekly": "clocks",
    }
    assert decision_of(found, "mixed").clocks == ("day",)
    assert decision_of(found, "mixed").inputs == ("push",)
    kinds = {row.name: row.kind for row in found.rows if row.kind != "clock"}
    assert kinds == {
        "plain": "decided",
        "kept": "decided",
        "weekly": "decided",
        "mixed": "at rest",
    }
    noon = row_of(found, "noon").spans
    tea = row_of(found, "tea").spans
    assert [(s.begin, s.end) for s in row_of(found, "kept").spans] == [
        (a.begin, b.begin) for a, b in zip(noon, tea, strict=True)
    ]
    assert row_of(found, "weekly").spans == (Span(found.begin, found.end, True, True),)


def test_runs_at_rest_are_runs_with_released_switches() -> None:
    found = week(demo("yard_lights"), date(2026, 11, 23))
    lit = row_of(found, "yard_light")
    assert lit.kind == "at rest"
    zone = found.zone
    # from 17:30 on working days to 23:00, as the file's clocks say
    wanted = [
        (zone.instant(day.day, 17 * HOUR + 30 * MINUTE), zone.instant(day.day, 23 * HOUR))
        for day in found.days[:5]
    ]
    assert [(span.begin, span.end) for span in lit.spans] == wanted


# --- changes of the clocks -----------------------------------------------------------------------


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp()) * 1000


# COMPUTED from tzdata 2026f by bisection (dst_transitions.csv)
CHANGES = (
    ("Europe/Berlin", "2026-03-29T01:00:00+00:00", 1.0, 2.0, "2026-10-25T01:00:00+00:00"),
    ("America/New_York", "2026-03-08T07:00:00+00:00", -5.0, -4.0, "2026-11-01T06:00:00+00:00"),
    ("Australia/Lord_Howe", "2026-04-04T15:00:00+00:00", 11.0, 10.5, "2026-10-03T15:30:00+00:00"),
)


@pytest.mark.parametrize("key,first,before,after,second", CHANGES)
def test_the_next_two_changes_are_those_of_the_zone(
    key: str, first: str, before: float, after: float, second: str
) -> None:
    zone = load_zone(key)
    assert zone is not None
    found = zone_changes(zone, utc("2026-01-01T00:00:00+00:00"))
    one = utc(first), int(before * HOUR), int(after * HOUR)
    assert found == (one, (utc(second), one[2], one[1]))


def test_every_change_of_the_reference_file_is_found() -> None:
    for row in reference_rows("dst_transitions.csv"):
        zone = load_zone(row["zone"])
        assert zone is not None
        if row["kind"] == "none":
            assert zone_changes(zone, utc("2024-01-01T00:00:00+00:00")) == ()
            continue
        at = utc(row["instant_utc"].replace("Z", "+00:00"))
        [(found, before, after)] = zone_changes(zone, at - 3 * HOUR, 1)
        size = int(row["size_min"]) * MINUTE * (1 if row["kind"] == "gap" else -1)
        assert (found, after - before) == (at, size), row


NIGHT = """
site "Here" zone "Europe/Berlin"
output lamp at R1
clock within from 02:10 to 02:40
clock into from 01:30 to 02:30
clock over from 22:00 to 06:00 on Sat
clock none from 02:30 to 03:15
clock early from 00:00 to 01:00
clock other from 22:00 to 06:00 on Tue
clock event at 02:30 daily
clock later at 05:00 daily
rung within or into or over or none or early or other or event or later -> lamp
"""

# spring and autumn, worked out by hand from the rule for gaps and repeats (RFC 5545, 3.3.5)
NIGHTS = {
    "within": ("moved", 30 * MINUTE, "once", 30 * MINUTE),
    "into": ("moved", HOUR, "once", HOUR),
    "over": ("shorter", 7 * HOUR, "longer", 9 * HOUR),
    "none": ("empty", 0, "longer", 105 * MINUTE),
    "early": ("as written", 0, "as written", 0),
    "other": ("not that night", 0, "not that night", 0),
    "event": ("moved", 0, "once", 0),
    "later": ("as written", 0, "as written", 0),
}


def test_each_clock_is_told_what_it_does_in_the_night_of_a_change() -> None:
    found = week(program_of(NIGHT), date(2026, 1, 5)).changes
    assert [(c.day, c.first, c.last, c.missing) for c in found] == [
        (date(2026, 3, 29), 2 * HOUR, 3 * HOUR, True),
        (date(2026, 10, 25), 2 * HOUR, 3 * HOUR, False),
    ]
    spring, autumn = ({n.clock: (n.kind, n.real) for n in c.nights} for c in found)
    assert {name: spring[name] + autumn[name] for name in spring} == NIGHTS


def test_the_nights_are_those_that_the_calendar_shows() -> None:
    program = program_of(NIGHT)
    calendar = build_calendar(program)
    for change in week(program, date(2026, 1, 5)).changes:
        for night in change.nights:
            clock = next(c for c in program.clocks if c.name == night.clock)
            if clock.end is None or not night.real:
                continue
            closed = [
                t
                for t in range(change.at - 8 * HOUR, change.at + 8 * HOUR, MINUTE)
                if calendar.is_closed(clock, t)
            ]
            assert len(closed) * MINUTE == night.real, night


def test_a_zone_that_never_changes_has_no_such_nights() -> None:
    program = program_of("output lamp at R1\nclock c at 02:30 daily\nrung c -> latch lamp")
    assert week(program, date(2026, 1, 5)).changes == ()


# --- overlaps, gaps, fights ----------------------------------------------------------------------

TOGETHER = """
output lamp at R1
output fan at R2
relay late
clock a from 08:00 to 12:00
clock b from 11:00 to 14:00
clock c from 14:30 to 20:00 on Mon-Fri
clock d from 09:00 to 10:00
clock e from 23:00 to 02:00
rung c -> late
rung a or b or late -> lamp
rung (a and d) or (a and e) -> fan
"""


def test_overlaps_and_gaps_are_told_of_windows_in_parallel_only() -> None:
    program = program_of(TOGETHER)
    assert set(ways(program, "fan")) == {frozenset("ad"), frozenset("ae")}
    found = week(program, date(2026, 6, 8))
    overlaps = {(o.output, o.one, o.other): o for o in found.overlaps}
    assert set(overlaps) == {("lamp", "a", "b")}
    both = overlaps["lamp", "a", "b"]
    a, b = row_of(found, "a"), row_of(found, "b")
    minutes = range(found.begin, found.end, MINUTE)
    shared = [t for t in minutes if closed_at(a, t) and closed_at(b, t)]
    assert [t for t in minutes if any(s.begin <= t < s.end for s in both.spans)] == shared
    assert (both.days, both.longest, both.inside) == (365, HOUR, "")
    gaps = {(g.output, g.after, g.before): g for g in found.gaps}
    # d and e are in parallel for the fan, nine hours apart or more: that is meant
    assert set(gaps) == {("lamp", "b", "c")}
    pause = gaps["lamp", "b", "c"]
    assert len(pause.spans) == 5
    assert {s.end - s.begin for s in pause.spans} == {30 * MINUTE}
    assert pause.count == sum((date(2026, 6, 8) + timedelta(n)).weekday() < 5 for n in range(365))


def test_a_window_that_lies_in_another_one_is_told() -> None:
    text = TOGETHER.replace("11:00 to 14:00", "09:00 to 11:30")
    [found] = [o for o in week(program_of(text), date(2026, 6, 8)).overlaps if o.other == "b"]
    assert found.inside == "b"


def test_fights_are_those_of_the_proof() -> None:
    for name in ("boathouse", "yard_lights"):
        program = demo(name)
        found = week(program, date(2026, 6, 8), Budget(60))
        assert found.unknown == ""
        wanted = fights(program, Budget(60)).found
        assert len(wanted) > 0
        assert found.clashes == wanted
        # a search that was made elsewhere is not made again
        again = week(program, date(2026, 6, 8), Budget(0.0), Fights(wanted))
        assert again == found


def test_a_search_that_was_cut_off_leaves_fights_unknown() -> None:
    found = week(demo("yard_lights"), date(2026, 6, 8), Budget(0.0))
    assert "stopped" in found.unknown
    paper = json.dumps([str(block) for block in week_paper(found).blocks])
    assert "both ways is unknown: yard_light: rung" in paper


# --- odd days ------------------------------------------------------------------------------------

ODD = """
site "Here" zone "Europe/Berlin" latitude 60.2 longitude 10.5
output lamp at R1
holiday labour on 05-01
clock shop from 06:30 to 20:00 on Mon-Sat except holidays
clock late from 22:00 to 06:00 on Fri, Sat
clock eve from sunset to 21:00
clock warm from 10:00 to 11:00 between 05-01 and 09-30
clock leap at 12:00 daily between 02-29 and 02-29
rung shop or late or eve or warm or leap -> lamp
"""


def test_holidays_seasons_and_nights_into_days_that_are_not_listed_are_told() -> None:
    found = week(program_of(ODD), date(2026, 11, 23))
    told = {(n.kind, n.clock, n.first, n.last) for n in found.notes if n.clock != "eve"}
    assert told == {
        ("holiday", "shop", date(2027, 5, 1), date(2027, 5, 1)),
        ("season begins", "warm", date(2027, 5, 1), date(2027, 5, 1)),
        ("season ends", "warm", date(2027, 9, 30), date(2027, 9, 30)),
        ("unlisted day", "late", date(2026, 11, 28), date(2027, 11, 20)),
        ("stands still", "leap", date(2026, 11, 23), date(2027, 11, 22)),
    }
    [saturday] = [n for n in found.notes if n.clock == "late"]
    assert "every Sat" in saturday.text
    assert "06:00" in saturday.text


def test_evenings_on_which_the_sun_sets_after_the_end_are_told() -> None:
    found = week(program_of(ODD), date(2026, 11, 23))
    days = {
        note.first + timedelta(n)
        for note in found.notes
        if note.kind == "runs on"
        for n in range((note.last - note.first).days + 1)
    }
    sunsets = {}
    for n in range(365):
        day = date(2026, 11, 23) + timedelta(n)
        [at] = sun_events(60.2, 10.5, found.zone, day).sets
        sunsets[day] = found.zone.local(at)[1]
    assert days == {day for day, ms in sunsets.items() if ms > 21 * HOUR}
    [eve] = found.sun
    times = sunsets.values()
    assert (eve.clock, eve.earliest[0], eve.latest[0]) == ("eve", min(times), max(times))
    assert sunsets[eve.latest[1]] == eve.latest[0]


def test_days_without_a_sun_are_told_and_their_windows_too() -> None:
    text = """
site "North" zone "Arctic/Longyearbyen" latitude 78.2 longitude 15.6
output lamp at R1
clock dark from sunset to sunrise
rung dark -> lamp
"""
    program = program_of(text)
    found = week(program, date(2027, 1, 1))
    wanted = [(first, last) for first, last, _ in polar_days(program.site, 2027)]
    told = [
        (n.first, n.last) for n in found.notes if n.kind == "no sun event" and "does not" in n.text
    ]
    assert len(wanted) == 3
    assert told == sorted(wanted)
    assert row_of(found, "lamp").spans == (Span(found.begin, found.end, True, True),)
    empty = [n for n in found.notes if n.kind == "empty window"]
    [summer] = [span for span in polar_days(program.site, 2027) if span[2] == "up"]
    assert any(n.first <= summer[0] + timedelta(1) and n.last >= summer[1] for n in empty)


# --- text ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("zone,latitude,longitude,first", WEEKS[:2])
def test_cells_show_closed_where_all_their_minutes_are(
    zone: str, latitude: float, longitude: float, first: date
) -> None:
    found = yard_week(zone, latitude, longitude, first)
    for day in found.days[5:]:
        faces: list[list[int]] = [[] for _ in range(48)]
        for t in range(day.begin, day.end, MINUTE):
            faces[found.zone.local(t)[1] // (30 * MINUTE)].append(t)
        for row in (r for r in found.rows if not r.event):
            drawn = cells(row, day, 48, found.zone, BLOCKS)
            assert len(drawn) == 48
            for place, sign in enumerate(drawn):
                minutes = [closed_at(row, t) for t in faces[place]]
                if sign == BLOCKS.missing:
                    assert minutes == []
                elif sign == BLOCKS.closed:
                    assert sum(minutes) * 4 >= len(minutes) * 3 - 4
                elif sign == BLOCKS.open:
                    assert sum(minutes) * 4 <= len(minutes) + 4
                elif sign == BLOCKS.first:
                    assert minutes[0]
                    assert not minutes[-1]
                elif sign == BLOCKS.second:
                    assert minutes[-1]
                    assert not minutes[0]
                else:
                    assert sign == BLOCKS.part
                    assert any(minutes)


def test_the_text_keeps_its_width_and_its_ascii() -> None:
    found = week(demo("boathouse"), date(2027, 3, 22))
    for width in (72, 80, 200, 360):
        text = strip_text(found, width)
        assert max(map(columns, text.splitlines())) <= width
        assert "19:00-22:30" in text
    plain = strip_text(found, 80, ascii_only=True)
    assert plain.isascii()
    assert ASCII.missing * 2 in plain  # the hour that is left out on the Sunday


def test_a_panel_without_clocks_says_so_and_is_fine(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = str(DEMOS / "start_stop.rungs")
    assert main(["week", path, "--from", "2026-11-23"]) == 0
    assert "no clocks" in capsys.readouterr().out
    assert main(["week", path, "--from", "2026-11-23", "-o", str(tmp_path / "x.svg")]) == 0
    assert "no clocks" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_the_document_says_what_the_week_says(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(DEMOS / "yard_lights.rungs")
    assert main(["week", path, "--from", "2026-10-19", "--json"]) == 0
    printed = WeekModel.model_validate_json(capsys.readouterr().out)
    found = week(demo("yard_lights"), date(2026, 10, 19))
    assert printed == week_model(found, path)
    assert printed.days[-1].length_ms == 25 * HOUR
    spans = [span for row in printed.rows for span in row.spans]
    offsets = {span.begin[-6:] for span in spans}
    assert offsets == {"+02:00", "+01:00"}
    assert utc(printed.rows[0].spans[0].begin) == row_of(found, "dusk").spans[0].begin


def test_the_week_of_a_date_begins_on_its_monday() -> None:
    # ISO 8601: 2027-01-01 is in week 53 of 2026, which begins on 28 December
    assert monday(date(2027, 1, 1)) == date(2026, 12, 28)
    assert monday(date(2026, 12, 28)) == date(2026, 12, 28)
