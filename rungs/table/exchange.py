"""A program or its table in the formats of general logic tools, by the suffix of the file.

The logic goes out from the core, state diagrams and state tables from the transition table, because
that is where each of them says most.
"""

from __future__ import annotations

from rungs.core.dot import dot
from rungs.core.dump import dump
from rungs.core.interchange import BACK_ENDS
from rungs.core.kiss2 import kiss2
from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.pla import PlaError, pla
from rungs.core.reduce import reduce
from rungs.program.nodes import Program
from rungs.table.model import TableFile

SUFFIXES = (*(suffix for _, suffix, _ in BACK_ENDS), ".kiss2", ".core")


class ExchangeError(Exception):
    """What cannot be said in a format; the text says why and what to do."""


def exchange(
    program: Program, outputs: tuple[str, ...], table: TableFile | None, suffix: str
) -> bytes:
    """The content of a file with this suffix (one of SUFFIXES).

    Raises ExchangeError for what the format has no words for.
    """
    core = reduce(lower(program), outputs)
    if suffix == ".core":
        return dump(core).encode()
    if suffix == ".kiss2" or (suffix == ".dot" and _is_diagram(table)):
        return _states(table, suffix).encode()
    if suffix == ".pla" and table is not None and table.kind == "truth":
        return _truth(table).encode()
    return _logic(core, suffix)


def _is_diagram(table: TableFile | None) -> bool:
    return table is not None and table.kind == "transition" and not table.first_match


def _states(table: TableFile | None, suffix: str) -> str:
    if table is None or table.kind != "transition" or table.first_match:
        raise ExchangeError(
            f"{suffix} holds a transition table whose rows do not overlap; add --kind transition"
        )
    write = kiss2 if suffix == ".kiss2" else dot
    runs = [f"{timer.name}.run" for timer in table.timers]
    return write(
        [signal.name for signal in table.signals],
        [*(output.name for output in table.outputs), *runs],
        [state.name for state in table.states],
        table.start,
        [(row.pattern, row.state, row.next, row.outputs + row.run) for row in table.transitions],
    )


def _truth(table: TableFile) -> str:
    if table.first_match:
        raise ExchangeError(".pla holds rows of equal rank; leave out --first-match")
    names = [signal.name for signal in table.signals]
    rows = [(row.pattern, row.outputs) for row in table.truth]
    return pla(names, [output.name for output in table.outputs], rows)


def _logic(core: Core, suffix: str) -> bytes:
    write = next(function for _, known, function in BACK_ENDS if known == suffix)
    try:
        made = write(core)
    except PlaError as error:
        raise ExchangeError(str(error)) from error
    return made.encode() if isinstance(made, str) else made
