"""Papers as one HTML page that needs nothing else: no script, no network, no font, no other file.

A content-security policy forbids everything but the styles written here, so that no text of a
user's can run, load or send anything even if a mistake let it through unescaped.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterable, Iterator, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Final

from rungs import svg
from rungs.cells import safe
from rungs.papers.blocks import Block, Paper, Picture, Table, counted, pictures

_SHORTEST: Final = 5
_LONGEST: Final = 60
_PAGE: Final = 688  # pixels: A4 between margins of 14 mm, 96 to the inch
_WORDS: Final = re.compile(r"\s+|\S+")
_JOINTS: Final = re.compile(r"[^_./-]*[_./-]|[^_./-]+")
_SIZE: Final = re.compile(r'width="([0-9]+)mm" height="([0-9]+)mm"')
# upright and sideways; the page's styles know each
_SHEETS: Final = frozenset(
    f"{a:g}x{b:g}" for wide, high in svg.SHEETS.values() for a, b in ((wide, high), (high, wide))
)
_HERE: Final = Path(__file__).parent / "templates"


def page_html(title: str, papers: Sequence[Paper]) -> str:
    """One page with the papers in order; several have a list of contents before them.

    The same papers always give the same page (UTF-8). Tables say how many rows they have, so that
    a cut print is noticed.
    """
    # a library that takes longer to load than most commands take to run
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["safe_text"] = safe
    environment.filters["letters"] = _letters
    environment.filters["breakable"] = lambda text, letters: Markup("").join(
        Markup("<wbr>").join(pieces) for pieces in _words(safe(text), letters)
    )
    environment.filters["kind"] = _kind
    environment.filters["rows"] = lambda table: counted(len(table.rows), "row")
    environment.filters["sheet"] = _sheet
    # the only text that is not escaped here: made by our own writer, which escapes
    environment.filters["drawing"] = lambda picture: Markup(_bare(picture))
    style = (_HERE / "page.css").read_text(encoding="utf-8").strip()
    drawn = any(pictures(paper) for paper in papers)
    return environment.get_template("page.html").render(
        title=title,
        papers=papers,
        style=Markup(style),
        policy=_policy([style, svg.STYLE] if drawn else [style]),
    )


def _letters(table: Table) -> int:
    """The longest that a word of a table may be so that its columns stand side by side."""
    heads = [_longest((name,)) for name in table.columns]
    bodies = [_longest(column) for column in zip(*table.rows, strict=True)]
    # as the styles set them, in pixels: a letter of the bold heads and of the body, the edges of a
    # cell, and a page between its margins; from ten columns on everything is smaller
    bold, letter, edges = (8.9, 7.6, 16) if len(heads) < 10 else (7.5, 6.4, 8.5)
    for most in range(_LONGEST, _SHORTEST, -1):
        widths = [
            max(min(head, most) * bold, min(body, most) * letter) + edges
            for head, body in zip(heads, bodies, strict=True)
        ]
        if sum(widths) <= _PAGE:
            return most
    return _SHORTEST


def _longest(texts: Iterable[str]) -> int:
    return max((len(word) for text in texts for word in safe(text).split()), default=1)


def _words(text: str, letters: int) -> Iterator[list[str]]:
    """Each word, and what stands between two, in pieces between which a line may end: one piece
    unless it is longer than `letters`."""
    for word in _WORDS.findall(text):
        if len(word) <= letters:
            yield [word]
        else:
            parts = _JOINTS.findall(word)
            yield [p[n : n + letters] for p in parts for n in range(0, len(p), letters)]


def _policy(styles: Sequence[str]) -> str:
    """The content-security policy that allows these styles and nothing else (CSP level 2)."""
    digests = (b64encode(sha256(text.encode("utf-8")).digest()).decode("ascii") for text in styles)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return f"default-src 'none'; style-src {allowed}; base-uri 'none'; form-action 'none'"


def _kind(block: Block) -> str:
    return type(block).__name__.lower()


def _sheet(picture: Picture) -> str:
    """The class of a picture that fills a sheet of paper, by its size in millimetres."""
    found = _SIZE.search(picture.svg[:400])
    size = f"{found[1]}x{found[2]}" if found else ""
    return f"sheet sheet-{size}" if size in _SHEETS else ""


def _bare(picture: Picture) -> str:
    """The picture without the line that only a file of its own needs."""
    return picture.svg.removeprefix('<?xml version="1.0" encoding="UTF-8"?>').strip()
