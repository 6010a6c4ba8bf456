"""Transition tables in the KISS2 format, written and read.

The tables are plain data (texts and tuples), because they come from different makers: the table
compiler, a test, a file of somebody else. The format has no place for names of signals and only
single words for states; comments of our own carry both, and tools that skip comments lose nothing.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass

from rungs.core.dump import safe_names

Row = tuple[str, str, str, str]  # pattern of signals, state, next state, outputs

ANY = "*"  # in a file: any state, or as the next state an unspecified one
PLAIN = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.]*")
MARK = "#@"


@dataclass(frozen=True, slots=True)
class Kiss2:
    """A finite state machine as rows; the patterns hold `0 1 -`, the outputs `0 1 -`.

    A next state `*` is unspecified, a state `*` stands for every state.
    """

    signals: tuple[str, ...]
    outputs: tuple[str, ...]
    states: tuple[str, ...]
    start: str
    rows: tuple[Row, ...]


def kiss2(
    signals: Sequence[str],
    outputs: Sequence[str],
    states: Sequence[str],
    start: str,
    rows: Sequence[Row],
) -> str:
    """A KISS2 file. States whose names are no single word get one; a comment says which.

    Raises ValueError for names that stand twice, a row of the wrong width or with other characters
    than `0 1 -`, and a state that is not in `states`.
    """
    for names in (signals, outputs, states):
        if len(set(names)) != len(names):
            raise ValueError("a name stands twice")
    word_of = dict(zip(states, _words(states), strict=True))
    known = {ANY: ANY, **word_of}
    if start not in word_of:
        raise ValueError(f"{start!r} is no state of this table")
    lines = [f"{MARK} signal {json.dumps(name)}" for name in signals]
    lines += [f"{MARK} output {json.dumps(name)}" for name in outputs]
    lines += [f"{MARK} state {word} {json.dumps(name)}" for name, word in word_of.items()]
    lines += [f".i {len(signals)}", f".o {len(outputs)}", f".p {len(rows)}"]
    lines += [f".s {len(states)}", f".r {word_of[start]}"]
    for pattern, state, following, shown in rows:
        for text, width in ((pattern, len(signals)), (shown, len(outputs))):
            if len(text) != width or set(text) - set("01-"):
                raise ValueError(f"{pattern} {shown} is no row of this table")
        if state not in known or following not in known:
            raise ValueError(f"{state!r} -> {following!r} is no step between states of this table")
        fields = [pattern, known[state], known[following], shown]
        # a table without signals or outputs has an empty field there
        lines.append(" ".join(field for field in fields if field))
    return "\n".join([*lines, ".e"]) + "\n"


def _words(states: Sequence[str]) -> list[str]:
    plain = [name for name in states if PLAIN.fullmatch(name)]
    fresh = iter(safe_names((f"s{number}" for number in range(len(states))), plain))
    words = []
    for name in states:
        word = next(fresh)
        words.append(name if PLAIN.fullmatch(name) else word)
    return words


def read_kiss2(text: str) -> Kiss2:
    """The table of a KISS2 file. Without comments of ours signals are `x1 x2 ...`, outputs `z1 z2
    ...` and states what they are called; without `.r` the first row's state is the start.

    Raises ValueError, with the line, where the text is no such file or breaks its own numbers.
    """
    reader = _Reader()
    for number, line in enumerate(text.split("\n"), 1):
        try:
            reader.line(line.strip())
        except ValueError as error:
            raise ValueError(f"line {number}: {error}") from None
    return reader.table()


class _Reader:
    """What has been read of a file so far."""

    def __init__(self) -> None:
        self.numbers: dict[str, int] = {}
        self.named: dict[str, list[str]] = {"signal": [], "output": []}
        self.label_of: dict[str, str] = {}
        self.start = ""
        self.rows: list[Row] = []
        self.ended = False

    def line(self, line: str) -> None:
        if line.startswith(MARK):
            self._remark(line.removeprefix(MARK).split(maxsplit=2))
        words = line.partition("#")[0].split()
        if not words or self.ended:
            return
        match words:
            case [".i" | ".o" | ".p" | ".s" as key, number]:
                self.numbers[key] = int(number)
            case [".r", state]:
                self.start = state
            case [".e" | ".end"]:
                self.ended = True
            case [word, *_] if word.startswith("."):
                raise ValueError(f"{word} is not read here")
            case _:
                self.rows.append(self._row(words))

    def _remark(self, words: list[str]) -> None:
        match words:
            case ["signal" | "output" as kind, *rest]:
                self.named[kind].append(str(json.loads(" ".join(rest))))
            case ["state", word, label]:
                self.label_of[word] = str(json.loads(label))

    def _row(self, words: list[str]) -> Row:
        width_in, width_out = self.numbers.get(".i"), self.numbers.get(".o")
        if width_in is None or width_out is None:
            raise ValueError("a row stands before .i and .o")
        fields = [*([] if width_in else [""]), *words, *([] if width_out else [""])]
        if len(fields) != 4:
            raise ValueError("a row is a pattern, a state, the next state and the outputs")
        pattern, state, following, shown = fields
        for what, width in ((pattern, width_in), (shown, width_out)):
            if len(what) != width or set(what) - set("01-"):
                raise ValueError(f"{what!r} is not {width} of 0, 1 and -")
        return pattern, state, following, shown

    def table(self) -> Kiss2:
        if not self.rows:
            raise ValueError("the file has no rows")
        seen = [state for _, *pair, _ in self.rows for state in pair if state != ANY]
        start = self.start or seen[0]
        words = list(dict.fromkeys([*self.label_of, *seen, start]))
        for key, count in ((".p", len(self.rows)), (".s", len(words))):
            if self.numbers.get(key, count) != count:
                raise ValueError(f"{key} says {self.numbers[key]}, the file has {count}")
        label = {ANY: ANY, **{word: self.label_of.get(word, word) for word in words}}
        return Kiss2(
            self._names("signal", "x", ".i"),
            self._names("output", "z", ".o"),
            tuple(label[word] for word in words),
            label[start],
            tuple((p, label[s], label[n], o) for p, s, n, o in self.rows),
        )

    def _names(self, kind: str, letter: str, key: str) -> tuple[str, ...]:
        width = self.numbers[key]
        given = self.named[kind]
        if len(given) == width:
            return tuple(given)
        return tuple(f"{letter}{number}" for number in range(1, 1 + width))
