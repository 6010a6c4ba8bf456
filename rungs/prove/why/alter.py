"""What would alter a device: single things to do, pairs of them, and what time alone does.

Nothing is concluded from the circuit: each answer was played on a panel that stands as the recorded
one did, for a change that looks right in a rung may be undone by another one.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, islice
from typing import assert_never

from rungs.program.nodes import Clock, Counter, Input, Output, Relay, Timer
from rungs.prove.why.depends import reached
from rungs.prove.why.history import History
from rungs.prove.why.nodes import Alterations, Change, Hand, Kind, Moment, Passing
from rungs.prove.why.scans import load_is_on, show
from rungs.scan.reference import State
from rungs.scan.runner import Panel
from rungs.scan.zone import DAY

TRIALS = 400  # pairs of switches and forces that are tried for one question
AHEAD = 366 * DAY  # how far hands-off time is played
AHEAD_SCANS = 2_000


def alterations(
    history: History, name: str, kind: Kind = "contact", t: int | None = None
) -> Alterations:
    """What would make the device stand otherwise than after the scan at or before t (ms; now if
    None).

    Only switches and forces on which the device can depend are tried, alone and then in pairs; the
    panel is played by the reference interpreter until it settles, at most 1 s. Raises KeyError for
    an unknown name, LookupError before the first scan.
    """
    at = history.scan_at(history.latest.t if t is None else t)
    return _Trials(history, name, kind, at).found()


class _Trials:
    """The trials for one question."""

    def __init__(self, history: History, name: str, kind: Kind, at: int) -> None:
        self.history = history
        self.program = history.program
        self.name = name
        self.kind = kind
        self.at = at
        self.record = history.record(at)
        self.now = self._look(self.record.after)
        self.reached = reached(self.program, name)
        self.inputs = tuple(d for d in self.program.inputs if d.name in self.reached)
        self.forces = tuple(name for name in self.record.forces if name in self.reached)

    def _look(self, state: State) -> bool | int:
        """What the device shows of what is asked about."""
        device = self.program.by_name[self.name]
        if self.kind == "load":
            assert isinstance(device, Output)
            return load_is_on(device, state)
        return show(self.program, state, self.name).of(self.kind)

    def _panel(self) -> tuple[Panel, list[bool | int]]:
        """A panel to try things on, and what the device will have shown after each scan of it."""
        panel = self.history.panel_at(self.at, Panel)
        seen: list[bool | int] = []
        panel.watchers.append(lambda before, after, wires: seen.append(self._look(after)))
        return panel, seen

    def found(self) -> Alterations:
        """Everything that alters it."""
        if not self.record.after.powered:
            ever, ends = self._play((("power", ""),))
            return Alterations((Change("power", "", ends),) if ever else ())
        if self._play(())[0]:
            return Alterations(passing=self._passing(), restless=True)
        changes = (
            *self._let_go(),
            *(change for device in self.inputs for change in self._changes(device)),
        )
        pair = None if changes else self._pair()
        return Alterations(changes, pair, self._passing(), tried=bool(self.inputs or self.forces))

    def _let_go(self) -> Iterator[Change]:
        """The forces that make it stand as it does."""
        for name in self.forces:
            ever, ends = self._play((("unforce", name),))
            if ever:
                yield Change("unforce", name, ends)

    def _other_way(self, device: Input) -> Hand:
        return "release" if self.record.operated[device.name] else "operate"

    def _changes(self, device: Input) -> Iterator[Change]:
        """What to do with one switch or its wire, if anything, the plainest first."""
        name = device.name
        if self.record.wires[name] != "sound":
            hands: tuple[Hand, ...] = ("mend",)
        else:
            hands = (self._other_way(device), "again" if self.record.operated[name] else "tap")
        for hand in hands:
            ever, ends = self._play(((hand, name),))
            if ends or (ever and hand not in ("tap", "again")):
                yield Change(hand, name, ends)
                return

    def _pair(self) -> tuple[Change, Change] | None:
        """The first two, of switches and forces, that do it together."""
        sound = [d for d in self.inputs if self.record.wires[d.name] == "sound"]
        ways: list[tuple[Hand, str]] = [("unforce", name) for name in self.forces]
        ways += [(self._other_way(device), device.name) for device in sound]
        for hands in islice(combinations(ways, 2), TRIALS):
            if self._play(hands)[1]:
                first, second = (Change(hand, name, True) for hand, name in hands)
                return first, second
        return None

    def _play(self, hands: tuple[tuple[Hand, str], ...]) -> tuple[bool, bool]:
        """Whether the device then ever shows something else, and whether it settles at that."""
        panel, seen = self._panel()
        back: list[tuple[str, bool]] = []
        for hand, name in hands:
            match hand:
                case "operate" | "release":
                    panel.operate(name, hand == "operate")
                case "tap" | "again":
                    back.append((name, panel.operated[name]))
                    panel.operate(name, not panel.operated[name])
                case "mend":
                    panel.fault(name, "sound")
                case "unforce":
                    panel.force(name, None)
                case "power":
                    panel.switch_power(True)
                case _:
                    assert_never(hand)
        panel.settle()
        for name, operated in back:
            panel.operate(name, operated)
            panel.settle()
        return any(each != self.now for each in seen), seen[-1] != self.now

    def _passing(self) -> Passing | None:
        """When the device changes with all hands off."""
        panel, seen = self._panel()
        due: tuple[str, ...] = ()
        for after in islice(panel.advance(self.at + AHEAD), AHEAD_SCANS):
            due = tuple(self._came(panel.before, after)) or due
            if seen[-1] != self.now:
                moment = Moment(after.t, after.t // panel.period, panel.wall.at(after.t))
                return Passing(moment, due)
        return None

    def _came(self, before: State, after: State) -> Iterator[str]:
        """The timers, clocks and bounces that came to their time in a scan."""
        for device in self.program.devices:
            name = device.name
            if name not in self.reached:
                continue
            moved = before.contacts[name] != after.contacts[name]
            match device:
                case Clock() | Input():
                    if moved:
                        yield name
                case Timer():
                    if moved and before.coils.get(name) == after.coils.get(name):
                        yield name
                case Output() | Relay() | Counter():
                    pass
                case _:
                    assert_never(device)
