"""Tree to program: names, kinds and the rules that a program must keep to run at all.

Nothing here guesses: a program is handed on only if there is no error, since a rung that was left
out or a name that was repaired in silence would be a wrong panel.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from typing import Literal, assert_never

from rungs.findings import Finding
from rungs.language.tree import (
    ActionTree,
    CircuitTree,
    Comparison,
    Declaration,
    Edge,
    Field,
    File,
    FirstScan,
    Negation,
    ParallelTree,
    Plain,
    PropertyTree,
    RungTree,
    ScenarioTree,
    SeriesTree,
    Statement,
    StepTree,
    Word,
)
from rungs.language.words import WEEKDAYS
from rungs.program import values
from rungs.program.declare import (
    declare_design,
    declare_device,
    declare_holiday,
    declare_site,
    declare_supply,
)
from rungs.program.nodes import (
    MAX_COUNT,
    Action,
    Begin,
    Circuit,
    Clock,
    Compare,
    CompareOp,
    Contact,
    ContactKind,
    Counter,
    Design,
    Device,
    Expect,
    ExpectSteady,
    Fault,
    Holiday,
    Input,
    Operate,
    Output,
    Parallel,
    Power,
    Program,
    Property,
    Relay,
    Rung,
    Scenario,
    Series,
    SetClock,
    Site,
    Step,
    Supply,
    Tap,
    Timer,
    Until,
    Verb,
    Wait,
)
from rungs.source import Source, Span

MAX_DEVICES = 10_000
MAX_NAME = 60
TAP_MS = 200

Place = Literal["rung", "property", "scenario"]

_OPPOSITE: dict[str, CompareOp] = {
    ">=": "<",
    ">": "<=",
    "<=": ">",
    "<": ">=",
    "==": "!=",
    "!=": "==",
}
_KIND_WORDS = {
    Input: "an input",
    Output: "an output",
    Relay: "a relay",
    Timer: "a timer",
    Counter: "a counter",
    Clock: "a clock",
    Supply: "a supply",
    Holiday: "a holiday",
}


def build(file: File, source: Source) -> tuple[Program, tuple[Finding, ...]]:
    """The program that a tree describes, and what is wrong with it.

    The program may be used only if none of the findings is an error.
    """
    maker = Maker(source, set(file.damaged))
    maker.declare([(s, None) for s in file.statements if isinstance(s, Declaration)])
    for statement in file.statements:
        maker.add(statement)
    return maker.program(), tuple(maker.findings)


@dataclass(slots=True)
class Maker:
    """A program in the making: first every declaration, then the other statements in file order."""

    source: Source
    damaged: set[str]
    findings: list[Finding] = field(default_factory=list)
    title: str = ""
    site: Site | None = None
    design: Design | None = None
    named: dict[str, Device | Supply | Holiday] = field(default_factory=dict)
    places: dict[str, Word] = field(default_factory=dict)
    holidays: list[Holiday] = field(default_factory=list)
    rungs: list[Rung] = field(default_factory=list)
    properties: list[Property] = field(default_factory=list)
    scenarios: list[Scenario] = field(default_factory=list)
    edges: list[Contact] = field(default_factory=list)

    # the advice on names that nothing has; a search through all names for each
    guesses: dict[str, str] = field(default_factory=dict)

    def add(self, statement: Statement) -> None:
        """Enter a statement; declarations have been entered before all others."""
        match statement:
            case RungTree():
                self.add_rung(statement)
            case PropertyTree():
                self.add_property(statement)
            case ScenarioTree():
                self.add_scenario(statement)
            case Declaration():
                pass
            case _:
                assert_never(statement)

    def report(
        self,
        code: str,
        message: str,
        span: Span,
        effect: str = "",
        fix: str = "",
        related: tuple[tuple[Span, str], ...] = (),
    ) -> None:
        """Note a finding."""
        self.findings.append(Finding(code, message, span, effect, fix, related))

    # --- declarations

    def declare(self, declarations: list[tuple[Declaration, Device | None]]) -> None:
        """Enter all declarations, each with its device where that is known to be without fault."""
        once: dict[str, Declaration] = {}
        for declaration, known in declarations:
            if known is not None:
                self._name(declaration, known)
                continue
            kind = declaration.kind
            if kind in ("title", "site", "design"):
                if kind in once:
                    self._second_head(declaration, once[kind])
                    continue
                once[kind] = declaration
            match kind:
                case "title":
                    self.title = str(getattr(declaration.options[0].values[0], "text", ""))
                case "site":
                    self.site = declare_site(declaration, self.findings)
                case "design":
                    self.design = declare_design(declaration, self.findings)
                case "supply":
                    self._name(declaration, declare_supply(declaration, self.findings))
                case "holiday":
                    holiday = declare_holiday(declaration, self.findings)
                    if holiday is not None and self._name(declaration, holiday):
                        self.holidays.append(holiday)
                case "input" | "output" | "relay" | "timer" | "counter" | "clock":
                    self._name(declaration, declare_device(declaration, self.findings))
                case _:
                    assert_never(kind)
        if len(self.named) > MAX_DEVICES:
            self.report(
                "too-many",
                f"the file declares {len(self.named):,} names, and {MAX_DEVICES:,} is the limit",
                list(self.places.values())[MAX_DEVICES].span,
                "no panel is that large",
                "split the installation into one file a panel",
            )
        self._check_confusable()

    def _second_head(self, declaration: Declaration, first: Declaration) -> None:
        self.report(
            "doubled-option",
            f"the {declaration.kind} is given twice",
            declaration.span,
            "which of the two counts would be a guess",
            "keep one",
            ((first.span, "the first one"),),
        )

    def _name(self, declaration: Declaration, thing: Device | Supply | Holiday) -> bool:
        """Enter a thing under its name; False if the name is taken or unfit."""
        word = declaration.name
        assert word is not None
        if len(word.text) > MAX_NAME:
            self.report(
                "name-length",
                f"the name has {len(word.text)} characters, and {MAX_NAME} is the limit",
                word.span,
                "it fits no screen and no sheet",
                "shorten it and put the wording into the label",
            )
            self.damaged.add(word.text)
            return False
        taken = self.places.get(word.text.casefold())
        if taken is not None:
            same = taken.text == word.text
            self.report(
                "doubled-name" if same else "lookalike-name",
                f"'{word.text}' is declared twice"
                if same
                else f"'{word.text}' and '{taken.text}' differ only in capital letters",
                word.span,
                "no rung could tell the two apart" if same else "people would read them as one",
                "give one of them another name",
                ((taken.span, "declared here first"),),
            )
            self.damaged.add(word.text)
            return False
        self.places[word.text.casefold()] = word
        self.named[word.text] = thing
        return True

    def _check_confusable(self) -> None:
        seen: dict[str, Word] = {}
        alike = str.maketrans({"0": "O", "o": "O", "1": "l", "I": "l"})
        for word in self.places.values():
            first = seen.setdefault(word.text.translate(alike), word)
            if first is not word:
                self.report(
                    "confusable-names",
                    f"'{word.text}' and '{first.text}' look alike",
                    word.span,
                    "they are easily taken for each other on a terminal strip",
                    "give one of them another name",
                    ((first.span, "the other one"),),
                )

    # --- circuits

    def _device(self, word: Word) -> Device | None:
        """The device that a word names; None, with a finding, if there is none."""
        thing = self.named.get(word.text)
        if thing is None:
            if word.text not in self.damaged:
                self._unknown(word)
            return None
        if isinstance(thing, Supply | Holiday):
            self.report(
                "wrong-kind",
                f"'{word.text}' is {_KIND_WORDS[type(thing)]} and has no contact or coil",
                word.span,
                "there is nothing to read or drive",
                "name an input, output, relay, timer, counter or clock",
            )
            return None
        return thing

    def _unknown(self, word: Word) -> None:
        fix = self.guesses.get(word.text)
        if fix is None:
            devices = [n for n, t in self.named.items() if not isinstance(t, Supply | Holiday)]
            folded = {name.casefold(): name for name in devices}
            close = get_close_matches(word.text.casefold(), list(folded), n=1, cutoff=0.6)
            found = f"did you mean '{folded[close[0]]}'?" if close else ""
            fix = self.guesses[word.text] = found or "declare it, or correct the name"
        self.report(
            "unknown-name",
            f"'{word.text}' is not declared",
            word.span,
            "nothing on the panel has this name",
            fix,
        )

    def circuit(self, tree: CircuitTree, place: Place, negated: bool = False) -> Circuit:
        """The circuit of a tree; a negation is carried down to the contacts (De Morgan)."""
        match tree:
            case Negation():
                return self.circuit(tree.part, place, not negated)
            case SeriesTree() | ParallelTree():
                parts = [self.circuit(part, place, negated) for part in tree.parts]
                if isinstance(tree, SeriesTree) != negated:
                    return Series(_flat(parts, Series), tree.span)
                return Parallel(_flat(parts, Parallel), tree.span)
            case Plain():
                self._device(tree.name)
                return Contact("closed", tree.name.text, negated, -1, tree.span)
            case FirstScan():
                return Contact("first_scan", "", negated, -1, tree.span)
            case Edge():
                return self._edge(tree, place, negated)
            case Field():
                return self._field(tree, place, negated)
            case Comparison():
                self._require_kind(tree.name, (Counter,), "has no count to compare", "a counter")
                number = values.read_count(tree.number, 0, MAX_COUNT)
                if isinstance(number, Finding):
                    self.findings.append(number)
                    number = 0
                op: CompareOp = tree.op.text  # type: ignore[assignment]  # by the grammar
                return Compare(tree.name.text, _OPPOSITE[op] if negated else op, number, tree.span)
            case _:
                assert_never(tree)

    def _edge(self, tree: Edge, place: Place, negated: bool) -> Contact:
        kind: ContactKind = tree.word.text  # type: ignore[assignment]  # by the grammar
        if kind in ("broken", "shorted"):
            self._only_outside(f"'{kind}'", tree.span, place)
            self._require_kind(tree.name, (Input,), f"has no wire that can be {kind}", "an input")
            return Contact(kind, tree.name.text, negated, -1, tree.span)
        self._device(tree.name)
        memory = len(self.edges) if place == "rung" else -1
        contact = Contact(kind, tree.name.text, negated, memory, tree.span)
        if place == "rung":
            self.edges.append(contact)
        return contact

    def _field(self, tree: Field, place: Place, negated: bool) -> Contact:
        kind: ContactKind = "closed"
        if tree.which.text == "timing":
            kind = "timing"
            self._require_kind(tree.name, (Timer,), "is never timing", "a timer")
        elif tree.which.text == "load":
            kind = "load"
            self._only_outside("'.load'", tree.span, place)
            self._require_kind(tree.name, (Output,), "has no load", "an output")
        else:
            self.report(
                "syntax",
                f"there is no contact '.{tree.which.text}'",
                tree.which.span,
                "there is nothing to read",
                "write NAME.timing of a timer, or NAME.load of an output",
            )
        return Contact(kind, tree.name.text, negated, -1, tree.span)

    def _only_outside(self, what: str, span: Span, place: Place) -> None:
        if place == "rung":
            self.report(
                "not-here",
                f"{what} stands in a rung",
                span,
                "the program sees open and closed circuits and cannot know this",
                "use it in never, always, require, assume or expect",
            )

    def _require_kind(
        self, word: Word, kinds: tuple[type, ...], lacks: str, wants: str
    ) -> Device | None:
        device = self._device(word)
        if device is not None and not isinstance(device, kinds):
            self.report(
                "wrong-kind",
                f"'{word.text}' is {_KIND_WORDS[type(device)]} and {lacks}",
                word.span,
                "there is nothing to look at or to move",
                f"name {wants}",
            )
            return None
        return device

    # --- rungs, properties, scenarios

    def add_rung(self, tree: RungTree) -> None:
        """Enter the next rung, and its edge contacts."""
        circuit = self.circuit(tree.circuit, "rung")
        actions = tuple(self._action(action) for action in tree.actions)
        label = tree.label.text if tree.label else ""
        self.rungs.append(Rung(len(self.rungs) + 1, label, circuit, actions, tree.span))

    def _action(self, tree: ActionTree) -> Action:
        verb: Verb = tree.verb.text if tree.verb else "coil"  # type: ignore[assignment]
        device = self._device(tree.name)
        name = tree.name.text
        if isinstance(device, Input | Clock):
            mover = "its switch" if isinstance(device, Input) else "the time"
            self.report(
                "driven-input",
                f"'{name}' is {_KIND_WORDS[type(device)]} and is moved by {mover} alone",
                tree.span,
                "the rung could do nothing",
                "drive an output or a relay",
            )
        elif device is not None:
            allowed: tuple[type, ...]
            match verb:
                case "coil":
                    allowed, wants = (Output, Relay, Timer, Counter), ""
                case "latch" | "unlatch" | "impulse":
                    allowed, wants = (Output, Relay), "an output or a relay"
                case "down":
                    allowed, wants = (Counter,), "a counter"
                case "reset":
                    allowed, wants = (Counter, Timer), "a counter or an accumulating timer"
                case _:
                    assert_never(verb)
            plain_timer = (
                verb == "reset" and isinstance(device, Timer) and device.kind != "accumulating"
            )
            if not isinstance(device, allowed) or plain_timer:
                kind = f"an {device.kind}" if plain_timer and isinstance(device, Timer) else ""
                what = f"{kind} timer" if kind else _KIND_WORDS[type(device)]
                self.report(
                    "wrong-kind",
                    f"'{name}' is {what} and takes no '{verb}'",
                    tree.span,
                    "the action would do nothing",
                    f"name {wants}",
                )
        return Action(verb, name, tree.span)

    def add_property(self, tree: PropertyTree) -> None:
        """Enter a property; without a label it is called by its own text."""
        when = None if tree.when is None else self.circuit(tree.when, "property")
        circuit = self.circuit(tree.circuit, "property")
        within = self._duration(tree.within) if tree.within else 0
        text = " ".join(self.source.text[tree.span.start : tree.span.end].split())
        label = tree.label.text if tree.label and tree.label.text.strip() else text
        self.properties.append(Property(tree.kind, label, circuit, when, within, tree.span))

    def _duration(self, word: Word) -> int:
        got = values.read_duration(word)
        if isinstance(got, Finding):
            self.findings.append(got)
            return 0
        return got

    def _time(self, word: Word | None) -> int:
        assert word is not None
        got = values.read_time(word)
        if isinstance(got, Finding):
            self.findings.append(got)
            return 0
        return got

    def add_scenario(self, tree: ScenarioTree) -> None:
        """Enter a scenario with its steps."""
        steps = []
        for index, step in enumerate(tree.steps):
            if step.verb == "begin" and index > 0:
                self.report(
                    "begin-first",
                    "'begin' is not the first step",
                    step.span,
                    "the run has already begun",
                    "begin another scenario, or use 'power off', 'power on' or 'set clock'",
                )
            steps.append(self._step(step))
        self.scenarios.append(Scenario(tree.label.text, tuple(steps), tree.span))

    def _step(self, tree: StepTree) -> Step:
        ms = self._duration(tree.duration) if tree.duration else None
        span = tree.span
        circuit = self.circuit(tree.circuit, "scenario") if tree.circuit else None
        name = ""
        if tree.name is not None:
            name = tree.name.text
            self._require_kind(tree.name, (Input,), "has no switch to move", "an input")
        match tree.verb:
            case "begin":
                return self._begin(tree)
            case "operate" | "release":
                return Operate(name, tree.verb == "operate", span)
            case "tap":
                return Tap(name, ms or TAP_MS, span)
            case "break":
                return Fault(name, "broken", span)
            case "short":
                return Fault(name, "shorted", span)
            case "mend":
                return Fault(name, "sound", span)
            case "power off" | "power on":
                return Power(tree.verb == "power on", ms, span)
            case "wait":
                return Wait(ms or 0, span)
            case "until":
                return Until(self._time(tree.time), span)
            case "set clock":
                return SetClock(self._time(tree.time), self._date(tree.date), span)
            case "expect":
                assert circuit is not None
                return Expect(circuit, ms or 0, span)
            case "expect steady":
                assert circuit is not None
                return ExpectSteady(circuit, ms or 0, span)
            case _:
                assert_never(tree.verb)

    def _date(self, word: Word | None) -> date | None:
        if word is None:
            return None
        got = values.read_date(word)
        if isinstance(got, Finding):
            self.findings.append(got)
            return None
        return got

    def _begin(self, tree: StepTree) -> Begin:
        day = self._date(tree.date)
        weekday = None
        if tree.day is not None:
            got = values.read_weekday(tree.day)
            if isinstance(got, Finding):
                self.findings.append(got)
            else:
                weekday = got
        if day is not None and weekday is not None and day.weekday() != weekday:
            self.report(
                "day-and-date",
                f"{day} is a {WEEKDAYS[day.weekday()]}, not a {WEEKDAYS[weekday]}",
                tree.day.span if tree.day else tree.span,
                "the clocks would run another day's program than the scenario says",
                f"write {WEEKDAYS[day.weekday()]}, or correct the date",
            )
        return Begin(self._time(tree.time), day, weekday, tree.span)

    # --- the whole

    def program(self) -> Program:
        """The program of what was entered; it may be used if there is no error."""
        things = self.named.values()
        return Program(
            self.title,
            self.site or Site(),
            tuple(t for t in things if isinstance(t, Supply)),
            tuple(t for t in things if not isinstance(t, Supply | Holiday)),
            tuple(self.holidays),
            tuple(self.rungs),
            tuple(self.properties),
            tuple(self.scenarios),
            tuple(self.edges),
            self.source,
            self.design or Design(),
        )


def _flat(parts: list[Circuit], kind: type[Series] | type[Parallel]) -> tuple[Circuit, ...]:
    """Parts with those of the same kind opened up; De Morgan can bring them together."""
    flat: list[Circuit] = []
    for part in parts:
        flat += part.parts if isinstance(part, kind) else (part,)
    return tuple(flat)
