"""Every way of playing a program, behind one call, so that one test body runs over all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from rungs.program.nodes import Clock, Program, Site
from rungs.scan.calendar import Calendar
from rungs.scan.runner import Panel
from rungs.scan.trace import StimulusRow, columns, trace_panel
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


def _reference(jump: bool) -> Play:
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
        panel = Panel(program, 0, period, jump, calendar)
        return [
            (t, dict(zip(names, values, strict=True))) for t, values in trace_panel(panel, stimulus)
        ]

    return play


ENGINES: dict[str, Play] = {
    "second reading": second_reading.play,
    "reference": _reference(jump=True),
    "reference, every scan": _reference(jump=False),
}
