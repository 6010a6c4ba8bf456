"""The plan of a checkout: what it takes on the emulator, what it shows, and how short it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from random import Random

import pytest

from rungs.checkout.board import LEAD, BoardTable, clock_lore
from rungs.checkout.build import checkout_plan
from rungs.checkout.graph import Move, Scan, Situations
from rungs.checkout.paper import checkout_paper, relay_sheet
from rungs.checkout.parts import parts_of
from rungs.checkout.plan import Plan
from rungs.checkout.play import circuit_changes, play, schedule
from rungs.checkout.rest import all_the_rest
from rungs.checkout.tour import Effort, shortest_tour
from rungs.papers.blocks import Caution, Table
from rungs.program.check import check
from rungs.program.nodes import Program
from rungs.scan.calendar import build_calendar
from rungs.scan.runner import Panel
from rungs.shipped import shipped
from rungs.source import Source
from rungs.table.emulator import Emulator
from rungs.table.transition import compiled, transition_table
from tests.engines import ENGINES, play_table
from tests.strategies import clock_functions, random_program, random_stimulus

SEAL_IN = """
title "Start and stop"
input start at I1 momentary NO
input stop at I2 momentary NC
output motor at R1 NO load 24 V 0.5 A motor
rung (start or motor) and stop -> motor
"""

TWO_WAY = """
input one at I1
input two at I2
output light at R1
rung (one and not two) or (two and not one) -> light
"""

TIMED = """
input call at I1 momentary NO debounce 30ms
input hold at I2
output lamp at R1 load 24 V 1 A led
output late at R2
timer linger off-delay 5s
timer slow on-delay 2s
rung call -> linger
rung linger -> lamp
rung hold and lamp -> slow
rung slow -> late
"""

SUMMED = """
input pump at I1
input clear at I2
output worn at R1
timer hours accumulating 4s retained
rung pump -> hours
rung clear -> reset hours
rung hours -> worn
"""

CLOCKED = """
site "Here" zone "Europe/Oslo"
input door at I1
output lamp at R1
output away at R2 retained
clock evening from 19:00 to 22:30 on Mon-Fri
clock night at 23:00 daily
rung evening and door -> lamp
rung night and not door -> latch away
rung door -> unlatch away
"""


def _program(text: str) -> Program:
    program = check(Source("panel.rungs", text)).program
    assert program is not None
    return program


def _demo(name: str) -> Program:
    return _program((shipped("demos") / f"{name}.rungs").read_text(encoding="utf-8"))


def _board(program: Program) -> tuple[BoardTable, Situations]:
    work, _ = compiled(program)
    assert work is not None
    board = BoardTable(transition_table(work))
    return board, Situations(board, clock_lore(program, board.clocks))


def _overheard(emulator: Emulator) -> list[tuple[str, int]]:
    """A list that gets the state and the pattern of every scan that is made from now on."""
    asked: list[tuple[str, int]] = []
    rows = emulator._rows
    assert rows is not None
    find = rows.find

    def heard(state: str, pattern: int) -> object:
        asked.append((state, pattern))
        return find(state, pattern)

    rows.find = heard  # type: ignore[method-assign,assignment]
    return asked


def _rows_taken(board: BoardTable, scans: list[Scan]) -> set[int]:
    """The rows that the emulator takes when the scans are played, counted from outside of it by
    the state before each scan and the pattern it looks up."""
    times = schedule(board, scans)
    assert times is not None
    emulator = Emulator(board.table)
    asked = _overheard(emulator)
    circuits = {s.name: s.at_rest for s in board.inputs}
    changes = circuit_changes(board, scans, times)
    clocks = dict.fromkeys(board.clocks, False)
    for k, (scan, t) in enumerate(zip(scans, times, strict=True)):
        for at in sorted({at for at, _, _ in changes if (times[k - 1] if k else -1) < at <= t}):
            circuits |= {name: closed for when, name, closed in changes if when == at}
            if at < t:
                emulator.scan(circuits, clocks, at)
        if scan.cut:
            pairs = zip(board.inputs, board.input_weights, strict=True)
            circuits = {s.name: bool(scan.image & w) for s, w in pairs}
            emulator.power(False)
            emulator.power(True)
        clocks |= dict(zip(board.clocks, scan.vector, strict=True))
        emulator.scan(circuits, clocks, t)
    taken = set()
    for state, pattern in asked:
        text = format(pattern, f"0{len(board.table.signals)}b") if board.table.signals else ""
        taken |= {
            number
            for number, row in enumerate(board.table.transitions)
            if row.state == state
            and all(c in ("-", bit) for c, bit in zip(row.pattern, text, strict=True))
        }
    return taken


def _whole_run(program: Program, seconds: float = 1.0) -> tuple[BoardTable, list[Scan], Plan]:
    """Tour and rest of a small program as scans, made from the parts that the plan is made from."""
    board, seek = _board(program)
    assert seek.explored(5_000, Effort(20))
    tour = shortest_tour(seek, 0, seconds)
    moves = [seek.moves(node)[place] for node, place in tour.walk]
    scans = [scan for move in moves for scan in move.scans]
    begin = seek.found[moves[-1].target] if moves else None
    rest = all_the_rest(seek, begin, tour.covered, 5_000, Effort(seconds))
    assert not rest.unsought
    return board, [*scans, *rest.scans], checkout_plan(program, seconds)


@pytest.mark.parametrize("text", [SEAL_IN, TWO_WAY, CLOCKED, SUMMED])
def test_all_rows_that_can_be_taken_are_taken_on_the_emulator(text: str) -> None:
    program = _program(text)
    board, scans, plan = _whole_run(program)
    taken = _rows_taken(board, scans)
    assert taken == {scan.row for scan in scans}
    assert plan.table_rows == len(board.rows)
    assert plan.covered + plan.together == len(taken)
    if plan.covered + plan.together < plan.table_rows:
        assert any("row" in line for line in plan.left_out)


def test_the_rows_that_a_tour_promises_are_those_that_a_hand_can_take() -> None:
    """Random hands on the emulator, one deed at a time, never come upon another row."""
    program = _program(TIMED)
    board, seek = _board(program)
    assert seek.explored(50_000, Effort(20))
    wanted = shortest_tour(seek, 0, 0.2).wanted
    names = {state.name: i for i, state in enumerate(board.table.states)}
    dice = Random(7)
    for _ in range(25):
        emulator = Emulator(board.table)
        circuits = {s.name: s.at_rest for s in board.inputs}
        heard = _overheard(emulator)
        t = 0
        for deed in range(12):
            if deed and dice.random() < 0.1:
                emulator.power(False)
                emulator.power(True)
                heard.clear()
            elif deed:
                name = dice.choice(board.inputs).name
                circuits[name] = not circuits[name]
            for _ in range(dice.choice([27, 41, 230, 517, 613])):
                emulator.scan(circuits, {}, t)
                t += 10
                if len(heard) > 1:
                    was, now = heard[-2], heard[-1]
                    ended = now[1] & ~was[1] & board.due_mask
                    if ended and ((now[1] ^ was[1]) & board.input_mask or now[0] != was[0]):
                        break  # two things in one scan, by chance
                assert wanted >> board.find(names[heard[-1][0]], heard[-1][1]).number & 1
            else:
                continue
            break


def test_what_a_step_shows_is_what_the_reference_shows() -> None:
    program = _program(TIMED)
    board, seek = _board(program)
    assert seek.explored(50_000, Effort(20))
    tour = shortest_tour(seek, 0, 0.5)
    scans = [s for node, place in tour.walk for s in seek.moves(node)[place].scans]
    times = schedule(board, scans)
    assert times is not None
    played = play(board, program, scans, times)
    assert played.wrong is None
    assert len(played.states) == len(scans)
    other = next(row.number for row in board.rows if row.next != board.rows[scans[-1].row].next)
    wrong = [*scans[:-1], replace(scans[-1], row=other)]
    assert play(board, program, wrong, times).wrong == len(scans) - 1


@pytest.mark.parametrize("seed", range(6))
def test_random_programs_are_played_as_their_tables_say(seed: int) -> None:
    program = random_program(Random(seed), 4)
    if not program.outputs:
        pytest.skip("no outputs")
    plan = checkout_plan(program, 0.3)
    hand = [step for step in plan.steps if step.part == "functions" and step.by_hand]
    if plan.table_rows:
        assert len(hand) == plan.tour
        assert plan.bound <= plan.tour
        fresh = [row for step in hand for row in step.rows]
        assert len(fresh) == len(set(fresh)) == plan.covered
        assert plan.covered + plan.together <= plan.table_rows
        every = [row for step in plan.steps for row in step.rows]
        assert len(every) == len(set(every)) == plan.covered + plan.together
        assert plan.covered + plan.together == plan.table_rows or plan.left_out


def _shortest_by_layers(seek: Situations) -> int:
    """The fewest steps, by going through all (situation, rows left) in layers."""
    wanted, seen = 0, {0}
    open_ends = [0]
    while open_ends:
        for arc in seek[open_ends.pop()]:
            wanted |= arc.rows
            if arc.target not in seen:
                seen.add(arc.target)
                open_ends.append(arc.target)
    layer, known, steps = [(0, wanted)], {(0, wanted)}, 0
    while all(left for _, left in layer):
        following = []
        for node, left in layer:
            for arc in seek[node]:
                there = (arc.target, left & ~arc.rows)
                if there not in known:
                    known.add(there)
                    following.append(there)
        layer, steps = following, steps + 1
    return steps


@pytest.mark.parametrize("text", [SEAL_IN, TWO_WAY])
def test_the_textbook_panels_have_the_shortest_tour(text: str) -> None:
    program = _program(text)
    plan = checkout_plan(program, 5.0)
    assert plan.tour == plan.bound == _shortest_by_layers(_board(program)[1])


def test_a_two_way_light_is_tried_by_hand_in_four_steps() -> None:
    # by hand: power on, one switch, the other, the first back: all four patterns (Gray code)
    plan = checkout_plan(_program(TWO_WAY), 2.0)
    steps = [step for step in plan.steps if step.part == "functions"]
    assert plan.tour == plan.bound == plan.covered == plan.table_rows == 4
    assert [step.sights[0].coil for step in steps] == [False, True, False, True]
    assert [len(step.do) for step in steps] == [2, 1, 1, 1]
    assert not plan.left_out
    assert not plan.together


def test_inputs_come_first_then_relays_then_functions() -> None:
    plan = checkout_plan(_program(SEAL_IN), 1.0)
    parts = [step.part for step in plan.steps]
    assert parts == sorted(parts, key=["inputs", "relays", "functions"].index)
    wire = next(step for step in plan.steps if "Take one wire of stop" in step.do[0])
    assert wire.terminals == ("I2",)
    assert "OFF" in wire.notes[0]
    assert not any("Take one wire of start" in step.do[0] for step in plan.steps)
    forced = [step for step in plan.steps if step.part == "relays"]
    assert [step.sights[0].coil for step in forced] == [True, False]
    by_logic = int(forced[0].notes[0].split("step ")[1].split()[0])
    assert plan.steps[by_logic - 1].sights[0].coil


def test_a_panel_without_a_table_says_why_and_tells_its_scenarios() -> None:
    many = " and ".join(f"i{n}" for n in range(22))
    lines = [f"input i{n} at I{n}" for n in range(22)]
    text = "\n".join(
        [
            *lines,
            "output out at R1",
            f"rung {many} -> out",
            'scenario "One" operate i0 expect not out',
        ]
    )
    plan = checkout_plan(_program(text), 0.2)
    assert plan.table_rows == plan.tour == plan.bound == 0
    assert "those of the scenarios" in plan.left_out[0]
    assert "22 signals" in plan.left_out[0]
    told = [step for step in plan.steps if step.part == "functions"]
    assert told[-1].do == ("Operate i0 (I0)",)
    assert not told[-1].sights[0].coil
    assert told[-1].notes == ("Scenario: One",)


def test_the_paper_has_a_box_for_every_step_by_hand_and_cautions_on_top() -> None:
    program = _program(SEAL_IN)
    plan = checkout_plan(program, 1.0)
    paper = checkout_paper(plan, program)
    assert paper.name == "checkout"
    assert isinstance(paper.blocks[0], Caution)
    cautions = " ".join(b.text for b in paper.blocks if isinstance(b, Caution))
    assert "no proof of safety" in cautions
    assert "motor (R1, motor)" in cautions
    tables = [block for block in paper.blocks if isinstance(block, Table)]
    assert sum(len(t.rows) for t in tables) == sum(step.by_hand for step in plan.steps)
    assert all(row[1] == "[ ]" for table in tables for row in table.rows)
    first = next(row for row in tables[-1].rows)
    assert "R1 motor off, load off" in first[3]
    result = {plan.steps[0].key: ("passed", "A. Helper, 26 Nov")}
    found = [b for b in checkout_paper(plan, program, result).blocks if isinstance(b, Table)]
    assert found[0].rows[0][1] == "passed"
    assert found[0].rows[0][-1] == "A. Helper, 26 Nov"


def test_the_same_program_gives_the_same_plan() -> None:
    program = _demo("hall_lights_two")
    assert checkout_plan(program, 1.0) == checkout_plan(program, 1.0)


def test_the_sheet_has_every_relay_in_every_step_of_the_functions() -> None:
    plan = checkout_plan(_program(SEAL_IN), 1.0)
    sheet = relay_sheet(plan)
    assert len(sheet.rows) == len(plan.steps)
    assert sheet.columns[-1] == "R1 motor"
    shown = {row[-1] for row in sheet.rows if row[1] == "functions"}
    assert shown == {"ON, load on", "off, load off"}


# --- in parts -----------------------------------------------------------------------------------

LIGHTS = "\n".join(
    f"input on_{n} at I{2 * n}\ninput off_{n} at I{2 * n + 1}\noutput lamp_{n} at R{n}\n"
    f"rung (on_{n} or lamp_{n}) and not off_{n} -> lamp_{n}"
    for n in range(1, 5)
)


def test_lights_that_know_nothing_of_each_other_are_tried_one_by_one() -> None:
    program = _program(LIGHTS)
    plan = checkout_plan(program, 1.0)
    assert plan.parts == (("lamp_1",), ("lamp_2",), ("lamp_3",), ("lamp_4",))
    # each part is the seal-in by itself, as a table of its own has it; all in one have the product
    alone = checkout_plan(_program(LIGHTS.split("\ninput on_2")[0]), 1.0)
    assert alone.parts == ()
    assert (plan.tour, plan.bound) == (4 * alone.tour, 4 * alone.bound)
    assert (plan.table_rows, plan.covered) == (4 * alone.table_rows, 4 * alone.covered)
    hand = [step for step in plan.steps if step.part == "functions" and step.by_hand]
    # numbered without a gap, as they are walked
    assert [step.by_hand for step in plan.steps] == sorted(
        (step.by_hand for step in plan.steps), reverse=True
    )
    begins = [step for step in hand if "cut the power" in step.do[0]]
    assert [step.do[0].split(":")[0] for step in begins] == [
        f"Part {n} (lamp_{n})" for n in range(1, 5)
    ]
    whole = checkout_plan(program, 0.3, whole=True)
    assert whole.parts == ()
    assert whole.table_rows > 10 * plan.table_rows


@pytest.mark.parametrize("seed", range(25))
def test_the_tables_of_the_parts_say_all_that_the_panel_does(seed: int) -> None:
    rng = Random(500 + seed)
    program = random_program(rng, 5)
    parts = parts_of(program)
    assert sorted(name for part in parts for name in part) == sorted(
        output.name for output in program.outputs
    )
    stimulus = random_stimulus(rng, program)
    closed, events = clock_functions(program, stimulus.start)
    shown = ENGINES["reference"](program, stimulus.rows, stimulus.period, closed, events)
    for part in parts:
        played = play_table(
            program, stimulus.rows, stimulus.period, closed, events, outputs=part, most=150
        )
        if played is None:
            continue
        for (t, one), (_, two) in zip(played, shown, strict=True):
            assert one == {name: two[name] for name in part}, (t, part)


# --- clocks that keep to the calendar -----------------------------------------------------------

DAY = date(2026, 11, 25)


def _walked(program: Program, seek: Situations, moves: Sequence[Move]) -> Iterator[dict[str, bool]]:
    """What a panel with the real calendar shows after each move, with the clock set as the words
    of the steps say; for programs without timers."""
    places = seek.lore.places
    panel: Panel | None = None
    for move in moves:
        deed, t = move.deed, 0
        if panel is None:
            panel = Panel(program, places[deed.place].before)
        elif deed.kind == "move":
            name = seek.board.inputs[deed.which].name
            panel.give_circuits(panel.circuits | {name: not panel.circuits[name]})
        elif deed.kind == "set":
            panel.set_clock(places[deed.place].before)
        elif deed.kind in ("cut", "dark"):
            panel.switch_power(False)
            panel.pass_to(panel.next_scan_at() + 5_000)
            if deed.kind == "dark":
                panel.set_clock(places[deed.place].before)
            panel.switch_power(True)
        else:
            assert deed.kind == "edge"
            panel.set_clock(places[deed.place].at - LEAD)
            t = LEAD
        panel.run(panel.next_scan_at() + t + 250)
        yield dict(panel.state.contacts)


@pytest.mark.parametrize("demo", ["", "yard_lights"])
def test_a_walk_by_the_calendar_shows_the_same_on_a_panel_with_real_clocks(demo: str) -> None:
    text = (shipped("demos") / f"{demo}.rungs").read_text(encoding="utf-8") if demo else CLOCKED
    program = _program(text)
    outputs = ("yard_light",) if demo else ("lamp", "away")
    work, _ = compiled(program, outputs)
    assert work is not None
    board = BoardTable(transition_table(work))
    seek = Situations(board, clock_lore(program, board.clocks))
    assert seek.explored(5_000, Effort(20))
    assert seek.lore.places
    tour = shortest_tour(seek, 0, 0.5)
    moves = [seek.moves(node)[place] for node, place in tour.walk]
    assert {"dark", "edge"} <= {move.deed.kind for move in moves}
    for move, shown in zip(moves, _walked(program, seek, moves), strict=True):
        row = board.rows[move.scans[-1].row]
        assert tuple(shown[name] for name in outputs) == row.outputs, move.deed


def test_a_clock_that_is_set_past_an_event_shows_it() -> None:
    # what the walk has to keep clear of
    panel = Panel(_program(CLOCKED), build_calendar(_program(CLOCKED)).zone.instant(DAY, 0))
    panel.run(1_000)
    panel.set_clock(build_calendar(panel.program).zone.instant(DAY, 23 * 3_600_000 + 60_000))
    panel.run(2_000)
    assert panel.state.contacts["away"]
