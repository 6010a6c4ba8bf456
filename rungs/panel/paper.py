"""The panel sums as a paper: what failed first, then each sum with what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rungs.panel.contacts import Duty
from rungs.panel.sums import Sums, SupplySum
from rungs.panel.wires import PULL_IN, InputWire, LoadWire
from rungs.papers.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Paragraph,
    Points,
    Table,
    counted,
)

UNKNOWN: Final = "unknown"

CAUTIONS: Final = (
    "Sums help with sizing; they are no approval. Mains-side work, enclosures and final checks "
    "follow local code and, where it asks for one, a licensed electrician.",
    "A program or a relay board is never the only safety function: emergency stops and guards are "
    "hard-wired with certified devices.",
)


def sums_paper(sums: Sums) -> Paper:
    """The sums as blocks; every figure and verdict is taken from them."""
    title = f"Panel sums: {sums.title}" if sums.title else "Panel sums"
    return Paper("panel-sums", title, tuple(_blocks(sums)))


def _blocks(sums: Sums) -> Iterator[Block]:
    yield from map(Caution, CAUTIONS)
    yield from _outcome(sums)
    yield from _supplies(sums)
    yield from _wires(sums)
    yield from _contacts(sums)
    yield from _fuses(sums)
    yield from _voltages(sums)
    yield from _coils(sums)
    yield Heading("What these sums rest on")
    yield Points(tuple(_basis(sums)))


def _outcome(sums: Sums) -> Iterator[Block]:
    fails, unknown = sums.count("fail"), sums.count("unknown")
    yield Paragraph(
        f"{counted(fails, 'thing fails', 'things fail')}, "
        f"{counted(unknown, 'is unknown', 'are unknown')}. What is unknown is not taken as good."
    )
    if sums.remarks:
        rows = tuple((r.verdict, r.about, r.words) for r in sums.remarks)
        yield Table("remarks", ("verdict", "what", "why, or what to write"), rows)


# --- supplies


def _supplies(sums: Sums) -> Iterator[Block]:
    yield Heading("Supplies")
    rows = []
    for supply in sums.supplies:
        worst = _amps(supply.worst_at_most)
        if not supply.exact:
            worst = f"at most {worst}; {_amps(supply.worst_seen)} seen"
        rows.append(
            (
                supply.supply,
                f"{supply.volts:g} V {supply.rated:g} A",
                _amps(supply.usable),
                _amps(supply.at_rest),
                worst,
                _amps(supply.all_on),
                supply.verdict,
            )
        )
    columns = ("supply", "rating", "usable A", "at rest A", "worst A", "all on A", "verdict")
    yield Table(
        "supplies",
        columns,
        tuple(rows),
        f"Usable is the rating less {sums.limits.reserve:g} % in reserve.",
        (2, 3, 5),
        "The file has no supply, so nothing is known of what feeds the loads.",
    )
    for supply in sums.supplies:
        yield Heading(f"Supply {supply.supply}", 3)
        yield Points(tuple(_supply_points(sums, supply)))


def _supply_points(sums: Sums, supply: SupplySum) -> Iterator[str]:
    on = ", ".join(supply.on) or "none"
    if supply.exact:
        yield f"Worst state that the program can reach: {_amps(supply.worst_seen)} A (proved)."
    else:
        yield (
            f"Worst state: at most {_amps(supply.worst_at_most)} A (proved), "
            f"{_amps(supply.worst_seen)} A was seen; nothing more is known: {supply.reason}."
        )
    yield f"Loads on in {'it' if supply.exact else 'what was seen'}: {on}."
    yield "To see it: " + "; ".join(supply.steps) + "."
    yield f"All loads on: {_amps(supply.all_on)} A, {supply.all_on_words}."
    if supply.dark:
        yield (
            f"All relays without power: {_amps(supply.dark)} A, for loads on NC contacts are then "
            "on."
        )
    if supply.power_up:
        yield f"At power-up, before the first scan: up to {_amps(supply.power_up)} A."
    if supply.power_up is None:
        yield "What the relays do before the first scan is unknown, for no board is named."
    if supply.unknown:
        yield "Fed, with a load that is unknown: " + ", ".join(supply.unknown) + "."
    if supply.by_volts:
        yield (
            "Taken as fed by it, for it is the only supply of their volts: "
            + ", ".join(supply.by_volts)
            + "."
        )
    if supply.perhaps:
        yield "Perhaps fed by it: " + ", ".join(supply.perhaps) + "."
    for each in sums.class_2:
        if each.supply == supply.supply:
            within = "within" if each.within else "beyond"
            yield (
                f"{each.volt_amps:g} VA at {supply.volts:g} V, {within} the limits of Class 2 "
                "(100 VA, 30 V); whether it is a Class 2 source stands on its label."
            )


# --- wires


def _wires(sums: Sums) -> Iterator[Block]:
    yield Heading("Voltage drop to the loads")
    columns = (
        *("output", "load", "wire", "loop ohm", "drop V", "drop %", "max %", "at load V"),
        *("least size", "verdict"),
    )
    yield Table(
        "drops",
        columns,
        tuple(_load_row(wire) for wire in sums.load_wires),
        f"Copper at {sums.limits.conductors:g} C, current out and back, stranded where solid is "
        "not said. The least size is the thinnest standard one of the same make that keeps to the "
        "most drop, and says nothing of heat.",
        (3, 4, 5, 6, 7),
    )
    yield Heading("Wires of the inputs")
    yield Table(
        "inputs",
        ("input", "one way", "wire", "loop ohm"),
        tuple(_input_row(wire) for wire in sums.input_wires),
        "The current through a dry contact is the board's, and unknown: ask its maker what loop "
        "resistance still reads as closed.",
        (3,),
    )


def _load_row(wire: LoadWire) -> tuple[str, ...]:
    load = UNKNOWN
    if wire.volts is not None and wire.amps is not None:
        load = f"{wire.volts:g} V {_amps(wire.amps)} A {wire.kind}"
    return (
        wire.output,
        load,
        UNKNOWN
        if wire.length_m is None
        else f"{wire.length_m:g} m {wire.size.removesuffix(' stranded')}",
        _ohms(wire.loop_ohms),
        UNKNOWN if wire.drop_volts is None else f"{wire.drop_volts:.3f}",
        UNKNOWN if wire.drop_percent is None else f"{wire.drop_percent:.2f}",
        UNKNOWN if wire.limit_percent is None else f"{wire.limit_percent:g}",
        UNKNOWN if wire.load_volts is None else f"{wire.load_volts:.2f}",
        wire.smallest,
        wire.verdict,
    )


def _input_row(wire: InputWire) -> tuple[str, ...]:
    length = UNKNOWN if wire.length_m is None else f"{wire.length_m:g} m"
    return (wire.input, length, wire.size, _ohms(wire.loop_ohms))


# --- contacts, fuses, voltages, coils


def _contacts(sums: Sums) -> Iterator[Block]:
    yield Heading("Relay contacts")
    board = f"Ratings of board {sums.board}." if sums.board else "No board is named: --board NAME."
    yield Paragraph(
        f"{board} A board file does not say whether they are for ac or dc. Coils, motors and "
        "valves count as inductive; a lamp draws 10 to 15 times its amps when it is switched on; "
        "what LED drivers and electronic loads draw then is unknown."
    )
    yield Table(
        "contacts",
        ("output", "contact", "load", "rating that counts", "surge", "verdict"),
        tuple(_duty_row(duty) for duty in sums.duties),
    )


def _duty_row(duty: Duty) -> tuple[str, ...]:
    load = UNKNOWN
    if duty.volts is not None and duty.amps is not None:
        load = f"{duty.volts:g} V {_amps(duty.amps)} A {duty.kind}"
    rating = UNKNOWN
    if duty.rating_amps is not None and duty.rating_volts is not None:
        rating = f"{duty.rating_volts:g} V {_amps(duty.rating_amps)} A {duty.counts_as}"
    contact = f"{duty.terminal} {duty.side}"
    return (duty.output, contact, load, rating, duty.surge, duty.verdict)


def _fuses(sums: Sums) -> Iterator[Block]:
    yield Heading("Fuses by the 125 % rule")
    rows = tuple(
        (
            fuse.of,
            fuse.what,
            _amps(fuse.amps),
            _amps(fuse.least_amps),
            UNKNOWN if fuse.fuse_amps is None else f"{fuse.fuse_amps:g}",
        )
        for fuse in sums.fuses
    )
    yield Table(
        "fuses",
        ("for", "name", "draws A", "125 % A", "next size A"),
        rows,
        "Every load is taken as on for three hours and more.",
        (2, 3, 4),
    )
    yield Paragraph(
        "A fuse protects the wire behind it, and whether that wire may carry the size named here "
        "is not claimed: it hangs on how it is laid. A supply that limits its own current may "
        "never blow a fuse near its rating, and an inrush may blow one that is small."
    )


def _voltages(sums: Sums) -> Iterator[Block]:
    yield Heading("Extra-low voltage")
    yield Table(
        "voltages",
        ("volts", "who", "counts as", "verdict"),
        tuple((f"{v.volts:g}", ", ".join(v.names), v.words, v.verdict) for v in sums.voltages),
        "The file does not say ac or dc, so volts count as ac where that is the more careful.",
        (0,),
    )
    for mix in sums.mixed:
        yield Caution(
            f"{mix.output} is a load of {mix.volts:g} V beside extra-low voltage "
            f"({', '.join(mix.beside)}) on one board. That is refused, and no wiring is drawn for "
            "it: above extra-low voltage belongs on a board and in cables of its own."
        )
    yield Paragraph(
        "Keep SELV wiring apart from mains by distance, a barrier, or insulation for the highest "
        "voltage there; do not earth SELV; feed it from a safety isolating transformer or the like."
    )


def _coils(sums: Sums) -> Iterator[Block]:
    if not sums.inductive and not sums.kept_apart:
        return
    yield Heading("Coils")
    if sums.inductive:
        yield Paragraph(
            f"Coils, motors and valves ({', '.join(sums.inductive)}) need a suppressor at the "
            "load. On dc a plain diode holds the spike near 0.7 V but makes a coil release several "
            "times slower; a diode with a zener, or a varistor, releases faster. On ac: a varistor "
            "or RC. Without one a coil's spike may pass 1 kV and eats the contact."
        )
    for pair in sums.kept_apart:
        yield Caution(
            f"{pair.first} and {pair.second} must never be on together ({pair.by}). A slow release "
            "of one closes the gap before the other: put the release time of the suppressed coil "
            "into the pause between them, and interlock the two by their own contacts as well."
        )


def _basis(sums: Sums) -> Iterator[str]:
    chosen = sums.limits
    if chosen.drop is None:
        yield (
            f"Drop: {chosen.lighting:g} % for lighting (led, lamp) and {chosen.other:g} % for "
            "others, as IEC 60364-5-52 annex G advises; write design drop 3 % for another limit."
        )
    else:
        yield f"Drop: {chosen.drop:g} %, as the file says."
    if chosen.reserve_given:
        yield f"Reserve: {chosen.reserve:g} % of each supply, as the file says."
    else:
        yield (
            f"Reserve: {chosen.reserve:g} % of each supply, common practice without a source; "
            "write design reserve 20 % for another share."
        )
    if chosen.conductors_given:
        yield f"Copper at {chosen.conductors:g} C, as the file says."
    else:
        yield (
            f"Copper at {chosen.conductors:g} C, the most that usual PVC insulation may have; a "
            "cooler wire loses less; write design conductors 40 C for another."
        )
    bases = dict.fromkeys(f"{w.size}: {w.basis}" for w in sums.load_wires if w.basis)
    if bases:
        yield "Resistance at 20 C: " + "; ".join(bases) + "."
    yield "A wire is stranded where the file does not say solid; lengths are one way."
    yield (
        "Drops are at dc or power factor 1, at full volts of the supply, and of the load's own "
        "run: what the supply's own leads and a supply below its rating lose comes on top. A coil "
        f"may need {PULL_IN:g} % of its volts."
    )
    yield (
        "Supplies carry the loads of the outputs alone: what the board, its relay coils and its "
        "inputs draw is unknown and comes on top, and so does every inrush."
    )
    if sums.assumptions:
        yield (
            "The worst states hold as long as the plant does what the file's "
            f"{counted(sums.assumptions, 'assume statement')} say{'s' * (sums.assumptions == 1)}."
        )
    yield "Forced contacts and welded relays are in no worst state; all loads on is the sum then."


def _amps(amps: float) -> str:
    return f"{amps:.4g}"


def _ohms(ohms: float | None) -> str:
    return UNKNOWN if ohms is None else f"{ohms:.3g}"
