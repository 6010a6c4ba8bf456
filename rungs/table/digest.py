"""A digest of a table's head, so that a change of what no proof can see is seen all the same.

Slots, terminals and duties concern the board and not the logic; comparing behaviour would pass over
a wrong one.
"""

from __future__ import annotations

import hashlib

from rungs.table.model import TableFile

ROWS = {"truth", "transitions", "switching", "states", "start", "proof"}
TALK = {"head_sha256", "program_sha256", "tool", "title", "program", "cautions"}


def head_digest(table: TableFile) -> str:
    """The sha256 of everything in the head that says something to a board or its builder."""
    text = table.model_dump_json(exclude=ROWS | TALK)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
