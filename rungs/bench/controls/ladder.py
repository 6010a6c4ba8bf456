"""The ladder: choosing a contact or coil in it, and changing the rung there."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from rungs.bench.controls.base import Command, Control
from rungs.bench.dialogs import Choice
from rungs.edit.actions import add_action, change_action, delete_action, set_label
from rungs.edit.changes import Change, refusal
from rungs.edit.contacts import (
    Where,
    delete_contact,
    insert_at_rung,
    insert_contact,
    invert_contact,
    replace_contact,
)
from rungs.edit.devices import DeviceKind, declare
from rungs.edit.statements import delete_rung, move_rung, new_rung
from rungs.findings import Finding
from rungs.program.nodes import Rung, Verb, leaves
from rungs.program.words import circuit_text
from rungs.source import Span

Edit = Callable[[], object]

_VERBS: tuple[tuple[str, Verb, str], ...] = (
    ("c", "coil", "coil: on while the rung has power"),
    ("l", "latch", "latch: on from now on"),
    ("u", "unlatch", "unlatch: off from now on"),
    ("i", "impulse", "impulse: flips each time the rung gains power"),
    ("d", "down", "down: counts down each time the rung gains power"),
    ("r", "reset", "reset: clears a counter or an accumulating timer"),
)
_KINDS: tuple[tuple[str, DeviceKind, str], ...] = (
    ("r", "relay", "a control relay"),
    ("o", "output", "an output at the next free terminal"),
    ("i", "input", "an input at the next free terminal"),
    ("t", "timer", "a timer of one second on-delay"),
    ("c", "counter", "a counter to ten"),
    ("k", "clock", "a clock from 08:00 to 16:00"),
)


class LadderControl(Control):
    """Acts on what is chosen in the ladder: `app.rung_index`, and `app.element`, which counts the
    contacts in reading order and then the coils."""

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        return {
            "rung.edit": self.after_typing(self.menu),
            "rung.right": lambda: self.move(1),
            "rung.left": lambda: self.move(-1),
            "rung.down": lambda: self.move_rung(1),
            "rung.up": lambda: self.move_rung(-1),
            "view.first": lambda: self.choose_rung(0),
            "view.last": lambda: self.choose_rung(-1),
        }

    # --- choosing

    def _rung(self) -> Rung | None:
        rungs = self.app.shown_program.rungs
        index = self.app.rung_index
        return rungs[index] if 0 <= index < len(rungs) else None

    def choose_rung(self, index: int, element: int = 0) -> None:
        """Choose a rung, and a contact or coil of it."""
        rungs = self.app.shown_program.rungs
        if rungs:
            index = index % len(rungs)
            self.app.choose_element(index, element)

    def move(self, step: int) -> None:
        """The next contact or coil in reading order, also of the next rung."""
        rung = self._rung()
        if rung is None:
            return
        last = len(leaves(rung.circuit)) + len(rung.actions) - 1
        element = self.app.element + step
        if element > last and self.app.rung_index + 1 < len(self.app.shown_program.rungs):
            self.choose_rung(self.app.rung_index + 1)
        elif element < 0 and self.app.rung_index > 0:
            above = self.app.shown_program.rungs[self.app.rung_index - 1]
            end = len(leaves(above.circuit)) + len(above.actions) - 1
            self.choose_rung(self.app.rung_index - 1, end)
        else:
            self.app.choose_element(self.app.rung_index, max(0, min(element, last)))

    def move_rung(self, step: int) -> None:
        """The rung below or above."""
        rungs = self.app.shown_program.rungs
        if rungs:
            self.choose_rung(max(0, min(self.app.rung_index + step, len(rungs) - 1)))

    # --- changing

    def menu(self) -> None:
        """What can be done at the chosen place."""
        self.app.work.recheck()
        self.keep_choice()
        if self.app.work.stale:
            self.say("the text has errors: mend them first; F8 goes to the next finding")
            return
        rung = self._rung()
        choices = list(self._choices(rung))
        place = "no rung yet" if rung is None else f"rung {rung.number}, {self._words(rung)}"
        self.choose(f"Change the ladder: {place}", choices, lambda edit: edit())

    def _words(self, rung: Rung) -> str:
        contacts = leaves(rung.circuit)
        if self.app.element < len(contacts):
            return circuit_text(contacts[self.app.element])
        action = rung.actions[self.app.element - len(contacts)]
        return f"{'' if action.verb == 'coil' else action.verb + ' '}{action.name}"

    def _choices(self, rung: Rung | None) -> Iterator[Choice[Edit]]:
        if rung is None:
            yield Choice("n", "new rung", lambda: self._new_rung(None))
            yield Choice("w", "new device", self._new_device)
            return
        number, element = rung.number, self.app.element
        contacts = len(leaves(rung.circuit))
        checked = self.app.work.recheck()
        if element < contacts:
            leaf = element
            yield Choice("s", "put a contact in series after it", lambda: self._insert("after"))
            yield Choice("b", "put a contact in series before it", lambda: self._insert("before"))
            yield Choice("p", "put a contact in parallel with it", lambda: self._insert("beside"))
            yield Choice(
                "c",
                "turn it: normally open, or normally closed",
                lambda: self._do(invert_contact(checked, number, leaf)),
            )
            yield Choice("o", "put another contact in its place", self._replace)
            yield Choice("d", "delete it", lambda: self._do(delete_contact(checked, number, leaf)))
        else:
            action = element - contacts
            yield Choice("v", "change what is done to the device", lambda: self._verb(action))
            yield Choice("o", "drive another device", lambda: self._other(action))
            yield Choice("d", "delete it", lambda: self._do(delete_action(checked, number, action)))
        yield Choice("a", "drive one more device", self._add_action)
        yield Choice("q", "put a contact in parallel with the whole rung", self._beside_all)
        yield Choice("l", "label of the rung", lambda: self._label(rung))
        yield Choice("u", "move the rung up", lambda: self._move(number, -1))
        yield Choice("m", "move the rung down", lambda: self._move(number, 1))
        yield Choice("n", "new rung below", lambda: self._new_rung(number))
        yield Choice("x", "delete the rung", lambda: self._do(delete_rung(checked, number)))
        yield Choice("w", "new device", self._new_device)

    def _do(self, change: Change | Finding, rung: int | None = None) -> None:
        """Carry out a change, and say what it was."""
        app = self.app
        if isinstance(change, Change) and not change.edits:
            self.say("it stands like that already: nothing is changed")
            return
        refused = app.work.change(change)
        if refused is not None:
            self.say_finding(refused)
            return
        assert isinstance(change, Change)
        app.text_changed(change.caret)
        if rung is not None:
            self.choose_rung(rung)
        self.keep_choice()
        back = self.takes_back
        self.say(f"{change.says}; {back} takes it back, F4 takes it into the panel", True)

    def _ask(
        self,
        title: str,
        make: Callable[[str], Change | Finding],
        value: str = "",
        hint: str = "",
        rung: int | None = None,
    ) -> None:
        """Ask for words until they make a change, carry it out, and show the rung at an index."""
        self.fill_in_change(title, make, lambda change: self._do(change, rung), value, hint)

    def _ask_contact(self, title: str, then: Callable[[str], Change | Finding]) -> None:
        hint = "a contact: lamp, not lamp, rising start, linger.timing, runs >= 3"
        self._ask(title, then, hint=hint)

    def _insert(self, where: Where) -> None:
        words = {"after": "In series after it", "before": "In series before it"}
        rung, leaf = self.app.rung_index + 1, self.app.element
        self._ask_contact(
            words.get(where, "In parallel with it"),
            lambda text: insert_contact(self.app.work.recheck(), rung, leaf, text, where),
        )

    def _beside_all(self) -> None:
        rung = self.app.rung_index + 1
        self._ask_contact(
            "In parallel with the whole rung",
            lambda text: insert_at_rung(self.app.work.recheck(), rung, text, "beside"),
        )

    def _replace(self) -> None:
        rung, leaf = self.app.rung_index + 1, self.app.element
        self._ask_contact(
            "In its place",
            lambda text: replace_contact(self.app.work.recheck(), rung, leaf, text),
        )

    def _verb(self, action: int) -> None:
        rung = self.app.rung_index + 1
        choices = [Choice(letter, words, verb) for letter, verb, words in _VERBS]
        self.choose(
            "What the rung does to it",
            choices,
            lambda verb: self._do(change_action(self.app.work.recheck(), rung, action, verb=verb)),
        )

    def _other(self, action: int) -> None:
        rung = self.app.rung_index + 1
        self._ask(
            "Drive which device?",
            lambda name: change_action(self.app.work.recheck(), rung, action, name=name),
        )

    def _add_action(self) -> None:
        rung = self.app.rung_index + 1
        choices = [Choice(letter, words, verb) for letter, verb, words in _VERBS]

        def chosen(verb: Verb) -> None:
            self._ask(
                f"{verb}: which device?",
                lambda name: add_action(self.app.work.recheck(), rung, verb, name),
            )

        self.choose("What the rung does to one more device", choices, chosen)

    def _label(self, rung: Rung) -> None:
        self._ask(
            "The label of the rung; empty for none",
            lambda text: set_label(self.app.work.recheck(), rung.number, text),
            value=rung.label,
        )

    def _move(self, number: int, way: int) -> None:
        change = move_rung(self.app.work.recheck(), number, "up" if way < 0 else "down")
        self._do(change, None if isinstance(change, Finding) else number - 1 + way)

    def _new_rung(self, after: int | None) -> None:
        def make(text: str) -> Change | Finding:
            circuit, arrow, actions = text.partition("->")
            if not arrow:
                return refusal(
                    "incomplete",
                    "the arrow is missing",
                    Span(0, len(text)),
                    "nothing would be driven",
                    "write a circuit, an arrow and what is driven: start and not stop -> lamp",
                )
            return new_rung(self.app.work.recheck(), after, circuit, actions)

        hint = "such as: start and not stop -> lamp"
        self._ask("The new rung", make, hint=hint, rung=after or 0)

    def _new_device(self) -> None:
        choices = [Choice(letter, words, kind) for letter, kind, words in _KINDS]

        def chosen(kind: DeviceKind) -> None:
            self._ask(
                f"The name of the {kind}",
                lambda name: declare(self.app.work.recheck(), kind, name),
            )

        self.choose("Declare a device", choices, chosen)
