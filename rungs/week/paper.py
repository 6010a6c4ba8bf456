"""The week view as a paper.

Whoever stands before the panel wants the picture first, then the exact times, and then what will
surprise: so the parts come in that order, and a part that has nothing to say says that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rungs.language.words import duration_text
from rungs.papers.blocks import Block, Caution, Heading, Paper, Paragraph, Picture, Table, Verbatim
from rungs.program.times import weekdays_text
from rungs.prove.ready import Fight
from rungs.scan.zone import HOUR, MINUTE
from rungs.week.data import (
    Change,
    Decision,
    Gap,
    Overlap,
    Row,
    Week,
    at_text,
    day_text,
    length_text,
    time_text,
)
from rungs.week.odd import note_dates
from rungs.week.overlaps import GAP_MOST
from rungs.week.strip import strip_text

_KINDS: Final = {
    "clock": "clock",
    "decided": "output, by the clocks alone",
    "at rest": "output, every input at rest",
}
_ODD_NIGHTS: Final = ("longer", "shorter", "moved", "once", "empty")
_BY: Final = {
    "clocks": "the clocks alone",
    "inputs": "inputs too",
    "start": "also what was before",
    "busy": "unknown",
    "nothing": "nothing",
}


def week_paper(
    week: Week, pictures: Sequence[Picture] = (), width: int = 80, ascii_only: bool = False
) -> Paper:
    """The paper of a week, with `pictures` or, without them, a picture in characters `width` wide.

    A panel without clocks gets a paper that says so.
    """
    title = f"Week of the clocks: {week.title}" if week.title else "Week of the clocks"
    if not any(row.kind == "clock" for row in week.rows):
        told = "This panel has no clocks: nothing in it depends on the time of the day or the week."
        return Paper("week", title, (Paragraph(told),))
    blocks: list[Block] = [Paragraph(_extent(week))]
    blocks += [Caution(f"{problem[0].upper()}{problem[1:]}.") for problem in week.problems]
    blocks += pictures or [Verbatim(strip_text(week, width, ascii_only))]
    blocks += [Heading("When each is closed"), _times(week)]
    if any(row.kind == "at rest" for row in week.rows):
        told = "Lines 'every input at rest' are only right while nobody touches a switch."
        blocks.append(Paragraph(told))
    blocks += [Heading("What decides the outputs"), _decisions(week.decisions)]
    blocks += _together(week)
    blocks += _nights(week)
    blocks += _odd(week)
    return Paper("week", title, tuple(blocks))


def _extent(week: Week) -> str:
    first, last = week.days[0].day, week.days[-1].day
    site = week.site
    place = f'"{site.label}", zone {week.zone.key}' if site.label else f"zone {week.zone.key}"
    text = f"{day_text(first, True)} to {day_text(last, True)}; {place}. All times are local."
    if week.sun and site.latitude is not None and site.longitude is not None:
        text += (
            f" Sun times are for latitude {site.latitude:g}, longitude {site.longitude:g}, "
            "right to about a minute with a free horizon."
        )
    text += " The panel is taken to have power all the time, and for eight days before."
    text += f" Odd days are told up to {day_text(week.until, True)}."
    return text


def reminders(week: Week) -> tuple[str, ...]:
    """One line for each thing to mind: what happens in this very week first, then what the year
    brings, the nearest first."""
    lines = [
        f"{o.output}: {o.one} and {o.other} overlap {_often(len(o.spans))} this week"
        + (f"; {o.inside} is never closed alone" if o.inside else "")
        for o in week.overlaps
        if o.spans or o.inside
    ]
    lines += [
        f"{g.output}: {_often(len(g.spans))} this week a gap between {g.after} and {g.before}, "
        f"at most {length_text(g.longest)} in the year"
        for g in week.gaps
        if g.spans
    ]
    lines += [
        f"{c.device}: rung {c.latch.number} can latch while rung {c.unlatch.number} unlatches; "
        f"rung {c.wins.number} wins ({_clash(c)[0]})"
        for c in week.clashes
    ]
    lines += [f"{problem[0].upper()}{problem[1:]}" for problem in week.problems]
    if week.unknown:
        lines.append(f"whether more rungs pull one device both ways is unknown: {week.unknown}")
    dated = [(c.day, f"{day_text(c.day, True)}: {_hour(c)}{_moved(c)}") for c in week.changes]
    dated += [
        (n.first, f"{note_dates(n)}: {n.clock or 'all clocks'}, {n.text}") for n in week.notes
    ]
    return (*lines, *(text for _, text in sorted(dated, key=lambda pair: pair[0])))


def _moved(change: Change) -> str:
    """The clocks that do not act as written in the night of a change."""
    odd = [f"{n.clock} {n.kind}" for n in change.nights if n.kind in _ODD_NIGHTS]
    return f" ({', '.join(odd)})" if odd else ""


# --- exact times ---------------------------------------------------------------------------------


def _times(week: Week) -> Table:
    rows: list[tuple[str, ...]] = []
    for row in week.rows:
        grouped: dict[tuple[str, str, str], list[int]] = {}
        for cells, weekday in _closings(week, row):
            grouped.setdefault(cells, []).append(weekday)
        if not grouped:
            rows.append((row.name, _KINDS[row.kind], "", "does not close in this week", "", ""))
        for (begins, ends, lasts), weekdays in grouped.items():
            days = weekdays_text(sorted(set(weekdays)))
            rows.append((row.name, _KINDS[row.kind], days, begins, ends, lasts))
    columns = ("Name", "What", "Days", "Closes", "Opens", "Lasts")
    return Table("times", columns, tuple(rows))


def _closings(week: Week, row: Row) -> list[tuple[tuple[str, str, str], int]]:
    """Each closure of a row as its cells, with the weekday on which it begins."""
    found = []
    for span in row.spans:
        day, _ = week.zone.local(span.begin)
        begins, ends = at_text(week, span.begin), at_text(week, span.end)
        lasts = length_text(span.end - span.begin)
        if row.event:
            ends, lasts = "", "one scan"
        elif span.end - span.begin < MINUTE:
            begins, ends = (time_text(week.zone.local(t)[1]) for t in (span.begin, span.end))
        else:
            nights = (week.zone.local(span.end)[0] - day).days
            if nights:
                ends += " next day" if nights == 1 else f" {nights} days later"
        if span.before:
            begins, lasts = "before the week", ""
        if span.after:
            ends, lasts = "after the week", ""
        found.append(((begins, ends, lasts), day.weekday()))
    return found


def _decisions(decisions: Sequence[Decision]) -> Table:
    rows = tuple((d.output, _BY[d.by], d.text) for d in decisions)
    return Table("outputs", ("Output", "Decided by", "Why"), rows, none="There are no outputs.")


# --- overlaps, gaps, fights ----------------------------------------------------------------------


def _together(week: Week) -> list[Block]:
    blocks: list[Block] = [Heading("Overlaps, gaps and fights")]
    rows = [("overlap", o.output, f"{o.one} and {o.other}", *_overlap(o)) for o in week.overlaps]
    rows += [("gap", g.output, f"{g.after}, then {g.before}", *_gap(g)) for g in week.gaps]
    rows += [("fight", c.device, _movers(c), *_clash(c)) for c in week.clashes]
    columns = ("What", "Device", "Between", "This week", "Told in full")
    none = "No windows of one output overlap or leave a gap, and no rungs pull both ways."
    if week.unknown:
        blocks.append(
            Caution(f"Whether more rungs pull one device both ways is unknown: {week.unknown}.")
        )
        none = "No windows of one output overlap or leave a gap."
    blocks.append(Table("together", columns, tuple(rows), none=none))
    blocks.append(
        Paragraph(
            "An overlap: two windows in parallel for one output closed at once. A gap: a pause of "
            f"at most {duration_text(GAP_MOST)} from the end of one of them to the begin of "
            "another; a longer one is taken as meant. A fight: one rung latches what another "
            "unlatches in the same scan; the later rung wins."
        )
    )
    return blocks


def _overlap(found: Overlap) -> tuple[str, str]:
    days = f"on {found.days} days of the twelve months, at most {length_text(found.longest)}"
    if found.inside:
        days += f"; {found.inside} is never closed alone, so it adds nothing there"
    return _often(len(found.spans)), days


def _gap(found: Gap) -> tuple[str, str]:
    longest = f"{length_text(found.longest)} on {day_text(found.longest_on, True)}"
    return _often(len(found.spans)), f"{found.count} in the twelve months, the longest {longest}"


def _movers(found: Fight) -> str:
    return f"rung {found.latch.number} and rung {found.unlatch.number}"


def _clash(found: Fight) -> tuple[str, str]:
    sets, clears = " or ".join(found.sets), " or ".join(found.clears)
    text = f"{sets} latches, {clears} unlatches; rung {found.wins.number} wins"
    return found.moments, text


def _often(count: int) -> str:
    return {0: "no", 1: "once", 2: "twice"}.get(count, f"{count} times")


# --- nights and odd days -------------------------------------------------------------------------


def _nights(week: Week) -> list[Block]:
    blocks: list[Block] = [Heading("Nights when the clocks are changed")]
    if not week.changes:
        told = f"In zone {week.zone.key} no change of the clocks is known for the next two years."
        return [*blocks, Paragraph(told)]
    for number, change in enumerate(week.changes, 1):
        blocks.append(Heading(f"{day_text(change.day, True)}: {_hour(change)}", 3))
        rows = tuple((n.clock, n.kind, n.text) for n in change.nights)
        blocks.append(Table(f"night-{number}", ("Clock", "That night", "Why"), rows))
    return blocks


def _hour(change: Change) -> str:
    size = abs(change.after - change.before)
    times = f"{time_text(change.first)} to {_until(change.last)}"
    fate = "is left out" if change.missing else "comes twice"
    what = "the hour" if size == HOUR else duration_text(size)
    return f"{what} from {times} {fate}"


def _until(ms: int) -> str:
    return time_text(ms) if ms < 24 * HOUR else "24:00"


def _odd(week: Week) -> list[Block]:
    rows = tuple((note_dates(n), n.clock or "all", n.kind, n.text) for n in week.notes)
    blocks: list[Block] = [
        Heading("Odd days of the next twelve months"),
        Table("odd-days", ("Date", "Clock", "What", "Told in full"), rows, none="None."),
    ]
    if week.sun:
        sun = tuple(
            (
                s.clock,
                f"{s.end} {s.words}",
                f"{time_text(s.earliest[0])} on {day_text(s.earliest[1], True)}",
                f"{time_text(s.latest[0])} on {day_text(s.latest[1], True)}",
            )
            for s in week.sun
        )
        columns = ("Clock", "Sun", "Earliest by the hands", "Latest by the hands")
        blocks += [Heading("How far the sun moves them", 3), Table("sun", columns, sun)]
    return blocks
