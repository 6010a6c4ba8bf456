"""A chart as a value change dump, for whatever reads waveforms.

The format is that of IEEE 1364-2005, clause 18, from memory: a header of `$` sections, then times
`#t` and changes, where an identifier code of printable characters stands for each variable. Rules
that are followed beyond the grammar: the file is ASCII; names are simple identifiers, no keywords,
and differ in more than case; an `integer` is written as a binary vector without leading zeros; all
variables are dumped in `$dumpvars` at the first time, become x in `$dumpoff` where power fails, and
are dumped again in `$dumpon` when it is back.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rungs import __version__
from rungs.cells import safe
from rungs.chart.data import Chart, moments, wall_of

# the reserved words of IEEE 1364-2005, annex B, from memory
_WORDS: Final = (
    "always and assign automatic begin buf bufif0 bufif1 case casex casez cell cmos config "
    "deassign default defparam design disable edge else end endcase endconfig endfunction "
    "endgenerate endmodule endprimitive endspecify endtable endtask event for force forever "
    "fork function generate genvar highz0 highz1 if ifnone incdir include initial inout input "
    "instance integer join large liblist library localparam macromodule medium module nand "
    "negedge nmos nor noshowcancelled not notif0 notif1 or output parameter pmos posedge "
    "primitive pull0 pull1 pulldown pullup pulsestyle_ondetect pulsestyle_onevent rcmos real "
    "realtime reg release repeat rnmos rpmos rtran rtranif0 rtranif1 scalared showcancelled "
    "signed small specify specparam strong0 strong1 supply0 supply1 table task time tran "
    "tranif0 tranif1 tri tri0 tri1 triand trior trireg unsigned use uwire vectored wait wand "
    "weak0 weak1 while wire wor xnor xor "
)
_KEYWORDS: Final = frozenset(_WORDS.split())

_FIRST_CODE: Final = 33  # !
_CODES: Final = 94  # up to ~


@dataclass(slots=True)
class _Variable:
    """One variable of the dump, with its value now."""

    code: str
    wide: bool
    value: int

    def text(self, powered: bool) -> str:
        digits = f"{self.value:b}" if powered else "x"
        return f"b{digits} {self.code}" if self.wide else digits + self.code


def vcd_text(chart: Chart, date_text: str | None = None) -> str:
    """The chart as a value change dump, 1 ms to the unit of time.

    Each trace is a `wire` of 1 bit in one module named after the title; a counter with known counts
    has an `integer` of 32 bits, NAME_count, as well. Title, notes, wall time at begin, labels and
    names that had to be altered stand in `$comment` sections. `$date` is `date_text`, or left out,
    so that one run always gives one file.
    """
    lines = [] if date_text is None else [f"$date {_harmless(date_text)} $end"]
    lines += [f"$version rungs {__version__} $end", "$timescale 1 ms $end"]
    wall = wall_of(chart)
    comments = [chart.title, *chart.notes]
    if wall is not None:
        comments.append(f"local time at #{chart.begin}: {wall.text(chart.begin)}")
    lines += [f"$comment {_harmless(text)} $end" for text in comments if text]
    taken: set[str] = set()
    lines.append(f"$scope module {_legal(chart.title or 'panel', taken)} $end")
    contacts: list[_Variable] = []
    counts: dict[int, _Variable] = {}
    taken = set()
    # names that are legal as they stand keep themselves, whatever the others become
    given = {t.name.casefold() for t in chart.traces if _is_legal(t.name)}
    for index, trace in enumerate(chart.traces):
        name = trace.name if _is_legal(trace.name) else None
        if name is None or name.casefold() in taken:
            name = _legal(trace.name, taken | given)
        taken.add(name.casefold())
        contacts.append(_Variable(_code(len(contacts) + len(counts)), False, 0))
        words = [name, trace.kind, *([trace.label] if trace.label else [])]
        if name != trace.name:
            words.insert(1, f"named {trace.name}")
        lines.append(f"$comment {_harmless(': '.join(words))} $end")
        lines.append(f"$var wire 1 {contacts[-1].code} {name} $end")
        if trace.counts:
            count_name = _legal(f"{name}_count", taken | given)
            taken.add(count_name.casefold())
            counts[index] = _Variable(_code(len(contacts) + len(counts)), True, 0)
            lines.append(f"$var integer 32 {counts[index].code} {count_name} $end")
    lines += ["$upscope $end", "$enddefinitions $end", *_changes(chart, contacts, counts)]
    return "\n".join(lines) + "\n"


def _changes(
    chart: Chart, contacts: list[_Variable], counts: dict[int, _Variable]
) -> Iterator[str]:
    """The lines from the first time on."""
    every = [*contacts, *counts.values()]
    every.sort(key=lambda variable: (len(variable.code), variable.code))
    shown, powered = -1, True
    for moment in moments(chart):
        changed = [contacts[index] for index in moment.flips]
        for variable in changed:
            variable.value = 1 - variable.value
        for index, count in moment.counts:
            counts[index].value = count
            changed.append(counts[index])
        first = shown < 0
        if not (moment.powered or powered or first):
            continue
        shown = moment.t
        yield f"#{shown}"
        if first:
            yield from _dump("$dumpvars", every, moment.powered)
        if powered and not moment.powered:
            yield from _dump("$dumpoff", every, False)
        elif moment.powered and not powered:
            yield from _dump("$dumpon", every, True)
        elif not first:
            yield from (variable.text(True) for variable in changed)
        powered = moment.powered
    if shown < chart.end:
        yield f"#{chart.end}"


def _dump(section: str, every: list[_Variable], powered: bool) -> list[str]:
    return [section, *(variable.text(powered) for variable in every), "$end"]


def _code(number: int) -> str:
    """The identifier code of a variable: `!`, then up to `~`, then two characters, and so on."""
    text = ""
    number += 1
    while number:
        number, digit = divmod(number - 1, _CODES)
        text = chr(_FIRST_CODE + digit) + text
    return text


def _is_legal(name: str) -> bool:
    return re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", name) is not None and name not in _KEYWORDS


def _legal(name: str, taken: set[str]) -> str:
    """A simple identifier like the name that differs from all in `taken` (which are casefolded)."""
    plain = re.sub(r"[^A-Za-z0-9_]+", "_", name)[:200] or "_"
    if not _is_legal(plain):
        plain = f"_{plain}"
    found, number = plain, 2
    while found.casefold() in taken:
        found, number = f"{plain}_{number}", number + 1
    return found


def _harmless(text: str) -> str:
    """Text for a section: one line of ASCII in which no word can be the `$end` of the section."""
    shown = safe(text).replace("$", "\\x24")
    return shown.encode("ascii", "backslashreplace").decode("ascii")
