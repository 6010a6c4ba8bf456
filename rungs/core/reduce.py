"""State that cannot matter, taken out of a core: a pass `f(core, keep) -> core`.

Most edge memories, rung memories and contacts are read by nothing that shows outside; each one left
in would double the states of a table.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

from rungs.core.nodes import FALSE, Core, CoreTimer, Gates, Lit, Number, images


def reduce(core: Core, keep: Collection[str]) -> Core:
    """The core as seen through the outputs named in `keep`, scan for scan the same for them.

    Out go signals, timers and state bits that no kept output depends on, now or later; bits that
    stay 0 for ever; and bits that are always equal to another one. Powers of rungs stay in, as far
    as they can be told from what is left.
    """
    shown = tuple(output for output in core.outputs if output.name in keep)
    core = replace(core, outputs=shown)
    merged = _merge(_only_needed(core))
    return _only_needed(merged)


def cone(core: Core, keep: Collection[str]) -> Core:
    """The same without looking for equal bits: quick, for a core that has been reduced before."""
    shown = tuple(output for output in core.outputs if output.name in keep)
    return _only_needed(replace(core, outputs=shown))


def _needed(core: Core) -> set[int]:
    """The nodes on which the outputs depend, over any number of scans."""
    timer_of = {timer.due: timer for timer in core.timers}
    first_state, first_gate = core.first_state, core.first_gate
    open_ends = [output.lit >> 1 for output in core.outputs]
    needed: set[int] = {0}
    while open_ends:
        node = open_ends.pop()
        if node in needed:
            continue
        needed.add(node)
        if node >= first_gate:
            open_ends += [lit >> 1 for lit in core.gates[node - first_gate]]
        elif node >= first_state:
            open_ends.append(core.state[node - first_state].next >> 1)
        elif node - 1 in timer_of:
            timer = timer_of[node - 1]
            lits = (timer.run, timer.clear_before, timer.clear_after)
            open_ends += [lit >> 1 for lit in lits]
    return needed


def _only_needed(core: Core) -> Core:
    needed = _needed(core)
    signals = [i for i in range(len(core.signals)) if 1 + i in needed]
    state = [i for i in range(len(core.state)) if core.first_state + i in needed]
    same: dict[int, Lit] = {}
    for place, index in enumerate(signals):
        same[1 + index] = (1 + place) * 2
    for place, index in enumerate(state):
        same[core.first_state + index] = (1 + len(signals) + place) * 2
    return _rebuilt(core, signals, state, same)


def _merge(core: Core) -> Core:
    """State bits that are equal in every scan are made one; those that stay 0, the constant.

    All bits of one kind of memory begin equal (0); they are taken for equal until the functions of
    their next values differ, and then told apart. What is left when nothing differs any more is
    equal by induction over the scans.
    """
    group: list[int] = [1 + bit.retained for bit in core.state]  # group 0: stays 0 for ever
    # at first everything might stay 0; a bit that can become 1 moves to its own kind
    zero = [True] * len(core.state)
    while True:
        leader: dict[int, int] = {}
        same: dict[int, Lit] = {1 + i: (1 + i) * 2 for i in range(len(core.signals))}
        for index, number in enumerate(group):
            node = core.first_state + index
            if zero[index]:
                same[node] = FALSE
            else:
                same[node] = (core.first_state + leader.setdefault(number, index)) * 2
        lits = images(core, same, Gates(len(core.signals) + len(core.state)))
        moved = False
        for index, bit in enumerate(core.state):
            if zero[index] and lits[bit.next >> 1] ^ (bit.next & 1) != FALSE:
                zero[index] = False
                moved = True
        if moved:
            continue
        keys: dict[tuple[int, Lit], int] = {}
        fresh = []
        for index, bit in enumerate(core.state):
            after = lits[bit.next >> 1] ^ (bit.next & 1)
            key = (group[index], after)
            fresh.append(0 if zero[index] else keys.setdefault(key, 3 + len(keys)))
        if len(set(fresh)) == len({0 if z else g for z, g in zip(zero, group, strict=True)}):
            state = sorted(leader.values())
            place_of = {index: place for place, index in enumerate(state)}
            final: dict[int, Lit] = {1 + i: (1 + i) * 2 for i in range(len(core.signals))}
            for index, number in enumerate(group):
                if zero[index]:
                    final[core.first_state + index] = FALSE
                else:
                    place = place_of[leader[number]]
                    final[core.first_state + index] = (1 + len(core.signals) + place) * 2
            return _rebuilt(core, list(range(len(core.signals))), state, final)
        group = fresh


def _rebuilt(core: Core, signals: list[int], state: list[int], same: dict[int, Lit]) -> Core:
    """A core of the given signals and state bits; `same` gives the literal that stands for each
    old leaf. Gates that nothing kept reads are left out."""
    gates = Gates(len(signals) + len(state))
    lits: list[Lit | None] = [None] * (core.first_gate + len(core.gates))
    lits[0] = FALSE
    for node, lit in same.items():
        lits[node] = lit
    due_place = {index: place for place, index in enumerate(signals)}
    timers = [timer for timer in core.timers if timer.due in due_place]
    wanted = [core.state[index].next for index in state]
    wanted += [output.lit for output in core.outputs]
    wanted += [lit for t in timers for lit in (t.run, t.clear_before, t.clear_after)]
    used = _cone(core, wanted)
    for number, gate in enumerate(core.gates, core.first_gate):
        if number in used:
            parts = [lits[lit >> 1] for lit in gate]
            known = [
                part ^ (lit & 1) for part, lit in zip(parts, gate, strict=True) if part is not None
            ]
            assert len(known) == len(gate)
            lits[number] = gates.conj(*known)

    def image(lit: Lit) -> Lit:
        found = lits[lit >> 1]
        assert found is not None
        return found ^ (lit & 1)

    place_of = {index: place for place, index in enumerate(state)}
    numbers = [
        Number(n.name, tuple(place_of[bit] for bit in n.bits), n.most)
        for n in core.numbers
        if all(bit in place_of for bit in n.bits)
    ]
    powers = [p for p in core.powers if lits[p.lit >> 1] is not None]
    return replace(
        core,
        signals=tuple(core.signals[index] for index in signals),
        state=tuple(replace(core.state[i], next=image(core.state[i].next)) for i in state),
        outputs=tuple(replace(output, lit=image(output.lit)) for output in core.outputs),
        timers=tuple(_timer(timer, due_place[timer.due], image) for timer in timers),
        numbers=tuple(numbers),
        powers=tuple(replace(p, lit=image(p.lit)) for p in powers),
        gates=tuple(gates.made),
    )


def _timer(timer: CoreTimer, due: int, image: Callable[[Lit], Lit]) -> CoreTimer:
    return replace(
        timer,
        due=due,
        run=image(timer.run),
        clear_before=image(timer.clear_before),
        clear_after=image(timer.clear_after),
    )


def _cone(core: Core, wanted: list[Lit]) -> set[int]:
    used: set[int] = set()
    open_ends = [lit >> 1 for lit in wanted]
    while open_ends:
        node = open_ends.pop()
        if node < core.first_gate or node in used:
            continue
        used.add(node)
        open_ends += [lit >> 1 for lit in core.gates[node - core.first_gate]]
    return used
