"""Everything that is asked of a program, in one report: its properties, and the ready questions.

A run that is cut off keeps what it had; each part says for itself whether it came to its end.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from rungs.core.nodes import PERIOD
from rungs.program.nodes import Program
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.ready import Fight, Stuck, Swap, fights, stuck_coils, swaps
from rungs.prove.store import Store
from rungs.prove.verdict import Judge, Verdict

# what is being looked at, and how many steps are done of how many
Progress = Callable[[str, int, int], None]

QUESTIONS = (
    "coils that never move",
    "outputs that change over in one scan",
    "clocks and switches that fight",
)


@dataclass(slots=True)
class Report:
    """What was found. `unfinished` names the parts that the budget cut off, and why."""

    program: Program
    period: int
    wrong: str = ""  # what the assumptions contradict
    verdicts: list[Verdict] = field(default_factory=list)
    stuck: tuple[Stuck, ...] = ()
    swaps: tuple[Swap, ...] = ()
    fights: tuple[Fight, ...] = ()
    unfinished: list[tuple[str, str]] = field(default_factory=list)
    seconds: float = 0.0


def prove(
    program: Program,
    budget: Budget,
    period: int = PERIOD,
    questions: bool = True,
    only: str = "",
    store: Store | None = None,
    progress: Progress | None = None,
) -> Report:
    """Verdicts on all properties and, with `questions`, the answers to the ready questions.

    With `only` those properties are looked at whose name has these words in it. `store` keeps
    answers from one time to the next.

    Raises LowerError for a program that has no core; never OutOfBudget.
    """
    began = time.monotonic()
    report = Report(program, period)
    judge = Judge(program, period, store)
    wanted = [(number, name) for number, name in enumerate(judge.names) if only in name]
    steps = len(wanted) + (len(QUESTIONS) if questions else 0)
    done = 0

    def tell(words: str) -> None:
        nonlocal done
        if progress is not None:
            progress(words, done, steps)
        done += 1

    judge.prepare(budget)
    report.wrong = judge.assumptions(budget)
    for number, name in wanted:
        tell(name)
        report.verdicts.append(judge.verdict(number, budget, report.wrong))
    if questions:
        for words, ask in _questions(report, budget, store):
            tell(words)
            with _kept(report, words):
                ask()
    if store is not None:
        store.tidy()
    report.seconds = time.monotonic() - began
    return report


def _questions(
    report: Report, budget: Budget, store: Store | None
) -> Iterator[tuple[str, Callable[[], None]]]:
    program, period = report.program, report.period

    def stuck() -> None:
        report.stuck = stuck_coils(program, budget, period, store)

    def changing_over() -> None:
        report.swaps = swaps(program, budget, period, store)

    def fighting() -> None:
        report.fights = fights(program, budget, period, store)

    yield from zip(QUESTIONS, (stuck, changing_over, fighting), strict=True)


@contextmanager
def _kept(report: Report, words: str) -> Iterator[None]:
    """Go on with the next part when one is cut off."""
    try:
        yield
    except OutOfBudget as stop:
        report.unfinished.append((words, str(stop)))
