"""`rungs pack`: every paper of a panel in one page, as PDF, and the file that restores it."""

from __future__ import annotations

import re
import sys
from argparse import ArgumentParser, Namespace
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rungs.cli.common import add_file, load, show_findings, show_warnings
from rungs.cli.exits import FINDINGS, FINE, IO_FAILED, WRONG_CALL, CliError
from rungs.cli.working import add_seconds
from rungs.files import READ_LIMIT, FileError, read_bytes, write_atomic
from rungs.program.nodes import Program
from rungs.report.text import plain, say

if TYPE_CHECKING:
    from rungs.checkout.record import Record
    from rungs.pack.build import Ask, Handover
    from rungs.pack.restore import Restore

SECONDS: Final = 60.0
# names that a folder on some system keeps for itself
_RESERVED: Final = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument("-o", "--output", metavar="DIR", required=True, help="the folder to fill")
    parser.add_argument(
        "--board", metavar="BOARD", help="a shipped board, or a board file of yours"
    )
    parser.add_argument(
        "--sun-by",
        choices=("month", "week"),
        help="fixed times in place of sunrise and sunset, for a board without them",
    )
    parser.add_argument(
        "--record", metavar="FILE.json", help="the checkout record (NAME.checkout.json beside FILE)"
    )
    parser.add_argument("--paper", choices=("A4", "A3"), default="A4", help="size of the drawings")
    parser.add_argument("--no-pdf", action="store_true", help="write the page alone")
    add_seconds(parser, SECONDS, "about how long proofs and searches may take")
    parser.add_argument("--fresh", action="store_true", help="prove anew what was proved before")


def run(args: Namespace) -> int:
    """Work all papers out and write them; 0 also where something on the cover is not well."""
    program, findings = load(args.file, False)
    show_warnings(findings, program.source)
    folder = Path(args.output)
    make_folder(folder)
    stem = stem_of("panel" if args.file == "-" else Path(args.file).stem)
    # these need libraries that other verbs need not wait for
    from rungs.pack.build import Ask

    shown = "panel.rungs" if args.file == "-" else Path(args.file).name
    # papers leave this machine, and where a file lies on it is nobody's business
    program = replace(program, source=replace(program.source, name=shown))
    ask = Ask(
        program,
        _data(args.file, program),
        findings,
        record=_record(args),
        at=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %z"),
        today=date.today(),
        seconds=args.seconds,
        sheets=args.paper,
        sun_by=args.sun_by,
    )
    ask = _with_board(ask, args.board)
    ask = _with_before(ask, folder / f"{stem}.restore.json")
    made = _made(ask, args)
    _write(made, folder, stem, args.no_pdf)
    for status in made.statuses:
        if not status.well:
            say(f"rungs: look at: {status.what}: {plain(status.result)}")
    return FINE


def make_folder(folder: Path) -> None:
    """See that a folder is there before anything is worked out for it. Raises CliError."""
    if folder.exists() and not folder.is_dir():
        raise CliError(f"'{plain(str(folder))}' is a file; name a folder, new or old", WRONG_CALL)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        words = f"cannot make the folder '{plain(str(folder))}': {error.strerror}"
        raise CliError(words, IO_FAILED) from error


def stem_of(text: str) -> str:
    """A name that a file can have anywhere: letters, digits, dots, hyphens and underscores."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "_", text).strip("._-")[:80] or "panel"
    return f"panel_{stem}" if _RESERVED.fullmatch(stem) else stem


def _data(name: str, program: Program) -> bytes:
    """The file byte for byte; the text of standard input, which is gone once it was read."""
    if name == "-":
        return program.source.encode(program.source.text)
    try:
        return read_bytes(Path(name), READ_LIMIT)
    except FileError as error:
        raise CliError(str(error), WRONG_CALL) from error


def _with_board(ask: Ask, name: str | None) -> Ask:
    if name is None:
        return ask
    from rungs.pack.restore import BoardText
    from rungs.table.board import load_board

    loaded = load_board(name)
    if loaded.board is None:
        show_findings(loaded.findings, loaded.source)
        raise CliError(f"the board '{plain(name)}' cannot be used", FINDINGS)
    text = BoardText(name=loaded.board.name, text=loaded.source.text)
    return replace(ask, board=loaded.board, board_text=text)


def _with_before(ask: Ask, path: Path) -> Ask:
    """What was handed over last into the same folder."""
    if not path.exists():
        return ask
    try:
        before = read_restore_file(path)
    except CliError as error:
        raise CliError(f"{error}; move it away to begin a new list of handovers") from error
    from rungs.program.check import check
    from rungs.source import source_from_text

    old = check(source_from_text(before.text, before.file))
    return replace(ask, before=before, before_program=old.program)


def read_restore_file(path: Path) -> Restore:
    """A restore file. Raises CliError for what is none."""
    from rungs.pack.restore import LARGEST, RestoreError, read_restore

    try:
        data = read_bytes(path, LARGEST + 1)
        if len(data) > LARGEST:
            raise CliError(f"'{plain(str(path))}' is too large for a restore file", WRONG_CALL)
        return read_restore(data, path.name)
    except FileError as error:
        raise CliError(str(error), WRONG_CALL) from error
    except RestoreError as error:
        raise CliError(plain(str(error)), FINDINGS) from error


def _record(args: Namespace) -> Record | None:
    from rungs.checkout.record_file import RecordError, RecordFile, beside

    if args.record is None and args.file == "-":
        return None
    path = Path(args.record) if args.record else beside(Path(args.file))
    try:
        record = RecordFile(path).load()
    except RecordError as error:
        raise CliError(plain(str(error)), WRONG_CALL) from error
    if record is None and args.record:
        raise CliError(f"there is no record '{plain(args.record)}'", WRONG_CALL)
    return record


def _made(ask: Ask, args: Namespace) -> Handover:
    from rungs.core.lower import LowerError
    from rungs.pack.build import hand_over
    from rungs.prove.store import Store, store_folder

    try:
        return hand_over(ask, Store(store_folder(), read=not args.fresh), _tell)
    except LowerError as error:
        raise CliError(f"{error}; nothing was written", FINDINGS) from error


def _tell(words: str, done: int, steps: int) -> None:
    say(f"rungs: {done + 1} of {steps}: {words}")


def _write(made: Handover, folder: Path, stem: str, no_pdf: bool) -> None:
    from rungs.pack.pdf import PdfError, page_pdf
    from rungs.pack.restore import restore_json
    from rungs.papers.page import page_html

    html = page_html(made.title, made.papers)
    files = {f"{stem}.html": html.encode("utf-8")}
    if not no_pdf:
        say("rungs: printing the PDF")
        try:
            files[f"{stem}.pdf"] = page_pdf(html)
        except PdfError as error:
            say(f"rungs: {plain(str(error))}")
    # last, since it says that this handover was made
    files[f"{stem}.restore.json"] = restore_json(made.restore)
    for name, data in files.items():
        try:
            write_atomic(folder / name, data)
        except FileError as error:
            raise CliError(str(error), IO_FAILED) from error
        print(folder / name)
    sys.stdout.flush()
