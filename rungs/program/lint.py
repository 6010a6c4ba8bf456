"""What can be said of a program without running it: warnings and notes.

Each check is one function from the facts of a program to findings, so that adding one touches
nothing else.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from rungs.findings import Finding
from rungs.program.nodes import (
    Clock,
    Contact,
    Counter,
    Input,
    Output,
    Program,
    Relay,
    Rung,
    Timer,
    leaves,
)
from rungs.program.rules import Facts, Known

_STOP_NAME = re.compile(
    r"(?:^|_|(?<=[a-z]))(?:[sS]top|STOP|[eE]_?[sS]top|[hH]alt|[eE]mergency|[mM]ushroom)(?=_|[0-9A-Z]|$)"
)
_STOP_LABEL = re.compile(
    r"^stops?\b|\b(?:emergency (?:stop|button|switch)|e-stop|stop (?:button|switch|device))\b",
    re.IGNORECASE,
)


def lint(program: Program, facts: Facts | None = None) -> tuple[Finding, ...]:
    """Every warning and note about a program that has no errors."""
    facts = facts or Facts(program)
    return tuple([finding for check in CHECKS for finding in check(facts)])


def _never_read(facts: Facts) -> Iterator[Finding]:
    read, driven = facts.read, facts.driven
    for device in facts.program.devices:
        if isinstance(device, Relay | Timer | Counter) and device.name not in read:
            actions = driven.get(device.name)
            if actions:
                yield Finding(
                    "never-read",
                    f"'{device.name}' is driven and never read",
                    actions[0][1].span,
                    "what it does has no effect on the panel",
                    "read its contact in a rung, or take it out",
                    ((device.name_span, "declared here"),),
                )


def _never_unlatched(facts: Facts) -> Iterator[Finding]:
    program = facts.program
    for name, actions in facts.driven.items():
        latches = [a for _, a in actions if a.verb == "latch"]
        undone = any(a.verb in ("unlatch", "impulse") for _, a in actions)
        if latches and not undone:
            device = program.by_name[name]
            kept = isinstance(device, Output | Relay) and device.retained
            until = "for ever, even through a power cut" if kept else "until the power goes"
            yield Finding(
                "never-unlatched",
                f"'{name}' is latched and never unlatched",
                latches[0].span,
                f"once on, it stays on {until}",
                f"write a rung that unlatches it: rung ... -> unlatch {name}",
            )


def _impossible(facts: Facts) -> Iterator[Finding]:
    for number, known in enumerate(facts.rungs, 1):
        if facts.able(known) != (True, True):
            yield from _cannot(known, f"the circuit of rung {number}", facts)
    others = iter(facts.others)
    for item in facts.program.properties:
        if item.when is not None:
            yield from _cannot(next(others), "the condition behind 'when'", facts)
        behind = "then" if item.when is not None else item.kind
        yield from _cannot(next(others), f"the circuit behind '{behind}'", facts)


def _cannot(known: Known, subject: str, facts: Facts) -> Iterator[Finding]:
    circuit = known.circuit
    closes, opens = facts.able(known)
    if not closes:
        yield Finding(
            "never-closes",
            f"{subject} can never close",
            circuit.span,
            "it never conducts, whatever the panel does",
            "look for a contact and its opposite, or 'and' written where 'or' is meant",
        )
    elif not opens:
        yield Finding(
            "never-opens",
            f"{subject} can never open",
            circuit.span,
            "it always conducts, whatever the panel does",
            "look for a contact and its opposite, or 'or' written where 'and' is meant",
        )


def _dead_edges(facts: Facts) -> Iterator[Finding]:
    program = facts.program
    edges = list(program.edges)
    for item in program.properties:
        for circuit in (item.circuit, item.when):
            found = leaves(circuit) if circuit is not None else ()
            edges += [leaf for leaf in found if isinstance(leaf, Contact)]
    edges = [leaf for leaf in edges if leaf.kind in ("rising", "falling")]
    still = _unchanging(facts) if edges else {}
    for leaf in edges:
        if leaf.name in still:
            yield Finding(
                "dead-edge",
                f"'{leaf.name}' never changes, so it has no {leaf.kind} edge",
                leaf.span,
                "the contact never closes",
                still[leaf.name],
            )


def _unchanging(facts: Facts) -> dict[str, str]:
    """Devices whose contact never changes after power-up, each with what to do about it."""
    driven, rungs = facts.driven, facts.rungs
    still: dict[str, str] = {}
    for device in facts.program.devices:
        if isinstance(device, Clock):
            if device.end is not None and device.begin == device.end:
                still[device.name] = "give the window a length"
            continue
        if isinstance(device, Input):
            continue
        actions = driven.get(device.name, [])
        closing = [n for n, a in actions if a.verb in ("coil", "latch", "impulse")]
        if not actions:
            still[device.name] = "drive it with a rung"
        elif not any(facts.able(rungs[n - 1])[0] for n in closing):
            still[device.name] = "no rung ever switches it on; correct the rung that should"
    return still


def _read_before_coil(facts: Facts) -> Iterator[Finding]:
    """Contacts read above their coil where another order of the rungs would show them at once.

    A circle of rungs that read each other (seal-in, interlocks) has a late reading in any order, so
    only readings between rungs of different circles are told; and only where they reach an output.
    """
    program = facts.program
    coil_rung = {
        action.name: rung.number
        for rung in program.rungs
        for action in rung.actions
        if action.verb == "coil"
    }
    late = [
        (program.rungs[number - 1], leaves(known.circuit)[index], coil_rung[name])
        for number, known in enumerate(facts.rungs, 1)
        for index, name in enumerate(known.reads)
        if coil_rung.get(name, 0) > number
    ]
    if not late:
        return
    follows = _followers(facts)
    circle = _circles(program.rungs, follows)
    reaches = _reach_outputs(program, follows)
    told: set[tuple[int, str]] = set()
    for rung, leaf, coil in late:
        key = (rung.number, leaf.name)
        if circle[rung.number] == circle[coil] or rung.number not in reaches or key in told:
            continue
        told.add(key)
        yield Finding(
            "read-before-coil",
            f"rung {rung.number} reads '{leaf.name}', which rung {coil} below it drives",
            leaf.span,
            f"it sees '{leaf.name}' as it was one scan before and acts one scan late",
            f"move rung {rung.number} below rung {coil}",
        )


def _followers(facts: Facts) -> dict[int, set[int]]:
    """For each rung the rungs that read something it drives."""
    program = facts.program
    reading: dict[str, set[int]] = {}
    for number, known in enumerate(facts.rungs, 1):
        for name in known.reads:
            reading.setdefault(name, set()).add(number)
    follows: dict[int, set[int]] = {rung.number: set() for rung in program.rungs}
    moved: dict[str, set[int]] = {}
    for rung in program.rungs:
        for action in rung.actions:
            follows[rung.number] |= reading.get(action.name, set())
            moved.setdefault(action.name, set()).add(rung.number)
    # rungs that move one device act on each other's result, whatever their order
    for numbers in moved.values():
        if len(numbers) > 1:
            first = min(numbers)
            for number in numbers - {first}:
                follows[first].add(number)
                follows[number].add(first)
    return follows


def _circles(rungs: tuple[Rung, ...], follows: dict[int, set[int]]) -> dict[int, int]:
    """The strongly connected part of each rung, by Tarjan's algorithm without recursion."""
    index: dict[int, int] = {}
    low: dict[int, int] = {}
    part: dict[int, int] = {}
    stack: list[int] = []
    for rung in rungs:
        if rung.number in index:
            continue
        work = [(rung.number, iter(follows[rung.number]))]
        index[rung.number] = low[rung.number] = len(index)
        stack.append(rung.number)
        while work:
            number, rest = work[-1]
            for other in rest:
                if other not in index:
                    index[other] = low[other] = len(index)
                    stack.append(other)
                    work.append((other, iter(follows[other])))
                    break
                if other not in part:
                    low[number] = min(low[number], index[other])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[number])
                if low[number] == index[number]:
                    while True:
                        member = stack.pop()
                        part[member] = number
                        if member == number:
                            break
    return part


def _reach_outputs(program: Program, follows: dict[int, set[int]]) -> set[int]:
    """The rungs that act on an output, themselves or through others."""
    before: dict[int, set[int]] = {number: set() for number in follows}
    for number, others in follows.items():
        for other in others:
            before[other].add(number)
    outputs = {output.name for output in program.outputs}
    found = {r.number for r in program.rungs if any(a.name in outputs for a in r.actions)}
    open_ends = list(found)
    while open_ends:
        for number in before[open_ends.pop()] - found:
            found.add(number)
            open_ends.append(number)
    return found


def _unlatch_above(facts: Facts) -> Iterator[Finding]:
    for name, actions in facts.driven.items():
        if len(actions) == 1:
            continue
        last = max((i for i, (_, a) in enumerate(actions) if a.verb == "latch"), default=-1)
        if any(action.verb == "unlatch" for _, action in actions[last + 1 :]):
            continue  # the last word is an unlatch
        for index, (number, action) in enumerate(actions):
            if action.verb == "unlatch" and index < last:
                below = actions[last][0]
                yield Finding(
                    "unlatch-above-latch",
                    f"rung {number} unlatches '{name}' and rung {below} below it latches it",
                    action.span,
                    f"with both circuits closed the latch wins and '{name}' stays on",
                    f"move the unlatch rung below rung {below}",
                    ((actions[last][1].span, "the latch"),),
                )


def _empty_windows(facts: Facts) -> Iterator[Finding]:
    for clock in facts.program.clocks:
        if clock.end is not None and clock.begin == clock.end:
            yield Finding(
                "empty-window",
                f"the window of '{clock.name}' begins and ends at the same time",
                clock.span,
                "its contact never closes",
                "write another end; a contact that is always closed needs no clock",
            )


def is_stop(device: Input) -> bool:
    """Whether an input stops something, to judge by its name and its label."""
    return bool(_STOP_NAME.search(device.name) or _STOP_LABEL.search(device.label))


def _stops(facts: Facts) -> Iterator[Finding]:
    for device in facts.program.inputs:
        if is_stop(device) and device.side == "NO":
            yield Finding(
                "stop-wired-no",
                f"'{device.name}' stops something and is wired normally open",
                device.name_span,
                "with a broken wire it fails to stop, and nobody sees it before it is needed",
                f"wire it NC and read '{device.name}' as closed while not pressed",
            )


def _site(facts: Facts) -> Iterator[Finding]:
    program = facts.program
    if program.clocks and program.site.span.end == 0:
        yield Finding(
            "no-site",
            "the file has clocks and no site",
            program.clocks[0].span,
            "the clocks run by UTC and not by the time on the wall",
            'write: site zone "Europe/Oslo"',
        )


def _no_holidays(facts: Facts) -> Iterator[Finding]:
    program = facts.program
    if program.holidays or program.site.holidays is not None:
        return
    for clock in program.clocks:
        if clock.days.except_holidays:
            yield Finding(
                "no-holidays",
                f"'{clock.name}' leaves out holidays, and the file names none",
                clock.span,
                "it acts on every listed day",
                "write holiday statements, or leave 'except holidays' out",
            )


def _unused(facts: Facts) -> Iterator[Finding]:
    read, driven = facts.read, facts.driven
    for device in facts.program.devices:
        if isinstance(device, Input) and device.name not in read:
            yield Finding(
                "unused-input",
                f"nothing reads '{device.name}'",
                device.name_span,
                "operating it changes nothing",
                "read it in a rung, or take it out",
            )
        elif isinstance(device, Output) and device.name not in driven:
            yield Finding(
                "undriven-output",
                f"no rung drives '{device.name}'",
                device.name_span,
                "its coil stays off",
                f"drive it with a rung: rung ... -> {device.name}",
            )


CHECKS: tuple[Callable[[Facts], Iterator[Finding]], ...] = (
    _never_read,
    _never_unlatched,
    _impossible,
    _dead_edges,
    _read_before_coil,
    _unlatch_above,
    _empty_windows,
    _stops,
    _site,
    _no_holidays,
    _unused,
)
