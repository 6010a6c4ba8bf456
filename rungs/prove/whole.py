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
from rungs.prove.order import Orders, orders
from rungs.prove.ready import Fight, Fights, Stuck, Swap, fights, stuck_coils, swaps
from rungs.prove.situations import Situations, situations
from rungs.prove.situations.chatter import Chatters, chatters
from rungs.prove.situations.cuts import AfterCuts, after_cuts
from rungs.prove.situations.together import Races, races
from rungs.prove.situations.wires import WireFaults, wire_faults
from rungs.prove.store import Store
from rungs.prove.verdict import Judge, Verdict

# what is being looked at, and how many steps are done of how many
Progress = Callable[[str, int, int], None]

# seconds for each part, where nobody asks to be thorough
SITUATIONS, CHATTER, RACES, CUTS, WIRES, ORDERS = 0.25, 0.05, 0.1, 0.15, 0.15, 0.2
THOROUGH = 30.0  # times as long


FIGHTS = "clocks and switches that fight"


@dataclass(slots=True)
class Report:
    """What was found. `unfinished` names the parts that the budget cut off, and why."""

    program: Program
    period: int
    wrong: str = ""  # what the assumptions contradict
    verdicts: list[Verdict] = field(default_factory=list)
    situations: int = 0  # how many were looked at
    every_situation: bool = False  # whether those were all
    chatters: Chatters | None = None
    races: Races | None = None
    cuts: AfterCuts | None = None
    wires: WireFaults | None = None
    orders: Orders | None = None
    stuck: tuple[Stuck, ...] = ()
    swaps: tuple[Swap, ...] = ()
    fights: tuple[Fight, ...] = ()
    unfinished: list[tuple[str, str]] = field(default_factory=list)
    seconds: float = 0.0


def fights_of(report: Report) -> Fights:
    """The fights of a report, with what was not found out about them."""
    return Fights(report.fights, tuple(why for what, why in report.unfinished if what == FIGHTS))


def prove(
    program: Program,
    budget: Budget,
    period: int = PERIOD,
    questions: bool = True,
    only: str = "",
    thorough: bool = False,
    store: Store | None = None,
    progress: Progress | None = None,
) -> Report:
    """Verdicts on all properties and, with `questions`, the answers to the ready questions.

    With `only` those properties are looked at whose name has these words in it. `store` keeps
    answers from one time to the next. With `thorough` the ready questions take their time.

    Raises LowerError for a program that has no core; never OutOfBudget.
    """
    began = time.monotonic()
    report = Report(program, period)
    judge = Judge(program, period, store)
    wanted = [(number, name) for number, name in enumerate(judge.names) if only in name]
    asked = tuple(_questions(report, budget, store, thorough)) if questions else ()
    steps = len(wanted) + len(asked)
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
    for words, ask in asked:
        tell(words)
        with _kept(report, words):
            budget.check()
            ask()
    if store is not None:
        store.tidy()
    report.seconds = time.monotonic() - began
    return report


def _questions(
    report: Report, budget: Budget, store: Store | None, thorough: bool
) -> Iterator[tuple[str, Callable[[], None]]]:
    """What is asked, and a function that asks it and puts what was found into the report."""
    program, period = report.program, report.period
    longer = THOROUGH if thorough else 1.0
    found: list[Situations] = []

    def look() -> None:
        found.append(situations(program, budget.part(SITUATIONS * longer), period))
        report.situations, report.every_situation = found[0].count, found[0].complete

    def chatter() -> None:
        report.chatters = chatters(found[0], budget.part(CHATTER * longer)) if found else None

    def together() -> None:
        report.races = races(found[0], budget.part(RACES * longer)) if found else None

    def cut() -> None:
        report.cuts = after_cuts(found[0], budget.part(CUTS * longer)) if found else None

    def wire() -> None:
        report.wires = wire_faults(found[0], budget.part(WIRES * longer)) if found else None

    def order() -> None:
        report.orders = orders(program, budget.part(ORDERS * longer), period, thorough)

    def stuck() -> None:
        report.stuck = stuck_coils(program, budget, period, store)

    def changing_over() -> None:
        report.swaps = swaps(program, budget, period, store)

    def fighting() -> None:
        answer = fights(program, budget, period, store)
        report.fights = answer.found
        report.unfinished += [(FIGHTS, why) for why in answer.unknown]

    yield FIGHTS, fighting
    yield "outputs that change over in one scan", changing_over
    yield "coils that never move", stuck
    yield "situations of the panel", look
    yield "outputs that never come to rest", chatter
    yield "power cuts", cut
    yield "broken and shorted wires", wire
    yield "switches that change together", together
    yield "the order of the rungs", order


@contextmanager
def _kept(report: Report, words: str) -> Iterator[None]:
    """Go on with the next part when one is cut off."""
    try:
        yield
    except OutOfBudget as stop:
        report.unfinished.append((words, str(stop)))
