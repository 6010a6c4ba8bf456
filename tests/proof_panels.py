"""Panels of the proof suite as text, of any size: rings of steps, counters, interlocks, timers.

Each function makes one kind of panel, sound or with a slip, so that a property of it can be true in
one and false in the other.
"""

from __future__ import annotations


def _inputs(*names: str) -> str:
    lines = []
    for number, name in enumerate(names, 1):
        plain, _, more = name.partition(" ")
        lines.append(f"input {plain} at I{number} {more}")
    return "\n".join(lines)


def _buttons(count: int) -> list[str]:
    return [f"press_{n} momentary NO" for n in range(count)]


def any(words: list[str]) -> str:
    return " or ".join(words)


def site(zone: str = "UTC") -> str:
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


def pairs(steps: int) -> str:
    return any([f"(step_{n} and step_{n + 1})" for n in range(steps - 1)])


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
        others = any([f"press_{d}" for d in range(8) if str(d) != right])
        lines.append(
            f"rung good_{n} and rising press_{right} and not ({others})"
            f" -> latch good_{n + 1}, unlatch good_{n}"
        )
        wrong = any([f"rising press_{d}" for d in range(8) if str(d) != right])
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
        lines.append(f"rung {any(rest)} -> other_{n}")
        lines.append(f"rung (press_{n} or drive_{n}) and healthy and not other_{n} -> drive_{n}")
    return "\n".join(lines)


def two_of(count: int) -> str:
    pairs = [(a, b) for a in range(count) for b in range(a + 1, count)]
    return any([f"(drive_{a} and drive_{b})" for a, b in pairs])


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
    lines.append(f"rung {any(up)} -> above")
    lines.append(f"rung {any(down)} -> below")
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
            site(zone),
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
            site(zone),
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
            site(),
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


def orders(short: str, long: str) -> str:
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
