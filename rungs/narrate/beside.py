"""What the file itself states, put beside the narration: properties, scenarios, and quarrels.

The narration says what the logic does, the file what somebody wants; a reader should see both, with
a verdict, on one page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rungs.language.words import duration_text
from rungs.narrate.data import Beside, Played, Stated
from rungs.program.nodes import Program, Property
from rungs.program.words import property_text
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.ready import Fights, fights
from rungs.prove.store import Store
from rungs.prove.verdict import Judge, Verdict, name_of, stated
from rungs.scan.scenario import ScenarioResult, play

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
    verdicts = _verdicts(program, budget, period, store, progress)
    try:
        budget.check()
        fought = fights(program, budget, period, store)
    except OutOfBudget:
        fought = Fights((), ("one device both ways",))
    played = []
    for number, scenario in enumerate(program.scenarios):
        if progress is not None:
            progress(scenario.label, number, len(program.scenarios))
        played.append(play(program, scenario, period))
    return beside_from(program, verdicts, fought, played)


def beside_from(
    program: Program,
    verdicts: Sequence[Verdict],
    fought: Fights,
    results: Sequence[ScenarioResult],
) -> Beside:
    """The same from what was worked out already."""
    known = {verdict.item: verdict for verdict in verdicts}
    assumed = [item for item in program.properties if item.kind == "assume"]
    properties = [_one(program, item, known.get(item)) for item in (*stated(program), *assumed)]
    unfinished = [f"whether two sources pull {words}" for words in fought.unknown]
    if any(each.verdict == "not asked" and each.kind != "assume" for each in properties):
        unfinished.insert(0, "the proofs of some properties")
    played = tuple(_played(program, result) for result in results)
    return Beside(tuple(properties), played, fought.found, tuple(unfinished))


def _played(program: Program, result: ScenarioResult) -> Played:
    failed = [step.text for step in result.steps if step.passed is False]
    failed += [f"broken: {name_of(program, b.property)}" for b in result.broken]
    line = program.source.position(result.scenario.span.start).line
    label = result.scenario.label
    return Played(label, line, result.passed, result.expectations, tuple(failed))


def _verdicts(
    program: Program,
    budget: Budget,
    period: int,
    store: Store | None,
    progress: Progress | None,
) -> list[Verdict]:
    judge = Judge(program, period, store)
    found: list[Verdict] = []
    try:
        judge.prepare(budget)
        wrong = judge.assumptions(budget)
        for number, name in enumerate(judge.names):
            if progress is not None:
                progress(name, number, len(judge.names))
            budget.check()
            found.append(judge.verdict(number, budget, wrong))
    except OutOfBudget:
        pass
    return found


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
