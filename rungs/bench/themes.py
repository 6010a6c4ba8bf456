"""The colours of the bench: one accent for live, one for forced, one for wrong, else quiet.

States differ by weight and sign as well, so that every theme, and none, can be read.
"""

from __future__ import annotations

from textual.theme import Theme

DARK = Theme(
    name="bench-dark",
    primary="#8ab4d8",
    secondary="#9aa5b1",
    accent="#f0c674",
    warning="#c9a0dc",
    error="#f28b82",
    success="#b5bd68",
    foreground="#d8dce2",
    background="#14171b",
    surface="#1c2026",
    panel="#262b32",
    dark=True,
)
LIGHT = Theme(
    name="bench-light",
    primary="#1f5f8b",
    secondary="#5c6670",
    accent="#8a5a00",
    warning="#6f3f8f",
    error="#b3261e",
    success="#3f6212",
    foreground="#1d2127",
    background="#fbfaf7",
    surface="#f1efe9",
    panel="#e6e3da",
    dark=False,
)
THEMES = (DARK, LIGHT)
