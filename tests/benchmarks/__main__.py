"""`python -m tests.benchmarks`: what takes how long, against a stated peer in the same run.

CPU time, the median of several runs. These figures are to be read, not asserted: a busy machine
changes all of them, and the ratios least.
"""

from __future__ import annotations

import subprocess
import sys
from statistics import median
from time import perf_counter

from rungs.draw.text import draw_program
from rungs.language.parse import parse
from rungs.program.check import check
from rungs.source import Source, source_from_text
from tests.benchmarks.bench import bench, bench_start
from tests.benchmarks.engines import a_year, first_scan, scans
from tests.benchmarks.machines import minimisation, reachable, truth_tables
from tests.benchmarks.measure import ladder_text, show, timed
from tests.benchmarks.merged_rows import merged_rows
from tests.benchmarks.papers import papers
from tests.benchmarks.properties import properties
from tests.benchmarks.proving import proving
from tests.benchmarks.rechecking import rechecking


def reading() -> None:
    """Parse and check 1,000 rungs; the goal is 150 ms, the peer the parser alone."""
    source: Source = source_from_text(ladder_text(1_000))
    whole = timed(lambda: check(source))
    alone = timed(lambda: parse(source))
    show("parse and check 1,000 rungs", whole, "ms", f"{whole / alone:.2f} x the parser alone")


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


WHAT = (
    reading,
    scans,
    first_scan,
    a_year,
    truth_tables,
    reachable,
    minimisation,
    merged_rows,
    drawing,
    starting,
    rechecking,
    bench,
    bench_start,
    proving,
    properties,
    papers,
)

if __name__ == "__main__":
    for benchmark in WHAT:
        benchmark()
