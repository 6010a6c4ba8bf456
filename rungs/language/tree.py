"""The syntax tree: what the file says, word for word, before anything is looked up.

Words keep the text that was written, so that the formatter changes layout and nothing else; whether
a duration or a date makes sense is for the checker to say. Spans take no part in comparisons, so
two texts that differ only in layout have equal trees.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from rungs.source import NOWHERE, Span


@dataclass(frozen=True, slots=True)
class Word:
    """One token as written; for a label, the text between the quotes."""

    text: str
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class MomentWord:
    """A time of day, `sunrise` or `sunset`, with an offset such as `-20min` where one is given."""

    time: Word
    offset: Word | None = None


@dataclass(frozen=True, slots=True)
class DayRange:
    """A weekday, or a range of them."""

    first: Word
    last: Word | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One optional part of a declaration, by its leading keyword; a bare label is `label`."""

    keyword: str
    values: tuple[Word | MomentWord | DayRange, ...]
    span: Span = field(default=NOWHERE, compare=False)


DeclarationKind = Literal[
    "title",
    "site",
    "design",
    "supply",
    "input",
    "output",
    "relay",
    "timer",
    "counter",
    "clock",
    "holiday",
]


@dataclass(frozen=True, slots=True)
class Declaration:
    """A statement that names a thing; `title`, `site` and `design` have no name."""

    kind: DeclarationKind
    name: Word | None
    options: tuple[Option, ...]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Plain:
    """A contact of a device: `NAME`."""

    name: Word
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Edge:
    """`rising NAME`, `falling NAME`, and the wire faults `broken NAME`, `shorted NAME`."""

    word: Word
    name: Word
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Field:
    """`NAME.timing` or `NAME.load`."""

    name: Word
    which: Word
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Comparison:
    """`NAME >= 3`."""

    name: Word
    op: Word
    number: Word
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class FirstScan:
    """`first_scan`."""

    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Negation:
    """`not` before a contact or a circuit in parentheses."""

    part: CircuitTree
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class SeriesTree:
    """Parts joined by `and`; never directly inside another SeriesTree."""

    parts: tuple[CircuitTree, ...]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class ParallelTree:
    """Parts joined by `or`; never directly inside another ParallelTree."""

    parts: tuple[CircuitTree, ...]
    span: Span = field(default=NOWHERE, compare=False)


ContactTree = Plain | Edge | Field | Comparison | FirstScan
CircuitTree = ContactTree | Negation | SeriesTree | ParallelTree


@dataclass(frozen=True, slots=True)
class ActionTree:
    """`NAME`, or a verb and a name; `verb` is None for a plain coil."""

    verb: Word | None
    name: Word
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class RungTree:
    """A rung: what must conduct, and what it then does."""

    label: Word | None
    circuit: CircuitTree
    actions: tuple[ActionTree, ...]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class PropertyTree:
    """`never`, `always`, `require` (with `when`) or `assume`."""

    kind: Literal["never", "always", "require", "assume"]
    label: Word | None
    when: CircuitTree | None
    circuit: CircuitTree
    within: Word | None = None
    span: Span = field(default=NOWHERE, compare=False)


StepVerb = Literal[
    "begin",
    "operate",
    "release",
    "tap",
    "break",
    "short",
    "mend",
    "power off",
    "power on",
    "wait",
    "until",
    "expect",
    "expect steady",
    "set clock",
]


@dataclass(frozen=True, slots=True)
class StepTree:
    """One step of a scenario; which fields are set follows from the verb."""

    verb: StepVerb
    name: Word | None = None
    circuit: CircuitTree | None = None
    duration: Word | None = None
    day: Word | None = None
    date: Word | None = None
    time: Word | None = None
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class ScenarioTree:
    """A scenario and its steps."""

    label: Word
    steps: tuple[StepTree, ...]
    span: Span = field(default=NOWHERE, compare=False)


Statement = Declaration | RungTree | PropertyTree | ScenarioTree


@dataclass(frozen=True, slots=True)
class File:
    """A whole file. `comments` are in text order; `damaged` holds names declared in statements that
    could not be read, so that their readers are not reported as well."""

    statements: tuple[Statement, ...]
    comments: tuple[Word, ...] = field(default=(), compare=False)
    damaged: frozenset[str] = frozenset()
