"""What may be typed at a place of the text, whether or not the text can be read.

Everything is told from the words between the start of the statement and the caret, and the names
from the declarations of the last tree, so that a keystroke never waits for a parse.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from rungs.edit import vocabulary as words
from rungs.edit.devices import next_terminal
from rungs.language.tree import Declaration, Word
from rungs.program.check import Checked
from rungs.source import Span

_HEAD = re.compile(r"[ \t]*(" + "|".join(words.STATEMENTS) + r")(?!\w)")
_LEXEME = re.compile(
    r'#[^\n]*|"[^"\n]*"?|\d[\d:.-]*\w*|(?:on|off)-delay(?!\w)|\w+|->|[<>=!]=?|[^\w\s]'
)
_WORD_END = re.compile(r"\w*")
_CIRCUIT_STARTS = frozenset(
    ("rung", "never", "always", "when", "then", "expect", "steady", "and", "or", "not", "(")
)
# words of a declaration that a value must follow
_ASKING = frozenset(
    (
        *("debounce", "wire", "load", "between", "zone", "latitude", "to"),
        *("drop", "reserve", "conductors"),
        *("on-delay", "off-delay", "pulse", "accumulating", "flasher", "up"),
    )
)
# statements that give nothing a name
_NAMELESS = ("site", "design")
_MAX_LINES = 500  # lines to look back for the start of a statement


@dataclass(frozen=True, slots=True)
class Candidate:
    """A word that may stand here, and a few words on what it is."""

    text: str
    says: str


@dataclass(frozen=True, slots=True)
class Completion:
    """What may replace a stretch of the text; the fitting names and words come first."""

    span: Span
    candidates: tuple[Candidate, ...]


@dataclass(slots=True)
class _Place:
    """The words of the statement before the caret, without the word that is being typed."""

    head: str
    before: list[str]
    first_on_line: bool
    checked: Checked
    typed: str  # of the word itself, in small letters
    names: dict[str, Declaration]

    @property
    def last(self) -> str:
        return self.before[-1] if self.before else ""


def complete(text: str, offset: int, last: Checked) -> Completion:
    """What may stand at an offset of the text.

    `last` is the outcome of the last check, which may be of an older text; names come from its
    tree. Candidates begin with what has been typed of the word, in any letter case; the span is the
    whole word around the offset. Inside a comment, a label or a new name there are none.
    """
    offset = max(0, min(offset, len(text)))
    line = text.rfind("\n", 0, offset) + 1
    begin, head = _statement(text, line, offset)
    start = offset - len(_typed(text[line:offset], head))
    match = _WORD_END.match(text, offset)
    span = Span(start, match.end() if match else offset)
    lexemes = [m.group() for m in _LEXEME.finditer(text, begin, start)]
    if lexemes and _open(lexemes[-1], text[begin:start]):
        return Completion(span, ())
    before = [word for word in lexemes if word[0] != "#"]
    typed = text[start:offset].casefold()
    place = _Place(head, before, not text[line:start].strip(), last, typed, _names(last))
    fitting = (c for c in _candidates(place) if c.text.casefold().startswith(typed))
    return Completion(span, tuple(dict.fromkeys(fitting)))


def _statement(text: str, line: int, offset: int) -> tuple[int, str]:
    """Where the statement around an offset begins, and its keyword; empty if there is none."""
    at = line
    for _ in range(_MAX_LINES):
        match = _HEAD.match(text, at, offset)
        # a keyword that is still being typed is none yet
        if match is not None and match.end() < offset:
            return match.start(1), match.group(1)
        if at == 0:
            break
        at = text.rfind("\n", 0, at - 1) + 1
    return line, ""


def _typed(line: str, head: str) -> str:
    pattern = r"(?<![\w-])o(?:n|ff)-\w*$|\w*$" if head == "timer" else r"\w*$"
    match = re.search(pattern, line)
    return match.group() if match else ""


def _open(lexeme: str, before: str) -> bool:
    """Whether the caret stands inside a comment or a label."""
    if lexeme[0] == "#":
        return "\n" not in before[before.rfind("#") :]
    return lexeme[0] == '"' and (len(lexeme) == 1 or lexeme[-1] != '"') and before[-1] != "\n"


def _names(checked: Checked) -> dict[str, Declaration]:
    return {
        s.name.text: s
        for s in checked.file.statements
        if isinstance(s, Declaration) and s.name is not None
    }


def _candidates(place: _Place) -> Iterator[Candidate]:
    match place.head:
        case "rung" | "never" | "always" | "require" | "assume":
            yield from _logic(place)
        case "scenario":
            yield from _step(place)
        case "":
            pass
        case _:
            yield from _declaration(place)
    if place.first_on_line:
        yield from _listed(words.STATEMENTS)


def _listed(table: Mapping[str, str]) -> Iterator[Candidate]:
    return (Candidate(text, says) for text, says in table.items())


def _devices(place: _Place, kinds: Iterable[str]) -> Iterator[Candidate]:
    """The devices of some kinds; a long list is only gone through for what has been typed."""
    wanted = tuple(kinds)
    for name, device in place.names.items():
        if device.kind in wanted and name.casefold().startswith(place.typed):
            yield Candidate(name, _on_device(device))


def _on_device(device: Declaration) -> str:
    last = device.options[-1] if device.options else None
    if last is not None and last.keyword == "label" and isinstance(last.values[0], Word):
        return f"{device.kind}: {last.values[0].text}"
    return device.kind


# --- declarations


def _declaration(place: _Place) -> Iterator[Candidate]:
    kind, last = place.head, place.last
    if kind in ("title", "supply") or (kind not in _NAMELESS and len(place.before) < 2):
        return
    wanted = list(_value(place, kind, last))
    yield from wanted or _options(place)


def _value(place: _Place, kind: str, last: str) -> Iterator[Candidate]:
    """What the word before the caret asks for."""
    match kind, last:
        case (("input" | "output"), "at"):
            yield Candidate(next_terminal(place.checked, kind), "the next free terminal")
        case "output", "from":
            yield from _devices(place, ("supply",))
        case (("input" | "output"), ("mm2" | "AWG")) if "wire" in place.before[-6:]:
            yield from _listed(words.CONDUCTORS)
            yield from _options(place)
        case "output", _ if "load" in place.before[-6:-3] and last == "A":
            yield from _listed(words.LOADS)
        case "clock", ("from" | "to" | "at"):
            yield from _listed(words.MOMENTS)
        case "clock", _ if last in ("on", ",") or _in_range(place.before):
            yield from _listed(words.WEEKDAYS)
        case "clock", "except":
            yield Candidate("holidays", "days off")
        case "clock", "catch":
            yield Candidate("up", "act late after a power cut")
        case "clock", _ if "from" in place.before[2:] and "to" not in place.before[2:]:
            yield Candidate("to", "the end of the window")


def _in_range(before: list[str]) -> bool:
    """Whether the second weekday of a range is wanted, as in `Mon-`."""
    return before[-1] == "-" and before[-2] in words.WEEKDAYS


def _options(place: _Place) -> Iterator[Candidate]:
    """The parts that the declaration does not have yet; none while one is half written."""
    table = words.OPTIONS.get(place.head, ())
    own = place.before[1 if place.head in _NAMELESS else 2 :]
    if place.last in _ASKING or (place.head == "timer" and place.last == "on"):
        return
    given = {slot for word, slot, _ in table if word in own}
    if place.head == "timer" and "flasher" in own and "off" not in own:
        yield Candidate("off", "open for") if "on" in own else Candidate("on", "closed for")
        return
    for word, slot, says in table:
        if slot not in given:
            yield Candidate(word, says)


# --- circuits


def _logic(place: _Place) -> Iterator[Candidate]:
    before = place.before
    if place.head == "rung" and "->" in before:
        yield from _action(place)
        return
    fresh = len(before) == 1 or (len(before) == 2 and before[1].startswith('"'))
    if place.head == "require" and fresh:
        yield Candidate("when", "the circuit that asks for it")
    elif place.head == "assume" and fresh:
        yield Candidate("never", "the circuit that never closes")
    else:
        yield from _circuit(place, before, place.head != "rung", fresh)


def _circuit(
    place: _Place, before: list[str], outside: bool, fresh: bool = False
) -> Iterator[Candidate]:
    """What may go on a circuit; `outside` of rungs there are wires and loads as well."""
    last, last_but_one = before[-1], before[-2] if len(before) > 1 else ""
    if last == ".":
        device = place.names.get(last_but_one)
        if device is not None and device.kind == "timer":
            yield Candidate("timing", "the time runs")
        elif device is not None and device.kind == "output" and outside:
            yield Candidate("load", "the load is on")
    elif last in words.WIRE_WORDS and last not in place.names and outside:
        yield from _devices(place, ("input",))
    elif last in ("rising", "falling") and last not in place.names:
        yield from _devices(place, words.READABLE)
    elif last in words.COMPARISONS or last in ("within", "for"):
        return
    elif fresh or last in _CIRCUIT_STARTS:
        yield from _devices(place, words.READABLE)
        yield from _listed(words.CONTACT_WORDS)
        if outside:
            yield from _listed(words.WIRE_WORDS)
    else:
        yield from _after_contact(place, before, outside)


def _after_contact(place: _Place, before: list[str], outside: bool) -> Iterator[Candidate]:
    last = before[-1]
    device = place.names.get(last)
    yield from _listed(words.JOINTS)
    if place.head == "rung":
        yield Candidate("->", "drives")
    elif place.head == "require":
        if "then" in before:
            yield Candidate("within", "at the latest after")
        else:
            yield Candidate("then", "what must be closed")
    if device is not None and device.kind == "counter":
        yield from _listed(words.COMPARISONS)


def _action(place: _Place) -> Iterator[Candidate]:
    last = place.last
    if last in ("->", ","):
        yield from _devices(place, words.DRIVEN)
        yield from (Candidate(verb, says) for verb, (says, _) in words.VERBS.items())
    elif last in words.VERBS and place.before[-2] in ("->", ","):
        for candidate in _devices(place, words.VERBS[last][1]):
            if last != "reset" or _can_reset(place.names[candidate.text]):
                yield candidate


def _can_reset(device: Declaration) -> bool:
    """Counters can be reset, and of the timers those that add up."""
    return device.kind == "counter" or any(o.keyword == "accumulating" for o in device.options)


# --- steps


def _step(place: _Place) -> Iterator[Candidate]:
    if len(place.before) < 2:
        return  # the label of the scenario
    step = _current_step(place.before[2:])
    verb = step[0] if step else ""
    if place.first_on_line or not step:
        yield from _listed(words.STEPS)
        if not step or verb != "expect":
            return
    match verb, step[1:]:
        case (("operate" | "release" | "tap" | "break" | "short" | "mend"), []):
            yield from _devices(place, ("input",))
        case "tap", [_]:
            yield Candidate("for", "how long")
        case "power", []:
            yield from (Candidate(w, f"supply {w}") for w in ("off", "on"))
        case "power", ["off"]:
            yield Candidate("for", "how long")
        case "set", []:
            yield Candidate("clock", "the wall clock")
        case "begin", []:
            yield from _listed(words.WEEKDAYS)
        case "expect", rest:
            yield from _expect(place, step, rest)


def _expect(place: _Place, step: list[str], rest: list[str]) -> Iterator[Candidate]:
    if not rest:
        yield Candidate("steady", "all the time")
    steady = rest[:1] == ["steady"]
    yield from _circuit(place, step, outside=True)
    if rest and step[-1] not in _CIRCUIT_STARTS and not {"within", "for"} & set(rest):
        yield Candidate("for", "how long") if steady else Candidate("within", "at the latest after")


def _current_step(before: list[str]) -> list[str]:
    """The words of the last step; a device may be named like a step, but not behind a verb."""
    for index in range(len(before) - 1, -1, -1):
        named = index > 0 and before[index - 1] in (*words.STEPS, "and", "or", "not", "(", "steady")
        if before[index] in words.STEPS and not (named and before[index - 1] != "power"):
            return before[index:]
    return []
