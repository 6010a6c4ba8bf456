"""The words in a drawing: captions, symbol letters and legends.

Kept apart from the drawing itself because every drawing of a ladder, in whatever medium, has to say
the same words beside the same symbols.
"""

from __future__ import annotations

from typing import assert_never

from rungs.cells import fold
from rungs.program.nodes import Action, Compare, Contact, Counter, Device, Leaf, Timer

# The order is that of the legend. S and R are the set and reset coils, P and N the edge contacts of
# IEC 61131-3; the other letters are the first of a plain word.
COIL_LEGEND = {
    "S": "latch",
    "R": "unlatch",
    "T": "timer",
    "C": "counter",
    "I": "impulse: flips when the rung gains power",
    "D": "counts down by one when the rung gains power",
    "Z": "resets to zero while the rung has power",
}
CONTACT_LEGEND = {
    "P": "closed for one scan when it rises",
    "N": "closed for one scan when it falls",
    "/P": "open for one scan when it rises",
    "/N": "open for one scan when it falls",
}


def contact_letters(leaf: Leaf) -> str:
    """What stands between the two bars of a contact: blank NO, `/` NC, `P` `N` edges (IEC 61131-3).

    A negated edge has both the stroke and the letter.
    """
    if isinstance(leaf, Compare):
        return " "
    match leaf.kind:
        case "rising":
            return "/P" if leaf.negated else "P"
        case "falling":
            return "/N" if leaf.negated else "N"
        case "closed" | "timing" | "first_scan" | "broken" | "shorted" | "load":
            return "/" if leaf.negated else " "
        case _:
            assert_never(leaf.kind)


def contact_caption(leaf: Leaf) -> str:
    """The words under a contact, as the program text has them; only an edge's `not` is said."""
    if isinstance(leaf, Compare):
        return f"{leaf.name} {leaf.op} {leaf.number}"
    match leaf.kind:
        case "closed":
            return leaf.name
        case "rising" | "falling":
            return f"{'not ' if leaf.negated else ''}{leaf.kind} {leaf.name}"
        case "broken" | "shorted":
            return f"{leaf.kind} {leaf.name}"
        case "timing" | "load":
            return f"{leaf.name}.{leaf.kind}"
        case "first_scan":
            return "first_scan"
        case _:
            assert_never(leaf.kind)


def coil_letter(action: Action, device: Device | None) -> str:
    """What stands in the parentheses of a coil; `device` is what the action drives."""
    match action.verb:
        case "coil":
            if isinstance(device, Timer):
                return "T"
            return "C" if isinstance(device, Counter) else " "
        case "latch":
            return "S"
        case "unlatch":
            return "R"
        case "impulse":
            return "I"
        case "down":
            return "D"
        case "reset":
            return "Z"
        case _:
            assert_never(action.verb)


def is_edge(leaf: Leaf) -> bool:
    """Whether a leaf is a contact that remembers, and so has a letter of its own."""
    return isinstance(leaf, Contact) and leaf.kind in ("rising", "falling")


def caption_lines(text: str, width: int, limit: int) -> tuple[str, ...]:
    """`text` folded to at most `limit` lines; what is beyond them is cut and marked by dots."""
    lines = fold(text, width)
    if len(lines) <= limit:
        return lines
    return (*lines[: limit - 1], lines[limit - 1][: width - 3] + "...")
