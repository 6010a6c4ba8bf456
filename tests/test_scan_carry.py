"""An edited program in a running panel: what goes on, what begins anew, and what is said of it."""

from __future__ import annotations

from random import Random

import pytest

from rungs.program.nodes import Program, Timer
from rungs.prove.why.explain import Explainer
from rungs.prove.why.history import RecordedPanel
from rungs.prove.why.verify import verified
from rungs.scan.carry import Carried, carried, matched
from rungs.scan.reference import State
from rungs.scan.runner import Panel
from tests.helpers import program_of
from tests.strategies import program_text, random_program
from tests.test_scan_forces import START, Hand, do, random_hands, states_of

# --- an edit that changes nothing ---------------------------------------------------------------


def relaid(text: str, dice: Random) -> str:
    """The same program with other layout and comments."""
    return "# edited\n" + "".join(
        line + dice.choice(("\n", "  # a note\n", "\n\n", "\n# between\n"))
        for line in text.splitlines()
    )


def with_a_stranger(text: str, dice: Random, program: Program) -> str:
    """The program with a rung more somewhere, which nothing else reads."""
    rungs = text.split("rung")
    read = dice.choice(program.devices).name
    edge = dice.choice(("", "rising ", "falling ", "not "))
    verb = dice.choice(("", "impulse ", "latch "))
    place = dice.randrange(1, len(rungs) + 1)
    rungs.insert(place, f' "Stranger"\n    {edge}{read} -> {verb}stranger\n')
    return "relay stranger\n" + "rung".join(rungs)


def compared(state: State, program: Program) -> object:
    """All of a state that can be told from one program to the other, rungs and edges by their
    place among those that are no strangers."""
    rungs = [rung for rung in program.rungs if rung.label != "Stranger"]
    place = {rung.number: at for at, rung in enumerate(rungs)}
    strange = [r.span for r in program.rungs if r.label == "Stranger"]
    edges = [
        edge.memory
        for edge in program.edges
        if not any(s.start <= edge.span.start < s.end for s in strange)
    ]
    return (
        (state.t, state.first, state.powered),
        {n: on for n, on in state.contacts.items() if n != "stranger"},
        state.coils,
        state.counts,
        state.since,
        [state.edges.get(memory) for memory in edges],
        {place[n]: power for n, power in state.powers.items() if n in place},
        # when it was moved is not the same where a jump passed over a move there and back
        {n: place[r] for n, (r, _) in state.moved_by.items() if n != "stranger"},
    )


def halves(dice: Random, program: Program) -> tuple[list[Hand], list[Hand]]:
    hands = random_hands(dice, program, 16)
    middle = dice.randrange(len(hands))
    return hands[:middle], hands[middle:]


@pytest.mark.parametrize("jump", [True, False])
@pytest.mark.parametrize("strange", [False, True])
def test_an_edit_that_is_none_of_its_business_does_not_touch_the_run(
    strange: bool, jump: bool
) -> None:
    for seed in range(35):
        dice = Random(seed)
        text = program_text(random_program(dice))
        program = program_of(text)
        edited = program_of(with_a_stranger(text, dice, program) if strange else relaid(text, dice))
        before, after = halves(dice, program)
        old = Panel(program, START, jump=jump)
        for hand in before:
            do(old, hand)
        new, report = carried(old, edited)
        assert report == Carried(
            len(program.devices), (), ("stranger",) if strange else (), (), (), ()
        )
        runs = states_of(old), states_of(new)
        for hand in after:
            do(old, hand)
            do(new, hand)
            assert compared(old.state, program) == compared(new.state, edited), seed
            assert old.wall.memory() == new.wall.memory()
            assert old.circuits == new.circuits
        if not strange or not jump:
            one, other = runs
            assert [compared(s, program) for s in one] == [compared(s, edited) for s in other]


def test_no_two_programs_make_it_raise_and_the_panel_goes_on() -> None:
    changed = 0
    for seed in range(120):
        dice = Random(seed)
        programs = [program_of(program_text(random_program(dice))) for _ in range(2)]
        before, _ = halves(dice, programs[0])
        old = Panel(programs[0], START)
        for hand in before:
            do(old, hand)
        stood = old.snapshot()
        new, report = carried(old, programs[1])
        assert old.snapshot() == stood
        assert (new.now, new.powered) == (old.now, old.powered)
        assert set(new.forces) == set(old.forces) - set(report.forces)
        names = {d.name for d in programs[1].devices}
        assert report.kept + len(report.reset) + len(report.new) == len(names)
        assert set(report.new) | {n for n, _ in report.reset} <= names
        ran = new.powered and new.state.powered
        if new.powered:
            assert new.make_scan().first is not ran
        for hand in random_hands(dice, programs[1], 8):
            do(new, hand)
        changed += bool(report.reset)
    assert changed > 15


def test_a_new_rung_with_power_has_not_gained_it_and_no_edge_comes_from_an_edit() -> None:
    """What counts, flips or pulses stays as it is in the scan after an edit that adds rungs."""
    for seed in range(60):
        dice = Random(seed)
        base = random_program(dice)
        text = program_text(base)
        program = program_of(text)
        added, names = "", []
        for number in range(4):
            read = dice.choice(program.devices).name
            edge = dice.choice(("", "not ", "rising ", "falling "))
            names += [f"flips_{number}", f"counts_{number}", f"pulses_{number}"]
            added += f"relay flips_{number}\ncounter counts_{number} to 1\n"
            added += f"timer pulses_{number} pulse 1s\n"
            added += f"rung {edge}{read} -> impulse flips_{number}, counts_{number}, "
            added += f"pulses_{number}\n"
        before, _ = halves(dice, program)
        old = Panel(program, START)
        old.make_scan()
        for hand in before:
            do(old, hand)
        old.switch_power(True)
        old.make_scan()
        new, _ = carried(old, program_of(text + added))
        state = new.make_scan()
        assert not any(state.contacts[name] for name in names), seed


# --- case by case -------------------------------------------------------------------------------

OLD = """
input  start at I1
input  slow  at I2 debounce 100ms
input  gate  at I3 NC
relay  running
relay  odd
timer  warm on-delay 10s
timer  after off-delay 10s
timer  sum accumulating 10s
timer  blink flasher 1s on 1s off
counter c to 3
output lamp at R1
output sign at R2
rung "Seal" start or running -> running
rung running -> warm, blink, sum
rung start -> after, c
rung start -> impulse odd
rung warm or slow -> lamp
rung blink -> sign
"""


def ran(*hands: tuple[int, str, bool]) -> Panel:
    """The old program with switches moved at run times, up to 6 s."""
    panel = Panel(program_of(OLD))
    for t, name, operated in hands:
        panel.run(t)
        panel.operate(name, operated)
    panel.run(6_000)
    return panel


def edited(old: Panel, *swaps: tuple[str, str]) -> tuple[Panel, Carried]:
    text = OLD
    for one, other in swaps:
        assert one in text
        text = text.replace(one, other)
    return carried(old, program_of(text))


TAPPED = ((1_000, "start", True), (1_500, "start", False))


def test_a_seal_in_holds_over_an_edit_and_its_timer_goes_on() -> None:
    old = ran(*TAPPED)
    new, report = edited(old, ('"Seal"', '"Holds itself"'), ("rung blink", "rung not blink"))
    assert new.run(11_000).contacts["lamp"] is False
    # COMPUTED: started in the scan at 1010 ms, with 10 s
    assert new.run(11_010).contacts["lamp"] is True
    assert report.reset == ()
    assert new.state.contacts["odd"] is True
    assert new.state.counts["c"] == 1


def test_a_bounce_under_way_goes_on_to_its_end() -> None:
    old = ran(*TAPPED)
    old.operate("slow", True)
    old.run(6_050)
    new, _ = edited(old, ("output sign at R2", "output sign at R3"))
    assert new.run(6_100).contacts["slow"] is False
    assert new.run(6_110).contacts["slow"] is True


@pytest.mark.parametrize(
    ("swap", "name", "words", "contact"),
    [
        (("warm on-delay 10s", "warm on-delay 2s"), "warm", "times out in the next scan", True),
        (("warm on-delay 10s", "warm on-delay 30s"), "warm", "25s10ms left", False),
        (("after off-delay 10s", "after off-delay 2s"), "after", "and ends now", False),
        (("after off-delay 10s", "after off-delay 20s"), "after", "15s510ms left", True),
        (("sum accumulating 10s", "sum accumulating 4s"), "sum", "its time is full", True),
        (("sum accumulating 10s", "sum accumulating 6s"), "sum", "it holds 4s990ms", False),
        (("flasher 1s on 1s off", "flasher 3s on 3s off"), "blink", "in its off time", False),
        (("c to 3", "c to 1"), "c", "at 1 it closes in the next scan", True),
    ],
)
def test_a_changed_time_keeps_what_has_run_and_says_what_comes_of_it(
    swap: tuple[str, str], name: str, words: str, contact: bool
) -> None:
    old = ran(*TAPPED)
    new, report = edited(old, swap)
    assert report.reset == ()
    ((told, said),) = report.told
    assert told == name
    assert words in said
    assert new.make_scan().contacts[name] is contact


def test_a_timer_that_had_timed_out_and_gets_longer_opens_again_and_says_so() -> None:
    old = ran(*TAPPED)
    old.run(12_000)
    assert old.state.contacts["warm"]
    new, report = edited(old, ("warm on-delay 10s", "warm on-delay 15s"))
    assert report.told == (
        (
            "warm",
            "its time is 15s instead of 10s; it has run for 10s990ms, 4s10ms left, so that it"
            " opens again first",
        ),
    )
    assert new.make_scan().contacts["warm"] is False
    assert new.run(16_010).contacts["warm"] is True


@pytest.mark.parametrize(
    ("swaps", "reset"),
    [
        (
            (("relay  odd", "relay  even"), ("impulse odd", "impulse even")),
            ("even", "it was called odd, and a new name begins anew"),
        ),
        ((("warm on-delay", "warm pulse"),), ("warm", "it was an on-delay timer and is a pulse")),
        (
            (("relay  odd", "output odd at R7"),),
            ("odd", "it was a relay and is an output now"),
        ),
        (
            (("rung start -> impulse odd\n", ""),),
            ("odd", "no rung drives it any more, so that it is off"),
        ),
    ],
)
def test_what_is_no_more_the_same_device_begins_anew_and_is_told(
    swaps: tuple[tuple[str, str], ...], reset: tuple[str, str]
) -> None:
    old = ran(*TAPPED)
    assert old.state.contacts["odd"]
    new, report = edited(old, *swaps)
    ((name, reason),) = report.reset
    assert name == reset[0]
    assert reset[1] in reason
    assert (report.new, report.gone) == ((), ())
    assert report.kept == len(new.program.devices) - 1
    assert new.state.contacts[name] is False
    assert new.make_scan().contacts[name] is False


def test_devices_of_one_program_alone_and_forces_on_them_are_told() -> None:
    old = ran(*TAPPED)
    old.force("odd", True)
    old.force("lamp", False)
    old.make_scan()
    new, report = edited(old, ("relay  odd\n", "counter odd to 2\n"), ("impulse odd", "odd"))
    assert report.forces == ("odd",)
    assert new.forces == {"lamp": False}
    assert new.make_scan().contacts["lamp"] is False
    gone, report = edited(old, ("output sign at R2\n", "relay bell\n"), ("-> sign", "-> bell"))
    assert (report.new, report.gone) == (("bell",), ("sign",))
    assert gone.forces == {"odd": True, "lamp": False}


def test_an_input_keeps_its_switch_and_its_wire_and_says_when_it_is_wired_the_other_way() -> None:
    old = ran((1_000, "gate", True))
    old.fault("slow", "shorted")
    old.run(7_000)
    new, report = edited(old, ("gate  at I3 NC", "gate  at I3 NO"))
    assert new.operated["gate"]
    assert new.wires["slow"] == "shorted"
    assert report.told == (("gate", "it is wired NO now: while operated, its circuit is closed"),)
    assert new.make_scan().contacts["gate"] is True


CLOCKED = """
site zone "Europe/Oslo"
input a at I1
clock gong at 12:00 daily
clock evening from 19:00 to 22:00
counter gongs to 9
output lamp at R1
rung gong -> gongs
rung evening or a or gongs -> lamp
"""


def test_a_changed_zone_or_clock_is_told_and_no_event_comes_late_or_twice() -> None:
    program = program_of(CLOCKED)
    old = Panel(program, START - 2_000)  # 12:59:58 in Oslo
    old.run(3_600_000)
    new, report = carried(old, program_of(CLOCKED.replace("at 12:00", "at 13:30")))
    assert report.told == (
        ("gong", "its times have changed; an event that is past does not come late"),
    )
    assert new.run(7_200_000).counts["gongs"] == 0
    assert new.wall.at(new.now) == START - 2_000 + 7_200_000
    moved, report = carried(old, program_of(CLOCKED.replace("Europe/Oslo", "Asia/Tokyo")))
    assert report.told == (
        ("", "the zone is Asia/Tokyo now: the clock shows 21:59:58, not 13:59:58"),
        ("evening", "its times have changed: it closes now"),
    )
    assert moved.make_scan().contacts["evening"] is True


def test_an_event_that_was_shown_does_not_come_again_after_an_edit_and_a_clock_set_back() -> None:
    program = program_of(CLOCKED)
    old = Panel(program, START - 3_602_000)  # 11:59:58 in Oslo
    old.run(10_000)
    assert old.state.counts["gongs"] == 1
    new, _ = carried(old, program_of("# edited\n" + CLOCKED))
    new.set_clock(START - 3_602_000)
    assert new.run(60_000).counts["gongs"] == 1


def test_a_panel_without_power_stays_without_and_its_next_scan_is_a_first_one() -> None:
    old = ran(*TAPPED)
    old.switch_power(False)
    new, report = edited(old, ("warm on-delay 10s", "warm on-delay 1s"))
    assert not new.powered
    assert not new.state.powered
    assert report.told == (("warm", "its time is 1s instead of 10s"),)
    new.switch_power(True)
    state = new.make_scan()
    assert state.first
    assert not state.contacts["running"]


def test_without_power_a_device_that_is_no_more_retained_is_off() -> None:
    kept = "input a at I1\nrelay r retained\noutput o at R1\nrung a -> latch r\nrung r -> o\n"
    kept += "rung not a and not r -> unlatch r\n"
    old = Panel(program_of(kept))
    old.operate("a", True)
    old.run(100)
    old.operate("a", False)
    old.switch_power(False)
    same, _ = carried(old, program_of("# edited\n" + kept))
    other, _ = carried(old, program_of(kept.replace(" retained", "")))
    assert (same.state.contacts["r"], other.state.contacts["r"]) == (True, False)
    other.switch_power(True)
    assert other.make_scan().contacts["o"] is False


def test_a_coil_that_becomes_a_latch_stays_on_and_is_told() -> None:
    old = ran(*TAPPED)
    new, report = edited(
        old, ('rung "Seal" start or running -> running', "rung start -> latch running")
    )
    assert ("running", "it followed a coil rung, and stays on now until a rung turns it off") in (
        report.told
    )
    assert new.run(8_000).contacts["running"] is True


def test_rungs_are_matched_in_order_and_moved_ones_are_found_again() -> None:
    head = "input a at I1\ninput b at I2\nrelay r\nrelay s\nrelay u\n"
    rungs = ["rung a -> r", "rung rising b -> latch s", "rung a -> latch u", "rung b -> unlatch s"]
    old = program_of(head + "\n".join(rungs))
    moved = program_of(head + "\n".join([rungs[3], "rung a or b -> unlatch u", *rungs[:3]]))
    assert matched(old.rungs, moved.rungs) == {1: 3, 2: 4, 3: 5, 4: 1}
    # another action or label on the same circuit is still that circuit
    other = program_of(
        head
        + "\n".join([rungs[0], 'rung "Set" rising b -> r', rungs[2]]).replace(
            "rung a -> r", "rung a -> s"
        )
    )
    assert matched(old.rungs, other.rungs)[2] == 2


def test_a_recorded_panel_that_was_carried_over_explains_what_it_knows_and_no_more() -> None:
    for seed in range(40):
        dice = Random(seed)
        programs = [program_of(program_text(random_program(dice))) for _ in range(2)]
        old = RecordedPanel(programs[0], START)
        for hand in random_hands(dice, programs[0], 10):
            do(old, hand)
        new, _ = carried(old, programs[1], RecordedPanel)
        assert not new.history
        for name, (number, _) in new.state.moved_by.items():
            assert name in [action.name for action in programs[1].rungs[number - 1].actions]
        for hand in random_hands(dice, programs[1], 6):
            do(new, hand)
        if not new.history:
            continue
        explainer = Explainer(new.history)
        for device in programs[1].devices:
            for t in (new.history.begins, new.history.latest.t):
                found = explainer.explain(device.name, "contact", t, 12)
                assert verified(new.history, found) == (), seed


def test_a_preset_that_is_kept_says_nothing() -> None:
    old = ran(*TAPPED)
    new, report = edited(old, ("timer  warm on-delay 10s", 'timer  warm on-delay 10s "Warming"'))
    assert (report.told, report.reset) == ((), ())
    warm = new.program.by_name["warm"]
    assert isinstance(warm, Timer)
    assert warm.label == "Warming"
