"""Textbook circuits, worked by hand, with their sentences written out in full; and what a paper
shows beside them."""

from __future__ import annotations

import json
from itertools import combinations, product
from pathlib import Path
from random import Random

import pytest

from rungs.cli.main import main
from rungs.narrate.build import narrate
from rungs.narrate.conditions import Cube, holds, needed, smallest
from rungs.narrate.data import Fact, Narration
from rungs.narrate.paper import narration_paper
from rungs.narrate.words import Speaker
from rungs.papers.blocks import Heading, Points, tables
from rungs.papers.text import paper_text
from rungs.prove.budget import Budget
from rungs.report.narrate_model import narrate_model
from tests.helpers import program_of


def narrated(text: str, beside: bool = False) -> Narration:
    """The narration of a text, complete."""
    n = narrate(program_of(text), Budget(20), beside=beside)
    assert not n.unworked
    return n


def said(n: Narration) -> list[str]:
    """What a paper tells of inputs, clocks, timers and power cuts, a line for each sentence."""
    paper = paper_text(narration_paper(n), 400)
    start = paper.index("Switches and sensors\n") if n.inputs else paper.index("Clocks\n")
    lines = paper[start : paper.index("What the file states")].splitlines()
    kept = [line for line in lines if line.startswith(("When", "- "))]
    return [line for line in kept if not line.startswith(("When a time is over", "When power f"))]


SEAL_IN = """
input start_button at I1 momentary NO
input stop_button  at I2 momentary NC
output motor at R1
rung (start_button or motor) and stop_button -> motor
"""

# both directions sealed in and locked against each other, the forward rung first
FORWARD_REVERSE = """
input ahead       at I1 momentary NO
input back        at I2 momentary NO
input stop_button at I3 momentary NC
output forward at R1
output reverse at R2
rung (ahead or forward) and stop_button and not reverse -> forward
rung (back or reverse) and stop_button and not forward -> reverse
"""

OFF_DELAY = """
input call_button at I1 momentary NO
output light at R1
timer linger off-delay 90s
rung call_button -> linger
rung linger -> light
"""

TWO_WAY = """
input by_door   at I1 maintained NO
input by_stairs at I2 maintained NO
output light at R1
rung (by_door and not by_stairs) or (by_stairs and not by_door) -> light
"""

IMPULSE = """
input push at I1 momentary NO
output lamp at R1
rung push -> impulse lamp
"""

# the circuits and what they do: FROM MEMORY of textbooks; the sentences: by hand
CASES = {
    "seal-in": (
        SEAL_IN,
        [
            "When it is pressed (its NO circuit closes):",
            "- motor comes on if stop_button is closed (not pressed).",
            "When it is pressed (its NC circuit opens):",
            "- motor goes off.",
            "When it is let go (its NC circuit closes):",
            "- motor comes on if start_button is closed.",
            "- motor goes off if start_button is open.",
        ],
    ),
    "forward and reverse": (
        FORWARD_REVERSE,
        [
            "When it is pressed (its NO circuit closes):",
            "- forward comes on if stop_button is closed (not pressed) and reverse is off.",
            "When it is pressed (its NO circuit closes):",
            "- reverse comes on if stop_button is closed (not pressed) and forward is off.",
            "When it is pressed (its NC circuit opens):",
            "- forward and reverse go off.",
            "When it is let go (its NC circuit closes):",
            "- forward comes on if ahead is closed.",
            "- reverse comes on if ahead is open and back is closed.",
            # after a cut the first rung wins where both buttons are held
            "- forward comes on if ahead is closed and stop_button is closed (not pressed).",
            "- forward goes off if ahead is open.",
            "- reverse comes on if ahead is open, back is closed and stop_button is closed (not "
            "pressed).",
            "- reverse goes off if ahead is closed or back is open.",
        ],
    ),
    "off-delay": (
        OFF_DELAY,
        [
            "When it is pressed (its NO circuit closes):",
            "- light comes on, and inside linger is held on.",
            "When it is let go (its NO circuit opens):",
            "- Inside: linger begins its 1min30s.",
            "When its 1min30s are over:",
            "- light goes off.",
            "- light goes off if call_button is open.",
        ],
    ),
    "two-way switching": (
        TWO_WAY,
        [
            "When it is operated (its NO circuit closes):",
            "- light changes over (on to off, or off to on).",
            "When it is released (its NO circuit opens):",
            "- light changes over (on to off, or off to on).",
        ]
        * 2
        + ["- Nothing: every output stands as it stood before."],
    ),
    "impulse relay": (
        IMPULSE,
        [
            "When it is pressed (its NO circuit closes):",
            "- lamp changes over (on to off, or off to on).",
            "- lamp goes off.",
        ],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_textbook_circuit_reads_as_worked_by_hand(name: str) -> None:
    text, expected = CASES[name]
    assert said(narrated(text)) == expected


def test_what_only_flashes_up_and_what_never_rests_is_told() -> None:
    n = narrated(
        """
input push   at I1
input shake  at I2
output blip  at R1
output rattle at R2
rung rising push -> blip
rung shake and not rattle -> rattle
"""
    )
    assert said(n)[:4] == [
        "When it is operated (its NO circuit closes):",
        "- blip comes on for a moment and goes off again.",
        "When it is operated (its NO circuit closes):",
        "- rattle keeps changing and never comes to rest.",
    ]


def test_clock_edges_that_only_come_together_are_one_event() -> None:
    n = narrated(
        """
clock day   from 06:00 to 22:00
clock night from 22:00 to 06:00
output a at R1
output b at R2
rung day -> a
rung day and not night -> b
"""
    )
    events = {(e.event.kind, e.event.device, e.event.also) for e in n.sentences if e.device == "b"}
    assert ("begins", "day", (("night", "ends"),)) in events
    assert ("ends", "day", (("night", "begins"),)) in events
    follower = n.clocks[0].followers[0]
    assert (follower.source, follower.device, follower.inverse) == ("day", "a", False)
    lines = said(n)
    assert "When it begins, and night ends at the same moment:" in lines
    assert "- a is on while it is closed, and off while it is open." in lines


def test_power_up_tells_what_is_kept_and_what_is_caught_up() -> None:
    n = narrated(
        """
site "Here" zone "UTC"
input off_button at I1 momentary NC
output pump at R1 retained
output lamp at R2
relay night retained
clock begin at 06:00 catch up 10min
clock late at 22:00
rung begin -> latch pump
rung late -> latch night
rung not off_button -> unlatch pump, unlatch night
rung night -> lamp
"""
    )
    speak = Speaker(n.program)
    assert set(speak.power_up(n.power_up.sentences)) == {
        "pump is on if begin is caught up after the cut or pump was on before.",
        "lamp is on if night was on before.",
        "night stands as it was before power went (retained; off the first time).",
    }


def test_counts_are_told_as_counts() -> None:
    n = narrated(
        """
input pulse at I1 momentary NO
input clear at I2 momentary NO
output full at R1
counter three to 3
rung pulse and not clear -> three
rung clear -> reset three
rung three -> full
"""
    )
    lines = said(n)
    assert "- full comes on if three counts 2 or more." in lines  # while clear is closed it is 0
    assert "- Inside: three counts up if clear is open." in lines
    assert "- full goes off, and inside three goes back to 0." in lines


QUARREL = """
site "Here" zone "UTC"
input wish at I1 momentary NO
output lamp at R1
clock week    at 07:00
clock weekend at 07:00 on Sat
rung wish or week -> latch lamp
rung weekend -> unlatch lamp
never "not with the wish" lamp and wish
always "dark or lit" lamp or not lamp
scenario "it lights"
    tap wish
    expect lamp
scenario "it does not"
    expect lamp
"""


def test_properties_scenarios_and_quarrels_stand_beside_with_their_verdicts() -> None:
    n = narrated(QUARREL, beside=True)
    verdicts = {each.label: each.verdict for each in n.beside.properties}
    assert verdicts == {"not with the wish": "fails", "dark or lit": "proved"}
    played = {each.label: each.passed for each in n.beside.scenarios}
    assert played == {"it lights": False, "it does not": False}  # the first breaks the property
    assert not n.fine
    (fight,) = n.beside.conflicts
    assert (fight.device, fight.wins.number) == ("lamp", 2)
    assert any("07:00" in when and "Sat" in when for when in fight.when)
    text = paper_text(narration_paper(n), 200)
    for words in ("FAILS", "NOT as expected", "The later rung wins: rung 2."):
        assert words in text
    model = narrate_model(n)
    assert model.conflicts[0].when == list(fight.when)
    assert [s.text for p in model.inputs for s in p.sentences] == ["lamp comes on."]


def test_a_paper_has_a_heading_for_each_input_and_its_points_in_plain_words() -> None:
    paper = narration_paper(narrated(SEAL_IN))
    heads = [block.text for block in paper.blocks if isinstance(block, Heading)]
    assert "start_button at I1, momentary NO" in heads
    assert paper.name == "sequence"
    assert {table.name for table in tables(paper)} == {"outputs", "stated", "scenarios"}
    points = [item for block in paper.blocks if isinstance(block, Points) for item in block.items]
    assert "motor stays off." in points


def test_conditions_say_once_what_all_terms_ask() -> None:
    program = program_of(
        "input a at I1\ninput b at I2\ninput c at I3 momentary NC\ninput d at I4\noutput x at R1\n"
        "rung a and b and c and d -> x\n"
    )
    speak = Speaker(program)
    a, b, c, d = (Fact(name, "input", True) for name in "abcd")
    off = Fact("x", "output", False)
    assert speak.condition(((a, c), (a, d))) == (
        "a is closed, and either c is closed (not pressed) or d is closed"
    )
    assert speak.condition(((a, b), (a, d))) == "a is closed, and b or d is closed"
    assert (
        speak.condition(((a, off), (b, off), (a, d), (b, d)))
        == "a or b is closed, and either x is off or d is closed"
    )
    assert speak.condition(((a, b), (d, off))) == "a and b are closed, or d is closed and x is off"


def _fewest(on: set[int], off: set[int], n: int) -> int:
    """The fewest cubes by trying all sets of them."""
    cubes: list[Cube] = [
        (care, value)
        for care, value in product(range(1 << n), repeat=2)
        if not value & ~care and not any(row & care == value for row in off)
    ]
    for size in range(1, 5):
        for some in combinations(cubes, size):
            if all(holds(some, row) for row in on):
                return size
    raise AssertionError("more than four terms")


def test_no_condition_has_a_term_more_than_it_needs() -> None:
    rng = Random(3)
    tried = 0
    for _ in range(120):
        rows = list(range(8))
        rng.shuffle(rows)
        cut = rng.randint(1, 4)
        on, off = set(rows[:cut]), set(rows[cut : rng.randint(cut + 1, 8)])
        cubes = smallest(on, off, [0, 3, 8])
        assert needed(cubes, on, off)
        assert len(cubes) == _fewest(on, off, 3)
        tried += len(cubes) > 1
    assert tried > 20


def test_the_verb_prints_and_writes_the_paper(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNGS_CACHE", str(tmp_path))
    panel, page = tmp_path / "panel.rungs", tmp_path / "sequence.html"
    panel.write_text('title "Blower"' + SEAL_IN)
    assert main(["narrate", str(panel)]) == 0
    assert "motor goes off." in capsys.readouterr().out
    assert main(["narrate", str(panel), "--json", "-o", str(page), "--seconds", "5"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["complete"]
    assert told["inputs"][1]["sentences"][0]["condition"][0][0]["device"] == "start_button"
    assert "Sequence of operation: Blower" in page.read_text()
