"""The file on disk: saving, what others have done to it, what was left unsaved, and leaving."""

from __future__ import annotations

import os
from pathlib import Path
from time import localtime, strftime
from typing import TYPE_CHECKING

from rungs.bench.controls.base import Command, Control, counted
from rungs.bench.dialogs import Choice
from rungs.bench.keys import by_id
from rungs.bench.plain import bench_text
from rungs.desk.disk import OnDisk, Refused
from rungs.desk.recovery import Offer, unified
from rungs.files import FileError, decode, read_bytes, write_atomic

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp


class Filing(Control):
    """Never overwrites unseen, never leaves unasked."""

    def __init__(self, app: BenchApp) -> None:
        super().__init__(app)
        self._put_off: tuple[object, ...] = ()  # what was seen on disk when the answer was none

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        return {
            "text.save": self.after_typing(self.save),
            "bench.quit": self.after_typing(self.leave),
            "bench.say": self.say_all,
        }

    # --- saving

    def save(self, then: Command | None = None) -> None:
        """Save the file; where that is refused, ask what to do."""
        work = self.app.work
        if work.path is None:
            self.save_as()
            return
        self._outcome(work.path, None, then)

    def _outcome(self, path: Path, over: OnDisk | None, then: Command | None) -> None:
        work = self.app.work
        as_new = None if path == work.path else path
        outcome = work.save(as_new, over)
        if isinstance(outcome, Refused):
            self._refused(path, outcome, then)
            return
        forced = len(self.app.session.panel.forces)
        are = "is" if forced == 1 else "are"
        note = f"; {counted(forced, 'force')} {are} not part of it" if forced else ""
        findings = [f for f in work.recheck().findings if f.severity == "error"]
        errors = f"; it has {counted(len(findings), 'error')}" if findings else ""
        self.say(f"saved {path.name}{note}{errors}")
        if then is not None:
            then()

    def _refused(self, path: Path, refused: Refused, then: Command | None) -> None:
        work = self.app.work
        choices: list[Choice[str]] = []
        if refused.disk is not None:
            choices += [
                Choice("d", "look at what differs", "differs"),
                Choice("o", "write over what stands there now", "over"),
            ]
            if path == work.path:
                choices.append(self._take_choice())
        else:
            choices.append(Choice("t", "try again", "again"))
        choices.append(Choice("s", "save under another name", "as"))
        kept = ", kept for the next start" if work.keeps else ""
        choices.append(Choice("l", f"leave it unsaved{kept}", "no"))

        def answered(what: str) -> None:
            match what:
                case "differs":
                    self.show_difference(path, lambda: self._refused(path, refused, then))
                case "over":
                    self._outcome(path, refused.disk, then)
                case "again":
                    self._outcome(path, None, then)
                case "reload":
                    self.reload()
                case "as":
                    self.save_as(then)
                case _:
                    self.say("not saved", True)

        self.choose(f"Not saved: {refused.message}. {refused.fix}.", choices, answered)

    def save_as(self, then: Command | None = None) -> None:
        """Ask for another file, and save there."""
        work = self.app.work
        value = "panel.rungs" if work.path is None else str(work.path)
        self.fill_in(
            "Save under which name?",
            lambda text: self._outcome(Path(text.strip()), None, then),
            value=value,
            check=lambda text: None if text.strip() else "write a name",
        )

    # --- what others do

    def watch(self) -> None:
        """Look whether another program has changed the file, and ask what to do about it."""
        work = self.app.work
        seen = work.look()
        if seen == "unchanged":
            self._put_off = ()
            return
        # a question that was left unanswered comes again only if there is something new to ask
        sight = (seen, work.found.digest if work.found is not None else None)
        if sight == self._put_off:
            return
        if seen == "gone":
            work.leave_disk()
            self.say("the file was deleted by another program; F2 writes it again", True)
            return
        if not work.dirty:
            choices = [
                self._take_choice(),
                Choice("d", "look at what differs", "differs"),
                Choice("k", "keep the text here", "keep"),
            ]
            title = "Another program has changed the file."
        else:
            choices = [
                Choice("k", "keep the text here; saving writes over the other", "keep"),
                Choice("d", "look at what differs", "differs"),
                self._take_choice(),
            ]
            title = "Another program has changed the file, and so have you."

        def answered(what: str) -> None:
            self._put_off = ()
            match what:
                case "reload":
                    self.reload()
                case "differs":
                    self.show_difference(work.path, self.watch)
                case _:
                    work.leave_disk()
                    self.say("the text here is kept, and not saved", True)

        self._put_off = sight
        self.say("the file on disk is another one: saving will ask what to do", True)
        self.choose(title, choices, answered)

    def _take_choice(self) -> Choice[str]:
        words = f"take the text on disk; {self.takes_back} brings this one back"
        return Choice("r", words, "reload")

    def show_difference(self, path: Path | None, then: Command = lambda: None) -> None:
        """What saving would change on disk; then goes on with what was asked before."""
        there = ""
        if path is not None and path.exists():
            try:
                source, unreadable = decode(read_bytes(path), str(path))
            except FileError as error:
                self.read(f"{error}.", then)
                return
            if unreadable:
                self.read(f"{unreadable[0].message}.", then)
                return
            there = source.text
        lines = unified(there, self.app.work.text) or ("The words are the same.",)
        self.read("\n".join(["What saving would change on disk:", "", *lines]), then)

    def reload(self) -> None:
        """Take the text on disk."""
        try:
            stretch = self.app.work.reload()
        except FileError as error:
            self.say(str(error), True)
            return
        self.app.text_changed(None if stretch is None else stretch.caret)
        self.say(f"the text on disk; {self.takes_back} brings back the one before", True)

    # --- what was left

    def offer(self) -> None:
        """Ask about texts that were not saved when a bench ended."""
        offers = self.app.work.offers
        if not offers:
            holder = self.app.work.holder
            if holder is not None:
                self.say(f"the file is open in {holder} as well: take care who saves", True)
            return
        offer = offers[0]
        at = strftime("%Y-%m-%d %H:%M:%S", localtime(offer.time / 1000))
        newer = " The file was saved after that." if offer.newer else ""
        other = " The file has changed since." if offer.changed and not offer.newer else ""
        choices = [
            Choice("k", "keep the file on disk, and ask again next time", "later"),
            Choice("d", "look at what differs", "differs"),
            Choice("t", "take the unsaved text; it can be taken back", "take"),
            Choice("x", "throw the unsaved text away", "drop"),
        ]

        def answered(what: str) -> None:
            self._offered(offer, what)

        self.choose(f"A bench ended at {at} without saving.{newer}{other}", choices, answered)

    def _offered(self, offer: Offer, what: str) -> None:
        work = self.app.work
        match what:
            case "differs":
                self.app.push_screen(
                    self.app.page("\n".join(["What taking it would change:", "", *offer.diff()])),
                    lambda _: self.offer(),
                )
            case "take":
                work.take_offer(offer)
                self.app.open_text()
                self.app.text_changed(None)
                # the keyboard is on its way to the text
                back = by_id("text.undo", self.app.keys).shown
                self.say(f"the unsaved text: F2 saves it, {back} goes back to the file", True)
            case "drop":
                work.drop_offer(offer)
                self.offer()
            case _:
                self.say("the file as it is on disk")

    # --- leaving

    def leave(self) -> None:
        """Leave the bench; with unsaved work, ask."""
        app = self.app
        if app.scenarios.scribe is not None:
            self._leave_scenario()
            return
        if not app.work.dirty:
            app.leave(keep=False)
            return
        choices = [Choice("s", "save, and leave", "save")]
        if app.work.keeps:
            choices.append(Choice("k", "leave, and keep the text for the next start", "keep"))
        choices += [
            Choice("d", "look at what is not saved", "differs"),
            Choice("x", "leave, and throw the unsaved text away", "drop"),
            Choice("b", "back to the bench", "back"),
        ]

        def answered(what: str) -> None:
            match what:
                case "save":
                    self.save(lambda: app.leave(keep=False))
                case "keep":
                    app.leave(keep=True)
                case "drop":
                    app.leave(keep=False)
                case "differs":
                    self.show_difference(app.work.path, self.leave)
                case _:
                    pass

        self.choose("There is unsaved text.", choices, answered)

    def _leave_scenario(self) -> None:
        """A scenario that is being kept is nowhere but here."""
        choices = [
            Choice("k", "write it first, or drop it", "ask"),
            Choice("x", "drop it, and leave", "drop"),
            Choice("b", "back to the bench", "back"),
        ]

        def answered(what: str) -> None:
            match what:
                case "ask":
                    self.app.scenarios.record()
                case "drop":
                    self.app.scenarios.stop("the scenario was dropped")
                    self.leave()
                case _:
                    pass

        self.choose("A scenario is being kept that is not written.", choices, answered)

    # --- in words

    def say_all(self) -> None:
        """Write what the bench shows to a plain text file."""
        stem = self.app.work.path.stem if self.app.work.path else "bench"
        self.fill_in(
            "Write what the bench shows to which file?",
            lambda text: self._write(Path(text.strip())),
            value=f"{stem}_bench.txt",
            check=_wrong_name,
        )

    def _write(self, path: Path) -> None:
        try:
            text = bench_text(self.app.session, self.app.notes(), self.app.signs)
            write_atomic(path, text.encode("utf-8"))
        except FileError as error:
            self.say(str(error), True)
            return
        self.say(f"wrote {path}", True)


def _wrong_name(text: str) -> str | None:
    """What speaks against a new file of that name."""
    if not text.strip():
        return "write a name"
    if os.path.lexists(text.strip()):
        return f"'{text.strip()}' is there already: choose another name"
    return None
