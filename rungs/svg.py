"""Pictures as SVG 1.1, element by element.

Written by hand and not through a drawing library, so that a picture holds nothing but the elements
and attributes listed here: no script, no font, no address and no id, and several pictures can stand
in one page. What matters is told by weight and shape, never by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final, Literal

from rungs.cells import safe

LETTER: Final = 0.61  # width of a letter of the common fixed-width fonts, in heights
INK: Final = "#16191d"
SOFT: Final = "#5a626b"
GRID: Final = "#d5d9de"
SHADE: Final = "#e1e4e8"
EDGE: Final = "#9aa3ad"  # so that a narrow band of shade is seen
PAPER: Final = "#ffffff"

# a viewer that knows nothing of colour schemes, and every printer, takes the attributes instead
STYLE: Final = (
    "@media screen and (prefers-color-scheme:dark){"
    ".paper{fill:#14171b}.ink{fill:#eceff2}.soft{fill:#a3abb5}.dark{fill:#2e343c;stroke:#6b7580}"
    ".line{stroke:#eceff2}.grid{stroke:#3a414a}}"
)

Value = str | int | float

PaperSize = Literal["A4", "A3"]
# ISO 216, in millimetres, lying on its side
SHEETS: Final[dict[PaperSize, tuple[int, int]]] = {"A4": (297, 210), "A3": (420, 297)}


def document(
    width: float,
    height: float,
    title: str,
    description: str,
    body: Iterable[str],
    millimetres: tuple[float, float] | None = None,
) -> str:
    """One SVG document of `width` by `height` units, the same for the same picture.

    `title` and `description` are read out by screen readers. `millimetres` is the size on paper; a
    picture without one takes the room it is given.
    """
    size: dict[str, Value] = {}
    if millimetres is not None:
        size = {"width": f"{number(millimetres[0])}mm", "height": f"{number(millimetres[1])}mm"}
    opening = element(
        "svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        font_family="ui-monospace, monospace",
        **size,
    ).replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    head = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        opening,
        tag("title", safe(title)),
        tag("desc", safe(description)),
        f"<style>{STYLE}</style>",
    ]
    return "\n".join([*head, *body, "</svg>"]) + "\n"


def number(value: float) -> str:
    """A length with at most two places and no zero at its end."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, **attributes: Value) -> str:
    """An opening tag. `class_` writes `class`, an underscore inside a name a hyphen."""
    parts = [name]
    for key, value in attributes.items():
        text = value if isinstance(value, str) else number(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    return f"<{' '.join(parts)}>"


def tag(name: str, text: str, **attributes: Value) -> str:
    """An element with text in it."""
    return f"{element(name, **attributes)}{escape(text)}</{name}>"


def empty(name: str, **attributes: Value) -> str:
    """An element with nothing in it."""
    return element(name, **attributes)[:-1] + "/>"


def box(x: float, y: float, wide: float, high: float, kind: str, fill: str) -> str:
    """A filled rectangle."""
    return empty("rect", class_=kind, x=x, y=y, width=wide, height=high, fill=fill)


def path(
    d: str, weight: float, kind: str = "line", stroke: str = INK, fill: str = "none", dash: str = ""
) -> str:
    """A drawn line; `dash` as in `stroke-dasharray`."""
    more: dict[str, Value] = {"stroke_dasharray": dash} if dash else {}
    return empty("path", class_=kind, d=d, fill=fill, stroke=stroke, stroke_width=weight, **more)


def solid(d: str, kind: str = "ink", fill: str = INK) -> str:
    """A filled shape without an outline."""
    return empty("path", class_=kind, d=d, fill=fill)


def words(
    x: float,
    y: float,
    text: str,
    size: float,
    soft: bool = False,
    weight: str = "",
    anchor: str = "",
) -> str:
    """A line of text from (x, y), its baseline; `anchor` as in `text-anchor`."""
    more: dict[str, Value] = {}
    if weight:
        more["font_weight"] = weight
    if anchor:
        more["text_anchor"] = anchor
    kind, fill = ("soft", SOFT) if soft else ("ink", INK)
    return tag("text", safe(text), class_=kind, x=x, y=y, font_size=size, fill=fill, **more)
