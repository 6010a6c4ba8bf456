"""Board files: what a board accepts, in its owner's words and numbers, read from TOML.

Every number of a board is written out and none has a default, because a limit that was only assumed
would let a table through that the board then cuts. Nothing but `board-file` findings comes out of a
file that cannot be used, whatever bytes it holds.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Final, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    ValidationError,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import PydanticCustomError

from rungs.files import FileError, decode, read_bytes
from rungs.findings import MAX_FINDINGS, Finding
from rungs.language.tree import Word
from rungs.language.words import duration_text
from rungs.program.values import DAY_MS, read_duration
from rungs.source import NOWHERE, Source, Span

# far above any board; within them the TOML reader stays quick whatever the text
MAX_CHARACTERS: Final = 65_536
MAX_LINE: Final = 500

TableKind = Literal["truth", "transition", "switching"]
PowerUp = Literal["off", "on", "last", "unknown"]

_DURATION = re.compile(r"(?:[0-9]+(?:\.[0-9]+)?[A-Za-z]+)+")


# --- kinds of value ---------------------------------------------------------------------------


def _duration(value: object) -> int:
    if not isinstance(value, str):
        raise PydanticCustomError("duration", "is not a length of time in quotes, such as '250ms'")
    if not _DURATION.fullmatch(value):
        raise PydanticCustomError(
            "duration",
            "is '{shown}', which is not a length of time such as '250ms', '30s' or '1h30min'",
            {"shown": _shown(value)},
        )
    got = read_duration(Word(value))
    if isinstance(got, Finding):
        raise PydanticCustomError("duration", "cannot be used: {why}", {"why": got.message})
    return got


def _whole(value: object) -> object:
    if isinstance(value, bool):  # Python holds true for a kind of 1
        raise PydanticCustomError("whole", "is not a whole number")
    return value


def _line(value: str) -> str:
    if not value.strip() or not value.isprintable():
        raise PydanticCustomError("line", "is not one line of plain text")
    return value


def _text(value: str) -> str:
    if not all(char.isprintable() or char == "\n" for char in value):
        raise PydanticCustomError("text", "holds characters that cannot be printed")
    return value


def _unlike(values: tuple[str, ...]) -> tuple[str, ...]:
    folded = [value.casefold() for value in values]
    for value in values:
        if folded.count(value.casefold()) > 1:
            raise PydanticCustomError("twice", "names '{shown}' twice", {"shown": value})
    return values


Version = Annotated[Literal[1], BeforeValidator(_whole)]
Ms = Annotated[
    int,
    BeforeValidator(_duration),
    PlainSerializer(duration_text, return_type=str),
    WithJsonSchema(
        {"type": "string", "pattern": "^([0-9]+(ms|s|min|h|d))+$", "examples": ["250ms", "1h30min"]}
    ),
]
Line = Annotated[str, Field(max_length=80), AfterValidator(_line)]
Terminal = Annotated[
    str, Field(pattern=r"^[-+=]?[A-Za-z0-9]+(?:[.:/_-][A-Za-z0-9]+)*$", max_length=60)
]
Terminals = Annotated[tuple[Terminal, ...], Field(max_length=1_000), AfterValidator(_unlike)]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(?:-[a-z0-9]+)*$", max_length=60)]
Text = Annotated[str, Field(max_length=4_000), AfterValidator(_text)]
Kinds = Annotated[tuple[TableKind, ...], AfterValidator(_unlike)]
Contacts = Annotated[tuple[Literal["NO", "NC"], ...], Field(min_length=1), AfterValidator(_unlike)]
TimerKinds = Annotated[
    tuple[Literal["on-delay", "accumulating"], ...], Field(min_length=1), AfterValidator(_unlike)
]
Amount = Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=1, le=1_000_000)]

# --- the parts of a board ---------------------------------------------------------------------


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


_DEBOUNCE_KINDS: Final = "none, fixed (with time), or settable (with longest and resolution)"


class NoDebounce(_Part):
    """The board passes every bounce on."""

    kind: Literal["none"] = Field(description=_DEBOUNCE_KINDS)


class FixedDebounce(_Part):
    """The board debounces every input for the same time, and cannot be told otherwise."""

    kind: Literal["fixed"] = Field(description=_DEBOUNCE_KINDS)
    time: Ms = Field(description="how long each input is debounced")


class SettableDebounce(_Part):
    """Each input has a debounce time of its own, or none."""

    kind: Literal["settable"] = Field(description=_DEBOUNCE_KINDS)
    longest: Ms = Field(description="the longest time that can be set")
    resolution: Ms = Field(description="times that can be set are whole multiples of this")


Debounce = Annotated[NoDebounce | FixedDebounce | SettableDebounce, Field(discriminator="kind")]


class BoardInputs(_Part):
    """The terminals for dry contacts."""

    terminals: Terminals = Field(description="the names of the input terminals, in order")
    active_low: bool = Field(description="true if a closed circuit reads as 0 on the board")
    debounce: Debounce = Field(description="what the board does about bouncing contacts")


class BoardRelays(_Part):
    """The relays, their contacts, and what they do when power comes back."""

    terminals: Terminals = Field(description="the names of the relay terminals, in order")
    contacts: Contacts = Field(description="the contact sides on terminals: NO, NC, or both")
    resistive_amps: Amount = Field(description="amps that a contact switches, resistive load")
    inductive_amps: Amount = Field(description="amps that a contact switches, inductive load")
    volts: Amount = Field(description="the highest volts on a contact")
    at_power_up: PowerUp = Field(
        description="relays when power comes, before any row: off, on, last (as before), unknown"
    )
    retained: bool = Field(description="true if states live through a power cut")


class BoardStates(_Part):
    """States of a transition table."""

    most: Count = Field(description="the most states a table may have")


class BoardRows(_Part):
    """Rows of a table."""

    most: Count = Field(description="the most rows a table may have")
    first_match: bool = Field(
        description="true if the first row that matches counts; false: no two rows may match"
    )


class BoardTimers(_Part):
    """Timers that rows of a transition table start and hold."""

    most: Count = Field(description="how many timers there are")
    kinds: TimerKinds = Field(description="on-delay, accumulating, or both")
    longest: Ms = Field(description="the longest time a timer can be set to")
    resolution: Ms = Field(description="times that can be set are whole multiples of this")
    retained: bool = Field(description="true if timed time lives through a power cut")


class BoardDelays(_Part):
    """Delays that a row of a switching table can carry."""

    longest: Ms = Field(description="the longest delay of a row")
    resolution: Ms = Field(description="delays that can be set are whole multiples of this")


class BoardClock(_Part):
    """The wall clock of the board and its slots."""

    slots: Count = Field(description="how many windows and events there may be together")
    windows: bool = Field(description="true if a slot can be a window from a time to a time")
    events: bool = Field(description="true if a slot can be a single moment")
    weekdays: bool = Field(description="true if a slot can be kept to weekdays")
    seasons: bool = Field(description="true if a slot can be kept to a part of the year")
    sun: bool = Field(description="true if the board works out sunrise and sunset itself")
    holidays: bool = Field(description="true if the board has a list of days off")
    catch_up: bool = Field(description="true if an event missed in a power cut can fire late")
    resolution: Ms = Field(description="times of day are whole multiples of this")


class Board(_Part):
    """A board file: what one board, or one kind of board, accepts."""

    schema_version: Version = Field(description="the version of this form, 1")
    name: Name = Field(description="a short name, in small letters, digits and hyphens")
    version: Line = Field(description="the version of the board and this file, in quotes")
    title: Line = Field(description="the board in one line")
    text: Text = Field(description="what else its user should know")
    kinds: Kinds = Field(
        description="the kinds of table it holds: truth, transition, switching, or none"
    )
    inputs: BoardInputs = Field(description="the input terminals")
    relays: BoardRelays = Field(description="the relays")
    states: BoardStates | None = Field(None, description="states; needed for transition tables")
    rows: BoardRows | None = Field(None, description="rows; needed for any table")
    timers: BoardTimers | None = Field(None, description="timers; leave out if there are none")
    delays: BoardDelays | None = Field(None, description="row delays; leave out if there are none")
    clock: BoardClock | None = Field(None, description="the clock; leave out if there is none")

    @model_validator(mode="after")
    def _holds_together(self) -> Board:
        for key, what in _contradictions(self):
            raise PydanticCustomError("together", "{what}", {"what": what, "key": key})
        return self

    @property
    def identity(self) -> str:
        """Name and version, as a table names the board it was made for."""
        return f"{self.name} {self.version}"


def _contradictions(board: Board) -> Iterator[tuple[str, str]]:
    """What single values cannot show: (key, what is wrong with it)."""
    inputs = {name.casefold() for name in board.inputs.terminals}
    for name in board.relays.terminals:
        if name.casefold() in inputs:
            yield "relays.terminals", f"names '{name}', which is an input's terminal as well"
    if board.kinds and board.rows is None:
        yield "kinds", f"holds '{board.kinds[0]}', and [rows] does not say how many rows"
    if "transition" in board.kinds and board.states is None:
        yield "kinds", "holds 'transition', and [states] does not say how many states"
    if "switching" in board.kinds and board.relays.retained != (board.relays.at_power_up == "last"):
        yield (
            "relays.retained",
            "does not go with at_power_up: the relays are the memory of a switching table, so "
            "they come back as they were exactly if at_power_up is 'last'",
        )
    if isinstance(board.inputs.debounce, SettableDebounce):
        yield from _steps("inputs.debounce", board.inputs.debounce)
    if board.timers is not None:
        yield from _steps("timers", board.timers)
    if board.delays is not None:
        yield from _steps("delays", board.delays)
    if board.clock is not None:
        if not (board.clock.windows or board.clock.events):
            yield "clock.windows", "and 'events' are both false, so no slot could hold anything"
        if DAY_MS % board.clock.resolution:
            yield "clock.resolution", "does not divide a day into whole parts"


def _steps(
    section: str, part: SettableDebounce | BoardTimers | BoardDelays
) -> Iterator[tuple[str, str]]:
    if part.longest % part.resolution:
        yield (
            f"{section}.longest",
            f"is {duration_text(part.longest)}, not a whole multiple of the resolution "
            f"{duration_text(part.resolution)}",
        )


def board_schema() -> dict[str, Any]:
    """The JSON Schema of a board file, as its TOML reads."""
    return Board.model_json_schema()


# --- finding and reading ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LoadedBoard:
    """A board and the text it came from; `board` is None exactly if there are findings."""

    source: Source
    board: Board | None
    findings: tuple[Finding, ...]


def shipped_boards() -> dict[str, Path]:
    """The files of the boards that come with the package, by name, in order of name."""
    folder = Path(__file__).resolve().parent / "boards"
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def load_board(name_or_path: str | Path) -> LoadedBoard:
    """A shipped board by its name, or a user's own by the path of a file that ends in `.toml`.

    Never raises: a name that is not known, or a file that cannot be read, is a finding.
    """
    name = str(name_or_path)
    shipped = shipped_boards()
    path = shipped.get(name)
    if path is None:
        if not name.endswith(".toml"):
            close = get_close_matches(name, shipped, n=1)
            guess = f"did you mean '{close[0]}'? Else name" if close else "name"
            known = ", ".join(shipped)
            fix = f"{guess} one of {known}, or a file of your own that ends in .toml"
            message = f"there is no board '{_shown(name)}'"
            return LoadedBoard(Source(name, ""), None, (_finding(message, NOWHERE, fix),))
        path = Path(name)
    try:
        source, unreadable = decode(read_bytes(path), str(path))
    except (FileError, ValueError) as error:  # a path that holds a NUL raises ValueError
        fix = "name a board that comes with rungs, or a file that can be read"
        return LoadedBoard(
            Source(name, ""), None, (_finding(_shown(str(error), len(str(error))), NOWHERE, fix),)
        )
    if unreadable:
        found = tuple(replace(finding, code="board-file") for finding in unreadable)
        return LoadedBoard(source, None, found)
    board, findings = read_board(source)
    return LoadedBoard(source, board, findings)


def read_board(source: Source) -> tuple[Board | None, tuple[Finding, ...]]:
    """The board of a TOML text, or None and the findings that say why. Never raises."""
    too_large = _too_large(source)
    if too_large is not None:
        return None, (too_large,)
    try:
        data = _tuples(tomllib.loads(source.text))
    except tomllib.TOMLDecodeError as error:
        return None, (_syntax(source, str(error)),)
    except (ValueError, RecursionError):
        # the reader's own limits: numbers of thousands of digits, brackets hundreds deep
        message = "a number or a nest of brackets is longer than any board needs"
        return None, (_finding(message, _line_span(source, 1), "take it out"),)
    try:
        return Board.model_validate(data), ()
    except ValidationError as error:
        places = _Places(source)
        problems = error.errors(include_url=False)[:MAX_FINDINGS]
        found = [_problem(dict(problem), places) for problem in problems]
        return None, tuple(dict.fromkeys(found))


def _tuples(value: Any) -> Any:
    """Lists as tuples, which is what the frozen models hold. Raises RecursionError."""
    if isinstance(value, list):
        return tuple(_tuples(part) for part in value)
    if isinstance(value, dict):
        return {key: _tuples(part) for key, part in value.items()}
    return value


# --- findings about a text --------------------------------------------------------------------


def _finding(message: str, span: Span, fix: str) -> Finding:
    return Finding("board-file", message, span, "no table can be made for this board", fix)


def _shown(text: str, most: int = 60) -> str:
    """A user's text inside a sentence: on one line, printable, not long."""
    line = "".join(char if char.isprintable() else "?" for char in text)
    return line if len(line) <= most else line[: most - 3] + "..."


def _too_large(source: Source) -> Finding | None:
    if len(source.text) > MAX_CHARACTERS:
        message = f"the board file has more than {MAX_CHARACTERS:,} characters"
        return _finding(message, _line_span(source, 1), "take out what is no limit of the board")
    for number in range(1, source.line_count + 1):
        if len(source.line(number)) > MAX_LINE:
            message = f"line {number} has more than {MAX_LINE} characters"
            return _finding(message, _line_span(source, number), "break a list over several lines")
    return None


def _line_span(source: Source, number: int) -> Span:
    """What is written on a line, or on the last line before it on which something is."""
    while number > 1 and not source.line(number).strip():
        number -= 1
    line = source.line(number)
    start = source.offset(number, 1)
    return Span(start + len(line) - len(line.lstrip()), start + len(line.rstrip()))


def _syntax(source: Source, error: str) -> Finding:
    """The TOML reader's own words, with its place where it names one."""
    what, _, place = error.rpartition(" (at ")
    what = _shown(what or error)
    at = re.fullmatch(r"line ([0-9]+), column ([0-9]+)\)", place)
    if at is None:
        span = _line_span(source, source.line_count)
    else:
        line, column = int(at[1]), int(at[2])
        start = source.offset(line, column)
        inside = column <= len(source.line(line).rstrip())
        span = Span(start, start + 1) if inside else _line_span(source, line)
    if "overwrite" in what or "twice" in what:
        number = source.position(span.start).line
        span = _line_span(source, number)
        return _finding("the same key or section stands twice", span, "keep one of them")
    return _finding(
        f"the file is not TOML: {what[:1].lower()}{what[1:]}",
        span,
        "write key = value lines under [section] lines, text in quotes; a shipped board shows how",
    )


_SECTION = re.compile(r"[ \t]*\[+([^\]\n]*)\]")
_KEY = re.compile(r"[ \t]*([A-Za-z0-9_.\"' \t-]+?)[ \t]*=")
_LONG_TEXT = re.compile(r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'', re.DOTALL)


class _Places:
    """Where the keys and sections of a TOML text stand, as far as plain lines show it."""

    def __init__(self, source: Source) -> None:
        self.found: dict[tuple[str, ...], Span] = {}
        self.first = _line_span(source, next(_written(source), 1))
        blank = _LONG_TEXT.sub(lambda m: re.sub(r"[^\n]", " ", m[0]), source.text)
        self.text = blank
        section: tuple[str, ...] = ()
        at = 0
        for line in blank.split("\n"):
            if header := _SECTION.match(line):
                section = _path(header[1])
                self.found.setdefault(section, Span(at + header.start(1), at + header.end(1)))
            elif key := _KEY.match(line):
                path = (*section, *_path(key[1]))
                self.found.setdefault(path, Span(at + key.start(1), at + key.end(1)))
            at += len(line) + 1

    def of(self, path: tuple[str, ...]) -> Span:
        """The key at a path, or the nearest thing around it that has a place."""
        for length in range(len(path), 0, -1):
            span = self.found.get(path[:length])
            if span is None:
                continue
            rest = path[length:]
            end = self.text.find("\n", span.end)
            inner = self.text[span.end : end if end >= 0 else len(self.text)]
            # an inline table has its keys on the line of its own key
            if rest and (match := re.search(rf"\b{re.escape(rest[-1])}\b(?=\s*=)", inner)):
                return Span(span.end + match.start(), span.end + match.end())
            return span
        return self.first


def _written(source: Source) -> Iterator[int]:
    """The numbers of the lines on which something is written."""
    return (n for n in range(1, source.line_count + 1) if source.line(n).strip())


def _path(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _keys(model: type[BaseModel], path: tuple[str, ...] = ()) -> dict[tuple[str, ...], str]:
    """Every key of a model by its path, with its description; alternatives share their paths."""
    found: dict[tuple[str, ...], str] = {}
    for name, info in model.model_fields.items():
        here = (*path, name)
        found.setdefault(here, info.description or "")
        for inner in _models(info.annotation):
            for key, words in _keys(inner, here).items():
                found.setdefault(key, words)
    return found


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models(part)


KEYS: Final = _keys(Board)
_DEBOUNCE: Final = ("inputs", "debounce")

_PLAIN: Final = {
    "int_type": "is not a whole number",
    "float_type": "is not a number",
    "finite_number": "is not a number that can be meant",
    "string_type": "is not text in quotes",
    "bool_type": "is not true or false",
    "tuple_type": "is not a list in square brackets",
    "model_type": "is not a section of keys",
    "model_attributes_type": "is not a section of keys",
    "dict_type": "is not a section of keys",
    "string_pattern_mismatch": "is not written as such names are",
    "string_too_long": "is too long",
    "too_long": "is too long",
    "too_short": "is empty",
    "greater_than_equal": "is too small",
    "less_than_equal": "is too large",
}


# errors whose message shows what stands there
_QUOTED: Final = ("string_pattern_mismatch", "literal_error", "union_tag_invalid")


def _problem(problem: dict[str, Any], places: _Places) -> Finding:
    """One error of the model in plain words, at the key it is about."""
    kind, context = str(problem["type"]), problem.get("ctx", {})
    path = tuple(str(part) for part in problem["loc"] if isinstance(part, str))
    if path[:2] == _DEBOUNCE and path[2:3] in (("none",), ("fixed",), ("settable",)):
        path = _DEBOUNCE + path[3:]  # the model names the alternative it took, the file does not
    if kind == "together":
        path = tuple(context["key"].split("."))
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        path = (*path, "kind")
        kind = "missing" if kind == "union_tag_not_found" else kind
    span, name = places.of(path), _shown(".".join(path))
    section, key = path[:-1], path[-1]
    where = f" in [{'.'.join(section)}]" if section else ""
    words = KEYS.get(path, "")
    if kind == "missing":
        return _finding(f"'{key}' is missing{where}", span, f"write it down; {words}")
    if kind == "extra_forbidden":
        known = [p[-1] for p in KEYS if p[:-1] == section]
        close = get_close_matches(key, known, n=1)
        fix = f"did you mean '{close[0]}'?" if close else "there may stand " + ", ".join(known)
        return _finding(f"'{_shown(key)}' is not a key of a board file{where}", span, fix)
    if kind in ("literal_error", "union_tag_invalid"):
        what = "is not one of " + str(context.get("expected") or context.get("expected_tags"))
    else:
        what = _PLAIN.get(kind, "cannot be used")
    value = context.get("tag", problem.get("input"))
    if isinstance(value, str) and kind in _QUOTED:
        what = f"holds '{_shown(value)}', which {what}"
    if kind in ("duration", "whole", "line", "text", "twice", "together"):
        what = _shown(str(problem["msg"]), 200)
    for limit in ("ge", "le", "max_length"):
        what += f": the limit is {context[limit]:,}" if limit in context else ""
    fix = f"{key}: {words}" if words else "correct it"
    if kind == "duration":
        fix = 'write it in quotes with its unit, the larger unit first: "250ms", "30s", "1h30min"'
    return _finding(f"'{name}' {what}", span, fix)
