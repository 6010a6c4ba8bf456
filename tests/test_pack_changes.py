"""What changed from one handover to the next: in words, and on the relays."""

from __future__ import annotations

import re
from dataclasses import replace
from random import Random

import pytest

from rungs.pack.changes import BEFORE, both, changes, statement_changes
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.witness import played
from rungs.scan.runner import Panel
from rungs.source import source_from_text
from tests.engines import ENGINES
from tests.helpers import program_of
from tests.strategies import clock_functions, program_text, random_program, random_stimulus

PANEL = """
title "Yard"
input  start at I1 momentary NO
input  stop  at I2 momentary NC
output pump  at R1 NO
output horn  at R2 NO
timer  rest  off-delay 5s
rung "Start and stop"
    (start or pump) and stop -> pump
rung
    start -> rest
rung
    rest -> horn
never "both" pump and horn and not stop
"""


def told(before: str, now: str) -> list[str]:
    return list(statement_changes(source_from_text(before), source_from_text(now)))


def test_layout_and_comments_count_for_nothing() -> None:
    again = PANEL.replace("\n    ", " ").replace("rung ", "# a comment\nrung ", 1)
    assert again != PANEL
    assert told(PANEL, again) == []
    assert changes(program_of(PANEL), program_of(again), Budget(5)).effects == ()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "off-delay 5s",
            "off-delay 3s",
            ["changed: “timer rest off-delay 5s” is now “timer rest off-delay 3s”"],
        ),
        ("output horn  at R2 NO\n", "", ["taken out: output horn at R2 NO"]),
        ('title "Yard"', 'title "Mill"', ['changed: “title "Yard"” is now “title "Mill"”']),
        ("rung\n    start -> rest\n", "", ["rung 2 taken out: rung start -> rest"]),
        (
            "    start -> rest",
            "    not stop -> rest",
            ["rung 2 changed: “rung start -> rest” is"],
        ),
        ('rung "Start', 'rung stop -> horn\nrung "Start', ["rung 1 added: rung stop -> horn"]),
        ('never "both"', 'never "two"', ['added: never "two"', 'taken out: never "both"']),
    ],
)
def test_each_change_is_told_once(old: str, new: str, words: list[str]) -> None:
    found = told(PANEL, PANEL.replace(old, new, 1))
    assert len(found) == len(words)
    for line, wanted in zip(found, words, strict=True):
        assert line.startswith(wanted)


def test_a_moved_rung_is_no_new_rung() -> None:
    first, rest = PANEL.split("rung\n    start -> rest\n")
    assert told(PANEL, f"{first}{rest}rung\n    start -> rest\n") == [
        "rung 3 moved to place 2: rung rest -> horn"
    ]


def test_a_wrong_stop_is_found_and_a_rewording_is_proved_to_be_one() -> None:
    before = program_of(PANEL)
    now = program_of(
        PANEL.replace("(start or pump) and stop", "(start and stop) or pump").replace(
            "    rest -> horn", "    rest or (rest and stop) -> horn"
        )
    )
    found = changes(before, now, Budget(20))
    assert [(e.output, e.verdict) for e in found.effects] == [
        ("pump", "comes_on"),
        ("horn", "same"),
    ]
    witness = found.effects[0].witness
    assert witness is not None
    pumps = []
    for program in (before, now):
        panel = Panel(program, witness.start)
        for _ in played(witness, panel):
            pass
        pumps.append(panel.state.contacts["pump"])
    assert pumps == [False, True]


# --- random programs ----------------------------------------------------------------------------


def mutated(program: Program, rng: Random) -> Program:
    """The program with a contact, a time or the order of two rungs changed."""
    text = program_text(program)
    head, *rungs = re.split(r"(?=^rung)", text, flags=re.MULTILINE)
    at = rng.randrange(len(rungs))
    match rng.randrange(3):
        case 0:
            rungs[at] = re.sub(r"\bnot (?!\()", "", rungs[at], count=1)
        case 1:
            rungs.insert(rng.randrange(len(rungs)), rungs.pop(at))
        case _:
            head = re.sub(r"delay (\d+)ms", lambda m: f"delay {int(m[1]) + 10}ms", head, count=1)
    return program_of(head + "".join(rungs))


@pytest.mark.parametrize("seed", range(40))
def test_both_in_one_panel_do_what_each_does_alone(seed: int) -> None:
    rng = Random(seed)
    before = random_program(rng)
    now = mutated(before, rng)
    joined = both(before, now)
    stimulus = random_stimulus(rng, before)
    closed, events = clock_functions(before, stimulus.start)
    twins = {name: times for clock, times in events.items() for name in (clock, BEFORE + clock)}
    play = ENGINES["reference"]
    shown = play(joined, stimulus.rows, stimulus.period, closed, twins)
    for program, sign in ((now, ""), (before, BEFORE)):
        alone = play(program, stimulus.rows, stimulus.period, closed, events)
        for (t, values), (other, together) in zip(alone, shown, strict=True):
            assert t == other
            for name in (o.name for o in program.outputs):
                assert together[sign + name] == values[name], (t, name)


@pytest.mark.parametrize("seed", range(12))
def test_what_is_called_the_same_is_so_on_random_runs_and_each_run_shows_a_difference(
    seed: int,
) -> None:
    rng = Random(1_000 + seed)
    before = random_program(rng, 4)
    now = mutated(before, rng)
    found = changes(before, now, Budget(4))
    effects = {(e.output, e.verdict) for e in found.effects}
    for effect in found.effects:
        if effect.witness is None:
            continue
        ends = []
        for program in (before, now):
            panel = Panel(program, effect.witness.start)
            for _ in played(effect.witness, panel):
                pass
            ends.append(panel.state.contacts[effect.output])
        assert ends == ([False, True] if effect.verdict == "comes_on" else [True, False])
    play = ENGINES["reference"]
    for _ in range(4):
        stimulus = random_stimulus(rng, before)
        closed, events = clock_functions(before, stimulus.start)
        pair = [play(p, stimulus.rows, 10, closed, events) for p in (before, now)]
        for (_, one), (_, two) in zip(*pair, strict=True):
            for name in (o.name for o in now.outputs):
                if one[name] != two[name]:
                    assert (name, "same") not in effects


def test_what_is_not_shared_is_told_apart() -> None:
    before = program_of(PANEL)
    joined = both(before, replace(before, title="again"))
    assert [d.name for d in joined.devices] == [
        *("start", "stop", "pump", "horn", "rest"),
        *(BEFORE + "pump", BEFORE + "horn", BEFORE + "rest"),
    ]
    assert [rung.number for rung in joined.rungs] == [1, 2, 3, 4, 5, 6]
