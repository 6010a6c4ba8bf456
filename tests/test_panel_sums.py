"""The panel sums: worst states against brute force, supplies, contacts, fuses, what is unknown."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from random import Random

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.cli.exits import CliError
from rungs.cli.main import main
from rungs.panel.contacts import duties
from rungs.panel.loads import NANO, feeding, loads_at_rest, loads_on
from rungs.panel.paper import sums_paper
from rungs.panel.protection import FUSES, fuse_for, kept_apart, mixed, voltages
from rungs.panel.sums import Sums, panel_sums
from rungs.panel.wires import limits, load_wires
from rungs.panel.worst import at_most, heaviest, worst_load
from rungs.papers.markdown import paper_markdown
from rungs.papers.text import paper_text
from rungs.program.nodes import Contact, Input, Program, Property, Relay, Series
from rungs.prove.witness import played
from rungs.scan.reference import State, powered_down, scan
from rungs.scan.runner import Panel
from rungs.table.board import Board, load_board
from tests.helpers import program_of
from tests.strategies import random_program

DEMOS = sorted((Path(__file__).resolve().parents[1] / "demos").glob("*.rungs"))
MOST_STATES = 350


def board_of(name: str = "timed-states") -> Board:
    found = load_board(name).board
    assert found is not None
    return found


def board_with(**relays: object) -> Board:
    board = board_of()
    return board.model_copy(update={"relays": board.relays.model_copy(update=relays)})


# --- the worst state, by looking at all of them -------------------------------------------------


def _key(state: State, t: int) -> tuple[object, ...]:
    """A state without its absolute times."""
    return (
        tuple(state.contacts.items()),
        tuple(state.coils.items()),
        tuple(state.counts.items()),
        tuple((name, min(t - at, 200)) for name, at in sorted(state.since.items())),
        tuple(sorted(state.edges.items())),
        tuple(sorted(state.powers.items())),
    )


def _loads(program: Program) -> Iterator[frozenset[str]] | None:
    """The loads that are on after each scan that can be reached, or None for too many states."""
    names = [device.name for device in program.inputs]
    assumed = [item.circuit for item in program.properties]
    start = powered_down(program)
    seen = {_key(start, 0)}
    layer = [start]
    found: set[frozenset[str]] = set()
    t = 0
    while layer:
        following: list[State] = []
        for before in layer:
            for values in product((False, True), repeat=len(names)):
                after = scan(program, before, dict(zip(names, values, strict=True)), {}, t)
                if any(_closed(after, circuit) for circuit in assumed):
                    continue
                found.add(loads_on(program, after.contacts))
                key = _key(after, t)
                if key not in seen:
                    seen.add(key)
                    following.append(after)
            cut = powered_down(program, before)
            if before.powered and _key(cut, t) not in seen:
                seen.add(_key(cut, t))
                following.append(cut)
            if len(seen) > MOST_STATES:
                return None
        layer = following
        t += 10
    return iter(found)


def _closed(state: State, circuit: object) -> bool:
    assert isinstance(circuit, Series)
    return all(state.contacts[part.name] for part in circuit.parts if isinstance(part, Contact))


def _small(seed: int) -> tuple[Program, dict[str, int]] | None:
    """A random panel small enough to look at whole, and the amps of its outputs."""
    rng = Random(seed)
    program = random_program(rng, 5)
    if program.clocks or program.counters or len(program.inputs) > 3:
        return None
    # relays that become outputs give more loads to weigh
    devices = tuple(
        replace(device, debounce=0) if isinstance(device, Input) else device
        for device in program.devices
    )
    program = replace(program, devices=devices)
    inputs = [device.name for device in program.inputs]
    if len(inputs) > 1 and rng.random() < 0.4:
        both = Series(tuple(Contact("closed", name) for name in inputs[:2]))
        program = replace(program, properties=(Property("assume", "", both),))
    amps = {output.name: rng.randrange(1, 9) * 100_000_000 for output in program.outputs}
    return program, amps


def test_the_worst_state_is_what_brute_force_over_the_interpreter_finds() -> None:
    compared = below = inverted = assumed = 0
    for seed in range(400):
        small = _small(seed)
        if small is None or len(small[1]) < 2:
            continue
        program, amps = small
        every = _loads(program)
        if every is None:
            continue
        wanted = max((sum(amps[name] for name in on) for on in every), default=0)
        worst = worst_load(program, amps, 20)
        assert (worst.bound, worst.seen) == (wanted, wanted), (seed, worst)
        panel = Panel(program, worst.run.start)
        for _ in played(worst.run, panel):
            pass
        assert {*worst.on} == loads_on(program, panel.state.contacts)
        compared += 1
        below += wanted < sum(amps.values())
        inverted += any(output.side == "NC" for output in program.outputs)
        assumed += bool(program.properties)
    assert compared >= 25
    assert min(below, inverted, assumed) >= 5


def _rows(outputs: int) -> str:
    """Outputs with a switch each, of which neighbours exclude each other."""
    lines = ["supply main 24 V 10 A"]
    lines += [f"input s{n} at I{n}" for n in range(outputs)]
    lines += [f"output o{n} at R{n} load 24 V {n + 1} A coil" for n in range(outputs)]
    for n in range(outputs):
        others = [f"not o{m}" for m in (n - 1, n + 1) if 0 <= m < outputs]
        lines.append(f"rung {' and '.join([f's{n}', *others])} -> o{n}")
    return "\n".join(lines) + "\n"


def test_a_panel_too_large_to_look_at_whole_is_bounded_by_what_is_proved_apart() -> None:
    # 18 inputs: more patterns than are looked at together; every second output is the heaviest
    program = program_of(_rows(18))
    (feeder,) = feeding(program).feeders
    worst = worst_load(program, feeder.known, 30)
    assert worst.exact
    assert worst.bound == sum(range(2, 19, 2)) * NANO
    assert {*worst.on} == {f"o{n}" for n in range(1, 18, 2)}


def test_where_the_time_ends_the_answer_is_two_bounds_and_a_reason() -> None:
    program = program_of(_rows(18))
    (feeder,) = feeding(program).feeders
    worst = worst_load(program, feeder.known, 0.02)
    right = sum(range(2, 19, 2)) * NANO
    assert not worst.exact
    assert worst.seen <= right <= worst.bound
    assert worst.reason
    sums = panel_sums(program, None, 0.02)
    assert "nothing more is known" in paper_text(sums_paper(sums), 100)


@given(st.data())
@settings(deadline=None, max_examples=60)
def test_the_heaviest_set_is_the_heaviest_of_all_sets_that_nothing_rules_out(
    data: st.DataObject,
) -> None:
    names = "abcdef"[: data.draw(st.integers(1, 6))]
    amps = {name: data.draw(st.integers(0, 5)) for name in names}
    some = st.frozensets(st.sampled_from(names), min_size=1)
    never = data.draw(st.lists(some, max_size=5))
    sets = [
        frozenset(n for n, on in zip(names, pattern, strict=True) if on)
        for pattern in product((False, True), repeat=len(names))
    ]
    allowed = [each for each in sets if not any(other <= each for other in never)]
    found = heaviest(amps, never)
    assert found in allowed
    weights = [sum(amps[name] for name in each) for each in allowed]
    assert sum(amps[name] for name in found or ()) == max(weights)
    assert max(weights) <= at_most(amps, never) <= sum(amps.values())


# --- supplies -----------------------------------------------------------------------------------

PANEL = """
supply main 24 V 2 A
input go at I1
input stop at I2 NC wire 10 m 0.75 mm2
output up at R1 load 24 V 1 A coil wire 10 m 1.5 mm2
output down at R2 load 24 V 1.2 A coil wire 10 m 1.5 mm2
output idle at R3 NC load 24 V 0.5 A lamp wire 40 m 20 AWG solid
rung go and stop and not down -> up
rung not go and stop and not up -> down
rung go or not go -> idle
never "both ways" up and down
"""


def sums_of(text: str, board: Board | None = None) -> Sums:
    return panel_sums(program_of(text), board)


def about(sums: Sums) -> dict[str, str]:
    return {remark.about: remark.verdict for remark in sums.remarks}


def test_a_supply_is_weighed_at_rest_at_worst_without_power_and_with_all_on() -> None:
    (supply,) = sums_of(PANEL).supplies
    assert (supply.usable, supply.at_rest, supply.all_on) == (1.6, 1.2, 2.7)
    assert supply.exact
    # the lamp on the NC contact is off whenever a scan is finished, and on while the board is dark
    assert (supply.worst_seen, supply.on, supply.dark) == (1.2, ("down",), 0.5)
    assert supply.verdict == "pass"
    assert "only the program" in supply.all_on_words
    assert supply.power_up is None


@pytest.mark.parametrize(
    ("design", "verdict", "words"),
    [
        ("design reserve 40 %", "pass", ""),
        ("design reserve 41 %", "fail", "1.18 A are left beside 41 % in reserve"),
    ],
)
def test_the_reserve_of_the_file_counts_to_the_last_milliamp(
    design: str, verdict: str, words: str
) -> None:
    (supply,) = sums_of(design + PANEL).supplies
    assert supply.verdict == verdict
    assert words in supply.why


def test_relays_that_may_be_on_before_the_first_scan_count_as_load() -> None:
    program = program_of(PANEL)
    found = {
        state: panel_sums(program, board_with(at_power_up=state)).supplies[0]
        for state in ("off", "on", "last", "unknown")
    }
    assert [found[s].power_up for s in ("off", "on", "last", "unknown")] == [0.5, 2.2, 0, 2.7]
    assert [found[s].verdict for s in ("off", "on", "last", "unknown")] == [
        *("pass", "fail", "pass", "unknown")
    ]


def test_a_supply_with_a_load_that_nobody_gave_is_never_passed() -> None:
    text = "supply main 24 V 4 A\ninput a at I1\noutput x at R1\nrung a -> x\n"
    (supply,) = sums_of(text).supplies
    assert (supply.verdict, supply.unknown) == ("unknown", ("x",))
    heavy = text + "output y at R2 load 24 V 5 A resistive\nrung a -> y\n"
    (supply,) = sums_of(heavy).supplies
    assert supply.verdict == "fail"


def test_outputs_hang_on_the_supply_that_is_named_or_the_only_one_that_fits() -> None:
    program = program_of(
        "supply a 24 V 1 A\nsupply b 24 V 1 A\nsupply c 12 V 1 A\ninput i at I1\n"
        "output named at R1 load 24 V 0.1 A led from b\n"
        "output by_volts at R2 load 12 V 0.1 A led\n"
        "output either at R3 load 24 V 0.1 A led\n"
        "output nothing at R4\n"
        "rung i -> named, by_volts, either, nothing\n"
    )
    fed = feeding(program)
    assert {f.supply.name: [e.output.name for e in f.fed] for f in fed.feeders} == {
        "a": [],
        "b": ["named"],
        "c": ["by_volts"],
    }
    assert {e.output.name: e.supplies for e in fed.loose} == {
        "either": ("a", "b"),
        "nothing": ("a", "b", "c"),
    }
    sums = panel_sums(program)
    assert [s.verdict for s in sums.supplies] == ["unknown"] * 3
    assert about(sums)["feed of either"] == "unknown"
    assert [fuse.what for fuse in sums.fuses if fuse.of == "supply"] == []


def test_without_a_supply_nothing_is_said_to_pass() -> None:
    sums = sums_of("input a at I1\noutput x at R1 load 24 V 1 A led\nrung a -> x\n")
    assert sums.supplies == ()
    assert about(sums)["feed of x"] == "unknown"
    assert "nothing is known of what feeds" in paper_text(sums_paper(sums))


def test_at_rest_is_the_settled_panel_with_the_contact_sides_counted() -> None:
    text = (
        "input a at I1 NC\noutput x at R1 NC\noutput y at R2\noutput z at R3\n"
        "rung a -> x\nrung a -> y\nrung not a -> z\n"
    )
    assert loads_at_rest(program_of(text)) == {"y"}


# --- wires --------------------------------------------------------------------------------------


def test_drops_go_by_lighting_or_other_unless_the_file_has_a_limit() -> None:
    up, _, idle = load_wires(program_of(PANEL))
    # COMPUTED: 2 x 10 m x 13.3 ohm/km x 1.1965 x 1 A; 2 x 40 m x 33.308 ohm/km x 1.1965 x 0.5 A
    assert up.drop_volts == pytest.approx(0.31827, abs=1e-5)
    assert idle.drop_volts == pytest.approx(1.59412, abs=1e-4)
    assert (up.limit_percent, idle.limit_percent) == (5.0, 3.0)
    assert (up.verdict, idle.verdict, idle.smallest) == ("pass", "fail", "16 AWG")
    text = "design drop 7 % conductors 20 C" + PANEL
    _, _, cool = load_wires(program_of(text))
    assert (cool.limit_percent, cool.verdict) == (7.0, "pass")
    assert cool.drop_volts == pytest.approx(1.33232, abs=1e-4)
    assert limits(program_of(PANEL).design).conductors == 70


def test_a_wire_that_is_not_given_is_unknown_and_says_what_to_write() -> None:
    sums = sums_of(PANEL)
    assert about(sums)["wire of go"] == "unknown"
    stop = next(run for run in sums.input_wires if run.input == "stop")
    # COMPUTED: 2 x 10 m x 26 ohm/km x 1.1965
    assert stop.loop_ohms == pytest.approx(0.62218, abs=1e-5)
    text = "supply m 24 V 1 A\ninput a at I1\noutput x at R1 wire 9 m 1 mm2\nrung a -> x\n"
    (wire,) = sums_of(text).load_wires
    assert (wire.verdict, wire.drop_volts) == ("unknown", None)
    assert wire.loop_ohms is not None
    assert "load 24 V" in wire.why


def test_no_size_is_proposed_where_none_is_thick_enough() -> None:
    text = "input a at I1\noutput x at R1 load 12 V 20 A coil wire 200 m 1.5 mm2\nrung a -> x\n"
    (wire,) = load_wires(program_of(text))
    assert wire.smallest == "none up to 10 mm2"
    assert wire.verdict == "fail"


# --- contacts -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("load", "verdict", "word"),
    [
        # the board has 6 A resistive, 2 A inductive, 48 V
        ("24 V 6 A resistive", "pass", ""),
        ("24 V 6.1 A resistive", "fail", "6 A"),
        ("24 V 2 A coil", "pass", ""),
        ("24 V 2.1 A valve", "fail", "2 A"),
        ("24 V 1 A motor", "unknown", "inrush"),
        ("24 V 2.5 A motor", "fail", "2 A"),
        ("24 V 0.4 A lamp", "pass", ""),
        ("24 V 0.5 A lamp", "unknown", "7.5 A"),
        ("24 V 7 A lamp", "fail", "6 A"),
        ("24 V 0.01 A led", "unknown", "maker"),
        ("24 V 0.01 A electronic", "unknown", "maker"),
        ("24 V 0.01 A gong", "unknown", "kind"),
        ("24 V 3 A gong", "fail", "2 A"),
        ("110 V 0.01 A resistive", "fail", "48 V"),
    ],
)
def test_a_contact_is_judged_by_the_kind_of_its_load(load: str, verdict: str, word: str) -> None:
    program = program_of(f"input a at I1\noutput x at R1 load {load}\nrung a -> x\n")
    (duty,) = duties(program, board_of())
    assert duty.verdict == verdict
    assert word in duty.why
    (bare,) = duties(program, None)
    assert bare.verdict == "unknown"
    assert "--board" in bare.why


def test_a_contact_without_a_load_or_that_the_board_lacks_is_never_passed() -> None:
    program = program_of("input a at I1\noutput x at R1\noutput y at R99 NC\nrung a -> x, y\n")
    x, y = duties(program, board_with(contacts=("NO",)))
    assert (x.verdict, y.verdict) == ("unknown", "fail")
    assert "no NC contact" in y.why
    assert "R99" in y.why


# --- fuses, voltages, coils ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("amps", "least", "fuse"),
    # COMPUTED: 125 % (NEC 210.20, READ); sizes of IEC 60127, FROM MEMORY
    [(0.8, 1.0, 1.0), (0.801, 1.00125, 1.25), (1.2, 1.5, 1.6), (4, 5, 5.0), (60, 75, None)],
)
def test_a_fuse_is_the_next_size_from_125_percent(
    amps: float, least: float, fuse: float | None
) -> None:
    found = fuse_for("x", "output", round(amps * NANO))
    assert found.least_amps == pytest.approx(least)
    assert found.fuse_amps == fuse
    assert sorted(FUSES) == list(FUSES)


@pytest.mark.parametrize(
    ("volts", "verdict"), [(12, "pass"), (24, "pass"), (48, "pass"), (60, "fail"), (230, "fail")]
)
def test_volts_count_as_ac_where_the_file_does_not_say(volts: int, verdict: str) -> None:
    text = f"input a at I1\noutput x at R1 load {volts} V 1 A resistive\nrung a -> x\n"
    program = program_of(text)
    (found,) = voltages(program)
    assert found.verdict == verdict
    # the circuits of inputs are extra-low and stand on the same board
    assert bool(mixed(program)) == (verdict == "fail")


def test_a_load_above_extra_low_voltage_is_refused_beside_others() -> None:
    text = "output hot at R8 load 230 V 1 A resistive\nsupply mains 230 V 6 A\nrung go -> hot\n"
    sums = sums_of(PANEL + text)
    (mix,) = sums.mixed
    assert (mix.output, mix.beside) == ("hot", ("up", "down", "idle", "go", "stop"))
    assert about(sums)["load of hot"] == "fail"
    assert "no wiring is drawn" in paper_text(sums_paper(sums), 400)


@pytest.mark.parametrize(
    ("statement", "pairs"),
    [
        ("never up and down", [("up", "down")]),
        ("never up.load and go and down", [("up", "down")]),
        ("never (up or idle) and down", [("up", "down"), ("down", "idle")]),
        ("always not up or not down", [("up", "down")]),
        ("require when up then not down", [("up", "down")]),
        ("require when up then not down within 1s", []),
        ("never up and down and idle", []),
        ("never up and not down", []),
        ("assume never up and down", []),
    ],
)
def test_pairs_that_properties_keep_apart_are_named(
    statement: str, pairs: list[tuple[str, str]]
) -> None:
    text = PANEL.replace('never "both ways" up and down', statement)
    assert [(p.first, p.second) for p in kept_apart(program_of(text))] == pairs


def test_lamps_that_are_kept_apart_need_no_word_on_slow_coils() -> None:
    text = PANEL.replace(" coil ", " led ")
    assert kept_apart(program_of(text)) == ()
    assert sums_of(text).inductive == ()


# --- paper, document, verb ----------------------------------------------------------------------


def test_what_fails_comes_first_and_everything_unknown_is_told() -> None:
    sums = sums_of("design reserve 80 %" + PANEL, board_of())
    verdicts = [remark.verdict for remark in sums.remarks]
    assert verdicts == sorted(verdicts)  # fail before unknown
    assert verdicts[0] == "fail"
    assert sums.verdict == "fail"
    text = paper_text(sums_paper(sums), 100)
    assert f"{verdicts.count('fail')} things fail" in text
    assert "approval" in text.split("\n\n")[1]
    for remark in sums.remarks:
        assert remark.about in text
    for reason in ("plain diode", "both ways", "not claimed", "as the file says", "Class 2"):
        assert reason in " ".join(text.split())


def test_user_text_is_harmless_in_every_paper() -> None:
    text = PANEL.replace("both ways", "a|b <script> `x`")
    paper = sums_paper(sums_of(text))
    assert "<script>" not in paper_markdown(paper)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_the_supplies_of_the_demos_last_in_every_state_and_the_exit_code_tells_what_fails(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["panel", str(path), "--board", "timed-states", "--json"])
    document = json.loads(capsys.readouterr().out)
    assert document["kind"] == "panel"
    for supply in document["supplies"]:
        assert supply["exact"]
        assert supply["verdict"] == "pass"
        assert supply["at_rest"] <= supply["worst_seen"] <= supply["all_on"]
    verdicts = [remark["verdict"] for remark in document["remarks"]]
    assert code == (1 if "fail" in verdicts else 0)
    assert code == (1 if document["verdict"] == "fail" else 0)


def test_the_verb_fails_with_the_sums_and_not_with_what_is_unknown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "p.rungs"
    path.write_text(PANEL.replace("40 m 20 AWG", "4 m 20 AWG"))
    assert main(["panel", str(path)]) == 0
    assert "unknown" in capsys.readouterr().err
    path.write_text(PANEL)
    out = tmp_path / "sums.csv"
    assert main(["panel", str(path), "-o", str(out), "-o", str(tmp_path / "sums.html")]) == 1
    assert "idle" in (tmp_path / "sums-drops.csv").read_text()
    assert "Panel sums" in (tmp_path / "sums.html").read_text()
    with pytest.raises(CliError, match="cannot be used"):
        main(["panel", str(path), "--board", "no-such-board"])
    with pytest.raises(CliError, match="give one of them"):
        main(["panel", str(path), "--json", "-o", "x.md"])
    with pytest.raises(SystemExit) as stop:
        main(["panel", str(path), "--seconds", "nan"])
    assert stop.value.code == 2


def test_a_device_may_be_called_like_the_words_of_a_design() -> None:
    program = program_of(
        "design drop 4 %\nsupply solid 24 V 1 A\ninput design at I1 wire 3 m 18 AWG solid\n"
        "input drop at I2\nrelay reserve\noutput conductors at R1\n"
        "rung design and rising drop -> latch\n    reserve\n"
        "rung falling design or reserve -> unlatch reserve, conductors\n"
    )
    assert program.design.drop == 4
    assert program.design.reserve is None
    assert program.inputs[0].wire is not None
    assert not program.inputs[0].wire.stranded
    assert isinstance(program.by_name["reserve"], Relay)
