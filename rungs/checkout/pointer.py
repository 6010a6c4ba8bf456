"""Where to look when a step of a checkout fails: rungs, terminals, devices, and likely causes.

Only what follows from the panel file and from what was seen is said; a cause is a place to look at
first and never a verdict, for the fault may be anywhere between the switch and the load.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from rungs.checkout.plan import Sight, Step
from rungs.checkout.record import AsFound
from rungs.language.words import duration_text
from rungs.program.nodes import Clock, Counter, Input, Output, Program, Rung, Timer, leaves


@dataclass(frozen=True, slots=True)
class PointedRung:
    """A rung that decides what is seen: its number, its label, and its line in the file."""

    number: int
    label: str
    line: int


@dataclass(frozen=True, slots=True)
class PointedDevice:
    """A device at a terminal: `role` says what it has to do with the step, `wired` how the panel
    file says that it is wired."""

    terminal: str
    name: str
    label: str
    role: str
    wired: str


@dataclass(frozen=True, slots=True)
class Pointer:
    """Where a failed step points; what relays showed otherwise comes first everywhere."""

    rungs: tuple[PointedRung, ...]
    devices: tuple[PointedDevice, ...]
    causes: tuple[str, ...]

    @property
    def terminals(self) -> tuple[str, ...]:
        """The terminals to put a meter to, in that order."""
        return tuple(device.terminal for device in self.devices)

    def lines(self) -> tuple[str, ...]:
        """All of it in words, the causes first."""
        found = list(self.causes)
        for device in self.devices:
            label = f', "{device.label}"' if device.label else ""
            found.append(f"{device.terminal} {device.name}{label} ({device.role}): {device.wired}")
        for rung in self.rungs:
            label = f' "{rung.label}"' if rung.label else ""
            found.append(f"rung {rung.number}{label}, line {rung.line} of the file")
        return tuple(found)


def pointer(step: Step, program: Program, found: Iterable[AsFound] = ()) -> Pointer:
    """Where a step that failed points, with what relays showed instead, as far as it was told."""
    told = tuple(found)
    names = [each.output for each in told]
    rungs = _rungs(step, program, names)
    moved = [d for d in program.inputs if d.terminal in step.terminals or _names(step, d.name)]
    # where no relay is looked at, the switch that was moved is all there is
    read = _read_by(rungs, program, moved) if step.sights else []
    answer = [d for d in program.outputs if d.terminal in step.terminals and d.name not in names]
    wrong = [d for name in names for d in program.outputs if d.name == name]
    devices = (
        *(_output(device, "seen otherwise") for device in wrong),
        *(_input(device, "moved in this step") for device in moved),
        *(_output(device, "must answer") for device in answer),
        *(_input(device, "read by these rungs") for device in read),
    )
    causes = dict.fromkeys(_relays(step, program, told))
    if not told or any(each.coil is not None for each in told):
        # relays that are right have been told rightly by switches and rungs
        causes.update(dict.fromkeys(cause for device in moved for cause in _switch(device)))
        if step.sights:
            causes.update(dict.fromkeys(_program(rungs, program)))
    pointed = (
        PointedRung(r.number, r.label, program.source.position(r.span.start).line) for r in rungs
    )
    return Pointer(tuple(pointed), devices, tuple(causes))


def _names(step: Step, name: str) -> bool:
    """Whether an instruction of the step names a device, for steps that list no terminals."""
    if step.terminals:
        return False
    return any(name in words.replace(",", " ").split() for words in step.do)


def _rungs(step: Step, program: Program, wrong: Sequence[str]) -> tuple[Rung, ...]:
    """The rungs of the step; those that drive what was seen otherwise come first, and stand for
    all of them where the step names none."""
    mine = [rung for rung in program.rungs if rung.number in step.rungs]
    drive = [r for r in program.rungs if any(action.name in wrong for action in r.actions)]
    return tuple(dict.fromkeys((*drive, *mine)))


def _read_by(rungs: Sequence[Rung], program: Program, but: Sequence[Input]) -> list[Input]:
    """The inputs that rungs read, directly or through a relay or timer of the program."""
    inner = {d.name for d in program.devices if not isinstance(d, Input | Output)}
    seen: set[str] = set()
    waiting = list(rungs)
    while waiting:
        rung = waiting.pop()
        for leaf in leaves(rung.circuit):
            if leaf.name in seen:
                continue
            seen.add(leaf.name)
            if leaf.name in inner:
                waiting += [r for r in program.rungs if any(a.name == leaf.name for a in r.actions)]
    return [device for device in program.inputs if device.name in seen and device not in but]


# --- devices as they are wired


def _input(device: Input, role: str) -> PointedDevice:
    rest = "open" if device.side == "NO" else "closed"
    worked = "closed" if device.side == "NO" else "open"
    how = "pressed" if device.actuator == "momentary" else "operated"
    wired = f"{device.side}, circuit {rest} at rest and {worked} while {how}"
    return PointedDevice(device.terminal, device.name, device.label, role, wired)


def _output(device: Output, role: str) -> PointedDevice:
    when = "on" if device.side == "NO" else "off"
    wired = f"load on the {device.side} contact, on while the relay is {when}"
    if device.load is None:
        wired = f"{device.side} contact, no load in the file"
    if device.supply:
        wired += f", from supply {device.supply}"
    return PointedDevice(device.terminal, device.name, device.label, role, wired)


# --- causes


def _switch(device: Input) -> Iterator[str]:
    """What may be wrong with a switch that was moved."""
    at = device.terminal
    if device.side == "NO":
        yield (
            f"if the input at {at} never closes: a broken wire, a loose terminal, or the switch "
            "on another terminal"
        )
        yield (
            f"if the input at {at} is closed at rest and opens while operated: {device.name} has "
            "an NC contact, or the other contact of the switch is wired"
        )
    else:
        yield (
            f"if the input at {at} is always open: a broken wire, a loose terminal, or the switch "
            "on another terminal (a broken wire looks as if it were operated)"
        )
        yield (
            f"if the input at {at} is open at rest and closes while operated: {device.name} has "
            "an NO contact, or the other contact of the switch is wired"
        )
    if device.debounce:
        yield (
            f"the input at {at} is read after {duration_text(device.debounce)}: it must be held "
            "at least that long"
        )


def _relays(step: Step, program: Program, told: Sequence[AsFound]) -> Iterator[str]:
    """What may be wrong with relays and loads that were seen otherwise."""
    expected = {sight.output: sight for sight in step.sights}
    yield from _changed_over(expected, told)
    silent = [each for each in told if each.coil is False]
    wanted_on = [sight for sight in step.sights if sight.coil]
    if len(wanted_on) > 1 and len(silent) == len(wanted_on):
        yield "no relay is on at all: the supply of the board, its fuse, or the common of the coils"
    by_supply: dict[str, int] = {}
    for each in told:
        device = program.by_name.get(each.output)
        if not isinstance(device, Output):
            continue
        yield from _one_relay(device, expected.get(each.output), each)
        if each.load is False and device.supply:
            by_supply[device.supply] = by_supply.get(device.supply, 0) + 1
    for supply, count in by_supply.items():
        if count > 1:
            yield f"{count} loads of supply {supply} are off together: the supply or its fuse"


def _one_relay(device: Output, sight: Sight | None, seen: AsFound) -> Iterator[str]:
    at = device.terminal
    drivers = f"the rungs that drive {device.name}"
    if seen.coil is not None:
        word = "stays off" if seen.coil is False else "is on"
        yield (
            f"the relay at {at} {word}: look at the inputs that {drivers} read, and whether the "
            "board has the table of this file"
        )
        if seen.load is not None:
            yield f"the load at {at} follows its relay, so mend that first"
        elif sight is not None and sight.load is not None:
            yield (
                f"the load at {at} is right although its relay is not: it may be wired to the "
                "other contact of the relay, or to another relay"
            )
    elif seen.load is not None:
        other = "NC" if device.side == "NO" else "NO"
        yield (
            f"the relay at {at} is right and its load is not: the load may be wired to the "
            f"{other} contact in place of the {device.side} contact"
        )
        if seen.load:
            yield f"the load at {at} is on: a contact that sticks, or a bridge past the contact"
        else:
            supply = f"supply {device.supply}" if device.supply else "its supply"
            yield f"the load at {at} is off: {supply}, its fuse, a broken wire, or the load itself"


def _changed_over(expected: dict[str, Sight], told: Sequence[AsFound]) -> Iterator[str]:
    """Two that were seen the wrong way about are likely changed over."""
    pairs = (("relay", "coil"), ("load", "load"))
    for word, part in pairs:
        seen = [each for each in told if getattr(each, part) is not None]
        if word == "load":
            # a load that follows its relay says nothing of its own wires
            seen = [each for each in seen if each.coil is None]
        on = [each for each in seen if getattr(each, part)]
        off = [each for each in seen if not getattr(each, part)]
        if len(on) == len(off) == 1 and on[0].output in expected and off[0].output in expected:
            what = "loads" if word == "load" else "relays"
            yield f"the {what} at {off[0].terminal} and {on[0].terminal} may be changed over"


def _program(rungs: Sequence[Rung], program: Program) -> Iterator[str]:
    """What in the rungs makes a right panel look wrong."""
    for rung in rungs:
        for name in (
            *(leaf.name for leaf in leaves(rung.circuit)),
            *(a.name for a in rung.actions),
        ):
            device = program.by_name.get(name)
            match device:
                case Timer():
                    yield (
                        f"{device.name} is a timer ({device.kind} "
                        f"{duration_text(device.preset)}): was it waited for, or let run out?"
                    )
                case Clock():
                    yield f"{device.name} goes by the time of day: does the board's clock stand so?"
                case Counter():
                    yield f"{device.name} counts: was it at the count that the step begins with?"
                case Output(retained=True) if any(a.name == name for a in rung.actions):
                    yield f"{device.name} keeps its state through a loss of power"
                case _:
                    pass
