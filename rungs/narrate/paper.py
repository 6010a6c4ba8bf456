"""A narration as a paper: what a customer, a technician and an inspector read at one table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from rungs.language.words import duration_text
from rungs.narrate.data import Event, Narration, Part, Sentence
from rungs.narrate.words import Speaker, listed
from rungs.papers.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Paragraph,
    Points,
    Table,
    counted,
)
from rungs.program.nodes import Clock, Counter, Device, Input, Program, Relay, Timer
from rungs.program.times import clock_words

SAFETY = (
    "A program or a relay board is never the only safety function: emergency stops, guards and the "
    "like are hard-wired with certified devices."
)
HOW = (
    "Every sentence was worked out from the logic by computation, over all situations that the "
    "panel can come to; none was written by hand. A device comes on only if it was off, and goes "
    "off only if it was on. Where a sentence has an 'if', it happens just then and not otherwise, "
    "with everything as it stands before the event. Where it has none, it always happens. What is "
    "not named does not change at that moment: what follows later follows from a timer or a clock, "
    "and is told there."
)


def narration_paper(n: Narration) -> Paper:
    """The whole paper, named `sequence`."""
    title = n.program.title or n.program.source.name
    blocks = tuple(_blocks(n, Speaker(n.program)))
    return Paper("sequence", f"Sequence of operation: {title}", blocks)


def _blocks(n: Narration, speak: Speaker) -> Iterator[Block]:
    yield Paragraph(HOW)
    yield Caution(SAFETY)
    if n.unworked:
        names = list(dict.fromkeys(each.device for each in n.unworked))
        yield Caution(
            f"Not worked out: {listed(names)}. Nothing is said of what they do; the reasons stand "
            "at the end."
        )
    yield from _devices(n)
    yield from _power_up(n, speak)
    if n.inputs:
        yield Heading("Switches and sensors")
        for part in n.inputs:
            yield from _part(n, speak, part)
    if n.clocks:
        yield Heading("Clocks")
        for part in n.clocks:
            yield from _part(n, speak, part)
    timers = [part for part in n.timers if part.sentences]
    if timers:
        yield Heading("When a time is over")
        for part in timers:
            yield from _part(n, speak, part)
    yield from _power_cut(n, speak)
    yield from _always(n)
    yield from _scenarios(n)
    yield from _conflicts(n)
    yield from _made(n)


# --- the devices ------------------------------------------------------------------------------


def _devices(n: Narration) -> Iterator[Block]:
    yield Heading("What it switches")
    rows = []
    for output in n.program.outputs:
        load = "on while the relay is on" if output.side == "NO" else "on while the relay is off"
        rows.append((output.name, output.terminal, output.label, load))
    yield Table("outputs", ("Output", "At", "What it is", "Its load"), tuple(rows))
    helpers = [n.program.by_name[name] for name in n.helpers]
    if helpers:
        yield Paragraph("Inside the panel these take part:")
        yield Points(tuple(_helper(device) for device in helpers))


def _helper(device: Device) -> str:
    match device:
        case Timer(kind="flasher"):
            on, off = duration_text(device.preset), duration_text(device.off)
            what = f"a flasher, {on} on and {off} off"
        case Timer():
            what = f"a timer, {device.kind} {duration_text(device.preset)}"
        case Counter():
            what = f"a counter to {device.preset}"
        case Relay():
            what = "a control relay"
        case _:
            what = "a device"
    kept = ", keeps its state without power" if getattr(device, "retained", False) else ""
    label = f": {device.label}" if device.label else ""
    return f"{device.name}, {what}{kept}{label}"


# --- parts ------------------------------------------------------------------------------------


def _part(n: Narration, speak: Speaker, part: Part) -> Iterator[Block]:
    device = n.program.by_name[part.device]
    yield Heading(_head(n.program, device), 3)
    following = {(f.device, "contact") for f in part.followers}
    if part.followers:
        yield Points(tuple(speak.follower(each) for each in part.followers))
    told = [e for e in part.sentences if (e.device, e.aspect) not in following or e.event.also]
    if not told and not part.followers:
        yield Paragraph(_idle(n, device))
    told.sort(key=lambda each: _turn(device, each.event))
    for event, some in groupby(told, key=lambda each: each.event):
        yield from _event(n, speak, event, list(some))


def _event(n: Narration, speak: Speaker, event: Event, some: Sequence[Sentence]) -> Iterator[Block]:
    yield Paragraph(f"{speak.event(event)}:")
    yield Points(speak.told(some, n.helpers))


def _turn(device: Device, event: Event) -> int:
    """What a hand does first is told first."""
    if isinstance(device, Input) and not event.also:
        operated = "closes" if device.side == "NO" else "opens"
        return int(event.kind != operated)
    return 0


def _idle(n: Narration, device: Device) -> str:
    doubt = " of what was worked out" if n.unworked else ""
    match device:
        case Input():
            return f"Moving it changes nothing{doubt} at that moment."
        case _:
            return f"It changes nothing{doubt} at that moment."


def _head(program: Program, device: Device) -> str:
    label = f": {device.label}" if device.label else ""
    match device:
        case Input():
            return f"{device.name} at {device.terminal}, {device.actuator} {device.side}{label}"
        case Clock():
            return f"{device.name} {clock_words(device)}{label}"
        case Timer(kind="flasher"):
            return f"{device.name}, flasher{label}"
        case Timer():
            return f"{device.name}, {device.kind} {duration_text(device.preset)}{label}"
        case _:
            return f"{device.name}{label}"


# --- power ------------------------------------------------------------------------------------


def _power_up(n: Narration, speak: Speaker) -> Iterator[Block]:
    yield Heading("When power comes")
    inside = set(n.helpers)
    on = {each.device for each in n.power_up.sentences}
    unknown = {each.device for each in n.unworked}
    off = [name for name in n.outputs if name not in on and name not in unknown]
    points = []
    if off:
        stay = "stay" if len(off) > 1 else "stays"
        points.append(f"{listed(off)} {stay} off.")
    points += speak.power_up([e for e in n.power_up.sentences if e.device not in inside])
    points += [
        f"Inside: {text}"
        for text in speak.power_up([e for e in n.power_up.sentences if e.device in inside])
    ]
    yield Paragraph("When power comes and every switch is at rest:")
    yield Points(tuple(points) or ("Nothing is known of any output.",))


def _power_cut(n: Narration, speak: Speaker) -> Iterator[Block]:
    yield Heading("When power fails and comes back")
    yield Paragraph(
        "The panel does nothing without power. With switches and clocks as they were before, this "
        "is different when power is back:"
    )
    points = speak.told(n.power_cut.sentences, n.helpers)
    yield Points(points or ("Nothing: every output stands as it stood before.",))


# --- what the file states ---------------------------------------------------------------------

_SAID = {
    "proved": "proved", "fails": "FAILS", "holds": "holds as far as looked", "unknown": "unknown",
    "not asked": "not asked",
}  # fmt: skip


def _always(n: Narration) -> Iterator[Block]:
    points = [
        f"{each.device} never comes on." if not each.on else f"{each.device} is on at all times."
        for each in n.constants
    ]
    if points:
        yield Heading("Always true")
        yield Points(tuple(points))
    yield Heading("What the file states, with verdicts")
    rows = []
    for each in n.beside.properties:
        verdict = _SAID[each.verdict] if each.kind != "assume" else "assumed"
        note = f"{verdict}; {each.note}" if each.note else verdict
        label = each.label if each.label != each.text else ""
        rows.append((str(each.line), each.kind, label, each.text, note))
    columns = ("Line", "Kind", "Name", "What is stated", "Verdict")
    yield Table("stated", columns, tuple(rows), numbers=(0,), none="The file states nothing.")


def _scenarios(n: Narration) -> Iterator[Block]:
    yield Heading("Scenarios of the file, as played")
    rows = []
    for each in n.beside.scenarios:
        result = "as expected" if each.passed else f"NOT as expected: {'; '.join(each.failed)}"
        told = counted(each.expectations, "expectation")
        rows.append((str(each.line), each.label, told, result))
    columns = ("Line", "Scenario", "Checked", "Result")
    yield Table("scenarios", columns, tuple(rows), numbers=(0,), none="The file has none.")


def _conflicts(n: Narration) -> Iterator[Block]:
    if not n.beside.conflicts:
        return
    yield Heading("Two sources for one device")
    yield Points(
        tuple(
            f"{each.device} can be latched by rung {each.latch.number} ({listed(each.sets)}) in "
            f"the very scan in which rung {each.unlatch.number} unlatches it "
            f"({listed(each.clears)}). "
            f"The later rung wins: rung {each.wins.number}."
            + (f" It can happen {each.moments}." if each.when else "")
            for each in n.beside.conflicts
        )
    )


def _made(n: Narration) -> Iterator[Block]:
    yield Heading("How this was worked out")
    yield Paragraph(
        "A situation is a settled state that can be reached from power-up by any inputs, any power "
        "cuts and timers that run out in any order their starts allow, with the clocks as the "
        "calendar orders them. Up to "
        f"{counted(n.situations, 'situation')} were looked at for one device, all there are. "
        "An event is one thing alone, with all else held: what happens when two things "
        "fall into one scan is not told. Inputs are told after their debounce."
    )
    if any(item.kind == "assume" for item in n.program.properties):
        yield Paragraph("What the file assumes of the plant is taken for true throughout.")
    doubts = [f"{each.device} was not worked out: {each.reason}." for each in n.unworked]
    doubts += [f"There was no time for {what}." for what in n.beside.unfinished]
    if doubts:
        yield Points(tuple(doubts))
        yield Paragraph("More time, with --seconds, may be enough for what was stopped.")
