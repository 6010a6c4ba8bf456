"""The watch over properties: against one that looks back over every scan, and case by case.

The second watcher here keeps what every scan left and only then asks, property by property and with
an evaluator of its own, which scan was the first to break it; it knows nothing of jumps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.program.nodes import (
    Circuit,
    Compare,
    Contact,
    ContactKind,
    Input,
    Output,
    Parallel,
    Program,
    Property,
    Series,
    Timer,
)
from rungs.scan.reference import State, is_timing, powered_down, scan
from rungs.scan.runner import Panel
from rungs.scan.scenario import Broken, ScenarioResult, play
from rungs.scan.watch import Violation, Watcher, circuits_of
from tests.helpers import program_of
from tests.strategies import NOON, programs

START = int(NOON.replace(tzinfo=UTC).timestamp() * 1000)

# --- a watcher that looks back ----------------------------------------------------------------


@dataclass(frozen=True)
class Shot:
    """All that one scan left."""

    state: State
    wires: dict[str, str]


def closed(program: Program, shots: list[Shot], index: int, circuit: Circuit) -> bool:
    """Whether a circuit is closed after scan number `index` of the record."""
    now = shots[index].state
    match circuit:
        case Series():
            return all(closed(program, shots, index, part) for part in circuit.parts)
        case Parallel():
            return any(closed(program, shots, index, part) for part in circuit.parts)
        case Compare():
            return circuit.holds(now.counts[circuit.name])
    name = circuit.name
    match circuit.kind:
        case "first_scan":
            value = now.first
        case "timing":
            value = is_timing(program, now, name)
        case "broken" | "shorted":
            value = shots[index].wires[name] == circuit.kind
        case "load":
            output = program.by_name[name]
            assert isinstance(output, Output)
            value = now.contacts[name] == (output.side == "NO")
        case "closed":
            value = now.contacts[name]
        case edge:
            # a first scan has no scan before it that counts
            was = now if now.first else shots[index - 1].state
            value = (was.contacts[name], now.contacts[name]) == (
                edge == "falling",
                edge == "rising",
            )
    return value != circuit.negated


def first_break(program: Program, shots: list[Shot], item: Property) -> int | None:
    """The index of the first scan that breaks a property or contradicts an assumption."""
    scans = range(len(shots))
    main = [closed(program, shots, i, item.circuit) for i in scans]
    if item.when is None:
        wrong = [not value for value in main] if item.kind == "always" else main
        return next((i for i in scans if wrong[i]), None)
    when = item.when
    wrong = [closed(program, shots, i, when) and not main[i] for i in scans]
    for i in scans:
        begin = i
        while wrong[i] and begin and wrong[begin - 1] and not shots[begin].state.first:
            begin -= 1
        if wrong[i] and shots[i].state.t - shots[begin].state.t >= item.within:
            return i
    return None


def look_back(
    program: Program, shots: list[Shot], period: int
) -> tuple[set[tuple[int, int, int]], tuple[int, int] | None]:
    """Place in the file, time and scan of each violation; place and time of a contradiction."""
    items = list(enumerate(program.properties))
    ended: tuple[int, int] | None = None
    last = len(shots)
    for number, item in items:
        index = first_break(program, shots, item)
        if item.kind == "assume" and index is not None and index < last:
            last, ended = index, (number, shots[index].state.t)
    found = set()
    for number, item in items:
        index = first_break(program, shots, item)
        if item.kind != "assume" and index is not None and index < last:
            t = shots[index].state.t
            found.add((number, t, t // period))
    return found, ended


# --- random properties and moves --------------------------------------------------------------


def leaves_for(program: Program) -> list[Contact | Compare]:
    """Every contact that a property may have."""
    found: list[Contact | Compare] = [Contact("first_scan", "")]
    for device in program.devices:
        kinds: list[ContactKind] = ["closed", "closed", "rising", "falling"]
        kinds += ["broken", "shorted"] if isinstance(device, Input) else []
        kinds += ["load"] if isinstance(device, Output) else []
        kinds += ["timing"] if isinstance(device, Timer) else []
        found += [Contact(kind, device.name) for kind in kinds]
    found += [Contact(leaf.kind, leaf.name, True) for leaf in found if isinstance(leaf, Contact)]
    found += [Compare(c.name, ">=", n) for c in program.counters for n in (1, 3)]
    return found


PropertyKind = Literal["never", "always", "require", "assume"]
KINDS: tuple[PropertyKind | Literal["within"], ...] = (
    *("within", "within", "within"),
    *("require", "never", "always", "assume"),
)


@st.composite
def properties(draw: st.DrawFn, program: Program) -> tuple[Property, ...]:
    """Up to eight properties, half of them requirements with a time, seldom an assumption."""
    leaf = st.sampled_from(leaves_for(program))
    pairs = st.tuples(leaf, leaf)
    circuits: st.SearchStrategy[Circuit] = st.one_of(
        leaf, leaf, st.builds(Series, pairs), st.builds(Parallel, pairs)
    )
    waits = st.sampled_from((5, 10, 15, 30, 33, 95, 200, 1_001))
    kinds = st.sampled_from(KINDS)
    items = []
    for number in range(draw(st.integers(1, 8))):
        kind = draw(kinds)
        circuit = draw(circuits)
        if kind == "assume":
            circuit = Series((circuit, draw(leaf), draw(leaf)))
        when = draw(circuits) if kind in ("within", "require") else None
        within = draw(waits) if kind == "within" else 0
        name: PropertyKind = "require" if kind == "within" else kind
        items.append(Property(name, f"p{number}", circuit, when, within))
    return tuple(items)


MOVES = st.lists(
    st.tuples(
        st.integers(0, 30),
        st.sampled_from(("operate", "release", "operate", "broken", "shorted", "sound", "power")),
        st.sampled_from((0, 3, 10, 20, 40, 110, 400, 1_300)),
    ),
    max_size=8,
)
Move = tuple[int, str, int]


def carry_out(panel: Panel, moves: list[Move]) -> None:
    """Make the first scan, then each move and the scans of its time."""
    panel.make_scan()
    for number, move, ms in moves:
        name = panel.program.inputs[number % len(panel.program.inputs)].name
        match move:
            case "operate" | "release":
                panel.operate(name, move == "operate")
            case "broken" | "shorted" | "sound":
                panel.fault(name, move)
            case _:
                panel.switch_power(False)
                if number % 2:
                    panel.run(panel.now + 50)
                panel.switch_power(True)
        panel.run(panel.now + ms)


def watched(program: Program, period: int, moves: list[Move], jump: bool) -> tuple[Watcher, int]:
    """The watcher after all moves, and how many scans it was shown."""
    panel = Panel(program, START, period, jump)
    watcher = Watcher(program, period)
    panel.watchers.append(watcher.see)
    made: list[int] = []
    panel.watchers.append(lambda before, after, wires: made.append(after.t))
    carry_out(panel, moves)
    return watcher, len(made)


def recorded(program: Program, period: int, moves: list[Move]) -> list[Shot]:
    """What every single scan left."""
    shots: list[Shot] = []
    panel = Panel(program, START, period, jump=False)
    panel.watchers.append(lambda before, after, wires: shots.append(Shot(after, dict(wires))))
    carry_out(panel, moves)
    return shots


@settings(max_examples=80, deadline=None)
@given(st.data(), programs(size=4), st.sampled_from((10, 10, 7, 100)), MOVES)
def test_the_watch_finds_what_looking_back_over_every_scan_finds(
    data: st.DataObject, bare: Program, period: int, moves: list[Move]
) -> None:
    program = replace(bare, properties=data.draw(properties(bare)))
    shots = recorded(program, period, moves)
    found, ended = look_back(program, shots, period)
    for jump in (True, False):
        watcher, made = watched(program, period, moves, jump)
        place = {id(item): number for number, item in enumerate(program.properties)}
        assert {(place[id(v.property)], v.t, v.scan) for v in watcher.violations} == found
        assert [v.t for v in watcher.violations] == sorted(v.t for v in watcher.violations)
        contradicted = watcher.contradicted
        assert ended == (contradicted and (place[id(contradicted.property)], contradicted.t))
        # only scans that are made are looked at
        assert made <= len(shots) if jump else made == len(shots)


# --- case by case -----------------------------------------------------------------------------

LAMP = """
input  door at I1
input  other at I2
input  stop at I3 NC
output lamp at R1
output sign at R2 NC
timer  slow on-delay 2s
rung door -> slow
rung slow -> lamp
rung other and stop -> sign
"""


def panel_with(*statements: str, period: int = 10, jump: bool = True) -> tuple[Panel, Watcher]:
    panel = Panel(program_of(LAMP + "\n".join(statements)), period=period, jump=jump)
    watcher = Watcher(panel.program, period)
    panel.watchers.append(watcher.see)
    panel.make_scan()
    return panel, watcher


def times(watcher: Watcher) -> list[tuple[str, int, int]]:
    return [(v.property.label, v.t, v.scan) for v in watcher.violations]


@pytest.mark.parametrize("jump", [True, False])
@pytest.mark.parametrize(
    ("within", "period", "t"),
    # unmet from the scan after the first; COMPUTED: the first scan at least `within` later
    [(1_000, 10, 1_010), (1_001, 10, 1_020), (1_005, 10, 1_020), (5, 10, 20), (1_000, 7, 1_008)],
)
def test_a_requirement_runs_out_in_the_first_scan_at_or_after_its_time(
    within: int, period: int, t: int, jump: bool
) -> None:
    line = f'require "light" when door then lamp within {within}ms'
    panel, watcher = panel_with(line, period=period, jump=jump)
    panel.operate("door", True)
    panel.run(60_000)
    assert times(watcher) == [("light", t, t // period)]


def test_a_time_that_runs_out_among_scans_that_are_passed_over_is_told_with_its_own_scan() -> None:
    panel, watcher = panel_with('require "sign" when door then sign within 1h')
    made: list[int] = []
    panel.watchers.append(lambda before, after, wires: made.append(after.t))
    panel.operate("door", True)
    panel.run(7 * 86_400_000)
    assert times(watcher) == [("sign", 3_600_010, 360_001)]
    assert 3_600_010 not in made
    # a week costs its events and not its scans
    assert len(made) < 20


def test_a_requirement_that_is_met_in_its_last_scan_is_met() -> None:
    # the door closes at 10 ms, and the lamp is lit 2000 ms later
    panel, watcher = panel_with(
        'require "in the scan that is too late" when door then lamp within 1999ms',
        'require "at the time itself" when door then lamp within 2000ms',
    )
    panel.operate("door", True)
    panel.run(10_000)
    assert times(watcher) == []
    late, watcher = panel_with('require "late" when door then lamp within 1990ms')
    late.operate("door", True)
    late.run(10_000)
    assert times(watcher) == [("late", 2_000, 200)]


def test_a_requirement_that_is_met_for_one_scan_waits_from_the_beginning_again() -> None:
    panel, watcher = panel_with('require "sign" when door then sign within 1s')
    panel.operate("door", True)
    panel.run(900)
    panel.operate("other", True)
    panel.make_scan()
    panel.operate("other", False)
    panel.run(1_900)
    assert times(watcher) == []
    panel.run(3_000)
    # met at 910 ms, unmet from 920 ms on
    assert times(watcher) == [("sign", 1_920, 192)]


@pytest.mark.parametrize(("off", "back"), [(0, 910), (30_000, 30_900)])
def test_a_power_cut_in_the_middle_of_a_requirement_starts_its_time_anew(
    off: int, back: int
) -> None:
    panel, watcher = panel_with('require "sign" when door then sign within 1s')
    panel.operate("door", True)
    panel.run(900)
    panel.switch_power(False)
    panel.run(900 + off)
    panel.switch_power(True)
    panel.run(back + 990)
    assert times(watcher) == []
    panel.run(back + 5_000)
    # the first scan after power-up, at `back`, finds it unmet
    assert times(watcher) == [("sign", back + 1_000, (back + 1_000) // 10)]


def test_edges_compare_the_ends_of_two_scans_and_power_up_gives_none() -> None:
    panel, watcher = panel_with(
        'never "comes" rising door', 'never "goes" falling door', 'never "up again" first_scan'
    )
    assert times(watcher) == [("up again", 0, 0)]
    panel.run(1_000)
    panel.switch_power(False)
    panel.operate("door", True)
    panel.switch_power(True)
    panel.run(2_000)
    panel.switch_power(False)
    panel.operate("door", False)
    panel.switch_power(True)
    panel.run(3_000)
    assert len(watcher.violations) == 1
    panel.operate("door", True)
    panel.run(4_000)
    panel.operate("door", False)
    panel.run(5_000)
    assert times(watcher)[1:] == [("comes", 3_010, 301), ("goes", 4_010, 401)]


def test_broken_wires_and_lit_loads_are_watched() -> None:
    panel, watcher = panel_with(
        'never "wire" broken stop', 'never "short" shorted stop', 'always "lit" sign.load'
    )
    panel.fault("stop", "broken")
    panel.run(100)
    panel.operate("other", True)
    panel.fault("stop", "shorted")
    panel.run(200)
    assert times(watcher) == [("wire", 10, 1), ("short", 110, 11), ("lit", 110, 11)]


def test_a_wire_that_breaks_in_the_state_it_had_is_seen() -> None:
    panel, watcher = panel_with('require "told" when broken door then lamp within 1s')
    panel.run(5_000)
    panel.fault("door", "broken")  # its circuit was open already
    panel.run(60_000)
    assert times(watcher) == [("told", 6_010, 601)]


def test_two_properties_of_the_same_text_are_both_told() -> None:
    panel, watcher = panel_with("never door", "never door")
    panel.operate("door", True)
    panel.run(1_000)
    spans = [v.property.span for v in watcher.violations]
    assert len(spans) == 2
    assert spans[0] != spans[1]


def test_nothing_is_watched_from_the_scan_on_that_contradicts_an_assumption() -> None:
    panel, watcher = panel_with(
        'assume "one at a time" never door and other',
        'never "door" door and not other',
        'never "both" door and other',
        'never "dark" not door',
    )
    panel.operate("other", True)
    panel.run(100)
    panel.operate("door", True)
    panel.run(200)
    panel.operate("other", False)
    panel.run(300)
    assert times(watcher) == [("dark", 0, 0)]
    assert watcher.contradicted == Violation(panel.program.properties[0], 110, 11)


def test_a_time_that_ran_out_before_an_assumption_was_contradicted_counts() -> None:
    panel, watcher = panel_with(
        'assume "sound" never broken door',
        'require "sign" when door then sign within 1h',
        'require "too late" when door then sign within 3h',
    )
    panel.operate("door", True)
    panel.run(2 * 3_600_000)
    panel.fault("door", "broken")
    panel.run(4 * 3_600_000)
    assert times(watcher) == [("sign", 3_600_010, 360_001)]
    assert watcher.contradicted is not None
    assert watcher.contradicted.t == 7_200_010


def test_times_that_run_out_on_the_way_to_a_contradiction_are_told_in_their_order() -> None:
    panel, watcher = panel_with(
        'assume "dark" never lamp',
        'require "second" when door then sign within 1500ms',
        'require "first" when door then sign within 500ms',
        'never "lit" lamp',
    )
    made: list[int] = []
    panel.watchers.append(lambda before, after, wires: made.append(after.t))
    panel.operate("door", True)
    panel.run(5_000)
    # no scan was made from 30 ms on until the lamp was lit
    assert not any(30 < t < 2_010 for t in made)
    assert times(watcher) == [("first", 510, 51), ("second", 1_510, 151)]
    assert watcher.contradicted is not None
    assert watcher.contradicted.t == 2_010


def test_the_watch_takes_states_from_any_hand() -> None:
    program = program_of(LAMP + 'require "light" when door then lamp within 30ms')
    watcher = Watcher(program)
    state = powered_down(program)
    found: list[Violation] = []
    for t in range(0, 100, 10):
        before, state = (
            state,
            scan(program, state, {"door": t >= 20, "other": False, "stop": True}, {}, t),
        )
        found += watcher.see(before, state, {})
    assert found == [Violation(program.properties[0], 50, 5)]


# --- scenarios --------------------------------------------------------------------------------


def played(*lines: str) -> ScenarioResult:
    program = program_of(LAMP + "\n".join(lines))
    quick = play(program, program.scenarios[0])
    assert play(program, program.scenarios[0], jump=False) == quick
    return quick


def told(broken: Broken) -> tuple[str, int, list[str]]:
    return broken.property.label, broken.t, [seen.state for seen in broken.seen]


@pytest.mark.parametrize(
    ("steps", "t"),
    [
        ("operate door", 10),  # the scans until it is settled
        ("tap door", 10),  # the time that it is held
        ("break stop\noperate door\nmend stop", 20),
        ("power off for 1s\noperate door", 1_010),
        ("power off\noperate door\npower on", 10),
        ("expect steady lamp for 1s\nexpect steady not door for 5s\noperate door", 5_010),
        ("expect lamp within 1s\noperate door", 1_010),
        ("set clock 12:00\noperate door", 20),
    ],
)
def test_every_scan_of_every_step_is_watched(steps: str, t: int) -> None:
    result = played('never "door" door', 'scenario "s"', steps)
    assert [(b.property.label, b.t) for b in result.broken] == [("door", t)]
    assert not result.passed


def test_the_scans_before_the_first_step_are_watched() -> None:
    result = played('always "door" door', 'scenario "s"')
    assert [(b.t, b.during) for b in result.broken] == [(0, None)]
    assert not result.passed


def test_a_broken_property_comes_with_its_contacts_as_its_own_scan_left_them() -> None:
    result = played(
        'require "sign" when door and stop then sign within 7min',
        'never "lamp" rising lamp',
        'scenario "s"',
        "begin 12:00",
        "operate door",
        "wait 10min",
        "release door",
        "expect not lamp",
    )
    lamp, sign = result.broken
    assert told(lamp) == ("lamp", 2_010, ["lamp is on"])
    assert (lamp.seen[0].rung, lamp.seen[0].scan, lamp.seen[0].conducts) == (2, 201, True)
    states = ["door is closed (operated)", "stop is closed (released)", "sign is off"]
    assert told(sign) == ("sign", 420_010, states)
    day, ms = sign.wall
    assert (day.isoformat(), ms) == ("2026-01-05", 12 * 3_600_000 + 420_010)
    assert {lamp.during, sign.during} == {result.scenario.steps[2]}
    assert not result.passed
    assert all(step.passed is not False for step in result.steps)


def test_an_assumption_that_a_scenario_contradicts_is_told_and_fails_nothing() -> None:
    result = played(
        'assume "one at a time" never door and other',
        'never "both" door and other',
        'never "door" door and not other',
        'scenario "s"',
        "operate other",
        "operate door",
        "release other",
    )
    assert result.passed
    assert result.broken == ()
    assert result.contradicted is not None
    states = ["door is closed (operated)", "other is closed (operated)"]
    assert told(result.contradicted) == ("one at a time", 20, states)
    assert result.contradicted.during == result.scenario.steps[1]


def test_each_scenario_is_watched_from_its_own_beginning() -> None:
    program = program_of(
        LAMP
        + 'assume "a" never other\nnever "door" door\nscenario "1"\noperate other\noperate door\n'
        + 'scenario "2"\noperate door\nscenario "3"\nexpect not lamp'
    )
    results = [play(program, scenario) for scenario in program.scenarios]
    assert [len(result.broken) for result in results] == [0, 1, 0]
    assert [result.contradicted is None for result in results] == [False, True, True]


def test_the_circuits_of_a_property_begin_with_its_condition() -> None:
    never, require = program_of(LAMP + "never lamp\nrequire when door then lamp").properties
    assert circuits_of(never) == (Contact("closed", "lamp"),)
    assert circuits_of(require) == (Contact("closed", "door"), Contact("closed", "lamp"))
