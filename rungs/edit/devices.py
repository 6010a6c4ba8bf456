"""New devices: a declaration of a kind, with the next free terminal and its neighbours' layout."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal

from rungs.edit.changes import Change, Mark, finish, line_start
from rungs.edit.pieces import read_label, read_name
from rungs.edit.statements import placed_lines
from rungs.findings import Finding
from rungs.language.parse import parse
from rungs.language.tree import Declaration, Option, Statement, Word
from rungs.language.words import STATEMENTS
from rungs.program.check import Checked
from rungs.source import Source, Span

DeviceKind = Literal["input", "output", "relay", "timer", "counter", "clock"]

_DEFAULTS: dict[str, str] = {
    "input": "at {terminal} maintained NO",
    "output": "at {terminal} NO",
    "relay": "",
    "timer": "on-delay 1s",
    "counter": "to 10",
    "clock": "from 08:00 to 16:00",
}
_FIRST = {"input": "I1", "output": "R1"}
_TERMINAL = re.compile(r"(.*?)([0-9]+)")

# options that stand under each other in a list of devices
_COLUMNS = {
    "maintained": "actuator",
    "momentary": "actuator",
    "NO": "side",
    "NC": "side",
    "on-delay": "act",
    "off-delay": "act",
    "pulse": "act",
    "accumulating": "act",
    "flasher": "act",
    "window": "act",
    "event": "act",
    "daily": "days",
    "on": "days",
}


def declare(
    checked: Checked, kind: DeviceKind, name: str, label: str = "", options: str = ""
) -> Change | Finding:
    """Declare a device behind the last one of its kind.

    `options` is what stands between the name and the label, such as `off-delay 5s`; left out, it is
    the plain form of the kind, with the next free terminal for an input or an output.
    """
    statements = checked.file.statements
    index = _index(statements, kind)
    before = statements[index - 1] if index else None
    place = Span(0, 0) if before is None else before.span
    bad = read_name(name, place) or read_label(label, place)
    if bad is not None:
        return bad
    if not options.strip():
        options = _DEFAULTS[kind]
        if kind == "input" or kind == "output":
            options = options.format(terminal=next_terminal(checked, kind))
    quoted = f'"{label}"' if label else ""
    plain = " ".join(f"{kind} {name} {options} {quoted}".split())
    new = _read(plain, kind, name, options, place)
    if isinstance(new, Finding):
        return new
    text = checked.source.text
    like = before if isinstance(before, Declaration) and before.kind == kind else None
    line = plain if like is None else _aligned(plain, new, like, text)
    gap = like is None and before is not None
    edit, into = placed_lines(text, statements, index, line, gap or index == 0, index == 0)
    wanted = (*statements[:index], new, *statements[index:])
    says = f"declared the {kind} '{name}'"
    mark = Mark(edit.span.start, into)
    return finish(checked, [edit], says, mark, lambda file: file.statements == wanted)


def next_terminal(checked: Checked, kind: Literal["input", "output"]) -> str:
    """The lowest free terminal, numbered as the last input or output of the file is.

    Numbers begin at the lowest one in use: where the list begins at I101, I1 is not free for use.
    """
    placed = [s for s in checked.file.statements if isinstance(s, Declaration)]
    used = {terminal.casefold() for s in placed for terminal in _terminals(s)}
    own = [terminal for s in placed if s.kind == kind for terminal in _terminals(s)]
    matches = (_TERMINAL.fullmatch(terminal) for terminal in (*reversed(own), _FIRST[kind]))
    head, digits = next(match.groups() for match in matches if match is not None)
    width = len(digits) if digits.startswith("0") else 0
    tails = [t[len(head) :] for t in own if t.casefold().startswith(head.casefold())]
    number = min((int(tail) for tail in tails if tail.isdecimal()), default=int(digits))
    while f"{head}{number:0{width}}".casefold() in used:
        number += 1
    return f"{head}{number:0{width}}"


def _terminals(declaration: Declaration) -> Iterator[str]:
    """The terminal of an input or output, where it has one."""
    if declaration.kind in ("input", "output"):
        for option in declaration.options:
            if option.keyword == "at":
                yield from (value.text for value in option.values if isinstance(value, Word))


def _index(statements: tuple[Statement, ...], kind: str) -> int:
    """Behind the last declaration of the kind, or of the kinds that are listed before it."""
    rank = {keyword: number for number, keyword in enumerate(STATEMENTS)}
    index = 0
    best = -1
    for number, statement in enumerate(statements):
        if isinstance(statement, Declaration) and best <= rank[statement.kind] <= rank[kind]:
            best, index = rank[statement.kind], number + 1
    return index


def _read(plain: str, kind: str, name: str, options: str, place: Span) -> Declaration | Finding:
    """The declaration that the text makes, and nothing beside it."""
    parsed = parse(Source("", plain))
    if parsed.findings:
        found = parsed.findings[0]
        return Finding(found.code, found.message, place, found.effect, found.fix)
    match parsed.file.statements:
        case (Declaration(name=Word(text=text)) as new,) if (new.kind, text) == (kind, name):
            if "#" not in options and "\n" not in options:
                return new
    return Finding(
        "syntax",
        f"'{' '.join(options.split())}' is more than the parts of one {kind}",
        place,
        "it would change other parts of the file",
        "put in one thing at a time",
    )


def _aligned(plain: str, new: Declaration, like: Declaration, text: str) -> str:
    """The declaration with its parts below those of its neighbour, as far as there is room."""
    assert new.name is not None
    assert like.name is not None
    start = line_start(text, like.span.start)
    if "\n" in text[start : like.span.end] or text[start : like.span.start].strip():
        return plain
    columns = {_column(option): option.span.start - start for option in like.options}
    line = text[start : like.span.start] + new.kind
    cells = [(like.name.span.start - start, new.name.text)]
    for option in sorted(new.options, key=lambda o: o.span.start):
        cells.append((columns.get(_column(option), 0), plain[option.span.start : option.span.end]))
    for column, words in cells:
        line = f"{line} ".ljust(column) + words
    return line


def _column(option: Option) -> str:
    return _COLUMNS.get(option.keyword, option.keyword)
