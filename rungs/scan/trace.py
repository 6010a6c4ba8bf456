"""Traces: a program played against a table of circuit states, scan for scan.

The trace is the common currency of all engines: whatever runs a program is right if and only if it
writes the same rows.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Protocol

from rungs.core.lower import LowerError
from rungs.core.nodes import PERIOD
from rungs.findings import Finding
from rungs.program.nodes import Input, Program
from rungs.scan.fast import FastPanel
from rungs.scan.runner import Panel
from rungs.source import Source, Span

LONGEST_RUN = 100 * 366 * 86_400_000  # ms
MOST_ROWS = 20_000_000

TraceRow = tuple[int, tuple[bool, ...]]


@dataclass(frozen=True, slots=True)
class StimulusRow:
    """From time `t` (ms): the circuits that the table names, and whether there is power."""

    t: int
    circuits: dict[str, bool]
    power: bool = True


class SeenState(Protocol):
    """What a trace shows of the panel after a scan."""

    @property
    def t(self) -> int:
        """The time of the scan, ms."""

    @property
    def first(self) -> bool:
        """Whether it was the first since power-up."""

    @property
    def contacts(self) -> dict[str, bool]:
        """The contact of every device."""


class PlayedPanel(Protocol):
    """A panel on any engine, for as much as a stimulus asks of it."""

    @property
    def program(self) -> Program:
        """What it runs."""

    @property
    def period(self) -> int:
        """From scan to scan, ms."""

    @property
    def state(self) -> SeenState:
        """The panel after the last scan."""

    def advance(self, until: int) -> Iterator[SeenState]:
        """Make all scans up to and including time `until`."""

    def switch_power(self, on: bool) -> None:
        """Switch the supply."""

    def give_circuits(self, circuits: dict[str, bool]) -> None:
        """Set circuits of inputs."""

    def pass_to(self, t: int) -> None:
        """No further scan before time t."""


Stimulus = tuple[StimulusRow, ...]


def read_stimulus(source: Source, program: Program) -> tuple[Stimulus, tuple[Finding, ...]]:
    """The rows of a stimulus CSV, or findings that say what is wrong with it."""
    findings: list[Finding] = []
    lines = list(_lines(source))
    if not lines:
        return (), (_wrong("the stimulus is empty", Span(0, 0), "begin with a line: t_ms,..."),)
    header_span, header = lines[0]
    findings += _check_header(header, header_span, program)
    rows: list[StimulusRow] = []
    if not findings:
        for span, cells in lines[1:]:
            row = _read_row(header, cells, span, rows[-1].t if rows else 0)
            if isinstance(row, Finding):
                findings.append(row)
            else:
                rows.append(row)
        if not rows and not findings:
            findings.append(_wrong("the stimulus has no rows", header_span, "add a row: 0,..."))
    return (() if findings else tuple(rows)), tuple(findings[:100])


def _wrong(message: str, span: Span, fix: str) -> Finding:
    return Finding("stimulus", message, span, "nothing was played", fix)


def _lines(source: Source) -> Iterator[tuple[Span, list[str]]]:
    start = 0
    separator = ","
    for number in range(1, source.line_count + 1):
        line = source.line(number)
        span = Span(start, start + len(line))
        start += len(line) + 1
        if not line.strip():
            continue
        if span.start == 0 and ";" in line and "," not in line:
            separator = ";"  # some spreadsheets write it where the comma is the decimal point
        cells = next(csv.reader(io.StringIO(line), delimiter=separator), [])
        yield span, [cell.strip() for cell in cells]


def _check_header(header: list[str], span: Span, program: Program) -> Iterator[Finding]:
    if header[0] != "t_ms":
        yield _wrong(f"the first column is '{header[0]}', not 't_ms'", span, "write t_ms,...")
    names = [device.name for device in program.inputs]
    for index, name in enumerate(header[1:], 1):
        if name in header[:index]:
            yield _wrong(f"the column '{name}' stands twice", span, "keep one")
        elif name != "power" and name not in names:
            close = get_close_matches(name, names, n=1)
            device = program.by_name.get(name)
            what = "is not an input" if device is not None else "is not declared"
            fix = f"did you mean '{close[0]}'?" if close else "name inputs of the program"
            yield _wrong(f"the column '{name}' {what}", span, fix)


def _read_row(header: list[str], cells: list[str], span: Span, since: int) -> StimulusRow | Finding:
    if len(cells) != len(header):
        what = f"the row has {len(cells)} cells and the header {len(header)}"
        return _wrong(what, span, "give each column a cell")
    if not (cells[0].isascii() and cells[0].isdigit() and len(cells[0]) <= 15):
        return _wrong(f"'{cells[0]}' is not a time in whole ms", span, "write digits only")
    t = int(cells[0])
    if t > LONGEST_RUN:
        return _wrong(f"{t} ms is more than a hundred years", span, "shorten the run")
    if t < since:
        return _wrong(f"the time runs back from {since} to {t} ms", span, "sort the rows")
    values: dict[str, bool] = {}
    for name, cell in zip(header[1:], cells[1:], strict=True):
        if cell not in ("0", "1"):
            return _wrong(f"'{cell}' in column '{name}' is neither 0 nor 1", span, "write 0 or 1")
        values[name] = cell == "1"
    power = values.pop("power", True)
    return StimulusRow(t, values, power)


def columns(program: Program) -> tuple[str, ...]:
    """What a trace shows after `t_ms`: every device but the inputs, in file order."""
    return tuple(device.name for device in program.devices if not isinstance(device, Input))


def trace(
    program: Program,
    stimulus: Stimulus,
    start: int | None = None,
    period: int = PERIOD,
    jump: bool = True,
) -> Iterator[TraceRow]:
    """One row for each scan: its time and the contact of each column after it.

    `start` is the wall time at t = 0, ms UTC.
    """
    return trace_panel(_panel(program, start, period, jump), stimulus)


def _panel(program: Program, start: int | None, period: int, jump: bool) -> PlayedPanel:
    try:
        return FastPanel(program, start, period, jump)
    except LowerError:
        # a flasher that is out of step with a very long period
        return Panel(program, start, period, jump)


def trace_panel(panel: PlayedPanel, stimulus: Stimulus) -> Iterator[TraceRow]:
    """The rows of `trace` for a panel that is still to make its first scan."""
    names = columns(panel.program)
    period = panel.period
    last: TraceRow | None = None
    for t, contacts in played_scans(panel, stimulus):
        row = (t, tuple(contacts[name] for name in names))
        if last is not None and not panel.state.first:
            # scans that were jumped over show what the one before them showed
            for between in range(last[0] + period, t, period):
                yield between, last[1]
        yield row
        last = row


def trace_changes(
    program: Program,
    stimulus: Stimulus,
    start: int | None = None,
    period: int = PERIOD,
    jump: bool = True,
) -> Iterator[TraceRow]:
    """The first row, the last, and each that differs from the row before it."""
    names = columns(program)
    panel = _panel(program, start, period, jump)
    shown: TraceRow | None = None
    last: TraceRow | None = None
    for t, contacts in played_scans(panel, stimulus):
        last = (t, tuple(contacts[name] for name in names))
        if shown is None or last[1] != shown[1]:
            shown = last
            yield last
    if last is not None and shown is not last:
        yield last


def played_scans(panel: PlayedPanel, stimulus: Stimulus) -> Iterator[tuple[int, dict[str, bool]]]:
    """Time and contacts of each scan that is made while the stimulus is played."""
    for index, row in enumerate(stimulus):
        if index == 0:
            for state in panel.advance(row.t - 1):
                yield state.t, state.contacts
        panel.switch_power(row.power)
        panel.give_circuits(row.circuits)
        final = index + 1 == len(stimulus)
        # a row holds until just before the next; the last row's time is the end of the run
        until = row.t if final else stimulus[index + 1].t - 1
        if until < row.t:
            continue
        panel.pass_to(row.t)
        for state in panel.advance(until):
            yield state.t, state.contacts
