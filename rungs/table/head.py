"""The head of a table file: what each column means, and all that lies outside the rows.

Clocks and the site go in as statements of the language, so that whoever reads the table back needs
no second way of writing a time.
"""

from __future__ import annotations

import hashlib
from pathlib import PurePath
from typing import Any

from rungs import __version__
from rungs.core.nodes import Core
from rungs.language.words import WEEKDAYS, duration_text
from rungs.program.nodes import (
    EVERY_DAY,
    Clock,
    Holiday,
    Input,
    MonthDay,
    Output,
    Program,
    Site,
)
from rungs.program.times import moment_text, season_text
from rungs.table.model import Kind, TableClock, TableOutput, TableSignal, TableTimer

CAUTIONS = (
    "A program or a relay board is never the only safety function: emergency stops, guards and"
    " limit switches that keep people from harm are hard-wired and act without it.",
    "Stop devices are wired normally closed, so that a broken wire stops.",
    "The order in which relays of one scan move is the board's own; contactors that must never be"
    " in together are interlocked by their own contacts as well.",
    "Local codes and licensed practice decide what may be built and by whom.",
)


def head(program: Program, core: Core, kind: Kind, outputs: tuple[str, ...]) -> dict[str, Any]:
    """The fields of a table file that follow from the program alone, for the signals of `core`."""
    return {
        "kind": kind,
        "tool": f"rungs {__version__}",
        "title": program.title,
        # a table leaves this machine, and where the file lies on it is nobody's business
        "program": PurePath(program.source.name).name,
        "program_sha256": sha256(program),
        "period_ms": core.period,
        "site": site_statement(program.site) if program.clocks else "",
        "holidays": tuple(holiday_statement(day) for day in program.holidays),
        "signals": table_signals(program, core),
        "outputs": tuple(_output(program, name) for name in outputs),
        "timers": tuple(
            TableTimer(
                name=timer.name,
                kind=timer.kind,
                preset_ms=timer.preset,
                retained=timer.retained,
            )
            for timer in core.timers
        ),
        "clocks": tuple(
            TableClock(name=clock.name, statement=clock_statement(clock))
            for clock in program.clocks
            if any(s.kind == "clock" and s.name == clock.name for s in core.signals)
        ),
        "cautions": CAUTIONS,
    }


def sha256(program: Program) -> str:
    """The digest of the program's text, in hexadecimal."""
    return hashlib.sha256(program.source.text.encode("utf-8")).hexdigest()


def table_signals(program: Program, core: Core) -> tuple[TableSignal, ...]:
    """The columns of the pattern: every signal of the core but first_scan, in its order."""
    made = []
    for signal in core.signals:
        if signal.kind == "first_scan":
            continue
        device = program.by_name[signal.device]
        if isinstance(device, Input):
            made.append(
                TableSignal(
                    name=signal.name,
                    kind="input",
                    terminal=device.terminal,
                    debounce_ms=device.debounce,
                    at_rest=device.side == "NC",
                )
            )
        elif signal.kind != "fault":
            made.append(TableSignal(name=signal.name, kind=signal.kind))
    return tuple(made)


def _output(program: Program, name: str) -> TableOutput:
    device = program.by_name[name]
    if isinstance(device, Output):
        return TableOutput(
            name=name, terminal=device.terminal, side=device.side, label=device.label
        )
    return TableOutput(name=name, label=getattr(device, "label", ""))


# --- statements of the language -----------------------------------------------------------------


def clock_statement(clock: Clock) -> str:
    """A clock's declaration without its label."""
    if clock.end is None:
        times = f"at {moment_text(clock.begin)}"
    else:
        times = f"from {moment_text(clock.begin)} to {moment_text(clock.end)}"
    days = clock.days
    words = [f"clock {clock.name} {times}"]
    if days.weekdays == EVERY_DAY:
        words.append("daily")
    else:
        words.append("on " + ", ".join(WEEKDAYS[day] for day in days.weekdays))
    words.append(season_text(days).strip())
    if clock.catch_up:
        words.append(f"catch up {duration_text(clock.catch_up)}")
    return " ".join(word for word in words if word)


def _month_day(day: MonthDay) -> str:
    return f"{day[0]:02}-{day[1]:02}"


def holiday_statement(holiday: Holiday) -> str:
    """A holiday's declaration."""
    first, last = (
        _month_day(day) if isinstance(day, tuple) else day.isoformat()
        for day in (holiday.first, holiday.last)
    )
    return f"holiday {holiday.name} on {first}" + (f" to {last}" if last != first else "")


def site_statement(site: Site) -> str:
    """The site's declaration: zone, place and holiday calendar."""
    words = [f'site zone "{site.zone}"']
    if site.latitude is not None and site.longitude is not None:
        words.append(f"latitude {_degrees(site.latitude)} longitude {_degrees(site.longitude)}")
    if site.holidays:
        words.append(f'holidays "{site.holidays}"')
    return " ".join(words)


def _degrees(value: float) -> str:
    return f"{value:.9f}".rstrip("0").rstrip(".")
