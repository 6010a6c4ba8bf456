"""The signs of a ladder on paper: contacts, coils, numbered tags and joints, in millimetres.

The contact and coil signs are those of IEC 61131-3's graphical languages, `--| |--`, `--|/|--` and
`--( )--`, drawn with lines instead of letters; what stands inside them is what the text drawing has
there, so that a person who knows one reads the other.
"""

from __future__ import annotations

from typing import Final

from rungs.svg import LETTER, element, number, path, solid, tag, words

SIGN: Final = 2.2  # half the height of a contact and of a coil
COIL_HALF: Final = 2.7  # half the width of a coil
NAME: Final = 2.8  # heights of letters
NOTE: Final = 2.6
LABEL: Final = 3.1
NUMBER: Final = 3.4
PITCH: Final = 1.2  # from line to line, in heights of letters
WIRE: Final = 0.35  # weights of lines
STROKE: Final = 0.5
RAIL_STROKE: Final = 0.8
LIVE: Final = 1.0
DEAD: Final = 0.3
DASH: Final = "1.1 0.9"
_SAG: Final = 0.97  # how far the bow of a coil stands out
_JOINT: Final = 0.65
_HALVES: Final = {" ": 1.4, "/": 1.4, "P": 1.9, "N": 1.9, "/P": 3.0, "/N": 3.0}


def half_width(letters: str) -> float:
    """Half the distance between the two bars of a contact with these letters inside."""
    return _HALVES[letters]


def contact(
    x: float, y: float, letters: str, said: str, power: tuple[bool, bool] | None = None
) -> str:
    """A contact round (x, y); `said` is read out. `power` says whether current stands at the left
    bar and leaves at the right one."""
    half = half_width(letters)
    top, high = number(y - SIGN), number(2 * SIGN)
    left, right = number(x - half), number(x + half)
    kind = "nc" if letters.startswith("/") else "no"
    parts = [element("g", class_=f"contact {kind}"), tag("title", said)]
    if power is None or power[0] == power[1]:
        weight = STROKE if power is None or not power[0] else LIVE
        parts.append(path(f"M{left} {top}v{high}M{right} {top}v{high}", weight))
    else:
        parts.append(path(f"M{left} {top}v{high}", LIVE))
        parts.append(path(f"M{right} {top}v{high}", STROKE))
    letter = letters.strip(" /")
    if kind == "nc":
        at = x - (1.5 if letter else 0)
        parts.append(path(f"M{number(at - 0.9)} {number(y + 1.9)}l1.8 -3.8", STROKE))
    if letter:
        at = x + (1.2 if kind == "nc" else 0)
        parts.append(words(at, y + 0.36 * NAME, letter, NAME, weight="bold", anchor="middle"))
    return "".join([*parts, "</g>"])


def coil(x: float, y: float, letter: str, said: str, power: bool = False) -> str:
    """A coil round (x, y)."""
    chord = COIL_HALF - _SAG
    top, high = number(y - SIGN), number(2 * SIGN)
    bows = f"M{number(x - chord)} {top}a3 3 0 0 0 0 {high}M{number(x + chord)} {top}"
    parts = [
        element("g", class_="coil"),
        tag("title", said),
        path(f"{bows}a3 3 0 0 1 0 {high}", LIVE if power else STROKE),
    ]
    if letter.strip():
        parts.append(words(x, y + 0.36 * NAME, letter, NAME, weight="bold", anchor="middle"))
    return "".join([*parts, "</g>"])


def tag_width(most: int) -> float:
    """The width of a tag with a number of up to `most` in it."""
    return max(4.4, len(str(most)) * LETTER * NOTE + 1.4) + 1.6


def number_tag(x: float, y: float, wide: float, count: int, begins: bool) -> str:
    """The sign that says where a wire goes on, from x to x + wide; `begins`: here it goes on."""
    high = 1.9
    d = (
        f"M{number(x)} {number(y - high)}h{number(wide - 1.6)}l1.6 {number(high)}"
        f"l-1.6 {number(high)}h{number(1.6 - wide)}z"
    )
    said = f"comes from {count}" if begins else f"goes on at {count}"
    return "".join(
        [
            element("g", class_="tag"),
            tag("title", said),
            path(d, WIRE),
            words(x + (wide - 1.2) / 2, y + 0.36 * NOTE, str(count), NOTE, anchor="middle"),
            "</g>",
        ]
    )


def joint(x: float, y: float, half: float = _JOINT) -> str:
    """A dot where wires are joined."""
    arc = f"a{number(half)} {number(half)} 0 1 0 "
    wide = number(2 * half)
    return f"M{number(x - half)} {number(y)}{arc}{wide} 0{arc}-{wide} 0z"


def stop(x: float, y: float) -> str:
    """The mark under a contact that stops the current; its tip is (x, y)."""
    return solid(f"M{number(x)} {number(y)}l1.3 2.1h-2.6z")
