"""Checking a file again after an edit, for an editor that checks at every keystroke.

Owns what is remembered between two checks of one file. Nothing of it may show: the outcome is that
of `check`, down to every span, so what is used again is only what depends on the words of one
statement and on what the names in it stand for.
"""

from __future__ import annotations

import gc
from typing import Any

from rungs.findings import Finding, has_errors, in_order
from rungs.language.parse import Parsed
from rungs.language.reparse import MOVES, Part, Rereader
from rungs.language.tree import Declaration, PropertyTree, RungTree, Statement
from rungs.program.build import Maker
from rungs.program.check import Checked
from rungs.program.declare import declare_device
from rungs.program.lint import lint
from rungs.program.nodes import (
    Circuit,
    Clock,
    Contact,
    Counter,
    Device,
    Expect,
    ExpectSteady,
    Holiday,
    Program,
    Property,
    Rung,
    Scenario,
    Supply,
    Timer,
    leaves,
)
from rungs.program.rules import Facts, Known, check_rules
from rungs.source import Source

_Logic = Rung | Property | Scenario
_DEVICES = frozenset(("input", "output", "relay", "timer", "counter", "clock"))
_NOT_DECLARED = "not declared for a fault"


class Rechecker:
    """Checks the texts of one file one after the other; each check costs what was edited.

    Remembers one text, the last that could be read at all, and is not for use by two threads.
    """

    def __init__(self) -> None:
        self._reader = Rereader()
        self._natures: dict[str, object] = {}
        self._turn = 0  # counts the changes of what names stand for
        self._changed: frozenset[str] = frozenset()  # the names of the last of these changes

    def check(self, source: Source) -> Checked:
        """Exactly what `check(source)` gives, whatever was checked before. Never raises for any
        text."""
        # as in `check`: what is made lives on, and collecting in between would only cost time
        collecting = gc.isenabled()
        gc.disable()
        try:
            return self._check(source)
        finally:
            if collecting:
                gc.enable()

    def _check(self, source: Source) -> Checked:
        parsed, parts = self._reader.read(source)
        program, findings, facts = self._build(parsed, parts, source)
        found = [*parsed.findings, *findings]
        if not has_errors(tuple(found)):
            found += check_rules(program, facts)
            if not has_errors(tuple(found)):
                found += lint(program, facts)
        ordered = in_order(found)
        return Checked(source, parsed.file, None if has_errors(ordered) else program, ordered)

    def _build(
        self, parsed: Parsed, parts: list[Part], source: Source
    ) -> tuple[Program, list[Finding], Facts]:
        maker = Maker(source, set(parsed.file.damaged))
        maker.declare([pair for part in parts for pair in _declarations(part)])
        self._compare(maker, parsed.file.damaged)
        rungs: list[Known] = []
        properties: list[Known] = []
        scenarios: list[Known] = []
        for part in parts:
            done: _Lowered = part.lowered
            if not done.logic:
                continue
            by = part.at - done.at
            for index in done.logic:
                kept = done.kept[index]
                if not isinstance(kept, _Kept) or not self._holds(kept):
                    kept = done.kept[index] = self._add(maker, part.statements[index])
                else:
                    kept.enter(maker, by)
                match kept.node:
                    case Rung():
                        rungs += kept.known
                    case Property():
                        properties += kept.known
                    case Scenario():
                        scenarios += kept.known
            done.at = part.at
        program = maker.program()
        return program, maker.findings, Facts(program, rungs, properties + scenarios)

    def _compare(self, maker: Maker, damaged: frozenset[str]) -> None:
        """Note for which names it has changed what they stand for."""
        natures = {name: _nature(thing) for name, thing in maker.named.items()}
        for name in damaged | maker.damaged:
            natures.setdefault(name, _NOT_DECLARED)
        if natures != self._natures:
            changed = natures.items() ^ self._natures.items()
            self._changed = frozenset(name for name, _ in changed)
            self._natures = natures
            self._turn += 1

    def _holds(self, kept: _Kept) -> bool:
        """Whether what was made of a statement is what would be made of it now."""
        if kept.turn == self._turn:
            return True
        if kept.turn == self._turn - 1 and self._changed.isdisjoint(kept.names):
            kept.turn = self._turn
            return True
        return False

    def _add(self, maker: Maker, statement: Statement) -> _Kept:
        told = len(maker.findings)
        edges = len(maker.edges)
        maker.add(statement)
        node: _Logic
        match statement:
            case RungTree():
                node = maker.rungs[-1]
            case PropertyTree():
                node = maker.properties[-1]
            case _:
                node = maker.scenarios[-1]
        # what has findings is made anew each time, with its findings; no turn is below 0
        turn = self._turn if len(maker.findings) == told else -2
        return _Kept(node, turn, edges, len(maker.edges) - edges)


class _Lowered:
    """What was made of the statements of one part: devices of declarations, and the logic."""

    __slots__ = ("at", "declared", "kept", "logic")

    def __init__(self, part: Part) -> None:
        self.at = part.at  # where the spans of `kept` belong
        self.kept: list[Any] = [None] * len(part.statements)  # Device, _Kept, or None
        numbered = list(enumerate(part.statements))
        self.declared = [i for i, s in numbered if isinstance(s, Declaration)]
        self.logic = [i for i, s in numbered if not isinstance(s, Declaration)]


class _Kept:
    """A rung, property or scenario as it was made last, with what it hangs on."""

    __slots__ = ("edges", "first_edge", "known", "names", "node", "turn")

    def __init__(self, node: _Logic, turn: int, first_edge: int, edges: int) -> None:
        self.node = node
        self.turn = turn
        self.first_edge = first_edge
        self.edges = edges
        self.known = [Known(circuit) for circuit in _circuits(node)]
        self.names = _names(node, self.known)

    def enter(self, maker: Maker, by: int) -> None:
        """Enter the node as the next of its kind, `by` characters further on than it stood."""
        node = self.node
        edges = len(maker.edges) - self.first_edge if self.edges else 0
        if by or edges:
            node = self.node = MOVES[type(node)](node, by, edges)
            self.first_edge += edges
            for known, circuit in zip(self.known, _circuits(node), strict=True):
                known.circuit = circuit
        match node:
            case Rung():
                number = len(maker.rungs) + 1
                if node.number != number:
                    node = Rung(number, node.label, node.circuit, node.actions, node.span)
                    self.node = node
                maker.rungs.append(node)
                if self.edges:
                    maker.edges += _edges(node.circuit)
            case Property():
                maker.properties.append(node)
            case Scenario():
                maker.scenarios.append(node)


def _declarations(part: Part) -> list[tuple[Declaration, Device | None]]:
    """The declarations of a part, with the devices of those that declare one without fault."""
    done: _Lowered | None = part.lowered
    if done is None:
        done = part.lowered = _Lowered(part)
    pairs: list[tuple[Declaration, Device | None]] = []
    by = part.at - done.at
    for index in done.declared:
        declaration = part.statements[index]
        assert isinstance(declaration, Declaration)
        device: Device | None = done.kept[index]
        if device is not None and by:
            device = done.kept[index] = MOVES[type(device)](device, by, 0)
        elif device is None and declaration.kind in _DEVICES:
            told: list[Finding] = []
            made = declare_device(declaration, told)
            if not told:
                device = done.kept[index] = made
        pairs.append((declaration, device))
    if not done.logic:
        done.at = part.at
    return pairs


def _nature(thing: Device | Supply | Holiday) -> object:
    """All of a named thing that a statement or the question of `worlds` depends on."""
    match thing:
        case Timer():
            return (Timer, thing.kind)
        case Counter():
            return (Counter, thing.preset)
        case Clock():
            return (Clock, thing.begin == thing.end)
    return type(thing)


def _circuits(node: _Logic) -> list[Circuit]:
    match node:
        case Rung():
            return [node.circuit]
        case Property():
            return [node.circuit] if node.when is None else [node.when, node.circuit]
        case Scenario():
            return [s.circuit for s in node.steps if isinstance(s, Expect | ExpectSteady)]


def _names(node: _Logic, known: list[Known]) -> frozenset[str]:
    """Every name that stands in a statement."""
    names = {name for one in known for name in one.reads}
    match node:
        case Rung():
            names.update(action.name for action in node.actions)
        case Scenario():
            names.update(getattr(step, "name", "") for step in node.steps)
    return frozenset(names)


def _edges(circuit: Circuit) -> list[Contact]:
    """The contacts of a rung that have a memory, in the order of their numbers."""
    return [leaf for leaf in leaves(circuit) if isinstance(leaf, Contact) and leaf.memory >= 0]
