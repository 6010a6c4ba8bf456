"""Time: letting it run, stepping, and walking to a moment of the past or of the future."""

from __future__ import annotations

import re
from collections.abc import Callable

from rungs.bench.controls.base import Command, Control
from rungs.bench.pages.words import passed_text, time_text
from rungs.bench.views import Walk
from rungs.findings import Finding
from rungs.language.words import DURATION_UNITS
from rungs.program.ask import circuit_of
from rungs.program.nodes import Input
from rungs.program.words import circuit_text

# also as the bench itself shows long times
_UNITS = {**DURATION_UNITS, "m": DURATION_UNITS["min"]}
_PART = re.compile(r"([0-9]{1,12}(?:\.[0-9]{1,6})?)([a-z]+)")
_CLOCK = re.compile(r"([0-2]?[0-9]):([0-5][0-9])(?::([0-5][0-9])(?:\.([0-9]{1,3}))?)?")
DAY = 86_400_000
Ahead = Callable[[int], int | None]


class Walking(Control):
    """Moves the session through time, and tells what was found."""

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        session = self.app.session
        return {
            "time.run": self.run_or_pause,
            "text.run": self.run_or_pause,
            "time.scan": lambda: self.walk(session.one_scan, "one scan"),
            "time.scan_back": lambda: self.tell(session.back_one_scan(), "a scan back"),
            "time.rung": self.rung,
            "time.rung_back": self.rung_back,
            "time.change": lambda: self.walk(
                session.to_next_change, "next change", lambda t: session.recorder.changes_after(t)
            ),
            "time.change_back": lambda: self.tell(session.back_to_change(), "the change before"),
            "time.event": lambda: self.walk(
                session.to_next_event, "next event", lambda t: session.recorder.events_after(t)
            ),
            "time.event_back": lambda: self.tell(session.back_to_event(), "the event before"),
            "time.to": self.ask,
            "time.present": self.present,
            "time.faster": lambda: self.speed(session.faster),
            "time.slower": lambda: self.speed(session.slower),
        }

    def run_or_pause(self) -> None:
        """Let time run, or stop it; in the past, play what was recorded."""
        session = self.app.session
        if self.app.stopped_by_trial():
            return
        if session.running:
            session.pause()
            self.say("paused")
            return
        session.run()
        self.say("playing what was recorded; l shows the latest" if session.in_past else "")

    def walk(self, step: Callable[[], Walk], what: str, ahead: Ahead | None = None) -> None:
        """Take a step and tell what it found; `ahead` says where in the record it would end."""
        if not self._beyond_trial(ahead):
            self.tell(step(), what)

    def _beyond_trial(self, ahead: Ahead | None = None) -> bool:
        """Whether going on would make scans that belong to a scenario that is played; says so."""
        session = self.app.session
        if ahead is None:
            recorded = session.in_past or session.upto is not None
        else:
            recorded = session.in_past and ahead(session.at) is not None
        return not recorded and self.app.stopped_by_trial()

    def rung(self) -> None:
        """Work one rung, and say which."""
        if self._beyond_trial():
            return
        walk = self.app.session.one_rung()
        self._tell_rung(walk)

    def rung_back(self) -> None:
        """Take back one rung."""
        self._tell_rung(self.app.session.back_one_rung())

    def _tell_rung(self, walk: Walk) -> None:
        session = self.app.session
        upto = session.upto
        if walk.reason in ("no power", "begins") or (upto is None and walk.passed):
            self.tell(walk, "one scan")
        elif upto is None:
            self.say("the outputs are written: the scan is over", True)
        elif upto == 0:
            self.say("the inputs and clocks are read; no rung is worked yet", True)
        else:
            rung = session.program.rungs[upto - 1]
            power = session.moment().image.powers.get(upto, False)
            names = [action.name for action in rung.actions]
            moved = [self._moved(n, on) for n, on in session.changes() if n in names]
            effect = ", ".join(moved) or "moves nothing"
            word = "has power" if power else "has no power"
            self.app.show_rung(upto - 1)
            self.say(f"rung {upto} {word}: {effect}; outputs wait for the end of the scan", True)

    def present(self) -> None:
        """Leave the past."""
        session = self.app.session
        was = session.in_past or session.upto is not None
        session.to_present()
        self.say("the present, paused: r lets time run" if was else "this is the latest moment")

    def speed(self, change: Callable[[], None]) -> None:
        """Another speed."""
        change()
        self.say(f"one second is {time_text(self.app.session.speed * 1000)}")

    # --- to a time or a circuit

    def ask(self) -> None:
        """Ask for a time to go to, or for a circuit to wait for."""
        if self.app.stopped_by_trial():
            return
        self.fill_in(
            "Go to a time (22:45, +1m30s, -5s, 12.5s of the run), or on until a circuit closes",
            self.go,
            hint="a circuit as in a rung: linger and not dark, rising lamp, runs >= 3",
            check=self._wrong,
        )

    def _wrong(self, text: str) -> str | None:
        if not text.strip():
            return "write a time or a circuit"
        try:
            if self.time_of(text.strip()) is not None:
                return None
        except ValueError as error:
            return str(error)
        circuit = circuit_of(self.app.session.program, text)
        if isinstance(circuit, Finding):
            return f"{circuit.message}; {circuit.fix}"
        return None

    def go(self, text: str) -> None:
        """Go there."""
        session = self.app.session
        t = self.time_of(text.strip())
        if t is not None:
            self.tell(session.to_time(t), "there")
            return
        circuit = circuit_of(session.program, text)
        assert not isinstance(circuit, Finding)
        self.tell(session.until(circuit), f"{circuit_text(circuit)} is closed")

    def time_of(self, text: str) -> int | None:
        """The moment that is meant, ms of the run; None for what is no time. Raises ValueError,
        with plain words, for a time that does not exist."""
        session = self.app.session
        sign = text[:1] if text[:1] in "+-" else ""
        body = text[len(sign) :].strip()
        clock = _CLOCK.fullmatch(body)
        if clock is not None and not sign:
            return self._clock_time(clock)
        parts = _PART.findall(body)
        if not parts or "".join(n + u for n, u in parts) != body:
            return None
        if any(unit not in _UNITS for _, unit in parts):
            return None
        ms = round(sum(float(number) * _UNITS[unit] for number, unit in parts))
        t = {"+": session.at + ms, "-": session.at - ms, "": ms}[sign]
        if t < session.recorder.begins:
            raise ValueError("the record begins later than that")
        if t > session.at + 366 * DAY:
            raise ValueError("that is more than a year ahead")
        return t

    def _clock_time(self, clock: re.Match[str]) -> int:
        hour, minute, second, part = clock.groups(default="0")
        ms = (int(hour) * 60 + int(minute)) * 60_000 + int(second) * 1000 + int(part.ljust(3, "0"))
        if ms >= DAY:
            raise ValueError("a day has 24 hours")
        session = self.app.session
        panel = session.standing
        zone = panel.calendar.zone
        day, now = session.wall_time(session.at)
        later = zone.instant(day, ms)
        if ms < now:
            # a time of today that is over lies in the record, if that reaches so far
            t = later - panel.wall.at(0)
            if t >= session.recorder.begins and not session.in_past:
                return t
            later = zone.instant(day.fromordinal(day.toordinal() + 1), ms)
        return later - panel.wall.at(0)

    # --- telling

    def tell(self, walk: Walk, what: str) -> None:
        """Say what a walk found."""
        ahead = walk.passed >= 0
        time = passed_text(abs(walk.passed))
        after = f" after {time}" if ahead else f", {time} earlier"
        match walk.reason:
            case "no power":
                self.say("the panel has no power: p switches it on")
            case "nothing":
                self.say("at rest: nothing will move of itself", True)
            case "unsettled":
                self.say(f"{what}: not found{after}, and the panel does not come to rest", True)
            case "begins":
                self.say("this is where the record begins", True)
            case _:
                moved = [self._moved(name, contact) for name, contact in walk.changed]
                shown = ", ".join(moved[:8]) + (f" and {len(moved) - 8} more" * (len(moved) > 8))
                here = " (the present)" if walk.reason == "ends" else ""
                self.say(f"{what}{after}{here}: {shown or 'nothing moved'}", True)

    def _moved(self, name: str, contact: bool) -> str:
        device = self.app.session.program.by_name[name]
        if isinstance(device, Input):
            return f"{name} {'closed' if contact else 'open'}"
        return f"{name} {'on' if contact else 'off'}"
