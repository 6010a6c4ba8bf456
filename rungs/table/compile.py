"""From a program to a proved table of one kind, for one board or for none.

Nothing leaves here as a table that was not held against the program's core, pair of states by pair
of states, after it was made.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Literal, assert_never

from rungs.core.patterns import TooLargeError
from rungs.findings import Finding, has_errors, in_order
from rungs.program.nodes import Clock, Output, Program
from rungs.source import Span
from rungs.table.board import Board
from rungs.table.compare import prove_against
from rungs.table.digest import head_digest
from rungs.table.fit import fit
from rungs.table.head import clock_statement
from rungs.table.model import Kind, Proof, TableClock, TableFile
from rungs.table.needs import Fit, Need, TimerNeed
from rungs.table.switching_file import switching_file
from rungs.table.transition import Compiled, compiled, transition_table
from rungs.table.truth import TruthTable, truth_table
from rungs.table.truth_file import truth_file

KINDS: tuple[Kind, ...] = ("truth", "switching", "transition")  # the plainest first


@dataclass(frozen=True, slots=True)
class Outcome:
    """One kind of table for one board (or for none): the proved table, or why there is none."""

    kind: Kind
    board: str
    table: TableFile | None
    findings: tuple[Finding, ...]
    reachable: int = 0

    @property
    def fits(self) -> bool:
        """Whether there is a table."""
        return self.table is not None


class Compiler:
    """The tables of one program; what several boards ask for is worked out once.

    `outputs` names the outputs or relays to compile, all outputs if empty.
    """

    def __init__(self, program: Program, outputs: tuple[str, ...] = ()) -> None:
        self.program = program
        self.outputs = outputs or tuple(output.name for output in program.outputs)
        self._tables: dict[tuple[object, ...], tuple[TableFile | None, tuple[Finding, ...]]] = {}

    @cached_property
    def _truth(self) -> tuple[TruthTable | None, tuple[Finding, ...]]:
        return truth_table(self.program, self.outputs)

    @cached_property
    def _machine(self) -> tuple[Compiled | None, tuple[Finding, ...]]:
        return compiled(self.program, self.outputs)

    @property
    def reachable(self) -> int:
        """How many states can be reached before they are minimised; 0 if there are too many."""
        work = self._machine[0]
        return 0 if work is None else work.reachable

    def table(
        self,
        kind: Kind,
        first_match: bool = False,
        delays: bool = True,
        power_up: Literal["off", "last"] = "off",
    ) -> tuple[TableFile | None, tuple[Finding, ...]]:
        """A proved table of one kind without a board's limits, or the findings that say why not."""
        unknown = self._unknown()
        if unknown:
            return None, unknown
        key = (kind, first_match, delays, power_up) if kind == "switching" else (kind, first_match)
        if key not in self._tables:
            table, findings = self._made(kind, first_match, delays, power_up)
            self._tables[key] = None if table is None else _sealed(table), findings
        return self._tables[key]

    def _unknown(self) -> tuple[Finding, ...]:
        known = {d.name for d in self.program.devices}
        wrong = [name for name in self.outputs if name not in known]
        if not self.outputs:
            return (Finding("no-outputs", "the file has no outputs", Span(0, 0), "", "add one"),)
        return truth_table(self.program, tuple(wrong))[1] if wrong else ()

    def _made(
        self, kind: Kind, first_match: bool, delays: bool, power_up: Literal["off", "last"]
    ) -> tuple[TableFile | None, tuple[Finding, ...]]:
        match kind:
            case "truth":
                truth, findings = self._truth
                if findings or truth is None:
                    return None, findings
                try:
                    return self._proved(truth_file(self.program, truth, first_match))
                except TooLargeError as error:
                    return None, (_too_wide(self.program, error),)
            case "transition":
                work, findings = self._machine
                if work is None:
                    return None, findings
                return self._proved(transition_table(work, first_match))
            case "switching":
                return switching_file(self.program, self.outputs, delays, power_up)
            case _:
                assert_never(kind)

    def _proved(self, table: TableFile) -> tuple[TableFile | None, tuple[Finding, ...]]:
        proof = prove_against(self.program, table)
        if isinstance(proof, Proof):
            return table.model_copy(update={"proof": proof}), ()
        # the two engines disagree: ours is the mistake, and the user is not given the table
        raise AssertionError(f"a table that was made does not do what the program does: {proof}")

    def for_board(
        self, kind: Kind, board: Board, sun_by: Literal["month", "week"] | None, year: int
    ) -> Outcome:
        """One kind of table, held against a board's limits."""
        if kind not in board.kinds:
            refused = fit(self.program, Need(kind=kind), board, sun_by, year=year)
            return Outcome(kind, board.name, None, refused.findings)
        first_match = board.rows is not None and board.rows.first_match
        power_up: Literal["off", "last"] = "last" if board.relays.at_power_up == "last" else "off"
        table, findings = self.table(kind, first_match, board.delays is not None, power_up)
        if table is None:
            return Outcome(kind, board.name, None, findings)
        fitted = fit(self.program, _need(self.program, table), board, sun_by, year=year)
        found = in_order([*findings, *fitted.findings])
        if not fitted.fits or has_errors(found):
            return Outcome(kind, board.name, None, found)
        # the other kinds need no states, and working them out can take long
        states = self.reachable if kind == "transition" else 0
        return Outcome(kind, board.name, _placed(table, board, fitted), found, states)


def _too_wide(program: Program, error: TooLargeError) -> Finding:
    return Finding(
        "table-size",
        f"the table would have {error}",
        program.outputs[0].name_span,
        "rows can be merged only where the outputs are the same",
        "compile fewer outputs: rungs compile FILE OUTPUT; or print each pattern: --every-row",
    )


def this_year() -> int:
    """The year for which sun clocks are replaced by fixed times."""
    return date.today().year


def _need(program: Program, table: TableFile) -> Need:
    return Need(
        kind=table.kind,
        inputs=tuple(s.name for s in table.signals if s.kind == "input"),
        outputs=tuple(o.name for o in table.outputs),
        clocks=tuple(c.name for c in table.clocks),
        states=len(table.states) or 1,
        rows=table.row_count,
        first_match=table.first_match,
        timers=tuple(
            TimerNeed(t.name, t.name.split(".")[0], t.kind, t.preset_ms, t.retained)
            for t in table.timers
        ),
        retains=_retained(program, table) if table.retains else (),
        delays=tuple((r.device, r.delay_ms) for r in table.switching if r.delay_ms),
    )


def _retained(program: Program, table: TableFile) -> tuple[str, ...]:
    """The devices that keep their state through a power cut."""
    return tuple(
        device.name
        for device in program.devices
        if getattr(device, "retained", False)
        and (table.kind != "switching" or isinstance(device, Output))
    )


def _clock_slots(clock: TableClock, fitted: Fit) -> list[TableClock]:
    """A clock with its slots; one that goes by fixed times in place of the sun becomes several."""
    slots = fitted.clocks[clock.name]
    if clock.name not in {fix.clock for fix in fitted.sun}:
        numbers = ", ".join(str(slot.number) for slot in slots)
        return [clock.model_copy(update={"slot": numbers})]
    made = []
    for slot in slots:
        name = f"{clock.name}_{slot.number}"
        fixed = Clock(name, slot.at, slot.until, slot.days, slot.catch_up)
        made.append(
            TableClock(
                name=name,
                statement=clock_statement(fixed),
                slot=str(slot.number),
                closes=clock.name,
            )
        )
    return made


def _placed(table: TableFile, board: Board, fitted: Fit) -> TableFile:
    """The table with the board's terminals, slots and duties in its head."""
    placed = table.model_copy(
        update={
            "board": board.name,
            "board_version": board.version,
            "signals": tuple(
                s.model_copy(
                    update={
                        "terminal": fitted.terminals.get(s.name, s.terminal),
                        "active_low": board.inputs.active_low and s.kind == "input",
                    }
                )
                for s in table.signals
            ),
            "outputs": tuple(
                o.model_copy(update={"terminal": fitted.terminals.get(o.name, o.terminal)})
                for o in table.outputs
            ),
            "timers": tuple(
                t.model_copy(
                    update={
                        "slot": str(fitted.timers[t.name].slot),
                        "value": f"{fitted.timers[t.name].value} x {fitted.timers[t.name].unit} ms",
                    }
                )
                for t in table.timers
            ),
            "clocks": tuple(slot for c in table.clocks for slot in _clock_slots(c, fitted)),
            "duties": fitted.duties,
        }
    )
    return _sealed(placed)


def _sealed(table: TableFile) -> TableFile:
    """The table with the digest of its head."""
    return table.model_copy(update={"head_sha256": head_digest(table)})
