"""The sums of a panel, all together: supplies, wires, contacts, fuses, voltages and coils.

Owns the judgement of the supplies and the list of everything that failed or is unknown, so that a
paper, a document for programs and an exit code cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rungs.panel.contacts import Duty, duties
from rungs.panel.loads import (
    NANO,
    Feeder,
    Feeding,
    Loose,
    amps_of,
    feeding,
    loads_at_rest,
    loads_when_dark,
    total,
)
from rungs.panel.protection import (
    Apart,
    Class2,
    Fuse,
    Mix,
    Voltage,
    class_2,
    fuse_for,
    inductive,
    kept_apart,
    mixed,
    voltages,
)
from rungs.panel.verdict import Verdict, together
from rungs.panel.wires import InputWire, Limits, LoadWire, input_wires, limits, load_wires
from rungs.panel.worst import SECONDS, Worst, worst_load
from rungs.program.nodes import Program

if TYPE_CHECKING:
    # takes longer to load than the sums take
    from rungs.table.board import Board


@dataclass(frozen=True, slots=True)
class SupplySum:
    """One supply and what its loads draw, in A.

    `usable` is the rating less the reserve. `at_rest`: after power-up with every switch left alone.
    `dark`: every relay coil off, as on a board without power. `power_up`: what the board's relays
    may do before the first scan, None where no board is named. `all_on`: all loads that are given.
    `worst` is the heaviest that the program can reach; `on` the loads of that state. `fed` names
    the outputs, `by_volts` those of them that name no supply and fit no other, `unknown` those
    without a load, `perhaps` those that may hang on another supply too. The verdict weighs the
    heaviest of worst, dark and power_up against `usable`.
    """

    supply: str
    volts: float
    rated: float
    reserve_percent: float
    usable: float
    at_rest: float
    dark: float
    power_up: float | None
    worst_at_most: float
    worst_seen: float
    exact: bool
    on: tuple[str, ...]
    steps: tuple[str, ...]
    reason: str
    all_on: float
    all_on_words: str
    fed: tuple[str, ...]
    by_volts: tuple[str, ...]
    unknown: tuple[str, ...]
    perhaps: tuple[str, ...]
    verdict: Verdict
    why: str


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that failed or is unknown: what it is about, and why or what to write."""

    verdict: Verdict
    about: str
    words: str


@dataclass(frozen=True, slots=True)
class Sums:
    """The sums of one panel. `remarks` hold all that failed, then all that is unknown."""

    file: str
    title: str
    board: str
    limits: Limits
    supplies: tuple[SupplySum, ...]
    loose: tuple[Loose, ...]
    load_wires: tuple[LoadWire, ...]
    input_wires: tuple[InputWire, ...]
    duties: tuple[Duty, ...]
    fuses: tuple[Fuse, ...]
    voltages: tuple[Voltage, ...]
    mixed: tuple[Mix, ...]
    class_2: tuple[Class2, ...]
    inductive: tuple[str, ...]
    kept_apart: tuple[Apart, ...]
    assumptions: int
    remarks: tuple[Remark, ...]

    @property
    def verdict(self) -> Verdict:
        """The verdict on the whole panel."""
        return together(remark.verdict for remark in self.remarks)

    def count(self, verdict: Verdict) -> int:
        """How many remarks there are of one verdict."""
        return sum(remark.verdict == verdict for remark in self.remarks)


def panel_sums(program: Program, board: Board | None = None, seconds: float = SECONDS) -> Sums:
    """The sums of a checked program, on a board where one is given.

    `seconds` is about how long the heaviest state of one supply may be looked for.
    """
    fed = feeding(program)
    rest = loads_at_rest(program)
    chosen = limits(program.design)
    worsts = [worst_load(program, feeder.known, seconds) for feeder in fed.feeders]
    pairs = list(zip(fed.feeders, worsts, strict=True))
    supplies = tuple(_supply(feeder, worst, rest, chosen, board, fed) for feeder, worst in pairs)
    wires, contacts = load_wires(program), duties(program, board)
    volts, mixes = voltages(program), mixed(program)
    inputs = input_wires(program)
    fuses = (
        *(
            fuse_for(feeder.supply.name, "supply", _heaviest(feeder, worst))
            for (feeder, worst), sums in zip(pairs, supplies, strict=True)
            if feeder.known and not sums.unknown and not sums.perhaps
        ),
        *(
            fuse_for(o.name, "output", round(o.load.amps * NANO))
            for o in program.outputs
            if o.load is not None
        ),
    )
    found = _remarks(supplies, fed.loose, wires, inputs, contacts, fuses, volts, mixes)
    remarks = sorted(found, key=lambda remark: remark.verdict != "fail")
    return Sums(
        program.source.name,
        program.title,
        "" if board is None else board.identity,
        chosen,
        supplies,
        fed.loose,
        wires,
        inputs,
        contacts,
        fuses,
        volts,
        mixes,
        class_2(program),
        inductive(program),
        kept_apart(program),
        sum(item.kind == "assume" for item in program.properties),
        tuple(remarks),
    )


def _dark(feeder: Feeder) -> int:
    known = feeder.known
    return total(known, loads_when_dark([f.output for f in feeder.fed]) & known.keys())


def _heaviest(feeder: Feeder, worst: Worst) -> int:
    return max(worst.bound, _dark(feeder))


def _power_up(feeder: Feeder, board: Board | None) -> int | None:
    """What the loads draw at most before the first scan, by what the board's relays do then."""
    known = feeder.known
    if board is None:
        return None
    match board.relays.at_power_up:
        case "off" | "last":
            # `last` is a state that the program has been in, and no heavier than its worst
            return _dark(feeder) if board.relays.at_power_up == "off" else 0
        case "on":
            coils_on = {f.output.name for f in feeder.fed if f.output.side == "NO"}
            return total(known, coils_on & known.keys())
        case "unknown":
            return total(known, known)


def _supply(
    feeder: Feeder,
    worst: Worst,
    rest: frozenset[str],
    chosen: Limits,
    board: Board | None,
    fed: Feeding,
) -> SupplySum:
    supply, known = feeder.supply, feeder.known
    rated = round(supply.amps * NANO)
    usable = round(supply.amps * NANO * (100 - chosen.reserve) / 100)
    dark, power_up = _dark(feeder), _power_up(feeder, board)
    perhaps = tuple(each.output.name for each in fed.loose if supply.name in each.supplies)
    sure = board is not None and board.relays.at_power_up != "unknown"
    least = max(worst.seen, dark, (power_up or 0) if sure else 0)
    most = max(worst.bound, least, power_up or 0)
    verdict, why = _judged(
        (least, most),
        (usable, rated),
        feeder.unknown,
        perhaps,
        chosen.reserve,
    )
    everything = total(known, known)
    if everything > rated:
        all_on = "more than the supply has: only the program keeps them apart"
    elif everything > usable:
        all_on = "eats into the reserve"
    else:
        all_on = "within the reserve"
    if feeder.unknown or perhaps:
        all_on = "not all are known" if everything <= usable else f"{all_on}; not all are known"
    return SupplySum(
        supply.name,
        supply.volts,
        supply.amps,
        chosen.reserve,
        amps_of(usable),
        amps_of(total(known, rest & known.keys())),
        amps_of(dark),
        None if power_up is None else amps_of(power_up),
        amps_of(worst.bound),
        amps_of(worst.seen),
        worst.exact,
        worst.on,
        worst.steps,
        worst.reason,
        amps_of(everything),
        all_on,
        tuple(f.output.name for f in feeder.fed),
        tuple(f.output.name for f in feeder.fed if f.how == "volts"),
        feeder.unknown,
        perhaps,
        verdict,
        why,
    )


def _judged(
    between: tuple[int, int],
    room: tuple[int, int],
    unknown: tuple[str, ...],
    perhaps: tuple[str, ...],
    reserve: float,
) -> tuple[Verdict, str]:
    """The verdict on a supply: `between` are the least and the most that its heaviest state may
    draw, `room` what it may give with and without the reserve."""
    least, most = between
    usable, rated = room
    if least > rated:
        return "fail", f"{amps_of(least):g} A can be drawn, and it gives {amps_of(rated):g} A"
    if least > usable:
        left = f"{amps_of(usable):g} A are left beside {reserve:g} % in reserve"
        return "fail", f"{amps_of(least):g} A can be drawn, and {left}"
    if unknown:
        names = ", ".join(unknown)
        return "unknown", f"the load of {names} is not given: write load 24 V 1.2 A led"
    if perhaps:
        names = ", ".join(perhaps)
        return "unknown", f"{names} may hang on it too: write from SUPPLY, and the load"
    if most > usable:
        return "unknown", f"between {amps_of(least):g} A and {amps_of(most):g} A can be drawn"
    return "pass", ""


def _remarks(
    supplies: tuple[SupplySum, ...],
    loose: tuple[Loose, ...],
    wires: tuple[LoadWire, ...],
    inputs: tuple[InputWire, ...],
    contacts: tuple[Duty, ...],
    fuses: tuple[Fuse, ...],
    volts: tuple[Voltage, ...],
    mixes: tuple[Mix, ...],
) -> Iterator[Remark]:
    """All that did not pass, in the order of the sums."""
    for supply in supplies:
        if supply.verdict != "pass":
            yield Remark(supply.verdict, f"supply {supply.supply}", supply.why)
    for each in loose:
        may = " or ".join(each.supplies) or "no supply of the file"
        words = f"fed by {may}: write supply NAME 24 V 4 A, and from NAME"
        yield Remark("unknown", f"feed of {each.output.name}", words)
    for wire in wires:
        if wire.verdict != "pass":
            yield Remark(wire.verdict, f"wire of {wire.output}", wire.why)
    for run in inputs:
        if run.loop_ohms is None:
            yield Remark("unknown", f"wire of {run.input}", run.why)
    for duty in contacts:
        if duty.verdict != "pass":
            yield Remark(duty.verdict, f"contact of {duty.output}", duty.why)
    for fuse in fuses:
        if fuse.fuse_amps is None:
            words = f"no fuse of the series has {fuse.least_amps:.3g} A"
            yield Remark("unknown", f"fuse of {fuse.what}", words)
    for voltage in volts:
        if voltage.verdict != "pass":
            names = ", ".join(voltage.names)
            yield Remark(voltage.verdict, f"{voltage.volts:g} V ({names})", voltage.words)
    for mix in mixes:
        words = (
            f"its {mix.volts:g} V stand beside extra-low voltage on one board; give it a board and "
            "a cable of its own, or switch it with a contactor"
        )
        yield Remark("fail", f"load of {mix.output}", words)
