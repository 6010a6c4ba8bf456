"""`rungs test`: plays the scenarios of a panel and watches its properties meanwhile."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace

from rungs.cli.common import add_file, add_json, load, show_warnings, write_result
from rungs.cli.exits import FINDINGS, FINE, WRONG_CALL, CliError
from rungs.report.junit import junit_xml
from rungs.report.scenarios import scenario_text
from rungs.report.text import ink_for, say
from rungs.scan.scenario import play


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument("--junit", metavar="XML", help="also write the results as JUnit XML")
    parser.add_argument("--only", metavar="WORDS", help="only scenarios whose name has these words")
    parser.add_argument("-v", "--verbose", action="store_true", help="show every step")
    add_json(parser)


def run(args: Namespace) -> int:
    """Play each scenario; 1 if an expectation failed or a property broke."""
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    wanted = [s for s in program.scenarios if not args.only or args.only in s.label]
    if args.only and not wanted:
        raise CliError(f"no scenario's name has '{args.only}' in it", WRONG_CALL)
    results = tuple(play(program, scenario) for scenario in wanted)
    if args.junit:
        write_result(args.junit, junit_xml(program, results))
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.model import test_model

        print(test_model(program, results, findings).model_dump_json(indent=2))
    else:
        ink = ink_for(sys.stdout)
        for result in results:
            print(scenario_text(program, result, ink, args.verbose))
        failed = sum(not result.passed for result in results)
        say(
            f"{program.source.name}: {len(results) - failed} of {len(results)} scenarios pass"
            if results
            else f"{program.source.name}: the file has no scenarios"
        )
    return FINE if all(result.passed for result in results) else FINDINGS
