"""A core as text that people read and tests compare, and the names its nodes go by in any text.

The text shows the functions, not the numbering of nodes, so that a golden of it says what a change
of the lowering did to the logic.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Sequence

from rungs.core.nodes import FALSE, TRUE, Core, CoreTimer, Lit
from rungs.core.verify import roots

WIDTH = 96  # of a line, where no single word is longer
LONGEST = 70  # an expression longer than this gets a name of its own
DEEPEST = 6  # so does one with more joints inside each other than a reader can hold


def dump(core: Core) -> str:
    """The core as text: signals, state, timers, numbers, outputs, rungs, and the gates they read.

    A name alone is a signal, or a state bit as the last scan left it. `NAME.now` is an output's
    contact, or a state bit, after this scan. The same core gives the same text.
    """
    words = _Words(core)
    parts = [
        f"core {quoted(core.title)}: a scan every {core.period} ms, {len(core.signals)} signals, "
        f"{len(core.state)} state bits, {len(core.gates)} gates"
    ]
    parts += _section("signals", _signal_lines(core, words))
    parts += _section("state", _state_lines(core, words))
    parts += _section("timers", [line for t in core.timers for line in _timer_lines(t, words)])
    parts += _section("numbers", _number_lines(core, words))
    parts += _section("outputs", [f"{o.name}: {o.kind}\n= {words(o.lit)}" for o in core.outputs])
    parts += _section("rungs", _rung_lines(core, words))
    parts += _section("gates", words.gates)
    return "\n".join(parts) + "\n"


def quoted(text: str) -> str:
    """A text in double quotes on one line; only control characters and quotes are escaped."""
    return json.dumps(text, ensure_ascii=False)


def safe_names(names: Iterable[str], taken: Iterable[str] = ()) -> list[str]:
    """Names that any format takes: ASCII letters, digits, `_` and `.`, a letter first, and no two
    alike, nor like one of `taken`. A name that is so already stays, unless an earlier one took it.
    """
    used = set(taken)
    made = []
    for name in names:
        plain = re.sub(r"[^A-Za-z0-9_.]", "_", name)
        if not plain[:1].isalpha():
            plain = "n" + plain
        free, number = plain, 1
        while free in used:
            number += 1
            free = f"{plain}_{number}"
        used.add(free)
        made.append(free)
    return made


def live_gates(core: Core, wanted: Iterable[Lit]) -> list[int]:
    """The nodes of the gates on which the wanted literals depend within one scan, rising."""
    needed = [False] * (core.first_gate + len(core.gates))
    for lit in wanted:
        needed[lit >> 1] = True
    live = []
    for node in range(len(needed) - 1, core.first_gate - 1, -1):
        if needed[node]:
            live.append(node)
            for lit in core.gates[node - core.first_gate]:
                needed[lit >> 1] = True
    return live[::-1]


def leaving(core: Core) -> list[tuple[str, Lit]]:
    """What a core tells the world, named: its outputs, and the run bit of each timer, with the two
    clear bits where it is accumulating."""
    named = [(output.name, output.lit) for output in core.outputs]
    for timer in core.timers:
        named.append((f"{timer.name}.run", timer.run))
        if timer.kind == "accumulating":
            named.append((f"{timer.name}.clear_before", timer.clear_before))
            named.append((f"{timer.name}.clear_after", timer.clear_after))
    return named


class _Words:
    """Literals in words. A gate that is read once stands where it is read, if that stays short."""

    def __init__(self, core: Core) -> None:
        leaves = [*(s.name for s in core.signals), *(b.name for b in core.state)]
        self.names = ["", *safe_names(leaves)]
        self.gates: list[str] = []
        self._core = core
        self._stored: dict[int, tuple[str, int]] = {}  # a gate's name, and 1 if of its inverse
        self._inside: dict[int, tuple[str, str, int]] = {}  # both polarities of it, and its depth
        self._write()

    def __call__(self, lit: Lit) -> str:
        """The literal as an expression."""
        return self._text(lit)[0]

    def _write(self) -> None:
        core = self._core
        reads = [0] * (core.first_gate + len(core.gates))
        inverse = list(reads)
        live = live_gates(core, (lit for _, lit in roots(core)))
        readers = [[lit for _, lit in roots(core)]]
        readers += [list(core.gates[node - core.first_gate]) for node in live]
        for lits in readers:
            for lit in lits:
                reads[lit >> 1] += 1
                inverse[lit >> 1] += lit & 1
        shown: dict[int, tuple[str, int]] = {}
        ends = [*((o.name, o.lit) for o in core.outputs), *((b.name, b.next) for b in core.state)]
        now = safe_names((f"{name}.now" for name, _ in ends), self.names)
        for name, (_, lit) in zip(now, ends, strict=True):
            shown.setdefault(lit >> 1, (name, lit & 1))
        fresh = iter(safe_names((f"g{n}" for n in range(1, 1 + len(live))), [*self.names, *now]))
        for node in live:
            both = [self._joined(node, flip) for flip in (0, 1)]
            deep = 1 + max(self._text(lit)[1] for lit in core.gates[node - core.first_gate])
            name, flip = shown.get(node, ("", int(2 * inverse[node] > reads[node])))
            longest = max(len(text) for text in both)
            if not name and reads[node] == 1 and longest <= LONGEST and deep < DEEPEST:
                self._inside[node] = (both[0], both[1], deep)
                continue
            name = name or next(fresh)
            self._stored[node] = (name, flip)
            self.gates.append(f"{name} = {both[flip]}")

    def _joined(self, node: int, flip: int) -> str:
        """A gate, or by De Morgan its inverse."""
        parts = []
        for lit in self._core.gates[node - self._core.first_gate]:
            text, depth = self._text(lit ^ flip)
            other_kind = depth and (lit ^ flip) & 1 != flip
            parts.append(f"({text})" if other_kind else text)
        return (" or " if flip else " and ").join(parts)

    def _text(self, lit: Lit) -> tuple[str, int]:
        """The expression and how many joints it has inside each other."""
        node, flip = lit >> 1, lit & 1
        if lit in (FALSE, TRUE):
            return ("always" if flip else "never"), 0
        if node in self._inside:
            plain, inverse, deep = self._inside[node]
            return (inverse if flip else plain), deep
        if node in self._stored:
            name, stored = self._stored[node]
            return (name if flip == stored else f"not {name}"), 0
        name = self.names[node]
        return (f"not {name}" if flip else name), 0


def _section(heading: str, lines: Sequence[str]) -> list[str]:
    """A heading and its lines, indented; what follows a line feed in one is indented further."""
    if not lines:
        return []
    made = ["", heading]
    for line in lines:
        first, *more = line.split("\n")
        made += _wrapped(first, "    ")
        for other in more:
            made += _wrapped(other, "        ")
    return made


def _wrapped(line: str, indent: str) -> list[str]:
    return textwrap.wrap(
        line,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "    ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _signal_lines(core: Core, words: _Words) -> list[str]:
    lines = []
    for number, signal in enumerate(core.signals, 1):
        more = f" of {signal.device}" if signal.kind == "due" else ""
        more += ", one scan at a time" if signal.one_scan else ""
        lines.append(f"{words.names[number]}: {signal.kind.replace('_', ' ')}{more}")
    return lines


def _state_lines(core: Core, words: _Words) -> list[str]:
    lines = []
    for number, bit in enumerate(core.state, core.first_state):
        retained = ", retained" if bit.retained else ""
        lines.append(
            f"{words.names[number]}: {bit.kind}{retained}, {quoted(bit.words)}\n"
            f"next {words(bit.next)}"
        )
    return lines


def _timer_lines(timer: CoreTimer, words: _Words) -> list[str]:
    retained = ", retained" if timer.retained else ""
    lines = [
        f"{timer.name}: {timer.kind} {timer.preset} ms{retained}, due {words.names[1 + timer.due]}",
        f"run {words(timer.run)}",
    ]
    for word, lit in (("before", timer.clear_before), ("after", timer.clear_after)):
        if lit != FALSE:
            lines.append(f"clear {word} adding {words(lit)}")
    return ["\n".join(lines)]


def _number_lines(core: Core, words: _Words) -> list[str]:
    return [
        f"{number.name}: 0 to {number.most}, lowest bit first: "
        + ", ".join(words.names[core.first_state + bit] for bit in number.bits)
        for number in core.numbers
    ]


def _rung_lines(core: Core, words: _Words) -> list[str]:
    lines = []
    for power in core.powers:
        label = f" {quoted(power.label)}" if power.label else ""
        drives = ", ".join(power.drives)
        lines.append(f"{power.number}{label} drives {drives}\n= {words(power.lit)}")
    return lines
