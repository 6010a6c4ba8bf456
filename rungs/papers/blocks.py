"""What a paper is made of: headings, sentences, tables and pictures, as frozen data.

Whoever works something out says it once in these blocks; a terminal, a Markdown file and a printed
page then show the same words, so that two papers of one panel cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `level` 2 for a part of the paper, 3 and 4 below it (1 is the paper's title)."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Sentences that belong together."""

    text: str


@dataclass(frozen=True, slots=True)
class Caution:
    """What may hurt or cost the reader; it stands out wherever it is shown."""

    text: str


@dataclass(frozen=True, slots=True)
class Points:
    """Sentences one below the other; `numbered` where their order matters."""

    items: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A list with a heading for each column. Every row has as many cells as there are columns.

    `name` (small letters, digits, hyphens) is the end of its file's name where it is written as
    CSV. `numbers` are the columns that are set to the right. A table without rows says `none`.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    numbers: tuple[int, ...] = ()
    none: str = "None."


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG document of `rungs.svg`, with words for those who do not see it.

    One whose size is that of a sheet of paper is printed as a sheet of its own.
    """

    name: str
    svg: str
    words: str


@dataclass(frozen=True, slots=True)
class Verbatim:
    """Text in fixed columns, shown as it is: the source, a drawing in characters."""

    text: str


Block = Heading | Paragraph | Caution | Points | Table | Picture | Verbatim


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper of a panel. `name` (small letters, digits, hyphens) is what files call it."""

    name: str
    title: str
    blocks: tuple[Block, ...]


def tables(paper: Paper) -> tuple[Table, ...]:
    """The tables of a paper, in order."""
    return tuple(block for block in paper.blocks if isinstance(block, Table))


def pictures(paper: Paper) -> tuple[Picture, ...]:
    """The pictures of a paper, in order."""
    return tuple(block for block in paper.blocks if isinstance(block, Picture))


def counted(number: int, word: str, many: str = "") -> str:
    """`1 row`, `2 rows`; `many` for a plural that is not made with an s."""
    return f"{number:,} {word if number == 1 else many or word + 's'}"
