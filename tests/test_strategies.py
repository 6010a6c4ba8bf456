"""The second reading's refusals, and the generators: what they draw keeps the language's rules."""

from __future__ import annotations

from datetime import datetime
from random import Random

import pytest
from hypothesis import given, settings

from rungs.program import nodes
from rungs.program.nodes import (
    Circuit,
    Clock,
    Compare,
    Contact,
    Counter,
    Input,
    Output,
    Parallel,
    Program,
    Relay,
    Series,
    TimeOfDay,
    Timer,
    leaves,
)
from tests.by_hand import LAMP, START, changes, off, on, panel, rising
from tests.second_reading import LatchRelay, Power, play
from tests.strategies import (
    NOON,
    Stimulus,
    cases,
    clock_functions,
    program_text,
    random_program,
    random_stimulus,
)


def test_clock_functions_open_windows_and_place_events_by_plain_utc_arithmetic() -> None:
    noon = TimeOfDay(12 * 3600 * 1000)
    program = Program(
        devices=(
            Clock("day", noon, TimeOfDay(noon.ms + 1000)),
            Clock("night", TimeOfDay(noon.ms + 1000), noon),
            Clock("sunday", noon, TimeOfDay(noon.ms + 1000), nodes.Days((6,))),
            Clock("from_tuesday", TimeOfDay(noon.ms + 1000), noon, nodes.Days((1,))),
            Clock("bell", noon, None, nodes.Days((2, 5), ((11, 1), (2, 28)))),
        )
    )
    closed, events = clock_functions(program, datetime(2026, 11, 25, 11, 59, 59, 500_000))
    open_at = {
        clock.name: [t for t in (-501, 0, 499, 500, 1499, 1500) if closed(clock, t)]
        for clock in program.clocks[:4]
    }
    assert open_at["day"] == [500, 1499]
    assert open_at["night"] == open_at["from_tuesday"] + [1500] == [-501, 0, 499, 1500]
    assert open_at["sunday"] == []
    assert events == {"bell": [500]}


# --- what is refused ----------------------------------------------------------------------------


def test_a_window_needs_someone_to_say_when_it_is_open() -> None:
    clock = Clock("hours", TimeOfDay(0), TimeOfDay(1000))
    program = panel([START, clock, LAMP], (on("hours"), "lamp"))
    with pytest.raises(ValueError, match="clock windows"):
        play(program, [(0, {})])


def test_a_verb_that_a_device_does_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="reset"):
        LatchRelay(retained=False).take("reset", Power(on=True, gained=True, now=0))


def test_contacts_of_wires_and_loads_do_not_stand_in_rungs() -> None:
    program = panel([START, LAMP], (Contact("broken", "start"), "lamp"))
    with pytest.raises(ValueError, match="broken"):
        play(program, [(0, {})])


# --- the generators -----------------------------------------------------------------------------


def check_rules(program: Program) -> None:
    """The checker's rules that a generated program must keep, read from the language page."""
    names = [device.name for device in program.devices]
    assert len({name.lower() for name in names}) == len(names)
    terminals = [d.terminal for d in program.devices if isinstance(d, Input | Output)]
    assert len(set(terminals)) == len(terminals)
    verbs: dict[str, list[str]] = {name: [] for name in names}
    edges: list[Contact] = []
    for number, rung in enumerate(program.rungs, start=1):
        assert rung.number == number
        assert rung.actions
        assert len(set(rung.actions)) == len(rung.actions)
        for action in rung.actions:
            verbs[action.name].append(action.verb)
        check_joints(rung.circuit)
        for leaf in leaves(rung.circuit):
            device = program.by_name.get(leaf.name)
            if isinstance(leaf, Compare):
                assert isinstance(device, Counter)
            elif leaf.kind in ("rising", "falling"):
                assert device
                assert leaf.memory == len(edges)
                edges.append(leaf)
            elif leaf.kind == "timing":
                assert isinstance(device, Timer)
                assert leaf.memory == -1
            else:
                assert leaf.kind == "first_scan" or (leaf.kind == "closed" and device)
    assert program.edges == tuple(edges)
    for device in program.devices:
        done = verbs[device.name]
        if isinstance(device, Input | Clock):
            assert not done
        elif isinstance(device, Output | Relay):
            assert done == ["coil"] or set(done) & {"latch", "impulse"}
            assert "coil" not in done or done == ["coil"]
            assert set(done) <= {"coil", "latch", "unlatch", "impulse"}
        else:
            assert done.count("coil") == 1
            allowed = {"coil", "down", "reset"} if isinstance(device, Counter) else {"coil"}
            if isinstance(device, Timer) and device.kind == "accumulating":
                allowed = {"coil", "reset"}
            assert set(done) <= allowed
        if isinstance(device, Timer):
            assert device.preset > 0
            assert (device.off > 0) == (device.kind == "flasher")
            assert not device.retained or device.kind == "accumulating"
        if isinstance(device, Clock):
            assert device.end != device.begin
            assert not (device.end and device.catch_up)


def check_joints(circuit: Circuit) -> None:
    """No joint stands in one of its own kind, and each joins at least two parts."""
    if isinstance(circuit, Series | Parallel):
        assert len(circuit.parts) >= 2
        for part in circuit.parts:
            assert type(part) is not type(circuit)
            check_joints(part)


def check_run(program: Program, stimulus: Stimulus) -> None:
    """A stimulus is well formed and the program plays it, a scan wherever the supply is on."""
    times = [t for t, _ in stimulus.rows]
    assert times[0] == 0
    assert times == sorted(set(times))
    for _, row in stimulus.rows:
        assert set(row) <= {"power", *(d.name for d in program.inputs)}
    closed, events = clock_functions(program, stimulus.start)
    scans = play(program, stimulus.rows, stimulus.period, closed, events)
    powered = [
        t
        for t in range(0, times[-1] + 1, stimulus.period)
        if [row for at_t, row in stimulus.rows if at_t <= t][-1].get("power", True)
    ]
    assert [t for t, _ in scans] == powered
    shown_names = [d.name for d in program.devices if not isinstance(d, Input)]
    assert all(list(states) == shown_names for _, states in scans)


def test_seeded_programs_keep_the_rules_and_play() -> None:
    for seed in range(150):
        rng = Random(seed)
        program = random_program(rng, 1 + seed % 9)
        check_rules(program)
        check_run(program, random_stimulus(rng, program))


@settings(max_examples=60, deadline=None)
@given(cases())
def test_drawn_programs_keep_the_rules_and_play(case: tuple[Program, Stimulus]) -> None:
    program, stimulus = case
    check_rules(program)
    check_run(program, stimulus)


def test_one_seed_gives_one_case() -> None:
    first, second = random_program(Random(7)), random_program(Random(7))
    assert first == second != random_program(Random(8))
    assert random_stimulus(Random(3), first) == random_stimulus(Random(3), second)


def test_a_few_hundred_seeds_show_every_part_of_the_language() -> None:
    seen: set[str] = set()
    for seed in range(400):
        rng = Random(seed)
        program = random_program(rng)
        stimulus = random_stimulus(rng, program)
        for device in program.devices:
            kept = not isinstance(device, Input | Clock) and device.retained
            kind = device.kind if isinstance(device, Timer) else type(device).__name__
            seen.add(f"{kind}{' retained' if kept else ''}")
            if isinstance(device, Input):
                seen.add(f"{device.side}{' debounced' if device.debounce else ''}")
            if isinstance(device, Clock):
                seen.add("window" if device.end else f"event {device.catch_up > 0}")
        for rung in program.rungs:
            seen |= {action.verb for action in rung.actions}
            seen.add(f"{min(2, len(rung.actions))} actions")
            for leaf in leaves(rung.circuit):
                seen.add(f"{leaf.kind} {leaf.negated}" if isinstance(leaf, Contact) else leaf.op)
        rows = stimulus.rows
        seen |= {f"power {row.get('power')}" for _, row in rows}
        seen |= {"off the grid" for t, _ in rows if t % stimulus.period}
        seen |= {"no column" for d in program.inputs if d.name not in rows[0][1]}
        seen |= {"held" for n, (t, _) in enumerate(rows[1:]) if t - rows[n][0] > 70}
    assert seen >= {
        *("Input", "Output", "Output retained", "Relay", "Relay retained", "Counter", "Clock"),
        *("Counter retained", "on-delay", "off-delay", "pulse", "accumulating", "flasher"),
        *("accumulating retained", "NO", "NC", "NO debounced", "NC debounced", "window"),
        *("event True", "event False", "coil", "latch", "unlatch", "impulse", "down", "reset"),
        *("1 actions", "2 actions", ">=", ">", "<=", "<", "==", "!=", "no column", "held"),
        *(f"{kind} {negated}" for negated in (False, True) for kind in READABLE),
        *("power None", "power True", "power False", "off the grid"),
    }


READABLE = ("closed", "rising", "falling", "timing", "first_scan")


def test_program_text_prints_every_statement_as_the_language_page_writes_it() -> None:
    days = nodes.Days((2, 5), ((11, 25), (2, 28)))
    late = Clock("bell", TimeOfDay(43_201_000), None, days, catch_up=15)
    program = panel(
        [
            Input("door", "I1", "momentary", "NC", 15),
            Output("lamp", "R1", "NC", retained=True, label="Over the bench"),
            Relay("away", retained=True),
            Timer("linger", "off-delay", 90),
            Timer("total", "accumulating", 20, retained=True),
            Timer("blink", "flasher", 10, off=5),
            Counter("parts", 3, retained=True),
            Clock("evening", TimeOfDay(68_400_000), TimeOfDay(1000)),
            late,
        ],
        (
            Parallel((Series((on("door"), Parallel((off("lamp"), on("bell"))))), rising("away"))),
            "linger, latch lamp",
        ),
        (
            Series(
                (
                    Contact("falling", "door", negated=True, memory=1),
                    Contact("timing", "linger"),
                    Contact("timing", "total", negated=True),
                    Contact("first_scan", "", negated=True),
                    Compare("parts", ">=", 2),
                )
            ),
            "total, parts",
        ),
    )
    assert program_text(program).splitlines() == [
        'site zone "UTC"',
        "input door at I1 momentary NC debounce 15ms",
        'output lamp at R1 NC retained "Over the bench"',
        "relay away retained",
        "timer linger off-delay 90ms",
        "timer total accumulating 20ms retained",
        "timer blink flasher 10ms on 5ms off",
        "counter parts to 3 retained",
        "clock evening from 19:00:00 to 00:00:01 daily",
        "clock bell at 12:00:01 on Wed, Sat between 11-25 and 02-28 catch up 15ms",
        "rung",
        "    door and (not lamp or bell) or rising away -> linger, latch lamp",
        "rung",
        "    not (falling door) and linger.timing and not (total.timing) and not (first_scan)"
        " and parts >= 2 -> total, parts",
    ]


@pytest.mark.parametrize(
    "program",
    [
        Program(title="more"),
        Program(devices=(Relay("mark", label='with "quotes"'),)),
        Program(devices=(Input("door", "I1", wire=nodes.Wire(1.0, 1.5, "mm2")),)),
        Program(devices=(Clock("dusk", nodes.SunTime("sunset")),)),
    ],
)
def test_program_text_refuses_what_it_would_lose(program: Program) -> None:
    with pytest.raises(ValueError, match="can"):
        program_text(program)


def test_clock_programs_are_drawn_round_noon_so_that_clock_edges_fall_into_runs() -> None:
    moved = 0
    for seed in range(300):
        rng = Random(seed)
        program = random_program(rng, 3)
        stimulus = random_stimulus(rng, program)
        closed, events = clock_functions(program, stimulus.start)
        scans = play(program, stimulus.rows, stimulus.period, closed, events)
        assert stimulus.start <= NOON
        moved += any(len(changes(scans, clock.name)) > 1 for clock in program.clocks)
    assert moved > 30
