"""A person's own keys: a small file that gives other keys to ids of the table.

A wrong line costs itself alone; the rest holds, and what was wrong is told.
"""

from __future__ import annotations

import os
import tomllib
from difflib import get_close_matches
from pathlib import Path
from unicodedata import lookup

from platformdirs import user_config_dir
from textual.keys import Keys

from rungs.bench.keys import KEYS, Key, clashes, remapped
from rungs.cells import safe
from rungs.files import FileError, read_bytes

LIMIT = 100_000  # bytes
_MODIFIERS = ("ctrl", "shift", "alt")
_NAMES = frozenset(key.value for key in Keys if "<" not in key.value) | {"space"}


def keymap_file() -> Path:
    """Where the file is looked for: `RUNGS_KEYS`, or `keys.toml` in the user's settings."""
    named = os.environ.get("RUNGS_KEYS")
    return Path(named) if named else Path(user_config_dir("rungs")) / "keys.toml"


def read_keymap(path: Path) -> tuple[tuple[Key, ...], tuple[str, ...]]:
    """The table with the keys of a file, and in plain words what in it was left out.

    The file holds lines such as `"time.run" = "r,f5"` under `[keys]`; no file changes nothing.
    """
    if not path.exists():
        return KEYS, ()
    try:
        data = tomllib.loads(read_bytes(path, LIMIT).decode("utf-8"))
    except (FileError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        return KEYS, (safe(f"{path} was not read: {error}"),)
    wanted = data.get("keys", {})
    if not isinstance(wanted, dict):
        return KEYS, (safe(f'{path}: [keys] holds lines such as "time.run" = "r,f5"'),)
    return _taken(wanted, path)


def _taken(wanted: dict[str, object], path: Path) -> tuple[tuple[Key, ...], tuple[str, ...]]:
    known = [key.id for key in KEYS]
    taken: dict[str, str] = {}
    wrong: list[str] = []
    for key_id, keys in wanted.items():
        if key_id not in known:
            close = get_close_matches(key_id, known, n=1)
            hint = f"did you mean '{close[0]}'?" if close else "see: rungs explain keys"
            wrong.append(f"{path}: there is nothing called '{key_id}'; {hint}")
        elif not isinstance(keys, str) or not keys:
            wrong.append(f"{path}: '{key_id}' is given keys as text, such as \"r,f5\"")
        elif odd := [part for part in keys.split(",") if not _is_key(part)]:
            wrong.append(f"{path}: '{key_id}': there is no key called '{odd[0]}'")
        else:
            taken[key_id] = keys
    # all together, so that two can change places; of two that clash the later line is left out
    while found := clashes(remapped(taken)):
        key, one, other = found[0]
        left_out = next(key_id for key_id in reversed(taken) if key_id in (one, other))
        del taken[left_out]
        wrong.append(
            f"{path}: '{key}' would be both '{one}' and '{other}'; '{left_out}' was left out"
        )
    return remapped(taken), tuple(safe(line) for line in wrong)


def _is_key(text: str) -> bool:
    """Whether a text names a key: `r`, `f5`, `shift+tab`, `ctrl+s`, `question_mark`."""
    *modifiers, name = text.split("+") if len(text) > 1 else [text]
    if not all(modifier in _MODIFIERS for modifier in modifiers):
        return False
    if len(name) == 1:
        return name.isprintable() and not name.isspace()
    if name in _NAMES:
        return True
    try:
        # other characters go by what Unicode calls them
        return len(lookup(name.replace("_", " "))) == 1 and name.islower()
    except KeyError:
        return False
