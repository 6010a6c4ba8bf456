"""Local time: wall times of a zone to instants and back.

Instants are whole milliseconds since 1970-01-01T00:00Z, because two aware datetimes of one zone
compare and subtract by their wall times and so lose the repeated hour of autumn; only this module
touches datetimes, one at a time, to read an offset.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

SECOND: Final = 1_000
MINUTE: Final = 60_000
HOUR: Final = 3_600_000
DAY: Final = 86_400_000

_EPOCH: Final = date(1970, 1, 1).toordinal()
_NAIVE: Final = datetime(1970, 1, 1)
_MS: Final = timedelta(milliseconds=1)

# a day of room on both sides, so that no offset can carry a datetime out of its range
_LEAST: Final = (date.min.toordinal() + 1 - _EPOCH) * DAY
_MOST: Final = (date.max.toordinal() - 1 - _EPOCH) * DAY

# files of some machines' zone folders: each machine's own zone, or zones that count leap seconds
_NOT_KEYS: Final = ("localtime", "posixrules", "right/", "posix/")


@dataclass(frozen=True, slots=True)
class Zone:
    """A time zone by its IANA key. Two zones of one key are equal."""

    key: str
    _rules: ZoneInfo = field(compare=False, repr=False)

    def offset(self, instant: int) -> int:
        """How far the wall clock is ahead of UTC at an instant, in ms; never raises."""
        bounded = min(max(instant, _LEAST), _MOST)
        utc = (_NAIVE + bounded * _MS).replace(tzinfo=UTC)
        return _ms(utc.astimezone(self._rules).utcoffset())

    def offset_text(self, instant: int) -> str:
        """The offset for display, as `+02:00`; seconds stand only where there are any."""
        offset = self.offset(instant)
        minutes, seconds = divmod(abs(offset) // SECOND, 60)
        text = f"{'-' if offset < 0 else '+'}{minutes // 60:02}:{minutes % 60:02}"
        return f"{text}:{seconds:02}" if seconds else text

    def instant(self, day: date, ms_of_day: int) -> int:
        """The instant at which the wall clock shows `ms_of_day` on `day`.

        A time that a change of the clocks skips takes the offset before the change; a time that
        comes twice means its first occurrence (RFC 5545, section 3.3.5). A time of 24 h or more is
        a wall time of a later date. Never raises.
        """
        wall = (day.toordinal() - _EPOCH) * DAY + ms_of_day
        return wall - self._offset_at_wall(wall, fold=0)

    def _offset_at_wall(self, wall: int, fold: int) -> int:
        bounded = min(max(wall, _LEAST), _MOST)
        # fold 0 is, by PEP 495, the offset before a gap and the first of two readings
        local = (_NAIVE + bounded * _MS).replace(tzinfo=self._rules, fold=fold)
        return _ms(local.utcoffset())

    def local(self, instant: int) -> tuple[date, int]:
        """The local date and the wall time as ms of the day (0 to 86,399,999) at an instant.

        Instants outside the years 1 to 9999 give the first or the last moment of them.
        """
        days, ms = divmod(instant + self.offset(instant), DAY)
        ordinal = days + _EPOCH
        if ordinal < date.min.toordinal():
            return date.min, 0
        if ordinal > date.max.toordinal():
            return date.max, DAY - 1
        return date.fromordinal(ordinal), ms

    def day_bounds(self, day: date) -> tuple[int, int]:
        """The instants at which `day` and the next date begin; every instant is in one such day.

        A date begins at its first midnight, or at the end of a gap that takes midnight away. A
        date that the zone skipped has both bounds equal.
        """
        wall = (day.toordinal() - _EPOCH) * DAY
        return self._begins(wall), self._begins(wall + DAY)

    def _begins(self, midnight: int) -> int:
        """The first instant at which the wall clock shows `midnight` or later."""
        before = self._offset_at_wall(midnight, fold=0)
        after = self._offset_at_wall(midnight, fold=1)
        late = midnight - before
        if after <= before:
            return late
        # midnight is in a gap: find its end, the first instant that has the new offset
        early = midnight - after
        while late - early > 1:
            middle = (early + late) // 2
            if self.offset(middle) == after:
                late = middle
            else:
                early = middle
        return late


def _ms(offset: timedelta | None) -> int:
    assert offset is not None, "a zone always knows its offset"
    return offset // _MS


@lru_cache(maxsize=64)
def load_zone(key: str) -> Zone | None:
    """The zone of an IANA key; None if the key is not one, whatever it holds. Never raises."""
    if key.startswith(_NOT_KEYS):
        return None
    try:
        return Zone(key, ZoneInfo(key))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        # besides an unknown key: paths that leave the folder, NUL, folders, names that are too long
        return None


def utc() -> Zone:
    """The zone of a program that names none."""
    zone = load_zone("UTC")
    assert zone is not None, "tzdata is a dependency"
    return zone
