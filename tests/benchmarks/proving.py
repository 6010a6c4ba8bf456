"""The time of a whole `rungs prove`: each demo, and a panel of ordinary size.

There is no peer for the whole of it; the goal for the panel is 2 s.
"""

from __future__ import annotations

from time import process_time

from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.whole import Report, prove
from rungs.shipped import shipped
from tests.benchmarks.panels import panel
from tests.helpers import program_of


def proving() -> None:
    """Every property and every ready question, nothing kept from before."""
    for path in sorted(shipped("demos").glob("*.rungs")):
        _show(path.stem, program_of(path.read_text(encoding="utf-8")))
    _show("40 rungs, 8 inputs, 6 timers", program_of(panel()))


def _show(name: str, program: Program) -> None:
    began = process_time()
    report = prove(program, Budget(120))
    spent = process_time() - began
    print(f"prove {name:<32}{spent:>8.2f} s   {_verdicts(report)}", flush=True)


def _verdicts(report: Report) -> str:
    words = [verdict.verdict for verdict in report.verdicts]
    counts = [
        f"{words.count(w)} {w}" for w in ("proved", "fails", "holds", "unknown") if w in words
    ]
    return ", ".join(counts)
