"""Panels with properties whose verdicts are known by other ways than the prover's.

Each entry says how its verdict was found; nothing here was taken over from what the prover said.
Ways: every state tried on the reference interpreter, every scan counted on the core, ABC on the
exported AIGER of that counted core, or a calculation written beside the entry. Where times are
long, the first three were done with all of them cut down in proportion.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

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


def _inputs(*names: str) -> str:
    lines = []
    for number, name in enumerate(names, 1):
        plain, _, more = name.partition(" ")
        lines.append(f"input {plain} at I{number} {more}")
    return "\n".join(lines)


def _buttons(count: int) -> list[str]:
    return [f"press_{n} momentary NO" for n in range(count)]


def _any(words: list[str]) -> str:
    return " or ".join(words)


def _site(zone: str = "UTC") -> str:
    return f'site zone "{zone}"'


# --- chains of steps ----------------------------------------------------------------------------


def ring(steps: int, buttons: int, closed: bool = True) -> str:
    """A sequencer: in step k a press of button k (counted round) goes on to step k + 1.

    The rungs stand from the last to the first, so that one scan goes one step; `home` and power-up
    lead to step 0. `closed` leads from the last step to the first.
    """
    lines = [_inputs(*_buttons(buttons), "home", "stop momentary NC")]
    lines += [f"relay step_{n}" for n in range(steps)]
    # what is left and what is entered, so that nothing is entered and left in one scan
    moves = [(n, n + 1) for n in range(steps - 1)]
    if closed:
        # the first rung, for step 0 is entered before step 0 is left only if that comes earlier
        lines.append(f"relay round_off\nrung step_{steps - 1} and stop -> round_off")
    for here, there in reversed(moves):
        lines.append(
            f"rung step_{here} and rising press_{here % buttons} and stop"
            f" -> latch step_{there}, unlatch step_{here}"
        )
    if closed:
        lines.append(
            f"rung round_off and step_{steps - 1} and rising press_{(steps - 1) % buttons}"
            f" -> latch step_0, unlatch step_{steps - 1}"
        )
    others = ", ".join(f"unlatch step_{n}" for n in range(1, steps))
    lines.append(f"rung home or first_scan -> {others}, latch step_0")
    return "\n".join(lines)


def _pairs(steps: int) -> str:
    return _any([f"(step_{n} and step_{n + 1})" for n in range(steps - 1)])


def _ring_suite(steps: int, buttons: int, way: Way, all_of_it: bool = True) -> Suite:
    last = steps - 1
    deep = last if buttons > 1 else 2 * last - 1
    entries = (
        Entry("no two neighbours at once", f"never {_pairs(steps)}", "proved", way, None),
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
            f"always {_any([f'step_{n}' for n in range(steps)])}",
            "proved",
            way,
        ),
    )
    return Suite(f"ring_{steps}_{buttons}", ring(steps, buttons), entries[: 4 if all_of_it else 2])


def twins(bits: int, slip: int | None = None) -> str:
    """The same shift register twice, once of latches and once of coils that hold themselves.

    `slip` makes one cell of the second take over a cell too early.
    """
    lines = [_inputs("clock_pulse", "data", *_buttons(6)), "relay pulse"]
    lines += [f"relay cell_{n}\nrelay twin_{n}" for n in range(bits)]
    lines.append("rung rising clock_pulse -> pulse")
    for n in reversed(range(1, bits)):
        lines.append(f"rung pulse and cell_{n - 1} -> latch cell_{n}")
        lines.append(f"rung pulse and not cell_{n - 1} -> unlatch cell_{n}")
        before = f"twin_{n - 1}" if n != slip else f"twin_{n - 2}"
        lines.append(f"rung (pulse and {before}) or (not pulse and twin_{n}) -> twin_{n}")
    lines.append("rung pulse and data -> latch cell_0\nrung pulse and not data -> unlatch cell_0")
    lines.append("rung (pulse and data) or (not pulse and twin_0) -> twin_0")
    return "\n".join(lines)


# --- counting -----------------------------------------------------------------------------------


def packer(size: int, slips: bool = False) -> str:
    """Parts are counted into a box; a full box is taken away and the count begins anew.

    With `slips` the reset stands where it misses the parts that come with a jammed box.
    """
    block = " and not jam" if slips else ""
    return "\n".join(
        [
            _inputs(
                "part",
                "box_gone",
                "jam",
                "auto",
                "start momentary NO",
                "stop momentary NC",
                "door maintained NC",
                "lamp_test",
            ),
            "output belt at R1",
            "output pusher at R2",
            "output lamp at R3",
            "relay running",
            "relay full_kept",
            "relay counting",
            "relay even",
            "relay jammed",
            f"counter parts to {size}",
            "rung (start or running) and stop and door -> running",
            "rung jam -> latch jammed",
            "rung start and not jam -> unlatch jammed",
            "rung running and part -> counting",
            "rung counting and not full_kept -> parts",
            "rung counting -> impulse even",
            "rung parts -> latch full_kept",
            f"rung full_kept and box_gone{block} -> reset parts, unlatch full_kept",
            "rung running and not full_kept and not jammed -> belt",
            "rung full_kept and not belt -> pusher",
            "rung lamp_test or pusher -> lamp",
        ]
    )


def ripple(bits: int, stop_at: int | None = None) -> str:
    """Impulse relays as a binary counter of presses; at `stop_at` they are all cleared."""
    lines = [_inputs("count_in momentary NO", "hold", *_buttons(6))]
    lines += [f"relay bit_{n}" for n in range(bits)]
    lines.append("rung count_in and not hold -> impulse bit_0")
    for n in range(1, bits):
        lines.append(f"rung falling bit_{n - 1} -> impulse bit_{n}")
    if stop_at is not None:
        here = [f"bit_{n}" if stop_at >> n & 1 else f"not bit_{n}" for n in range(bits)]
        clear = ", ".join(f"unlatch bit_{n}" for n in range(bits))
        # a clear makes edges; while they pass nothing is counted
        lines.append("relay clearing")
        lines.append(f"rung {' and '.join(here)} -> clearing")
        lines.append(f"rung clearing -> {clear}")
    return "\n".join(lines)


def lock(code: str) -> str:
    """A code of digits, one button each; any other button leads back to the start."""
    count = len(code)
    good = [f"good_{n}" for n in range(1, count + 1)]
    lines = [_inputs(*_buttons(8), "handle momentary NO"), "output bolt at R1"]
    lines += [f"relay {name}" for name in good]
    for n in reversed(range(1, count)):
        right = code[n]
        others = _any([f"press_{d}" for d in range(8) if str(d) != right])
        lines.append(
            f"rung good_{n} and rising press_{right} and not ({others})"
            f" -> latch good_{n + 1}, unlatch good_{n}"
        )
        wrong = _any([f"rising press_{d}" for d in range(8) if str(d) != right])
        lines.append(f"rung good_{n} and ({wrong}) -> unlatch good_{n}")
    none = " and ".join(f"not {name}" for name in good)
    lines.append(f"rung rising press_{code[0]} and {none} -> latch good_1")
    lines.append(f"rung good_{count} and handle -> bolt")
    lines.append(f"rung bolt -> unlatch good_{count}")
    return "\n".join(lines)


# --- interlocks ---------------------------------------------------------------------------------


def drives(count: int, forget: int | None = None) -> str:
    """Contactors of which one runs at a time, each kept out by a helper relay of all the others.

    `forget` leaves one drive out of the helper of the one after it.
    """
    lines = [_inputs(*_buttons(count), "stop momentary NC", "trip maintained NC")]
    lines += [f"output drive_{n} at R{n + 1}" for n in range(count)]
    lines += [f"relay other_{n}" for n in range(count)]
    lines += ["relay healthy", "rung stop and trip -> healthy"]
    for n in range(count):
        rest = [
            f"drive_{k}" for k in range(count) if k != n and not (k == forget and n == forget + 1)
        ]
        lines.append(f"rung {_any(rest)} -> other_{n}")
        lines.append(f"rung (press_{n} or drive_{n}) and healthy and not other_{n} -> drive_{n}")
    return "\n".join(lines)


def _two_of(count: int) -> str:
    pairs = [(a, b) for a in range(count) for b in range(a + 1, count)]
    return _any([f"(drive_{a} and drive_{b})" for a, b in pairs])


def lift(floors: int) -> str:
    """A lift that moves between floors by calls; position comes from floor switches."""
    lines = [
        _inputs(
            *[f"at_{n}" for n in range(floors)],
            *[f"call_{n} momentary NO" for n in range(floors)],
            "shut",
        )
    ]
    lines += [f"relay want_{n}" for n in range(floors)] + [f"relay was_{n}" for n in range(floors)]
    lines += ["relay above", "relay below", "output go_up at R1", "output go_down at R2"]
    for n in range(floors):
        lines.append(f"rung call_{n} and not at_{n} -> latch want_{n}")
        lines.append(f"rung at_{n} -> unlatch want_{n}")
    for n in range(floors):
        clear = ", ".join(f"unlatch was_{k}" for k in range(floors) if k != n)
        lines.append(f"rung at_{n} -> latch was_{n}, {clear}")
    up = [f"(want_{n} and was_{k})" for n in range(floors) for k in range(n)]
    down = [f"(want_{n} and was_{k})" for n in range(floors) for k in range(n + 1, floors)]
    lines.append(f"rung {_any(up)} -> above")
    lines.append(f"rung {_any(down)} -> below")
    lines.append("rung above and shut and not go_down -> go_up")
    lines.append("rung below and shut and not go_up -> go_down")
    return "\n".join(lines)


# --- timers -------------------------------------------------------------------------------------

PRESS = _inputs(
    "start momentary NO",
    "stop momentary NC",
    "guard maintained NC",
    "auto",
    "call momentary NO",
    "float_low",
    "float_high",
    "reset momentary NO",
)


def batch(fill: str, stir: str, drain: str, late: bool = False) -> str:
    """A tank that is filled, stirred and drained, by times. `late`: stirring is timed a rung
    too early, and so a scan later."""
    stirring = "rung filled -> stirred"
    lines = [
        PRESS,
        "output valve at R1\noutput mixer at R2\noutput pump at R3",
        "relay running\nrelay filling\nrelay stirring\nrelay draining\nrelay done",
        f"timer filled on-delay {fill}\ntimer stirred on-delay {stir}",
        f"timer drained on-delay {drain}",
        "rung (start or running) and stop and guard and not done -> running",
        *([stirring] if late else []),
        "rung running -> filled",
        *([] if late else [stirring]),
        "rung stirred -> drained",
        "rung running and not filled -> filling",
        "rung filled and not stirred -> stirring",
        "rung stirred and not drained -> draining",
        "rung drained -> done",
        "rung filling -> valve\nrung stirring -> mixer\nrung draining -> pump",
    ]
    return "\n".join(lines)


def reversing(pause: str, one_way: bool = False) -> str:
    """Two directions with a pause between; `one_way` leaves out one of the two pauses."""
    rest = "" if one_way else " and not rest_back"
    return "\n".join(
        [
            PRESS,
            "output ahead at R1\noutput back at R2\noutput brake at R3",
            "relay want_ahead\nrelay want_back\nrelay healthy",
            f"timer rest_ahead off-delay {pause}\ntimer rest_back off-delay {pause}",
            "rung stop and guard -> healthy",
            "rung (start or want_ahead) and healthy and not call -> want_ahead",
            "rung (call or want_back) and healthy and not start and not want_ahead -> want_back",
            f"rung want_ahead and not back{rest} -> ahead, rest_ahead",
            "rung want_back and not ahead and not rest_ahead -> back, rest_back",
            "rung not ahead and not back -> brake",
        ]
    )


def star_delta(change: str) -> str:
    """A starter: star for 8 s, a pause, delta; star and delta exclude each other."""
    return "\n".join(
        [
            PRESS,
            "output main at R1\noutput star at R2\noutput delta at R3\noutput lamp at R4",
            "relay wanted\nrelay over\nrelay tripped",
            f"timer run_up on-delay 8s\ntimer pause off-delay {change}",
            "rung not guard -> latch tripped",
            "rung reset and guard -> unlatch tripped",
            "rung (start or wanted) and stop and not tripped -> wanted",
            "rung wanted -> main, run_up",
            "rung run_up -> over",
            "rung wanted and not over and not delta -> star, pause",
            "rung wanted and over and not star and not pause -> delta",
            "rung delta -> lamp",
        ]
    )


def flashing(on: str, off: str) -> str:
    """An alarm whose lamp flashes until it is accepted, then stands."""
    return "\n".join(
        [
            PRESS,
            "output lamp at R1\noutput horn at R2",
            "relay alarm\nrelay accepted",
            f"timer blink flasher {on} on {off} off\ntimer waves on-delay 2s",
            "rung float_high -> waves",
            "rung (waves or alarm) and not (reset and not float_high) -> alarm",
            "rung (call or accepted) and alarm -> accepted",
            "rung alarm and not accepted -> blink",
            "rung alarm and (blink or accepted) -> lamp",
            "rung alarm and not accepted -> horn",
        ]
    )


def windows(begin: str, end: str, timer: str, zone: str = "UTC", days: str = "daily") -> str:
    """A timer that runs while a clock window is open, and what comes of its end."""
    return "\n".join(
        [
            _site(zone),
            PRESS,
            "output heat at R1\noutput lamp at R2\nrelay served\nrelay kept",
            f"timer long on-delay {timer}",
            f"clock shift from {begin} to {end} {days}",
            "rung shift -> long, heat",
            "rung long -> latch served",
            "rung reset and not shift -> unlatch served",
            "rung served and shift -> lamp",
        ]
    )


def daily(keep: str, zone: str = "UTC") -> str:
    """An event each morning holds a relay by a long off-delay."""
    return "\n".join(
        [
            _site(zone),
            PRESS,
            "output lamp at R1\nrelay seen\nrelay stale",
            f"timer fresh off-delay {keep}",
            "clock morning at 06:30 daily",
            "rung morning -> fresh, latch seen",
            "rung seen and not fresh -> stale\nrung stale -> lamp",
        ]
    )


def weekend(long: str) -> str:
    """Timers that run while nobody works."""
    return "\n".join(
        [
            _site(),
            PRESS,
            "output lamp at R1\nrelay out",
            f"timer long on-delay {long}\ntimer night_long on-delay 14h",
            "clock work from 07:00 to 17:00 on Mon-Fri",
            "rung not work -> out\nrung out -> long, night_long",
            "rung long or night_long -> lamp",
        ]
    )


def debounced(pulse: str) -> str:
    """A pulse that begins with a debounced button: has it ended before the button can open?"""
    return "\n".join(
        [
            "input button at I1 debounce 50ms",
            "input other at I2",
            "output lamp at R1",
            f"timer blip pulse {pulse}",
            "rung button -> blip",
            "rung blip and other -> lamp",
        ]
    )


def hours(first: str, second: str) -> str:
    """Two accumulating timers of one pump: oil after the first, a service after the second."""
    return "\n".join(
        [
            PRESS,
            "output pump at R1\noutput oiler at R2\noutput lamp at R3",
            "relay running\nrelay locked retained",
            f"timer oil_due accumulating {first} retained",
            f"timer service_due accumulating {second} retained",
            "rung (start or running) and stop and not locked -> running",
            "rung running -> pump, oil_due, service_due",
            "rung oil_due and not running -> oiler",
            "rung service_due -> latch locked",
            "rung reset -> reset oil_due, reset service_due, unlatch locked",
            "rung locked -> lamp",
        ]
    )


RETAINED = "\n".join(
    [
        PRESS,
        "output motor at R1 retained\noutput valve at R2\noutput lamp at R3",
        "relay armed retained\nrelay ready\nrelay mode retained\nrelay once",
        "counter starts to 5 retained",
        "timer settle on-delay 5s",
        "rung not first_scan -> settle",
        "rung settle -> ready",
        "rung start and stop and ready -> latch motor, latch armed",
        "rung not stop or not guard -> unlatch motor, unlatch armed",
        "rung rising start -> starts",
        "rung reset -> reset starts",
        "rung rising call -> impulse mode",
        "rung armed and ready -> valve",
        "rung first_scan -> latch once",
        "rung starts -> lamp",
    ]
)

WIRED = "\n".join(
    [
        _inputs(
            "start momentary NO",
            "stop momentary NC",
            "panic momentary NO",
            "overload maintained NC",
            "door maintained NC",
            "level maintained NO",
            "slow momentary NC debounce 40ms",
            "reset momentary NO",
        ),
        "output motor at R1\noutput lock_coil at R2 NC\noutput horn at R3\noutput valve at R4 NC",
        "relay fault\nrelay wanted\nrelay filling\nrelay safe\n",
        "rung not overload -> latch fault",
        "rung rising reset and overload -> unlatch fault",
        "rung (start or wanted) and stop and not panic and not fault -> wanted",
        "rung door and not fault -> safe",
        "rung wanted and safe -> motor",
        "rung not motor and door -> lock_coil",
        "rung fault -> horn",
        "rung level and slow -> filling\nrung filling -> valve",
    ]
)


def _orders(short: str, long: str) -> str:
    """Timers of one start: together, and one that runs on while the short one begins anew."""
    return "\n".join(
        [
            PRESS,
            "output lamp at R1\nrelay on\nrelay hold",
            f"timer short on-delay {short}\ntimer long on-delay {long}\ntimer late on-delay {long}",
            "rung (start or on) and stop -> on",
            "rung on -> short, long",
            "rung (start or hold) and guard -> hold, late",
            "rung long or late -> lamp",
        ]
    )


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
        (Entry("no two neighbours at once", f"never {_pairs(100)}", "proved", "counted", None),),
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
            Entry("one drive at a time", f"never {_two_of(8)}", "proved", "counted", None),
            Entry(
                "stop means stop",
                f"require when not stop then not ({_any([f'drive_{n}' for n in range(8)])})",
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
        _orders("90s", "2min"),
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
                _site("Europe/Berlin"),
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
