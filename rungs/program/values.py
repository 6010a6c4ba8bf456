"""Words of the file turned into numbers: durations, times of day, dates, quantities.

Each reader returns the value, or a finding that says what to write; a limit that is a matter of the
language (366 days, 60 characters) is kept here and nowhere else.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

from rungs.findings import Finding
from rungs.language.tree import Word
from rungs.language.words import DURATION_UNITS, WEEKDAYS
from rungs.program.nodes import MonthDay

DAY_MS = 86_400_000
LONGEST_MS = 366 * DAY_MS

_PART = re.compile(r"([0-9]+(?:\.[0-9]+)?)([A-Za-z]+)")


def read_duration(word: Word) -> int | Finding:
    """A duration in ms, above 0 and at most 366 days."""
    total = 0
    smallest = LONGEST_MS + 1
    for number, unit in _PART.findall(word.text):
        size = DURATION_UNITS.get(unit)
        if size is None:
            return _duration(word, f"'{unit}' is not a unit of time")
        if "." in number:
            return _duration(word, f"'{word.text}' is not a whole number of a unit")
        if size >= smallest:
            return _duration(word, f"the units of '{word.text}' do not run from large to small")
        smallest = size
        # far beyond any limit, and int() of thousands of digits would raise
        if len(number.lstrip("0")) > 12:
            return _over_long(word)
        total += int(number) * size
    if total == 0:
        return Finding(
            "zero-time",
            f"'{word.text}' is no time at all",
            word.span,
            "nothing would be delayed",
            "write a time above zero",
        )
    return _over_long(word) if total > LONGEST_MS else total


def _duration(word: Word, what: str) -> Finding:
    return Finding(
        "bad-duration",
        what,
        word.span,
        "the time is unknown",
        "write it as 250ms, 30s, 5min, 2h, 7d or 1h30min",
    )


def _over_long(word: Word) -> Finding:
    return Finding(
        "over-long-time",
        f"'{word.text}' is longer than 366 days",
        word.span,
        "no run could show it",
        "write at most 366d",
    )


def read_offset(word: Word) -> int | Finding:
    """A signed duration in ms, such as `-20min`, of less than a day."""
    got = read_duration(Word(word.text[1:].strip(), word.span))
    if isinstance(got, Finding):
        return got
    if got >= DAY_MS:
        return Finding(
            "over-long-time",
            f"'{word.text}' moves the sun by a day or more",
            word.span,
            "the clock would act on another day",
            "write an offset below 24h",
        )
    return -got if word.text[0] == "-" else got


def read_time(word: Word) -> int | Finding:
    """A time of day `HH:MM[:SS]` in ms since midnight."""
    parts = word.text.split(":")
    shaped = len(parts) in (2, 3) and all(len(part) == 2 for part in parts)
    limits = (24, 60, 60)
    if not shaped or any(int(p) >= top for p, top in zip(parts, limits, strict=False)):
        end = "; the end of the day is 00:00 of the next" if word.text.startswith("24") else ""
        return Finding(
            "bad-time",
            f"'{word.text}' is no time of day",
            word.span,
            "the clock would never get there",
            f"write two digits each, from 00:00 to 23:59:59{end}",
        )
    hours, minutes, *seconds = (int(p) for p in parts)
    return ((hours * 60 + minutes) * 60 + (seconds[0] if seconds else 0)) * 1_000


def read_date(word: Word) -> date | Finding:
    """A full date `YYYY-MM-DD` from 1970 to 2199."""
    year, *rest = word.text.split("-")
    if len(year) == 4 and "1970" <= year <= "2199" and len(rest) == 2:
        month_day = read_month_day(Word("-".join(rest), word.span))
        if not isinstance(month_day, Finding):
            try:
                return date(int(year), *month_day)
            except ValueError:  # 29 February of a common year
                pass
    return _no_date(word)


def read_month_day(word: Word) -> MonthDay | Finding:
    """A day of every year, `MM-DD`; 02-29 is one, in leap years."""
    parts = word.text.split("-")
    if len(parts) == 2 and all(len(part) == 2 for part in parts):
        month, day = (int(part) for part in parts)
        try:
            date(2000, month, day)
        except ValueError:
            return _no_date(word)
        return (month, day)
    return _no_date(word)


def _no_date(word: Word) -> Finding:
    return Finding(
        "bad-date",
        f"'{word.text}' is a date of no calendar",
        word.span,
        "the day would never come",
        "write YYYY-MM-DD with a year from 1970 to 2199, or MM-DD for a day of every year",
    )


def read_weekday(word: Word) -> int | Finding:
    """A weekday, Monday being 0."""
    if word.text in WEEKDAYS:
        return WEEKDAYS.index(word.text)
    short = word.text[:3].capitalize()
    guess = f"write {short}" if short in WEEKDAYS else "write one of " + ", ".join(WEEKDAYS)
    return Finding(
        "bad-day", f"'{word.text}' is no weekday", word.span, "the day would never come", guess
    )


def read_count(word: Word, least: int, most: int) -> int | Finding:
    """A whole number between two limits."""
    text = word.text
    if "." not in text and len(text.lstrip("0")) <= 9 and least <= int(text) <= most:
        return int(text)
    return Finding(
        "bad-number",
        f"{text} is not a whole number from {least:,} to {most:,}",
        word.span,
        "the count would never be reached",
        f"write a number from {least} to {most}",
    )


def read_quantity(number: Word, unit: Word, units: tuple[str, ...]) -> float | Finding:
    """A number above zero with one of the given units; the value as written, not converted."""
    if unit.text not in units:
        wants = " or ".join(units)
        fix = f"write {wants}"
        if unit.text in ("mA", "mV", "cm", "mm") and units[0] in unit.text:
            fix += ", with a decimal point where needed"
        return Finding(
            "bad-unit",
            f"'{unit.text}' is not a unit that fits here",
            unit.span,
            "the value is unknown",
            fix,
        )
    value = float(number.text) if len(number.text) <= 20 else 0.0
    if not 0 < value <= 1_000_000:
        return Finding(
            "bad-number",
            f"{number.text} {unit.text} cannot be meant",
            number.span,
            "the sums of the panel would be wrong",
            "write a number above zero, at most 1,000,000",
        )
    return value


def read_limit(
    number: Word, unit: Word, wanted: str, least: float, most: float, example: str
) -> float | Finding:
    """A number between two limits, both included, with one certain unit; `example` shows it."""
    if unit.text != wanted:
        return Finding(
            "bad-unit",
            f"'{unit.text}' is not a unit that fits here",
            unit.span,
            "the value is unknown",
            f"write {wanted}, as in {example}",
        )
    value = float(number.text) if len(number.text) <= 20 else most + 1.0
    if least <= value <= most:
        return value
    return Finding(
        "bad-number",
        f"{number.text} {unit.text} cannot be meant",
        number.span,
        "the sums of the panel would be wrong",
        f"write a number from {least:g} to {most:g}, as in {example}",
    )


def read_gauge(number: Word) -> float | Finding:
    """A gauge of wire: a whole number of AWG from 1 to 40."""
    got = read_count(number, 1, 40)
    if isinstance(got, Finding):
        return replace(got, effect="no wire has this gauge", fix="write 18 AWG, or 1.5 mm2")
    return float(got)


def read_degrees(word: Word, limit: int) -> float | Finding:
    """A latitude or longitude in degrees."""
    value = float(word.text) if len(word.text) <= 20 else limit + 1.0
    if abs(value) <= limit:
        return value
    return Finding(
        "bad-number",
        f"{word.text} is not within {limit} degrees",
        word.span,
        "the sun would rise at a wrong time",
        f"write degrees from -{limit} to {limit}, south and west negative",
    )
