"""`python -m tests.benchmarks`: what takes how long, against a stated peer in the same run.

CPU time, the median of several runs. These figures are to be read, not asserted: a busy machine
changes all of them, and the ratios least.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from itertools import product
from random import Random
from statistics import median
from time import perf_counter, process_time

from rungs.draw.text import draw_program
from rungs.language.parse import parse
from rungs.program.check import check
from rungs.program.nodes import Circuit, Parallel, Program, Series
from rungs.scan.runner import Panel
from rungs.shipped import shipped
from rungs.source import Source, source_from_text
from rungs.table.truth import truth_table
from tests.helpers import program_of


def timed(work: Callable[[], object], times: int = 5) -> float:
    """The median CPU time of the work, in ms."""
    found = []
    for _ in range(times):
        start = process_time()
        work()
        found.append((process_time() - start) * 1000)
    return median(found)


def ladder_text(rungs: int, seed: int = 1) -> str:
    """Ladder-like text: about 4.5 contacts a rung, half the rungs drive relays, 16 inputs."""
    rng = Random(seed)
    half = rungs // 2
    lines = [f"input i{n} at I{n}" for n in range(16)]
    lines += [f"relay r{n}" for n in range(half)]
    lines += [f"output o{n} at R{n}" for n in range(rungs - half)]
    names = [f"i{n}" for n in range(16)]
    for target in [f"r{n}" for n in range(half)] + [f"o{n}" for n in range(rungs - half)]:
        contacts = [rng.choice(("", "not ")) + rng.choice(names) for _ in range(rng.randint(3, 6))]
        series = " and ".join(contacts[2:])
        lines.append(f"rung\n    ({contacts[0]} or {contacts[1]}) and {series} -> {target}")
        names.append(target)
    return "\n".join(lines)


def reading() -> None:
    """Parse and check 1,000 rungs; the goal is 150 ms, the peer the parser alone."""
    source: Source = source_from_text(ladder_text(1_000))
    whole = timed(lambda: check(source))
    alone = timed(lambda: parse(source))
    show("parse and check 1,000 rungs", whole, "ms", f"{whole / alone:.2f} x the parser alone")


def a_year() -> None:
    """A year of the boathouse; the peer is the same panel scan by scan, over a minute of it."""
    text = (shipped("demos") / "boathouse.rungs").read_text(encoding="utf-8")
    program = program_of(text)
    year = timed(lambda: Panel(program).run(365 * 86_400_000), 3)
    minute = timed(lambda: Panel(program, jump=False).run(60_000), 3)
    show("a simulated year", year, "ms", f"1/{minute * 365 * 1440 / year:,.0f} of scan by scan")


def tables() -> None:
    """The truth table of 30 rungs and 20 signals; the peer is a loop over itertools.product."""
    names = [f"a{n}" for n in range(20)]
    rng = Random(3)
    text = "".join(f"input {name} at I{n}\n" for n, name in enumerate(names))
    for n in range(30):
        contacts = [rng.choice(("", "not ")) + rng.choice(names) for _ in range(5)]
        text += f"output o{n} at R{n}\nrung ({contacts[0]} or {contacts[1]}) and "
        text += f"({contacts[2]} or {' and '.join(contacts[3:])}) -> o{n}\n"
    program = program_of(text)
    ours = timed(lambda: truth_table(program), 3)
    rows = 2_000
    loop = timed(lambda: _loop(program, names, rows), 3) * (1 << 20) / rows
    show(
        "truth table, 30 rungs, 20 signals", ours, "ms", f"{loop / ours:,.0f} x faster than a loop"
    )


def _loop(program: Program, names: list[str], rows: int) -> int:
    count = 0
    for number, pattern in enumerate(product((False, True), repeat=len(names))):
        if number == rows:
            break
        at = dict(zip(names, pattern, strict=True))
        count += sum(_plain(rung.circuit, at) for rung in program.rungs)
    return count


def _plain(circuit: Circuit, at: dict[str, bool]) -> bool:
    if isinstance(circuit, Series):
        return all(_plain(part, at) for part in circuit.parts)
    if isinstance(circuit, Parallel):
        return any(_plain(part, at) for part in circuit.parts)
    return at[circuit.name] != getattr(circuit, "negated", False)


def drawing() -> None:
    """The ladder of 2,000 rungs; the peer is the parser on the same file."""
    source = source_from_text(ladder_text(2_000))
    program = check(source).program
    assert program is not None
    drawn = timed(lambda: draw_program(program), 3)
    parsed = timed(lambda: parse(source), 3)
    show("draw 2,000 rungs", drawn, "ms", f"{drawn / parsed:.2f} x parsing them")


def starting() -> None:
    """`rungs --help` against `python -c pass`, wall time; the goal is 2.5 times."""

    def wall(*words: str) -> float:
        found = []
        for _ in range(9):
            start = perf_counter()
            subprocess.run([sys.executable, *words], check=True, capture_output=True)
            found.append((perf_counter() - start) * 1000)
        return median(found)

    ours, bare = wall("-m", "rungs", "--help"), wall("-c", "pass")
    show("rungs --help", ours, "ms", f"{ours / bare:.2f} x python -c pass")


def show(what: str, value: float, unit: str, ratio: str) -> None:
    """One line of the result."""
    print(f"{what:<36}{value:>10,.1f} {unit}   {ratio}")


if __name__ == "__main__":
    for benchmark in (reading, a_year, tables, drawing, starting):
        benchmark()
