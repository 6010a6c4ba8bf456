"""Which rungs have to do with one another, and what part of a program some outputs hang on.

It looks at names alone, so it may see a link that no run uses, but it never misses one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from rungs.program.nodes import Contact, Output, Program, Relay, Rung, leaves


class Links:
    """What each rung reads and moves. Rungs are told by their place, from 0."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.reads = [
            frozenset(leaf.name for leaf in leaves(rung.circuit)) for rung in program.rungs
        ]
        self.moves = [frozenset(a.name for a in rung.actions) for rung in program.rungs]
        self.readers = _places(self.reads)
        self.movers = _places(self.moves)
        self.place_of = {rung.number: place for place, rung in enumerate(program.rungs)}
        self.of_edge = {
            leaf.memory: place
            for place, rung in enumerate(program.rungs)
            for leaf in leaves(rung.circuit)
            if isinstance(leaf, Contact) and leaf.memory >= 0
        }

    def pairs(self) -> Iterator[tuple[int, int]]:
        """Places of rungs that have to do with one another, the upper one first."""
        for upper, lower in combinations(range(len(self.reads)), 2):
            moved = self.moves[upper]
            if moved & (self.reads[lower] | self.moves[lower]) or (
                self.moves[lower] & self.reads[upper]
            ):
                yield upper, lower

    def touched(self, seeds: Iterable[str]) -> frozenset[str]:
        """The devices that the seeds can change, in any number of scans, and the seeds."""
        return _closed(seeds, self.readers, self.moves)

    def cone(self, names: Iterable[str]) -> frozenset[str]:
        """The devices on which these depend, in any number of scans, and these."""
        return _closed(names, self.movers, self.reads)

    def passes(self, touched: Collection[str]) -> bool:
        """Whether these devices only hand on what they read: plain coils in no circle, with no
        edge of them looked at. At rest they are then what all others make of them."""
        program = self.program
        for name in touched:
            places = self.movers[name]
            verbs = {a.verb for p in places for a in program.rungs[p].actions if a.name == name}
            if verbs != {"coil"} or not isinstance(program.by_name[name], Output | Relay):
                return False
        if any(edge.name in touched for edge in program.edges):
            return False
        left = set(touched)
        while left:
            ends = {n for n in left if not any(self.reads[p] & left for p in self.movers[n])}
            if not ends:
                return False
            left -= ends
        return True


def _places(names: Sequence[frozenset[str]]) -> dict[str, list[int]]:
    """For each name the places at which it stands."""
    found: dict[str, list[int]] = {}
    for place, here in enumerate(names):
        for name in here:
            found.setdefault(name, []).append(place)
    return found


def _closed(
    names: Iterable[str], places: Mapping[str, Sequence[int]], gives: Sequence[frozenset[str]]
) -> frozenset[str]:
    """The names, what the rungs at their places give, what those give, and so on."""
    found = set(names)
    left = list(found)
    while left:
        for place in places.get(left.pop(), ()):
            fresh = gives[place] - found
            found |= fresh
            left += fresh
    return frozenset(found)


def part_of(program: Program, links: Links, shown: Collection[str]) -> Program:
    """The part of a program on which these outputs depend. Its properties are the assumptions that
    speak of it, and what these speak of belongs to it."""
    assumed = [item for item in program.properties if item.kind == "assume"]
    speaks = [frozenset(leaf.name for leaf in leaves(item.circuit)) for item in assumed]
    kept = links.cone(shown)
    chosen: set[int] = set()
    while more := {n for n, names in enumerate(speaks) if n not in chosen and names & kept}:
        chosen |= more
        kept = links.cone(kept.union(*(speaks[n] for n in more)))
    rungs = [
        replace(rung, actions=tuple(a for a in rung.actions if a.name in kept))
        for rung in program.rungs
    ]
    return replace(
        program,
        devices=tuple(device for device in program.devices if device.name in kept),
        rungs=tuple(rung for rung in rungs if rung.actions),
        properties=tuple(assumed[n] for n in sorted(chosen)),
        scenarios=(),
    )


def moved_above(program: Program, upper: int, lower: int) -> Program:
    """The program in which the rung at place `lower` (from 0) stands directly above the one at
    place `upper`. Numbers and memories stay, so that they mean the same in both."""
    rungs = program.rungs
    order = (*rungs[:upper], rungs[lower], *rungs[upper:lower], *rungs[lower + 1 :])
    return replace(program, rungs=order)


def reordered(part: Program, order: Sequence[Rung]) -> Program:
    """A part of a program with its rungs in the order that these have, by their numbers."""
    place = {rung.number: n for n, rung in enumerate(order)}
    return replace(part, rungs=tuple(sorted(part.rungs, key=lambda r: place[r.number])))
