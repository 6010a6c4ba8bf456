"""What a proof found, as a page that a technician can read: the most dangerous things first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from rungs.language.words import duration_text
from rungs.program.nodes import Program
from rungs.program.words import circuit_text
from rungs.prove.order import Orders
from rungs.prove.reach import Never
from rungs.prove.ready import Fight, Stuck, Swap
from rungs.prove.situations.chatter import Chatter
from rungs.prove.situations.cuts import AfterCuts
from rungs.prove.situations.together import Races
from rungs.prove.situations.wires import WireFaults
from rungs.prove.verdict import Verdict
from rungs.prove.whole import Report
from rungs.prove.witness import Witness
from rungs.report.runs import run_text, standing
from rungs.report.text import Ink, plain

WIDTH = 80

CAUTION = (
    "This is no safety certification. A program or a relay board is never the only safety "
    "function: emergency stops, guards and the like are hard-wired with certified devices; stop "
    "devices are wired normally closed; local codes and licensed practice decide."
)

ORDER = {"fails": 0, "unknown": 1, "holds": 2, "proved": 3}


def report_text(report: Report, ink: Ink, runs: bool = False) -> str:
    """The whole page; with `runs` also a run in which each proved property was put to the test."""
    program = report.program
    source = program.source
    lines = [
        ink.strong(plain(program.title or source.name)),
        f"{plain(source.name)}, a scan every {report.period} ms, {report.seconds:.1f} s",
        "",
    ]
    if report.wrong:
        lines += [ink.wrong(f"NOTHING IS PROVED: {report.wrong}"), ""]
    ordered = sorted(report.verdicts, key=lambda v: (ORDER[v.verdict], v.exercised))
    for verdict in ordered:
        lines += verdict_lines(report, verdict, ink, runs)
    if not report.verdicts:
        lines.append("The file states no property: add 'never', 'always' or 'require'.")
    covered = _covered(report)
    if covered:
        lines += ["", *covered]
    found = list(_sections(report, ink))
    if found:
        lines += ["", ink.strong("Asked without being written"), ""]
        for section in found:
            lines += [*section, ""]
    for what, why in report.unfinished:
        lines.append(f"not finished: {what} ({why})")
    if lines[-1]:
        lines.append("")
    return "\n".join([*lines, *textwrap.wrap(CAUTION, WIDTH)])


def summary_text(report: Report) -> str:
    """How many properties have which verdict, in one line."""
    counts = {word: sum(v.verdict == word for v in report.verdicts) for word in ORDER}
    words = {
        "fails": "fail",
        "unknown": "not decided",
        "holds": "hold as far as looked",
        "proved": "proved",
    }
    parts = [f"{counts[word]} {text}" for word, text in words.items() if counts[word]]
    idle = sum(v.verdict == "proved" and not v.exercised for v in report.verdicts)
    if idle:
        parts.append(f"{idle} of them never exercised")
    name = plain(report.program.source.name)
    return f"{name}: {', '.join(parts) if parts else 'no properties'}"


def verdict_lines(report: Report, verdict: Verdict, ink: Ink, runs: bool = False) -> list[str]:
    """One verdict: a line, and what there is to say about it."""
    program = report.program
    number = program.source.position(verdict.item.span.start).line
    head = f'"{plain(verdict.name)}" (line {number})'
    match verdict.verdict:
        case "fails":
            assert verdict.witness is not None
            lines = [f"{ink.wrong('FAILS  ')} {ink.strong(head)}"]
            lines += run_text(program, verdict.witness, _end(program, verdict, report.period))
            return [*lines, ""]
        case "proved":
            if verdict.exercised:
                assert isinstance(verdict.answer, Never)
                line = f"proved  {head}{ink.faint('  ' + how_proved(verdict.answer))}"
                tried = verdict.exercise.witness
                if not runs or tried is None:
                    return [line]
                return [line, *run_text(program, tried, "here it was put to the test"), ""]
            return [
                f"{ink.strong('proved, but never exercised')}  {head}",
                *_wrapped(idle_words(verdict), "    "),
            ]
        case "holds":
            assert verdict.scans is not None
            text = f"holds for the first {verdict.scans:,} scans  {head}"
            return [ink.strong(text), *_wrapped(_reason(verdict), "    ")]
        case "unknown":
            return [ink.strong(f"UNKNOWN {head}"), *_wrapped(_reason(verdict), "    ")]


def _end(program: Program, verdict: Verdict, period: int) -> str:
    assert verdict.witness is not None
    item = verdict.item
    seen = ", ".join(standing(program, item, verdict.witness, period))
    late = f" for {duration_text(item.within)}" if item.within else ""
    return f"broken{late}: {plain(seen)}"


def how_proved(answer: Never) -> str:
    """What a proof rests on, in a few words."""
    match answer.method:
        case "states":
            return f"all {answer.size:,} states" if answer.size > 1 else "in its only state"
        case "invariant":
            return f"an invariant of {answer.size:,} clauses"
        case "zones":
            return f"with the ages of the timers, {answer.size:,} situations"


def idle_words(verdict: Verdict) -> str:
    """Why a proof says little: what no run puts to the test."""
    parts = [plain(circuit_text(circuit)) for circuit in verdict.exercise.idle]
    if not parts:
        return "no run was found that puts it to the test"
    return "no run puts it to the test: " + "; ".join(f"'{part}' never comes" for part in parts)


def _reason(verdict: Verdict) -> str:
    reason: str = getattr(verdict.answer, "reason", "")
    return reason


def _covered(report: Report) -> list[str]:
    """What the verdicts cover, each group of words once."""
    said: dict[str, None] = {}
    for verdict in report.verdicts:
        for words in verdict.covers:
            said[words] = None
    if not said:
        return []
    return textwrap.wrap(f"The verdicts cover {'; '.join(said)}.", WIDTH)


# --- the ready questions ----------------------------------------------------------------------


def question_texts(report: Report) -> tuple[str, ...]:
    """The answers to the ready questions, each as lines of text, most dangerous first."""
    return tuple("\n".join(lines) for lines in _sections(report, Ink(False)))


def _sections(report: Report, ink: Ink) -> Iterator[list[str]]:
    """Each thing that was found, most dangerous first."""
    for chatter in report.chatters.found if report.chatters else ():
        yield _chatter(report, chatter, ink)
    for fight in report.fights:
        yield _fight(report, fight, ink)
    if report.cuts:
        yield from _cuts(report, report.cuts, ink)
    if report.wires:
        yield from _wires(report, report.wires, ink)
    for swap in report.swaps:
        yield _swap(report, swap, ink)
    if report.races:
        yield from _races(report, report.races, ink)
    if report.orders:
        yield from _orders(report, report.orders, ink)
    for stuck in report.stuck:
        yield [_stuck(report.program, stuck, ink)]
    if report.situations:
        yield _wrapped(_how_many(report), "")


def _how_many(report: Report) -> str:
    """How far the questions that begin in a situation looked."""
    if report.every_situation:
        return f"All {report.situations:,} situations of the panel at rest were looked at."
    return (
        f"{report.situations:,} situations of the panel at rest were looked at, which are not all: "
        "of chatter, power cuts, wires and switches that change together there may be more "
        "(--thorough takes longer)."
    )


def _chatter(report: Report, chatter: Chatter, ink: Ink) -> list[str]:
    head = f"{ink.wrong('chatter')} {_list(chatter.devices)} never come to rest"
    rounds = "; ".join(", ".join(sorted(on)) or "all off" for on in chatter.round)
    text = (
        f"with all switches still these are on, scan by scan: {rounds}, and so on. A relay wears "
        "out in hours like this"
    )
    return _with_run(report, head, text, chatter.witness, "it goes on like this")


def _cuts(report: Report, cuts: AfterCuts, ink: Ink) -> Iterator[list[str]]:
    for device in cuts.devices:
        change = device.comes_on
        if device.kind != "output" or change is None or not change.by_cut:
            continue
        if change.witness is not None:
            head = f"{ink.wrong('power')}   {device.name} was off, and is on after a power cut"
            yield [head, *run_text(report.program, change.witness, f"{device.name} is on")]
    off = [d.name for d in cuts.devices if d.kind == "output" and d.goes_off is not None]
    if off:
        text = (
            f"after a power cut with all switches as they were, these may stay off that were on: "
            f"{_list(tuple(off))}"
        )
        yield [f"{ink.strong('power')}   what stays off", *_wrapped(text, "    ")]


def _wires(report: Report, wires: WireFaults, ink: Ink) -> Iterator[list[str]]:
    for stop in wires.stops:
        if stop.not_when_broken:
            text = (
                f"{stop.input} stops {_list(stop.stops)}, but with a broken wire it does not stop "
                f"{_list(stop.not_when_broken)}. Stop devices are wired normally closed."
            )
            yield [f"{ink.wrong('stop')}    a broken wire does not stop", *_wrapped(text, "    ")]
    stops = {stop.input for stop in wires.stops}
    lines = []
    for name in dict.fromkeys(cell.input for cell in wires.cells):
        for fault in dict.fromkeys(cell.fault for cell in wires.cells):
            cells = [c for c in wires.cells if (c.input, c.fault) == (name, fault)]
            told = [f"{c.output} {c.danger}" for c in cells if c.danger != "none"]
            mark = " (a stop)" if name in stops else ""
            text = f"{name}{mark} {fault}: {', '.join(told) if told else 'nothing'}"
            lines += textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="        ")
    if lines:
        yield [f"{ink.strong('wires')}   what each broken or shorted wire does", *lines]


def _races(report: Report, races: Races, ink: Ink) -> Iterator[list[str]]:
    """In full what no order of the two leads to; where each order has an end of its own, and both
    at once have one of them, a line will do."""
    plain_ones = []
    for race in races.found:
        if race.kind == "one" and not race.orders_agree:
            plain_ones.append(f"{race.first} and {race.second} (as if {race.like} came first)")
            continue
        head = f"{ink.strong('race')}    {race.first} and {race.second} in one scan lead elsewhere"
        ends = "; ".join(
            f"{end.name} is {_on(end.together)}, with {race.first} first {_on(end.first)}, with "
            f"{race.second} first {_on(end.second)}"
            for end in race.ends
        )
        text = f"than one after the other: {ends}"
        yield _with_run(report, head, text, race.together, "at rest")
    if plain_ones:
        yield [
            f"{ink.strong('race')}    where it decides which of two switches comes first",
            *_wrapped("moved in one scan: " + "; ".join(plain_ones), "    "),
        ]


def _on(on: bool) -> str:
    return "on" if on else "off"


def _orders(report: Report, orders: Orders, ink: Ink) -> Iterator[list[str]]:
    for pair in orders.pairs:
        if pair.answer == "differs" and pair.witness is not None and not pair.hasty:
            above, below = pair.above.number, pair.below.number
            head = f"{ink.strong('order')}   it matters that rung {below} stands below rung {above}"
            text = (
                f"with rung {below} directly above rung {above} the panel can come to rest with "
                f"{_list(pair.outputs)} the other way, as after this run"
            )
            yield _with_run(report, head, text, pair.witness, "at rest")
    late = sum(pair.answer == "late" for pair in orders.pairs)
    unknown = sum(pair.answer == "unknown" for pair in orders.pairs)
    told = []
    if late:
        told.append(f"{late} pairs of rungs would only move outputs some scans sooner or later")
    if unknown:
        told.append(
            f"for {unknown} pairs no run and no proof was found in the time that was given "
            "(--thorough gives more, --json names them)"
        )
    if told:
        yield [f"{ink.strong('order')}   the other rungs", *_wrapped("; ".join(told), "    ")]


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _with_run(report: Report, head: str, text: str, witness: Witness, end: str) -> list[str]:
    return [head, *_wrapped(text, "    "), *run_text(report.program, witness, end)]


def _fight(report: Report, fight: Fight, ink: Ink) -> list[str]:
    loses = fight.unlatch if fight.wins is fight.latch else fight.latch
    text = (
        f"rung {fight.latch.number} latches it ({_list(fight.sets)}) while rung "
        f"{fight.unlatch.number} unlatches it ({_list(fight.clears)}); the later rung, "
        f"{fight.wins.number}, wins over rung {loses.number}"
    )
    if fight.when:
        text += f". It can happen {fight.moments}"
    head = f"{ink.strong('fight')}   {fight.device} is pulled both ways in one scan"
    return _with_run(report, head, text, fight.witness, "both rungs have power")


def _list(names: tuple[str, ...]) -> str:
    return ", ".join(names) if names else "nothing outside"


def _swap(report: Report, swap: Swap, ink: Ink) -> list[str]:
    name = plain(swap.item.label or circuit_text(swap.item.circuit))
    head = (
        f"{ink.strong('overlap')} {swap.leaves} goes off in the scan in which {swap.comes} comes on"
    )
    text = (
        f'"{name}" keeps them apart scan by scan; real relays overlap for their release time. '
        "Put a pause between them, or lock them against each other by wiring."
    )
    return _with_run(report, head, text, swap.witness, f"{swap.comes} on, {swap.leaves} off")


def _stuck(program: Program, stuck: Stuck, ink: Ink) -> str:
    line = program.source.position(stuck.device.span.start).line
    head = ink.strong("stuck")
    what = "come on" if stuck.never == "on" else "go off once it is on, but for a power cut"
    if stuck.known:
        return f"{head}   {stuck.device.name} (line {line}) can never {what}"
    return f"{head}?  {stuck.device.name} (line {line}): not known whether it can {what}"
