from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.bench.session.hands import TAP
from rungs.bench.session.run import SPEEDS, TICK_WORK
from rungs.bench.session.session import Session
from rungs.draw.flow import conducting
from rungs.program.nodes import Rung
from tests.bench.panels import BUZZ, SHED, START, session_of


def contacts(session: Session) -> dict[str, bool]:
    return dict(session.panel.state.contacts)


def test_a_panel_is_powered_running_and_has_made_its_first_scan() -> None:
    status = session_of().status()
    assert (status.scan, status.t, status.running, status.speed) == (0, 0, True, 1)
    assert status.powered
    assert not status.lagging
    assert status.title == "Shed light and pump"


def test_the_wall_clock_shows_the_local_time_of_the_site() -> None:
    session = session_of()
    session.tick(10)
    # Oslo is one hour ahead of UTC in November (common knowledge, also in the zone's own file)
    assert session.status().wall == (date(2026, 11, 25), (22 * 3600 + 45 * 60) * 1000 + 10)


def test_without_a_start_the_panel_begins_at_the_present_moment(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("time.time_ns", lambda: START * 1_000_000)
    assert Session(session_of().program).start == START


def test_a_panel_without_a_title_goes_by_its_file() -> None:
    session = session_of(BUZZ)
    assert session.status().title == session.program.source.name


def test_a_maintained_switch_stays_where_it_is_thrown() -> None:
    session = session_of()
    session.touch("lamp_switch")
    session.tick(1000)
    assert contacts(session)["lamp"]
    session.touch("lamp_switch")
    session.tick(10)
    assert not contacts(session)["lamp"]


def test_a_tapped_button_lets_go_after_its_simulated_time() -> None:
    session = session_of()
    session.tap("start", 200)
    session.tick(190)
    assert session.switch("start").operated
    assert session.switch("start").release_in == 10
    session.tick(10)
    assert not session.switch("start").operated
    assert session.switch("start").release_in is None
    assert contacts(session)["pump"]  # the seal-in contact holds it


def test_a_tap_lets_go_within_one_long_tick() -> None:
    session = session_of()
    session.touch("start")
    session.tick(60_000)
    assert not session.switch("start").operated
    assert contacts(session)["warm"]


def test_a_tap_gives_the_scans_that_a_press_and_a_release_give() -> None:
    tapped, pressed = session_of(), session_of()
    tapped.tap("start", 200)
    tapped.tick(500)
    pressed.press("start")
    pressed.tick(200)
    pressed.release("start")
    pressed.tick(300)
    assert tapped.panel.state == pressed.panel.state


def test_holding_a_tapped_button_keeps_it_and_touching_it_lets_go() -> None:
    session = session_of()
    session.touch("start")
    session.hold("start")
    session.tick(5 * TAP)
    assert session.switch("start").operated
    session.touch("start")
    assert not session.switch("start").operated


def test_hold_lets_go_of_what_it_holds() -> None:
    session = session_of()
    session.hold("stop")
    assert session.switch("stop").operated
    session.hold("stop")
    assert not session.switch("stop").operated


def test_actuator_and_circuit_are_shown_apart() -> None:
    session = session_of()
    view = session.switch("stop")
    assert (view.operated, view.circuit, view.side) == (False, True, "NC")
    session.press("stop")
    view = session.switch("stop")
    assert (view.operated, view.circuit, view.image) == (True, False, True)
    session.tick(10)
    assert session.switch("stop").image is False


def test_wire_faults_change_the_circuit_and_not_the_actuator() -> None:
    session = session_of()
    session.fault("stop", "broken")
    session.fault("start", "shorted")
    assert [session.switch(n).circuit for n in ("stop", "start")] == [False, True]
    assert [session.switch(n).operated for n in ("stop", "start")] == [False, False]
    assert session.status().faults == 2
    session.fault("stop", "sound")
    assert session.switch("stop").circuit
    assert session.status().faults == 1


def test_power_off_drops_all_but_retained_devices() -> None:
    session = session_of()
    session.touch("lamp_switch")
    session.touch("start")
    session.tick(500)
    assert contacts(session)["ready"]
    session.switch_power(False)
    session.tick(500)
    assert session.status().scan is None
    assert not session.live()
    on = {name for name, contact in contacts(session).items() if contact}
    assert on == {"ready"}
    assert "lamp" in session.recent(1000)
    session.switch_power(True)
    session.tick(10)
    assert contacts(session)["lamp"]
    assert not contacts(session)["pump"]


def test_loads_are_dark_without_power_even_on_an_nc_contact() -> None:
    session = session_of()
    flap = {view.name: view for view in session.relays()}["flap"]
    assert (flap.coil, flap.load) == (False, True)
    session.switch_power(False)
    flap = {view.name: view for view in session.relays()}["flap"]
    assert (flap.coil, flap.load) == (False, False)


def test_control_relays_have_no_terminal_and_no_load() -> None:
    ready = {view.name: view for view in session_of().relays()}["ready"]
    assert (ready.terminal, ready.side, ready.load, ready.retained) == ("", None, None, True)


def test_restart_gives_the_states_of_a_new_session() -> None:
    session = session_of()
    session.touch("lamp_switch")
    session.touch("start")
    session.fault("stop", "broken")
    session.tick(3_000)
    session.restart()
    new = session_of()
    assert session.panel.state == new.panel.state
    assert session.switches() == new.switches()
    assert session.status().wall == new.status().wall


def test_speeds_go_up_and_down_the_list_and_stop_at_its_ends() -> None:
    session = session_of()
    seen = [session.speed]
    for _ in SPEEDS:
        session.faster()
        seen.append(session.speed)
    assert seen == [1, 10, 60, 3600, 3600]
    for _ in SPEEDS:
        session.slower()
    assert session.speed == 1


def test_simulated_time_is_real_time_times_speed() -> None:
    session = session_of()
    for speed in SPEEDS:
        session.speed = speed
        before = session.panel.now
        session.tick(50)
        assert session.panel.now - before == 50 * speed


def test_pause_stops_time() -> None:
    session = session_of()
    session.pause()
    session.tick(1_000)
    assert session.panel.now == 0
    session.run()
    session.tick(1_000)
    assert session.panel.now == 1_000


def test_small_ticks_give_the_states_of_one_long_one() -> None:
    fine, coarse = session_of(), session_of()
    for session in (fine, coarse):
        session.press("start")
    for _ in range(1_000):
        fine.tick(7)
    coarse.tick(7_000)
    assert fine.panel.state == coarse.panel.state


def test_a_panel_that_never_rests_lags_and_does_not_freeze() -> None:
    session = session_of(BUZZ)
    session.touch("arm")
    session.speed = 3600
    session.tick(50)
    scans = session.panel.scan_number
    assert session.status().lagging
    assert 0 < scans <= TICK_WORK
    assert session.panel.now < 50 * 3600
    session.speed = 1
    session.tick(50)
    assert not session.status().lagging
    assert session.panel.scan_number == scans + 5


def test_a_panel_at_rest_keeps_up_at_every_speed() -> None:
    session = session_of()
    session.speed = 3600
    session.tick(100_000)
    assert not session.status().lagging
    assert session.panel.now == 360_000_000


def test_one_scan_pauses_and_makes_one_scan() -> None:
    session = session_of()
    session.touch("lamp_switch")
    walk = session.one_scan()
    assert not session.running
    assert (session.status().scan, walk.passed) == (1, 10)
    assert walk.changed == (("lamp_switch", True), ("lamp", True))
    assert session.changed == {"lamp_switch", "lamp"}
    assert session.one_scan().changed == ()


def test_the_next_change_is_where_the_debounce_ends() -> None:
    session = session_of()
    session.press("start")
    walk = session.to_next_change()
    # first differs in the scan at 10 ms, has differed for 30 ms in that at 40 ms
    assert (walk.reason, session.panel.state.t) == ("found", 40)
    assert ("pump", True) in walk.changed


def test_the_next_change_lets_go_of_a_tap_on_the_way() -> None:
    session = session_of("input b at I1 momentary\noutput o at R1\nrung b -> o")
    session.tap("b", 5_000)
    session.to_next_change()
    walk = session.to_next_change()
    assert walk.changed == (("b", False), ("o", False))
    assert session.panel.state.t == 5_010


def test_the_next_event_is_the_end_of_a_timer_and_then_the_clock() -> None:
    session = session_of()
    session.press("start")
    session.tick(100)
    first = session.to_next_event()
    assert ("warm", True) in first.changed
    assert session.panel.state.t == 40 + 5_000
    second = session.to_next_event()
    assert ("night", True) in second.changed
    assert session.status().wall == (date(2026, 11, 25), 23 * 3_600_000)


def test_nothing_to_come_is_said_and_takes_one_scan() -> None:
    session = session_of("input a at I1\noutput o at R1\nrung a -> o")
    for walk in (session.to_next_change(), session.to_next_event()):
        assert walk.reason == "nothing"
        assert walk.passed <= 20


def test_a_walk_through_a_panel_that_never_rests_is_given_up() -> None:
    session = session_of(BUZZ)
    session.touch("arm")
    walk = session.to_next_event()
    assert walk.reason == "unsettled"
    assert walk.passed > 1_000


def test_without_power_no_walk_begins() -> None:
    session = session_of()
    session.switch_power(False)
    assert session.one_scan().reason == "no power"
    assert session.panel.now == 0


def test_timer_views_follow_the_time() -> None:
    session = session_of()
    session.press("start")
    session.tick(2_540)
    warm = {view.name: view for view in session.timers()}["warm"]
    assert (warm.coil, warm.closed, warm.timing) == (True, False, True)
    assert (warm.elapsed, warm.length, warm.fraction) == (2_500, 5_000, 0.5)
    session.tick(10_000)
    warm = {view.name: view for view in session.timers()}["warm"]
    assert (warm.closed, warm.timing, warm.elapsed, warm.fraction) == (True, False, 5_000, 1.0)


def test_a_flasher_shows_the_half_it_is_in() -> None:
    session = session_of(
        "input a at I1\noutput o at R1\ntimer f flasher 1s on 3s off\nrung a -> f\nrung f -> o"
    )
    session.touch("a")
    session.tick(510)
    (view,) = session.timers()
    assert (view.closed, view.elapsed, view.length) == (True, 500, 1_000)
    session.tick(1_000)
    (view,) = session.timers()
    assert (view.closed, view.elapsed, view.length) == (False, 500, 3_000)


def test_an_accumulating_timer_keeps_its_time() -> None:
    session = session_of(
        "input a at I1\ninput z at I2\noutput o at R1\ntimer acc accumulating 10s\n"
        "rung a -> acc\nrung acc -> o\nrung z -> reset acc"
    )
    session.touch("a")
    session.tick(4_010)
    session.touch("a")
    session.tick(5_000)
    (view,) = session.timers()
    assert (view.timing, view.elapsed) == (False, 4_000)


def test_counters_and_clocks_are_shown() -> None:
    session = session_of()
    session.touch("start")
    session.tick(500)
    (runs,) = session.counters()
    assert (runs.count, runs.preset, runs.closed) == (1, 3, False)
    (night,) = session.clocks()
    assert (night.closed, night.is_event) == (False, False)
    assert night.changes == (date(2026, 11, 25), 23 * 3_600_000)
    session.to_next_event()
    session.to_next_event()
    (night,) = session.clocks()
    assert night.changes == (date(2026, 11, 26), 6 * 3_600_000)


def test_changes_glow_for_a_while_of_real_time_whatever_the_speed() -> None:
    session = session_of()
    session.speed = 60
    session.touch("lamp_switch")
    session.tick(50)
    session.tick(50)
    assert {"lamp", "lamp_switch"} <= session.recent(100)
    session.tick(500)
    assert "lamp" not in session.recent(100)


def rung_of(session: Session, number: int) -> Rung:
    return session.program.rungs[number - 1]


def test_an_edge_contact_reads_as_in_the_last_scan() -> None:
    session = session_of()
    session.press("start")
    session.to_next_change()
    assert session.reading(rung_of(session, 5)) == (True,)  # rising pump
    before = session.panel.state.edges.copy()
    session.reading(rung_of(session, 5))
    assert session.panel.state.edges == before
    session.one_scan()
    assert session.reading(rung_of(session, 5)) == (False,)


def test_a_contact_above_its_coil_shows_what_the_rung_read() -> None:
    session = session_of(BUZZ)
    session.touch("arm")
    session.one_scan()
    # two came on in this scan, below the rung that reads it: that rung had power
    assert contacts(session)["two"]
    assert session.reading(rung_of(session, 1)) == (True, True)


def power_drawn(session: Session, rung: Rung) -> bool:
    reading = iter(session.reading(rung))
    return conducting(rung.circuit, lambda leaf: next(reading)).powered


PRESSES = st.lists(
    st.tuples(
        st.sampled_from(["lamp_switch", "stop", "start", "power", "break"]), st.integers(0, 700)
    ),
    max_size=12,
)


@settings(max_examples=60)
@given(PRESSES)
def test_power_in_the_drawing_is_the_power_of_the_scan(
    presses: list[tuple[str, int]],
) -> None:
    session = session_of()
    for name, ms in presses:
        match name:
            case "power":
                session.switch_power(not session.panel.powered)
            case "break":
                session.fault("stop", "broken" if ms % 2 else "sound")
            case _:
                session.touch(name)
        session.tick(ms)
        if not session.live():
            continue
        for rung in session.program.rungs:
            assert power_drawn(session, rung) == session.panel.state.powers[rung.number]


@settings(max_examples=30)
@given(PRESSES, st.sampled_from(SPEEDS))
def test_a_session_says_of_a_panel_what_the_panel_is(
    presses: list[tuple[str, int]], speed: int
) -> None:
    session = session_of(SHED)
    session.speed = speed
    for name, ms in presses:
        if name not in ("power", "break"):
            session.hold(name)
        session.tick(ms)
        assert {v.name: v.coil for v in session.relays()}.items() <= contacts(session).items()
        assert all(0 <= v.fraction <= 1 for v in session.timers())
        assert session.changed == {name for name, _ in session.changes()}


def test_a_moment_without_a_scan_has_nothing_to_be_explained_from() -> None:
    session = session_of()
    session.switch_power(False)
    session.take(session.program)
    assert session.history() is None
    session.switch_power(True)
    history = session.history()
    assert history is not None
    assert history.latest.after.first
