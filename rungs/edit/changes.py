"""Edits of a text as data, and the gate that every change passes before it is handed out.

A change is worked out as the fewest stretches of text to replace, so that comments and layout
elsewhere stay as they are; the gate reads the whole new text again, since only the parser can say
whether words that stand side by side still mean what was meant.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from rungs.findings import Finding
from rungs.language.tree import File
from rungs.program.build import build
from rungs.program.check import Checked, check
from rungs.program.rules import check_rules
from rungs.source import Edit, Source, Span, applied


@dataclass(frozen=True, slots=True)
class Change:
    """What to do to a text: edits by place, none touching another.

    `says` tells in plain words what was done, `caret` is the offset in the NEW text at which the
    edited thing begins, and `checked` is the outcome of the check of the new text, so that nobody
    needs to read it once more.
    """

    edits: tuple[Edit, ...]
    says: str
    caret: int
    checked: Checked = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Mark:
    """A place by where it was in the old text, and how far into the edit that begins there."""

    at: int
    into: int = 0


def in_place(edits: Iterable[Edit]) -> tuple[Edit, ...]:
    """Edits by place, those that touch joined into one; ValueError if two overlap."""
    joined: list[Edit] = []
    for edit in sorted(edits, key=lambda e: (e.span.start, e.span.end)):
        if joined and edit.span.start < joined[-1].span.end:
            raise ValueError("two edits overlap")
        if joined and edit.span.start == joined[-1].span.end:
            last = joined.pop()
            edit = Edit(last.span.to(edit.span), last.text + edit.text)
        joined.append(edit)
    return tuple(joined)


def _offset_after(edits: Iterable[Edit], mark: Mark) -> int:
    """Where a mark of the old text stands in the new one."""
    shift = 0
    for edit in sorted(edits, key=lambda e: (e.span.start, e.span.end)):
        if edit.span.start >= mark.at:
            break
        if edit.span.end > mark.at:
            return edit.span.start + shift + len(edit.text)
        shift += len(edit.text) - (edit.span.end - edit.span.start)
    return mark.at + shift + mark.into


def finish(
    checked: Checked,
    edits: Iterable[Edit],
    says: str,
    mark: Mark,
    meant: Callable[[File], bool],
    renamed: tuple[str, str] = ("", ""),
) -> Change | Finding:
    """The change, or why it cannot be made.

    `meant` looks at the tree of the new text and says whether it holds what was asked for and all
    else as before; `renamed` is the old and the new name of a thing that gets one. A change that
    brings an error into the text is refused with that error, at the place of the old text where it
    comes about.
    """
    old = checked.source
    edits = list(edits)
    placed = tuple(_apart(old.text, edit) for edit in in_place(edits))
    if not placed:
        return Change((), says, mark.at, checked)
    text = applied(old.text, placed)
    after = check(Source(old.name, text, old.newline, old.marked))
    fresh = _new_error(checked, after, renamed)
    if fresh is not None:
        return _at_old_place(fresh, placed)
    if not meant(after.file):
        return Finding(
            "syntax",
            "in this place the words would be read otherwise than they are meant",
            placed[0].span,
            "the panel would not do what the ladder shows",
            "rename a device that is named like a word of the language, or write the text by hand",
        )
    caret = _offset_after(edits, mark)
    # a blank that keeps words apart stands before what was put in
    while caret < len(text) and text[caret].isspace():
        caret += 1
    return Change(placed, says, min(caret, len(text)), after)


def _apart(text: str, edit: Edit) -> Edit:
    """The edit with blanks where words would run together, as in `rung(a)`."""
    before = text[edit.span.start - 1 : edit.span.start]
    behind = text[edit.span.end : edit.span.end + 1]
    lead = " " if _in_word(before) and _in_word(edit.text[:1] or behind) else ""
    tail = " " if edit.text and _in_word(edit.text[-1]) and _in_word(behind) else ""
    return Edit(edit.span, f"{lead}{edit.text}{tail}")


def refusal(code: str, message: str, span: Span, effect: str, fix: str) -> Finding:
    """A request that cannot be met: what, where, why, and the way out."""
    return Finding(code, message, span, effect, fix)


def _new_error(before: Checked, after: Checked, renamed: tuple[str, str]) -> Finding | None:
    """The first error that the old text did not have."""
    if after.program is not None:
        return None
    old, new = (f"'{name}'" for name in renamed)
    had = Counter(_key(replace(f, message=f.message.replace(old, new))) for f in _errors(before))
    for finding in _errors(after):
        had[_key(finding)] -= 1
        if had[_key(finding)] < 0:
            return finding
    return None


def _errors(checked: Checked) -> list[Finding]:
    """Every error, with those of the whole program even where a check would stop before them.

    Else mending one error would seem to bring in those that it had kept out of sight.
    """
    if checked.program is not None:
        return []
    found = [f for f in checked.findings if f.severity == "error"]
    program, _ = build(checked.file, checked.source)
    found += [f for f in check_rules(program) if f not in found and f.severity == "error"]
    return found


def _key(finding: Finding) -> tuple[str, str]:
    """What makes two errors the same; rungs may have other numbers afterwards."""
    return finding.code, re.sub(r"\brung \d+", "rung", finding.message)


def _at_old_place(finding: Finding, edits: Sequence[Edit]) -> Finding:
    related = tuple((_before(span, edits), words) for span, words in finding.related)
    return replace(finding, span=_before(finding.span, edits), related=related)


def _before(span: Span, edits: Sequence[Edit]) -> Span:
    """A stretch of the new text in the old one; what an edit brought in is where it stands."""
    return Span(_offset_before(span.start, edits, False), _offset_before(span.end, edits, True))


def _offset_before(offset: int, edits: Sequence[Edit], end: bool) -> int:
    shift = 0
    for edit in edits:
        start = edit.span.start + shift
        if offset < start:
            break
        if offset < start + len(edit.text) or (end and offset == start + len(edit.text)):
            return edit.span.end if end else edit.span.start
        shift += len(edit.text) - (edit.span.end - edit.span.start)
    return offset - shift


# --- taking words out -------------------------------------------------------------------------

_WORDS = re.compile(r'#[^\n]*|"[^"\n]*"?|\w+|->|[<>=!]=?|[^\w\s]')


def words_in(text: str, span: Span) -> list[Span]:
    """The places of the words and signs in a stretch, comments left out."""
    return [
        Span(match.start(), match.end())
        for match in _WORDS.finditer(text, span.start, span.end)
        if not match.group().startswith("#")
    ]


def removed(text: str, spans: Iterable[Span]) -> list[Edit]:
    """Edits that take stretches out, with the blanks that would be left over.

    Each stretch lies on one line or ends where a line ends. Stretches with nothing but blanks
    between them go as one; a line on which nothing is left goes as a whole.
    """
    edits: list[Edit] = []
    for span in _joined(text, spans):
        before = text[line_start(text, span.start) : span.start]
        after = text[span.end : line_end(text, span.end)]
        ahead = len(before) - len(before.rstrip())
        behind = len(after) - len(after.lstrip())
        if not before.strip() and not after.strip():
            edits.append(Edit(_whole_lines(text, span), ""))
        elif not before.strip() or before.endswith("("):
            edits.append(Edit(Span(span.start, span.end + behind), ""))
        elif not after.strip() or after.lstrip().startswith((")", ",")):
            edits.append(Edit(Span(span.start - ahead, span.end), ""))
        elif after.lstrip().startswith("#"):
            edits.append(Edit(Span(span.start - (ahead if behind else 0), span.end), ""))
        elif ahead and behind:
            edits.append(Edit(Span(span.start, span.end + behind), ""))
        else:
            edits.append(Edit(span, ""))
    return edits


def replaced(text: str, span: Span, new: str) -> list[Edit]:
    """Edits that put other words into a stretch; a comment in between is kept."""
    old = text[span.start : span.end]
    if old == new:
        return []
    if "#" not in old and "\n" not in old:
        return [Edit(span, new)]
    first, *rest = words_in(text, span)
    return [Edit(first, new), *removed(text, rest)]


def line_end(text: str, offset: int) -> int:
    """The offset of the line feed that ends the line, or the end of the text."""
    end = text.find("\n", offset)
    return len(text) if end < 0 else end


def line_start(text: str, offset: int) -> int:
    """The offset at which the line of an offset begins."""
    return text.rfind("\n", 0, offset) + 1


def _whole_lines(text: str, span: Span) -> Span:
    start = line_start(text, span.start)
    end = line_end(text, span.end)
    return Span(start, min(end + 1, len(text)))


def _joined(text: str, spans: Iterable[Span]) -> list[Span]:
    joined: list[Span] = []
    for span in sorted(spans, key=lambda s: s.start):
        if joined and not text[joined[-1].end : span.start].strip(" \t"):
            joined[-1] = joined[-1].to(span)
        else:
            joined.append(span)
    return joined


def _in_word(char: str) -> bool:
    """True for a character of a word; False for none at all."""
    return char.isalnum() or char == "_"
