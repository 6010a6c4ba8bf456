"""Pictures in the DOT language: a state diagram from plain rows, and a core as a net of gates.

Nodes get numbers and all names stand in quoted labels, so that no name can break the file.
"""

from __future__ import annotations

from collections.abc import Sequence

from rungs.core.dump import leaving, live_gates
from rungs.core.kiss2 import ANY, Row
from rungs.core.nodes import FALSE, TRUE, Core, Lit


def dot(
    signals: Sequence[str],
    outputs: Sequence[str],
    states: Sequence[str],
    start: str,
    rows: Sequence[Row],
) -> str:
    """A state diagram. Rows between the same two states share an arrow, one `pattern / outputs` to
    a line; an arrow from a point leads to the start. The rows are those of `kiss2`.

    Raises ValueError for a state that is not in `states`.
    """
    node_of = {state: f"s{number}" for number, state in enumerate(states)}
    if any(state == ANY for row in rows for state in row[1:3]):
        node_of.setdefault(ANY, "any")
    legend = f"{', '.join(signals)} / {', '.join(outputs)}"
    lines = [
        "digraph states {",
        "  rankdir=LR",
        f"  label={_label(legend)}",
        "  start [shape=point]",
    ]
    lines += [f"  {node} [label={_label(state)}]" for state, node in node_of.items()]
    arrows: dict[tuple[str, str], list[str]] = {}
    for pattern, state, following, shown in rows:
        if state not in node_of or following not in node_of:
            raise ValueError(f"{state!r} -> {following!r} is no step between states of this table")
        arrow = (node_of[state], node_of[following])
        arrows.setdefault(arrow, []).append(f"{pattern} / {shown}")
    if start not in states:
        raise ValueError(f"{start!r} is no state of this table")
    lines.append(f"  start -> {node_of[start]}")
    for (state, following), texts in arrows.items():
        lines.append(f"  {state} -> {following} [label={_label(chr(10).join(texts))}]")
    return "\n".join([*lines, "}"]) + "\n"


def dot_core(core: Core) -> str:
    """The net of a core: signals and state on the left, And gates, and what leaves the logic.

    An arrow that ends in a circle is inverted; a dashed one is taken over for the next scan.
    """
    lines = ["digraph core {", "  rankdir=LR", f"  label={_label(core.title)}"]
    for number, signal in enumerate(core.signals, 1):
        lines.append(f"  n{number} [shape=box, label={_label(signal.name)}]")
    for number, bit in enumerate(core.state, core.first_state):
        lines.append(f"  n{number} [shape=box, peripheries=2, label={_label(bit.name)}]")
    ends = leaving(core)
    nexts = [bit.next for bit in core.state]
    live = live_gates(core, [*nexts, *(lit for _, lit in ends)])
    lines += [f'  n{node} [shape=circle, label="and"]' for node in live]
    if any(lit in (FALSE, TRUE) for lit in (*nexts, *(lit for _, lit in ends))):
        lines.append('  n0 [shape=box, label="never"]')
    for node in live:
        for lit in core.gates[node - core.first_gate]:
            lines.append(_arrow(lit, f"n{node}"))
    for number, lit in enumerate(nexts, core.first_state):
        lines.append(_arrow(lit, f"n{number}", "style=dashed, constraint=false"))
    for number, (what, lit) in enumerate(ends):
        lines.append(f"  e{number} [shape=plaintext, label={_label(what)}]")
        lines.append(_arrow(lit, f"e{number}"))
    return "\n".join([*lines, "}"]) + "\n"


def _arrow(lit: Lit, to: str, more: str = "") -> str:
    signs = ", ".join(part for part in ("arrowhead=odot" if lit & 1 else "", more) if part)
    return f"  n{lit >> 1} -> {to}" + (f" [{signs}]" if signs else "")


def _label(text: str) -> str:
    for plain, written in (("\\", "\\\\"), ('"', '\\"'), ("\r", " "), ("\n", "\\n")):
        text = text.replace(plain, written)
    return f'"{text}"'
