"""What the file itself states, put beside the narration: properties, scenarios, and quarrels.

The narration says what the logic does, the file what somebody wants; a reader should see both, with
a verdict, on one page.
"""

from __future__ import annotations

from collections.abc import Callable

from rungs.language.words import duration_text
from rungs.narrate.data import Beside, Conflict, Played, Stated
from rungs.program.nodes import Program, Property
from rungs.program.words import property_text
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.ready import Fight, fights
from rungs.prove.store import Store
from rungs.prove.verdict import Judge, Verdict, name_of
from rungs.scan.scenario import play

Progress = Callable[[str, int, int], None]


def beside_of(
    program: Program,
    budget: Budget,
    period: int,
    store: Store | None,
    progress: Progress | None,
) -> Beside:
    """The properties with their verdicts, the scenarios as played, and rungs that pull one device
    both ways, as far as the budget goes."""
    unfinished: list[str] = []
    properties = _stated(program, budget, period, store, progress)
    if any(each.verdict == "not asked" and each.kind != "assume" for each in properties):
        unfinished.append("the proofs of some properties")
    try:
        budget.check()
        answer = fights(program, budget, period, store)
        conflicts = tuple(map(_conflict, answer.found))
        unfinished += [f"whether two sources pull {words}" for words in answer.unknown]
    except OutOfBudget:
        conflicts = ()
        unfinished.append("whether two sources pull one device both ways")
    played = []
    for number, scenario in enumerate(program.scenarios):
        if progress is not None:
            progress(scenario.label, number, len(program.scenarios))
        result = play(program, scenario, period)
        failed = [step.text for step in result.steps if step.passed is False]
        failed += [f"broken: {name_of(program, b.property)}" for b in result.broken]
        line = program.source.position(scenario.span.start).line
        played.append(
            Played(scenario.label, line, result.passed, result.expectations, tuple(failed))
        )
    return Beside(properties, tuple(played), conflicts, tuple(unfinished))


def _stated(
    program: Program,
    budget: Budget,
    period: int,
    store: Store | None,
    progress: Progress | None,
) -> tuple[Stated, ...]:
    judge = Judge(program, period, store)
    wrong = ""
    verdicts: dict[int, Verdict] = {}
    try:
        judge.prepare(budget)
        wrong = judge.assumptions(budget)
        for number, name in enumerate(judge.names):
            if progress is not None:
                progress(name, number, len(judge.names))
            budget.check()
            verdicts[number] = judge.verdict(number, budget, wrong)
    except OutOfBudget:
        pass
    said = [_one(program, item, verdicts.get(n)) for n, item in enumerate(judge.stated)]
    said += [_one(program, item, None) for item in program.properties if item.kind == "assume"]
    return tuple(said)


def _one(program: Program, item: Property, verdict: Verdict | None) -> Stated:
    line = program.source.position(item.span.start).line
    word = verdict.verdict if verdict is not None else "not asked"
    text = property_text(item).removeprefix(f"{item.kind} ")
    return Stated(item.kind, item.label, text, line, word, _note(item, verdict))


def _note(item: Property, verdict: Verdict | None) -> str:
    if item.kind == "assume":
        return "taken for true of the plant; nobody proves it"
    if verdict is None:
        return "there was no time for it"
    match verdict.verdict:
        case "proved" if not verdict.exercised:
            return "but no run puts it to the test"
        case "fails":
            end = verdict.witness.end if verdict.witness is not None else 0
            return f"a run breaks it after {duration_text(end)}; 'rungs prove' shows it"
        case "holds":
            return f"for the first {verdict.scans:,} scans; no proof was found"
        case "unknown":
            return str(getattr(verdict.answer, "reason", ""))
        case _:
            return ""


def _conflict(fight: Fight) -> Conflict:
    return Conflict(
        fight.device,
        fight.latch.number,
        fight.unlatch.number,
        fight.wins.number,
        fight.sets,
        fight.clears,
        fight.when,
    )
