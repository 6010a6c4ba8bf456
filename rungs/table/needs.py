"""What a table asks of a board and what it gets there, and the notes of one fit in the making.

All that is given out and all that is refused goes into the same notes, so that the parts of a fit
can live in rooms of their own and still speak of the same board.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from rungs.findings import Finding, has_errors
from rungs.language.words import duration_text as _time
from rungs.program.nodes import Days, Moment, Program
from rungs.source import NOWHERE, Span
from rungs.table.board import Board, TableKind
from rungs.table.sunfix import SlotLength, SunFix

# --- what a table needs and what it gets ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TimerNeed:
    """One timer of a transition table. `device` is the program's timer; `preset` is in ms."""

    name: str
    device: str
    kind: Literal["on-delay", "accumulating"]
    preset: int
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Need:
    """What a compiled table asks of a board.

    `inputs`, `outputs` and `clocks` are names of devices in the order of the table's columns.
    `states` is 1 for tables without states. `first_match` says that `rows` were counted for a board
    on which the first row that matches wins. `retains` names the devices whose state must live
    through a power cut. `delays` are (device, ms) of switching rows that wait.
    """

    kind: TableKind
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    clocks: tuple[str, ...] = ()
    states: int = 1
    rows: int = 0
    first_match: bool = False
    timers: tuple[TimerNeed, ...] = ()
    retains: tuple[str, ...] = ()
    delays: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class TimerSetting:
    """Timer `slot` of the board (from 1), set to `value` steps of `unit` ms."""

    slot: int
    value: int
    unit: int


@dataclass(frozen=True, slots=True)
class ClockSlot:
    """Clock slot `number` of the board (from 1): a window, or a moment.

    A window that a board can hold only as two moments has the roles `begin` and `end`.
    """

    number: int
    role: Literal["window", "event", "begin", "end"]
    at: Moment
    until: Moment | None
    days: Days
    catch_up: int = 0  # ms


@dataclass(frozen=True, slots=True)
class Fit:
    """How a table goes onto a board. Without errors every name of the need has its place.

    `terminals` maps inputs and outputs to terminals of the board, `timers` the timers of the need,
    `delays` devices to steps of the board's delay resolution, `clocks` each clock to its slots.
    `duties` are sentences for the table's head: what the board and its firmware must do.
    """

    findings: tuple[Finding, ...]
    terminals: Mapping[str, str]
    timers: Mapping[str, TimerSetting]
    delays: Mapping[str, int]
    clocks: Mapping[str, tuple[ClockSlot, ...]]
    sun: tuple[SunFix, ...]
    duties: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """True if no finding is an error."""
        return not has_errors(self.findings)


# --- a fit in the making ----------------------------------------------------------------------


@dataclass(slots=True)
class Work:
    """One fit in the making."""

    program: Program
    need: Need
    board: Board
    sun_by: SlotLength | None
    year: int
    findings: list[Finding] = field(default_factory=list)
    terminals: dict[str, str] = field(default_factory=dict)
    timers: dict[str, TimerSetting] = field(default_factory=dict)
    delays: dict[str, int] = field(default_factory=dict)
    clocks: dict[str, tuple[ClockSlot, ...]] = field(default_factory=dict)
    sun: list[SunFix] = field(default_factory=list)
    duties: list[str] = field(default_factory=list)

    def refuse(self, code: str, message: str, span: Span, effect: str, fix: str) -> None:
        """Note why the table does not fit: a finding with its effect and a way out."""
        self.findings.append(Finding(code, message, span, effect, fix))

    def span(self, name: str) -> Span:
        """The place of a device's name in the program."""
        return self.program.by_name[name].name_span

    @property
    def whole(self) -> Span:
        """A place for what is about the whole panel: its first rung, or its first device."""
        for part in (*self.program.rungs, *self.program.devices):
            return part.span
        return NOWHERE

    @property
    def name(self) -> str:
        """The board's name in quotes."""
        return f"'{self.board.name}'"


# --- words ------------------------------------------------------------------------------------


def nearest(ms: int, step: int) -> str:
    """The times on both sides of one that is no multiple of a step."""
    below = ms // step * step
    return " or ".join(_time(time) for time in (below, below + step) if time)


def listed(names: Iterable[str]) -> str:
    """Names in quotes, the first ten of them."""
    quoted = [f"'{name}'" for name in dict.fromkeys(names)]
    more = f" and {len(quoted) - 10} more" if len(quoted) > 10 else ""
    return ", ".join(quoted[:10]) + more
