"""Truth tables: the outputs that follow the inputs and clocks of the same scan, pattern by pattern.

A column is one whole number with a bit for each pattern, so that one scan of the core works all
patterns of the inputs at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.reduce import reduce
from rungs.findings import Finding
from rungs.program.nodes import (
    Clock,
    Compare,
    Device,
    Input,
    Leaf,
    Output,
    Program,
    Relay,
    Rung,
    leaves,
)
from rungs.scan.generate import scan_wide
from rungs.source import Span
from rungs.table.cover import variable_masks

MAX_SIGNALS = 20


@dataclass(frozen=True, slots=True)
class TruthTable:
    """Columns over all patterns of `signals`; bit i of a column belongs to pattern i.

    Pattern i gives the first signal the most significant bit of i, so rows count upwards.
    """

    signals: tuple[str, ...]
    outputs: tuple[str, ...]
    columns: tuple[int, ...]

    @property
    def height(self) -> int:
        """The number of patterns."""
        return 1 << len(self.signals)

    def rows(self) -> Iterator[tuple[tuple[bool, ...], tuple[bool, ...]]]:
        """Each pattern of the signals with the outputs it gives."""
        # reading single bits of a long number costs its length each time; its text does not
        texts = [format(column, f"0{self.height}b")[::-1] for column in self.columns]
        count = len(self.signals)
        for pattern in range(self.height):
            bits = tuple(bool(pattern >> (count - 1 - i) & 1) for i in range(count))
            yield bits, tuple(text[pattern] == "1" for text in texts)


def truth_table(
    program: Program, names: tuple[str, ...] = ()
) -> tuple[TruthTable | None, tuple[Finding, ...]]:
    """The truth table of the named outputs and relays, or of every output that has one.

    Findings tell which outputs have none, and why. The table is None if there is nothing to show.
    """
    wanted = names or tuple(output.name for output in program.outputs)
    findings: list[Finding] = []
    outputs: list[str] = []
    cone: set[str] = set()
    for name in wanted:
        reading = _cone(program, name, findings)
        if reading is not None:
            outputs.append(name)
            cone |= reading
    if not outputs:
        return None, tuple(findings)
    signals = tuple(d.name for d in program.devices if d.name in cone and _is_signal(d))
    if len(signals) > MAX_SIGNALS:
        findings.append(
            Finding(
                "table-size",
                f"the outputs depend on {len(signals)} signals, and {MAX_SIGNALS} are the limit",
                _place(program, outputs[0]),
                f"the table would have {1 << len(signals):,} rows",
                "ask for single outputs: rungs compile FILE OUTPUT",
            )
        )
        return None, tuple(findings)
    core = reduce(lower(program), outputs)
    columns = core_columns(core, signals)
    table = TruthTable(signals, tuple(outputs), tuple(columns.get(name, 0) for name in outputs))
    return table, tuple(findings)


def _is_signal(device: Device) -> bool:
    return isinstance(device, Input | Clock)


def _place(program: Program, name: str) -> Span:
    return program.by_name[name].name_span


def _cone(program: Program, name: str, findings: list[Finding]) -> set[str] | None:
    """Every device that decides an output, or None with the finding that says why it has none."""
    device = program.by_name.get(name)
    if not isinstance(device, Output | Relay):
        what = "is not declared" if device is None else "is not an output or a relay"
        fix = "name one of: " + ", ".join(output.name for output in program.outputs)
        span = Span(0, 0) if device is None else device.name_span
        findings.append(Finding("unknown-name", f"'{name}' {what}", span, "it has no rows", fix))
        return None
    coils = {a.name: rung for rung in program.rungs for a in rung.actions if a.verb == "coil"}
    moved = {a.name for rung in program.rungs for a in rung.actions}
    cone: set[str] = set()
    open_ends: list[tuple[str, Rung | None]] = [(name, None)]
    while open_ends:
        target, reader = open_ends.pop()
        why = _memory(program, target, coils, moved, reader)
        if why:
            findings.append(_not_combinational(program, name, target, why))
            return None
        if target in cone or target not in coils:
            continue
        cone.add(target)
        rung = coils[target]
        for leaf in leaves(rung.circuit):
            looks = _looks_back(leaf)
            if looks:
                findings.append(_not_combinational(program, name, leaf.name, looks, leaf.span))
                return None
            source = program.by_name[leaf.name]
            if _is_signal(source):
                cone.add(leaf.name)
            else:
                open_ends.append((leaf.name, rung))
    return cone


def _memory(
    program: Program,
    name: str,
    coils: dict[str, Rung],
    moved: set[str],
    reader: Rung | None,
) -> str:
    """Why a device does not follow the present inputs, or nothing if it does."""
    device = program.by_name[name]
    if not isinstance(device, Output | Relay):
        return "a timer or counter that remembers"
    if name not in coils:
        return "a latch, which remembers" if name in moved else ""
    if reader is not None and coils[name].number >= reader.number:
        if coils[name].number == reader.number:
            return "a contact of its own coil, which holds it in (seal-in)"
        return f"a contact read in rung {reader.number} above its coil in rung {coils[name].number}"
    return ""


def _looks_back(leaf: Leaf) -> str:
    if isinstance(leaf, Compare):
        return "a count, which remembers"
    match leaf.kind:
        case "rising" | "falling":
            return f"a {leaf.kind} edge, which compares two scans"
        case "first_scan":
            return "the first scan"
        case "timing":
            return "a timer that is timing"
        case _:
            return ""


def _not_combinational(
    program: Program, output: str, device: str, why: str, span: Span | None = None
) -> Finding:
    subject = f"'{device}'" if device else "the power-up"
    through = "" if device == output else f" through {subject}"
    return Finding(
        "not-combinational",
        f"'{output}' has no truth table: it depends{through} on {why}",
        _place(program, output),
        "the same inputs do not always give the same output",
        "leave it out and name the others: rungs compile FILE OUTPUT",
        () if span is None else ((span, "here"),),
    )


def core_columns(core: Core, signals: tuple[str, ...]) -> dict[str, int]:
    """The column of each output of a core without state, all patterns at once."""
    ones = (1 << (1 << len(signals))) - 1
    masks = dict(zip(signals, variable_masks(len(signals)), strict=True))
    given = tuple(masks.get(signal.name, 0) for signal in core.signals)
    _, outputs, _ = scan_wide(core)(ones, (), given)
    names = [output.name for output in core.outputs]
    return dict(zip(names, outputs, strict=True))
