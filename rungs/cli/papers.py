"""What the verbs that make papers share: printing one, and writing it by the suffix of its file."""

from __future__ import annotations

import shutil
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Final

from rungs.cli.common import write_result
from rungs.cli.exits import IO_FAILED, CliError
from rungs.files import FileError, write_atomic
from rungs.papers.blocks import Paper, pictures, tables
from rungs.papers.markdown import paper_markdown
from rungs.papers.sheet import table_csv
from rungs.papers.text import paper_text
from rungs.report.text import say

SUFFIXES: Final = (".md", ".html", ".txt", ".csv", ".svg")
_PAGE_WIDTH: Final = 100


def add_papers(parser: ArgumentParser) -> None:
    """The option -o, which may be given several times."""
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        action="append",
        default=[],
        help="write there, by the suffix: " + " ".join(SUFFIXES) + " (may be given several times)",
    )


def check_outputs(names: list[str]) -> None:
    """Refuse a file whose suffix says nothing before any work is done. Raises CliError."""
    for name in names:
        if Path(name).suffix.lower() not in SUFFIXES:
            raise CliError(
                f"'{name}': the suffix says what is written, one of {' '.join(SUFFIXES)}"
            )


def put_paper(paper: Paper, outputs: list[str]) -> None:
    """Write the paper to each file, or print it without one.

    Several tables or pictures go to files of their own, `NAME-TABLE.csv` for `-o NAME.csv`; what
    was written is told on standard error. Raises CliError if writing fails, or where a paper has
    nothing of the kind that is asked for.
    """
    if not outputs:
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else _PAGE_WIDTH
        write_result(None, paper_text(paper, width))
        return
    for name in outputs:
        for path, text in _files(paper, Path(name)):
            try:
                write_atomic(path, text.encode("utf-8"))
            except FileError as error:
                raise CliError(str(error), IO_FAILED) from error
            say(f"rungs: {path} written")


def _files(paper: Paper, path: Path) -> list[tuple[Path, str]]:
    match path.suffix.lower():
        case ".md":
            return [(path, paper_markdown(paper))]
        case ".html":
            # a library that takes longer to load than most commands take to run
            from rungs.papers.page import page_html

            return [(path, page_html(paper.title, [paper]))]
        case ".csv":
            found = [(table.name, table_csv(table)) for table in tables(paper)]
        case ".svg":
            found = [(picture.name, picture.svg) for picture in pictures(paper)]
        case _:
            return [(path, paper_text(paper, _PAGE_WIDTH))]
    if not found:
        what = "tables" if path.suffix.lower() == ".csv" else "pictures"
        raise CliError(f"'{path}': this paper has no {what}")
    if len(found) == 1:
        return [(path, found[0][1])]
    return [(path.with_name(f"{path.stem}-{name}{path.suffix}"), text) for name, text in found]
