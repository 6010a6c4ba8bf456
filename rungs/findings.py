"""Findings: what is wrong with a user's file, as data, and the table of every code.

A finding is a value and never an exception, so that a check can report many at once and every face
(command line, bench, JSON) can show the same ones in its own way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rungs.source import Span

Severity = Literal["error", "warning", "note"]

MAX_FINDINGS = 100


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to tell the user.

    `message` is what is wrong, `effect` what it does on the panel, `fix` what to write instead;
    `related` are other places that take part, each with a few words.
    """

    code: str
    message: str
    span: Span
    effect: str = ""
    fix: str = ""
    related: tuple[tuple[Span, str], ...] = ()

    @property
    def severity(self) -> Severity:
        """How bad it is, from the table of codes."""
        return CODES[self.code].severity


@dataclass(frozen=True, slots=True)
class Code:
    """What a code means: its severity, a title, and a text for `rungs explain`."""

    severity: Severity
    title: str
    text: str
    example: str = ""
    better: str = ""


def in_order(findings: list[Finding]) -> tuple[Finding, ...]:
    """Findings without repeats, by place and then by code, at most MAX_FINDINGS of them.

    Errors are never pushed out by warnings: where there are too many, the mildest go first.
    """
    rank = {"error": 0, "warning": 1, "note": 2}
    unique = list(dict.fromkeys(findings))
    unique.sort(key=lambda f: rank[f.severity])
    kept = unique[:MAX_FINDINGS]
    kept.sort(key=lambda f: (f.span.start, rank[f.severity], f.code, f.message))
    return tuple(kept)


def has_errors(findings: tuple[Finding, ...]) -> bool:
    """True if any of them keeps the program from running."""
    return any(f.severity == "error" for f in findings)


def _code(severity: Severity, title: str, text: str, example: str = "", better: str = "") -> Code:
    return Code(severity, title, " ".join(text.split()), example, better)


CODES: dict[str, Code] = {
    # --- reading the file
    "not-text": _code(
        "error",
        "the file is not UTF-8 text",
        """A panel file is plain text in UTF-8. This one holds bytes that are no text in UTF-8: it
        may be a spreadsheet, a picture, or text saved in an older encoding. Save it as UTF-8 in
        your editor.""",
    ),
    "bad-character": _code(
        "error",
        "a character that does not belong in a panel file",
        """Control characters and characters that reverse the direction of writing make a line look
        different from what it is, so they are not taken anywhere in the file. Delete the character
        and type the text again.""",
    ),
    "too-large": _code(
        "error",
        "the file is larger than a panel can be",
        """A panel file may hold 2 MB and 50,000 lines. Split a larger installation into one file a
        panel.""",
    ),
    "too-deep": _code(
        "error",
        "parentheses are nested too deeply",
        """A circuit may nest parentheses 64 deep. Give the inner part a relay of its own and read
        that relay's contact.""",
    ),
    "too-many": _code(
        "error",
        "more devices than a panel can hold",
        """One file may declare 10,000 devices. Split a larger installation into one file a
        panel.""",
    ),
    # --- syntax
    "syntax": _code(
        "error",
        "a word or sign stands where it does not fit",
        """The statement cannot be read past this place. Every statement begins with a keyword and
        has the form that 'rungs explain statements' lists.""",
        "rung door_switch -> lamp horn",
        "rung door_switch -> lamp, horn",
    ),
    "incomplete": _code(
        "error",
        "a statement stops before it is complete",
        """Something is still missing when the next statement begins or the file ends.""",
        "rung door_switch ->",
        "rung door_switch -> lamp",
    ),
    "unknown-statement": _code(
        "error",
        "a word that does not begin a statement",
        """Statements begin with one of: title, site, design, supply, input, output, relay, timer,
        counter, clock, holiday, rung, never, always, require, assume, scenario.""",
        "lamp hall at R1",
        "output hall at R1",
    ),
    "symbol-for-word": _code(
        "error",
        "a sign where the language uses a word",
        """Circuits are written in words, as one reads them aloud: and, or, not, with -> between the
        circuit and what it drives.""",
        "rung a && !b = lamp",
        "rung a and not b -> lamp",
    ),
    "missing-unit": _code(
        "error",
        "a number without its unit",
        """A bare number could be seconds or milliseconds, volts or amps. Times are written as
        250ms, 30s, 5min, 2h or 7d, electrical values as 24 V, 1.2 A, 14 m, 1.5 mm2.""",
        "wait 5",
        "wait 5s",
    ),
    "bad-label": _code(
        "error",
        "a label that is not closed or not quoted",
        """Labels stand in straight double quotes on one line.""",
        'rung "The lamp follows',
        'rung "The lamp follows"',
    ),
    "name-form": _code(
        "error",
        "a name that is not written as names are",
        """A name is made of the letters a to z and A to Z, digits and _, and begins with a letter.
        Letters of other alphabets can look the same and are not the same, so they are not taken.
        Put the wording that people should read into the label.""",
        "input 2nd_door at I1",
        "input door_2 at I1",
    ),
    "name-length": _code("error", "a name that is too long", """A name may have 60 characters."""),
    "doubled-option": _code(
        "error",
        "a part of a declaration is given twice",
        """Each part may stand once; which of the two counts would be a guess.""",
        "input door at I1 NO NC",
        "input door at I1 NC",
    ),
    "missing-option": _code(
        "error",
        "a part of a declaration is missing",
        """The declaration cannot be used without it.""",
        "input door maintained",
        "input door at I1 maintained",
    ),
    "wrong-option": _code(
        "error",
        "a part that this declaration cannot have",
        """The device would not act on it.""",
        "timer rest on-delay 5s retained",
        "timer rest accumulating 5s retained",
    ),
    # --- values
    "bad-duration": _code(
        "error",
        "a length of time that cannot be read",
        """Durations are whole numbers with a unit, the larger unit first: 250ms, 30s, 5min, 2h, 7d,
        1h30min.""",
        "wait 1.5s",
        "wait 1s500ms",
    ),
    "zero-time": _code(
        "error",
        "a time of zero",
        """A time relay set to zero does nothing that a plain contact would not do.""",
        "timer rest on-delay 0s",
        "timer rest on-delay 500ms",
    ),
    "over-long-time": _code(
        "error",
        "a time longer than 366 days",
        """Times may be at most 366 days.""",
        "timer service accumulating 9000h",
        "timer service accumulating 366d",
    ),
    "bad-time": _code(
        "error",
        "a time of day that no clock shows",
        """Times of day run from 00:00 to 23:59:59 and have two digits for each part. The end of the
        day is 00:00, of the next day.""",
        "clock night from 22:00 to 24:00",
        "clock night from 22:00 to 00:00",
    ),
    "bad-date": _code(
        "error",
        "a date that is in no calendar",
        """Dates are written YYYY-MM-DD, or MM-DD for a day of every year, and must exist.""",
        "holiday leap on 2026-02-29",
        "holiday leap on 2026-02-28",
    ),
    "bad-day": _code(
        "error",
        "a weekday that cannot be read",
        """Weekdays are Mon, Tue, Wed, Thu, Fri, Sat, Sun.""",
        "clock work at 08:00 on Monday",
        "clock work at 08:00 on Mon",
    ),
    "bad-unit": _code(
        "error",
        "a unit that does not belong here",
        """Volts are written V, amps A, lengths m, conductor sizes mm2 or AWG.""",
        "load 24 V 200 mA led",
        "load 24 V 0.2 A led",
    ),
    "bad-number": _code(
        "error",
        "a number out of range",
        """The number cannot be meant: counts are whole and run from 1 to 999,999, volts, amps,
        lengths and sizes are above zero, latitudes lie within 90 degrees and longitudes within
        180.""",
        "counter crates to 0",
        "counter crates to 12",
    ),
    "bad-zone": _code(
        "error",
        "a time zone that is not known",
        """Zones are names of the IANA time-zone database, such as "Europe/Oslo" or "UTC". Without
        the right zone every clock would act at a wrong time.""",
        'site zone "CET+1"',
        'site zone "Europe/Oslo"',
    ),
    "no-place": _code(
        "error",
        "sunrise or sunset without a place",
        """The sun rises at another time at every place: the site needs a latitude and a
        longitude.""",
        "clock dark from sunset to sunrise",
        'site zone "Europe/Oslo" latitude 60.39 longitude 5.32',
    ),
    "bad-calendar": _code(
        "error",
        "a holiday calendar that cannot be used",
        """The calendar of a site is an ISO 3166 country code such as "NO" or "DE-BY", and is
        looked up by the package 'holidays', an extra of rungs. List the days in the file with
        holiday statements where the calendar is not at hand.""",
    ),
    # --- names
    "unknown-name": _code(
        "error",
        "a name that is not declared",
        """Every device is declared once, with input, output, relay, timer, counter or clock, before
        or after it is used. A rung that reads a name with a slip of the pen would never act.""",
        "rung dor_switch -> lamp",
        "rung door_switch -> lamp",
    ),
    "doubled-name": _code(
        "error",
        "a name that is declared twice",
        """Each name stands for one thing.""",
        "relay away\nrelay away",
        "relay away",
    ),
    "lookalike-name": _code(
        "error",
        "two names that differ only in capital letters",
        """People read them as one, on a screen and on a terminal strip.""",
        "relay Away\nrelay away",
        "relay away",
    ),
    "confusable-names": _code(
        "note",
        "two names that are easily misread for each other",
        """The names differ only in characters that look alike: 0 and O, or 1, l and I.""",
        "relay valve_1\nrelay valve_l",
        "relay valve_1\nrelay valve_left",
    ),
    "wrong-kind": _code(
        "error",
        "a device that cannot be used this way",
        """Only timers are timing, only counters have a count, only inputs have a wire to break,
        only outputs have a load, and only outputs and relays can be latched.""",
        "rung lamp >= 3 -> horn",
        "rung crates >= 3 -> horn",
    ),
    "not-here": _code(
        "error",
        "a contact that exists only in properties and scenarios",
        """A program cannot see a broken wire or a lit lamp, only open and closed circuits. The
        words broken, shorted and .load may stand in never, always, require, assume and expect.""",
        "rung broken stop -> alarm",
        "require when broken stop then not motor",
    ),
    # --- logic
    "second-coil": _code(
        "error",
        "a device with two coils",
        """Each coil rung sets its device in every scan, so the rung above would have no effect.
        Join the circuits with or in one rung.""",
        "rung a -> lamp\nrung b -> lamp",
        "rung a or b -> lamp",
    ),
    "coil-and-latch": _code(
        "error",
        "a device that is both a coil and latched",
        """A coil rung sets its device in every scan and would undo what latch, unlatch and impulse
        do. Use the one or the other.""",
        "rung a -> lamp\nrung b -> latch lamp",
        "rung a -> latch lamp\nrung b -> unlatch lamp",
    ),
    "driven-input": _code(
        "error",
        "a rung that drives an input or a clock",
        """Inputs are moved by their switches and clocks by the time. Drive an output or a
        relay.""",
        "rung a -> door_switch",
        "rung a -> door_lamp",
    ),
    "never-driven": _code(
        "error",
        "a device that is read and that no rung drives",
        """Its contact would never change. Drive it with a rung, or take the contact out.""",
        "relay away\nrung away -> lamp",
        "rung switch -> away\nrung away -> lamp",
    ),
    "shared-terminal": _code(
        "error",
        "two devices on one terminal",
        """One terminal takes one input or one output.""",
        "input a at I1\ninput b at I1",
        "input a at I1\ninput b at I2",
    ),
    "supply-mismatch": _code(
        "error",
        "a load whose voltage is not that of its supply",
        """The load would stay dark, or burn. Name the right supply with from, or correct the
        volts.""",
        "supply main 24 V 4 A\noutput lamp at R1 load 12 V 1 A led",
        "output lamp at R1 load 24 V 1 A led",
    ),
    "begin-first": _code(
        "error",
        "a begin step that is not the first",
        """A scenario begins once. Use power off, power on or set clock on the way.""",
    ),
    "day-and-date": _code(
        "error",
        "a weekday that does not fall on the date",
        """The date has another weekday.""",
        "begin Mon 2026-11-25 22:45",
        "begin Wed 2026-11-25 22:45",
    ),
    # --- lint
    "never-read": _code(
        "warning",
        "a device that is driven and never read",
        """It costs attention and does nothing. Read it somewhere or take it out.""",
    ),
    "never-unlatched": _code(
        "warning",
        "a device that is latched and never unlatched",
        """Once on, it stays on until the power goes, and a retained one even longer. Write a rung
        that unlatches it.""",
    ),
    "never-closes": _code(
        "warning",
        "a circuit that can never close",
        """Two contacts in series exclude each other, so the rung never has power.""",
        "rung a and not a -> lamp",
        "rung a and not b -> lamp",
    ),
    "never-opens": _code(
        "warning",
        "a circuit that can never open",
        """Two contacts in parallel make up for each other, so the rung always has power.""",
        "rung a or not a -> lamp",
        "rung a or not b -> lamp",
    ),
    "dead-edge": _code(
        "warning",
        "an edge of something that never changes",
        """The contact would never close.""",
    ),
    "read-before-coil": _code(
        "warning",
        "a contact is read above the rung that drives it",
        """Rungs are worked from top to bottom, so the contact shows the state of the scan before
        and what it drives acts one scan late. Move the reading rung below the driving one.""",
        "rung away -> lamp\nrung switch -> away",
        "rung switch -> away\nrung away -> lamp",
    ),
    "unlatch-above-latch": _code(
        "warning",
        "an unlatch rung stands above the latch rung",
        """Within a scan the later rung wins: with both circuits closed the device ends up latched.
        Put the unlatch rung last, so that switching off wins.""",
        "rung stop -> unlatch pump\nrung start -> latch pump",
        "rung start -> latch pump\nrung stop -> unlatch pump",
    ),
    "empty-window": _code(
        "warning",
        "a clock window of zero length",
        """The clock's contact never closes.""",
        "clock evening from 19:00 to 19:00",
        "clock evening from 19:00 to 22:00",
    ),
    "stop-wired-no": _code(
        "warning",
        "a stop that is wired normally open",
        """With a normally open stop a broken wire goes unseen until someone presses it in vain.
        Wire stop devices normally closed: a broken wire then looks like a press. A program is never
        the only safety function; emergency stops are hard-wired.""",
        "input stop at I1 momentary NO",
        "input stop at I1 momentary NC",
    ),
    "no-site": _code(
        "warning",
        "clocks without a site",
        """Without a site the clocks run by UTC, which is local time hardly anywhere.""",
        "clock evening from 19:00 to 22:00",
        'site zone "Europe/Oslo"',
    ),
    "polar-days": _code(
        "note",
        "days on which the sun does not rise or set",
        """At this latitude the sun stays up or down for days on end. While it is up, a window from
        sunset to sunrise is empty; while it is down, the window is closed all day.""",
    ),
    "undriven-output": _code(
        "note",
        "an output that no rung drives",
        """Its coil stays off.""",
    ),
    "unused-input": _code(
        "note",
        "an input that nothing reads",
        """Operating it changes nothing.""",
    ),
    "no-holidays": _code(
        "note",
        "a clock that leaves out holidays, in a file that names none",
        """The words 'except holidays' leave out the days of holiday statements and of the site's
        calendar. Without either the clock acts on every listed day.""",
        "clock office from 08:00 to 17:00 on Mon-Fri except holidays",
        "holiday christmas on 12-24 to 12-26",
    ),
    "unknown-load": _code(
        "note",
        "a kind of load that is not known",
        """Contact ratings depend on the kind of load. Known kinds: led, lamp, coil, motor, valve,
        resistive, electronic.""",
    ),
    # --- runs
    "stimulus": _code(
        "error",
        "a stimulus file that cannot be played",
        """A stimulus is a CSV file with the columns t_ms, any inputs by name, and optionally power;
        cells of inputs and power are 0 or 1, times are whole milliseconds that do not run
        backwards.""",
    ),
    "not-combinational": _code(
        "error",
        "an output that depends on more than the present inputs",
        """A truth table holds outputs that follow the inputs and clocks of the same scan. This one
        depends on something that remembers: a latch, a timer, a counter, an edge, or a contact that
        is read above its coil.""",
    ),
    "table-size": _code(
        "error",
        "a table with too many signals or states",
        """Each signal doubles the patterns, and each bit that is remembered can double the states;
        20 signals that matter at once, 20,000 states and 100,000 rows are the limit.""",
    ),
    "switching-memory": _code(
        "error",
        "a program that remembers more than its relays show",
        """The only memory of a switching table is its relays: an event does one thing to a relay,
        on, off, flip or leave, whatever has happened before. Here the same event must do different
        things in two situations in which the relay stands alike; both are shown from power-up.""",
    ),
    "switching-timer": _code(
        "error",
        "a timer that no row of a switching table can stand for",
        """A row of a switching table can wait until an input has stayed closed, or open, for a
        time, if the board's rows can carry a delay. A timer that starts or stops by anything else
        needs a board with timers and states.""",
    ),
    "switching-unsettled": _code(
        "error",
        "a program that never comes to rest",
        """A switching table says what has changed when all is at rest again. This program goes on
        changing although nothing outside does.""",
    ),
    "table-file": _code(
        "error",
        "a table file that cannot be used",
        """A table is read from the JSON or CSV that 'rungs compile' writes, also after a
        spreadsheet has saved the CSV again. Everything in it must fit together: each row's cells to
        the signals and relays of the head, each state to a row.""",
    ),
    "no-outputs": _code(
        "error",
        "a program without outputs",
        """A table says what the relays of a board do; a program without outputs has none.""",
    ),
    # --- boards
    "board-file": _code(
        "error",
        "a board file that cannot be used",
        """A board file is TOML that says what a board accepts: terminals, ratings, rows, timers and
        clock slots. No number has a default, so that no limit is only assumed. A shipped board, as
        'rungs boards show timed-states' prints it, has a comment on every line.""",
    ),
    "board-kind": _code(
        "error",
        "a kind of table that the board does not hold",
        """Boards hold truth tables, transition tables or switching tables. A board that holds none
        only reads inputs and switches relays, and something else has to run the panel.""",
    ),
    "board-inputs": _code(
        "error",
        "inputs that the board has no terminals for",
        """Every input needs a terminal of its own. An input whose declared terminal the board has
        stays there; the others are given free ones in order, and the table's head says which.""",
    ),
    "board-relays": _code(
        "error",
        "outputs that the board has no relays for",
        """Every output needs a relay of its own. An output whose declared terminal the board has
        stays there; the others are given free ones in order, and the table's head says which.""",
    ),
    "board-states": _code(
        "error",
        "a table with more states than the board has",
        """Latches, edges, counters and timers give a panel its states. Nothing is cut: a table with
        fewer states would be another panel.""",
    ),
    "board-rows": _code(
        "error",
        "rows that the board does not take",
        """A board holds a number of rows, and either takes the first row that matches or wants rows
        that do not overlap. Nothing is cut: a situation without a row would do nothing.""",
    ),
    "board-timer": _code(
        "error",
        "a time that the board cannot measure",
        """Boards have a number of timers, of certain kinds, with a longest time and a resolution. A
        time that is no whole multiple of the resolution is refused and never rounded.""",
        "timer rest on-delay 1s50ms",
        "timer rest on-delay 1s100ms",
    ),
    "board-clock": _code(
        "error",
        "a clock that the board cannot keep",
        """Boards have a number of clock slots. Each may be a window or a moment, on weekdays, in a
        part of the year, as far as the board file says so.""",
    ),
    "board-sun": _code(
        "error",
        "a clock that goes by the sun, on a board that does not know it",
        """Fixed times by month or by week can stand in place of sunrise and sunset, and the finding
        says how many minutes they are off at most. Ask for them with --sun-by.""",
    ),
    "board-debounce": _code(
        "error",
        "a debounce time that the board does not have",
        """Debouncing is done by the board. A board that debounces every input for a fixed time
        needs that time in the program, since its inputs act later by it.""",
        "input door at I1",
        "input door at I1 debounce 20ms",
    ),
    "board-contact": _code(
        "error",
        "a contact side that the board does not have",
        """An output at an NC contact has its load on while the relay is off. With the other side
        the load would do the opposite.""",
    ),
    "board-load": _code(
        "error",
        "a load above the rating of the board's contacts",
        """Volts and amps are held against the ratings of the board file: coils, motors and valves
        against the inductive amps, known other loads against the resistive ones, and unknown kinds
        against the lower of the two.""",
    ),
    "board-retained": _code(
        "error",
        "a retained device on a board that keeps nothing",
        """A retained device keeps its state through a power cut. This board begins anew each time
        power comes.""",
    ),
    "board-power": _code(
        "warning",
        "relays that may be on at power-up",
        """Until the first row acts, the board's relays are not off, or nobody knows. Loads may be
        on for that time where the program has them off.""",
    ),
}
