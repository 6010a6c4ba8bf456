"""Answers kept between runs, under a hash of all that they depend on.

An edit that does not touch what a property depends on leaves its hash alone, so only the others are
proved again. What is kept is never trusted further than that: a run is played again before it is
told, and a record that does not fit its own seal is as good as none.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path

from rungs import __version__
from rungs.core.nodes import Core
from rungs.files import FileError, write_atomic
from rungs.program.nodes import Program
from rungs.prove.witness import Act, Witness

FORM = 1  # of the records; another form is not read
MOST_RECORDS = 4_000
MOST_BYTES = 1 << 24  # of one record


def store_folder() -> Path:
    """Where answers are kept on this machine: `RUNGS_CACHE`, or the user's folder for such."""
    given = os.environ.get("RUNGS_CACHE")
    base = Path(given) if given else user_cache_path("rungs", appauthor=False)
    return base / "proofs"


def key_of(program: Program, core: Core, bad: str, assumed: Sequence[str]) -> str:
    """The hash of a question: its part of the core, the wires and clocks that it reads, and us."""
    read = {signal.device for signal in core.signals}
    inputs = [
        (device.name, device.side, device.debounce)
        for device in program.inputs
        if device.name in read
    ]
    clocks = [
        (c.name, c.begin, c.end, c.days, c.catch_up) for c in program.clocks if c.name in read
    ]
    calendar = (
        (program.site.zone, program.site.latitude, program.site.longitude, program.site.holidays),
        [(h.name, h.first, h.last) for h in program.holidays],
    )
    parts = (
        FORM,
        __version__,
        bad,
        sorted(assumed),
        core.period,
        [(s.name, s.kind, s.one_scan) for s in core.signals],
        [(b.name, b.next, b.retained) for b in core.state],
        core.gates,
        [(o.name, o.lit) for o in core.outputs],
        [
            (t.name, t.kind, t.preset, t.due, t.run, t.clear_before, t.clear_after, t.retained)
            for t in core.timers
        ],
        inputs,
        clocks,
        calendar if clocks else (),
    )
    return hashlib.sha256(repr(parts).encode("utf-8")).hexdigest()


class Store:
    """Records in a folder, one file each. Whatever goes wrong with a file counts as no record."""

    def __init__(self, folder: Path, read: bool = True) -> None:
        self.folder = folder
        self.read = read
        self.met = 0  # records that were of use

    def get(self, key: str) -> dict[str, Any] | None:
        """The record under a key, if there is a sound one."""
        if not self.read:
            return None
        try:
            path = self.folder / f"{key}.json"
            if path.stat().st_size > MOST_BYTES:
                return None
            kept = json.loads(path.read_text(encoding="ascii"))
            record = kept["record"]
            if kept["seal"] != _seal(key, record) or not isinstance(record, dict):
                return None
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None
        self.met += 1
        return record

    def put(self, key: str, record: dict[str, Any]) -> None:
        """Keep a record. A folder that cannot be written to is no reason to stop."""
        text = json.dumps({"record": record, "seal": _seal(key, record)}, ensure_ascii=True)
        with suppress(OSError, FileError):
            self.folder.mkdir(parents=True, exist_ok=True)
            write_atomic(self.folder / f"{key}.json", text.encode("ascii"))

    def tidy(self) -> None:
        """Take away the records that were kept longest ago where there are too many."""
        with suppress(OSError):
            files = [(path.stat().st_mtime, path) for path in self.folder.glob("*.json")]
            if len(files) > MOST_RECORDS:
                for _, path in sorted(files)[: len(files) - MOST_RECORDS // 2]:
                    path.unlink(missing_ok=True)


def _seal(key: str, record: object) -> str:
    text = json.dumps(record, ensure_ascii=True, sort_keys=True)
    return hashlib.sha256(f"{key}\n{text}".encode("ascii")).hexdigest()


def record_of_run(witness: Witness) -> dict[str, Any]:
    """A run as a record."""
    acts = [
        [a.t, a.back, [list(c) for c in a.circuits], [list(w) for w in a.wires]]
        for a in witness.acts
    ]
    return {"kind": "found", "acts": acts, "end": witness.end, "start": witness.start}


def run_of_record(record: dict[str, Any]) -> Witness | None:
    """The run of a record; None if it is none."""
    try:
        acts = tuple(
            Act(
                int(t),
                tuple((str(name), bool(on)) for name, on in circuits),
                tuple((str(name), fault) for name, fault in wires if fault in _FAULTS),
                None if back is None else int(back),
            )
            for t, back, circuits, wires in record["acts"]
        )
        start = record["start"]
        return Witness(acts, int(record["end"]), None if start is None else int(start))
    except (KeyError, TypeError, ValueError):
        return None


_FAULTS = ("sound", "broken", "shorted")
