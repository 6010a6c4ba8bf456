"""The recorded run of a session as a timing chart, whole or a window of it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from rungs.bench.session.session import Session
from rungs.chart.build import kind_of
from rungs.chart.data import Chart, Stretch, Trace


def chart_of_session(
    session: Session,
    names: Sequence[str],
    first: int | None = None,
    last: int | None = None,
    notes: tuple[str, ...] = (),
) -> Chart:
    """The traces of some devices from `first` to `last` (ms of the run; the whole run without
    them), kept inside what is recorded of all of them."""
    recorder, program = session.recorder, session.program
    begin = max([recorder.begins, *(recorder.known_from(name) for name in names)])
    end = max(begin, recorder.ends)
    begin = min(max(begin, begin if first is None else first), end)
    end = max(begin, min(end, end if last is None else last))
    traces = []
    for name in names:
        level, flips = recorder.flips(name)
        low, high = bisect_right(flips, begin), bisect_right(flips, end)
        device = program.by_name[name]
        starts = level != (low % 2 == 1)
        traces.append(Trace(name, kind_of(device), device.label, starts, tuple(flips[low:high])))
    return Chart(
        program.title or program.source.name,
        begin,
        end,
        session.period,
        session.wall_time(begin),
        program.site.zone,
        tuple(traces),
        notes,
        _off(session, begin, end),
    )


def _off(session: Session, begin: int, end: int) -> tuple[Stretch, ...]:
    """The stretches without power between two times; those that touch are one."""
    found: list[tuple[int, int]] = []
    for began, ended in session.recorder.outages():
        since = max(began, begin)
        until = min(end + 1, end + 1 if ended is None else ended)
        if since >= until:
            continue
        if found and since <= found[-1][1]:
            found[-1] = (found[-1][0], max(until, found[-1][1]))
        else:
            found.append((since, until))
    return tuple(found)
