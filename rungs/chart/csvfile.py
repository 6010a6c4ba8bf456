"""A chart as CSV for a spreadsheet: a row for each time at which anything changes.

Every cell of text is quoted and kept from being run as a formula, because a name or a note may hold
what somebody else wrote.
"""

from __future__ import annotations

import csv
import io

from rungs.cells import safe
from rungs.chart.data import Chart, moments, wall_of
from rungs.papers.sheet import guarded


def csv_text(chart: Chart) -> str:
    """The chart as CSV (RFC 4180, but lines end with a line feed).

    First the title and the notes, each in a line of one cell that begins with `# `. Then the names
    of the columns: `t_ms`, `local_time` where wall time is known, every trace, and after a counter
    with known counts `NAME.count`. Then rows, the first at `begin` and the last at `end`. Contacts
    are 0 or 1; all cells but the times are empty from the moment on at which power fails. A name
    that could be a formula stands behind an apostrophe.
    """
    wall = wall_of(chart)
    out = io.StringIO()
    # quotes round all text also keep a separator of another kind in it from making a cell
    writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC)
    writer.writerows([f"# {safe(text)}"] for text in (chart.title, *chart.notes) if text)
    header = ["t_ms", *(["local_time"] if wall is not None else [])]
    places: list[int] = []  # of the contact of each trace
    row: list[int | str] = []
    for trace in chart.traces:
        places.append(len(row))
        header.append(guarded(trace.name))
        row.append(0)
        if trace.counts:
            header.append(guarded(f"{trace.name}.count"))
            row.append(0)
    writer.writerow(header)
    dark: list[int | str] = [""] * len(row)
    shown, powered = -1, True

    def write(t: int) -> None:
        local = [wall.text(t)] if wall is not None else []
        writer.writerow([t, *local, *(row if powered else dark)])

    for moment in moments(chart):
        for index in moment.flips:
            row[places[index]] = 1 - int(row[places[index]])
        for index, count in moment.counts:
            row[places[index] + 1] = count
        # flips without power are hidden, so there is nothing to tell
        if moment.powered or powered:
            shown, powered = moment.t, moment.powered
            write(shown)
    if shown < chart.end:
        write(chart.end)
    return out.getvalue()
