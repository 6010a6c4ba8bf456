"""Wire faults: the table of each demo, and every fault played on the reference interpreter."""

from __future__ import annotations

from copy import deepcopy
from functools import cache
from itertools import groupby
from pathlib import Path
from random import Random

import pytest

from rungs.program.lint import is_stop
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.situations import Situations, situations
from rungs.prove.situations.wires import (
    DANGERS,
    FAULTS,
    STEPS,
    Cell,
    Fault,
    Step,
    WireFaults,
    example_of,
    wire_faults,
)
from rungs.prove.witness import Witness, played
from rungs.scan.calendar import build_calendar
from rungs.scan.reference import next_expiry
from rungs.scan.runner import Panel
from rungs.scan.wall import default_start
from tests.helpers import program_of

ROOT = Path(__file__).resolve().parents[1]
DEMOS = sorted(path.stem for path in (ROOT / "demos").glob("*.rungs"))
GOLDENS = Path(__file__).parent / "goldens" / "wires"
WHOLE = (
    "airlock",
    "boathouse",
    "hall_lights_three",
    "hall_lights_two",
    "start_stop",
    "yard_lights",
)
SAMPLED = "greenhouse"  # has too many states to look at all of them here
LETTERS: dict[Step, str] = {"on to off": "f", "on to on": "1", "off to on": "n", "off to off": "0"}


@cache
def demo(name: str) -> Program:
    return program_of((ROOT / "demos" / f"{name}.rungs").read_text(encoding="utf-8"))


@cache
def found_in(name: str) -> Situations:
    most = 800 if name == SAMPLED else 50_000
    return situations(demo(name), Budget(), most=most)


@cache
def table_of(name: str) -> WireFaults:
    return wire_faults(found_in(name), Budget(4) if name == SAMPLED else Budget())


def steps_of(cell: Cell) -> str:
    """The steps that are not ruled out, a letter for each."""
    return "".join(LETTERS[step] for step, known in cell.steps if known != "never")


def text_of(table: WireFaults) -> str:
    """A line for each fault: for each output its steps, and the danger where there is one."""
    lines = []
    for (name, fault), cells in groupby(table.cells, key=lambda cell: (cell.input, cell.fault)):
        some = []
        for cell in cells:
            danger = "" if cell.danger == "none" else f" {cell.danger}"
            some.append(f"{cell.output} {steps_of(cell)}{danger}")
        lines.append(f"{name} {fault}: {', '.join(some)}")
    return "\n".join(lines) + "\n"


# --- the tables


@pytest.mark.parametrize("name", [name for name in DEMOS if name != SAMPLED])
def test_the_wire_fault_table_of_a_demo_is_as_pinned(name: str) -> None:
    found = found_in(name)
    assert found.complete, found.reason
    golden = GOLDENS / f"{name}.txt"
    assert text_of(table_of(name)) == golden.read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_wire_fault_table_of_the_greenhouse_is_as_pinned_when_all_is_looked_at() -> None:
    found = situations(demo(SAMPLED), Budget())
    assert found.complete, found.reason
    table = wire_faults(found, Budget())
    assert text_of(table) == (GOLDENS / f"{SAMPLED}.txt").read_text(encoding="utf-8")
    met, count = met_in_play(SAMPLED)
    assert count >= 400
    assert not met & ruled_out(table)


def test_a_panel_with_too_many_states_has_a_table_that_says_so() -> None:
    table = table_of(SAMPLED)
    assert not table.complete
    assert not any(cell.complete for cell in table.cells)
    dangers = {(c.input, c.fault, c.output): c.danger for c in table.cells}
    # each of these follows from one rung of the file, read by eye
    assert dangers["frost", "broken", "beacon"] == "comes on"
    assert dangers["warm", "shorted", "vent"] == "comes on"
    assert dangers["tank", "broken", "valve"] == "goes off"


@pytest.mark.parametrize("name", WHOLE)
def test_a_table_of_a_small_panel_is_whole(name: str) -> None:
    assert table_of(name).complete


def test_a_sheet_has_every_input_fault_and_output_once_in_file_order() -> None:
    program = demo("boathouse")
    keys = [(cell.input, cell.fault, cell.output) for cell in table_of("boathouse").cells]
    assert keys == [
        (device.name, fault, output.name)
        for device in program.inputs
        for fault in FAULTS
        for output in program.outputs
    ]


@pytest.mark.parametrize("name", DEMOS)
def test_a_danger_agrees_with_the_steps_beside_it(name: str) -> None:
    for cell in table_of(name).cells:
        made = {step for step, known in cell.steps if known != "never"}
        assert (cell.danger == "comes on") == ("off to on" in made), cell
        if cell.danger == "goes off":
            assert "on to off" in made, cell
            assert "on to on" not in made, cell
        if cell.danger == "may go off":
            assert {"on to off", "on to on"} <= made, cell
        if cell.danger == "cannot go off":
            assert "on to on" in made, cell
            assert not cell.can_go_off, cell
        if cell.danger == "cannot come on":
            assert cell.from_power_up is False or not cell.can_come_on, cell
        assert cell.danger in DANGERS


# --- playing every fault


class Player:
    """A panel in the hands of somebody who does things at random, often just before or after a
    timer's time ends."""

    def __init__(self, program: Program, rng: Random) -> None:
        self.program, self.rng = program, rng
        self.calendar = build_calendar(program)
        start = None
        if program.clocks:
            start = default_start(self.calendar) + rng.randrange(0, 7 * 86_400) * 1000
        self.panel = Panel(program, start, calendar=self.calendar)
        for device in program.inputs:
            self.panel.operate(device.name, rng.random() < 0.25)

    def act(self) -> None:
        """Move a switch or two, or wait."""
        panel, rng = self.panel, self.rng
        if rng.random() < 0.5:
            for device in rng.choices(self.program.inputs, k=rng.choice((1, 1, 1, 2))):
                panel.operate(device.name, not panel.operated[device.name])
            return
        due = next_expiry(self.program, panel.state)
        if due is not None and rng.random() < 0.7:
            near = due + rng.choice((-210, -200, 0, 0, 10, 20))
            panel.run(max(near, panel.state.t))
        else:
            flashes = any(timer.kind == "flasher" for timer in self.program.timers)
            longest = 4 if flashes else 6  # a flasher makes scans all the time
            waits = (10, 50, 700, 5_000, 600_000, 30_000_000)[:longest]
            panel.run(panel.state.t + rng.choice(waits))

    def quiet(self, ms: int) -> bool:
        """Whether nothing will happen of itself for so long."""
        panel = self.panel
        due = next_expiry(self.program, panel.state)
        clock = panel.wall.next_change(panel.state.t) if self.program.clocks else None
        return all(at is None or at > panel.state.t + ms for at in (due, clock))

    def twin(self) -> Panel:
        """The panel as it stands, to be spoilt."""
        panel = self.panel
        kept = (self.program, self.calendar, self.program.clocks, panel.state, panel.before)
        return deepcopy(panel, {id(each): each for each in kept})


def contradicts(program: Program, panel: Panel) -> bool:
    """Whether the switches stand as the file assumes they never do. Only the gate assumes anything:
    that it is at one end at most."""
    limits = ("open_limit", "closed_limit")
    if not all(name in panel.state.contacts for name in limits):
        return False
    return not any(panel.circuits[name] for name in limits)


def test_only_the_gate_assumes_anything() -> None:
    # the playing below leaves out by hand what the file rules out
    assumes = {n for n in DEMOS if any(p.kind == "assume" for p in demo(n).properties)}
    assert assumes == {"sliding_gate"}


Met = set[tuple[str, Fault, str, Step]]


@cache
def met_in_play(name: str, wanted: int = 220, faults: int = 2) -> tuple[Met, int]:
    """What outputs were seen to do when wires failed in settled situations, and how often one was
    made to fail."""
    program, rng = demo(name), Random(f"wires {name}")
    met: Met = set()
    situations_met = played_faults = 0
    while situations_met < wanted:
        player = Player(program, rng)
        for _ in range(rng.randint(2, 12)):
            calm = player.panel.settle()
            if contradicts(program, player.panel):
                break
            if calm and player.quiet(200):
                situations_met += 1
                for _ in range(faults):
                    device, fault = rng.choice(program.inputs), rng.choice(FAULTS)
                    panel = player.twin()
                    before = dict(panel.state.contacts)
                    panel.fault(device.name, fault)
                    panel.run(panel.state.t + 150 + device.debounce)
                    played_faults += 1
                    for output in program.outputs:
                        step = step_of(before[output.name], panel.state.contacts[output.name])
                        met.add((device.name, fault, output.name, step))
            player.act()
    return met, played_faults


def step_of(before: bool, after: bool) -> Step:
    return STEPS[{(1, 0): 0, (1, 1): 1, (0, 1): 2, (0, 0): 3}[int(before), int(after)]]


@pytest.mark.parametrize("name", [name for name in DEMOS if name != SAMPLED])
def test_no_fault_that_is_played_does_what_the_table_says_never_happens(name: str) -> None:
    table = table_of(name)
    met, count = met_in_play(name)
    assert count >= 400
    assert not met & ruled_out(table)


def ruled_out(table: WireFaults) -> Met:
    """The steps that a table says are never made."""
    return {
        (cell.input, cell.fault, cell.output, step)
        for cell in table.cells
        for step, known in cell.steps
        if known == "never"
    }


@pytest.mark.parametrize("name", WHOLE)
def test_everything_that_a_whole_table_says_can_happen_is_seen_in_play(name: str) -> None:
    found, table = found_in(name), table_of(name)
    met, _ = met_in_play(name)
    own = 0
    for cell in table.cells:
        for step, known in cell.steps:
            if known == "never" or (cell.input, cell.fault, cell.output, step) in met:
                continue
            example = example_of(found, cell.input, cell.fault, cell.output, step)
            assert example is not None, (cell, step)
            assert outcome(demo(name), example.witness, cell) == step
            own += 1
    assert own < 4 * len(table.cells)  # random play has met some of it


@pytest.mark.parametrize("name", DEMOS)
def test_the_example_of_a_danger_shows_it(name: str) -> None:
    wanted: dict[str, Step] = {
        "comes on": "off to on",
        "cannot go off": "on to on",
        "goes off": "on to off",
        "may go off": "on to off",
    }
    shown = 0
    for cell in table_of(name).cells:
        if cell.danger not in wanted:
            assert cell.example is None
            continue
        assert cell.example is not None or not cell.complete
        if cell.example is not None:
            assert outcome(demo(name), cell.example.witness, cell) == wanted[cell.danger]
            on = cell.output in cell.example.standing.on
            assert on == wanted[cell.danger].startswith("on")
            shown += 1
    assert shown > 0


def outcome(program: Program, witness: Witness, cell: Cell) -> Step:
    """What an output does in a run whose last act is the fault, on a panel of its own."""
    *acts, last = witness.acts
    assert last.wires == ((cell.input, cell.fault),)
    panel = Panel(program, witness.start)
    for _ in played(Witness(tuple(acts), last.t - 1, witness.start), panel):
        pass
    before = panel.state.contacts[cell.output]
    panel.fault(cell.input, cell.fault)
    panel.run(witness.end)
    return step_of(before, panel.state.contacts[cell.output])


# --- small panels, each made for one answer


def sheet(text: str) -> WireFaults:
    return wire_faults(situations(program_of(text), Budget()), Budget())


def test_an_output_that_only_its_input_can_put_off_cannot_go_off_when_that_wire_breaks() -> None:
    # a push-on push-off lamp: with the wire broken while it is lit it burns for ever
    table = sheet("input push at I1\noutput lamp at R1\nrung push -> impulse lamp\n")
    cell = table.cell("push", "broken", "lamp")
    assert (cell.danger, cell.can_go_off, cell.from_power_up) == ("cannot go off", False, False)
    assert table.complete


def test_a_lamp_in_series_cannot_come_on_when_the_wire_breaks_that_is_open_at_rest() -> None:
    table = sheet(
        "input a at I1\ninput b at I2\noutput lamp at R1\n"
        "rung rising a and b -> latch lamp\nrung not b -> unlatch lamp\n"
    )
    cell = table.cell("a", "broken", "lamp")
    assert (cell.danger, cell.from_power_up) == ("cannot come on", False)
    assert cell.known("on to off") == "never"
    assert table.cell("b", "broken", "lamp").danger == "goes off"


def test_a_wire_that_nothing_visible_reads_does_nothing() -> None:
    table = sheet("input a at I1\ninput b at I2\noutput lamp at R1\nrung a -> lamp\n")
    for fault in FAULTS:
        cell = table.cell("b", fault, "lamp")
        assert (cell.danger, cell.complete) == ("none", True)
        assert cell.known("on to on") == cell.known("off to off") == "seen"
        assert cell.known("on to off") == cell.known("off to on") == "never"


def test_a_fault_that_makes_a_relay_chatter_says_so() -> None:
    table = sheet("input a at I1\noutput lamp at R1\nrung a and not lamp -> lamp\n")
    assert table.cell("a", "shorted", "lamp").chatters
    assert not table.cell("a", "broken", "lamp").chatters


def test_a_stop_wired_no_is_told_to_stop_nothing_when_its_wire_breaks() -> None:
    text = (
        "input start at I1\ninput stop at I2 {}\noutput motor at R1\n"
        "rung (start or motor) and {} -> motor\n"
    )
    good = sheet(text.format("NC", "stop")).stops[0]
    assert (good.stops, good.not_when_broken) == (("motor",), ())
    bad = sheet(text.format("NO", "not stop")).stops[0]
    assert (bad.stops, bad.not_when_broken) == (("motor",), ("motor",))


def test_stops_are_known_by_the_rule_of_the_checker() -> None:
    text = (
        'input stop_button at I1 NC\ninput a at I2 NC "Red mushroom"\n'
        'input b at I3 NC "Emergency stop by the door"\ninput stopper at I4\n'
        "output lamp at R1\nrung a and b and stopper and stop_button -> lamp\n"
    )
    program = program_of(text)
    assert [d.name for d in program.inputs if is_stop(d)] == ["stop_button", "b"]


def test_a_search_without_time_claims_nothing() -> None:
    found = situations(demo("airlock"), Budget(0))
    table = wire_faults(found, Budget(0))
    assert not found.complete
    assert not table.complete
    assert not any(cell.complete for cell in table.cells)
