"""Plain advice for text that does not parse.

Most advice is learned from malformed examples: Lark tells which example stopped in the same state
at the same kind of word as the user's text, and the example carries the advice. Writing a new piece
of advice means writing down one more mistake.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import Any

from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from rungs.findings import Finding
from rungs.language.words import FORMS, STATEMENTS, STEP_FORMS, STEPS
from rungs.source import Span

Parse = Callable[[str], Any]


@dataclass(frozen=True, slots=True)
class Hint:
    """Advice for one kind of mistake, with texts that make the mistake."""

    code: str
    message: str
    fix: str
    examples: tuple[str, ...]


HINTS = (
    Hint(
        "bad-duration",
        "a length of time cannot be negative",
        "leave the '-' out",
        (
            "timer t on-delay -5s",
            "timer t off-delay -5s",
            "timer t pulse -5s",
            "input a at I1 debounce -5ms",
            'scenario "x" wait -5s',
            'scenario "x" tap a for -5s',
            'scenario "x" expect a within -5s',
            "require when a then b within -5s",
        ),
    ),
    Hint(
        "syntax",
        "a clock says when it acts",
        "write: from 19:00 to 22:30, or: at 23:00",
        ("clock c 10:00", "clock c 10:00 to 11:00"),
    ),
    Hint(
        "missing-unit",
        "a length of time needs its unit",
        "write it as 250ms, 30s, 5min, 2h or 7d",
        (
            "timer t on-delay 5",
            "timer t off-delay 5",
            "timer t flasher 1",
            "timer t flasher 1s on 1",
            "input a at I1 debounce 30",
            'scenario "x" wait 5',
            'scenario "x" tap a for 5',
            'scenario "x" power off for 5',
            'scenario "x" expect a within 5',
            'scenario "x" expect steady a for 5',
            "require when a then b within 5",
            "clock c at 10:00 catch up 5",
        ),
    ),
    Hint(
        "missing-unit",
        "a number needs its unit",
        "write volts as 24 V, amps as 1.2 A, lengths as 14 m, sizes as 1.5 mm2, shares as 3 %",
        (
            "supply main 24 4",
            "supply main 24 V 4",
            "output a at R1 load 24 1.2 A led",
            "output a at R1 load 24 V 1.2",
            "output a at R1 wire 14 1.5 mm2",
            "output a at R1 wire 14 m 1.5",
            "input a at I1 wire 14 1.5 mm2",
            "input a at I1 wire 14 m 1.5",
            "design drop 3",
            "design reserve 20",
            "design conductors 40",
        ),
    ),
    Hint(
        "symbol-for-word",
        "the circuit and what it drives are joined by '->'",
        "write: rung a and b -> lamp",
        (
            "rung a lamp",
            "rung a = lamp",
            "rung a => lamp",
            "rung a - lamp",
            "rung a : lamp",
            'rung "x" a, lamp',
            "rung (a) lamp",
            "rung a and b lamp",
            "rung a or b lamp",
        ),
    ),
    Hint(
        "syntax",
        "two nots cancel each other",
        "leave both out",
        ("rung not not a -> b", "rung a and not not b -> c"),
    ),
    Hint(
        "syntax",
        "'and' and 'or' stand between two contacts",
        "write a contact on either side",
        (
            "rung a and and b -> c",
            "rung a or or b -> c",
            "rung a and -> c",
            "rung a or -> c",
            "rung and a -> c",
            "rung (a and) -> c",
            "rung (a or) -> c",
        ),
    ),
    Hint(
        "syntax",
        "a parenthesis has nothing in it",
        "put a circuit into it or take it out",
        ("rung () -> a", "rung a and () -> b", "rung not () -> a"),
    ),
    Hint(
        "syntax",
        "a parenthesis is not closed",
        "write ')' where the inner circuit ends",
        ("rung (a -> b", "rung (a and b -> c", "rung (a or b -> c", "rung not (a -> b"),
    ),
    Hint(
        "syntax",
        "a parenthesis is closed that was never opened",
        "take the ')' out, or open it",
        ("rung a) -> b", "rung a and b) -> c", "rung a or b) -> c", "rung (a)) -> b"),
    ),
    Hint(
        "syntax",
        "a rung begins with its circuit and ends with what it drives",
        "write: rung a and b -> lamp",
        ("rung -> lamp", 'rung "x" -> lamp'),
    ),
    Hint(
        "syntax",
        "what a rung drives is a list of names with commas",
        "write: -> lamp, latch alarm",
        (
            "rung a -> b c",
            "rung a -> b and c",
            "rung a -> not b",
            "rung a -> b,",
            "rung a -> (b)",
        ),
    ),
    Hint(
        "name-form",
        "a name begins with a letter and holds letters, digits and _",
        "write words with _ between them, such as door_switch, and put the wording into the label",
        (
            "input 2nd at I1",
            "output 2nd at R1",
            "relay 2nd",
            "timer 2nd on-delay 1s",
            "counter 2nd to 3",
            "clock 2nd at 10:00",
            "supply 2nd 24 V 1 A",
            "holiday 2nd on 12-24",
            'input "x" at I1',
            'relay "x"',
            'output "x" at R1',
            'timer "x" on-delay 5s',
            'counter "x" to 3',
            'clock "x" at 10:00',
        ),
    ),
    Hint(
        "name-form",
        "a name is one word",
        "join the words of a name with _, such as door_switch",
        (
            "input door switch at I1",
            "output door lamp at R1",
            "relay door lamp",
            "timer door rest on-delay 1s",
            "counter door count to 3",
            "clock door time at 10:00",
            "input a-b at I1",
            "output a-b at R1",
            "relay a-b",
            "timer a-b on-delay 5s",
        ),
    ),
    Hint(
        "missing-option",
        "a terminal stands behind the word 'at'",
        "write: at I1",
        ("input a I1", "output a R1", "input a at", "output a at", "input a 1", "output a 1"),
    ),
    Hint(
        "syntax",
        "NO and NC are written in capital letters",
        "write NO for normally open, NC for normally closed",
        (
            "input a at I1 no",
            "input a at I1 nc",
            "input a at I1 momentary no",
            "input a at I1 momentary nc",
            "output a at R1 no",
            "output a at R1 nc",
        ),
    ),
    Hint(
        "bad-time",
        "a time of day has hours and minutes",
        "write it as 19:00 or 07:30:15, or as sunrise or sunset",
        (
            "clock c at 19",
            "clock c from 19 to 20",
            "clock c from 19:00 to 20",
            'scenario "x" begin 19',
            'scenario "x" until 19',
            'scenario "x" set clock 19',
        ),
    ),
    Hint(
        "bad-day",
        "weekdays follow the word 'on', with commas or a hyphen between them",
        "write: on Mon-Fri, or: on Sat, Sun",
        (
            "clock c at 10:00 Mon",
            "clock c at 10:00 on Mon Tue",
            "clock c from 10:00 to 11:00 Mon",
            "clock c at 10:00 on",
        ),
    ),
    Hint(
        "bad-date",
        "dates are written YYYY-MM-DD, or MM-DD for a day of every year",
        "write 2026-12-24, or 12-24",
        (
            "holiday h on 24",
            "holiday h on Mon",
            "holiday h on 12-24 to 26",
            "clock c at 10:00 between 5 and 9",
            "clock c at 10:00 between May and June",
        ),
    ),
    Hint(
        "syntax",
        "a property is one circuit",
        "join its contacts with and, or, not",
        (
            "never a, b",
            "always a, b",
            "assume never a, b",
            "never a -> b",
            "always a -> b",
            "never a b",
            "always a b",
            "never a then b",
        ),
    ),
    Hint(
        "syntax",
        "a requirement has the form 'when ... then ...'",
        "write: require when a then b",
        (
            "require a then b",
            "require a",
            "require when a, b",
            "require when a -> b",
            "require when a and b -> c",
            "require when a",
            'require "x" a',
        ),
    ),
    Hint(
        "syntax",
        "an assumption says what never happens",
        "write: assume never top and bottom",
        ("assume a", "assume always a", 'assume "x" a', 'assume "x" always a'),
    ),
    Hint(
        "syntax",
        "a scenario begins with its name in quotes",
        'write: scenario "A late call"',
        ("scenario late begin 10:00", "scenario begin 10:00", "scenario"),
    ),
    Hint(
        "syntax",
        "a timer says what kind it is and how long it takes",
        "write: timer rest on-delay 5s, or off-delay, pulse, accumulating, or flasher 1s on 1s off",
        ("timer t 5s", "timer t on 5s", "timer t delay 5s", "timer t off 5s"),
    ),
    Hint(
        "syntax",
        "a flasher has a time on and a time off",
        "write: flasher 500ms on 500ms off",
        (
            "timer t flasher 1s",
            "timer t flasher 1s 1s",
            "timer t flasher 1s on",
            "timer t flasher 1s off",
        ),
    ),
    Hint(
        "syntax",
        "a counter says how far it counts",
        "write: counter crates to 12",
        ("counter c 12", "counter c to", "counter c upto 12"),
    ),
    Hint(
        "syntax",
        "a load says volts, amps and its kind",
        "write: load 24 V 1.2 A led (or lamp, coil, motor, valve, resistive, electronic)",
        (
            "output a at R1 load led",
            "output a at R1 load 24 V 1.2 A",
            "output a at R1 load 24 V led",
            'output a at R1 load 24 V 1.2 A "x"',
        ),
    ),
    Hint(
        "syntax",
        "a wire says its length and its size",
        "write: wire 14 m 1.5 mm2",
        (
            "output a at R1 wire 14 m",
            "input a at I1 wire 14 m",
            "output a at R1 wire long",
            "input a at I1 wire long",
        ),
    ),
    Hint(
        "syntax",
        "an edge is taken of one contact",
        "write: rising a. For a whole circuit, let it drive a relay and take the relay's edge",
        ("rung rising (a or b) -> c", "rung rising not a -> c", "rung a and rising (b) -> c"),
    ),
    Hint(
        "syntax",
        "a step moves one switch",
        "write one step for each",
        (
            'scenario "x" operate a and b',
            'scenario "x" operate a, b',
            'scenario "x" release a, b',
            'scenario "x" tap a, b',
            'scenario "x" operate not a',
            'scenario "x" operate',
        ),
    ),
    Hint(
        "syntax",
        "'expect steady' says for how long",
        "write: expect steady lamp for 5s",
        (
            'scenario "x" expect steady a',
            'scenario "x" expect steady a wait 5s',
            'scenario "x" expect steady a within 5s',
        ),
    ),
    Hint(
        "syntax",
        "power is switched 'on' or 'off'",
        "write: power off for 5s, or power off and later power on",
        ('scenario "x" power', 'scenario "x" power cut', 'scenario "x" power 5s'),
    ),
)

# what to call the terminals of the grammar where no example fits
_PLAIN = {
    "NAME": "a name",
    "KIND": "a kind of load",
    "UNIT": "a unit",
    "PERCENT": "'%'",
    "DAY": "a weekday",
    "TERMINAL": "a terminal",
    "STRING": "a label in quotes",
    "SIGNED": "a number",
    "NUMBER": "a number",
    "DURATION": "a length of time such as 5s",
    "OFFSET": "an offset such as -20min",
    "TIME": "a time such as 19:00",
    "DATE": "a date such as 2026-11-25",
    "MONTH_DAY": "a date such as 12-24",
    "COMPARE": "a comparison such as >= 3",
    "FIELD": "timing or load",
    "_ARROW": "'->'",
    "LPAR": "'('",
    "RPAR": "')'",
    "COMMA": "','",
    "MINUS": "'-'",
    "DOT": "'.'",
    "EDGE": "rising or falling",
    "VERB": "latch, unlatch, impulse, down or reset",
    "ON_DELAY": "'on-delay'",
    "OFF_DELAY": "'off-delay'",
}
_GROUPS = (
    ({"NAME", "NOT", "LPAR", "EDGE", "FIRST_SCAN"}, "a contact"),
    ({"NAME", "VERB"}, "a device to drive"),
)
_STATEMENT_TERMINALS = {word.upper() for word in STATEMENTS}
_STEP_TERMINALS = {word.upper() for word in STEPS}
_WORD = re.compile(r"[^\W\d]\w*|\d[\w.:]*|\S")


def advise(error: UnexpectedInput, text: str, start: int, span: Span, parse: Parse) -> Finding:
    """A finding for a parse error at `span` of `text`, in the piece that begins at `start`."""
    at_end = is_at_end(error)
    match = _WORD.match(text, span.start)
    word = "" if at_end or match is None else match.group()
    if not at_end:
        known = (
            _by_sign(text, span, word)
            or _parentheses(text, start, span, word)
            or _capitals(text, start, span, word)
        )
        if known is not None:
            return known
    leads = takes_statement(error) and word[:1].isalpha() and _leads_line(text, span.start)
    if leads:
        return _unknown_statement(error, word, span)
    hint = _learned(error, text, start, span, parse)
    if hint is not None:
        if hint.message == _TWO_WORDS and _wants_terminal(text, start, span):
            hint = next(h for h in HINTS if h.code == "missing-option")
        code = "incomplete" if at_end and hint.code == "syntax" else hint.code
        return _finding(code, hint.message, span, hint.fix)
    reserved = _reserved(error, span, word)
    if reserved is not None:
        return reserved
    expected = _expected(error)
    if at_end:
        wants = f"; {_one_of(expected)} is missing" if expected else ""
        form = FORMS.get(_keyword(text, start), "")
        step = _keyword(text, text.rfind("\n", 0, span.start) + 1)
        form = STEP_FORMS.get(step, form) if form == FORMS["scenario"] else form
        fix = f"the form is: {form}" if form else ""
        return _finding(
            "incomplete", f"the statement stops before it is complete{wants}", span, fix
        )
    fix = f"here may stand {_one_of(expected)}" if expected else ""
    return _finding("syntax", f"'{word}' does not fit here", span, fix)


def _by_sign(text: str, span: Span, word: str) -> Finding | None:
    """Advice that the first character alone decides."""
    sign = word[:1]
    if text.startswith('"', span.start):
        line_end = text.find("\n", span.start)
        if text.find('"', span.start + 1, line_end if line_end >= 0 else len(text)) < 0:
            return _finding("bad-label", "the label is not closed", span, 'write a " at its end')
    if sign == "=" and re.match(r"=\s*>?\s*[0-9]", text[span.start : span.start + 8]):
        return _finding(
            "symbol-for-word",
            "a count is compared with one of >= > <= < == !=",
            span,
            "write: crates >= 3, or crates == 3",
        )
    if sign.isalpha() and not word.isascii():
        first = span.start
        while first > 0 and (text[first - 1].isalnum() or text[first - 1] == "_"):
            first -= 1
        word = text[first : span.start] + word
        span = Span(first, first + len(word))
        letter = next(c for c in word if not c.isascii())
        return _finding(
            "name-form",
            f"'{word}' holds the letter '{letter}', which is not one of a to z",
            span,
            "write names with a to z, digits and _, and the wording for people in the label",
        )
    if sign in _QUOTES:
        return _finding(
            "bad-label", f"labels stand in straight double quotes, not in {sign}", span, 'write "'
        )
    for signs, message, fix in _SIGNS:
        if sign and sign in signs:
            return _finding("symbol-for-word", message, span, fix)
    return None


_QUOTES = frozenset("'‘’“”„«»`")  # noqa: RUF001  these are what word processors insert
_SIGNS = (
    (
        "&|*",
        "contacts are joined by the words 'and' and 'or'",
        "write 'a and b' for contacts in series, 'a or b' for contacts in parallel",
    ),
    ("!~/\\¬", "a normally closed contact is written with the word 'not'", "write: not a"),
    (
        "→⇒",
        "the circuit and what it drives are joined by '->'",
        "write a hyphen and a greater-than sign",
    ),
    (";", "statements and steps need no ';' between them", "take it out"),
)


_TWO_WORDS = "a name is one word"


def _wants_terminal(text: str, start: int, span: Span) -> bool:
    """Whether `input door X7` lacks its `at`; `input door switch at X7` has a name of two words."""
    line_end = text.find("\n", span.start)
    rest = text[span.end : line_end if line_end >= 0 else len(text)]
    return _keyword(text, start) in ("input", "output") and not re.search(r"\bat\b", rest)


def _parentheses(text: str, start: int, span: Span, word: str) -> Finding | None:
    """Advice where the parentheses before the place do not balance."""
    before = re.sub(r'"[^"\n]*"|#[^\n]*', "", text[start : span.start])
    depth = before.count("(") - before.count(")")
    if word[:1] == ")" and depth <= 0:
        return _finding(
            "syntax",
            "a parenthesis is closed that was never opened",
            span,
            "take the ')' out, or open it",
        )
    if word[:1] == "-" and depth > 0:
        return _finding(
            "syntax", "a parenthesis is not closed", span, "write ')' where the inner circuit ends"
        )
    return None


def _capitals(text: str, start: int, span: Span, word: str) -> Finding | None:
    """Advice for keywords in capital letters, which read as names."""
    before = text[start : span.start].split()[-1:]
    for written in (word, *before):
        small = written.lower()
        if written != small and small in ("and", "or", "not", "rising", "falling", "then", "when"):
            return _finding(
                "syntax",
                f"'{written}' is written in small letters",
                span,
                f"write: {small}",
            )
    return None


def _reserved(error: UnexpectedInput, span: Span, word: str) -> Finding | None:
    """Advice where a word of circuits stands as the name of a device."""
    allowed = _allowed(error)
    if word not in ("and", "or", "not", "first_scan") or "NAME" not in allowed or "NOT" in allowed:
        return None
    return _finding(
        "name-form",
        f"'{word}' is a word of circuits and no name",
        span,
        "choose a name that says what the device is",
    )


def is_at_end(error: UnexpectedInput) -> bool:
    """True if the text ended while something was still missing."""
    return isinstance(error, UnexpectedToken) and error.token.type == "$END"


def _finding(code: str, message: str, span: Span, fix: str) -> Finding:
    return Finding(code, message, span, "the statement was not read, so nothing can run", fix)


def _keyword(text: str, start: int) -> str:
    match = _WORD.match(text, len(text) - len(text[start:].lstrip()))
    return match.group() if match else ""


def _learned(
    error: UnexpectedInput, text: str, start: int, span: Span, parse: Parse
) -> Hint | None:
    """The hint whose example stopped in the same state, among those for the same statement."""
    keyword = _keyword(text, start)
    if keyword == "scenario":
        # A later step leaves more on the parser's stack than the single step of an example.
        line = text.rfind("\n", 0, span.start) + 1
        if line > start:
            error = _failure(parse, 'scenario "x" ' + text[line : span.end]) or error
    # Lark falls back on the state alone; advice for another kind of word would mislead
    stop = _stop_of(error)
    wanted: dict[int, list[str]] = {}
    for index, hint in enumerate(HINTS):
        for example in hint.examples:
            if example.split()[0] == keyword and _stop(parse, example) == stop:
                wanted.setdefault(index, []).append(example)
    if not wanted:
        return None
    # comparing what the two states accept makes Lark 1.3 fail in its own log message
    found: int | None = error.match_examples(
        parse, wanted, token_type_match_fallback=True, use_accepts=False
    )
    return None if found is None else HINTS[found]


def _failure(parse: Parse, text: str) -> UnexpectedInput | None:
    try:
        parse(text)
    except UnexpectedInput as error:
        return error
    return None


@cache
def _stop(parse: Parse, example: str) -> str:
    return _stop_of(_failure(parse, example))


def _stop_of(error: UnexpectedInput | None) -> str:
    """The kind of word at which the parser stopped. What is no word where it stands could be a
    name, a unit or a weekday, so these count as one kind."""
    if not isinstance(error, UnexpectedToken):
        return "sign"
    kind: str = error.token.type
    return _KINDS.get(kind, kind)


_KINDS = {
    **dict.fromkeys(("NAME", "KIND", "UNIT", "DAY", "FIELD", "TERMINAL"), "word"),
    **dict.fromkeys(("NUMBER", "SIGNED"), "number"),
}


def _allowed(error: UnexpectedInput) -> set[str]:
    if isinstance(error, UnexpectedToken):
        return set(error.accepts or error.expected)
    if isinstance(error, UnexpectedCharacters):
        return set(error.allowed or ())
    return set()


def takes_statement(error: UnexpectedInput) -> bool:
    """True if a new statement could have begun where the parser stopped."""
    return _STATEMENT_TERMINALS.issubset(_allowed(error))


def _expected(error: UnexpectedInput) -> list[str]:
    allowed = _allowed(error) - {"COMMENT", "WHITESPACE", "$END"}
    if _STATEMENT_TERMINALS.issubset(allowed):
        allowed -= _STATEMENT_TERMINALS
        words = ["the next statement"]
    else:
        words = []
    if _STEP_TERMINALS.issubset(allowed):
        allowed -= _STEP_TERMINALS
        words = ["the next step", *words]
    for terminals, name in _GROUPS:
        if terminals.issubset(allowed):
            allowed -= terminals
            words.insert(0, name)
    plain = {_PLAIN.get(name, f"'{name.lower()}'") for name in allowed}
    named = [w.upper() if w in ("'no'", "'nc'") else w for w in plain]
    return sorted(named) + words


def _one_of(words: list[str]) -> str:
    if len(words) > 6:
        return ", ".join(words[:5]) + ", and so on"
    shown = words
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " or " + shown[-1]


def _leads_line(text: str, offset: int) -> bool:
    return not text[text.rfind("\n", 0, offset) + 1 : offset].strip()


def _unknown_statement(error: UnexpectedInput, word: str, span: Span) -> Finding:
    choices = [*STATEMENTS, *(STEPS if _STEP_TERMINALS.issubset(_allowed(error)) else ())]
    close = get_close_matches(word.lower(), choices, n=1, cutoff=0.6)
    if close:
        form = FORMS.get(close[0])
        fix = f"did you mean '{close[0]}'?" + (f" Its form is: {form}" if form else "")
    else:
        what = "steps" if len(choices) > len(STATEMENTS) else "statements"
        fix = f"{what} begin with " + ", ".join(choices[len(STATEMENTS) :] or choices)
    return _finding("unknown-statement", f"'{word}' does not begin a statement", span, fix)
