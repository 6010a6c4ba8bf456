"""A small machine that runs a table file and knows nothing of the program it came from.

It is the second opinion on every table: it shares no code with the interpreter, the engines or the
lowering but the calendar, so that a mistake in those cannot hide in both.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rungs.program.check import check
from rungs.program.nodes import Clock, Device, Input, Program
from rungs.scan.calendar import Calendar
from rungs.scan.wall import WallClock, default_start
from rungs.source import Source
from rungs.table.model import (
    SwitchingRow,
    TableFile,
    TableTimer,
    TransitionRow,
    TruthRow,
)

if TYPE_CHECKING:  # the module of traces loads the engines, which must stay out of here
    from rungs.scan.trace import Stimulus, TraceRow

Where = tuple[str | int, ...]
Shown = tuple[int, bool, tuple[bool, ...]]

_NEVER: Final = 1 << 62
_REMEMBERED: Final = 100_000  # rows that were found, kept for the next scan that asks


class TableFault(Exception):  # noqa: N818 - it is a fault of the table, not of ours
    """The table does not say, or says twice, what to do; the text tells where, in plain words."""


# --- clocks -------------------------------------------------------------------------------------


def clock_program(table: TableFile) -> tuple[Program, tuple[tuple[Where, str], ...]]:
    """The site, holidays and clocks of a table, as a program that holds nothing else.

    The second part tells which statements cannot be used (their place in the document) and why.
    """
    pieces: list[tuple[Where, str, str]] = [(("site",), "site", table.site)] if table.site else []
    for i, statement in enumerate(table.holidays):
        pieces.append((("holidays", i), "holiday", statement))
    for i, clock in enumerate(table.clocks):
        pieces.append((("clocks", i, "statement"), "clock", clock.statement))
    if not pieces:
        return Program(), ()
    wrong = [
        (where, f"'{word} ...' is expected here")
        for where, word, text in pieces
        if text.split(None, 1)[:1] != [word] or "\n" in text
    ]
    if wrong:
        return Program(), tuple(wrong)
    source = Source("table", "\n".join(text for _, _, text in pieces))
    checked = check(source)
    errors = [finding for finding in checked.findings if finding.severity == "error"]
    if checked.program is None:
        lines = [source.position(finding.span.start).line for finding in errors]
        return Program(), tuple(
            (pieces[line - 1][0], finding.message)
            for line, finding in zip(lines, errors, strict=True)
        )
    begun = Counter(source.position(each.span.start).line for each in checked.file.statements)
    for line, (where, word, _) in enumerate(pieces, 1):
        if begun[line] != 1:
            return Program(), ((where, f"{begun[line]} statements stand where one '{word}' does"),)
    program = checked.program
    return program, tuple(
        (("clocks", i, "statement"), f"the statement is of a clock '{clock.name}'")
        for i, (clock, entry) in enumerate(zip(program.clocks, table.clocks, strict=False))
        if clock.name != entry.name
    )


def stimulus_program(table: TableFile) -> Program:
    """The inputs of a table as a program, for the reader of stimulus files."""
    devices: tuple[Device, ...] = tuple(
        Input(
            name=signal.name,
            terminal=signal.terminal,
            side="NC" if signal.at_rest else "NO",
            debounce=signal.debounce_ms,
        )
        for signal in table.signals
        if signal.kind == "input"
    )
    return Program(title=table.title, devices=devices)


# --- parts of the machine -----------------------------------------------------------------------


@dataclass(slots=True)
class _Contact:
    """An input with its debounce: `since` is the scan from which on the circuit has differed."""

    debounce: int
    image: bool | None = None
    since: int | None = None

    def read(self, circuit: bool, t: int) -> bool:
        if self.image is None or circuit == self.image:
            self.image, self.since = circuit, None
            return circuit
        if self.since is None:
            self.since = t
        if t - self.since >= self.debounce:
            self.image, self.since = circuit, None
            return circuit
        return self.image


@dataclass(slots=True)
class _Timer:
    """A timer of the board with exact time; `ran` is what it was told in the scan before."""

    accumulating: bool
    preset: int
    retained: bool
    ran: bool = False
    started: int = 0
    held: int = 0
    empties: str = ""  # whether the last row emptied it, "before" or "after" its stretch

    def due(self, t: int, last: int) -> bool:
        if not self.ran:
            return False
        gone = self.held + t - last if self.accumulating else t - self.started
        return gone >= self.preset

    def tell(self, run: bool, before: bool, after: bool, t: int, last: int) -> None:
        if self.accumulating:
            if before:
                self.held = 0
            if run and self.ran:
                self.held = min(self.held + t - last, self.preset)
            if after:
                self.held = 0
            self.empties = "after" if after else "before" if before else ""
        elif run and not self.ran:
            self.started = t
        self.ran = run

    def cut(self) -> None:
        self.ran = False
        if not self.retained:
            self.held = 0

    def changes(self, due: bool, t: int, period: int) -> int:
        """No scan after the one at t and before this time sees another due flag than `due`, as
        long as the same row is taken; t itself if the next scan might."""
        if not self.ran:
            return t if due else _NEVER
        if not self.accumulating:
            return _NEVER if due else self.started + self.preset
        if not self.empties:
            return _NEVER if due else t + self.preset - self.held
        steady = 0 if self.empties == "after" else min(period, self.preset)
        if self.held != steady or due != (steady + period >= self.preset):
            return t
        return _NEVER

    def pass_over(self, ms: int) -> None:
        """Scans up to `ms` later took the same row."""
        if self.accumulating and self.ran and not self.empties:
            self.held = min(self.held + ms, self.preset)


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of a truth or transition table: it matches where pattern & mask == value."""

    mask: int
    value: int
    outputs: tuple[bool, ...]
    next: str = ""
    run: tuple[bool, ...] = ()
    clear_before: tuple[bool, ...] = ()
    clear_after: tuple[bool, ...] = ()


def _bits(flags: str, count: int, what: str) -> tuple[bool, ...]:
    if len(flags) != count:
        raise TableFault(f"{what} has {len(flags)} places and needs {count}")
    return tuple(flag == "1" for flag in flags)


class _Rows:
    """The rows of a truth or transition table, by state."""

    def __init__(self, table: TableFile) -> None:
        self._table = table
        self._of_state: dict[str, list[_Row]] = {state.name: [] for state in table.states}
        rows: Sequence[TruthRow | TransitionRow] = table.transitions
        if table.kind == "truth":
            self._of_state = {"": []}
            rows = table.truth
        for number, row in enumerate(rows, 1):
            state = row.state if isinstance(row, TransitionRow) else ""
            if state not in self._of_state:
                raise TableFault(f"row {number} is of a state '{state}' that is not listed")
            self._of_state[state].append(self._made(row, f"row {number}"))
        self._found: dict[tuple[str, int], _Row] = {}

    def _made(self, row: TruthRow | TransitionRow, what: str) -> _Row:
        table = self._table
        _bits(row.pattern, len(table.signals), f"the pattern of {what}")
        mask = int("0" + "".join("0" if c == "-" else "1" for c in row.pattern), 2)
        value = int("0" + row.pattern.replace("-", "0"), 2)
        outputs = _bits(row.outputs, len(table.outputs), f"the outputs of {what}")
        if isinstance(row, TruthRow):
            return _Row(mask, value, outputs)
        timers = len(table.timers)
        none = "0" * timers  # a table without accumulating timers leaves these out
        return _Row(
            mask,
            value,
            outputs,
            row.next,
            _bits(row.run, timers, f"the timers of {what}"),
            _bits(row.clear_before or none, timers, f"the timers of {what}"),
            _bits(row.clear_after or none, timers, f"the timers of {what}"),
        )

    def find(self, state: str, pattern: int) -> _Row:
        """The row for this state and pattern."""
        row = self._found.get((state, pattern))
        if row is None:
            row = self._search(state, pattern)
            if len(self._found) >= _REMEMBERED:
                self._found.clear()
            self._found[state, pattern] = row
        return row

    def _search(self, state: str, pattern: int) -> _Row:
        if state not in self._of_state:
            raise TableFault(f"the state '{state}' is not listed")
        matching = [row for row in self._of_state[state] if pattern & row.mask == row.value]
        if not matching or (len(matching) > 1 and not self._table.first_match):
            count = f"{len(matching)} rows match" if matching else "no row matches"
            names = [signal.name for signal in self._table.signals]
            text = format(pattern, f"0{len(names)}b") if names else ""
            shown = ", ".join(f"{name} {bit}" for name, bit in zip(names, text, strict=True))
            where = f" in state '{state}'" if self._table.kind == "transition" else ""
            raise TableFault(
                f"{count}{where} for the pattern {text or 'without signals'} ({shown})"
            )
        return matching[0]


class _Relays:
    """A switching table: relays that keep their state until a row moves them."""

    def __init__(self, table: TableFile) -> None:
        for number, row in enumerate(table.switching, 1):
            if len(row.acts) != len(table.outputs):
                count = f"{len(row.acts)} acts for {len(table.outputs)} relays"
                raise TableFault(f"row {number} has {count}")
        names = [s.name for s in table.signals] + [c.signal for c in table.clocks]
        self._order = tuple(dict.fromkeys(names))
        self._rows: dict[tuple[str, str], list[SwitchingRow]] = {}
        for row in sorted(table.switching, key=lambda row: row.delay_ms):  # in time, then as filed
            self._rows.setdefault((row.event, row.device), []).append(row)
        self._retains = table.retains
        self.on = [False] * len(table.outputs)
        self._before: Mapping[str, bool] | None = None
        self._waiting: dict[str, list[tuple[int, SwitchingRow]]] = {}

    def cut(self) -> None:
        self._before = None
        self._waiting.clear()
        if not self._retains:
            self.on = [False] * len(self.on)

    def scan(self, shown: Mapping[str, bool], t: int) -> None:
        """What each signal shows in the scan at t, after the scan before."""
        if self._before is None:
            self._act(self._rows.get(("power-up", ""), ()))
        for name in self._order:
            fresh = self._before is None
            if self._before is None or shown[name] != self._before[name]:
                rows = self._rows.get(("closes" if shown[name] else "opens", name), ())
                if not fresh:
                    self._act(row for row in rows if not row.delay_ms)
                # what stands so at power-up has not changed, but has stayed so from then on
                self._waiting[name] = [(t + r.delay_ms, r) for r in rows if r.delay_ms]
        for name in self._order:
            waiting = self._waiting.get(name, ())
            self._act(row for at, row in waiting if at <= t)
            self._waiting[name] = [(at, row) for at, row in waiting if at > t]
        for name in self._order:
            if shown[name]:
                self._act(self._rows.get(("at", name), ()))
        self._before = dict(shown)

    def _act(self, rows: Sequence[SwitchingRow] | Iterator[SwitchingRow]) -> None:
        for row in rows:
            for i, act in enumerate(row.acts):
                if act != "leave":
                    self.on[i] = not self.on[i] if act == "flip" else act == "on"

    def next_delay(self) -> int:
        return min((at for rows in self._waiting.values() for at, _ in rows), default=_NEVER)


# --- the machine --------------------------------------------------------------------------------


@dataclass(slots=True)
class _Last:
    """What the last scan left for the question how long all stays so."""

    t: int = -1
    moved: bool = True  # it went to another state
    due: tuple[bool, ...] = ()  # of each timer


def _timer(timer: TableTimer) -> _Timer:
    return _Timer(timer.kind == "accumulating", timer.preset_ms, timer.retained)


class Emulator:
    """A board with a table in it, under power and before its first scan.

    Raises TableFault, here and in `scan`, where the table does not say what to do.
    """

    def __init__(self, table: TableFile) -> None:
        self.table = table
        self.outputs = (False,) * len(table.outputs)
        self.state = table.start if table.kind == "transition" else ""
        self.powered = True
        self.first = True  # no scan since power-up
        self._inputs = {s.name: _Contact(s.debounce_ms) for s in table.signals if s.kind == "input"}
        self._rest = {s.name: s.at_rest for s in table.signals}
        self._timers = {timer.name: _timer(timer) for timer in table.timers}
        self._relays = _Relays(table) if table.kind == "switching" else None
        self._rows = None if table.kind == "switching" else _Rows(table)
        self._after_cut = {state.name: state.after_power_cut for state in table.states}
        self._last = _Last()
        for signal in table.signals:
            if signal.kind == "due" and signal.name.removesuffix(".due") not in self._timers:
                raise TableFault(f"the signal '{signal.name}' is of a timer that is not listed")

    def power(self, on: bool) -> None:
        """Switch the supply. Off forgets all but what the table keeps, and lets every coil drop."""
        if on == self.powered:
            return
        self.powered = on
        if on:
            return
        self.outputs = (False,) * len(self.outputs)
        self.first = True
        for contact in self._inputs.values():
            contact.image = contact.since = None
        for timer in self._timers.values():
            timer.cut()
        if self._relays is not None:
            self._relays.cut()
        if self.table.kind == "transition":
            if self.state not in self._after_cut:
                raise TableFault(f"the state '{self.state}' is not listed")
            self.state = self._after_cut[self.state]

    def scan(
        self, circuits: Mapping[str, bool], clocks: Mapping[str, bool], t: int
    ) -> tuple[bool, ...]:
        """Make the scan at time t (ms, later than the last) and return the coil of each output.

        An input that `circuits` leaves out is at rest; `clocks` has every clock of the table.
        """
        last = self._last.t
        if not self.powered or t <= last:
            raise ValueError("a scan needs power, and to be later than the last one")
        shown = dict(clocks)
        for name, contact in self._inputs.items():
            shown[name] = contact.read(circuits.get(name, self._rest[name]), t)
        due = {f"{name}.due": timer.due(t, last) for name, timer in self._timers.items()}
        shown.update(due)
        moved = False
        if self._relays is not None:
            self._relays.scan(shown, t)
            self.outputs = tuple(self._relays.on)
        elif self._rows is not None:
            pattern = 0
            for signal in self.table.signals:
                pattern = pattern << 1 | shown[signal.name]
            row = self._rows.find(self.state, pattern)
            self.outputs = row.outputs
            moved = row.next != self.state
            self.state = row.next
            told = zip(row.run, row.clear_before, row.clear_after, strict=True)
            for timer, (run, before, after) in zip(self._timers.values(), told, strict=False):
                timer.tell(run, before, after, t, last)
        self.first = False
        self._last = _Last(t, moved, tuple(due.values()))
        return self.outputs

    def quiet_until(self, period: int) -> int:
        """Scans after the last one, `period` ms apart, and before the time that is returned, change
        nothing but elapsed times if circuits and clocks stay as they are and no event shows."""
        last = self._last
        if last.moved or self.first:
            return last.t
        times = [c.since + c.debounce for c in self._inputs.values() if c.since is not None]
        if self._relays is not None:
            times.append(self._relays.next_delay())
        for timer, due in zip(self._timers.values(), last.due, strict=True):
            times.append(timer.changes(due, last.t, period))
        return min(times, default=_NEVER)

    def pass_over(self, t: int) -> None:
        """Count scans that change nothing as made, up to the one at t, before `quiet_until`."""
        for timer in self._timers.values():
            timer.pass_over(t - self._last.t)
        self._last.t = t


# --- runs ---------------------------------------------------------------------------------------


def table_columns(table: TableFile) -> tuple[str, ...]:
    """What a run shows after the time: every output, in the order of the file."""
    return tuple(output.name for output in table.outputs)


def run_table(
    table: TableFile,
    stimulus: Stimulus,
    start: int | None = None,
    period: int | None = None,
    jump: bool = True,
) -> Iterator[TraceRow]:
    """One row for each scan: its time, and the coil of each output after it.

    `start` is the wall time at t = 0, ms UTC; `period` is the table's own unless given, ms.
    `jump` False makes every scan one by one; the rows are the same. Raises TableFault.
    """
    step = table.period_ms if period is None else period
    before: TraceRow | None = None
    for t, first, outputs in _scans(table, stimulus, start, step, jump):
        if before is not None and not first:
            for between in range(before[0] + step, t, step):
                yield between, before[1]
        before = (t, outputs)
        yield before


def run_table_changes(
    table: TableFile,
    stimulus: Stimulus,
    start: int | None = None,
    period: int | None = None,
    jump: bool = True,
) -> Iterator[TraceRow]:
    """The first row of `run_table`, the last, and each that differs from the row before it."""
    step = table.period_ms if period is None else period
    shown: TraceRow | None = None
    last: TraceRow | None = None
    for t, _, outputs in _scans(table, stimulus, start, step, jump):
        last = (t, outputs)
        if shown is None or outputs != shown[1]:
            shown = last
            yield last
    if last is not None and last is not shown:
        yield last


def _scans(
    table: TableFile, stimulus: Stimulus, start: int | None, period: int, jump: bool
) -> Iterator[Shown]:
    """Time, whether it was the first since power-up, and outputs of each scan that is made."""
    run = _Run(table, start, period, jump)
    if stimulus:
        yield from run.stretch(0, stimulus[0].t - 1)
    for index, row in enumerate(stimulus):
        run.power(row.power)
        run.circuits.update(row.circuits)
        # a row holds until just before the next; the last row's time is the end of the run
        final = index + 1 == len(stimulus)
        yield from run.stretch(row.t, row.t if final else stimulus[index + 1].t - 1)


class _Run:
    """A board, its wires, and the wall clock beside it."""

    def __init__(self, table: TableFile, start: int | None, period: int, jump: bool) -> None:
        program, wrong = clock_program(table)
        if wrong:
            raise TableFault(f"the clocks cannot be used: {wrong[0][1]}")
        clocks: tuple[Clock, ...] = program.clocks
        calendar = Calendar(program.site, program.holidays, clocks)
        begin = default_start(calendar) if start is None else start
        self._wall = WallClock(clocks, calendar, begin)
        self._closes = [(clock.name, clock.closes) for clock in table.clocks if clock.closes]
        self._events = [clock.name for clock in clocks if clock.end is None]
        self._board = Emulator(table)
        self._period = period
        self._jump = jump
        self.circuits: dict[str, bool] = {}

    def _contacts(self, t: int) -> dict[str, bool]:
        """The contact of each clock and, where several slots work one contact, of that too."""
        shown = self._wall.contacts(t)
        contacts = dict(shown)
        for name, contact in self._closes:
            contacts[contact] = contacts.get(contact, False) or shown[name]
        return contacts

    def power(self, on: bool) -> None:
        if self._board.powered and not on:
            self._wall.forget()
        self._board.power(on)

    def stretch(self, since: int, until: int) -> Iterator[Shown]:
        """Make the scans of the grid from one time to another, both included.

        The first and the last are always made.
        """
        board, period = self._board, self._period
        t = -(-since // period) * period
        while board.powered and t <= until:
            first = board.first
            contacts = self._contacts(t)
            yield t, first, board.scan(self.circuits, contacts, t)
            target = t + period
            # an event that shows in this scan is gone in the next
            if self._jump and not any(contacts[name] for name in self._events):
                soonest = min(board.quiet_until(period), self._wall.next_change(t) or _NEVER)
                grid = min(-(-soonest // period), until // period) * period
                if grid > target:
                    board.pass_over(grid - period)
                    self._wall.saw(grid - period)
                    target = grid
            t = target
