"""What must hold of every core; each pass is followed by this check in the tests.

A lowering that hands on a broken core would show far away, in a table or a proof.
"""

from __future__ import annotations

from rungs.core.nodes import Core, Lit


def faults(core: Core) -> tuple[str, ...]:
    """Every broken rule of the core's form, in words; empty for a sound core."""
    found: list[str] = []
    end = core.first_gate + len(core.gates)
    seen: dict[tuple[Lit, ...], int] = {}
    for number, gate in enumerate(core.gates, core.first_gate):
        if len(gate) < 2:
            found.append(f"gate {number} has fewer than two literals")
        if list(gate) != sorted(set(gate)):
            found.append(f"gate {number} is not sorted or holds a literal twice")
        if any(lit >> 1 >= number or lit < 2 for lit in gate):
            found.append(f"gate {number} reads itself, a later node, or a constant")
        if any(lit ^ 1 in gate for lit in gate):
            found.append(f"gate {number} reads a node and its inverse")
        if gate in seen:
            found.append(f"gate {number} repeats gate {seen[gate]}")
        seen[gate] = number
    for what, lit in roots(core):
        if not 0 <= lit < 2 * end:
            found.append(f"{what} is literal {lit}, of no node")
    for kind, names in (
        ("signal", [s.name for s in core.signals]),
        ("state bit", [b.name for b in core.state]),
        ("output", [o.name for o in core.outputs]),
        ("timer", [t.name for t in core.timers]),
    ):
        if len(names) != len(set(names)):
            found.append(f"a {kind} name stands twice")
    for timer in core.timers:
        if not (0 <= timer.due < len(core.signals) and core.signals[timer.due].kind == "due"):
            found.append(f"timer {timer.name} has no due flag")
        if timer.preset <= 0:
            found.append(f"timer {timer.name} has no time")
    for count in core.numbers:
        if any(not 0 <= bit < len(core.state) for bit in count.bits):
            found.append(f"the count of {count.name} has a bit of no state")
        if not 0 < count.most < 1 << len(count.bits):
            found.append(f"the count of {count.name} does not fit its bits")
    dues = [timer.due for timer in core.timers]
    if len(dues) != len(set(dues)):
        found.append("two timers share a due flag")
    if len({t.due for t in core.timers}) != sum(s.kind == "due" for s in core.signals):
        found.append("due flags and timers do not go in pairs")
    return tuple(found)


def roots(core: Core) -> tuple[tuple[str, Lit], ...]:
    """Every literal that leaves the logic, with what it is for."""
    return (
        *((f"next of {bit.name}", bit.next) for bit in core.state),
        *((f"output {output.name}", output.lit) for output in core.outputs),
        *((f"run of {timer.name}", timer.run) for timer in core.timers),
        *((f"clear_before of {timer.name}", timer.clear_before) for timer in core.timers),
        *((f"clear_after of {timer.name}", timer.clear_after) for timer in core.timers),
        *((f"power of rung {power.number}", power.lit) for power in core.powers),
    )
