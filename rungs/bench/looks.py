"""How one moment of a panel looks: switches, relays, timers, counters and clocks as frozen data.

A moment is a panel, standing after a scan or part-way through one; whether it is the present or the
past of a run makes no difference here, so that nothing on the screen can.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import assert_never

from rungs.bench.views import ClockView, CounterView, RelayView, SwitchView, TimerView, WallTime
from rungs.program.nodes import Clock, Input, Output, Relay, Timer
from rungs.scan.calendar import Calendar
from rungs.scan.reference import State, is_timing
from rungs.scan.runner import Panel

LOOK_AGAIN = 86_400_000  # ms after which a clock that had no next change is asked again


@dataclass(frozen=True, slots=True)
class Moment:
    """A panel, and the image that its rungs see: after the scan, or part-way through it.

    `before` is the state that the scan began with, `upto` how many rungs of it are worked (None:
    it is over), `taps` says when each tapped switch is let go, ms of the run.
    """

    panel: Panel
    before: State
    image: State
    upto: int | None
    taps: Mapping[str, int]

    @property
    def part_way(self) -> bool:
        """Whether the outputs of this scan are still to be written."""
        return self.upto is not None

    @property
    def written(self) -> State:
        """The state of which the outputs tell: they wait for the end of the scan."""
        return self.before if self.part_way else self.image


def switch_view(moment: Moment, device: Input) -> SwitchView:
    """One input."""
    panel, name = moment.panel, device.name
    release = moment.taps.get(name)
    return SwitchView(
        name,
        device.terminal,
        device.label,
        device.actuator,
        device.side,
        device.debounce,
        panel.operated[name],
        panel.circuits[name],
        moment.image.contacts[name],
        panel.wires[name],
        None if release is None else max(0, release - panel.now),
        panel.forces.get(name),
    )


def relay_view(moment: Moment, name: str) -> RelayView:
    """One output or control relay."""
    device = moment.panel.program.by_name[name]
    image, written = moment.image, moment.written
    coil, forced = image.contacts[name], moment.panel.forces.get(name)
    if not isinstance(device, Output):
        assert isinstance(device, Relay)
        return RelayView(name, "", device.label, coil, None, None, device.retained, forced)
    # the supply feeds the loads as well
    load = written.powered and written.contacts[name] != (device.side == "NC")
    waits = coil != written.contacts[name]
    return RelayView(
        name, device.terminal, device.label, coil, device.side, load, device.retained, forced, waits
    )


def relay_views(moment: Moment) -> tuple[RelayView, ...]:
    """Every output, then every control relay, in file order."""
    program = moment.panel.program
    inner = [device.name for device in program.devices if isinstance(device, Relay)]
    names = [*(device.name for device in program.outputs), *inner]
    return tuple(relay_view(moment, name) for name in names)


def timer_view(moment: Moment, device: Timer) -> TimerView:
    """One timer."""
    state, name = moment.image, device.name
    elapsed, length = 0, device.preset
    match device.kind:
        case "accumulating":
            elapsed = state.counts[name]
        case "flasher":
            if name in state.since:
                elapsed = (state.t - state.since[name]) % (device.preset + device.off)
                if elapsed >= device.preset:
                    elapsed, length = elapsed - device.preset, device.off
        case "on-delay" | "off-delay" | "pulse":
            if name in state.since:
                elapsed = state.t - state.since[name]
        case _:
            assert_never(device.kind)
    return TimerView(
        name,
        device.label,
        device.kind,
        state.coils.get(name, False),
        state.contacts[name],
        is_timing(moment.panel.program, state, name),
        min(elapsed, length),
        length,
        moment.panel.forces.get(name),
    )


def timer_views(moment: Moment) -> tuple[TimerView, ...]:
    """Every timer, in file order."""
    return tuple(timer_view(moment, device) for device in moment.panel.program.timers)


def counter_views(moment: Moment) -> tuple[CounterView, ...]:
    """Every counter, in file order."""
    state, forces = moment.image, moment.panel.forces
    return tuple(
        CounterView(
            d.name,
            d.label,
            state.counts[d.name],
            d.preset,
            state.contacts[d.name],
            forces.get(d.name),
        )
        for d in moment.panel.program.counters
    )


class ClockLooks:
    """The clocks of one program; remembers when each will move next, which is slow to find."""

    def __init__(self, calendar: Calendar) -> None:
        self._calendar = calendar
        # clock: asked at, asked again at, next change
        self._changes: dict[str, tuple[int, int, int | None]] = {}

    def views(self, moment: Moment) -> tuple[ClockView, ...]:
        """Every clock, in file order."""
        panel, image = moment.panel, moment.image
        now = panel.wall.at(image.t if image.powered else panel.now)
        return tuple(
            ClockView(
                d.name,
                d.label,
                image.contacts[d.name],
                d.end is None,
                not self._calendar.is_closed(d, now),
                self._changes_at(d, now),
                panel.forces.get(d.name),
            )
            for d in panel.program.clocks
        )

    def _changes_at(self, clock: Clock, now: int) -> WallTime | None:
        """The local time of the clock's next change; asked of the calendar once a change."""
        asked = self._changes.get(clock.name)
        if asked is None or not asked[0] <= now < asked[1]:
            find = (
                self._calendar.occurrence_after if clock.end is None else self._calendar.next_edge
            )
            change = find(clock, now)
            asked = (now, now + LOOK_AGAIN if change is None else change, change)
            self._changes[clock.name] = asked
        return None if asked[2] is None else self._calendar.zone.local(asked[2])
