"""Panels with properties whose verdicts are known by other ways than the prover's.

Each entry says how its verdict was found; nothing here was taken over from what the prover said.
Ways: every state tried on the reference interpreter, every scan counted on the core, ABC on the
exported AIGER of that counted core, or a calculation written beside the entry. Where times are
long, the first three were done with all of them cut down in proportion.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from tests.proof_panels import (
    PRESS,
    RETAINED,
    WIRED,
    any,
    batch,
    daily,
    debounced,
    drives,
    flashing,
    hours,
    lift,
    lock,
    orders,
    packer,
    pairs,
    reversing,
    ring,
    ripple,
    site,
    star_delta,
    twins,
    two_of,
    weekend,
    windows,
)

Word = Literal["proved", "fails", "holds", "unknown"]

# interpreter: tests.properties.scans_to_break on the reference interpreter, in every run of the
# tests. counted: breadth-first over a core with counters for timers, in every run of the tests, and
# by ABC as well. abc: Berkeley ABC 1.01 (`read_aiger; scorr; pdr`) on the AIGER of that core;
# COMPUTED so, and repeated by a test where the program is at hand. hand: by calculation, with
# scenarios that play the cases next to a limit.
Way = Literal["interpreter", "counted", "abc", "hand"]


@dataclass(frozen=True, slots=True)
class Entry:
    """A property, what is true of it, and how that is known.

    `allowed` are further words that are no wrong verdict, each with its reason in `why`. `deep` is
    the least number of scans of a run that breaks it. `exercised` None: not said (an open verdict).
    """

    name: str
    text: str
    word: Word
    way: Way
    exercised: bool | None = True
    why: str = ""
    allowed: tuple[Word, ...] = ()
    deep: int = 0


@dataclass(frozen=True, slots=True)
class Suite:
    """A panel with its entries. `cut` are texts and what stands for them where times are cut."""

    name: str
    text: str
    entries: tuple[Entry, ...]
    cut: tuple[tuple[str, str], ...] = ()
    scenarios: str = field(default="")

    @property
    def whole(self) -> str:
        """The program as text: devices, rungs, the properties in order, scenarios."""
        return "\n".join([self.text, *(e.text for e in self.entries), self.scenarios, ""])

    @property
    def short(self) -> str:
        """The same with its times cut down, without scenarios."""
        text = replace(self, scenarios="").whole
        for long, brief in self.cut:
            assert long in text, (self.name, long)
            text = text.replace(long, brief)
        return text


def _ring_suite(steps: int, buttons: int, way: Way, all_of_it: bool = True) -> Suite:
    last = steps - 1
    deep = last if buttons > 1 else 2 * last - 1
    entries = (
        Entry("no two neighbours at once", f"never {pairs(steps)}", "proved", way, None),
        Entry(
            "the last step is never reached",
            f"never step_{last}",
            "fails",
            way,
            deep=deep,
            why="each step takes a press; with one button also a scan to let it go",
        ),
        Entry(
            "no two steps far apart at once",
            f"never step_1 and step_{last - 2}",
            "proved",
            way,
            why="needs that any two exclude each other; this pair alone is not kept by a scan",
        ),
        Entry(
            "some step at any time",
            f"always {any([f'step_{n}' for n in range(steps)])}",
            "proved",
            way,
        ),
    )
    return Suite(f"ring_{steps}_{buttons}", ring(steps, buttons), entries[: 4 if all_of_it else 2])


# --- the suite ----------------------------------------------------------------------------------

_LOCK_CODE = "031742653107"

SUITES: tuple[Suite, ...] = (
    _ring_suite(8, 4, "counted"),
    _ring_suite(16, 8, "abc"),
    _ring_suite(52, 1, "abc", all_of_it=False),
    _ring_suite(32, 8, "abc", all_of_it=False),
    Suite(
        "ring_100_2",
        ring(100, 2),
        (Entry("no two neighbours at once", f"never {pairs(100)}", "proved", "counted", None),),
    ),
    Suite(
        "twins_6",
        twins(6),
        (
            Entry(
                "the last cells agree",
                "never (cell_5 and not twin_5) or (twin_5 and not cell_5)",
                "proved",
                "counted",
                None,
                why="needs that all cells before agree; the parts are parallel, so none is tried",
            ),
        ),
    ),
    Suite(
        "twins_24",
        twins(24),
        (Entry("the last cells agree", "never cell_23 and not twin_23", "proved", "abc"),),
    ),
    Suite(
        "twins_slip",
        twins(12, slip=5),
        (Entry("the last cells agree", "never cell_11 and not twin_11", "fails", "abc", deep=12),),
    ),
    Suite(
        "packer_12",
        packer(12),
        (
            Entry("no more parts than a box holds", "never parts > 12", "proved", "counted"),
            Entry("a full box is kept", "require when parts then full_kept", "proved", "counted"),
            Entry("not while it is pushed", "never belt and pusher", "proved", "counted"),
            Entry(
                "counted in pairs",
                "never parts == 7 and not even and not counting",
                "fails",
                "counted",
                why="the flip goes on when nothing is counted, while the box is full",
            ),
            Entry("eleven at most", "never parts > 11", "fails", "counted", deep=23),
        ),
    ),
    Suite(
        "packer_120",
        packer(120),
        (
            Entry("no more parts than a box holds", "never parts > 120", "proved", "abc"),
            Entry("never a full box", "never parts", "fails", "abc", deep=239),
        ),
    ),
    Suite(
        "ripple_7",
        ripple(7),
        (
            Entry(
                "never all of them",
                "never bit_0 and bit_1 and bit_2 and bit_3 and bit_4 and bit_5 and bit_6",
                "fails",
                "abc",
                deep=253,
                why="127 presses, each with a scan to let go",
            ),
        ),
    ),
    Suite(
        "ripple_stop",
        ripple(6, 41),
        (
            Entry(
                "never past the stop",
                "never bit_1 and bit_3 and bit_5",
                "proved",
                "counted",
                why="42 needs one more than 41; what the edges of a clear leave is below it",
            ),
            Entry("never at the stop", "never clearing", "fails", "counted", deep=81),
        ),
    ),
    Suite(
        "ripple_stop_late",
        ripple(6, 61),
        (
            Entry(
                "never past the stop",
                "never bit_1 and bit_2 and bit_3 and bit_4 and bit_5",
                "proved",
                "counted",
                why="62 needs one more than 61",
            ),
            Entry("never at the stop", "never clearing", "fails", "counted", deep=121),
        ),
    ),
    Suite(
        "lock_12",
        lock(_LOCK_CODE),
        (
            Entry("the bolt stays in", "never bolt", "fails", "counted", deep=12),
            Entry("one place of the code", "never good_3 and good_9", "proved", "counted"),
            Entry("no bolt without a handle", "require when bolt then handle", "proved", "counted"),
        ),
    ),
    Suite(
        "drives_8",
        drives(8),
        (
            Entry("one drive at a time", f"never {two_of(8)}", "proved", "counted", None),
            Entry(
                "stop means stop",
                f"require when not stop then not ({any([f'drive_{n}' for n in range(8)])})",
                "proved",
                "counted",
            ),
        ),
    ),
    Suite(
        "drives_14",
        drives(14),
        (Entry("one drive at a time", "never drive_3 and drive_12", "proved", "abc"),),
    ),
    Suite(
        "drives_forget",
        drives(10, forget=5),
        (
            Entry("one drive at a time", "never drive_5 and drive_6", "fails", "counted"),
            Entry("the others still", "never drive_5 and drive_7", "proved", "counted"),
        ),
    ),
    Suite(
        "lift_4",
        lift(4),
        (
            Entry("never both ways", "never go_up and go_down", "proved", "counted"),
            Entry(
                "the door is shut", "require when go_up or go_down then shut", "proved", "counted"
            ),
            Entry(
                "one position",
                "never was_1 and was_3",
                "proved",
                "counted",
                why="the later rung clears what the earlier one set",
            ),
            Entry("not past the top", "never go_up and was_3", "proved", "counted", None),
            Entry("at a floor it stands", "never go_down and at_0", "fails", "counted"),
        ),
    ),
    Suite(
        "lift_4_switches",
        lift(4) + "\nassume never at_0 and (at_1 or at_2 or at_3)",
        (
            Entry(
                "at the lowest floor it stands",
                "never go_down and at_0",
                "proved",
                "counted",
                why="the assumption is needed: see the same without it",
            ),
        ),
    ),
    # --- times, exact to a scan
    Suite(
        "batch",
        batch("10min", "20min", "1h"),
        (
            Entry(
                "stirring comes to an end",
                "require when running then stirred within 30min",
                "proved",
                "counted",
            ),
            Entry(
                "and not a scan sooner",
                "require when running then stirred within 29min59s990ms",
                "fails",
                "counted",
                deep=2,
            ),
            Entry(
                "all of it",
                "require when running then draining or drained or not stop"
                " or not guard within 30min",
                "proved",
                "counted",
            ),
            Entry("it ends", "require when running then done within 1h30min", "proved", "counted"),
            Entry(
                "one at a time",
                "never (filling and stirring) or (stirring and draining)",
                "proved",
                "counted",
                None,
            ),
            Entry("no pump beside the valve", "never valve and pump", "proved", "counted"),
        ),
        cut=(
            ("10min", "20ms"),
            ("20min", "40ms"),
            ("on-delay 1h", "on-delay 120ms"),
            ("29min59s990ms", "50ms"),
            ("within 30min", "within 60ms"),
            ("within 1h30min", "within 180ms"),
        ),
        scenarios="""
scenario "The whole time"
    operate start
    expect running and valve
    wait 29min59s990ms
    expect stirring and not stirred
    wait 10ms
    expect stirred
""",
    ),
    Suite(
        "batch_late",
        batch("10min", "20min", "1h", late=True),
        (
            Entry(
                "stirring comes to an end",
                "require when running then stirred within 30min",
                "fails",
                "counted",
                why="the stirring timer sees the end of filling a scan late",
            ),
            Entry(
                "a scan later",
                "require when running then stirred within 30min10ms",
                "proved",
                "counted",
            ),
        ),
        cut=(
            ("10min", "20ms"),
            ("20min", "40ms"),
            ("on-delay 1h", "on-delay 120ms"),
            ("within 30min10ms", "within 70ms"),
            ("within 30min", "within 60ms"),
        ),
    ),
    Suite(
        "reversing",
        reversing("3s"),
        (
            Entry("never both", "never ahead and back", "proved", "counted"),
            Entry("a pause before ahead", "never rising ahead and rest_back", "proved", "counted"),
            Entry("a pause before back", "never rising back and rest_ahead", "proved", "counted"),
            Entry(
                "the brake in between",
                "require when rest_ahead and rest_back then brake",
                "proved",
                "counted",
                False,
                why="one is off for its whole pause before the other begins: idle",
            ),
            Entry(
                "never waits",
                "require when want_back then back within 2s990ms",
                "fails",
                "counted",
                why="the pause may have begun in the scan before",
            ),
            Entry(
                "never waits longer",
                "require when want_back then back within 3s",
                "proved",
                "counted",
            ),
        ),
        cut=(("3s", "50ms"), ("2s990ms", "40ms")),
    ),
    Suite(
        "reversing_one_way",
        reversing("3s", one_way=True),
        (
            Entry("a pause before ahead", "never rising ahead and rest_back", "fails", "counted"),
            Entry("a pause before back", "never rising back and rest_ahead", "proved", "counted"),
        ),
        cut=(("3s", "50ms"),),
    ),
    Suite(
        "star_delta",
        star_delta("60ms"),
        (
            Entry("star and delta exclude each other", "never star and delta", "proved", "counted"),
            Entry("a pause before delta", "never rising delta and pause", "proved", "counted"),
            Entry(
                "delta comes in time",
                "require when main then delta within 8s60ms",
                "proved",
                "counted",
            ),
            Entry("no sooner", "require when main then delta within 8s50ms", "fails", "counted"),
            Entry("main with either", "require when star or delta then main", "proved", "counted"),
            Entry("tripped", "require when not guard then not main", "proved", "counted"),
        ),
        cut=(("on-delay 8s", "on-delay 80ms"), ("8s60ms", "140ms"), ("8s50ms", "130ms")),
    ),
    Suite(
        "flashing",
        flashing("500ms", "500ms"),
        (
            Entry(
                "an alarm shows within half a second",
                "require when alarm then lamp within 500ms",
                "proved",
                "counted",
            ),
            Entry(
                "and not sooner", "require when alarm then lamp within 490ms", "fails", "counted"
            ),
            Entry("a wave is no flood", "never rising alarm and not waves", "proved", "counted"),
            Entry(
                "a flood is told",
                "require when float_high then alarm within 2s",
                "proved",
                "counted",
            ),
            Entry(
                "a flood is told sooner",
                "require when float_high then alarm within 1s990ms",
                "fails",
                "counted",
            ),
        ),
        cut=(("500ms", "30ms"), ("490ms", "20ms"), ("2s", "50ms"), ("1s990ms", "40ms")),
    ),
    # --- two timers whose order decides
    Suite(
        "two_orders",
        orders("90s", "2min"),
        (
            Entry("the short one first", "never long and not short", "proved", "counted"),
            Entry(
                "the long one started before",
                "never late and not short",
                "fails",
                "counted",
                why="it runs on after the short one has been stopped and begun anew",
            ),
            Entry("never together", "never rising short and rising long", "proved", "counted"),
        ),
        cut=(("90s", "30ms"), ("2min", "50ms")),
    ),
    # --- clocks; all by calculation, a window being so many whole scans
    Suite(
        "window_of_two_hours",
        windows("08:00", "10:00", "3h"),
        (
            Entry(
                "it ends before a timer of three hours",
                "never long",
                "proved",
                "hand",
                None,
                why="in UTC every window has 2 h, so the timer has run 2 h less a scan at most",
            ),
            Entry(
                "nothing is served",
                "never lamp",
                "proved",
                "hand",
                None,
                why="for the timer is never due",
            ),
        ),
        scenarios="""
scenario "The whole window"
    begin Wed 2026-11-25 07:59
    until 09:59:59
    expect long.timing and not long
    wait 2s
    expect not shift and not long.timing
""",
    ),
    Suite(
        "window_as_long",
        windows("08:00", "10:00", "2h"),
        (
            Entry(
                "a timer of the same length",
                "never long",
                "proved",
                "hand",
                None,
                why="start <= now < end has 720,000 scans, and the last is 2 h less 10 ms after "
                "the first",
            ),
        ),
    ),
    Suite(
        "window_a_scan_longer",
        windows("08:00", "10:00", "1h59min59s990ms"),
        (
            Entry(
                "a timer a scan shorter",
                "never long",
                "fails",
                "hand",
                why="it is due in the last scan of the window if the first is at its very begin",
            ),
        ),
        scenarios="""
scenario "The last scan"
    begin Wed 2026-11-25 07:59
    until 09:59:59
    wait 980ms
    expect shift and not long
    wait 10ms
    expect shift and long
    wait 10ms
    expect not shift and not long
""",
    ),
    Suite(
        "window_of_one_night",
        windows("01:00", "03:00", "2h30min", "Europe/Berlin"),
        (
            Entry(
                "it ends before two and a half hours",
                "never long",
                "fails",
                "hand",
                why="03:00 is 3 h after 01:00 in the night in which the clock goes back",
            ),
        ),
        scenarios="""
scenario "The night of the change"
    begin 2026-10-25 00:59
    wait 2h30min58s
    expect shift and not long
    wait 3s
    expect shift and long
""",
    ),
    Suite(
        "window_of_one_night_longer",
        windows("01:00", "03:00", "3h", "Europe/Berlin"),
        (
            Entry(
                "it ends before three hours",
                "never long",
                "proved",
                "hand",
                None,
                why="3 h is the longest, and the last scan is 10 ms before",
            ),
        ),
    ),
    Suite(
        "window_on_one_day",
        windows("22:00", "06:00", "8h", "UTC", "on Fri"),
        (
            Entry(
                "a night ends",
                "never long",
                "proved",
                "hand",
                None,
                why="8 h less a scan at most; the next one begins six days later",
            ),
            Entry(
                "lamp only in the window",
                "require when lamp then shift",
                "proved",
                "hand",
                False,
                why="served is never latched, for the timer is never due",
            ),
        ),
    ),
    Suite(
        "window_until_served",
        windows("06:00", "18:00", "5h"),
        (
            Entry(
                "served only by a long run",
                "require when rising served then long",
                "proved",
                "hand",
                why="served is latched by nothing else, and reset opens only",
            ),
            Entry("never served", "never served and shift", "fails", "hand", why="12 h hold 5 h"),
        ),
    ),
    Suite(
        "daily_event",
        daily("23h59min59s990ms"),
        (
            Entry(
                "kept from day to day",
                "require when seen then fresh",
                "proved",
                "hand",
                why="closed in the scan at T, so it falls at T + 10 ms and opens at T + 24 h, "
                "where it is closed again",
            ),
        ),
    ),
    Suite(
        "daily_event_short",
        daily("23h59min59s980ms"),
        (
            Entry(
                "kept from day to day",
                "require when seen then fresh",
                "fails",
                "hand",
                why="it opens a scan before the next day's event",
            ),
        ),
        scenarios="""
scenario "The scan before"
    begin Wed 2026-11-25 06:29
    until 06:31
    expect seen and fresh
    until 06:29:59
    wait 980ms
    expect fresh
    wait 10ms
    expect not fresh
    wait 10ms
    expect fresh
""",
    ),
    Suite(
        "daily_event_autumn",
        daily("24h", "Europe/Berlin"),
        (
            Entry(
                "kept from day to day",
                "require when seen then fresh",
                "fails",
                "hand",
                why="25 h lie between two half past six when the clock goes back",
            ),
        ),
    ),
    Suite(
        "weekend",
        weekend("62h"),
        (
            Entry(
                "a weekend ends",
                "never long",
                "proved",
                "hand",
                None,
                why="from Friday 17:00 to Monday 07:00 are 62 h, the last scan is 10 ms before",
            ),
        ),
    ),
    Suite(
        "weekend_short",
        weekend("61h59min59s990ms"),
        (
            Entry(
                "a weekend ends",
                "never long",
                "fails",
                "hand",
                why="due in the last scan before Monday 07:00",
            ),
            Entry("no night is so long", "never night_long", "fails", "hand", why="14 h are"),
        ),
        scenarios="""
scenario "The last scan of the weekend"
    begin Fri 2026-11-27 16:59
    until 06:59
    until 06:59
    until 06:59
    until 06:59:59
    wait 980ms
    expect not long
    wait 10ms
    expect long
    wait 10ms
    expect not long and work
""",
    ),
    Suite(
        "two_windows",
        "\n".join(
            [
                site("Europe/Berlin"),
                PRESS,
                "output one at R1\noutput two at R2\nrelay passed",
                "clock first from 08:00 to 10:00",
                "clock second from 10:00 to 12:00",
                "clock third from 09:30 to 10:30 on Sun",
                "rung first and auto -> one\nrung second and auto -> two",
                "rung falling first -> latch passed\nrung first -> unlatch passed",
            ]
        ),
        (
            Entry("one after the other", "never one and two", "proved", "hand", why="by the hours"),
            Entry(
                "the second begins with the end of the first",
                "never rising second and not falling first",
                "proved",
                "hand",
                why="10:00 is one instant",
            ),
            Entry(
                "the third is apart",
                "never third and first",
                "fails",
                "hand",
                why="Sunday from half past nine",
            ),
            Entry(
                "in the second it is passed",
                "require when second then passed",
                "fails",
                "hand",
                why="power that comes at eleven has seen no edge",
            ),
        ),
    ),
    # --- debounce decides
    Suite(
        "debounced_60",
        debounced("60ms"),
        (
            Entry(
                "the pulse has ended",
                "never falling button and blip",
                "proved",
                "interpreter",
                why="an image holds for 60 ms: the circuit differs from the scan after on, and for "
                "50 ms",
            ),
        ),
    ),
    Suite(
        "debounced_70",
        debounced("70ms"),
        (Entry("the pulse has ended", "never falling button and blip", "fails", "interpreter"),),
    ),
    # --- power cuts
    Suite(
        "retained",
        RETAINED,
        (
            Entry(
                "nothing starts by itself",
                "never first_scan and motor",
                "fails",
                "counted",
                why="the motor is retained",
            ),
            Entry("the valve waits", "never first_scan and valve", "proved", "counted"),
            Entry(
                "a start waits for the settling",
                "never rising motor and not ready",
                "proved",
                "counted",
            ),
            Entry("armed with the motor", "never motor and not armed", "proved", "counted"),
            Entry("once at any time", "always once", "proved", "counted"),
            Entry(
                "six starts are never kept",
                "never starts > 5",
                "fails",
                "counted",
                why="a count goes on above its preset",
            ),
            Entry(
                "lamp by the count",
                "require when first_scan and lamp then starts >= 5",
                "proved",
                "counted",
                why="the count is kept through a power cut",
            ),
            Entry(
                "the valve comes after a cut",
                "require when armed then valve within 5s",
                "fails",
                "counted",
                why="ready is lost a scan after the first",
            ),
            Entry(
                "five seconds and a scan",
                "require when armed then valve within 5s10ms",
                "proved",
                "counted",
            ),
        ),
        cut=(("5s10ms", "60ms"), ("5s", "50ms")),
    ),
    # --- wires
    Suite(
        "wired",
        WIRED,
        (
            Entry(
                "a broken stop wire stops it",
                "require when broken stop then not motor",
                "proved",
                "counted",
            ),
            Entry(
                "a shorted stop wire stops it",
                "require when shorted stop then not motor",
                "fails",
                "counted",
            ),
            Entry(
                "a broken panic wire stops it",
                "require when broken panic then not motor",
                "fails",
                "counted",
                why="it is wired NO",
            ),
            Entry(
                "a broken overload wire is told",
                "require when broken overload then horn",
                "proved",
                "counted",
            ),
            Entry(
                "an open door locks off",
                "require when broken door then lock_coil.load",
                "proved",
                "counted",
                why="the load is on while the coil is off",
            ),
            Entry(
                "broken and shorted at once",
                "never broken stop and shorted stop",
                "proved",
                "counted",
            ),
            Entry(
                "the valve shuts on a broken wire",
                "require when broken slow then valve.load within 40ms",
                "proved",
                "counted",
                why="the image goes 40 ms after the first scan that reads it open",
            ),
            Entry(
                "at once",
                "require when broken slow then valve.load within 30ms",
                "fails",
                "counted",
            ),
            Entry("the motor with the lock", "never motor and lock_coil", "proved", "counted"),
        ),
    ),
    # --- what is never put to the test
    Suite(
        "idle",
        packer(4)
        + """
relay both
rung start and not start -> both
""",
        (
            Entry("a relay that never closes", "never both and belt", "proved", "counted", False),
            Entry("when what never is", "require when both then lamp", "proved", "counted", False),
            Entry(
                "a count that is never there",
                "require when parts > 4 then not belt",
                "proved",
                "counted",
                False,
            ),
        ),
    ),
    Suite(
        "idle_by_assumption",
        packer(4) + "\nassume never part and auto\nassume never part and not auto",
        (
            Entry(
                "full boxes are kept",
                "require when parts then full_kept",
                "proved",
                "counted",
                False,
                why="no part ever comes",
            ),
        ),
    ),
    # --- assumptions
    Suite(
        "both_limits",
        PRESS
        + """
output raising at R1
output lowering at R2
relay going_up
relay going_down
relay lost
rung start and not float_high -> latch going_up
rung float_high or not stop -> unlatch going_up
rung call and not float_low and not going_up -> latch going_down
rung float_low or not stop -> unlatch going_down
rung going_up and not going_down -> raising
rung going_down and not going_up -> lowering
rung float_low and float_high -> latch lost
assume "not at both ends" never float_low and float_high
""",
        (
            Entry("never lost", "never lost", "proved", "counted", None),
            Entry("never up at the top", "never raising and float_high", "proved", "counted"),
            Entry("never both", "never raising and lowering", "proved", "counted"),
            Entry(
                "never both wanted",
                "never going_up and going_down",
                "fails",
                "counted",
                why="start while it goes down latches the other",
            ),
        ),
    ),
    Suite(
        "contradiction",
        packer(4) + "\nassume never jam\nassume never not jam",
        (
            Entry(
                "anything",
                "never belt",
                "unknown",
                "hand",
                False,
                why="no panel keeps to both, so nothing is said",
            ),
        ),
    ),
    # --- times that add up: what is asked of their sums may stay open
    Suite(
        "hours",
        hours("50h", "200h"),
        (
            Entry("no oil while it runs", "never oiler and pump", "proved", "counted"),
            Entry(
                "locked when it is due",
                "never running and not locked and service_due and not rising service_due",
                "proved",
                "counted",
                None,
                why="the latch stands in the scan in which it is due",
            ),
            Entry("oil is never due", "never oil_due", "fails", "counted"),
            Entry("a service is never due", "never service_due", "fails", "counted"),
            Entry(
                "oil before the service",
                "never service_due and not oil_due",
                "proved",
                "counted",
                None,
                allowed=("unknown", "holds"),
                why="both add up the same scans; the search does not relate two sums",
            ),
        ),
        cut=(("50h", "30ms"), ("200h", "80ms")),
    ),
)
