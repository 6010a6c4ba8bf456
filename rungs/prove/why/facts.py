"""Facts read from a history: what a device showed at a point of a scan, and since when.

A fact is traced to the rung that left the device so, which makes every cause lie at an earlier
point of the run than its effect; that is what keeps explanations from going round in a circle.
"""

from __future__ import annotations

from rungs.program.nodes import Clock, Input, Output, Rung
from rungs.prove.why.history import History
from rungs.prove.why.nodes import Edge, Explanation, Fact, How, Kind, Moment, Reason, RungRef
from rungs.prove.why.scans import drives, load_is_on, show


class Facts:
    """The facts of one history. All times are ms of the run."""

    def __init__(self, history: History) -> None:
        self.history = history
        self.program = history.program

    def rung(self, number: int) -> Rung:
        """The rung of a number."""
        return self.program.rungs[number - 1]

    def fact(self, name: str, kind: Kind, t: int, upto: int | None = None) -> Fact:
        """What is read of a device after rung `upto` (None: the last) of the scan at t, traced to
        the rung that left it so: in that scan, or in the one before it."""
        history, base = self.history, self.history.base(t)
        given = isinstance(self.program.by_name[name], Input | Clock)
        if given or not base.after.powered or (kind == "contact" and name in base.forces):
            return Fact(name, kind, t, 0)
        drivers = history.drivers.get(name, ())
        if kind == "coil":
            drivers = tuple(n for n in drivers if drives(self.rung(n), name))
        here = [n for n in drivers if upto is None or n <= upto]
        if here:
            return Fact(name, kind, t, here[-1])
        if (base.after.first and base.t == t) or not drivers:
            return Fact(name, kind, t, 0)
        earlier = history.previous(t)
        if kind == "contact" and history.force(name, earlier) is not None:
            return Fact(name, kind, earlier, 0)
        before = Fact(name, kind, earlier, drivers[-1])
        if kind == "timing" and base.t == t and name in base.forces:
            # a force that is new changes it at the beginning of the scan
            here_now = Fact(name, kind, t, 0)
            return before if self.value(before) == self.value(here_now) else here_now
        return before

    def forced(self, fact: Fact) -> bool | None:
        """How the contact of a fact is held by a force, if that is what the fact is about."""
        return self.history.force(fact.name, fact.t) if fact.kind == "contact" else None

    def value(self, fact: Fact) -> bool | int:
        """What the fact says."""
        history = self.history
        base = history.base(fact.t)
        match fact.kind:
            case "first_scan":
                return base.after.first and base.t == fact.t
            case "rising" | "falling":
                edge = self.edge(fact)
                return edge.sees != edge.saw and edge.sees == (fact.kind == "rising")
            case "load":
                output = self.program.by_name[fact.name]
                assert isinstance(output, Output)
                return load_is_on(output, base.after)
            case _:
                return history.shown(fact.name, fact.t, fact.upto).of(fact.kind)

    def edge(self, fact: Fact) -> Edge:
        """What the edge contact of a fact sees and saw."""
        base = self.history.base(fact.t)
        sees = self.history.shown(fact.name, fact.t, fact.upto).contact
        saw = base.before.edges.get(fact.memory, sees) if base.t == fact.t else sees
        return Edge(sees, saw)

    def moment(self, t: int) -> Moment:
        """The scan at t."""
        return Moment(t, t // self.history.period, self.history.wall(t))

    def since(self, fact: Fact) -> Moment | None:
        """The scan in which the device took the value of the fact; None if that is not known, or
        if the fact is of a kind that has no since."""
        if fact.kind not in ("contact", "coil", "count", "load"):
            return None
        history, name = self.history, fact.name
        base = history.base(fact.t)
        kind = "contact" if fact.kind == "load" else fact.kind
        moved = history.moved(kind, name, fact.t)
        if not base.after.powered:
            went = base.t if fact.kind == "load" else moved
            return None if went is None else self.moment(went)
        if fact.kind != "load":
            value = self.value(fact)
            given = isinstance(self.program.by_name[name], Input | Clock)
            if not given and show(self.program, base.before, name).of(kind) != value:
                return self.moment(fact.t)
            if moved == fact.t and show(self.program, base.after, name).of(kind) != value:
                # it moves again further down the same scan
                moved = history.moved(kind, name, fact.t - 1)
        known = [t for t in (history.power_up(fact.t), moved) if t is not None]
        return self.moment(max(known)) if known else None

    def explained(
        self,
        fact: Fact,
        how: How,
        rung: Rung | None = None,
        decided: int | None = None,
        reason: Reason | None = None,
        cut: bool = False,
    ) -> Explanation:
        """The explanation of a fact by what is given of it; `decided` is the time of a scan."""
        return Explanation(
            fact,
            self.value(fact),
            self.moment(fact.t),
            self.since(fact),
            how,
            None if rung is None else self._reference(rung),
            None if decided is None else self.moment(decided),
            reason,
            cut,
        )

    def _reference(self, rung: Rung) -> RungRef:
        """A rung by number and label; one without a label goes on under the label above it."""
        label = next((r.label for r in reversed(self.program.rungs[: rung.number]) if r.label), "")
        return RungRef(rung.number, label, rung.span)
