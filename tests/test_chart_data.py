"""Charts as data: levels, stretches and moments against brute force, and charts of played runs."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import hypothesis.strategies as st
import pytest
from hypothesis import assume, given, settings

from rungs.chart.build import TooLongError, chart_of, outages
from rungs.chart.data import (
    Chart,
    Kind,
    Trace,
    count_at,
    cut_out,
    is_off,
    level_at,
    moments,
    next_change,
    state_at,
    stretches,
    wall_of,
)
from rungs.scan.runner import Panel
from rungs.scan.trace import StimulusRow, columns, played_scans, trace
from rungs.scan.zone import load_zone
from tests.helpers import program_of

KINDS: tuple[Kind, ...] = ("input", "output", "relay", "timer", "counter", "clock")
HOSTILE = (
    "$end",
    "x $end $var wire 1 ! y $end",
    "<script>alert(1)</script>",
    "]]>--><svg onload='x'>&amp;\"",
    "=1+1",
    "\t=1+1",
    "+1",
    "-1",
    "@x",
    "'=1",
    "a,b;c\nd\r\ne",
    "\x1b[2J\x00\x9b",
    "\u202eabc\ufffe\ud800",
    "\uff1d1",
    "漢字と名前",
    "#5",
    "",
)

texts = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=12))


@st.composite
def charts(draw: st.DrawFn, hostile: bool = False, most: int = 120) -> Chart:
    """A small chart: every ms of it can be looked at one by one."""
    begin = draw(st.integers(0, 40))
    # short ones hold little, so that they are rare
    end = begin + draw(st.integers(most // 3, most) | st.integers(0, most))
    names = [f"device_{n}" for n in range(draw(st.sampled_from((1, 2, 3, 0))))]
    if hostile:
        names = list(dict.fromkeys(draw(st.lists(texts, max_size=4))))
    traces = []
    for name in names:
        kind = draw(st.sampled_from(KINDS))
        least = min(draw(st.sampled_from((4, 0))), end - begin)
        flips = st.sets(st.integers(begin + 1, end), min_size=least, max_size=12)
        times = draw(flips) if end > begin else ()
        counts: tuple[tuple[int, int], ...] = ()
        if kind == "counter" and draw(st.booleans()):
            when = draw(st.sets(st.integers(begin + 1, end), max_size=6)) if end > begin else ()
            values = st.integers(0, 999_999)
            counts = tuple((t, draw(values)) for t in (begin, *sorted(when)))
        label = draw(texts) if hostile else ""
        traces.append(Trace(name, kind, label, draw(st.booleans()), tuple(sorted(times)), counts))
    least = draw(st.sampled_from((2, 0)))
    places = st.integers(begin, end + 1)
    bounds = sorted(draw(st.sets(places, min_size=min(least, end - begin), max_size=6)))
    wall = draw(st.sampled_from([None, (date(2026, 3, 29), 7_199_950)]))
    return Chart(
        draw(texts) if hostile else "Test",
        begin,
        end,
        draw(st.sampled_from([1, 10])),
        wall,
        "Europe/Berlin",
        tuple(traces),
        tuple(draw(st.lists(texts, max_size=2))) if hostile else (),
        tuple(zip(bounds[::2], bounds[1::2], strict=False)),
    )


def slow_level(trace: Trace, t: int) -> bool:
    """The level found by flipping, one change after the other."""
    closed = trace.starts
    for change in trace.changes:
        if change <= t:
            closed = not closed
    return closed


def slow_state(chart: Chart, trace: Trace, t: int) -> bool | None:
    return None if any(a <= t < b for a, b in chart.off) else slow_level(trace, t)


def slow_count(trace: Trace, t: int) -> int | None:
    return next((count for since, count in reversed(trace.counts) if since <= t), None)


# --- data


@settings(max_examples=80)
@given(charts())
def test_levels_counts_and_power_at_every_ms_are_those_of_brute_force(chart: Chart) -> None:
    for t in range(chart.begin - 2, chart.end + 3):
        for one in chart.traces:
            assert level_at(one, t) == slow_level(one, t)
            assert state_at(chart, one, t) == slow_state(chart, one, t)
            assert count_at(one, t) == slow_count(one, t)
        assert is_off(chart, t) == any(a <= t < b for a, b in chart.off)


@settings(max_examples=60)
@given(charts())
def test_the_next_change_is_the_first_ms_with_another_state(chart: Chart) -> None:
    for one in chart.traces:
        states = {t: slow_state(chart, one, t) for t in range(chart.begin, chart.end + 1)}
        for t, state in states.items():
            later = (u for u in range(t + 1, chart.end + 1) if states[u] != state)
            assert next_change(chart, one, t) == next(later, None)
        starts = [t for t in states if t == chart.begin or states[t] != states[t - 1]]
        assert list(stretches(chart, one)) == [(t, states[t]) for t in starts]


@settings(max_examples=60)
@given(charts())
def test_the_moments_of_a_chart_replay_every_level_and_count(chart: Chart) -> None:
    levels = [False] * len(chart.traces)
    counts: list[int | None] = [None] * len(chart.traces)
    seen = list(moments(chart))
    assert seen[0].t == chart.begin
    assert [m.t for m in seen] == sorted({m.t for m in seen})
    after = [*(m.t for m in seen[1:]), chart.end + 1]
    for moment, until in zip(seen, after, strict=True):
        for index in moment.flips:
            levels[index] = not levels[index]
        for index, count in moment.counts:
            counts[index] = count
        for t in range(moment.t, until):
            assert levels == [slow_level(one, t) for one in chart.traces]
            assert counts == [slow_count(one, t) for one in chart.traces]
            assert moment.powered != any(a <= t < b for a, b in chart.off)


@settings(max_examples=60)
@given(charts(), st.integers(-10, 170), st.integers(0, 100))
def test_a_part_of_a_chart_shows_what_the_chart_shows(chart: Chart, first: int, more: int) -> None:
    part = cut_out(chart, first, first + more)
    assert (part.begin, part.end) == (
        min(max(first, chart.begin), chart.end),
        max(min(first + more, chart.end), chart.begin),
    )
    whole, piece = wall_of(chart), wall_of(part)
    assert (whole is None) == (piece is None)
    for t in range(part.begin, part.end + 1):
        for one, same in zip(chart.traces, part.traces, strict=True):
            assert state_at(part, same, t) == slow_state(chart, one, t)
            assert count_at(same, t) == slow_count(one, t)
        if whole is not None and piece is not None:
            assert piece.text(t) == whole.text(t)


def test_a_part_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(ValueError, match="no earlier"):
        cut_out(Chart("", 0, 100, 10), 50, 40)


def chart(traces: tuple[Trace, ...] = (), off: tuple[tuple[int, int], ...] = ()) -> Chart:
    return Chart("", 10, 100, 10, traces=traces, off=off)


@pytest.mark.parametrize(
    "off",
    [
        ((5, 20),),
        ((20, 20),),
        ((30, 20),),
        ((20, 30), (30, 40)),
        ((20, 40), (30, 50)),
        ((90, 102),),
        ((50, 60), (20, 30)),
    ],
)
def test_stretches_that_overlap_touch_or_lie_outside_are_refused(
    off: tuple[tuple[int, int], ...],
) -> None:
    assert chart(off=((10, 20), (90, 101))).off
    with pytest.raises(ValueError, match="without power"):
        chart(off=off)


def test_charts_and_traces_that_contradict_themselves_are_refused() -> None:
    for changes in ((10,), (101,)):
        with pytest.raises(ValueError, match="outside"):
            chart((Trace("a", "input", changes=changes),))
    assert chart((Trace("a", "input", changes=(11, 100)),)).traces
    with pytest.raises(ValueError, match="outside"):
        chart((Trace("a", "counter", counts=((11, 1),)),))
    with pytest.raises(ValueError, match="order"):
        Trace("a", "input", changes=(20, 20))
    with pytest.raises(ValueError, match="order"):
        Trace("a", "counter", counts=((5, 1), (4, 2)))
    with pytest.raises(ValueError, match="one name"):
        chart((Trace("a", "input"), Trace("a", "relay")))
    with pytest.raises(ValueError, match="no zone"):
        Chart("", 0, 1, 10, (date(2026, 1, 1), 0), "No/Where")
    for begin, end, period in ((-1, 5, 10), (5, 4, 10), (0, 5, 0)):
        with pytest.raises(ValueError, match="begins"):
            Chart("", begin, end, period)


def test_wall_time_follows_the_change_of_the_clocks() -> None:
    # COMPUTED with the IANA database: on 2026-10-25 Berlin goes from 03:00 +02:00 back to 02:00
    autumn = Chart("", 5_000, 10_000_000, 10, (date(2026, 10, 25), 9_000_000), "Europe/Berlin")
    wall = wall_of(autumn)
    assert wall is not None
    assert wall.text(5_000) == "2026-10-25T02:30:00.000+02:00"
    assert wall.text(5_000 + 1_800_000) == "2026-10-25T02:00:00.000+01:00"
    assert wall.text(5_000 + 3_600_010) == "2026-10-25T02:30:00.010+01:00"


# --- charts of runs

PANEL = """\
title "A door"
site zone "Europe/Berlin"
input door at I1 "Reed contact" debounce 20ms
input mute at I2
output lamp at R1 "Over the door"
relay seen retained
timer linger off-delay 70ms
counter visits to 3
clock night from 00:00 to 06:00 daily
rung door -> linger, visits
rung linger and not mute -> lamp
rung lamp -> latch seen
rung mute -> reset visits
"""

rows = st.lists(
    st.tuples(st.integers(0, 90), st.booleans(), st.booleans(), st.booleans()),
    min_size=1,
    max_size=8,
)


def stimulus_of(steps: list[tuple[int, bool, bool, bool]]) -> tuple[StimulusRow, ...]:
    t = 0
    made = []
    for gap, door, mute, power in steps:
        t += gap
        made.append(StimulusRow(t, {"door": door, "mute": mute}, power))
    return tuple(made)


def run_chart(stimulus: tuple[StimulusRow, ...], jump: bool = True) -> Chart:
    program = program_of(PANEL)
    panel = Panel(program, None, 10, jump)
    return chart_of(
        program,
        played_scans(panel, stimulus),
        period=10,
        begin=0,
        end=stimulus[-1].t,
        off=outages(stimulus),
        counts=lambda: panel.state.counts,
    )


@settings(max_examples=60)
@given(rows)
def test_the_chart_of_a_run_shows_what_its_trace_shows_and_nothing_without_power(
    steps: list[tuple[int, bool, bool, bool]],
) -> None:
    stimulus = stimulus_of(steps)
    made = run_chart(stimulus)
    by_name = {one.name: one for one in made.traces}
    program = program_of(PANEL)
    names = columns(program)
    # the other engine, scan for scan
    scans = {t: dict(zip(names, row, strict=True)) for t, row in trace(program, stimulus)}
    assert list(by_name) == [device.name for device in program.devices]
    last: int | None = None
    for t in range(made.end + 1):
        if is_off(made, t):
            last = None
            assert t not in scans
            continue
        last = t if t in scans else last
        assert last is not None, "power without a scan"
        assert {n: level_at(by_name[n], t) for n in names} == scans[last]
    assert made == run_chart(stimulus, jump=False)


def test_a_chart_has_inputs_after_debounce_counts_labels_and_kinds() -> None:
    stimulus = stimulus_of(
        [(0, False, False, True)]
        + [(50, on, False, True) for _ in range(3) for on in (True, False)]
        + [(50, False, True, True), (50, False, False, True)]
    )
    made = run_chart(stimulus)
    door, *_, visits, night = made.traces
    assert [one.kind for one in made.traces] == [
        "input",
        "input",
        "output",
        "relay",
        "timer",
        "counter",
        "clock",
    ]
    assert (made.title, door.label, made.traces[2].label) == (
        "A door",
        "Reed contact",
        "Over the door",
    )
    assert door.changes == (70, 120, 170, 220, 270, 320)
    assert visits.counts == ((0, 0), (70, 1), (170, 2), (270, 3), (350, 0))
    assert visits.changes == (270, 350)
    assert (night.starts, night.changes) == (True, ())


def flips(*times: int) -> Iterator[tuple[int, dict[str, bool]]]:
    closed = False
    for t in times:
        yield t, {"door": closed, "mute": not closed}
        closed = not closed


def test_names_choose_traces_and_their_order_and_must_be_declared() -> None:
    program = program_of("input door at I1\ninput mute at I2")
    made = chart_of(program, flips(0, 10, 20), ("mute", "door"), period=10)
    assert [(one.name, one.starts) for one in made.traces] == [("mute", True), ("door", False)]
    with pytest.raises(ValueError, match="'bell' is not declared"):
        chart_of(program, flips(0), ("bell",), period=10)
    with pytest.raises(ValueError, match="does not come after"):
        chart_of(program, flips(0, 10, 10), period=10)


def test_a_window_of_a_run_starts_as_the_scans_before_it_left_it() -> None:
    program = program_of("input door at I1\ninput mute at I2")
    made = chart_of(program, flips(*range(0, 100, 10)), ("door",), period=10, begin=35, end=62)
    assert (made.begin, made.end, made.off) == (35, 62, ())
    assert (made.traces[0].starts, made.traces[0].changes) == (True, (40, 50, 60))


def test_what_lies_before_the_first_scan_shows_no_power() -> None:
    program = program_of("input door at I1\ninput mute at I2")
    assert chart_of(program, flips(55, 60), period=10, begin=20).off == ((20, 55),)
    nothing = chart_of(program, (), period=10, begin=20, end=90)
    assert (nothing.off, nothing.traces[0].changes) == (((20, 91),), ())


def test_power_that_is_back_between_scans_shows_from_the_next_scan_on() -> None:
    program = program_of("input door at I1\ninput mute at I2")
    off = ((12, 33), (38, 44), (71, 95))
    made = chart_of(program, flips(0, 10, 50, 60, 70), period=10, end=90, off=off)
    assert made.off == ((12, 50), (71, 91))
    # no scan was made between the two
    touching = ((12, 30), (30, 44))
    assert chart_of(program, flips(0, 10, 50), period=10, off=touching).off == ((12, 50),)


def test_a_run_with_too_many_changes_is_refused_and_not_cut() -> None:
    program = program_of("input door at I1\ninput mute at I2")
    assert chart_of(program, flips(*range(0, 60, 10)), period=10, most=10).traces
    with pytest.raises(TooLongError):
        chart_of(program, flips(*range(0, 60, 10)), period=10, most=9)


@given(st.integers(0, 10_000), st.sampled_from(["UTC", "Europe/Berlin", "Asia/Kolkata"]))
@settings(max_examples=20)
def test_the_wall_time_at_begin_is_that_of_the_run(begin: int, zone: str) -> None:
    program = program_of(f'site zone "{zone}"\ninput door at I1\ninput mute at I2')
    start = 1_780_000_000_000
    made = chart_of(program, flips(0), period=10, begin=begin, start=start)
    wall, rules = wall_of(made), load_zone(zone)
    assume(rules is not None)
    assert wall is not None
    assert rules is not None
    assert made.wall_at_begin == rules.local(start + begin)
    assert wall.start == start
