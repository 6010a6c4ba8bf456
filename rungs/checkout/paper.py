"""The plan of a checkout as a paper with a box for every step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from rungs.checkout.plan import Part, Plan, Sight, Step
from rungs.checkout.points import MOVING
from rungs.checkout.words import seen_text
from rungs.papers.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Paragraph,
    Points,
    Table,
    counted,
)
from rungs.program.nodes import Program

CAUTIONS: Final = (
    "Before a switch is moved that can start a motor, a gate or a hoist, keep people clear of it "
    "and have a way to stop it at hand that does not pass through this panel.",
    "Try the hard-wired stops first, by hand, before anything else of this list.",
    "A checkout is no proof of safety. It shows that the board does what the program says; whether "
    "that is safe, local codes and licensed people decide.",
)
BOX: Final = "[ ]"

Results = Mapping[str, tuple[str, str]]  # of a step's key: the result, and who found it and when


def checkout_paper(
    plan: Plan, program: Program | None = None, results: Results | None = None
) -> Paper:
    """The plan as a paper named `checkout`: inputs, relays and functions, a box for each step.

    With a `program`, loads that can move are named at the top. With `results` the box holds what
    was found, and a last column by whom and when.
    """
    title = f"Checkout: {plan.title}" if plan.title else "Checkout"
    return Paper("checkout", title, tuple(_blocks(plan, program, results)))


def _blocks(plan: Plan, program: Program | None, results: Results | None) -> Iterator[Block]:
    yield from map(Caution, CAUTIONS)
    if program is not None:
        moving = [
            f"{d.name} ({d.terminal}, {d.load.kind}{f', {d.label}' if d.label else ''})"
            for d in program.outputs
            if d.load is not None and d.load.kind in MOVING
        ]
        if moving:
            yield Caution(f"These can set something in motion: {', '.join(moving)}.")
    yield Points(tuple(_sums(plan)))
    yield Paragraph(
        "Tick the box when all of a step is seen. ON and off are the relay's coil; the load "
        "follows by its contact. What is not named stays as it was in the step before."
    )
    numbered = list(enumerate(plan.steps, 1))
    yield Heading("Inputs")
    yield Paragraph("Look at the board's lamp or row for the terminal.")
    yield _table("inputs", [n for n in numbered if n[1].part == "inputs"], results)
    yield Heading("Relays")
    yield _table("relays", [n for n in numbered if n[1].part == "relays"], results)
    yield Heading("Functions")
    hand = [n for n in numbered if n[1].part == "functions" and n[1].by_hand]
    yield Paragraph("Do these in order; each begins where the one before has left the panel.")
    yield _table("functions", hand, results)
    free = [step for step in plan.steps if not step.by_hand]
    if free:
        yield Heading("On the emulator alone")
        yield Paragraph(
            f"{counted(plan.together, 'more row')} need two things in one scan, or a hand that is "
            f"exact to a scan. {counted(len(free), 'step')} after these take them on the emulator; "
            "they are in the data, and nobody is asked to do them at the panel."
        )
    if plan.left_out:
        yield Heading("Left out")
        yield Points(plan.left_out)


def _sums(plan: Plan) -> Iterator[str]:
    parts: dict[Part, str] = {"inputs": "input", "relays": "relay", "functions": "function"}
    for part, word in parts.items():
        count = sum(step.part == part and step.by_hand for step in plan.steps)
        yield f"{word} steps: {count:,}"
    if not plan.table_rows:
        return
    if plan.parts:
        named = "; ".join(", ".join(part) for part in plan.parts)
        yield (
            f"The relays are tried in {len(plan.parts)} parts: {named}. Each part has a table of "
            "its own, which says all that those relays do; one table for all has many more rows "
            "and says nothing more. Single wrong cells of it on a board 'rungs compare' finds."
        )
    tables = "transition tables of the parts" if plan.parts else "transition table"
    yield (
        f"The functions take {plan.covered:,} of the {plan.table_rows:,} rows of the {tables} in "
        f"{counted(plan.tour, 'step')}; {plan.together:,} more are taken on the emulator."
    )
    after = ", part after part," if plan.parts else ""
    if plan.bound == plan.tour:
        yield f"No tour of these rows{after} has fewer steps."
    else:
        yield f"No tour of these rows{after} has fewer than {counted(plan.bound, 'step')}."


def _table(name: str, steps: Sequence[tuple[int, Step]], results: Results | None) -> Table:
    columns = ["step", "box", "do", "see", "rungs", "terminals"]
    columns += ["found by"] if results is not None else []
    rows = []
    before: tuple[Sight, ...] | None = None
    for number, step in steps:
        result, who = BOX, ""
        if results is not None and step.key in results:
            result, who = results[step.key]
        chain = before if step.part == "functions" and not _begins(step) else None
        see = [seen_text(step.sights, chain)] if step.sights else []
        cells = [
            str(number),
            result,
            "; ".join(step.do),
            "; ".join([*see, *step.notes]),
            " ".join(map(str, step.rungs)),
            " ".join(step.terminals),
        ]
        rows.append(tuple([*cells, who] if results is not None else cells))
        before = step.sights
    return Table(name, tuple(columns), tuple(rows), numbers=(0,))


def relay_sheet(plan: Plan) -> Table:
    """Every step with a column for each relay (its coil, and its load where one is declared), for a
    spreadsheet; those of the emulator too."""
    names = list(dict.fromkeys((s.output, s.terminal) for step in plan.steps for s in step.sights))
    columns = ("step", "part", "by hand", "do", "rows", *(f"{t} {n}" for n, t in names))
    rows = []
    for number, step in enumerate(plan.steps, 1):
        seen = {sight.output: sight for sight in step.sights}
        cells = [str(number), step.part, "yes" if step.by_hand else "no", "; ".join(step.do)]
        cells.append(" ".join(map(str, step.rows)))
        for name, _ in names:
            sight = seen.get(name)
            coil = "" if sight is None else "ON" if sight.coil else "off"
            load = "" if sight is None or sight.load is None else ", load "
            cells.append(coil + load + ("" if not load or sight is None else _on(sight.load)))
        rows.append(tuple(cells))
    return Table("relays-by-step", columns, tuple(rows), numbers=(0,))


def _on(load: bool | None) -> str:
    return "on" if load else "off"


def _begins(step: Step) -> bool:
    """Whether everything is looked at anew: power has just come back."""
    return any("power" in words for words in step.do)
