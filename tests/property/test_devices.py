"""Debounce, latches, impulse relays and power loss under random circuits, each against a rule that
is stated here in a line or two and not taken from any engine."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rungs.scan.runner import Panel
from tests.helpers import program_of, run_rows

BITS = st.lists(st.booleans(), min_size=1, max_size=60)


def rows_of(**columns: list[bool]) -> list[tuple[int, dict[str, int]]]:
    length = min(map(len, columns.values()))
    return [(n * 10, {name: int(c[n]) for name, c in columns.items()}) for n in range(length)]


@given(BITS, st.integers(1, 80))
def test_an_image_is_the_last_value_that_stood_against_it_for_the_debounce_time(
    bits: list[bool], debounce: int
) -> None:
    program = program_of(f"input a at I1 debounce {debounce}ms\noutput o at R1\nrung a -> o")
    shown = run_rows(program, rows_of(a=bits))
    image = bits[0]
    for n in range(len(bits)):
        # how far back the circuit has read differently from the image, without a break
        first = n
        while first > 0 and bits[first - 1] != image:
            first -= 1
        if bits[n] != image and (n - first) * 10 >= debounce:
            image = bits[n]
        assert shown[n * 10]["o"] == image


@given(BITS, BITS, st.booleans())
def test_of_latch_and_unlatch_the_later_rung_wins_and_without_power_nothing_moves(
    sets: list[bool], resets: list[bool], reset_last: bool
) -> None:
    lines = ["rung s -> latch o", "rung r -> unlatch o"]
    text = "input s at I1\ninput r at I2\noutput o at R1\n"
    program = program_of(text + "\n".join(lines if reset_last else lines[::-1]))
    shown = run_rows(program, rows_of(s=sets, r=resets))
    on = False
    for n, (s, r) in enumerate(zip(sets, resets, strict=False)):
        if s and r:
            on = not reset_last
        elif s or r:
            on = s
        assert shown[n * 10]["o"] == on


@given(BITS)
def test_an_impulse_relay_shows_the_parity_of_the_gains_of_power_seen(bits: list[bool]) -> None:
    program = program_of("input a at I1\noutput o at R1\nrung a -> impulse o")
    shown = run_rows(program, rows_of(a=bits))
    gains = 0
    for n, bit in enumerate(bits):
        gains += n > 0 and bit and not bits[n - 1]
        assert shown[n * 10]["o"] == bool(gains % 2)


POWERED = """
input a at I1
output o at R1 retained
relay plain
relay kept retained
timer hours accumulating 50ms retained
counter rings to 3 retained
counter lost to 3
rung a -> latch o, latch plain, latch kept, hours, rings, lost
rung hours and rings and lost and plain -> unlatch kept
"""


@given(BITS, st.lists(st.booleans(), min_size=1, max_size=60).map(lambda p: [True, *p]))
def test_a_power_cut_keeps_what_is_retained_and_clears_the_rest(
    bits: list[bool], power: list[bool]
) -> None:
    program = program_of(POWERED)
    panel = Panel(program, jump=False)
    for n, (bit, on) in enumerate(zip(bits, power, strict=False)):
        before = dict(panel.state.contacts), dict(panel.state.counts)
        panel.switch_power(on)
        panel.give_circuits({"a": bit})
        if not on:
            contacts, counts = panel.state.contacts, panel.state.counts
            for name in ("o", "kept", "hours", "rings"):
                assert contacts[name] == before[0][name]
            assert (counts["hours"], counts["rings"]) == (before[1]["hours"], before[1]["rings"])
            assert not contacts["plain"]
            assert counts["lost"] == 0
        else:
            panel.pass_to(n * 10)
            state = panel.make_scan()
            assert state.first == (n == 0 or not power[n - 1])
            if state.first:
                # no count, no impulse and no elapsed time comes from the power's return
                assert state.counts["rings"] == before[1]["rings"]
                assert state.counts["hours"] == before[1]["hours"]


@given(st.integers(1, 40), st.integers(1, 40), BITS)
def test_jumping_over_a_quiet_stretch_of_timers_changes_no_scan(
    on: int, off: int, bits: list[bool]
) -> None:
    program = program_of(
        f"input a at I1\noutput o at R1\ntimer f flasher {on * 7}ms on {off * 7}ms off\n"
        f"timer h accumulating {on * 13}ms\ntimer p pulse {off * 11}ms\ntimer d off-delay 95ms\n"
        "rung a -> f, h, p\nrung f -> d\nrung h and not a -> reset h\nrung f or p or d or h -> o"
    )
    rows = [(t * 17, row) for t, row in rows_of(a=bits)]
    jumped = run_rows(program, [*rows, (rows[-1][0] + 900, rows[-1][1])])
    panel = Panel(program, jump=False)
    for t, shown in jumped.items():
        current = [row for at, row in rows if at <= t][-1]
        panel.give_circuits({name: bool(value) for name, value in current.items()})
        panel.make_scan(t)
        assert {name: panel.state.contacts[name] for name in shown} == shown
