"""The checkout of the finished panel: its plan is made beside the bench, and walked in a pane.

A plan may take as long as a proof. It is made in a thread of its own, so that time and keys go on,
and it is kept until the program changes, so that looking at a rung in between costs nothing.
"""

from __future__ import annotations

from threading import Thread
from time import monotonic
from typing import TYPE_CHECKING

from rungs.bench.controls.base import Command, Control
from rungs.bench.keys import by_id
from rungs.program.nodes import Program

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp
    from rungs.checkout.plan import Plan

SECONDS = 5.0  # that it may look for a short tour


def plan_of(program: Program, seconds: float) -> Plan:
    """The plan of a program."""
    # built on the table compiler, which the bench does not need for anything else
    from rungs.checkout.build import checkout_plan

    return checkout_plan(program, seconds)


class Making:
    """A plan that is being made: `plan` once it is there, `wrong` if there will be none."""

    def __init__(self, program: Program, plan: Plan | None) -> None:
        self.program = program
        self.plan = plan
        self.wrong = ""
        self.began = monotonic()
        # leaving the bench does not wait for it
        self.thread = Thread(target=self._make, daemon=True)
        if plan is None:
            self.thread.start()

    def _make(self) -> None:
        try:
            self.plan = plan_of(self.program, SECONDS)
        except Exception as error:
            # a mistake of ours must end as words in the pane, and not on the screen from a thread
            self.wrong = f"no plan could be made: {type(error).__name__}: {error}"


class Checking(Control):
    """Opens the pane, and shows the rung that somebody wants to see from there."""

    def __init__(self, app: BenchApp) -> None:
        super().__init__(app)
        self._making: Making | None = None
        self._step = 0  # that was left for one of its rungs

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        return {"checkout.walk": self.after_typing(self.walk)}

    def walk(self) -> None:
        """Walk the checkout of the file as it is on disk: that is what a cabinet is wired by."""
        work = self.app.work
        work.recheck()
        program = work.program
        if work.stale or program is None:
            self.say("the text has errors: mend them first; F8 goes to the next finding", True)
            return
        if work.path is None or work.dirty:
            self.say("save the file first with F2: a checkout is of a panel that stays", True)
            return
        # pydantic takes longer to load than the bench takes to start
        from rungs.bench.checkout_pane import CheckoutPane
        from rungs.checkout.record import plan_in
        from rungs.checkout.record_file import RecordError, RecordFile, beside
        from rungs.table.head import sha256

        book = RecordFile(beside(work.path))
        try:
            record = book.load()
        except RecordError as error:
            self.say(str(error), True)
            return
        if self._making is None or self._making.program is not program or self._making.wrong:
            self._making = Making(program, plan_in(record, sha256(program)))
            self._step = 0
        signs = self.app.signs
        pane = CheckoutPane(self._making, book, record, work.path.name, signs, self._step)

        def answered(rung: int | None) -> None:
            self._step = 0
            if rung is not None and pane.walk is not None:
                self._step = pane.walk.state.number
                self.app.bench.set_focus(self.app.bench.ladder)
                self.app.choose_element(rung - 1, 0)
                self.say(f"rung {rung}; {self._key} goes back to the checkout", True)

        self.app.push_screen(pane, answered)

    @property
    def _key(self) -> str:
        return by_id("checkout.walk", self.app.keys).shown
