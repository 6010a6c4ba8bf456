"""A person's hands on the panel: its switches, wires and supply, and forces.

Hands act in the present; in the past they begin another future there, and what came after is
forgotten, so faces ask before they act while `in_past`.
"""

from __future__ import annotations

from rungs.bench.session.run import FORCE_MS, Run
from rungs.program.nodes import Input
from rungs.scan.runner import WireFault

TAP = 200  # ms, as `tap` in a scenario


class Hands(Run):
    """A run that hands can reach into."""

    # --- hands

    def operate(self, name: str, operated: bool) -> None:
        """Move a switch and leave it there."""
        self.branch()
        self._releases.pop(name, None)
        self.panel.operate(name, operated)
        self._moment = None

    def press(self, name: str) -> None:
        """Operate a switch and hold it."""
        self.operate(name, True)

    def release(self, name: str) -> None:
        """Let a switch go."""
        self.operate(name, False)

    def toggle(self, name: str) -> None:
        """Move a switch to its other position."""
        self.branch()
        self.operate(name, not self.panel.operated[name])

    def tap(self, name: str, ms: int = TAP) -> None:
        """Operate a switch now and let it go after `ms` of simulated time."""
        self.branch()
        self.recorder.tap(name, ms)
        self._releases[name] = self.panel.now + ms
        self._moment = None

    def touch(self, name: str) -> None:
        """What a finger does: throws a maintained switch, taps a momentary one, and lets go of one
        that is held."""
        self.branch()
        device = self.program.by_name[name]
        assert isinstance(device, Input)
        held = self.panel.operated[name] and name not in self._releases
        if device.actuator == "maintained" or held:
            self.toggle(name)
        else:
            self.tap(name)

    def hold(self, name: str) -> None:
        """Keep a switch operated, also one that is being tapped; let go of one that is kept."""
        self.branch()
        if name in self._releases:
            self.press(name)
        else:
            self.toggle(name)

    def fault(self, name: str, fault: WireFault) -> None:
        """Break or short the wire of an input, or mend it."""
        self.branch()
        self.panel.fault(name, fault)
        self._moment = None

    def switch_power(self, on: bool) -> None:
        """Switch the panel's supply; off drops all that is not retained."""
        self.branch()
        before = self.panel.state.contacts
        self.panel.switch_power(on)
        self._upto = None
        self._moment = None
        for name, contact in self.panel.state.contacts.items():
            if contact != before[name]:
                self._moved[name] = self._real

    def set_clock(self, instant: int) -> None:
        """Let the wall clock show `instant`, ms UTC; timers are left alone."""
        self.branch()
        self.panel.set_clock(instant)
        self._moment = None

    # --- forces

    def force(self, name: str, closed: bool | None) -> None:
        """Hold a device's contact closed or open against the program, or let go of it (None). A
        force lets go by itself after ten minutes of real time."""
        self.branch()
        self.panel.force(name, closed)
        self._moment = None
        if closed is None:
            self._force_ends.pop(name, None)
        else:
            self._force_ends[name] = self._real + FORCE_MS

    def release_forces(self) -> tuple[str, ...]:
        """Let go of every force together; their names."""
        self.branch()
        names = tuple(self.panel.forces)
        for name in names:
            self.force(name, None)
        return names

    def forces(self) -> tuple[tuple[str, bool, int], ...]:
        """Every force of the moment shown: the device, whether it is held closed, and the real ms
        until it lets go by itself."""
        ends = self._force_ends
        return tuple(
            (name, closed, max(0, ends.get(name, self._real) - self._real))
            for name, closed in self.standing.forces.items()
        )

    def _expire_forces(self) -> None:
        for name in [n for n, at in self._force_ends.items() if at <= self._real]:
            del self._force_ends[name]
            if self.panel.forces.get(name) is not None:
                # in the present, whatever moment is shown
                self.panel.force(name, None)
                self.let_go.append(name)
                self._moment = None
