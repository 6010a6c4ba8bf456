"""Circuits as text: what is written is read back as the same circuit, and De Morgan turned twice
is nothing at all."""

from __future__ import annotations

from random import Random

from rungs.program.nodes import Circuit, Parallel, Program, Series, opposite
from rungs.program.words import circuit_text
from tests.helpers import program_of
from tests.properties import random_leaf

DEVICES = """input a at I1
input b at I2 momentary NC debounce 20ms
output lamp at R1
output horn at R2 NC
timer t on-delay 1s
timer u off-delay 1s
counter c to 3
clock noon from 12:00 to 13:00
site zone "Europe/Rome"
rung a -> lamp, t, c
rung b and t and c >= 2 -> horn, u
"""


def random_circuit(rng: Random, program: Program, depth: int, inside: type | None) -> Circuit:
    if depth == 0 or rng.random() < 0.3:
        return random_leaf(rng, program)
    kind = (
        Parallel
        if inside is Series
        else Series
        if inside is Parallel
        else rng.choice((Series, Parallel))
    )
    parts = tuple(random_circuit(rng, program, depth - 1, kind) for _ in range(rng.randint(2, 3)))
    return kind(parts)


def test_a_circuit_that_is_written_is_read_back_the_same() -> None:
    devices = program_of(DEVICES)
    for seed in range(150):
        circuit = random_circuit(Random(seed), devices, 3, None)
        text = circuit_text(circuit)
        program = program_of(f"{DEVICES}never {text}\n")
        assert program.properties[0].circuit == circuit, text


def test_the_opposite_of_the_opposite_is_the_circuit_itself() -> None:
    devices = program_of(DEVICES)
    for seed in range(100):
        circuit = random_circuit(Random(seed), devices, 3, None)
        assert opposite(opposite(circuit)) == circuit
        assert opposite(circuit) != circuit
