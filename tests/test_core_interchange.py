"""What the core is written as, read back by small readers of our own and compared by a solver.

The readers share no code with the writers. BLIF: "Berkeley Logic Interchange Format", FROM MEMORY;
AIGER: "The AIGER And-Inverter Graph (AIG) Format", version 20071012, FROM MEMORY; PLA and KISS2:
manual pages of espresso and sis, FROM MEMORY.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pysat.solvers import Solver

from rungs.core.dot import dot, dot_core
from rungs.core.interchange import BACK_ENDS, aiger, aiger_binary, blif
from rungs.core.kiss2 import ANY, Kiss2, kiss2, read_kiss2
from rungs.core.lower import lower
from rungs.core.nodes import Core, CoreOutput, Signal, StateBit
from rungs.core.pla import PlaError, pla, pla_of_core
from rungs.core.reduce import reduce
from rungs.program.nodes import Program
from rungs.scan.generate import scan_once
from tests.helpers import REFERENCE, assignments, program_of, reference_rows
from tests.strategies import programs, random_program

DEMOS = sorted((Path(__file__).resolve().parents[1] / "demos").glob("*.rungs"))

# --- a netlist, and readers of files ----------------------------------------------------------


@dataclass(frozen=True)
class Net:
    """A file as a list of nets in order of use: each the Or of rows over earlier nets.

    A row maps nets to the value it asks for. Net 0 is the constant 0. The inputs come next, then
    the latches; `latches` gives what each takes over, `outputs` what is shown, as net and inverse.
    """

    inputs: tuple[str, ...]
    latch_names: tuple[str, ...]
    covers: tuple[tuple[tuple[tuple[int, bool], ...], ...], ...]
    latches: tuple[tuple[int, bool], ...]
    outputs: tuple[tuple[int, bool], ...]
    output_names: tuple[str, ...]

    def step(self, state: Sequence[bool], given: Sequence[bool]) -> tuple[list[bool], list[bool]]:
        """Next state and outputs."""
        values = [False, *given, *state]
        for cover in self.covers:
            values.append(any(all(values[net] == on for net, on in row) for row in cover))
        return (
            [values[net] ^ inverse for net, inverse in self.latches],
            [values[net] ^ inverse for net, inverse in self.outputs],
        )


def read_blif(text: str) -> Net:
    joined = re.sub(r"\\\n", " ", re.sub(r"#[^\n]*", "", text))
    inputs: list[str] = []
    outputs: list[str] = []
    latches: list[tuple[str, str]] = []
    covers: dict[str, tuple[list[str], list[str]]] = {}
    current = ""
    ended = False
    for line in joined.split("\n"):
        words = line.split()
        if not words:
            continue
        assert not ended, "text after .end"
        match words[0]:
            case ".model":
                assert len(words) == 2
            case ".inputs":
                inputs += words[1:]
            case ".outputs":
                outputs += words[1:]
            case ".latch":
                _, after, before, start = words
                assert start == "0"
                latches.append((after, before))
            case ".names":
                current = words[-1]
                assert current not in covers, "a net is driven twice"
                covers[current] = (words[1:-1], [])
            case ".end":
                ended = True
            case _:
                assert not words[0].startswith("."), words
                *pattern, value = words
                assert value == "1"
                covers[current][1].append(pattern[0] if pattern else "")
    assert ended
    assert not set(covers) & {*inputs, *(before for _, before in latches)}, "an input is driven"
    place = {name: 1 + n for n, name in enumerate([*inputs, *(before for _, before in latches)])}
    assert len(place) == len(inputs) + len(latches)
    rows = []
    for name, (reads, patterns) in covers.items():
        rows.append(
            tuple(
                tuple((place[n], c == "1") for n, c in zip(reads, p, strict=True) if c != "-")
                for p in patterns
            )
        )
        place[name] = len(place) + 1
    return Net(
        tuple(inputs),
        tuple(before for _, before in latches),
        tuple(rows),
        tuple((place[after], False) for after, _ in latches),
        tuple((place[name], False) for name in outputs),
        tuple(outputs),
    )


def read_aiger(data: bytes) -> Net:
    """Either form."""
    at = 0

    def line() -> str:
        nonlocal at
        end = data.index(b"\n", at)
        words = data[at:end].decode()
        at = end + 1
        return words

    def whole() -> int:
        nonlocal at
        number = shift = 0
        while True:
            byte = data[at]
            at += 1
            number |= (byte & 127) << shift
            if byte < 128:
                return number
            shift += 7

    kind, *sizes = line().split()
    most, in_count, latch_count, out_count, and_count = map(int, sizes)
    assert most == in_count + latch_count + and_count
    assert kind in ("aag", "aig")
    first_latch, first_and = 1 + in_count, 1 + in_count + latch_count
    latches = []
    if kind == "aag":
        assert [line() for _ in range(in_count)] == [str(2 * n) for n in range(1, first_latch)]
    for number in range(latch_count):
        words = line().split()
        if kind == "aag":
            assert words.pop(0) == str(2 * (first_latch + number))
        latches.append(int(*words))
    outputs = [int(line()) for _ in range(out_count)]
    ands = []
    for number in range(and_count):
        left = 2 * (first_and + number)
        if kind == "aag":
            stated, larger, smaller = map(int, line().split())
            assert stated == left
        else:
            larger = left - whole()
            smaller = larger - whole()
        assert left > larger >= smaller >= 0
        ands.append((larger, smaller))
    names: dict[str, str] = {}
    while (text := line()) != "c":
        key, name = text.split(" ", 1)
        names[key] = name
    assert data.endswith(b"\n")
    assert len(names) == in_count + latch_count + out_count
    return Net(
        tuple(names[f"i{n}"] for n in range(in_count)),
        tuple(names[f"l{n}"] for n in range(latch_count)),
        tuple((tuple((x >> 1, not x & 1) for x in pair),) for pair in ands),
        tuple((x >> 1, bool(x & 1)) for x in latches),
        tuple((x >> 1, bool(x & 1)) for x in outputs),
        tuple(names[f"o{n}"] for n in range(out_count)),
    )


@dataclass(frozen=True)
class Cover:
    """A PLA file of type fr."""

    inputs: list[str]
    outputs: list[str]
    rows: list[tuple[str, str]]

    def shown(self, given: Sequence[bool]) -> str:
        """What the rows say of one pattern: 0, 1, or - where none says anything."""
        said = [{"-"} for _ in self.outputs]
        for pattern, outputs in self.rows:
            if all(p in ("-", "01"[on]) for p, on in zip(pattern, given, strict=True)):
                for one, value in zip(said, outputs, strict=True):
                    one.add(value)
        assert all(len(one) <= 2 for one in said), "rows contradict each other"
        return "".join(min(one - {"-"}, default="-") for one in said)


def read_pla(text: str) -> Cover:
    lines = [line.split() for line in text.split("\n") if line.strip()]
    heads = {words[0]: words[1:] for words in lines if words[0].startswith(".")}
    body = [words for words in lines if not words[0].startswith(".")]
    rows = [(words[0] if len(words) == 2 else "", words[-1]) for words in body]
    assert list(heads) == [".i", ".o", ".ilb", ".ob", ".type", ".p", ".e"]
    assert heads[".type"] == ["fr"]
    assert heads[".p"] == [str(len(rows))]
    assert [heads[".i"], heads[".o"]] == [[str(len(heads[key]))] for key in (".ilb", ".ob")]
    return Cover(heads[".ilb"], heads[".ob"], rows)


# --- the core against its files, by a solver --------------------------------------------------


def leaves_of(core: Core) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """The names a file must show, in order: inputs, latches, outputs."""
    shown = [output.name for output in core.outputs]
    for timer in core.timers:
        shown.append(f"{timer.name}.run")
        if timer.kind == "accumulating":
            shown += [f"{timer.name}.clear_before", f"{timer.name}.clear_after"]
    return (
        tuple(signal.name for signal in core.signals),
        tuple(bit.name for bit in core.state),
        tuple(shown),
    )


def core_ends(core: Core) -> list[int]:
    """The literals that belong to the latches and then to the outputs of a file."""
    lits = [bit.next for bit in core.state] + [output.lit for output in core.outputs]
    for timer in core.timers:
        lits.append(timer.run)
        if timer.kind == "accumulating":
            lits += [timer.clear_before, timer.clear_after]
    return lits


def differences(core: Core, net: Net) -> list[int]:
    """The numbers of the functions in which some pattern of signals and state gives another value.

    One miter for each: the solver looks for a pattern on which they are not equal.
    """
    count = 1 + len(core.signals) + len(core.state)
    clauses: list[list[int]] = [[-1]]  # variable 1 is the constant 0
    wires = list(range(1, count + 1))
    top = count
    for gate in core.gates:
        top += 1
        parts = [-wires[lit >> 1] if lit & 1 else wires[lit >> 1] for lit in gate]
        clauses += [[-top, part] for part in parts]
        clauses.append([top, *(-part for part in parts)])
        wires.append(top)
    nets = list(range(1, count + 1))
    for cover in net.covers:
        rows = []
        for row in cover:
            top += 1
            parts = [nets[n] if on else -nets[n] for n, on in row]
            clauses += [[-top, part] for part in parts]
            clauses.append([top, *(-part for part in parts)])
            rows.append(top)
        top += 1
        clauses += [[top, -row] for row in rows]
        clauses.append([-top, *rows])
        nets.append(top)
    ours = [-wires[lit >> 1] if lit & 1 else wires[lit >> 1] for lit in core_ends(core)]
    theirs = [-nets[n] if inverse else nets[n] for n, inverse in (*net.latches, *net.outputs)]
    assert len(ours) == len(theirs)
    with Solver(name="cadical153", bootstrap_with=clauses) as solver:
        return [
            number
            for number, (one, other) in enumerate(zip(ours, theirs, strict=True))
            if solver.solve([one, -other]) or solver.solve([-one, other])
        ]


def check_files(core: Core) -> None:
    inputs, latches, outputs = leaves_of(core)
    from_blif = read_blif(blif(core))
    assert (from_blif.inputs, from_blif.output_names) == (inputs, outputs)
    assert from_blif.latch_names == tuple(f"{name}.was" for name in latches)
    assert differences(core, from_blif) == []
    from_ascii = read_aiger(aiger(core).encode())
    assert (from_ascii.inputs, from_ascii.output_names) == (inputs, outputs)
    assert from_ascii.latch_names == latches
    assert differences(core, from_ascii) == []
    assert read_aiger(aiger_binary(core)) == from_ascii


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_solver_finds_no_difference_between_a_demo_and_its_files(path: Path) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    core = lower(program)
    check_files(core)
    check_files(reduce(core, {output.name for output in program.outputs}))


def test_a_solver_finds_no_difference_between_seeded_programs_and_their_files() -> None:
    for seed in range(60):
        rng = Random(seed)
        core = lower(random_program(rng, rng.randint(1, 10)))
        check_files(core)
        check_files(reduce(core, {output.name for output in core.outputs[::2]}))


@given(programs())
@settings(max_examples=30)
def test_a_solver_finds_no_difference_between_any_program_and_its_files(program: Program) -> None:
    check_files(lower(program))


def test_the_solver_sees_every_single_inverted_latch_and_output() -> None:
    core = lower(random_program(Random(3), 6))
    net = read_blif(blif(core))
    assert len(net.latches) > 3
    for number, (end, inverse) in enumerate(net.latches):
        latches = (*net.latches[:number], (end, not inverse), *net.latches[number + 1 :])
        assert differences(core, replace(net, latches=latches)) == [number]
    outputs = ((net.outputs[0][0], True), *net.outputs[1:])
    assert differences(core, replace(net, outputs=outputs)) == [len(net.latches)]


def test_files_run_scan_for_scan_as_the_generated_code_does() -> None:
    for seed in range(40):
        rng = Random(seed)
        core = lower(random_program(rng, 6))
        scan = scan_once(core)
        nets = [read_blif(blif(core)), read_aiger(aiger_binary(core))]
        state: tuple[bool, ...] = (False,) * len(core.state)
        for _ in range(20):
            given_bits = tuple(rng.random() < 0.5 for _ in core.signals)
            before, (state, outputs, runs) = state, scan(state, given_bits)
            told = [on for n, on in enumerate(runs) if n % 3 == 0]
            for net in nets:
                after, shown = net.step(before, given_bits)
                assert after == list(state)
                assert shown[: len(outputs)] == list(outputs)
                names = net.output_names
                runs_shown = [on for n, on in zip(names, shown, strict=True) if n.endswith(".run")]
                assert runs_shown == told


RETAINED = """
title "Hours with a # sign and an Ø"
input run at I1
input clear at I2
output due at R1
relay away retained
timer hours accumulating 30min retained
rung clear -> reset hours
rung run -> hours
rung hours -> latch away
rung away -> due
"""


@pytest.mark.parametrize("write", [blif, aiger])
def test_a_file_says_what_lies_outside_it(write: object) -> None:
    assert callable(write)
    text = write(lower(program_of(RETAINED)))
    assert "a power cut is not in this file: it makes every latch 0, but for away, hours;" in text
    assert "timer hours: accumulating, 1800000 ms, keeps what it holds through a power cut" in text


def test_names_that_a_format_cannot_take_are_made_safe_and_stay_apart() -> None:
    core = Core(
        "two\nlines \\",
        10,
        (Signal("a b", "input", ""), Signal("a#b", "input", ""), Signal(".x\\", "input", "")),
        (StateBit("ä", "contact", "", "", 9), StateBit("ö", "contact", "", "", 0)),
        ((2, 4),),
        (
            CoreOutput("a b", "output", 12),
            CoreOutput("", "output", 1),
            CoreOutput("g1", "output", 0),
        ),
        (),
        (),
        (),
    )
    net = read_blif(blif(core))
    assert len({*net.inputs, *net.latch_names, *net.output_names}) == 8
    assert net.inputs == ("a_b", "a_b_2", "n.x_")
    assert net.output_names == ("a_b_3", "n", "g1")
    assert differences(core, net) == []
    assert differences(core, read_aiger(aiger(core).encode())) == []


def test_long_lists_of_names_are_broken_as_the_format_says() -> None:
    text = "".join(f"input switch_{n} at I{n}\n" for n in range(40)) + "output x at R1\nrung "
    core = lower(program_of(text + " and ".join(f"switch_{n}" for n in range(40)) + " -> x"))
    written = blif(core)
    assert max(len(line) for line in written.split("\n") if not line.startswith("#")) <= 80
    assert differences(core, read_blif(written)) == []


def test_gates_of_the_binary_form_may_be_far_apart() -> None:
    text = "".join(f"input s{n} at I{n}\n" for n in range(300)) + "output x at R1\nrung "
    core = lower(program_of(text + " or ".join(f"s{n}" for n in range(300)) + " -> x"))
    # the first gate stands more than 127 above its second literal: a difference of two bytes
    assert read_aiger(aiger_binary(core)) == read_aiger(aiger(core).encode())


@pytest.mark.parametrize(("name", "suffix", "write"), BACK_ENDS, ids=[b[0] for b in BACK_ENDS])
def test_every_back_end_writes_a_core_without_memory(name: str, suffix: str, write: object) -> None:
    assert callable(write)
    core = c17()
    first, second = write(core), write(core)
    assert first == second
    assert isinstance(first, bytes) == (name == "aiger-binary")
    assert suffix.startswith(".")
    assert len({s for _, s, _ in BACK_ENDS}) == len({n for n, _, _ in BACK_ENDS}) == len(BACK_ENDS)


# --- c17 --------------------------------------------------------------------------------------

# ISCAS-85 c17, six gates, READ (c17.bench); each of its outputs is 1 in 18 of 32 rows (COMPUTED)
NANDS = (
    ("N10", "N1", "N3"),
    ("N11", "N3", "N6"),
    ("N16", "N2", "N11"),
    ("N19", "N11", "N7"),
    ("N22", "N10", "N16"),
    ("N23", "N16", "N19"),
)
C17_INPUTS = ("N1", "N2", "N3", "N6", "N7")
C17_OUTPUTS = ("N22", "N23")


def c17() -> Core:
    lines = [f"input {name} at I{n}" for n, name in enumerate(C17_INPUTS)]
    lines += [f"output {name} at R{n}" for n, name in enumerate(C17_OUTPUTS)]
    lines += [f"relay {name}" for name, _, _ in NANDS if name not in C17_OUTPUTS]
    lines += [f"rung not ({one} and {other}) -> {name}" for name, one, other in NANDS]
    return reduce(lower(program_of("\n".join(lines))), C17_OUTPUTS)


def c17_row(given_bits: Sequence[bool]) -> list[bool]:
    values = dict(zip(C17_INPUTS, given_bits, strict=True))
    for name, one, other in NANDS:
        values[name] = not (values[one] and values[other])
    return [values[name] for name in C17_OUTPUTS]


def c17_files() -> dict[str, list[list[bool]]]:
    """What each file shows over all 32 patterns."""
    core = c17()
    nets = {"blif": read_blif(blif(core)), "aiger": read_aiger(aiger_binary(core))}
    patterns = list(product((False, True), repeat=5))
    shown = {name: [net.step((), row)[1] for row in patterns] for name, net in nets.items()}
    cover = read_pla(pla_of_core(core))
    shown["pla"] = [[value == "1" for value in cover.shown(row)] for row in patterns]
    return shown


def test_c17_comes_out_of_every_file_bit_for_bit() -> None:
    assert [signal.name for signal in c17().signals] == list(C17_INPUTS)
    wanted = [c17_row(row) for row in product((False, True), repeat=5)]
    assert [sum(column) for column in zip(*wanted, strict=True)] == [18, 18]
    for name, shown in c17_files().items():
        assert shown == wanted, name


def test_c17_comes_out_as_published() -> None:
    published = [r for r in reference_rows("logic_tables.csv") if r["table"] == "ISCAS85_c17"]
    assert len(published) == 32
    files = c17_files()
    patterns = list(product((False, True), repeat=5))
    for row in published:
        inputs, outputs = assignments(row["inputs"]), assignments(row["outputs"])
        at = patterns.index(tuple(bool(inputs[name]) for name in C17_INPUTS))
        for shown in files.values():
            assert shown[at] == [bool(outputs[name]) for name in C17_OUTPUTS]


# --- PLA --------------------------------------------------------------------------------------


def test_a_pla_is_written_as_espresso_reads_it() -> None:
    text = pla(["a", "b c"], ["x"], [("1-", "1"), ("00", "0"), ("01", "-")])
    assert text == ".i 2\n.o 1\n.ilb a b_c\n.ob x\n.type fr\n.p 3\n1- 1\n00 0\n01 -\n.e\n"


@pytest.mark.parametrize("row", [("1", "1"), ("10", ""), ("1x", "1"), ("10", "2")])
def test_a_row_that_does_not_fit_its_names_is_refused(row: tuple[str, str]) -> None:
    with pytest.raises(ValueError, match="is no row of this table"):
        pla(["a", "b"], ["x"], [row])


def test_rows_of_a_core_split_every_pattern_once_and_give_its_outputs() -> None:
    seen = 0
    for seed in range(150):
        rng = Random(seed)
        core = lower(random_program(rng, 5))
        core = reduce(core, {output.name for output in core.outputs})
        plain = [o for o in core.outputs if not _refused(replace(core, outputs=(o,)))]
        core = replace(core, outputs=tuple(plain))
        if not plain:
            continue
        seen += 1
        cover = read_pla(pla_of_core(core))
        assert sum(2 ** row.count("-") for row, _ in cover.rows) == 2 ** len(cover.inputs)
        scan = scan_once(core)
        for _ in range(30):
            bits = dict.fromkeys((s.name for s in core.signals), False)
            bits |= {name: rng.random() < 0.5 for name in cover.inputs}
            outputs = scan(tuple(rng.random() < 0.5 for _ in core.state), tuple(bits.values()))[1]
            wanted = "".join("01"[on] for on in outputs)
            assert cover.shown([bits[name] for name in cover.inputs]) == wanted
    assert seen > 40


def _refused(core: Core) -> bool:
    try:
        pla_of_core(core)
    except PlaError:
        return True
    return False


def test_memory_and_timers_make_no_two_level_table() -> None:
    inputs = "input a at I1\ninput b at I2\noutput x at R1\n"
    seal = lower(program_of(inputs + "rung (a or x) and not b -> x"))
    with pytest.raises(PlaError, match="an output depends on state from the scan before: x"):
        pla_of_core(seal)
    timed = lower(program_of(inputs + "timer t on-delay 1s\nrung a -> t\nrung t and b -> x"))
    with pytest.raises(PlaError, match="an output depends on the timer t"):
        pla_of_core(reduce(timed, ["x"]))


def test_a_parity_too_wide_for_a_table_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [f"input a{n} at I{n}" for n in range(8)] + ["output x at R1"]
    lines += [f"relay p{n}" for n in range(8)] + ["rung a0 -> p0"]
    lines += [
        f"rung (a{n} and not p{n - 1}) or (not a{n} and p{n - 1}) -> p{n}" for n in range(1, 8)
    ]
    core = reduce(lower(program_of("\n".join([*lines, "rung p7 -> x"]))), ["x"])
    assert len(read_pla(pla_of_core(core)).rows) == 2**8
    monkeypatch.setattr("rungs.core.pla.MOST_ROWS", 2**8 - 1)
    with pytest.raises(PlaError, match="more than 255 rows"):
        pla_of_core(core)


# --- KISS2 ------------------------------------------------------------------------------------

LAMP = Kiss2(
    ("button", "stop"),
    ("lamp",),
    ("off", 'lamp on,\n"hot" # half', "s1", "*x"),
    'lamp on,\n"hot" # half',
    (
        ("1-", "off", 'lamp on,\n"hot" # half', "1"),
        ("0-", "off", "off", "0"),
        ("-1", 'lamp on,\n"hot" # half', "*x", "-"),
        ("--", ANY, "s1", "0"),
        ("--", "*x", ANY, "0"),
    ),
)


def test_a_kiss2_file_has_safe_states_and_says_which_is_which() -> None:
    text = kiss2(LAMP.signals, LAMP.outputs, LAMP.states, LAMP.start, LAMP.rows)
    plain = [line for line in text.split("\n") if not line.startswith("#")]
    assert plain == [
        *(".i 2", ".o 1", ".p 5", ".s 4", ".r s1_2"),
        *("1- off s1_2 1", "0- off off 0", "-1 s1_2 s3 -", "-- * s1 0", "-- s3 * 0"),
        *(".e", ""),
    ]
    assert '#@ state s1_2 "lamp on,\\n\\"hot\\" # half"' in text
    assert read_kiss2(text) == LAMP


@st.composite
def machines(draw: st.DrawFn) -> Kiss2:
    names = st.lists(st.text(max_size=6), min_size=0, max_size=3, unique=True)
    signals, outputs = draw(names), draw(names)
    states = draw(st.lists(st.text(max_size=6), min_size=1, max_size=5, unique=True))
    states = [state for state in states if state != ANY] or ["off"]
    cell, state = st.sampled_from("01-"), st.sampled_from(states)
    pattern = st.lists(cell, min_size=len(signals), max_size=len(signals)).map("".join)
    shown = st.lists(cell, min_size=len(outputs), max_size=len(outputs)).map("".join)
    rows = draw(st.lists(st.tuples(pattern, state, state, shown), min_size=1, max_size=8))
    return Kiss2(tuple(signals), tuple(outputs), tuple(states), draw(state), tuple(rows))


@given(machines())
@settings(max_examples=60)
def test_any_table_survives_kiss2(machine: Kiss2) -> None:
    text = kiss2(machine.signals, machine.outputs, machine.states, machine.start, machine.rows)
    assert text.isascii()
    assert read_kiss2(text) == machine


def test_a_file_of_somebody_else_is_read_without_our_comments() -> None:
    text = "# a comment\n.i 2\n.o 1\n\n10 st0 st1 0 # and here\n0- st0 st0 0\n-- st1 st2 1\n"
    machine = read_kiss2(text)
    assert machine.signals == ("x1", "x2")
    assert machine.outputs == ("z1",)
    assert machine.states == ("st0", "st1", "st2")
    assert machine.start == "st0"
    assert machine.rows[1] == ("0-", "st0", "st0", "0")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the file has no rows"),
        (".i 1\n.o 1\n", "the file has no rows"),
        ("1 a b 0\n", "line 1: a row stands before .i and .o"),
        (".i 1\n.o 1\n1 a 0\n", "line 3: a row is a pattern"),
        (".i 1\n.o 1\n11 a b 0\n", "line 3: '11' is not 1 of 0, 1 and -"),
        (".i 1\n.o 1\n1 a b x\n", "line 3: 'x' is not 1 of 0, 1 and -"),
        (".i one\n", "line 1: invalid literal"),
        (".i 1\n.o 1\n.p 2\n1 a b 0\n", ".p says 2, the file has 1"),
        (".i 1\n.o 1\n.s 3\n1 a b 0\n", ".s says 3, the file has 2"),
        (".i 1\n.o 1\n.code a 0\n", "line 3: .code is not read here"),
        ("#@ state a {\n", "line 1: "),
    ],
)
def test_a_text_that_is_no_kiss2_is_refused(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        read_kiss2(text)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"start": "on"}, "'on' is no state of this table"),
        ({"rows": (("1", "off", "off", "1"),)}, "1 1 is no row of this table"),
        ({"rows": (("11", "off", "on", "1"),)}, "'off' -> 'on' is no step between states"),
        ({"states": ("off", "off")}, "a name stands twice"),
    ],
)
def test_a_table_that_does_not_fit_is_not_written(change: dict[str, object], message: str) -> None:
    bad = replace(LAMP, **change)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=re.escape(message)):
        kiss2(bad.signals, bad.outputs, bad.states, bad.start, bad.rows)


# published sizes: rows, states (READ, the head of each file in the MCNC benchmark set)
PUBLISHED = {
    "bbara": (60, 10),
    "bbtas": (24, 6),
    "dk14": (56, 7),
    "dk15": (32, 4),
    "dk27": (14, 7),
    "lion9": (25, 9),
    "mc": (10, 4),
    "modulo12": (24, 12),
    "s1": (107, 20),
    "s27": (34, 6),
    "s386": (64, 13),
    "shiftreg": (16, 8),
    "tav": (49, 4),
    "train11": (25, 11),
    "train4": (14, 4),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_machines_survive_reading_and_writing(name: str) -> None:
    path = REFERENCE / "kiss2" / f"{name}.kiss2"
    if not path.is_file():
        pytest.skip(f"{name} is not at hand")
    text = path.read_text(encoding="ascii")
    machine = read_kiss2(text)
    assert (len(machine.rows), len(machine.states)) == PUBLISHED[name]
    written = kiss2(machine.signals, machine.outputs, machine.states, machine.start, machine.rows)
    assert read_kiss2(written) == machine
    rows = [line.split() for line in text.split("\n") if line[:1] in ("0", "1", "-")]
    assert [line.split() for line in written.split("\n") if line[:1] in ("0", "1", "-")] == rows


# --- DOT --------------------------------------------------------------------------------------


def _dot_label(text: str) -> str:
    return re.sub(r"\\(.)", lambda found: {"n": "\n"}.get(found[1], found[1]), text)


QUOTED = r'"((?:[^"\\]|\\.)*)"'


@given(machines())
@settings(max_examples=60)
def test_a_state_diagram_holds_every_row_between_its_states(machine: Kiss2) -> None:
    text = dot(machine.signals, machine.outputs, machine.states, machine.start, machine.rows)
    shown = {
        node: _dot_label(label)
        for node, label in re.findall(rf"^  (s\d+) \[label={QUOTED}\]$", text, re.M)
    }
    assert list(shown.values()) == [state.replace("\r", " ") for state in machine.states]
    (start,) = re.findall(r"^  start -> (s\d+)$", text, re.M)
    assert start == f"s{machine.states.index(machine.start)}"
    rows = [
        (*pair.split(" / "), one, other)
        for one, other, label in re.findall(rf"^  (s\d+) -> (s\d+) \[label={QUOTED}\]$", text, re.M)
        for pair in _dot_label(label).split("\n")
    ]
    place = {state: f"s{n}" for n, state in enumerate(machine.states)}
    wanted = [(p, o, place[s], place[n]) for p, s, n, o in machine.rows]
    assert sorted(rows) == sorted(wanted)


def test_a_state_diagram_with_a_state_it_does_not_have_is_refused() -> None:
    with pytest.raises(ValueError, match="'a' -> 'b' is no step"):
        dot(["x"], ["y"], ["a"], "a", [("1", "a", "b", "0")])
    with pytest.raises(ValueError, match="'b' is no state"):
        dot(["x"], ["y"], ["a"], "b", [("1", "a", "a", "0")])


def test_a_picture_of_a_core_has_an_arrow_for_every_literal() -> None:
    for seed in range(20):
        core = lower(random_program(Random(seed), 5))
        text = dot_core(core)
        nodes = set(re.findall(r"^  ([ne]\d+) \[", text, re.M))
        arrows = re.findall(r"^  (n\d+) -> ([ne]\d+)(.*)$", text, re.M)
        assert {end for one, other, _ in arrows for end in (one, other)} <= nodes
        live = {int(n) for n in re.findall(r'^  n(\d+) \[shape=circle, label="and"\]$', text, re.M)}
        wanted = [
            (f"n{lit >> 1}", f"n{node}", bool(lit & 1))
            for node in sorted(live)
            for lit in core.gates[node - core.first_gate]
        ]
        wanted += [
            (f"n{bit.next >> 1}", f"n{core.first_state + n}", bool(bit.next & 1))
            for n, bit in enumerate(core.state)
        ]
        ends = core_ends(core)[len(core.state) :]
        wanted += [(f"n{lit >> 1}", f"e{n}", bool(lit & 1)) for n, lit in enumerate(ends)]
        assert sorted((a, b, "odot" in signs) for a, b, signs in arrows) == sorted(wanted)
