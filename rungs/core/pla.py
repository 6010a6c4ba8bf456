"""Two-level tables in the PLA format of espresso, from rows or from a core without memory.

The logical type is `fr`: a 1 puts a row into the on-set of its output, a 0 into the off-set, and
what no row gives is free. A tool then reports rows that contradict each other, where the usual type
would take the 1 without a word.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rungs.core.dump import live_gates, safe_names
from rungs.core.nodes import Core, Lit

Row = tuple[str, str]

MOST_ROWS = 1 << 16


class PlaError(Exception):
    """A core that is no two-level table; the text says why."""


def pla(names_in: Sequence[str], names_out: Sequence[str], rows: Iterable[Row]) -> str:
    """A PLA file. A row is a pattern (`0 1 -`, a place for each input) and the outputs (`0 1 -`).

    Raises ValueError for a row of another width or with other characters.
    """
    rows = list(rows)
    for row in rows:
        for text, names in zip(row, (names_in, names_out), strict=True):
            if len(text) != len(names) or set(text) - set("01-"):
                raise ValueError(f"{' '.join(row)!r} is no row of this table")
    safe = safe_names([*names_in, *names_out])
    lines = [f".i {len(names_in)}", f".o {len(names_out)}"]
    lines.append(" ".join([".ilb", *safe[: len(names_in)]]))
    lines.append(" ".join([".ob", *safe[len(names_in) :]]))
    lines += [".type fr", f".p {len(rows)}"]
    # a table without inputs has an empty pattern
    lines += [" ".join(field for field in row if field) for row in rows]
    return "\n".join([*lines, ".e"]) + "\n"


def pla_of_core(core: Core) -> str:
    """The outputs of a core as a PLA file over its inputs, clocks and `first_scan`.

    The rows do not overlap and leave nothing out. Raises PlaError where an output depends on a
    state bit or a timer, or where there would be more than MOST_ROWS rows.
    """
    return pla(
        [signal.name for signal in core.signals if signal.kind != "due"],
        [output.name for output in core.outputs],
        _rows(core),
    )


def _rows(core: Core) -> Iterator[Row]:
    """Signal after signal is set to 0 and to 1, until three-valued logic knows every output."""
    support = _support(core)
    places = [n for n, signal in enumerate(core.signals) if signal.kind != "due"]
    live = live_gates(core, [output.lit for output in core.outputs])
    values: list[bool | None] = [None] * (core.first_gate + len(core.gates))
    values[0] = False
    open_ends: list[dict[int, bool]] = [{}]
    made = 0
    while open_ends:
        chosen = open_ends.pop()
        for node in support:
            values[node] = chosen.get(node)
        for node in live:
            values[node] = _and(values, core.gates[node - core.first_gate])
        shown = [_value(values, output.lit) for output in core.outputs]
        if None not in shown:
            made += 1
            if made > MOST_ROWS:
                raise PlaError(f"the table has more than {MOST_ROWS} rows")
            pattern = "".join(_sign(chosen.get(1 + n)) for n in places)
            yield pattern, "".join(_sign(value) for value in shown)
            continue
        node = support[len(chosen)]
        open_ends += [{**chosen, node: True}, {**chosen, node: False}]


def _support(core: Core) -> list[int]:
    """The nodes of the signals that the outputs depend on."""
    lits = [output.lit for output in core.outputs]
    read = set(lits)
    for node in live_gates(core, lits):
        read.update(core.gates[node - core.first_gate])
    nodes = sorted({lit >> 1 for lit in read if 0 < lit >> 1 < core.first_gate})
    for node in nodes:
        if node >= core.first_state:
            bit = core.state[node - core.first_state]
            raise PlaError(f"an output depends on state from the scan before: {bit.words}")
        if core.signals[node - 1].kind == "due":
            raise PlaError(f"an output depends on the timer {core.signals[node - 1].device}")
    return nodes


def _value(values: Sequence[bool | None], lit: Lit) -> bool | None:
    value = values[lit >> 1]
    return value if value is None else value ^ bool(lit & 1)


def _and(values: Sequence[bool | None], gate: Sequence[Lit]) -> bool | None:
    known: bool | None = True
    for lit in gate:
        value = _value(values, lit)
        if value is False:
            return False
        if value is None:
            known = None
    return known


def _sign(value: bool | None) -> str:
    return "-" if value is None else "1" if value else "0"
