"""The file on the bench: its text with undo, what the checker says of it, and its place on disk.

Text and ladder are two views of one document. Whatever changes it comes through here, so that one
undo serves both, every change is checked, and every change is in the journal before the next one.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from rungs.desk import disk as files
from rungs.desk import lock as locks
from rungs.desk.disk import OnDisk, Refused, Saved
from rungs.desk.document import Change as Stretch
from rungs.desk.document import Document
from rungs.desk.journal import Journal
from rungs.desk.recovery import Offer, discard, offers
from rungs.desk.recovery import take as take_offer
from rungs.desk.state import Trouble
from rungs.edit.changes import Change
from rungs.files import FileError
from rungs.findings import Finding, has_errors
from rungs.program.check import Checked
from rungs.program.nodes import Program
from rungs.program.recheck import Rechecker
from rungs.scan.almanac import almanac_findings
from rungs.source import Edit, Span, source_from_text


class Work:
    """One file: `document`, `checked` (the outcome for its text as of the last `recheck`), and
    `program` (the last one without errors, None if there never was one).

    `path` None is a file that has no place yet; it has no journal either.
    """

    def __init__(self, document: Document, path: Path | None, disk: OnDisk | None) -> None:
        self.document = document
        self.path = path
        self.disk = disk
        self._rechecker = Rechecker()
        self._journal = Journal(path) if path is not None else None
        self._lock = locks.take(path) if path is not None else None
        self.offers: tuple[Offer, ...] = () if path is None else offers(path)
        self.trouble: list[Trouble] = []
        self.found: OnDisk | None = None  # what the last look saw, if it was not what we know
        if self._lock is not None and self._lock.trouble is not None:
            self.trouble.append(self._lock.trouble)
        self._checked_revision = -1
        self._almanac: tuple[object, tuple[Finding, ...]] | None = None
        self.program: Program | None = None
        self.checked: Checked = self.recheck()

    # --- what it is

    @property
    def text(self) -> str:
        """The text as it stands."""
        return self.document.text

    @property
    def dirty(self) -> bool:
        """Whether there is something that is not on disk."""
        return self.document.dirty

    @property
    def keeps(self) -> bool:
        """Whether a text that is not saved is there again at the next start."""
        return self._journal is not None and not self._journal.in_trouble

    @property
    def is_checked(self) -> bool:
        """Whether `checked` speaks of the text as it stands."""
        return self._checked_revision == self.document.revision

    @property
    def stale(self) -> bool:
        """Whether the text has errors, so that `program` is what an older text said."""
        return self.checked.program is None

    @property
    def errors(self) -> int:
        """How many errors the text had when it was checked last."""
        return sum(finding.severity == "error" for finding in self.checked.findings)

    @property
    def holder(self) -> str | None:
        """Who else has the file open, if anybody has."""
        holder = None if self._lock is None else self._lock.holder
        return None if holder is None else holder.words()

    def recheck(self) -> Checked:
        """Check the text if it has changed since."""
        if not self.is_checked:
            self._take_checked(self._rechecker.check(self.document.source))
        return self.checked

    def _take_checked(self, checked: Checked) -> None:
        checked = self._with_almanac(checked)
        self.checked = checked
        self._checked_revision = self.document.revision
        if checked.program is not None:
            self.program = checked.program

    def _with_almanac(self, checked: Checked) -> Checked:
        """With what the calendar says of the clocks, which is asked again only if they change."""
        program = checked.program
        if program is None:
            return checked
        clocks = (program.site, program.clocks, program.holidays)
        if self._almanac is None or self._almanac[0] != clocks:
            self._almanac = (clocks, almanac_findings(program))
        found = self._almanac[1]
        if not found:
            return checked
        wrong = has_errors(found)
        return replace(
            checked, findings=(*checked.findings, *found), program=None if wrong else program
        )

    # --- changing it

    def typed(self, text: str, caret: int) -> bool:
        """The editor holds this text now; whether that is new. The check is left for later."""
        revision = self.document.revision
        self.document.set_text(text, _now(), caret)
        if self.document.revision == revision:
            return False
        self._note()
        return True

    def change(self, change: Change | Finding) -> Finding | None:
        """Carry out an edit of the ladder, or give back the finding that says why not."""
        if isinstance(change, Finding):
            return change
        self.document.mark()
        self.document.apply(change.edits, _now())
        self.document.mark()
        self._note()
        self.recheck()
        return None

    def undo(self) -> Stretch | None:
        """Take back the last change, whether it was typed or made on the ladder."""
        return self._moved(self.document.undo())

    def redo(self) -> Stretch | None:
        """Make it again."""
        return self._moved(self.document.redo())

    def _moved(self, stretch: Stretch | None) -> Stretch | None:
        if stretch is not None:
            self._note()
            self.recheck()
        return stretch

    def append(self, text: str) -> Span:
        """Put text that is whole statements at the end; where it stands now."""
        old = self.document.text
        gap = "" if not old.strip() else "\n" if old.endswith("\n") else "\n\n"
        self.document.mark()
        self.document.apply([Edit(Span(len(old), len(old)), gap + text)], _now())
        self._note()
        self.recheck()
        return Span(len(old) + len(gap), len(self.document.text))

    def _note(self) -> None:
        if self._journal is not None:
            trouble = self._journal.note(self.document)
            if trouble is not None:
                self.trouble.append(trouble)

    def flush(self) -> None:
        """Put what was typed on disk, in the journal; cheap when there is nothing new."""
        if self._journal is not None:
            trouble = self._journal.flush()
            if trouble is not None:
                self.trouble.append(trouble)

    def troubles(self) -> tuple[Trouble, ...]:
        """What went wrong with keeping the text, each told once."""
        told, self.trouble = tuple(self.trouble), []
        return told

    # --- the disk

    def save(self, path: Path | None = None, over: OnDisk | None = None) -> Saved | Refused:
        """Write the text to its file, or to another, which then is its file.

        `over` is what stands on disk now, for a save that is to overwrite just that.
        """
        to = path or self.path
        assert to is not None, "a file without a place is saved under a name"
        expect = over if over is not None else self.disk if path is None else None
        outcome = files.save(self.document, to, expect)
        if isinstance(outcome, Saved):
            self.disk = outcome.disk
            if path is not None:
                self._go_to(path)
            self._note()
        return outcome

    def _go_to(self, path: Path) -> None:
        """The file has another place from now on."""
        if self._lock is not None:
            self._lock.release()
        self._lock = locks.take(path)
        if self._journal is None:
            self._journal = Journal(path)
        else:
            self._journal.move(path)
        self.path = path

    def look(self) -> files.Look:
        """Whether another program has touched the file since it was last read or written."""
        if self.path is None:
            return "unchanged"
        seen, disk = files.look(self.path, self.disk)
        if seen == "unchanged":
            self.disk = disk
        self.found = None if seen == "unchanged" else disk
        return seen

    def leave_disk(self) -> None:
        """The file on disk has been changed or taken away, and our text is to be kept: saving will
        ask again only if it changes once more."""
        if self.path is None:
            return
        try:
            self.disk = files.seen(self.path)
        except FileError:
            return
        if self.disk is None:
            self.document.gone_from_disk()
        else:
            self.document.saved = self.disk.digest
        self._note()

    def reload(self) -> Stretch | None:
        """Take the text on disk; undo gives ours back. Raises FileError."""
        assert self.path is not None
        stretch, self.disk = files.reload(self.document, self.path)
        self._note()
        self.recheck()
        return stretch

    # --- what others have left

    def take_offer(self, offer: Offer) -> None:
        """Go on with a text that was not saved; undo goes back to that on disk."""
        if self._journal is not None:
            take_offer(offer, self.document, self._journal)
        self.offers = tuple(o for o in self.offers if o is not offer)
        self.recheck()

    def drop_offer(self, offer: Offer) -> None:
        """Throw away a text that was not saved."""
        discard(offer)
        self.offers = tuple(o for o in self.offers if o is not offer)

    def close(self, keep: bool = False) -> None:
        """Leave the file; with `keep` the unsaved text is offered at the next opening."""
        if self._journal is not None:
            if keep:
                self._journal.flush()
            else:
                self._journal.clear()
        if self._lock is not None:
            self._lock.release()


def open_work(path: Path) -> Work | tuple[Finding, ...]:
    """The file at a path, which need not be there yet; findings if it cannot be edited at all.

    Raises FileError for a folder, a pipe, or a file that cannot be read.
    """
    if not path.exists():
        loaded = files.begin(path, "")
    else:
        loaded = files.load(path)
    if loaded.document is None:
        return loaded.findings
    return Work(loaded.document, path, loaded.disk)


def work_of(text: str, name: str = "<text>") -> Work:
    """A file that has no place on disk."""
    return Work(Document(source_from_text(text, name)), None, None)


def _now() -> int:
    return time.monotonic_ns() // 1_000_000
