"""Situations, and what is asked of them all: chatter, races, power cuts. Held against brute force
over the reference interpreter, which knows no core, no lanes and no abstraction of time."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from itertools import combinations, product
from pathlib import Path
from random import Random

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.program.nodes import Action, Contact, Counter, Input, Program, Relay, Rung, Series, Timer
from rungs.prove.budget import Budget
from rungs.prove.clocks.dated import Dates
from rungs.prove.situations import Situations, situations
from rungs.prove.situations.chatter import ROUNDS, chatters
from rungs.prove.situations.cuts import after_cuts
from rungs.prove.situations.lanes import columns_of, lanes_of, spread, tiled, words_of
from rungs.prove.situations.together import Race, races
from rungs.prove.situations.wires import FAULTS, STEPS, Step, wire_faults
from rungs.prove.witness import Witness, played
from rungs.scan.reference import State, powered_down, same, scan
from rungs.scan.runner import Panel
from tests.helpers import program_of
from tests.properties import capped, state_key
from tests.strategies import random_program

PERIOD = 10
MOST = 1_500  # states that brute force looks at


# --- lanes


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 130), st.data())
def test_words_become_columns_and_come_back(width: int, data: st.DataObject) -> None:
    words = data.draw(st.lists(st.integers(0, (1 << width) - 1), min_size=1, max_size=40))
    columns = columns_of(words, width)
    assert [sum((c >> i & 1) << n for n, c in enumerate(columns)) for i in range(len(words))] == (
        words
    )
    assert words_of(columns, len(words)) == words
    # what a word has above is left out
    assert columns_of([word | 1 << width for word in words], width) == columns


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 20), st.integers(1, 20), st.data())
def test_masks_are_copied_and_stretched(width: int, times: int, data: st.DataObject) -> None:
    mask = data.draw(st.integers(0, (1 << width) - 1))
    bits = [mask >> i & 1 for i in range(width)]
    copies = tiled(mask, width, times)
    assert [copies >> i & 1 for i in range(width * times)] == bits * times
    wide = spread(mask, width, times)
    assert [wide >> i & 1 for i in range(width * times)] == [b for b in bits for _ in range(times)]
    assert list(lanes_of(mask)) == [i for i, bit in enumerate(bits) if bit]


# --- brute force


@dataclass
class Brute:
    """Everything by trying it out: each state that scans can lead to, with power cuts, under each
    pattern of circuits."""

    program: Program
    timed: bool
    circuits: list[dict[str, bool]] = field(default_factory=list)
    states: list[State] = field(default_factory=list)
    situations: list[tuple[State, dict[str, bool]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        names = [device.name for device in self.program.inputs]
        self.seen = [d.name for d in self.program.devices if isinstance(d, Relay)]
        self.seen += [output.name for output in self.program.outputs]
        self.circuits = [
            dict(zip(names, each, strict=True))
            for each in product((False, True), repeat=len(names))
        ]

    def look(self) -> bool:
        """Find all states and situations; False if there are too many."""
        start = powered_down(self.program)
        known = {state_key(start)}
        self.states = [start]
        for state in self.states:
            befores = [state]
            if state.powered:
                befores.append(replace(powered_down(self.program, state), t=0))
            for before in befores:
                for circuits in self.circuits:
                    after = capped(
                        self.program, scan(self.program, before, circuits, {}, before.t + PERIOD)
                    )
                    key = state_key(after)
                    if key not in known:
                        known.add(key)
                        self.states.append(after)
                        if len(known) > MOST:
                            return False
        for state in self.states:
            for circuits in self.circuits:
                if state.powered and self.stands(state, circuits):
                    self.situations.append((state, circuits))
        return True

    def stands(self, state: State, circuits: dict[str, bool]) -> bool:
        after = scan(self.program, state, circuits, {}, state.t + PERIOD)
        return same(self.program, state, after)

    def on(self, state: State) -> frozenset[str]:
        return frozenset(name for name in self.seen if state.contacts[name])

    def outputs_on(self, state: State) -> frozenset[str]:
        return frozenset(o.name for o in self.program.outputs if state.contacts[o.name])

    def settled(self, state: State, circuits: dict[str, bool]) -> State | None:
        """What a state comes to under these circuits, no timer's time ending; None if to no rest,
        or if one ends."""
        for _ in range(110):
            after = scan(self.program, state, circuits, {}, state.t + PERIOD)
            if same(self.program, state, after):
                return state
            state = after
        return None

    @cached_property
    def rounds(self) -> set[frozenset[str]]:
        """Of each round that is gone through for ever under some circuits the outputs and relays
        that change in it."""
        found = set()
        for circuits in self.circuits:
            ended: set[tuple[object, ...]] = set()
            for state in self.states:
                run: dict[tuple[object, ...], frozenset[str]] = {}
                key = state_key(state)
                while key not in run and key not in ended:
                    run[key] = self.on(state)
                    state = capped(
                        self.program, scan(self.program, state, circuits, {}, state.t + PERIOD)
                    )
                    key = state_key(state)
                if key in run:
                    shown = list(run.values())[list(run).index(key) :]
                    if len(shown) > 1:
                        found.add(frozenset(n for each in shown for n in each ^ shown[0]))
                ended |= run.keys()
        return found

    @property
    def plain(self) -> bool:
        """Whether all comes to rest, or something visible goes on moving. Memories that nothing
        visible depends on may never come to rest; only brute force sees those."""
        return frozenset() not in self.rounds

    def chattering(self) -> set[frozenset[str]]:
        """The sets of outputs and relays that go on changing together."""
        return self.rounds - {frozenset()}


def small_program(rng: Random, timers: bool) -> Program | None:
    """A program that brute force can look at: no clocks, no debounce, no counters, few inputs."""
    program = random_program(rng, rng.randint(3, 7))
    devices = program.devices
    if program.clocks or len(program.inputs) > 3:
        return None
    if any(isinstance(d, Counter) or (isinstance(d, Timer) and not timers) for d in devices):
        return None
    plain = [replace(d, debounce=0) if isinstance(d, Input) else d for d in devices]
    return replace(program, devices=tuple(plain))


@cache
def tried(timers: bool, wanted: int, first: int = 0) -> tuple[tuple[Brute, Situations], ...]:
    """Small programs with all their states, by brute force and as they are found."""
    made: list[tuple[Brute, Situations]] = []
    seed = first
    while len(made) < wanted:
        seed += 1
        program = small_program(Random(seed), timers)
        if program is None or (timers and not program.timers):
            continue
        brute = Brute(program, timers)
        if not brute.look():
            continue
        found = situations(program, Budget())
        assert found.complete, found.reason
        made.append((brute, found))
    return tuple(made)


def shown(found: Situations, number: int) -> tuple[frozenset[str], frozenset[str]]:
    """The inputs whose circuits are closed, and what is on, in a situation."""
    sides = {device.name: device.side == "NC" for device in found.program.inputs}
    standing = found.standing(number)
    closed = [n for n in standing.operated if not sides[n]]
    closed += [n for n in standing.released if sides[n]]
    return frozenset(closed), frozenset(standing.on)


def read_inputs(found: Situations) -> set[str]:
    return {found.core.signals[index].name for index in found.machine.inputs}


def brute_shown(brute: Brute, found: Situations) -> set[tuple[frozenset[str], frozenset[str]]]:
    """The same of every situation that trying finds; inputs that nothing visible reads left out."""
    read = read_inputs(found)
    return {
        (frozenset(n for n, on in circuits.items() if on and n in read), brute.on(state))
        for state, circuits in brute.situations
    }


def test_without_timers_the_situations_are_those_that_trying_finds() -> None:
    kept = 0
    for brute, found in tried(False, 120):
        mine = {shown(found, number) for number in range(found.count)}
        wanted = brute_shown(brute, found)
        assert wanted <= mine
        if brute.plain:
            assert mine == wanted
            kept += 1
    assert kept > 40


def test_with_timers_no_situation_is_missed_and_none_that_was_reached_is_made_up() -> None:
    reached = 0
    for brute, found in tried(True, 40, 5_000):
        mine = {shown(found, number) for number in range(found.count)}
        wanted = brute_shown(brute, found)
        assert wanted <= mine
        read = read_inputs(found)
        met = {
            (frozenset(n for n, on in circuits.items() if on and n in read), brute.on(after))
            for state in brute.states
            if state.powered
            for circuits in brute.circuits
            for after in [scan(brute.program, state, circuits, {}, state.t + PERIOD)]
        }
        for number in found.records:
            assert shown(found, number) in met
            reached += 1
    assert reached > 120


def test_every_situation_has_a_run_where_there_are_no_timers() -> None:
    count = 0
    for _, found in tried(False, 120):
        for number in range(0, found.count, 3):
            run = found.run(number)
            assert run is not None
            panel = Panel(found.program)
            for _ in played(run.witness, panel):
                pass
            on = {
                name for _, name in found.devices("output", "relay") if panel.state.contacts[name]
            }
            assert on == set(found.standing(number).on)
            count += 1
    assert count > 100


# --- chatter


def test_without_timers_the_chatter_is_what_trying_finds() -> None:
    some = 0
    for brute, found in tried(False, 120):
        told = chatters(found)
        assert told.complete
        assert {frozenset(each.devices) for each in told.found} == brute.chattering()
        assert len({each.devices for each in told.found}) == len(told.found)
        some += bool(told.found)
    assert some > 10


def test_a_chatter_that_is_told_goes_on_in_the_reference_interpreter() -> None:
    count = 0
    for _, found in tried(False, 120) + tried(True, 40, 5_000):
        for each in chatters(found).found:
            panel = Panel(found.program)
            start = each.witness.end - ROUNDS * each.scans * PERIOD
            for _ in played(replace(each.witness, end=start), panel):
                pass
            for number in range(ROUNDS * each.scans):
                contacts = panel.make_scan().contacts
                on = frozenset(name for name in each.devices if contacts[name])
                assert on == each.round[number % each.scans]
            count += 1
    assert count > 20


def slow(program: Program) -> Program:
    """The same with timers of a second and more, which end in no round of a chatter."""
    devices = [
        replace(d, preset=d.preset * 100 + 900, off=d.off and d.off * 100 + 900)
        if isinstance(d, Timer)
        else d
        for d in program.devices
    ]
    return replace(program, devices=tuple(devices))


def test_a_planted_oscillator_is_found_each_time() -> None:
    planted = found_of = 0
    seed = 0
    while planted < 40:
        seed += 1
        rng = Random(seed)
        program = slow(random_program(rng, 4))
        if program.clocks:
            continue
        switch = rng.choice(program.inputs).name
        gate = Contact("closed", switch, rng.random() < 0.5)
        circuit = Series((gate, Contact("closed", "osc", negated=True)))
        number = len(program.rungs) + 1
        rung = Rung(number, "", circuit, (Action("coil", "osc"),))
        program = replace(
            program, devices=(*program.devices, Relay("osc")), rungs=(*program.rungs, rung)
        )
        told = chatters(situations(program, Budget(), most=200))
        planted += 1
        found_of += any("osc" in each.devices for each in told.found)
    assert found_of == planted


def test_a_relay_that_opens_its_own_contact_chatters_with_a_round_of_two_scans() -> None:
    found = situations(
        program_of("input a at I1\noutput lamp at R1\nrung a and not lamp -> lamp\n")
    )
    (told,) = chatters(found).found
    assert told.devices == ("lamp",)
    assert sorted(told.round, key=len) == [frozenset(), frozenset({"lamp"})]
    assert told.standing.operated == ("a",)


@pytest.mark.parametrize("times", ["10ms on 10ms off", "20ms on 30ms off", "500ms on 1s off"])
def test_a_flasher_is_no_chatter(times: str) -> None:
    found = situations(
        program_of(
            f"input a at I1\noutput lamp at R1\ntimer t flasher {times}\n"
            "rung a -> t\nrung t -> lamp\n"
        )
    )
    told = chatters(found)
    assert told.found == ()
    if not times.startswith("10ms"):
        assert told.complete


def test_a_timer_that_times_meanwhile_does_not_hide_a_chatter() -> None:
    found = situations(
        program_of(
            "input a at I1\noutput lamp at R1\noutput x at R2\ntimer t on-delay 5min\n"
            "rung a -> t\nrung t -> x\nrung a and not lamp -> lamp\n"
        )
    )
    told = chatters(found)
    assert [each.devices for each in told.found] == [("lamp",)]
    assert told.complete


# --- two inputs in one scan


def brute_races(brute: Brute) -> dict[tuple[str, str], set[str]]:
    """For each pair of inputs how both together differ from one after the other."""
    found: dict[tuple[str, str], set[str]] = {}
    names = [device.name for device in brute.program.inputs]
    for state, circuits in brute.situations:
        for one, other in combinations(names, 2):
            first, second = dict(circuits), dict(circuits)
            first[one], second[other] = not circuits[one], not circuits[other]
            both = {**first, other: second[other]}
            ends = [ended(brute, state, [both])]
            ends += [ended(brute, state, [way, both]) for way in (first, second)]
            if None in ends:
                continue
            if ends[0] not in ends[1:]:
                agree = "agree" if ends[1] == ends[2] else "apart"
                found.setdefault((one, other), set()).add(f"neither {agree}")
            elif ends[0] != ends[1] or ends[0] != ends[2]:
                found.setdefault((one, other), set()).add("one")
    return found


def ended(brute: Brute, state: State, ways: list[dict[str, bool]]) -> frozenset[str] | None:
    for circuits in ways:
        after = scan(brute.program, state, circuits, {}, state.t + PERIOD)
        settled = brute.settled(after, circuits)
        if settled is None:
            return None
        state = settled
    return brute.outputs_on(state)


def kinds(race: Race) -> set[str]:
    words = ("neither agree", "neither apart", "one")
    return {word for word, count in zip(words, race.counts, strict=True) if count}


def test_without_timers_the_races_are_those_that_trying_finds() -> None:
    some = 0
    for brute, found in tried(False, 120):
        told = races(found)
        assert told.complete
        if not brute.plain:
            continue
        mine = {(race.first, race.second): kinds(race) for race in told.found}
        wanted = brute_races(brute)
        assert mine == wanted
        some += len(wanted)
    assert some > 5


def contacts_at_the_end(program: Program, witness: Witness) -> dict[str, bool]:
    panel = Panel(program, witness.start)
    for _ in played(witness, panel):
        pass
    return panel.state.contacts


def test_the_three_runs_of_a_race_end_as_it_says() -> None:
    count = 0
    for _, found in tried(False, 120) + tried(True, 40, 5_000):
        for race in races(found).found:
            ends = [
                contacts_at_the_end(found.program, witness)
                for witness in (race.together, race.first_first, race.second_first)
            ]
            assert race.ends
            for each in race.ends:
                assert [end[each.name] for end in ends] == [each.together, each.first, each.second]
            outputs = [[end[o.name] for o in found.program.outputs] for end in ends]
            like = {race.first: 1, race.second: 2}.get(race.like)
            assert (race.kind == "one") == (like is not None)
            if like is None:
                assert outputs[0] not in outputs[1:]
                assert race.orders_agree == (outputs[1] == outputs[2])
            else:
                assert outputs[0] == outputs[like] != outputs[3 - like]
            count += 1
    assert count > 7


def test_two_buttons_whose_edges_must_meet_end_as_in_neither_order() -> None:
    found = situations(
        program_of(
            "input a at I1 debounce 30ms\ninput b at I2\noutput lamp at R1\n"
            "rung rising a and rising b -> latch lamp\nrung not a and not b -> unlatch lamp\n"
        )
    )
    (race,) = races(found).found
    assert (race.kind, race.orders_agree, race.like) == ("neither", True, "")
    assert [(e.name, e.together, e.first, e.second) for e in race.ends] == [
        ("lamp", True, False, False)
    ]
    # the debounced switch has to move first for both images to change in one scan
    moved = {name: act.t for act in race.together.acts for name, on in act.circuits if on}
    assert moved["b"] - moved["a"] == 30


def test_the_first_press_of_two_locked_buttons_wins_and_both_at_once_are_like_one() -> None:
    found = situations(
        program_of(
            "input a at I1\ninput b at I2\noutput left at R1\noutput right at R2\n"
            "rung a and not right -> left\nrung b and not left -> right\n"
        )
    )
    (race,) = races(found).found
    assert (race.kind, race.like) == ("one", "a")
    assert races(found).complete


# --- power cuts


def test_without_timers_power_cuts_do_what_trying_finds() -> None:
    changed = 0
    for brute, found in tried(False, 120):
        if not brute.plain:
            continue
        wanted: dict[str, set[str]] = {name: set() for name in brute.seen}
        for state, circuits in brute.situations:
            off = replace(powered_down(brute.program, state), t=0)
            back = scan(brute.program, off, circuits, {}, PERIOD)
            settled = brute.settled(back, circuits)
            if settled is None:
                continue
            for name in brute.seen:
                pair = (state.contacts[name], settled.contacts[name])
                if pair[0] != pair[1]:
                    wanted[name].add("goes off" if pair[0] else "comes on")
        told = after_cuts(found)
        assert told.complete
        for each in told.devices:
            mine = {"comes on"} if each.comes_on else set()
            mine |= {"goes off"} if each.goes_off else set()
            assert mine == wanted[each.name], each
            assert each.worst == (
                "comes on" if each.comes_on else "goes off" if each.goes_off else "same"
            )
            changed += bool(mine)
    assert changed > 15


def test_a_run_through_a_power_cut_shows_what_it_is_for() -> None:
    count = 0
    for _, found in tried(False, 120) + tried(True, 40, 5_000):
        for each in after_cuts(found).devices:
            for change, on in ((each.comes_on, True), (each.goes_off, False)):
                if change is None or change.witness is None:
                    continue
                assert (each.name in change.standing.on) is not on
                assert contacts_at_the_end(found.program, change.witness)[each.name] is on
                assert any(act.cut for act in change.witness.acts)
                count += 1
    assert count > 30


def test_a_retained_relay_that_waits_for_the_first_scan_starts_a_motor_after_a_cut() -> None:
    found = situations(
        program_of(
            "input arm at I1\ninput clear at I2\noutput motor at R1\nrelay armed retained\n"
            "rung arm -> latch armed\nrung clear -> unlatch armed\n"
            "rung (first_scan or motor) and armed -> motor\n"
        )
    )
    told = {each.name: each for each in after_cuts(found).devices}
    motor = told["motor"]
    assert motor.worst == "comes on"
    assert motor.comes_on is not None
    assert motor.comes_on.witness is not None
    assert "armed" in motor.comes_on.standing.on
    assert told["armed"].worst == "same"


def test_a_seal_in_goes_off_with_the_power_and_stays_off() -> None:
    found = situations(
        program_of(
            "input start at I1\ninput stop_button at I2 NC\noutput motor at R1\n"
            "rung (start or motor) and stop_button -> motor\n"
        )
    )
    (motor,) = after_cuts(found).devices
    assert motor.goes_off is not None
    assert (motor.worst, motor.goes_off.count, motor.same) == ("goes off", 1, found.count - 1)


# --- wires, by trying


def test_without_timers_wire_faults_do_what_trying_finds() -> None:
    checked = 0
    for brute, found in tried(False, 120):
        if not brute.plain:
            continue
        wanted: set[tuple[str, str, str, Step]] = set()
        for state, circuits in brute.situations:
            for device, fault in product(brute.program.inputs, FAULTS):
                spoilt = {**circuits, device.name: fault == "shorted"}
                after = scan(brute.program, state, spoilt, {}, state.t + PERIOD)
                settled = brute.settled(after, spoilt)
                if settled is None:
                    continue
                for output in brute.program.outputs:
                    pair = (state.contacts[output.name], settled.contacts[output.name])
                    step = STEPS[{(1, 0): 0, (1, 1): 1, (0, 1): 2, (0, 0): 3}[pair]]
                    wanted.add((device.name, fault, output.name, step))
        table = wire_faults(found)
        assert table.complete
        mine = {
            (cell.input, cell.fault, cell.output, step)
            for cell in table.cells
            for step, known in cell.steps
            if known == "seen"
        }
        assert mine == wanted
        checked += len(wanted)
    assert checked > 500


# --- clocks, assumptions, and what was not looked at


def test_clocks_show_only_what_the_calendar_lets_them_unless_they_are_free() -> None:
    program = program_of(
        'site zone "UTC"\noutput early at R1\noutput late at R2\noutput both at R3\n'
        "clock am from 06:00 to 08:00 daily\nclock pm from 20:00 to 22:00 daily\n"
        "rung am -> early\nrung pm -> late\nrung am and pm -> both\n"
    )
    real = situations(program)
    assert real.complete
    assert {real.standing(n).on for n in range(real.count)} == {(), ("early",), ("late",)}
    assert all(real.run(n) is not None for n in range(real.count))
    free = situations(program, free_clocks=True)
    assert ("early", "late", "both") in {free.standing(n).on for n in range(free.count)}
    assert all(free.run(n) is None for n in range(free.count))


def test_a_calendar_that_was_asked_before_leads_to_the_same_runs() -> None:
    program = program_of(
        'site zone "UTC"\ninput a at I1\noutput lamp at R1\nclock am from 06:00 to 08:00 daily\n'
        "rung am and a -> lamp\n"
    )
    dates = Dates(program)
    first = situations(program, Budget(), dates=dates)
    second = situations(program, Budget(), dates=dates)
    assert first.count == second.count == 4
    for number in range(first.count):
        steps = first.steps_into(number)
        ways = list(dates.ways(first.core, steps))
        assert ways
        assert list(dates.ways(first.core, steps)) == ways
        assert list(Dates(program).ways(first.core, steps)) == ways
        timed = first.timed(steps)
        assert timed is not None
        assert second.timed(second.steps_into(number)) == timed


def test_no_situation_contradicts_what_the_program_assumes() -> None:
    text = (
        "input top at I1\ninput bottom at I2\noutput lamp at R1\noutput fault at R2\n"
        "rung top or bottom -> lamp\nrung top and bottom -> fault\n"
    )
    every = situations(program_of(text))
    assumed = situations(program_of(text + "assume never top and bottom\n"))
    assert (every.count, assumed.count) == (4, 3)
    assert all("fault" not in assumed.standing(n).on for n in range(3))
    # a wire that lies may contradict it all the same
    cell = wire_faults(assumed).cell("top", "shorted", "fault")
    assert cell.danger == "comes on"


def test_what_was_not_looked_at_is_not_claimed() -> None:
    demo = Path(__file__).resolve().parents[1] / "demos" / "sliding_gate.rungs"
    program = program_of(demo.read_text(encoding="utf-8"))
    part = situations(program, Budget(), most=60)
    whole = situations(program, Budget())
    assert whole.complete
    assert not part.complete
    assert part.reason == "more than 60 states"
    assert not chatters(part).complete
    assert not races(part, Budget(0.3)).complete
    assert not after_cuts(part, Budget(0.3)).complete
    # what was found is all the same true
    standings = {whole.standing(n) for n in range(whole.count)}
    assert {part.standing(n) for n in range(part.count)} <= standings


def test_a_budget_of_nothing_ends_at_once_and_claims_nothing() -> None:
    _, found = tried(False, 120)[0]
    none = situations(found.program, Budget(0))
    assert not none.complete
    for result in (races(none, Budget(0)), after_cuts(none, Budget(0)), chatters(none, Budget(0))):
        assert not result.complete


def test_two_searches_of_one_program_find_the_same_in_the_same_order() -> None:
    program = tried(True, 40, 5_000)[3][1].program
    one, other = (situations(program, Budget()) for _ in range(2))
    assert (one.words, one.inputs) == (other.words, other.inputs)
