"""The text: opening, typing, names, findings, undo, and taking an edit into the running panel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rungs.bench.controls.base import Command, Control, counted
from rungs.desk.document import Change as Stretch
from rungs.edit.changes import Change
from rungs.edit.complete import Candidate, complete
from rungs.edit.names import coil_spans, contact_spans, declared_span, name_at, occurrences, rename
from rungs.edit.places import action_at, leaf_at, statement_at
from rungs.findings import Finding
from rungs.program.nodes import leaves
from rungs.scan.carry import Carried
from rungs.source import Span

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp

SHOWN = 6  # candidates of a completion in the line above the keys


class Writing(Control):
    """Moves the caret and changes the document; the text pane shows both."""

    def __init__(self, app: BenchApp) -> None:
        super().__init__(app)
        self._finding = -1
        self._hinted = ""
        self._goto: tuple[str, int] = ("", -1)
        self._cycle: tuple[Span, tuple[Candidate, ...], int] | None = None

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        commands: dict[str, Command] = {
            "text.open": self.open_or_close,
            "text.take": self.take,
            "text.finding": self.next_finding,
            "text.goto": self.goto,
            "text.rename": self.rename,
            "text.complete": self.complete,
            "text.leave": self.leave,
            "text.undo": self.undo,
            "text.redo": self.redo,
            "edit.undo": self.undo,
            "edit.redo": self.redo,
            "edit.rename": self.rename,
        }
        return {key_id: self.after_typing(command) for key_id, command in commands.items()}

    # --- opening

    def open_or_close(self) -> None:
        """Show the text and go there; leave it; close it."""
        app = self.app
        if not app.text_open:
            app.open_text()
            self._show_rung()
        elif app.bench.pane() == "text":
            app.close_text()
        else:
            app.bench.set_focus(app.bench.text)

    def _show_rung(self) -> None:
        """Put the caret where the ladder is."""
        checked = self.app.work.recheck()
        rungs = self.app.shown_program.rungs
        if rungs and self.app.rung_index < len(rungs) and checked.program is not None:
            span = rungs[self.app.rung_index].span
            self.app.bench.text.go_to(span)

    def leave(self) -> None:
        """To the ladder, at the rung of the caret."""
        self._cycle = None
        self.app.bench.set_focus(self.app.bench.ladder)

    def caret_moved(self) -> None:
        """Let the ladder show what the caret is on."""
        if self.app.bench.pane() == "text":
            self._show_place(self.app.bench.text.caret)
        else:
            self.keep_choice()

    def _show_place(self, offset: int) -> None:
        """Let the ladder show what stands at an offset of the text, if that is a rung."""
        app = self.app
        self.keep_choice()
        if not app.work.is_checked or app.work.stale:
            return
        checked = app.work.checked
        leaf = leaf_at(checked, offset)
        if leaf is not None:
            app.choose_element(leaf[0] - 1, leaf[1])
            return
        action = action_at(checked, offset)
        if action is not None:
            contacts = len(leaves(app.shown_program.rungs[action[0] - 1].circuit))
            app.choose_element(action[0] - 1, contacts + action[1])
            return
        place = statement_at(checked, offset)
        if place is not None and place.rung is not None:
            app.choose_element(place.rung - 1, 0)

    # --- changes

    def undo(self) -> None:
        """Take back the last change to the file."""
        self._stretch(self.app.work.undo(), "nothing to undo")

    def redo(self) -> None:
        """Make it again."""
        self._stretch(self.app.work.redo(), "nothing to redo")

    def _stretch(self, stretch: Stretch | None, none: str) -> None:
        if stretch is None:
            self.say(none)
            return
        self._cycle = None
        self.app.text_changed(stretch.caret)
        self._show_place(stretch.caret)
        work = self.app.work
        place = "as it began" if work.path is None else "as the file on disk"
        self.say("" if work.dirty else place)

    def take(self) -> None:
        """Take the edited program into the panel, and tell what was reset by it."""
        app = self.app
        work = app.work
        work.recheck()
        if work.stale or work.program is None:
            errors = [f for f in work.checked.findings if f.severity == "error"]
            count = counted(len(errors), "error")
            self.say(f"{count}: the panel keeps its program; F8 goes there", True)
            return
        if not app.pending:
            self.say("the panel runs this program already")
            return
        program = work.program

        def act() -> None:
            report = app.session.take(program)
            app.run_changed()
            self._tell(report)

        self.in_present(act)

    def _tell(self, report: Carried) -> None:
        parts = [f"taken in: {counted(report.kept, 'device')} kept"]
        if report.new:
            parts.append(f"{len(report.new)} new")
        if report.gone:
            parts.append(f"{len(report.gone)} gone")
        if not (report.reset or report.told or report.forces):
            self.say(", ".join(parts), True)
            return
        lines = [", ".join(parts) + ".", ""]
        lines += [f"{name} begins anew: {why}." for name, why in report.reset]
        lines += [f"{name}: {what}." if name else f"{what}." for name, what in report.told]
        lines += [f"{name} is not forced any more." for name in report.forces]
        self.read("\n".join(lines))
        self.say(", ".join(parts) + f", {len(report.reset)} reset", True)

    # --- findings

    def next_finding(self) -> None:
        """Go to the next finding of the file; after the last comes the first."""
        checked = self.app.work.recheck()
        if not checked.findings:
            self.say("no findings")
            return
        if not self.app.text_open:
            self.app.open_text()
        self._finding = (self._finding + 1) % len(checked.findings)
        finding = checked.findings[self._finding]
        self.app.bench.set_focus(self.app.bench.text)
        self.app.bench.text.go_to(finding.span)
        self._say_at(finding)

    def _say_at(self, finding: Finding) -> None:
        place = self.app.work.document.source.position(finding.span.start)
        fix = f"; {finding.fix}" if finding.fix else ""
        self.say(f"line {place.line}: {finding.message}{fix}", True)

    def hint(self) -> None:
        """While text is typed: the finding at the caret, or how the word may go on."""
        self._hint()
        self._hinted = self.app.message

    def hint_again(self) -> None:
        """The same after a check, unless something else has been said since."""
        if self.app.current_message() in ("", self._hinted):
            self.hint()

    def _hint(self) -> None:
        app = self.app
        offset = app.bench.text.caret
        line = app.work.document.source.position(offset).line
        if app.work.is_checked:
            for finding in app.work.checked.findings:
                if app.work.document.source.position(finding.span.start).line == line:
                    self._say_at(finding)
                    return
        found = complete(app.work.text, offset, app.work.checked)
        if offset > found.span.start and found.candidates:
            self._say_candidates(found.candidates, -1)
        else:
            self.say("")

    def _say_candidates(self, candidates: tuple[Candidate, ...], chosen: int) -> None:
        first = max(0, chosen - SHOWN + 1)
        shown = candidates[first : first + SHOWN]
        words = [
            f"{self.app.signs.cursor if number == chosen else ''}{each.text}"
            for number, each in enumerate(shown, first)
        ]
        says = candidates[max(0, chosen)].says
        more = len(candidates) - first - len(shown)
        self.say(f"tab: {'  '.join(words)}{f'  +{more}' if more else ''}   ({says})", True)

    # --- completion

    def complete(self) -> None:
        """Complete the word at the caret; again: the next candidate."""
        app = self.app
        pane = app.bench.text
        if self._cycle is not None:
            span, candidates, number = self._cycle
            if pane.caret == span.end:
                self._put(span, candidates, (number + 1) % len(candidates))
                return
        found = complete(app.work.text, pane.caret, app.work.checked)
        if not found.candidates:
            self.say("nothing known could stand here")
            return
        self._put(found.span, found.candidates, 0)

    def _put(self, span: Span, candidates: tuple[Candidate, ...], number: int) -> None:
        text = candidates[number].text
        self.app.bench.text.change(span, text, span.start + len(text))
        self.app.typed()
        end = Span(span.start, span.start + len(text))
        self._cycle = (end, candidates, number) if len(candidates) > 1 else None
        self._say_candidates(candidates, number)

    def typed(self) -> None:
        """Something else than a completion was typed."""
        self._cycle = None

    # --- names

    def _name(self) -> str | None:
        """The name at the caret, or of what is chosen elsewhere."""
        app = self.app
        app.work.recheck()
        if app.bench.pane() == "text":
            return name_at(app.work.checked, app.bench.text.caret)
        return app.subject

    def goto(self) -> None:
        """Go to the coil of a name, then to its contacts and its declaration, in turn."""
        name = self._name()
        if name is None:
            self.say("put the caret on a name first")
            return
        checked = self.app.work.checked
        places = [(span, "driven") for span in coil_spans(checked, name)]
        places += [(span, "read") for span in contact_spans(checked, name)]
        declared = declared_span(checked, name)
        if declared is not None:
            places.append((declared, "declared"))
        if not places:
            self.say(f"nothing else is known of {name}")
            return
        turn = (self._goto[1] + 1) % len(places) if self._goto[0] == name else 0
        here = self.app.bench.text.caret
        if places[turn][0].start <= here <= places[turn][0].end and len(places) > 1:
            turn = (turn + 1) % len(places)
        self._goto = (name, turn)
        span, how = places[turn]
        self.app.bench.text.go_to(span)
        line = checked.source.position(span.start).line
        self.say(f"{name} is {how} on line {line} ({turn + 1} of {len(places)})", True)

    def rename(self) -> None:
        """Ask for another name, and give it throughout the file."""
        name = self._name()
        if name is None or not occurrences(self.app.work.recheck(), name):
            self.say("choose a device, or put the caret on a name, first")
            return
        old = name

        def then(change: Change) -> None:
            self.app.work.change(change)
            self.app.text_changed(change.caret)
            back = self.takes_back
            self.say(f"{change.says}; {back} takes it back, F4 takes it into the panel", True)

        self.fill_in_change(
            f"Another name for {old}",
            lambda text: rename(self.app.work.recheck(), old, text),
            then,
            value=old,
        )
