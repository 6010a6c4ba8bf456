"""Sunrise and sunset at a site.

The sun is up while the centre of its disc is higher than 50 arc minutes below the horizon: 34' of
refraction and 16' of radius, the usual almanac definition, whatever weather or hills do. `ephem`
gives the sun's place once a UTC day; the crossings are searched for here, because its own search
for risings looks between transits and may miss the short days and nights near the poles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import cos, pi, radians, sin
from typing import Final, Literal

from rungs.scan.zone import DAY, HOUR, SECOND, Zone

SunEvent = Literal["sunrise", "sunset"]

HORIZON: Final = radians(-50 / 60)
# horizontal parallax at mean distance, IAU 1976: 8.794 arc seconds; the horizon is the site's own
PARALLAX: Final = radians(8.794 / 3600)
_LEVEL: Final = sin(HORIZON + PARALLAX * cos(HORIZON))

# half an hour from its turning point the sine of the altitude is off by 1 - cos 7.5 deg = 0.0086
# at most, so a sample farther from the horizon than this cannot hide two crossings
_NEAR: Final = 0.012

_EPHEM_EPOCH: Final = 25567.5  # 1970-01-01T00:00Z in ephem's days, which begin at 1899-12-31T12:00


@dataclass(frozen=True, slots=True)
class SunDay:
    """The sun on one local date: instants of its rises and sets, in order.

    Without any, one of `always_up` and `never_up` holds; on a date that the zone skipped, neither.
    An event is the first whole second (in ms UTC) at which the sun is up, or is not.
    """

    rises: tuple[int, ...] = ()
    sets: tuple[int, ...] = ()
    always_up: bool = False
    never_up: bool = False

    def of(self, event: SunEvent) -> tuple[int, ...]:
        """The rises, or the sets."""
        return self.rises if event == "sunrise" else self.sets


@lru_cache(maxsize=4096)
def sun_events(latitude: float, longitude: float, zone: Zone, day: date) -> SunDay:
    """The rises and sets that fall on a local date, at a place in degrees north and east.

    Normally one of each; near the poles none, one or two of either. Never raises.
    """
    start, end = zone.day_bounds(day)
    if start >= end:
        return SunDay()
    found = [
        event
        for utc_day in range((start - HOUR) // DAY, (end + HOUR) // DAY + 1)
        for event in _crossings(latitude, longitude, utc_day)
        if start <= event[0] < end
    ]
    rises = tuple(t for t, rising in found if rising)
    sets = tuple(t for t, rising in found if not rising)
    up = sun_is_up(latitude, longitude, start)
    return SunDay(rises, sets, not found and up, not found and not up)


def sun_is_up(latitude: float, longitude: float, instant: int) -> bool:
    """Whether the sun is up at an instant."""
    return _height(radians(latitude), radians(longitude))(instant) > 0


# --- crossings of the horizon -----------------------------------------------------------------


@lru_cache(maxsize=4096)
def _crossings(latitude: float, longitude: float, utc_day: int) -> tuple[tuple[int, bool], ...]:
    """Crossings (instant, rising) between or around the whole hours of a UTC day, in order.

    Every crossing belongs to one UTC day, the same for each date and zone that asks.
    """
    height = _height(radians(latitude), radians(longitude))
    first = utc_day * DAY
    samples = [height(first + k * HOUR) for k in range(-1, 26)]
    found: list[tuple[int, bool]] = []
    for k in range(24):
        before, here, after = samples[k : k + 3]
        at = first + k * HOUR
        if (here > 0) != (after > 0):
            found.append((_first_second(height, at, at + HOUR, after > 0), after > 0))
        if abs(here) > _NEAR or not (before > 0) == (here > 0) == (after > 0):
            continue
        sign = -1 if here > 0 else 1  # the sun may dip below the horizon, or peep over it
        if sign * before < sign * here >= sign * after:
            top = _turning_point(height, at - HOUR, at + HOUR, sign)
            if (height(top) > 0) != (here > 0):
                found.append((_first_second(height, at - HOUR, top, sign > 0), sign > 0))
                found.append((_first_second(height, top, at + HOUR, sign < 0), sign < 0))
    return tuple(sorted(found))


def _first_second(height: Callable[[int], float], low: int, high: int, up: bool) -> int:
    """The first whole second after `low` from which the sun is up (or not), with one crossing."""
    while high - low > SECOND:
        middle = (low + high) // (2 * SECOND) * SECOND
        if (height(middle) > 0) == up:
            high = middle
        else:
            low = middle
    return high


def _turning_point(height: Callable[[int], float], low: int, high: int, sign: int) -> int:
    """The whole second between the two at which the sun is highest (sign 1) or lowest (-1)."""
    while high - low > 2 * SECOND:
        third = (high - low) // (3 * SECOND) * SECOND or SECOND
        if sign * height(low + third) < sign * height(high - third):
            low += third
        else:
            high -= third
    return (low + high) // (2 * SECOND) * SECOND


def _height(latitude: float, longitude: float) -> Callable[[int], float]:
    """The sine of the sun's altitude less that of the horizon, at an instant, from radians.

    sin a = sin p sin d + cos p cos d cos h (p latitude, d declination, h hour angle), with the
    diurnal parallax taken off the horizon.
    """
    sin_latitude, cos_latitude = sin(latitude), cos(latitude)

    def height(instant: int) -> float:
        day, ms = divmod(instant, DAY)
        (a0, a1, a2), (d0, d1, d2), (s0, s1) = _motion(day)
        x = ms / DAY
        declination = d0 + x * (d1 + x * d2)
        hour_angle = s0 + x * s1 + longitude - (a0 + x * (a1 + x * a2))
        vertical = sin_latitude * sin(declination)
        return vertical + cos_latitude * cos(declination) * cos(hour_angle) - _LEVEL

    return height


# --- the sun's place --------------------------------------------------------------------------

_Curve = tuple[float, float, float]


@lru_cache(maxsize=4096)
def _motion(utc_day: int) -> tuple[_Curve, _Curve, tuple[float, float]]:
    """Right ascension, declination (parabolas) and sidereal time (a line) over one UTC day.

    Coefficients for the part of the day gone by, in radians, at Greenwich. The parabolas go
    through three midnights, so that neighbouring days meet; between midnights the altitude from
    them stays within half an arc second of ephem's own, a thirtieth of a second of time.
    """
    past, here, ahead = _place(utc_day - 1), _place(utc_day), _place(utc_day + 1)
    turned = ahead[2] - here[2]
    # a sidereal day is 3 min 56 s short, so from midnight to midnight it is a little over one turn
    return (
        _parabola(past[0], here[0], ahead[0]),
        _parabola(past[1], here[1], ahead[1]),
        (here[2], 2 * pi + turned % (2 * pi)),
    )


def _parabola(past: float, here: float, ahead: float) -> _Curve:
    back, on = _turn(here - past), _turn(ahead - here)
    return here, (back + on) / 2, (on - back) / 2


def _turn(angle: float) -> float:
    """An angle brought between minus and plus half a turn; right ascension wraps in March."""
    return (angle + pi) % (2 * pi) - pi


@lru_cache(maxsize=4096)
def _place(utc_day: int) -> tuple[float, float, float]:
    """Apparent right ascension and declination of the sun, and sidereal time, at 0 h UTC."""
    # imported here because it is a C extension that only programs with sun clocks need
    import ephem

    observer = ephem.Observer()
    observer.lon = 0
    observer.date = _EPHEM_EPOCH + utc_day
    sun = ephem.Sun()
    sun.compute(observer.date)
    return float(sun.g_ra), float(sun.g_dec), float(observer.sidereal_time())
