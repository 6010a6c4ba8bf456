"""What changed from one state of a panel to the next: statement by statement, and on the relays.

The two programs are put into one panel that shares inputs and clocks, and the prover is asked for a
run on which a relay of one differs from its twin in the other; so a change that alters nothing is
told apart from one that does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import Literal

from rungs.core.lower import LowerError
from rungs.core.nodes import PERIOD
from rungs.language.format import format_file
from rungs.language.parse import parse
from rungs.language.tree import Declaration, File, PropertyTree, RungTree, ScenarioTree, Statement
from rungs.program.nodes import (
    Action,
    Circuit,
    Clock,
    Compare,
    Contact,
    Device,
    Holiday,
    Input,
    Parallel,
    Program,
    Property,
    Rung,
    Series,
)
from rungs.prove.budget import Budget
from rungs.prove.reach import Found, Never, Prover
from rungs.prove.witness import Witness
from rungs.source import Source

BEFORE = "before: "  # begins the name of what the earlier program has for itself


@dataclass(frozen=True, slots=True)
class Effect:
    """What a change does to one output that both programs have: `comes_on` or `goes_off` where the
    earlier one would not, after a run; the `same`, proved; or not `known`."""

    output: str
    verdict: Literal["comes_on", "goes_off", "same", "not known"]
    witness: Witness | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Changes:
    """`told` says each changed statement in words; `effects` what that does to each output. `panel`
    is the program in which the runs of the effects can be told."""

    told: tuple[str, ...]
    effects: tuple[Effect, ...] = ()
    panel: Program | None = None


def changes(before: Program, now: Program, budget: Budget, period: int = PERIOD) -> Changes:
    """What is different in `now`; the effects as far as the budget goes."""
    told = tuple(statement_changes(before.source, now.source))
    if not told:
        return Changes(())
    panel = both(before, now)
    names = [o.name for o in now.outputs if o.name in {other.name for other in before.outputs}]
    items = [item for name in names for item in _questions(name)]
    try:
        prover = Prover(panel, items, period)
    except LowerError as error:
        unknown = [Effect(name, "not known", reason=str(error)) for name in names]
        return Changes(told, tuple(unknown), panel)
    effects: list[Effect] = []
    for place, name in enumerate(names):
        share = budget.part(_left(budget) / (len(names) - place))
        effects += _effects(prover, place, name, share)
    return Changes(told, tuple(effects), panel)


def _left(budget: Budget) -> float:
    return budget.part(1e9).seconds or 0.0


def _questions(name: str) -> tuple[Property, Property]:
    """That an output is on where its twin of before is off, and the other way round."""
    mine, old = Contact("closed", name), Contact("closed", BEFORE + name)
    return (
        Property("never", name, Series((mine, replace(old, negated=True)))),
        Property("never", name, Series((replace(mine, negated=True), old))),
    )


def _effects(prover: Prover, place: int, name: str, budget: Budget) -> Iterator[Effect]:
    answers = [prover.answer(2 * place + n, budget.part(_left(budget) / (2 - n))) for n in (0, 1)]
    found = False
    words: tuple[Literal["comes_on", "goes_off"], ...] = ("comes_on", "goes_off")
    for word, answer in zip(words, answers, strict=True):
        if isinstance(answer, Found):
            found = True
            yield Effect(name, word, answer.witness)
    unsure = [answer for answer in answers if not isinstance(answer, Found | Never)]
    if not found:
        if unsure:
            yield Effect(name, "not known", reason=unsure[0].reason)
        else:
            yield Effect(name, "same")


# --- both programs in one panel -----------------------------------------------------------------


def both(before: Program, now: Program) -> Program:
    """One panel with the rungs of both programs: inputs are shared by name, clocks where they are
    the same, and everything else of the earlier one has a name of its own."""
    mine = now.by_name
    names: dict[str, str] = {}
    added: list[Device] = []
    for device in before.devices:
        twin = mine.get(device.name)
        shared = isinstance(device, Input) and isinstance(twin, Input)
        if isinstance(device, Clock) and isinstance(twin, Clock):
            shared = replace(device, label=twin.label) == twin and before.site == now.site
        names[device.name] = device.name if shared else BEFORE + device.name
        if not shared:
            added.append(replace(device, name=names[device.name]))
    shift = len(now.edges)
    rungs = [
        Rung(
            len(now.rungs) + rung.number,
            rung.label,
            _renamed(rung.circuit, names, shift),
            tuple(Action(action.verb, names[action.name]) for action in rung.actions),
        )
        for rung in before.rungs
    ]
    old_edges = [_contact(edge, names, shift) for edge in before.edges]
    return replace(
        now,
        devices=(*now.devices, *added),
        rungs=(*now.rungs, *rungs),
        edges=(*now.edges, *old_edges),
        holidays=_joined(now.holidays, before.holidays),
        scenarios=(),
    )


def _joined(now: Sequence[Holiday], before: Sequence[Holiday]) -> tuple[Holiday, ...]:
    named = {holiday.name for holiday in now}
    return (*now, *(holiday for holiday in before if holiday.name not in named))


def _renamed(circuit: Circuit, names: dict[str, str], shift: int) -> Circuit:
    match circuit:
        case Series() | Parallel():
            parts = tuple(_renamed(part, names, shift) for part in circuit.parts)
            return replace(circuit, parts=parts)
        case Compare():
            return replace(circuit, name=names[circuit.name])
        case Contact():
            return _contact(circuit, names, shift)


def _contact(contact: Contact, names: dict[str, str], shift: int) -> Contact:
    memory = contact.memory + shift if contact.memory >= 0 else -1
    return replace(contact, name=names.get(contact.name, ""), memory=memory)


# --- statement by statement ---------------------------------------------------------------------


def statement_changes(before: Source, now: Source) -> Iterator[str]:
    """Each statement that was added, taken out, changed or moved, in the order of the new text.

    Comments, blanks and the layout count for nothing.
    """
    old, new = _statements(before), _statements(now)
    yield from _named(old, new)
    olds = [text for key, text in old if key.startswith("rung ")]
    news = [text for key, text in new if key.startswith("rung ")]
    yield from _rungs(olds, news)


def _statements(source: Source) -> list[tuple[str, str]]:
    """(what a statement is, its canonical text on one line) for each statement."""
    found = []
    for statement in sorted(parse(source).file.statements, key=lambda s: s.span.start):
        text = " ".join(format_file(File((statement,)), source).split())
        found.append((_key(statement, text), text))
    return found


def _key(statement: Statement, text: str) -> str:
    match statement:
        case Declaration():
            return statement.kind if statement.name is None else statement.name.text.casefold()
        case RungTree():
            return f"rung {text}"
        case PropertyTree() | ScenarioTree():
            kind = "scenario" if isinstance(statement, ScenarioTree) else "property"
            return f"{kind} {text if statement.label is None else statement.label.text}"


def _named(old: list[tuple[str, str]], new: list[tuple[str, str]]) -> Iterator[str]:
    before = {key: text for key, text in old if not key.startswith("rung ")}
    after = {key: text for key, text in new if not key.startswith("rung ")}
    for key, text in after.items():
        if key not in before:
            yield f"added: {text}"
        elif before[key] != text:
            yield f"changed: “{before[key]}” is now “{text}”"
    for key, text in before.items():
        if key not in after:
            yield f"taken out: {text}"


def _rungs(old: list[str], new: list[str]) -> Iterator[str]:
    gone: list[tuple[int, str]] = []
    come: list[tuple[int, str]] = []
    pairs: list[tuple[int, str, int, str]] = []
    for how, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if how == "equal":
            continue
        same = min(b - a, d - c) if how == "replace" else 0
        pairs += [(a + n + 1, old[a + n], c + n + 1, new[c + n]) for n in range(same)]
        gone += [(n + 1, old[n]) for n in range(a + same, b)]
        come += [(n + 1, new[n]) for n in range(c + same, d)]
    for was, before, number, text in pairs:
        place = f"rung {number}" if was == number else f"rung {number} (was {was})"
        yield f"{place} changed: “{before}” is now “{text}”"
    for number, text in come:
        from_place = next((n for n, other in gone if other == text), None)
        if from_place is None:
            yield f"rung {number} added: {text}"
        else:
            gone.remove((from_place, text))
            yield f"rung {from_place} moved to place {number}: {text}"
    for number, text in gone:
        yield f"rung {number} taken out: {text}"
