"""Lists of lines that can have the keyboard, with the keys that the table gives to their pane."""

from __future__ import annotations

from textual.binding import Binding, BindingType

from rungs.bench.keys import KEYS, Pane
from rungs.bench.widgets.lines import Lines


def bindings_of(pane: Pane) -> list[BindingType]:
    """The bindings of a pane; each does its command in the app, in the order of the keys."""
    return [
        Binding(
            key.keys,
            f"app.do('{key.id}')",
            key.text,
            tooltip=key.tooltip,
            id=key.id,
            priority=True,
        )
        for key in KEYS
        if key.where == pane
    ]


class Switches(Lines, can_focus=True, inherit_bindings=False):
    """The list of switches."""

    BINDINGS = bindings_of("switches")


class Devices(Lines, can_focus=True, inherit_bindings=False):
    """The list of relays, timers, counters and clocks."""

    BINDINGS = bindings_of("devices")


class Chart(Lines, can_focus=True, inherit_bindings=False):
    """The timing chart."""

    BINDINGS = bindings_of("chart")
