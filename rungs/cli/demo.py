"""`rungs demo`: a panel that comes with rungs, taken through check, scenarios, ladder, proof, table
and sequence of operation."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace
from itertools import pairwise
from pathlib import Path

from rungs.cli.common import check_file, write_result
from rungs.cli.compile import size_words, truth_text
from rungs.cli.exits import FINDINGS, FINE, CliError
from rungs.draw.text import draw_program
from rungs.narrate.build import narrate
from rungs.narrate.paper import narration_paper
from rungs.papers.blocks import Heading
from rungs.papers.text import blocks_text
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.whole import prove
from rungs.report.proofs import verdict_lines
from rungs.report.scenarios import scenario_text
from rungs.report.text import Ink, findings_text, ink_for, summary
from rungs.scan.scenario import play
from rungs.shipped import shipped
from rungs.table.compile import KINDS, Compiler
from rungs.table.truth import truth_table

PROOF_SECONDS = 20.0
_SWITCHES = 3  # whose part of the sequence is shown


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument("name", metavar="NAME", nargs="?", default="boathouse", help="boathouse")
    parser.add_argument("--list", action="store_true", help="list the demos")
    parser.add_argument("--copy", metavar="FILE", help="copy the demo's file there to work on it")


def demos() -> dict[str, Path]:
    """The demo files by name."""
    return {path.stem: path for path in sorted(shipped("demos").glob("*.rungs"))}


def run(args: Namespace) -> int:
    """Show one demo from file to table."""
    found = demos()
    if args.list:
        for name, path in found.items():
            checked = check_file(str(path))
            print(f"{name:<20}{checked.program.title if checked.program else ''}")
        return FINE
    if args.name not in found:
        raise CliError(f"there is no demo '{args.name}'; there are " + ", ".join(found))
    path = found[args.name]
    if args.copy:
        if Path(args.copy).exists():
            raise CliError(f"'{args.copy}' is there already; name another file")
        write_result(args.copy, path.read_text(encoding="utf-8"))
        print(f"{args.copy}: a copy of the demo; try: rungs {args.copy}")
        return FINE
    return _show(args.name, path)


def _show(name: str, path: Path) -> int:
    ink = ink_for(sys.stdout)
    checked = check_file(str(path))
    print(ink.strong("1  The file: a panel as text (the beginning)"))
    print(_head(checked.source.text))
    print(ink.strong("2  Check: what is wrong with it, without running it"))
    if checked.findings:
        print(findings_text(checked.findings, checked.source, ink))
    print(f"   {summary(checked.findings)}\n")
    program = checked.program
    if program is None:
        return FINDINGS
    print(ink.strong("3  Scenarios: the panel is switched on and played"))
    results = [play(program, scenario) for scenario in program.scenarios]
    for result in results:
        print(scenario_text(program, result, ink, every_step=True))
    print()
    print(ink.strong("4  Ladder"))
    print(draw_program(program, 80))
    print(ink.strong("5  Truth table of the outputs that follow the inputs alone"))
    _show_table(program, ink)
    print(ink.strong("6  Proof: what must never happen, for all switches, clocks and power cuts"))
    _show_proof(program, ink)
    print(ink.strong("7  The table that a board takes, proved to do the same"))
    _show_boards(program)
    print(ink.strong("8  The sequence of operation, written from the logic (a part of it)"))
    _show_sequence(program)
    print(ink.strong("Where to go next"))
    print(_next(name))
    return FINE if all(result.passed for result in results) else FINDINGS


def _head(text: str, lines: int = 14) -> str:
    shown = text.split("\n")[:lines]
    return "\n".join("   " + line if line else "" for line in shown) + "\n   ...\n"


def _show_table(program: Program, ink: Ink) -> None:
    table, refused = truth_table(program)
    if table is not None:
        print("\n".join("   " + line for line in truth_text(table, ink.on).split("\n")))
    for finding in refused:
        print(f"   {finding.message}")
    print()


def _show_proof(program: Program, ink: Ink) -> None:
    report = prove(program, Budget(PROOF_SECONDS), questions=False)
    for verdict in report.verdicts:
        lines = verdict_lines(report, verdict, ink)
        print("\n".join(f"   {line}" if line else "" for line in lines))
    print()


def _show_boards(program: Program) -> None:
    compiler = Compiler(program)
    for kind in KINDS:
        table, findings = compiler.table(kind, first_match=True)
        if table is not None:
            print(f"   {kind:<12}{size_words(table)}")
        elif findings:
            print(f"   {kind:<12}no: {findings[0].message}")
    print()


def _show_sequence(program: Program) -> None:
    """What the first switches do."""
    blocks = narration_paper(narrate(program, beside=False)).blocks
    heads = [n for n, block in enumerate(blocks) if isinstance(block, Heading)]
    named = {f"{device.name} at" for device in program.inputs[:_SWITCHES]}
    for begin, end in pairwise([*heads, len(blocks)]):
        head = blocks[begin]
        if isinstance(head, Heading) and any(head.text.startswith(name) for name in named):
            lines = blocks_text(blocks[begin:end], 77).split("\n")
            print("\n".join(f"   {line}" if line else "" for line in lines))


def _next(name: str) -> str:
    return "\n".join(
        (
            f"   rungs demo {name} --copy my_panel.rungs   a file of your own to change",
            "   rungs my_panel.rungs                       the bench: operate it, watch it scan",
            "   rungs check my_panel.rungs                 what is wrong with it",
            "   rungs prove my_panel.rungs                 when it fails, or that it never does",
            "   rungs why my_panel.rungs LAMP              why a device is on or off",
            "   rungs compile my_panel.rungs               which boards it fits, and why not",
            "   rungs narrate my_panel.rungs               the sequence of operation",
            "   rungs pack my_panel.rungs -o handover      every paper for whoever comes next",
            "   rungs demo --list                          the other demos",
            "   rungs --help                               every verb",
            "",
            "   A program is never the only safety function: emergency stops and guards are",
            "   hard-wired, stop devices are wired normally closed, and local codes decide.",
        )
    )
