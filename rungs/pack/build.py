"""All papers of one panel, worked out one after the other, and what restores it.

Each paper comes from the room that owns it; here they are only put in order, so that pack and verbs
can never say different things.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from rungs import __version__
from rungs.checkout.build import checkout_plan
from rungs.checkout.found import found_blocks
from rungs.checkout.paper import checkout_paper
from rungs.checkout.record import Record, plan_in
from rungs.checkout.walk import Walk
from rungs.draw.ladder_paper import ladder_paper
from rungs.draw.week_svg import week_pictures
from rungs.draw.wiring_svg import wiring_pictures
from rungs.findings import Finding
from rungs.narrate.beside import beside_from
from rungs.narrate.build import narrate
from rungs.narrate.paper import narration_paper
from rungs.pack.changes import Changes, changes, statement_changes
from rungs.pack.cover import (
    Status,
    cautions_paper,
    cover_paper,
    effect_lines,
    file_cautions,
    history_paper,
    scenario_paper,
    source_paper,
)
from rungs.pack.restore import BoardText, Restore, Revision, digest_of
from rungs.panel.paper import sums_paper
from rungs.panel.sums import Sums, panel_sums
from rungs.papers.blocks import Block, Heading, Paper, Paragraph, Points, Table, counted
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.store import Store
from rungs.prove.whole import Report, fights_of, prove
from rungs.report.proof_paper import proof_paper, proof_words
from rungs.scan.scenario import ScenarioResult, play
from rungs.source import source_from_text
from rungs.svg import PaperSize
from rungs.table.board import Board
from rungs.table.compile import KINDS, Compiler, Outcome
from rungs.table.head import sha256
from rungs.table.model import TableFile
from rungs.table.paper import table_paper
from rungs.week.build import monday, week
from rungs.week.paper import week_paper
from rungs.wiring.paper import io_paper, wiring_paper
from rungs.wiring.plan import wiring

# what is being worked out, and how many steps are done of how many
Progress = Callable[[str, int, int], None]

# rows that are printed; more than these go into the table's own file
MOST_ROWS = 600
MEGABYTES = 2_000


@dataclass(frozen=True, slots=True)
class Ask:
    """What a pack is made from. `data` is the panel's file byte for byte, `before` what was handed
    over last, `at` the local time in words, `today` a date of the week that is drawn, and
    `seconds` how long proofs and searches may take, each part of them its share."""

    program: Program
    data: bytes
    findings: tuple[Finding, ...] = ()
    board: Board | None = None
    board_text: BoardText | None = None
    record: Record | None = None
    before: Restore | None = None
    before_program: Program | None = None
    at: str = ""
    today: date = date(2026, 1, 5)
    seconds: float = 60.0
    sheets: PaperSize = "A4"
    sun_by: Literal["month", "week"] | None = None


@dataclass(frozen=True, slots=True)
class Handover:
    """A pack before it is written: its papers in order, and what restores the panel."""

    title: str
    papers: tuple[Paper, ...]
    restore: Restore
    statuses: tuple[Status, ...]


def hand_over(ask: Ask, store: Store | None = None, progress: Progress | None = None) -> Handover:
    """Work everything out. Takes about `ask.seconds` for a large panel, seconds for a small one."""
    work = _Work(ask, store, progress)
    work.tell("the table")
    table, refusals = work.table()
    work.tell("the scenarios")
    results = tuple(play(ask.program, scenario) for scenario in ask.program.scenarios)
    work.tell("the proofs")
    report = prove(ask.program, work.budget(0.4), store=store)
    work.tell("the sequence of operation")
    fought = fights_of(report)
    told = beside_from(ask.program, report.verdicts, fought, results)
    logic = narrate(ask.program, work.budget(0.2), beside=False)
    sequence = narration_paper(replace(logic, beside=told))
    work.tell("the ladder")
    ladder = ladder_paper(ask.program, work.size)
    work.tell("the week")
    seven = week(ask.program, monday(ask.today), fought=fought)
    work.tell("the sums")
    sums = panel_sums(ask.program, ask.board)
    work.tell("the wiring")
    plan = wiring(ask.program)
    drawn = wiring_pictures(plan, work.size)
    work.tell("the checkout")
    checkout = work.checkout()
    work.tell("what changed")
    found = work.changed()
    revisions = work.revisions(found)
    statuses = (
        *work.statuses(report, results, sums, table, refusals),
        Status("checkout", *work.checked),
    )
    digest = digest_of(ask.data)
    papers = (
        cover_paper(ask.program, digest, ask.at, f"rungs {__version__}", statuses, len(revisions)),
        cautions_paper(file_cautions(ask.program)),
        replace(io_paper(plan), title="I/O list"),
        replace(sequence, title="Sequence of operation"),
        replace(ladder, title="Ladder"),
        replace(week_paper(seven, week_pictures(seven)), title="Clocks and the week"),
        _table_paper(table, refusals),
        proof_paper(report),
        scenario_paper(results),
        replace(sums_paper(sums), title="Panel sums"),
        replace(wiring_paper(plan, drawn), title="Wiring"),
        replace(checkout, title="Checkout"),
        history_paper(revisions, found),
        source_paper(ask.program, digest),
    )
    restore = Restore(
        tool=f"rungs {__version__}",
        file=ask.program.source.name,
        sha256=digest,
        text=ask.data.decode("utf-8"),
        board=ask.board_text,
        sun_by=ask.sun_by,
        year=ask.today.year,
        table=table,
        revisions=revisions,
    )
    title = f"{ask.program.title or ask.program.source.name}: handover"
    return Handover(title, papers, restore, statuses)


STEPS = 10


class _Work:
    """One pack in the making."""

    def __init__(self, ask: Ask, store: Store | None, progress: Progress | None) -> None:
        self.ask = ask
        self.store = store
        self.progress = progress
        self.done = 0
        self.checked = ("not begun", False)

    @property
    def size(self) -> PaperSize:
        """The sheets that drawings are laid out for."""
        return self.ask.sheets

    def tell(self, words: str) -> None:
        if self.progress is not None:
            self.progress(words, self.done, STEPS)
        self.done += 1

    def budget(self, share: float) -> Budget:
        return Budget(self.ask.seconds * share, MEGABYTES)

    def table(self) -> tuple[TableFile | None, tuple[Finding, ...]]:
        """The table for the board, or of the plainest kind that the program fits."""
        compiler = Compiler(self.ask.program)
        board = self.ask.board
        outcomes: list[Outcome] = []
        for kind in KINDS if board is None else board.kinds:
            if board is None:
                outcome = Outcome(kind, "", *compiler.table(kind))
            else:
                outcome = compiler.for_board(kind, board, self.ask.sun_by, self.ask.today.year)
            if outcome.table is not None:
                return outcome.table, outcome.findings
            outcomes.append(outcome)
        return None, outcomes[-1].findings if outcomes else ()

    def changed(self) -> Changes | None:
        """What is different since the last handover; None if there was none, or nothing is."""
        before, ask = self.ask.before, self.ask
        if before is None or before.sha256 == digest_of(ask.data):
            return None
        if ask.before_program is None:  # a text that this version takes for wrong
            old = source_from_text(before.text, before.file)
            return Changes(tuple(statement_changes(old, ask.program.source)))
        return changes(ask.before_program, ask.program, self.budget(0.2))

    def revisions(self, found: Changes | None) -> tuple[Revision, ...]:
        """The list of handovers with this one, if it is not the last one again."""
        ask = self.ask
        old = () if ask.before is None else ask.before.revisions
        digest = digest_of(ask.data)
        if old and old[-1].sha256 == digest:
            return old
        told: tuple[str, ...] = ()
        if found is not None:
            told = found.told or ("nothing but comments or the layout of the text",)
        effects = () if found is None else effect_lines(found)
        number = len(old) + 1
        new = Revision(number=number, at=ask.at, sha256=digest, changes=told, effects=effects)
        return (*old, new)

    def checkout(self) -> Paper:
        """The plan, and what was found if there is a record."""
        program, record = self.ask.program, self.ask.record
        # the plan that was walked, as long as it is that of this text
        plan = plan_in(record, sha256(program))
        if plan is None:
            plan = checkout_plan(program, self.ask.seconds * 0.2)
        paper = checkout_paper(plan, program)
        if record is None:
            steps = counted(sum(step.by_hand for step in plan.steps), "step")
            self.checked = (f"not begun, {steps}", False)
            return paper
        summary = Walk(plan, record).summary()
        self.checked = ("; ".join(summary.lines()), summary.whole and not summary.older)
        return replace(paper, blocks=(*found_blocks(plan, record), *paper.blocks))

    def statuses(
        self,
        report: Report,
        results: tuple[ScenarioResult, ...],
        sums: Sums,
        table: TableFile | None,
        refusals: tuple[Finding, ...],
    ) -> tuple[Status, ...]:
        """The lines of the cover."""
        ask = self.ask
        warnings = sum(f.severity == "warning" for f in ask.findings)
        passed = sum(result.passed for result in results)
        proved = all(v.verdict == "proved" and v.exercised for v in report.verdicts)
        kind = "; ".join(["none fits", *(f.message for f in refusals[:1])])
        if table is not None:
            rows = counted(table.row_count, "row")
            kind = f"{table.kind} table, {rows}, proved to do what the program does; "
            kind += f"board {table.board}" if table.board else "no board was named"
        failed, unknown = sums.count("fail"), sums.count("unknown")
        return (
            Status("the text", counted(warnings, "warning"), not warnings),
            Status("properties", proof_words(report), bool(report.verdicts) and proved),
            Status(
                "scenarios",
                f"{passed} of {len(results)} pass" if results else "none are written",
                0 < passed == len(results),
            ),
            Status("sums", f"{failed} failed, {unknown} unknown", not failed and not unknown),
            Status("table", kind, table is not None),
        )


def _table_paper(table: TableFile | None, refusals: tuple[Finding, ...]) -> Paper:
    if table is None:
        errors = [f for f in refusals if f.severity == "error"]
        whys = tuple(f"{f.message}; {f.effect}; way out: {f.fix}" for f in errors)
        words = Paragraph("No kind of table holds this panel:")
        return Paper(
            "table", "Table for the board", (words, Points(whys or ("it has no outputs",)))
        )
    paper = table_paper(table)
    blocks = paper.blocks
    if table.row_count > MOST_ROWS:
        # a table of thousands of rows is for the board and not for the eye
        told = (
            f"The table has {table.row_count:,} rows, which are not printed. All of them are in "
            "the restore file; 'rungs restore' writes them as JSON and CSV."
        )
        kept: list[Block] = [b for b in blocks if not (isinstance(b, Table) and b.name == "rows")]
        blocks = (*kept, Paragraph(told))
    notes = tuple(f.message for f in refusals if f.severity != "error")
    if notes:
        blocks = (*blocks, Heading("Notes of the compiler"), Points(notes))
    return Paper("table", "Table for the board", blocks)
