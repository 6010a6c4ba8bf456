"""Proofs of single properties, against the `pdr` of Berkeley ABC where that is at hand.

The circuits are ladders: coils with seal-ins, latch pairs, interlocks, counters and sequences, each
rung reading what the rungs above it have just left. They go to the other side as binary AIGER. The
other side is a process, so the time of one that only reads the file is taken off. All times are of
the processor, for both sides use one of them.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from random import Random
from statistics import median
from time import process_time
from typing import assert_never

from rungs.core.interchange import aiger_binary
from rungs.core.nodes import Core, CoreOutput, Gates, Lit, Signal, StateBit
from rungs.prove.budget import Budget
from rungs.prove.search import Bounded, Invariant, Run, search
from tests.benchmarks.measure import show

ABC_LIMIT = 60.0  # s for one question on the other side
OUR_LIMIT = 60.0
WORTH_MEASURING = 0.060  # s; below that the other side's time is mostly noise


class Ladder:
    """Rungs in order, over inputs and latches. A latch reads as what it is by now."""

    def __init__(self, inputs: int, latches: int, seed: str) -> None:
        self.rng = Random(seed)
        self.inputs = inputs
        self.latches = latches
        self.gates = Gates(inputs + latches)
        self.was = [(1 + inputs + n) * 2 for n in range(latches)]
        self.now = list(self.was)
        self.free = 0

    def input(self) -> Lit:
        """The contact of any input, open or closed."""
        return (1 + self.rng.randrange(self.inputs)) * 2 + self.rng.randrange(2)

    def take(self, count: int) -> range:
        """So many latches that nobody has yet."""
        self.free += count
        return range(self.free - count, self.free)

    @property
    def left(self) -> int:
        return self.latches - self.free

    def circuit(self, among: range, parts: int) -> Lit:
        """Contacts in series and parallel, of inputs and of latches."""
        found = []
        for _ in range(parts):
            if len(among) and self.rng.random() < 0.5:
                found.append(self.now[self.rng.choice(among)] ^ self.rng.randrange(2))
            else:
                found.append(self.input())
        if len(found) < 2:
            return self.gates.conj(*found)
        return self.gates.conj(self.gates.disj(*found[:2]), *found[2:])

    def seal_in(self, latch: int, start: Lit, hold: Lit) -> None:
        """(start or itself) and hold."""
        self.now[latch] = self.gates.conj(self.gates.disj(start, self.now[latch]), hold)

    def latch(self, latch: int, on: Lit, off: Lit) -> None:
        """Set by `on`, reset by `off`, which wins."""
        self.now[latch] = self.gates.conj(self.gates.disj(on, self.now[latch]), off ^ 1)

    def core(self, bad: Lit) -> Core:
        """The question whether `bad` can be 1."""
        return Core(
            "question",
            10,
            tuple(Signal(f"i{n}", "input", f"i{n}") for n in range(self.inputs)),
            tuple(
                StateBit(f"l{n}", "coil", f"l{n}", f"l{n} is on", lit)
                for n, lit in enumerate(self.now)
            ),
            tuple(self.gates.made),
            (CoreOutput("bad", "asked", bad),),
            (),
            (),
            (),
        )


def _filler(ladder: Ladder, upto: range) -> None:
    """Coils for all latches that are left, each reading what stands before it or round it."""
    while ladder.left:
        (latch,) = ladder.take(1)
        among = range(upto.stop if ladder.rng.random() < 0.5 else latch)
        if ladder.rng.random() < 0.5:
            ladder.seal_in(latch, ladder.circuit(among, 2), ladder.circuit(among, 2))
        else:
            ladder.latch(latch, ladder.circuit(among, 3), ladder.circuit(among, 2))


def _interlocks(ladder: Ladder, faulty: bool) -> Lit:
    """Groups of coils of which one at a time may be on, each kept off by the others' contacts."""
    gates, rng = ladder.gates, ladder.rng
    bad: list[Lit] = []
    while ladder.left > max(3, ladder.latches // 3):
        group = ladder.take(rng.randint(2, 4))
        if ladder.left < 0:
            break
        spoiled = faulty and not bad
        for latch in group:
            others = [ladder.now[other] ^ 1 for other in group if other != latch]
            if spoiled and latch == group[-1]:
                others = others[1:]
            start = gates.conj(ladder.circuit(range(group.start), 3), *others)
            if rng.random() < 0.5:
                ladder.seal_in(latch, start, gates.disj(ladder.input(), ladder.input()))
            else:
                ladder.latch(latch, start, ladder.circuit(range(group.start), 2))
        bad += [gates.conj(ladder.now[a], ladder.now[b]) for a in group for b in group if a < b]
    _filler(ladder, range(ladder.free))
    return gates.disj(*bad)


def _counter(ladder: Ladder, bits: range, up: Lit, clear: Lit) -> None:
    carry = up
    gates = ladder.gates
    for bit in bits:
        was = ladder.now[bit]
        ladder.now[bit] = gates.conj(gates.differ(was, carry), clear ^ 1)
        carry = gates.conj(was, carry)


def _equals(ladder: Ladder, bits: range, value: int) -> Lit:
    return ladder.gates.conj(
        *(ladder.now[bit] ^ (1 - (value >> n & 1)) for n, bit in enumerate(bits))
    )


def _counting(ladder: Ladder, faulty: bool) -> Lit:
    """A counter that is cleared in the scan after it shows its most. Can it pass it? Or, asked with
    a mistake, can it reach it: after that many scans at the least."""
    gates, rng = ladder.gates, ladder.rng
    size = min(3 + ladder.latches // 8, 8)
    bits = ladder.take(size)
    (gate,) = ladder.take(1)
    ladder.latch(gate, ladder.circuit(range(0), 2), ladder.circuit(range(0), 3))
    most = rng.randint(1 << (size - 1), (1 << size) - 2)
    full = _equals(ladder, bits, most)
    _counter(ladder, bits, gates.conj(ladder.now[gate], ladder.input()), full)
    shown = _equals(ladder, bits, most if faulty else (1 << size) - 1)
    _filler(ladder, bits)
    return gates.conj(shown, 1 if faulty else ladder.input())


def _batches(ladder: Ladder, faulty: bool) -> Lit:
    """A counter of pieces whose wraps drive a sequence of steps, one step a batch, with a latch for
    each batch; no two steps at once, and no latch of a later batch before one of an earlier."""
    gates, rng = ladder.gates, ladder.rng
    size = min(2 + ladder.latches // 16, 5)
    bits = ladder.take(size)
    steps = ladder.take(min(max(3, ladder.latches // 4), 16))
    done = ladder.take(min(len(steps), max(ladder.left, 0)))
    wrap = gates.conj(_equals(ladder, bits, rng.randint(1, (1 << size) - 1)), ladder.input())
    clear = ladder.circuit(range(0), 4)
    _counter(ladder, bits, gates.conj(ladder.input(), wrap ^ 1), gates.disj(wrap, clear))
    was = [ladder.now[step] for step in steps]
    none = gates.conj(*(step ^ 1 for step in was))
    stop = gates.conj(clear, ladder.input())
    for place, step in enumerate(steps):
        comes = gates.conj(was[place - 1], wrap) if place else gates.conj(none, ladder.input())
        ladder.now[step] = gates.conj(gates.disj(comes, gates.conj(was[place], wrap ^ 1)), stop ^ 1)
    for place, latch in enumerate(done):
        ladder.latch(latch, gates.conj(was[place], wrap), stop)
    now = [ladder.now[step] for step in steps]
    bad = [gates.conj(a, b) for n, a in enumerate(now) for b in now[:n]]
    order = [ladder.now[latch] for latch in done]
    bad += [gates.conj(b, a ^ 1) for a, b in pairwise(order)]
    if faulty:
        bad = [order[rng.randint(1, min(len(order) - 1, 5))]]
    _filler(ladder, done)
    return gates.disj(*bad)


def _requests(ladder: Ladder, faulty: bool) -> Lit:
    """Calls that are latched and served one at a time by a drive with a direction; the drive never
    goes both ways, serves a call that nobody made, or moves with the door open."""
    gates, rng = ladder.gates, ladder.rng
    calls = ladder.take(max(2, ladder.latches // 4))
    at = ladder.take(min(len(calls), max(2, ladder.left - 5)))
    (up,), (down,), (door,) = ladder.take(1), ladder.take(1), ladder.take(1)
    now = ladder.now
    place = [now[step] for step in at]
    started = gates.disj(*place)
    for number, call in enumerate(calls):
        served = gates.conj(place[number % len(at)], now[door])
        ladder.latch(call, ladder.circuit(range(0), 1), served)
    above = [
        gates.conj(place[n], gates.disj(*(now[c] for c in calls[n + 1 : len(at)])))
        for n in range(len(at))
    ]
    below = [gates.conj(place[n], gates.disj(*(now[c] for c in calls[:n]))) for n in range(len(at))]
    here = gates.disj(*(gates.conj(place[n], now[calls[n]]) for n in range(len(at))))
    keep = 1 if faulty else now[down] ^ 1
    ladder.seal_in(up, gates.conj(gates.disj(*above), keep), gates.conj(here ^ 1, now[door] ^ 1))
    ladder.seal_in(
        down, gates.conj(gates.disj(*below), now[up] ^ 1), gates.conj(here ^ 1, now[up] ^ 1)
    )
    pulse = ladder.input()
    rise, fall = gates.conj(now[up], pulse), gates.conj(now[down], pulse, now[up] ^ 1)
    for n, step in enumerate(at):
        comes = [gates.conj(place[n - 1], rise)] if n else [started ^ 1]
        if n + 1 < len(at):
            comes.append(gates.conj(place[n + 1], fall))
        leaves = gates.disj(
            rise if n + 1 < len(at) else 0,
            fall if n else 0,
        )
        now[step] = gates.disj(*comes, gates.conj(place[n], leaves ^ 1))
    moving = gates.disj(now[up], now[down])
    ladder.seal_in(door, gates.conj(here, moving ^ 1), gates.conj(ladder.input(), moving ^ 1))
    bad = [gates.conj(now[up], now[down]), gates.conj(now[door], moving)]
    bad += [gates.conj(now[a], now[b]) for a in at for b in at if a < b]
    if faulty and rng.random() < 0.5:
        bad = [gates.conj(now[at[-1]], now[calls[0]], now[door], now[down] ^ 1)]
    _filler(ladder, range(ladder.free))
    return gates.disj(*bad)


def _lockstep(ladder: Ladder, faulty: bool) -> Lit:
    """Two counters that count the same, the second by another circuit. Can they differ?"""
    gates, rng = ladder.gates, ladder.rng
    size = min(2 + ladder.latches // 10, 7)
    one, other = ladder.take(size), ladder.take(size)
    up, clear = ladder.circuit(range(0), 2), ladder.circuit(range(0), 4)
    _counter(ladder, one, up, clear)
    # ripple: each bit of the second turns when the bit below falls
    turn = up
    for place, bit in enumerate(other):
        was = ladder.now[bit]
        now = gates.conj(gates.differ(was, turn), clear ^ 1)
        if faulty and place == size - 1:
            now = gates.conj(
                now, _equals(ladder, one, (1 << size) - 1 - rng.randrange(1 << (size - 1))) ^ 1
            )
        turn = gates.conj(was, gates.differ(was, turn) ^ 1, turn)
        ladder.now[bit] = now
    differ = gates.disj(
        *(gates.differ(ladder.now[a], ladder.now[b]) for a, b in zip(one, other, strict=True))
    )
    _filler(ladder, other)
    return differ


def _sequences(ladder: Ladder, faulty: bool) -> Lit:
    """Sequences of steps that hand over to the next; two of them share a machine by a token."""
    gates, rng = ladder.gates, ladder.rng
    wanted = max(ladder.latches * 2 // 3, 4)
    rings: list[range] = []
    while ladder.free + 4 <= wanted:
        rings.append(ladder.take(rng.randint(3, min(12, max(3, wanted - ladder.free)))))
    held: list[Lit] = []
    bad: list[Lit] = []
    for ring in rings:
        idle = gates.conj(*(ladder.now[step] ^ 1 for step in ring))
        others = gates.disj(*(ladder.now[s] for other in rings if other is not ring for s in other))
        stop = ladder.circuit(range(0), 3)
        moves = [gates.conj(ladder.now[a], ladder.input()) for a in ring]
        moves[-1] = gates.conj(ladder.now[ring[-1]], ladder.input(), ladder.input())
        go = gates.conj(idle, ladder.circuit(range(0), 2), others ^ 1)
        if faulty and ring is rings[-1]:
            # the last sequence may also start again from its last step, and forgets the step
            go = gates.disj(
                go, gates.conj(ladder.now[ring[-1]], moves[-2 if len(ring) > 1 else 0] ^ 1)
            )
        before = go
        for place, step in enumerate(ring):
            stays = gates.conj(ladder.now[step], moves[place] ^ 1)
            ladder.now[step] = gates.conj(gates.disj(before, stays), stop ^ 1)
            before = moves[place]
        held.append(gates.disj(*(ladder.now[step] for step in ring)))
        bad += [gates.conj(ladder.now[a], ladder.now[b]) for a in ring for b in ring if a < b]
    if len(held) > 1:
        bad += [gates.conj(a, b) for n, a in enumerate(held) for b in held[:n]]
    _filler(ladder, range(ladder.free))
    return gates.disj(*bad)


def _mixed(ladder: Ladder, faulty: bool) -> Lit:
    """Coils that read one another at random; a watched group of them should never be on at once."""
    rng = ladder.rng
    everything = range(ladder.latches)
    while ladder.left:
        (latch,) = ladder.take(1)
        if rng.random() < 0.6:
            ladder.seal_in(latch, ladder.circuit(everything, 3), ladder.circuit(everything, 2))
        else:
            ladder.latch(latch, ladder.circuit(everything, 4), ladder.circuit(everything, 2))
    watched = rng.sample(everything, 3 if faulty else min(6, ladder.latches))
    return ladder.gates.conj(*(ladder.now[latch] ^ rng.randrange(4) % 3 % 2 for latch in watched))


FAMILIES: dict[str, Callable[[Ladder, bool], Lit]] = {
    "interlocks": _interlocks,
    "counting": _counting,
    "lockstep": _lockstep,
    "batches": _batches,
    "requests": _requests,
    "sequences": _sequences,
    "mixed": _mixed,
}
SIZES = (8, 12, 16, 24, 32, 48, 64, 80, 100)


@dataclass(frozen=True, slots=True)
class Asked:
    name: str
    core: Core


def questions(sizes: tuple[int, ...] = SIZES, seeds: range = range(3)) -> Iterator[Asked]:
    """The whole growing family, always the same."""
    for latches in sizes:
        for family, make in FAMILIES.items():
            for seed in seeds:
                for faulty in (False, True):
                    name = f"{family}-{latches}-{seed}{'-faulty' if faulty else ''}"
                    ladder = Ladder(8 + latches * 8 // 100, latches, name)
                    yield Asked(name, ladder.core(make(ladder, faulty)))


# --- the other side ---------------------------------------------------------------------------


def abc_program() -> str | None:
    """The program to run, if there is one: RUNGS_ABC, or on the path."""
    return os.environ.get("RUNGS_ABC") or shutil.which("berkeley-abc") or shutil.which("abc")


def _children() -> float:
    """The processor time of all processes that were started here and have ended, in s."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def abc_answer(program: str, core: Core, commands: str = "pdr") -> tuple[str, float]:
    """What ABC finds ("holds", "fails" or "unknown"), and its seconds but for start and reading."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "question.aig"
        path.write_bytes(aiger_binary(core))

        def once(script: str) -> tuple[str, float]:
            start = _children()
            try:
                done = subprocess.run(
                    [program, "-c", script],
                    cwd=folder,
                    capture_output=True,
                    text=True,
                    timeout=ABC_LIMIT,
                    check=False,
                )
            except subprocess.TimeoutExpired:
                return "", ABC_LIMIT
            return done.stdout, _children() - start

        idle = min(once("read_aiger question.aig")[1] for _ in range(3))
        found = [once(f"read_aiger question.aig; {commands}")]
        if found[0][1] < 1:
            found += [once(f"read_aiger question.aig; {commands}") for _ in range(2)]
        text = found[0][0]
        word = "unknown"
        if "was asserted in frame" in text:
            word = "fails"
        elif "Property proved" in text:
            word = "holds"
        return word, max(median(seconds for _, seconds in found) - idle, 1e-4)


# --- the comparison -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Compared:
    """A question with what each side found, and in how many seconds."""

    name: str
    ours: str
    seconds: float
    theirs: str
    their_seconds: float


def our_answer(core: Core) -> tuple[str, float]:
    """What we find ("holds", "fails" or "unknown") and the seconds: if short, the median of 3."""
    times = []
    while True:
        start = process_time()
        found = search(core, Budget(OUR_LIMIT))
        times.append(process_time() - start)
        if times[0] > 1 or len(times) == 3:
            break
    match found:
        case Invariant():
            word = "holds"
        case Run():
            word = "fails"
        case Bounded():
            word = "unknown"
        case _:
            assert_never(found)
    return word, median(times)


def compare(program: str, asked: Iterator[Asked]) -> Iterator[Compared]:
    """Both sides on each question, one after the other, so that both meet the same machine."""
    for one in asked:
        ours, seconds = our_answer(one.core)
        theirs, their_seconds = abc_answer(program, one.core)
        yield Compared(one.name, ours, seconds, theirs, their_seconds)


def properties(seeds: range = range(2)) -> None:
    """Goals, where ABC takes more than 60 ms: median at most 1.0, none above 3, none unsolved that
    ABC solves; and no two answers that differ."""
    program = abc_program()
    if program is None:
        print("proofs of properties: skipped, no berkeley-abc or abc on PATH nor in RUNGS_ABC")
        return
    rows: list[Compared] = []
    for row in compare(program, questions(seeds=seeds)):
        rows.append(row)
        if "-v" in sys.argv:
            told = f"{row.theirs} {row.their_seconds * 1000:,.0f} ms"
            ratio = row.seconds / row.their_seconds
            show(f"{row.name}: {row.ours}", row.seconds * 1000, "ms", f"{ratio:.2f} x {told}")
    known = [row for row in rows if row.theirs != "unknown"]
    wrong = [row.name for row in known if row.ours not in (row.theirs, "unknown")]
    open_ = [row.name for row in known if row.ours == "unknown"]
    only = [row.name for row in rows if row.theirs == "unknown" and row.ours != "unknown"]
    long = [row for row in known if row.their_seconds > WORTH_MEASURING]
    ratios = sorted((row.seconds / row.their_seconds, row.name) for row in long)
    ours, theirs = (
        sum(row.seconds for row in rows) * 1000,
        sum(row.their_seconds for row in rows) * 1000,
    )
    show(f"{len(rows)} properties, all of them", ours, "ms", f"{ours / theirs:.2f} x ABC pdr")
    if ratios:
        middle = median(ratio for ratio, _ in ratios)
        worst = ", ".join(f"{name} {ratio:.2f}" for ratio, name in ratios[:-4:-1])
        print(f"  the {len(ratios)} where ABC takes over 60 ms: median {middle:.2f}; worst {worst}")
        for least in (1, 3):
            print(f"    above {least}: {sum(ratio > least for ratio, _ in ratios)}")
    print(f"  answers that differ: {', '.join(wrong) or 'none'}")
    print(f"  solved by ABC alone: {', '.join(open_) or 'none'}; by us alone: {len(only)}")


if __name__ == "__main__":
    properties()
