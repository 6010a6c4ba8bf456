"""A program in two orders as one core, so that one search looks at both in every run.

What is outside the panel is the same for both: they share the signals, and a timer has a twin only
where the order can make the two start apart.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from rungs.core.nodes import FALSE, Core, CoreOutput, CoreTimer, Gates, Lit, StateBit
from rungs.core.reduce import reduce
from rungs.prove.question import image_of

MOST_LATE = 3  # scans of a debounce that are kept in mind

# the outputs of the cores made here
DIFFERS = "differs"
RESTS = "rests differently"
IMPOSSIBLE = "impossible"
HASTY = "hasty"

OTHER = "other "  # begins the name of what the second program has for itself

# what is kept of a timer with a twin: of each of them, and of how far apart they started
_KEPT = ("ran", "new", "due")
_APART = ("level", "ahead", "behind")
_WORDS = (*(side + word for word in _KEPT for side in ("", OTHER)), *_APART)

_Image = Callable[[Lit], Lit]


def doubled(
    core: Core,
    other: Core,
    shown: Collection[str],
    apart: Collection[str],
    assumed: Collection[str],
) -> Core:
    """One core of two programs that differ in the order of their rungs: shared signals, a state
    for each, and a second timer for each device of `apart`.

    Its outputs: whether any output of `shown` DIFFERS, whether the due flags of a timer and its
    twin are IMPOSSIBLE, and those of `assumed`.
    """
    return _Doubled(core, other, apart).made(shown, assumed)


class _Doubled:
    def __init__(self, core: Core, other: Core, apart: Collection[str]) -> None:
        self.core, self.other = core, other
        twins = [n for n, timer in enumerate(core.timers) if timer.device in apart]
        self.signals = list(core.signals)
        self.state = [*core.state, *(replace(b, name=OTHER + b.name) for b in other.state)]
        self.due_of = {n: self._due(core.timers[n]) for n in twins}
        self.followed = [
            n
            for n in twins
            if core.timers[n].kind == "on-delay" and core.timers[n].preset > core.period
        ]
        self.state += [_memory(f"{word} {n}") for n in self.followed for word in _WORDS]
        self.place = {bit.name: n for n, bit in enumerate(self.state)}
        self.gates = Gates(len(self.signals) + len(self.state))
        self.next: dict[str, Lit] = {}

    def made(self, shown: Collection[str], assumed: Collection[str]) -> Core:
        """The core with its outputs, without what these do not need."""
        core, other, gates = self.core, self.other, self.gates
        mine, theirs = self._images()
        for bit, twin in zip(core.state, other.state, strict=True):
            self.next[bit.name], self.next[OTHER + bit.name] = mine(bit.next), theirs(twin.next)
        impossible = gates.disj(*[self._follow(n, mine, theirs) for n in self.followed])
        differs = gates.disj(
            *[
                gates.differ(mine(one.lit), theirs(two.lit))
                for one, two in zip(core.outputs, other.outputs, strict=True)
                if one.name in shown
            ]
        )
        timers = [_put(timer, mine) for timer in core.timers]
        for number, due in self.due_of.items():
            twin_timer = _put(other.timers[number], theirs)
            timers.append(replace(twin_timer, name=OTHER + twin_timer.name, due=due))
        outputs = (
            CoreOutput(DIFFERS, "asked", differs),
            CoreOutput(IMPOSSIBLE, "asked", impossible),
            *(replace(o, lit=mine(o.lit)) for o in core.outputs if o.name in assumed),
        )
        made = replace(
            core,
            signals=tuple(self.signals),
            state=tuple(replace(bit, next=self.next[bit.name]) for bit in self.state),
            gates=tuple(gates.made),
            outputs=outputs,
            timers=tuple(timers),
            numbers=(),
            powers=(),
        )
        return reduce(made, [output.name for output in outputs])

    def _due(self, timer: CoreTimer) -> int:
        """A due flag for the twin of a timer."""
        signal = self.signals[timer.due]
        self.signals.append(replace(signal, name=OTHER + signal.name))
        return len(self.signals) - 1

    def _was(self, name: str) -> Lit:
        return _signal(len(self.signals) + self.place[name])

    def _images(self) -> tuple[_Image, _Image]:
        """What the literals of both cores are in the one that is made."""
        core, other = self.core, self.other
        signals = {1 + n: _signal(n) for n in range(len(core.signals))}
        mine, theirs = dict(signals), dict(signals)
        for number, bit in enumerate(core.state, core.first_state):
            mine[number] = self._was(bit.name)
            theirs[number] = self._was(OTHER + bit.name)
        for number, due in self.due_of.items():
            theirs[1 + core.timers[number].due] = _signal(due)
        return image_of(core, mine, self.gates), image_of(other, theirs, self.gates)

    def _follow(self, number: int, mine: _Image, theirs: _Image) -> Lit:
        """Keep how far apart a timer and its twin started; whether their flags cannot be. Twins
        that started in one scan, or in two that follow each other, run out with the same distance.
        """
        gates, timer = self.gates, self.core.timers[number]
        runs = (mine(timer.run), theirs(self.other.timers[number].run))
        dues = (_signal(timer.due), _signal(self.due_of[number]))
        names = [(f"{word} {number}", f"{OTHER}{word} {number}") for word in _KEPT]
        ran, new, due = [(self._was(a), self._was(b)) for a, b in names]
        starts = tuple(gates.conj(run, had ^ 1) for run, had in zip(runs, ran, strict=True))
        for both, lits in zip(names, (runs, starts, dues), strict=True):
            self.next.update(zip(both, lits, strict=True))
        fresh = {
            "level": gates.conj(*starts),
            "ahead": gates.conj(new[0], starts[1]),
            "behind": gates.conj(new[1], starts[0]),
        }
        # the one that started first may have run out in this very scan; the other is to follow
        last = tuple(gates.disj(run, lit) for run, lit in zip(runs, dues, strict=True))
        held = {"level": runs, "ahead": (last[0], runs[1]), "behind": (runs[0], last[1])}
        for word, begins in fresh.items():
            stays = gates.conj(*ran, *held[word], self._was(f"{word} {number}"))
            begins = gates.conj(begins, *runs)
            self.next[f"{word} {number}"] = gates.disj(begins, stays)
        return gates.disj(
            gates.conj(self._was(f"level {number}"), gates.differ(*dues)),
            gates.conj(self._was(f"ahead {number}"), gates.differ(dues[1], due[0])),
            gates.conj(self._was(f"behind {number}"), gates.differ(dues[0], due[1])),
        )


def resting(core: Core, late: Mapping[str, int]) -> Core:
    """A doubled core that says as well whether it RESTS differently, in a scan that changed
    nothing, and whether a switch or a clock was HASTY: it moved before a scan had changed nothing.

    Inputs of `late` cannot change again for that many scans, for their images are debounced; of
    more than MOST_LATE scans only so many are kept in mind.
    """
    seen = [n for n, s in enumerate(core.signals) if s.kind in ("input", "clock", "fault")]
    names = [core.signals[n].name for n in seen]
    bounces = [
        (place, step)
        for place, name in enumerate(names)
        for step in range(min(late.get(name, 0), MOST_LATE))
    ]
    memories = [
        _memory("moved"),
        *(_memory(f"showed {name}") for name in names),
        *(_memory(f"bounced {names[place]} {step}") for place, step in bounces),
    ]
    first_more = core.first_state + len(core.state)
    gates = Gates(first_more - 1 + len(memories))
    image = image_of(core, {node: node * 2 for node in range(1, first_more)}, gates)
    moved, *showed = (node * 2 for node in range(first_more, first_more + 1 + len(seen)))
    began = gates.disj(*[_signal(n) for n, s in enumerate(core.signals) if s.kind == "first_scan"])
    changes = [
        gates.differ(node * 2, image(bit.next))
        for node, bit in enumerate(core.state, core.first_state)
    ]
    changes += [_signal(n) for n, signal in enumerate(core.signals) if signal.one_scan]
    moves = gates.disj(*changes, began)
    acts = [gates.differ(was, _signal(n)) for was, n in zip(showed, seen, strict=True)]
    hasty = gates.conj(moved, began ^ 1, gates.disj(*acts))
    following = [moves, *(_signal(n) for n in seen)]
    blocked = []
    for node, (place, step) in enumerate(bounces, first_more + 1 + len(seen)):
        following.append((node - 1) * 2 if step else gates.disj(acts[place], began))
        blocked.append(gates.conj(node * 2, acts[place], began ^ 1))
    shown = {output.name: image(output.lit) for output in core.outputs}
    shown[IMPOSSIBLE] = gates.disj(shown[IMPOSSIBLE], *blocked)
    return replace(
        core,
        state=(
            *(replace(bit, next=image(bit.next)) for bit in core.state),
            *(replace(bit, next=lit) for bit, lit in zip(memories, following, strict=True)),
        ),
        outputs=(
            *(replace(output, lit=shown[output.name]) for output in core.outputs),
            CoreOutput(RESTS, "asked", gates.conj(shown[DIFFERS], moves ^ 1)),
            CoreOutput(HASTY, "asked", hasty),
        ),
        timers=tuple(_put(timer, image) for timer in core.timers),
        gates=tuple(gates.made),
    )


def _signal(number: int) -> Lit:
    return (1 + number) * 2


def _memory(name: str) -> StateBit:
    """A bit that is kept besides those of the programs; what it becomes is set later."""
    return StateBit(name, "contact", "", name, FALSE)


def _put(timer: CoreTimer, image: _Image) -> CoreTimer:
    """A timer in the core that is made."""
    return replace(
        timer,
        run=image(timer.run),
        clear_before=image(timer.clear_before),
        clear_after=image(timer.clear_after),
    )
