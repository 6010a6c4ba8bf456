"""Plans: an explanation with what it costs a reader, so that the shortest of several can be told.

What costs most is what has to be looked at: ends, that is switches, clocks and times.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from rungs.program.nodes import Rung
from rungs.prove.why.facts import Facts
from rungs.prove.why.nodes import Context, Explanation, Fact, How, Reason, Unrecorded

JUMPS = 3  # how often an explanation goes back to where a held state began before it stops


class Cost(NamedTuple):
    """What makes an explanation long, the worst first: its ends (switches, clocks, times), steps
    back in time, and steps."""

    ends: int
    back: int
    steps: int

    def plus(self, other: Cost) -> Cost:
        """Both together."""
        return Cost(self.ends + other.ends, self.back + other.back, self.steps + other.steps)


NOTHING = Cost(0, 0, 0)
STEP = Cost(0, 0, 1)
BACK = Cost(0, 1, 0)
END = Cost(1, 0, 1)
VAGUE = Cost(3, 0, 1)  # true, but it explains little
CUT = Cost(1_000, 0, 1)


def total(costs: Iterable[Cost]) -> Cost:
    """All costs together."""
    whole = NOTHING
    for cost in costs:
        whole = whole.plus(cost)
    return whole


class Plan(NamedTuple):
    """An explanation whose causes are not opened yet, and what it costs with all that is below."""

    cost: Cost
    found: Explanation


PlanOf = Callable[[Fact, Context], Plan]


def end(facts: Facts, fact: Fact, how: How, cost: Cost = END, cut: bool = False) -> Plan:
    """An explanation that rests on nothing further."""
    return Plan(cost, facts.explained(fact, how, cut=cut))


def unrecorded(facts: Facts, fact: Fact) -> Plan:
    """A fact before the scans that are known: that it was so is all there is to say."""
    at = facts.moment(fact.t)
    return Plan(VAGUE, Explanation(fact, facts.value(fact), at, None, Unrecorded()))


def through(
    facts: Facts,
    fact: Fact,
    how: How,
    reason: tuple[Cost, Reason],
    rung: Rung | None = None,
    decided: int | None = None,
    cost: Cost | None = None,
) -> Plan:
    """An explanation that rests on a reason; `cost` where the reason is only told beside it.

    `decided` is the time of the scan in which the rung decided, ms.
    """
    whole = reason[0].plus(STEP) if cost is None else cost
    return Plan(whole, facts.explained(fact, how, rung, decided, reason[1]))
