"""Why a device stands as it does, where it stands in the rungs, and forces."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from rungs.bench.controls.base import Command, Control
from rungs.bench.dialogs import Choice, Page
from rungs.bench.pages.words import Line, Signs
from rungs.bench.session.session import Session
from rungs.cells import safe
from rungs.draw.crossref import cross_reference
from rungs.program.nodes import Input, Output, Program
from rungs.prove.why.alter import alterations
from rungs.prove.why.explain import Explainer
from rungs.prove.why.history import History
from rungs.prove.why.nodes import Kind
from rungs.prove.why.verify import verified
from rungs.report.why import why_text

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp


class Asking(Control):
    """Speaks of the device that is chosen in the pane with the keyboard."""

    def __init__(self, app: BenchApp) -> None:
        super().__init__(app)
        self._found: tuple[str, int] = ("", -1)
        self._references = cross_reference(app.session.program)
        self._of: Program = app.session.program

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        return {
            "ask.why": self.why,
            "ask.find": self.find,
            "force.choose": self.force,
            "force.release": self.release,
        }

    def _subject(self) -> str | None:
        name = self.app.subject
        if name is None:
            self.say("choose a device first: tab goes from pane to pane, arrows choose")
        elif name not in self.app.session.program.by_name:
            self.say(f"{name} is not in the panel yet: F4 takes the edited program in")
            return None
        return name

    # --- why

    def why(self) -> None:
        """Explain the chosen device at the moment that is shown."""
        name = self._subject()
        if name is None:
            return
        session = self.app.session
        session.pause()
        history = session.history()
        if history is None:
            self.say("this program has not been scanned yet: o makes a scan")
            return
        page = why_page(session, history, name, self.app.signs)
        self.app.push_screen(Page(page, self.app.signs))

    # --- where

    def find(self) -> None:
        """Show the rungs that drive the chosen device, then those that read it, in turn."""
        name = self._subject()
        if name is None:
            return
        program = self.app.session.program
        if program is not self._of:
            self._of, self._references = program, cross_reference(program)
        entry = self._references[name]
        driven = list(dict.fromkeys(driver.rung for driver in entry.driven_by))
        places = [(n, "driven") for n in driven] + [(n, "read") for n in entry.read_by]
        if not places:
            self.say(f"no rung names {name}")
            return
        turn = (self._found[1] + 1) % len(places) if self._found[0] == name else 0
        self._found = (name, turn)
        number, how = places[turn]
        self.app.show_rung(number - 1, name)
        by = f"driven by rung {', '.join(map(str, driven))}" if driven else "driven by no rung"
        read = f"read by {', '.join(map(str, entry.read_by))}" if entry.read_by else "read by none"
        self.say(f"{name}: {by}, {read}; here {how} by rung {number}")

    # --- forces

    def force(self) -> None:
        """Ask how the chosen device is to be held."""
        name = self._subject()
        if name is None:
            return
        device = self.app.session.program.by_name[name]
        on, off = ("closed", "open") if isinstance(device, Input) else ("on", "off")
        held = self.app.session.standing.forces.get(name)
        choices = [
            Choice("n", f"hold {name} {on}, whatever the program does", "on"),
            Choice("f", f"hold {name} {off}, whatever the program does", "off"),
        ]
        if held is not None:
            choices.append(Choice("l", "let go", "free"))

        def answered(how: str) -> None:
            def act() -> None:
                value = None if how == "free" else how == "on"
                self.app.session.force(name, value)
                if value is None:
                    self.say(f"{name} is free again")
                else:
                    word = on if value else off
                    self.say(f"{name} is held {word} from the next scan on; F lets go of all")

            self.in_present(act)

        self.choose(f"Force {name}: it lets go by itself after ten minutes", choices, answered)

    def release(self) -> None:
        """Let go of every force."""

        def act() -> None:
            names = self.app.session.release_forces()
            self.say(f"let go of {', '.join(names)}" if names else "nothing is forced")

        self.in_present(act)


def why_page(
    session: Session, history: History, name: str, signs: Signs
) -> Callable[[int], list[Line]]:
    """Why a device stands as it does at the moment shown, and what would alter it: lines for a
    width. Each explanation is checked by evaluating it again."""
    device = session.program.by_name[name]
    kinds: list[Kind] = ["contact"]
    if isinstance(device, Output) and device.side == "NC":
        kinds.append("load")
    at = history.scan_at(session.at)
    found = []
    for kind in kinds:
        explanation = Explainer(history).explain(name, kind, at)
        changes = alterations(history, name, kind, at)
        found.append((explanation, changes, verified(history, explanation)))

    def make(width: int) -> list[Line]:
        lines: list[Line] = []
        for explanation, changes, complaints in found:
            text = why_text(history, explanation, changes, True, width)
            lines += [((safe(line, signs.ascii_only), "plain"),) for line in text.split("\n")]
            for complaint in complaints:
                lines.append(((f"This explanation failed its own check: {complaint}", "wrong"),))
            lines.append(())
        return lines

    return make
