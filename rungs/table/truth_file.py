"""Truth tables as table files: rows merged wherever the outputs are the same.

Kept apart from the columns, which need nothing of what a file needs.
"""

from __future__ import annotations

from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.patterns import split
from rungs.core.reduce import reduce
from rungs.program.nodes import Program
from rungs.scan.generate import scan_wide
from rungs.table.cover import cover, cube_mask, cube_text, first_match_cover, variable_masks
from rungs.table.head import head
from rungs.table.model import TableFile, TruthRow
from rungs.table.truth import TruthTable, core_columns


def truth_file(program: Program, table: TruthTable, first_match: bool = False) -> TableFile:
    """The table with merged rows, for a board: each row gives all outputs of its patterns.

    It claims nothing until it is proved.
    """
    core = reduce(lower(program), table.outputs)
    signals = tuple(s.name for s in core.signals if s.kind != "first_scan")
    columns = core_columns(core, signals)
    parts = split((1 << (1 << len(signals))) - 1, [columns[name] for name in table.outputs])
    rows: list[tuple[str, int, int]] = []
    if first_match:
        for index, cube in first_match_cover([mask for mask, _ in parts], len(signals)):
            mask, word = parts[index]
            within = cube_mask(cube, len(signals)) & mask
            rows.append((cube_text(cube, len(signals)), word, within))
    else:
        for mask, word in parts:
            for cube in cover(mask, 0, len(signals)):
                within = cube_mask(cube, len(signals))
                rows.append((cube_text(cube, len(signals)), word, within))
    powers = _powers(core, signals)
    return TableFile(
        **head(program, core, "truth", table.outputs),
        first_match=first_match,
        truth=tuple(
            TruthRow(
                pattern=pattern,
                outputs="".join("1" if word >> i & 1 else "0" for i in range(len(table.outputs))),
                rungs=tuple(number for number, mask in powers if mask & within),
            )
            for pattern, word, within in rows
        ),
    )


def _powers(core: Core, signals: tuple[str, ...]) -> list[tuple[int, int]]:
    """Each rung's number and the patterns in which it has power."""
    ones = (1 << (1 << len(signals))) - 1
    masks = dict(zip(signals, variable_masks(len(signals)), strict=True))
    given = tuple(masks.get(signal.name, 0) for signal in core.signals)
    scan = scan_wide(core, [power.lit for power in core.powers])
    found = scan(ones, (), given)[2]
    return [(power.number, mask) for power, mask in zip(core.powers, found, strict=True)]
