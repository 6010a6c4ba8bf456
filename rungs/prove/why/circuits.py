"""What the circuit of a rung rested on in one scan, as a tree of causes.

A circuit that conducts rests on all parts of a series and on each branch that conducts; one that
does not, on one open contact of a series (the one that costs least to explain, the others being
counted beside it) and on all branches.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, NamedTuple, assert_never

from rungs.program.nodes import Circuit, Compare, Leaf, Parallel, Rung, Series
from rungs.prove.why.depends import loops
from rungs.prove.why.facts import Facts
from rungs.prove.why.nodes import Cause, Context, Either, Fact, Kind, Reason, Together
from rungs.prove.why.plans import BACK, JUMPS, Cost, PlanOf, total


class _Part(NamedTuple):
    """A part of a circuit: the place of its contact, whether it conducts, and what is in it."""

    circuit: Circuit
    place: int
    shut: bool
    inner: list[_Part]


class Circuits:
    """The reasons of circuits; `plan` explains what their contacts read."""

    def __init__(self, facts: Facts, plan: PlanOf) -> None:
        self.facts = facts
        self.history = facts.history
        self._plan = plan
        self._loops = loops(facts.program)

    def reason(self, rung: Rung, t: int, context: Context) -> tuple[Cost, Reason]:
        """What the circuit of a rung rested on in the scan at t (ms)."""
        conducts = self.history.worked(t)[rung.number - 1].conducts
        first = iter(range(len(conducts)))

        def numbered(circuit: Circuit) -> _Part:
            if not isinstance(circuit, Series | Parallel):
                place = next(first)
                return _Part(circuit, place, conducts[place], [])
            inner = [numbered(part) for part in circuit.parts]
            whole = all if isinstance(circuit, Series) else any
            return _Part(circuit, -1, whole(part.shut for part in inner), inner)

        def why(part: _Part) -> tuple[Cost, Reason]:
            circuit = part.circuit
            if not isinstance(circuit, Series | Parallel):
                cost, cause = self._leaf(circuit, rung, t, context)
                return cost, replace(cause, leaf=circuit, index=part.place, conducts=part.shut)
            told = [why(inner) for inner in part.inner if inner.shut == part.shut]
            reasons = tuple(reason for _, reason in told)
            if isinstance(circuit, Series) == part.shut:
                return total(cost for cost, _ in told), Together(reasons)
            if part.shut:
                whole = total(cost for cost, _ in told)
                return whole, Either(reasons) if len(reasons) > 1 else reasons[0]
            best = min(range(len(told)), key=lambda n: told[n][0])
            rest = (*reasons[:best], *reasons[best + 1 :])
            return told[best][0], Either((reasons[best],), rest) if rest else reasons[best]

        return why(numbered(rung.circuit))

    def _leaf(self, leaf: Leaf, rung: Rung, t: int, context: Context) -> tuple[Cost, Cause]:
        """What a contact of a rung reads."""
        if isinstance(leaf, Compare):
            return self.read(leaf.name, "count", rung, t, context)
        match leaf.kind:
            case "closed":
                return self.read(leaf.name, "contact", rung, t, context)
            case "timing":
                return self.read(leaf.name, "timing", rung, t, context)
            case "rising" | "falling":
                fact = Fact(leaf.name, leaf.kind, t, rung.number - 1, leaf.memory)
                return self.link(fact, context)
            case "first_scan":
                return self.link(Fact("", "first_scan", t, 0), context)
            case "broken" | "shorted" | "load":
                raise AssertionError("the checker keeps wire faults and loads out of rungs")
            case _:
                assert_never(leaf.kind)

    def link(self, fact: Fact, context: Context) -> tuple[Cost, Cause]:
        """One cause without a rung."""
        plan = self._plan(fact, context.deeper())
        # opened later, it is the beginning of a way
        fresh = Context(context.mode, context.jumps)
        return plan.cost, Cause(fact, bool(self.facts.value(fact)), context=fresh)

    def read(
        self, name: str, kind: Kind, rung: Rung, t: int, context: Context
    ) -> tuple[Cost, Cause]:
        """What a rung reads of a device in the scan at t, explained in the scan it comes from or,
        for a device of a loop that the rung is part of, in the one in which it began to stand so;
        a force leaves every loop.
        """
        fact = self.facts.fact(name, kind, t, rung.number - 1)
        if self.facts.forced(fact) is not None or not any(
            self._loops[action.name] == self._loops[name] for action in rung.actions
        ):
            return self.link(fact, context.as_("free"))
        if fact.t == t:
            return self.link(fact, context)
        own = any(action.name == name for action in rung.actions)
        if own and self.facts.value(fact) != self.history.shown(name, t, rung.number).of(kind):
            return self.link(fact, context.as_("was"))
        ways: list[tuple[Cost, Cause]] = []
        if context.mode == "free" and not (own and kind == "contact"):
            ways.append(self.link(fact, context.as_("grounded")))
        ways.append(self._origin(fact, context))
        return min(ways, key=lambda way: way[0])

    def _origin(self, fact: Fact, context: Context) -> tuple[Cost, Cause]:
        """The scan in which the device took the value that it still has."""
        history = self.history
        if fact.kind not in ("contact", "coil") or context.jumps >= JUMPS:
            return self.link(fact, context.as_("was"))
        kind: Literal["contact", "coil"] = "coil" if fact.kind == "coil" else "contact"
        start = history.power_up(fact.t)
        moved = history.moved(kind, fact.name, fact.t)
        if moved is not None and (start is None or moved >= start):
            origin = self.facts.fact(fact.name, fact.kind, moved)
        elif start is not None:
            origin = Fact(fact.name, fact.kind, start, 0)
        else:
            return self.link(fact, context.as_("was"))
        cost, cause = self.link(origin, context.back())
        return cost.plus(BACK), replace(cause, held=True)
