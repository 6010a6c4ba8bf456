"""Transition tables: the smallest machine of a program, row by row, with states that say what they
mean.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rungs.core.lower import lower
from rungs.core.nodes import Core, Number
from rungs.core.patterns import TooLargeError
from rungs.core.reduce import reduce
from rungs.findings import Finding
from rungs.program.nodes import Program
from rungs.prove.states import Key, Stepper
from rungs.source import Span
from rungs.table.cover import Cube, cube_mask, cube_text, disjoint_cover, first_match_cover
from rungs.table.head import head
from rungs.table.machine import Machine, Move, Node, explore, minimise, runs_of
from rungs.table.model import TableFile, TableState, TransitionRow

LONGEST_NAME = 96
MAX_ROWS = 100_000


@dataclass(frozen=True, slots=True)
class Compiled:
    """A program on its way to a table: its core as seen through `outputs`, and its machine.

    `reachable` is the number of states before they were minimised.
    """

    program: Program
    core: Core
    outputs: tuple[str, ...]
    machine: Machine
    reachable: int


def compiled(
    program: Program, outputs: tuple[str, ...] = ()
) -> tuple[Compiled | None, tuple[Finding, ...]]:
    """The smallest machine of the named outputs (all of them, if none is named).

    A program that is too large gives a finding instead.
    """
    names = outputs or tuple(output.name for output in program.outputs)
    core = reduce(lower(program), names)
    try:
        machine = explore(core)
        least = minimise(machine)
        rows = sum(len(node.moves) for node in least.nodes)
        if rows > MAX_ROWS:
            raise TooLargeError(f"{len(least.nodes):,} states with more than {rows:,} rows")
    except TooLargeError as error:
        return None, (_too_large(program, core, error),)
    # the state before the first scan counts as what it is but for that
    reachable = len({(key.bits, key.running) for keys in machine.keys for key in keys})
    return Compiled(program, core, names, least, reachable), ()


def _too_large(program: Program, core: Core, error: TooLargeError) -> Finding:
    wide = sorted(core.numbers, key=lambda number: -number.most)
    span: Span = program.outputs[0].name_span if program.outputs else Span(0, 0)
    if wide and wide[0].most > 1_000:
        span = program.by_name[wide[0].name].span
        what = f"'{wide[0].name}' counts to {wide[0].most:,}, and every count is a state"
        fix = "let it stop at a small number, for example by 'not NAME' in series where it counts"
    else:
        carried = ", ".join(dict.fromkeys(bit.device or bit.name for bit in core.state))
        what = f"what is carried from scan to scan: {carried or 'nothing'}"
        fix = "compile single outputs, or split the panel: rungs compile FILE OUTPUT"
    return Finding("table-size", f"the table would have {error}", span, what, fix)


def transition_table(work: Compiled, first_match: bool = False) -> TableFile:
    """The table: disjoint rows that leave nothing out, or fewer for a board that takes the first
    row that matches. It claims nothing until it is proved."""
    core, machine = work.core, work.machine
    names = state_names(machine)
    columns = [i for i, signal in enumerate(core.signals) if signal.kind != "first_scan"]
    accumulating = any(timer.kind == "accumulating" for timer in core.timers)
    stepper = Stepper(core, [power.lit for power in core.powers])
    entered = entered_with(machine)
    drops = _coil_rungs(work.program, core)
    rows: list[TransitionRow] = []
    known: _Covers = {}
    for index, node in enumerate(machine.nodes):
        powers = _powers(stepper, machine.keys[index][0], node)
        for move, cube in _covered(node, first_match, known):
            runs = list(runs_of(move.runs, len(core.timers)))
            within = cube_mask(cube, len(node.space)) & move.mask
            rows.append(
                TransitionRow(
                    state=names[index],
                    pattern=_widened(cube_text(cube, len(node.space)), node.space, columns),
                    next=names[move.target],
                    outputs=_flags(move.outputs >> i & 1 for i in range(len(core.outputs))),
                    run=_flags(run for run, _, _ in runs),
                    clear_before=_flags(before for _, before, _ in runs) if accumulating else "",
                    clear_after=_flags(after for _, _, after in runs) if accumulating else "",
                    rungs=_makers(
                        [number for number, mask in powers if mask & within],
                        [drops[i] for i in _places(entered[index] & ~move.outputs) if i in drops],
                    ),
                )
            )
    cuts = [node.after_cut for node in machine.nodes]
    return TableFile(
        **head(work.program, core, "transition", tuple(o.name for o in core.outputs)),
        first_match=first_match,
        retains=len(set(cuts)) > 1 or any(timer.retained for timer in core.timers),
        start=names[0],
        states=tuple(
            TableState(name=name, after_power_cut=names[cut])
            for name, cut in zip(names, cuts, strict=True)
        ),
        transitions=tuple(rows),
    )


def entered_with(machine: Machine) -> list[int]:
    """For each state the outputs that are on whenever it is entered, bit i for output i."""
    found = [-1] * len(machine.nodes)
    for node in machine.nodes:
        for move in node.moves:
            found[move.target] &= move.outputs
    return [0 if outputs == -1 else outputs for outputs in found]


def _coil_rungs(program: Program, core: Core) -> dict[int, int]:
    """The rung of each output that is driven by a coil, by the output's place in the core."""
    coils = {
        a.name: rung.number for rung in program.rungs for a in rung.actions if a.verb == "coil"
    }
    return {i: coils[o.name] for i, o in enumerate(core.outputs) if o.name in coils}


def _places(word: int) -> list[int]:
    return [i for i in range(word.bit_length()) if word >> i & 1]


def _makers(powered: list[int], dropped: list[int]) -> tuple[int, ...]:
    """The rungs that make a row: those with power, and those whose coil has just lost it."""
    return tuple(sorted({*powered, *dropped}))


_Covers = dict[tuple[int, ...], tuple[tuple[int, Cube], ...]]


def _covered(node: Node, first_match: bool, known: _Covers) -> list[tuple[Move, Cube]]:
    """The rows of a state. Many states part the patterns alike, whatever they then do."""
    moves = sorted(node.moves, key=lambda move: move.mask)
    masks = (len(node.space), *(move.mask for move in moves))
    if masks not in known:
        make = first_match_cover if first_match else disjoint_cover
        known[masks] = make(masks[1:], len(node.space))
    return [(moves[index], cube) for index, cube in known[masks]]


def _powers(stepper: Stepper, key: Key, node: Node) -> list[tuple[int, int]]:
    """Each rung's number and the patterns in which it has power in this state."""
    core = stepper.core
    masks = stepper.words(key, node.space)[2][3 * len(core.timers) :]
    return [(power.number, mask) for power, mask in zip(core.powers, masks, strict=True)]


def _widened(text: str, space: tuple[int, ...], columns: list[int]) -> str:
    """A pattern of a state's own signals, with `-` for the timers that do not run."""
    bits = dict(zip(space, text, strict=True))
    return "".join(bits.get(index, "-") for index in columns)


def _flags(bits: Iterable[int]) -> str:
    return "".join("1" if bit else "0" for bit in bits)


# --- names --------------------------------------------------------------------------------------


def state_names(machine: Machine) -> tuple[str, ...]:
    """A name for each state from what is on in it, all different.

    First the relays that are on whenever the state is entered and the timers that run in it; where
    two states would have one name, what else they remember, then what is off in one and on in the
    other, and at last a number.
    """
    seen = _seen(machine)
    names = [_joined(words.plain, keys) for words, keys in zip(seen, machine.keys, strict=True)]
    if seen[0].more and not seen[0].plain:
        names[0] = "power-up"
    names = _told_apart(names, [[*words.plain, *words.more] for words in seen], machine)
    for index, name in enumerate(names):
        twins = [i for i, other in enumerate(names) if other == name and i != index]
        elsewhere = {word for i in twins for word in (*seen[i].plain, *seen[i].more)}
        never = [word for word in seen[index].off if word in elsewhere]
        if never:
            names[index] = f"{name}, not {', not '.join(never)}"
    return _numbered(names)


@dataclass(frozen=True, slots=True)
class _Words:
    """What is on in every core state of one table state, plainly or in the background, and what is
    off in all of them."""

    plain: list[str]
    more: list[str]
    off: list[str]


def _joined(words: list[str], keys: tuple[Key, ...]) -> str:
    if words:
        return ", ".join(words)
    return "power-up" if all(key.first for key in keys) else "at rest"


def _told_apart(names: list[str], longer: list[list[str]], machine: Machine) -> list[str]:
    """Names of more words for all that share theirs with another state."""
    count: dict[str, int] = {}
    for name in names:
        count[name] = count.get(name, 0) + 1
    return [
        name if count[name] == 1 else _joined(longer[i], machine.keys[i])
        for i, name in enumerate(names)
    ]


def _numbered(names: list[str]) -> tuple[str, ...]:
    made: list[str] = []
    used: set[str] = set()
    for name in names:
        short = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 3].rstrip(", ") + "..."
        unique, number = short, 1
        while unique in used:
            number += 1
            unique = f"{short} ({number})"
        used.add(unique)
        made.append(unique)
    return tuple(made)


def _seen(machine: Machine) -> list[_Words]:
    """The words of every state."""
    core = machine.core
    pairs = zip(machine.keys, entered_with(machine), strict=True)
    return [_words(core, keys, outputs) for keys, outputs in pairs]


def _words(core: Core, keys: tuple[Key, ...], outputs: int) -> _Words:
    settled = [key for key in keys if not key.first] or list(keys)
    on_all, off_all = -1, -1
    for key in settled:
        on_all &= key.bits
        off_all &= ~key.bits
    plain = [output.name for i, output in enumerate(core.outputs) if outputs >> i & 1]
    more: list[str] = []
    off: list[str] = []
    counted = {bit for number in core.numbers for bit in number.bits}
    for index, bit in enumerate(core.state):
        if index in counted:
            continue
        if on_all >> index & 1:
            (plain if bit.kind == "contact" else more).append(bit.words)
        elif off_all >> index & 1:
            off.append(bit.words)
    for number in core.numbers:
        counts = {_count(key, number) for key in settled}
        if len(counts) == 1 and counts != {0}:
            plain.append(f"{number.name} at {counts.pop()}")
    for index, timer in enumerate(core.timers):
        if settled[0].running >> index & 1:
            plain.append(f"{timer.name} running")
    return _Words(list(dict.fromkeys(plain)), list(dict.fromkeys(more)), list(dict.fromkeys(off)))


def _count(key: Key, number: Number) -> int:
    return sum((key.bits >> bit & 1) << place for place, bit in enumerate(number.bits))
