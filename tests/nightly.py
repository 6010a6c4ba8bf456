"""`python -m tests.nightly [TRACES] [FIRST_SEED]`: all engines against the second reading, in bulk.

One trace is one random program under one random stimulus, played by the reference interpreter, the
core engine, the generated loop, the bit-parallel engine and, where it is small enough for a table,
by the emulator from the table's CSV. Prints the figures, and each seed on which two of them differ.
"""

from __future__ import annotations

import sys
from collections import Counter
from random import Random
from time import perf_counter

from tests.engines import ENGINES, play_table
from tests.property.test_engines import played
from tests.strategies import clock_functions, random_program, random_stimulus

MOST_STATES = 150


def trace_of(seed: int) -> tuple[list[str], bool]:
    """The engines that differ on one seed, and whether a table could be made."""
    rng = Random(seed)
    program = random_program(rng, rng.randint(1, 12))
    stimulus = random_stimulus(rng, program, rng.choice((20, 40, 80)))
    wanted = played(ENGINES["second reading"], program, stimulus)
    differ = [
        name
        for name, play in ENGINES.items()
        if name != "second reading" and played(play, program, stimulus) != wanted
    ]
    closed, events = clock_functions(program, stimulus.start)
    got = play_table(
        program,
        stimulus.rows,
        stimulus.period,
        closed,
        events,
        first_match=seed % 2 == 1,
        most=MOST_STATES,
    )
    names = [output.name for output in program.outputs]
    if got is not None and got != [(t, {n: shown[n] for n in names}) for t, shown in wanted]:
        differ.append("table emulator")
    return differ, got is not None


def main(count: int, first: int) -> int:
    """Run the traces; 1 if any two engines differ."""
    start = perf_counter()
    wrong: Counter[str] = Counter()
    tables = 0
    for seed in range(first, first + count):
        differ, has_table = trace_of(seed)
        tables += has_table
        for name in differ:
            wrong[name] += 1
            print(f"seed {seed}: {name} differs", flush=True)
    took = perf_counter() - start
    print(f"{count:,} program-traces in {len(ENGINES)} engines, {tables:,} of them as tables too")
    print(f"{sum(wrong.values())} differences; {took:,.0f} s")
    return 1 if wrong else 0


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:3]]
    sys.exit(main(words[0] if words else 20_000, words[1] if len(words) > 1 else 10_000_000))
