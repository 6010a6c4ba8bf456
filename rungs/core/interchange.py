"""The core in the formats of general logic tools: BLIF and AIGER here, PLA and DOT beside it.

Every back end is one function of the core, listed in BACK_ENDS, so that anyone can check our
answers with tools we did not write. A file holds the logic of one scan: timers stay outside (due
flags come in, run and clear bits go out), and so do power cuts.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from rungs.core.dot import dot_core
from rungs.core.dump import leaving, live_gates, safe_names
from rungs.core.nodes import FALSE, TRUE, Core, Lit
from rungs.core.pla import pla_of_core


def _remarks(core: Core) -> list[str]:
    """What a reader of a file has to know and the format cannot say, one line each."""
    lines = [f"one scan of {' '.join(core.title.split()) or 'a panel'}, every {core.period} ms"]
    kept = [bit.name for bit in core.state if bit.retained]
    lines.append(
        "a power cut is not in this file: it makes every latch 0"
        + (f", but for {', '.join(kept)}" if kept else "")
        + "; first_scan is 1 in the first scan after it"
    )
    for timer in core.timers:
        due = core.signals[timer.due].name
        retained = ", keeps what it holds through a power cut" if timer.retained else ""
        lines.append(
            f"timer {timer.name}: {timer.kind}, {timer.preset} ms{retained}; {due} is 1 if it ran "
            "in the scan before and will have run for that time if it runs in this scan too"
        )
    return lines


# --- BLIF -------------------------------------------------------------------------------------


def blif(core: Core) -> str:
    """Berkeley Logic Interchange Format: one model, latches that begin at 0 and have no clock net.

    A latch's output is `BIT.was` (what the last scan left), its input `BIT.next`.
    """
    ends = leaving(core)
    names = safe_names(
        [
            *(signal.name for signal in core.signals),
            *(name for name, _ in ends),
            *(f"{bit.name}.was" for bit in core.state),
            *(f"{bit.name}.next" for bit in core.state),
        ]
    )
    live = live_gates(core, [*(lit for _, lit in ends), *(bit.next for bit in core.state)])
    inner = safe_names((f"g{number}" for number in range(1, 1 + len(live))), names)
    left = iter(names)
    signals = [next(left) for _ in core.signals]
    outputs = [next(left) for _ in ends]
    was = [next(left) for _ in core.state]
    after = [next(left) for _ in core.state]
    net = dict(enumerate([*signals, *was], 1)) | dict(zip(live, inner, strict=True))
    lines = [f"# {remark}" for remark in _remarks(core)]
    lines += [f".model {safe_names([core.title or 'panel'])[0]}"]
    lines += _listed(".inputs", signals) + _listed(".outputs", outputs)
    lines += [f".latch {new} {old} 0" for new, old in zip(after, was, strict=True)]
    for node in live:
        lines += _cover(core.gates[node - core.first_gate], net, net[node])
    for (_, lit), name in zip(ends, outputs, strict=True):
        lines += _cover((lit,), net, name)
    for bit, name in zip(core.state, after, strict=True):
        lines += _cover((bit.next,), net, name)
    return "\n".join([*lines, ".end"]) + "\n"


def _listed(keyword: str, names: Sequence[str]) -> list[str]:
    lines = textwrap.wrap(
        " ".join([keyword, *names]), 78, break_long_words=False, break_on_hyphens=False
    )
    return [line + " \\" for line in lines[:-1]] + lines[-1:]


def _cover(lits: Sequence[Lit], net: dict[int, str], name: str) -> list[str]:
    """A net as the And of literals: one row of a cover."""
    if FALSE in lits:
        return [f".names {name}"]
    if lits == (TRUE,):
        return [f".names {name}", "1"]
    row = "".join("0" if lit & 1 else "1" for lit in lits)
    return [*_listed(".names", [*(net[lit >> 1] for lit in lits), name]), f"{row} 1"]


# --- AIGER ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Graph:
    """And gates of two literals each, as (left side, larger literal, smaller literal)."""

    ands: tuple[tuple[Lit, Lit, Lit], ...]
    latches: tuple[Lit, ...]
    outputs: tuple[Lit, ...]


def _graph(core: Core) -> _Graph:
    """The core with every gate split. Leaves keep their literals: the format numbers them alike."""
    ends = leaving(core)
    ands: list[tuple[Lit, Lit, Lit]] = []
    known: dict[tuple[Lit, Lit], Lit] = {}
    image: dict[int, Lit] = {node: node * 2 for node in range(core.first_gate)}
    for node in live_gates(core, [*(lit for _, lit in ends), *(bit.next for bit in core.state)]):
        first, *others = (image[x >> 1] ^ (x & 1) for x in core.gates[node - core.first_gate])
        for lit in others:
            pair = (max(first, lit), min(first, lit))
            if pair not in known:
                known[pair] = (core.first_gate + len(ands)) * 2
                ands.append((known[pair], *pair))
            first = known[pair]
        image[node] = first
    latches = tuple(image[bit.next >> 1] ^ (bit.next & 1) for bit in core.state)
    outputs = tuple(image[lit >> 1] ^ (lit & 1) for _, lit in ends)
    return _Graph(tuple(ands), latches, outputs)


def _header(word: str, core: Core, graph: _Graph) -> str:
    inputs, latches, ands = len(core.signals), len(core.state), len(graph.ands)
    return f"{word} {inputs + latches + ands} {inputs} {latches} {len(graph.outputs)} {ands}\n"


def _symbols(core: Core) -> str:
    """The symbol table and the comment, the same in both forms."""
    lines = [f"i{number} {signal.name}" for number, signal in enumerate(core.signals)]
    lines += [f"l{number} {bit.name}" for number, bit in enumerate(core.state)]
    lines += [f"o{number} {name}" for number, (name, _) in enumerate(leaving(core))]
    return "\n".join([*lines, "c", *_remarks(core)]) + "\n"


def aiger(core: Core) -> str:
    """AIGER, ascii form (`aag`): inputs, latches that begin at 0, outputs, and-gates, symbols.

    Source: "The AIGER And-Inverter Graph (AIG) Format", version 20071012, of which 1.9 keeps all
    that is used here.
    """
    graph = _graph(core)
    first = 1 + len(core.signals)
    lines = [str(node * 2) for node in range(1, first)]
    lines += [f"{(first + n) * 2} {after}" for n, after in enumerate(graph.latches)]
    lines += [str(lit) for lit in graph.outputs]
    lines += [f"{left} {larger} {smaller}" for left, larger, smaller in graph.ands]
    body = "".join(f"{line}\n" for line in lines)
    return _header("aag", core, graph) + body + _symbols(core)


def aiger_binary(core: Core) -> bytes:
    """AIGER, binary form (`aig`): as the ascii form, with left sides left out and gates as
    differences of seven bits a byte, the lowest first."""
    graph = _graph(core)
    head = _header("aig", core, graph)
    head += "".join(f"{lit}\n" for lit in (*graph.latches, *graph.outputs))
    gates = bytes(
        byte
        for left, larger, smaller in graph.ands
        for difference in (left - larger, larger - smaller)
        for byte in _sevens(difference)
    )
    return head.encode("ascii") + gates + _symbols(core).encode("utf-8")


def _sevens(number: int) -> Iterator[int]:
    while number > 127:
        yield number & 127 | 128
        number >>= 7
    yield number


BackEnd = Callable[[Core], str] | Callable[[Core], bytes]

# name, suffix of a file, function
BACK_ENDS: tuple[tuple[str, str, BackEnd], ...] = (
    ("blif", ".blif", blif),
    ("aiger", ".aag", aiger),
    ("aiger-binary", ".aig", aiger_binary),
    ("pla", ".pla", pla_of_core),
    ("dot", ".dot", dot_core),
)
