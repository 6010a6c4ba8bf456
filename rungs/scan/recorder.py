"""The whole run of a panel, so that it can stand at any moment of it again, exactly.

Kept are what hands did, and the panel as it stood now and then; all between is made anew by playing
it. A day of a panel thus costs the memory of the hands, whatever its rungs did.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from rungs.program.nodes import Input
from rungs.scan.reference import State, next_expiry, powered_down
from rungs.scan.runner import Deed, DeedValue, Panel, Snapshot, WireFault

# Counts and not seconds or bytes, so that every machine keeps the same.
STRIDE_WORK = 20_000  # rungs and devices worked between two kept panels
DENSE_WORK = 20_000  # rungs and devices of all panels that are kept without thinning
MOST_ACTS = 40_000
TAP_ENDS = -1
MOST_MOMENTS = 400_000  # scans with a change, or with an event
MOST_FLIPS = 20_000  # of one device


@dataclass(frozen=True, slots=True)
class Act:
    """What hands did between two scans: at `t` ms of the run, before the scan at `scan`.

    `value` is where the switch went, whether power came, where the wall clock was set (ms UTC),
    where a contact is held (None: let go), or what befell the wire; `tap` is how long a switch that
    was tapped stays operated, ms, and TAP_ENDS where it is let go.
    """

    t: int
    scan: int
    deed: Deed
    name: str = ""
    value: DeedValue = None
    tap: int = 0


def carry_out(panel: Panel, act: Act) -> None:
    """Let the act happen to a panel that has come to its moment."""
    match act.deed:
        case "operate":
            panel.operate(act.name, act.value is True)
        case "fault":
            assert act.value in ("sound", "broken", "shorted")
            panel.fault(act.name, act.value)
        case "power":
            panel.switch_power(act.value is True)
        case "clock":
            assert isinstance(act.value, int)
            panel.set_clock(act.value)
        case "force":
            panel.force(act.name, None if act.value is None else act.value is True)


@dataclass(frozen=True, slots=True)
class _Kept:
    """The panel after `work` scans and the first `acts` acts; `serial` numbers those that are kept
    for good."""

    panel: Snapshot
    work: int
    acts: int
    serial: int


class Recorder:
    """Follows a panel from where it stands, and remembers what hands do to it.

    Times are ms of the run. The moment t is that after the scan at t, with the hands as that scan
    found them; between scans it is that of the scan before.
    """

    def __init__(self, panel: Panel) -> None:
        self._program = panel.program
        self._period = panel.period
        size = len(self._program.rungs) + len(self._program.devices) + 1
        self._stride = max(4, STRIDE_WORK // size)
        self._dense = min(32, max(4, DENSE_WORK // size))
        self._spare = _blank(panel)  # a panel to replay on
        self.hearers: list[Callable[[Act], object]] = []  # told of every act
        self._near: list[_Kept] = []  # panels of the last replay, in order of time
        self.follow(panel)

    def follow(self, panel: Panel) -> None:
        """Begin a record of another panel of the same program, at the moment it has come to."""
        self.panel = panel
        self.acts: list[Act] = []
        self._work = 0
        self._kept = [_Kept(panel.snapshot(), 0, 0, 0)]
        self._near = []
        self._changes = array("q")
        self._events = array("q")
        self._flips = {device.name: array("q") for device in self._program.devices}
        self._outages: list[tuple[int, int | None]] = []
        if not panel.powered:
            self._outages.append((panel.now, None))
        self._known = {device.name: panel.now for device in self._program.devices}
        self._due: int | None = None
        self._tap = 0
        panel.watchers.append(self._see)
        panel.hearers.append(self._hear)

    # --- following

    def tap(self, name: str, ms: int) -> None:
        """Operate a switch that is to be let go after `ms`."""
        self._tap = ms
        self.panel.operate(name, True)

    def end_tap(self, name: str) -> None:
        """Let go of a switch that was tapped."""
        self._tap = TAP_ENDS
        self.panel.operate(name, False)

    def _hear(self, deed: Deed, name: str, value: DeedValue) -> None:
        """Remember what hands are about to do."""
        panel = self.panel
        act = Act(panel.now, panel.next_scan_at(), deed, name, value, self._tap)
        self._tap = 0
        self.acts.append(act)
        if deed == "power":
            self._switched(act)
        for hear in self.hearers:
            hear(act)
        if len(self.acts) > MOST_ACTS:
            self._forget_before(MOST_ACTS // 2)

    def _switched(self, act: Act) -> None:
        """Power goes or comes, which is a change by itself."""
        if act.value is True:
            began, _ = self._outages.pop()
            self._outages.append((began, act.scan))
            return
        self._outages.append((act.scan, None))
        _append(self._changes, act.scan)
        self._due = None
        state = self.panel.state
        dark = powered_down(self._program, state)
        self._note_flips(state.contacts, dark.contacts, act.scan)

    def _see(self, before: State, after: State, wires: Mapping[str, WireFault]) -> None:
        """A scan has been made."""
        t = after.t
        if before.contacts != after.contacts:
            self._note_flips(before.contacts, after.contacts, t)
            _append(self._changes, t)
        due = self._due
        if due is not None and t >= due:
            _append(self._events, t)
        self._due = self._next_event(after)
        self._work += 1
        if self._work % self._stride == 0:
            # the panel tells of a scan when it stands after it
            serial = self._work // self._stride
            self._kept.append(
                _Kept(self.panel.snapshot(), self._work, len(self.acts), serial),
            )
            if serial % self._dense == 0:
                self._thin(serial)

    def _note_flips(self, before: Mapping[str, bool], after: Mapping[str, bool], t: int) -> None:
        for name, contact in after.items():
            if before[name] != contact:
                flips = self._flips[name]
                flips.append(t)
                if len(flips) >= 2 * MOST_FLIPS:
                    # an even number, so that the level before the first one stays
                    del flips[:MOST_FLIPS]
                    self._known[name] = flips[0]

    def _next_event(self, state: State) -> int | None:
        """When the next timer runs out or the next clock moves; debounce is neither."""
        timers = {
            name: t
            for name, t in state.since.items()
            if not isinstance(self._program.by_name[name], Input)
        }
        times = (
            next_expiry(self._program, replace(state, since=timers)),
            self.panel.wall.next_change(state.t),
        )
        return min((t for t in times if t is not None), default=None)

    @property
    def due(self) -> int | None:
        """When the next timer runs out or the next clock moves, if one will."""
        return self._due

    def _thin(self, serial: int) -> None:
        """Keep fewer panels of longer ago: half as many each time the age doubles."""
        self._kept = [
            kept
            for kept in self._kept
            if kept.serial % (1 << ((serial - kept.serial) // self._dense).bit_length()) == 0
            or kept is self._kept[0]
        ]

    def _forget_before(self, act: int) -> None:
        """Let the record begin later, at a kept panel from which `act` acts are over."""
        index = bisect_right(self._kept, act, key=lambda kept: kept.acts) - 1
        first = self._kept[max(index, 0)]
        if first.acts == 0:
            # nothing was kept since the hands began: then it begins now
            first = _Kept(self.panel.snapshot(), self._work, len(self.acts), 0)
            self._kept = [first]
            index = 0
        self._kept = [
            _Kept(kept.panel, kept.work, kept.acts - first.acts, kept.serial)
            for kept in self._kept[index:]
        ]
        del self.acts[: first.acts]
        self._near = []
        begins = self.begins
        self._outages = [(a, b) for a, b in self._outages if b is None or b >= begins]

    # --- asking

    @property
    def begins(self) -> int:
        """The first moment that can be gone back to."""
        return max(0, self._kept[0].panel.state.t)

    @property
    def ends(self) -> int:
        """The last scan that was made, or the moment the power went after it."""
        last = self._outages[-1] if self._outages else None
        return self.panel.state.t if last is None or last[1] is not None else last[0]

    def changes_before(self, t: int) -> int | None:
        """The last moment before t at which a contact moved or the power went."""
        return _before(self._changes, t)

    def changes_after(self, t: int) -> int | None:
        """The first moment after t at which a contact moved or the power went."""
        return _after(self._changes, t)

    def events_before(self, t: int) -> int | None:
        """The last scan before t at which a timer ran out or a clock moved."""
        return _before(self._events, t)

    def events_after(self, t: int) -> int | None:
        """The first scan after t at which a timer ran out or a clock moved."""
        return _after(self._events, t)

    def flips(self, name: str) -> tuple[bool, array[int]]:
        """A device's contact before the first change that is known, and when it changed. The
        array is the recorder's own."""
        flips = self._flips[name]
        level = self.panel.state.contacts[name] != (len(flips) % 2 == 1)
        return level, flips

    def known_from(self, name: str) -> int:
        """Since when every change of a device is known."""
        return self._known[name]

    def outages(self) -> tuple[tuple[int, int | None], ...]:
        """Stretches without power; the last may not have ended."""
        return tuple(self._outages)

    def taps_at(self, t: int) -> dict[str, int]:
        """The switches that are being tapped at the moment t, and when each is let go."""
        found: dict[str, int] = {}
        for act in self.acts:
            if act.scan > t:
                break
            if act.deed == "operate":
                found.pop(act.name, None)
                if act.tap > 0:
                    found[act.name] = act.t + act.tap
        return {name: at for name, at in found.items() if at > t}

    # --- going back

    def at(self, t: int, make: Panel | None = None) -> Panel:
        """A panel that stands as this one did at the moment t, kept inside what is known.

        It is played on a panel that the next call takes again, unless `make` is given to stand
        there instead: one of the same program, whose watchers then see the scans on the way.
        """
        t = max(self.begins, min(t, self.ends))
        panel = self._spare if make is None else make
        start = self._from(t) if make is None else self._kept[self._index(t)]
        panel.restore(start.panel)
        near = [start]
        work = start.work
        for act_index in range(start.acts, len(self.acts) + 1):
            act = self.acts[act_index] if act_index < len(self.acts) else None
            over = act is None or act.scan > t
            until = t if act is None or over else min(act.t, act.scan - 1)
            for _ in panel.advance(until):
                work += 1
                near.append(_Kept(panel.snapshot(), work, act_index, -1))
                if len(near) > 2 * self._dense:
                    del near[1 : self._dense]
            if act is None or over:
                break
            panel.pass_to(act.t)
            carry_out(panel, act)
        if make is None:
            self._near = near
        panel.now = t
        return panel

    def replay(self, panel: Panel, since: int, until: int) -> Iterator[State]:
        """Play a panel that stands at the moment `since` on to `until`, hands included; yields
        each scan that is made."""
        until = min(until, self.ends)
        index = bisect_right(self.acts, since, key=lambda act: act.scan)
        while index < len(self.acts) and self.acts[index].scan <= until:
            act = self.acts[index]
            yield from panel.advance(min(act.t, act.scan - 1))
            panel.pass_to(act.t)
            carry_out(panel, act)
            index += 1
        yield from panel.advance(until)

    def branch(self, t: int) -> None:
        """Let the panel go on from the moment t, and forget what came after it."""
        t = max(self.begins, min(t, self.ends))
        past = self.at(t)
        self.panel.restore(past.snapshot())
        del self.acts[bisect_right(self.acts, t, key=lambda act: act.scan) :]
        self._kept = [
            k for k in self._kept if k.acts <= len(self.acts) and k.panel.state.t <= t
        ] or self._kept[:1]
        self._work = self._kept[-1].work
        self._near = []
        for moments in (self._changes, self._events, *self._flips.values()):
            del moments[bisect_right(moments, t) :]
        self._outages = [
            (began, None if ended is None or ended > t else ended)
            for began, ended in self._outages
            if began <= t
        ]
        self._due = self._next_event(self.panel.state) if self.panel.powered else None

    def _index(self, t: int) -> int:
        """The last kept panel from which the moment t can be reached."""
        index = bisect_right(self._kept, t, key=lambda kept: kept.panel.state.t) - 1
        while index > 0 and not self._leads_to(self._kept[index], t):
            index -= 1
        return max(0, index)

    def _leads_to(self, kept: _Kept, t: int) -> bool:
        """Whether no act is over yet that the moment t does not know of."""
        return kept.panel.state.t <= t and (kept.acts == 0 or self.acts[kept.acts - 1].scan <= t)

    def _from(self, t: int) -> _Kept:
        kept = self._kept[self._index(t)]
        near = [n for n in self._near if self._leads_to(n, t) and n.work > kept.work]
        return max(near, key=lambda n: n.work, default=kept)


def _blank(panel: Panel) -> Panel:
    """Another panel of the same program, to be put where one likes."""
    return Panel(panel.program, 0, panel.period, panel.jump, panel.calendar)


def _append(moments: array[int], t: int) -> None:
    if moments and moments[-1] == t:
        return
    moments.append(t)
    if len(moments) >= 2 * MOST_MOMENTS:
        del moments[:MOST_MOMENTS]


def _before(moments: array[int], t: int) -> int | None:
    index = bisect_left(moments, t)
    return moments[index - 1] if index else None


def _after(moments: array[int], t: int) -> int | None:
    index = bisect_right(moments, t)
    return moments[index] if index < len(moments) else None
