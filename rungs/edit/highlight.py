"""The words of one line by kind, for a screen that colours text while it is being typed.

A line is read by itself and never refused: which words are keywords follows from the first word of
the line, as the parser tells them apart by place.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Literal

from rungs.edit import vocabulary as words

Kind = Literal[
    "keyword",
    "name",
    "number",
    "unit",
    "time",
    "string",
    "comment",
    "operator",
    "terminal",
    "value",
]

_LEXEME = re.compile(
    r"""(?P<comment>\#.*)
    |(?P<string>"[^"]*"?)
    |(?P<time>\d+:\d+(?::\d+)?|\d+-\d+(?:-\d+)?)
    |(?P<number>\d+(?:\.\d+)?)
    |(?P<delay>(?:on|off)-delay(?!\w))
    |(?P<asked>(?:rising|falling|broken|shorted|latch|unlatch|impulse|down|reset)
        (?=\s+(?!(?:and|or|then|within|for)(?!\w))[A-Za-z]))
    |(?P<keyword>(?<=\.)(?:timing|load)(?!\w))
    |(?P<word>[^\W\d]\w*)
    |(?P<operator>->|[<>=!]=|[<>()+,.-])""",
    re.VERBOSE,
)
_STEP = re.compile(
    r"\s+(?:" + "|".join(words.STEPS) + r")(?!\w)(?!\s*(?:->|[),.<>=!]|(?:and|or|then|within)\b))"
)
_UNIT = re.compile(r"mm2|[^\W\d]+")
_FIRST = re.compile(r"\s*(\w+)")
_TERMINAL = re.compile(r"\s+([-+=]?[A-Za-z0-9]+(?:[.:/_-][A-Za-z0-9]+)*)")
_UNITS = frozenset(("ms", "s", "min", "h", "d", "V", "A", "m", "mm2", "AWG", "mA", "W", "cm"))
_CIRCUIT = frozenset(("and", "or", "not", "first_scan", "when", "then", "within"))
_VALUES = frozenset((*words.WEEKDAYS, *words.MOMENTS, *words.LOADS))
_STEP_WORDS: dict[str, tuple[str, ...]] = {
    "begin": (),
    "tap": ("for",),
    "power": ("on", "off", "for"),
    "expect": ("and", "or", "not", "first_scan", "steady", "within", "for"),
    "set": ("clock",),
}
_LOGIC: dict[str, tuple[str, ...]] = {
    "rung": (),
    "never": (),
    "always": (),
    "require": ("when", "then", "within"),
    "assume": ("never",),
    "scenario": (),
    "title": (),
    "supply": (),
}
_MORE = {
    "site": ("longitude",),
    "timer": ("on", "off"),
    "clock": ("to", "and", "holidays", "up"),
}


def highlight(line: str) -> tuple[tuple[int, int, Kind], ...]:
    """Stretches of a line with their kinds, from left to right; blanks and odd signs have none.

    Kinds: `keyword`, `name` (of a device), `number`, `unit`, `time` (of day, and dates), `string`,
    `comment`, `operator`, `terminal`, `value` (weekdays, sunrise, kinds of load).
    """
    head, keywords = _keywords(line)
    declares = head in words.OPTIONS or head == "supply"
    found: list[tuple[int, int, Kind]] = []
    named = not declares or head == "site"  # a declaration has its name next
    at = 0
    while match := _LEXEME.search(line, at):
        start, at = match.span()
        kind = match.lastgroup
        if kind == "word" or kind == "asked" or kind == "delay":
            word = match.group()
            if found and found[-1][1] == start and found[-1][2] == "number":
                at = _unit_end(line, start)
                found.append((start, at, "unit"))
            elif declares and not named and found:
                named = True
                found.append((start, at, "name"))
            elif kind == "delay" and head != "timer":
                at = start + word.index("-")
                found.append((start, at, "name"))
            elif word in keywords or (kind == "asked" and not declares) or kind == "delay":
                found.append((start, at, "keyword"))
                if word == "at" and (head == "input" or head == "output"):
                    at = _terminal(line, at, found)
            else:
                found.append((start, at, _plain(word, declares or head == "begin", found)))
        else:
            found.append((start, at, kind))  # type: ignore[arg-type]  # the other groups are kinds
    return tuple(found)


def _keywords(line: str) -> tuple[str, frozenset[str]]:
    """The keyword that a line begins with, if any, and the words that are keywords on it."""
    match = _FIRST.match(line)
    head = match.group(1) if match else ""
    if head in words.STATEMENTS or (head in words.STEPS and _STEP.match(line)):
        return head, _table()[head]
    return "", _CIRCUIT


@cache
def _table() -> dict[str, frozenset[str]]:
    table = {kind: {kind, *(o[0] for o in options)} for kind, options in words.OPTIONS.items()}
    for kind, more in _MORE.items():
        table[kind].update(more)
    for kind, more in _LOGIC.items():
        table[kind] = {kind, *more, "and", "or", "not", "first_scan"}
    for kind in words.STEPS:
        table[kind] = {kind, *_STEP_WORDS.get(kind, ())}
    return {kind: frozenset(keywords) for kind, keywords in table.items()}


def _terminal(line: str, at: int, found: list[tuple[int, int, Kind]]) -> int:
    match = _TERMINAL.match(line, at)
    if match is None:
        return at
    found.append((match.start(1), match.end(1), "terminal"))
    return match.end(1)


def _unit_end(line: str, start: int) -> int:
    match = _UNIT.match(line, start)
    assert match is not None  # a word begins with a letter
    return match.end()


def _plain(word: str, declares: bool, found: list[tuple[int, int, Kind]]) -> Kind:
    """A word that is no keyword: a unit behind a number, a value of a declaration, or a name."""
    if declares and word in _UNITS and found and found[-1][2] == "number":
        return "unit"
    return "value" if declares and word in _VALUES else "name"
