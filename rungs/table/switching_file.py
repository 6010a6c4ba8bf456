"""Switching tables as table files, made and proved.

Between the compiler, which knows rows, and the file, which knows a head: one place that says which
of a program's clocks show for one scan and what a board keeps through a power cut.
"""

from __future__ import annotations

from dataclasses import dataclass

from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.reduce import reduce
from rungs.findings import Finding
from rungs.program.nodes import Program
from rungs.source import Span
from rungs.table.head import head
from rungs.table.model import Proof, TableFile
from rungs.table.switching import switching_table
from rungs.table.switching_power import PowerUp
from rungs.table.switching_proof import Difference, prove_switching


@dataclass(frozen=True, slots=True)
class Unproved:
    """Neither proved nor refuted, and why."""

    why: str


def switching_file(
    program: Program, outputs: tuple[str, ...], delays: bool, power_up: PowerUp
) -> tuple[TableFile | None, tuple[Finding, ...]]:
    """The proved switching table of a program, or the findings that say why there is none."""
    core = reduce(lower(program), outputs)
    result = switching_table(program, core, delays, power_up)
    if result.rows is None:
        return None, result.findings
    # the rows speak of every input and clock, so the head does too, also of those that move nothing
    names = tuple(output.name for output in core.outputs)
    fields = head(program, lower(program), "switching", names)
    # due flags and timers stay in the program; a row carries the delay itself
    fields["signals"] = tuple(s for s in fields["signals"] if s.kind != "due")
    fields["timers"] = ()
    fields["cautions"] = (*fields["cautions"], *result.together, *result.passing)
    table = TableFile(
        **fields,
        retains=power_up == "last",
        switching=result.rows,
        power_differences=result.power_differences,
    )
    proof = prove_switching_file(program, core, table)
    if isinstance(proof, Proof):
        return table.model_copy(update={"proof": proof}), result.findings
    if isinstance(proof, Unproved):
        span = program.outputs[0].name_span if program.outputs else Span(0, 0)
        what = f"the switching table could not be proved: {proof.why}"
        return None, (Finding("table-size", what, span, "no table was made"),)
    raise AssertionError(f"a table that was made does not do what the program does: {proof}")


def prove_switching_file(
    program: Program, core: Core, table: TableFile
) -> Proof | Difference | Unproved:
    """Whether a switching table does what the program does in every settled situation.

    Relays stand in the order of the core's outputs; those that the table lacks are left alone.
    """
    places = {output.name: place for place, output in enumerate(table.outputs)}
    order = [places.get(output.name) for output in core.outputs]
    rows = tuple(
        row.model_copy(update={"acts": tuple("leave" if p is None else row.acts[p] for p in order)})
        for row in table.switching
    )
    found = prove_switching(
        core,
        rows,
        moments={clock.name for clock in program.clocks if clock.end is None},
        late={clock.name for clock in program.clocks if clock.end is None and clock.catch_up},
        power_up="last" if table.retains else "off",
    )
    if found.difference is not None:
        return found.difference
    if found.unproved:
        return Unproved(found.unproved)
    return Proof(states=0, rows=table.row_count, situations=found.situations)
