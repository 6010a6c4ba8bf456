"""What the bench shows, as plain text."""

from __future__ import annotations

import pytest

from rungs.bench.pages.words import ASCII_SIGNS, SIGNS
from rungs.bench.plain import bench_text
from tests.bench.panels import SHED, session_of

EVERYTHING = ("SWITCHES", "RELAYS", "TIMERS", "COUNTERS", "CLOCKS", "lamp_switch", "ready", "night")


def test_everything_of_the_panel_stands_in_the_text() -> None:
    session = session_of(SHED)
    text = bench_text(session, ("file 0123", "a simulation"), SIGNS)
    for words in EVERYTHING:
        assert words in text
    assert text.index("file 0123") < text.index("SWITCHES") < text.index("The lamp follows")
    assert text.endswith("\n")
    assert not any(line != line.rstrip() for line in text.split("\n"))
    assert all(len(line) <= 80 for line in text.split("\n"))


def test_current_is_drawn_where_it_flows() -> None:
    session = session_of(SHED)
    dead = bench_text(session, (), SIGNS)
    session.toggle("lamp_switch")
    session.one_scan()
    live = bench_text(session, (), SIGNS)
    assert "━( )━" not in dead.partition("The lamp follows")[2].partition("The pump")[0]
    assert "━( )━" in live.partition("The lamp follows")[2].partition("The pump")[0]
    assert "operated" in live
    assert "operated" not in dead


def test_without_power_no_current_flows() -> None:
    session = session_of(SHED)
    session.toggle("lamp_switch")
    session.one_scan()
    session.switch_power(False)
    text = bench_text(session, (), SIGNS)
    assert "no power" in text
    assert "━( )━" not in text


def test_a_moment_of_the_past_is_written_as_it_was() -> None:
    session = session_of(SHED)
    before = bench_text(session, (), SIGNS).partition("SWITCHES")[2]
    session.toggle("lamp_switch")
    session.one_scan()
    session.to_time(0)
    assert "in the past" in bench_text(session, (), SIGNS)
    assert bench_text(session, (), SIGNS).partition("SWITCHES")[2] == before


@pytest.mark.parametrize("count", [1, 60])
def test_plain_signs_are_plain_and_nothing_is_left_out(count: int) -> None:
    many = "".join(f"input i{n} at I{n}\noutput o{n} at R{n}\n" for n in range(count))
    rungs = "".join(f"rung i{n} -> o{n}\n" for n in range(count))
    text = bench_text(session_of(many + rungs), (), ASCII_SIGNS)
    assert text.isascii()
    for n in range(count):
        assert f"i{n} " in text
        assert f"o{n} " in text
