"""The symbols of a wiring drawing, after IEC 60617, lying along a wire that runs to the right.

Each is drawn by its middle or its ends and stays inside the height that its comment names, so that
the lanes of a drawing can be packed without looking at what is in them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

from rungs.program.nodes import Actuator, Side
from rungs.svg import INK, empty, number, path, words

SIZE: Final = 3.0  # letters of symbols and of nearly all else: capitals of 2.2 mm
THIN: Final = 0.3
LINE: Final = 0.45
HEAVY: Final = 1.1
LOAD_REACH: Final = 4.5  # from the middle of a load to where its wires begin

Shape = Literal["lamp", "led", "coil", "motor", "valve", "resistive", "electronic", "other"]


def drawn(d: str, weight: float = LINE) -> str:
    """A path of the drawing."""
    return path(d, weight)


def run(x1: float, x2: float, y: float) -> str:
    """A wire from left to right."""
    return drawn(f"M{number(x1)} {number(y)}H{number(x2)}")


def frame(x: float, y: float, wide: float, high: float, dash: str = "") -> str:
    """The outline of a box from its upper left corner."""
    d = f"M{number(x)} {number(y)}h{number(wide)}v{number(high)}h{number(-wide)}z"
    return path(d, THIN if dash else LINE, dash=dash)


def ring(x: float, y: float, radius: float) -> str:
    """A circle around its middle."""
    return empty(
        "circle", class_="line", cx=x, cy=y, r=radius, fill="none", stroke=INK, stroke_width=LINE
    )


def contact(x1: float, x2: float, y: float, side: Side) -> Iterator[str]:
    """A contact between the ends of two wires (IEC 60617-7, make and break contact); 3.6 above.

    The blade turns on the left end. A make contact's blade stops short of the right end; a break
    contact's crosses the stop bar that stands on it.
    """
    if side == "NO":
        yield drawn(f"M{number(x1)} {number(y)}L{number(x2 - 0.8)} {number(y - 3.4)}")
        return
    yield drawn(f"M{number(x1)} {number(y)}L{number(x2 + 1.2)} {number(y - 2.8)}")
    yield drawn(f"M{number(x2)} {number(y)}V{number(y - 3.6)}")


def actuator(x: float, y: float, kind: Actuator) -> Iterator[str]:
    """What moves a contact, from the blade's middle at (x, y) upwards: a dashed link with the cap
    of a push-button, or with a bar and the notch that holds a maintained one; 5 above."""
    yield path(f"M{number(x)} {number(y)}V{number(y - 4.4)}", THIN, dash="1 0.7")
    top = number(y - 4.4)
    if kind == "momentary":
        yield drawn(f"M{number(x - 2.2)} {number(y - 3.2)}V{top}h4.4v1.2")
        return
    yield drawn(f"M{number(x - 2.2)} {top}h4.4")
    yield drawn(f"M{number(x)} {number(y - 3)}l1.4 0.7l-1.4 0.7")


def fuse(x1: float, x2: float, y: float) -> Iterator[str]:
    """A fuse (IEC 60617-7): a box with the wire through it; 1.4 above and below."""
    yield frame(x1, y - 1.4, x2 - x1, 2.8)
    yield run(x1, x2, y)


def shape_of(kind: str) -> Shape:
    """The symbol for a kind of load; the kinds of the language have their own."""
    match kind:
        case "lamp" | "led" | "coil" | "motor" | "valve" | "resistive" | "electronic":
            return kind
        case _:
            return "other"


def load(x: float, y: float, shape: Shape) -> Iterator[str]:
    """A load around its middle, reaching LOAD_REACH to either side; 4.2 above and below, and for an
    LED with the word under it 8 below."""
    half = 4.2
    match shape:
        case "lamp" | "led":
            yield ring(x, y, half)
            a = half * 0.7071
            left, right = number(x - a), number(x + a)
            up, down = number(y - a), number(y + a)
            yield drawn(f"M{left} {up}L{right} {down}M{left} {down}L{right} {up}")
            if shape == "led":
                yield words(x, y + 7.2, "LED", SIZE, anchor="middle")
        case "motor":
            yield ring(x, y, half)
            yield words(x, y + 1.1, "M", SIZE, anchor="middle")
        case "coil":
            half = 3.0
            yield frame(x - half, y - 3.6, 2 * half, 7.2)
        case "valve":
            yield frame(x - half, y - 3.2, 2 * half, 6.4)
            d = f"M{number(x - 2.6)} {number(y - 1.8)}v3.6l5.2 -3.6v3.6z"
            yield drawn(d)
        case "resistive":
            yield frame(x - half, y - 1.6, 2 * half, 3.2)
        case "electronic" | "other":
            yield frame(x - half, y - 3.2, 2 * half, 6.4)
            sign = "EL" if shape == "electronic" else "?"
            yield words(x, y + 1.1, sign, SIZE, anchor="middle")
    yield run(x - LOAD_REACH, x - half, y)
    yield run(x + half, x + LOAD_REACH, y)


def suppression(x: float, y: float) -> Iterator[str]:
    """The part across a winding in the lane of (x, y): a small box with an S, joined to both wires
    of the load; from 4.9 to 8.9 below."""
    low = y + 6.9
    yield frame(x - 2.2, low - 2, 4.4, 4)
    yield words(x, low + 1.05, "S", SIZE, anchor="middle")
    for sign in (-1, 1):
        edge, out = x + sign * 2.2, x + sign * LOAD_REACH
        yield drawn(f"M{number(edge)} {number(low)}H{number(out)}V{number(y)}")
