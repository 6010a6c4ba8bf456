"""What every contact of the ladder did when its rung was worked, for the moment that is shown.

A contact above the rung that drives it shows what that rung read, not what came after, so that the
power in the drawing always agrees with what the coils did.
"""

from __future__ import annotations

from dataclasses import replace

from rungs.bench.looks import Moment
from rungs.program.nodes import Clock, Input, Leaf, Program, Rung, leaves
from rungs.scan.forces import hold, work_held
from rungs.scan.reference import State, closed
from rungs.scan.runner import Panel


def part_way(panel: Panel, upto: int) -> State:
    """The image of the panel's last scan when its first `upto` rungs are worked, made anew; the
    state is the caller's."""
    program, before = panel.program, panel.before
    now = _begun(panel)
    hold(now, panel.held)
    for rung in program.rungs[:upto]:
        work_held(program, before, now, rung, panel.held)
    return now


def _begun(panel: Panel) -> State:
    """The last scan once more, with inputs and clocks read and no rung worked."""
    before, after = panel.before, panel.state
    given = {d.name for d in panel.program.devices if isinstance(d, Input | Clock)}
    return replace(
        after,
        contacts={
            name: after.contacts[name] if name in given else contact
            for name, contact in before.contacts.items()
        },
        coils=dict(before.coils),
        counts=dict(before.counts),
        # debounce begins and ends before the rungs are worked
        since={
            **{n: t for n, t in before.since.items() if n not in given},
            **{n: t for n, t in after.since.items() if n in given},
        },
        edges=dict(before.edges),
        powers=dict(before.powers),
        moved_by=dict(before.moved_by),
    )


class Readings:
    """Looks at the rungs of one program; what was found is kept until another moment is asked."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._of: tuple[State, State] | None = None
        self._whole = False  # every rung has been worked once more
        self._began: State | None = None
        self._drivers: dict[str, tuple[int, int]] = {}  # the first and the last rung of each
        for rung in program.rungs:
            for action in rung.actions:
                first, _ = self._drivers.get(action.name, (rung.number, 0))
                self._drivers[action.name] = (first, rung.number)
        self._found: dict[int, tuple[bool, ...]] = {}
        self._scratch: State | None = None

    def of(self, moment: Moment, rung: Rung) -> tuple[bool, ...]:
        """Whether each contact of a rung, in reading order, conducted when the rung was worked;
        of a rung that waits for its turn, whether it would now."""
        image = moment.image
        if self._of is None or self._of[0] is not image or self._of[1] is not moment.before:
            self._of = (image, moment.before)
            self._found = {}
            self._whole = False
            # asking an edge contact lets it remember, and the panel's memory is not ours
            self._scratch = replace(image, edges=dict(image.edges))
            self._began = None
        found = self._found.get(rung.number)
        if found is None:
            if not self._whole and image.powered and (moment.part_way or moment.panel.held):
                self._found, self._whole = self._replay(moment), True
            found = self._found.get(rung.number)
        if found is None:
            found = self._found[rung.number] = tuple(
                self._conducts(moment, rung.number, leaf) for leaf in leaves(rung.circuit)
            )
        return found

    def _conducts(self, moment: Moment, number: int, leaf: Leaf) -> bool:
        """One contact in its turn: what it looks at has been driven in this scan already, or is
        still to be; where rungs above and below drive it, the scan is worked once more."""
        assert self._scratch is not None
        state = self._scratch
        first, last = self._drivers.get(leaf.name, (0, 0))
        if number <= last and moment.image.powered and moment.upto is None:
            if first < number:
                if not self._whole:
                    self._found, self._whole = self._replay(moment), True
                index = leaves(self._program.rungs[number - 1].circuit).index(leaf)
                return self._found[number][index]
            if self._began is None:
                self._began = _begun(moment.panel)
            state = self._began
        return closed(self._program, moment.before, state, leaf)

    def _replay(self, moment: Moment) -> dict[int, tuple[bool, ...]]:
        """Work the scan once more on a copy, and note what every contact did in its turn."""
        program, before, held = self._program, moment.before, moment.panel.held
        now = _begun(moment.panel)
        hold(now, held)
        found: dict[int, tuple[bool, ...]] = {}
        for rung in program.rungs:
            if moment.upto is not None and rung.number > moment.upto:
                break
            found[rung.number] = tuple(
                closed(program, before, now, leaf) for leaf in leaves(rung.circuit)
            )
            work_held(program, before, now, rung, held)
        return found
