"""Tree to canonical text: one layout for every file, with comments and blank lines kept.

The formatter prints words as they were written and changes layout alone, so that formatting a file
can never change a panel.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import assert_never

from rungs.language.tree import (
    ActionTree,
    CircuitTree,
    Comparison,
    DayRange,
    Declaration,
    Edge,
    Field,
    File,
    FirstScan,
    MomentWord,
    Negation,
    Option,
    ParallelTree,
    Plain,
    PropertyTree,
    RungTree,
    ScenarioTree,
    SeriesTree,
    Statement,
    StepTree,
    Word,
)
from rungs.source import Source

WIDTH = 100
INDENT = "    "
_BREAKS = re.compile(r" (?=(?:and|or|then|within|->) )")


@dataclass(frozen=True, slots=True)
class _Line:
    """One line to print: cells that may be aligned with neighbours of the same `kind`."""

    kind: str
    cells: tuple[str, ...]
    indent: str = ""
    comment: str = ""  # behind the cells, on the same line
    gap: bool = False  # an empty line stands before it


def format_file(file: File, source: Source) -> str:
    """The canonical text of a file that was parsed without findings.

    Formatting it again changes nothing, and parsing it gives an equal tree.
    """
    lines = list(_Layout(file, source).lines())
    text = "\n".join(_print(lines))
    return text + "\n" if text else ""


class _Layout:
    """Walks statements and comments together in the order of the text."""

    def __init__(self, file: File, source: Source) -> None:
        self.source = source
        self.statements = sorted(file.statements, key=lambda s: s.span.start)
        self.comments = list(file.comments)
        self.next_comment = 0
        self.last_row = 0  # the row of the text up to which everything has been printed

    def lines(self) -> Iterator[_Line]:
        for statement in self.statements:
            yield from self._comments_before(statement.span.start, "")
            yield from self._statement(statement)
        yield from self._comments_before(len(self.source.text) + 1, "")

    def _statement(self, statement: Statement) -> Iterator[_Line]:
        match statement:
            case ScenarioTree():
                yield from self._scenario(statement)
            case RungTree():
                yield from self._rung(statement)
            case Declaration():
                yield from self._simple(statement, "", [_declaration(statement)])
            case PropertyTree():
                yield from self._simple(statement, "", _property(statement))
            case _:
                assert_never(statement)

    def _simple(
        self, item: Statement | StepTree, indent: str, printed: list[_Line]
    ) -> Iterator[_Line]:
        """Lines of a statement or step; comments inside it go above, the one behind it stays."""
        gap = self._gap(item.span.start)
        for comment in self._take(item.span.end):
            yield _Line("comment", (comment.text,), indent, gap=gap)
            gap = False
        first, *rest = printed
        yield from self._with_trailing([replace(first, gap=gap), *rest], item.span.end)

    def _rung(self, rung: RungTree) -> Iterator[_Line]:
        gap = self._gap(rung.span.start)
        head = "rung" if rung.label is None else f'rung "{rung.label.text}"'
        head_end = rung.span.start + 4 if rung.label is None else rung.label.span.end
        comment = ""
        inner: list[str] = []
        for word in self._take(rung.span.end):
            if not comment and not inner and self._same_row(head_end, word.span.start):
                comment = word.text
            else:
                inner.append(word.text)
        yield _Line("rung", (head,), comment=comment, gap=gap)
        for text in inner:
            yield _Line("comment", (text,), INDENT)
        drives = ", ".join(_action(action) for action in rung.actions)
        body = _wrap(f"{_circuit(rung.circuit)} -> {drives}", INDENT)
        yield from self._with_trailing(
            [_Line("circuit", (line,), INDENT) for line in body], rung.span.end
        )

    def _scenario(self, scenario: ScenarioTree) -> Iterator[_Line]:
        head = _Line("scenario", (f'scenario "{scenario.label.text}"',))
        gap = self._gap(scenario.span.start)
        for comment in self._take(scenario.label.span.end):
            yield _Line("comment", (comment.text,), gap=gap)
            gap = False
        yield from self._with_trailing([replace(head, gap=gap)], scenario.label.span.end)
        for step in scenario.steps:
            yield from self._comments_before(step.span.start, INDENT)
            lines = [_Line("step", (text,), INDENT) for text in _wrap(_step(step), INDENT + INDENT)]
            yield from self._simple(step, INDENT, lines)

    def _comments_before(self, offset: int, indent: str) -> Iterator[_Line]:
        for comment in self._take(offset):
            gap = self._gap(comment.span.start)
            # a comment at the margin between two steps still belongs to the scenario
            yield _Line("comment", (comment.text,), indent, gap=gap)
            self.last_row = self._row(comment.span.start)

    def _with_trailing(self, lines: list[_Line], end: int) -> Iterator[_Line]:
        self.last_row = self._row(max(0, end - 1))
        *before, last = lines
        yield from before
        comment = ""
        if self.next_comment < len(self.comments):
            word = self.comments[self.next_comment]
            if self._same_row(end - 1, word.span.start) and self._nothing_between(end, word):
                comment = word.text
                self.next_comment += 1
        yield replace(last, comment=comment)

    def _nothing_between(self, end: int, comment: Word) -> bool:
        return not self.source.text[end : comment.span.start].strip()

    def _take(self, before: int) -> list[Word]:
        start = self.next_comment
        while (
            self.next_comment < len(self.comments)
            and self.comments[self.next_comment].span.start < before
        ):
            self.next_comment += 1
        return self.comments[start : self.next_comment]

    def _row(self, offset: int) -> int:
        return self.source.position(offset).line

    def _same_row(self, one: int, other: int) -> bool:
        return self._row(one) == self._row(other)

    def _gap(self, start: int) -> bool:
        return self.last_row > 0 and self._row(start) > self.last_row + 1


def _print(lines: list[_Line]) -> Iterator[str]:
    """Lines as text, with the cells of neighbours of one kind aligned."""
    runs: list[list[_Line]] = []
    for line in lines:
        if runs and runs[-1][-1].kind == line.kind and not line.gap:
            runs[-1].append(line)
        else:
            runs.append([line])
    for run in runs:
        for line, text in zip(run, _align(run), strict=True):
            if line.gap:
                yield ""
            text = line.indent + text
            yield f"{text}  {line.comment}" if line.comment else text


def _align(run: list[_Line]) -> list[str]:
    """Cells of a run in columns; empty columns vanish, and a run too wide is left unaligned."""
    width = max(len(line.cells) for line in run)
    padded = [line.cells + ("",) * (width - len(line.cells)) for line in run]
    widths = [max(len(cells[column]) for cells in padded) for column in range(width)]
    used = [column for column in range(width) if widths[column]]
    aligned = [
        " ".join(cells[column].ljust(widths[column]) for column in used).rstrip()
        for cells in padded
    ]
    if any(len(text) > WIDTH for text in aligned):
        return [" ".join(cell for cell in line.cells if cell) for line in run]
    return aligned


# --- statements


_COLUMNS: dict[str, tuple[tuple[str, ...], ...]] = {
    "input": (("at",), ("maintained", "momentary"), ("NO", "NC"), ("debounce",), ("wire",)),
    "output": (("at",), ("NO", "NC"), ("retained",), ("load",), ("from",), ("wire",)),
    "relay": (("retained",),),
    "timer": (("on-delay", "off-delay", "pulse", "accumulating", "flasher"), ("retained",)),
    "counter": (("to",), ("retained",)),
    "clock": (
        ("window", "event"),
        ("daily", "on"),
        ("between",),
        ("except holidays",),
        ("catch up",),
    ),
    "supply": (("volts",), ("amps",)),
    "holiday": (("on", "to"),),
}


def _declaration(tree: Declaration) -> _Line:
    keyword = tree.kind.ljust(6)
    texts = [(option.keyword, _option(option)) for option in tree.options]
    if tree.name is None:
        # the head of a file: title, site and design under each other
        return _Line("head", (keyword, " ".join(text for _, text in texts)))
    columns = [
        " ".join(text for name, text in texts if name in group) for group in _COLUMNS[tree.kind]
    ]
    label = " ".join(text for name, text in texts if name == "label")
    return _Line(tree.kind, (keyword, tree.name.text, *columns, label))


def _option(option: Option) -> str:
    values = option.values
    texts = [_value(value) for value in values]
    match option.keyword:
        case "label":
            return f'"{texts[0]}"'
        case "zone" | "holidays":
            return f'{option.keyword} "{texts[0]}"'
        case "latitude":
            return f"latitude {texts[0]} longitude {texts[1]}"
        case "volts" | "amps":
            return " ".join(texts)
        case "flasher":
            return f"flasher {texts[0]} on {texts[1]} off"
        case "window":
            return f"from {texts[0]} to {texts[1]}"
        case "event":
            return f"at {texts[0]}"
        case "between":
            return f"between {texts[0]} and {texts[1]}"
        case "on":
            return "on " + ", ".join(texts)
        case keyword:
            return " ".join((keyword, *texts))


def _value(value: Word | MomentWord | DayRange) -> str:
    match value:
        case Word():
            return value.text
        case MomentWord():
            offset = value.offset
            return value.time.text if offset is None else f"{value.time.text} {offset.text}"
        case DayRange():
            last = value.last
            return value.first.text if last is None else f"{value.first.text}-{last.text}"
        case _:
            assert_never(value)


def _action(action: ActionTree) -> str:
    return action.name.text if action.verb is None else f"{action.verb.text} {action.name.text}"


def _property(tree: PropertyTree) -> list[_Line]:
    label = "" if tree.label is None else f'"{tree.label.text}"'
    circuit = _circuit(tree.circuit)
    keyword = tree.kind.ljust(7)
    if tree.kind == "assume":
        body = f"never {circuit}"
    elif tree.when is not None:
        within = "" if tree.within is None else f" within {tree.within.text}"
        body = f"when {_circuit(tree.when)} then {circuit}{within}"
    else:
        body = circuit
    if len(" ".join((keyword, label, body))) <= WIDTH:
        return [_Line("property", (keyword, label, body))]
    head = f"{tree.kind} {label}".rstrip()
    wrapped = [_Line("circuit", (line,), INDENT) for line in _wrap(body, INDENT)]
    return [_Line("wide property", (head,)), *wrapped]


def _step(tree: StepTree) -> str:
    parts: list[str] = [tree.verb]
    for word in (tree.name, tree.day, tree.date, tree.time):
        if word is not None:
            parts.append(word.text)
    if tree.circuit is not None:
        parts.append(_circuit(tree.circuit))
    if tree.duration is not None:
        joint = {"expect": "within", "wait": ""}.get(tree.verb, "for")
        parts += [joint, tree.duration.text] if joint else [tree.duration.text]
    return " ".join(parts)


# --- circuits


def _circuit(tree: CircuitTree) -> str:
    match tree:
        case Plain():
            return tree.name.text
        case Edge():
            return f"{tree.word.text} {tree.name.text}"
        case Field():
            return f"{tree.name.text}.{tree.which.text}"
        case Comparison():
            return f"{tree.name.text} {tree.op.text} {tree.number.text}"
        case FirstScan():
            return "first_scan"
        case Negation():
            part = tree.part
            simple = isinstance(part, Plain | Edge | Field | Comparison | FirstScan)
            return f"not {_circuit(part)}" if simple else f"not ({_circuit(part)})"
        case SeriesTree():
            return " and ".join(_grouped(part) for part in tree.parts)
        case ParallelTree():
            return " or ".join(_grouped(part) for part in tree.parts)
        case _:
            assert_never(tree)


def _grouped(tree: CircuitTree) -> str:
    text = _circuit(tree)
    return f"({text})" if isinstance(tree, SeriesTree | ParallelTree) else text


def _wrap(text: str, indent: str) -> list[str]:
    """A circuit over as many lines as it needs, broken before and, or, then, within and `->`.

    A line never begins with a name, which could read as the keyword of a new statement.
    """
    room = WIDTH - len(indent)
    if len(text) <= room:
        return [text]
    lines = [""]
    for piece in _BREAKS.split(text):
        longer = f"{lines[-1]} {piece}".strip()
        if lines[-1] and len(longer) > room:
            lines.append(piece)
        else:
            lines[-1] = longer
    return lines
