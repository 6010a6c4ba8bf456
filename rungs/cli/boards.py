"""`rungs boards`: the boards that come with rungs, their form, and the check of one's own."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser, Namespace
from difflib import get_close_matches

from rungs.cli.common import read_source
from rungs.cli.exits import FINDINGS, FINE, CliError
from rungs.files import FileError, decode, read_bytes
from rungs.report.text import findings_text, ink_for, plain, say, summary
from rungs.table.board import Board, board_schema, load_board, read_board, shipped_boards


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    forms = parser.add_subparsers(dest="form", metavar="FORM")
    show = forms.add_parser("show", help="print a board file as it is, to write one's own from")
    show.add_argument("name", metavar="NAME", help="a board that comes with rungs")
    forms.add_parser("schema", help="print the JSON schema of a board file")
    check = forms.add_parser("check", help="say in plain words what is wrong with a board file")
    check.add_argument("file", metavar="FILE.toml", help="a board file, or - for standard input")
    check.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: Namespace) -> int:
    """List the boards, or what the form asks for; 1 if a checked file has findings."""
    match args.form:
        case "show":
            return _show(args.name)
        case "schema":
            print(json.dumps(board_schema(), indent=2))
            return FINE
        case "check":
            return _check(args.file, args.json)
        case _:
            return _list()


def _list() -> int:
    lines = []
    for name in shipped_boards():
        board = load_board(name).board
        if board is None:
            raise CliError(f"the board '{name}' of this installation is damaged")
        lines.append((name, _line(board)))
    width = max(len(name) for name, _ in lines)
    print("\n".join(f"{name:<{width}}  {line}" for name, line in lines))
    return FINE


def _line(board: Board) -> str:
    """One board in one line: its title and the kinds of table it holds."""
    kinds = f"holds {', '.join(board.kinds)}" if board.kinds else "holds no table"
    return f"{plain(board.title)}; {kinds}"


def _show(name: str) -> int:
    path = shipped_boards().get(name)
    if path is None:
        close = get_close_matches(name, shipped_boards(), n=1)
        guess = f"; did you mean '{close[0]}'?" if close else "; see: rungs boards"
        raise CliError(f"there is no board '{name}'{guess}")
    try:
        source, unreadable = decode(read_bytes(path), str(path))
    except FileError as error:
        raise CliError(str(error)) from error
    if unreadable:
        raise CliError(f"the board '{name}' of this installation is damaged")
    sys.stdout.write(source.text)
    return FINE


def _check(file: str, as_json: bool) -> int:
    source, unreadable = read_source(file)
    board, findings = (None, unreadable) if unreadable else read_board(source)
    if as_json:
        # the models of every document are loaded with it
        from rungs.report.model import check_model

        print(check_model(source, findings).model_dump_json(indent=2))
    else:
        if findings:
            print(findings_text(findings, source, ink_for(sys.stdout)))
        elif board is not None:
            print(f"{board.identity}: {_line(board)}")
        say(f"{plain(source.name)}: {summary(findings)}")
    return FINDINGS if findings else FINE
