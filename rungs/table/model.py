"""The table file: what a board is given and what is read back from it, as one pydantic document.

Everything that runs the table stands in it, so that the emulator needs no program and the next
person no other paper.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Pattern = Annotated[str, StringConstraints(pattern=r"^[01-]*$")]
Flags = Annotated[str, StringConstraints(pattern=r"^[01]*$")]
Act = Literal["on", "off", "flip", "leave"]
Kind = Literal["truth", "transition", "switching"]
CLAIM = "the table does what the program does"


class Part(BaseModel):
    """A part of a table file: frozen, and with nothing in it that is not described here."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class TableSignal(Part):
    """One column of the pattern, from left to right.

    An input's image after debounce, a clock's contact, or a timer's due flag. `at_rest` is an
    input's circuit while nobody operates it; `active_low` tells that the board reads a closed
    circuit as 0 (the table speaks of circuits: 1 is closed).
    """

    name: str
    kind: Literal["input", "clock", "due"]
    terminal: str = ""
    debounce_ms: int = 0
    at_rest: bool = False
    active_low: bool = False


class TableOutput(Part):
    """One relay, by its coil. `side` NC means that the load is on while the coil is off."""

    name: str
    terminal: str = ""
    side: Literal["NO", "NC"] = "NO"
    label: str = ""


class TableTimer(Part):
    """A timer of the board: `due` once it has run for `preset_ms`.

    An on-delay begins anew whenever it is told to run after a scan in which it was not. An
    accumulating timer adds up the time from scan to scan while it is told to run, to its preset.
    `slot` and `value` say where and how the board holds it, in the board's own units.
    """

    name: str
    kind: Literal["on-delay", "accumulating"]
    preset_ms: int = Field(gt=0)
    retained: bool = False
    slot: str = ""
    value: str = ""


class TableClock(Part):
    """A clock of the board; `statement` is its declaration in the language of the program.

    Several slots may stand for one clock of the program, such as fixed times for each month in
    place of the sun: `closes` then names it, and it is closed while any of them is.
    """

    name: str
    statement: str
    slot: str = ""
    closes: str = ""

    @property
    def signal(self) -> str:
        """The name of the contact that it works."""
        return self.closes or self.name


class TableState(Part):
    """A state of a transition table, and the one in which the board begins after power has been
    away while it was in this one."""

    name: str
    after_power_cut: str


class TruthRow(Part):
    """These signals give these outputs. The rungs of `rungs` have power in it."""

    pattern: Pattern
    outputs: Flags
    rungs: tuple[int, ...] = ()


class TransitionRow(Part):
    """In `state` these signals give these outputs and timers to run, and lead to `next`.

    `run` has a flag for each timer; `clear_before` and `clear_after` too, and are empty where no
    timer of the table is accumulating. The rungs of `rungs` have power in it, or drive a relay
    that they have just let drop.
    """

    state: str
    pattern: Pattern
    next: str
    outputs: Flags
    run: Flags = ""
    clear_before: Flags = ""
    clear_after: Flags = ""
    rungs: tuple[int, ...] = ()


class SwitchingRow(Part):
    """What each relay does at one event.

    `event`: `power-up`; `closes` or `opens` of an input or a clock window; `at` a clock event.
    With `delay_ms` the relays move when the input has stayed so for that long, counted from the
    scan in which it changed or, where it stood so already, from power-up.
    """

    event: Literal["power-up", "closes", "opens", "at"]
    device: str = ""
    delay_ms: int = 0
    acts: tuple[Act, ...]
    rungs: tuple[int, ...] = ()


class Proof(Part):
    """What was proved of the table before it was written, and over what."""

    verdict: Literal["proved"] = "proved"
    claim: str = CLAIM
    states: int = 0
    rows: int = 0
    situations: int = 0
    patterns: int = 0


class TableFile(Part):
    """A whole table with all that a board, a person or a comparison needs to know."""

    schema_version: Literal[1] = 1
    document: Literal["table"] = "table"
    kind: Kind
    tool: str = ""
    title: str = ""
    program: str = ""
    program_sha256: str = ""
    head_sha256: str = ""
    board: str = ""
    board_version: str = ""
    period_ms: int = Field(default=10, gt=0, le=60_000)
    first_match: bool = False
    retains: bool = False
    site: str = ""
    holidays: tuple[str, ...] = ()
    signals: tuple[TableSignal, ...] = ()
    outputs: tuple[TableOutput, ...] = ()
    timers: tuple[TableTimer, ...] = ()
    clocks: tuple[TableClock, ...] = ()
    duties: tuple[str, ...] = ()
    power_differences: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    start: str = ""
    states: tuple[TableState, ...] = ()
    truth: tuple[TruthRow, ...] = ()
    transitions: tuple[TransitionRow, ...] = ()
    switching: tuple[SwitchingRow, ...] = ()
    proof: Proof | None = None

    @property
    def row_count(self) -> int:
        """The number of rows, of whatever kind."""
        return len(self.truth) + len(self.transitions) + len(self.switching)


LARGEST = 32_000_000  # bytes of a table file
