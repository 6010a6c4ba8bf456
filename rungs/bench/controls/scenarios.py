"""Scenarios: keeping what the hands do as one, and playing one on the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rungs.bench.controls.base import Command, Control, counted
from rungs.bench.dialogs import Choice, Tick
from rungs.bench.session.trial import Trial
from rungs.findings import Finding
from rungs.program.ask import circuit_of
from rungs.program.nodes import Expect, ExpectSteady, Input, Scenario
from rungs.report.scenarios import seen_text
from rungs.scan.recorder import TAP_ENDS, Act
from rungs.scan.scenario import StepResult
from rungs.scan.scribe import Scribe

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp

GONE_BACK = "the scenario was dropped: it had gone beyond the moment you went back to"


class Scenarios(Control):
    """Owns the scribe while a scenario is kept, and the trial while one is played."""

    def __init__(self, app: BenchApp) -> None:
        super().__init__(app)
        self.scribe: Scribe | None = None
        self.trial: Trial | None = None
        self._expected: dict[str, bool] = {}

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        return {
            "scenario.record": self.record,
            "scenario.play": self.play,
            "scenario.rest": self.rest,
            "scenario.end": self.end,
        }

    # --- keeping

    def record(self) -> None:
        """Begin to keep what the hands do; while it is kept, ask what is to become of it."""
        if self.app.stopped_by_trial():
            return
        if self.scribe is None:
            self.in_present(self._begin)
            return
        choices = [
            Choice("e", "expect: the devices as they stand now", "expect"),
            Choice("c", "expect a circuit of my own", "circuit"),
            Choice("w", "write it into the file", "write"),
            Choice("d", "drop it", "drop"),
        ]
        self.choose("What the hands do is kept as a scenario.", choices, self._answered)

    def _begin(self) -> None:
        session = self.app.session
        self.scribe = Scribe.midway(session.panel, session.moment().taps)
        self._expected = {}
        session.recorder.hearers.append(self._hear)
        self.app.kept_of = session.recorder
        warning = self._warning()
        self.say(f"what the hands do is kept now; k: expect, write, or drop it{warning}", True)

    def _warning(self) -> str:
        """What of the panel a scenario cannot begin with, so that one can begin anew instead."""
        assert self.scribe is not None
        notes = len(self.scribe.written("beginning").notes)
        if not notes:
            return ""
        what = "1 thing stands" if notes == 1 else f"{notes} things stand"
        return f" - {what} as no scenario can begin: d there, then a, begins afresh"

    def _hear(self, act: Act) -> None:
        scribe = self.scribe
        if scribe is None or act.tap == TAP_ENDS:
            return
        try:
            match act.deed:
                case "operate" if act.tap > 0:
                    scribe.tapped(act.t, act.name, act.tap)
                case "operate":
                    scribe.operated(act.t, act.name, act.value is True)
                case "fault":
                    assert act.value in ("sound", "broken", "shorted")
                    scribe.fault(act.t, act.name, act.value)
                case "power":
                    scribe.power(act.t, act.value is True)
                case "clock":
                    assert isinstance(act.value, int)
                    scribe.set_clock(act.t, act.value)
                case "force":
                    closed = None if act.value is None else act.value is True
                    scribe.forced(act.t, act.name, closed)
        except ValueError:
            # another future began at a moment that is kept already
            self.stop(GONE_BACK)

    def stop(self, why: str) -> None:
        """Keep no more."""
        if self.scribe is not None:
            self.scribe = None
            hearers = self.app.session.recorder.hearers
            if self._hear in hearers:
                hearers.remove(self._hear)
            self.say(why, True)

    def _answered(self, what: str) -> None:
        match what:
            case "expect" | "circuit" if self.app.session.in_past:
                self.say("this moment is past: l shows the latest, which can be expected", True)
            case "expect":
                self._ask_devices()
            case "circuit":
                self._ask_circuit()
            case "write":
                self._ask_label()
            case _:
                self.stop("the scenario was dropped")

    def _ask_devices(self) -> None:
        session = self.app.session
        contacts = session.panel.state.contacts
        shown = {
            d.name: contacts[d.name] for d in session.program.devices if not isinstance(d, Input)
        }
        items = [(name, f"{name if on else 'not ' + name}") for name, on in shown.items()]
        moved = [name for name, on in shown.items() if self._expected.get(name, False) != on]

        def answered(names: tuple[str, ...] | None) -> None:
            if names and self.scribe is not None:
                wanted = [(name, shown[name]) for name in names]
                self._expect(wanted)

        self.app.push_screen(
            Tick("Expect which of them, as they stand now?", items, moved, self.app.signs),
            answered,
        )

    def _expect(self, wanted: str | list[tuple[str, bool]]) -> None:
        assert self.scribe is not None
        session = self.app.session
        self._expected = dict(session.panel.state.contacts)
        try:
            held = self.scribe.expected(session.panel.now, wanted)
        except ValueError:
            self.stop(GONE_BACK)
            return
        if held:
            self.say("expected; the scenario shows the same when it is played")
        else:
            self.say("not all of it holds when the scenario is played: that is left out", True)

    def _ask_circuit(self) -> None:
        program = self.app.session.program

        def check(text: str) -> str | None:
            circuit = circuit_of(program, text)
            return f"{circuit.message}; {circuit.fix}" if isinstance(circuit, Finding) else None

        self.fill_in("Expect which circuit to be closed now?", self._expect, check=check)

    def _ask_label(self) -> None:
        self.fill_in(
            "The name of the scenario",
            self._write,
            value="As tried on the bench",
            check=lambda text: None if text.strip() else "write a name",
        )

    def _write(self, label: str) -> None:
        scribe = self.scribe
        if scribe is None:
            return
        written = scribe.written(label.strip())
        span = self.app.work.append(written.text)
        self.stop("")
        self.app.text_changed(None)
        if self.app.text_open:
            self.app.bench.text.go_to(span)
        program = self.app.work.program
        if program is not None and self.app.only_scenarios_differ():
            self.app.session.program_with_scenarios(program)
            self.app.run_changed()
        if written.notes:
            notes = "\n".join(f"- {note}" for note in written.notes)
            head = f'Scenario "{written.label}" stands at the end of the file.'
            self.read(f"{head} It differs from what was done:\n\n{notes}")
        expects = any(isinstance(step, Expect | ExpectSteady) for step in scribe.steps)
        bare = "" if expects else "; it expects nothing yet"
        self.say(f'scenario "{written.label}" written{bare}; F2 saves, v plays it', True)

    # --- playing

    def play(self) -> None:
        """Choose a scenario and begin it; while one is played, its next step."""
        if self.trial is not None:
            self._step()
            return
        if self.scribe is not None:
            self.say("a scenario is being kept: k writes it or drops it, then v plays one", True)
            return
        self.app.typed()
        self.app.work.recheck()
        program = self.app.work.program
        if self.app.pending and program is not None and not self.app.only_scenarios_differ():
            self.say("the panel has another program: F4 takes the edited one in first", True)
            return
        if program is not None and self.app.only_scenarios_differ():
            self.app.session.program_with_scenarios(program)
            self.app.run_changed()
        scenarios = self.app.session.program.scenarios
        if not scenarios:
            self.say("the file has no scenarios; k keeps what the hands do as one")
            return
        letters = "abcdefghijklmnoprstuvwxyz"
        choices = [
            Choice(letters[number] if number < len(letters) else "", scenario.label, number)
            for number, scenario in enumerate(scenarios)
        ]

        def begin(number: int) -> None:
            self._start(scenarios[number])

        self.choose("Play which scenario? It begins with a new panel.", choices, begin)

    def _start(self, scenario: Scenario) -> None:
        self.trial = Trial(self.app.session, scenario)
        self.app.run_changed()
        steps = len(scenario.steps)
        self.say(f'"{scenario.label}", {steps} steps: v plays the next, V all, esc ends it', True)

    def _step(self) -> None:
        trial = self.trial
        assert trial is not None
        broken = len(trial.broken)
        result = trial.step()
        if result is not None:
            self._tell(trial, result, broken)
        if trial.over:
            self._end(trial)

    def rest(self) -> None:
        """Play on to the end, or to the first step that fails."""
        trial = self.trial
        if trial is None:
            self.play()
            return
        broken = len(trial.broken)
        trial.rest()
        if trial.steps:
            self._tell(trial, trial.steps[-1], broken)
        if trial.over:
            self._end(trial)

    def _tell(self, trial: Trial, result: StepResult, broken: int) -> None:
        app = self.app
        place = app.session.program.source.position(result.step.span.start)
        count = f"{len(trial.steps)} of {len(trial.scenario.steps)}"
        words = {None: "", True: ": holds", False: ": FAILS"}[result.passed]
        seen = "; ".join(seen_text(each) for each in result.seen)
        more = f" - {seen}" if result.passed is False else ""
        for each in trial.broken[broken:]:
            more += f' - BROKEN: "{each.property.label}"'
        app.say(f"line {place.line}, step {count}: {result.text}{words}{more}", True)
        if app.text_open:
            app.bench.text.go_to(result.step.span)

    def _end(self, trial: Trial) -> None:
        self.trial = None
        word = "fails" if trial.failed else "passes"
        self.say(f'scenario "{trial.scenario.label}" is over: it {word}. {self.app.message}', True)

    def end(self) -> None:
        """Leave a scenario that is under way; the panel stays as it stands."""
        if self.trial is not None:
            label, steps = self.trial.scenario.label, counted(len(self.trial.steps), "step")
            self.say(f'scenario "{label}" left after {steps}; the panel stands as it left it', True)
            self.trial = None
