"""Every way of playing a program, behind one call, so that one test body runs over all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from rungs.core.lower import lower
from rungs.core.patterns import TooLargeError
from rungs.core.reduce import reduce
from rungs.program.nodes import Clock, Program, Site
from rungs.scan.calendar import Calendar
from rungs.scan.fast import FastPanel
from rungs.scan.generate import scan_many
from rungs.scan.runner import Panel
from rungs.scan.trace import StimulusRow, columns, trace_panel
from rungs.scan.wall import WallClock
from rungs.scan.wide import WidePanel
from rungs.source import source_from_text
from rungs.table.emulator import Emulator
from rungs.table.formats import table_csv
from rungs.table.machine import explore, minimise
from rungs.table.reading import read_table
from rungs.table.transition import Compiled, transition_table
from tests import second_reading
from tests.second_reading import ClockClosed, Row, Scan

Play = Callable[..., list[Scan]]


class GivenClocks(Calendar):
    """Clocks that do what a test says, in ms of the run; windows are looked at every ms."""

    def __init__(
        self,
        program: Program,
        clock_closed: ClockClosed | None,
        events: Mapping[str, Sequence[int]],
        end: int,
    ) -> None:
        super().__init__(Site(), (), program.clocks)
        self._asked = clock_closed
        self._given = events
        self._end = end
        self._edges: dict[str, list[int]] = {}

    def is_closed(self, clock: Clock, now: int) -> bool:
        """What the test says."""
        if self._asked is None:
            raise ValueError(f"nobody said when {clock.name} is open")
        return self._asked(clock, now)

    def occurrence_between(self, clock: Clock, after: int, upto: int) -> int | None:
        """The last given event of the stretch."""
        return max((t for t in self._given[clock.name] if after < t <= upto), default=None)

    def next_change(self, now: int) -> int | None:
        """The next given event, or the next ms at which a window says something else."""
        times = [t for clock in self.clocks for t in self._times(clock) if t > now]
        return min(times, default=None)

    def _times(self, clock: Clock) -> Sequence[int]:
        if clock.end is None:
            return self._given[clock.name]
        if clock.name not in self._edges:
            said = [self.is_closed(clock, t) for t in range(-1, self._end + 2)]
            self._edges[clock.name] = [t for t in range(self._end + 2) if said[t + 1] != said[t]]
        return self._edges[clock.name]


def _panel(make: Callable[..., Panel | FastPanel], jump: bool) -> Play:
    def play(
        program: Program,
        rows: Sequence[Row],
        period: int = 10,
        clock_closed: ClockClosed | None = None,
        events: Mapping[str, Sequence[int]] | None = None,
    ) -> list[Scan]:
        end = rows[-1][0] if rows else 0
        calendar = GivenClocks(program, clock_closed, events or {}, end)
        stimulus = tuple(
            StimulusRow(
                t,
                {d.name: bool(row.get(d.name, d.side == "NC")) for d in program.inputs},
                bool(row.get("power", True)),
            )
            for t, row in rows
        )
        names = columns(program)
        panel = make(program, 0, period, jump, calendar)
        return [
            (t, dict(zip(names, values, strict=True))) for t, values in trace_panel(panel, stimulus)
        ]

    return play


def _reduced(
    program: Program, start: int, period: int, jump: bool, calendar: Calendar
) -> FastPanel:
    core = lower(program, period)
    names = [output.name for output in core.outputs]
    return FastPanel(program, start, period, jump, calendar, reduce(core, names))


Grid = list[tuple[int, bool, bool, dict[str, bool]]]  # time, power, whether it was cut, circuits


def _grid(program: Program, rows: Sequence[Row], period: int) -> Grid:
    """What each time of the grid finds."""
    end = rows[-1][0] if rows else -1
    at_rest = {d.name: d.side == "NC" for d in program.inputs}
    found: Grid = []
    circuits, power, cut, index = at_rest, True, False, 0
    for t in range(0, end + 1, period):
        while index < len(rows) and rows[index][0] <= t:
            given = rows[index][1]
            circuits = {name: bool(given.get(name, at_rest[name])) for name in at_rest}
            power = bool(given.get("power", True))
            cut = cut or not power
            index += 1
        found.append((t, power, cut, circuits))
        cut = False
    return found


LANES = 5


def play_wide(
    program: Program,
    rows: Sequence[Row],
    period: int = 10,
    clock_closed: ClockClosed | None = None,
    events: Mapping[str, Sequence[int]] | None = None,
) -> list[Scan]:
    """The stimulus in the middle of other runs that do something else."""
    core = lower(program, period)
    mine = 1 << LANES // 2
    panel = WidePanel(core, program, LANES)
    end = rows[-1][0] if rows else 0
    wall = WallClock(program.clocks, GivenClocks(program, clock_closed, events or {}, end), 0)
    names = [output.name for output in core.outputs]
    wanted = columns(program)
    scans: list[Scan] = []
    for number, (t, power, cut, circuits) in enumerate(_grid(program, rows, period)):
        noise = number * 2654435761
        if cut:
            panel.switch_power(panel.powered & ~mine)
            wall.forget()
        others = (noise >> 7 | noise >> 11) & ~mine & panel.ones
        panel.switch_power(others | (mine if power else 0))
        clocks = wall.contacts(t) if power else dict.fromkeys([c.name for c in program.clocks])
        made = panel.make_scan(
            {n: (noise >> len(n) & ~mine) | (mine if on else 0) for n, on in circuits.items()},
            {n: (noise >> 9 & ~mine) | (mine if on else 0) for n, on in clocks.items()},
        )
        if made.made & mine:
            shown = {n: bool(word & mine) for n, word in zip(names, made.outputs, strict=True)}
            shown.update({n: bool(on) for n, on in clocks.items()})
            scans.append((t, {name: shown[name] for name in wanted}))
    return scans


def play_many(
    program: Program,
    rows: Sequence[Row],
    period: int = 10,
    clock_closed: ClockClosed | None = None,
    events: Mapping[str, Sequence[int]] | None = None,
) -> list[Scan]:
    """The generated loop, which holds its own timers, from power-up to power cut."""
    core = lower(program, period)
    run = scan_many(core)
    end = rows[-1][0] if rows else 0
    front = FastPanel(
        program, 0, period, False, GivenClocks(program, clock_closed, events or {}, end), core
    )
    state = (False,) * len(core.state)
    starts = [-1] * len(core.timers)
    names = [output.name for output in core.outputs]
    scans: list[Scan] = []
    first = True
    for t, power, cut, circuits in _grid(program, rows, period):
        if cut:
            state = tuple(v and b.retained for v, b in zip(state, core.state, strict=True))
            for index, timer in enumerate(core.timers):
                held = starts[index] if starts[index] >= 0 else -1 - starts[index]
                starts[index] = -1 - held if timer.retained else -1
            front.wall.forget()
            first = True
        if not power:
            continue
        front.debouncer.read(circuits, t, first)
        clocks = front.wall.contacts(t)
        seen = {**dict(zip(front.debouncer.names, front.debouncer.image, strict=True)), **clocks}
        given = [
            first if s.kind == "first_scan" else seen[s.name]
            for s in core.signals
            if s.kind != "due"
        ]
        shown, state = run(state, starts, [(t, tuple(given))])
        first = False
        contacts = {**dict(zip(names, shown[0], strict=True)), **clocks}
        scans.append((t, {name: contacts[name] for name in columns(program)}))
    return scans


def play_table(
    program: Program,
    rows: Sequence[Row],
    period: int = 10,
    clock_closed: ClockClosed | None = None,
    events: Mapping[str, Sequence[int]] | None = None,
    first_match: bool = False,
    most: int = 400,
    outputs: tuple[str, ...] = (),
) -> list[Scan] | None:
    """The outputs alone, or some of them, from a transition table that was written and read back;
    None where the program is too large for a table."""
    names = outputs or tuple(output.name for output in program.outputs)
    core = reduce(lower(program, period), names)
    try:
        machine = explore(core, most)
    except TooLargeError:
        return None
    work = Compiled(program, core, names, minimise(machine), len(machine.nodes))
    made = transition_table(work, first_match)
    table, findings = read_table(source_from_text(table_csv(made), "table.csv"))
    assert table == made, findings
    board = Emulator(table)
    end = rows[-1][0] if rows else 0
    wall = WallClock(program.clocks, GivenClocks(program, clock_closed, events or {}, end), 0)
    scans: list[Scan] = []
    for t, power, cut, circuits in _grid(program, rows, period):
        if cut:
            board.power(False)
            wall.forget()
        board.power(power)
        if power:
            shown = board.scan(circuits, wall.contacts(t), t)
            scans.append((t, dict(zip(names, shown, strict=True))))
    return scans


def _fast(program: Program, start: int, period: int, jump: bool, calendar: Calendar) -> FastPanel:
    return FastPanel(program, start, period, jump, calendar)


ENGINES: dict[str, Play] = {
    "second reading": second_reading.play,
    "reference": _panel(Panel, jump=True),
    "reference, every scan": _panel(Panel, jump=False),
    "core": _panel(_fast, jump=True),
    "core, every scan": _panel(_fast, jump=False),
    "core, reduced": _panel(_reduced, jump=True),
    "core, generated loop": play_many,
    "core, bit-parallel": play_wide,
}
