"""Scenarios written from what hands did: they say what they do, and tell what they cannot say."""

from __future__ import annotations

from random import Random

import pytest

from rungs.language.format import format_file
from rungs.program.check import check
from rungs.program.nodes import Begin, Expect, ExpectSteady, Until
from rungs.scan.runner import Panel, WireFault
from rungs.scan.scenario import ScenarioResult, play
from rungs.scan.scribe import Scribe, Written, appended, step_text
from rungs.source import source_from_text
from tests.helpers import program_of
from tests.strategies import program_text, random_program
from tests.test_scan_forces import START


class Hands:
    """A live panel, and a scribe that is told of all that is done to it, if there is one yet."""

    def __init__(self, text: str, start: int = START, period: int = 10) -> None:
        self.panel = Panel(program_of(text), start, period)
        self.panel.make_scan()
        self.ends: dict[str, int] = {}
        self.scribe: Scribe | None = None

    def from_start(self) -> Hands:
        panel = self.panel
        self.scribe = Scribe(panel.program, panel.wall.at(0), panel.period, panel.calendar)
        return self

    def from_now(self) -> Hands:
        self.scribe = Scribe.midway(self.panel, self.ends)
        return self

    def wait(self, ms: int) -> None:
        until = self.panel.now + ms
        for name, at in sorted(self.ends.items(), key=lambda item: item[1]):
            if at <= until:
                self.panel.run(at)
                del self.ends[name]
                self.panel.operate(name, False)
        self.panel.run(until)

    def operate(self, name: str, on: bool) -> None:
        self.ends.pop(name, None)
        self.panel.operate(name, on)
        if self.scribe is not None:
            self.scribe.operated(self.panel.now, name, on)

    def tap(self, name: str, ms: int = 200) -> None:
        self.panel.operate(name, True)
        self.ends[name] = self.panel.now + ms
        if self.scribe is not None:
            self.scribe.tapped(self.panel.now, name, ms)

    def fault(self, name: str, number: int) -> None:
        faults: tuple[WireFault, ...] = ("sound", "broken", "shorted")
        fault = faults[number]
        self.panel.fault(name, fault)
        if self.scribe is not None:
            self.scribe.fault(self.panel.now, name, fault)

    def power(self, on: bool) -> None:
        self.panel.switch_power(on)
        if self.scribe is not None:
            self.scribe.power(self.panel.now, on)

    def set_clock(self, instant: int) -> None:
        self.panel.set_clock(instant)
        if self.scribe is not None:
            self.scribe.set_clock(self.panel.now, instant)

    def force(self, name: str, closed: bool | None) -> None:
        self.panel.force(name, closed)
        if self.scribe is not None:
            self.scribe.forced(self.panel.now, name, closed)

    def confirm(self, *names: str) -> bool:
        assert self.scribe is not None
        contacts = self.panel.state.contacts
        return self.scribe.expected(self.panel.now, [(name, contacts[name]) for name in names])

    def done(self, label: str = "Taken down") -> tuple[Written, ScenarioResult]:
        """What was written; it is put behind the file, read, played, and has to be green."""
        assert self.scribe is not None
        program = self.panel.program
        written = self.scribe.written(label)
        assert not [f for f in written.findings if f.severity == "error"], written.text
        source = source_from_text(written.text)
        assert format_file(check(source).file, source) == written.text
        whole = program_of(appended(program.source.text, written.text))
        (*others, scenario) = whole.scenarios
        assert scenario.label == written.label
        assert scenario.label not in [other.label for other in others]
        result = play(whole, scenario, self.panel.period)
        assert all(step.passed is not False for step in result.steps), written.text
        return written, result


def steps(written: Written) -> list[str]:
    return [line.strip() for line in written.text.splitlines()[1:]]


# --- any hands ----------------------------------------------------------------------------------


def at_random(seed: int, midway: bool) -> tuple[Hands, int]:
    """A random program with random hands at it, and how often somebody confirmed what stands."""
    dice = Random(seed)
    text = program_text(random_program(dice))
    hands = Hands(text, START + dice.choice((0, 0, 412)), dice.choice((10, 10, 20, 7)))
    inputs = [device.name for device in hands.panel.program.inputs]
    names = [device.name for device in hands.panel.program.devices]
    begin = dice.randrange(1, 6) if midway else 0
    confirmed = 0
    for number in range(begin + dice.randrange(4, 14)):
        if number == begin:
            hands = hands.from_now() if midway else hands.from_start()
        hands.wait(dice.choice((0, 0, 3, 10, 20, 30, 47, 120, 300, 1_500, 4_321)))
        kinds = ("operate", "operate", "tap", "tap", "fault", "power", "clock", "force", *"cccc")
        match dice.choice(kinds):
            case "operate":
                hands.operate(dice.choice(inputs), dice.random() < 0.5)
            case "tap":
                hands.tap(dice.choice(inputs), dice.choice((200, 200, 50, 1_000, 33)))
            case "fault":
                hands.fault(dice.choice(inputs), dice.randrange(3))
            case "power":
                hands.power(dice.random() < 0.7)
            case "clock":
                delta = dice.choice((-5_000, 3_000, 1_234))
                hands.set_clock(hands.panel.wall.at(hands.panel.now) + delta)
            case "force":
                if dice.random() < 0.2:
                    hands.force(dice.choice(names), dice.random() < 0.5)
            case _:
                if hands.scribe is not None:
                    confirmed += 1
                    hands.confirm(*dice.sample(names, min(len(names), dice.randrange(1, 4))))
    return hands, confirmed


@pytest.mark.parametrize("midway", [False, True])
def test_whatever_was_done_every_expectation_that_is_written_passes(midway: bool) -> None:
    confirmed = expected = 0
    for seed in range(20):
        hands, asked = at_random(seed, midway)
        written, result = hands.done()
        confirmed += asked
        expected += result.expectations
        assert isinstance(result.scenario.steps[0], Begin)
        waits = [s[5:] for s in steps(written) if s.startswith("wait ")]
        assert "0ms" not in waits
    # most of what was confirmed can be said
    assert expected > 0.7 * confirmed > 20


# --- case by case -------------------------------------------------------------------------------

PANEL = """
input  door at I1
input  bell at I2 momentary
input  stop at I3 momentary NC
output lamp at R1
output sign at R2 NC
relay  kept
timer  rest on-delay 5s
counter rings to 3
rung door and stop -> rest
rung rest -> lamp
rung bell -> rings, sign
rung rings -> latch kept

scenario "Taken down"
    begin 12:00
    expect not lamp
"""


def test_waits_are_short_and_counted_from_the_beginning() -> None:
    hands = Hands(PANEL).from_start()
    hands.wait(1_234)
    hands.operate("door", True)
    hands.wait(3_333)
    hands.tap("bell")
    hands.wait(500)
    hands.fault("stop", 1)
    hands.wait(20)
    hands.confirm("rest", "sign")
    hands.wait(80)
    hands.fault("stop", 0)
    hands.wait(6_000)
    hands.confirm("lamp")
    written, result = hands.done()
    assert written.text == (
        'scenario "Taken down (2)"\n'
        "    begin 12:00\n"
        "    wait 1s200ms\n"
        "    operate door\n"
        "    wait 3s300ms\n"
        "    tap bell\n"
        "    wait 340ms\n"
        "    break stop\n"
        "    wait 10ms\n"
        "    expect not rest and not sign\n"
        "    wait 80ms\n"
        "    mend stop\n"
        "    wait 5s900ms\n"
        "    expect lamp\n"
    )
    assert (written.notes, written.findings) == ((), ())
    assert result.passed
    # never further from the live time than a tenth of a second
    assert abs(result.steps[-1].t - hands.panel.now) <= 100


def test_a_wait_is_exact_where_a_rounded_one_would_show_something_else() -> None:
    hands = Hands(PANEL).from_start()
    hands.wait(1_050)
    hands.operate("door", True)
    hands.wait(5_010)
    # timed out in the scan just made: 60 ms more or less make the difference
    assert hands.confirm("lamp")
    hands.wait(1_990)
    hands.operate("door", False)
    hands.wait(20)
    hands.operate("door", True)
    hands.wait(4_990)
    assert hands.confirm("lamp")
    written, _ = hands.done()
    assert "expect lamp" in written.text
    assert "expect not lamp" in written.text
    assert written.notes == ()


def test_taps_that_overlap_are_written_as_what_the_fingers_did() -> None:
    hands = Hands(PANEL).from_start()
    hands.wait(100)
    hands.tap("bell", 500)
    hands.wait(100)
    hands.operate("door", True)
    hands.wait(1_000)
    hands.tap("bell")
    hands.wait(300)
    hands.confirm("rings", "sign")
    written, _ = hands.done()
    assert steps(written)[1:] == [
        "wait 100ms",
        "operate bell",
        "wait 90ms",
        "operate door",
        "wait 390ms",
        "release bell",
        "wait 590ms",
        "tap bell",
        "wait 90ms",
        "expect not rings and not sign",
    ]


def test_a_switch_that_is_moved_to_where_it_is_makes_no_step() -> None:
    hands = Hands(PANEL).from_start()
    hands.wait(100)
    hands.operate("door", False)
    hands.power(True)
    hands.fault("door", 0)
    written, _ = hands.done()
    assert steps(written) == ["begin 12:00"]


def test_power_cuts_and_clocks_that_are_set_are_steps() -> None:
    text = 'site zone "Europe/Oslo"\nclock night from 22:00 to 06:00\n' + PANEL.replace(
        "rung rest -> lamp", "rung rest or night -> lamp"
    )
    hands = Hands(text).from_start()
    hands.wait(2_000)
    hands.power(False)
    hands.wait(3_000)
    hands.power(True)
    hands.wait(1_000)
    hands.set_clock(START + 10 * 3_600_000)
    hands.wait(1_000)
    assert hands.confirm("night", "lamp")
    written, _ = hands.done()
    # noon in UTC is 13:00 in Oslo in winter
    assert steps(written) == [
        "begin 2026-11-25 13:00",
        "wait 2s",
        "power off",
        "wait 3s",
        "power on",
        "wait 1s",
        "set clock 2026-11-25 23:00",
        "wait 990ms",
        "expect night and lamp",
    ]


def test_what_the_scenario_does_not_show_is_told_and_the_rest_is_written() -> None:
    hands = Hands(PANEL).from_start()
    hands.operate("door", True)
    hands.force("kept", True)
    hands.wait(6_000)
    assert not hands.confirm("lamp", "kept", "rings")
    written, _ = hands.done()
    assert steps(written)[-1] == "expect lamp and not rings"
    assert written.notes == (
        "kept was held on by a force at 0 s; a scenario has no forces",
        "kept is on in the panel 6 s into the run, and off in the scenario",
    )


def test_an_act_that_comes_before_the_panel_has_settled_is_told() -> None:
    text = (
        "input a at I1\ninput b at I2\nrelay r\noutput o at R1\nrung not r -> r\nrung a and b -> o"
    )
    hands = Hands(text).from_start()
    hands.wait(100)
    hands.operate("a", True)
    written, _ = hands.done()
    assert written.notes == (
        "'operate a', 0.1 s into the run, comes 900ms later, for a scenario lets the panel settle"
        " before each step",
    )


@pytest.mark.parametrize(
    ("text", "step", "note"),
    [
        ("lamp  or not (sign and rings >= 1)", "expect lamp or not sign or rings < 1", None),
        ("rising lamp", None, "does not hold in the scenario: 'rising lamp' is open"),
        ("broken door", None, "'broken door' was confirmed 0.1 s into the run and does not hold"),
        ("sign.load", "expect sign.load", None),
        ("lmap", None, "'lmap' was not written: "),
        ("lamp and", None, "'lamp and' was not written: "),
        ("lamp\nwait 5s", None, "was not written: 'wait' does not fit here"),
        ("not lamp within 5s", None, "was not written: 'within' does not fit here"),
        ("not lamp relay more", None, "was not written: this is more than a circuit"),
        ("", None, "was not written: "),
    ],
)
def test_circuits_are_confirmed_as_text(text: str, step: str | None, note: str | None) -> None:
    hands = Hands(PANEL).from_start()
    hands.wait(100)
    assert hands.scribe is not None
    assert hands.scribe.expected(hands.panel.now, text) is (step is not None)
    written, _ = hands.done()
    assert steps(written)[-1] == (step or steps(written)[-1])
    assert len(written.notes) == (note is not None)
    assert note is None or note in written.notes[0]


def test_a_scenario_from_the_middle_begins_with_the_switches_where_they_are() -> None:
    hands = Hands(PANEL)
    hands.wait(50_000)
    hands.operate("door", True)
    hands.fault("bell", 2)
    hands.wait(20_000)
    hands.from_now()
    hands.wait(7_000)
    hands.confirm("lamp", "sign")
    hands.operate("door", False)
    hands.wait(100)
    hands.confirm("lamp")
    written, _ = hands.done("Door")
    assert steps(written) == [
        # a panel without clocks does not ask what time it is
        "begin 2026-11-25 12:01:09",
        "operate door",
        "short bell",
        "wait 7s",
        "expect lamp and sign",
        "release door",
        "wait 90ms",
        "expect not lamp",
    ]
    assert written.notes == (
        "at the beginning lamp is on in the panel and off in the scenario",
        "at the beginning rest is closed in the panel and open in the scenario",
    )


def test_what_a_scenario_from_the_middle_cannot_bring_about_is_told() -> None:
    hands = Hands(PANEL)
    for _ in range(3):
        hands.tap("bell")
        hands.wait(1_000)
    hands.operate("door", True)
    hands.wait(2_000)
    hands.from_now()
    written, _ = hands.done("")
    assert written.label == "Recorded"
    assert written.notes == (
        "at the beginning kept is on in the panel and off in the scenario",
        "at the beginning rest has run for 1.99 s in the panel and for 0 s in the scenario",
        "at the beginning rings is closed in the panel and open in the scenario",
        "at the beginning rings counts 3 in the panel and 0 in the scenario",
    )


def test_switches_are_set_without_power_where_that_comes_nearer() -> None:
    text = "input a at I1\noutput o at R1\nrung rising a -> latch o\nrung not a -> unlatch o"
    hands = Hands(text)
    hands.operate("a", True)
    hands.power(False)
    hands.wait(1_000)
    hands.power(True)
    hands.wait(1_000)
    # held while the power came: no edge, and no lamp
    assert not hands.panel.state.contacts["o"]
    hands.from_now()
    hands.wait(1_000)
    hands.confirm("o", "a")
    written, _ = hands.done()
    assert steps(written)[1:4] == ["power off", "operate a", "power on"]
    assert written.notes == ()


def test_the_clock_of_a_scenario_from_the_middle_is_that_of_the_panel() -> None:
    text = 'site zone "UTC"\nclock night from 12:01 to 13:00\n' + PANEL.replace(
        "rung rest -> lamp", "rung rest or night -> lamp"
    )
    hands = Hands(text, START + 412)
    hands.operate("door", True)
    hands.wait(59_000)
    hands.from_now()
    seen = []
    for ms in (580, 20):
        hands.wait(ms)
        seen.append(hands.panel.state.contacts["night"])
        assert hands.confirm("night")
    assert seen == [False, True]
    hands.done()


def test_a_clock_that_begins_within_a_second_is_told() -> None:
    text = "clock night from 12:01 to 13:00\n" + PANEL.replace(
        "rung rest -> lamp", "rung rest or night -> lamp"
    )
    hands = Hands(text, START + 412).from_start()
    written, _ = hands.done()
    assert written.notes == (
        "its clock is 412ms behind that of the panel, for a scenario tells whole seconds, and of"
        " an hour that comes twice the first",
    )


def test_a_tap_that_is_under_way_at_the_beginning_is_let_go_in_time() -> None:
    hands = Hands(PANEL)
    hands.wait(1_000)
    hands.tap("bell", 3_000)
    hands.wait(1_000)
    hands.from_now()
    hands.wait(5_000)
    hands.confirm("sign")
    written, _ = hands.done()
    assert steps(written)[1:] == [
        "operate bell",
        "wait 2s",
        "release bell",
        "wait 2s900ms",
        "expect not sign",
    ]


def test_a_property_that_the_hands_broke_is_told() -> None:
    hands = Hands(PANEL + '\nnever "no light" lamp\n').from_start()
    hands.operate("door", True)
    hands.wait(6_000)
    hands.confirm("lamp")
    written, result = hands.done()
    assert not result.passed
    assert written.notes == ("'never no light' is not kept in it, 5.01 s into the run",)


def test_labels_are_made_fit_for_a_file() -> None:
    hands = Hands(PANEL).from_start()
    written, _ = hands.done('  Say "go"\n\x1b[2J\u202e twice ')
    assert written.label == "Say 'go' [2J twice"


def test_what_is_told_late_and_names_that_are_not_there_are_refused() -> None:
    scribe = Scribe(program_of(PANEL), START)
    scribe.operated(1_000, "door", True)
    with pytest.raises(ValueError, match="before"):
        scribe.operated(990, "door", False)
    with pytest.raises(ValueError, match="last"):
        scribe.tapped(2_000, "bell", 0)
    with pytest.raises(KeyError):
        scribe.operated(2_000, "dor", True)
    with pytest.raises(KeyError, match="lmap"):
        scribe.expected(2_000, [("lmap", True)])


def test_every_step_is_written_as_it_is_read() -> None:
    lines = [
        "begin Wed 2026-11-25 22:45:30",
        "begin 12:00",
        "operate door",
        "release door",
        "tap bell",
        "tap bell for 1s500ms",
        "break stop",
        "short stop",
        "mend stop",
        "power off",
        "power off for 5s",
        "power on",
        "wait 1h30min",
        "until 22:00",
        "expect lamp and (sign or not kept)",
        "expect rings >= 2 within 2s",
        "expect steady not lamp for 5s",
        "set clock 2026-11-26 12:00",
        "set clock 12:00:05",
    ]
    program = program_of(PANEL + 'scenario "All"\n' + "\n".join(lines[:1] + lines[2:]))
    read = list(program.scenarios[-1].steps)
    assert {type(step) for step in read} >= {Begin, Expect, ExpectSteady, Until}
    assert [step_text(step) for step in read] == lines[:1] + lines[2:]
