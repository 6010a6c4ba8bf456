"""The lowering and what `reduce` takes away: goldens of the text form, and properties.

Goldens are written anew by `python -m tests.test_core_lower`; read the difference before keeping
it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pysat.solvers import Solver

from rungs.core.dump import WIDTH, dump
from rungs.core.lower import MOST_PHASES, LowerError, flasher_phases, lower, most_counted
from rungs.core.nodes import FALSE, TRUE, Core, CoreOutput, CoreTimer, Gates, Lit, Signal, StateBit
from rungs.core.reduce import reduce
from rungs.core.verify import faults, roots
from rungs.program.nodes import MAX_COUNT, Compare, Program, leaves
from rungs.scan.generate import scan_once
from rungs.source import NOWHERE, Span
from tests.helpers import program_of
from tests.strategies import programs, random_program

HERE = Path(__file__).resolve().parent
GOLDENS = HERE / "goldens"

PANELS = {
    "on_delay": """title "A fan that starts late"
        input call at I1
        output fan at R1
        timer wait on-delay 2s
        rung "A call must last" call -> wait
        rung wait and not wait.timing -> fan""",
    "off_delay": """title "A light that lingers"
        input door at I1
        output light at R1
        timer linger off-delay 90s
        clock closing at 22:00
        clock dark from 16:00 to 08:00
        rung door -> linger
        rung linger and dark and not closing -> light""",
    "pulse": """title "A bell that rings once"
        input button at I1
        output bell at R1
        timer ring pulse 1500ms
        rung button -> ring
        rung ring.timing -> bell""",
    "flasher_off_the_grid": """title "A lamp that flashes unevenly"
        input fault at I1
        output lamp at R1
        timer flash flasher 25ms on 15ms off
        rung fault -> flash
        rung flash -> lamp""",
    "accumulating": """title "Hours run, cleared on both sides of the timer"
        input run at I1
        input clear at I2
        input service at I3
        output due at R1
        timer hours accumulating 30min retained
        rung clear -> reset hours
        rung run -> hours
        rung service -> reset hours
        rung hours -> due""",
    "counter": """title "Three parts to a box"
        input part at I1
        input taken at I2
        output full at R1
        output nearly at R2
        counter parts to 3 retained
        rung part -> parts
        rung taken -> reset parts
        rung parts -> full
        rung parts == 2 -> nearly""",
    "edges": """title "Edges of one input, each with its own memory"
        input key at I1
        output closed at R1
        output opened at R2
        output begun at R3
        rung rising key -> closed
        rung falling key and not first_scan -> opened
        rung first_scan or (rising key and begun) -> begun""",
    "latches": """title "An impulse relay, and a latch that outlives an outage"
        input push at I1
        input all_off at I2
        output lamp at R1
        relay away retained
        rung "Each push flips the lamp" push -> impulse lamp
        rung all_off -> unlatch lamp, latch away
        rung push and not all_off -> unlatch away""",
}


@pytest.mark.parametrize("name", PANELS)
def test_a_lowered_panel_reads_as_its_golden(name: str) -> None:
    golden = (GOLDENS / f"{name}.txt").read_text(encoding="utf-8")
    assert dump(lower(program_of(PANELS[name]))) == golden


def test_every_golden_has_its_panel() -> None:
    assert {path.stem for path in GOLDENS.glob("*.txt")} == set(PANELS)


# --- the text form ----------------------------------------------------------------------------


def test_lines_of_a_dump_are_bounded() -> None:
    for seed in range(60):
        text = dump(lower(random_program(Random(seed), 10)))
        assert max(len(line) for line in text.split("\n")) <= WIDTH


@pytest.mark.parametrize("seed", range(40))
def test_a_dump_says_the_functions_of_its_core(seed: int) -> None:
    """The words of the text, evaluated as they stand, give what the generated code gives."""
    rng = Random(seed)
    core = lower(random_program(rng, 6))
    parts = _read_dump(dump(core))
    scan = scan_once(core)
    for _ in range(12):
        state, signals = _bits(rng, len(core.state)), _bits(rng, len(core.signals))
        names = [*(s.name for s in core.signals), *(b.name for b in core.state)]
        values: dict[str, bool] = dict(zip(names, (*signals, *state), strict=True))
        values |= {"never": False, "always": True}
        for name, text in parts["gates"]:
            values[name] = _worth(text, values)
        after, outputs, _ = scan(state, signals)
        assert [_worth(text, values) for _, text in parts["state"]] == list(after)
        assert [_worth(text, values) for _, text in parts["outputs"]] == list(outputs)


def _read_dump(text: str) -> dict[str, list[tuple[str, str]]]:
    """Section -> (name, expression) of its entries."""
    found: dict[str, list[tuple[str, str]]] = {}
    section = ""
    lines: list[str] = []
    for line in [*text.split("\n"), "end"]:
        if line and not line.startswith(" "):
            entries = "\n".join(lines).replace("\n            ", " ")
            if section == "gates":
                entries = entries.replace("\n        ", " ")
                pairs = [e.split(" = ", 1) for e in entries.split("\n") if e.strip()]
                found[section] = [(name.strip(), words) for name, words in pairs]
            elif section in ("state", "outputs"):
                rows = [row for row in entries.split("\n") if row.strip()]
                found[section] = [
                    (row.strip(), row.strip().removeprefix("next ").removeprefix("= "))
                    for row in rows
                    if row.startswith("        ") and row.strip().startswith(("next ", "= "))
                ]
            section, lines = line, []
        else:
            lines.append(line)
    return {"gates": [], "state": [], "outputs": []} | found


def _worth(text: str, values: dict[str, bool]) -> bool:
    words = text.replace("(", " ( ").replace(")", " ) ").split()
    known = {"and", "or", "not", "(", ")"}
    return bool(eval(" ".join(w if w in known else str(values[w]) for w in words)))


def test_labels_and_names_with_quotes_or_like_those_of_gates_do_not_confuse_a_dump() -> None:
    core = Core(
        'a "title"\nof two lines',
        10,
        (Signal("g1", "input", "g1"), Signal("b", "input", "b"), Signal("c", "input", "c")),
        (StateBit("b", "contact", "b", 'say "b"', 2),),
        ((2, 4), (6, 10)),
        (CoreOutput("x", "output", 13), CoreOutput("y", "output", 13), CoreOutput("z", "relay", 1)),
        (),
        (),
        (),
    )
    text = dump(core)
    assert faults(core) == ()
    assert text.startswith('core "a \\"title\\"\\nof two lines": a scan every 10 ms')
    assert '    b_2: contact, "say \\"b\\""\n        next g1\n' in text
    assert text.endswith("gates\n    x.now = not c or not g1 or not b\n")
    assert "    z: relay\n        = always\n" in text


# --- the form of a core -----------------------------------------------------------------------


def test_a_core_keeps_its_form_through_the_lowering_and_reduction_of_seeded_programs() -> None:
    for seed in range(150):
        rng = Random(seed)
        program = random_program(rng, rng.randint(1, 12))
        core = lower(program, rng.choice((10, 7, 20)))
        assert faults(core) == (), seed
        kept = [output.name for output in core.outputs if rng.random() < 0.6]
        assert faults(reduce(core, kept)) == (), seed


@given(programs(), st.data())
@settings(max_examples=60)
def test_a_core_keeps_its_form_for_any_program(program: Program, data: st.DataObject) -> None:
    core = lower(program)
    assert faults(core) == ()
    names = [output.name for output in core.outputs]
    assert faults(reduce(core, data.draw(st.sets(st.sampled_from(names))))) == ()


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"gates": ((2, 4), (2, 4))}, "gate 6 repeats gate 5"),
        ({"gates": ((2, 3), (4, 6))}, "gate 5 reads a node and its inverse"),
        ({"gates": ((4, 2), (4, 6))}, "gate 5 is not sorted or holds a literal twice"),
        ({"gates": ((1, 2), (4, 6))}, "gate 5 reads itself, a later node, or a constant"),
        ({"gates": ((2, 12), (4, 6))}, "gate 5 reads itself, a later node, or a constant"),
        ({"gates": ((2,), (4, 6))}, "gate 5 has fewer than two literals"),
        ({"outputs": (CoreOutput("x", "output", 14),)}, "output x is literal 14, of no node"),
        ({"outputs": (CoreOutput("x", "output", 2),) * 2}, "a output name stands twice"),
        ({"signals": (Signal("t.due", "due", "t"),) * 3}, "a signal name stands twice"),
    ],
)
def test_a_broken_core_is_found_out(change: dict[str, tuple[object, ...]], fault: str) -> None:
    names = ("p", "q", "r")
    sound = Core(
        "",
        10,
        tuple(Signal(name, "input", name) for name in names),
        (StateBit("s", "contact", "s", "s", 10),),
        ((2, 4), (4, 6)),
        (CoreOutput("x", "output", 12),),
        (),
        (),
        (),
    )
    assert faults(sound) == ()
    assert fault in faults(replace(sound, **change))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text",
    [
        "input a at I1\noutput edge0 at R1\nrung rising a -> edge0",
        "input a at I1\noutput power1 at R1\nrung a -> impulse power1",
    ],
)
def test_a_device_may_be_named_as_a_memory_is(text: str) -> None:
    assert faults(lower(program_of(text))) == ()


WRITES = """
import hashlib
from random import Random
from rungs.core.dump import dump
from rungs.core.interchange import aiger, blif, dot_core
from rungs.core.lower import lower
from rungs.core.reduce import reduce
from tests.strategies import random_program
total = hashlib.sha256()
for seed in range(25):
    core = lower(random_program(Random(seed), 8))
    small = reduce(core, {output.name for output in core.outputs[::2]})
    for text in (dump(core), dump(small), blif(small), aiger(small), dot_core(small)):
        total.update(text.encode())
print(total.hexdigest())
"""


def test_the_same_program_gives_the_same_bytes_under_any_hash_seed() -> None:
    said = set()
    for seed in ("0", "1", "4242"):
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        made = subprocess.run(
            [sys.executable, "-c", WRITES],
            cwd=HERE.parent,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert made.returncode == 0, made.stderr
        said.add(made.stdout)
    assert len(said) == 1
    assert len(said.pop().strip()) == 64


# --- flashers and counters --------------------------------------------------------------------


def _shown(phases: tuple[tuple[bool, int, int], ...], scans: int) -> list[bool]:
    """What runs of scans show, played one after the other."""
    shown: list[bool] = []
    at = 0
    while len(shown) < scans:
        closed, length, following = phases[at]
        shown += [closed] * (length or scans)
        at = following
    return shown[:scans]


TIMES = (1, 2, 3, 4, 5, 7, 9, 10, 11, 13, 15, 19, 20, 21, 25, 30, 37, 99, 100, 101, 1000)


def test_the_phases_of_a_flasher_follow_its_definition_at_every_scan() -> None:
    for on, off, period in product(TIMES, TIMES, (1, 3, 7, 10, 20)):
        phases = flasher_phases(on, off, period)
        scans = 3 * (on + off) + 20
        wanted = [(k * period) % (on + off) < on for k in range(scans)]
        assert _shown(phases, scans) == wanted, (on, off, period)
        # neighbours differ, so that no timer has to follow itself
        assert all(phases[following][0] != closed for closed, n, following in phases if n)


@given(st.integers(1, 5000), st.integers(1, 5000), st.integers(1, 250))
def test_the_phases_of_any_flasher_follow_its_definition(on: int, off: int, period: int) -> None:
    scans = 2 * (on + off) // period + 40
    wanted = [(k * period) % (on + off) < on for k in range(scans)]
    assert _shown(flasher_phases(on, off, period), scans) == wanted


def test_at_the_usual_period_no_flasher_has_more_than_twenty_phases() -> None:
    most = max(len(flasher_phases(on, off, 10)) for on, off in product(range(1, 60), repeat=2))
    assert 2 < most <= 20


def test_a_flasher_that_repeats_too_late_is_refused() -> None:
    assert 2 < len(flasher_phases(100, 157, 256)) <= MOST_PHASES
    with pytest.raises(LowerError, match="600 ms and 700 ms does not fit scans of 521 ms"):
        flasher_phases(600, 700, 521)


def _counting(compare: str, more: str = "", preset: int = 3) -> Program:
    return program_of(
        f"input a at I1\noutput x at R1\noutput y at R2\ncounter c to {preset}\n"
        f"rung a -> c\nrung {compare} -> x\nrung c -> y\n{more}"
    )


@pytest.mark.parametrize(
    ("compare", "most"),
    [
        ("c >= 5", 5),
        ("c < 5", 5),
        ("c > 5", 6),
        ("c <= 5", 6),
        ("c == 5", 6),
        ("c != 5", 6),
        ("c >= 2", 3),
        ("c == 2", 3),
        ("c == 999999", MAX_COUNT),
        ("c > 999998", MAX_COUNT),
    ],
)
def test_a_counter_holds_no_more_than_can_matter(compare: str, most: int) -> None:
    program = _counting(compare)
    assert most_counted(program.counters[0], program) == most
    (number,) = lower(program).numbers
    assert (number.most, len(number.bits)) == (most, most.bit_length())


def test_a_counter_that_counts_down_holds_every_count() -> None:
    program = _counting("c >= 5", "rung not a -> down c\n")
    assert most_counted(program.counters[0], program) == MAX_COUNT


def test_nothing_tells_the_largest_count_that_matters_from_a_larger_one() -> None:
    seen = 0
    for seed in range(200):
        program = random_program(Random(seed), 8)
        for counter in program.counters:
            most = most_counted(counter, program)
            if most == MAX_COUNT:
                continue
            seen += 1
            tests = [
                leaf.holds
                for rung in program.rungs
                for leaf in leaves(rung.circuit)
                if isinstance(leaf, Compare) and leaf.name == counter.name
            ]
            told = {count: [holds(count) for holds in tests] for count in range(most - 1, most + 9)}
            assert all(told[count] == told[most] for count in range(most, most + 9))
            assert told[most - 1] != told[most] or most == counter.preset
    assert seen > 20


# --- places in the text -----------------------------------------------------------------------

EVERY_KIND = """
input a at I1
input b at I2
clock dark from 18:00 to 06:00
output lamp at R1
relay aux retained
timer late on-delay 1s
timer slow off-delay 1s
timer once pulse 1s
timer sum accumulating 1s
timer blink flasher 25ms on 15ms off
counter parts to 3
rung rising a or dark -> late, slow, once, sum
rung falling b and late -> blink
rung slow or once -> parts
rung b -> impulse aux
rung blink or sum or parts or aux -> lamp
"""


def _spans(core: Core) -> Iterator[tuple[str, str, Span]]:
    """What carries a place, the name that must stand there, and the place."""
    for signal in core.signals:
        if signal.kind != "first_scan":
            yield f"signal {signal.name}", signal.device, signal.span
    for bit in core.state:
        yield f"state {bit.name}", bit.device or "rung", bit.span
    for timer in core.timers:
        yield f"timer {timer.name}", timer.device, timer.span
    for output in core.outputs:
        yield f"output {output.name}", output.name, output.span
    for power in core.powers:
        yield f"rung {power.number}", "rung", power.span


def test_everything_in_a_core_keeps_its_place_in_the_text() -> None:
    program = program_of(EVERY_KIND)
    core = lower(program)
    text = program.source.text
    for made in (core, reduce(core, [output.name for output in core.outputs])):
        places = list(_spans(made))
        assert len(places) > 36
        lost = [what for what, name, at in places if name not in text[at.start : at.end]]
        assert lost == []
        assert all(at != NOWHERE for _, _, at in places)


# --- reduce -----------------------------------------------------------------------------------


def _bits(rng: Random, count: int) -> tuple[bool, ...]:
    return tuple(rng.random() < 0.5 for _ in range(count))


def _cut(core: Core, state: tuple[bool, ...]) -> tuple[bool, ...]:
    return tuple(on and bit.retained for on, bit in zip(state, core.state, strict=True))


def test_what_reduce_takes_away_cannot_be_seen_through_what_is_kept() -> None:
    smaller = 0
    for seed in range(250):
        rng = Random(seed)
        core = lower(random_program(rng, rng.randint(1, 10)))
        kept = {output.name for output in core.outputs if rng.random() < 0.5}
        small = reduce(core, kept)
        smaller += len(small.state) < len(core.state)
        assert [o.name for o in small.outputs] == [o.name for o in core.outputs if o.name in kept]
        _agree(core, small, kept, rng, seed)
    assert smaller > 100


def _agree(core: Core, small: Core, kept: set[str], rng: Random, seed: int) -> None:
    """Both, given the same signals for a while, also with power cuts, tell the same."""
    scan, small_scan = scan_once(core), scan_once(small)
    state, small_state = (False,) * len(core.state), (False,) * len(small.state)
    place = {signal.name: index for index, signal in enumerate(core.signals)}
    timer_place = {timer.name: index for index, timer in enumerate(core.timers)}
    for _ in range(60):
        signals = _bits(rng, len(core.signals))
        state, outputs, runs = scan(state, signals)
        given = tuple(signals[place[signal.name]] for signal in small.signals)
        small_state, small_outputs, small_runs = small_scan(small_state, given)
        names = [output.name for output in core.outputs]
        wanted = [on for name, on in zip(names, outputs, strict=True) if name in kept]
        assert list(small_outputs) == wanted, seed
        for index, timer in enumerate(small.timers):
            at = 3 * timer_place[timer.name]
            assert small_runs[3 * index : 3 * index + 3] == runs[at : at + 3], (seed, timer.name)
        if rng.random() < 0.1:
            state, small_state = _cut(core, state), _cut(small, small_state)


def test_reduce_leaves_the_state_that_a_panel_needs_and_no_more() -> None:
    program = program_of(
        """
        input a at I1
        input b at I2
        output lamp at R1
        output twin at R2
        relay never_on
        relay unseen
        timer idle on-delay 1s
        rung rising b -> unseen
        rung unseen -> idle
        rung never_on and a -> never_on
        rung (a or lamp or never_on) and not b -> lamp
        rung (a or twin) and not b -> twin
        """
    )
    core = lower(program)
    small = reduce(core, ["lamp", "twin"])
    assert [bit.name for bit in small.state] == ["lamp"]
    assert [signal.name for signal in small.signals] == ["a", "b"]
    assert small.timers == ()
    lamp, twin = small.outputs
    assert lamp.lit == twin.lit
    # what is asked for is kept with all that it needs
    timed = reduce(core, ["idle"])
    assert {bit.name for bit in timed.state} == {"edge.0"}
    assert [signal.name for signal in timed.signals] == ["first_scan", "b", "idle.due"]


def test_a_timer_that_is_needed_keeps_all_that_it_is_told() -> None:
    signals = (
        *(Signal(name, "input", name) for name in ("run", "before", "after", "other")),
        Signal("sum.due", "due", "sum"),
    )
    shown = (CoreOutput("x", "output", 10), CoreOutput("y", "output", 8))
    timer = CoreTimer("sum", "sum", "accumulating", 50, 4, 2, 4, 6)
    core = Core("", 10, signals, (), (), shown, (timer,), (), ())
    assert faults(core) == ()
    small = reduce(core, ["x"])
    assert [signal.name for signal in small.signals] == ["run", "before", "after", "sum.due"]
    assert small.timers == (replace(timer, due=3),)
    assert reduce(core, ["y"]).timers == ()


def test_equal_bits_stay_two_where_a_power_cut_tells_them_apart() -> None:
    program = program_of(
        """
        input a at I1
        output kept at R1 retained
        output lost at R2
        rung a -> latch kept
        rung a -> latch lost
        """
    )
    small = reduce(lower(program), ["kept", "lost"])
    assert {bit.name: bit.retained for bit in small.state} == {"kept": True, "lost": False}


def test_reducing_again_changes_nothing() -> None:
    for seed in range(120):
        core = lower(random_program(Random(seed), 8))
        names = [output.name for output in core.outputs[::2]]
        small = reduce(core, names)
        assert reduce(small, names) == small, seed


# --- reduce, proved by a solver ---------------------------------------------------------------


# a state bit of a core, and the bit of its reduced form that is equal to it, or None for 0
Relation = frozenset[tuple[int, int | None]]


class Pair:
    """Two cores in one solver, with the same signals; a proof of what holds between their bits."""

    def __init__(self, core: Core, small: Core) -> None:
        self.core, self.small = core, small
        self.top = 1
        self.clauses: list[list[int]] = [[1]]
        shared = {signal.name: self._fresh() for signal in core.signals}
        self.before = [self._fresh() for _ in core.state]
        self.small_before = [self._fresh() for _ in small.state]
        self.wires = self._encoded(core, [shared[s.name] for s in core.signals], self.before)
        names = [shared[s.name] for s in small.signals]
        self.small_wires = self._encoded(small, names, self.small_before)

    def _fresh(self) -> int:
        self.top += 1
        return self.top

    def _encoded(self, core: Core, signals: list[int], state: list[int]) -> list[int]:
        wires = [-1, *signals, *state]
        for gate in core.gates:
            out = self._fresh()
            parts = [-wires[x >> 1] if x & 1 else wires[x >> 1] for x in gate]
            self.clauses += [[-out, part] for part in parts]
            self.clauses.append([out, *(-part for part in parts)])
            wires.append(out)
        return wires

    def at(self, lit: Lit, small: bool = False) -> int:
        wire = (self.small_wires if small else self.wires)[lit >> 1]
        return -wire if lit & 1 else wire

    def proved(self, relation: Relation) -> Relation:
        """The part of a relation that holds in every scan if it held before the first; with it, the
        outputs of the small core are those of the other.
        """
        while True:
            with Solver(name="cadical153", bootstrap_with=self.clauses) as solver:
                for bit, other in relation:
                    mate = -1 if other is None else self.small_before[other]
                    solver.add_clause([-self.before[bit], mate])
                    solver.add_clause([self.before[bit], -mate])
                broken = {
                    (bit, other)
                    for bit, other in relation
                    if self._differ(
                        solver,
                        self.at(self.core.state[bit].next),
                        -1 if other is None else self.at(self.small.state[other].next, True),
                    )
                }
                if not broken:
                    shown = {output.name: output.lit for output in self.core.outputs}
                    for output in self.small.outputs:
                        ends = self.at(shown[output.name]), self.at(output.lit, True)
                        assert not self._differ(solver, *ends), output.name
                    return relation
            relation = relation - broken

    @staticmethod
    def _differ(solver: Solver, one: int, other: int) -> bool:
        return bool(solver.solve([one, -other]) or solver.solve([-one, other]))


def _suspected(core: Core, small: Core, rng: Random) -> Relation:
    """Bits that were alike in every scan of a random run, and that a power cut keeps so."""
    scan, small_scan = scan_once(core), scan_once(small)
    state, small_state = (False,) * len(core.state), (False,) * len(small.state)
    place = {signal.name: index for index, signal in enumerate(core.signals)}
    seen: list[list[bool]] = [[] for _ in core.state]
    small_seen: list[list[bool]] = [[] for _ in small.state]
    for _ in range(200):
        signals = _bits(rng, len(core.signals))
        given = tuple(signals[place[signal.name]] for signal in small.signals)
        state, small_state = scan(state, signals)[0], small_scan(small_state, given)[0]
        for column, on in zip((*seen, *small_seen), (*state, *small_state), strict=True):
            column.append(on)
    alike: list[tuple[int, int | None]] = []
    for index, bit in enumerate(core.state):
        if not any(seen[index]):
            alike.append((index, None))
        alike += [
            (index, other)
            for other, mate in enumerate(small.state)
            if mate.retained == bit.retained and small_seen[other] == seen[index]
        ]
    return frozenset(alike)


def test_a_solver_proves_that_a_reduced_core_does_the_same_for_ever() -> None:
    """By induction over the scans: the relation holds of two cores without power, each scan keeps
    it, a power cut keeps it, and where it holds the kept outputs are equal."""
    merged = 0
    for seed in range(60):
        rng = Random(seed)
        core = lower(random_program(rng, 7))
        small = reduce(core, [output.name for output in core.outputs if rng.random() < 0.5])
        relation = Pair(core, small).proved(_suspected(core, small, rng))
        pairs = {
            (core.state[b].name, None if o is None else small.state[o].name) for b, o in relation
        }
        assert {(bit.name, bit.name) for bit in small.state} <= pairs, seed
        merged += len({one for one, other in pairs if one != other})
    assert merged > 20


def test_the_proof_fails_for_a_core_that_is_not_the_same() -> None:
    core = lower(program_of(PANELS["latches"]))
    small = reduce(core, ["lamp", "away"])
    first, *others = small.outputs
    wrong = replace(small, outputs=(replace(first, lit=first.lit ^ 1), *others))
    with pytest.raises(AssertionError, match="lamp"):
        Pair(core, wrong).proved(_suspected(core, small, Random(1)))


# --- gates ------------------------------------------------------------------------------------


@given(st.lists(st.integers(0, 9), min_size=0, max_size=4), st.integers(0, 31))
def test_a_gate_is_the_and_of_its_literals_and_made_only_once(parts: list[int], row: int) -> None:
    gates = Gates(4)
    made = gates.conj(*parts)
    assert gates.conj(*reversed(parts), *parts) == made
    values = [False, *(bool(row >> n & 1) for n in range(4))]

    def worth(lit: Lit) -> bool:
        node = lit >> 1
        on = values[node] if node < 5 else all(worth(part) for part in gates.made[node - 5])
        return on ^ bool(lit & 1)

    assert worth(made) == all(worth(part) for part in parts)
    assert len(gates.made) <= 1
    assert made in (FALSE, TRUE, *parts) or gates.made


def test_every_root_of_a_core_is_named_once() -> None:
    core = lower(program_of(EVERY_KIND))
    names = [what for what, _ in roots(core)]
    assert len(names) == len(set(names))
    assert "next of parts.count1" in names
    assert "clear_after of sum" in names


if __name__ == "__main__":
    GOLDENS.mkdir(exist_ok=True)
    for panel, source in PANELS.items():
        written = dump(lower(program_of(source)))
        (GOLDENS / f"{panel}.txt").write_text(written, encoding="utf-8")
