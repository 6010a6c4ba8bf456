"""Hands at the switches, the wires and the supply."""

from __future__ import annotations

from rungs.bench.controls.base import Command, Control
from rungs.bench.pages.switches import switch_rows
from rungs.bench.pages.words import day_text
from rungs.program.nodes import Input
from rungs.scan.runner import WireFault


class Hands(Control):
    """Operates what is chosen in the list of switches, or the contact chosen in the ladder."""

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        return {
            "switch.operate": self.operate,
            "switch.hold": self.hold,
            "switch.next": lambda: self.move(1),
            "switch.previous": lambda: self.move(-1),
            "wire.break": lambda: self.fault("broken"),
            "wire.short": lambda: self.fault("shorted"),
            "wire.mend": lambda: self.fault("sound"),
            "panel.power": self.power,
            "panel.again": self.again,
            "rung.operate": self.operate_contact,
        }

    @property
    def names(self) -> list[str]:
        """The switches in the order of their list."""
        return [device.name for device in self.app.session.program.inputs]

    def _chosen(self) -> str | None:
        name = self.app.chosen_switch
        if name is None:
            self.say("this panel has no switches")
        return name

    def choose_switch(self, index: int) -> None:
        """Let the keys act on the switch at an index, and show it."""
        app = self.app
        app.switch_index = index
        self.say("")
        pane = app.bench.switches
        height = pane.outer_size.height
        rows = switch_rows(len(self.names), pane.size.width, height)
        top = 1 + index * rows
        if index == 0:
            pane.scroll_to(y=0, animate=False)
        elif top < pane.scroll_offset.y:
            pane.scroll_to(y=top, animate=False)
        elif top + rows > pane.scroll_offset.y + height:
            pane.scroll_to(y=top + rows - height, animate=False)

    def move(self, step: int) -> None:
        """Choose another switch; after the last comes the first."""
        if self._chosen() is not None:
            self.choose_switch((self.app.switch_index + step) % len(self.names))

    def operate(self) -> None:
        """Do what a finger does."""
        name = self._chosen()
        if name is not None:
            self.touch(name)

    def touch(self, name: str) -> None:
        """Do what a finger does, to the switch of a name."""

        def act() -> None:
            self.app.session.touch(name)
            self.acted()

        self.in_present(act)

    def operate_contact(self) -> None:
        """Operate the switch whose contact is chosen in the ladder."""
        name = self.app.chosen_in_ladder
        device = None if name is None else self.app.session.program.by_name.get(name)
        if isinstance(device, Input):
            self.touch(device.name)
        elif name is None:
            self.say("choose a contact of a switch with the arrows")
        else:
            self.say(f"{name} is no switch: hands cannot move it; f forces it")

    def hold(self) -> None:
        """Keep the switch operated, or let it go."""
        name = self._chosen()
        if name is not None:
            switch = name

            def act() -> None:
                self.app.session.hold(switch)
                self.acted()

            self.in_present(act)

    def fault(self, fault: WireFault) -> None:
        """Break, short or mend the wire."""
        name = self._chosen()
        if name is not None:
            switch = name

            def act() -> None:
                self.app.session.fault(switch, fault)
                self.acted()

            self.in_present(act)

    def acted(self) -> None:
        """Say why nothing follows, where nothing can."""
        session = self.app.session
        if not session.panel.powered:
            self.say("the panel has no power: p switches it on")
        elif not session.running:
            self.say("time stands still: r lets it run, o makes one scan")
        else:
            self.say("")

    def power(self) -> None:
        """Switch the supply."""

        def act() -> None:
            session = self.app.session
            session.switch_power(not session.panel.powered)
            if session.panel.powered:
                self.say("power on: the next scan is the first")
            else:
                self.say("power off: all that is not retained has dropped")

        self.in_present(act)

    def again(self) -> None:
        """A new panel at the first moment."""
        self.app.end_trial()
        session = self.app.session
        forced = len(session.panel.forces)
        kept = self.app.scenarios.scribe is not None
        session.restart()
        self.app.run_changed()
        let_go = f"; {forced} forces let go" if forced else ""
        dropped = "; the scenario that was kept is dropped" if kept else ""
        self.say(f"at the start again, {day_text(session.status().wall[0])}{let_go}{dropped}")
