"""`rungs prove`: whether the properties of a panel hold, and what else can go wrong on it."""

from __future__ import annotations

import hashlib
import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path

from rungs import __version__
from rungs.cli.common import add_file, add_json, load, read_source, show_warnings, write_result
from rungs.cli.exits import FINDINGS, FINE, INTERRUPTED, IO_FAILED, WRONG_CALL, CliError
from rungs.cli.working import Working, add_seconds
from rungs.core.lower import LowerError
from rungs.files import FileError, write_atomic
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.certificate import with_meta
from rungs.prove.reach import Never
from rungs.prove.saved import appended, saved_scenario
from rungs.prove.store import Store, store_folder
from rungs.prove.verdict import names_of
from rungs.prove.whole import Report, prove
from rungs.report.proofs import report_text, summary_text
from rungs.report.text import ink_for, plain, say

SECONDS = 60.0
MEGABYTES = 2_000


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "--save", action="store_true", help="add each run that breaks a property as a scenario"
    )
    parser.add_argument(
        "--no-questions", action="store_true", help="only the properties that the file states"
    )
    parser.add_argument(
        "--only", metavar="WORDS", help="only properties whose name has these words"
    )
    add_seconds(parser, SECONDS)
    parser.add_argument(
        "--megabytes", type=int, default=MEGABYTES, help=f"memory that it may take ({MEGABYTES})"
    )
    parser.add_argument("--certificates", metavar="FOLDER", help="write each proof as a file there")
    parser.add_argument(
        "--thorough",
        action="store_true",
        help="take longer over what is asked without being written",
    )
    parser.add_argument("--fresh", action="store_true", help="prove anew what was proved before")
    parser.add_argument(
        "-v", "--verbose", action="store_true", help="also show runs that put proofs to the test"
    )
    parser.add_argument("--junit", metavar="XML", help="also write the verdicts as JUnit XML")
    add_json(parser)


def run(args: Namespace) -> int:
    """Prove, print, save; 1 if a property fails or is not decided."""
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    if args.save and args.file == "-":
        raise CliError("--save needs a file to add the scenarios to", WRONG_CALL)
    if args.only and not any(args.only in name for name in names_of(program)):
        raise CliError(f"no property's name has '{args.only}' in it", WRONG_CALL)
    report, cancelled = _prove(program, args)
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.proof_model import proof_model

        print(proof_model(report, findings).model_dump_json(indent=2))
    else:
        print(report_text(report, ink_for(sys.stdout), args.verbose))
        say(summary_text(report))
    if args.junit:
        # needed for build servers alone
        from rungs.report.proof_junit import proofs_xml

        write_result(args.junit, proofs_xml(report))
    if args.certificates:
        _certificates(report, Path(args.certificates))
    if args.save:
        _save(report, args.file)
    if cancelled:
        return INTERRUPTED
    return FINE if all(v.verdict in ("proved", "holds") for v in report.verdicts) else FINDINGS


def _prove(program: Program, args: Namespace) -> tuple[Report, bool]:
    """The report, and whether it was cut off by the user."""
    try:
        with Working() as working:
            report = prove(
                program,
                Budget(args.seconds, args.megabytes, working.is_stopped),
                questions=not (args.no_questions or args.only),
                only=args.only or "",
                thorough=args.thorough,
                store=Store(store_folder(), read=not args.fresh),
                progress=working.tell,
            )
    except LowerError as error:
        raise CliError(f"{error}; nothing was proved", FINDINGS) from error
    return report, working.stopped


def _certificates(report: Report, folder: Path) -> None:
    """One file a proof, named by the place of the property in the file."""
    source = report.program.source
    digest = hashlib.sha256(source.text.encode("utf-8")).hexdigest()
    written = 0
    for number, verdict in enumerate(report.verdicts, 1):
        answer = verdict.answer
        if not isinstance(answer, Never) or not answer.certificate:
            continue
        meta = {
            "property": verdict.name,
            "line": str(source.position(verdict.item.span.start).line),
            "file": Path(source.name).name,
            "source sha256": digest,
            "period ms": str(report.period),
            "rungs": __version__,
        }
        text = with_meta(answer.certificate, meta)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            write_atomic(folder / f"proof_{number:03}.json", text.encode("ascii"))
        except (FileError, OSError) as error:
            raise CliError(str(error), IO_FAILED) from error
        written += 1
    left = sum(isinstance(v.answer, Never) and not v.answer.certificate for v in report.verdicts)
    more = f"; {left} rest on the ages of timers and have none" if left else ""
    say(f"{written} certificates in {plain(str(folder))}{more}")
    say("check them with: python -m rungs.prove.checker FILE...")


def _save(report: Report, name: str) -> None:
    """Add the scenarios behind the end of the file; all else in it stays as it is."""
    source, _ = read_source(name)
    if source.text != report.program.source.text:
        raise CliError(f"{name} has changed while it was looked at; nothing was saved", IO_FAILED)
    text = source.text
    for verdict in report.verdicts:
        if verdict.witness is None:
            continue
        program = report.program
        saved = saved_scenario(program, verdict.item, verdict.name, verdict.witness, report.period)
        if saved is None:
            say(
                f'"{plain(verdict.name)}" was not saved: its run moves two switches in one scan, '
                "or one before the panel has settled, which a scenario cannot say"
            )
        else:
            text = appended(text, saved.text)
            say(f'saved as scenario "{plain(saved.label)}"')
    if text != source.text:
        try:
            write_atomic(Path(name), source.encode(text))
        except FileError as error:
            raise CliError(str(error), IO_FAILED) from error
