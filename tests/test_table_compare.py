"""Tables held against programs: the proof sees every change that matters, and only those."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from random import Random
from typing import Literal

import pytest

from rungs.program.nodes import Program
from rungs.source import source_from_text
from rungs.table.compare import compare
from rungs.table.compile import Compiler
from rungs.table.emulator import Emulator, TableFault
from rungs.table.formats import table_csv
from rungs.table.machine import minimise
from rungs.table.model import TableFile
from rungs.table.reading import read_table
from tests.helpers import program_of
from tests.strategies import random_program

GATE = """
input open_button  at I1 momentary NO
input stop_button  at I2 momentary NC
input end_switch   at I3 NC debounce 20ms
output drive       at R1 NO
output lamp        at R2 NO
timer  rest        off-delay 500ms
relay  wanted
rung open_button -> latch wanted
rung not stop_button or not end_switch -> unlatch wanted
rung wanted and not rest.timing -> drive
rung drive -> rest
rung drive or rest -> lamp
"""


SWITCHED = """
site zone "UTC"
input on_button  at I1 momentary NO
input off_button at I2 momentary NC
input porch      at I3 momentary NO
output lamp      at R1 NO
output bell      at R2 NO
clock night      at 23:00 daily
rung rising on_button -> latch lamp
rung falling off_button or night -> unlatch lamp
rung porch -> impulse bell
"""


def table_of(program: Program, most: int = 60) -> TableFile | None:
    table, _ = Compiler(program).table("transition")
    return None if table is None or len(table.states) > most else table


def changed(rng: Random, table: TableFile) -> TableFile | None:
    """The table with one cell of a row, a state or a timer changed, or one row left out."""
    rows, index = list(table.transitions), rng.randrange(len(table.transitions))
    row = rows[index]
    what = rng.choice(("pattern", "outputs", "next", "run", "row", "cut", "preset"))
    names = [state.name for state in table.states]
    text = getattr(row, what, "") if what in ("pattern", "outputs", "run") else ""
    if text:
        place = rng.randrange(len(text))
        signs = "01-" if what == "pattern" else "01"
        sign = rng.choice([s for s in signs if s != text[place]])
        rows[index] = row.model_copy(update={what: text[:place] + sign + text[place + 1 :]})
    elif what == "next" and len(names) > 1:
        target = rng.choice([name for name in names if name != row.next])
        rows[index] = row.model_copy(update={"next": target})
    elif what == "row":
        rows.pop(index)
    elif what == "cut" and len(names) > 1:
        states = list(table.states)
        place = rng.randrange(len(states))
        other = rng.choice([n for n in names if n != states[place].after_power_cut])
        states[place] = states[place].model_copy(update={"after_power_cut": other})
        return table.model_copy(update={"states": tuple(states)})
    elif what == "preset" and table.timers:
        timers = list(table.timers)
        place = rng.randrange(len(timers))
        longer = timers[place].preset_ms + rng.choice((1, 10, 100))
        timers[place] = timers[place].model_copy(update={"preset_ms": longer})
        return table.model_copy(update={"timers": tuple(timers)})
    else:
        return None
    return table.model_copy(update={"transitions": tuple(rows)})


def parts(one: TableFile, other: TableFile, rng: Random, runs: int = 60) -> bool:
    """Whether random switching, power cuts and clocks show a difference between two tables."""
    inputs = [signal.name for signal in one.signals if signal.kind == "input"]
    clocks = [signal.name for signal in one.signals if signal.kind == "clock"]
    for _ in range(runs):
        boards = (Emulator(one), Emulator(other))
        circuits = dict.fromkeys(inputs, False)
        for t in range(0, 400, 10):
            if rng.random() < 0.05 and t:
                for board in boards:
                    board.power(False)
                    board.power(True)
            circuits = {n: on != (rng.random() < 0.25) for n, on in circuits.items()}
            shown = {name: rng.random() < 0.4 for name in clocks}
            try:
                outputs = [board.scan(circuits, shown, t) for board in boards]
            except TableFault:
                return True
            if outputs[0] != outputs[1]:
                return True
    return False


def test_every_change_of_one_cell_is_a_difference_or_shows_none_under_random_switching() -> None:
    """ "same" is held against the emulator: where it is said, no random run may tell the two
    apart."""
    verdicts = {"same": 0, "differs": 0, "undecided": 0}
    for seed in range(60):
        rng = Random(seed)
        program = random_program(rng, rng.randint(1, 7))
        table = table_of(program)
        if table is None:
            continue
        assert compare(program, table).verdict == "same", seed
        for _ in range(3):
            other = changed(rng, table)
            if other is None:
                continue
            found = compare(program, other)
            verdicts[found.verdict] += 1
            if found.verdict == "same":
                assert not parts(table, other, rng), seed
            elif found.verdict == "differs" and not found.head:
                assert found.story, seed
    assert verdicts["differs"] > 75
    assert verdicts["undecided"] <= verdicts["differs"] // 50


def _minimal_rows(table: TableFile) -> Iterator[tuple[int, str, str]]:
    for number, row in enumerate(table.transitions, 1):
        for place, sign in enumerate(row.outputs):
            yield (
                number,
                row.state,
                row.outputs[:place] + "10"[int(sign)] + row.outputs[place + 1 :],
            )


def test_each_output_cell_of_a_whole_table_is_seen_with_its_row() -> None:
    program = program_of(GATE)
    table = table_of(program, 200)
    assert table is not None
    for number, _, outputs in _minimal_rows(table):
        rows = list(table.transitions)
        rows[number - 1] = rows[number - 1].model_copy(update={"outputs": outputs})
        found = compare(program, table.model_copy(update={"transitions": tuple(rows)}))
        assert found.verdict == "differs"
        assert found.rows == (number,)


def test_the_story_of_a_difference_replays_on_program_and_table() -> None:
    """The signals at the times told give outputs that differ at the last of them."""
    program = program_of(GATE)
    table = table_of(program, 200)
    assert table is not None
    number = next(
        i
        for i, row in enumerate(table.transitions)
        if row.state.startswith("drive") and "1" in row.run
    )
    rows = list(table.transitions)
    rows[number] = rows[number].model_copy(update={"outputs": "00"})
    found = compare(program, table.model_copy(update={"transitions": tuple(rows)}))
    assert found.verdict == "differs"
    assert found.story[0].startswith("at 0 s: power up: ")
    assert "is on in the program and off in the table" in found.story[-1]


@pytest.mark.parametrize(
    "change, told",
    [
        ({"program_sha256": "0" * 64}, "made from another text"),
        ({"title": "another"}, ""),
    ],
)
def test_what_does_not_change_the_panel_is_no_difference(change: dict[str, str], told: str) -> None:
    program = program_of(GATE)
    table = table_of(program, 200)
    assert table is not None
    found = compare(program, table.model_copy(update=change))
    assert found.verdict == "same"
    assert any(told in note for note in found.notes) == bool(told)


def _with(table: TableFile, field: str, place: int, **change: object) -> TableFile:
    items = list(getattr(table, field))
    items[place] = items[place].model_copy(update=change)
    return table.model_copy(update={field: tuple(items)})


@pytest.mark.parametrize(
    "field, place, change, told",
    [
        ("signals", 0, {"terminal": "I7"}, "'open_button' is at I7, in the program at I1"),
        ("signals", 1, {"at_rest": False}, "'stop_button' is NO in the table, NC in the program"),
        (
            "signals",
            2,
            {"debounce_ms": 30},
            "'end_switch' is debounced 30 ms, in the program 20 ms",
        ),
        ("outputs", 0, {"side": "NC"}, "'drive': NC in the table, NO in the program"),
        ("outputs", 1, {"terminal": "R1"}, "'lamp' at R1, in the program at R2"),
        (
            "timers",
            0,
            {"preset_ms": 400},
            "'rest' is 400ms in the table, 500ms in the program",
        ),
        ("timers", 0, {"kind": "accumulating"}, "timer 'rest' is accumulating in the table"),
    ],
)
def test_a_changed_head_is_told_field_by_field(
    field: str, place: int, change: dict[str, object], told: str
) -> None:
    program = program_of(GATE)
    table = table_of(program, 200)
    assert table is not None
    found = compare(program, _with(table, field, place, **change))
    assert found.verdict == "differs"
    assert any(told in words for words in found.head), found.head


def test_a_table_of_fewer_relays_is_the_same_only_for_those_asked_for() -> None:
    program = program_of(GATE)
    table, _ = Compiler(program, ("drive",)).table("transition")
    assert table is not None
    assert compare(program, table).head == ("the table has no relay 'lamp'",)
    assert compare(program, table, ("drive",)).verdict == "same"


def test_a_difference_that_needs_an_impossible_order_of_timers_is_proved_away() -> None:
    """`slow` cannot run out before `fast`, since the two start together; a row for that order is
    never used."""
    program = program_of(
        """
        input go at I1
        output early at R1
        output late at R2
        timer fast on-delay 1s
        timer slow on-delay 3s
        rung go -> fast, slow
        rung fast -> early
        rung slow -> late
        """
    )
    table = table_of(program)
    assert table is not None
    places = {signal.name: place for place, signal in enumerate(table.signals)}
    hit = [
        number
        for number, row in enumerate(table.transitions)
        if row.pattern[places["fast.due"]] == "0" and row.pattern[places["slow.due"]] == "1"
    ]
    assert hit
    for number in hit:
        changed_table = _with(table, "transitions", number, outputs="11")
        if table.transitions[number].pattern[places["go"]] == "0":
            continue
        found = compare(program, changed_table)
        assert found.verdict == "same", found
    # with the presets the other way round the same order is the usual one
    swapped = program_of(
        program.source.text.replace("1s", "9s").replace("3s", "1s").replace("9s", "3s")
    )
    table = table_of(swapped)
    assert table is not None
    for number in hit:
        if table.transitions[number].pattern[places["go"]] == "1":
            assert compare(swapped, _with(table, "transitions", number, outputs="11")).verdict == (
                "differs"
            )


def test_the_smallest_machine_has_no_two_states_that_do_the_same() -> None:
    """Minimality by brute force: for small machines every pair of states is told apart by some
    sequence of signals (table filling, Hopcroft and Ullman 1979, section 3.4; FROM MEMORY)."""
    for seed in range(60):
        program = random_program(Random(seed), 4)
        core = Compiler(program)._machine[0]
        if core is None or not 1 < len(core.machine.nodes) <= 25:
            continue
        nodes = core.machine.nodes
        told: set[tuple[int, int]] = set()
        while True:
            fresh = {
                (a, b)
                for a in range(len(nodes))
                for b in range(a)
                if (a, b) not in told and _told_apart(nodes[a], nodes[b], told)
            }
            if not fresh:
                break
            told |= fresh
        assert len(told) == len(nodes) * (len(nodes) - 1) // 2, seed


def _told_apart(one: object, other: object, told: set[tuple[int, int]]) -> bool:
    from rungs.table.machine import Node  # the type alone

    assert isinstance(one, Node)
    assert isinstance(other, Node)
    if one.space != other.space:
        return True

    def apart(a: int, b: int) -> bool:
        return (max(a, b), min(a, b)) in told

    if apart(one.after_cut, other.after_cut):
        return True
    return any(
        a.mask & b.mask
        and ((a.outputs, a.runs) != (b.outputs, b.runs) or apart(a.target, b.target))
        for a in one.moves
        for b in other.moves
    )


def test_minimising_twice_changes_nothing() -> None:
    for seed in range(40):
        work = Compiler(random_program(Random(seed), 5))._machine[0]
        if work is not None:
            again = minimise(work.machine)
            assert again.nodes == work.machine.nodes


def _cells(text: str) -> Iterator[tuple[int, int, str]]:
    """Every cell of a CSV: line, column, content."""
    for line, cells in enumerate(csv.reader(text.splitlines())):
        for column, cell in enumerate(cells):
            yield line, column, cell


def _edited(text: str, line: int, column: int, cell: str) -> str:
    rows = list(csv.reader(text.splitlines()))
    rows[line][column] = cell
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


# what may be changed without anything being changed for the board: who made it, of which text,
# what was claimed, what people are told, and which rungs had power
FREE = ("tool", "title", "program", "program_sha256", "caution", "proof", "proofs", "cautions")


@pytest.mark.parametrize("kind, text", [("transition", GATE), ("switching", SWITCHED)])
def test_every_cell_of_a_written_table_is_a_finding_or_a_difference_if_it_is_changed(
    kind: Literal["transition", "switching"], text: str
) -> None:
    """Each cell of the CSV in turn, by a digit, a sign, a word or nothing."""
    program = program_of(text)
    table, findings = Compiler(program).table(kind)
    assert table is not None, findings
    written = table_csv(table)
    assert compare(program, table).verdict == "same"
    seen = {"finding": 0, "differs": 0, "free": 0, "unchanged": 0}
    rng = Random(7)
    cells = list(_cells(written))
    first_words = {line: cell for line, column, cell in cells if column == 0}
    headings = [line for line, word in first_words.items() if word == "columns"]
    names = next(csv.reader([written.splitlines()[headings[0]]]))
    for line, column, cell in rng.sample(cells, min(len(cells), 700)):
        others = {"0": "1", "1": "0", "-": rng.choice("01"), "on": "off", "off": "on"}
        other = others.get(cell, rng.choice((f"{cell}x", "", "7")))
        read, _ = read_table(source_from_text(_edited(written, line, column, other), "t.csv"))
        word = first_words[line]
        is_rungs = line > headings[0] and column < len(names) and names[column] == "rungs"
        if read is None:
            seen["finding"] += 1
        elif read == table:
            seen["unchanged"] += 1
        elif word in FREE or is_rungs or (word == "head_sha256" and not other):
            # a table without the digest of its head is one that somebody wrote by hand
            seen["free"] += 1
            assert compare(program, read).verdict == "same", (line, column)
        else:
            found = compare(program, read)
            if found.verdict != "differs":
                # a pattern that no reachable pair of states and no order of timers can meet
                assert found.verdict == "same", (line, column, cell, other)
                assert word == "row", (line, column, cell, other)
                assert not parts(table, read, rng), (line, column, cell, other)
            else:
                seen["differs"] += 1
    assert min(seen["finding"], seen["differs"]) > 20, seen


def test_a_row_names_the_rungs_with_power_and_those_that_let_a_relay_drop() -> None:
    program = program_of(GATE)
    table = table_of(program, 200)
    assert table is not None
    running = [row for row in table.transitions if row.state.startswith("drive")]
    stopping = [row for row in running if row.outputs[0] == "0"]
    assert stopping
    # rung 2 clears the latch, rung 3 is the coil that drops, rung 5 holds the lamp for the rest
    assert all({2, 3} <= set(row.rungs) for row in stopping)
    assert all(2 not in row.rungs and 3 in row.rungs for row in running if row.outputs[0] == "1")
