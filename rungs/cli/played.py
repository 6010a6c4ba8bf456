"""What `rungs trace` plays: a program on its core, or a table on the emulator.

Both take the same stimulus and give the same rows, so that the two can be held side by side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Protocol

from rungs.findings import Finding
from rungs.program.nodes import Input, Program
from rungs.scan.trace import Stimulus, TraceRow, columns, read_stimulus, trace, trace_changes
from rungs.source import Source
from rungs.table.emulator import (
    clock_program,
    run_table,
    run_table_changes,
    stimulus_program,
    table_columns,
)
from rungs.table.model import TableFile
from rungs.table.reading import read_table


class Played(Protocol):
    """Something that can be played against a stimulus."""

    @property
    def columns(self) -> tuple[str, ...]:
        """What its trace shows after the time."""

    @property
    def clocks(self) -> Program:
        """A program that has its site and clocks."""

    def read(self, source: Source) -> tuple[Stimulus, tuple[Finding, ...]]:
        """The stimulus of a file."""

    def rows(
        self, stimulus: Stimulus, start: int | None, period: int, changes: bool, jump: bool
    ) -> Iterator[TraceRow]:
        """The trace."""


@dataclass(frozen=True, slots=True)
class PlayedProgram:
    """A program."""

    program: Program

    @property
    def columns(self) -> tuple[str, ...]:
        """Every device but the inputs."""
        return columns(self.program)

    @property
    def clocks(self) -> Program:
        """The program itself."""
        return self.program

    def read(self, source: Source) -> tuple[Stimulus, tuple[Finding, ...]]:
        """The stimulus of a file, which names inputs of the program."""
        return read_stimulus(source, self.program)

    def rows(
        self, stimulus: Stimulus, start: int | None, period: int, changes: bool, jump: bool
    ) -> Iterator[TraceRow]:
        """The trace of all contacts."""
        play = trace_changes if changes else trace
        return play(self.program, stimulus, start, period, jump)


@dataclass(frozen=True, slots=True)
class PlayedTable:
    """A table that was read."""

    table: TableFile

    @property
    def columns(self) -> tuple[str, ...]:
        """Every output."""
        return table_columns(self.table)

    @property
    def clocks(self) -> Program:
        """The clocks that the table declares."""
        return clock_program(self.table)[0]

    def read(self, source: Source) -> tuple[Stimulus, tuple[Finding, ...]]:
        """The stimulus of a file. It may name inputs that the table does not read."""
        program = stimulus_program(self.table)
        known = {device.name for device in program.devices} | {"t_ms", "power"}
        header = source.line(1).replace(";", ",").split(",") if source.text.strip() else []
        named = dict.fromkeys(name.strip().strip('"') for name in header)
        unread = tuple(Input(n, "") for n in named if n.isidentifier() and n not in known)
        return read_stimulus(source, replace(program, devices=(*program.devices, *unread)))

    def rows(
        self, stimulus: Stimulus, start: int | None, period: int, changes: bool, jump: bool
    ) -> Iterator[TraceRow]:
        """The trace of the outputs. Raises TableFault where the table does not say what to do."""
        play = run_table_changes if changes else run_table
        return play(self.table, stimulus, start, period, jump)


def read_played(source: Source) -> tuple[PlayedTable | None, tuple[Finding, ...]]:
    """The table of a file, or findings."""
    table, findings = read_table(source)
    return (None if table is None else PlayedTable(table)), findings
