"""Explanations: true, shortest, never circular, and checked by evaluating again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date
from itertools import product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.program.nodes import Program, leaves
from rungs.prove.why.alter import alterations
from rungs.prove.why.explain import Explainer
from rungs.prove.why.history import History, RecordedPanel, play_stimulus
from rungs.prove.why.nodes import (
    Alterations,
    Change,
    Counted,
    Driven,
    Edge,
    Either,
    Event,
    Explanation,
    Forced,
    Held,
    Kind,
    NoPower,
    OnLoad,
    PowerUp,
    Switch,
    Timed,
    Together,
    Unrecorded,
    Was,
    Window,
    causes,
    others,
    unopened,
    walk,
)
from rungs.prove.why.scans import forced
from rungs.prove.why.verify import verified
from rungs.scan.reference import State, work_rung
from rungs.scan.runner import Panel
from rungs.scan.trace import StimulusRow
from tests.helpers import program_of
from tests.strategies import Stimulus, cases, random_program, random_stimulus
from tests.test_scan_forces import states_of

KINDS: tuple[Kind, ...] = ("contact", "coil", "load", "timing", "count")


def panel_of(text: str, start: int | None = None) -> RecordedPanel:
    return RecordedPanel(program_of(text), start)


def play(panel: Panel, *steps: tuple[int, str, bool]) -> None:
    """Move switches at run times; each time ends with the scan that reads the switch."""
    for t, name, operated in steps:
        panel.run(t - 1)
        panel.operate(name, operated)
        panel.run(t)


def why(
    panel: RecordedPanel, name: str, kind: Kind = "contact", t: int | None = None
) -> Explanation:
    """The explanation, which has to stand up to its check."""
    found = Explainer(panel.history).explain(name, kind, t, depth=20)
    assert verified(panel.history, found) == ()
    return found


def ends(found: Explanation) -> set[str]:
    """The devices at which an explanation ends."""
    return {each.fact.name for each in walk(found) if each.reason is None}


def told(found: Explanation) -> list[str]:
    return [cause.fact.name for cause in causes(found.reason)]


def rows_of(program: Program, stimulus: Stimulus) -> tuple[StimulusRow, ...]:
    return tuple(
        StimulusRow(
            t,
            {name: bool(value) for name, value in row.items() if name != "power"},
            bool(row.get("power", True)),
        )
        for t, row in stimulus.rows
    )


def start_of(stimulus: Stimulus) -> int:
    return int(stimulus.start.replace(tzinfo=UTC).timestamp() * 1_000)


def played(program: Program, stimulus: Stimulus, limit: int | None = None) -> RecordedPanel:
    panel = RecordedPanel(program, start_of(stimulus), stimulus.period, limit=limit)
    play_stimulus(panel, rows_of(program, stimulus))
    return panel


def all_explained(panel: RecordedPanel, times: list[int], depth: int = 12) -> Iterator[Explanation]:
    explainer = Explainer(panel.history)
    for device in panel.program.devices:
        for kind in KINDS:
            for t in times:
                try:
                    yield explainer.explain(device.name, kind, t, depth)
                except ValueError:
                    break  # this device has no such thing


# --- any program, any run ---------------------------------------------------------------------


@settings(max_examples=60)
@given(cases())
def test_every_state_of_any_run_is_explained_and_every_step_of_it_holds(
    case: tuple[Program, Stimulus],
) -> None:
    program, stimulus = case
    panel = played(program, stimulus)
    if not panel.history:
        return
    end = panel.history.latest.t
    for found in all_explained(panel, [end, end // 2]):
        assert verified(panel.history, found) == ()


def test_hundreds_of_runs_of_seeded_programs_are_explained_and_verified() -> None:
    explained = 0
    for seed in range(120):
        dice = Random(seed)
        program = random_program(dice)
        panel = played(program, random_stimulus(dice, program))
        if panel.history:
            for found in all_explained(panel, [dice.randrange(panel.history.latest.t + 1)]):
                assert verified(panel.history, found) == (), seed
                explained += 1
    assert explained > 1_500


@settings(max_examples=40)
@given(cases(size=4))
def test_what_is_told_of_a_rung_is_a_smallest_set_that_decides_it(
    case: tuple[Program, Stimulus],
) -> None:
    """Brute force over all readings of a rung's contacts, with the reference interpreter."""
    program, stimulus = case
    panel = played(program, stimulus)
    if not panel.history:
        return
    history = panel.history
    for found in all_explained(panel, [history.latest.t]):
        rung = None if found.rung is None else program.rungs[found.rung.number - 1]
        reason = found.reason
        if rung is None or reason is None or found.decided is None or not plain(reason):
            continue
        if len(leaves(rung.circuit)) > 6:
            continue
        t = found.decided.t
        conducts = history.worked(t)[rung.number - 1].conducts
        fixed = {cause.index for cause in causes(reason)}
        assert decides(history, rung.number, t, fixed)
        for index in fixed:
            assert not decides(history, rung.number, t, fixed - {index}), (fixed, conducts)


def plain(reason: object) -> bool:
    """Whether only one way through the rung is told."""
    if isinstance(reason, Either):
        return len(reason.parts) == 1 and plain(reason.parts[0])
    return all(map(plain, reason.parts)) if isinstance(reason, Together) else True


def decides(history: History, number: int, t: int, fixed: set[int]) -> bool:
    """Whether the rung's power is the same whatever its other contacts read."""
    rung = history.program.rungs[number - 1]
    worked = history.worked(t)[number - 1]
    count = len(worked.conducts)
    free = [index for index in range(count) if index not in fixed]
    for values in product((False, True), repeat=len(free)):
        held = {index: worked.conducts[index] for index in fixed}
        held.update(zip(free, values, strict=True))
        state = history.part_way(t, number - 1)
        work_rung(history.program, history.base(t).before, state, forced(rung, held, state.first))
        if state.powers[number] != worked.power:
            return False
    return True


@settings(max_examples=40)
@given(cases())
def test_causes_lie_before_their_effects_so_that_no_explanation_is_a_circle(
    case: tuple[Program, Stimulus],
) -> None:
    panel = played(*case)
    if not panel.history:
        return

    def earlier(found: Explanation, path: tuple[object, ...]) -> None:
        assert found.fact not in path
        for cause in causes(found.reason):
            assert cause.fact.t <= found.fact.t
            if cause.why is not None:
                earlier(cause.why, (*path, found.fact))

    for found in all_explained(panel, [panel.history.latest.t]):
        earlier(found, ())


@settings(max_examples=40)
@given(cases())
def test_the_record_of_a_run_that_jumps_has_every_scan_as_if_each_had_been_made(
    case: tuple[Program, Stimulus],
) -> None:
    program, stimulus = case
    history = played(program, stimulus).history

    class EveryScan(Panel):
        states: list[State]

        def make_scan(self, t: int | None = None) -> State:
            after = super().make_scan(t)
            self.states.append(after)
            return after

    slow = EveryScan(program, start_of(stimulus), stimulus.period, jump=False)
    slow.states = []
    play_stimulus(slow, rows_of(program, stimulus))
    for state in slow.states:
        record = history.record(state.t)
        # which rung moved a device last is told to the scan only where a scan was kept
        assert replace(record.after, moved_by={}) == replace(state, moved_by={})


@settings(max_examples=30)
@given(cases(size=4, scans=25))
def test_whatever_is_said_to_alter_a_device_does_alter_it_on_a_panel_of_its_own(
    case: tuple[Program, Stimulus],
) -> None:
    program, stimulus = case
    if any(clock.end is None for clock in program.clocks):
        return
    recorded = played(program, stimulus)
    if not recorded.history or not recorded.powered:
        return
    at = recorded.history.latest.t
    for device in program.devices[-2:]:
        found = alterations(recorded.history, device.name)
        now = recorded.state.contacts[device.name]
        for change in found.changes:
            if change.hand not in ("operate", "release") or not change.lasting:
                continue
            panel = Panel(program, start_of(stimulus), stimulus.period, jump=False)
            play_stimulus(panel, rows_of(program, stimulus))
            assert panel.state.t == at
            panel.operate(change.name, change.hand == "operate")
            panel.settle()
            assert panel.state.contacts[device.name] != now
        if found.passing is not None:
            panel = Panel(program, start_of(stimulus), stimulus.period)
            play_stimulus(panel, rows_of(program, stimulus))
            panel.run(found.passing.at.t - stimulus.period)
            assert panel.state.contacts[device.name] == now
            panel.run(found.passing.at.t)
            assert panel.state.contacts[device.name] != now


# --- the check can fail -----------------------------------------------------------------------

LAMP = """
input a at I1
input b at I2
input c at I3
output lamp at R1
rung "Light" (a and b) or c -> lamp
"""


def lit() -> tuple[RecordedPanel, Explanation]:
    panel = panel_of(LAMP)
    play(panel, (10, "a", True), (20, "b", True))
    return panel, why(panel, "lamp")


def test_the_check_finds_a_cause_that_is_missing() -> None:
    panel, found = lit()
    first, _ = causes(found.reason)
    assert any("alone" in wrong for wrong in verified(panel.history, replace(found, reason=first)))


def test_the_check_finds_a_way_that_was_kept_silent() -> None:
    panel, _ = lit()
    play(panel, (30, "c", True))
    found = why(panel, "lamp")
    assert isinstance(found.reason, Either)
    one_way = replace(found, reason=found.reason.parts[0])
    assert any("nothing changes" in wrong for wrong in verified(panel.history, one_way))


def test_the_check_finds_a_wrong_value_a_wrong_time_and_a_wrong_reading() -> None:
    panel, found = lit()
    assert verified(panel.history, replace(found, value=False))
    assert found.since is not None
    early = replace(found, since=replace(found.since, t=0))
    assert any("though since" in wrong for wrong in verified(panel.history, early))
    first, second = causes(found.reason)
    swapped = replace(found, reason=Together((replace(first, index=second.index + 1), second)))
    assert verified(panel.history, swapped)


def test_the_check_finds_a_switch_and_a_timer_that_are_told_wrongly() -> None:
    panel = panel_of("input a at I1\ntimer d on-delay 1s\noutput o at R1\nrung a -> d\nrung d -> o")
    play(panel, (10, "a", True))
    switch = why(panel, "a")
    assert isinstance(switch.how, Switch)
    assert verified(panel.history, replace(switch, how=replace(switch.how, operated=False)))
    timer = why(panel, "d")
    assert isinstance(timer.how, Timed)
    assert verified(panel.history, replace(timer, how=replace(timer.how, phase="done")))


# --- circuits ---------------------------------------------------------------------------------


def test_a_closed_series_is_explained_by_all_of_its_parts() -> None:
    _, found = lit()
    assert (found.value, found.how) == (True, Driven())
    assert isinstance(found.reason, Together)
    assert told(found) == ["a", "b"]
    assert found.rung is not None
    assert (found.rung.number, found.rung.label) == (1, "Light")
    assert found.since is not None
    assert found.since.t == 20


def test_each_branch_that_conducts_is_a_reason_of_its_own() -> None:
    panel, _ = lit()
    play(panel, (30, "c", True))
    found = why(panel, "lamp")
    assert isinstance(found.reason, Either)
    assert [type(part).__name__ for part in found.reason.parts] == ["Together", "Cause"]
    assert alterations(panel.history, "lamp").changes == ()


def test_an_open_rung_is_explained_by_one_open_contact_a_branch_and_counts_the_others() -> None:
    panel = panel_of(LAMP)
    panel.settle()
    found = why(panel, "lamp")
    assert told(found) == ["a", "c"]
    assert [cause.fact.name for cause in others(found.reason)] == ["b"]


def test_of_several_open_contacts_the_one_nearest_to_a_switch_is_told() -> None:
    panel = panel_of(
        "input a at I1\ninput b at I2\nrelay far\noutput o at R1\n"
        "rung a and b and not o -> far\nrung far and b -> o"
    )
    panel.settle()
    found = why(panel, "o")
    # `far` is open as well, but there is more to say about it
    assert told(found) == ["b"]
    assert [cause.fact.name for cause in others(found.reason)] == ["far"]


def test_a_contact_above_its_coil_is_explained_in_the_scan_before() -> None:
    panel = panel_of("input a at I1\nrelay r\noutput o at R1\nrung r -> o\nrung a -> r")
    play(panel, (50, "a", True), (60, "a", False))
    found = why(panel, "o")
    assert found.value is True
    (relay,) = causes(found.reason)
    assert relay.fact.t == 50
    assert ends(found) == {"a"}
    assert why(panel, "r").value is False


def test_a_negated_contact_conducts_because_its_device_is_off() -> None:
    panel = panel_of("input a at I1\noutput o at R1\nrung not a -> o")
    panel.settle()
    found = why(panel, "o")
    (cause,) = causes(found.reason)
    assert (cause.conducts, cause.why and cause.why.value) == (True, False)


# --- loops ------------------------------------------------------------------------------------

SEAL = """
input start at I1 momentary NO
input stop at I2 momentary NC
output run at R1
rung (start or run) and stop -> run
"""


def test_a_seal_in_is_explained_by_how_it_began() -> None:
    panel = panel_of(SEAL)
    play(panel, (100, "start", True), (300, "start", False))
    panel.run(60_000)
    found = why(panel, "run")
    holds, stop = causes(found.reason)
    assert (holds.fact.name, holds.held, stop.fact.name) == ("run", True, "stop")
    assert holds.why is not None
    assert holds.why.at.t == 100
    assert told(holds.why) == ["start", "stop"]
    assert alterations(panel.history, "run") == Alterations((Change("operate", "stop", True),))


def test_a_relay_that_holds_itself_through_another_is_explained_by_how_it_began() -> None:
    panel = panel_of(
        "input start at I1\ninput stop at I2 NC\nrelay one\nrelay two\noutput o at R1\n"
        "rung (start or two) and stop -> one\nrung one -> two\nrung two -> o"
    )
    play(panel, (100, "start", True), (200, "start", False))
    panel.run(5_000)
    found = why(panel, "o")
    assert ends(found) == {"start", "stop"}
    assert min(each.fact.t for each in walk(found)) == 100


def test_a_relay_that_turns_itself_over_is_not_followed_for_ever() -> None:
    panel = panel_of("output o at R1\nrung not o -> o")
    panel.run(1_000)
    found = why(panel, "o")
    (cause,) = causes(found.reason)
    assert cause.why is not None
    assert cause.why.how == Was()
    assert panel.history.changes_among("o", 1_000, 16) == 16
    assert alterations(panel.history, "o").restless


def test_a_latched_relay_is_explained_at_the_scan_that_latched_it() -> None:
    panel = panel_of(
        "input set at I1\ninput clear at I2\nrelay r\noutput o at R1\n"
        'rung "Set it" set -> latch r\nrung "Clear it" clear -> unlatch r\nrung r -> o'
    )
    play(panel, (100, "set", True), (200, "set", False))
    panel.run(9_000)
    found = why(panel, "r")
    assert found.how == Held("latch")
    assert (found.rung and found.rung.label, found.decided and found.decided.t) == ("Set it", 100)
    play(panel, (10_000, "set", True), (10_100, "clear", True))
    found = why(panel, "r")
    # the later rung wins in every scan
    assert (found.how, found.rung and found.rung.number) == (Held("unlatch"), 2)


def test_an_impulse_relay_is_explained_by_the_press_that_flipped_it() -> None:
    panel = panel_of("input b at I1\noutput o at R1\nrung b -> impulse o")
    play(panel, (100, "b", True), (200, "b", False), (300, "b", True), (400, "b", False))
    found = why(panel, "o")
    assert (found.value, found.how, found.decided and found.decided.t) == (
        False,
        Held("impulse"),
        300,
    )
    assert alterations(panel.history, "o").changes == (Change("operate", "b", True),)


# --- timers, counters, edges ------------------------------------------------------------------


def timer_panel(kind: str) -> RecordedPanel:
    return panel_of(f"input a at I1\ntimer d {kind}\noutput o at R1\nrung a -> d\nrung d -> o")


@pytest.mark.parametrize(
    ("kind", "at", "phase", "value", "left"),
    [
        # `a` is operated at 100 and released at 5000 ms; COMPUTED by hand from the language page
        ("on-delay 2s", 50, "off", False, None),
        ("on-delay 2s", 600, "timing", False, 1_500),
        ("on-delay 2s", 3_000, "done", True, None),
        ("on-delay 2s", 6_000, "off", False, None),
        ("off-delay 2s", 50, "off", False, None),
        ("off-delay 2s", 600, "held", True, None),
        ("off-delay 2s", 5_500, "timing", True, 1_500),
        ("off-delay 2s", 8_000, "ended", False, None),
        ("pulse 2s", 50, "off", False, None),
        ("pulse 2s", 600, "timing", True, 1_500),
        ("pulse 2s", 3_000, "spent", False, None),
        ("pulse 2s", 6_000, "ended", False, None),
        ("accumulating 2s", 50, "holding", False, 2_000),
        ("accumulating 2s", 600, "timing", False, 1_500),
        ("accumulating 2s", 3_000, "done", True, None),
        ("accumulating 9s", 6_000, "holding", False, 4_110),
        ("flasher 300ms on 200ms off", 50, "off", False, None),
        ("flasher 300ms on 200ms off", 700, "bright", True, 200),
        ("flasher 300ms on 200ms off", 950, "dark", False, 150),
    ],
)
def test_each_phase_of_each_timer_is_told_with_what_is_left_of_it(
    kind: str, at: int, phase: str, value: bool, left: int | None
) -> None:
    panel = timer_panel(kind)
    play(panel, (100, "a", True), (5_000, "a", False))
    panel.run(9_000)
    found = why(panel, "d", t=at)
    assert isinstance(found.how, Timed)
    assert (found.how.phase, found.value, found.how.left) == (phase, value, left)
    coil = why(panel, "d", "coil", at)
    assert coil.value == (100 <= at < 5_000)


def test_a_timer_held_at_reset_is_explained_by_the_rung_that_resets_it() -> None:
    panel = panel_of(
        "input a at I1\ninput r at I2\ntimer d accumulating 1s\noutput o at R1\n"
        "rung a -> d\nrung r -> reset d\nrung d -> o"
    )
    play(panel, (100, "a", True), (2_000, "r", True))
    panel.run(3_000)
    found = why(panel, "d")
    assert isinstance(found.how, Timed)
    assert (found.how.phase, told(found)) == ("reset", ["r"])


def test_time_left_to_run_is_a_change_to_come() -> None:
    panel = timer_panel("off-delay 90s")
    play(panel, (100, "a", True), (200, "a", False))
    panel.run(20_200)
    found = alterations(panel.history, "o")
    assert found.changes == ()
    assert found.passing is not None
    assert (found.passing.at.t, found.passing.names) == (90_200, ("d",))


def test_a_count_is_told_with_what_last_moved_it() -> None:
    panel = panel_of(
        "input p at I1\ninput r at I2\ncounter n to 3\noutput o at R1\n"
        "rung p -> n\nrung r -> reset n\nrung n >= 2 -> o"
    )
    panel.settle()
    assert why(panel, "n").how == Counted(0, 3, None)
    play(panel, (100, "p", True), (200, "p", False), (300, "p", True), (400, "p", False))
    found = why(panel, "n", "count")
    assert (found.value, found.how) == (2, Counted(2, 3, "coil"))
    assert (found.decided and found.decided.t, told(found)) == (300, ["p"])
    assert told(why(panel, "o")) == ["n"]
    play(panel, (500, "r", True))
    assert why(panel, "n").how == Counted(0, 3, "reset")


def test_an_edge_is_true_in_the_scan_of_the_change_alone() -> None:
    panel = panel_of("input b at I1\noutput o at R1\nrung rising b -> o")
    play(panel, (100, "b", True))
    rose = why(panel, "o")
    (edge,) = causes(rose.reason)
    assert edge.why is not None
    assert (rose.value, edge.why.how) == (True, Edge(sees=True, saw=False))
    panel.run(200)
    (edge,) = causes(why(panel, "o").reason)
    assert edge.why is not None
    assert (edge.conducts, edge.why.how) == (False, Edge(sees=True, saw=True))
    # the button has to be let go first
    found = alterations(panel.history, "o")
    assert found.changes == ()
    released = panel_of(
        "input b at I1\nrelay r\nrung rising b -> impulse r\noutput o at R1\nrung r -> o"
    )
    play(released, (100, "b", True))
    assert alterations(released.history, "o").changes == (Change("again", "b", True),)


# --- inputs, clocks, power --------------------------------------------------------------------


def test_an_input_is_told_with_its_actuator_its_wire_and_its_bounce() -> None:
    panel = panel_of(
        "input stop at I1 NC\ninput b at I2 debounce 50ms\noutput o at R1\nrung stop and b -> o"
    )
    panel.settle()
    assert why(panel, "stop").how == Switch(False, "NC", "sound", True, None)
    panel.fault("stop", "broken")
    panel.operate("b", True)
    panel.run(20)
    assert why(panel, "stop").how == Switch(False, "NC", "broken", False, None)
    bouncing = why(panel, "b")
    assert (bouncing.value, bouncing.how) == (False, Switch(True, "NO", "sound", True, 40))
    panel.run(500)
    assert alterations(panel.history, "o").changes == (Change("mend", "stop", True),)


def test_a_pair_of_switches_is_named_where_none_does_alone() -> None:
    panel = panel_of(
        "input a at I1\ninput b at I2\ninput c at I3\noutput o at R1\noutput p at R2\n"
        "rung a and c -> o\nrung b -> p"
    )
    panel.settle()
    found = alterations(panel.history, "o")
    assert found.changes == ()
    assert found.pair == (Change("operate", "a", True), Change("operate", "c", True))


CLOCKS = """
site zone "Europe/Oslo"
input a at I1
output o at R1
output p at R2
clock evening from 19:00 to 22:30 on Mon-Fri
clock late at 23:00 daily
rung evening -> o
rung late and a -> latch p
rung evening -> unlatch p
"""


def test_a_clock_is_told_with_its_edges_on_both_sides() -> None:
    panel = panel_of(CLOCKS)
    zone = panel.calendar.zone
    start = zone.instant(date(2026, 11, 27), 22 * 3_600_000)  # a Friday
    panel = RecordedPanel(panel.program, start)
    panel.operate("a", True)
    panel.run(2 * 3_600_000)
    found = why(panel, "evening")
    closes = zone.instant(date(2026, 11, 30), 19 * 3_600_000)
    assert found.how == Window(start + 1_800_000, closes)
    assert found.since is not None
    assert found.since.wall == start + 1_800_000
    late = why(panel, "late", t=3_600_000)
    assert (late.value, isinstance(late.how, Event)) == (True, True)
    latched = why(panel, "p")
    assert (latched.how, latched.decided and latched.decided.t) == (Held("latch"), 3_600_000)
    assert ends(latched) == {"late", "a"}


def test_without_power_nothing_is_on_but_what_is_retained() -> None:
    panel = panel_of(
        "input a at I1\noutput o at R1 NC\nrelay r retained\noutput q at R2\n"
        "rung a -> o\nrung a -> latch r\nrung not a and o -> unlatch r\nrung r -> q"
    )
    play(panel, (100, "a", True), (200, "a", False))
    panel.switch_power(False)
    panel.run(5_000)
    assert why(panel, "o").how == NoPower()
    assert why(panel, "o", "load").how == NoPower()
    kept = why(panel, "r")
    assert (kept.value, kept.how, ends(kept)) == (True, PowerUp(True), {"a"})
    assert alterations(panel.history, "q").changes == (Change("power", "", True),)
    panel.switch_power(True)
    panel.run(6_000)
    assert why(panel, "r").how == PowerUp(True)
    load = why(panel, "o", "load")
    assert (load.value, load.how) == (True, OnLoad("NC"))


def test_what_nothing_ever_turned_on_is_told_so() -> None:
    panel = panel_of(
        "input a at I1\nrelay r\noutput o at R1\nrung a -> latch r\nrung not r -> o\n"
        "rung a and not a -> unlatch r"
    )
    panel.run(500)
    assert why(panel, "r").how == PowerUp(False)


# --- the record -------------------------------------------------------------------------------


def test_scans_at_rest_are_not_kept() -> None:
    panel = panel_of(SEAL)
    panel.jump = False
    play(panel, (100, "start", True), (300, "start", False))
    panel.run(20_000)
    assert len(panel.history) < 10
    assert panel.history.latest.t == 20_000


def test_a_bounded_record_forgets_what_is_old_and_says_so() -> None:
    panel = RecordedPanel(program_of(SEAL), limit=20)
    play(panel, (10, "start", True), (30, "start", False))
    for n in range(200):
        panel.fault("start", "broken" if n % 2 else "sound")
        panel.run(1_000 + 100 * n)
    assert len(panel.history) < 40
    found = Explainer(panel.history).explain("run", depth=20)
    assert verified(panel.history, found) == ()
    assert found.value is True
    assert panel.history.begins > 1_000


def test_what_a_bounded_record_still_knows_is_explained_and_what_it_forgot_is_said() -> None:
    forgotten = 0
    for seed in range(60):
        dice = Random(seed)
        program = random_program(dice)
        panel = played(program, random_stimulus(dice, program), limit=5)
        if not len(panel.history):
            continue
        times = [panel.history.latest.t, panel.history.begins]
        for found in all_explained(panel, times, depth=3):
            assert verified(panel.history, found) == (), seed
            for each in walk(found):
                known = each.fact.t >= panel.history.begins
                assert known == (not isinstance(each.how, Unrecorded))
                forgotten += not known
    assert forgotten > 50


def test_a_new_future_replaces_the_old_one() -> None:
    panel = panel_of(SEAL)
    play(panel, (100, "start", True), (300, "start", False), (500, "stop", True))
    history = panel.history
    history.forget_after(400)
    again = history.panel_at(400, Panel)
    assert again.state.contacts["run"]
    again.run(700)
    history.note(again)
    found = Explainer(history).explain("run", depth=20)
    assert (found.value, verified(history, found)) == (True, ())


def test_a_recorder_that_is_told_after_each_scan_finds_out_about_a_power_cut() -> None:
    program = program_of(SEAL)
    panel = Panel(program)
    history = History(program, panel.period, panel.calendar)
    panel.operate("start", True)
    for _ in range(5):
        panel.make_scan()
        history.note(panel)
    panel.operate("start", False)
    panel.switch_power(False)
    panel.pass_to(1_000)
    panel.switch_power(True)
    panel.make_scan()
    history.note(panel)
    found = Explainer(history).explain("run", depth=20)
    assert (found.value, verified(history, found)) == (False, ())
    assert found.since is not None
    assert found.since.t == 1_000


def test_what_is_not_opened_can_be_opened_later() -> None:
    text = "input a at I1\n" + "".join(f"relay r{n}\n" for n in range(9)) + "rung a -> r0\n"
    text += "".join(f"rung r{n} -> r{n + 1}\n" for n in range(8)) + "output o at R1\nrung r8 -> o"
    panel = panel_of(text)
    play(panel, (100, "a", True))
    explainer = Explainer(panel.history)
    found = explainer.explain("o", depth=2)
    (cause,) = unopened(found)
    assert cause.fact.name == "r6"
    opened = explainer.expand(cause, 20)
    assert ends(opened) == {"a"}


def test_asking_for_what_a_device_does_not_have_is_an_error() -> None:
    panel = panel_of(LAMP)
    with pytest.raises(LookupError):
        Explainer(panel.history).explain("lamp")
    panel.settle()
    explainer = Explainer(panel.history)
    with pytest.raises(ValueError, match="no load"):
        explainer.explain("a", "load")
    with pytest.raises(KeyError):
        explainer.explain("lampe")


# --- forces -----------------------------------------------------------------------------------


def with_forces(
    seed: int, limit: int | None = None, seen: list[State] | None = None
) -> RecordedPanel:
    """A random program after a random run, in which contacts were forced and let go of at random
    scans; with `seen`, every scan is made and its state put there."""
    dice = Random(seed)
    program = random_program(dice)
    stimulus = random_stimulus(dice, program)
    panel = RecordedPanel(
        program, start_of(stimulus), stimulus.period, jump=seen is None, limit=limit
    )
    if seen is not None:
        panel.watchers.append(lambda before, after, wires: seen.append(after))
    names = [device.name for device in program.devices]
    rows = rows_of(program, stimulus)
    for row, following in zip(rows, (*rows[1:], None), strict=True):
        panel.switch_power(row.power)
        panel.give_circuits(row.circuits)
        panel.pass_to(row.t)
        end = row.t if following is None else following.t - 1
        while panel.powered and panel.next_scan_at() <= end:
            for _ in range(dice.choice((0, 0, 0, 1, 2))):
                panel.force(dice.choice(names), dice.choice((True, False, None, None)))
            panel.run(min(end, panel.next_scan_at() + dice.choice((0, 0, 20, 50))))
        panel.pass_to(end)
    return panel


def test_with_forces_too_every_state_is_explained_and_every_step_of_it_holds() -> None:
    explained = forced_by = left_by = 0
    for seed in range(50):
        panel = with_forces(seed, limit=None if seed % 3 else 6)
        history = panel.history
        if not history:
            continue
        dice = Random(seed)
        times = [history.latest.t, dice.randrange(history.begins, history.latest.t + 1)]
        for found in all_explained(panel, times):
            assert verified(history, found) == (), seed
            explained += 1
            hows = [each.how for each in walk(found) if isinstance(each.how, Forced)]
            forced_by += sum(how.until is None for how in hows)
            left_by += sum(how.until is not None for how in hows)
            if found.fact.kind == "contact" and history.force(found.fact.name, found.fact.t):
                assert isinstance(found.how, Forced)
    assert explained > 800
    assert forced_by > 300
    assert left_by > 20


def test_the_record_of_a_run_with_forces_has_every_scan_as_if_each_had_been_made() -> None:
    compared = 0
    for seed in range(40):
        history = with_forces(seed).history
        slow: list[State] = []
        with_forces(seed, seen=slow)
        for state in slow:
            record = history.record(state.t)
            if not record.after.powered or record.after.first != state.first:
                continue  # the power went, or came back, before the next scan
            assert replace(record.after, moved_by={}) == replace(state, moved_by={}), seed
            again = history.panel_at(state.t, Panel)
            assert again.state == record.after
            assert again.forces == dict(record.forces)
            compared += 1
    assert compared > 500


@settings(max_examples=12)
@given(st.integers(0, 1 << 32))
def test_letting_go_of_a_force_alters_what_it_is_said_to_alter(seed: int) -> None:
    panel = with_forces(seed)
    if not panel.history or not panel.powered or any(c.end is None for c in panel.program.clocks):
        return
    for device in panel.program.devices[-2:]:
        found = alterations(panel.history, device.name)
        now = panel.state.contacts[device.name]
        said = {change.name: change for change in found.changes if change.hand == "unforce"}
        for name in panel.forces:
            trial = Panel(panel.program, period=panel.period, calendar=panel.calendar)
            trial.restore(panel.snapshot())
            trial.force(name, None)
            states = states_of(trial)
            trial.settle()
            seen = [state.contacts[device.name] for state in states]
            if name in said:
                assert any(contact != now for contact in seen)
                assert said[name].lasting == (seen[-1] != now)
            elif not found.restless:
                assert all(contact == now for contact in seen)


def test_a_forced_device_is_explained_by_the_force_and_the_explanation_ends_there() -> None:
    panel = panel_of(LAMP)
    play(panel, (10, "a", True))
    panel.force("lamp", True)
    panel.run(100)
    found = why(panel, "lamp")
    assert (found.value, found.how, found.reason) == (True, Forced(True, since=20), None)
    assert alterations(panel.history, "lamp").changes == (Change("unforce", "lamp", True),)
    panel.operate("c", True)
    panel.run(200)
    # the rung has power by itself now: the force makes no difference
    assert why(panel, "lamp").how == Forced(True, since=20)
    assert alterations(panel.history, "lamp").changes == ()


def test_a_contact_of_a_rung_that_is_forced_is_explained_by_the_force() -> None:
    panel = panel_of(LAMP)
    panel.make_scan()
    panel.force("a", True)
    play(panel, (50, "b", True))
    found = why(panel, "lamp")
    hows = [cause.why.how for cause in causes(found.reason) if cause.why is not None]
    assert hows[0] == Forced(True, since=10)
    assert isinstance(hows[1], Switch)
    changes = alterations(panel.history, "lamp").changes
    assert Change("unforce", "a", True) in changes
    # the switch behind the force has no say
    assert "a" not in [change.name for change in changes if change.hand != "unforce"]


def test_a_seal_in_that_a_force_began_is_traced_to_the_force() -> None:
    panel = panel_of(SEAL)
    panel.make_scan()
    panel.force("start", True)
    panel.run(100)
    panel.force("start", None)
    panel.run(60_000)
    found = why(panel, "run")
    assert ends(found) == {"start", "stop"}
    began = next(each for each in walk(found) if each.fact.name == "start")
    assert (began.how, began.at.t) == (Forced(True, since=10), 10)


def test_a_latch_that_a_force_left_on_says_so_until_a_rung_moves_it() -> None:
    panel = panel_of(
        "input a at I1\ninput b at I2\noutput o at R1\nrung a -> latch o\nrung b -> unlatch o"
    )
    panel.make_scan()
    panel.force("o", True)
    panel.run(1_000)
    panel.force("o", None)
    panel.run(9_000)
    found = why(panel, "o")
    assert (found.value, found.how) == (True, Forced(True, since=10, until=1_000))
    assert alterations(panel.history, "o").changes == (Change("operate", "b", True),)
    play(panel, (9_500, "b", True))
    assert why(panel, "o").how == Held("unlatch")


def test_a_timer_behind_a_force_is_still_timing_and_says_when_the_force_says_otherwise() -> None:
    panel = panel_of("input a at I1\ntimer d on-delay 1s\noutput o at R1\nrung a -> d\nrung d -> o")
    panel.make_scan()
    panel.force("d", False)
    play(panel, (100, "a", True))
    panel.run(500)
    timing = why(panel, "d", "timing")
    assert isinstance(timing.how, Timed)
    assert (timing.value, timing.how.left) == (True, 600)
    assert isinstance(why(panel, "d", "coil").how, Driven)
    panel.run(2_000)
    # its time is over, and with its contact held open it reads as timing
    timing = why(panel, "d", "timing")
    assert (timing.value, timing.how) == (True, Forced(False, since=10))


def test_nothing_alone_alters_a_lamp_that_is_forced_and_whose_switch_is_off_as_well() -> None:
    panel = panel_of("input a at I1\noutput o at R1\nrung a -> o")
    panel.make_scan()
    panel.force("o", False)
    panel.run(100)
    assert alterations(panel.history, "o").changes == ()
    assert alterations(panel.history, "o").pair == (
        Change("unforce", "o", True),
        Change("operate", "a", True),
    )


def test_the_check_finds_a_force_that_was_not_there() -> None:
    panel, found = lit()
    assert verified(panel.history, replace(found, how=Forced(True), reason=None))
    panel.force("lamp", True)
    panel.run(100)
    held = why(panel, "lamp")
    assert isinstance(held.how, Forced)
    for wrong in (
        replace(held.how, closed=False),
        replace(held.how, since=0),
        replace(held.how, until=20),
    ):
        assert verified(panel.history, replace(held, how=wrong)), wrong
