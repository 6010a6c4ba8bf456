"""Scans: generated code against C and against a tree walk, one stimulus or thousands at once."""

from __future__ import annotations

from time import process_time

from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.program.nodes import Program
from rungs.scan.fast import FastPanel
from rungs.scan.generate import scan_many, scan_once, scan_wide
from rungs.scan.reference import powered_down, scan
from rungs.scan.runner import Panel
from rungs.shipped import shipped
from tests.benchmarks.compiled_c import c_scan_us
from tests.benchmarks.measure import ladder_text, show, timed
from tests.helpers import program_of


def _many_us(core: Core, scans: int) -> float:
    """CPU microseconds a scan in the generated loop, with inputs that change in every scan."""
    run = scan_many(core)
    given = sum(signal.kind != "due" for signal in core.signals)
    seeds, seed = [], 2
    for _ in range(scans):
        seed = (seed * 1664525 + 1013904223) & 0xFFFFFFFF
        seeds.append(tuple(bool(seed >> i % 31 & 1) for i in range(given)))
    rows = [(10 * k, bits) for k, bits in enumerate(seeds)]
    start = process_time()
    run((False,) * len(core.state), [-1] * len(core.timers), rows)
    return (process_time() - start) / scans * 1e6


def scans() -> None:
    """Goals: at most 40 times the C, at least 20 times faster than the tree walk; 4,096 stimuli at
    once at most 0.12 of the C for each. gcc takes minutes for more rungs than that."""
    for rungs in (10, 100, 1_000):
        _scans_of(rungs)


def _scans_of(rungs: int) -> None:
    program = program_of(ladder_text(rungs, timers=rungs // 20))
    core = lower(program)
    count = 400_000 // rungs
    ours = _many_us(core, count)
    c_us = c_scan_us(core, 20 * count)
    walks = max(2, 4_000 // rungs)
    tree = timed(lambda: _walk(program, walks), 3) * 1000 / walks
    peer = "no gcc here" if c_us is None else f"{ours / c_us:.0f} x gcc -O2"
    show(f"a scan of {rungs:,} rungs", ours, "us", f"{peer}; 1/{tree / ours:.0f} of a tree walk")
    if rungs >= 100:
        _wide(core, rungs, c_us)


def _walk(program: Program, times: int) -> None:
    """Scans of the reference interpreter."""
    after, circuits = powered_down(program), {f"i{n}": n % 3 == 0 for n in range(16)}
    for k in range(times):
        after = scan(program, after, circuits, {}, 10 * k)


def _wide(core: Core, rungs: int, c_us: float | None) -> None:
    lanes = 4_096
    run, ones = scan_wide(core), (1 << lanes) - 1
    state = (0,) * len(core.state)
    signals = tuple(ones // (2 * i + 3) for i in range(len(core.signals)))
    wide = timed(lambda: run(ones, state, signals), 9) * 1000 / lanes
    peer = "no gcc here" if c_us is None else f"{wide / c_us:.2f} x gcc -O2, scalar"
    show(f"  of 4,096 stimuli at once, each, {rungs:,} rungs", wide, "us", peer)


def first_scan() -> None:
    """From checked program to first fast scan at 1,000 rungs: the goal is 25 ms."""
    program = program_of(ladder_text(1_000, timers=50))

    def first() -> None:
        core = lower(program)
        scan_once(core)((False,) * len(core.state), (False,) * len(core.signals))

    whole = timed(first, 7)
    lowering = timed(lambda: lower(program), 7)
    show("checked program to first fast scan, 1,000", whole, "ms", f"{lowering:.0f} ms to lower it")


def a_year() -> None:
    """A year of a clock-driven panel: the goal is 5 s; the peer is the runner on the tree walk."""
    text = (shipped("demos") / "boathouse.rungs").read_text(encoding="utf-8")
    program = program_of(text)
    year = 365 * 86_400_000

    def fast() -> None:
        for _ in FastPanel(program).advance(year):
            pass

    ours, peer = timed(fast, 3), timed(lambda: Panel(program).run(year), 3)
    minute = timed(lambda: Panel(program, jump=False).run(60_000), 3)
    every = minute * 365 * 1440 / ours
    show(
        "a simulated year",
        ours,
        "ms",
        f"{ours / peer:.2f} x the runner; 1/{every:,.0f} of all scans",
    )
