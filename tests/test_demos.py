"""The demos: clean, in canonical layout, true to what they show and demand, and able to fail.

A scenario that no mistake can break shows nothing, so some mistakes are made here on purpose.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.cli.common import check_file
from rungs.language.format import format_file
from rungs.program.check import check
from rungs.program.nodes import Program, Property
from rungs.report.scenarios import scenario_text
from rungs.report.text import Ink
from rungs.scan import scenario as scenario_module
from rungs.scan.observe import holds
from rungs.scan.reference import State
from rungs.scan.runner import Panel
from rungs.scan.scenario import play
from rungs.shipped import shipped
from rungs.source import source_from_text
from tests.helpers import program_of
from tests.test_cases import EXPECTED

DEMOS = sorted(shipped("demos").glob("*.rungs"))
FAULTY = sorted((shipped("demos") / "faulty").glob("*.rungs"))

each_demo = pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
each_faulty = pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.stem)


def text_of(name: str) -> str:
    return (shipped("demos") / f"{name}.rungs").read_text(encoding="utf-8")


def failures(program: Program) -> list[str]:
    """The report of each scenario that does not pass."""
    results = [play(program, scenario) for scenario in program.scenarios]
    return [scenario_text(program, r, Ink(), every_step=False) for r in results if not r.passed]


class WatchedPanel(Panel):
    """A panel that fails as soon as a property of its file does not hold after a scan.

    It stops watching once the file's own assumptions no longer hold.
    """

    def make_scan(self, t: int | None = None) -> State:
        state = super().make_scan(t)
        if not hasattr(self, "waiting"):
            self.waiting: dict[Property, int] = {}  # since when a requirement is not met
            self.outside = False
        for item in self.program.properties:
            if item.kind == "assume" and self._closed(item.circuit):
                self.outside = True
        if not self.outside:
            for item in self.program.properties:
                self._watch(item)
        return state

    def _closed(self, circuit: object) -> bool:
        return holds(self.program, self.before, self.state, self.wires, circuit)  # type: ignore[arg-type]

    def _watch(self, item: Property) -> None:
        closed = self._closed(item.circuit)
        match item.kind:
            case "never":
                broken = closed
            case "always":
                broken = not closed
            case "require":
                assert item.when is not None
                broken = not closed and self._closed(item.when)
                if item.within:
                    broken = self._overdue(item, broken)
            case "assume":
                return
        assert not broken, f"at {self.now} ms: {item.label}"

    def _overdue(self, item: Property, unmet: bool) -> bool:
        """Whether a requirement has waited too long, up to this scan or the one before it."""
        since = self.waiting.get(item)
        if since is not None and self.now - self.period - since >= item.within:
            return True
        if not unmet:
            self.waiting.pop(item, None)
            return False
        return self.now - self.waiting.setdefault(item, self.now) >= item.within

    def switch_power(self, on: bool) -> None:
        super().switch_power(on)
        if hasattr(self, "waiting"):
            self.waiting.clear()


@each_demo
def test_a_demo_has_nothing_wrong_with_it(path: Path) -> None:
    assert check_file(str(path)).findings == ()


@each_demo
def test_a_demo_is_in_canonical_layout(path: Path) -> None:
    source = source_from_text(path.read_text(encoding="utf-8"))
    assert format_file(check(source).file, source) == source.text


@each_demo
def test_a_demo_has_a_title_and_shows_its_sequence(path: Path) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    assert program.title
    assert program.properties
    assert len(program.scenarios) >= 2
    assert all(output.load is not None for output in program.outputs)


@each_demo
def test_every_scenario_of_a_demo_passes(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scenario_module, "Panel", WatchedPanel)
    assert failures(program_of(path.read_text(encoding="utf-8"))) == []


@each_demo
def test_jumping_over_quiet_time_changes_nothing_in_a_scenario(path: Path) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    quick = [play(program, scenario) for scenario in program.scenarios]
    # hours of single scans would only be slow
    short = [result for result in quick if result.steps[-1].t <= 100_000]
    assert short
    for result in short:
        assert play(program, result.scenario, jump=False) == result


_MOVES = st.lists(
    st.tuples(
        st.integers(0, 30),
        st.sampled_from(
            ("operate", "release", "operate", "release", "broken", "shorted", "sound", "power")
        ),
        st.sampled_from((0, 10, 40, 300, 1_000, 6_000, 45_000)),
    ),
    max_size=25,
)


@each_demo
@settings(max_examples=60, deadline=None)
@given(moves=_MOVES)
def test_the_properties_of_a_demo_hold_whatever_is_done_to_it(
    path: Path, moves: list[tuple[int, str, int]]
) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    panel = WatchedPanel(program)
    panel.make_scan()
    for number, move, ms in moves:
        name = program.inputs[number % len(program.inputs)].name
        match move:
            case "operate" | "release":
                panel.operate(name, move == "operate")
            case "broken" | "shorted" | "sound":
                panel.fault(name, move)
            case _:
                panel.switch_power(False)
                panel.switch_power(True)
        panel.run(panel.now + ms)
    assert panel.state.t <= panel.now


def test_the_watch_over_properties_sees_a_broken_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scenario_module, "Panel", WatchedPanel)
    text = text_of("sliding_gate")
    for old, new, label in (
        ("and not drive_close and not rest_close -> drive_open", "-> drive_open", "without a rest"),
        ("    travel -> latch blocked", "    travel and not beam -> latch blocked", "for ever"),
    ):
        assert old in text
        program = program_of(text.replace(old, new, 1))
        with pytest.raises(AssertionError, match=label):
            failures(program)


# one change each that somebody could make by mistake
MUTATIONS = {
    "a light that takes any switch": (
        "hall_lights_two",
        "(switch_door and not switch_stairs) or (switch_stairs and not switch_door)",
        "switch_door or switch_stairs",
    ),
    "a stuck button that keeps the stair dark": (
        "hall_lights_three",
        "rising long_press or burning",
        "long_press or burning",
    ),
    "a stop button wired the wrong way": (
        "start_stop",
        "stop_button  at I2 momentary  NC",
        "stop_button  at I2 momentary  NO",
    ),
    "a stop contact left out": (
        "start_stop",
        "(rising start_button or contactor) and stop_button and",
        "(rising start_button or contactor) and",
    ),
    "a jammed start button that starts again": (
        "start_stop",
        "(rising start_button or contactor)",
        "(start_button or contactor)",
    ),
    "a seal-in left out": (
        "start_stop",
        "(rising start_button or contactor)",
        "rising start_button",
    ),
    "pumps that run dry": (
        "two_pumps",
        "(start_float or high_float or wanted) and low_float",
        "start_float or high_float",
    ),
    "pumps that do not take turns": (
        "two_pumps",
        "falling wanted -> impulse second_leads",
        "falling wanted -> unlatch second_leads",
    ),
    "an alarm float wired the wrong way": (
        "two_pumps",
        "alarm_float at I4 maintained NC",
        "alarm_float at I4 maintained NO",
    ),
    "a gate that turns round without a rest": (
        "sliding_gate",
        "want_close and not drive_open and not rest_open",
        "want_close and not drive_open",
    ),
    "a gate that ignores its edge": (
        "sliding_gate",
        "drive_close and (not safety_edge or not beam)",
        "drive_close and not beam",
    ),
    "a safety edge wired the wrong way": (
        "sliding_gate",
        "safety_edge  at I6 momentary  NC",
        "safety_edge  at I6 momentary  NO",
    ),
    "a valve that stays open on an empty tank": (
        "greenhouse",
        "portion or too_long or not tank",
        "portion or too_long",
    ),
    "a fan before the vent": ("greenhouse", "cool and vent_first -> fan", "cool -> fan"),
    "an outer door that does not look at the inner one": (
        "airlock",
        "outer_turn and inner_shut and not free_inner",
        "outer_turn and not free_inner",
    ),
    "a magnet on the wrong contact": (
        "airlock",
        "free_outer at R1 NC",
        "free_outer at R1 NO",
    ),
    "a winch that reverses without a rest": (
        "boathouse",
        "and not pull_in and not rest_in",
        "and not pull_in",
    ),
}


@pytest.mark.parametrize("name, old, new", MUTATIONS.values(), ids=MUTATIONS)
def test_a_mistake_in_a_demo_makes_a_scenario_fail(name: str, old: str, new: str) -> None:
    text = text_of(name)
    assert old in text
    program = program_of(text.replace(old, new, 1))
    assert not all(play(program, scenario).passed for scenario in program.scenarios)


@each_faulty
def test_a_faulty_panel_raises_exactly_the_findings_it_lists(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    listed = []
    for line in text.split("\n"):
        match = EXPECTED.match(line)
        if match is None:
            break
        listed.append((match[1], match[2]))
    assert listed
    assert [(f.code, f.message) for f in check_file(str(path)).findings] == listed


def test_there_are_faulty_panels_of_many_kinds() -> None:
    assert len(FAULTY) >= 15
    codes = {f.code for path in FAULTY for f in check_file(str(path)).findings}
    assert len(codes) >= 15
