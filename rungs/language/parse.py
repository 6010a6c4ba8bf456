"""Text to syntax tree, with findings for whatever cannot be read.

The file is cut into pieces at lines that begin with a statement keyword, and each piece goes
through Lark by itself, so that one bad statement costs only itself and findings come for all of
them at once.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

from lark import Lark, Token, Transformer
from lark.exceptions import UnexpectedInput
from lark.utils import TextSlice

from rungs.findings import MAX_FINDINGS, Finding
from rungs.language import hints
from rungs.language.tree import (
    ActionTree,
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
from rungs.language.words import OPTION_ORDER, STATEMENTS
from rungs.shipped import shipped
from rungs.source import Source, Span

MAX_BYTES = 2_000_000
MAX_LINES = 50_000
MAX_DEPTH = 64

_HEAD = re.compile(r"^[ \t]*(?:" + "|".join(STATEMENTS) + r")(?!\w)", re.MULTILINE)
_TOKENS = re.compile(r'"[^"\n]*"?|#[^\n]*|[()]')
_DECLARED = re.compile(
    r"(?:supply|input|output|relay|timer|counter|clock|holiday)\s+([A-Za-z][A-Za-z0-9_]*)"
)
_LEXEMES = re.compile(r'"[^"\n]*"?|#[^\n]*|\w+|[^\w\s]')
_RANK = {keyword: rank for rank, keyword in enumerate(OPTION_ORDER)}
_BIDI = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@dataclass(frozen=True, slots=True)
class Parsed:
    """A tree of what could be read, and a finding for each thing that could not."""

    file: File
    findings: tuple[Finding, ...]


def parse(source: Source) -> Parsed:
    """The syntax tree of a whole file. Never raises for any text."""
    refused = refusals(source)
    if refused:
        return Parsed(File(()), tuple(refused))
    text = source.text
    reader = Reader(text, heads_of(text, 0, len(text)))
    reader.read()
    comments = comments_of(text, 0, len(text))
    file = File(tuple(reader.statements), comments, frozenset(reader.damaged))
    return Parsed(file, tuple(reader.findings))


def refusals(source: Source) -> list[Finding]:
    """Why nothing of a file is read: it is too large, or holds characters that belong in none."""
    return _limits(source) or _characters(source)


def _limits(source: Source) -> list[Finding]:
    size = len(source.text.encode("utf-8", "surrogatepass"))
    if size > MAX_BYTES:
        what = f"the file holds {size:,} bytes, and {MAX_BYTES:,} is the limit"
    elif (lines := source.text.count("\n") + 1) > MAX_LINES:
        what = f"the file holds {lines:,} lines, and {MAX_LINES:,} is the limit"
    else:
        return []
    fix = "split the installation into one file a panel"
    return [Finding("too-large", what, Span(0, 0), "nothing of it was read", fix)]


def _characters(source: Source) -> list[Finding]:
    """Control characters, lone surrogates and direction overrides, wherever they stand."""
    found: list[Finding] = []
    plain = source.text.replace("\n", "").replace("\t", "")
    # what may be printed is none of these; only a tab in a label is then left to look for
    if plain.isprintable() and (source.text.isascii() or "\t" not in source.text):
        return found
    in_label = in_comment = False
    for at, char in enumerate(source.text):
        if char == "\n":
            in_label = in_comment = False
            continue
        if char == '"' and not in_comment:
            in_label = not in_label
        elif char == "#" and not in_label:
            in_comment = True
        if char == "\t" and not in_label:
            continue
        kind = unicodedata.category(char)
        if kind in ("Cc", "Cs") or char in _BIDI or (kind in ("Cf", "Zl", "Zp") and in_label):
            name = unicodedata.name(char, "a control character").lower()
            found.append(
                Finding(
                    "bad-character",
                    f"the character U+{ord(char):04X} ({name}) does not belong in a panel file",
                    Span(at, at + 1),
                    "the line may read differently from what it says",
                    "delete it and type the text again",
                )
            )
        if len(found) >= 20:
            break
    return found


def comments_of(text: str, start: int, end: int) -> tuple[Word, ...]:
    """The comments between two line starts, in text order."""
    return tuple(
        Word(match.group().rstrip(), Span(match.start(), match.end()))
        for match in _TOKENS.finditer(text, start, end)
        if match.group()[0] == "#"
    )


def heads_of(text: str, start: int, end: int) -> list[int]:
    """Where the pieces between two line starts begin: lines whose first word is a statement
    keyword, and the start."""
    heads = [m.start() for m in _HEAD.finditer(text, start, end)]
    return heads if heads and heads[0] == start else [start, *heads]


def declared(statements: Iterable[Statement]) -> set[str]:
    """The names that statements declare."""
    return {s.name.text for s in statements if isinstance(s, Declaration) and s.name}


@dataclass(frozen=True, slots=True)
class Reading:
    """What one or more pieces gave: `following` is the number of the next piece to read.

    `seen` pieces were looked at, which may be more than were taken; `named` are the names that the
    pieces declare in what could not be read, and perhaps in what could.
    """

    following: int
    seen: int
    statements: list[Statement]
    findings: list[Finding]
    named: frozenset[str]


class Reader:
    """Goes through the pieces of one text and gathers statements, findings and damaged names."""

    def __init__(self, text: str, heads: list[int]) -> None:
        self.text = text
        self.ends = [*heads[1:], len(text)]
        self.heads = heads
        self.statements: list[Statement] = []
        self.findings: list[Finding] = []
        self.damaged: set[str] = set()
        pieces = zip(heads, self.ends, strict=True)
        self.deep = any(text.count("(", start, end) > MAX_DEPTH for start, end in pieces)

    def read(self) -> None:
        """Read the whole text at once if it can be, which is faster, and else piece by piece."""
        if not self.deep:
            whole = machine().run(self.text, 0, len(self.text))
            if whole is not None:
                self.statements = whole.statements
                return
        piece = 0
        while piece < len(self.heads) and len(self.findings) < MAX_FINDINGS:
            reading = self.read_from(piece)
            self.statements += reading.statements
            self.findings += reading.findings
            if reading.named:
                self.damaged |= reading.named - declared(self.statements)
            piece = reading.following

    def read_from(self, piece: int) -> Reading:
        """Read the piece, or as many as one statement takes; changes nothing in the reader."""
        start = self.heads[piece]
        outcome = self._attempt(self.text, start, self.ends[piece])
        last = piece
        # An unfinished statement may go on with a device that is named like a keyword.
        longer = outcome
        while _unfinished(longer) and last + 1 < len(self.heads) and last < piece + _JOIN:
            last += 1
            longer = self._attempt(self.text, start, self.ends[last])
            if not isinstance(longer, _Failure):
                return Reading(last + 1, last + 1 - piece, longer, [], frozenset())
        seen = last + 1 - piece
        if isinstance(outcome, _Failure):
            return self._recover(piece, seen, outcome)
        return Reading(piece + 1, seen, outcome, [], frozenset())

    def _attempt(self, text: str, start: int, end: int) -> list[Statement] | _Failure:
        if self.deep:
            place = _too_deep(text, start, end)
            if place is not None:
                return _Failure(None, place)
        try:
            return _parse_slice(text, start, end)
        except UnexpectedInput as error:
            return _Failure(error, _error_span(error, text, start, end))

    def _recover(self, piece: int, seen: int, failure: _Failure) -> Reading:
        """Report the failure, keep what stands before it, and go on behind it where that is
        sure."""
        text, start, end = self.text, self.heads[piece], self.ends[piece]
        statements: list[Statement] = []
        findings: list[Finding] = []
        scenario = text[start:end].lstrip().startswith("scenario")
        for _ in range(_RETRIES):
            line = text.rfind("\n", 0, failure.span.start) + 1
            leads = line > start and not text[line : failure.span.start].strip()
            if scenario and leads:
                # a step that is good in itself may only show that the one above is unfinished
                above = self._attempt(text, start, line)
                if _unfinished(above):
                    assert isinstance(above, _Failure)
                    failure = above
                    line = text.rfind("\n", 0, failure.span.start) + 1
            elif _unfinished(failure):
                line = start
            findings.append(self._finding(text, start, failure))
            line_end = text.find("\n", failure.span.start)
            line_end = len(text) if line_end < 0 else line_end
            if line <= start or not (scenario or (leads and _at_statement(failure))):
                break
            # Blanks keep every offset as it is, and each step or statement behind it can be read.
            text = text[:line] + " " * (line_end - line) + text[line_end:]
            outcome = self._attempt(text, start, end)
            if not isinstance(outcome, _Failure):
                statements = outcome
                break
            failure = outcome
        named = frozenset(_DECLARED.findall(text, start, end))
        return Reading(piece + 1, seen, statements, findings, named)

    def _finding(self, text: str, start: int, failure: _Failure) -> Finding:
        if failure.error is None:
            return Finding(
                "too-deep",
                f"parentheses are nested more than {MAX_DEPTH} deep",
                failure.span,
                "the statement was not read, so nothing can run",
                "give the inner part a relay of its own and read that relay",
            )
        return hints.advise(failure.error, text, start, failure.span, _parse_text)


_JOIN = 8  # pieces that one statement may go over
_RETRIES = 20  # findings of one piece


@dataclass(frozen=True, slots=True)
class _Failure:
    """Why a piece could not be read; no error means that it is nested too deeply."""

    error: UnexpectedInput | None
    span: Span


def _unfinished(outcome: list[Statement] | _Failure) -> bool:
    return (
        isinstance(outcome, _Failure)
        and outcome.error is not None
        and hints.is_at_end(outcome.error)
    )


def _at_statement(failure: _Failure) -> bool:
    """Whether a new statement could have stood there, so that those behind it can be read."""
    return failure.error is not None and hints.takes_statement(failure.error)


def _too_deep(text: str, start: int, end: int) -> Span | None:
    depth = 0
    for match in _TOKENS.finditer(text, start, end):
        depth += {"(": 1, ")": -1}.get(match.group(), 0)
        if depth > MAX_DEPTH:
            return Span(match.start(), match.end())
    return None


def _error_span(error: UnexpectedInput, text: str, start: int, end: int) -> Span:
    if hints.is_at_end(error):
        at = start
        for match in _LEXEMES.finditer(text, start, end):
            if match.group()[0] != "#":
                at = match.end()
        return Span(max(start, at - 1), max(at, start + 1))
    at = error.pos_in_stream if error.pos_in_stream is not None else start
    found = _LEXEMES.match(text, at, end)
    return Span(at, found.end() if found else at + 1)


def _parse_slice(text: str, start: int, end: int) -> list[Statement]:
    run = machine().run(text, start, end)
    if run is not None:
        return run.statements
    # Lark's stubs know text only as str; a slice keeps the positions of the whole file.
    tree: Any = _parser().parse(TextSlice(text, start, end))
    statements: list[Statement] = tree
    return statements


def _parse_text(text: str) -> Any:
    return _parser().parse(text)


@cache
def _parser() -> Lark:
    grammar = (shipped("grammar") / "rungs.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", lexer="contextual", transformer=_Builder())


@dataclass(frozen=True, slots=True)
class Run:
    """The statements of a stretch of text; `stop` is the line before which reading stopped, None
    if it went to the end."""

    statements: list[Statement]
    stop: int | None


_Match = Callable[[str, int, int], re.Match[str] | None]
_Reduction = tuple[Callable[[list[Any]], Any], int, dict[int, int]]


class Machine:
    """Lark's own tables, driven by a loop that keeps no line counts and no state for messages.

    Most of the time of a parse by Lark goes into its general token loop. Here a text that fits the
    grammar gives what Lark gives; for one that does not, there is no result, and Lark itself then
    tells what is wrong.
    """

    def __init__(self, lark: Lark) -> None:
        frontend: Any = lark.parser
        inner = frontend.parser.parser
        table = inner.parse_table
        self.first: int = table.start_states["start"]
        self.last: int = table.end_states["start"]
        # for each state: what reads the next word, the kinds of its groups, and what to do for a
        # kind: the state to go to, or the rule to apply, its length, and where that goes from where
        self.states: dict[int, tuple[_Match, tuple[str, ...], dict[str, int | _Reduction]]] = {}
        gotos: dict[str, dict[int, int]] = {}
        made: dict[int, tuple[_Match, tuple[str, ...]]] = {}
        for state, acts in table.states.items():
            lexer = frontend.lexer.lexers[state]
            if id(lexer) not in made:
                made[id(lexer)] = _matcher(lexer)
            known: dict[str, int | _Reduction] = {}
            for kind, (action, arg) in acts.items():
                if action.name == "Reduce":
                    goto = gotos.setdefault(arg.origin.name, {})
                    known[kind] = (inner.callbacks[arg], len(arg.expansion), goto)
                elif kind.isupper() or kind.startswith("$"):
                    known[kind] = arg
                else:
                    gotos.setdefault(kind, {})[state] = arg
            self.states[state] = (*made[id(lexer)], known)

    def run(self, text: str, start: int, end: int, resume: int | None = None) -> Run | None:
        """Read a stretch of text, None if it does not fit the grammar.

        With `resume`, reading stops before the first statement at or behind that offset that begins
        a line; where it stops, the text behind it has been seen only as far as Lark looks ahead.
        """
        table, last = self.states, self.last
        path, values = [self.first], list[Any]()
        at, stop = start, None
        match_word, kinds, acts = table[self.first]
        while True:
            found = match_word(text, start, end)
            if found is None:
                if not _BLANK.fullmatch(text, start, end):
                    return None
                kind, token = "$END", None
            else:
                index = found.lastindex or 0
                at, start = found.span(index)
                kind = kinds[index]
                token = str.__new__(Token, found[index])
                token.type, token.start_pos, token.end_pos = kind, at, start
            while True:
                act = acts.get(kind)
                if act is None:
                    return None
                if isinstance(act, int):
                    if resume is not None and at >= resume and len(path) <= 2:
                        line = text.rfind("\n", 0, at) + 1
                        if not text[line:at].strip(" \t"):
                            kind, stop = "$END", line
                            continue
                    path.append(act)
                    values.append(token)
                    match_word, kinds, acts = table[act]
                    break
                make, size, goto = act
                parts: list[Any] = []
                if size:
                    parts = values[-size:]
                    del path[-size:], values[-size:]
                value = make(parts)
                state = goto[path[-1]]
                if state == last:
                    return Run(value, stop)
                path.append(state)
                values.append(value)
                acts = table[state][2]


# possessive, so that a long gap is never read twice
_GAP = r"[ \t\n]*+(?:\#[^\n]*+[ \t\n]*+)*+"
_BLANK = re.compile(_GAP)


def _matcher(lexer: Any) -> tuple[_Match, tuple[str, ...]]:
    """What reads the next word with the gap before it, and the kind of each of its groups."""
    terminals = [t for t in lexer.terminals if t.name not in lexer.ignore_types]
    words = "|".join(f"({terminal.pattern.to_regexp()})" for terminal in terminals)
    return re.compile(_GAP + f"(?:{words})").match, ("", *(t.name for t in terminals))


@cache
def machine() -> Machine:
    """The machine of the grammar, made on first use."""
    return Machine(_parser())


def _word(token: Token) -> Word:
    start = token.start_pos or 0
    return Word(str(token), Span(start, start + len(token)))


def _label(token: Token | None) -> Word | None:
    if token is None:
        return None
    start = token.start_pos or 0
    return Word(token[1:-1], Span(start, start + len(token)))


def _optional(token: Token | None) -> Word | None:
    return None if token is None else _word(token)


def _span(children: list[Any]) -> Span:
    """From the first to the last of the children that are there."""
    present = [child for child in children if child is not None]
    first, last = present[0], present[-1]
    start = (first.start_pos or 0) if isinstance(first, Token) else first.span.start
    end = (last.end_pos or 0) if isinstance(last, Token) else last.span.end
    return Span(start, end)


def _declare(children: list[Any]) -> Declaration:
    kind, name, *parts = children
    options = [o if isinstance(o, Option) else Option(str(o), (), _span([o])) for o in parts]
    return Declaration(str(kind), _word(name), _sorted(options), _span(children))  # type: ignore[arg-type]


def _sorted(options: list[Option]) -> tuple[Option, ...]:
    """Options in canonical order; a doubled one stays behind the first."""
    if len(options) > 1:
        options.sort(key=lambda option: _RANK.get(option.keyword, 0))
    return tuple(options)


def _option(keyword: str, children: list[Any], *values: Word | MomentWord | DayRange) -> Option:
    return Option(keyword, values, _span(children))


class _Builder(Transformer[Token, Any]):
    """Turns each reduced rule into its node while Lark parses; holds no state of its own."""

    def start(self, c: list[Any]) -> list[Statement]:
        return c

    def title(self, c: list[Any]) -> Declaration:
        label = _label(c[1])
        assert label is not None
        return Declaration("title", None, (Option("label", (label,), label.span),), _span(c))

    def site(self, c: list[Any]) -> Declaration:
        return Declaration("site", None, _sorted(c[1:]), _span(c))

    def design(self, c: list[Any]) -> Declaration:
        return Declaration("design", None, _sorted(c[1:]), _span(c))

    def holiday(self, c: list[Any]) -> Declaration:
        first, last = c[3], c[5] if len(c) > 5 else None
        options = [Option("on", (_word(first),), _span(c[2:4]))]
        if last is not None:
            options.append(Option("to", (_word(last),), _span(c[4:6])))
        return Declaration("holiday", _word(c[1]), tuple(options), _span(c))

    supply = input = output = relay = timer = counter = clock = staticmethod(_declare)

    def label(self, c: list[Any]) -> Option:
        label = _label(c[0])
        assert label is not None
        return _option("label", c, label)

    def zone(self, c: list[Any]) -> Option:
        label = _label(c[1])
        assert label is not None
        return _option("zone", c, label)

    def calendar(self, c: list[Any]) -> Option:
        label = _label(c[1])
        assert label is not None
        return _option("holidays", c, label)

    def place(self, c: list[Any]) -> Option:
        return _option("latitude", c, _word(c[1]), _word(c[3]))

    def volts(self, c: list[Any]) -> Option:
        return _option("volts", c, *map(_word, c))

    def amps(self, c: list[Any]) -> Option:
        return _option("amps", c, *map(_word, c))

    def at(self, c: list[Any]) -> Option:
        return _option("at", c, _word(c[1]))

    def debounce(self, c: list[Any]) -> Option:
        return _option("debounce", c, _word(c[1]))

    def wire(self, c: list[Any]) -> Option:
        return _option("wire", c, *[_word(token) for token in c[1:] if token is not None])

    def drop(self, c: list[Any]) -> Option:
        return _option("drop", c, *map(_word, c[1:]))

    def reserve(self, c: list[Any]) -> Option:
        return _option("reserve", c, *map(_word, c[1:]))

    def conductors(self, c: list[Any]) -> Option:
        return _option("conductors", c, *map(_word, c[1:]))

    def load(self, c: list[Any]) -> Option:
        return _option("load", c, *map(_word, c[1:]))

    def fed_from(self, c: list[Any]) -> Option:
        return _option("from", c, _word(c[1]))

    def delay(self, c: list[Any]) -> Option:
        return _option(str(c[0]), c, _word(c[1]))

    def flasher(self, c: list[Any]) -> Option:
        return _option("flasher", c, _word(c[1]), _word(c[3]))

    def preset(self, c: list[Any]) -> Option:
        return _option("to", c, _word(c[1]))

    def window(self, c: list[Any]) -> Option:
        return Option("window", (c[1], c[3]), Span(c[0].start_pos, _moment_end(c[3])))

    def event(self, c: list[Any]) -> Option:
        return Option("event", (c[1],), Span(c[0].start_pos, _moment_end(c[1])))

    def moment(self, c: list[Any]) -> MomentWord:
        offset = _optional(c[1])
        if offset is not None:
            offset = Word("".join(offset.text.split()), offset.span)
        return MomentWord(_word(c[0]), offset)

    def on_days(self, c: list[Any]) -> Option:
        last = c[-1].last or c[-1].first
        return Option("on", tuple(c[1:]), Span(c[0].start_pos, last.span.end))

    def days(self, c: list[Any]) -> DayRange:
        return DayRange(_word(c[0]), _optional(c[1]))

    def season(self, c: list[Any]) -> Option:
        return _option("between", c, _word(c[1]), _word(c[3]))

    def except_holidays(self, c: list[Any]) -> Option:
        return _option("except holidays", c)

    def catch_up(self, c: list[Any]) -> Option:
        return _option("catch up", c, _word(c[2]))

    def rung(self, c: list[Any]) -> RungTree:
        return RungTree(_label(c[1]), c[2], tuple(c[3:]), _span(c))

    def action(self, c: list[Any]) -> ActionTree:
        return ActionTree(_optional(c[0]), _word(c[1]), _span(c))

    def property(self, c: list[Any]) -> PropertyTree:
        return PropertyTree(str(c[0]), _label(c[1]), None, c[2], None, _span(c))  # type: ignore[arg-type]

    def require(self, c: list[Any]) -> PropertyTree:
        return PropertyTree("require", _label(c[1]), c[3], c[5], _optional(c[7]), _span(c))

    def assume(self, c: list[Any]) -> PropertyTree:
        return PropertyTree("assume", _label(c[1]), None, c[3], None, _span(c))

    def parallel(self, c: list[Any]) -> ParallelTree:
        parts: list[Any] = []
        for part in c[::2]:
            parts += part.parts if isinstance(part, ParallelTree) else (part,)
        return ParallelTree(tuple(parts), Span(c[0].span.start, c[-1].span.end))

    def series(self, c: list[Any]) -> SeriesTree:
        parts: list[Any] = []
        for part in c[::2]:
            parts += part.parts if isinstance(part, SeriesTree) else (part,)
        return SeriesTree(tuple(parts), Span(c[0].span.start, c[-1].span.end))

    def group(self, c: list[Any]) -> Any:
        return c[1]

    def negation(self, c: list[Any]) -> Negation:
        return Negation(c[1], _span(c))

    def plain(self, c: list[Any]) -> Plain:
        word = _word(c[0])
        return Plain(word, word.span)

    def edge(self, c: list[Any]) -> Edge:
        return Edge(_word(c[0]), _word(c[1]), _span(c))

    def field(self, c: list[Any]) -> Field:
        return Field(_word(c[0]), _word(c[1]), _span(c))

    def compare(self, c: list[Any]) -> Comparison:
        return Comparison(_word(c[0]), _word(c[1]), _word(c[2]), _span(c))

    def first_scan(self, c: list[Any]) -> FirstScan:
        return FirstScan(_span(c))

    def scenario(self, c: list[Any]) -> ScenarioTree:
        label = _label(c[1])
        assert label is not None
        return ScenarioTree(label, tuple(c[2:]), _span(c))

    def begin(self, c: list[Any]) -> StepTree:
        return StepTree(
            "begin", day=_optional(c[1]), date=_optional(c[2]), time=_word(c[3]), span=_span(c)
        )

    def act(self, c: list[Any]) -> StepTree:
        return StepTree(str(c[0]), _word(c[1]), span=_span(c))  # type: ignore[arg-type]

    def tap(self, c: list[Any]) -> StepTree:
        return StepTree("tap", _word(c[1]), duration=_optional(c[3]), span=_span(c))

    def power_off(self, c: list[Any]) -> StepTree:
        return StepTree("power off", duration=_optional(c[3]), span=_span(c))

    def power_on(self, c: list[Any]) -> StepTree:
        return StepTree("power on", span=_span(c))

    def wait(self, c: list[Any]) -> StepTree:
        return StepTree("wait", duration=_word(c[1]), span=_span(c))

    def until(self, c: list[Any]) -> StepTree:
        return StepTree("until", time=_word(c[1]), span=_span(c))

    def expect(self, c: list[Any]) -> StepTree:
        return StepTree("expect", circuit=c[1], duration=_optional(c[3]), span=_span(c))

    def steady(self, c: list[Any]) -> StepTree:
        return StepTree("expect steady", circuit=c[2], duration=_word(c[4]), span=_span(c))

    def set_clock(self, c: list[Any]) -> StepTree:
        return StepTree("set clock", date=_optional(c[2]), time=_word(c[3]), span=_span(c))


def _moment_end(moment: MomentWord) -> int:
    return (moment.offset or moment.time).span.end
