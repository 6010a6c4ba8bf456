"""Why a device stands as it does: the shortest true explanation, as data, opened step by step.

An explanation walks back from a device to the rung that decided it, to the contacts of that rung
that mattered, and on to switches, clocks and running time. Each step goes to an earlier point of
the run, so that no explanation can go round in a circle; `verify` puts each to the test.
"""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

from rungs.program.nodes import Counter, Output, Relay, Timer
from rungs.prove.why.circuits import Circuits
from rungs.prove.why.devices import Devices
from rungs.prove.why.facts import Facts
from rungs.prove.why.history import History
from rungs.prove.why.nodes import (
    Cause,
    Context,
    Edge,
    Either,
    Explanation,
    Fact,
    Kind,
    OnLoad,
    Reason,
    Together,
    Was,
)
from rungs.prove.why.plans import CUT, VAGUE, Plan, end, unrecorded

DEPTH = 4  # steps that are opened at once
DEEPEST = 40  # steps from what is asked about to a switch; longer chains are cut and can be opened
MOST_FACTS = 4_000


class Explainer:
    """Explains what a history recorded. It keeps what it worked out, so use one for several
    questions about the same history, and a new one when the history has grown."""

    def __init__(self, history: History) -> None:
        self.history = history
        self._facts = Facts(history)
        self._devices = Devices(self._facts, Circuits(self._facts, self._plan))
        self._plans: dict[tuple[Fact, Context], Plan] = {}

    def explain(
        self, name: str, kind: Kind = "contact", t: int | None = None, depth: int = DEPTH
    ) -> Explanation:
        """Why a device stands as it does after the scan at or before time t (ms; now if None).

        `depth` steps are opened; `expand` opens more. Raises KeyError for an unknown name,
        ValueError for a kind that the device does not have, LookupError before the first scan.
        """
        device = self.history.program.by_name[name]
        fits = {
            "contact": True,
            "coil": isinstance(device, Timer | Output | Relay),
            "load": isinstance(device, Output),
            "timing": isinstance(device, Timer),
            "count": isinstance(device, Counter),
        }
        if not fits.get(kind, False):
            raise ValueError(f"{name} has no {kind}")
        if kind == "coil" and not isinstance(device, Timer):
            kind = "contact"
        at = self.history.scan_at(self.history.latest.t if t is None else t)
        return self._opened(self._plan(self._facts.fact(name, kind, at), Context()).found, depth)

    def expand(self, cause: Cause, depth: int = 1) -> Explanation:
        """The explanation of one cause, opened `depth` steps deep."""
        return self._opened(self._plan(cause.fact, cause.context).found, depth)

    def _plan(self, fact: Fact, context: Context) -> Plan:
        key = fact, context
        plan = self._plans.get(key)
        if plan is None:
            if fact.t < self.history.begins:
                return unrecorded(self._facts, fact)
            if context.mode == "was":
                return end(self._facts, fact, Was(), VAGUE)
            if context.steps > DEEPEST or len(self._plans) > MOST_FACTS:
                return end(self._facts, fact, Was(), CUT, cut=True)
            plan = self._plans[key] = self._devices.find(fact, context)
        return plan

    def _opened(self, found: Explanation, depth: int) -> Explanation:
        if found.reason is None:
            return found
        if isinstance(found.how, Edge | OnLoad):
            depth += 1  # it says nothing without what it looks at
        return replace(found, reason=self._open_reason(found.reason, depth))

    def _open_reason(self, reason: Reason, depth: int) -> Reason:
        match reason:
            case Cause():
                found = self._plan(reason.fact, reason.context).found
                if depth <= 0 and not self._is_short(found):
                    return reason
                return replace(reason, why=self._opened(found, depth - 1))
            case Together():
                return Together(tuple(self._open_reason(part, depth) for part in reason.parts))
            case Either():
                parts = tuple(self._open_reason(part, depth) for part in reason.parts)
                return Either(parts, reason.others)
            case _:
                assert_never(reason)

    def _is_short(self, found: Explanation) -> bool:
        """Whether an explanation is an end, or looks straight at one."""
        if found.reason is None:
            return True
        if not isinstance(found.how, Edge | OnLoad) or not isinstance(found.reason, Cause):
            return False
        return self._plan(found.reason.fact, found.reason.context).found.reason is None
