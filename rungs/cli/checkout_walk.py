"""A checkout walked in a terminal, line by line: what to do, what to see, and the answer.

It reads plain lines and prints plain lines, so that it works over a slow connection, with a screen
reader, and from a file of answers.
"""

from __future__ import annotations

import shutil
import sys
from argparse import Namespace

from rungs.cells import fold, safe
from rungs.checkout.merged import merge, stale_words
from rungs.checkout.plan import Plan
from rungs.checkout.pointer import pointer
from rungs.checkout.record import (
    LONGEST_NAME,
    LONGEST_NOTE,
    AsFound,
    Record,
    Result,
    new_record,
    now_text,
    words_of,
)
from rungs.checkout.record_file import RecordError, RecordFile
from rungs.checkout.walk import PARTS, Walk, entry_text, otherwise, step_rows
from rungs.cli.exits import FINDINGS, FINE, INTERRUPTED, IO_FAILED
from rungs.program.nodes import Program
from rungs.report.text import Ink, ink_for

WORDS = ("pass", "fail", "note", "skip", "back", "quit")
HELP = (
    "pass: all is as it should be",
    "fail: something is not; you are asked which relays, and for a note",
    "note: write a remark, and stay at this step",
    "skip: leave the step out for now; it is not done then",
    "back: show the step before again; a new answer to it counts, and the old one is kept",
    "quit: stop here; every answer is in the record already",
    "A number goes to that step. Words behind an answer are its note: skip no ladder at hand",
)
_BAR = 20
_LONGEST_LINE = 10_000


def walk_in_terminal(
    plan: Plan, program: Program, book: RecordFile, record: Record | None, args: Namespace
) -> int:
    """Walk until nothing is left, the answers end, or somebody quits; the exit code."""
    if hasattr(sys.stdin, "reconfigure"):
        # whatever bytes are typed, they cost no answer
        sys.stdin.reconfigure(errors="replace")
    if record is None:
        record = new_record(plan, args.file, now_text(), args.name or "", args.board or "")
    elif args.board:
        record = record.model_copy(update={"board": words_of(args.board)})
    return _Talk(plan, program, book, record, args).run()


class _QuitError(Exception):
    """The answers have ended, or somebody quits."""


class _Talk:
    """One walk in a terminal. `unsaved` says what kept the last answer from the disk."""

    def __init__(
        self, plan: Plan, program: Program, book: RecordFile, record: Record, args: Namespace
    ) -> None:
        self.walk = Walk(plan, record)
        self.program = program
        self.book = book
        self.file = args.file
        self.who = words_of(args.name or "", LONGEST_NAME)
        self.ink: Ink = ink_for(sys.stdout)
        self.unsaved = ""

    def run(self) -> int:
        """All of it."""
        interrupted = False
        try:
            self._begin()
            while not self.walk.over:
                self._step()
        except _QuitError:
            pass
        except KeyboardInterrupt:
            interrupted = True
        return self._end(interrupted)

    # --- lines

    def tell(self, text: str, indent: int = 0, lead: str = "", strong: bool = False) -> None:
        """Print text in lines of the terminal's width, behind `lead` and one below the other."""
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 80
        for line in fold(safe(text), max(20, width - indent - len(lead))):
            print(" " * indent + lead + (self.ink.strong(line) if strong else line))
            lead = " " * len(lead)

    def ask(self, words: str) -> str:
        """One line of an answer. Raises _QuitError where the answers end."""
        print(f"{words} ", end="", flush=True)
        line = sys.stdin.readline(_LONGEST_LINE)
        if not line:
            print()
            raise _QuitError
        if not sys.stdin.isatty():
            # answers that come from a file stand in what is printed as if they had been typed
            print(safe(line.rstrip("\r\n")))
        return line.strip()

    # --- the walk

    def _begin(self) -> None:
        walk, record = self.walk, self.walk.record
        self.tell(f"Checkout of {walk.plan.title or record.file}", strong=True)
        self.tell(f"record: {self.book.path}")
        for line in walk.summary().lines() if record.entries else ():
            self.tell(line, 2)
        for line in stale_words(merge(walk.plan, record).stale):
            self.tell(line, 2)
        here = new_record(walk.plan, self.file, record.started).file
        if record.file != here:
            self.tell(f"! this record was begun for the file '{record.file}', not for '{here}'")
        if not walk.count:
            self.tell("The plan has no steps.")
            for line in walk.plan.left_out:
                self.tell(line, 2)
            return
        if walk.over:
            self.tell("Nothing is left to do.")
            return
        if not self.who and record.who:
            self.who = record.who
            self.tell(f"name: {self.who} (another one with --name)")
        elif not self.who:
            self.who = words_of(self.ask("Your name, for the record (empty for none):"))
        self.tell("Answer with a word or its first letter; 'help' says what they mean.")

    def _step(self) -> None:
        walk = self.walk
        self._show()
        while True:
            word, rest = self._word(self.ask("pass, fail, note, skip, back, quit?"))
            if word.isdigit():
                if walk.go_to(int(word[:9])):
                    return
                self.tell(f"there are steps 1 to {walk.count}")
                continue
            match word:
                case "pass":
                    self._answer("pass", rest)
                case "skip":
                    self._answer("skipped", rest)
                case "fail":
                    self._fail(rest)
                case "note":
                    note = rest or self.ask("note:")
                    if note:
                        self._answer("note", note)
                    continue
                case "back":
                    if not walk.back():
                        self.tell("this is the first step")
                        continue
                    return
                case "quit":
                    raise _QuitError
                case "help":
                    for line in HELP:
                        self.tell(line, 2)
                    continue
                case _:
                    self.tell("answer with one of: " + ", ".join((*WORDS, "help")))
                    continue
            walk.next_undone()
            return

    @staticmethod
    def _word(line: str) -> tuple[str, str]:
        """The word that is meant, whole or by its letter, and what stands behind it."""
        first, _, rest = line.partition(" ")
        first = first.casefold().rstrip(":,")
        if first.isascii() and first.isdigit():
            return first, ""
        if first == "?":
            return "help", ""
        # "no" is no note: a word counts whole or by its first letter alone
        meant = [word for word in (*WORDS, "help") if first in (word, word[0])]
        return (meant[0] if meant else ""), rest.strip()

    def _show(self) -> None:
        walk = self.walk
        done = walk.summary().done
        full = _BAR * done // walk.count
        bar = "#" * full + "." * (_BAR - full)
        print()
        head = f"step {walk.state.number} of {walk.count}, {PARTS[walk.step.part]}"
        self.tell(f"{head} [{bar}] {done} done", strong=True)
        for row in step_rows(walk):
            self.tell(row.text, 2, lead=f"{row.lead:5}")

    # --- answers

    def _fail(self, note: str) -> None:
        """Ask what was otherwise; what was told by then counts, however the questions end."""
        found: tuple[AsFound, ...] = ()
        try:
            while self.walk.step.sights:
                words = self.ask("which relays were otherwise (R1, R3 load; empty: none)?")
                found, wrong = otherwise(self.walk.step, words)
                if not wrong:
                    break
                self.tell(wrong, 2)
            note = note or self.ask("note (empty for none):")
        finally:
            self._answer("fail", note, found)
        for line in pointer(self.walk.step, self.program, found).lines():
            self.tell(line, 2, "-> ")

    def _answer(self, result: Result, note: str, found: tuple[AsFound, ...] = ()) -> None:
        if len(words_of(note, _LONGEST_LINE)) > LONGEST_NOTE:
            self.tell(f"only the first {LONGEST_NOTE:,} characters of the note are kept")
        self.walk.answer(result, self.who, now_text(), note, found)
        self._save()
        if not self.unsaved:
            self.tell("saved" if result != "note" else "noted", 2)

    def _save(self) -> None:
        self.unsaved = "it was interrupted"
        try:
            self.walk.take(self.book.save(self.walk.record))
        except RecordError as error:
            self.unsaved = str(error)
            self.tell(f"! NOT SAVED: {error}")
            self.tell("! The answer is kept here, and is saved with the next one.")
        else:
            self.unsaved = ""

    # --- the end

    def _end(self, interrupted: bool) -> int:
        if self.unsaved:
            self._save()
        summary = self.walk.summary()
        print()
        for line in summary.lines():
            self.tell(line)
        for state in self.walk.merged.steps:
            if state.result == "fail":
                last = next(e for e in reversed(state.entries) if e.result == "fail")
                self.tell(
                    f"{'; '.join(state.step.do)}: {entry_text(last)}", 2, f"step {state.number}: "
                )
        if self.unsaved:
            self.tell(f"! The last answers are not on disk: {self.unsaved}")
            return IO_FAILED
        if interrupted:
            return INTERRUPTED
        return FINE if summary.whole else FINDINGS
