"""Which outputs the clocks alone decide, and when such an output is on.

What an output depends on is read off the core. What it remembers is not argued about but tried: the
panel is run through the week from many earlier moments at which power may have come, and from every
value that a retained device may have held then. Only an output for which all of these runs agree is
decided by its clocks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import Final

from rungs.core.lower import LowerError, lower
from rungs.core.nodes import PERIOD, Core, Gates, Lit, images
from rungs.core.patterns import variable_masks
from rungs.core.reduce import cone, reduce
from rungs.program.nodes import Clock, Input, Program
from rungs.scan.calendar import Calendar
from rungs.scan.fast import FastPanel
from rungs.scan.zone import DAY
from rungs.week.data import Decides, Decision, Kind, Row, Span

# a week and a day: after it every weekly clock has come round once
POWERED: Final = 8 * DAY
_FAR: Final = 370 * DAY  # so that the seasons have been seen as well
_MOST_BETWEEN: Final = 6
_MOST_KEPT: Final = 5  # bits that outlast a power cut; each doubles the runs
MOST_SCANS: Final = 20_000  # of one run; about 200 ms
_SMALL: Final = 14  # signals and bits of a core of which every pattern is looked at

Flips = tuple[tuple[int, bool], ...]  # (wall time, closed), the first at the beginning of the week
Ends = tuple[bool, bool]  # closed in the scan before the week, and in the one after it


class Outputs:
    """The outputs of one program, as seen from its clocks.

    `low` and `high` are the instants at which the week begins and ends.
    """

    def __init__(self, program: Program, calendar: Calendar, low: int, high: int) -> None:
        self._program = program
        self._calendar = calendar
        self._low = low
        self._high = high
        self._problem = ""
        try:
            self._core: Core | None = lower(program)
        except LowerError as error:
            self._core, self._problem = None, str(error)

    def look(self) -> Iterator[tuple[Decision, Row | None]]:
        """Every output in file order with what decides it, and its row if it has one."""
        for output in self._program.outputs:
            if self._core is None:
                yield Decision(output.name, "busy", (), (), f"unknown: {self._problem}"), None
                continue
            core = only_needed(reduce(self._core, (output.name,)))
            decision, spans = self._decision(output.name, core)
            row = None
            if spans is not None:
                kind: Kind = "decided" if decision.by == "clocks" else "at rest"
                words = f"by {_listed(decision.clocks)}"
                if output.side == "NC":
                    words += "; its load is on while this is off"
                row = Row(output.name, kind, words, False, spans, output.label)
            yield decision, row

    def _decision(self, name: str, core: Core) -> tuple[Decision, tuple[Span, ...] | None]:
        clocks, inputs = depends_on(core)
        if not clocks:
            by: Decides = "inputs" if inputs else "nothing"
            text = f"the clocks have no part in it; {_listed(inputs)} decide it"
            if len(inputs) == 1:
                text = f"the clocks have no part in it; {inputs[0]} decides it"
            if not inputs:
                text = "neither an input nor a clock moves it"
            return Decision(name, by, (), inputs, text), None
        spans, problem = self._runs(core, clocks, inputs)
        if inputs:
            text = f"{_listed(inputs)} take part besides {_listed(clocks)}"
            if len(inputs) == 1:
                text = f"{inputs[0]} takes part besides {_listed(clocks)}"
            if problem:
                text += f"; and with every input at rest {problem}"
            return Decision(name, "inputs", clocks, inputs, text), spans
        if problem:
            by = "start" if problem.startswith("it depends") else "busy"
            return Decision(name, by, clocks, (), f"no input, but {problem}"), None
        text = f"{_listed(clocks)} alone"
        if core.state or core.timers:
            text += ", with what the panel remembers of them"
        return Decision(name, "clocks", clocks, (), text), spans

    # --- runs

    def _runs(
        self, core: Core, clocks: tuple[str, ...], inputs: tuple[str, ...]
    ) -> tuple[tuple[Span, ...] | None, str]:
        """When the output is on in the week while no input moves; or None and why not."""
        kept = [n for n, bit in enumerate(core.state) if bit.retained]
        holding = [n for n, timer in enumerate(core.timers) if timer.retained]
        if len(kept) + len(holding) > _MOST_KEPT:
            return None, "it keeps too much through a power cut to try every case"
        devices = self._program.devices
        small = replace(
            self._program,
            devices=tuple(
                d
                for d in devices
                if (isinstance(d, Clock) and d.name in clocks)
                or (isinstance(d, Input) and d.name in inputs)
            ),
        )
        calendar = Calendar(self._calendar.site, self._calendar.holidays, small.clocks)
        first: tuple[Flips, Ends] | None = None
        starts = self._starts(calendar) if core.state or core.timers or _first(core) else None
        for start in starts or (self._low - DAY,):
            for values in product((False, True), repeat=len(kept) + len(holding)):
                panel = FastPanel(small, start, PERIOD, True, calendar, core)
                bits = list(panel.bits)
                for place, value in zip(kept, values, strict=False):
                    bits[place] = value
                panel.bits = tuple(bits)
                for place, value in zip(holding, values[len(kept) :], strict=True):
                    panel.timers.held[place] = core.timers[place].preset if value else 0
                flips = self._flips(panel, core.outputs[0].name, start)
                if flips is None:
                    return None, (
                        f"it changes too often to be worked out ({MOST_SCANS:,} scans of a run)"
                    )
                if first is not None and flips[0] != first[0]:
                    return None, (
                        "it depends on when the panel was powered up, or on what was kept then"
                    )
                first = flips
        assert first is not None, "there is always a start"
        return self._spans(*first), ""

    def _starts(self, calendar: Calendar) -> tuple[int, ...]:
        """Moments at which power may have come: in the week that ends eight days before, round the
        changes of each clock and in stretches between them; with seasons a year before as well."""
        low = self._low - 2 * POWERED
        found = [low, *_round_changes(calendar, low, self._low - POWERED)]
        between = []
        at: int | None = low
        while at is not None and at < self._low - POWERED:
            following = calendar.next_change(at)
            between.append((at + min(following or self._low, self._low - POWERED)) // 2)
            at = following
        found += between[:: -(-len(between) // _MOST_BETWEEN)]
        if any(c.days.season is not None or c.days.except_holidays for c in calendar.clocks):
            # what weeks that are all alike show in days may take a year where they are not
            far = self._low - _FAR
            found += [far, *_round_changes(calendar, far, self._low - POWERED)]
        # all on one grid, or the runs would differ by parts of a scan
        on_grid = (self._low - (self._low - start) // PERIOD * PERIOD for start in found)
        return tuple(dict.fromkeys(on_grid))

    def _flips(self, panel: FastPanel, name: str, start: int) -> tuple[Flips, Ends] | None:
        """The output through the week, as flips; None where that takes too many scans."""
        before = value = False
        flips: list[tuple[int, bool]] = []
        for scans, state in enumerate(panel.advance(self._high - start)):
            if scans >= MOST_SCANS:
                return None
            at, now = start + state.t, state.contacts[name]
            if at > self._low and not flips:
                flips.append((self._low, value))
            if at < self._low:
                before = now
            if at <= self._low:
                value = now
            elif now != value:
                if at < self._high:
                    flips.append((at, now))
                value = now
        return tuple(flips), (before, value)

    def _spans(self, flips: Flips, ends: Ends) -> tuple[Span, ...]:
        spans = []
        begin: int | None = None
        for at, closed in flips:
            if closed:
                begin = at
            elif begin is not None:
                spans.append(Span(begin, at, ends[0] and begin == self._low))
                begin = None
        if begin is not None:
            spans.append(Span(begin, self._high, ends[0] and begin == self._low, ends[1]))
        return tuple(spans)


def _round_changes(calendar: Calendar, low: int, high: int) -> Iterator[int]:
    """For each clock a moment in its next change from `low` on, one in the scan after that, and one
    after the change that follows: whoever counts the changes counts one less from each."""
    for clock in calendar.clocks:
        alone = Calendar(calendar.site, calendar.holidays, (clock,))
        first = alone.next_change(low)
        second = None if first is None else alone.next_change(first)
        for at in (
            first,
            None if first is None else first + 2 * PERIOD,
            second and second + PERIOD,
        ):
            if at is not None and at < high:
                yield at


def _first(core: Core) -> bool:
    return any(signal.kind == "first_scan" for signal in core.signals)


def _listed(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


# --- what a core depends on ----------------------------------------------------------------------


def depends_on(core: Core) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The clocks and the inputs that a core reads, by name, in file order."""
    clocks = tuple(signal.name for signal in core.signals if signal.kind == "clock")
    inputs = tuple(signal.name for signal in core.signals if signal.kind == "input")
    return clocks, inputs


def only_needed(core: Core) -> Core:
    """The core without what stands in its gates and can never matter there, as `door or not door`.

    Every function is looked at in all patterns of its leaves, and leaves that it does not depend on
    are put for 0; so for a small core what is left is what its outputs truly depend on, as far as
    any pattern of signals and bits may come. A larger core is given back as it is.
    """
    names = [output.name for output in core.outputs]
    while len(core.signals) + len(core.state) <= _SMALL:
        slim = cone(_slimmer(core), names)
        if len(slim.signals) == len(core.signals) and len(slim.state) == len(core.state):
            return core
        core = slim
    return core


def _slimmer(core: Core) -> Core:
    """Each function with the leaves that it does not depend on put for 0, built from anew."""
    leaves = len(core.signals) + len(core.state)
    masks = variable_masks(leaves)
    every = (1 << (1 << leaves)) - 1
    values = [0, *masks]
    for gate in core.gates:
        value = every
        for lit in gate:
            value &= values[lit >> 1] ^ (every if lit & 1 else 0)
        values.append(value)
    gates = Gates(leaves)

    def slim(lit: Lit) -> Lit:
        value = values[lit >> 1] ^ (every if lit & 1 else 0)
        kept = {}
        for place in range(leaves):
            run = 1 << (leaves - 1 - place)
            mask = masks[place]
            if (value & mask) >> run != value & (every ^ mask):
                kept[1 + place] = (1 + place) * 2
        lits = images(core, kept, gates)
        return lits[lit >> 1] ^ (lit & 1)

    state = tuple(replace(bit, next=slim(bit.next)) for bit in core.state)
    outputs = tuple(replace(output, lit=slim(output.lit)) for output in core.outputs)
    timers = tuple(
        replace(
            timer,
            run=slim(timer.run),
            clear_before=slim(timer.clear_before),
            clear_after=slim(timer.clear_after),
        )
        for timer in core.timers
    )
    powers = tuple(replace(power, lit=slim(power.lit)) for power in core.powers)
    return replace(
        core, gates=tuple(gates.made), state=state, outputs=outputs, timers=timers, powers=powers
    )
